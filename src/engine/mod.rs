//! Keeps every computed column up to date with the plan.
//!
//! Knows formulas and columns but nothing of networks: functions, checks and shared places are
//! handed to it. The plan is read, never changed, and nothing here prints.

mod alone;
mod dirty;
mod find;
mod fold;
mod group;
mod inside;
mod link;
mod node;
mod reason;
mod recalc;
mod resolve;
mod run;
mod scope;
mod shared;
mod show;
mod sort;
mod together;

pub use dirty::Dirty;
pub use node::{Graph, Node, Read, Source, Via};
pub use reason::Reason;
pub use recalc::Step as TraceStep;
pub use scope::SchemaScope;

use crate::formula::Formula;
use crate::formula::Library;
use crate::formula::Ty;
use crate::plan::Entry;
use crate::plan::Plan;
use crate::plan::Touched;
use crate::problem::Problem;
use crate::sheet::SheetDef;
use crate::table::{ABSENT, Cell, Column, ColumnId, NO_FLAG, RowId, SheetId, Values};
use crate::units::Unit;
use crate::units::Units;
use find::Finder;
use group::Groups;
use run::{Assumed, Inputs};
use shared::Places;
use std::sync::Arc;

/// A column that counts how many cable ends name the same place as the row's own ends.
#[derive(Debug, Clone, Copy)]
pub struct SharedDef {
    /// The sheet.
    pub sheet: &'static str,
    /// The computed column that gets the count.
    pub column: &'static str,
    /// Pairs of text columns, at most two; each pair names one place.
    pub ends: &'static [(&'static str, &'static str)],
    /// The flag column of rows that count.
    pub counted: &'static str,
    /// A computed column of numbers that is summed over the rows of a place instead of counting
    /// its other ends; then `ends` is one pair.
    pub sum: Option<&'static str>,
}

/// Columns of one sheet that a function makes out of whole columns, such as paths through links.
///
/// They stand in the schema with the formula `missing`; one that a person gave a formula keeps
/// that. The function runs whenever anything it reads changed, unless the sheet has no rows.
#[derive(Debug, Clone, Copy)]
pub struct MadeDef {
    /// The sheet.
    pub sheet: &'static str,
    /// The columns, in the order in which the function gives them.
    pub columns: &'static [&'static str],
    /// The columns it reads, by sheet and name; the order of their rows counts as read, too.
    pub reads: &'static [(&'static str, &'static str)],
    /// The function: one column for each of `columns`, as long as the sheet has places in storage,
    /// from a plan and an engine in which all that it reads is up to date.
    pub make: fn(&Plan, &Engine) -> Vec<Column>,
}

/// What is computed above the plan: extra columns, functions, shared places, made columns.
#[derive(Debug, Clone)]
pub struct Knowledge {
    /// The functions of the formula language.
    pub library: Library,
    /// Columns that count shared places.
    pub shared: &'static [SharedDef],
    /// Columns that a function makes.
    pub made: &'static [MadeDef],
}

/// All computed columns of a plan.
#[derive(Debug, Clone)]
pub struct Engine {
    schema: Vec<SheetDef>,
    knowledge: Knowledge,
    graph: Graph,
    units: Vec<Unit>,
    /// Computed values by column; empty for entered ones.
    values: Vec<Column>,
    /// For entered columns of rows, the row each cell points to.
    resolved: Vec<Values<u32>>,
    /// For each sheet, the row of an id by the folded code of its text.
    rows_by_id: Vec<Vec<u32>>,
    assumed: Vec<Assumed>,
    finders: Vec<Finder>,
    /// For each column that is the key of an aggregate, its groups.
    groups: Vec<Option<Groups>>,
    places: Vec<Option<Places>>,
    trace: Vec<TraceStep>,
    /// For each column the rows that the last recalculation or update changed.
    changed: Vec<Dirty>,
    /// Made columns as they were before their function ran, until they are compared.
    before_made: Vec<(ColumnId, Column)>,
}

