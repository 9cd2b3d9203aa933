//! A workbook that comes back: what is no change, what is told of a change, and the laws of taking
//! it.

use super::import::reader;
use super::random::Random;
use calamine::{Data, Reader as _, Xlsx};
use crossterm::event::{KeyCode, KeyEvent, KeyModifiers};
use portledger::desk::{Desk, Returned, Wanted};
use portledger::files::plan_file;
use portledger::plan::{Edit, Entry, Plan, read_entry};
use portledger::problem::Problem;
use portledger::report::BASE;
use portledger::report::giveback::{Choice, Class, Comparison, chosen};
use portledger::screen::draw::draw;
use portledger::screen::session::{Happening, Session};
use portledger::screen::theme::Theme;
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use rust_xlsxwriter::{DocProperties, Formula, Workbook};
use std::collections::BTreeMap;
use std::fs;
use std::io::Cursor;
use std::path::Path;
use std::process::Command;
use tempfile::TempDir;

fn is_text(value: &Data, text: &str) -> bool {
    matches!(value, Data::String(known) if known == text)
}

type Cells = BTreeMap<(u32, u32), (Data, Option<String>)>;

/// A workbook that a person works on; rows and columns count from 0.
#[derive(Clone)]
struct Book {
    pages: Vec<(String, Cells)>,
    properties: Vec<(String, String)>,
}

/// The row of the headings of a page.
const HEADS: u32 = 3;

fn exported(desk: &mut Desk) -> Vec<u8> {
    let folder = TempDir::new().unwrap();
    let path = folder.path().join("sent.xlsx");
    desk.export(&path, &Wanted::default(), &mut |_| {}).unwrap();
    fs::read(path).unwrap()
}

impl Book {
    fn of(desk: &mut Desk) -> Self {
        let bytes = exported(desk);
        let mut zip = zip::ZipArchive::new(Cursor::new(&bytes)).unwrap();
        let custom = std::io::read_to_string(zip.by_name("docProps/custom.xml").unwrap()).unwrap();
        let properties = ["plan_id", "plan_revision", "base_sha256"].map(|name| {
            let after = custom.split(&format!("name=\"{name}\"")).nth(1).unwrap();
            let value = after.split("<vt:lpwstr>").nth(1).unwrap();
            let value = value.split('<').next().unwrap();
            (name.to_owned(), value.to_owned())
        });
        let mut read: Xlsx<_> = calamine::open_workbook_from_rs(Cursor::new(bytes)).unwrap();
        let mut pages = Vec::new();
        for name in read.sheet_names() {
            let mut cells = Cells::new();
            let values = read.worksheet_range(&name).unwrap();
            if let Some((top, left)) = values.start() {
                for (row, column, value) in values.used_cells() {
                    let at = (top + row as u32, left + column as u32);
                    cells.insert(at, (value.clone(), None));
                }
            }
            let formulas = read.worksheet_formula(&name).unwrap();
            if let Some((top, left)) = formulas.start() {
                for (row, column, formula) in formulas.used_cells() {
                    let at = (top + row as u32, left + column as u32);
                    let cell = cells.entry(at).or_insert((Data::Empty, None));
                    cell.1 = Some(formula.clone());
                }
            }
            pages.push((name, cells));
        }
        Self {
            pages,
            properties: properties.to_vec(),
        }
    }

    fn page(&mut self, name: &str) -> &mut Cells {
        let found = self.pages.iter_mut().find(|(known, _)| known == name);
        &mut found.unwrap().1
    }

    fn column(&mut self, page: &str, heading: &str) -> u32 {
        let mut heads = self.page(page).iter().filter(|((row, _), _)| *row == HEADS);
        let found = heads.find(|(_, (value, _))| is_text(value, heading));
        found.unwrap_or_else(|| panic!("{heading}")).0.1
    }

    fn row(&mut self, page: &str, id: &str) -> u32 {
        let mut ids = self
            .page(page)
            .iter()
            .filter(|((row, column), _)| *row > HEADS && *column == 0);
        ids.find(|(_, (value, _))| is_text(value, id)).unwrap().0.0
    }

    fn set(&mut self, page: &str, id: &str, heading: &str, value: Data) {
        let at = (self.row(page, id), self.column(page, heading));
        self.page(page).insert(at, (value, None));
    }

    fn get(&mut self, page: &str, id: &str, heading: &str) -> Data {
        let at = (self.row(page, id), self.column(page, heading));
        self.page(page)
            .get(&at)
            .map_or(Data::Empty, |cell| cell.0.clone())
    }

