//! A checked formula with its functions written out and what is known left away.
//!
//! Columns in which nobody entered anything and that a workbook does not show are missing, sheets
//! without rows give nothing, and what follows from that is worked out here, so that the formulas
//! in a workbook stay short. Nothing is translated here.

use crate::engine::Engine;
use crate::formula::Form;
use crate::formula::Gathered;
use crate::formula::Infix;
use crate::formula::Node;
use crate::formula::Ty;
use crate::formula::Typed;
use crate::formula::program::Binary;
use crate::formula::program::Gather;
use crate::plan::Plan;
use crate::table::{ABSENT, Column, ColumnId, SheetId};
use rustc_hash::{FxHashMap, FxHashSet};

/// Writes formulas out and folds them.
pub struct Folder<'a> {
    plan: &'a Plan,
    engine: &'a Engine,
    /// Entered columns that a workbook shows, so that a value may come.
    shown: FxHashSet<ColumnId>,
    known: FxHashMap<ColumnId, Option<Node>>,
}

impl<'a> Folder<'a> {
    /// For a workbook that shows these columns.
    pub fn new(plan: &'a Plan, engine: &'a Engine, shown: FxHashSet<ColumnId>) -> Self {
        Self {
            plan,
            engine,
            shown,
            known: FxHashMap::default(),
        }
    }

    /// Whether a sheet has rows.
    pub fn has_rows(&self, sheet: SheetId) -> bool {
        !self.plan.rows(sheet).order().is_empty()
    }

    /// The formula of a column, written out and folded.
    pub fn formula(&mut self, column: ColumnId) -> Option<Typed> {
        let engine = self.engine;
        let formula = engine.formula(column)?;
        Some(self.part(&formula.tree, &[]))
    }

    /// What a column always holds, where that is one thing.
    fn known(&mut self, column: ColumnId) -> Option<Node> {
        if let Some(known) = self.known.get(&column) {
            return known.clone();
        }
        // A column is not known while it is being looked at; there are no loops, but it costs
        // nothing to end here if there were one.
        self.known.insert(column, None);
        let node = self.look_at(column);
        self.known.insert(column, node.clone());
        node
    }

    fn look_at(&mut self, column: ColumnId) -> Option<Node> {
        let node = &self.engine.graph().nodes[column.at()];
        if let crate::engine::Source::Entered(position) = node.source {
            let rows = self.plan.rows(node.sheet);
            let column_of = rows.column(position);
            // Removed rows are still stored.
            let blank = rows.order().iter().all(|row| match column_of {
                Column::Numbers(values) => values.get(row.at()).is_none_or(|value| value.is_nan()),
                Column::Codes(codes) => codes.get(row.at()).is_none_or(|code| *code == ABSENT),
                Column::Flags(_) => true,
            });
            let blank = blank && position != 0 && !self.shown.contains(&column);
            return blank.then_some(Node::Missing);
        }
        let part = self.formula(column)?;
        let is_known = matches!(
            part.node,
            Node::Number(_) | Node::Flag(_) | Node::Text(_) | Node::Missing
        );
        // A text that comes out of a formula of rows is not the row itself.
        let is_plain = !matches!(part.ty, Ty::Row(_)) || part.is_missing();
        (is_known && is_plain).then_some(part.node)
    }

    fn boxed(&mut self, part: &Typed, args: &[Typed]) -> Box<Typed> {
        Box::new(self.part(part, args))
    }

    fn list(&mut self, parts: &[Typed], args: &[Typed]) -> Vec<Typed> {
        parts.iter().map(|part| self.part(part, args)).collect()
    }

