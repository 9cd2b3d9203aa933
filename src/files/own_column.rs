//! Own text columns for headings that are none of ours.
//!
//! Names and definitions only; the caller adds the column to the plan.

use crate::problem::Problem;
use crate::sheet::ColumnDef;
use crate::sheet::ColumnKind;
use crate::sheet::SheetDef;

/// Words that mean something else in a formula.
pub const TAKEN: [&str; 10] = [
    "and", "or", "not", "this", "assume", "true", "false", "yes", "no", "missing",
];

/// The most columns of a sheet, built-in ones included.
///
/// Every column has a place for every row, so a short file could otherwise ask for any memory.
pub const MAX_COLUMNS: usize = 256;

/// What is said when a sheet would get more.
pub fn too_many_columns() -> Problem {
    Problem::new("too-many-columns", "a sheet has at most 256 columns")
        .help("take out the columns that are not needed")
}

/// A text column for a heading, with a name that no column of the sheet has.
pub(super) fn text_column(sheet: &SheetDef, heading: &str) -> ColumnDef {
    let title = heading.trim();
    ColumnDef {
        name: free_name(sheet, &snake_case(title)),
        title: title.to_owned(),
        doc: String::new(),
        unit: String::new(),
        kind: ColumnKind::Text,
        choices: Vec::new(),
        to: None,
        formula: None,
        decimals: None,
        source: String::new(),
        quiet: false,
    }
}

/// A heading as a name that a formula can use; empty where nothing of it can stay.
pub(super) fn snake_case(heading: &str) -> String {
    let mut out = String::new();
    for c in heading.chars() {
        match c.to_ascii_lowercase() {
            c @ ('a'..='z' | '0'..='9') => out.push(c),
            _ if !out.is_empty() && !out.ends_with('_') => out.push('_'),
            _ => {}
        }
    }
    let out = out.trim_end_matches('_');
    if out.starts_with(|c: char| c.is_ascii_digit()) {
        return format!("n_{out}");
    }
    out.to_owned()
}

/// The wish itself, or with the first number that makes it free.
fn free_name(sheet: &SheetDef, wish: &str) -> String {
    let wish = if wish.is_empty() { "column" } else { wish };
    let is_free = |name: &str| sheet.column(name).is_none() && !TAKEN.contains(&name);
    if is_free(wish) {
        return wish.to_owned();
    }
    (2..)
        .map(|at| format!("{wish}_{at}"))
        .find(|name| is_free(name))
        .expect("a sheet has fewer columns than there are numbers")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn headings_become_names() {
        for (heading, name) in [
            ("Patch Panel #", "patch_panel"),
            ("2nd floor", "n_2nd_floor"),
            ("Länge (m)", "l_nge_m"),
            ("\u{6c34}", ""),
            ("a__b", "a_b"),
        ] {
            assert_eq!(snake_case(heading), name, "{heading}");
        }
    }

    #[test]
    fn a_taken_name_gets_a_number() {
        let plan = crate::files::sample::fresh().unwrap();
        let links = &plan.schema()[0];
        for (heading, name) in [
            ("length", "length_2"),
            ("Double", "double_2"),
            ("And", "and_2"),
            ("", "column"),
            ("rack", "rack"),
        ] {
            assert_eq!(text_column(links, heading).name, name, "{heading}");
        }
    }
}