    fn last_row(&mut self, page: &str) -> u32 {
        self.page(page).keys().map(|(row, _)| *row).max().unwrap()
    }

    /// Gives rows below the headings, or columns, another place.
    fn moved(&mut self, page: &str, to: impl Fn((u32, u32)) -> Option<(u32, u32)>) {
        let cells = std::mem::take(self.page(page));
        let moved = cells.into_iter();
        *self.page(page) = moved
            .filter_map(|(at, cell)| Some((to(at)?, cell)))
            .collect();
    }

    /// As another program saves it; with formulas or without any.
    fn saved(&self, has_formulas: bool, path: &Path) {
        let mut book = Workbook::new();
        let mut properties = DocProperties::new();
        for (name, value) in &self.properties {
            properties = properties.set_custom_property(name, value.as_str());
        }
        book.set_properties(&properties);
        for (name, cells) in &self.pages {
            let sheet = book.add_worksheet();
            sheet.set_name(name).unwrap();
            sheet.set_formula_result_default("");
            for ((row, column), (value, formula)) in cells {
                let column = u16::try_from(*column).unwrap();
                match (formula, value) {
                    (Some(formula), value) if has_formulas => {
                        let result = match value {
                            Data::Bool(true) => "TRUE".to_owned(),
                            Data::Bool(false) => "FALSE".to_owned(),
                            other => other.to_string(),
                        };
                        let formula = Formula::new(formula).set_result(result);
                        sheet.write_formula(*row, column, formula).unwrap();
                    }
                    (_, Data::Float(number)) => {
                        sheet.write_number(*row, column, *number).unwrap();
                    }
                    (_, Data::Int(number)) => {
                        sheet.write_number(*row, column, *number as f64).unwrap();
                    }
                    (_, Data::Bool(flag)) => {
                        sheet.write_boolean(*row, column, *flag).unwrap();
                    }
                    (_, Data::String(text)) => {
                        sheet.write_string(*row, column, text).unwrap();
                    }
                    (_, Data::Empty) => {}
                    (_, other) => panic!("{other:?}"),
                }
            }
        }
        book.save(path).unwrap();
    }

    fn read(&self, has_formulas: bool) -> Result<Returned, Problem> {
        let folder = TempDir::new().unwrap();
        let path = folder.path().join("returned.xlsx");
        self.saved(has_formulas, &path);
        Returned::read(&path, &reader(), &mut |_| true)
    }

    #[track_caller]
    fn compared(&self, desk: &Desk) -> Comparison {
        desk.compare_returned(&self.read(true).unwrap()).unwrap()
    }
}

fn demo() -> Desk {
    Desk::demo().unwrap()
}

fn text(words: &str) -> Data {
    Data::String(words.to_owned())
}

/// Differences as short lines.
fn lines(found: &Comparison) -> Vec<String> {
    let line = |one: &portledger::report::giveback::Difference| {
        let line = format!(
            "{} {} {} {}",
            one.class.word(),
            one.sheet,
            one.row,
            one.column
        );
        format!("{}: {} > {}", line.trim_end(), one.base, one.theirs)
    };
    found.differences.iter().map(line).collect()
}

#[track_caller]
fn is_nothing(found: &Comparison) {
    assert_eq!(lines(found), Vec::<String>::new());
    assert_eq!(found.set_aside, []);
}

fn take(desk: &mut Desk, found: &Comparison, words: &[&str]) -> usize {
    let choices: Vec<Choice> = words
        .iter()
        .map(|word| Choice::of_word(word).unwrap())
        .collect();
    let taken = chosen(found, &choices).unwrap();
    desk.merge(found, &taken, "returned.xlsx").unwrap()
}

const ALL: [&str; 5] = ["theirs", "conflict", "new", "missing", "duplicate"];

#[test]
fn a_workbook_that_nobody_changed_holds_nothing_new() {
    let mut desk = demo();
    let book = Book::of(&mut desk);
    for has_formulas in [true, false] {
        let found = desk
            .compare_returned(&book.read(has_formulas).unwrap())
            .unwrap();
        is_nothing(&found);
        assert_eq!(found.notes, Vec::<String>::new());
    }
}

