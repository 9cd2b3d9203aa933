//! From the texts of entered columns of rows to row numbers, and back to groups.
//!
//! Text that names no row points nowhere; it stays in the plan as it is.

use super::Engine;
use super::find::Finder;
use super::group::Groups;
use super::node::{Node, Source, column_id};
use super::run::Assumed;
use super::shared::Places;
use crate::formula::Ty;
use crate::formula::program::Lookup;
use crate::plan::Entry;
use crate::plan::Plan;
use crate::table::{ABSENT, Column, ColumnId, MISSING, NO_FLAG, SheetId, Values};
use rayon::iter::{IntoParallelIterator, ParallelIterator};

impl Engine {
    /// Makes everything ready that recalculation reads: columns of the right size, assumptions,
    /// ids, resolved rows, groups, searches and shared places.
    pub(super) fn prepare(&mut self, plan: &Plan) {
        self.read_assumptions(plan);
        let nodes = self.graph.nodes.iter();
        self.values = nodes.map(|node| self.fresh(plan, node)).collect();
        self.rows_by_id = (0..self.schema.len())
            .into_par_iter()
            .map(|at| ids(plan, sheet_id(at)))
            .collect();
        self.resolved = (0..self.graph.nodes.len())
            .into_par_iter()
            .map(|at| self.resolved_rows(plan, column_id(at)))
            .collect();
        for at in 0..self.graph.nodes.len() {
            if let Source::Group { key, .. } = self.graph.nodes[at].source {
                self.group_if_entered(plan, key);
            }
        }
        self.finders = (0..self.graph.lookups.len())
            .map(|_| Finder::default())
            .collect();
        for at in 0..self.finders.len() {
            self.build_finder(plan, at);
        }
    }

    pub(super) fn read_assumptions(&mut self, plan: &Plan) {
        self.assumed = plan
            .assumptions()
            .iter()
            .map(|assumption| match assumption.entry {
                Entry::Number(number) => Assumed {
                    number,
                    code: ABSENT,
                },
                Entry::Text(code) => Assumed {
                    number: MISSING,
                    code,
                },
                Entry::Empty | Entry::Wrong(_) => Assumed {
                    number: MISSING,
                    code: ABSENT,
                },
            })
            .collect();
    }

    /// An absent column of the right kind and size for a node.
    fn fresh(&self, plan: &Plan, node: &Node) -> Column {
        let n_rows = plan.rows(node.sheet).n_stored();
        match (&node.source, node.ty) {
            (Source::Entered(_), _) => Column::of_numbers(Vec::new()),
            (Source::Whole { .. }, _) => Column::Numbers(Values::same(MISSING, 1)),
            (_, Ty::Number(_)) => Column::Numbers(Values::same(MISSING, n_rows)),
            (_, Ty::Flag) => Column::Flags(Values::same(NO_FLAG, n_rows)),
            (_, Ty::Text | Ty::Row(_)) => Column::Codes(Values::same(ABSENT, n_rows)),
        }
    }

    /// Resolves every cell of an entered column of rows again.
    pub(super) fn resolve_all(&mut self, plan: &Plan, column: ColumnId) {
        self.resolved[column.at()] = self.resolved_rows(plan, column);
    }

    /// The row that each cell of an entered column of rows points to; none for other columns.
    fn resolved_rows(&self, plan: &Plan, column: ColumnId) -> Values<u32> {
        let node = &self.graph.nodes[column.at()];
        let (Source::Entered(position), Ty::Row(target)) = (&node.source, node.ty) else {
            return Values::default();
        };
        let codes = plan.rows(node.sheet).column(*position).codes();
        let view = plan.names().view();
        let ids = &self.rows_by_id[target.at()];
        let mut last = (ABSENT, ABSENT);
        let mut resolve = |code: &u32| {
            if *code != last.0 {
                last = (*code, row_of(ids, view.folded(*code)));
            }
            last.1
        };
        match codes {
            Values::Each(codes) => codes.iter().map(resolve).collect::<Vec<u32>>().into(),
            Values::Same { value, n_rows } => Values::same(resolve(value), *n_rows),
        }
    }

    /// The row a cell of an entered column of rows points to now.
    pub(super) fn resolve_one(&self, plan: &Plan, column: ColumnId, row: usize) -> u32 {
        let node = &self.graph.nodes[column.at()];
        let (Source::Entered(position), Ty::Row(target)) = (&node.source, node.ty) else {
            return ABSENT;
        };
        let code = plan.rows(node.sheet).column(*position).codes()[row];
        row_of(&self.rows_by_id[target.at()], plan.names().folded(code))
    }

