//! What a line can be for: where its text begins, what it is called, what is known of the text.

use super::advice::Advice;
use super::cell;
use super::formula;
use super::formula::Ask;
use super::own;
use crate::desk::Desk;
use crate::plan::Entry as Content;
use crate::problem::Problem;
use crate::screen::theme::Tone;
use crate::study::sweep::Axis;
use crate::study::sweep::Knob;
use crate::table::ParamId;
use crate::table::RowId;
use crate::table::SheetId;
use crate::units::Unit;
use crate::units::significant;

/// What a line is for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Purpose {
    /// An entered cell.
    Cell {
        /// The sheet.
        sheet: SheetId,
        /// The row.
        row: RowId,
        /// Position of the column in the sheet.
        column: usize,
    },
    /// One value for a column of several rows.
    Cells {
        /// The sheet.
        sheet: SheetId,
        /// The rows.
        rows: Vec<RowId>,
        /// Position of the column in the sheet.
        column: usize,
    },
    /// The name of a new row.
    Id {
        /// The sheet.
        sheet: SheetId,
        /// The row it is a copy of.
        like: Option<RowId>,
        /// The row it comes after.
        after: Option<RowId>,
    },
    /// The value of an assumption; empty for the built-in one.
    Assumption(ParamId),
    /// Where the value of an assumption comes from.
    AssumptionSource {
        /// The assumption.
        param: ParamId,
        /// The value that was typed before.
        value: String,
    },
    /// The formula of a column.
    Formula {
        /// The sheet.
        sheet: SheetId,
        /// Position of the column in the sheet.
        column: usize,
        /// The row of the preview.
        row: Option<RowId>,
    },
    /// A column of the person's own; see [`super::read_column`].
    Column {
        /// The sheet.
        sheet: SheetId,
        /// The row of the preview.
        row: Option<RowId>,
    },
    /// A condition that rows are kept by.
    Keep {
        /// The sheet.
        sheet: SheetId,
        /// The row of the preview.
        row: Option<RowId>,
    },
    /// The range that a knob is turned over, and the row that is looked at.
    Sweep {
        /// What is turned.
        knob: Knob,
        /// The row.
        of: (SheetId, RowId),
    },
    /// A text to look for.
    Find,
    /// The file to save the plan to.
    SaveAs,
    /// The file to write a table to.
    CopyTo,
    /// The name of a new proposal.
    Proposal,
    /// The file to read a table from.
    ImportFrom,
    /// The workbook that came back.
    MergeFrom,
    /// Where the cells under a heading of a table go.
    Heading {
        /// The heading.
        heading: String,
        /// Where they go now.
        now: String,
    },
    /// The file to write pages for people to.
    Export,
    /// A part of a name in a list.
    Needle(NeedleFor),
}

/// The list that a needle is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NeedleFor {
    /// All actions.
    Actions,
    /// All functions.
    Functions,
    /// The columns of a sheet.
    Columns,
}

/// How many names are tried for a new row.
const MOST_TRIED: u32 = 40;

impl Purpose {
    /// What the line is called.
    pub(super) fn label(&self, desk: &Desk) -> String {
        let plan = desk.plan();
        let column_name = |sheet: SheetId, column: usize| {
            let def = desk.engine().schema()[sheet.at()].columns.get(column);
            def.map_or("", |def| def.name.as_str())
        };
        let param_name = |param: ParamId| {
            let known = plan.assumptions().get(param.at());
            known.map_or("assumption", |known| known.def.name.as_str())
        };
        match self {
            Self::Cell { sheet, row, column } => {
                format!(
                    "{} of {}",
                    column_name(*sheet, *column),
                    plan.id(*sheet, *row)
                )
            }
            Self::Cells {
                sheet,
                rows,
                column,
            } => format!("{} of {} rows", column_name(*sheet, *column), rows.len()),
            Self::Id { sheet, .. } => format!("name of the new {}", plan.def(*sheet).row_word()),
            Self::Assumption(param) => format!("assume {}", param_name(*param)),
            Self::AssumptionSource { param, .. } => format!("source of {}", param_name(*param)),
            Self::Formula { sheet, column, .. } => format!("{} =", column_name(*sheet, *column)),
            Self::Column { sheet, .. } => format!("own column of {}", plan.def(*sheet).name),
            Self::Keep { .. } => "keep rows where".to_owned(),
            Self::Sweep { knob, .. } => match knob {
                Knob::Cell(sheet, row, column) => format!(
                    "sweep {} of {}",
                    column_name(*sheet, *column),
                    plan.id(*sheet, *row)
                ),
                Knob::Assumption(param) => format!("sweep {}", param_name(*param)),
            },
            Self::Find => "find".to_owned(),
            Self::SaveAs => "save as".to_owned(),
            Self::CopyTo => "copy into file".to_owned(),
            Self::Proposal => "name of the new proposal".to_owned(),
            Self::ImportFrom => "import from file".to_owned(),
            Self::MergeFrom => "merge from file".to_owned(),
            Self::Heading { heading, .. } => format!("`{heading}` is"),
            Self::Export => "export to file".to_owned(),
            Self::Needle(NeedleFor::Actions) => "action".to_owned(),
            Self::Needle(NeedleFor::Functions) => "function".to_owned(),
            Self::Needle(NeedleFor::Columns) => "column".to_owned(),
        }
    }

