//! Pages for people in a file: `export`.
//!
//! Says what was written, what it leaves out, and which columns do not calculate.

use super::Outcome;
use super::args::Export;
use super::edit::tell_saved;
use super::pick;
use super::print::Printer;
use super::print::Shown;
use crate::desk::Desk;
use crate::desk::Exported;
use crate::desk::Gauge;
use crate::desk::Step;
use crate::desk::Wanted;
use crate::problem::Problem;
use crate::problem::clean;
use crate::report::Choice;
use std::sync::Arc;
use std::time::{SystemTime, UNIX_EPOCH};

/// Writes a file for people.
pub fn export(export: &Export, out: &mut Printer) -> Result<Outcome, Vec<Problem>> {
    crate::report::format_of(&export.file)?;
    let mut desk = open(export, out)?;
    let wanted = Wanted {
        replace: export.replace,
        date: today(),
        choice: choice(&desk, export)?,
    };
    let gauge = Arc::new(Gauge::default());
    let shown = Shown::new(format!("writing {}", export.file.display()), &gauge);
    let exported = desk.export(&export.file, &wanted, &mut |done| {
        gauge.tell(Step::Written(done.rows, done.of));
    });
    drop(shown);
    let exported = exported.map_err(|problem| match problem.code {
        "file-there" => problem.help("--replace replaces it"),
        _ => problem,
    })?;
    tell_saved(&exported.saved, out);
    if exported.is_named {
        tell_saved(&desk.save()?, out);
    }
    say(export, &exported, out);
    if desk.plan().id.is_empty() {
        let problem = Problem::new(
            "no-id",
            "the plan may not be changed now, so it keeps no id of its own",
        );
        out.remark(&problem.help("a returned workbook is then matched by its rows alone"));
    }
    Ok(Outcome::Quiet)
}

/// What of the plan is asked for.
fn choice(desk: &Desk, export: &Export) -> Result<Choice, Problem> {
    let sheets = export.sheet.iter().map(|name| pick::sheet(desk, name));
    Ok(Choice {
        sheets: sheets.collect::<Result<_, Problem>>()?,
        every_state: export.every_state,
    })
}

/// Opens the plan so that it can keep its id, else only to look at it.
fn open(export: &Export, out: &mut Printer) -> Result<Desk, Problem> {
    let desk = pick::open(&export.plan, out)?;
    if !desk.plan().id.is_empty() {
        return Ok(desk);
    }
    drop(desk);
    match Desk::open_to_change(&export.plan) {
        Ok(desk) => Ok(desk),
        Err(_) => Desk::open(&export.plan),
    }
}

fn say(export: &Export, exported: &Exported, out: &mut Printer) {
    let written = &exported.written;
    out.line(&clean(&exported.said(&export.file)));
    for one in written.values.iter().filter(|one| one.shown) {
        out.line(&clean(&format!(
            "  as values: {} {}: {}",
            one.page, one.column, one.why
        )));
    }
    let n_serving = written.values.iter().filter(|one| !one.shown).count();
    if n_serving > 0 {
        out.line(&format!(
            "  {n_serving} columns that serve formulas stand as values too; the page Assumptions lists them"
        ));
    }
    if !exported.format.leaves_out.is_empty() {
        out.line(&format!("  left out: {}", exported.format.leaves_out));
    }
}

/// The day of the clock, in UTC; none where the clock stands before 1970.
fn today() -> Option<(u16, u8, u8)> {
    let since = SystemTime::now().duration_since(UNIX_EPOCH).ok()?;
    let mut days = since.as_secs() / 86_400;
    let mut year = 1970_u16;
    let is_leap = |year: u16| {
        year.is_multiple_of(4) && (!year.is_multiple_of(100) || year.is_multiple_of(400))
    };
    loop {
        let length = 365 + u64::from(is_leap(year));
        if days < length {
            break;
        }
        days -= length;
        year += 1;
    }
    let months = [
        31,
        28 + u64::from(is_leap(year)),
        31,
        30,
        31,
        30,
        31,
        31,
        30,
        31,
        30,
        31,
    ];
    let mut month = 1;
    for length in months {
        if days < length {
            break;
        }
        days -= length;
        month += 1;
    }
    Some((year, month, u8::try_from(days + 1).ok()?))
}