#[test]
fn a_page_of_rows_with_nothing_but_their_ids_comes_back() {
    let mut desk = demo();
    let sheet = desk.plan().sheet("readings").unwrap();
    let row = vec![(0, read_entry(desk.plan(), sheet, 0, "bare").unwrap())];
    let rows = desk.plan().rows(sheet).order().to_vec();
    desk.apply("out", Edit::RemoveRows { sheet, rows }).unwrap();
    desk.apply(
        "in",
        Edit::AddRows {
            sheet,
            at: 0,
            rows: vec![row],
        },
    )
    .unwrap();
    let book = Book::of(&mut desk);
    let found = book.compared(&desk);
    is_nothing(&found);
    assert_eq!(found.notes, Vec::<String>::new());
}

#[test]
fn sorting_moving_and_writing_otherwise_is_no_change() {
    let mut desk = demo();
    let mut book = Book::of(&mut desk);
    let length = book.column("Links", "Length (m)");
    let rows: Vec<u32> = (HEADS + 1..=book.last_row("Links")).collect();
    for (n, row) in rows.iter().enumerate() {
        let Some((Data::Float(metres), _)) = book.page("Links").get(&(*row, length)).cloned()
        else {
            continue;
        };
        let written = match n % 4 {
            0 => format!("{metres}m"),
            1 => format!("{metres} m").replace('.', ","),
            2 => format!("  {},0 ", metres),
            _ => format!("{} ft", metres / 0.3048),
        };
        let is_whole = metres.fract() == 0.0;
        if n % 4 != 2 || is_whole {
            book.page("Links")
                .insert((*row, length), (text(&written), None));
        }
    }
    // Upside down, an empty column before all others, heads further down.
    let last = *rows.last().unwrap();
    book.moved("Links", |(row, column)| match row > HEADS {
        true => Some((HEADS + 3 + last - row, column + 1)),
        false => Some((row + 2, column + 1)),
    });
    is_nothing(&book.compared(&desk));
    // Columns from right to left, the page under another name.
    book.moved("Links", |(row, column)| Some((row, 400 - column)));
    for (name, _) in &mut book.pages {
        if name == "Links" {
            *name = "cables".to_owned();
        }
    }
    is_nothing(&book.compared(&desk));
}

#[test]
fn a_heading_that_was_renamed_is_known_by_what_stands_under_it() {
    let mut desk = demo();
    let mut book = Book::of(&mut desk);
    for (heading, now) in [
        ("Length (m)", "how long"),
        ("From", "starts at"),
        ("Link", "our number"),
    ] {
        let column = book.column("Links", heading);
        book.page("Links")
            .insert((HEADS, column), (text(now), None));
    }
    let mut changed = book.clone();
    let row = changed.row("Links", "M104");
    let length = changed.column("Links", "how long");
    let found = book.compared(&desk);
    is_nothing(&found);
    assert!(
        found.notes.iter().any(|note| note.contains("how long")),
        "{:?}",
        found.notes
    );
    changed
        .page("Links")
        .insert((row, length), (Data::Float(333.0), None));
    let found = changed.compared(&desk);
    assert_eq!(found.count(Class::Theirs), 1, "{:?}", lines(&found));
    // A heading with another unit says what its bare numbers are.
    let mut feet = Book::of(&mut desk);
    let length = feet.column("Links", "Length (m)");
    for row in HEADS + 1..=feet.last_row("Links") {
        if let Some((Data::Float(metres), _)) = feet.page("Links").get(&(row, length)).cloned() {
            feet.page("Links")
                .insert((row, length), (Data::Float(metres / 0.3048), None));
        }
    }
    feet.page("Links")
        .insert((HEADS, length), (text("Length (ft)"), None));
    is_nothing(&feet.compared(&desk));
}

