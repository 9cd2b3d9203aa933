//! Recalculation: all columns in phases, or only what a change of the plan reaches.
//!
//! Both run the same programs through the same executor, so an update gives the bits that a
//! full recalculation would give; a test holds that over random edits.

use super::Engine;
use super::dirty::Dirty;
use super::group::{gathered, gathered_none};
use super::node::{Source, Via, column_id};
use super::run::{Chunk, Inputs, Piece, narrow_flag, run, with_scratch};
use super::shared::Places;
use crate::formula::Ty;
use crate::formula::program::{Code, Lookup, Num, Out, Program, Step as Instruction};
use crate::plan::Plan;
use crate::plan::Touched;
use crate::table::{ABSENT, Column, ColumnId, MISSING, NO_FLAG, ParamId, RowId, SheetId};
use crate::table::{Value, Values};
use rayon::iter::{IndexedParallelIterator, IntoParallelRefMutIterator, ParallelIterator};
use rustc_hash::FxHashMap;

/// One column that was computed, for tests and for explaining what an edit cost.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Step {
    /// The column.
    pub column: ColumnId,
    /// How many cells were computed.
    pub evaluated: usize,
    /// How many of them changed; `None` where a long column was computed whole, uncounted.
    pub changed: Option<usize>,
}

/// A column computed whole is compared with what it held before up to this many rows: short
/// columns so that an edit can say what it changed, long ones not, as it would take as long again.
const MOST_COMPARED: usize = 1 << 16;

/// Where a change starts: what is no longer as it was before any column was computed.
#[derive(Debug, Default)]
struct Start {
    /// Rows of entered columns.
    dirty: FxHashMap<ColumnId, Dirty>,
    /// Rows that came or went, by sheet.
    fresh: FxHashMap<SheetId, Vec<u32>>,
    /// Groups that lost or got rows, by key column.
    regrouped: FxHashMap<ColumnId, Vec<u32>>,
    /// Sheets whose order changed.
    reordered: Vec<SheetId>,
    /// Assumptions that changed.
    params: Vec<ParamId>,
}

impl Start {
    /// Whether rows of a sheet came, went or changed places: a row that went keeps its values, so
    /// of computed columns none tells, and of several rows with the same keys the last is found.
    fn has_other_rows(&self, sheet: SheetId) -> bool {
        self.fresh.contains_key(&sheet) || self.reordered.contains(&sheet)
    }
}

impl Engine {
    /// Computes every column, phase by phase.
    pub fn recalculate(&mut self, plan: &Plan) {
        self.trace.clear();
        self.changed.clear();
        self.changed.resize(self.graph.nodes.len(), Dirty::All);
        let phase_of = |column: &ColumnId| self.graph.nodes[column.at()].phase;
        let same = |a: &ColumnId, b: &ColumnId| phase_of(a) == phase_of(b);
        let phases: Vec<Vec<ColumnId>> = self
            .graph
            .order
            .chunk_by(same)
            .map(<[ColumnId]>::to_vec)
            .collect();
        for phase in phases {
            self.compute_phase(plan, &phase);
        }
        self.before_made.clear();
    }

    fn compute_phase(&mut self, plan: &Plan, phase: &[ColumnId]) {
        self.build_computed_finders(plan);
        for column in phase {
            // The table of shared places is kept from run to run, as the groups are.
            let kept = self.places[column.at()].is_some();
            if self.graph.nodes[column.at()].program().is_none() && !kept {
                self.compute_whole(plan, *column);
            }
        }
        for sheet in 0..self.schema.len() {
            let together: Vec<ColumnId> = phase
                .iter()
                .copied()
                .filter(|column| {
                    let node = &self.graph.nodes[column.at()];
                    node.sheet.at() == sheet && node.program().is_some()
                })
                .collect();
            self.run_together(plan, &together);
        }
    }

