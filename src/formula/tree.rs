//! Tokens to a tree whose nodes know where they stood.
//!
//! evalexpr only groups the operators: it sees numbered placeholders, never a name, a number or
//! a unit. So a pass of our own checks the neighbours first, and every problem has a place.
//! `^` binds more than a sign, so `-2^2` is -4, and `^` groups from the left. The word `not`
//! reaches up to the next `and` or `or`; the sign `!` takes the next value alone.

use super::Span;
use super::lex::{Infix, Kind, Token};
use crate::problem::Problem;
use crate::units::Unit;
use evalexpr::{Node as Grouped, Operator, build_operator_tree};

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
    let grouped = Neighbours::new(tokens).text()?;
    build_operator_tree(&grouped)
        .ok()
        .and_then(|root| Build { source, tokens }.part(&root))
        .map(|part| part.expr)
        .ok_or_else(|| {
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

/// Checks that values and operators alternate, and writes the text for evalexpr.
struct Neighbours<'a> {
    tokens: &'a [Token],
    text: String,
    levels: Vec<Level>,
    value_next: bool,
    n_values: usize,
}

impl<'a> Neighbours<'a> {
    fn new(tokens: &'a [Token]) -> Self {
        Self {
            tokens,
            text: String::new(),
            levels: vec![Level::default()],
            value_next: true,
            n_values: 0,
        }
    }

    fn text(mut self) -> Result<String, Problem> {
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
            _ => Ok(self.text),
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
            Kind::Quantity(..) | Kind::Text(_) => self.value(at),
            Kind::Name if self.is_open(at + 1) => self.text.push(placeholder(at)),
            Kind::Name => self.value(at),
            Kind::Infix(infix) => self.infix(*infix),
            Kind::Minus if self.value_next => self.sign('-'),
            Kind::Minus => self.infix(Infix::Subtract),
            Kind::NotSign => self.sign('!'),
            Kind::NotWord => {
                self.text += "!(";
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

    fn value(&mut self, at: usize) {
        self.text.push(placeholder(at));
        self.n_values += 1;
        self.value_next = false;
    }

    fn sign(&mut self, sign: char) {
        self.text.push(sign);
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
        self.text += grouping_symbol(infix);
        self.value_next = true;
    }

    /// Ends the reach of every `not` of this level.
    fn close_nots(&mut self) {
        let level = self.level();
        let n_nots = std::mem::take(&mut level.n_nots);
        level.n_signs = 0;
        self.text += &")".repeat(n_nots);
    }

    fn open(&mut self, at: usize, token: &Token) {
        let before = at.checked_sub(1).and_then(|at| self.tokens.get(at));
        let is_call = before.is_some_and(|token| token.kind == Kind::Name);
        self.levels.push(Level {
            open: token.span.clone(),
            is_call,
            ..Level::default()
        });
        self.text.push('(');
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
        self.text.push(')');
        Ok(())
    }

    fn comma(&mut self, token: &Token) -> Result<(), Problem> {
        if !self.level().is_call {
            return Err(Problem::new("comma-outside", "a comma outside a call")
                .at(token.span.clone(), "")
                .help("write a decimal point as a point: `1.5`"));
        }
        self.close_nots();
        self.text.push(',');
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

/// The operator as evalexpr reads it.
fn grouping_symbol(infix: Infix) -> &'static str {
    if infix == Infix::And {
        "&&"
    } else if infix == Infix::Or {
        "||"
    } else {
        infix.symbol()
    }
}

fn unclosed(open: Span) -> Problem {
    Problem::new("parenthesis", "unclosed parenthesis").at(open, "opened here")
}

fn missing_operator(token: &Token) -> Problem {
    Problem::new("missing-operator", "missing operator before this").at(token.span.clone(), "")
}

/// Reads evalexpr's tree back.
struct Build<'a> {
    source: &'a str,
    tokens: &'a [Token],
}

/// A part with its first and last token.
struct Part {
    expr: Expr,
    first: usize,
    last: usize,
}

impl Build<'_> {
    fn part(&self, node: &Grouped) -> Option<Part> {
        match (node.operator(), node.children()) {
            (Operator::RootNode, [only]) => Some(self.unwrapped(self.part(only)?)),
            (Operator::VariableIdentifierRead { identifier }, []) => self.value(index(identifier)?),
            (Operator::FunctionIdentifier { identifier }, [list]) => {
                self.call(index(identifier)?, list)
            }
            (Operator::Neg, [x]) => self.prefix(x, ExprNode::Negate),
            (Operator::Not, [x]) => self.prefix(x, ExprNode::Not),
            (operator, [a, b]) => {
                let (a, b) = (self.part(a)?, self.part(b)?);
                let (first, last) = (a.first, b.last);
                let (a, b) = (Box::new(a.expr), Box::new(b.expr));
                Some(self.made(first, last, ExprNode::Binary(infix(operator)?, a, b)))
            }
            _ => None,
        }
    }

    fn made(&self, first: usize, last: usize, node: ExprNode) -> Part {
        let span = self.tokens[first].span.start..self.tokens[last].span.end;
        let expr = Expr {
            span,
            wrapped: false,
            node,
        };
        Part { expr, first, last }
    }

    /// A part reaching over the parentheses around it, if those are in the text.
    fn unwrapped(&self, mut part: Part) -> Part {
        let around = |at: usize, kind: &Kind| self.tokens.get(at).is_some_and(|t| t.kind == *kind);
        let before = part.first.checked_sub(1);
        if let Some(before) = before.filter(|at| around(*at, &Kind::Open))
            && around(part.last + 1, &Kind::Close)
        {
            (part.first, part.last) = (before, part.last + 1);
            part.expr.span = self.tokens[part.first].span.start..self.tokens[part.last].span.end;
            part.expr.wrapped = true;
        }
        part
    }

    fn value(&self, at: usize) -> Option<Part> {
        let token = self.tokens.get(at)?;
        let node = match &token.kind {
            Kind::Quantity(number, unit) => ExprNode::Quantity(*number, unit.clone()),
            Kind::Text(text) => ExprNode::Text(text.clone()),
            Kind::Name => ExprNode::Name(self.source[token.span.clone()].to_owned()),
            _ => return None,
        };
        Some(self.made(at, at, node))
    }

    fn prefix(&self, operand: &Grouped, node: fn(Box<Expr>) -> ExprNode) -> Option<Part> {
        let part = self.part(operand)?;
        let first = part.first.checked_sub(1)?;
        Some(self.made(first, part.last, node(Box::new(part.expr))))
    }

    fn call(&self, at: usize, list: &Grouped) -> Option<Part> {
        let args = self.arguments(list)?;
        let last = match args.last() {
            Some(part) => part.last + 1,
            None => at + 2,
        };
        let span = self.tokens.get(at)?.span.clone();
        let name = self.source[span.clone()].to_owned();
        let args = args.into_iter().map(|part| part.expr).collect();
        self.tokens.get(last)?;
        Some(self.made(at, last, ExprNode::Call(name, span, args)))
    }

    fn arguments(&self, list: &Grouped) -> Option<Vec<Part>> {
        match (list.operator(), list.children()) {
            (Operator::RootNode, []) => Some(Vec::new()),
            (Operator::RootNode, [only]) if *only.operator() == Operator::Tuple => {
                only.children().iter().map(|item| self.part(item)).collect()
            }
            (Operator::RootNode, [only]) => Some(vec![self.part(only)?]),
            _ => Some(vec![self.part(list)?]),
        }
    }
}

/// The first character that stands for a token; there are more behind it, for private use, than a
/// formula may have characters.
const FIRST_PLACEHOLDER: u32 = 0xF_0000;

/// What evalexpr sees of a name, a number or a text: one character for its token, as the cost of
/// grouping goes with the characters.
fn placeholder(at: usize) -> char {
    let at = u32::try_from(at).unwrap_or(u32::MAX);
    let code = FIRST_PLACEHOLDER.saturating_add(at);
    char::from_u32(code).unwrap_or(char::REPLACEMENT_CHARACTER)
}

/// The token of a placeholder.
fn index(placeholder: &str) -> Option<usize> {
    let code = u32::from(placeholder.chars().next()?);
    usize::try_from(code.checked_sub(FIRST_PLACEHOLDER)?).ok()
}

fn infix(operator: &Operator) -> Option<Infix> {
    Some(match operator {
        Operator::Add => Infix::Add,
        Operator::Sub => Infix::Subtract,
        Operator::Mul => Infix::Multiply,
        Operator::Div => Infix::Divide,
        Operator::Exp => Infix::Power,
        Operator::Eq => Infix::Equal,
        Operator::Neq => Infix::Unequal,
        Operator::Lt => Infix::Less,
        Operator::Leq => Infix::LessEqual,
        Operator::Gt => Infix::Greater,
        Operator::Geq => Infix::GreaterEqual,
        Operator::And => Infix::And,
        Operator::Or => Infix::Or,
        _ => return None,
    })
}

#[cfg(test)]
mod tests {
    use super::super::lex::tokens;
    use super::*;

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