#[test]
fn each_kind_of_change_is_told_as_what_it_is() {
    let mut desk = demo();
    let mut book = Book::of(&mut desk);
    let margin = book.column("Links", "Margin (dB)");
    book.set("Links", "M104", "Length (m)", text("250 ft"));
    book.set("Links", "M107", "Length (m)", Data::Float(77.0));
    book.set("Links", "M108", "Length (m)", Data::Float(78.0));
    book.set("Links", "M101", "Length (m)", text("about 20"));
    let row = book.row("Links", "M101");
    book.page("Links")
        .insert((row, margin), (Data::Float(55.0), None));
    let reserve = book
        .page("Assumptions")
        .iter()
        .find(|(_, (value, _))| is_text(value, "assume.reserve"));
    let reserve = reserve.unwrap().0.0;
    book.page("Assumptions")
        .insert((reserve, 3), (text("2,5"), None));
    let gone = book.row("Links", "M110");
    book.moved("Links", |at| (at.0 != gone).then_some(at));
    let last = book.last_row("Links");
    let length = book.column("Links", "Length (m)");
    let (from, to) = (book.column("Links", "From"), book.column("Links", "To"));
    let copied = book.row("Links", "M102");
    let copy: Vec<_> = book
        .page("Links")
        .iter()
        .filter(|((row, _), _)| *row == copied)
        .map(|((_, column), cell)| ((last + 1, *column), cell.clone()))
        .collect();
    book.page("Links").extend(copy);
    for (row, cells) in [
        (
            last + 2,
            vec![
                (0, text("X1")),
                (from, text("quarantine")),
                (to, text("pump house")),
                (length, text("12,5")),
            ],
        ),
        (
            last + 3,
            vec![(0, text("Total")), (length, Data::Float(4711.0))],
        ),
        (last + 4, vec![(0, text("please ask the divers first"))]),
    ] {
        for (column, value) in cells {
            book.page("Links").insert((row, column), (value, None));
        }
    }
    set(&mut desk, "links", "M107", "length", "70");
    set(&mut desk, "links", "M108", "length", "78");
    set(&mut desk, "links", "M109", "length", "79");
    let found = book.compared(&desk);
    let told = |class: Class| {
        let of_it = found.differences.iter().filter(|one| one.class == class);
        of_it
            .map(|one| format!("{} {} {}", one.row, one.column, one.theirs))
            .collect::<Vec<_>>()
    };
    assert_eq!(
        told(Class::Theirs),
        ["M104 length 76.2 m", "reserve value 2.5 dB"]
    );
    assert_eq!(told(Class::Conflict), ["M107 length 77 m"]);
    assert_eq!(told(Class::Both), ["M108 length 78 m"]);
    assert!(
        told(Class::Mine)[0].starts_with("M109 length"),
        "{:?}",
        told(Class::Mine)
    );
    assert_eq!(told(Class::Unreadable), ["M101 length about 20"]);
    assert_eq!(told(Class::Overwritten), ["M101 margin 55"]);
    assert!(
        told(Class::New)[0].starts_with("X1 "),
        "{:?}",
        told(Class::New)
    );
    assert_eq!(told(Class::Missing), ["M110  "]);
    assert!(
        told(Class::Duplicate)[0].starts_with("M102-2 "),
        "{:?}",
        told(Class::Duplicate)
    );
    let aside: Vec<&str> = found.set_aside.iter().map(|row| row.why).collect();
    assert_eq!(aside, ["a total", "nothing but an id or a remark"]);
    // Nothing is done to what asks for a decision.
    let before = plan_file::write(desk.plan());
    assert_eq!(take(&mut desk, &found, &["theirs"]), 2);
    assert_eq!(desk.steps_done().next(), Some("merge returned.xlsx"));
    let found = book.compared(&desk);
    assert_eq!(found.count(Class::Theirs), 0, "{:?}", lines(&found));
    assert_eq!(take(&mut desk, &found, &["theirs"]), 0);
    assert_eq!(
        take(
            &mut desk,
            &found,
            &["row:m107", "missing", "new", "duplicate"]
        ),
        4
    );
    let found = book.compared(&desk);
    assert_eq!(found.n_open(), 0, "{:?}", lines(&found));
    assert!(
        chosen(&found, &[Choice::of_word("row:M107").unwrap()])
            .unwrap()
            .is_empty()
    );
    desk.undo().unwrap();
    desk.undo().unwrap();
    assert_eq!(plan_file::write(desk.plan()), before);
}

#[test]
fn a_formula_in_place_of_another_is_told_and_never_taken() {
    let mut desk = demo();
    let mut book = Book::of(&mut desk);
    let at = (
        book.row("Links", "M104"),
        book.column("Links", "Margin (dB)"),
    );
    let was = book.page("Links")[&at].0.clone();
    let other = format!("L{}-K{}", at.0 + 1, at.0 + 1);
    book.page("Links").insert(at, (was, Some(other)));
    let found = book.compared(&desk);
    assert_eq!(lines(&found).len(), 1, "{:?}", lines(&found));
    let one = &found.differences[0];
    assert_eq!(one.class, Class::Overwritten);
    assert_eq!((&*one.row, &*one.column), ("M104", "margin"));
    assert!(one.note.contains("another one"), "{one:?}");
    assert!(!one.is_open());
}

