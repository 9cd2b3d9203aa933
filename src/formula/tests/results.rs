//! What formulas give, row by row, and the programs they become.

use super::super::program::{Binary, Code, Num, Out, Step};
use super::run::{Given, run};
use super::*;
use crate::problem::render;
use crate::units::shown;

fn made(book: &Book, text: &str, sheet: Option<&str>) -> Formula {
    let sheet = sheet.map(|name| book.sheet(name).unwrap());
    match compile(text, sheet, book, &library()) {
        Ok(formula) => formula,
        Err(problems) => {
            let all: Vec<String> = problems.iter().map(|p| render(p, false)).collect();
            panic!("{}", all.join("\n"));
        }
    }
}

/// A result as a person would read it.
fn text_of(book: &Book, formula: &Formula, given: Given) -> String {
    match (given, formula.ty) {
        (Given::Number(value), _) if value.is_nan() => "missing".to_owned(),
        (Given::Number(value), Ty::Flag) => if value == 1.0 { "yes" } else { "no" }.to_owned(),
        (Given::Number(value), Ty::Number(measure)) => {
            let unit = formula.unit_hint.clone();
            let unit = unit.unwrap_or_else(|| Units::builtin().default_for(measure));
            shown(value, &unit, None)
        }
        (Given::Code(ABSENT), _) => "missing".to_owned(),
        (Given::Code(row), Ty::Row(sheet)) => {
            book.names.text(book.text_at(book.id_column(sheet), row))
        }
        (Given::Code(code), _) => book.names.text(code),
        (given, ty) => panic!("{given:?} is no {ty:?}"),
    }
}

/// The results of a formula on every row of a sheet, with commas between.
fn results(text: &str, sheet: &str) -> String {
    let book = book();
    let formula = made(&book, text, Some(sheet));
    let rows = 0..book.n_rows(book.sheet(sheet).unwrap());
    let texts: Vec<String> = rows
        .map(|row| text_of(&book, &formula, run(&book, &formula, &formula.program, row)))
        .collect();
    texts.join(", ")
}

#[track_caller]
fn check(sheet: &str, cases: &[(&str, &str)]) {
    for (text, expected) in cases {
        assert_eq!(results(text, sheet), *expected, "{text}");
    }
}

#[test]
fn arithmetic_keeps_units_and_missing_values() {
    check(
        "links",
        &[
            (
                "tx_power - medium.attenuation * length - 0.1 dB * splices",
                "-3.5 dBm, missing, missing, missing",
            ),
            ("-2^2 + 0 * splices", "-4, missing, -4, -4"),
            (
                "length / 10 Gb/s / 1 s * speed",
                "100 m/s, 25 m/s, missing, 1 m/s",
            ),
            ("tx_power - -3 dBm", "0 dB, 3 dB, -4.3 dB, missing"),
            ("loss + 5 % * loss", "1.05 dB, 2.625 dB, 3.15 dB, missing"),
            ("(length * 2)^2 / 1 m", "40000 m, 250000 m, missing, 400 m"),
            (
                "sqrt(length * length) + 1 km/1000",
                "0.101 km, 0.251 km, missing, 0.011 km",
            ),
            (
                "first_given(splices, 7) + missing",
                "missing, missing, missing, missing",
            ),
            ("assume.reserve * 2", "1 dB, 1 dB, 1 dB, 1 dB"),
            ("least(missing, 2)", "missing, missing, missing, missing"),
            ("most(2, missing)", "missing, missing, missing, missing"),
            ("first_given(missing, 2)", "2, 2, 2, 2"),
            ("this.length", "100 m, 250 m, missing, 10 m"),
        ],
    );
    check(
        "switches",
        &[
            ("heat - -10 °C", "30 K, 40 K, missing"),
            ("heat + 1 K", "21 °C, 31 °C, missing"),
        ],
    );
}

#[test]
fn flags_and_choices() {
    check(
        "links",
        &[
            ("length > 99 m and not short", "no, yes, missing, no"),
            ("not length >= 250 m", "yes, no, missing, yes"),
            ("short or length != 10 m", "yes, yes, missing, yes"),
            ("short == yes", "yes, no, missing, yes"),
            (
                "pick(short, loss, missing)",
                "1 dB, missing, missing, missing",
            ),
            ("pick(is_given(length), \"a\", \"b\")", "a, a, b, a"),
            ("1 m < length && ! (length < 20 m)", "yes, yes, missing, no"),
            (
                "pick(yes, length, loss * 1 km / 1 dB)",
                "0.1 km, 0.25 km, missing, 0.01 km",
            ),
            ("one_of(splices, 0, 2)", "yes, missing, yes, no"),
        ],
    );
}

