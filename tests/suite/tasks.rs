//! The table of tasks in DEVELOPERS.md names what is there: every task once at least, and only
//! columns, checks, sheets, functions and words of the command line that exist.

use portledger::desk::Desk;
use portledger::trade;
use std::collections::BTreeSet;

/// Parts of checks, words of the command line and keys of the screen, which no sheet lists.
const OTHER: [&str; 18] = [
    "advise",
    "check",
    "show",
    "show --as csv",
    "set",
    "export",
    "merge",
    "why",
    "portledger tables cautions",
    "portledger compare",
    "portledger propose",
    "portledger fail",
    "portledger sweep",
    "portledger options",
    "portledger growth",
    "portledger order",
    "portledger order --labels",
    "missing",
];

/// The rows of the table: the numbers of the tasks and the text.
fn rows() -> Vec<(Vec<usize>, String)> {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/DEVELOPERS.md");
    let text = std::fs::read_to_string(path).unwrap();
    let (_, table) = text.split_once("| task | where it is served |").unwrap();
    let lines = table
        .lines()
        .skip(2)
        .take_while(|line| line.starts_with('|'));
    lines
        .map(|line| {
            let task = line.split('|').nth(1).unwrap();
            let parts = task.split([' ', ',']).filter_map(|word| word.parse().ok());
            (parts.collect(), line.to_owned())
        })
        .collect()
}

/// Everything that a row may name.
fn known() -> BTreeSet<String> {
    let desk = Desk::demo().unwrap();
    let mut names: BTreeSet<String> = OTHER.map(str::to_owned).into();
    for sheet in desk.engine().schema() {
        names.insert(sheet.name.clone());
        names.extend(sheet.columns.iter().map(|column| column.name.clone()));
        names.extend(sheet.checks.iter().map(|check| check.name.clone()));
    }
    names.insert("name-alike".to_owned());
    names.extend(trade::library(desk.plan()).names().map(str::to_owned));
    let keys = portledger::screen::action::RECORDS.iter();
    names.extend(keys.flat_map(|record| record.keys.iter().map(ToString::to_string)));
    let assumed = desk.plan().assumptions().iter();
    names.extend(assumed.map(|assumption| assumption.def.name.clone()));
    names
}

#[test]
fn every_task_of_a_planner_has_its_row() {
    let told: BTreeSet<usize> = rows().into_iter().flat_map(|(tasks, _)| tasks).collect();
    let missing: Vec<usize> = (1..=34).filter(|task| !told.contains(task)).collect();
    assert!(missing.is_empty(), "without a row: {missing:?}");
}

#[test]
fn what_serves_a_task_is_there() {
    let known = known();
    let mut wrong = Vec::new();
    for (_, line) in rows() {
        let named = line.split('`').skip(1).step_by(2);
        wrong.extend(
            named
                .filter(|name| !known.contains(*name))
                .map(str::to_owned),
        );
    }
    assert!(wrong.is_empty(), "nothing is called {wrong:?}");
}
