//! What has to hold for any bytes, one function a kind of input. How inputs are made is in
//! `mod.rs`.

use portledger::desk::Desk;
use portledger::files::import::{self, Source, Wish};
use portledger::files::module_dump;
use portledger::files::plan_file;
use portledger::plan::{Entry, Plan, read_entry};
use portledger::problem::{Problem, clean};
use portledger::screen::block;
use portledger::table::{Column, MISSING};
use portledger::trade::empty_plan;

fn demo() -> Desk {
    Desk::demo().unwrap()
}

/// What is told of bad input is one line without anything that acts on a terminal.
fn assert_told(problem: &Problem) {
    let shown = clean(&problem.message);
    assert!(!shown.is_empty());
    assert!(!shown.contains('\n'), "{shown}");
    assert!(!problem.code.is_empty());
}

/// A formula over the links of the demo gives values that are finite or missing, or problems.
pub fn formula() -> impl Fn(&[u8]) {
    let desk = demo();
    let sheet = desk.plan().sheet("links").unwrap();
    move |bytes| {
        let Ok(text) = std::str::from_utf8(bytes) else {
            return;
        };
        match desk.engine().column_of(desk.plan(), sheet, text) {
            Ok((_, Column::Numbers(values))) => {
                let is_value =
                    |value: &f64| value.is_finite() || value.to_bits() == MISSING.to_bits();
                assert!(values.iter().all(is_value), "{text}");
            }
            Ok((_, Column::Codes(_) | Column::Flags(_))) => {}
            Err(problems) => {
                assert!(!problems.is_empty(), "{text}");
                problems.iter().for_each(assert_told);
            }
        }
    }
}

/// A typed text is a finite number that reads back the same, or refused.
pub fn quantity() -> impl Fn(&[u8]) {
    let desk = demo();
    let plan = desk.plan();
    let sheet = plan.sheet("links").unwrap();
    let columns = &plan.def(sheet).columns;
    let length = columns.iter().position(|column| column.name == "length");
    let length = length.unwrap();
    let plan = plan.clone();
    move |bytes| {
        let text = String::from_utf8_lossy(bytes);
        match read_entry(&plan, sheet, length, &text) {
            Ok(Entry::Number(value)) => assert!(value.is_finite(), "{text}"),
            Ok(Entry::Empty) => {}
            Ok(other) => panic!("{text}: {other:?}"),
            Err(problem) => assert_told(&problem),
        }
    }
}

/// A plan that opens is written in a form that opens to the same plan.
pub fn plan() -> impl Fn(&[u8]) {
    let empty = empty_plan().unwrap();
    move |bytes| {
        let blank = || -> Result<Plan, Problem> { Ok(empty.clone()) };
        let text = match plan_file::text_of(bytes.to_vec()) {
            Ok(text) => text,
            Err(problem) => return assert_told(&problem),
        };
        match plan_file::read(&text, blank) {
            Ok((plan, problems)) => {
                problems.iter().for_each(assert_told);
                let written = plan_file::write(&plan);
                let (again, _) = plan_file::read(&written, blank).unwrap();
                assert_eq!(plan_file::write(&again), written, "{text}");
            }
            Err(problem) => assert_told(&problem),
        }
    }
}

/// A table of links gives an edit that fits, or is refused.
pub fn table() -> impl Fn(&[u8]) {
    let empty = empty_plan().unwrap();
    let wish = Wish::default();
    let read = move |bytes: &[u8]| {
        let source = Source::of_text(bytes, "cables", &wish)?;
        import::links(&empty, &source, &wish)
    };
    let empty = empty_plan().unwrap();
    move |bytes| match read(bytes) {
        Ok(read) => {
            let mut plan = empty.clone();
            let change = plan.apply(read.edit).unwrap();
            plan.apply(change.inverse).unwrap();
            assert_eq!(plan_file::write(&plan), plan_file::write(&empty));
        }
        Err(problem) => assert_told(&problem),
    }
}

/// What is pasted at any row gives an edit that fits and can be taken back.
pub fn paste() -> impl Fn(&[u8]) {
    let desk = demo();
    let before = plan_file::write(desk.plan());
    move |bytes| {
        let text = String::from_utf8_lossy(bytes);
        let table = block::read_table(&text);
        let plan = desk.plan();
        let sheet = plan.sheet("links").unwrap();
        let rows = plan.rows(sheet).order();
        let columns: Vec<usize> = plan.entered(sheet).collect();
        let at = bytes.len() % (rows.len() + 2);
        let pasting = block::plan_paste(&desk, sheet, at, rows, &columns, &table);
        let mut plan = plan.clone();
        let change = plan.apply(pasting.edit).unwrap();
        plan.apply(change.inverse).unwrap();
        assert_eq!(plan_file::write(&plan), before, "{text}");
    }
}

/// A dump is a module or refused.
pub fn dump() -> impl Fn(&[u8]) {
    |bytes| {
        let _ = module_dump::is_dump(bytes);
        match module_dump::read(bytes) {
            Ok(module) => drop(format!("{:?} {:?}", module.found(), module.identity.form())),
            Err(problem) => assert_told(&problem),
        }
    }
}

/// A cleaned text holds nothing that acts on a terminal or turns a line around.
pub fn text(bytes: &[u8]) {
    let text = String::from_utf8_lossy(bytes);
    let cleaned = clean(&text);
    let acts = |c: char| {
        c.is_control()
            || matches!(c, '\u{200b}'..='\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}')
    };
    assert!(!cleaned.chars().any(acts), "{cleaned:?}");
}
