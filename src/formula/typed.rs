//! A checked formula as a tree: every part with its place and type.
//!
//! Made by the checker, lowered to a program, and walked by whoever explains or exports a
//! formula. Nothing is checked or run here.

use super::program::{Binary, Gather, NumberKernel, TextKernel, Unary};
use super::{Infix, Span, Ty};
use crate::table::{ColumnId, ParamId, SheetId};

/// A part of a checked formula.
#[derive(Debug, Clone)]
pub struct Typed {
    /// Where it stands in the text of the formula; inside [`Form::Inline`], in the function's.
    pub span: Span,
    /// The type of its value; of a part that is always missing, the type that is wanted there.
    pub ty: Ty,
    /// What it is.
    pub node: Node,
}

/// What a part of a checked formula is.
#[derive(Debug, Clone)]
pub enum Node {
    /// A quantity in base units.
    Number(f64),
    /// A text in quotes.
    Text(String),
    /// `yes` or `no`.
    Flag(bool),
    /// The absent value.
    Missing,
    /// A row named by a text where a row is wanted.
    Row(u32),
    /// The row itself.
    This,
    /// A column of the sheet the part runs on.
    Column {
        /// Which column.
        id: ColumnId,
        /// Whether a person enters it; an entered column of rows has texts as well.
        entered: bool,
    },
    /// A column of the row that another part gives.
    Fetch {
        /// Gives the row.
        row: Box<Typed>,
        /// The column of that row's sheet.
        column: ColumnId,
        /// Whether a person enters it.
        entered: bool,
    },
    /// An assumption.
    Assumption(ParamId),
    /// An argument of the function whose text this stands in, counted from 0.
    Parameter(usize),
    /// A row taken by its text.
    TextOf(Box<Typed>),
    /// A sign.
    Negate(Box<Typed>),
    /// `not`.
    Not(Box<Typed>),
    /// Two parts with an operator between.
    Infix {
        /// The operator.
        op: Infix,
        /// Left.
        a: Box<Typed>,
        /// Right.
        b: Box<Typed>,
    },
    /// A function of values of one row.
    Call {
        /// Its name.
        name: &'static str,
        /// How its value is made.
        form: Form,
        /// Its arguments.
        args: Vec<Typed>,
    },
    /// One value made of many rows.
    Aggregate(Box<Gathered>),
    /// The row of a sheet found by its keys.
    RowOf {
        /// The sheet that is searched.
        sheet: SheetId,
        /// Each key column with the row it must point to.
        keys: Vec<(ColumnId, Typed)>,
    },
}

/// How the value of a function is made from its arguments.
#[derive(Debug, Clone)]
pub enum Form {
    /// One step of one number.
    Unary(Unary),
    /// One step of two numbers, taken from left to right over all.
    Fold(Binary),
    /// The second or the third, as the first says.
    Pick,
    /// The first that is given.
    FirstGiven,
    /// Whether it is given.
    IsGiven,
    /// Whether the first is the same as any of the others.
    OneOf,
    /// A function of numbers.
    Numbers(NumberKernel),
    /// A function of texts.
    Texts(TextKernel),
    /// A formula over the arguments.
    Inline {
        /// Its text.
        text: &'static str,
        /// The text checked; arguments stand in it as [`Node::Parameter`].
        body: Box<Typed>,
    },
}

/// What an aggregate is made of.
#[derive(Debug, Clone)]
pub struct Gathered {
    /// What is made of the rows.
    pub gather: Gather,
    /// The sheet that is gone through.
    pub over: SheetId,
    /// The value of each row; none for a tally.
    pub value: Option<Typed>,
    /// Which rows count, without the part that says the group; none: all.
    pub conditions: Vec<Typed>,
    /// The column of `over` that says the group of a row, and the row that names the group read.
    pub key: Option<(ColumnId, Typed)>,
}

impl Typed {
    /// Whether it is the absent value and fits any type.
    pub fn is_missing(&self) -> bool {
        matches!(self.node, Node::Missing)
    }

    /// Whether the absent value stands somewhere in it, so that its result may be absent by
    /// choice.
    pub fn holds_missing(&self) -> bool {
        match &self.node {
            Node::Missing => true,
            Node::TextOf(x) | Node::Negate(x) | Node::Not(x) => x.holds_missing(),
            Node::Infix { a, b, .. } => a.holds_missing() || b.holds_missing(),
            Node::Call { args, .. } => args.iter().any(Self::holds_missing),
            Node::Number(_)
            | Node::Text(_)
            | Node::Flag(_)
            | Node::Row(_)
            | Node::This
            | Node::Column { .. }
            | Node::Fetch { .. }
            | Node::Assumption(_)
            | Node::Parameter(_)
            | Node::Aggregate(_)
            | Node::RowOf { .. } => false,
        }
    }

    /// The names in it, left to right; see [`super::Formula::leaves`].
    pub fn leaves(&self) -> Vec<&Self> {
        let mut leaves = Vec::new();
        self.add_leaves(&mut leaves);
        leaves
    }

    /// Adds the names in it, left to right: columns, fetches, assumptions, and whole aggregates
    /// and `row_of` calls, each as one.
    fn add_leaves<'a>(&'a self, leaves: &mut Vec<&'a Typed>) {
        match &self.node {
            Node::Number(_) | Node::Text(_) | Node::Flag(_) | Node::Missing | Node::Row(_) => {}
            Node::This
            | Node::Column { .. }
            | Node::Fetch { .. }
            | Node::Assumption(_)
            | Node::Parameter(_)
            | Node::Aggregate(_)
            | Node::RowOf { .. } => leaves.push(self),
            Node::TextOf(x) | Node::Negate(x) | Node::Not(x) => x.add_leaves(leaves),
            Node::Infix { a, b, .. } => {
                a.add_leaves(leaves);
                b.add_leaves(leaves);
            }
            Node::Call { args, .. } => args.iter().for_each(|arg| arg.add_leaves(leaves)),
        }
    }
}