#[test]
fn texts_and_rows_compare_by_text() {
    check(
        "links",
        &[
            ("role == \"UPLINK\"", "yes, no, yes, missing"),
            ("role != \"uplink\"", "no, yes, no, missing"),
            ("medium == \"om3\"", "yes, no, no, missing"),
            ("\"om3\" == medium", "yes, no, no, missing"),
            ("medium == far_medium", "missing, no, missing, missing"),
            ("from == to.above", "missing, missing, no, missing"),
            ("from.upper == to", "yes, yes, yes, missing"),
            ("from.upper == to.upper", "missing, missing, no, missing"),
            // OM9 is no row, but a name that was typed: it is known to be another one.
            ("better(\"OM3\", \"OM4\") == medium", "yes, no, no, missing"),
            ("medium == better(\"OM3\", \"OM4\")", "yes, no, no, missing"),
            ("one_of(medium, \"om9\", \"om4\")", "no, yes, yes, missing"),
            (
                "joined(id, \":\", medium)",
                "L1:OM3, L2:om4, L3:OM9, missing",
            ),
            ("joined(from.upper, \"!\")", "core!, core!, hall!, missing"),
            ("has(from, \"U\")", "no, no, yes, no"),
            (
                "has(id, \"1\") and not begins(id, \"1\")",
                "yes, no, no, no",
            ),
            (
                "begins(from.building, \"b\") and begins(role, \"up\")",
                "yes, no, yes, missing",
            ),
            ("from.above.building", "A, A, B, missing"),
            (
                "first_given(far_medium, medium)",
                "OM3, OM3, missing, missing",
            ),
            (
                "joined(first_given(far_medium, medium))",
                "OM3, OM3, OM9, OM9",
            ),
            (
                "first_given(far_medium, medium) == \"OM9\"",
                "no, no, yes, yes",
            ),
        ],
    );
    check(
        "links",
        &[
            ("is_given(medium)", "yes, yes, yes, no"),
            ("is_given(medium.id)", "yes, yes, no, no"),
            ("is_given(from.upper)", "yes, yes, yes, no"),
            ("pick(short, medium, \"OM4\")", "OM3, OM4, missing, missing"),
            ("pick(short, medium, role)", "OM3, access, missing, missing"),
            (
                "joined(assume.basis, \" \", id)",
                "ISO L1, ISO L2, ISO L3, ISO L4",
            ),
        ],
    );
    check(
        "switches",
        &[
            ("above == this", "missing, no, no"),
            ("joined(this)", "core, hall, pump"),
        ],
    );
}

#[test]
fn functions_that_are_formulas_take_rows() {
    check(
        "links",
        &[
            (
                "attenuation_at(medium, 850 nm)",
                "3.5 dB/km, 3 dB/km, missing, missing",
            ),
            (
                "attenuation_at(\"om4\", 1300 nm)",
                "1.4 dB/km, 1.4 dB/km, 1.4 dB/km, 1.4 dB/km",
            ),
            (
                "attenuation_at(better(far_medium, medium), 850 nm)",
                "3.5 dB/km, 3.5 dB/km, missing, missing",
            ),
            ("better(far_medium, medium) == \"OM9\"", "no, no, yes, yes"),
            (
                "pad_needed(tx_power, -4 dBm, loss)",
                "0 dB, 1.5 dB, 0 dB, missing",
            ),
        ],
    );
}