    /// The text the line begins with.
    pub(super) fn content(&self, desk: &Desk) -> String {
        match self {
            Self::Cell { sheet, row, column } => cell::typed(desk, *sheet, *column, *row),
            Self::Cells {
                sheet,
                rows,
                column,
            } => cell::common(desk, *sheet, *column, rows),
            Self::Id { sheet, like, after } => next_name(desk, *sheet, like.or(*after)),
            Self::Assumption(param) => desk
                .plan()
                .assumptions()
                .get(param.at())
                .map_or_else(String::new, |known| {
                    cell::as_typed(desk, &known.entry, &known.unit)
                }),
            Self::AssumptionSource { param, .. } => {
                let known = desk.plan().assumptions().get(param.at());
                let own = known.filter(|known| known.own);
                own.map_or_else(String::new, |known| known.source.clone())
            }
            Self::Formula { sheet, column, .. } => {
                let def = desk.plan().def(*sheet).columns.get(*column);
                def.and_then(|def| def.formula.clone()).unwrap_or_default()
            }
            Self::Sweep { knob, .. } => usual_range(desk, *knob),
            Self::SaveAs => desk
                .path()
                .map_or_else(String::new, |path| path.to_string_lossy().into_owned()),
            Self::Heading { now, .. } => now.clone(),
            Self::Export => desk.path().map_or_else(String::new, |path| {
                path.with_extension("xlsx").to_string_lossy().into_owned()
            }),
            Self::Column { .. }
            | Self::Keep { .. }
            | Self::Find
            | Self::CopyTo
            | Self::Proposal
            | Self::ImportFrom
            | Self::MergeFrom
            | Self::Needle(_) => String::new(),
        }
    }

    /// Whether it is a cell, from which Tab goes on to the next.
    pub(super) fn is_cell(&self) -> bool {
        match self {
            Self::Cell { .. } | Self::Cells { .. } => true,
            Self::Id { .. }
            | Self::Assumption(_)
            | Self::AssumptionSource { .. }
            | Self::Formula { .. }
            | Self::Column { .. }
            | Self::Keep { .. }
            | Self::Sweep { .. }
            | Self::Find
            | Self::SaveAs
            | Self::CopyTo
            | Self::Proposal
            | Self::ImportFrom
            | Self::MergeFrom
            | Self::Heading { .. }
            | Self::Export
            | Self::Needle(_) => false,
        }
    }

    /// Whether an offer is the whole text, so that choosing one is enough.
    pub(super) fn is_word(&self) -> bool {
        self.is_cell()
    }

    /// The byte at which a formula begins in the text, where there is one.
    pub(super) fn formula_start(&self, text: &str) -> Option<usize> {
        match self {
            Self::Formula { .. } | Self::Keep { .. } => Some(0),
            Self::Column { .. } => Some(own::formula_start(text)),
            Self::Cell { .. }
            | Self::Cells { .. }
            | Self::Id { .. }
            | Self::Assumption(_)
            | Self::AssumptionSource { .. }
            | Self::Sweep { .. }
            | Self::Find
            | Self::SaveAs
            | Self::CopyTo
            | Self::Proposal
            | Self::ImportFrom
            | Self::MergeFrom
            | Self::Heading { .. }
            | Self::Export
            | Self::Needle(_) => None,
        }
    }
}