impl Engine {
    /// Computes a plan.
    ///
    /// The schema begins, sheet by sheet, with the columns of the plan's own schema; columns
    /// after those are computed. Formulas with problems leave their columns absent.
    pub fn new(plan: &Plan, schema: Vec<SheetDef>, knowledge: Knowledge) -> Self {
        let scope = SchemaScope::of_all(plan, &schema);
        let graph = Graph::build(
            &schema,
            &scope,
            &knowledge.library,
            knowledge.shared,
            knowledge.made,
        );
        let n_columns = graph.nodes.len();
        let mut engine = Self {
            units: column_units(&schema),
            schema,
            knowledge,
            values: Vec::new(),
            resolved: Vec::new(),
            rows_by_id: Vec::new(),
            assumed: Vec::new(),
            finders: Vec::new(),
            groups: (0..n_columns).map(|_| None).collect(),
            places: (0..n_columns).map(|_| None).collect(),
            graph,
            trace: Vec::new(),
            changed: Vec::new(),
            before_made: Vec::new(),
        };
        engine.prepare(plan);
        engine.recalculate(plan);
        engine
    }

    /// Brings the columns up to date after a change of the plan that left its schema alone.
    ///
    /// Gives false when columns or formulas changed: then a new engine is needed.
    #[must_use]
    pub fn update(&mut self, plan: &Plan, touched: &[Touched]) -> bool {
        if touched.iter().any(|part| matches!(part, Touched::Schema)) {
            return false;
        }
        self.follow(plan, touched);
        true
    }

    /// The sheets with all columns, those of the plan first.
    pub fn schema(&self) -> &[SheetDef] {
        &self.schema
    }

    /// What the engine was given.
    pub fn knowledge(&self) -> &Knowledge {
        &self.knowledge
    }

    /// The graph of columns.
    pub fn graph(&self) -> &Graph {
        &self.graph
    }

    /// What the last recalculation or update computed, in order.
    pub fn trace(&self) -> &[TraceStep] {
        &self.trace
    }

    /// The rows of a column that the last recalculation or update changed, by place in storage.
    ///
    /// Of an entered column: those that were touched. Rows that came or went are not among them
    /// where their value stayed the same; whoever counts live rows has to look at those as well.
    pub fn changed(&self, column: ColumnId) -> &Dirty {
        self.changed.get(column.at()).unwrap_or(&Dirty::All)
    }

    /// What is wrong with formulas.
    pub fn problems(&self) -> impl Iterator<Item = &Problem> {
        self.graph.problems.iter().map(|(_, problem)| problem)
    }

    /// The id of a column by sheet and position.
    pub fn column(&self, sheet: SheetId, position: usize) -> ColumnId {
        ColumnId(self.graph.first[sheet.at()].0 + u32::try_from(position).unwrap_or(0))
    }

    /// The id of a column by name.
    pub fn find_column(&self, sheet: SheetId, name: &str) -> Option<ColumnId> {
        let position = self.schema[sheet.at()].column(name)?;
        Some(self.column(sheet, position))
    }

    /// The formula of a column, when it has one without problems.
    pub fn formula(&self, column: ColumnId) -> Option<&Arc<Formula>> {
        self.graph.formulas[column.at()].as_ref()
    }

    /// The definition of a column of a sheet; none for a hidden one.
    pub fn def(&self, column: ColumnId) -> Option<&crate::sheet::ColumnDef> {
        let sheet = self.graph.nodes[column.at()].sheet;
        let position = column.0.checked_sub(self.graph.first[sheet.at()].0)? as usize;
        self.schema[sheet.at()].columns.get(position)
    }

    /// The unit a column is shown in.
    pub fn unit(&self, column: ColumnId) -> &Unit {
        &self.units[column.at()]
    }

    /// The values of a computed column by place in storage; empty for an entered one.
    pub fn values(&self, column: ColumnId) -> &Column {
        &self.values[column.at()]
    }

    /// The row that a cell of a column of rows points to, or absent.
    pub fn row_at(&self, column: ColumnId, row: RowId) -> u32 {
        let codes = match self.graph.nodes[column.at()].is_entered() {
            true => &self.resolved[column.at()],
            false => self.values[column.at()].codes(),
        };
        codes.get(row.at()).copied().unwrap_or(ABSENT)
    }

    /// One value as a person sees it.
    pub fn cell(&self, plan: &Plan, column: ColumnId, row: RowId) -> Cell {
        let node = &self.graph.nodes[column.at()];
        match &node.source {
            Source::Entered(position) => entered_cell(plan, node, *position, row),
            Source::Program(_)
            | Source::Broken
            | Source::Group { .. }
            | Source::Whole { .. }
            | Source::Shared { .. }
            | Source::Made { .. } => self.computed_cell(plan, column, row),
        }
    }

