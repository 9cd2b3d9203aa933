//! How a cell got its value: the formula, the numbers put in, and where each input comes from.
//!
//! Data only; lines of text are made by [`Reason::lines`], colours by whoever shows them.

use super::Engine;
use super::inside::Inside;
use crate::formula::Form;
use crate::formula::Formula;
use crate::formula::Gathered;
use crate::formula::Node;
use crate::formula::Ty;
use crate::formula::Typed;
use crate::plan::Entry;
use crate::plan::Plan;
use crate::table::{ABSENT, Cell, ColumnId, ParamId, RowId, SheetId};
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
    /// The assumption it is.
    pub assumption: Option<ParamId>,
    /// The reasons of what the formula reads, in the order of the formula.
    pub inputs: Vec<Reason>,
}

/// How deep reasons go; the deepest built-in chain has nine steps.
const DEEPEST: usize = 16;

/// How many rows of an aggregate are listed one by one; more are told by their value alone.
const MOST_LISTED: usize = 8;

/// Of so many rows with the key of an aggregate each is asked whether it counts.
const MOST_ASKED: usize = 200;

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
            assumption: None,
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

    /// The names that decide the value of a formula: of a `pick` the condition and the side taken.
    fn leaves_read<'f>(
        &self,
        plan: &Plan,
        formula: &'f Formula,
        at: (SheetId, RowId),
    ) -> Vec<&'f Typed> {
        let mut skipped = Vec::new();
        self.sides_not_taken(plan, &formula.tree, at, &mut skipped);
        let inside = |leaf: &&Typed| {
            let within = |side: &&Typed| {
                side.span.start <= leaf.span.start && leaf.span.end <= side.span.end
            };
            !skipped.iter().any(within)
        };
        formula.leaves().into_iter().filter(inside).collect()
    }

    /// The sides of each `pick` that its condition leaves aside.
    fn sides_not_taken<'f>(
        &self,
        plan: &Plan,
        part: &'f Typed,
        at: (SheetId, RowId),
        skipped: &mut Vec<&'f Typed>,
    ) {
        let mut visit = |part| self.sides_not_taken(plan, part, at, skipped);
        match &part.node {
            Node::Call {
                form: Form::Pick,
                args,
                ..
            } => match (self.evaluate_part(plan, &args[0], Some(at)), &args[..]) {
                (Cell::Flag(taken), [condition, then, otherwise]) => {
                    visit(condition);
                    visit(if taken { then } else { otherwise });
                    skipped.push(if taken { otherwise } else { then });
                }
                _ => args.iter().for_each(visit),
            },
            Node::Call { args, .. } => args.iter().for_each(visit),
            Node::TextOf(x) | Node::Negate(x) | Node::Not(x) => visit(x),
            Node::Infix { a, b, .. } => {
                visit(a);
                visit(b);
            }
            Node::Number(_)
            | Node::Text(_)
            | Node::Flag(_)
            | Node::Missing
            | Node::Row(_)
            | Node::This
            | Node::Column { .. }
            | Node::Fetch { .. }
            | Node::Assumption(_)
            | Node::Parameter(_)
            | Node::Aggregate(_)
            | Node::RowOf { .. } => {}
        }
    }

    /// The text of a formula with the value of every name put in that decides its value.
    fn put_in(&self, plan: &Plan, formula: &Formula, sheet: SheetId, row: RowId) -> String {
        let mut out = String::new();
        let mut from = 0;
        for leaf in self.leaves_read(plan, formula, (sheet, row)) {
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
        for leaf in self.leaves_read(plan, formula, at) {
            let name = formula.text[leaf.span.clone()].to_owned();
            if names.insert(name.clone()) {
                inputs.push(self.leaf_reason(plan, leaf, name, at, told, depth));
            }
        }
        for Inside { name, part } in self.inside(plan, &formula.tree, at) {
            if names.insert(name.clone()) {
                inputs.push(self.leaf_reason(plan, &part, name, at, told, depth));
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
                let origin = format!("{mark}; {}", assumption.source);
                Reason {
                    assumption: Some(*param),
                    ..plain(name, value, origin)
                }
            }
            Node::Aggregate(gathered) => {
                let sheet = &self.schema[gathered.over.at()].name;
                let origin = format!("over the rows of {sheet}");
                let value = self.leaf_value(plan, leaf, at);
                let mut reason = plain(name, value, origin);
                if let Some(value) = &gathered.value {
                    let rows = self.few_rows(plan, gathered, at).into_iter();
                    reason.inputs = rows
                        .map(|row| self.part_of_sum(plan, gathered.over, value, row))
                        .collect();
                }
                reason
            }
            _ => plain(
                name,
                self.leaf_value(plan, leaf, at),
                "found by its keys".to_owned(),
            ),
        }
    }

    /// The rows that an aggregate counts, where it has a key and they are few enough to list.
    fn few_rows(&self, plan: &Plan, gathered: &Gathered, at: (SheetId, RowId)) -> Vec<RowId> {
        let Some((key, group)) = &gathered.key else {
            return Vec::new();
        };
        let Some(group) = self.row_of_part(plan, group, at) else {
            return Vec::new();
        };
        let mut rows: Vec<RowId> = match &self.groups[key.at()] {
            Some(groups) => {
                let rows = groups.rows(group.0).iter().copied().map(RowId);
                rows.take(MOST_ASKED + 1).collect()
            }
            None => {
                let order = plan.rows(gathered.over).order().iter().copied();
                let of_group = order.filter(|row| self.row_at(*key, *row) == group.0);
                of_group.take(MOST_ASKED + 1).collect()
            }
        };
        if rows.len() > MOST_ASKED {
            return Vec::new();
        }
        let counts = |part: &Typed, row: RowId| {
            self.evaluate_part(plan, part, Some((gathered.over, row))) == Cell::Flag(true)
        };
        rows.retain(|row| gathered.conditions.iter().all(|part| counts(part, *row)));
        match rows.len() <= MOST_LISTED {
            true => rows,
            false => Vec::new(),
        }
    }

    /// What one row brings to an aggregate.
    fn part_of_sum(&self, plan: &Plan, over: SheetId, value: &Typed, row: RowId) -> Reason {
        let shown = self.shown_part(plan, value, Some((over, row)));
        let cell = match &value.node {
            Node::Column { id, .. } => Some((*id, row)),
            _ => None,
        };
        Reason {
            cell,
            ..plain(plan.id(over, row), shown, String::new())
        }
    }

    /// The row that a part of a formula names.
    fn row_of_part(&self, plan: &Plan, part: &Typed, at: (SheetId, RowId)) -> Option<RowId> {
        let row = match &part.node {
            Node::Column { id, .. } => self.row_at(*id, at.1),
            Node::Row(row) => *row,
            Node::This => at.1.0,
            _ if matches!(part.ty, Ty::Row(_)) => self.code_of_part(plan, part, at.1),
            _ => ABSENT,
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
        assumption: None,
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
