//! Where the cursor stands in a formula that is being typed: in which call, name or text.
//!
//! Reads any text, finished or not. What names mean is decided by whoever asks.

use super::Span;
use super::lex::Piece;
use super::lex::pieces;

/// The place of a cursor in a formula.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Spot {
    /// What is being typed there.
    pub typing: Typing,
    /// The calls it stands in, the innermost last.
    pub calls: Vec<Call>,
}

/// What is being typed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Typing {
    /// Nothing that could be completed, such as a number.
    Nothing,
    /// A name.
    Name {
        /// The names before it, each followed by a dot.
        path: Vec<String>,
        /// The part before the cursor.
        typed: String,
        /// The whole part, in the text.
        span: Span,
    },
    /// A text in quotes.
    Text {
        /// The part before the cursor, without the quote.
        typed: String,
        /// The whole text without its quotes.
        span: Span,
        /// Whether the closing quote stands there.
        closed: bool,
        /// The name that it is compared with, if it is with one.
        beside: Option<String>,
    },
}

/// A call that is open at the cursor.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Call {
    /// The name before the bracket; empty for a bracket alone.
    pub name: String,
    /// Where the bracket opens.
    pub at: usize,
    /// Which argument the cursor is in, counted from 0.
    pub argument: usize,
    /// The text of the first argument as far as it is written before the cursor.
    pub first: String,
}

/// The place of a cursor, given as a byte of the text.
pub fn spot(text: &str, cursor: usize) -> Spot {
    let cursor = on_boundary(text, cursor);
    let pieces = pieces(text);
    Spot {
        typing: typing(text, cursor, &pieces),
        calls: calls(text, cursor, &pieces),
    }
}

fn on_boundary(text: &str, at: usize) -> usize {
    (0..=at.min(text.len()))
        .rev()
        .find(|at| text.is_char_boundary(*at))
        .unwrap_or(0)
}

fn typing(text: &str, cursor: usize, pieces: &[(Piece, Span)]) -> Typing {
    let inside = pieces.iter().position(|(piece, span)| match piece {
        Piece::Text => span.start < cursor && cursor < text_end(text, span),
        Piece::Quantity => span.start < cursor && cursor <= span.end,
        Piece::Name
        | Piece::Operator
        | Piece::Open
        | Piece::Close
        | Piece::Comma
        | Piece::Other => false,
    });
    match inside {
        Some(at) if pieces[at].0 == Piece::Text => quoted(text, cursor, pieces, at),
        Some(_) => Typing::Nothing,
        None => name(text, cursor),
    }
}

/// The first byte at which a cursor is no longer inside a text.
fn text_end(text: &str, span: &Span) -> usize {
    match is_closed(text, span) {
        true => span.end,
        false => span.end + 1,
    }
}

fn is_closed(text: &str, span: &Span) -> bool {
    span.len() > 1 && text[span.clone()].ends_with('"')
}

fn quoted(text: &str, cursor: usize, pieces: &[(Piece, Span)], at: usize) -> Typing {
    let span = &pieces[at].1;
    let closed = is_closed(text, span);
    let inner = span.start + 1..span.end - usize::from(closed);
    Typing::Text {
        typed: text[inner.start..cursor.clamp(inner.start, inner.end)].to_owned(),
        span: inner,
        closed,
        beside: beside(text, pieces, at),
    }
}

/// The name on the other side of a comparison with a text.
fn beside(text: &str, pieces: &[(Piece, Span)], at: usize) -> Option<String> {
    let part = |at: Option<usize>| pieces.get(at?);
    let word = |part: Option<&(Piece, Span)>| part.map(|(_, span)| &text[span.clone()]);
    let compares = |at| matches!(word(part(at)), Some("==" | "!=" | "="));
    let name = |at| match part(at) {
        Some((Piece::Name, span)) => Some(text[span.clone()].to_owned()),
        Some(_) | None => None,
    };
    if compares(at.checked_sub(1)) {
        return name(at.checked_sub(2));
    }
    if compares(at.checked_add(1)) {
        return name(at.checked_add(2));
    }
    None
}

/// The part of a name at the cursor, which may be empty.
fn name(text: &str, cursor: usize) -> Typing {
    let in_name = |c: char| c.is_alphanumeric() || c == '_';
    let before = &text[..cursor];
    let start = before.trim_end_matches(|c| in_name(c) || c == '.').len();
    let whole = &before[start..];
    if whole.starts_with(|c: char| c.is_numeric() || c == '.') {
        return Typing::Nothing;
    }
    let mut path: Vec<String> = whole.split('.').map(str::to_owned).collect();
    let typed = path.pop().unwrap_or_default();
    let after = &text[cursor..];
    let rest = after.find(|c| !in_name(c)).unwrap_or(after.len());
    Typing::Name {
        path,
        span: cursor - typed.len()..cursor + rest,
        typed,
    }
}

