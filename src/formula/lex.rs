//! Formula text to tokens with their places: quantities, names, texts, operators.
//!
//! The limits on length live here; grouping and nesting are in `tree.rs`.

use super::Span;
use crate::problem::Problem;
use crate::units::{Unit, Units, split_quantity};
use logos::{Lexer, Logos};

/// The longest formula in bytes; grouping operators takes time with the square of the length.
pub(super) const MAX_BYTES: usize = 4_096;

/// A token and where it stands.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Token {
    pub kind: Kind,
    pub span: Span,
}

/// What a token is.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Kind {
    /// `100 m`: the number as written and its unit.
    Quantity(f64, Unit),
    /// `length`, `medium.attenuation`.
    Name,
    /// A text without its quotes.
    Text(String),
    /// An operator between two values.
    Infix(Infix),
    /// Between two values, or a sign before one.
    Minus,
    /// `not`: over everything up to the next `and` or `or`.
    NotWord,
    /// `!`: over the next value alone.
    NotSign,
    Open,
    Close,
    Comma,
}

/// An operator between two values.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Infix {
    /// `+`
    Add,
    /// `-`
    Subtract,
    /// `*`
    Multiply,
    /// `/`
    Divide,
    /// `^`
    Power,
    /// `==`
    Equal,
    /// `!=`
    Unequal,
    /// `<`
    Less,
    /// `<=`
    LessEqual,
    /// `>`
    Greater,
    /// `>=`
    GreaterEqual,
    /// `and`, `&&`
    And,
    /// `or`, `||`
    Or,
}

impl Infix {
    /// The operator as a formula writes it.
    pub fn symbol(self) -> &'static str {
        match self {
            Self::Add => "+",
            Self::Subtract => "-",
            Self::Multiply => "*",
            Self::Divide => "/",
            Self::Power => "^",
            Self::Equal => "==",
            Self::Unequal => "!=",
            Self::Less => "<",
            Self::LessEqual => "<=",
            Self::Greater => ">",
            Self::GreaterEqual => ">=",
            Self::And => "and",
            Self::Or => "or",
        }
    }

    /// Whether it compares two values.
    pub fn compares(self) -> bool {
        match self {
            Self::Equal
            | Self::Unequal
            | Self::Less
            | Self::LessEqual
            | Self::Greater
            | Self::GreaterEqual => true,
            Self::Add
            | Self::Subtract
            | Self::Multiply
            | Self::Divide
            | Self::Power
            | Self::And
            | Self::Or => false,
        }
    }
}

/// What the text is cut into before numbers and units are read.
#[derive(Logos, Debug, Clone, Copy, PartialEq)]
#[logos(skip r"[ \t\r\n\u{a0}\u{202f}\u{2009}]+")]
enum Raw {
    #[regex(r"(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]+)?", with_unit)]
    Quantity,
    #[regex(r"[\p{L}_][\p{L}\p{N}_]*(?:\.[\p{L}_][\p{L}\p{N}_]*)*")]
    Name,
    #[regex(r#""[^"]*""#)]
    Text,
    #[regex(r#""[^"]*"#)]
    TextOpen,
    #[token("and", |_| Infix::And, priority = 20)]
    #[token("&&", |_| Infix::And)]
    #[token("or", |_| Infix::Or, priority = 20)]
    #[token("||", |_| Infix::Or)]
    #[token("+", |_| Infix::Add)]
    #[token("*", |_| Infix::Multiply)]
    #[token("/", |_| Infix::Divide)]
    #[token("^", |_| Infix::Power)]
    #[token("==", |_| Infix::Equal)]
    #[token("!=", |_| Infix::Unequal)]
    #[token("<", |_| Infix::Less)]
    #[token("<=", |_| Infix::LessEqual)]
    #[token(">", |_| Infix::Greater)]
    #[token(">=", |_| Infix::GreaterEqual)]
    Infix(Infix),
    #[token("-")]
    #[token("\u{2212}")]
    Minus,
    #[token("not", priority = 20)]
    NotWord,
    #[token("!")]
    NotSign,
    #[token("(")]
    Open,
    #[token(")")]
    Close,
    #[token(",")]
    Comma,
    #[token("=")]
    Equals,
    #[token("<>")]
    Angles,
}

