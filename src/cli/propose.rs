//! Proposals of a plan: listed, made, accepted and dropped.
//!
//! Cells of one are written with `set --in`.

use super::Outcome;
use super::args::{Form, Propose};
use super::edit::{say_change, tell_saved};
use super::pick;
use super::print::Printer;
use super::table::{Datum, Heading, Table};
use crate::desk::Desk;
use crate::plan::Edit;
use crate::problem::Problem;
use crate::problem::clean;
use crate::problem::several;

/// Lists proposals, or makes, accepts or drops one.
pub fn propose(asked: &Propose, form: Form, out: &mut Printer) -> Result<Outcome, Vec<Problem>> {
    let Some(name) = &asked.name else {
        let desk = pick::open(&asked.plan, out)?;
        list(&desk).write(form, out);
        return Ok(Outcome::Quiet);
    };
    let mut desk = pick::open_to_change(&asked.plan, out)?;
    let before = desk.findings().list;
    let mut outcome = Outcome::Quiet;
    if asked.accept {
        let misfits = desk.accept(name)?;
        out.remarks(misfits.iter());
        tell_saved(&desk.save()?, out);
        out.line(&clean(&match misfits.is_empty() {
            true => format!("`{name}` is in the base now"),
            false => format!("`{name}` is in the base now, but for what does not fit and stays"),
        }));
        outcome = say_change(&desk, &before, out);
    } else if asked.drop {
        desk.drop_proposal(name)?;
        tell_saved(&desk.save()?, out);
        out.line(&clean(&format!("`{name}` is dropped")));
    } else if asked.take_away.is_empty() {
        let note = asked.note.as_deref().unwrap_or_default();
        desk.propose(name, note, asked.on.as_deref())?;
        tell_saved(&desk.save()?, out);
        out.line(&clean(&format!("made proposal `{name}`")));
    } else {
        let misfits = desk.enter(name)?;
        out.remarks(misfits.iter());
        let before = desk.findings().list;
        take_away(&mut desk, &asked.take_away, out)?;
        tell_saved(&desk.save()?, out);
        outcome = say_change(&desk, &before, out);
    }
    Ok(outcome)
}

/// Takes a row away in the proposal that is open.
fn take_away(desk: &mut Desk, place: &[String], out: &mut Printer) -> Result<(), Problem> {
    let [sheet, id] = place else {
        let problem = Problem::new("no-such-row", "--take-away needs a sheet and a row");
        return Err(problem.help("such as: --take-away links UP1"));
    };
    let sheet = pick::sheet(desk, sheet)?;
    let row = pick::row(desk, sheet, id)?;
    let rows = vec![row];
    desk.apply(
        &format!("{id} taken away"),
        Edit::RemoveRows { sheet, rows },
    )?;
    out.line(&clean(&format!("{id}: taken away")));
    Ok(())
}

fn list(desk: &Desk) -> Table<'_> {
    let names = ["name", "on", "changes", "fits", "note"];
    let all = desk.proposals();
    Table::new(names.map(Heading::text).to_vec(), all.len(), move |at| {
        let one = &all[at];
        let fits = match desk.plan().stack(&one.name) {
            Ok(_) => match desk.plan().unfit(one).len() {
                0 => "yes".to_owned(),
                n => several(n, "change does not", "changes do not"),
            },
            Err(_) => "no".to_owned(),
        };
        vec![
            Datum::text(&one.name),
            Datum::text(one.on.as_deref().unwrap_or("base")),
            Datum::text(one.changes.len().to_string()),
            Datum::Text(fits),
            Datum::text(&one.note),
        ]
    })
}