#[test]
fn aggregates_group_by_reference() {
    check(
        "switches",
        &[
            (
                "total(links.speed, links.from == this)",
                "0 Gb/s, 11 Gb/s, 10 Gb/s",
            ),
            (
                "total(links.speed, links.role == \"uplink\" and this == links.from)",
                "0 Gb/s, 10 Gb/s, 10 Gb/s",
            ),
            (
                "total(links.length, links.from == this)",
                "0 m, 350 m, missing",
            ),
            ("tally(links.to == this and links.length > 50 m)", "2, 0, 0"),
            ("tally(links.role == \"uplink\")", "2, 2, 2"),
            ("tally(links.from.building == \"B\")", "3, 3, 3"),
            (
                "largest(links.tx_power, links.from == this)",
                "missing, 0 dBm, -7.3 dBm",
            ),
            ("smallest(links.speed)", "1 Gb/s, 1 Gb/s, 1 Gb/s"),
            // An assumption is no key of a group.
            ("tally(links.loss - 0.5 dB == assume.reserve)", "1, 1, 1"),
            ("tally(assume.basis == links.role)", "0, 0, 0"),
            (
                "mean(links.length, links.from == this)",
                "missing, 175 m, missing",
            ),
            (
                "total(links.speed, links.from == above)",
                "missing, 0 Gb/s, 11 Gb/s",
            ),
            (
                "ports * 1 Gb/s / total(links.speed, links.from == this)",
                "missing, 4.36364, missing",
            ),
            (
                "total(links.loss + assume.reserve, links.from == this and links.speed > 5 Gb/s)",
                "0 dB, 1.5 dB, 3.5 dB",
            ),
            (
                "total(attenuation_at(links.medium, 850 nm) * links.length, links.to == this)",
                "1.1 dB, missing, 0 dB",
            ),
        ],
    );
    check(
        "links",
        &[("tally(links.from == from)", "2, 2, 1, missing")],
    );
}

#[test]
fn rows_are_found_by_their_keys() {
    check(
        "links",
        &[
            (
                "row_of(reaches, reaches.medium == medium and reaches.at == from)",
                "missing, r3, missing, missing",
            ),
            (
                "row_of(reaches, reaches.medium == \"OM4\" and to == reaches.at)",
                "r2, r2, r3, missing",
            ),
            (
                "row_of(reaches, reaches.medium == medium)",
                "r1, r2, missing, missing",
            ),
        ],
    );
    let book = book();
    let formula = made(
        &book,
        "row_of(reaches, reaches.medium == medium)",
        Some("links"),
    );
    assert_eq!(formula.ty, REACHES);
    let reads: Vec<u32> = formula.reads().map(|column| column.0).collect();
    assert_eq!(reads, [105, 301]);
}

#[test]
fn every_example_gives_what_its_record_says() {
    let book = book();
    for function in library()
        .iter()
        .filter(|function| !function.example.1.is_empty())
    {
        let (text, expected) = function.example;
        let formula = made(&book, text, None);
        let given = run(&book, &formula, &formula.program, 0);
        assert_eq!(text_of(&book, &formula, given), expected, "{text}");
    }
    let with_rows: Vec<&str> = library()
        .iter()
        .filter(|function| function.example.1.is_empty() && function.name != "endless")
        .map(|function| function.name)
        .collect();
    assert_eq!(
        with_rows,
        ["total", "largest", "smallest", "mean", "tally", "row_of"]
    );
}

#[test]
fn equal_steps_are_made_once() {
    let book = book();
    let formula = made(
        &book,
        "medium.attenuation * length + medium.attenuation * length",
        Some("links"),
    );
    assert_eq!(
        formula.program.steps,
        [
            Step::Fetch {
                to: 0,
                row: Code::Row(ColumnId(105)),
                column: ColumnId(201)
            },
            Step::Binary {
                op: Binary::Multiply,
                to: 1,
                a: Num::Register(0),
                b: Num::Column(ColumnId(107))
            },
            Step::Binary {
                op: Binary::Add,
                to: 2,
                a: Num::Register(1),
                b: Num::Register(1)
            },
        ]
    );
    assert_eq!(formula.program.n_numbers, 3);
    assert_eq!(formula.program.out, Out::Number(Num::Register(2)));
}

#[test]
fn constants_are_folded_and_comparisons_turned() {
    let book = book();
    let formula = made(&book, "2 * 3 m - least(1 m, 5 m)", None);
    assert_eq!(formula.program.steps, []);
    assert_eq!(formula.program.out, Out::Number(Num::Constant(5.0)));
    let formula = made(&book, "abs(-(2 m)) + sqrt(9 m^2)", None);
    assert_eq!(formula.program.steps, []);
    assert_eq!(formula.program.out, Out::Number(Num::Constant(5.0)));
    let formula = made(&book, "length > 2 * 3 m", Some("links"));
    assert_eq!(
        formula.program.steps,
        [Step::Binary {
            op: Binary::Less,
            to: 0,
            a: Num::Constant(6.0),
            b: Num::Column(ColumnId(107))
        }]
    );
    let formula = made(&book, "1 / 0", None);
    assert_eq!(
        formula.program.steps.len(),
        1,
        "the engine says that it failed"
    );
}

#[test]
fn a_choice_that_is_made_already_takes_no_step() {
    let book = book();
    let length = Out::Number(Num::Column(ColumnId(107)));
    for text in ["pick(yes, length, 0 m)", "pick(no, 0 m, length)"] {
        let formula = made(&book, text, Some("links"));
        assert_eq!(formula.program.steps, [], "{text}");
        assert_eq!(formula.program.out, length, "{text}");
    }
}

