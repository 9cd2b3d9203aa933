//! Aggregates over the rows of a sheet, and the search for a row by its keys.
//!
//! The conditions of both are parts joined by `and`; a part such as `links.from == this` is the
//! key, which makes one value for each group of rows.

use super::check::{Checker, Site, typed};
use super::functions::Function;
use super::lex::Infix;
use super::names::{Owner, owner};
use super::program::Gather;
use super::tree::{Expr, ExprNode};
use super::typed::{Gathered, Node, Typed};
use super::{Span, Ty};
use crate::problem::Problem;
use crate::table::{ColumnId, SheetId};
use crate::units::{Dim, Measure};

/// The most keys of one search.
const MAX_KEYS: usize = 2;

/// A part of a condition that joins rows of the sheet to the formula's own row.
struct Join<'e> {
    /// The column of the sheet.
    column: &'e Expr,
    /// What it is compared with.
    with: &'e Expr,
}

impl Checker<'_> {
    /// The typed part of an aggregate.
    pub fn gather(
        &mut self,
        function: &Function,
        gather: Gather,
        args: &[Expr],
        span: &Span,
        site: Site<'_>,
    ) -> Option<Typed> {
        let own = self.own_row(function.name, span, site)?;
        let over = self.sheet_gone_through(function.name, args, span)?;
        let (value, condition) = match gather {
            Gather::Tally => (None, args.first()),
            Gather::Total | Gather::Largest | Gather::Smallest | Gather::Mean => {
                (args.first(), args.get(1))
            }
        };
        let n_before = self.problems.len();
        let inside = Site::Over(over, function.name);
        let value = value.map(|value| self.gathered_value(function, gather, value, inside));
        let (key, conditions) = self.conditions(condition, over, own, function.name);
        if self.problems.len() > n_before {
            return None;
        }
        let value = value.map_or(Some(None), |value| value.map(Some))?;
        let ty = match &value {
            Some(value) => value.ty,
            None => Ty::Number(Measure::NUMBER),
        };
        let gathered = Gathered {
            gather,
            over,
            value,
            conditions,
            key,
        };
        Some(typed(span, ty, Node::Aggregate(Box::new(gathered))))
    }

    /// The sheet of the formula's row; a problem where there is no such row.
    fn own_row(&mut self, name: &str, span: &Span, site: Site<'_>) -> Option<Option<SheetId>> {
        match site {
            Site::Row(own) => Some(own),
            Site::Over(_, outer) => {
                let message = format!("`{name}` cannot stand inside `{outer}`");
                self.refuse(
                    Problem::new("aggregate-nested", message)
                        .at(span.clone(), "")
                        .help("put the inner one into a column of its own and name that"),
                )
            }
            Site::Body(..) => {
                let message = format!("`{name}` cannot stand in the text of a function");
                self.refuse(Problem::new("aggregate-nested", message).at(span.clone(), ""))
            }
        }
    }

    /// The one sheet whose name begins dotted names in the arguments.
    fn sheet_gone_through(&mut self, call: &str, args: &[Expr], span: &Span) -> Option<SheetId> {
        let mut names = Vec::new();
        args.iter().for_each(|arg| add_names(arg, &mut names));
        let mut found: Option<(SheetId, &Span)> = None;
        for (name, at) in names {
            let first = name.split_once('.').map(|(first, _)| first);
            let Some(sheet) = first.and_then(|first| self.scope.sheet(first)) else {
                continue;
            };
            match found {
                Some((known, _)) if known == sheet => {}
                Some((known, before)) => {
                    let problem = self.two_sheets(call, (known, before), (sheet, at));
                    return self.refuse(problem);
                }
                None => found = Some((sheet, at)),
            }
        }
        match found {
            Some((sheet, _)) => Some(sheet),
            None => {
                let message = format!("`{call}` does not say through which sheet it goes");
                self.refuse(
                    Problem::new("sheet-missing", message)
                        .at(span.clone(), "")
                        .help("begin a name with the sheet: `links.capacity`"),
                )
            }
        }
    }

    fn two_sheets(&self, call: &str, a: (SheetId, &Span), b: (SheetId, &Span)) -> Problem {
        let (left, right) = (self.scope.sheet_name(a.0), self.scope.sheet_name(b.0));
        Problem::new(
            "two-sheets",
            format!("`{call}` goes through one sheet, here are `{left}` and `{right}`"),
        )
        .at(b.1.clone(), format!("this is of `{right}`"))
        .at(a.1.clone(), format!("this is of `{left}`"))
        .help(format!(
            "put one of them into a column of `{left}` and name that"
        ))
    }

    fn gathered_value(
        &mut self,
        function: &Function,
        gather: Gather,
        value: &Expr,
        inside: Site<'_>,
    ) -> Option<Typed> {
        let value = self.check(value, inside)?;
        if value.ty == Ty::Flag {
            return self.refuse(
                Problem::new(
                    "type-differs",
                    format!("`{}` needs a number", function.name),
                )
                .at(value.span.clone(), "this is yes or no")
                .help("count rows with tally(condition)"),
            );
        }
        let measure = self.number(&value, &format!("`{}`", function.name))?;
        let adds = match gather {
            Gather::Total | Gather::Mean => true,
            Gather::Tally | Gather::Largest | Gather::Smallest => false,
        };
        if !adds || !measure.is_level() {
            return Some(value);
        }
        let message = format!("`{}` cannot add levels", function.name);
        let problem = Problem::new("level-plus-level", message).at(
            value.span.clone(),
            format!("this is {}", self.word(value.ty)),
        );
        self.refuse(if measure.dim == Dim::DECIBEL {
            problem.help("add powers: to_watt(x) inside, to_dbm(x) around it")
        } else {
            problem.help("take a difference to a fixed temperature first")
        })
    }

    /// The key and the other parts of a condition.
    fn conditions(
        &mut self,
        condition: Option<&Expr>,
        over: SheetId,
        own: Option<SheetId>,
        call: &str,
    ) -> (Option<(ColumnId, Typed)>, Vec<Typed>) {
        let (mut key, mut rest) = (None::<(ColumnId, Typed)>, Vec::new());
        let sheet = self.scope.sheet_name(over).to_owned();
        for part in condition.map(parts).unwrap_or_default() {
            match join(part, &sheet, Owner::Row) {
                Some(_) if key.is_some() => {
                    let problem = second_key(call, &sheet, part);
                    self.problems.push(problem);
                }
                Some(join) => key = self.key(&join, over, own, call),
                None => rest.extend(self.condition(part, over, call)),
            }
        }
        (key, rest)
    }

    fn condition(&mut self, part: &Expr, over: SheetId, call: &str) -> Option<Typed> {
        let part = self.check(part, Site::Over(over, call))?;
        self.flag(part, &format!("the condition of `{call}`"))
    }

    /// A key column with the row it must point to.
    fn key(
        &mut self,
        join: &Join<'_>,
        over: SheetId,
        own: Option<SheetId>,
        call: &str,
    ) -> Option<(ColumnId, Typed)> {
        let column = self.check(join.column, Site::Over(over, call));
        let with = self.check(join.with, Site::Row(own));
        let (column, with) = (column?, with?);
        let sheet = self.scope.sheet_name(over).to_owned();
        let Node::Column { id, .. } = column.node else {
            let message = format!("the key must be a column of `{sheet}` itself");
            return self.refuse(
                Problem::new("key", message)
                    .at(column.span, "this is of another sheet, or computed here")
                    .help(format!("put it into a column of `{sheet}` and name that")),
            );
        };
        let Ty::Row(_) = column.ty else {
            let is = self.word(column.ty);
            return self.refuse(
                Problem::new("key", "the key must be a column that points to rows")
                    .at(column.span, format!("this is {is}"))
                    .help("rows are joined to the own row by references only"),
            );
        };
        let who = self.source.get(column.span.clone()).unwrap_or_default();
        let who = format!("the key `{who}`");
        let with = self.coerced(with, column.ty, &who)?;
        Some((id, with))
    }

    /// The typed part of a search for a row.
    pub fn row_of(&mut self, args: &[Expr], span: &Span, site: Site<'_>) -> Option<Typed> {
        let own = self.own_row("row_of", span, site)?;
        let [sheet, condition] = args else {
            return None;
        };
        let sheet = self.searched(sheet)?;
        let name = self.scope.sheet_name(sheet).to_owned();
        let parts = parts(condition);
        if parts.len() > MAX_KEYS {
            return self.refuse(
                Problem::new("key", format!("`row_of` takes at most {MAX_KEYS} keys"))
                    .at(condition.span.clone(), ""),
            );
        }
        let mut keys = Vec::new();
        for part in &parts {
            let join = join(part, &name, Owner::Row).or_else(|| join(part, &name, Owner::Neither));
            match join {
                Some(join) => keys.push(self.key(&join, sheet, own, "row_of")),
                None => self.problems.push(
                    Problem::new("key", "`row_of` takes keys only")
                        .at(part.span.clone(), "this is none")
                        .help(format!("write `{name}.key == reference`")),
                ),
            }
        }
        let keys = keys.into_iter().collect::<Option<Vec<_>>>()?;
        let whole = keys.len() == parts.len();
        whole.then(|| typed(span, Ty::Row(sheet), Node::RowOf { sheet, keys }))
    }

    /// The sheet that `row_of` searches.
    fn searched(&mut self, expr: &Expr) -> Option<SheetId> {
        let name = self.source.get(expr.span.clone()).unwrap_or_default();
        if let Some(sheet) = self.scope.sheet(name) {
            return Some(sheet);
        }
        let problem = Problem::new("sheet-missing", format!("`{name}` is no sheet"))
            .at(expr.span.clone(), "")
            .did_you_mean(name, self.scope.sheet_names());
        self.refuse(problem)
    }
}

