//! Help for formulas and conditions: the check, the value on the current row, and the call that
//! the cursor is in. Words that may be meant are in `names.rs`.

use super::advice::Advice;
use super::advice::moved;
use super::names;
use crate::desk::Desk;
use crate::formula::Formula;
use crate::formula::Function;
use crate::formula::Node;
use crate::formula::Ty;
use crate::formula::assist::Call;
use crate::formula::assist::Spot;
use crate::formula::assist::Typing;
use crate::formula::assist::spot;
use crate::formula::check_unit;
use crate::formula::functions::More;
use crate::problem::Problem;
use crate::screen::page::Line;
use crate::screen::theme::Tone;
use crate::table::Cell;
use crate::table::ColumnId;
use crate::table::RowId;
use crate::table::SheetId;
use crate::units::Unit;
use crate::units::Units;
use crate::units::shown;
use std::collections::HashMap;

/// How many rows a preview may go through; more would be felt while typing.
const MOST_GATHERED: usize = 200_000;

/// How many problems are told at once.
const MOST_PROBLEMS: usize = 3;

/// Where a formula is asked about.
#[derive(Debug, Clone, Copy)]
pub(super) struct Ask<'a> {
    /// The plan.
    pub desk: &'a Desk,
    /// The sheet of the formula.
    pub sheet: SheetId,
    /// The row of the preview.
    pub row: Option<RowId>,
    /// The whole text of the line.
    pub whole: &'a str,
    /// The byte of it at which the formula begins.
    pub from: usize,
    /// The byte of it the cursor stands before.
    pub cursor: usize,
}

impl<'a> Ask<'a> {
    /// The text of the formula.
    pub fn text(&self) -> &'a str {
        self.whole.get(self.from..).unwrap_or_default()
    }

    fn spot(&self) -> Spot {
        spot(self.text(), self.cursor.saturating_sub(self.from))
    }

    /// A row with its name, to compute on.
    fn at(&self) -> Option<(SheetId, RowId)> {
        self.row.map(|row| (self.sheet, row))
    }

    /// What the row is called.
    pub fn row_name(&self) -> String {
        self.row
            .map_or(String::new(), |row| self.desk.plan().id(self.sheet, row))
    }

    /// Reads and checks the formula; marks of problems point into the whole text.
    pub fn compile(&self) -> Result<Formula, Vec<Problem>> {
        let compiled = self
            .desk
            .engine()
            .compile(self.desk.plan(), self.text(), Some(self.sheet));
        compiled.map_err(|problems| self.placed(problems))
    }

    /// Problems with marks in the whole text, from left to right.
    pub fn placed(&self, problems: Vec<Problem>) -> Vec<Problem> {
        let moved = |problem| moved(problem, self.from, self.whole);
        let mut problems: Vec<Problem> = problems.into_iter().map(moved).collect();
        problems.sort_by_key(start);
        problems.truncate(MOST_PROBLEMS);
        problems
    }
}

fn start(problem: &Problem) -> usize {
    let first = problem
        .place
        .as_ref()
        .and_then(|place| place.labels.first());
    first.map_or(usize::MAX, |label| label.span.start)
}

/// What is known of a formula for a column.
pub(super) fn for_column(ask: Ask<'_>, column: usize, offering: bool) -> Advice {
    let mut advice = Advice::default();
    let id = ask.desk.engine().column(ask.sheet, column);
    let Some(def) = ask.desk.plan().def(ask.sheet).columns.get(column) else {
        advice.problems.push(
            Problem::new(
                "column-check",
                "this column comes from a check or a verdict",
            )
            .help("change the check in the plan file"),
        );
        return advice;
    };
    if ask.text().trim().is_empty() {
        advice.tell("empty: the built-in formula counts again", Tone::Plain);
        return helped(ask, advice, offering);
    }
    let wanted = ask.desk.engine().graph().nodes[id.at()].ty;
    let checked = ask.compile().and_then(|formula| {
        let is_fit = check_unit(&formula, wanted).and_then(|()| no_loop(ask.desk, id, &formula));
        is_fit.map_err(|problem| ask.placed(vec![problem]))?;
        Ok(formula)
    });
    match checked {
        Ok(formula) => {
            let show = |cell: &Cell| ask.desk.engine().shown_cell(id, cell);
            if let Some(value) = preview(ask, &formula, show) {
                let now = ask.row.map_or(String::new(), |row| {
                    ask.desk.engine().shown(ask.desk.plan(), id, row)
                });
                let now = if now.is_empty() {
                    "unknown".to_owned()
                } else {
                    now
                };
                advice.tell(format!("{value}; now {now}"), Tone::Computed);
            }
        }
        Err(problems) => advice.problems = problems,
    }
    advice.tell(def.doc.clone(), Tone::Quiet);
    helped(ask, advice, offering)
}

