//! Tokens to a tree whose nodes know where they stood.
//!
//! One pass checks that values and operators alternate, so that every problem has a place; the
//! next groups the operators and cannot fail any more. `^` binds more than a sign, so `-2^2` is
//! -4, and `^` groups from the left. The word `not` reaches up to the next `and` or `or`; the
//! sign `!` takes the next value alone. A test holds the grouping to that of evalexpr.

use super::Span;
use super::lex::{Infix, Kind, Token};
use crate::problem::Problem;
use crate::units::Unit;

/// How deep parentheses, calls and signs may nest; the tree is walked by recursion.
pub(super) const MAX_LEVELS: usize = 64;

/// How many names, numbers and texts one formula may hold; a long sum is a deep tree too.
pub(super) const MAX_VALUES: usize = 256;

/// A part of a formula.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Expr {
    pub span: Span,
    /// Whether it stands in parentheses of its own.
    pub wrapped: bool,
    pub node: ExprNode,
}

/// What a part is.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum ExprNode {
    Quantity(f64, Unit),
    Text(String),
    Name(String),
    Call(String, Span, Vec<Expr>),
    Negate(Box<Expr>),
    Not(Box<Expr>),
    Binary(Infix, Box<Expr>, Box<Expr>),
}

/// Groups the tokens of a formula.
///
/// # Errors
/// The first place where the tokens stop being a formula.
pub(super) fn tree(source: &str, tokens: &[Token]) -> Result<Expr, Problem> {
    Neighbours::new(tokens).check()?;
    let mut groups = Groups {
        source,
        tokens,
        next: 0,
    };
    let part = groups.group(false);
    part.map(|part| part.expr).ok_or_else(|| {
        Problem::new("not-a-formula", "this is not a formula").at(0..source.len(), "")
    })
}

/// One level of parentheses, or the formula itself.
#[derive(Default)]
struct Level {
    open: Span,
    /// Whether it holds the arguments of a call.
    is_call: bool,
    /// Signs that still wait for the end of their operand.
    n_signs: usize,
    /// Words `not` that still wait for the end of theirs.
    n_nots: usize,
}

/// Checks that values and operators alternate, and that the formula is not too deep.
struct Neighbours<'a> {
    tokens: &'a [Token],
    levels: Vec<Level>,
    value_next: bool,
    n_values: usize,
}

impl<'a> Neighbours<'a> {
    fn new(tokens: &'a [Token]) -> Self {
        Self {
            tokens,
            levels: vec![Level::default()],
            value_next: true,
            n_values: 0,
        }
    }

    fn check(mut self) -> Result<(), Problem> {
        for (at, token) in self.tokens.iter().enumerate() {
            self.check_side(token)?;
            self.take(at, token)?;
            self.check_size(token)?;
        }
        let last = self.tokens.last().map_or(0..0, |token| token.span.clone());
        if self.value_next {
            return Err(Problem::new("missing-value", "missing value after this").at(last, ""));
        }
        self.close_nots();
        match self.levels.pop() {
            Some(level) if !self.levels.is_empty() => Err(unclosed(level.open)),
            _ => Ok(()),
        }
    }

    /// Whether a token may stand on this side of an operator.
    fn check_side(&self, token: &Token) -> Result<(), Problem> {
        let starts_value = match &token.kind {
            Kind::Quantity(..) | Kind::Name | Kind::Text(_) => true,
            Kind::NotWord | Kind::NotSign | Kind::Open => true,
            Kind::Infix(_) | Kind::Comma | Kind::Close | Kind::Minus => false,
        };
        if starts_value && !self.value_next {
            return Err(missing_operator(token));
        }
        let ends_value = matches!(token.kind, Kind::Infix(_) | Kind::Comma | Kind::Close);
        if ends_value && self.value_next {
            return Err(Problem::new("missing-value", "missing value before this")
                .at(token.span.clone(), ""));
        }
        Ok(())
    }

    fn take(&mut self, at: usize, token: &Token) -> Result<(), Problem> {
        match &token.kind {
            Kind::Name if self.is_open(at + 1) => {}
            Kind::Quantity(..) | Kind::Text(_) | Kind::Name => self.value(),
            Kind::Infix(infix) => self.infix(*infix),
            Kind::Minus if self.value_next => self.sign(),
            Kind::Minus => self.infix(Infix::Subtract),
            Kind::NotSign => self.sign(),
            Kind::NotWord => {
                self.level().n_nots += 1;
                self.value_next = true;
            }
            Kind::Open => self.open(at, token),
            Kind::Close => return self.close(token),
            Kind::Comma => return self.comma(token),
        }
        Ok(())
    }

