//! How a cell got its value: the formula, the numbers put in, and where each input comes from.
//!
//! Data only; lines of text are made by [`Reason::lines`], colours by whoever shows them.

use super::Engine;
use crate::formula::Formula;
use crate::formula::Node;
use crate::formula::Typed;
use crate::plan::Entry;
use crate::plan::Plan;
use crate::table::{ABSENT, Cell, ColumnId, RowId, SheetId};
use std::collections::HashSet;

/// The reason of one value.
#[derive(Debug, Clone, PartialEq)]
pub struct Reason {
    /// What it is called where it is used, e.g. `channel.reach`.
    pub name: String,
    /// The value, with its unit; `unknown` or `not entered` where there is none.
    pub value: String,
    /// Where it comes from, in words.
    pub origin: String,
    /// The formula, when it is computed.
    pub formula: Option<String>,
    /// The formula with values put in for names.
    pub numbers: Option<String>,
    /// The cell it stands in, to step there.
    pub cell: Option<(ColumnId, RowId)>,
    /// The reasons of what the formula reads, in the order of the formula.
    pub inputs: Vec<Reason>,
}

/// How deep reasons go; the deepest built-in chain has nine steps.
const DEEPEST: usize = 16;

impl Engine {
    /// The reason of a cell, with the reasons of all it reads.
    pub fn reason(&self, plan: &Plan, column: ColumnId, row: RowId) -> Reason {
        let name = self
            .def(column)
            .map_or_else(String::new, |def| def.name.clone());
        let mut told = HashSet::new();
        self.reason_of(plan, name, column, row, &mut told, 0)
    }

    fn reason_of(
        &self,
        plan: &Plan,
        name: String,
        column: ColumnId,
        row: RowId,
        told: &mut HashSet<(ColumnId, RowId)>,
        depth: usize,
    ) -> Reason {
        let entered = self.graph.nodes[column.at()].is_entered();
        let mut reason = Reason {
            name,
            value: self.value_or_word(plan, column, row, entered),
            origin: self.origin(plan, column, row),
            formula: None,
            numbers: None,
            cell: Some((column, row)),
            inputs: Vec::new(),
        };
        let Some(formula) = self.formula(column) else {
            return reason;
        };
        if !told.insert((column, row)) {
            reason.origin = "as above".to_owned();
            return reason;
        }
        reason.formula = Some(formula.text.clone());
        reason.numbers = Some(self.put_in(plan, formula, self.graph.nodes[column.at()].sheet, row));
        if depth < DEEPEST {
            let at = (self.graph.nodes[column.at()].sheet, row);
            reason.inputs = self.input_reasons(plan, formula, at, told, depth + 1);
        }
        reason
    }

    fn value_or_word(&self, plan: &Plan, column: ColumnId, row: RowId, entered: bool) -> String {
        let text = self.shown(plan, column, row);
        match (text.is_empty(), entered) {
            (false, _) => text,
            (true, true) => self.wrong_text(plan, column, row),
            (true, false) => "unknown".to_owned(),
        }
    }

    /// The words for an entered cell without a value.
    fn wrong_text(&self, plan: &Plan, column: ColumnId, row: RowId) -> String {
        let node = &self.graph.nodes[column.at()];
        let super::Source::Entered(position) = node.source else {
            return String::new();
        };
        match plan.entry(node.sheet, position, row) {
            Entry::Wrong(text) => format!("`{text}` could not be read"),
            Entry::Empty | Entry::Number(_) | Entry::Text(_) => "not entered".to_owned(),
        }
    }

    /// Where the value of a cell comes from, in words.
    fn origin(&self, plan: &Plan, column: ColumnId, row: RowId) -> String {
        let node = &self.graph.nodes[column.at()];
        let Some(def) = self.def(column) else {
            return String::new();
        };
        match (&node.source, self.schema[node.sheet.at()].reference) {
            (super::Source::Entered(_), true) => self.row_source(plan, &def.name, node.sheet, row),
            (super::Source::Entered(_), false) => match self.shown(plan, column, row).is_empty() {
                true => String::new(),
                false => "entered".to_owned(),
            },
            (super::Source::Broken, _) => "its formula has a problem".to_owned(),
            (super::Source::Shared { sum: None, .. }, _) => "counted over all links".to_owned(),
            (super::Source::Shared { sum: Some(_), .. }, _) => "added up over all links".to_owned(),
            _ => match self.schema[node.sheet.at()].column(&def.name) {
                Some(at) if plan.overridden(node.sheet, at).is_some() => "your formula".to_owned(),
                Some(at)
                    if at < plan.def(node.sheet).columns.len() && plan.is_own(node.sheet, at) =>
                {
                    "your column".to_owned()
                }
                _ => def.source.clone(),
            },
        }
    }

