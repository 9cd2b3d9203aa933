//! The text of a sheet file to its definition, with the place of a mistake.
//!
//! Says what a file may hold; which files there are is in `builtin.rs`. Only tests read the files: the
//! program reads what `ready.rs` made of them.

use super::{ColumnDef, ColumnKind, SheetDef};
use crate::problem::Problem;
use serde::de::DeserializeOwned;
use std::collections::BTreeSet;

/// Reads a sheet definition; `file_name` is named where something is wrong.
///
/// # Errors
/// A text that is not TOML of this form, a sheet without columns, two columns of one name, or a
/// column whose kind and other keys do not go together.
pub fn load(text: &str, file_name: &str) -> Result<SheetDef, Problem> {
    let sheet: SheetDef = parse(text, file_name)?;
    sound(&sheet).map_err(|problem| problem.within(file_name, text))?;
    Ok(sheet)
}

/// Reads TOML of any form.
pub(super) fn parse<T: DeserializeOwned>(text: &str, file_name: &str) -> Result<T, Problem> {
    toml::from_str(text).map_err(|error| mistake(&error).within(file_name, text))
}

fn mistake(error: &toml::de::Error) -> Problem {
    let line = error.message().lines().next().unwrap_or_default();
    let (what, expected) = match line.split_once(", expected ") {
        Some((what, expected)) => (what, Some(expected)),
        None => (line, None),
    };
    let mut problem = Problem::new("sheet-file", what);
    if let Some(expected) = expected {
        problem = problem.help(format!("expected {expected}"));
    }
    match error.span() {
        Some(span) => problem.at(span, ""),
        None => problem,
    }
}

fn sound(sheet: &SheetDef) -> Result<(), Problem> {
    let mut names = BTreeSet::new();
    if sheet.columns.is_empty() {
        let what = format!("sheet `{}` has no columns", sheet.name);
        return Err(Problem::new("sheet-file", what).help("its first column names the rows"));
    }
    for column in &sheet.columns {
        if !names.insert(&column.name) {
            return Err(wrong(
                column,
                "stands twice",
                "give each column its own name",
            ));
        }
        sound_column(column)?;
    }
    for name in &sheet.ledger {
        if !names.remove(name) {
            let what = format!("`ledger` names `{name}`, which is no column or stands there twice");
            return Err(Problem::new("sheet-file", what).help("name each column once"));
        }
    }
    Ok(())
}

fn sound_column(column: &ColumnDef) -> Result<(), Problem> {
    let kind = column.kind;
    if (kind == ColumnKind::Choice) == column.choices.is_empty() {
        let step = "`choices` lists the words of a column of kind choice, and of no other";
        return Err(wrong(column, "has no fitting choices", step));
    }
    if (kind == ColumnKind::Row) != column.to.is_some() {
        let step = "`to` names the sheet of a column of kind row, and of no other";
        return Err(wrong(column, "points to no fitting sheet", step));
    }
    if kind == ColumnKind::Flag && column.entered() {
        let step = "a flag is computed; for a word to enter use a choice of yes and no";
        return Err(wrong(column, "is a flag without a formula", step));
    }
    Ok(())
}

fn wrong(column: &ColumnDef, what: &str, step: &str) -> Problem {
    Problem::new("sheet-file", format!("column `{}` {what}", column.name)).help(step)
}

#[cfg(test)]
mod tests {
    use super::*;

    const SHEET: &str = "name = \"tanks\"\ntitle = \"Tanks\"\ndoc = \"A tank.\"\n\
                         [[column]]\nname = \"id\"\ntitle = \"Tank\"\ndoc = \"Its name.\"\nkind = \"text\"\n";

    fn column(keys: &str) -> String {
        format!("{SHEET}[[column]]\nname = \"x\"\ntitle = \"X\"\ndoc = \"An x.\"\n{keys}\n")
    }

    #[test]
    fn a_sheet_is_read_whole() {
        let text = column("kind = \"row\"\nto = \"media\"\nquiet = true");
        let sheet = load(&text, "tanks.toml").unwrap();
        assert_eq!(sheet.column("x"), Some(1));
        assert!(sheet.columns[1].quiet && sheet.columns[1].entered());
        assert!(!sheet.reference && sheet.checks.is_empty() && sheet.ledger.is_empty());
    }

    #[test]
    fn a_mistake_has_its_place() {
        let text = column("kind = \"number\"\ncolour = \"aqua\"");
        let problem = load(&text, "tanks.toml").unwrap_err();
        let place = problem.place.unwrap();
        assert_eq!(place.origin, "tanks.toml");
        assert_eq!(&text[place.labels[0].span.clone()], "colour");
        assert_eq!(problem.message, "unknown field `colour`");
        assert!(problem.help[0].starts_with("expected one of"));
    }

    #[test]
    fn keys_that_do_not_go_together_are_told() {
        let cases = [
            ("kind = \"choice\"", "has no fitting choices"),
            (
                "kind = \"text\"\nchoices = [\"a\"]",
                "has no fitting choices",
            ),
            ("kind = \"row\"", "points to no fitting sheet"),
            (
                "kind = \"text\"\nto = \"media\"",
                "points to no fitting sheet",
            ),
            ("kind = \"flag\"", "is a flag without a formula"),
        ];
        for (keys, expected) in cases {
            let problem = load(&column(keys), "tanks.toml").unwrap_err();
            assert_eq!(problem.message, format!("column `x` {expected}"), "{keys}");
        }
        let twice = column("kind = \"text\"").replace("\"x\"", "\"id\"");
        assert_eq!(
            load(&twice, "a.toml").unwrap_err().message,
            "column `id` stands twice"
        );
        for ledger in ["ledger = [\"weight\"]", "ledger = [\"id\", \"id\"]"] {
            let text = SHEET.replace("[[column]]", &format!("{ledger}\n[[column]]"));
            let problem = load(&text, "a.toml").unwrap_err();
            assert!(problem.message.starts_with("`ledger` names"), "{ledger}");
        }
        let severity = format!(
            "{SHEET}[[check]]\nname = \"a\"\ndoc = \"A.\"\nsource = \"none\"\n\
             [[check.case]]\nwhen = \"yes\"\nseverity = \"bad\"\nsay = \"a\"\nadvise = \"b\"\n"
        );
        let problem = load(&severity, "a.toml").unwrap_err();
        assert_eq!(
            problem.message,
            "severity `bad` is not stop, caution or note"
        );
    }
}
