//! What goes out comes back: of any plan every entered cell, in every form that can be read again.
//!
//! Single cases of lists stand in `sharing`, of workbooks in `giveback`.

use super::import::reader;
use super::properties::{Step, edit, step};
use super::workbook::{self, Calculator, Chance, any_plan};
use portledger::desk::{Desk, Returned, Wanted};
use portledger::files::import::{Wish, is_total};
use portledger::files::plan_file;
use portledger::files::spreadsheet;
use portledger::plan::{Edit, Entry, Plan, read_entry};
use portledger::report::giveback;
use portledger::report::{Choice, FORMATS};
use portledger::table::SheetId;
use proptest::prelude::*;
use std::collections::BTreeMap;
use std::fs;
use std::fs::File;
use std::io::{Cursor, Read};
use std::path::Path;
use tempfile::TempDir;

/// The sheets that a workbook has pages for, and that a person fills.
const SHEETS: [&str; 5] = ["links", "switches", "parts", "segments", "readings"];

/// Entered cells by sheet, id and column; numbers in base units.
type Cells = BTreeMap<(String, String, String), Entered>;

#[derive(Debug, Clone, PartialEq)]
enum Entered {
    Number(f64),
    Text(String),
    Wrong(String),
}

fn entered(plan: &Plan, sheets: &[&str]) -> Cells {
    let mut all = Cells::new();
    for name in sheets {
        let sheet = plan.sheet(name).unwrap();
        for row in plan.rows(sheet).order() {
            for column in plan.entered(sheet) {
                let cell = match plan.entry(sheet, column, *row) {
                    Entry::Empty => continue,
                    Entry::Number(value) => Entered::Number(value),
                    Entry::Text(code) => Entered::Text(plan.names().text(code)),
                    Entry::Wrong(text) => Entered::Wrong(text),
                };
                let id = plan.id(sheet, *row);
                let name = plan.column(sheet, column).name.clone();
                all.insert((plan.def(sheet).name.clone(), id, name), cell);
            }
        }
    }
    all
}

/// The cells that are not the same; numbers may differ by one part in 10^12.
fn differences(ours: &Cells, theirs: &Cells) -> Vec<String> {
    let is_same = |a: &Entered, b: &Entered| match (a, b) {
        (Entered::Number(a), Entered::Number(b)) => (a - b).abs() <= 1e-12 * a.abs().max(b.abs()),
        (a, b) => a == b,
    };
    let keys = ours
        .keys()
        .chain(theirs.keys().filter(|key| !ours.contains_key(*key)));
    keys.filter(|key| match (ours.get(*key), theirs.get(*key)) {
        (Some(a), Some(b)) => !is_same(a, b),
        (_, _) => true,
    })
    .map(|key| format!("{key:?}: {:?} became {:?}", ours.get(key), theirs.get(key)))
    .collect()
}

/// Texts that something on the way may take for something else.
fn texts() -> impl Strategy<Value = Vec<String>> {
    let word = prop_oneof![
        3 => "[!-~é水µ]{1,4}( [!-~é水µ]{1,5}){0,3}",
        1 => prop::sample::select(vec![
            "Total", "-", "n/a", "tbd", "1,234", "1.5", "1E5", "007", "3-4", "TRUE", "=1+1", "'quoted", "@a", "p1-p4",
            "switch p1", "Links", "id", "2031-05-28", "#REF!", "a\nb", "_x0041_", "100 m", "core", "NaN", "|x", "\"",
        ]).prop_map(str::to_owned),
    ];
    prop::collection::vec(word, 0..8)
}

/// Puts texts into columns of texts and names of links, one after the other.
fn put(desk: &mut Desk, texts: &[String], chance: &mut Chance) {
    let sheet = desk.plan().sheet("links").unwrap();
    let rows = desk.plan().rows(sheet).order().to_vec();
    let columns = [
        "notes",
        "from",
        "to",
        "from_port",
        "to_port",
        "id",
        "module",
        "route",
    ];
    for text in texts {
        let row = rows[chance.below(rows.len())];
        let name = columns[chance.below(columns.len())];
        let Some(column) = desk.plan().def(sheet).column(name) else {
            panic!("no column {name}");
        };
        // A row whose id is a word for totals is set aside and told.
        let is_no_id = is_total(text) || desk.plan().find(sheet, text).is_some();
        if column == 0 && is_no_id {
            continue;
        }
        // What a person cannot type is not what this is about.
        let _ = desk.set(sheet, row, column, text);
    }
}

fn plan_of(seed: u64, words: &[String]) -> Desk {
    let mut chance = Chance(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1);
    let mut desk = any_plan(&mut chance);
    put(&mut desk, words, &mut chance);
    desk
}