    /// Searches over computed key columns are made again in each phase; there are few.
    fn build_computed_finders(&mut self, plan: &Plan) {
        for at in 0..self.graph.lookups.len() {
            let computed = |column: ColumnId| !self.graph.nodes[column.at()].is_entered();
            if self.graph.lookups[at]
                .keys
                .iter()
                .any(|(column, _)| computed(*column))
            {
                self.build_finder(plan, at);
            }
        }
    }

    /// The values of a column, with none left in their place.
    pub(super) fn take_values(&mut self, column: ColumnId) -> Column {
        std::mem::replace(
            &mut self.values[column.at()],
            Column::Numbers(Values::default()),
        )
    }

    /// Gives all rows of a column of numbers or flags one value.
    pub(super) fn put_number(&mut self, column: ColumnId, value: f64, n_rows: usize) {
        self.values[column.at()] = match self.graph.nodes[column.at()].ty {
            Ty::Flag => Column::Flags(Values::same(narrow_flag(value), n_rows)),
            Ty::Number(_) | Ty::Text | Ty::Row(_) => Column::Numbers(Values::same(value, n_rows)),
        };
        self.trace_whole(column, 1);
    }

    /// Puts a column that was computed whole into the trace.
    pub(super) fn trace_whole(&mut self, column: ColumnId, evaluated: usize) {
        self.trace.push(Step {
            column,
            evaluated,
            changed: None,
        });
    }

    /// Computes a column that is no program, whole.
    fn compute_whole(&mut self, plan: &Plan, column: ColumnId) {
        let node = &self.graph.nodes[column.at()];
        let n_rows = plan.rows(node.sheet).n_stored();
        let evaluated = match &node.source {
            Source::Group { .. } => self.compute_groups(plan, column, n_rows),
            Source::Whole { gather, value } => {
                let order = plan.rows(node.sheet).order().iter().map(|row| row.0);
                let total = gathered(*gather, order, self.values[value.at()].numbers());
                self.values[column.at()] = Column::Numbers(Values::same(total, 1));
                1
            }
            Source::Shared { sum, .. } => {
                let sum = *sum;
                self.build_places(plan, column);
                self.values[column.at()] = Column::Numbers(self.all_shared(plan, column, sum));
                n_rows
            }
            Source::Made { by, lead } if *lead == column => {
                self.make(plan, *by, column);
                n_rows
            }
            // Its first column made it as well.
            Source::Made { .. } => 0,
            Source::Broken | Source::Entered(_) | Source::Program(_) => 0,
        };
        self.trace_whole(column, evaluated);
    }

    /// The counts or sums of all rows over their shared places, whose table was just built.
    fn all_shared(&self, plan: &Plan, column: ColumnId, sum: Option<ColumnId>) -> Values<f64> {
        let rows = plan.rows(self.graph.nodes[column.at()].sheet);
        let nothing = Values::same(MISSING, rows.n_stored());
        match (&self.places[column.at()], sum) {
            (Some(places), _) if places.is_empty() => nothing,
            (Some(places), None) => places.all_shared().into(),
            (Some(places), Some(sum)) => {
                let values = self.values[sum.at()].numbers();
                places.all_summed(values, rows.rank()).into()
            }
            (None, _) => nothing,
        }
    }

    /// Has a function make its columns.
    fn make(&mut self, plan: &Plan, by: usize, lead: ColumnId) {
        let def = self.knowledge.made[by];
        let sheet = self.graph.nodes[lead.at()].sheet;
        let columns = (def.make)(plan, self);
        for (name, mut column) in def.columns.iter().zip(columns) {
            let own = self.find_column(sheet, name);
            let is_made =
                |id: &ColumnId| matches!(self.graph.nodes[id.at()].source, Source::Made { .. });
            if let Some(id) = own.filter(is_made) {
                column.resize(plan.rows(sheet).n_stored());
                let before = std::mem::replace(&mut self.values[id.at()], column.narrowed());
                self.before_made.push((id, before));
            }
        }
    }

