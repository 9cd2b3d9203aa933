//! Names and types of a formula, from the leaves up, every problem collected.
//!
//! Names are in `names.rs`, calls in `call.rs`, aggregates in `gather.rs`, and what is said
//! about two types that do not go together in `clash.rs`.

use super::functions::{Function, Library};
use super::lex::Infix;
use super::program::Unary;
use super::tree::{Expr, ExprNode};
use super::typed::{Form, Node, Typed};
use super::{Scope, Span, Ty, clash};
use crate::problem::Problem;
use crate::table::SheetId;
use crate::units::{Measure, Operation, Unit, combine};

/// Where a part of a formula runs, which says what its names mean.
#[derive(Clone, Copy)]
pub(super) enum Site<'s> {
    /// On a row of the formula's own sheet; `None`: on no sheet.
    Row(Option<SheetId>),
    /// On each row of another sheet, inside the call of an aggregate.
    Over(SheetId, &'s str),
    /// In the text of a function whose arguments have these types.
    Body(&'s Function, &'s [Ty]),
}

/// Checks one formula.
pub(super) struct Checker<'a> {
    pub scope: &'a dyn Scope,
    pub library: &'a Library,
    /// The text that spans point into.
    pub source: &'a str,
    pub problems: Vec<Problem>,
    /// How many functions' texts this one stands inside of.
    pub n_inside: usize,
}

/// Two checked operands, or `None` when one has a problem of its own.
type Pair = Option<(Typed, Typed)>;

impl<'a> Checker<'a> {
    pub fn new(scope: &'a dyn Scope, library: &'a Library, source: &'a str) -> Self {
        Self {
            scope,
            library,
            source,
            problems: Vec::new(),
            n_inside: 0,
        }
    }

    /// The typed part; `None` when a problem has been noted.
    pub fn check(&mut self, expr: &Expr, site: Site<'_>) -> Option<Typed> {
        match &expr.node {
            ExprNode::Quantity(number, unit) => Some(quantity(*number, unit, &expr.span)),
            ExprNode::Text(text) => Some(typed(&expr.span, Ty::Text, Node::Text(text.clone()))),
            ExprNode::Name(name) => self.name(name, &expr.span, site),
            ExprNode::Call(name, at, args) => self.call(name, at, args, &expr.span, site),
            ExprNode::Negate(operand) => self.negate(operand, &expr.span, site),
            ExprNode::Not(operand) => self.not(operand, &expr.span, site),
            ExprNode::Binary(op, a, b) => self.binary(*op, a, b, &expr.span, site),
        }
    }

    /// Notes a problem.
    pub fn refuse<T>(&mut self, problem: Problem) -> Option<T> {
        self.problems.push(problem);
        None
    }

    /// What a type is called.
    pub fn word(&self, ty: Ty) -> String {
        clash::word(ty, Some(self.scope))
    }

