//! From formulas to the graph: aggregates become hidden columns, lookups are shared.
//!
//! Equal aggregates of different formulas become one hidden column.

use super::node::{Graph, Node, Source, column_id, declared, first_columns, reads_of};
use super::{MadeDef, SharedDef};
use crate::formula::Formula;
use crate::formula::Library;
use crate::formula::Scope;
use crate::formula::Ty;
use crate::formula::functions::Body;
use crate::formula::program::{Aggregate, Lookup, Num, Out, Program, Step};
use crate::problem::Problem;
use crate::sheet::ColumnDef;
use crate::sheet::SheetDef;
use crate::table::{ColumnId, SheetId};
use crate::units::Measure;
use rayon::iter::{IntoParallelRefIterator, ParallelIterator};
use std::sync::Arc;

/// The graph while it is being built.
pub struct Linker<'a> {
    schema: &'a [SheetDef],
    scope: &'a (dyn Scope + Sync),
    library: &'a Library,
    nodes: Vec<Node>,
    lookups: Vec<Lookup>,
    formulas: Vec<Option<Arc<Formula>>>,
    problems: Vec<(ColumnId, Problem)>,
    n_hidden: usize,
}

impl<'a> Linker<'a> {
    /// An empty graph over a schema.
    pub fn new(
        schema: &'a [SheetDef],
        scope: &'a (dyn Scope + Sync),
        library: &'a Library,
    ) -> Self {
        Self {
            schema,
            scope,
            library,
            nodes: Vec::new(),
            lookups: Vec::new(),
            formulas: Vec::new(),
            problems: Vec::new(),
            n_hidden: 0,
        }
    }

    /// Adds a node for every column of every sheet, then their formulas.
    pub fn add_sheets(&mut self) {
        for (at, sheet) in self.schema.iter().enumerate() {
            let id = SheetId(u16::try_from(at).expect("a plan has fewer sheets than ids"));
            for (position, def) in sheet.columns.iter().enumerate() {
                self.add_column(id, sheet, position, def);
            }
        }
        let columns = self
            .schema
            .iter()
            .flat_map(|sheet| sheet.columns.iter().map(move |def| (sheet, def)));
        let with_formula = columns.enumerate().filter_map(|(at, (sheet, def))| {
            let text = def.formula.as_deref()?;
            Some((column_id(at), sheet, def, text))
        });
        let all: Vec<_> = with_formula.collect();
        self.give_codes(all.iter().map(|(.., text)| *text));
        let (scope, library, nodes) = (self.scope, self.library, &self.nodes);
        let compiled: Vec<_> = all
            .par_iter()
            .map(|(id, _, _, text)| {
                crate::formula::compile(text, Some(nodes[id.at()].sheet), scope, library)
            })
            .collect();
        for ((id, sheet, def, _), formula) in all.into_iter().zip(compiled) {
            self.take(id, sheet, def, formula);
        }
    }