fn export(desk: &mut Desk, path: &Path, sheet: Option<&str>) {
    let sheets = sheet.map(|name| desk.plan().sheet(name).unwrap());
    let wanted = Wanted {
        choice: Choice {
            sheets: sheets.into_iter().collect(),
            ..Choice::default()
        },
        ..Wanted::default()
    };
    desk.export(path, &wanted, &mut |_| {}).unwrap();
}

/// The plan with its ids alone.
fn emptied(plan: &Plan) -> Desk {
    let mut desk = Desk::of_text(&plan_file::write(plan)).unwrap();
    for name in SHEETS {
        let sheet = desk.plan().sheet(name).unwrap();
        let order = desk.plan().rows(sheet).order().to_vec();
        let own = order
            .into_iter()
            .filter(|row| !desk.plan().rows(sheet).is_builtin(*row));
        let own: Vec<_> = own.collect();
        let ids = own
            .iter()
            .map(|row| vec![(0, desk.plan().entry(sheet, 0, *row))]);
        let rows: Vec<_> = ids.collect();
        desk.apply("out", Edit::RemoveRows { sheet, rows: own })
            .unwrap();
        desk.apply("in", Edit::AddRows { sheet, at: 0, rows })
            .unwrap();
    }
    desk
}

/// The parts of an exported file by name; of one that is no archive, itself.
fn parts(bytes: Vec<u8>) -> BTreeMap<String, Vec<u8>> {
    if !bytes.starts_with(b"PK") {
        return BTreeMap::from([(String::new(), bytes)]);
    }
    let mut zip = zip::ZipArchive::new(Cursor::new(bytes)).unwrap();
    let mut all = BTreeMap::new();
    for at in 0..zip.len() {
        let mut part = zip.by_index(at).unwrap();
        let mut content = Vec::new();
        part.read_to_end(&mut content).unwrap();
        all.insert(part.name().unwrap().into_owned(), content);
    }
    all
}

/// What each format makes of a desk, by ending and part.
fn exports(desk: &mut Desk) -> BTreeMap<String, Vec<u8>> {
    let folder = TempDir::new().unwrap();
    let mut all = BTreeMap::new();
    for ending in FORMATS.iter().flat_map(|format| format.endings) {
        let path = folder.path().join(format!("sent.{ending}"));
        match desk.export(&path, &Wanted::default(), &mut |_| {}) {
            Ok(_) => {
                let parts = parts(fs::read(&path).unwrap()).into_iter();
                all.extend(parts.map(|(name, part)| (format!("{ending} {name}"), part)));
            }
            // Where one is refused the other has to be, in the same words.
            Err(problem) => {
                all.insert((*ending).to_owned(), problem.to_string().into_bytes());
            }
        }
    }
    all
}

/// The first place where two exports differ, with what stands around it.
fn first_difference(ours: &[u8], theirs: &[u8]) -> String {
    let same = ours.iter().zip(theirs).take_while(|(a, b)| a == b).count();
    let around = |bytes: &[u8]| {
        let span = same.saturating_sub(300)..bytes.len().min(same + 300);
        String::from_utf8_lossy(&bytes[span]).into_owned()
    };
    format!("edited {}\n\nread {}", around(ours), around(theirs))
}

/// Makes edits, and now and then takes one back or makes it again.
fn edited(desk: &mut Desk, steps: &[(Step, bool)]) {
    for (step, is_forth) in steps {
        match edit(desk.plan(), step) {
            Some(edit) if !is_typed(desk.plan(), &edit) => continue,
            Some(edit) => desk.apply("step", edit).unwrap(),
            None if *is_forth => drop(desk.redo().unwrap()),
            None => drop(desk.undo().unwrap()),
        }
        // A file holds the rows of a person alone: those that are built in stand before them in
        // their own order.
        if !is_kept_in_order(desk.plan()) {
            desk.undo().unwrap();
        }
    }
}

/// Whether cells that cannot be read stand where not every text can.
fn is_typed(plan: &Plan, edit: &Edit) -> bool {
    match edit {
        Edit::SetCells { sheet, cells } => cells.iter().all(|((column, _), entry)| match entry {
            Entry::Wrong(text) => read_entry(plan, *sheet, *column, text).is_err(),
            Entry::Empty | Entry::Number(_) | Entry::Text(_) => true,
        }),
        Edit::Group(edits) => edits.iter().all(|edit| is_typed(plan, edit)),
        _ => true,
    }
}

