//! `merge`: what was changed in a workbook that came back, listed or taken.
//!
//! What is compared and how is known to `report`; here it is told, and what is accepted is saved.

use super::Outcome;
use super::args::{Form, Merge};
use super::edit::{say_change, tell_saved};
use super::pick;
use super::print::Printer;
use super::print::Shown;
use super::table::{Datum, Heading, Table};
use crate::desk::Desk;
use crate::desk::Gauge;
use crate::desk::Returned;
use crate::files::spreadsheet::Reader;
use crate::problem::Problem;
use crate::problem::clean;
use crate::problem::several;
use crate::report::giveback::Choice;
use crate::report::giveback::Class;
use crate::report::giveback::Comparison;
use crate::report::giveback::Difference;
use crate::report::giveback::chosen;
use std::sync::Arc;

/// So many differences are listed for a person; csv and json have all.
const MOST: usize = 200;

/// Lists what was changed in a workbook, or takes what is accepted and saves.
pub fn merge(asked: &Merge, form: Form, out: &mut Printer) -> Result<Outcome, Vec<Problem>> {
    let choices = asked.accept.iter().map(|word| Choice::of_word(word));
    let choices = choices.collect::<Result<Vec<_>, Problem>>()?;
    let mut desk = match choices.is_empty() {
        true => pick::open(&asked.plan, out)?,
        false => pick::open_to_change(&asked.plan, out)?,
    };
    let reader = Reader::of_this_program()?;
    let gauge = Arc::new(Gauge::default());
    let shown = Shown::new(format!("reading {}", asked.file.display()), &gauge);
    let returned = Returned::read(&asked.file, &reader, &mut |step| gauge.tell(step));
    let found = returned.and_then(|returned| Ok((desk.compare_returned(&returned)?, returned)));
    drop(shown);
    let (found, returned) = found?;
    if choices.is_empty() {
        list(&found, form, out);
        return Ok(Outcome::Quiet);
    }
    let taken = chosen(&found, &choices)?;
    take(&mut desk, &found, &taken, &returned.name, out)
}

fn take(
    desk: &mut Desk,
    found: &Comparison,
    taken: &[usize],
    name: &str,
    out: &mut Printer,
) -> Result<Outcome, Vec<Problem>> {
    notes(found, out);
    if taken.is_empty() {
        out.line(nothing(found));
        left(found, &[], out);
        return Ok(Outcome::Quiet);
    }
    let before = desk.findings().list;
    let n_taken = desk.merge(found, taken, name)?;
    tell_saved(&desk.save()?, out);
    for at in taken.iter().take(MOST) {
        if let Some(one) = found.differences.get(*at) {
            out.line(&clean(&format!("taken: {}", said(one))));
        }
    }
    if taken.len() > MOST {
        out.line(&format!("and {} more", taken.len() - MOST));
    }
    let step = "as one step that undo takes back";
    out.line(&format!(
        "{}, {step}",
        several(n_taken, "change taken", "changes taken")
    ));
    left(found, taken, out);
    Ok(say_change(desk, &before, out))
}

/// What is said where nothing is taken.
fn nothing(found: &Comparison) -> &'static str {
    match found.n_open() {
        0 => "nothing to do: the plan has everything that can be taken from this workbook",
        _ => "nothing of what you accept is among the changes",
    }
}

/// Says how much asks for a decision still.
fn left(found: &Comparison, taken: &[usize], out: &mut Printer) {
    let left = found.differences.iter().enumerate();
    let left = left.filter(|(at, one)| one.is_open() && !taken.contains(at));
    let n_left = left.count();
    if n_left > 0 {
        out.line(&format!(
            "{} left; see them without --accept",
            several(n_left, "change is", "changes are")
        ));
    }
}

/// A difference as one line.
fn said(one: &Difference) -> String {
    let place = match one.column.is_empty() {
        true => format!("{} {}", one.sheet, one.row),
        false => format!("{} {} {}", one.sheet, one.row, one.column),
    };
    let or_empty = |text: &str| match text.is_empty() {
        true => "empty".to_owned(),
        false => text.to_owned(),
    };
    match one.class {
        Class::Missing => format!("{place} removed"),
        Class::New | Class::Duplicate => format!("{place} added"),
        Class::Conflict if one.column.is_empty() => format!("{place} added again"),
        Class::Theirs
        | Class::Conflict
        | Class::Unreadable
        | Class::Overwritten
        | Class::Both
        | Class::Mine => {
            format!(
                "{place} from {} to {}",
                or_empty(&one.mine),
                or_empty(&one.theirs)
            )
        }
    }
}

fn notes(found: &Comparison, out: &mut Printer) {
    for note in &found.notes {
        out.line(&clean(note));
    }
    for row in &found.set_aside {
        out.line(&clean(&row.line()));
    }
}

fn list(found: &Comparison, form: Form, out: &mut Printer) {
    match form {
        Form::Table => {}
        Form::Csv | Form::Json => {
            table(found.differences.iter().collect()).write(form, out);
            return;
        }
    }
    notes(found, out);
    let open = found.differences.iter();
    let open: Vec<&Difference> = open.filter(|one| !one.class.is_settled()).collect();
    let n_more = open.len().saturating_sub(MOST);
    if !open.is_empty() {
        table(open.into_iter().take(MOST).collect()).write(form, out);
        if n_more > 0 {
            out.line(&format!("and {n_more} more; --as csv lists all"));
        }
        out.line("");
    }
    for class in Class::ALL {
        let n = found.count(class);
        if n > 0 {
            out.line(&format!("{n} {}: {}", class.word(), class.doc()));
        }
    }
    match found.n_open() {
        0 => out.line(nothing(found)),
        n => out.line(&format!(
            "nothing is changed yet; {} be taken, for example with --accept theirs",
            several(n, "change can", "changes can")
        )),
    }
}

fn table(all: Vec<&Difference>) -> Table<'_> {
    let names = [
        "class", "sheet", "row", "column", "exported", "theirs", "mine", "where", "note",
    ];
    let headings = names.map(Heading::text).to_vec();
    Table::new(headings, all.len(), move |at| {
        let one = all[at];
        let texts = [
            one.class.word(),
            &one.sheet,
            &one.row,
            &one.column,
            &one.base,
            &one.theirs,
            &one.mine,
            &one.at,
            &one.note,
        ];
        texts.map(Datum::text).to_vec()
    })
}