    fn level(&mut self) -> &mut Level {
        self.levels
            .last_mut()
            .expect("the formula itself is a level and is never closed")
    }

    fn is_open(&self, at: usize) -> bool {
        let token = self.tokens.get(at);
        token.is_some_and(|token| token.kind == Kind::Open)
    }

    fn value(&mut self) {
        self.n_values += 1;
        self.value_next = false;
    }

    fn sign(&mut self) {
        self.level().n_signs += 1;
        self.value_next = true;
    }

    fn infix(&mut self, infix: Infix) {
        if matches!(infix, Infix::And | Infix::Or) {
            self.close_nots();
        } else if infix != Infix::Power {
            // A sign reaches over a power; at any other operator its operand has ended.
            self.level().n_signs = 0;
        }
        self.value_next = true;
    }

    /// Ends the reach of every `not` of this level.
    fn close_nots(&mut self) {
        let level = self.level();
        level.n_nots = 0;
        level.n_signs = 0;
    }

    fn open(&mut self, at: usize, token: &Token) {
        let before = at.checked_sub(1).and_then(|at| self.tokens.get(at));
        let is_call = before.is_some_and(|token| token.kind == Kind::Name);
        self.levels.push(Level {
            open: token.span.clone(),
            is_call,
            ..Level::default()
        });
        let closes = self.tokens.get(at + 1).map(|token| &token.kind);
        self.value_next = !(is_call && closes == Some(&Kind::Close));
    }

    fn close(&mut self, token: &Token) -> Result<(), Problem> {
        if self.levels.len() < 2 {
            return Err(
                Problem::new("parenthesis", "unopened parenthesis").at(token.span.clone(), "")
            );
        }
        self.close_nots();
        self.levels.pop();
        Ok(())
    }

    fn comma(&mut self, token: &Token) -> Result<(), Problem> {
        if !self.level().is_call {
            return Err(Problem::new("comma-outside", "a comma outside a call")
                .at(token.span.clone(), "")
                .help("write a decimal point as a point: `1.5`"));
        }
        self.close_nots();
        self.value_next = true;
        Ok(())
    }

    fn check_size(&self, token: &Token) -> Result<(), Problem> {
        let signs: usize = self.levels.iter().map(|l| l.n_signs + l.n_nots).sum();
        let what = if self.levels.len() - 1 + signs > MAX_LEVELS {
            format!("the formula nests deeper than {MAX_LEVELS} levels")
        } else if self.n_values > MAX_VALUES {
            format!("the formula has more than {MAX_VALUES} names and numbers")
        } else {
            return Ok(());
        };
        Err(Problem::new("formula-too-deep", what)
            .at(token.span.clone(), "from here on")
            .help("put parts of it into columns of their own and name those"))
    }
}

fn unclosed(open: Span) -> Problem {
    Problem::new("parenthesis", "unclosed parenthesis").at(open, "opened here")
}

fn missing_operator(token: &Token) -> Problem {
    Problem::new("missing-operator", "missing operator before this").at(token.span.clone(), "")
}

/// Groups tokens whose neighbours are checked.
struct Groups<'a> {
    source: &'a str,
    tokens: &'a [Token],
    /// The token that comes next.
    next: usize,
}

/// A part with its first and last token.
struct Part {
    expr: Expr,
    first: usize,
    last: usize,
}

/// An operator that waits for the value on its right.
enum Waiting {
    Sign(usize, fn(Box<Expr>) -> ExprNode),
    Infix(Part, Infix),
}

impl Waiting {
    /// How much it binds.
    fn binds(&self) -> u8 {
        match self {
            Self::Sign(..) => SIGN_BINDS,
            Self::Infix(_, infix) => binds(*infix),
        }
    }
}

/// How much a sign before a value binds: less than a power, more than all else.
const SIGN_BINDS: u8 = 6;

/// How much an operator binds; of two that bind the same the left one goes first.
fn binds(infix: Infix) -> u8 {
    match infix {
        Infix::Or => 1,
        Infix::And => 2,
        Infix::Equal
        | Infix::Unequal
        | Infix::Less
        | Infix::LessEqual
        | Infix::Greater
        | Infix::GreaterEqual => 3,
        Infix::Add | Infix::Subtract => 4,
        Infix::Multiply | Infix::Divide => 5,
        Infix::Power => 7,
    }
}

