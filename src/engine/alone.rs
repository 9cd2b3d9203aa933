//! Computes one formula, or a part of one, for one row or all, beside the columns of the graph.
//!
//! Used to answer a question, to explain a cell and to fill a sentence; aggregates are gone
//! through on the spot.

use super::Engine;
use super::cell_of;
use super::find::Finder;
use super::group::{Groups, gathered};
use super::link::linked;
use super::node::column_id;
use super::node::{Node, Source};
use super::run::{Chunk, Inputs, Piece, run, run_slot, with_scratch};
use super::scope::SchemaScope;
use super::together::chunked;
use crate::formula::Formula;
use crate::formula::Ty;
use crate::formula::Typed;
use crate::formula::program::{Aggregate, Program};
use crate::plan::Plan;
use crate::problem::Problem;
use crate::table::{ABSENT, Cell, Column, ColumnId, MISSING, RowId, SheetId};
use rayon::iter::{IntoParallelRefMutIterator, ParallelIterator};

/// A formula ready to be run beside the graph.
struct Alone {
    program: Program,
    /// Its aggregates, one column each.
    extra: Vec<Column>,
    /// Its searches; none where all of them are among those of the graph.
    finders: Option<Vec<Finder>>,
}

impl Engine {
    /// Computes a part of a checked formula for a row, or for none.
    pub fn evaluate_part(&self, plan: &Plan, part: &Typed, at: Option<(SheetId, RowId)>) -> Cell {
        let alone = self.alone(plan, part);
        let inputs = self.inputs_of(plan, &alone);
        let row = at.map_or(0, |(_, row)| row.at());
        let (number, code) = one_row(&alone.program, inputs, part.ty, row);
        cell_of(plan, part.ty, number, code)
    }

    /// The code of a text or the row that a part of a checked formula gives for a row.
    pub(super) fn code_of_part(&self, plan: &Plan, part: &Typed, row: RowId) -> u32 {
        let alone = self.alone(plan, part);
        one_row(
            &alone.program,
            self.inputs_of(plan, &alone),
            part.ty,
            row.at(),
        )
        .1
    }

    /// Computes a formula for all rows of a sheet, by place in storage.
    ///
    /// # Errors
    /// Every problem of the formula.
    pub fn column_of(
        &self,
        plan: &Plan,
        sheet: SheetId,
        text: &str,
    ) -> Result<(Formula, Column), Vec<Problem>> {
        let formula = self.compile(plan, text, Some(sheet))?;
        let column = self.part_of_rows(plan, sheet, &formula.tree);
        Ok((formula, column))
    }

    /// Computes a part of a checked formula for all rows of a sheet, by place in storage.
    pub fn part_of_rows(&self, plan: &Plan, sheet: SheetId, part: &Typed) -> Column {
        let alone = self.alone(plan, part);
        let n_rows = plan.rows(sheet).n_stored();
        let mut column = match part.ty {
            Ty::Number(_) => Column::of_numbers(vec![0.0; n_rows]),
            Ty::Flag => Column::of_flags(vec![0; n_rows]),
            Ty::Text | Ty::Row(_) => Column::of_codes(vec![0; n_rows]),
        };
        all_rows(&alone.program, self.inputs_of(plan, &alone), &mut column);
        column
    }

    /// What a condition says of all rows of a sheet, by place in storage: yes (1), no (0), or
    /// absent where an input is missing.
    ///
    /// # Errors
    /// Every problem of the formula; a formula that does not say yes or no.
    pub fn condition(
        &self,
        plan: &Plan,
        sheet: SheetId,
        text: &str,
    ) -> Result<Vec<u8>, Vec<Problem>> {
        match self.column_of(plan, sheet, text)?.1 {
            Column::Flags(mut flags) => Ok(std::mem::take(flags.spread())),
            Column::Numbers(_) | Column::Codes(_) => Err(vec![
                Problem::new("not-a-condition", "this formula does not say yes or no")
                    .within("formula", text)
                    .help("compare something, for example `margin < 1 dB`"),
            ]),
        }
    }