/// What is known of a text for a purpose.
pub(super) fn advise(
    purpose: &Purpose,
    desk: &Desk,
    text: &str,
    cursor: usize,
    touched: bool,
) -> Advice {
    let ask = |sheet, row| Ask {
        desk,
        sheet,
        row,
        whole: text,
        from: 0,
        cursor,
    };
    match purpose {
        Purpose::Cell { sheet, row, column } => {
            let like = if touched { text } else { "" };
            cell::advise(desk, *sheet, &[*row], *column, text, like)
        }
        Purpose::Cells {
            sheet,
            rows,
            column,
        } => {
            let like = if touched { text } else { "" };
            cell::advise(desk, *sheet, rows, *column, text, like)
        }
        Purpose::Id { sheet, like, .. } => new_name(desk, *sheet, *like, text),
        Purpose::Assumption(param) => assumption(desk, *param, text),
        Purpose::AssumptionSource { .. } => source(text),
        Purpose::Formula { sheet, column, row } => {
            formula::for_column(ask(*sheet, *row), *column, touched)
        }
        Purpose::Column { sheet, row } => own::advise(desk, *sheet, *row, text, cursor, touched),
        Purpose::Keep { sheet, row } => formula::for_condition(ask(*sheet, *row), touched),
        Purpose::Sweep { knob, .. } => range(desk, *knob, text),
        Purpose::Find => Advice::of("looks for a part of a cell, without regard to case"),
        Purpose::SaveAs => file(text, "the plan keeps this name, for example campus.plan"),
        Purpose::CopyTo => file(
            text,
            "a table with tabs between its cells, for example links.tsv",
        ),
        Purpose::Proposal => proposal(desk, text),
        Purpose::ImportFrom => file(
            text,
            "a table of links, for example cables.xlsx or links.csv",
        ),
        Purpose::MergeFrom => file(
            text,
            "a workbook of this plan that came back, for example returned.xlsx",
        ),
        Purpose::Heading { .. } => heading(desk, text),
        Purpose::Export => file(
            text,
            "the ending says as what: .xlsx a workbook, .ods, .html a page to print, .txt a work list, .csv, .tsv, .json",
        ),
        Purpose::Needle(_) => Advice::default(),
    }
}

/// A range around the present value.
fn usual_range(desk: &Desk, knob: Knob) -> String {
    let (entry, symbol) = match knob {
        Knob::Cell(sheet, row, column) => {
            let def = desk.plan().def(sheet).columns.get(column);
            let unit = cell::unit_of(def.map_or("", |def| def.unit.as_str()));
            let entry = desk.plan().entry(sheet, column, row);
            (number_in(&entry, &unit), unit.symbol)
        }
        Knob::Assumption(param) => match desk.plan().assumptions().get(param.at()) {
            Some(known) => (
                number_in(&known.entry, &known.unit),
                known.unit.symbol.clone(),
            ),
            None => (None, String::new()),
        },
    };
    let (from, to) = match entry.filter(|value| *value > 0.0) {
        Some(value) if symbol.is_empty() && value.fract() == 0.0 => (0.0, value * 2.0 + 2.0),
        Some(value) => (value / 4.0, value * 4.0),
        None => (1.0, 100.0),
    };
    let [from, to] = [from, to].map(|value| significant(value, 4));
    let range = format!("{from} {symbol} to {to} {symbol}");
    range.split_whitespace().collect::<Vec<_>>().join(" ")
}

fn number_in(entry: &Content, unit: &Unit) -> Option<f64> {
    match entry {
        Content::Number(value) => Some(unit.from_base(*value)),
        Content::Empty | Content::Text(_) | Content::Wrong(_) => None,
    }
}

/// What is known of a range.
fn range(desk: &Desk, knob: Knob, text: &str) -> Advice {
    let mut advice = Advice::of("from where to where, and in how many steps: 10 m to 400 m in 40");
    match Axis::new(desk.plan(), knob, text) {
        Ok(axis) => advice.tell(
            format!("{} steps; the plan stays as it is", axis.n_steps),
            Tone::Plain,
        ),
        Err(problem) => advice.problems.push(problem),
    }
    advice
}

fn proposal(desk: &Desk, text: &str) -> Advice {
    let mut advice = Advice::of(match desk.within() {
        Some(_) => "stands on the proposal that you are in; edits then belong to it",
        None => "stands on the base; edits then belong to it, and the base stays as it is",
    });
    if let Err(problem) = desk.plan().propose_edit(text, "", None) {
        advice.patient = text.trim().is_empty();
        advice.problems.push(problem);
    }
    advice
}

