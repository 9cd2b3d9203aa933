//! The built-in sheets as a whole: every formula compiles, every sentence is understood.

use portledger::problem::render;
use portledger::table::SheetId;
use portledger::trade::{Sentence, empty_plan, engine, judged};

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