    /// Computes every group of an aggregate; gives how many values were computed.
    fn compute_groups(&mut self, plan: &Plan, column: ColumnId, n_groups: usize) -> usize {
        let Source::Group { gather, value, key } = self.graph.nodes[column.at()].source else {
            return 0;
        };
        if self.groups[key.at()].is_none() || !self.graph.nodes[key.at()].is_entered() {
            self.build_groups(plan, key);
        }
        let Some(groups) = &self.groups[key.at()] else {
            return 0;
        };
        let uncounted = self.values[value.at()].numbers().one() == Some(f64::INFINITY);
        if groups.is_empty() || uncounted {
            let none = Values::same(gathered_none(gather), n_groups);
            self.values[column.at()] = Column::Numbers(none);
            return n_groups.min(1);
        }
        let mut out = self.take_values(column).room(n_groups);
        let values = self.values[value.at()].numbers();
        if let (Column::Numbers(out), Some(groups)) = (&mut out, &self.groups[key.at()]) {
            out.spread()
                .par_iter_mut()
                .with_min_len(512)
                .enumerate()
                .for_each(|(group, slot)| {
                    *slot = gathered(gather, groups.rows(group as u32).iter().copied(), values);
                });
        }
        self.values[column.at()] = out;
        n_groups
    }

    /// Brings everything up to date that a change reaches.
    pub(super) fn follow(&mut self, plan: &Plan, touched: &[Touched]) {
        self.trace.clear();
        let mut start = Start::default();
        self.make_room_for(plan, touched);
        for part in touched {
            self.note(plan, part, &mut start);
        }
        let mut dirty = vec![Dirty::Clean; self.graph.nodes.len()];
        for (column, rows) in start.dirty.drain() {
            let n_rows = plan.rows(self.graph.nodes[column.at()].sheet).n_stored();
            dirty[column.at()] = rows.settled(n_rows);
        }
        let mut found = vec![false; self.graph.lookups.len()];
        for at in 0..self.graph.order.len() {
            let column = self.graph.order[at];
            let reached = self.reached(plan, column, &dirty, &start);
            if !reached.is_clean() {
                self.renew_finders(plan, column, &dirty, &start, &mut found);
                dirty[column.at()] = self.renew(plan, column, reached);
            }
        }
        self.changed = dirty;
        self.before_made.clear();
    }

    /// Takes note of one touched part: sizes, resolved rows, groups, ids.
    fn note(&mut self, plan: &Plan, part: &Touched, start: &mut Start) {
        match part {
            Touched::Cells(sheet, position, rows) => {
                self.note_cells(plan, *sheet, *position, rows, start)
            }
            Touched::Rows(sheet, rows) => self.note_rows(plan, *sheet, rows, start),
            Touched::Order(sheet) => {
                self.regroup_sheet(plan, *sheet);
                start.reordered.push(*sheet);
                if self.is_pointed_to(*sheet) {
                    self.note_ids(plan, *sheet, start);
                }
            }
            Touched::Assumption(param) => {
                self.read_assumptions(plan);
                start.params.push(*param);
            }
            Touched::Schema => {}
        }
    }

    fn note_cells(
        &mut self,
        plan: &Plan,
        sheet: SheetId,
        position: usize,
        rows: &[RowId],
        start: &mut Start,
    ) {
        let column = self.column(sheet, position);
        let numbers: Vec<u32> = rows.iter().map(|row| row.0).collect();
        if let Ty::Row(_) = self.graph.nodes[column.at()].ty {
            for row in rows {
                let now = self.resolve_one(plan, column, row.at());
                let before = self.resolved[column.at()][row.at()];
                self.resolved[column.at()].set(row.at(), now);
                // A row that one step changed and removed is still in its first group.
                let live = plan.rows(sheet).is_live(*row);
                let group = if live { now } else { ABSENT };
                self.shift(plan, column, *row, before, group, start);
            }
        }
        start.dirty.entry(column).or_default().add(&numbers);
        if position == 0 && self.is_pointed_to(sheet) {
            self.note_ids(plan, sheet, start);
        }
    }

