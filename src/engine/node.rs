//! The columns of all sheets as a graph: what each is made of, what it reads, in which order.
//!
//! Built anew whenever a formula, column or check changes; values are kept elsewhere.

use super::link::Linker;
use crate::formula::Formula;
use crate::formula::Library;
use crate::formula::Ty;
use crate::formula::program::{Code, Gather, Lookup, Num, Out, Program, Step};
use crate::problem::Problem;
use crate::sheet::ColumnKind;
use crate::sheet::SheetDef;
use crate::table::{ColumnId, SheetId};
use std::sync::Arc;

/// A column of the graph: one of a sheet, or a hidden one that an aggregate needs.
#[derive(Debug, Clone)]
pub struct Node {
    /// The sheet whose rows it has.
    pub sheet: SheetId,
    /// Its name with that of its sheet, for traces and messages.
    pub name: String,
    /// The type of its values.
    pub ty: Ty,
    /// What makes its values.
    pub source: Source,
    /// What it reads.
    pub reads: Vec<Read>,
    /// When it is computed: everything it waits for is in an earlier phase.
    pub phase: u32,
}

/// What makes the values of a column.
#[derive(Debug, Clone)]
pub enum Source {
    /// A person, at this position of the sheet.
    Entered(usize),
    /// A formula, with its programs rewritten to columns of the graph.
    Program(Arc<Program>),
    /// A formula that has problems: every value is absent.
    Broken,
    /// An aggregate with one value for each row that the key column points to.
    Group {
        /// What is made of the rows.
        gather: Gather,
        /// The hidden column of values that count.
        value: ColumnId,
        /// The column of rows that names the group.
        key: ColumnId,
    },
    /// An aggregate over all rows of a sheet; one value.
    Whole {
        /// What is made of the rows.
        gather: Gather,
        /// The hidden column of values that count.
        value: ColumnId,
    },
    /// How many other cable ends share one of the places that a row's ends name, or the sum of a
    /// column over the rows that share its one place.
    Shared {
        /// Pairs of text columns; each pair names one place of the row.
        ends: Vec<(ColumnId, ColumnId)>,
        /// The flag column of rows that count.
        counted: ColumnId,
        /// The computed column that is summed; none to count.
        sum: Option<ColumnId>,
    },
    /// A function of a room above, over whole columns.
    Made {
        /// Which of the functions.
        by: usize,
        /// The first of its columns: when that one is computed, all of them are.
        lead: ColumnId,
    },
}

/// One column read by another, and how.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Read {
    /// The column read.
    pub column: ColumnId,
    /// Which of its rows matter.
    pub via: Via,
}

/// Which rows of a read column a row depends on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Via {
    /// The same row.
    Row,
    /// The row that a column of rows of the reader points to; `None`: that row is computed.
    Through(Option<ColumnId>),
    /// Any row.
    Any,
}

impl Node {
    /// Whether it is computed by running a program row by row.
    pub fn program(&self) -> Option<&Arc<Program>> {
        match &self.source {
            Source::Program(program) => Some(program),
            Source::Entered(_)
            | Source::Broken
            | Source::Group { .. }
            | Source::Whole { .. }
            | Source::Shared { .. }
            | Source::Made { .. } => None,
        }
    }

    /// Whether a person enters it.
    pub fn is_entered(&self) -> bool {
        matches!(self.source, Source::Entered(_))
    }
}

/// The whole graph.
#[derive(Debug, Clone)]
pub struct Graph {
    /// All columns by id: those of the sheets in order, then hidden ones.
    pub nodes: Vec<Node>,
    /// For each sheet the id of its first column.
    pub first: Vec<ColumnId>,
    /// Computed columns so that each stands after all it reads.
    pub order: Vec<ColumnId>,
    /// Searches for rows by key, shared by all formulas.
    pub lookups: Vec<Lookup>,
    /// The formula of each computed column that has one without problems.
    pub formulas: Vec<Option<Arc<Formula>>>,
    /// What is wrong with formulas, with the column it concerns.
    pub problems: Vec<(ColumnId, Problem)>,
}