    /// Gives the texts in formulas their codes in one order, whichever thread meets them first
    /// afterwards: equal plans have equal codes.
    fn give_codes<'t>(&self, formulas: impl Iterator<Item = &'t str>) {
        let bodies = self.library.iter().filter_map(|known| {
            let Body::Formula(text) = known.body else {
                return None;
            };
            Some(text)
        });
        for text in formulas.chain(bodies) {
            for quoted in text.split('"').skip(1).step_by(2) {
                self.scope.names().code(quoted);
            }
        }
    }

    fn add_column(&mut self, sheet: SheetId, def: &SheetDef, position: usize, column: &ColumnDef) {
        let id = column_id(self.nodes.len());
        let ty = declared(column, |name| self.scope.sheet(name)).unwrap_or_else(|problem| {
            self.problems.push((id, problem));
            Ty::Number(Measure::NUMBER)
        });
        let source = if column.entered() {
            Source::Entered(position)
        } else {
            Source::Broken
        };
        self.push(Node {
            sheet,
            name: format!("{}.{}", def.name, column.name),
            ty,
            source,
            reads: Vec::new(),
            phase: 0,
        });
    }

    /// Links the compiled formula of a column; problems leave the column broken.
    fn take(
        &mut self,
        id: ColumnId,
        sheet: &SheetDef,
        def: &ColumnDef,
        formula: Result<Formula, Vec<Problem>>,
    ) {
        let origin = format!("{}.{}", sheet.name, def.name);
        let place = |problem: Problem| match problem.place.clone() {
            Some(place) => problem.within(format!("formula of {origin}"), place.source),
            None => problem,
        };
        let ty = self.nodes[id.at()].ty;
        match formula {
            Ok(formula) => {
                if let Err(problem) = crate::formula::check_unit(&formula, ty) {
                    self.problems.push((id, place(problem)));
                    return;
                }
                let program = self.link(&formula.program, &formula);
                let node = &mut self.nodes[id.at()];
                node.reads = reads_of(&program, &self.lookups);
                node.source = Source::Program(Arc::new(program));
                self.formulas[id.at()] = Some(Arc::new(formula));
            }
            Err(problems) => {
                self.problems
                    .extend(problems.into_iter().map(|problem| (id, place(problem))));
            }
        }
    }

    /// A program of a formula with aggregates and lookups replaced by those of the graph.
    pub fn link(&mut self, program: &Program, formula: &Formula) -> Program {
        let groups: Vec<ColumnId> = formula
            .aggregates
            .iter()
            .map(|aggregate| self.aggregate(aggregate, formula))
            .collect();
        let lookups: Vec<usize> = formula
            .lookups
            .iter()
            .map(|lookup| self.lookup(lookup))
            .collect();
        linked(program, &groups, &lookups)
    }

    /// The hidden column of an aggregate.
    fn aggregate(&mut self, aggregate: &Aggregate, formula: &Formula) -> ColumnId {
        let value = self.counted_value(aggregate, formula);
        let gather = aggregate.gather;
        let (sheet, source, reads) = match aggregate.key {
            Some(key) => {
                let Ty::Row(target) = self.nodes[key.at()].ty else {
                    unreachable!("the checker lets only columns of rows be keys")
                };
                let reads = vec![any(value), any(key)];
                (target, Source::Group { gather, value, key }, reads)
            }
            None => (
                aggregate.over,
                Source::Whole { gather, value },
                vec![any(value)],
            ),
        };
        let same = self
            .nodes
            .iter()
            .position(|node| match (&node.source, &source) {
                (
                    Source::Group {
                        gather: g,
                        value: v,
                        key: k,
                    },
                    Source::Group { gather, value, key },
                ) => (g, v, k) == (gather, value, key),
                (
                    Source::Whole {
                        gather: g,
                        value: v,
                    },
                    Source::Whole { gather, value },
                ) => (g, v) == (gather, value),
                _ => false,
            });
        match same {
            Some(at) => column_id(at),
            None => self.hidden(sheet, source, reads),
        }
    }

    /// The hidden column of values that an aggregate counts.
    fn counted_value(&mut self, aggregate: &Aggregate, formula: &Formula) -> ColumnId {
        let program = self.link_inner(&aggregate.value, formula);
        let same = self.nodes.iter().position(|node| {
            node.sheet == aggregate.over && node.program().is_some_and(|known| **known == program)
        });
        if let Some(at) = same {
            return column_id(at);
        }
        let reads = reads_of(&program, &self.lookups);
        self.hidden(aggregate.over, Source::Program(Arc::new(program)), reads)
    }

    /// Links a value program; it holds lookups but no aggregates.
    fn link_inner(&mut self, program: &Program, formula: &Formula) -> Program {
        let lookups: Vec<usize> = formula
            .lookups
            .iter()
            .map(|lookup| self.lookup(lookup))
            .collect();
        linked(program, &[], &lookups)
    }

    fn lookup(&mut self, lookup: &Lookup) -> usize {
        if let Some(at) = self.lookups.iter().position(|known| known == lookup) {
            return at;
        }
        self.lookups.push(lookup.clone());
        self.lookups.len() - 1
    }

    fn hidden(
        &mut self,
        sheet: SheetId,
        source: Source,
        reads: Vec<super::node::Read>,
    ) -> ColumnId {
        self.n_hidden += 1;
        let name = format!("{}.#{}", self.schema[sheet.at()].name, self.n_hidden);
        let ty = Ty::Number(Measure::NUMBER);
        self.push(Node {
            sheet,
            name,
            ty,
            source,
            reads,
            phase: 0,
        })
    }

    /// Adds the columns that count shared places; their columns exist already, as broken ones.
    pub fn add_shared(&mut self, shared: &[SharedDef]) {
        for def in shared {
            let Some(sheet) = self.scope.sheet(def.sheet) else {
                continue;
            };
            let find = |name: &str| self.scope.column(sheet, name).map(|column| column.id);
            let ends: Option<Vec<(ColumnId, ColumnId)>> = def
                .ends
                .iter()
                .map(|(name, place)| Some((find(name)?, find(place)?)))
                .collect();
            let (Some(id), Some(ends), Some(counted)) = (find(def.column), ends, find(def.counted))
            else {
                continue;
            };
            let sum = def.sum.and_then(find);
            let mut reads: Vec<_> = ends.iter().flat_map(|(a, b)| [any(*a), any(*b)]).collect();
            reads.extend([Some(counted), sum].into_iter().flatten().map(any));
            self.replace(id, Source::Shared { ends, counted, sum }, reads);
        }
    }

    /// Adds the columns that functions make; their columns exist already, with the formula
    /// `missing`.
    pub fn add_made(&mut self, made: &[MadeDef]) {
        for (by, def) in made.iter().enumerate() {
            let find = |(sheet, column): (&str, &str)| {
                let sheet = self.scope.sheet(sheet)?;
                self.scope.column(sheet, column).map(|column| column.id)
            };
            let own = def.columns.iter().map(|column| find((def.sheet, *column)));
            let reads = def.reads.iter().map(|read| find(*read));
            let (Some(own), Some(reads)) = (
                own.collect::<Option<Vec<_>>>(),
                reads.collect::<Option<Vec<_>>>(),
            ) else {
                continue;
            };
            let is_free = |id: &ColumnId| {
                let formula = self.formulas[id.at()].as_ref();
                formula.is_none_or(|formula| formula.text.trim() == "missing")
            };
            let own: Vec<ColumnId> = own.into_iter().filter(is_free).collect();
            let Some(lead) = own.first().copied() else {
                continue;
            };
            for id in own {
                let reads = match id == lead {
                    true => reads.iter().copied().map(any).collect(),
                    false => vec![any(lead)],
                };
                self.replace(id, Source::Made { by, lead }, reads);
            }
        }
    }

    /// Gives a column that has no formula of its own what makes it.
    fn replace(&mut self, id: ColumnId, source: Source, reads: Vec<super::node::Read>) {
        let node = &mut self.nodes[id.at()];
        node.reads = reads;
        node.source = source;
        self.formulas[id.at()] = None;
        self.problems.retain(|(column, _)| *column != id);
    }

    fn push(&mut self, node: Node) -> ColumnId {
        let id = column_id(self.nodes.len());
        self.nodes.push(node);
        self.formulas.push(None);
        id
    }

    /// The graph, not yet ordered.
    pub fn finish(self, first: Vec<ColumnId>) -> Graph {
        debug_assert_eq!(first, first_columns(self.schema));
        Graph {
            nodes: self.nodes,
            first,
            order: Vec::new(),
            lookups: self.lookups,
            formulas: self.formulas,
            problems: self.problems,
        }
    }
}

