//! Computes one formula, or a part of one, for one row, beside the columns of the graph.
//!
//! Used to answer a question, to explain a cell and to fill a sentence; aggregates are gone
//! through on the spot.

use super::Engine;
use super::cell_of;
use super::find::Finder;
use super::group::{Groups, gathered};
use super::link::linked;
use super::node::column_id;
use super::run::{Chunk, Inputs, Piece, with_scratch};
use super::scope::SchemaScope;
use crate::formula::Ty;
use crate::formula::Typed;
use crate::formula::program::{Aggregate, Program};
use crate::plan::Plan;
use crate::table::{ABSENT, Cell, Column, ColumnId, MISSING, RowId, SheetId};

impl Engine {
    /// Computes a part of a checked formula for a row, or for none.
    pub fn evaluate_part(&self, plan: &Plan, part: &Typed, at: Option<(SheetId, RowId)>) -> Cell {
        let scope = SchemaScope::new(plan, &self.schema);
        let lowered = crate::formula::lower(part, &scope);
        let finders: Vec<Finder> = lowered
            .lookups
            .iter()
            .map(|lookup| self.finder(plan, lookup))
            .collect();
        let lookups: Vec<usize> = (0..finders.len()).collect();
        let extra: Vec<Column> = lowered
            .aggregates
            .iter()
            .map(|aggregate| self.aggregate_alone(plan, aggregate, &lookups, &finders))
            .collect();
        let groups: Vec<ColumnId> = (0..extra.len())
            .map(|at| column_id(self.graph.nodes.len() + at))
            .collect();
        let program = linked(&lowered.program, &groups, &lookups);
        let inputs = Inputs {
            extra: &extra,
            finders: &finders,
            ..self.inputs(plan)
        };
        let row = at.map_or(0, |(_, row)| row.at());
        let (number, code) = one_row(&program, inputs, part.ty, row);
        cell_of(plan, part.ty, number, code)
    }

    /// The values of an aggregate, one for each group or one in all.
    fn aggregate_alone(
        &self,
        plan: &Plan,
        aggregate: &Aggregate,
        lookups: &[usize],
        finders: &[Finder],
    ) -> Column {
        let rows = plan.rows(aggregate.over);
        let program = linked(&aggregate.value, &[], lookups);
        let mut values = vec![MISSING; rows.n_stored()];
        let inputs = Inputs {
            finders,
            ..self.inputs(plan)
        };
        let len = values.len();
        let mut chunk = Chunk {
            first: 0,
            len,
            pieces: vec![Piece::Numbers(&mut values)],
        };
        with_scratch(|scratch| super::run::run(&program, inputs, &[], &mut chunk, 0, scratch));
        let order = rows.order().iter().map(|row| row.0);
        let Some(key) = aggregate.key else {
            return Column::Numbers(vec![gathered(aggregate.gather, order, &values)]);
        };
        let Ty::Row(target) = self.graph.nodes[key.at()].ty else {
            return Column::Numbers(Vec::new());
        };
        let n_groups = plan.rows(target).n_stored();
        let groups = Groups::build(n_groups, self.key_rows(key), order);
        let of = |group| {
            gathered(
                aggregate.gather,
                groups.rows(group).iter().copied(),
                &values,
            )
        };
        Column::Numbers((0..n_groups as u32).map(of).collect())
    }
}

/// Runs a program for one row; gives its number or its code.
fn one_row(program: &Program, inputs: Inputs<'_>, ty: Ty, row: usize) -> (f64, u32) {
    let (mut number, mut code) = ([MISSING], [ABSENT]);
    let piece = match ty {
        Ty::Number(_) | Ty::Flag => Piece::Numbers(&mut number),
        Ty::Text | Ty::Row(_) => Piece::Codes(&mut code),
    };
    let mut chunk = Chunk {
        first: row,
        len: 1,
        pieces: vec![piece],
    };
    with_scratch(|scratch| super::run::run(program, inputs, &[], &mut chunk, 0, scratch));
    (number[0], code[0])
}
