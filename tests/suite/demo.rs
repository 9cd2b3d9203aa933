//! The built-in demo plan: it opens clean, saves to its own bytes, and shows what there is to see.
//!
//! What its numbers are is held elsewhere; here stands what a first look has to find.

use portledger::desk::Desk;
use portledger::files::plan_file;
use portledger::plan::Entry;
use portledger::problem::{Severity, render};
use portledger::table::Cell;
use std::collections::BTreeSet;
use std::path::Path;

const PATH: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/examples/aquarium.plan");

/// The sheets of a plan; a first look finds something in each.
const SHEETS: [&str; 7] = [
    "links", "switches", "paths", "parts", "modules", "segments", "readings",
];

/// The shown cells of a column, of every row that a person made.
fn cells(desk: &Desk, sheet: &str, column: &str) -> Vec<Option<String>> {
    let plan = desk.plan();
    let id = plan.sheet(sheet).unwrap();
    let column = desk.engine().find_column(id, column).unwrap();
    let rows = plan.rows(id).order().iter();
    rows.map(|row| match desk.engine().cell(plan, column, *row) {
        Cell::Text(text) => Some(text),
        Cell::Number(number) => Some(number.to_string()),
        Cell::Flag(flag) => Some(flag.to_string()),
        Cell::Missing | Cell::Failed => None,
    })
    .collect()
}

/// The different cells of a column that are given.
fn words(desk: &Desk, sheet: &str, column: &str) -> BTreeSet<String> {
    cells(desk, sheet, column).into_iter().flatten().collect()
}

fn set(words: &[&str]) -> BTreeSet<String> {
    words.iter().map(|word| (*word).to_owned()).collect()
}

/// The checks that found something of a severity, and on which rows.
fn found(desk: &Desk, severity: Severity) -> BTreeSet<(String, String)> {
    let findings = desk.findings().list.into_iter();
    findings
        .filter(|finding| finding.severity == severity)
        .map(|finding| (finding.check, desk.plan().id(finding.sheet, finding.row)))
        .collect()
}

fn pairs(pairs: &[(&str, &str)]) -> BTreeSet<(String, String)> {
    let owned = |(check, row): &(&str, &str)| ((*check).to_owned(), (*row).to_owned());
    pairs.iter().map(owned).collect()
}

#[test]
fn the_demo_opens_without_a_problem() {
    let desk = Desk::demo().unwrap();
    let problems: Vec<String> = desk.problems().map(|one| render(one, false)).collect();
    assert!(problems.is_empty(), "{}", problems.join("\n"));
}

#[test]
fn the_demo_in_the_program_is_the_file_in_examples_and_saves_to_its_bytes() {
    let bytes = std::fs::read_to_string(PATH).unwrap();
    let opened = Desk::open(Path::new(PATH)).unwrap();
    assert_eq!(plan_file::write(opened.plan()), bytes);
    assert_eq!(plan_file::write(Desk::demo().unwrap().plan()), bytes);
}

#[test]
fn every_cell_of_the_demo_was_understood() {
    let desk = Desk::demo().unwrap();
    for name in SHEETS {
        let id = desk.plan().sheet(name).unwrap();
        assert!(desk.plan().rows(id).wrong().is_empty(), "{name}");
    }
    let links = desk.plan().sheet("links").unwrap();
    let resolved = ["interface", "medium"].map(|name| {
        let position = desk.plan().def(links).column(name).unwrap();
        let column = desk.engine().column(links, position);
        let rows = desk.plan().rows(links).order();
        let named = |row| desk.plan().entry(links, position, row) != Entry::Empty;
        let known = |row| desk.engine().row_at(column, row) != portledger::table::ABSENT;
        rows.iter().all(|row| named(*row) == known(*row))
    });
    assert_eq!(resolved, [true, true]);
}

#[test]
fn the_demo_is_a_campus_of_three_buildings() {
    let desk = Desk::demo().unwrap();
    assert!(cells(&desk, "links", "id").len() >= 40);
    assert!(cells(&desk, "switches", "id").len() >= 10);
    assert_eq!(
        words(&desk, "switches", "building"),
        set(&["main hall", "pump house", "quarantine lab"])
    );
    let plan = desk.plan();
    let links = plan.sheet("links").unwrap();
    let kind = |row: &_| {
        desk.engine()
            .evaluate(plan, "medium.kind", Some((links, *row)))
    };
    let kinds: BTreeSet<String> = plan
        .rows(links)
        .order()
        .iter()
        .filter_map(|row| match kind(row).unwrap().1 {
            Cell::Text(kind) => Some(kind),
            Cell::Number(_) | Cell::Flag(_) | Cell::Missing | Cell::Failed => None,
        })
        .collect();
    assert_eq!(
        kinds,
        set(&[
            "active optical",
            "multimode",
            "single-mode",
            "twinax",
            "twisted pair"
        ])
    );
    assert_eq!(
        words(&desk, "links", "state"),
        set(&["in service", "ordered", "out", "planned", "spare"])
    );
}