    /// A part inside the text of a function with these arguments.
    fn part(&mut self, part: &Typed, args: &[Typed]) -> Typed {
        let node = match &part.node {
            Node::Parameter(at) => match args.get(*at) {
                Some(arg) => return arg.clone(),
                None => Node::Missing,
            },
            Node::Call {
                form: Form::Inline { body, .. },
                args: given,
                ..
            } => {
                let given = self.list(given, args);
                return self.part(body, &given);
            }
            Node::Call {
                name,
                form,
                args: given,
            } => {
                let given = self.list(given, args);
                called(name, form, given)
            }
            Node::Column { id, .. } => self.known(*id).unwrap_or_else(|| part.node.clone()),
            Node::Fetch {
                row,
                column,
                entered,
            } => self.fetch(row, *column, *entered, args),
            Node::TextOf(x) => match self.part(x, args) {
                missing if missing.is_missing() => Node::Missing,
                x => Node::TextOf(Box::new(x)),
            },
            Node::Negate(x) => match self.part(x, args) {
                missing if missing.is_missing() => Node::Missing,
                Typed {
                    node: Node::Number(value),
                    ..
                } => Node::Number(-value),
                x => Node::Negate(Box::new(x)),
            },
            Node::Not(x) => match self.part(x, args) {
                missing if missing.is_missing() => Node::Missing,
                Typed {
                    node: Node::Flag(flag),
                    ..
                } => Node::Flag(!flag),
                x => Node::Not(Box::new(x)),
            },
            Node::Infix { op, a, b } => infix(*op, self.boxed(a, args), self.boxed(b, args)),
            Node::Aggregate(gathered) => self.aggregate(gathered, args),
            Node::RowOf { sheet, keys } => self.row_of(*sheet, keys, args),
            Node::Number(_)
            | Node::Text(_)
            | Node::Flag(_)
            | Node::Missing
            | Node::Row(_)
            | Node::This
            | Node::Assumption(_) => part.node.clone(),
        };
        Typed {
            span: part.span.clone(),
            ty: part.ty,
            node,
        }
    }

    fn fetch(&mut self, row: &Typed, column: ColumnId, entered: bool, args: &[Typed]) -> Node {
        let row = self.part(row, args);
        let is_lost = row.is_missing() || matches!(self.known(column), Some(Node::Missing));
        match is_lost {
            true => Node::Missing,
            false => Node::Fetch {
                row: Box::new(row),
                column,
                entered,
            },
        }
    }

    fn aggregate(&mut self, gathered: &Gathered, args: &[Typed]) -> Node {
        let nothing = match gathered.gather {
            Gather::Total | Gather::Tally => Node::Number(0.0),
            Gather::Largest | Gather::Smallest | Gather::Mean => Node::Missing,
        };
        let value = gathered.value.as_ref().map(|value| self.part(value, args));
        let conditions = self.list(&gathered.conditions, args);
        let none_counts = |one: &Typed| matches!(one.node, Node::Flag(false) | Node::Missing);
        if !self.has_rows(gathered.over) || conditions.iter().any(none_counts) {
            return match &gathered.key {
                Some((_, with)) if !matches!(with.node, Node::This) => {
                    self.keyed(with, nothing, args)
                }
                Some(_) | None => nothing,
            };
        }
        let key = gathered
            .key
            .as_ref()
            .map(|(column, with)| (*column, self.part(with, args)));
        if key.as_ref().is_some_and(|(_, with)| with.is_missing()) {
            return Node::Missing;
        }
        let is_yes = |one: &Typed| matches!(one.node, Node::Flag(true));
        Node::Aggregate(Box::new(Gathered {
            gather: gathered.gather,
            over: gathered.over,
            value,
            conditions: conditions.into_iter().filter(|one| !is_yes(one)).collect(),
            key,
        }))
    }

    /// What an aggregate without rows gives for a row that is named: nothing where there is none.
    fn keyed(&mut self, with: &Typed, nothing: Node, args: &[Typed]) -> Node {
        let with = self.part(with, args);
        if with.is_missing() || matches!(nothing, Node::Missing) {
            return Node::Missing;
        }
        let number = |node| Typed {
            span: with.span.clone(),
            ty: Ty::Number(crate::units::Measure::NUMBER),
            node,
        };
        let given = Typed {
            span: with.span.clone(),
            ty: Ty::Flag,
            node: Node::Call {
                name: "is_given",
                form: Form::IsGiven,
                args: vec![with.clone()],
            },
        };
        Node::Call {
            name: "pick",
            form: Form::Pick,
            args: vec![given, number(nothing), number(Node::Missing)],
        }
    }

    fn row_of(&mut self, sheet: SheetId, keys: &[(ColumnId, Typed)], args: &[Typed]) -> Node {
        let keys = keys
            .iter()
            .map(|(column, with)| (*column, self.part(with, args)));
        let keys: Vec<(ColumnId, Typed)> = keys.collect();
        let is_lost = !self.has_rows(sheet) || keys.iter().any(|(_, with)| with.is_missing());
        match is_lost {
            true => Node::Missing,
            false => Node::RowOf { sheet, keys },
        }
    }
}

