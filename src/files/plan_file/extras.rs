//! What a plan file holds and this version does not know: kept as text, written back.
//!
//! Reading puts it into `Plan::extras` by table and key, writing takes it from there.

use super::toml_text::{depth, inline, key, pairs};
use crate::plan::Plan;
use crate::problem::Problem;
use std::fmt::Write;
use toml::de::{DeTable, DeValue};

/// Deeper values are refused: written on one line they would not be read again.
const MAX_DEPTH: usize = 40;

/// The table of the keys at the top of the file.
pub(super) const TOP: &str = "";

/// Keeps an unknown key of a table.
pub(super) fn keep(
    plan: &mut Plan,
    table: &str,
    name: &str,
    value: &DeValue<'_>,
) -> Result<(), Problem> {
    must_be_shallow(value)?;
    plan.extras
        .insert((table.to_owned(), name.to_owned()), inline(value));
    Ok(())
}

/// Keeps a whole element of a list of tables, such as `[[column]]`.
pub(super) fn keep_element(
    plan: &mut Plan,
    list: &str,
    element: &DeTable<'_>,
) -> Result<(), Problem> {
    for (_, value) in element {
        must_be_shallow(value.get_ref())?;
    }
    let table = format!("[[{list}]]");
    let at = plan.extras.keys().filter(|key| key.0 == table).count();
    let lines = pairs(element).iter().fold(String::new(), |mut out, line| {
        let _ = writeln!(out, "{line}");
        out
    });
    plan.extras.insert((table, format!("{at:09}")), lines);
    Ok(())
}

fn must_be_shallow(value: &DeValue<'_>) -> Result<(), Problem> {
    if depth(value) <= MAX_DEPTH {
        return Ok(());
    }
    Err(
        Problem::new("nested-too-deep", "a value is nested more than 40 deep")
            .help("take it out of the file, or open the file with the version that wrote it"),
    )
}

/// Writes the unknown keys of a table, one a line.
pub(super) fn push_lines(out: &mut String, plan: &Plan, table: &str) {
    for ((known, name), value) in &plan.extras {
        if known == table {
            let _ = writeln!(out, "{} = {value}", key(name));
        }
    }
}

/// The unknown keys of a table as parts of a table on one line.
pub(super) fn parts(plan: &Plan, table: &str) -> String {
    let kept = plan.extras.iter().filter(|((known, _), _)| known == table);
    kept.fold(String::new(), |mut out, ((_, name), value)| {
        let _ = write!(out, ", {} = {value}", key(name));
        out
    })
}

/// Writes the unknown elements of a list of tables.
pub(super) fn push_elements(out: &mut String, plan: &Plan, list: &str) {
    let table = format!("[[{list}]]");
    for ((known, _), lines) in &plan.extras {
        if *known == table {
            let _ = write!(out, "\n{table}\n{lines}");
        }
    }
}