    /// Moves a row between groups of a key column.
    fn shift(
        &mut self,
        plan: &Plan,
        key: ColumnId,
        row: RowId,
        before: u32,
        now: u32,
        start: &mut Start,
    ) {
        let rank = plan.rows(self.graph.nodes[key.at()].sheet).rank();
        if before == now {
            return;
        }
        let Some(groups) = &mut self.groups[key.at()] else {
            return;
        };
        groups.shift(row.0, before, now, rank);
        let worn = groups.is_worn();
        let regrouped = start.regrouped.entry(key).or_default();
        regrouped.extend([before, now].into_iter().filter(|group| *group != ABSENT));
        if worn {
            self.build_groups(plan, key);
        }
    }

    fn note_rows(&mut self, plan: &Plan, sheet: SheetId, rows: &[RowId], start: &mut Start) {
        let numbers: Vec<u32> = rows.iter().map(|row| row.0).collect();
        for at in 0..self.graph.nodes.len() {
            let column = column_id(at);
            let node = &self.graph.nodes[at];
            if node.sheet == sheet && node.is_entered() {
                start.dirty.entry(column).or_default().add(&numbers);
                self.regroup_rows(plan, column, rows, start);
            }
            if self.graph.nodes[at].ty == Ty::Row(sheet) && self.groups[at].is_some() {
                self.build_groups(plan, column);
            }
        }
        start
            .fresh
            .entry(sheet)
            .or_default()
            .extend_from_slice(&numbers);
        if self.is_pointed_to(sheet) {
            self.note_ids(plan, sheet, start);
        }
    }

    /// Grows the columns of all sheets that got rows.
    ///
    /// First of all, because a step of several parts is noted part by part against the plan as
    /// all of them left it.
    fn make_room_for(&mut self, plan: &Plan, touched: &[Touched]) {
        for part in touched {
            let Touched::Rows(sheet, _) = part else {
                continue;
            };
            let n_rows = plan.rows(*sheet).n_stored();
            for at in 0..self.graph.nodes.len() {
                if self.graph.nodes[at].sheet == *sheet {
                    self.make_room(plan, column_id(at), n_rows);
                }
            }
        }
    }

    /// Grows a column to the rows there are now.
    fn make_room(&mut self, plan: &Plan, column: ColumnId, n_rows: usize) {
        let node = &self.graph.nodes[column.at()];
        match node.source {
            Source::Entered(_) => {
                if !matches!(node.ty, Ty::Row(_)) {
                    return;
                }
                let n_before = self.resolved[column.at()].len();
                self.resolved[column.at()].resize(n_rows.max(n_before), ABSENT);
                for row in n_before..n_rows {
                    let now = self.resolve_one(plan, column, row);
                    self.resolved[column.at()].set(row, now);
                }
            }
            Source::Whole { .. } => {}
            Source::Program(_)
            | Source::Broken
            | Source::Group { .. }
            | Source::Shared { .. }
            | Source::Made { .. } => {
                self.values[column.at()].grow(n_rows);
            }
        }
    }

    /// Puts rows that came into their groups, and takes rows that went out of them.
    fn regroup_rows(&mut self, plan: &Plan, key: ColumnId, rows: &[RowId], start: &mut Start) {
        if self.groups[key.at()].is_none() {
            return;
        }
        for row in rows {
            let group = self.resolved[key.at()][row.at()];
            match plan.rows(self.graph.nodes[key.at()].sheet).is_live(*row) {
                true => self.shift(plan, key, *row, ABSENT, group, start),
                false => self.shift(plan, key, *row, group, ABSENT, start),
            }
        }
    }

    /// Builds the groups of every key column of a sheet anew.
    fn regroup_sheet(&mut self, plan: &Plan, sheet: SheetId) {
        for at in 0..self.graph.nodes.len() {
            if self.graph.nodes[at].sheet == sheet && self.groups[at].is_some() {
                self.build_groups(plan, column_id(at));
            }
        }
    }