#[test]
fn without_the_plan_as_it_was_everything_asks_for_a_decision() {
    let mut desk = demo();
    let mut book = Book::of(&mut desk);
    book.set("Links", "M104", "Length (m)", Data::Float(76.0));
    let was = book.get("Links", "M107", "Length (m)");
    set(&mut desk, "links", "M107", "length", "70");
    assert_ne!(was, Data::Float(70.0));
    let mut gone = book.clone();
    gone.pages.retain(|(name, _)| name != BASE);
    let mut damaged = book;
    damaged.page(BASE).remove(&(5, 0));
    for book in [gone, damaged] {
        let found = book.compared(&desk);
        assert_eq!(found.count(Class::Conflict), 2, "{:?}", lines(&found));
        assert_eq!(found.count(Class::Theirs), 0);
        assert!(found.notes[0].contains("hidden page"), "{:?}", found.notes);
        assert!(found.differences.iter().all(|one| one.base == "unknown"));
    }
}

#[test]
fn the_workbook_of_another_plan_is_refused() {
    let mut desk = demo();
    let book = Book::of(&mut desk);
    let mut other = Desk::empty("Other").unwrap();
    let _ = Book::of(&mut other);
    let problem = other
        .compare_returned(&book.read(true).unwrap())
        .unwrap_err();
    assert_eq!(problem.code, "other-plan");
    assert!(
        problem.help.iter().any(|line| line.contains("import")),
        "{problem:?}"
    );
    // The visible cells say it where properties are dropped.
    let mut bare = book.clone();
    bare.properties.clear();
    is_nothing(&bare.compared(&desk));
    assert_eq!(
        other
            .compare_returned(&bare.read(true).unwrap())
            .unwrap_err()
            .code,
        "other-plan"
    );
    let strange = Book {
        pages: vec![("Sheet1".to_owned(), Cells::new())],
        properties: Vec::new(),
    };
    assert_eq!(strange.read(true).unwrap_err().code, "no-own-workbook");
}

fn set(desk: &mut Desk, sheet: &str, id: &str, column: &str, words: &str) {
    let sheet = desk.plan().sheet(sheet).unwrap();
    let row = desk.plan().find(sheet, id).unwrap();
    let column = desk.plan().def(sheet).column(column).unwrap();
    desk.set(sheet, row, column, words).unwrap();
}

/// Some edits that a person may make on either side; few values, so that both make the same ones.
fn edited(desk: &mut Desk, random: &mut Random) {
    let links = desk.plan().sheet("links").unwrap();
    for _ in 0..8 {
        let order = desk.plan().rows(links).order().to_vec();
        let row = *random.of(&order[..12.min(order.len())]);
        match random.below(6) {
            0 => {
                let edit = Edit::RemoveRows {
                    sheet: links,
                    rows: vec![row],
                };
                desk.apply("remove", edit).unwrap();
            }
            1 => {
                let id = format!("N{}", random.below(4));
                if desk.plan().find(links, &id).is_some() {
                    continue;
                }
                let length = random.of(&["10", "20"]);
                let cells = [
                    ("id", id.as_str()),
                    ("from", "quarantine"),
                    ("length", length),
                ];
                let cells = cells.map(|(name, words)| {
                    let column = desk.plan().def(links).column(name).unwrap();
                    (
                        column,
                        read_entry(desk.plan(), links, column, words).unwrap(),
                    )
                });
                let edit = Edit::AddRows {
                    sheet: links,
                    at: 0,
                    rows: vec![cells.to_vec()],
                };
                desk.apply("add", edit).unwrap();
            }
            2 => {
                let reserve = desk.plan().assumption("reserve").unwrap();
                let entry = desk
                    .plan()
                    .read_assumption(reserve, random.of::<&str>(&["2", "3"]))
                    .unwrap();
                let source = (*random.of(&["contract", "a guess"])).to_owned();
                let edit = Edit::SetAssumption {
                    param: reserve,
                    entry,
                    source,
                    own: true,
                };
                desk.apply("assume", edit).unwrap();
            }
            _ => {
                let (name, words) = *random.of(&[
                    ("length", "11"),
                    ("length", "22.25"),
                    ("connections", "3"),
                    ("notes", "wet"),
                    ("notes", "=1+1"),
                    ("medium", "OS2"),
                    ("state", "spare"),
                    ("slack", "4"),
                ]);
                if let Some(column) = desk.plan().def(links).column(name) {
                    desk.set(links, row, column, words).unwrap();
                }
            }
        }
    }
}