/// What is known of a condition.
pub(super) fn for_condition(ask: Ask<'_>, offering: bool) -> Advice {
    let mut advice = Advice::default();
    if ask.text().trim().is_empty() {
        advice.tell(
            "a condition such as `margin < 1 dB`; empty shows all rows",
            Tone::Quiet,
        );
        return helped(ask, advice, offering);
    }
    match ask.compile().and_then(|formula| condition(ask, formula)) {
        Ok(formula) => {
            let show = |cell: &Cell| match cell {
                Cell::Flag(true) => "yes, it stays in view".to_owned(),
                Cell::Flag(false) => "no, it is put out of view".to_owned(),
                Cell::Number(_) | Cell::Text(_) | Cell::Missing | Cell::Failed => String::new(),
            };
            match preview(ask, &formula, show) {
                Some(value) => advice.tell(value, Tone::Computed),
                None => advice.tell("gives yes or no", Tone::Computed),
            }
        }
        Err(problems) => advice.problems = problems,
    }
    helped(ask, advice, offering)
}

/// The formula when it says yes or no.
fn condition(ask: Ask<'_>, formula: Formula) -> Result<Formula, Vec<Problem>> {
    if formula.ty == Ty::Flag {
        return Ok(formula);
    }
    let gives = gives(ask.desk, formula.ty);
    let text = ask.text().trim();
    let help = match formula.ty {
        Ty::Number(measure) => {
            let unit = Units::builtin().default_for(measure).symbol;
            format!("compare it: `{}`", format!("{text} < 1 {unit}").trim_end())
        }
        Ty::Text | Ty::Row(_) => format!("compare it: `{text} == \"...\"`"),
        Ty::Flag => String::new(),
    };
    let problem = Problem::new(
        "no-condition",
        format!("a condition gives yes or no, this gives {gives}"),
    )
    .at(formula.tree.span.clone(), "")
    .within("formula", text)
    .help(help);
    Err(ask.placed(vec![problem]))
}

/// What a formula gives, in words.
pub(super) fn gives(desk: &Desk, ty: Ty) -> String {
    match ty {
        Ty::Number(measure) => match Units::builtin().default_for(measure).symbol.as_str() {
            "" => "a plain number".to_owned(),
            unit => format!("a value in {unit}"),
        },
        Ty::Text => "a text".to_owned(),
        Ty::Flag => "yes or no".to_owned(),
        Ty::Row(sheet) => format!("a {}", desk.plan().def(sheet).row_word()),
    }
}

/// The value on the current row with its name before it; none without a row.
pub(super) fn preview(
    ask: Ask<'_>,
    formula: &Formula,
    show: impl Fn(&Cell) -> String,
) -> Option<String> {
    ask.row?;
    let name = ask.row_name();
    if !is_quick(ask.desk, formula) {
        return Some(format!(
            "{name}: not computed while typing, it goes through too many rows"
        ));
    }
    let plan = ask.desk.plan();
    let cell = ask
        .desk
        .engine()
        .evaluate_part(plan, &formula.tree, ask.at());
    let text = show(&cell);
    if !text.is_empty() {
        return Some(format!("{name}: {text}"));
    }
    let absent = formula.leaves().into_iter().find(|leaf| {
        let cell = ask.desk.engine().evaluate_part(plan, leaf, ask.at());
        matches!(cell, Cell::Missing | Cell::Failed)
    });
    let because = absent.and_then(|leaf| formula.text.get(leaf.span.clone()));
    Some(match because {
        Some(part) => format!("{name}: unknown, because `{part}` has no value there"),
        None => format!("{name}: unknown, the result is no number"),
    })
}

/// Whether a formula can be computed for one row between two keys.
fn is_quick(desk: &Desk, formula: &Formula) -> bool {
    let n_rows = |sheet| desk.plan().rows(sheet).n_stored();
    let gathered: usize = formula
        .aggregates
        .iter()
        .map(|part| n_rows(part.over))
        .sum();
    let searched = formula.lookups.iter().map(|lookup| {
        let sizes = lookup.keys.iter().map(|(column, _)| {
            match desk.engine().graph().nodes[column.at()].ty {
                Ty::Row(sheet) => n_rows(sheet).max(1),
                Ty::Number(_) | Ty::Text | Ty::Flag => 1,
            }
        });
        sizes.fold(1_usize, usize::saturating_mul)
    });
    searched.fold(gathered, usize::saturating_add) <= MOST_GATHERED
}