#[test]
fn the_demo_shows_every_verdict_and_mostly_links_that_fit() {
    let desk = Desk::demo().unwrap();
    let verdicts = cells(&desk, "links", "verdict");
    let all = set(&["fails", "fits", "tight", "unknown"]);
    assert_eq!(words(&desk, "links", "verdict"), all);
    let n_fit = verdicts
        .iter()
        .filter(|verdict| verdict.as_deref() == Some("fits"))
        .count();
    assert!(2 * n_fit > verdicts.len(), "{n_fit} of {}", verdicts.len());
    assert_eq!(words(&desk, "switches", "verdict"), set(&["fits", "tight"]));
}

#[test]
fn the_demo_shows_findings_of_every_severity() {
    let desk = Desk::demo().unwrap();
    assert_eq!(
        found(&desk, Severity::Stop),
        pairs(&[
            ("between-buildings", "P104"),
            ("copper-length", "Q106"),
            ("loss", "Q103"),
            ("module-differs", "RX250311"),
            ("overload", "P102"),
            ("port-twice", "M115"),
            ("port-twice", "M116"),
            ("reach", "P105"),
            ("reach", "Q103"),
        ])
    );
    let cautions = found(&desk, Severity::Caution);
    for expected in [
        ("reserve", "M104"),
        ("distance-port", "M103"),
        ("light-low", "Q101"),
        ("light-drift", "P101"),
        ("unit-suspect", "Q103"),
        ("ratio", "acc-desk"),
        ("worst-ratio", "acc-pump"),
    ] {
        assert!(
            pairs(&[expected]).is_subset(&cautions),
            "{expected:?} is not in {cautions:?}"
        );
    }
    assert_eq!(
        found(&desk, Severity::Note),
        pairs(&[
            ("name-alike", "M12O"),
            ("reading-missing", "M103"),
            ("reading-missing", "Q103"),
        ])
    );
}

#[test]
fn ids_of_the_demo_survive_a_spreadsheet() {
    let desk = Desk::demo().unwrap();
    for sheet in SHEETS {
        let ids = cells(&desk, sheet, "id");
        let different: BTreeSet<&String> = ids.iter().flatten().collect();
        assert_eq!(different.len(), ids.len(), "{sheet}");
        for id in different {
            // A spreadsheet takes no id that begins with a letter for a number or a fraction.
            let is_plain = id.starts_with(|c: char| c.is_ascii_alphabetic())
                && id.parse::<f64>().is_err()
                && id.len() <= 12;
            assert!(is_plain, "{id}");
        }
    }
}

#[test]
fn what_has_no_price_in_the_demo_is_not_free() {
    let desk = Desk::demo().unwrap();
    let ids = cells(&desk, "links", "id");
    let prices = cells(&desk, "links", "price");
    let price = |wanted: &str| {
        let at = ids.iter().position(|id| id.as_deref() == Some(wanted));
        prices[at.unwrap()].clone()
    };
    // No price for this module in the parts of the demo.
    assert_eq!(price("P102"), None);
    assert_eq!(price("P101"), Some((2.0 * 64.0 + 260.0 * 0.7).to_string()));
}

#[test]
fn every_sheet_of_the_demo_has_something_to_show() {
    let desk = Desk::demo().unwrap();
    let own = desk
        .engine()
        .schema()
        .iter()
        .filter(|sheet| !sheet.reference);
    let names: Vec<&str> = own.map(|sheet| &*sheet.name).collect();
    assert_eq!(names, SHEETS);
    for name in SHEETS {
        let n_rows = cells(&desk, name, "id").len();
        assert!((2..50).contains(&n_rows), "{n_rows} in {name}");
    }
    assert_eq!(words(&desk, "paths", "verdict"), set(&["fits"]));
    assert_eq!(words(&desk, "modules", "verdict"), set(&["fails", "fits"]));
}

// A cord, a cassette, an array cable, a cassette and a cord: 75 m of 3.5 dB/km and four pairs of
// 0.5 dB by the rule of this campus, of the 2.9 dB that IEEE 802.3 clause 52 allows on OM4.
#[test]
fn the_panel_run_of_the_demo_is_the_sum_of_its_segments() {
    let desk = Desk::demo().unwrap();
    let plan = desk.plan();
    let links = plan.sheet("links").unwrap();
    let row = plan.find(links, "Q105").unwrap();
    for condition in [
        "segment_count == 5 and used_length == 75 m",
        "abs(loss - 2.2625 dB) < 1e-9 dB and abs(margin - 0.6375 dB) < 1e-9 dB",
        "turns == 3 and faces_passed == 10 and verdict == \"fits\"",
    ] {
        let (_, cell) = desk
            .engine()
            .evaluate(plan, condition, Some((links, row)))
            .unwrap();
        assert_eq!(cell, Cell::Flag(true), "{condition}");
    }
}

// What a first look is led to: the first stop is the orange fibre, and a better one cures it.
#[test]
fn the_first_stop_of_the_demo_is_mended_by_better_fibre() {
    let mut desk = Desk::demo().unwrap();
    let first = desk.findings().list[0].clone();
    let plan = desk.plan();
    assert_eq!(
        (&*first.check, &*plan.id(first.sheet, first.row)),
        ("reach", "P105")
    );
    let medium = plan.def(first.sheet).column("medium").unwrap();
    desk.set(first.sheet, first.row, medium, "OM4").unwrap();
    let left = desk.findings().list;
    let at = (first.sheet, first.row);
    assert!(
        left.iter()
            .all(|finding| (finding.sheet, finding.row) != at)
    );
}