    fn computed_cell(&self, plan: &Plan, column: ColumnId, row: RowId) -> Cell {
        let node = &self.graph.nodes[column.at()];
        match &self.values[column.at()] {
            Column::Numbers(values) => match values.get(row.at()) {
                Some(value) if !value.is_nan() => Cell::Number(*value),
                _ if self.inputs_given(plan, column, row) => Cell::Failed,
                _ => Cell::Missing,
            },
            Column::Flags(flags) => match flags.get(row.at()) {
                Some(flag) if *flag != NO_FLAG => Cell::Flag(*flag == 1),
                _ => Cell::Missing,
            },
            Column::Codes(codes) => match (codes.get(row.at()), node.ty) {
                (Some(code), Ty::Row(sheet)) if *code != ABSENT => {
                    Cell::Text(plan.id(sheet, RowId(*code)))
                }
                (Some(code), _) if *code != ABSENT => Cell::Text(plan.names().text(*code)),
                _ => Cell::Missing,
            },
        }
    }

    /// Whether all that the formula of a cell reads in its own row is there.
    fn inputs_given(&self, plan: &Plan, column: ColumnId, row: RowId) -> bool {
        let Some(formula) = self.formula(column) else {
            return false;
        };
        // A formula that may choose the absent value has not failed when it does.
        if formula.tree.holds_missing() {
            return false;
        }
        let is_simple = |leaf: &crate::formula::Typed| {
            matches!(
                leaf.node,
                crate::formula::Node::Column { .. } | crate::formula::Node::Assumption(_)
            )
        };
        let simple = formula.leaves().into_iter().all(is_simple);
        let node = &self.graph.nodes[column.at()];
        let is_given = |read: &Read| self.cell(plan, read.column, row) != Cell::Missing;
        simple && !node.reads.is_empty() && node.reads.iter().all(is_given)
    }

    /// Computes one formula: over a row of a sheet, or over none.
    ///
    /// # Errors
    /// Every problem of the formula.
    pub fn evaluate(
        &self,
        plan: &Plan,
        text: &str,
        at: Option<(SheetId, RowId)>,
    ) -> Result<(Formula, Cell), Vec<Problem>> {
        let scope = SchemaScope::new(plan, &self.schema);
        let formula = crate::formula::compile(
            text,
            at.map(|(sheet, _)| sheet),
            &scope,
            &self.knowledge.library,
        )?;
        let cell = self.evaluate_part(plan, &formula.tree, at);
        Ok((formula, cell))
    }

    /// What programs read.
    fn inputs<'a>(&'a self, plan: &'a Plan) -> Inputs<'a> {
        Inputs {
            plan,
            nodes: &self.graph.nodes,
            values: &self.values,
            resolved: &self.resolved,
            assumed: &self.assumed,
            extra: &[],
            finders: &self.finders,
            names: plan.names(),
        }
    }
}

fn column_units(schema: &[SheetDef]) -> Vec<Unit> {
    let columns = schema.iter().flat_map(|sheet| &sheet.columns);
    columns
        .map(|def| {
            Units::builtin()
                .unit(&def.unit)
                .unwrap_or_else(|_| Unit::none())
        })
        .collect()
}

fn entered_cell(plan: &Plan, node: &Node, position: usize, row: RowId) -> Cell {
    match plan.entry(node.sheet, position, row) {
        Entry::Empty => Cell::Missing,
        Entry::Number(value) => Cell::Number(value),
        Entry::Text(code) => Cell::Text(plan.names().text(code)),
        Entry::Wrong(_) => Cell::Missing,
    }
}

/// A cell from what a program gives for one row.
fn cell_of(plan: &Plan, ty: Ty, number: f64, code: u32) -> Cell {
    match ty {
        Ty::Number(_) if number.is_nan() => Cell::Missing,
        Ty::Number(_) => Cell::Number(number),
        Ty::Flag if number == 1.0 => Cell::Flag(true),
        Ty::Flag if number == 0.0 => Cell::Flag(false),
        Ty::Flag => Cell::Missing,
        Ty::Text | Ty::Row(_) if code == ABSENT => Cell::Missing,
        Ty::Text => Cell::Text(plan.names().text(code)),
        Ty::Row(sheet) => Cell::Text(plan.id(sheet, RowId(code))),
    }
}
