//! What is said about parts of a formula that do not go together.
//!
//! The rules themselves are in `units` and in the checker; here they become messages that name
//! both sides, point at both and offer the next step.

use super::check::Checker;
use super::lex::Infix;
use super::tree::Expr;
use super::typed::{Node, Typed};
use super::{Formula, Scope, Span, Ty};
use crate::problem::Problem;
use crate::units::{Clash, Dim, Kind, Measure, Operation, Reference, Units};

/// The longest part of a formula repeated in a help line.
const LONGEST_QUOTE: usize = 40;

/// The text of the formula, and the columns that examples may name.
#[derive(Clone, Copy)]
pub(super) struct Around<'a> {
    pub source: &'a str,
    /// None where a finished formula is spoken of.
    pub scope: Option<&'a dyn Scope>,
}

impl Around<'_> {
    /// Whether any sheet has a column of this name.
    fn has_column(self, name: &str) -> bool {
        let Some(scope) = self.scope.filter(|_| !name.is_empty()) else {
            return false;
        };
        let sheets = scope.sheet_names();
        let mut ids = sheets.iter().filter_map(|sheet| scope.sheet(sheet));
        ids.any(|sheet| scope.column(sheet, name).is_some())
    }
}

/// What a type is called: its unit, or a word with its article.
pub(super) fn word(ty: Ty, scope: Option<&dyn Scope>) -> String {
    match ty {
        Ty::Number(measure) => unit_word(measure),
        Ty::Text => "a text".to_owned(),
        Ty::Flag => "yes or no".to_owned(),
        Ty::Row(sheet) => match scope {
            Some(scope) => format!("a row of `{}`", scope.sheet_name(sheet)),
            None => "a row of one sheet".to_owned(),
        },
    }
}

/// The unit of a measure.
fn unit_word(measure: Measure) -> String {
    let symbol = Units::builtin().default_for(measure).symbol;
    if symbol.is_empty() {
        "a plain number".to_owned()
    } else {
        symbol
    }
}

/// The operator as the subject of a sentence.
pub(super) fn verb(op: Operation) -> &'static str {
    match op {
        Operation::Add => "`+`",
        Operation::Subtract => "`-`",
        Operation::Multiply => "`*`",
        Operation::Divide => "`/`",
        Operation::Match => "a comparison",
    }
}

/// Two numbers that an operator does not join.
pub(super) fn numbers(
    checker: &Checker<'_>,
    op: Operation,
    a: &Typed,
    b: &Typed,
    why: Clash,
) -> Problem {
    let (Ty::Number(left), Ty::Number(right)) = (a.ty, b.ty) else {
        return kinds(checker, "cannot join", "and", a, b);
    };
    match why {
        Clash::LevelPlusLevel => level_plus_level(a, b, left),
        Clash::AmountMinusLevel => amount_minus_level(checker.source, a, b, left, right),
        Clash::LevelInProduct => level_in_product(a, b, left, right),
        Clash::TooLarge => sides(
            Problem::new(
                "units-too-large",
                "the exponents of this unit are too large",
            ),
            a,
            b,
        ),
        Clash::Different => different(checker, op, a, b, left, right),
    }
}

/// Marks both sides with their units, the right one as the main place.
fn sides(problem: Problem, a: &Typed, b: &Typed) -> Problem {
    let text = |x: &Typed| match x.ty {
        Ty::Number(measure) => format!("this is {}", unit_word(measure)),
        Ty::Text | Ty::Flag | Ty::Row(_) => String::new(),
    };
    problem
        .at(b.span.clone(), text(b))
        .at(a.span.clone(), text(a))
}

fn level_plus_level(a: &Typed, b: &Typed, left: Measure) -> Problem {
    let problem = sides(
        Problem::new("level-plus-level", "two levels cannot be added"),
        a,
        b,
    );
    match left.kind {
        Kind::Level(Reference::Milliwatt) => {
            problem.help("combine powers with power_sum(a, b), or subtract one from the other")
        }
        Kind::Level(Reference::Celsius) | Kind::Amount => {
            problem.help("subtract one from the other, or add a difference in K")
        }
    }
}

fn amount_minus_level(
    source: &str,
    a: &Typed,
    b: &Typed,
    left: Measure,
    right: Measure,
) -> Problem {
    let message = format!(
        "cannot subtract a level in {} from an amount in {}",
        unit_word(right),
        unit_word(left)
    );
    let problem = sides(Problem::new("amount-minus-level", message), a, b);
    match (quoted(source, a), quoted(source, b)) {
        (Some(a), Some(b)) => problem.help(format!("turn it round: `{b} - {a}`")),
        _ => problem.help("turn it round: the level first"),
    }
}