/// What a plan holds, whatever the order of its rows.
fn content(plan: &Plan) -> Vec<String> {
    let mut all = Vec::new();
    for (at, def) in plan.schema().iter().enumerate() {
        let sheet = plan.sheet(&def.name).unwrap();
        assert_eq!(usize::from(sheet.0), at);
        for row in plan.rows(sheet).order() {
            let cells = plan.entered(sheet).map(|column| {
                let unit = portledger::units::Units::builtin()
                    .unit(&plan.column(sheet, column).unit)
                    .unwrap();
                plan.entry(sheet, column, *row).text(&unit, plan.names())
            });
            all.push(format!(
                "{} {}",
                def.name,
                cells.collect::<Vec<_>>().join("|")
            ));
        }
    }
    for known in plan.assumptions() {
        let value = known.entry.text(&known.unit, plan.names());
        all.push(format!("{} {value} {}", known.def.name, known.source));
    }
    all.sort();
    all
}

#[test]
fn the_laws_of_merging_hold_for_any_edits() {
    let mut first = demo();
    let base_book = Book::of(&mut first);
    let base = plan_file::write(first.plan());
    let links = first.plan().sheet("links").unwrap();
    for seed in 0..6 {
        let mut random = Random(seed);
        let (mut mine, mut theirs) = (Desk::of_text(&base).unwrap(), Desk::of_text(&base).unwrap());
        edited(&mut mine, &mut random);
        edited(&mut theirs, &mut random);
        let returned = |desk: &mut Desk| {
            let mut book = Book::of(desk);
            let mut base_book = base_book.clone();
            *book.page(BASE) = std::mem::take(base_book.page(BASE));
            book.properties = base_book.properties;
            book.read(true).unwrap()
        };
        let (of_mine, of_theirs) = (returned(&mut mine), returned(&mut theirs));
        // Nothing comes of one's own workbook.
        let found = mine.compare_returned(&of_mine).unwrap();
        assert_eq!(found.n_open(), 0, "seed {seed}: {:?}", lines(&found));
        // Over a plan that nobody changed, everything is theirs.
        let mut plain = Desk::of_text(&base).unwrap();
        let found = plain.compare_returned(&of_theirs).unwrap();
        assert_eq!(
            found.count(Class::Conflict) + found.count(Class::Mine) + found.count(Class::Both),
            0
        );
        take(&mut plain, &found, &ALL);
        assert_eq!(
            content(plain.plan()),
            content(theirs.plan()),
            "seed {seed}: {:?}",
            lines(&found)
        );
        // Over one that was changed: no row is lost silently, once more is nothing, and back is back.
        let found = mine.compare_returned(&of_theirs).unwrap();
        for row in first.plan().rows(links).order() {
            let id = first.plan().id(links, *row);
            if theirs.plan().find(links, &id).is_none() {
                let is_told = |class| {
                    found
                        .differences
                        .iter()
                        .any(|one| one.class == class && one.row == id)
                };
                assert!(
                    is_told(Class::Missing) || is_told(Class::Both),
                    "seed {seed}: {id}"
                );
            }
        }
        let before = plan_file::write(mine.plan());
        take(&mut mine, &found, &[]);
        assert_eq!(plan_file::write(mine.plan()), before);
        take(&mut mine, &found, &ALL);
        let again = mine.compare_returned(&of_theirs).unwrap();
        assert_eq!(again.n_open(), 0, "seed {seed}: {:?}", lines(&again));
        if found.n_open() > 0 {
            mine.undo().unwrap();
        }
        assert_eq!(plan_file::write(mine.plan()), before, "seed {seed}");
    }
}

/// Sends a workbook, which comes back with two lengths changed.
fn send_and_change(desk: &mut Desk, back: &Path) {
    let mut book = Book::of(desk);
    book.set("Links", "M104", "Length (m)", text("250 ft"));
    book.set("Links", "M107", "Length (m)", Data::Float(77.0));
    book.saved(true, back);
}

fn sitting(desk: Desk) -> Session {
    let theme = Theme {
        colours: true,
        ascii: false,
    };
    let mut session = Session::new(desk, theme);
    session.reader = Some(reader());
    session
}

/// What a sitting shows.
fn drawn(session: &mut Session) -> String {
    let mut buffer = Buffer::empty(Rect::new(0, 0, 100, 40));
    draw(session, &mut buffer);
    let symbols = buffer.content().iter().map(|cell| cell.symbol());
    symbols.collect()
}

/// One key, without waiting for what it begins.
fn press(session: &mut Session, code: KeyCode) {
    let key = KeyEvent::new(code, KeyModifiers::NONE);
    assert_eq!(session.take(Happening::Key(key)), []);
    drawn(session);
}

