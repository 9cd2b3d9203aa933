//! Changing a plan: `set` and `new`.

use super::Outcome;
use super::args::{New, Set};
use super::import::{say_links, wish};
use super::look::{counted, name_of};
use super::pick;
use super::print::Printer;
use super::print::Shown;
use crate::desk::Desk;
use crate::desk::Gauge;
use crate::files::import::Wish;
use crate::files::save::Saved;
use crate::files::spreadsheet::Reader;
use crate::formula::check_unit;
use crate::plan::Edit;
use crate::plan::read_assumption;
use crate::plan::read_entry;
use crate::problem::Problem;
use crate::problem::Severity;
use crate::problem::clean;
use crate::table::{RowId, SheetId};
use crate::trade::Finding;
use std::sync::Arc;

/// Writes one cell, one assumption or one formula, saves, and says what changed.
pub fn set(set: &Set, out: &mut Printer) -> Result<Outcome, Vec<Problem>> {
    let mut desk = pick::open_to_change(&set.plan, out)?;
    pick::enter(&mut desk, set.within.as_deref(), out)?;
    let before = desk.findings().list;
    if set.formula {
        set_formula(&mut desk, set, out)?;
    } else if set.sheet == "assume" {
        set_assumption(&mut desk, set, out)?;
    } else {
        set_cell(&mut desk, set, out)?;
    }
    tell_saved(&desk.save()?, out);
    Ok(say_change(&desk, &before, out))
}

/// Says which findings are gone, which are new and how many there are.
pub(super) fn say_change(desk: &Desk, before: &[Finding], out: &mut Printer) -> Outcome {
    let after = desk.findings();
    told("gone", desk, before, &after.list, out);
    let new = told("new", desk, &after.list, before, out);
    out.line(&counted(&after));
    match new.contains(&Severity::Stop) {
        true => Outcome::Stops,
        false => Outcome::Quiet,
    }
}

pub(super) fn tell_saved(saved: &Saved, out: &mut Printer) {
    if !saved.durable {
        out.remark(
            &Problem::new(
                "not-confirmed",
                "written, but the folder did not confirm it",
            )
            .help("a power cut in the next moments may bring the old plan back"),
        );
    }
}

fn set_cell(desk: &mut Desk, set: &Set, out: &mut Printer) -> Result<(), Problem> {
    let sheet = pick::sheet(desk, &set.sheet)?;
    let value = set.value.as_deref().unwrap_or_default();
    let column = desk.plan().def(sheet).column(&set.column);
    let column = column.ok_or_else(|| match pick::column(desk, sheet, &set.column) {
        Ok(_) => Problem::new(
            "column-computed",
            format!("`{}` is computed, not entered", set.column),
        ),
        Err(problem) => problem,
    })?;
    if set.add && desk.plan().find(sheet, &set.row).is_none() {
        add_row(desk, sheet, &set.row)?;
    }
    let mut row = pick::row(desk, sheet, &set.row)?;
    if desk.plan().rows(sheet).is_builtin(row) {
        row = desk.own_row(sheet, row)?;
        out.line(&clean(&format!(
            "{}: a row of your own takes the place of the built-in one",
            set.row
        )));
    }
    desk.set(sheet, row, column, value)?;
    say_cell(desk, sheet, row, &set.column, out);
    Ok(())
}

/// Says the new value and the verdict of its row.
fn say_cell(desk: &Desk, sheet: SheetId, row: RowId, name: &str, out: &mut Printer) {
    let shown = |name: &str| {
        let column = desk.engine().find_column(sheet, name)?;
        Some(desk.engine().shown(desk.plan(), column, row)).filter(|text| !text.is_empty())
    };
    let value = shown(name).unwrap_or_else(|| "empty".to_owned());
    let verdict = shown("verdict").map_or(String::new(), |verdict| format!("; verdict {verdict}"));
    let id = desk.plan().id(sheet, row);
    out.line(&clean(&format!("{id}: {name} is {value}{verdict}")));
}

fn add_row(desk: &mut Desk, sheet: SheetId, id: &str) -> Result<(), Problem> {
    let entry = read_entry(desk.plan(), sheet, 0, id)?;
    let at = desk.plan().rows(sheet).order().len();
    desk.apply(
        &format!("add {id}"),
        Edit::AddRows {
            sheet,
            at,
            rows: vec![vec![(0, entry)]],
        },
    )
}