fn level_in_product(a: &Typed, b: &Typed, left: Measure, right: Measure) -> Problem {
    let level = if left.is_level() { left } else { right };
    let message = format!(
        "a level in {} cannot be multiplied or divided",
        unit_word(level)
    );
    let problem = sides(Problem::new("level-in-product", message), a, b);
    problem.help(instead_of_level(level))
}

/// What to do where a level cannot stand.
fn instead_of_level(level: Measure) -> &'static str {
    match level.kind {
        Kind::Level(Reference::Milliwatt) => "convert with to_watt(x) first",
        Kind::Level(Reference::Celsius) | Kind::Amount => {
            "take the difference of two temperatures first"
        }
    }
}

/// A power of a level.
pub(super) fn level_in_power(span: &Span, level: Measure) -> Problem {
    let message = format!("a level in {} has no powers", unit_word(level));
    Problem::new("level-in-product", message)
        .at(span.clone(), "")
        .help(instead_of_level(level))
}

/// A minus before a level that is no literal.
pub(super) fn minus_of_level(span: &Span, level: Measure) -> Problem {
    let unit = unit_word(level);
    Problem::new("level-negated", format!("a level in {unit} has no minus"))
        .at(span.clone(), format!("this is {unit}"))
        .help("subtract it from another level, or write the sign into the number")
}

fn different(
    checker: &Checker<'_>,
    op: Operation,
    a: &Typed,
    b: &Typed,
    left: Measure,
    right: Measure,
) -> Problem {
    let (from, to) = (unit_word(left), unit_word(right));
    let message = match op {
        Operation::Add => format!("cannot add {to} to {from}"),
        Operation::Subtract => format!("cannot subtract {to} from {from}"),
        Operation::Multiply | Operation::Divide | Operation::Match => {
            format!("cannot compare {from} with {to}")
        }
    };
    let problem = sides(Problem::new("units-differ", message), a, b);
    missing_unit(checker.around(), problem, (a, left), (b, right))
}

/// Offers what would make the two go together, when it is one simple thing.
fn missing_unit(
    around: Around<'_>,
    problem: Problem,
    (a, left): (&Typed, Measure),
    (b, right): (&Typed, Measure),
) -> Problem {
    if left.dim == right.dim {
        return problem.help(
            "one is a level, the other an amount; the difference of two levels is an amount",
        );
    }
    for (x, is, wanted) in [(b, right, left), (a, left, right)] {
        if is == Measure::NUMBER && matches!(x.node, Node::Number(_)) {
            let unit = unit_word(wanted);
            let number = quoted(around.source, x).unwrap_or_default();
            return problem.help(format!("give the number its unit: `{number} {unit}`"));
        }
    }
    let simple = [(b, right, left), (a, left, right)]
        .into_iter()
        .filter(|(_, is, _)| !is.is_level())
        .find_map(|(x, is, wanted)| Some((x, factor(is, wanted)?)));
    match simple {
        Some((x, dim)) => problem.help(multiply(around, x, dim)),
        None => problem.help("both sides must measure the same thing"),
    }
}

/// What a part must be multiplied by to have the wanted dimension, if that is a simple thing.
fn factor(is: Measure, wanted: Measure) -> Option<Dim> {
    const SIMPLE: [Dim; 5] = [Dim::LENGTH, Dim::TIME, Dim::RATE, Dim::DATA, Dim::DECIBEL];
    let dim = wanted.dim.over(is.dim)?;
    SIMPLE.contains(&dim).then_some(dim)
}

fn multiply(around: Around<'_>, x: &Typed, dim: Dim) -> String {
    let what = dim.word().unwrap_or("a unit");
    // The plain word of a dimension, `length` or `speed`, is what a column of it is called.
    let name = what.split(' ').nth(1).unwrap_or_default();
    let example = if around.has_column(name) {
        name.to_owned()
    } else {
        format!("1 {}", unit_word(Measure::amount(dim)))
    };
    match quoted(around.source, x) {
        Some(part) => format!("multiply `{part}` by {what}, for example `{part} * {example}`"),
        None => format!("multiply it by {what}, for example `{example}`"),
    }
}