impl Graph {
    /// Builds the graph of a schema.
    pub fn build(
        schema: &[SheetDef],
        scope: &(dyn crate::formula::Scope + Sync),
        library: &Library,
        shared: &[super::SharedDef],
        made: &[super::MadeDef],
    ) -> Self {
        let first = first_columns(schema);
        let mut linker = Linker::new(schema, scope, library);
        linker.add_sheets();
        linker.add_shared(shared);
        linker.add_made(made);
        let mut graph = linker.finish(first);
        graph.break_cycles();
        graph.sort();
        graph
    }

    /// Replaces every column of a loop by a broken one and says which loop it is.
    fn break_cycles(&mut self) {
        while let Some(cycle) = self.find_cycle() {
            let names: Vec<&str> = cycle
                .iter()
                .map(|column| self.nodes[column.at()].name.as_str())
                .collect();
            let around = format!("{} -> {}", names.join(" -> "), names[0]);
            for column in cycle {
                let problem = Problem::new(
                    "cycle",
                    format!("`{}` depends on itself", self.nodes[column.at()].name),
                )
                .help(format!("the loop is {around}"))
                .help("change one of these formulas so that the loop is open");
                self.problems.push((column, problem));
                let node = &mut self.nodes[column.at()];
                node.source = Source::Broken;
                node.reads.clear();
                self.formulas[column.at()] = None;
            }
        }
    }

    /// The columns of one loop, if there is any.
    fn find_cycle(&self) -> Option<Vec<ColumnId>> {
        let mut state = vec![Visit::New; self.nodes.len()];
        let mut path = Vec::new();
        (0..self.nodes.len()).find_map(|at| self.walk(at, &mut state, &mut path))
    }

    /// Walks the reads of a column without recursion; gives the loop it meets.
    fn walk(
        &self,
        start: usize,
        state: &mut [Visit],
        path: &mut Vec<(usize, usize)>,
    ) -> Option<Vec<ColumnId>> {
        if state[start] != Visit::New {
            return None;
        }
        path.clear();
        path.push((start, 0));
        state[start] = Visit::Open;
        while let Some((at, next)) = path.last_mut() {
            let here = *at;
            let Some(read) = self.nodes[here].reads.get(*next) else {
                state[here] = Visit::Done;
                path.pop();
                continue;
            };
            *next += 1;
            let to = read.column.at();
            match state[to] {
                Visit::Done => {}
                Visit::New => {
                    state[to] = Visit::Open;
                    path.push((to, 0));
                }
                Visit::Open => {
                    let from = path.iter().position(|(node, _)| *node == to)?;
                    return Some(
                        path[from..]
                            .iter()
                            .map(|(node, _)| column_id(*node))
                            .collect(),
                    );
                }
            }
        }
        None
    }

    /// Orders the computed columns and gives each its phase.
    fn sort(&mut self) {
        let mut done = vec![false; self.nodes.len()];
        let mut order = Vec::new();
        for at in 0..self.nodes.len() {
            self.place(at, &mut done, &mut order);
        }
        for column in &order {
            let phase = self.phase_of(*column);
            self.nodes[column.at()].phase = phase;
        }
        order.retain(|column| !self.nodes[column.at()].is_entered());
        order.sort_by_key(|column| self.nodes[column.at()].phase);
        self.order = order;
    }

    /// Puts a column after all it reads; the graph has no loops any more.
    fn place(&self, start: usize, done: &mut [bool], order: &mut Vec<ColumnId>) {
        let mut path = vec![(start, 0)];
        while let Some((at, next)) = path.last_mut() {
            let here = *at;
            if done[here] {
                path.pop();
                continue;
            }
            match self.nodes[here].reads.get(*next) {
                Some(read) => {
                    *next += 1;
                    if !done[read.column.at()] {
                        path.push((read.column.at(), 0));
                    }
                }
                None => {
                    done[here] = true;
                    order.push(column_id(here));
                    path.pop();
                }
            }
        }
    }