impl Groups<'_> {
    /// Everything up to the end, a comma or a closing parenthesis; after the word `not` also up
    /// to the next `and` or `or`.
    fn group(&mut self, after_not: bool) -> Option<Part> {
        let mut waiting: Vec<Waiting> = Vec::new();
        loop {
            let at = self.next;
            match self.kind()? {
                Kind::Minus => waiting.push(Waiting::Sign(at, ExprNode::Negate)),
                Kind::NotSign => waiting.push(Waiting::Sign(at, ExprNode::Not)),
                Kind::Quantity(..) | Kind::Name | Kind::Text(_) | Kind::NotWord | Kind::Open => {
                    let value = self.value(at)?;
                    let infix = match self.kind() {
                        Some(Kind::Infix(infix)) => *infix,
                        Some(Kind::Minus) => Infix::Subtract,
                        _ => return self.joined(&mut waiting, 0, value),
                    };
                    if after_not && matches!(infix, Infix::And | Infix::Or) {
                        return self.joined(&mut waiting, 0, value);
                    }
                    // The first that binds as much ends here with all behind it.
                    let from = waiting.iter().position(|one| one.binds() >= binds(infix));
                    let from = from.unwrap_or(waiting.len());
                    let left = self.joined(&mut waiting, from, value)?;
                    waiting.push(Waiting::Infix(left, infix));
                }
                Kind::Infix(_) | Kind::Close | Kind::Comma => return None,
            }
            self.next += 1;
        }
    }

    /// A value with all operators from one on that waited for it.
    fn joined(&self, waiting: &mut Vec<Waiting>, from: usize, value: Part) -> Option<Part> {
        let mut right = value;
        for one in waiting.drain(from..).rev() {
            right = match one {
                Waiting::Sign(at, node) => {
                    let last = right.last;
                    self.made(at, last, node(Box::new(right.expr)))?
                }
                Waiting::Infix(left, infix) => {
                    let (first, last) = (left.first, right.last);
                    let (a, b) = (Box::new(left.expr), Box::new(right.expr));
                    self.made(first, last, ExprNode::Binary(infix, a, b))?
                }
            };
        }
        Some(right)
    }

    /// The value that starts at a token; what follows comes next.
    fn value(&mut self, at: usize) -> Option<Part> {
        let token = self.tokens.get(at)?;
        self.next += 1;
        let node = match &token.kind {
            Kind::Quantity(number, unit) => ExprNode::Quantity(*number, unit.clone()),
            Kind::Text(text) => ExprNode::Text(text.clone()),
            Kind::Name if self.kind() == Some(&Kind::Open) => return self.call(at),
            Kind::Name => ExprNode::Name(self.source[token.span.clone()].to_owned()),
            Kind::NotWord => {
                let part = self.group(true)?;
                let last = part.last;
                return self.made(at, last, ExprNode::Not(Box::new(part.expr)));
            }
            Kind::Open => {
                let inside = self.group(false)?;
                let last = self.closed()?;
                let around = self.made(at, last, inside.expr.node)?;
                let wrapped = Expr {
                    wrapped: true,
                    ..around.expr
                };
                return Some(Part {
                    expr: wrapped,
                    ..around
                });
            }
            Kind::Infix(_) | Kind::Minus | Kind::NotSign | Kind::Close | Kind::Comma => {
                return None;
            }
        };
        self.made(at, at, node)
    }

    fn call(&mut self, at: usize) -> Option<Part> {
        let span = self.tokens.get(at)?.span.clone();
        let name = self.source[span.clone()].to_owned();
        let mut args = Vec::new();
        self.next += 1;
        while self.kind()? != &Kind::Close {
            args.push(self.group(false)?.expr);
            if self.kind() == Some(&Kind::Comma) {
                self.next += 1;
            }
        }
        let last = self.closed()?;
        self.made(at, last, ExprNode::Call(name, span, args))
    }

    /// The closing parenthesis that comes next.
    fn closed(&mut self) -> Option<usize> {
        let at = self.next;
        self.next += 1;
        (self.tokens.get(at)?.kind == Kind::Close).then_some(at)
    }

    fn kind(&self) -> Option<&Kind> {
        self.tokens.get(self.next).map(|token| &token.kind)
    }

    fn made(&self, first: usize, last: usize, node: ExprNode) -> Option<Part> {
        let span = self.tokens.get(first)?.span.start..self.tokens.get(last)?.span.end;
        let expr = Expr {
            span,
            wrapped: false,
            node,
        };
        Some(Part { expr, first, last })
    }
}

#[cfg(test)]
mod tests {
    use super::super::lex::tokens;
    use super::*;
    use proptest::prelude::*;