    /// What messages may speak of.
    pub fn around(&self) -> clash::Around<'a> {
        clash::Around {
            source: self.source,
            scope: Some(self.scope),
        }
    }

    fn negate(&mut self, operand: &Expr, span: &Span, site: Site<'_>) -> Option<Typed> {
        if let ExprNode::Quantity(number, unit) = &operand.node
            && !operand.wrapped
        {
            // The sign belongs to the number: -3 dBm is a level below 0 dBm, not a minus of one.
            return Some(quantity(-number, unit, span));
        }
        let x = self.check(operand, site)?;
        let measure = self.number(&x, "a minus")?;
        if measure.is_level() {
            return self.refuse(clash::minus_of_level(&x.span, measure));
        }
        let node = Node::Negate(Box::new(x));
        Some(typed(span, Ty::Number(measure), node))
    }

    fn not(&mut self, operand: &Expr, span: &Span, site: Site<'_>) -> Option<Typed> {
        let x = self.check(operand, site)?;
        let x = self.flag(x, "`not`")?;
        Some(typed(span, Ty::Flag, Node::Not(Box::new(x))))
    }

    fn binary(
        &mut self,
        op: Infix,
        a: &Expr,
        b: &Expr,
        span: &Span,
        site: Site<'_>,
    ) -> Option<Typed> {
        let chained = op.compares() && is_comparison(a);
        let (left, right) = (self.check(a, site), self.check(b, site));
        if chained {
            return self.refuse(clash::chained(self.source, a, b, op));
        }
        let (a, b) = (left?, right?);
        let ((a, b), ty) = match op {
            Infix::Add => self.numbers(Operation::Add, a, b)?,
            Infix::Subtract => self.numbers(Operation::Subtract, a, b)?,
            Infix::Multiply => self.numbers(Operation::Multiply, a, b)?,
            Infix::Divide => self.numbers(Operation::Divide, a, b)?,
            Infix::Power => self.power(a, b)?,
            Infix::And | Infix::Or => {
                let word = format!("`{}`", op.symbol());
                let (a, b) = (self.flag(a, &word), self.flag(b, &word));
                ((a?, b?), Ty::Flag)
            }
            Infix::Equal | Infix::Unequal => (self.same_kind(a, b)?, Ty::Flag),
            Infix::Less | Infix::LessEqual | Infix::Greater | Infix::GreaterEqual => {
                (self.ordered(a, b)?, Ty::Flag)
            }
        };
        let (a, b) = (Box::new(a), Box::new(b));
        Some(typed(span, ty, Node::Infix { op, a, b }))
    }

    /// The measure of a number, or a problem.
    pub fn number(&mut self, x: &Typed, who: &str) -> Option<Measure> {
        match x.ty {
            Ty::Number(measure) => Some(measure),
            Ty::Text | Ty::Flag | Ty::Row(_) => {
                let is = self.word(x.ty);
                self.refuse(
                    Problem::new("type-differs", format!("{who} needs a number"))
                        .at(x.span.clone(), format!("this is {is}")),
                )
            }
        }
    }

    /// The part as a flag, or a problem.
    pub fn flag(&mut self, x: Typed, who: &str) -> Option<Typed> {
        if x.ty == Ty::Flag || x.is_missing() {
            return Some(as_type(x, Ty::Flag));
        }
        let is = self.word(x.ty);
        self.refuse(
            Problem::new("type-differs", format!("{who} needs yes or no"))
                .at(x.span.clone(), format!("this is {is}"))
                .help("compare it with something, for example `length > 5 m`"),
        )
    }

    /// Two numbers under an operator of arithmetic.
    fn numbers(&mut self, op: Operation, a: Typed, b: Typed) -> Option<((Typed, Typed), Ty)> {
        let (a, b) = match op {
            Operation::Add | Operation::Subtract | Operation::Match => with_missing(a, b),
            Operation::Multiply | Operation::Divide => (a, b),
        };
        if matches!(a.ty, Ty::Text | Ty::Row(_)) && matches!(b.ty, Ty::Text | Ty::Row(_)) {
            return self.refuse(clash::arithmetic_on_texts(op, &a, &b));
        }
        let who = clash::verb(op);
        let (left, right) = (self.number(&a, who), self.number(&b, who));
        match combine(op, left?, right?) {
            Ok(measure) => Some(((a, b), Ty::Number(measure))),
            Err(why) => {
                let problem = clash::numbers(self, op, &a, &b, why);
                self.refuse(problem)
            }
        }
    }

    fn power(&mut self, a: Typed, b: Typed) -> Option<((Typed, Typed), Ty)> {
        let (base, exponent) = (self.number(&a, "`^`"), self.number(&b, "`^`"));
        let (base, exponent) = (base?, exponent?);
        if exponent != Measure::NUMBER {
            let is = self.word(b.ty);
            return self.refuse(
                Problem::new("exponent", "an exponent is a plain number")
                    .at(b.span.clone(), format!("this is {is}")),
            );
        }
        if base == Measure::NUMBER {
            return Some(((a, b), Ty::Number(base)));
        }
        if base.is_level() {
            return self.refuse(clash::level_in_power(&a.span, base));
        }
        let Some(by) = whole(&b) else {
            let is = self.word(a.ty);
            return self.refuse(
                Problem::new("exponent", format!("{is} needs a whole number as exponent"))
                    .at(b.span.clone(), "this is not one")
                    .at(a.span.clone(), format!("this is {is}"))
                    .help("for a root use sqrt(x)"),
            );
        };
        match base.dim.power(by) {
            Some(dim) => Some(((a, b), Ty::Number(Measure::amount(dim)))),
            None => self.refuse(
                Problem::new("exponent", "the exponents of this unit are too large")
                    .at(b.span.clone(), ""),
            ),
        }
    }

    /// Two parts under `==` or `!=`.
    pub fn same_kind(&mut self, a: Typed, b: Typed) -> Pair {
        match (a.ty, b.ty) {
            _ if a.is_missing() || b.is_missing() => self.refuse(clash::with_missing(&a, &b)),
            (Ty::Number(_), Ty::Number(_)) => {
                self.numbers(Operation::Match, a, b).map(|(pair, _)| pair)
            }
            (Ty::Flag, Ty::Flag) | (Ty::Text | Ty::Row(_), Ty::Text) | (Ty::Text, Ty::Row(_)) => {
                Some((a, b))
            }
            (Ty::Row(left), Ty::Row(right)) if left == right => Some((a, b)),
            _ => {
                let problem = clash::kinds(self, "cannot compare", "with", &a, &b);
                self.refuse(problem)
            }
        }
    }

    /// Two parts under `<` and its like.
    fn ordered(&mut self, a: Typed, b: Typed) -> Pair {
        match (a.ty, b.ty) {
            _ if a.is_missing() || b.is_missing() => self.refuse(clash::with_missing(&a, &b)),
            (Ty::Number(_), Ty::Number(_)) => {
                self.numbers(Operation::Match, a, b).map(|(pair, _)| pair)
            }
            (Ty::Number(_), _) | (_, Ty::Number(_)) => {
                let problem = clash::kinds(self, "cannot compare", "with", &a, &b);
                self.refuse(problem)
            }
            _ => {
                let is = self.word(a.ty);
                self.refuse(
                    Problem::new("type-differs", "only numbers are less or greater")
                        .at(a.span.clone(), format!("this is {is}"))
                        .help("compare texts and flags with == or !="),
                )
            }
        }
    }

    /// Values among which one is chosen, brought to one type.
    ///
    /// A missing value takes the type of the others. Rows among texts are taken by their text,
    /// and a text in quotes among rows names one of them.
    pub fn one_type(&mut self, values: Vec<Typed>) -> Option<(Vec<Typed>, Ty)> {
        let Some(first) = values.iter().position(|value| !value.is_missing()) else {
            return Some((values, Ty::Number(Measure::NUMBER)));
        };
        let texts = |ty| matches!(ty, Ty::Text | Ty::Row(_));
        let given = || values.iter().filter(|value| !value.is_missing());
        let row = given().map(|value| value.ty).find(|ty| *ty != Ty::Text);
        if given().all(|value| texts(value.ty))
            && let Some(row) = row
        {
            return self.rows_and_texts(values, row);
        }
        let ty = values[first].ty;
        if let Some(other) = given().find(|value| value.ty != ty) {
            let problem = clash::choice(self, &values[first], other);
            return self.refuse(problem);
        }
        let values = values.into_iter().map(|value| as_type(value, ty));
        Some((values.collect(), ty))
    }

    fn rows_and_texts(&mut self, values: Vec<Typed>, row: Ty) -> Option<(Vec<Typed>, Ty)> {
        let open_text = |value: &Typed| value.ty == Ty::Text && !is_text_literal(value);
        let ty = if values
            .iter()
            .any(|value| open_text(value) && !value.is_missing())
        {
            Ty::Text
        } else {
            row
        };
        let values: Vec<Option<Typed>> = values
            .into_iter()
            .map(|value| self.coerced(value, ty, "every value here"))
            .collect();
        Some((values.into_iter().collect::<Option<Vec<_>>>()?, ty))
    }

    /// A part where a type is wanted.
    pub fn coerced(&mut self, x: Typed, wanted: Ty, who: &str) -> Option<Typed> {
        if x.is_missing() || x.ty == wanted {
            return Some(as_type(x, wanted));
        }
        match (x.ty, wanted) {
            (Ty::Row(_), Ty::Text) => {
                let span = x.span.clone();
                Some(typed(&span, Ty::Text, Node::TextOf(Box::new(x))))
            }
            (Ty::Text, Ty::Row(sheet)) if is_text_literal(&x) => self.row_named(x, sheet),
            _ => {
                let (is, needs) = (self.word(x.ty), self.word(wanted));
                let problem = Problem::new("type-differs", format!("{who} needs {needs}"))
                    .at(x.span.clone(), format!("this is {is}"));
                let problem = clash::factor_to(self.around(), problem, &x, wanted);
                self.refuse(problem)
            }
        }
    }

    /// A text in quotes as the row it names.
    fn row_named(&mut self, x: Typed, sheet: SheetId) -> Option<Typed> {
        let Node::Text(text) = &x.node else {
            return None;
        };
        if let Some(row) = self.scope.row(sheet, text) {
            return Some(typed(&x.span, Ty::Row(sheet), Node::Row(row)));
        }
        let names = self.scope.row_names(sheet);
        let sheet_name = self.scope.sheet_name(sheet);
        self.refuse(
            Problem::new("row-unknown", format!("no row `{text}` in `{sheet_name}`"))
                .at(x.span.clone(), "")
                .did_you_mean(text, names.iter().map(String::as_str)),
        )
    }

    /// A call whose value is made by a form.
    pub fn form(
        &self,
        function: &Function,
        form: Form,
        args: Vec<Typed>,
        span: &Span,
        ty: Ty,
    ) -> Typed {
        let name = function.name;
        typed(span, ty, Node::Call { name, form, args })
    }
}

