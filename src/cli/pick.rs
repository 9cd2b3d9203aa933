//! From words on the command line to plans, sheets, rows and columns.
//!
//! A word that names nothing gets a problem with the closest name.

use super::args::Line;
use super::print::Printer;
use crate::desk::Desk;
use crate::problem::Problem;
use crate::table::{ColumnId, RowId, SheetId};
use clap::CommandFactory;
use std::path::Path;

/// Opens a plan and says on the error stream what was not as expected.
pub fn open(path: &Path, out: &mut Printer) -> Result<Desk, Problem> {
    let desk = Desk::open(path)?;
    out.remarks(desk.problems());
    Ok(desk)
}

/// Opens a plan to look at it with a proposal, if one is named.
pub fn open_within(path: &Path, within: Option<&str>, out: &mut Printer) -> Result<Desk, Problem> {
    let mut desk = open(path, out)?;
    enter(&mut desk, within, out)?;
    Ok(desk)
}

/// Enters a proposal, if one is named, and says on the error stream what does not fit in it.
pub fn enter(desk: &mut Desk, within: Option<&str>, out: &mut Printer) -> Result<(), Problem> {
    let Some(name) = within else {
        return Ok(());
    };
    let misfits = desk.enter(name)?;
    let fresh = misfits
        .iter()
        .filter(|misfit| !desk.problems().any(|known| known == *misfit));
    out.remarks(fresh);
    Ok(())
}

/// Opens a plan to change it, and says on the error stream what was not as expected.
pub fn open_to_change(path: &Path, out: &mut Printer) -> Result<Desk, Problem> {
    let desk = Desk::open_to_change(path)?;
    out.remarks(desk.problems());
    Ok(desk)
}

/// Opens the plan that stands where a command could stand.
pub fn open_alone(path: &Path, out: &mut Printer) -> Result<Desk, Problem> {
    open(path, out).map_err(|problem| {
        if problem.code != "no-such-file" {
            return problem;
        }
        let line = Line::command();
        let commands = line.get_subcommands().map(clap::Command::get_name);
        problem.did_you_mean(&path.to_string_lossy(), commands)
    })
}

/// The sheet of a name.
pub fn sheet(desk: &Desk, name: &str) -> Result<SheetId, Problem> {
    desk.plan().sheet(name).ok_or_else(|| {
        let names = desk.plan().schema().iter().map(|sheet| sheet.name.as_str());
        let list: Vec<&str> = names.clone().collect();
        Problem::new("sheet-unknown", format!("there is no sheet `{name}`"))
            .did_you_mean(name, names)
            .help(format!("the sheets are: {}", list.join(", ")))
    })
}

/// The row of an id.
pub fn row(desk: &Desk, sheet: SheetId, id: &str) -> Result<RowId, Problem> {
    desk.plan().find(sheet, id).ok_or_else(|| {
        let title = &desk.plan().def(sheet).name;
        let ids: Vec<String> = desk
            .plan()
            .rows(sheet)
            .order()
            .iter()
            .map(|row| desk.plan().id(sheet, *row))
            .collect();
        Problem::new("row-unknown", format!("there is no row `{id}` in {title}"))
            .did_you_mean(id, ids.iter().map(String::as_str))
            .help(format!(
                "see them with: portledger show PLAN {title} --columns id"
            ))
    })
}

/// The column of a name, checks and verdicts included.
pub fn column(desk: &Desk, sheet: SheetId, name: &str) -> Result<ColumnId, Problem> {
    desk.engine().find_column(sheet, name).ok_or_else(|| {
        let def = &desk.engine().schema()[sheet.at()];
        let names = def.columns.iter().map(|column| column.name.as_str());
        Problem::new(
            "column-unknown",
            format!("there is no column `{name}` in {}", def.name),
        )
        .did_you_mean(name, names)
        .help(format!(
            "see them with: portledger show PLAN {} --all",
            def.name
        ))
    })
}