    /// The source and confidence of a cell of a reference row; a person's own row is named as
    /// such. A note that lists memory columns speaks for each column; else the row's mark does.
    fn row_source(&self, plan: &Plan, column: &str, sheet: SheetId, row: RowId) -> String {
        let text = |name: &str| match self.find_column(sheet, name) {
            Some(column) => self.shown(plan, column, row),
            None => String::new(),
        };
        let id = plan.id(sheet, row);
        let (source, note) = (text("source"), text("note"));
        let recalled = match note.split_once("memory columns:") {
            Some((_, list)) => list.split(';').next().is_some_and(|list| {
                list.split_whitespace()
                    .any(|name| name.trim_matches([',', '.']) == column)
            }),
            None => text("confidence") == "memory",
        };
        let mark = match (plan.rows(sheet).is_builtin(row), recalled) {
            (false, _) => "your row",
            (true, true) => "from memory",
            (true, false) => "seen",
        };
        format!("{id}; {source}; {mark}")
    }

    /// The text of a formula with the value of every name put in.
    fn put_in(&self, plan: &Plan, formula: &Formula, sheet: SheetId, row: RowId) -> String {
        let mut out = String::new();
        let mut from = 0;
        for leaf in formula.leaves() {
            if leaf.span.start < from {
                continue;
            }
            out.push_str(&formula.text[from..leaf.span.start]);
            out.push_str(&self.leaf_value(plan, leaf, (sheet, row)));
            from = leaf.span.end;
        }
        out.push_str(&formula.text[from..]);
        out
    }

    fn leaf_value(&self, plan: &Plan, leaf: &Typed, at: (SheetId, RowId)) -> String {
        match &leaf.node {
            Node::This => plan.id(at.0, at.1),
            _ => self.shown_part(plan, leaf, Some(at)),
        }
    }

    fn input_reasons(
        &self,
        plan: &Plan,
        formula: &Formula,
        at: (SheetId, RowId),
        told: &mut HashSet<(ColumnId, RowId)>,
        depth: usize,
    ) -> Vec<Reason> {
        let mut names = HashSet::new();
        let mut inputs = Vec::new();
        for leaf in formula.leaves() {
            let name = formula.text[leaf.span.clone()].to_owned();
            if names.insert(name.clone()) {
                inputs.push(self.leaf_reason(plan, leaf, name, at, told, depth));
            }
        }
        inputs
    }

    fn leaf_reason(
        &self,
        plan: &Plan,
        leaf: &Typed,
        name: String,
        at: (SheetId, RowId),
        told: &mut HashSet<(ColumnId, RowId)>,
        depth: usize,
    ) -> Reason {
        match &leaf.node {
            Node::Column { id, .. } => self.reason_of(plan, name, *id, at.1, told, depth),
            Node::Fetch { row, column, .. } => match self.row_of_part(plan, row, at) {
                Some(target) => self.reason_of(plan, name, *column, target, told, depth),
                None => plain(
                    name,
                    "unknown".to_owned(),
                    "there is no such row in the tables".to_owned(),
                ),
            },
            Node::Assumption(param) => {
                let assumption = &plan.assumptions()[param.at()];
                let mark = match (assumption.own, assumption.def.confidence.as_str()) {
                    (true, _) => "set in this plan",
                    (false, "memory") => "assumed, from memory",
                    (false, _) => "assumed, seen",
                };
                let value = self.leaf_value(plan, leaf, at);
                plain(name, value, format!("{mark}; {}", assumption.source))
            }
            Node::Aggregate(gathered) => {
                let sheet = &self.schema[gathered.over.at()].name;
                plain(
                    name,
                    self.leaf_value(plan, leaf, at),
                    format!("over the rows of {sheet}"),
                )
            }
            _ => plain(
                name,
                self.leaf_value(plan, leaf, at),
                "found by its keys".to_owned(),
            ),
        }
    }

    /// The row that a part of a formula names.
    fn row_of_part(&self, plan: &Plan, part: &Typed, at: (SheetId, RowId)) -> Option<RowId> {
        let row = match &part.node {
            Node::Column { id, .. } => self.row_at(*id, at.1),
            Node::Row(row) => *row,
            Node::This => at.1.0,
            _ => match (self.evaluate_part(plan, part, Some(at)), part.ty) {
                (Cell::Text(id), crate::formula::Ty::Row(sheet)) => return plan.find(sheet, &id),
                _ => ABSENT,
            },
        };
        (row != ABSENT).then_some(RowId(row))
    }
}

fn plain(name: String, value: String, origin: String) -> Reason {
    Reason {
        name,
        value,
        origin,
        formula: None,
        numbers: None,
        cell: None,
        inputs: Vec::new(),
    }
}

impl Reason {
    /// The reason as lines, inputs indented under what reads them.
    pub fn lines(&self) -> Vec<String> {
        let mut lines = Vec::new();
        self.add_lines(0, &mut lines);
        lines
    }

    fn add_lines(&self, depth: usize, lines: &mut Vec<String>) {
        let indent = "  ".repeat(depth);
        let origin = match self.origin.is_empty() {
            true => String::new(),
            false => format!("   [{}]", self.origin),
        };
        lines.push(format!("{indent}{}: {}{origin}", self.name, self.value));
        if let Some(formula) = &self.formula {
            lines.push(format!("{indent}  = {formula}"));
            if let Some(numbers) = self.numbers.as_ref().filter(|numbers| *numbers != formula) {
                lines.push(format!("{indent}  = {numbers}"));
            }
        }
        for input in &self.inputs {
            input.add_lines(depth + 1, lines);
        }
    }
}