/// What a piece of a formula is to somebody who reads or writes it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Piece {
    /// A number with its unit.
    Quantity,
    /// A name, dots included.
    Name,
    /// A text in quotes; the closing one may still be missing.
    Text,
    /// A sign or word between or before values.
    Operator,
    /// `(`
    Open,
    /// `)`
    Close,
    /// `,`
    Comma,
    /// Something that is no part of the language.
    Other,
}

/// Cuts any text into pieces, for colours and for help while it is typed; blanks are left out.
pub fn pieces(source: &str) -> Vec<(Piece, Span)> {
    let raws = Raw::lexer(source).spanned();
    raws.map(|(raw, span)| (raw.map_or(Piece::Other, piece), span))
        .collect()
}

fn piece(raw: Raw) -> Piece {
    match raw {
        Raw::Quantity => Piece::Quantity,
        Raw::Name => Piece::Name,
        Raw::Text | Raw::TextOpen => Piece::Text,
        Raw::Infix(_) | Raw::Minus | Raw::NotWord | Raw::NotSign => Piece::Operator,
        Raw::Open => Piece::Open,
        Raw::Close => Piece::Close,
        Raw::Comma => Piece::Comma,
        Raw::Equals | Raw::Angles => Piece::Other,
    }
}

/// Cuts a formula into tokens.
///
/// # Errors
/// Every place that is no token; or one problem for a text that is empty or too long.
pub(super) fn tokens(source: &str) -> Result<Vec<Token>, Vec<Problem>> {
    if source.len() > MAX_BYTES {
        return Err(vec![too_long(source)]);
    }
    let (mut tokens, mut problems) = (Vec::new(), Vec::new());
    for (raw, span) in Raw::lexer(source).spanned() {
        let read = match raw {
            Ok(raw) => kind(raw, &source[span.clone()], &span),
            Err(()) => Err(unexpected(&source[span.clone()], &span)),
        };
        match read {
            Ok(kind) => tokens.push(Token { kind, span }),
            Err(problem) => problems.push(problem),
        }
    }
    if tokens.is_empty() && problems.is_empty() {
        problems.push(
            Problem::new("formula-empty", "the formula is empty")
                .help("write a value, for example `length / 2`"),
        );
    }
    if problems.is_empty() {
        Ok(tokens)
    } else {
        Err(problems)
    }
}

fn too_long(source: &str) -> Problem {
    let length = source.len();
    Problem::new(
        "formula-too-long",
        format!("the formula has {length} bytes, {MAX_BYTES} is the most"),
    )
    .help("put parts of it into columns of their own and name those")
}

fn kind(raw: Raw, text: &str, span: &Span) -> Result<Kind, Problem> {
    Ok(match raw {
        Raw::Quantity => return quantity(text, span),
        Raw::Name => Kind::Name,
        Raw::Text => Kind::Text(text[1..text.len() - 1].to_owned()),
        Raw::TextOpen => return Err(text_open(span)),
        Raw::Infix(infix) => Kind::Infix(infix),
        Raw::Minus => Kind::Minus,
        Raw::NotWord => Kind::NotWord,
        Raw::NotSign => Kind::NotSign,
        Raw::Open => Kind::Open,
        Raw::Close => Kind::Close,
        Raw::Comma => Kind::Comma,
        Raw::Equals => return Err(single_equals(span)),
        Raw::Angles => return Err(angles(span)),
    })
}

fn text_open(span: &Span) -> Problem {
    Problem::new("text-open", "a text without its closing quote")
        .at(span.clone(), "it starts here")
        .help("end it with a double quote: \"OM3\"")
}