fn second_key(call: &str, sheet: &str, part: &Expr) -> Problem {
    Problem::new("key", format!("`{call}` takes one key"))
        .at(part.span.clone(), "this is the second one")
        .help(format!(
            "compare the others inside `{sheet}`, in a column of its own"
        ))
}

/// The parts of a condition that are joined by `and`.
fn parts(condition: &Expr) -> Vec<&Expr> {
    match &condition.node {
        ExprNode::Binary(Infix::And, a, b) => {
            let mut all = parts(a);
            all.extend(parts(b));
            all
        }
        _ => vec![condition],
    }
}

/// The two sides of `sheet.key == other`, in either order, where the other side is of `with`.
fn join<'e>(part: &'e Expr, sheet: &str, with: Owner) -> Option<Join<'e>> {
    let ExprNode::Binary(Infix::Equal, a, b) = &part.node else {
        return None;
    };
    let of_sheet = |side| owners(side, sheet) == (true, false);
    let of_other = |side| owners(side, sheet) == (false, with == Owner::Row);
    if of_sheet(a) && of_other(b) {
        Some(Join { column: a, with: b })
    } else if of_sheet(b) && of_other(a) {
        Some(Join { column: b, with: a })
    } else {
        None
    }
}

/// Whether a part names the sheet, and whether it names the formula's own row.
fn owners(expr: &Expr, sheet: &str) -> (bool, bool) {
    let mut names = Vec::new();
    add_names(expr, &mut names);
    let is = |of: Owner| names.iter().any(|(name, _)| owner(name, sheet) == of);
    (is(Owner::Sheet), is(Owner::Row))
}

/// Adds every name in a part, left to right.
fn add_names<'e>(expr: &'e Expr, names: &mut Vec<(&'e str, &'e Span)>) {
    match &expr.node {
        ExprNode::Quantity(..) | ExprNode::Text(_) => {}
        ExprNode::Name(name) => names.push((name, &expr.span)),
        ExprNode::Call(_, _, args) => args.iter().for_each(|arg| add_names(arg, names)),
        ExprNode::Negate(x) | ExprNode::Not(x) => add_names(x, names),
        ExprNode::Binary(_, a, b) => {
            add_names(a, names);
            add_names(b, names);
        }
    }
}