    /// Reads the ids of a sheet anew and follows every cell that points elsewhere now.
    fn note_ids(&mut self, plan: &Plan, sheet: SheetId, start: &mut Start) {
        self.read_ids(plan, sheet);
        for at in 0..self.graph.nodes.len() {
            let column = column_id(at);
            let node = &self.graph.nodes[at];
            if node.ty != Ty::Row(sheet) || !node.is_entered() {
                continue;
            }
            let before = std::mem::take(&mut self.resolved[at]);
            self.resolve_all(plan, column);
            if before != self.resolved[at] {
                start.dirty.insert(column, Dirty::All);
                if self.groups[at].is_some() {
                    self.build_groups(plan, column);
                }
            }
        }
    }

    /// The rows of a column that a change reaches.
    fn reached(&self, plan: &Plan, column: ColumnId, dirty: &[Dirty], start: &Start) -> Dirty {
        let node = &self.graph.nodes[column.at()];
        let n_rows = plan.rows(node.sheet).n_stored();
        let reached = match &node.source {
            Source::Program(program) => self.program_reached(column, program, dirty, start),
            Source::Group { value, key, .. } => {
                self.group_reached(column, *value, *key, dirty, start)
            }
            Source::Whole { value, .. } => {
                let same = dirty[value.at()].is_clean() && !start.has_other_rows(node.sheet);
                if same { Dirty::Clean } else { Dirty::All }
            }
            // A sum is added up in the order of the rows.
            Source::Shared { sum: Some(_), .. } if start.reordered.contains(&node.sheet) => {
                Dirty::All
            }
            Source::Shared { .. } => {
                let mut reached = Dirty::Clean;
                node.reads
                    .iter()
                    .for_each(|read| reached.join(&dirty[read.column.at()]));
                reached.add(start.fresh.get(&node.sheet).map_or(&[], Vec::as_slice));
                reached
            }
            Source::Made { .. } => self.made_reached(column, dirty, start),
            Source::Entered(_) | Source::Broken => Dirty::Clean,
        };
        reached.settled(n_rows)
    }

    fn program_reached(
        &self,
        column: ColumnId,
        program: &Program,
        dirty: &[Dirty],
        start: &Start,
    ) -> Dirty {
        let node = &self.graph.nodes[column.at()];
        if start
            .params
            .iter()
            .any(|param| reads_param(program, *param))
        {
            return Dirty::All;
        }
        let finds = |step: &Instruction| {
            matches!(step, Instruction::Find { lookup, .. }
                if start.has_other_rows(self.graph.lookups[*lookup].sheet))
        };
        let is_still = start.fresh.is_empty() && start.reordered.is_empty();
        if !is_still && program.steps.iter().any(finds) {
            return Dirty::All;
        }
        let mut reached = Dirty::Clean;
        reached.add(start.fresh.get(&node.sheet).map_or(&[], Vec::as_slice));
        for read in &node.reads {
            match (&dirty[read.column.at()], read.via) {
                (Dirty::Clean, _) => {}
                (rows, Via::Row) => reached.join(rows),
                (Dirty::Rows(rows), Via::Through(Some(key))) if self.groups[key.at()].is_some() => {
                    for row in rows {
                        reached.add(
                            self.groups[key.at()]
                                .as_ref()
                                .map_or(&[], |groups| groups.rows(*row)),
                        );
                    }
                }
                (_, Via::Through(_) | Via::Any) => return Dirty::All,
            }
        }
        reached
    }