/// The brackets that are open at the cursor.
fn calls(text: &str, cursor: usize, pieces: &[(Piece, Span)]) -> Vec<Call> {
    let mut open: Vec<Call> = Vec::new();
    let mut before: Option<&(Piece, Span)> = None;
    for part in pieces.iter().filter(|(_, span)| span.start < cursor) {
        let (piece, span) = part;
        match piece {
            Piece::Open => open.push(Call {
                name: called(text, before, span),
                at: span.start,
                argument: 0,
                first: String::new(),
            }),
            Piece::Close => drop(open.pop()),
            Piece::Comma => {
                if let Some(call) = open.last_mut() {
                    if call.argument == 0 {
                        call.first = text[call.at + 1..span.start].trim().to_owned();
                    }
                    call.argument += 1;
                }
            }
            Piece::Quantity | Piece::Name | Piece::Text | Piece::Operator | Piece::Other => {}
        }
        before = Some(part);
    }
    open
}

/// The name directly before an opening bracket.
fn called(text: &str, before: Option<&(Piece, Span)>, bracket: &Span) -> String {
    match before {
        Some((Piece::Name, span)) if span.end == bracket.start => text[span.clone()].to_owned(),
        Some(_) | None => String::new(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// The place of the cursor that stands as `|` in a text.
    fn at(marked: &str) -> Spot {
        let cursor = marked.find('|').unwrap();
        spot(&marked.replacen('|', "", 1), cursor)
    }

    fn named(marked: &str) -> (Vec<String>, String, Span) {
        match at(marked).typing {
            Typing::Name { path, typed, span } => (path, typed, span),
            other => panic!("{marked}: {other:?}"),
        }
    }

    #[test]
    fn a_name_is_seen_with_what_is_before_it() {
        assert_eq!(named("loss + le|"), (vec![], "le".to_owned(), 7..9));
        assert_eq!(
            named("medium.att|x + 1"),
            (vec!["medium".to_owned()], "att".to_owned(), 7..11)
        );
        assert_eq!(
            named("medium.|"),
            (vec!["medium".to_owned()], String::new(), 7..7)
        );
        assert_eq!(named("a + |"), (vec![], String::new(), 4..4));
        assert_eq!(
            named("a.b.|c"),
            (vec!["a".to_owned(), "b".to_owned()], String::new(), 4..5)
        );
    }

    #[test]
    fn a_number_and_its_unit_are_no_name() {
        for marked in ["12|", "0.5 d|", "1.|", "3 dB/km|"] {
            assert_eq!(at(marked).typing, Typing::Nothing, "{marked}");
        }
    }

    #[test]
    fn beside_a_text_or_before_a_number_a_name_is_typed() {
        for marked in ["role == |\"up\"", "role == \"up\"|", "|\"\"", "1 + |2 m"] {
            assert_eq!(named(marked).1, "", "{marked}");
        }
        // A text that is not closed goes on to its end.
        assert!(matches!(at("role == \"|").typing, Typing::Text { .. }));
    }

    #[test]
    fn a_text_knows_what_it_is_compared_with() {
        for (marked, inner, closed, beside) in [
            ("role == \"up|", "up", false, Some("role")),
            ("role != \"up|link\" and x", "uplink", true, Some("role")),
            ("\"up|\" == links.role", "up", true, Some("links.role")),
            ("one_of(role, \"|", "", false, None),
        ] {
            let text = marked.replacen('|', "", 1);
            match at(marked).typing {
                Typing::Text {
                    span,
                    closed: is_closed,
                    beside: found,
                    ..
                } => {
                    assert_eq!(&text[span], inner, "{marked}");
                    assert_eq!(is_closed, closed, "{marked}");
                    assert_eq!(found.as_deref(), beside, "{marked}");
                }
                other => panic!("{marked}: {other:?}"),
            }
        }
    }

    #[test]
    fn open_calls_know_their_argument() {
        let calls = at("least(1, most(a, b), pick(x, (y|").calls;
        let seen: Vec<(&str, usize, &str)> = calls
            .iter()
            .map(|call| (call.name.as_str(), call.argument, call.first.as_str()))
            .collect();
        assert_eq!(seen, [("least", 2, "1"), ("pick", 1, "x"), ("", 0, "")]);
        assert!(at("least(1, 2)|").calls.is_empty());
        assert_eq!(at("least(1, 2|)").calls.len(), 1);
    }

    proptest! {
        #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

        #[test]
        fn any_text_has_a_spot_anywhere(text in "[a-c0-9.\"(), =é水\u{301}]{0,30}|\\PC{0,20}", at in 0usize..40) {
            let spot = spot(&text, at);
            if let Typing::Name { span, .. } | Typing::Text { span, .. } = spot.typing {
                prop_assert!(text.get(span).is_some());
            }
        }
    }
}