#[test]
fn on_the_screen_changes_are_chosen_and_taken_as_one_step() {
    let folder = TempDir::new().unwrap();
    let back = folder.path().join("back.xlsx");
    let mut desk = demo();
    send_and_change(&mut desk, &back);
    set(&mut desk, "links", "M107", "length", "70");
    let before = plan_file::write(desk.plan());
    let mut session = sitting(desk);
    drawn(&mut session);
    let press = |session: &mut Session, code: KeyCode| {
        press(session, code);
        session.wait_for_work();
        drawn(session)
    };
    press(&mut session, KeyCode::Char('M'));
    session.take(Happening::Paste(back.to_str().unwrap().to_owned()));
    let shown = press(&mut session, KeyCode::Enter);
    for what in [
        "1 of 2 changes",
        "1 conflict",
        "1 theirs",
        "[x] links M104",
        "[ ] links M107",
    ] {
        assert!(shown.contains(what), "{what}\n{shown}");
    }
    assert_eq!(plan_file::write(session.desk.plan()), before);
    // The class of conflicts, then all that is chosen.
    press(&mut session, KeyCode::Down);
    let shown = press(&mut session, KeyCode::Enter);
    assert!(shown.contains("2 of 2 changes"), "{shown}");
    press(&mut session, KeyCode::Down);
    let shown = press(&mut session, KeyCode::Enter);
    assert!(shown.contains("1 of 2 changes"), "{shown}");
    press(&mut session, KeyCode::Enter);
    press(&mut session, KeyCode::Up);
    press(&mut session, KeyCode::Up);
    let shown = press(&mut session, KeyCode::Enter);
    assert!(shown.contains("merge back.xlsx"), "{shown}");
    let links = session.desk.plan().sheet("links").unwrap();
    let row = session.desk.plan().find(links, "M107").unwrap();
    let length = session.desk.plan().def(links).column("length").unwrap();
    assert_eq!(
        session.desk.plan().entry(links, length, row),
        Entry::Number(77.0)
    );
    press(&mut session, KeyCode::Char('u'));
    assert_eq!(plan_file::write(session.desk.plan()), before);
}

#[test]
fn a_merge_is_made_beside_the_sitting_and_a_choice_outlives_what_cannot_be_taken() {
    let folder = TempDir::new().unwrap();
    let back = folder.path().join("back.xlsx");
    let mut desk = demo();
    send_and_change(&mut desk, &back);
    let before = plan_file::write(desk.plan());
    let mut session = sitting(desk);
    let n_chosen = |session: &Session| session.merging.as_ref().map(|merging| merging.n_chosen());
    press(&mut session, KeyCode::Char('M'));
    session.take(Happening::Paste(back.to_str().unwrap().to_owned()));
    press(&mut session, KeyCode::Enter);
    session.wait_for_work();
    drawn(&mut session);
    assert_eq!(n_chosen(&session), Some(2));
    // One of the two is left, then the plan is changed while the other one is taken.
    for _ in 0..3 {
        press(&mut session, KeyCode::Down);
    }
    press(&mut session, KeyCode::Enter);
    assert_eq!(n_chosen(&session), Some(1));
    for _ in 0..3 {
        press(&mut session, KeyCode::Up);
    }
    press(&mut session, KeyCode::Enter);
    assert!(session.is_working());
    assert_eq!(plan_file::write(session.desk.plan()), before);
    let title = Edit::SetTitle("changed".to_owned());
    session.desk.apply("title", title).unwrap();
    session.wait_for_work();
    assert!(
        session.message.0.contains("changed meanwhile"),
        "{:?}",
        session.message
    );
    assert_eq!(n_chosen(&session), Some(1));
    // Nothing that the list says is different by the title: it can be taken now.
    press(&mut session, KeyCode::Enter);
    session.wait_for_work();
    let steps: Vec<&str> = session.desk.steps_done().collect();
    assert_eq!(steps[..2], ["merge back.xlsx", "title"]);
    assert_eq!(n_chosen(&session), None);
    let plan = session.desk.plan();
    let links = plan.sheet("links").unwrap();
    let length = plan.def(links).column("length").unwrap();
    let of = |id| plan.entry(links, length, plan.find(links, id).unwrap());
    assert_eq!(of("M104"), Entry::Number(76.2));
    assert_ne!(of("M107"), Entry::Number(77.0));
}