/// The columns that a heading can be, those first whose names begin with the text.
fn heading(desk: &Desk, text: &str) -> Advice {
    let mut advice = Advice::of(
        "a column, with a unit where bare numbers are in another one (length:ft); `text` keeps the \
         cells as they are, `-` leaves them out, empty goes by the heading",
    );
    let plan = desk.plan();
    let Some(sheet) = plan.sheet("links") else {
        return advice;
    };
    let typed = text
        .split(':')
        .next()
        .unwrap_or_default()
        .trim()
        .to_lowercase();
    let columns = plan.entered(sheet).map(|at| plan.column(sheet, at));
    let meant: Vec<&str> = columns
        .map(|def| def.name.as_str())
        .filter(|name| name.starts_with(&typed))
        .collect();
    match meant.as_slice() {
        [one] if *one == typed => {
            let at = plan.def(sheet).column(one);
            advice.tell(
                at.map_or_else(String::new, |at| plan.column(sheet, at).doc.clone()),
                Tone::Plain,
            );
        }
        [] => {}
        several => advice.tell(several.join(", "), Tone::Plain),
    }
    advice
}

fn file(text: &str, told: &str) -> Advice {
    let mut advice = Advice::of(told);
    if text.trim().is_empty() {
        advice.patient = true;
        advice.problems.push(
            Problem::new("name-missing", "the file needs a name").help("Esc leaves it as it is"),
        );
    }
    advice
}

fn source(text: &str) -> Advice {
    let mut advice =
        Advice::of("where the value comes from: a standard, a measurement, a house rule");
    if text.trim().is_empty() {
        advice.patient = true;
        advice.problems.push(
            Problem::new(
                "source-missing",
                "a value of the whole plan needs its source",
            )
            .help("write who or what it comes from; Esc leaves the old value"),
        );
    }
    advice
}

fn assumption(desk: &Desk, param: ParamId, text: &str) -> Advice {
    let mut advice = Advice::default();
    let Some(known) = desk.plan().assumptions().get(param.at()) else {
        return advice;
    };
    match desk.plan().read_assumption(param, text) {
        Ok(Content::Number(value)) => cell::read_as(value, text, &known.unit, &mut advice),
        Ok(Content::Empty) => {
            let builtin = format!("{} {}", known.def.value, known.def.unit);
            advice.tell(
                format!("empty: the built-in value counts, {}", builtin.trim_end()),
                Tone::Plain,
            );
        }
        Ok(Content::Text(_) | Content::Wrong(_)) => {}
        Err(problem) => advice.problems.push(problem),
    }
    advice.tell(known.def.doc.clone(), Tone::Quiet);
    advice.tell(format!("now from: {}", known.source), Tone::Quiet);
    advice
}

/// What is known of the name of a new row.
fn new_name(desk: &Desk, sheet: SheetId, like: Option<RowId>, text: &str) -> Advice {
    let mut advice = Advice::default();
    let def = desk.plan().def(sheet);
    let one = def.row_word();
    let there = desk
        .plan()
        .find(sheet, text)
        .filter(|_| !text.trim().is_empty());
    match there {
        Some(_) if def.reference => advice.tell(
            format!("there is a {one} of this name; the later row counts"),
            Tone::Tight,
        ),
        Some(_) => advice.problems.push(
            Problem::new(
                "name-there",
                format!("there is already a {one} `{}`", text.trim()),
            )
            .help("choose another name"),
        ),
        None if text.trim().is_empty() => {
            advice.patient = true;
            let problem = Problem::new("name-missing", format!("a {one} needs a name"));
            advice.problems.push(problem.help("Esc adds none"));
        }
        None => {}
    }
    if let Some(like) = like {
        let id = desk.plan().id(sheet, like);
        advice.tell(format!("everything else as in {id}"), Tone::Plain);
    }
    if let Some(id) = def.columns.first() {
        advice.tell(id.doc.clone(), Tone::Quiet);
    }
    advice
}

/// The name of a row with the next number that is free; the name itself where it has no number
/// or many are taken.
fn next_name(desk: &Desk, sheet: SheetId, row: Option<RowId>) -> String {
    let Some(row) = row else {
        return String::new();
    };
    let id = desk.plan().id(sheet, row);
    let stem = id.trim_end_matches(|c: char| c.is_ascii_digit());
    let digits = &id[stem.len()..];
    let Ok(number) = digits.parse::<u32>() else {
        return id;
    };
    let names = (1..=MOST_TRIED).filter_map(|step| {
        let next = number.checked_add(step)?;
        Some(format!("{stem}{next:0width$}", width = digits.len()))
    });
    let mut free = names.filter(|name| desk.plan().find(sheet, name).is_none());
    free.next().unwrap_or(id)
}
