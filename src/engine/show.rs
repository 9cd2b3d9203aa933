//! Values as text for people: in the unit of their column, rounded as the column says.

use super::Engine;
use super::scope::SchemaScope;
use crate::formula::Formula;
use crate::formula::Node;
use crate::formula::Ty;
use crate::formula::Typed;
use crate::plan::Plan;
use crate::problem::Problem;
use crate::table::{Cell, ColumnId, RowId, SheetId};
use crate::units::{Units, shown};

impl Engine {
    /// Reads and checks a formula without computing it.
    ///
    /// # Errors
    /// Every problem of the formula.
    pub fn compile(
        &self,
        plan: &Plan,
        text: &str,
        sheet: Option<SheetId>,
    ) -> Result<Formula, Vec<Problem>> {
        let scope = SchemaScope::new(plan, &self.schema);
        crate::formula::compile(text, sheet, &scope, &self.knowledge.library)
    }

    /// A cell as a person reads it, unit included; empty where there is nothing.
    pub fn shown(&self, plan: &Plan, column: ColumnId, row: RowId) -> String {
        self.shown_cell(column, &self.cell(plan, column, row))
    }

    /// A value of a column as a person reads it.
    pub fn shown_cell(&self, column: ColumnId, cell: &Cell) -> String {
        let decimals = self.def(column).and_then(|def| def.decimals);
        match cell {
            Cell::Number(value) => shown(*value, self.unit(column), decimals),
            Cell::Text(text) => text.clone(),
            Cell::Flag(flag) => flag_word(*flag).to_owned(),
            Cell::Missing => String::new(),
            Cell::Failed => "no number".to_owned(),
        }
    }

    /// A part of a formula computed for a row and written as a person reads it.
    pub fn shown_part(&self, plan: &Plan, part: &Typed, at: Option<(SheetId, RowId)>) -> String {
        if let (Node::Column { id, .. }, Some((_, row))) = (&part.node, at) {
            return or_unknown(self.shown(plan, *id, row));
        }
        let cell = self.evaluate_part(plan, part, at);
        let text = match (&part.node, &cell, part.ty) {
            (Node::Fetch { column, .. }, _, _) => self.shown_cell(*column, &cell),
            (Node::Assumption(param), Cell::Number(value), _) => {
                shown(*value, &plan.assumptions()[param.at()].unit, None)
            }
            (_, Cell::Number(value), Ty::Number(measure)) => {
                let unit = self
                    .unit_within(part)
                    .unwrap_or_else(|| Units::builtin().fitting(*value, measure));
                shown(*value, &unit, Some(3))
            }
            (_, Cell::Flag(flag), _) => flag_word(*flag).to_owned(),
            (_, Cell::Text(text), _) => text.clone(),
            (_, Cell::Number(_) | Cell::Missing | Cell::Failed, _) => String::new(),
        };
        or_unknown(text)
    }

    /// The unit of the first column inside a part that measures the same.
    fn unit_within(&self, part: &Typed) -> Option<crate::units::Unit> {
        let Ty::Number(measure) = part.ty else {
            return None;
        };
        let unit_of = |column: ColumnId| {
            self.units
                .get(column.at())
                .filter(|unit| unit.measure == measure && !unit.symbol.is_empty())
        };
        part.leaves().into_iter().find_map(|leaf| match &leaf.node {
            Node::Column { id, .. } | Node::Fetch { column: id, .. } => unit_of(*id).cloned(),
            _ => None,
        })
    }
}

fn flag_word(flag: bool) -> &'static str {
    if flag { "yes" } else { "no" }
}

fn or_unknown(text: String) -> String {
    if text.is_empty() {
        "unknown".to_owned()
    } else {
        text
    }
}
