//! The built-in sheets as a whole: every formula compiles, every sentence is understood.

use portledger::desk::Desk;
use portledger::plan::{Edit, SheetView};
use portledger::problem::render;
use portledger::table::SheetId;
use portledger::trade::{Sentence, empty_plan, engine, judged, ledger};

#[test]
fn every_built_in_formula_and_condition_compiles() {
    let plan = empty_plan().unwrap();
    let engine = engine(&plan);
    let problems: Vec<String> = engine
        .problems()
        .map(|problem| render(problem, false))
        .collect();
    assert!(problems.is_empty(), "{}", problems.join("\n\n"));
}

#[test]
fn every_sentence_of_a_check_is_understood() {
    let plan = empty_plan().unwrap();
    let engine = engine(&plan);
    let mut wrong = Vec::new();
    for case in judged(&plan).cases {
        let def = &case.check.cases[case.case];
        for text in [&def.say, &def.advise] {
            let sheet: SheetId = case.sheet;
            if !Sentence::new(&plan, &engine, sheet, text).is_whole() {
                wrong.push(format!(
                    "{} case {}: {text}",
                    case.check.name,
                    case.case + 1
                ));
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

/// The names of the columns that a ledger of the demo shows.
fn shown(desk: &Desk, sheet: &str) -> Vec<String> {
    let sheet = desk.plan().sheet(sheet).unwrap();
    let columns = ledger(desk.plan(), desk.engine(), sheet).into_iter();
    let name = |column| desk.engine().def(column).unwrap().name.clone();
    columns.map(name).collect()
}

#[test]
fn a_ledger_begins_with_what_is_asked_most() {
    let mut desk = Desk::demo().unwrap();
    let first = [
        "id",
        "verdict",
        "from",
        "to",
        "line_speed",
        "medium",
        "length",
    ];
    assert_eq!(shown(&desk, "links")[..7], first);
    let all = shown(&desk, "links");
    assert!(all.contains(&"notes".to_owned()) && !all.contains(&"is_fibre".to_owned()));
    assert_eq!(
        shown(&desk, "switches")[..4],
        ["id", "verdict", "building", "ratio"]
    );
    assert_eq!(shown(&desk, "parts")[..3], ["id", "kind", "interface"]);
    // Every link of the demo has a speed to show there, though none was entered.
    let links = desk.plan().sheet("links").unwrap();
    let speed = desk.engine().find_column(links, "line_speed").unwrap();
    let rows = desk.plan().rows(links).order().iter();
    let speeds = rows.filter(|row| !desk.engine().shown(desk.plan(), speed, **row).is_empty());
    assert_eq!(speeds.count(), desk.plan().rows(links).order().len());
    let view = SheetView {
        order: ["length", "nonsense", "is_fibre", "to"]
            .map(str::to_owned)
            .to_vec(),
        hidden: ["verdict", "id", "medium"].map(str::to_owned).into(),
        ..SheetView::default()
    };
    desk.apply("view", Edit::SetView { sheet: links, view })
        .unwrap();
    assert_eq!(
        shown(&desk, "links")[..5],
        ["id", "verdict", "length", "is_fibre", "to"]
    );
    assert!(!shown(&desk, "links").contains(&"medium".to_owned()));
    desk.undo().unwrap();
    assert_eq!(shown(&desk, "links"), all);
}