/// The unit in which a value of a formula that is not of a column yet is shown: one of its text,
/// of a column it reads, or the usual one.
pub(super) fn unit_for(desk: &Desk, formula: &Formula) -> Unit {
    let Ty::Number(measure) = formula.ty else {
        return Unit::none();
    };
    if let Some(unit) = &formula.unit_hint {
        return unit.clone();
    }
    let units = formula
        .leaves()
        .into_iter()
        .filter_map(|leaf| match &leaf.node {
            Node::Column { id, .. } | Node::Fetch { column: id, .. } => {
                Some(desk.engine().unit(*id))
            }
            _ => None,
        });
    let mut fitting = units.filter(|unit| unit.measure == measure && !unit.symbol.is_empty());
    let found = fitting.next().cloned();
    found.unwrap_or_else(|| Units::builtin().default_for(measure))
}

/// A value in a unit, for a person; empty where there is none.
pub(super) fn shown_in(unit: &Unit, cell: &Cell) -> String {
    match cell {
        Cell::Number(value) => shown(*value, unit, None),
        Cell::Text(text) => text.clone(),
        Cell::Flag(true) => "yes".to_owned(),
        Cell::Flag(false) => "no".to_owned(),
        Cell::Missing | Cell::Failed => String::new(),
    }
}

/// Refuses a formula through which a column would read itself.
fn no_loop(desk: &Desk, column: ColumnId, formula: &Formula) -> Result<(), Problem> {
    let nodes = &desk.engine().graph().nodes;
    let mut from: HashMap<ColumnId, Option<ColumnId>> = HashMap::new();
    let mut open: Vec<ColumnId> = Vec::new();
    for read in formula.reads() {
        from.insert(read, None);
        open.push(read);
    }
    while let Some(at) = open.pop() {
        if at == column {
            return Err(looped(desk, column, &from));
        }
        for read in nodes.get(at.at()).map_or(&[][..], |node| &node.reads) {
            from.entry(read.column).or_insert_with(|| {
                open.push(read.column);
                Some(at)
            });
        }
    }
    Ok(())
}

fn looped(desk: &Desk, column: ColumnId, from: &HashMap<ColumnId, Option<ColumnId>>) -> Problem {
    let name = |column: ColumnId| {
        let def = desk.engine().def(column)?;
        let sheet = desk.engine().graph().nodes[column.at()].sheet;
        Some(format!("{}.{}", desk.plan().def(sheet).name, def.name))
    };
    let (mut around, mut at) = (vec![column], column);
    while let Some(Some(before)) = from.get(&at) {
        around.push(*before);
        at = *before;
    }
    around.push(column);
    around.reverse();
    let names: Vec<String> = around.into_iter().filter_map(name).collect();
    Problem::new("cycle", "the column would depend on itself")
        .help(format!("the loop is {}", names.join(" -> ")))
}

/// Adds the call that the cursor is in, and words that may be meant.
pub(super) fn helped(ask: Ask<'_>, mut advice: Advice, offering: bool) -> Advice {
    if ask.cursor < ask.from {
        return advice;
    }
    let spot = ask.spot();
    let library = &ask.desk.engine().knowledge().library;
    let called = spot
        .calls
        .iter()
        .rev()
        .find_map(|call| Some((call, library.get(&call.name)?)));
    if let Some((call, function)) = called {
        signature(call, function, &mut advice);
    }
    if offering {
        let found = names::offers(ask, &spot);
        advice.patient = !found.0.is_empty() && is_begun(ask, &spot, &advice.problems);
        advice.offers = found.0;
        advice.partly = found.1;
    }
    advice
}

/// Whether all that is wrong is the word at the cursor, which may only be begun.
fn is_begun(ask: Ask<'_>, spot: &Spot, problems: &[Problem]) -> bool {
    let (Typing::Name { span, .. } | Typing::Text { span, .. }) = &spot.typing else {
        return false;
    };
    let [
        Problem {
            place: Some(place), ..
        },
    ] = problems
    else {
        return false;
    };
    let end = span.end + ask.from;
    ask.cursor == end && place.labels.iter().all(|label| label.span.end == end)
}

/// The function with its arguments, the one at the cursor named again in words.
fn signature(call: &Call, function: &Function, advice: &mut Advice) {
    let last = function.params.len().saturating_sub(1);
    let here = match function.more {
        More::Repeated => call.argument.min(last),
        More::No | More::Optional => call.argument,
    };
    let mut line = Line::plain(format!("{}(", function.name));
    for (at, param) in function.params.iter().enumerate() {
        let tone = if at == here { Tone::Key } else { Tone::Plain };
        if at > 0 {
            line = line.with(", ", Tone::Plain);
        }
        line = line.with(param.name, tone);
    }
    let more = match function.more {
        More::Repeated => ", ...)",
        More::No | More::Optional => ")",
    };
    line = line.with(more, Tone::Plain);
    line = match function.params.get(here) {
        Some(param) => line.with(format!("   {}: {}", param.name, param.doc), Tone::Plain),
        None => line.with("   no more arguments", Tone::Wrong),
    };
    advice.told.push(super::advice::Told::Line(line));
    advice.tell(function.doc, Tone::Quiet);
}