fn single_equals(span: &Span) -> Problem {
    Problem::new("single-equals", "a single `=` does not compare")
        .at(span.clone(), "")
        .help("use == to compare")
}

fn angles(span: &Span) -> Problem {
    Problem::new("unexpected-character", "`<>` is not an operator")
        .at(span.clone(), "")
        .help("use != for not equal")
}

fn unexpected(text: &str, span: &Span) -> Problem {
    let problem = Problem::new(
        "unexpected-character",
        format!("unexpected character `{text}`"),
    )
    .at(span.clone(), "");
    match text {
        "&" => problem.help("write `and`"),
        "|" => problem.help("write `or`"),
        "'" | "\u{201c}" | "\u{201d}" => problem.help("a text stands in double quotes: \"OM3\""),
        "\u{d7}" | "\u{b7}" => problem.help("multiply with *"),
        "." => problem.help("a name goes on after a dot, without spaces: medium.attenuation"),
        _ => problem,
    }
}

fn quantity(text: &str, span: &Span) -> Result<Kind, Problem> {
    let (number, word) = split_quantity(text).unwrap_or((f64::INFINITY, ""));
    let unit = Units::builtin().unit(word).map_err(|problem| {
        let start = span.end - word.len();
        no_unit(problem, word).at(start..span.end, "")
    })?;
    if unit.to_base(number).is_finite() {
        Ok(Kind::Quantity(number, unit))
    } else {
        Err(Problem::new(
            "number-too-large",
            format!("`{text}` is too large a number"),
        )
        .at(span.clone(), ""))
    }
}

fn no_unit(problem: Problem, word: &str) -> Problem {
    if problem.help.is_empty() {
        problem.help(format!(
            "if `{word}` is a name, put an operator between: `2 * {word}`"
        ))
    } else {
        problem
    }
}

/// Makes a number token reach over the unit behind it.
fn with_unit(lexer: &mut Lexer<'_, Raw>) {
    lexer.bump(unit_length(lexer.remainder()));
}

/// How many bytes of what follows a number are its unit, spaces before it included.
fn unit_length(rest: &str) -> usize {
    let spaces = rest.len()
        - rest
            .trim_start_matches([' ', '\u{a0}', '\u{202f}', '\u{2009}'])
            .len();
    let word = first_word(&rest[spaces..]);
    if word == 0 {
        return 0;
    }
    let mut end = spaces + word + exponent(&rest[spaces + word..]);
    loop {
        let more = factor(&rest[end..]);
        if more == 0 {
            return end;
        }
        end += more;
    }
}

/// The length of the word behind a number, known as a unit or not; 0 for a keyword or a call.
fn first_word(rest: &str) -> usize {
    if rest.starts_with('%') {
        return 1;
    }
    let length = word_length(rest);
    let is_call = rest[length..].starts_with('(');
    match &rest[..length] {
        "and" | "or" | "not" => 0,
        _ if is_call => 0,
        _ => length,
    }
}

/// The length of a run of letters with whatever could go on a name.
fn word_length(rest: &str) -> usize {
    let begins = |c: char| c.is_alphabetic() || matches!(c, '°' | '_');
    let goes_on = |c: char| begins(c) || c.is_numeric() || c == '.';
    if !rest.starts_with(begins) {
        return 0;
    }
    let length = rest.find(|c| !goes_on(c)).unwrap_or(rest.len());
    rest[..length].trim_end_matches('.').len()
}

/// The length of an exponent such as `^2` directly behind a unit.
fn exponent(rest: &str) -> usize {
    let Some(digits) = rest.strip_prefix('^') else {
        return 0;
    };
    match digits.bytes().take_while(u8::is_ascii_digit).count() {
        0 => 0,
        n => n + 1,
    }
}

/// The length of `/km`, `·m` or `/(nm km)` when every word of it is a known unit.
fn factor(rest: &str) -> usize {
    let Some(sign) = rest.chars().next().filter(|c| matches!(c, '/' | '·')) else {
        return 0;
    };
    let after = &rest[sign.len_utf8()..];
    let length = if after.starts_with('(') {
        bracket(after)
    } else {
        known_word(after)
    };
    match length {
        0 => 0,
        n => sign.len_utf8() + n,
    }
}