/// A part with its place and type.
pub(super) fn typed(span: &Span, ty: Ty, node: Node) -> Typed {
    Typed {
        span: span.clone(),
        ty,
        node,
    }
}

/// A part whose type is only set when it is missing.
pub(super) fn as_type(x: Typed, ty: Ty) -> Typed {
    if x.is_missing() { Typed { ty, ..x } } else { x }
}

/// Whether it is a text in quotes.
pub(super) fn is_text_literal(x: &Typed) -> bool {
    matches!(x.node, Node::Text(_))
}

fn quantity(number: f64, unit: &Unit, span: &Span) -> Typed {
    let node = Node::Number(unit.to_base(number));
    typed(span, Ty::Number(unit.measure), node)
}

fn is_comparison(expr: &Expr) -> bool {
    match &expr.node {
        ExprNode::Binary(op, _, _) => op.compares() && !expr.wrapped,
        ExprNode::Quantity(..)
        | ExprNode::Text(_)
        | ExprNode::Name(_)
        | ExprNode::Call(..)
        | ExprNode::Negate(_)
        | ExprNode::Not(_) => false,
    }
}

/// A missing operand takes the type of the other.
fn with_missing(a: Typed, b: Typed) -> (Typed, Typed) {
    let (left, right) = (a.ty, b.ty);
    match (a.is_missing(), b.is_missing()) {
        (true, false) => (as_type(a, amount(right)), b),
        (false, true) => (a, as_type(b, amount(left))),
        (true, true) | (false, false) => (a, b),
    }
}