#[test]
fn a_condition_that_is_absent_does_not_count() {
    let book = book();
    let formula = made(
        &book,
        "tally(links.from == this and links.short)",
        Some("switches"),
    );
    let aggregate = &formula.aggregates[0];
    assert_eq!(aggregate.key, Some(ColumnId(101)));
    assert_eq!(
        aggregate.value.steps,
        [
            Step::Binary {
                op: Binary::FirstGiven,
                to: 0,
                a: Num::Column(ColumnId(111)),
                b: Num::Constant(0.0)
            },
            Step::Pick {
                to: 1,
                flag: Num::Register(0),
                a: Num::Constant(1.0),
                b: Num::Constant(f64::INFINITY)
            },
        ]
    );
    assert_eq!(formula.program.out, Out::Number(Num::Group(0)));
}

#[test]
fn aggregates_and_reads_are_kept_once() {
    let book = book();
    let text = "total(links.speed, links.from == this) / total(links.speed, links.from == this) + total(links.speed, links.from == above) / 1 Gb/s";
    let formula = made(&book, text, Some("switches"));
    assert_eq!(formula.aggregates.len(), 1);
    let reads: Vec<u32> = formula.reads().map(|column| column.0).collect();
    assert_eq!(reads, [2, 101, 104]);
}

#[test]
fn leaves_are_the_names_with_their_places() {
    let book = book();
    let text =
        "tx_power - medium.attenuation * length - assume.reserve + 0 dB * tally(links.short)";
    let formula = made(&book, text, Some("links"));
    let leaves: Vec<&str> = formula
        .leaves()
        .iter()
        .map(|leaf| &text[leaf.span.clone()])
        .collect();
    assert_eq!(
        leaves,
        [
            "tx_power",
            "medium.attenuation",
            "length",
            "assume.reserve",
            "tally(links.short)"
        ]
    );
    assert_eq!(formula.leaves()[1].ty, unit("dB/km"));
}

#[test]
fn the_result_is_held_against_what_is_wanted() {
    let book = book();
    let loss = made(&book, "loss", Some("links"));
    assert_eq!(check_unit(&loss, unit("dB")), Ok(()));
    let rate = made(&book, "medium.attenuation", Some("links"));
    let problem = check_unit(&rate, unit("dB")).unwrap_err();
    assert_eq!(problem.message, "the formula gives dB/km, wanted is dB");
    assert_eq!(
        problem.help,
        ["multiply `medium.attenuation` by a length, for example `medium.attenuation * 1 m`"]
    );
    let missing = made(&book, "missing", Some("links"));
    assert_eq!(check_unit(&missing, unit("dB")), Ok(()));
    assert!(check_unit(&missing, Ty::Text).is_err());
    let row = made(&book, "medium", Some("links"));
    assert_eq!(check_unit(&row, MEDIA), Ok(()));
    assert!(check_unit(&row, SWITCHES).is_err());
    assert_eq!(check_unit(&row, Ty::Text).unwrap_err().help.len(), 1);
}

#[test]
fn the_first_quantity_of_the_result_gives_its_unit() {
    let book = book();
    let hint = |text: &str| made(&book, text, None).unit_hint.map(|unit| unit.symbol);
    assert_eq!(hint("3 s * 2 ft / 1 s + 1 km").as_deref(), Some("ft"));
    assert_eq!(hint("\"a\""), None);
    assert_eq!(hint("10 Gb/s * 2 s"), None);
}

#[test]
fn nesting_to_the_limit_takes_no_time_and_little_stack() {
    let nested = |open: &str, inner: &str, close: &str, n| {
        [open.repeat(n), inner.to_owned(), close.repeat(n)].concat()
    };
    let book = book();
    for text in [
        nested("first_given(", "medium", ",far_medium)", 63),
        nested("better(far_medium,", "medium", ")", 63),
        nested("pick(medium==far_medium,", "medium", ",medium)", 63),
        nested("(not ", "short", ")", 32),
        nested("pad_needed(tx_power,-1 dBm,", "loss", ")", 63),
        vec!["length"; 256].join("+"),
        vec!["short"; 256].join(" or "),
    ] {
        let formula = made(&book, &text, Some("links"));
        assert!(
            formula.program.steps.len() < 700,
            "{}",
            formula.program.steps.len()
        );
    }
}