    fn group_reached(
        &self,
        column: ColumnId,
        value: ColumnId,
        key: ColumnId,
        dirty: &[Dirty],
        start: &Start,
    ) -> Dirty {
        let over = self.graph.nodes[value.at()].sheet;
        let computed_key = !self.graph.nodes[key.at()].is_entered();
        if start.reordered.contains(&over)
            || dirty[key.at()] == Dirty::All
            || (computed_key && (!dirty[key.at()].is_clean() || start.fresh.contains_key(&over)))
        {
            return Dirty::All;
        }
        let mut reached = Dirty::Clean;
        match &dirty[value.at()] {
            Dirty::Clean => {}
            Dirty::All => return Dirty::All,
            Dirty::Rows(rows) => {
                let keys = self.key_rows(key);
                let groups: Vec<u32> = rows
                    .iter()
                    .map(|row| keys[*row as usize])
                    .filter(|group| *group != ABSENT)
                    .collect();
                reached.add(&groups);
            }
        }
        reached.add(start.regrouped.get(&key).map_or(&[], Vec::as_slice));
        let target = self.graph.nodes[column.at()].sheet;
        reached.add(start.fresh.get(&target).map_or(&[], Vec::as_slice));
        reached
    }

    /// A made column is made whole or not at all; of a sheet without rows, never.
    fn made_reached(&self, column: ColumnId, dirty: &[Dirty], start: &Start) -> Dirty {
        let node = &self.graph.nodes[column.at()];
        if matches!(node.source, Source::Made { lead, .. } if lead != column) {
            // Made already, when the first of the columns was.
            return match self.before_made.iter().any(|(id, _)| *id == column) {
                true => Dirty::All,
                false => Dirty::Clean,
            };
        }
        let moved = |sheet| start.has_other_rows(sheet);
        let changed = node.reads.iter().any(|read| {
            !dirty[read.column.at()].is_clean() || moved(self.graph.nodes[read.column.at()].sheet)
        });
        let has_rows = !self.values[column.at()].is_empty();
        match has_rows && (changed || moved(node.sheet)) {
            true => Dirty::All,
            false => Dirty::Clean,
        }
    }

    /// Makes the searches of a program anew whose keys changed, once an update.
    fn renew_finders(
        &mut self,
        plan: &Plan,
        column: ColumnId,
        dirty: &[Dirty],
        start: &Start,
        found: &mut [bool],
    ) {
        let Some(program) = self.graph.nodes[column.at()].program().cloned() else {
            return;
        };
        for step in &program.steps {
            let Instruction::Find { lookup, .. } = step else {
                continue;
            };
            let Lookup { sheet, keys } = &self.graph.lookups[*lookup];
            let changed = |key: &ColumnId| !dirty[key.at()].is_clean();
            let is_other = start.has_other_rows(*sheet) || keys.iter().any(|(key, _)| changed(key));
            if !found[*lookup] && is_other {
                found[*lookup] = true;
                self.build_finder(plan, *lookup);
            }
        }
    }

    /// Computes rows of a column again; gives those that changed.
    fn renew(&mut self, plan: &Plan, column: ColumnId, reached: Dirty) -> Dirty {
        let node = &self.graph.nodes[column.at()];
        let is_program = node.program().is_some();
        let is_shared = matches!(node.source, Source::Shared { .. });
        match reached {
            Dirty::Clean => Dirty::Clean,
            Dirty::All if matches!(node.source, Source::Made { .. }) => {
                self.compute_whole(plan, column);
                self.compared_made(column)
            }
            Dirty::All => {
                let before = &self.values[column.at()];
                let is_short = before.len() <= MOST_COMPARED || before.is_one();
                let before = is_short.then(|| before.clone());
                if is_program {
                    self.run_together(plan, &[column]);
                } else {
                    self.compute_whole(plan, column);
                }
                before.map_or(Dirty::All, |before| self.compared(column, before))
            }
            Dirty::Rows(rows) if is_program => self.run_rows(plan, column, &rows),
            Dirty::Rows(rows) if is_shared => self.renew_shared(plan, column, &rows),
            Dirty::Rows(rows) => self.renew_groups(column, &rows),
        }
    }

    /// The rows of a made column that are not as they were; its function made it together with
    /// others, perhaps when the first of them was due.
    fn compared_made(&mut self, column: ColumnId) -> Dirty {
        let place = self.before_made.iter().position(|(id, _)| *id == column);
        match place {
            Some(place) => {
                let (_, before) = self.before_made.swap_remove(place);
                self.compared(column, before)
            }
            None => Dirty::All,
        }
    }

