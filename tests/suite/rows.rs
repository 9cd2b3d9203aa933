//! Conditions and orders over all rows of a sheet, against slower ways to the same answer.

use super::properties::{beginning, edit, step};
use super::story::Story;
use portledger::desk::Desk;
use portledger::engine::Engine;
use portledger::plan::{Plan, Touched};
use portledger::sheet::{ColumnDef, ColumnKind};
use portledger::table::{Cell, Column, RowId, SheetId};
use portledger::trade::engine;
use proptest::prelude::*;
use std::cmp::Ordering;

/// Formulas over links of every kind: of the row, through a row, over all rows, and of groups.
const FORMULAS: [(&str, ColumnKind); 12] = [
    ("margin < 1 dB", ColumnKind::Flag),
    (
        "verdict == \"fails\" or not is_given(length)",
        ColumnKind::Flag,
    ),
    (
        "from.building == to.building and medium.kind == \"twisted pair\"",
        ColumnKind::Flag,
    ),
    ("tally(links.from == from) > 1", ColumnKind::Flag),
    ("length == largest(links.length)", ColumnKind::Flag),
    (
        "is_given(row_of(channels, channels.interface == interface and channels.medium == medium))",
        ColumnKind::Flag,
    ),
    (
        "total(links.capacity, links.from == this) > 1 Gb/s",
        ColumnKind::Flag,
    ),
    (
        "length < total(switches.access_ports) * 1 m",
        ColumnKind::Flag,
    ),
    ("yes", ColumnKind::Flag),
    ("length * 2", ColumnKind::Number),
    (
        "mean(links.length, links.medium == medium)",
        ColumnKind::Number,
    ),
    ("joined(role, \" \", state)", ColumnKind::Text),
];

/// The values of a formula as one more column of links, in an engine of its own.
fn as_a_column(plan: &Plan, engine: &Engine, text: &str, kind: ColumnKind) -> Column {
    let links = plan.sheet("links").unwrap();
    let mut schema = engine.schema().to_vec();
    let columns = &mut schema[links.at()].columns;
    let position = columns.len();
    let unit = engine
        .compile(plan, text, Some(links))
        .map_or("", |formula| {
            if format!("{:?}", formula.ty).contains("Number") {
                "m"
            } else {
                ""
            }
        });
    columns.push(ColumnDef {
        name: "the answer".to_owned(),
        title: String::new(),
        doc: String::new(),
        unit: unit.to_owned(),
        kind,
        choices: Vec::new(),
        to: None,
        formula: Some(text.to_owned()),
        decimals: None,
        source: String::new(),
        quiet: true,
    });
    let slow = Engine::new(plan, schema, engine.knowledge().clone());
    slow.values(slow.column(links, position)).clone()
}

/// Values of live rows so that equal texts mean equal values, bit by bit.
fn told(plan: &Plan, column: &Column) -> Vec<String> {
    let links = plan.sheet("links").unwrap();
    let rows = plan.rows(links).order().iter();
    let value = |row: &RowId| match column {
        Column::Numbers(values) => format!("{:x}", values[row.at()].to_bits()),
        Column::Flags(flags) => flags[row.at()].to_string(),
        Column::Codes(codes) => plan.names().text(codes[row.at()]),
    };
    rows.map(value).collect()
}

fn compare(plan: &Plan, engine: &Engine) -> Result<(), TestCaseError> {
    let links = plan.sheet("links").unwrap();
    for (text, kind) in FORMULAS {
        let Ok((_, fast)) = engine.column_of(plan, links, text) else {
            prop_assert!(engine.compile(plan, text, Some(links)).is_err(), "{}", text);
            continue;
        };
        let slow = as_a_column(plan, engine, text, kind);
        prop_assert_eq!(told(plan, &fast), told(plan, &slow), "{}", text);
        match engine.condition(plan, links, text) {
            Ok(flags) => prop_assert_eq!(Column::of_flags(flags), fast),
            Err(problems) => {
                prop_assert_ne!(kind, ColumnKind::Flag);
                prop_assert_eq!(problems[0].code, "not-a-condition");
            }
        }
    }
    Ok(())
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 20, max_shrink_iters: 100, ..ProptestConfig::default() })]

    #[test]
    fn a_formula_over_all_rows_gives_the_bits_of_a_column(
        steps in prop::collection::vec(step(), 12)
    ) {
        let mut plan = beginning();
        let mut now = engine(&plan);
        for step in &steps {
            let Some(edit) = edit(&plan, step) else { continue };
            let touched = plan.apply(edit).expect("an edit made for this plan").touched;
            if touched.contains(&Touched::Schema) || !now.update(&plan, &touched) {
                now = engine(&plan);
            }
        }
        compare(&plan, &now)?;
        sort_all(&plan, &now)?;
    }
}