fn is_kept_in_order(plan: &Plan) -> bool {
    let mut sheets = (0..plan.schema().len()).map(|at| SheetId(u16::try_from(at).unwrap()));
    sheets.all(|sheet| {
        let rows = plan.rows(sheet);
        let places = rows
            .order()
            .iter()
            .map(|row| (!rows.is_builtin(*row), row.at()));
        places.is_sorted_by_key(|(is_own, at)| (is_own, if is_own { 0 } else { at }))
    })
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 16, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn an_edited_plan_is_exported_as_its_text_is(
        seed in any::<u64>(),
        words in texts(),
        steps in prop::collection::vec((step(), any::<bool>()), 0..16),
    ) {
        let mut desk = plan_of(seed, &words);
        edited(&mut desk, &steps);
        let ours = exports(&mut desk);
        let text = plan_file::write(desk.plan());
        let mut read = Desk::of_text(&text).unwrap();
        let theirs = exports(&mut read);
        prop_assert_eq!(ours.keys().collect::<Vec<_>>(), theirs.keys().collect::<Vec<_>>());
        for (part, content) in &ours {
            let other = &theirs[part];
            prop_assert!(content == other, "{part}\n{}", first_difference(content, other));
        }
    }

    #[test]
    fn an_independent_engine_calculates_an_edited_plan_alike(
        seed in any::<u64>(),
        words in texts(),
        steps in prop::collection::vec((step(), any::<bool>()), 0..16),
    ) {
        let mut desk = plan_of(seed, &words);
        edited(&mut desk, &steps);
        let book = workbook::export(&desk);
        let differ = workbook::differences(&book, &Calculator::new(&book));
        prop_assert!(differ.is_empty(), "{}", differ.join("\n"));
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 50, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn a_workbook_comes_back_as_nothing_to_do_and_holds_every_cell(
        seed in any::<u64>(),
        words in texts(),
        is_open in any::<bool>(),
    ) {
        let mut desk = plan_of(seed, &words);
        let folder = TempDir::new().unwrap();
        let path = folder.path().join(if is_open { "sent.ods" } else { "sent.xlsx" });
        export(&mut desk, &path, None);
        let returned = Returned::read(&path, &reader(), &mut |_| true).unwrap();
        let found = desk.compare_returned(&returned).unwrap();
        prop_assert!(found.differences.is_empty(), "{:?}", found.differences);
        prop_assert!(found.notes.is_empty() && found.set_aside.is_empty(), "{found:?}");
        // Its pages alone hold all of it, without the plan behind them.
        let file = File::open(&path).unwrap();
        let book = reader().read(file, spreadsheet::Wanted::All, &mut |_| true).unwrap();
        let mut back = emptied(desk.plan());
        let found = giveback::compare(back.plan(), None, &book);
        let all: Vec<usize> = (0..found.differences.len()).collect();
        back.merge(&found, &all, "all of it").unwrap();
        // Pages show a break of a line as a blank, and runs of blanks are one.
        let one_line = |cell: Entered| match cell {
            Entered::Text(text) => {
                Entered::Text(text.split_whitespace().collect::<Vec<_>>().join(" "))
            }
            Entered::Number(_) | Entered::Wrong(_) => cell,
        };
        let shown = |plan: &Plan| -> Cells {
            let cells = entered(plan, &SHEETS).into_iter();
            cells.map(|(key, cell)| (key, one_line(cell))).collect()
        };
        let differ = differences(&shown(desk.plan()), &shown(back.plan()));
        prop_assert!(differ.is_empty(), "{}", differ.join("\n"));
    }

    #[test]
    fn a_list_of_links_comes_in_with_every_cell_and_no_computed_one(
        seed in any::<u64>(),
        words in texts(),
        is_tabbed in any::<bool>(),
    ) {
        let mut desk = plan_of(seed, &words);
        let folder = TempDir::new().unwrap();
        let path = folder.path().join(if is_tabbed { "links.tsv" } else { "links.csv" });
        export(&mut desk, &path, Some("links"));
        let mut back = Desk::empty("").unwrap();
        let read = back.import(&path, &Wish::default(), &reader(), &mut |_| true).unwrap();
        let differ = differences(&entered(desk.plan(), &["links"]), &entered(back.plan(), &["links"]));
        prop_assert!(differ.is_empty(), "{}\n{:?}", differ.join("\n"), read.notes);
        let links = back.plan().sheet("links").unwrap();
        let n_own = back.plan().entered(links).filter(|at| back.plan().is_own(links, *at)).count();
        prop_assert_eq!(n_own, 0);
        prop_assert!(read.set_aside.is_empty(), "{:?}", read.set_aside);
    }
}
