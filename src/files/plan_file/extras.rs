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
    let last = of_table(plan, &table).next_back();
    let at = last.map_or(0, |(name, _)| name.parse().unwrap_or(0) + 1);
    let lines = pairs(element).iter().fold(String::new(), |mut out, line| {
        let _ = writeln!(out, "{line}");
        out
    });
    let at: u64 = at;
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

/// The unknown keys of a table with their values.
pub(super) fn of_table<'p>(
    plan: &'p Plan,
    table: &'p str,
) -> impl DoubleEndedIterator<Item = (&'p str, &'p str)> {
    // The next table after `x` in any order begins with `x` and the smallest character.
    let (first, end) = (table.to_owned(), format!("{table}\0"));
    plan.extras
        .range((first, String::new())..(end, String::new()))
        .map(|((_, name), value)| (name.as_str(), value.as_str()))
}

/// Writes the unknown keys of a table, one a line.
pub(super) fn push_lines(out: &mut String, plan: &Plan, table: &str) {
    for (name, value) in of_table(plan, table) {
        let _ = writeln!(out, "{} = {value}", key(name));
    }
}

/// The unknown keys of a table as parts of a table on one line.
pub(super) fn parts(plan: &Plan, table: &str) -> String {
    of_table(plan, table).fold(String::new(), |mut out, (name, value)| {
        let _ = write!(out, ", {} = {value}", key(name));
        out
    })
}

/// Writes the unknown elements of a list of tables.
pub(super) fn push_elements(out: &mut String, plan: &Plan, list: &str) {
    let table = format!("[[{list}]]");
    for (_, lines) in of_table(plan, &table) {
        let _ = write!(out, "\n{table}\n{lines}");
    }
}