fn infix(op: Infix, a: Box<Typed>, b: Box<Typed>) -> Node {
    if matches!(op, Infix::And | Infix::Or) {
        return joined(op, a, b);
    }
    if a.is_missing() || b.is_missing() {
        return Node::Missing;
    }
    if let (Node::Number(x), Node::Number(y)) = (&a.node, &b.node) {
        let (x, y) = (*x, *y);
        let value = match op {
            Infix::Add => x + y,
            Infix::Subtract => x - y,
            Infix::Multiply => x * y,
            Infix::Divide => x / y,
            Infix::Power => x.powf(y),
            Infix::Equal => return Node::Flag(x == y),
            Infix::Unequal => return Node::Flag(x != y),
            Infix::Less => return Node::Flag(x < y),
            Infix::LessEqual => return Node::Flag(x <= y),
            Infix::Greater => return Node::Flag(x > y),
            Infix::GreaterEqual => return Node::Flag(x >= y),
            Infix::And | Infix::Or => f64::NAN,
        };
        return match value.is_finite() {
            true => Node::Number(value),
            false => Node::Missing,
        };
    }
    match (op, &a.node, &b.node) {
        (Infix::Add | Infix::Subtract, _, Node::Number(0.0)) => a.node,
        (Infix::Add, Node::Number(0.0), _) => b.node,
        _ => Node::Infix { op, a, b },
    }
}

/// `and` and `or`, where one side that is known may decide.
fn joined(op: Infix, a: Box<Typed>, b: Box<Typed>) -> Node {
    let decides = op == Infix::Or;
    let known = |part: &Typed| match part.node {
        Node::Flag(flag) => Some(flag),
        _ => None,
    };
    match (known(&a), known(&b)) {
        (Some(flag), _) | (_, Some(flag)) if flag == decides => Node::Flag(decides),
        (Some(_), _) => b.node,
        (_, Some(_)) => a.node,
        (None, None) if a.is_missing() && b.is_missing() => Node::Missing,
        (None, None) => Node::Infix { op, a, b },
    }
}

fn called(name: &'static str, form: &Form, mut args: Vec<Typed>) -> Node {
    let is_missing = |args: &[Typed]| args.iter().any(Typed::is_missing);
    match form {
        Form::Pick => match args[0].node {
            Node::Flag(true) => return args.swap_remove(1).node,
            Node::Flag(false) => return args.swap_remove(2).node,
            Node::Missing => return Node::Missing,
            _ if args[1].is_missing() && args[2].is_missing() => return Node::Missing,
            _ => {}
        },
        Form::FirstGiven => {
            args.retain(|arg| !arg.is_missing());
            let sure =
                |arg: &Typed| matches!(arg.node, Node::Number(_) | Node::Flag(_) | Node::Text(_));
            if let Some(at) = args.iter().position(sure) {
                args.truncate(at + 1);
            }
            match args.len() {
                0 => return Node::Missing,
                1 => return args.remove(0).node,
                _ => {}
            }
        }
        Form::IsGiven => match args[0].node {
            Node::Missing => return Node::Flag(false),
            Node::Number(_) | Node::Flag(_) | Node::Text(_) | Node::This => {
                return Node::Flag(true);
            }
            _ => {}
        },
        Form::OneOf => {
            if args[0].is_missing() {
                return Node::Missing;
            }
        }
        Form::Fold(
            Binary::Least
            | Binary::Most
            | Binary::Nearest
            | Binary::NextUp
            | Binary::NextDown
            | Binary::Add
            | Binary::Subtract
            | Binary::Multiply
            | Binary::Divide
            | Binary::Power,
        )
        | Form::Unary(_)
        | Form::Numbers(_)
        | Form::Texts(_) => {
            if is_missing(&args) {
                return Node::Missing;
            }
        }
        Form::Fold(
            Binary::Equal
            | Binary::Unequal
            | Binary::Less
            | Binary::LessEqual
            | Binary::And
            | Binary::Or
            | Binary::FirstGiven,
        )
        | Form::Inline { .. } => {}
    }
    Node::Call {
        name,
        form: form.clone(),
        args,
    }
}