    /// The rows of a column that are not as they were before it was computed whole.
    fn compared(&mut self, column: ColumnId, mut before: Column) -> Dirty {
        let now = &self.values[column.at()];
        let n_rows = now.len();
        let (changed, n_changed) = if before.is_one() && now.is_one() {
            match before == *now {
                true => (Dirty::Clean, 0),
                false => (Dirty::All, n_rows),
            }
        } else if n_rows <= MOST_COMPARED {
            let mut changed = Vec::new();
            store_changed(&mut before, 0, now, &mut changed);
            let n_changed = changed.len();
            (Dirty::of(changed).settled(n_rows), n_changed)
        } else {
            return Dirty::All;
        };
        if let Some(step) = self.trace.last_mut() {
            step.changed = Some(n_changed);
        }
        changed
    }

    /// Runs a program for some rows and keeps what changed.
    fn run_rows(&mut self, plan: &Plan, column: ColumnId, rows: &[u32]) -> Dirty {
        let Some(program) = self.graph.nodes[column.at()].program().cloned() else {
            return Dirty::Clean;
        };
        let mut changed = Vec::new();
        for run_of in rows.chunk_by(|a, b| a + 1 == *b) {
            let (first, len) = (run_of[0] as usize, run_of.len());
            let fresh = self.computed(plan, column, &program, first, len);
            store_changed(&mut self.values[column.at()], first, &fresh, &mut changed);
        }
        self.noted(column, rows.len(), changed)
    }

    /// Puts what was computed into the trace; gives the rows that changed.
    fn noted(&mut self, column: ColumnId, evaluated: usize, changed: Vec<u32>) -> Dirty {
        self.trace.push(Step {
            column,
            evaluated,
            changed: Some(changed.len()),
        });
        Dirty::of(changed)
    }

    /// Runs a program for a run of rows into a column of its own.
    fn computed(
        &self,
        plan: &Plan,
        column: ColumnId,
        program: &Program,
        first: usize,
        len: usize,
    ) -> Column {
        let mut fresh = match &self.values[column.at()] {
            Column::Numbers(_) => Column::of_numbers(vec![MISSING; len]),
            Column::Flags(_) => Column::of_flags(vec![NO_FLAG; len]),
            Column::Codes(_) => Column::of_codes(vec![ABSENT; len]),
        };
        let inputs: Inputs<'_> = self.inputs(plan);
        let chunk = Chunk::of_rows(first, len);
        let mut into = piece(&mut fresh);
        with_scratch(|scratch| run(program, inputs, &[], &chunk, &mut into, scratch));
        fresh
    }

    fn renew_groups(&mut self, column: ColumnId, rows: &[u32]) -> Dirty {
        let Source::Group { gather, value, key } = self.graph.nodes[column.at()].source else {
            return Dirty::Clean;
        };
        let mut changed = Vec::new();
        for group in rows {
            let members = self.groups[key.at()]
                .as_ref()
                .map_or(&[][..], |groups| groups.rows(*group));
            let now = gathered(
                gather,
                members.iter().copied(),
                self.values[value.at()].numbers(),
            );
            store_changed(
                &mut self.values[column.at()],
                *group as usize,
                &Column::Numbers(Values::same(now, 1)),
                &mut changed,
            );
        }
        self.noted(column, rows.len(), changed)
    }

    fn renew_shared(&mut self, plan: &Plan, column: ColumnId, rows: &[u32]) -> Dirty {
        let mut touched = Vec::new();
        if let Some(mut places) = self.places[column.at()].take() {
            touched = self.rename(plan, column, rows, &mut places);
            self.places[column.at()] = Some(places);
        }
        if let Source::Shared { sum: Some(sum), .. } = self.graph.nodes[column.at()].source {
            touched.extend_from_slice(rows);
            return self.renew_sums(plan, column, sum, &touched);
        }
        touched.sort_unstable();
        touched.dedup();
        let mut changed = Vec::new();
        for row in &touched {
            let now = self.places[column.at()]
                .as_ref()
                .map_or(MISSING, |places| places.shared(*row as usize));
            store_changed(
                &mut self.values[column.at()],
                *row as usize,
                &Column::Numbers(Values::same(now, 1)),
                &mut changed,
            );
        }
        self.noted(column, touched.len(), changed)
    }