    fn parse(source: &str) -> Result<Expr, Problem> {
        tree(source, &tokens(source).map_err(|mut all| all.remove(0))?)
    }

    /// The tree with every grouping written out.
    fn shown(expr: &Expr) -> String {
        match &expr.node {
            ExprNode::Quantity(number, unit) => format!("{number}{}", unit.symbol),
            ExprNode::Text(text) => format!("{text:?}"),
            ExprNode::Name(name) => name.clone(),
            ExprNode::Call(name, _, args) => {
                let args: Vec<String> = args.iter().map(shown).collect();
                format!("{name}({})", args.join(", "))
            }
            ExprNode::Negate(x) => format!("[-{}]", shown(x)),
            ExprNode::Not(x) => format!("[not {}]", shown(x)),
            ExprNode::Binary(op, a, b) => format!("[{} {} {}]", shown(a), op.symbol(), shown(b)),
        }
    }

    #[test]
    fn operators_group_as_documented() {
        let cases = [
            ("a - b - c * d", "[[a - b] - [c * d]]"),
            ("-2^2", "[-[2 ^ 2]]"),
            ("2^3^2", "[[2 ^ 3] ^ 2]"),
            ("-a * b", "[[-a] * b]"),
            ("a or b and c", "[a or [b and c]]"),
            ("not a == b and c", "[[not [a == b]] and c]"),
            ("! a == b", "[[not a] == b]"),
            ("not not a", "[not [not a]]"),
            ("f(not a, (b), g())", "f([not a], b, g())"),
            ("f((a + b))", "f([a + b])"),
            ("(a + b) * c", "[[a + b] * c]"),
            ("a - -b", "[a - [-b]]"),
        ];
        for (source, expected) in cases {
            assert_eq!(shown(&parse(source).unwrap()), expected, "{source}");
        }
    }

    /// A formula in our words and in those of evalexpr, which knows no word `not`.
    type Texts = (String, String);

    fn joined(parts: Vec<Texts>, between: &str) -> Texts {
        let (ours, theirs): (Vec<String>, Vec<String>) = parts.into_iter().unzip();
        (ours.join(between), theirs.join(between))
    }

    /// Values under operators that the word `not` reaches over.
    fn chain(value: impl Strategy<Value = Texts> + Clone) -> impl Strategy<Value = Texts> + Clone {
        let sign = prop_oneof![4 => Just(""), 1 => Just("-"), 1 => Just("!"), 1 => Just("- -")];
        let operators = prop::sample::select(vec!["+", "-", "*", "/", "^", "==", "<", ">=", "!="]);
        let one =
            (sign, value).prop_map(|(sign, (a, b))| (format!("{sign} {a}"), format!("{sign} {b}")));
        let rest = prop::collection::vec((operators.clone(), one.clone()), 0..5);
        let not = (operators, one.clone())
            .prop_map(|(op, (a, b))| (format!("{op} not {a} < x"), format!("{op} !({b} < x)")));
        (one, rest, prop::option::weighted(0.2, not)).prop_map(|(first, rest, not)| {
            let rest = rest
                .into_iter()
                .map(|(op, (a, b))| (format!("{op} {a}"), format!("{op} {b}")));
            joined(std::iter::once(first).chain(rest).chain(not).collect(), " ")
        })
    }

    fn formula() -> impl Strategy<Value = Texts> {
        let name = prop::sample::select(vec!["a", "b", "c"]);
        let leaf = name.prop_map(|name| (name.to_owned(), name.to_owned()));
        leaf.prop_recursive(3, 48, 6, |inner| {
            let chained = chain(inner);
            let negated = (chained.clone(), 0..3_usize).prop_map(|((a, b), n)| {
                (
                    format!("{}{a}", "not ".repeat(n)),
                    format!("{}{b}{}", "!(".repeat(n), ")".repeat(n)),
                )
            });
            let all = prop::collection::vec(negated.clone(), 1..4);
            let both = all.prop_map(|parts| {
                let (ours, theirs) = joined(parts, " and ");
                (ours, theirs.replace(" and ", " && "))
            });
            let any = prop::collection::vec(both, 1..3).prop_map(|parts| {
                let (ours, theirs) = joined(parts, " or ");
                (ours, theirs.replace(" or ", " || "))
            });
            prop_oneof![
                2 => any.clone().prop_map(|(a, b)| (format!("({a})"), format!("({b})"))),
                1 => prop::collection::vec(any, 1..3).prop_map(|args| {
                    let (a, b) = joined(args, ", ");
                    (format!("f({a})"), format!("f({b})"))
                }),
                2 => chained.prop_map(|(a, b)| (format!("({a})"), format!("({b})"))),
            ]
        })
    }