/// The length of a known unit with its exponent; a call is none.
fn known_word(rest: &str) -> usize {
    let length = word_length(rest);
    let is_call = rest[length..].starts_with('(');
    if is_call || !Units::builtin().is_symbol(&rest[..length]) {
        return 0;
    }
    length + exponent(&rest[length..])
}

/// The length of `(nm km)`: two or more known units, so that `(b)` stays a column in parentheses.
fn bracket(rest: &str) -> usize {
    let Some(end) = rest.find(')') else {
        return 0;
    };
    let words: Vec<&str> = rest[1..end]
        .split([' ', '·'])
        .filter(|word| !word.is_empty())
        .collect();
    let known = words.iter().all(|word| known_word(word) == word.len());
    if words.len() > 1 && known { end + 1 } else { 0 }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn units(source: &str) -> Vec<String> {
        tokens(source)
            .unwrap()
            .into_iter()
            .map(|token| match token.kind {
                Kind::Quantity(number, unit) => format!("{number}|{}", unit.symbol),
                _ => source[token.span].to_owned(),
            })
            .collect()
    }

    #[test]
    fn a_quantity_takes_its_unit_and_no_more() {
        let cases: &[(&str, &[&str])] = &[
            ("100 m", &["100|m"]),
            ("0.35 dB/km*2", &["0.35|dB/km", "*", "2|"]),
            ("10 Gb/s", &["10|Gb/s"]),
            ("5 % / length", &["5|%", "/", "length"]),
            ("10 km / length", &["10|km", "/", "length"]),
            ("10 km/length", &["10|km", "/", "length"]),
            ("0.05 ps/nm^2/km", &["0.05|ps/nm^2/km"]),
            ("17 ps/(nm km)", &["17|ps/(nm km)"]),
            ("3 m/(b)", &["3|m", "/", "(", "b", ")"]),
            ("5 and 6 or not 7", &["5|", "and", "6|", "or", "not", "7|"]),
            ("20 °C", &["20|°C"]),
            ("1e3 ft", &["1000|ft"]),
            ("2 * sqrt(4)", &["2|", "*", "sqrt", "(", "4|", ")"]),
            ("order android", &["order", "android"]),
            ("a\u{2212}b", &["a", "\u{2212}", "b"]),
        ];
        for (source, expected) in cases {
            assert_eq!(units(source), *expected, "{source}");
        }
    }

    #[test]
    fn what_is_no_token_is_a_problem_with_a_place() {
        let cases = [
            ("a = b", "single-equals", 2..3),
            ("2 links", "unit-unknown", 2..7),
            ("1e999", "number-too-large", 0..5),
            ("\"OM3", "text-open", 0..4),
            ("a & b", "unexpected-character", 2..3),
            ("a <> b", "unexpected-character", 2..4),
            ("medium.", "unexpected-character", 6..7),
        ];
        for (source, code, span) in cases {
            let problems = tokens(source).unwrap_err();
            let place = problems[0].place.as_ref().unwrap();
            assert_eq!(problems[0].code, code, "{source}");
            assert_eq!(place.labels[0].span, span, "{source}");
        }
        assert_eq!(tokens("  ").unwrap_err()[0].code, "formula-empty");
        assert_eq!(tokens("a = ' = b").unwrap_err().len(), 3);
    }

    #[test]
    fn a_wrong_unit_names_the_near_one() {
        let problems = tokens("3 dbm + 2 kn").unwrap_err();
        assert_eq!(problems.len(), 1, "case alone is no problem");
        assert_eq!(problems[0].message, "unknown unit `kn`");
        let problems = tokens("3 feat").unwrap_err();
        assert_eq!(problems[0].help, ["did you mean `feet`?"]);
    }
}