    /// Reads the ids of a sheet anew.
    pub(super) fn read_ids(&mut self, plan: &Plan, sheet: SheetId) {
        self.rows_by_id[sheet.at()] = ids(plan, sheet);
    }

    /// Whether any column of rows points to a sheet.
    pub(super) fn is_pointed_to(&self, sheet: SheetId) -> bool {
        self.graph
            .nodes
            .iter()
            .any(|node| node.ty == Ty::Row(sheet))
    }

    fn group_if_entered(&mut self, plan: &Plan, key: ColumnId) {
        if self.groups[key.at()].is_none() && self.graph.nodes[key.at()].is_entered() {
            self.build_groups(plan, key);
        }
    }

    /// Builds the groups of a key column.
    pub(super) fn build_groups(&mut self, plan: &Plan, key: ColumnId) {
        let node = &self.graph.nodes[key.at()];
        let Ty::Row(target) = node.ty else { return };
        let n_groups = plan.rows(target).n_stored();
        let order = plan.rows(node.sheet).order().iter().map(|row| row.0);
        let groups = Groups::build(n_groups, self.key_rows(key), order);
        self.groups[key.at()] = Some(groups);
    }

    /// The rows a column of rows points to, entered or computed.
    pub(super) fn key_rows(&self, column: ColumnId) -> &Values<u32> {
        match self.graph.nodes[column.at()].is_entered() {
            true => &self.resolved[column.at()],
            false => self.values[column.at()].codes(),
        }
    }

    /// Builds the table of a search of the graph.
    pub(super) fn build_finder(&mut self, plan: &Plan, at: usize) {
        self.finders[at] = self.finder(plan, &self.graph.lookups[at]);
    }

    /// The table of a search.
    pub(super) fn finder(&self, plan: &Plan, lookup: &Lookup) -> Finder {
        let keys: Vec<&Values<u32>> = lookup
            .keys
            .iter()
            .map(|(column, _)| self.key_rows(*column))
            .collect();
        let sizes: Vec<usize> = lookup
            .keys
            .iter()
            .map(|(_, target)| plan.rows(*target).n_stored())
            .collect();
        let order = plan.rows(lookup.sheet).order().iter();
        Finder::build(&keys, &sizes, order.map(|row| row.at()))
    }

    /// Builds the table of shared places of a column.
    pub(super) fn build_places(&mut self, plan: &Plan, column: ColumnId) {
        let node = &self.graph.nodes[column.at()];
        let Source::Shared { ends, counted, .. } = &node.source else {
            return;
        };
        let rank = plan.rows(node.sheet).rank();
        let flags = self.values[counted.at()].flags();
        if flags.one().is_some_and(|flag| flag != 1) {
            self.places[column.at()] = Some(Places::default());
            return;
        }
        let ends: Vec<(&Values<u32>, &Values<u32>)> = ends
            .iter()
            .map(|(a, b)| (self.texts(plan, *a), self.texts(plan, *b)))
            .collect();
        let counts = |row: usize| rank[row] != ABSENT && flags.get(row) == Some(&1);
        let places = Places::build(&ends, counts, &plan.names().view());
        self.places[column.at()] = Some(places);
    }

    /// The codes of the texts of a column.
    pub(super) fn texts<'a>(&'a self, plan: &'a Plan, column: ColumnId) -> &'a Values<u32> {
        let node = &self.graph.nodes[column.at()];
        match node.source {
            Source::Entered(position) => plan.rows(node.sheet).column(position).codes(),
            Source::Program(_)
            | Source::Broken
            | Source::Group { .. }
            | Source::Whole { .. }
            | Source::Shared { .. }
            | Source::Made { .. } => self.values[column.at()].codes(),
        }
    }
}

/// The sheet at a position.
pub(super) fn sheet_id(at: usize) -> SheetId {
    SheetId(u16::try_from(at).expect("a plan has fewer sheets than ids"))
}

/// For each folded code the live row with that id; of several the last.
fn ids(plan: &Plan, sheet: SheetId) -> Vec<u32> {
    let rows = plan.rows(sheet);
    let view = plan.names().view();
    let mut ids = Vec::new();
    for row in rows.order() {
        let folded = view.folded(rows.column(0).codes()[row.at()]);
        if folded == ABSENT {
            continue;
        }
        if ids.len() <= folded as usize {
            ids.resize(folded as usize + 1, ABSENT);
        }
        ids[folded as usize] = row.0;
    }
    ids
}

fn row_of(ids: &[u32], folded: u32) -> u32 {
    ids.get(folded as usize).copied().unwrap_or(ABSENT)
}