/// Offers the factor that brings a part to a wanted type, when it is one simple thing.
pub(super) fn factor_to(around: Around<'_>, problem: Problem, x: &Typed, wanted: Ty) -> Problem {
    let (Ty::Number(is), Ty::Number(to)) = (x.ty, wanted) else {
        return problem;
    };
    if is.is_level() || to.is_level() {
        return problem;
    }
    if is == Measure::NUMBER && matches!(x.node, Node::Number(_)) {
        let (number, unit) = (quoted(around.source, x).unwrap_or_default(), unit_word(to));
        return problem.help(format!("give the number its unit: `{number} {unit}`"));
    }
    match factor(is, to) {
        Some(dim) => problem.help(multiply(around, x, dim)),
        None => problem,
    }
}

/// A part as it stands, in parentheses where it needs them; `None` when it is long.
fn quoted(source: &str, x: &Typed) -> Option<String> {
    let text = source.get(x.span.clone())?;
    if text.len() > LONGEST_QUOTE {
        return None;
    }
    let bare = matches!(x.node, Node::Infix { .. }) && !text.starts_with('(');
    Some(if bare {
        format!("({text})")
    } else {
        text.to_owned()
    })
}

/// Two parts of different kinds.
pub(super) fn kinds(
    checker: &Checker<'_>,
    verb: &str,
    joint: &str,
    a: &Typed,
    b: &Typed,
) -> Problem {
    let (left, right) = (checker.word(a.ty), checker.word(b.ty));
    Problem::new("type-differs", format!("{verb} {left} {joint} {right}"))
        .at(b.span.clone(), format!("this is {right}"))
        .at(a.span.clone(), format!("this is {left}"))
}

/// Two values of a choice that are of different kinds.
pub(super) fn choice(checker: &Checker<'_>, a: &Typed, b: &Typed) -> Problem {
    let problem = kinds(checker, "the values differ in kind:", "and", a, b);
    match (a.ty, b.ty) {
        (Ty::Number(left), Ty::Number(right)) => {
            missing_unit(checker.around(), problem, (a, left), (b, right))
        }
        _ => problem,
    }
}

/// A comparison with the absent value.
pub(super) fn with_missing(a: &Typed, b: &Typed) -> Problem {
    let missing = if b.is_missing() { b } else { a };
    Problem::new(
        "compares-missing",
        "a comparison with `missing` is itself missing",
    )
    .at(missing.span.clone(), "")
    .help("ask with is_given(x), or with `not is_given(x)`")
}

/// Arithmetic between texts.
pub(super) fn arithmetic_on_texts(op: Operation, a: &Typed, b: &Typed) -> Problem {
    let message = format!("{} does not work on texts", verb(op));
    let problem = Problem::new("type-differs", message)
        .at(b.span.clone(), "this is a text")
        .at(a.span.clone(), "this is a text");
    match op {
        Operation::Add => problem.help("put texts together with joined(a, b)"),
        Operation::Subtract | Operation::Multiply | Operation::Divide | Operation::Match => problem,
    }
}

/// `1 < 2 < 3`.
pub(super) fn chained(source: &str, a: &Expr, b: &Expr, op: Infix) -> Problem {
    let problem = Problem::new("comparisons-chain", "comparisons do not chain").at(
        a.span.start..b.span.end,
        "this compares yes or no with a value",
    );
    match &a.node {
        super::tree::ExprNode::Binary(_, _, middle) if b.span.end - a.span.start <= 60 => {
            let text = |span: &Span| source.get(span.clone()).unwrap_or_default().to_owned();
            let (left, right) = (text(&a.span), text(&b.span));
            let middle = text(&middle.span);
            problem.help(format!(
                "write `{left} and {middle} {} {right}`",
                op.symbol()
            ))
        }
        _ => problem.help("write `a < b and b < c`"),
    }
}

/// A formula that gives another type than is wanted of it.
pub(super) fn result(formula: &Formula, wanted: Ty) -> Problem {
    let tree = &formula.tree;
    let (is, needs) = (word(tree.ty, None), word(wanted, None));
    let (code, message) = match (tree.ty, wanted) {
        (Ty::Number(_), Ty::Number(_)) => (
            "units-differ",
            format!("the formula gives {is}, wanted is {needs}"),
        ),
        (Ty::Row(_), Ty::Row(_)) => (
            "type-differs",
            "the formula gives a row of another sheet".to_owned(),
        ),
        _ => (
            "type-differs",
            format!("the formula gives {is}, wanted is {needs}"),
        ),
    };
    let problem = Problem::new(code, message).at(tree.span.clone(), format!("this is {is}"));
    if matches!(tree.ty, Ty::Row(_)) && wanted == Ty::Text {
        return problem.help("take the text of the row with joined(x)");
    }
    let around = Around {
        source: &formula.text,
        scope: None,
    };
    factor_to(around, problem, tree, wanted)
}