fn set_assumption(desk: &mut Desk, set: &Set, out: &mut Printer) -> Result<(), Problem> {
    let names = || {
        desk.plan()
            .assumptions()
            .iter()
            .map(|known| known.def.name.as_str())
    };
    let param = desk.plan().assumption(&set.row).ok_or_else(|| {
        Problem::new(
            "assumption-unknown",
            format!("there is no assumption `{}`", set.row),
        )
        .did_you_mean(&set.row, names())
        .help("see them with: portledger tables assume")
    })?;
    let old = &desk.plan().assumptions()[param.at()];
    let value = set.value.as_deref().unwrap_or_default();
    let (entry, source, own) = match set.column.as_str() {
        "value" if value.trim().is_empty() => (
            read_assumption(desk.plan(), param, &old.def.value)?,
            old.def.source.clone(),
            false,
        ),
        "value" => (
            read_assumption(desk.plan(), param, value)?,
            "set in this plan".to_owned(),
            true,
        ),
        "source" => (old.entry.clone(), value.to_owned(), true),
        other => {
            return Err(
                Problem::new("column-unknown", format!("an assumption has no `{other}`"))
                    .help("set its `value` or its `source`"),
            );
        }
    };
    let edit = Edit::SetAssumption {
        param,
        entry,
        source,
        own,
    };
    desk.apply(&format!("assumption {}", set.row), edit)?;
    let now = &desk.plan().assumptions()[param.at()];
    let value = now.entry.text(&now.unit, desk.plan().names());
    let text = format!("{}: {value} {}", set.row, now.unit.symbol);
    out.line(&clean(&format!("{} ({})", text.trim_end(), now.source)));
    Ok(())
}

fn set_formula(desk: &mut Desk, set: &Set, out: &mut Printer) -> Result<(), Vec<Problem>> {
    let sheet = pick::sheet(desk, &set.sheet)?;
    let id = pick::column(desk, sheet, &set.row)?;
    let position = desk.plan().def(sheet).column(&set.row).ok_or_else(|| {
        Problem::new(
            "column-check",
            format!("`{}` comes from a check or a verdict", set.row),
        )
        .help("change the check in the plan file")
    })?;
    let text = set.column.trim();
    if !text.is_empty() {
        let formula = desk.engine().compile(desk.plan(), text, Some(sheet))?;
        check_unit(&formula, desk.engine().graph().nodes[id.at()].ty)?;
    }
    let before: Vec<Problem> = desk.engine().problems().cloned().collect();
    let formula = (!text.is_empty()).then(|| text.to_owned());
    desk.apply(
        &format!("formula of {}", set.row),
        Edit::SetFormula {
            sheet,
            column: position,
            formula,
        },
    )?;
    // A loop is seen only once the formula is among the others.
    let problems = desk.engine().problems();
    let fresh: Vec<Problem> = problems.filter(|p| !before.contains(p)).cloned().collect();
    if !fresh.is_empty() {
        return Err(fresh);
    }
    let now = desk.plan().column(sheet, position).formula.as_deref();
    out.line(&clean(&format!(
        "{} = {}",
        set.row,
        now.unwrap_or_default()
    )));
    Ok(())
}

/// Prints the findings of one list that are not in the other; gives their severities.
fn told(
    word: &str,
    desk: &Desk,
    these: &[Finding],
    those: &[Finding],
    out: &mut Printer,
) -> Vec<Severity> {
    let key = |finding: &Finding| {
        (
            finding.check.clone(),
            finding.sheet,
            finding.row,
            finding.severity,
        )
    };
    let known: std::collections::HashSet<_> = those.iter().map(key).collect();
    let fresh: Vec<&Finding> = these
        .iter()
        .filter(|finding| !known.contains(&key(finding)))
        .collect();
    for finding in &fresh {
        let text = format!(
            "{word}: {} {} {}: {}",
            finding.severity.word(),
            name_of(desk, finding),
            finding.check,
            finding.sentence
        );
        out.line(&clean(&text));
    }
    fresh.iter().map(|finding| finding.severity).collect()
}

/// Makes a new plan.
pub fn new(new: &New, out: &mut Printer) -> Result<Outcome, Vec<Problem>> {
    if new.plan.exists() && !new.dry_run {
        return Err(Problem::new(
            "plan-there",
            format!("`{}` is already there", new.plan.display()),
        )
        .help("choose another name; a plan is never overwritten by a new one")
        .into());
    }
    let mut desk = Desk::empty(&new.title)?;
    if let Some(from) = &new.from {
        let (wish, reader) = (wish(&new.table)?, Reader::of_this_program()?);
        let gauge = Arc::new(Gauge::default());
        let shown = Shown::new(format!("reading {}", from.display()), &gauge);
        let read = desk.import(from, &wish, &reader, &mut |step| gauge.tell(step));
        drop(shown);
        say_links(&read?, out);
    } else if wish(&new.table)? != Wish::default() {
        return Err(Problem::new("no-table", "there is no table to be read")
            .help("name one with --from FILE")
            .into());
    }
    if !new.dry_run {
        tell_saved(&desk.save_as(&new.plan, false)?, out);
        out.line(&format!("made {}", clean(&new.plan.display().to_string())));
    }
    Ok(Outcome::Quiet)
}