    /// Adds up anew the places of rows that came, went or changed their value.
    fn renew_sums(&mut self, plan: &Plan, column: ColumnId, sum: ColumnId, rows: &[u32]) -> Dirty {
        let rank = plan.rows(self.graph.nodes[column.at()].sheet).rank();
        let values = self.values[sum.at()].numbers();
        let sums = self.places[column.at()]
            .as_ref()
            .map_or_else(Vec::new, |places| places.summed(rows, values, rank));
        let mut changed = Vec::new();
        for (row, now) in &sums {
            store_changed(
                &mut self.values[column.at()],
                *row as usize,
                &Column::Numbers(Values::same(*now, 1)),
                &mut changed,
            );
        }
        self.noted(column, sums.len(), changed)
    }

    /// Notes what rows name now; gives all rows whose count may have changed.
    fn rename(&self, plan: &Plan, column: ColumnId, rows: &[u32], places: &mut Places) -> Vec<u32> {
        let node = &self.graph.nodes[column.at()];
        let Source::Shared { ends, counted, .. } = &node.source else {
            return Vec::new();
        };
        let ends: Vec<(&Values<u32>, &Values<u32>)> = ends
            .iter()
            .map(|(a, b)| (self.texts(plan, *a), self.texts(plan, *b)))
            .collect();
        let view = plan.names().view();
        let counts = |row: u32| {
            let live = plan.rows(node.sheet).is_live(RowId(row));
            live && self.values[counted.at()].flags().get(row as usize) == Some(&1)
        };
        rows.iter()
            .flat_map(|row| places.renamed(*row as usize, &ends, counts(*row), &view))
            .collect()
    }
}

/// All rows of a column, to be written.
pub(super) fn piece(column: &mut Column) -> Piece<'_> {
    match column {
        Column::Numbers(values) => Piece::Numbers(values.spread()),
        Column::Flags(flags) => Piece::Flags(flags.spread()),
        Column::Codes(codes) => Piece::Codes(codes.spread()),
    }
}

/// Writes fresh values where their bits differ and notes the rows.
fn store_changed(into: &mut Column, first: usize, fresh: &Column, changed: &mut Vec<u32>) {
    match (into, fresh) {
        (Column::Numbers(into), Column::Numbers(fresh)) => {
            write_changed(into, fresh, first, changed);
        }
        (Column::Flags(into), Column::Flags(fresh)) => write_changed(into, fresh, first, changed),
        (Column::Codes(into), Column::Codes(fresh)) => write_changed(into, fresh, first, changed),
        (Column::Numbers(_) | Column::Flags(_) | Column::Codes(_), _) => {}
    }
}

fn write_changed<T: Value>(
    into: &mut Values<T>,
    fresh: &Values<T>,
    first: usize,
    changed: &mut Vec<u32>,
) {
    for (row, new) in (first..).zip(fresh.iter()) {
        if !into[row].is_same(*new) {
            into.set(row, *new);
            changed.push(row as u32);
        }
    }
}

/// Whether a program reads an assumption.
fn reads_param(program: &Program, param: ParamId) -> bool {
    let num = |num: &Num| *num == Num::Assumption(param);
    let code = |code: &Code| *code == Code::Assumption(param);
    let out = match &program.out {
        Out::Number(out) => num(out),
        Out::Text(out) | Out::Row(out) => code(out),
    };
    out || program.steps.iter().any(|step| {
        let (numbers, codes, _) = step.sources();
        numbers.iter().any(num) || codes.iter().any(code)
    })
}