    /// The tree of evalexpr with every grouping written out as ours is.
    fn theirs(node: &evalexpr::Node) -> String {
        use evalexpr::Operator as Op;
        match (node.operator(), node.children()) {
            (Op::RootNode, [only]) => theirs(only),
            (Op::VariableIdentifierRead { identifier }, []) => identifier.clone(),
            (Op::FunctionIdentifier { identifier }, [list]) => {
                let args = match (list.operator(), list.children()) {
                    (Op::RootNode, [only]) if *only.operator() == Op::Tuple => only.children(),
                    _ => std::slice::from_ref(list),
                };
                let args: Vec<String> = args.iter().map(theirs).collect();
                format!("{identifier}({})", args.join(", "))
            }
            (Op::Neg, [x]) => format!("[-{}]", theirs(x)),
            (Op::Not, [x]) => format!("[not {}]", theirs(x)),
            (operator, [a, b]) => {
                let symbol = match operator {
                    Op::And => "and".to_owned(),
                    Op::Or => "or".to_owned(),
                    other => other.to_string().trim().to_owned(),
                };
                format!("[{} {symbol} {}]", theirs(a), theirs(b))
            }
            (operator, _) => panic!("{operator:?}"),
        }
    }

    proptest! {
        #![proptest_config(ProptestConfig { failure_persistence: None, cases: 2000, ..ProptestConfig::default() })]

        #[test]
        fn operators_group_as_evalexpr_groups_them((source, text) in formula()) {
            let tree = evalexpr::build_operator_tree(&text).unwrap();
            if let Ok(ours) = parse(&source) {
                prop_assert_eq!(shown(&ours), theirs(&tree), "{}", source);
            }
        }
    }

    #[test]
    fn parts_know_where_they_stood() {
        let source = "x + (not (a) == f(b, c)) * -g()";
        let ExprNode::Binary(_, _, product) = parse(source).unwrap().node else {
            panic!("a sum");
        };
        assert_eq!(&source[product.span.clone()], &source[4..]);
        let ExprNode::Binary(_, left, right) = product.node else {
            panic!("a product");
        };
        assert_eq!(&source[left.span.clone()], "(not (a) == f(b, c))");
        assert!(left.wrapped);
        assert_eq!(&source[right.span], "-g()");
        let ExprNode::Not(inner) = left.node else {
            panic!("a not");
        };
        assert_eq!(&source[inner.span], "(a) == f(b, c)");
    }

    #[track_caller]
    fn check(fixture: &str) {
        let (source, expected) = fixture.split_once('\n').unwrap();
        let problem = parse(source).unwrap_err();
        let span = problem.place.unwrap().labels[0].span.clone();
        let carets = "^".repeat(span.len());
        let shown = format!("{}{carets} {}", " ".repeat(span.start), problem.message);
        assert_eq!(shown, expected);
    }

    #[test]
    fn what_does_not_group_says_where() {
        check("tx_power loss\n         ^^^^ missing operator before this");
        check("a +\n  ^ missing value after this");
        check("a + * b\n    ^ missing value before this");
        check("(a\n^ unclosed parenthesis");
        check("a)\n ^ unopened parenthesis");
        check("()\n ^ missing value before this");
        check("(a, b)\n  ^ a comma outside a call");
        check("f(a,)\n    ^ missing value before this");
        check("2 sqrt(4)\n  ^^^^ missing operator before this");
    }

    #[test]
    fn deep_and_long_formulas_are_refused_at_once() {
        let deep = [
            "-".repeat(4_000) + "a",
            "(".repeat(4_000),
            "not ".repeat(1_000) + "a",
            "f(".repeat(1_000),
            vec!["a"; 600].join("^-"),
            vec!["a"; 2_000].join("+"),
        ];
        for source in deep {
            assert_eq!(parse(&source).unwrap_err().code, "formula-too-deep");
        }
        let long = ["-".repeat(100_000), "(".repeat(10_000)];
        for source in long {
            assert_eq!(parse(&source).unwrap_err().code, "formula-too-long");
        }
        assert_eq!(parse("'a ='").unwrap_err().code, "unexpected-character");
        assert!(parse(&vec!["-a"; MAX_VALUES].join("+")).is_ok());
        assert!(parse(&("(".repeat(64) + "a" + &")".repeat(64))).is_ok());
        assert_eq!(
            parse(&("(".repeat(65) + "a" + &")".repeat(65)))
                .unwrap_err()
                .code,
            "formula-too-deep"
        );
    }
}