#[test]
fn the_command_lists_first_and_takes_what_is_accepted() {
    let folder = TempDir::new().unwrap();
    let (plan, back) = (
        folder.path().join("reef.plan"),
        folder.path().join("back.xlsx"),
    );
    let mut desk = demo();
    let mut book = Book::of(&mut desk);
    desk.save_as(&plan, false).unwrap();
    drop(desk);
    book.set("Links", "M104", "Length (m)", text("250 ft"));
    book.saved(true, &back);
    let run = |more: &[&str]| {
        let run = Command::new(env!("CARGO_BIN_EXE_portledger"))
            .args(["merge", plan.to_str().unwrap(), back.to_str().unwrap()])
            .args(more)
            .output()
            .unwrap();
        let said = String::from_utf8(run.stdout).unwrap() + &String::from_utf8(run.stderr).unwrap();
        (run.status.code().unwrap(), said)
    };
    let before = fs::read(&plan).unwrap();
    let (code, said) = run(&[]);
    assert_eq!(code, 0, "{said}");
    assert!(
        said.contains("1 theirs") && said.contains("76.2 m"),
        "{said}"
    );
    assert_eq!(fs::read(&plan).unwrap(), before);
    let (_, said) = run(&["--as", "csv"]);
    assert!(
        said.starts_with(
            "class,sheet,row,column,exported,theirs,mine,where,note\ntheirs,links,M104,length"
        ),
        "{said}"
    );
    let (code, said) = run(&["--accept", "thiers"]);
    assert_eq!(code, 2);
    assert!(said.contains("theirs"), "{said}");
    let (code, said) = run(&["--accept", "theirs"]);
    assert_ne!(code, 2, "{said}");
    assert!(said.contains("taken: links M104 length from"), "{said}");
    assert!(said.contains("1 change taken"), "{said}");
    let after = fs::read(&plan).unwrap();
    let (code, said) = run(&["--accept", "theirs"]);
    assert_eq!(code, 0, "{said}");
    assert!(said.contains("nothing to do"), "{said}");
    assert_eq!(fs::read(&plan).unwrap(), after);
}

/// A page as a spreadsheet program saves it as text.
fn page_as_text(book: &mut Book, page: &str) -> String {
    let cells = book.page(page).clone();
    let (last, width) = cells.keys().fold((0, 0), |(row, column), at| {
        (at.0.max(row), at.1.max(column))
    });
    let mut text = String::new();
    for row in 0..=last {
        let line = (0..=width).map(|column| match cells.get(&(row, column)) {
            // Few digits, as they are shown.
            Some((Data::Float(number), Some(_))) => format!("{number:.1}"),
            Some((value, _)) => format!("\"{}\"", value.to_string().replace('"', "\"\"")),
            None => String::new(),
        });
        text += &(line.collect::<Vec<_>>().join(",") + "\r\n");
    }
    text
}

#[test]
fn a_page_that_was_saved_as_text_asks_for_a_decision_on_what_differs() {
    let mut desk = demo();
    let mut book = Book::of(&mut desk);
    let folder = TempDir::new().unwrap();
    let path = folder.path().join("links of the campus.csv");
    let read = |book: &mut Book| {
        fs::write(&path, page_as_text(book, "Links")).unwrap();
        Returned::read(&path, &reader(), &mut |_| true)
    };
    let returned = read(&mut book).unwrap();
    let found = desk.compare_returned(&returned).unwrap();
    assert_eq!(lines(&found), Vec::<String>::new());
    book.set("Links", "M104", "Length (m)", Data::Float(77.5));
    let found = desk.compare_returned(&read(&mut book).unwrap()).unwrap();
    assert_eq!(
        lines(&found),
        ["conflict links M104 length: unknown > 77.5 m"]
    );
    take(&mut desk, &found, &["conflict"]);
    let links = desk.plan().sheet("links").unwrap();
    let row = desk.plan().find(links, "M104").unwrap();
    let length = desk.plan().def(links).column("length").unwrap();
    assert_eq!(desk.plan().entry(links, length, row), Entry::Number(77.5));
    // Another plan is told apart also so.
    let mut other = Desk::empty("Other").unwrap();
    let sent = exported(&mut other);
    drop(sent);
    let problem = other.compare_returned(&read(&mut book).unwrap());
    assert_eq!(problem.unwrap_err().code, "other-plan");
    fs::write(&path, "id,from\nL1,reef\n").unwrap();
    let problem = Returned::read(&path, &reader(), &mut |_| true).unwrap_err();
    assert_eq!(problem.code, "not-a-workbook");
}