fn any(column: ColumnId) -> super::node::Read {
    super::node::Read {
        column,
        via: super::node::Via::Any,
    }
}

/// A program with its aggregates and lookups replaced by columns and lookups of a graph.
pub fn linked(program: &Program, groups: &[ColumnId], lookups: &[usize]) -> Program {
    let mut program = program.clone();
    for step in &mut program.steps {
        link_step(step, groups, lookups);
    }
    if let Out::Number(num) = &mut program.out {
        link_num(num, groups);
    }
    program
}

fn link_step(step: &mut Step, groups: &[ColumnId], lookups: &[usize]) {
    match step {
        Step::Binary { a, b, .. } => {
            link_num(a, groups);
            link_num(b, groups);
        }
        Step::Unary { a, .. } => link_num(a, groups),
        Step::Pick { flag, a, b, .. } => {
            link_num(flag, groups);
            link_num(a, groups);
            link_num(b, groups);
        }
        Step::PickCode { flag, .. } => link_num(flag, groups),
        Step::Call { args, .. } => args.iter_mut().for_each(|arg| link_num(arg, groups)),
        Step::Find { lookup, .. } => *lookup = lookups[*lookup],
        Step::FetchGroup { to, row, aggregate } => {
            *step = Step::Fetch {
                to: *to,
                row: *row,
                column: groups[*aggregate],
            };
        }
        Step::CodeGiven { .. }
        | Step::SameText { .. }
        | Step::SameRow { .. }
        | Step::Fetch { .. }
        | Step::FetchText { .. }
        | Step::FetchRow { .. }
        | Step::CallText { .. } => {}
    }
}

fn link_num(num: &mut Num, groups: &[ColumnId]) {
    match num {
        Num::Group(at) => *num = Num::Column(groups[*at]),
        Num::Whole(at) => *num = Num::Whole(groups[*at].at()),
        Num::Register(_) | Num::Constant(_) | Num::Column(_) | Num::Assumption(_) => {}
    }
}