    /// Links a part of a formula to what the graph has, and computes what it has not.
    fn alone(&self, plan: &Plan, part: &Typed) -> Alone {
        let scope = SchemaScope::new(plan, &self.schema);
        let lowered = crate::formula::lower(part, &scope);
        let in_graph = |lookup| self.graph.lookups.iter().position(|known| known == lookup);
        let in_graph: Option<Vec<usize>> = lowered.lookups.iter().map(in_graph).collect();
        let finders: Option<Vec<Finder>> = in_graph.is_none().then(|| {
            let lookups = lowered.lookups.iter();
            lookups.map(|lookup| self.finder(plan, lookup)).collect()
        });
        let lookups = match &in_graph {
            Some(lookups) => lookups.clone(),
            None => (0..lowered.lookups.len()).collect(),
        };
        let (mut extra, mut groups) = (Vec::new(), Vec::new());
        for aggregate in &lowered.aggregates {
            // What a column counts already need not be counted again.
            let known = in_graph
                .as_ref()
                .and_then(|lookups| self.known_aggregate(aggregate, lookups));
            groups.push(known.unwrap_or_else(|| {
                let finders = finders.as_deref().unwrap_or(&self.finders);
                extra.push(self.aggregate_alone(plan, aggregate, &lookups, finders));
                column_id(self.graph.nodes.len() + extra.len() - 1)
            }));
        }
        Alone {
            program: linked(&lowered.program, &groups, &lookups),
            extra,
            finders,
        }
    }

    /// The hidden column that keeps an aggregate, when a formula of the graph has the same.
    fn known_aggregate(&self, aggregate: &Aggregate, lookups: &[usize]) -> Option<ColumnId> {
        let program = linked(&aggregate.value, &[], lookups);
        let nodes = &self.graph.nodes;
        let counts = |node: &Node| {
            node.sheet == aggregate.over && node.program().is_some_and(|known| **known == program)
        };
        let counted = column_id(nodes.iter().position(counts)?);
        let gathers = |node: &Node| match (&node.source, aggregate.key) {
            (Source::Group { gather, value, key }, Some(own)) => {
                (*gather, *value, *key) == (aggregate.gather, counted, own)
            }
            (Source::Whole { gather, value }, None) => {
                (*gather, *value) == (aggregate.gather, counted)
            }
            _ => false,
        };
        nodes.iter().position(gathers).map(column_id)
    }

    fn inputs_of<'a>(&'a self, plan: &'a Plan, alone: &'a Alone) -> Inputs<'a> {
        Inputs {
            extra: &alone.extra,
            finders: alone.finders.as_deref().unwrap_or(&self.finders),
            ..self.inputs(plan)
        }
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
        let mut values = Column::of_numbers(vec![0.0; rows.n_stored()]);
        let inputs = Inputs {
            finders,
            ..self.inputs(plan)
        };
        all_rows(&program, inputs, &mut values);
        let values = values.numbers();
        let order = rows.order().iter().map(|row| row.0);
        let Some(key) = aggregate.key else {
            return Column::of_numbers(vec![gathered(aggregate.gather, order, values)]);
        };
        let Ty::Row(target) = self.graph.nodes[key.at()].ty else {
            return Column::of_numbers(Vec::new());
        };
        let n_groups = plan.rows(target).n_stored();
        let groups = Groups::build(n_groups, self.key_rows(key), order);
        let of = |group| gathered(aggregate.gather, groups.rows(group).iter().copied(), values);
        Column::of_numbers((0..n_groups as u32).map(of).collect())
    }
}

/// Runs a program for all rows of a column, chunk by chunk.
fn all_rows(program: &Program, inputs: Inputs<'_>, column: &mut Column) {
    let n_rows = column.len();
    let mut chunks = chunked(std::slice::from_mut(column), n_rows);
    chunks.par_iter_mut().for_each(|chunk| {
        with_scratch(|scratch| run_slot(program, inputs, &[], chunk, 0, scratch));
    });
}

/// Runs a program for one row; gives its number or its code.
fn one_row(program: &Program, inputs: Inputs<'_>, ty: Ty, row: usize) -> (f64, u32) {
    let (mut number, mut code) = ([MISSING], [ABSENT]);
    let mut piece = match ty {
        Ty::Number(_) | Ty::Flag => Piece::Numbers(&mut number),
        Ty::Text | Ty::Row(_) => Piece::Codes(&mut code),
    };
    let chunk = Chunk::of_rows(row, 1);
    with_scratch(|scratch| run(program, inputs, &[], &chunk, &mut piece, scratch));
    (number[0], code[0])
}
