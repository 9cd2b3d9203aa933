//! What functions that are formulas themselves read of tables and assumptions, for a reason.
//!
//! Without it the figure of a table that such a function takes would stand in no reason, and
//! whether it is from memory could not be told. Values and origins are given by `reason.rs`.

use super::Engine;
use crate::formula::Form;
use crate::formula::Node;
use crate::formula::Typed;
use crate::plan::Plan;
use crate::table::{Cell, RowId, SheetId};

/// A name that a function reads, as a part of the formula that calls it.
pub(super) struct Inside {
    /// What it is called, with the function that reads it.
    pub(super) name: String,
    /// The part, with the arguments of the call put in.
    pub(super) part: Typed,
}

/// The text of a function and the arguments it is called with, those of its callers put in.
#[derive(Clone, Copy)]
struct Call<'c> {
    function: &'static str,
    text: &'static str,
    args: &'c [Typed],
}

impl Engine {
    /// Everything that the functions in a part of a formula read, where the part is taken.
    pub(super) fn inside(&self, plan: &Plan, part: &Typed, at: (SheetId, RowId)) -> Vec<Inside> {
        let mut found = Vec::new();
        self.look_inside(plan, part, None, at, &mut found);
        found
    }

    fn look_inside(
        &self,
        plan: &Plan,
        part: &Typed,
        call: Option<Call<'_>>,
        at: (SheetId, RowId),
        found: &mut Vec<Inside>,
    ) {
        let mut visit = |part: &Typed| self.look_inside(plan, part, call, at, found);
        match &part.node {
            Node::Call {
                form: Form::Pick,
                args,
                ..
            } => match (
                self.evaluate_part(plan, &put(&args[0], call), Some(at)),
                &args[..],
            ) {
                (Cell::Flag(taken), [condition, then, otherwise]) => {
                    visit(condition);
                    visit(if taken { then } else { otherwise });
                }
                _ => args.iter().for_each(visit),
            },
            Node::Call { name, form, args } => {
                args.iter().for_each(&mut visit);
                if let Form::Inline { text, body } = form {
                    let args: Vec<Typed> = args.iter().map(|arg| put(arg, call)).collect();
                    let inner = Call {
                        function: name,
                        text,
                        args: &args,
                    };
                    self.look_inside(plan, body, Some(inner), at, found);
                }
            }
            Node::TextOf(x) | Node::Negate(x) | Node::Not(x) => visit(x),
            Node::Infix { a, b, .. } => {
                visit(a);
                visit(b);
            }
            Node::Fetch { .. } | Node::Assumption(_) => {
                if let Some(Call { function, text, .. }) = call {
                    let name = text.get(part.span.clone()).unwrap_or(function);
                    found.push(Inside {
                        name: format!("{name} in {function}"),
                        part: put(part, call),
                    });
                }
            }
            Node::Number(_)
            | Node::Text(_)
            | Node::Flag(_)
            | Node::Missing
            | Node::Row(_)
            | Node::This
            | Node::Column { .. }
            | Node::Parameter(_)
            | Node::Aggregate(_)
            | Node::RowOf { .. } => {}
        }
    }
}

/// A part of the text of a function with the arguments of its call in place of the parameters.
fn put(part: &Typed, call: Option<Call<'_>>) -> Typed {
    let Some(Call { args, .. }) = call else {
        return part.clone();
    };
    let inner = |part: &Typed| Box::new(put(part, call));
    let node = match &part.node {
        Node::Parameter(at) => match args.get(*at) {
            Some(arg) => return arg.clone(),
            None => Node::Missing,
        },
        Node::Fetch {
            row,
            column,
            entered,
        } => Node::Fetch {
            row: inner(row),
            column: *column,
            entered: *entered,
        },
        Node::TextOf(x) => Node::TextOf(inner(x)),
        Node::Negate(x) => Node::Negate(inner(x)),
        Node::Not(x) => Node::Not(inner(x)),
        Node::Infix { op, a, b } => Node::Infix {
            op: *op,
            a: inner(a),
            b: inner(b),
        },
        Node::Call { name, form, args } => Node::Call {
            name,
            form: form.clone(),
            args: args.iter().map(|arg| put(arg, call)).collect(),
        },
        // Functions of the trade read no other rows than those handed to them.
        Node::Number(_)
        | Node::Text(_)
        | Node::Flag(_)
        | Node::Missing
        | Node::Row(_)
        | Node::This
        | Node::Column { .. }
        | Node::Assumption(_)
        | Node::Aggregate(_)
        | Node::RowOf { .. } => part.node.clone(),
    };
    Typed {
        span: part.span.clone(),
        ty: part.ty,
        node,
    }
}