#[test]
fn every_formula_here_is_one_of_links() {
    let desk = Desk::demo().unwrap();
    let links = desk.plan().sheet("links").unwrap();
    for (text, _) in FORMULAS {
        let column = desk.engine().column_of(desk.plan(), links, text);
        if let Err(problems) = column {
            // What counts rows by `this` is asked of switches; it is here to be refused.
            assert!(text.contains("== this"), "{text}: {problems:?}");
        }
    }
    compare(desk.plan(), desk.engine()).unwrap();
    sort_all(desk.plan(), desk.engine()).unwrap();
}

/// Two cells of one column by value; those without one last.
fn by_value(a: &Cell, b: &Cell, descending: bool) -> Ordering {
    let turned = |order: Ordering| if descending { order.reverse() } else { order };
    // A row without a name that another row leads to is shown as nothing, and is nothing here.
    let is_value = |cell: &Cell| match cell {
        Cell::Missing | Cell::Failed => false,
        Cell::Text(text) => !text.is_empty(),
        Cell::Number(_) | Cell::Flag(_) => true,
    };
    match (a, b) {
        (a, b) if !is_value(a) || !is_value(b) => is_value(b).cmp(&is_value(a)),
        (Cell::Number(a), Cell::Number(b)) => turned(a.partial_cmp(b).unwrap()),
        (Cell::Text(a), Cell::Text(b)) => turned(parts(a).cmp(&parts(b))),
        (Cell::Flag(a), Cell::Flag(b)) => turned(a.cmp(b)),
        (a, b) => panic!("{a:?} and {b:?} in one column"),
    }
}

/// A text in letters and numbers; a number stands where the character 0 would.
fn parts(text: &str) -> Vec<(char, u128)> {
    let mut parts = Vec::new();
    let mut digits = String::new();
    let close = |digits: &mut String, parts: &mut Vec<(char, u128)>| {
        if !digits.is_empty() {
            parts.push(('0', digits.parse().expect("short numbers here")));
            digits.clear();
        }
    };
    for c in text.to_lowercase().chars() {
        if c.is_ascii_digit() {
            digits.push(c);
        } else {
            close(&mut digits, &mut parts);
            parts.push((c, 0));
        }
    }
    close(&mut digits, &mut parts);
    parts
}

/// Sorts two sheets by each of their columns, and by pairs of them.
fn sort_all(plan: &Plan, engine: &Engine) -> Result<(), TestCaseError> {
    for name in ["links", "switches"] {
        let sheet = plan.sheet(name).unwrap();
        let n_columns = engine.schema()[sheet.at()].columns.len();
        for at in 0..n_columns {
            let first = (engine.column(sheet, at), at % 2 == 1);
            let second = (engine.column(sheet, (at * 7 + 3) % n_columns), at % 3 == 1);
            sort_one(plan, engine, sheet, &[first])?;
            sort_one(plan, engine, sheet, &[second, first])?;
        }
    }
    Ok(())
}

fn sort_one(
    plan: &Plan,
    engine: &Engine,
    sheet: SheetId,
    keys: &[(portledger::table::ColumnId, bool)],
) -> Result<(), TestCaseError> {
    let mut fast: Vec<RowId> = plan.rows(sheet).order().to_vec();
    let mut slow = fast.clone();
    engine.sorted(plan, sheet, &mut fast, keys);
    slow.sort_by(|a, b| {
        let orders = keys.iter().map(|(column, descending)| {
            let cell = |row: &RowId| engine.cell(plan, *column, *row);
            by_value(&cell(a), &cell(b), *descending)
        });
        orders.fold(Ordering::Equal, Ordering::then)
    });
    prop_assert_eq!(fast, slow, "{:?}", keys);
    Ok(())
}

#[test]
fn rows_without_a_value_stand_last_either_way_and_equal_ones_stay() {
    let story = Story::new()
        .link("M10", &[("length", "30 m")])
        .link("m2", &[])
        .link("M1", &[("length", "30 m")])
        .link("X", &[("length", "0.1 km")])
        .told();
    let links = story.sheet("links");
    let sorted = |keys: &[(&str, bool)]| {
        let column = |name: &str| story.engine().find_column(links, name).unwrap();
        let keys: Vec<_> = keys
            .iter()
            .map(|(name, down)| (column(name), *down))
            .collect();
        let mut rows = story.plan().rows(links).order().to_vec();
        story.engine().sorted(story.plan(), links, &mut rows, &keys);
        let ids = rows.iter().map(|row| story.plan().id(links, *row));
        ids.collect::<Vec<_>>()
    };
    assert_eq!(sorted(&[("length", false)]), ["M10", "M1", "X", "m2"]);
    assert_eq!(sorted(&[("length", true)]), ["X", "M10", "M1", "m2"]);
    assert_eq!(
        sorted(&[("length", true), ("id", false)]),
        ["X", "M1", "M10", "m2"]
    );
    assert_eq!(sorted(&[("id", true)]), ["X", "M10", "m2", "M1"]);
    assert_eq!(sorted(&[]), ["M10", "m2", "M1", "X"]);
}