/// The type that goes with a number under plus and minus: never a second level.
fn amount(ty: Ty) -> Ty {
    match ty {
        Ty::Number(measure) => Ty::Number(Measure::amount(measure.dim)),
        Ty::Text | Ty::Flag | Ty::Row(_) => ty,
    }
}

/// The value of a constant whole exponent.
fn whole(x: &Typed) -> Option<i8> {
    let value = match &x.node {
        Node::Number(value) => *value,
        Node::Negate(inner) => match inner.node {
            Node::Number(value) => -value,
            _ => return None,
        },
        _ => return None,
    };
    let small = value.fract() == 0.0 && value.abs() <= f64::from(i8::MAX);
    // The range has just been checked.
    small.then_some(value as i8)
}

/// The type of the operand and result of one step of one number.
pub(super) fn unary_type(op: Unary, measure: Measure) -> Option<Measure> {
    match op {
        Unary::Abs | Unary::Negate => (!measure.is_level()).then_some(measure),
        Unary::Sqrt if measure.is_level() => None,
        Unary::Sqrt => measure.dim.root().map(Measure::amount),
        Unary::Ln | Unary::Log10 | Unary::Exp => (measure == Measure::NUMBER).then_some(measure),
        Unary::Not | Unary::IsGiven => None,
    }
}