    /// The phase in which all that a column reads is ready.
    ///
    /// Reading the same row of a program's column needs no later phase: both run chunk by chunk.
    fn phase_of(&self, column: ColumnId) -> u32 {
        let node = &self.nodes[column.at()];
        let wait = |read: &Read| {
            let from = &self.nodes[read.column.at()];
            let together =
                read.via == Via::Row && from.program().is_some() && node.program().is_some();
            match from.source {
                Source::Entered(_) => 0,
                _ if together => from.phase,
                _ => from.phase + 1,
            }
        };
        node.reads.iter().map(wait).max().unwrap_or(0)
    }
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Visit {
    New,
    Open,
    Done,
}

/// The id of a column by position.
pub fn column_id(at: usize) -> ColumnId {
    ColumnId(u32::try_from(at).expect("a plan has fewer columns than ids"))
}

/// The id of the first column of each sheet.
pub fn first_columns(schema: &[SheetDef]) -> Vec<ColumnId> {
    let mut next = 0;
    let mut first = Vec::with_capacity(schema.len());
    for sheet in schema {
        first.push(column_id(next));
        next += sheet.columns.len();
    }
    first
}

/// The type that a definition declares.
///
/// # Errors
/// An unknown unit or an unknown sheet.
pub fn declared(
    def: &crate::sheet::ColumnDef,
    sheet_of: impl Fn(&str) -> Option<SheetId>,
) -> Result<Ty, Problem> {
    Ok(match def.kind {
        ColumnKind::Number => Ty::Number(crate::units::Units::builtin().unit(&def.unit)?.measure),
        ColumnKind::Text | ColumnKind::Choice => Ty::Text,
        ColumnKind::Flag => Ty::Flag,
        ColumnKind::Row => {
            let name = def.to.as_deref().unwrap_or_default();
            let sheet = sheet_of(name).ok_or_else(|| {
                Problem::new(
                    "sheet-unknown",
                    format!("column `{}` points to no sheet", def.name),
                )
            })?;
            Ty::Row(sheet)
        }
    })
}

/// Everything a linked program reads, with the way it is read.
pub fn reads_of(program: &Program, lookups: &[Lookup]) -> Vec<Read> {
    let mut reads = Vec::new();
    for step in &program.steps {
        step_reads(step, lookups, &mut reads);
    }
    match program.out {
        Out::Number(num) => num_reads(num, &mut reads),
        Out::Text(code) | Out::Row(code) => code_reads(code, &mut reads),
    }
    reads
}

fn step_reads(step: &Step, lookups: &[Lookup], reads: &mut Vec<Read>) {
    let (numbers, codes, fetched) = step.sources();
    numbers.iter().for_each(|num| num_reads(*num, reads));
    codes.iter().for_each(|code| code_reads(*code, reads));
    if let Some(column) = fetched {
        add(
            reads,
            column,
            Via::Through(codes.iter().find_map(row_column)),
        );
    }
    if let Step::Find { lookup, .. } = step {
        for (column, _) in &lookups[*lookup].keys {
            add(reads, *column, Via::Any);
        }
    }
}

/// The column of rows that a code is read from.
fn row_column(code: &Code) -> Option<ColumnId> {
    match code {
        Code::Row(column) => Some(*column),
        Code::Register(_)
        | Code::Constant(_)
        | Code::Text(_)
        | Code::Assumption(_)
        | Code::This => None,
    }
}

fn num_reads(num: Num, reads: &mut Vec<Read>) {
    match num {
        Num::Column(column) => add(reads, column, Via::Row),
        Num::Whole(at) => add(reads, column_id(at), Via::Any),
        Num::Register(_) | Num::Constant(_) | Num::Assumption(_) | Num::Group(_) => {}
    }
}

fn code_reads(code: Code, reads: &mut Vec<Read>) {
    match code {
        Code::Text(column) | Code::Row(column) => add(reads, column, Via::Row),
        Code::Register(_) | Code::Constant(_) | Code::Assumption(_) | Code::This => {}
    }
}

fn add(reads: &mut Vec<Read>, column: ColumnId, via: Via) {
    let read = Read { column, via };
    if !reads.contains(&read) {
        reads.push(read);
    }
}
