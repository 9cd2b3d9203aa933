//! Any text at all: no panic, every problem with its place inside the text.

use super::*;
use proptest::prelude::*;
use proptest::test_runner::{Config, FileFailurePersistence};

/// Pieces that make formulas, right and wrong, when put in a row.
const PIECES: &[&str] = &[
    "length",
    "medium.attenuation",
    "links.speed",
    "links.from",
    "this",
    "assume.reserve",
    "switches",
    "missing",
    "yes",
    "1",
    "2.5 dB",
    "-3 dBm",
    "10 km/s",
    "5 %",
    "\"OM3\"",
    "\"",
    "+",
    "-",
    "*",
    "/",
    "^",
    "==",
    "!=",
    "<",
    ">=",
    "and",
    "or",
    "not",
    "!",
    "(",
    ")",
    ",",
    "=",
    "least(",
    "pick(",
    "tally(",
    "total(",
    "row_of(",
    "reaches",
    "reaches.medium",
    "first_given(",
    "attenuation_at(",
    "one_of(",
    "sqrt(",
    "from",
    "medium",
    "is_given(",
    "joined(",
    "\u{b5}",
    "\u{2212}",
    "\u{a0}",
];

fn config() -> Config {
    Config {
        cases: 2_000,
        failure_persistence: Some(Box::new(FileFailurePersistence::Off)),
        ..Config::default()
    }
}

fn check(text: &str) {
    let book = book();
    for sheet in [None, Some(SheetId(0)), Some(SheetId(1))] {
        match compile(text, sheet, &book, &library()) {
            Ok(formula) => check_formula(text, &formula),
            Err(problems) => check_problems(text, &problems),
        }
    }
}

fn check_formula(text: &str, formula: &Formula) {
    assert_eq!(formula.text, text);
    for leaf in formula.leaves() {
        assert!(
            text.get(leaf.span.clone())
                .is_some_and(|part| !part.is_empty())
        );
    }
    let n_steps = formula.program.steps.len();
    let n_registers = formula.program.n_numbers + formula.program.n_codes;
    assert_eq!(n_steps, usize::from(n_registers));
}

fn check_problems(text: &str, problems: &[Problem]) {
    assert!(!problems.is_empty());
    for problem in problems {
        assert!(!problem.message.is_empty());
        let place = problem.place.as_ref().expect("every problem has a place");
        assert_eq!(place.source, text);
        for label in &place.labels {
            assert!(
                text.get(label.span.clone()).is_some(),
                "{label:?} in {text:?}"
            );
        }
    }
}

proptest! {
    #![proptest_config(config())]

    #[test]
    fn any_characters(text in "\\PC{0,300}") {
        check(&text);
    }

    #[test]
    fn any_row_of_pieces(
        pieces in proptest::collection::vec(proptest::sample::select(PIECES), 0..40),
        gap in proptest::sample::select(vec!["", " "]),
    ) {
        check(&pieces.join(gap));
    }
}
