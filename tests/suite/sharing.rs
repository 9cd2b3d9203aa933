//! Lists, data, open spreadsheets and work lists: what goes out is read back by other readers and is
//! the same, and nothing in it acts.

use super::import::reader;
use calamine::{Data, Ods, Reader};
use portledger::desk::Desk;
use portledger::files::import::Wish;
use portledger::files::table_text::TableText;
use portledger::files::table_text::unguarded;
use portledger::report::format_of;
use portledger::report::{
    Choice, Format, Identity, MOST_CELLS, OrderPage, ProposalPage, Request, Written,
};
use portledger::table::Cell;
use proptest::prelude::*;
use std::collections::BTreeMap;
use std::io::Cursor;
use std::io::Read;
use std::path::Path;
use std::process::Command;
use unicode_width::UnicodeWidthStr;

/// What went out, and what is said of it.
pub struct Sent {
    pub bytes: Vec<u8>,
    pub written: Written,
}

impl Sent {
    pub fn text(&self) -> &str {
        std::str::from_utf8(&self.bytes).unwrap()
    }
}

pub fn format(ending: &str) -> &'static Format {
    format_of(Path::new(&format!("reef.{ending}"))).unwrap()
}

/// Exports what stands on a desk in the format of an ending.
pub fn send(desk: &Desk, ending: &str, choice: Choice) -> Sent {
    send_with(desk, ending, choice, None, None)
}

pub fn send_with(
    desk: &Desk,
    ending: &str,
    choice: Choice,
    proposal: Option<ProposalPage>,
    order: Option<OrderPage>,
) -> Sent {
    let base =
        |put: &mut dyn FnMut(&str)| portledger::files::plan_file::write_in_pieces(desk.plan(), put);
    let findings = desk.findings();
    let request = Request {
        plan: desk.plan(),
        engine: desk.engine(),
        findings: &findings,
        base: &base,
        identity: Identity::new(None, &base),
        name: "reef.plan".to_owned(),
        date: Some((2031, 5, 28)),
        proposal,
        order,
        choice,
        most_cells: MOST_CELLS,
    };
    let mut out = Cursor::new(Vec::new());
    let written = (format(ending).write)(&request, &mut out, &mut |_| {}).unwrap();
    Sent {
        bytes: out.into_inner(),
        written,
    }
}

pub fn plain(desk: &Desk, ending: &str) -> Sent {
    send(desk, ending, Choice::default())
}

fn one_sheet(desk: &Desk, name: &str) -> Choice {
    Choice {
        sheets: vec![desk.plan().sheet(name).unwrap()],
        ..Choice::default()
    }
}

fn set(desk: &mut Desk, sheet: &str, id: &str, column: &str, text: &str) {
    let sheet = desk.plan().sheet(sheet).unwrap();
    let row = desk.plan().find(sheet, id).unwrap();
    let column = desk.plan().def(sheet).column(column).unwrap();
    desk.set(sheet, row, column, text).unwrap();
}

/// The entered cells of links by id and column, as texts.
fn entered(desk: &Desk) -> BTreeMap<(String, String), String> {
    let sheet = desk.plan().sheet("links").unwrap();
    let mut all = BTreeMap::new();
    for row in desk.plan().rows(sheet).order() {
        for column in desk.plan().entered(sheet) {
            if desk.plan().is_own(sheet, column) {
                continue;
            }
            let def = desk.plan().column(sheet, column);
            let unit = desk.engine().unit(desk.engine().column(sheet, column));
            let text = desk
                .plan()
                .entry(sheet, column, *row)
                .text(unit, desk.plan().names());
            if !text.is_empty() {
                all.insert((desk.plan().id(sheet, *row), def.name.clone()), text);
            }
        }
    }
    all
}

/// The rows of a list, the marks taken off.
fn rows(text: &str, separator: char) -> Vec<Vec<String>> {
    let text = text.strip_prefix('\u{feff}').unwrap();
    let (mut reader, mut cells, mut all) =
        (TableText::new(text, separator), Vec::new(), Vec::new());
    while reader.next_row(&mut cells).is_some() {
        all.push(
            cells
                .iter()
                .map(|cell| unguarded(cell).to_owned())
                .collect(),
        );
    }
    all
}

#[test]
fn every_format_says_what_it_leaves_out_and_gives_the_same_bytes_again() {
    let desk = Desk::demo().unwrap();
    for ending in ["xlsx", "ods", "html", "csv", "tsv", "json", "txt"] {
        assert!(!format(ending).leaves_out.is_empty(), "{ending}");
        assert!(
            plain(&desk, ending).bytes == plain(&desk, ending).bytes,
            "{ending}"
        );
    }
}

#[test]
fn a_list_holds_the_ids_first_and_exact_values_under_headings_with_units() {
    let desk = Desk::demo().unwrap();
    for (ending, separator) in [("csv", ','), ("tsv", '\t')] {
        let sent = plain(&desk, ending);
        let rows = rows(sent.text(), separator);
        assert_eq!(rows.len(), 47);
        assert_eq!(rows[0][0], "id");
        let at = |heading: &str| rows[0].iter().position(|one| one == heading).unwrap();
        let row = rows.iter().find(|row| row[0] == "Q103").unwrap();
        assert_eq!(row[at("length (m)")], "640");
        assert_eq!(row[at("margin (dB)")], "-0.64");
        assert_eq!(row[at("verdict")], "fails");
        let row = rows.iter().find(|row| row[0] == "Q111").unwrap();
        assert_eq!(
            (row[at("margin (dB)")].as_str(), row[at("verdict")].as_str()),
            ("", "unknown")
        );
    }
    let switches = send(&desk, "csv", one_sheet(&desk, "switches"));
    assert!(switches.text().contains("\ncore-a,"));
}

#[test]
fn no_text_in_a_list_is_taken_for_a_formula_and_numbers_stay_numbers() {
    let mut desk = Desk::demo().unwrap();
    let texts = [
        "=1+1",
        "+1",
        "-1",
        "@SUM(A1)",
        "\u{ff1d}1+1",
        "'=1",
        "=cmd|' /C calc'!A0",
        "a=1",
    ];
    for (text, id) in texts.iter().zip([
        "M101", "M102", "M103", "M104", "M105", "M106", "M107", "M108",
    ]) {
        set(&mut desk, "links", id, "notes", text);
    }
    set(
        &mut desk,
        "links",
        "M109",
        "to",
        "=HYPERLINK(\"http://reef\",\"x\")",
    );
    let sent = plain(&desk, "csv");
    let mut reader = csv::ReaderBuilder::new()
        .from_reader(sent.text().trim_start_matches('\u{feff}').as_bytes());
    let (mut n_marked, mut n_negative) = (0, 0);
    for row in reader.records() {
        for cell in &row.unwrap() {
            let is_number = cell.parse::<f64>().is_ok();
            let begins = cell
                .trim_start()
                .starts_with(['=', '+', '-', '@', '\u{ff1d}']);
            assert!(is_number || !begins, "{cell}");
            n_marked += usize::from(cell.starts_with('\''));
            n_negative += usize::from(is_number && cell.starts_with('-'));
        }
    }
    assert_eq!(n_marked, 8);
    assert!(n_negative > 5, "{n_negative}");
    let back = rows(sent.text(), ',');
    for text in texts {
        assert!(back.iter().flatten().any(|cell| cell == text), "{text}");
    }
}

#[test]
fn a_list_comes_in_again_with_the_same_cells() {
    let desk = Desk::demo().unwrap();
    let folder = tempfile::tempdir().unwrap();
    for ending in ["csv", "tsv"] {
        let path = folder.path().join(format!("links.{ending}"));
        std::fs::write(&path, plain(&desk, ending).bytes).unwrap();
        let mut back = Desk::empty("").unwrap();
        back.import(&path, &Wish::default(), &reader(), &mut |_| true)
            .unwrap();
        assert_eq!(entered(&back), entered(&desk));
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 24, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn what_was_entered_is_read_back_from_a_list(
        length in 0.001_f64..5000.0,
        feet in proptest::bool::ANY,
        note in "[a-z][a-z ,;\"|é水]{0,20}[a-z]",
    ) {
        let mut desk = Desk::demo().unwrap();
        let unit = if feet { "ft" } else { "m" };
        set(&mut desk, "links", "Q104", "length", &format!("{length} {unit}"));
        set(&mut desk, "links", "Q104", "notes", &note);
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("links.csv");
        std::fs::write(&path, plain(&desk, "csv").bytes).unwrap();
        let mut back = Desk::empty("").unwrap();
        back.import(&path, &Wish::default(), &reader(), &mut |_| true)
            .unwrap();
        let key = |column: &str| ("Q104".to_owned(), column.to_owned());
        let (theirs, ours) = (entered(&back), entered(&desk));
        prop_assert_eq!(&theirs[&key("notes")], &ours[&key("notes")]);
        let number = |all: &BTreeMap<(String, String), String>| all[&key("length")].parse::<f64>().unwrap();
        prop_assert!((number(&theirs) - number(&ours)).abs() <= 1e-12 * number(&ours));
    }
}

#[test]
fn data_holds_every_cell_of_every_sheet() {
    let mut desk = Desk::demo().unwrap();
    set(&mut desk, "links", "M101", "notes", "a\u{202e}b\u{9b} <x>");
    let sent = plain(&desk, "json");
    assert!(!sent.text().contains(['\u{202e}', '\u{9b}']));
    let all: serde_json::Value = serde_json::from_str(sent.text()).unwrap();
    assert_eq!(all["format"], "portledger plan 1");
    assert_eq!(all["counts"]["stop"], desk.findings().counts[0]);
    assert_eq!(
        all["findings"].as_array().unwrap().len(),
        desk.findings().list.len()
    );
    assert_eq!(
        all["assumptions"].as_array().unwrap().len(),
        desk.plan().assumptions().len()
    );
    let (mut n_numbers, mut n_texts) = (0, 0);
    for sheet in all["sheets"].as_array().unwrap() {
        let id = desk.plan().sheet(sheet["name"].as_str().unwrap()).unwrap();
        let order = desk.plan().rows(id).order();
        let told = sheet["rows"].as_array().unwrap();
        assert_eq!(told.len(), order.len());
        for (row, told) in order.iter().zip(told) {
            for column in sheet["columns"].as_array().unwrap() {
                let name = column["name"].as_str().unwrap();
                let at = desk.engine().find_column(id, name).unwrap();
                let unit = desk.engine().unit(at);
                let cell = desk.engine().cell(desk.plan(), at, *row);
                match (cell, &told[name]) {
                    (Cell::Number(base), serde_json::Value::Number(told)) => {
                        let ours = unit.from_base(base);
                        assert!(
                            (ours - told.as_f64().unwrap()).abs() <= 1e-12 * ours.abs(),
                            "{name}"
                        );
                        n_numbers += 1;
                    }
                    (Cell::Text(ours), serde_json::Value::String(told)) => {
                        assert_eq!(&ours, told);
                        n_texts += 1;
                    }
                    (Cell::Flag(ours), serde_json::Value::Bool(told)) => assert_eq!(ours, *told),
                    (Cell::Missing | Cell::Failed, serde_json::Value::Null) => {}
                    (ours, told) => panic!("{name}: {ours:?}, {told:?}"),
                }
            }
        }
    }
    assert!(
        n_numbers > 2_000 && n_texts > 2_000,
        "{n_numbers} {n_texts}"
    );
}

#[test]
fn data_has_its_keys_in_one_order_and_holds_what_others_made() {
    let desk = Desk::demo().unwrap();
    let order = OrderPage {
        sentences: vec!["2 parts, 1 of them not priced".to_owned()],
        heads: vec!["Part".to_owned()],
        rows: vec![vec!["SR10".to_owned()]],
        ..OrderPage::default()
    };
    let sent = send_with(
        &desk,
        "json",
        one_sheet(&desk, "switches"),
        None,
        Some(order),
    );
    let places = [
        "format",
        "about",
        "plan",
        "counts",
        "findings",
        "assumptions",
        "proposal",
        "order",
        "sheets",
    ]
    .map(|key| {
        sent.text()
            .find(&format!("\n\"{key}\":"))
            .unwrap_or_else(|| panic!("{key}"))
    });
    assert!(places.is_sorted());
    let all: serde_json::Value = serde_json::from_str(sent.text()).unwrap();
    assert_eq!(all["sheets"].as_array().unwrap().len(), 1);
    assert_eq!(all["order"]["rows"][0][0], "SR10");
    assert!(all["proposal"].is_null());
}

/// The cells of an open spreadsheet by page, row and column.
fn open_cells(bytes: &[u8]) -> BTreeMap<(String, u32, u32), Data> {
    let mut book: Ods<_> = calamine::open_workbook_from_rs(Cursor::new(bytes)).unwrap();
    let mut all = BTreeMap::new();
    for name in book.sheet_names() {
        let range = book.worksheet_range(&name).unwrap();
        let (top, left) = range.start().unwrap_or((0, 0));
        for (row, column, value) in range.used_cells() {
            all.insert(
                (name.clone(), top + row as u32, left + column as u32),
                value.clone(),
            );
        }
    }
    all
}

#[test]
fn an_open_spreadsheet_holds_the_cells_of_the_workbook_where_the_workbook_has_them() {
    let mut desk = Desk::demo().unwrap();
    set(
        &mut desk,
        "links",
        "M101",
        "notes",
        "  two  blanks, <tags> & \"quotes\" ",
    );
    set(&mut desk, "links", "M102", "notes", "=1+1");
    let sent = plain(&desk, "ods");
    let cells = open_cells(&sent.bytes);
    let book = super::workbook::export(&desk);
    let mut n_compared = 0;
    for page in &book.pages {
        if ["Summary", "Findings", "Reference"].contains(&page.name.as_str())
            || page.name.starts_with('_')
        {
            continue;
        }
        for ((row, column), ours) in &page.values {
            // Titles and what a column is are worded for each format.
            if *row < 3 || matches!(ours, Data::String(text) if text.is_empty()) {
                continue;
            }
            if page.name == "Assumptions" && *row as usize >= 4 + desk.plan().assumptions().len() {
                continue;
            }
            let theirs = cells.get(&(page.name.clone(), *row, *column));
            let same = match (ours, theirs) {
                (Data::Float(a), Some(Data::Float(b))) => a == b,
                (Data::Int(a), Some(Data::Float(b))) => *a as f64 == *b,
                (Data::Float(a), Some(Data::Int(b))) => *a == *b as f64,
                (a, Some(b)) => a == b,
                (_, None) => false,
            };
            assert!(same, "{} {row} {column}: {ours:?}, {theirs:?}", page.name);
            n_compared += 1;
        }
    }
    assert!(n_compared > 5_000, "{n_compared}");
}

fn inside(bytes: &[u8], name: &str) -> String {
    let mut zip = zip::ZipArchive::new(Cursor::new(bytes)).unwrap();
    let mut text = String::new();
    zip.by_name(name)
        .unwrap()
        .read_to_string(&mut text)
        .unwrap();
    text
}

#[test]
fn an_open_spreadsheet_is_packed_as_its_format_asks() {
    let mut desk = Desk::demo().unwrap();
    set(
        &mut desk,
        "links",
        "M101",
        "notes",
        "a\u{1}b\u{fffe}\u{1b}c",
    );
    let sent = plain(&desk, "ods");
    // The first entry is named and held without compression, so that it can be read at a fixed place.
    assert_eq!(
        &sent.bytes[30..84],
        b"mimetypeapplication/vnd.oasis.opendocument.spreadsheet"
    );
    let mut zip = zip::ZipArchive::new(Cursor::new(&sent.bytes)).unwrap();
    let names: Vec<String> = (0..zip.len())
        .map(|at| zip.by_index(at).unwrap().name().unwrap().into_owned())
        .collect();
    for at in 0..zip.len() {
        // Office programs refuse the long sizes of large files.
        assert!(
            zip.by_index(at)
                .unwrap()
                .extra_data()
                .is_none_or(|data| data.is_empty())
        );
    }
    let manifest = inside(&sent.bytes, "META-INF/manifest.xml");
    for name in names
        .iter()
        .filter(|name| !["mimetype", "META-INF/manifest.xml"].contains(&name.as_str()))
    {
        assert!(
            manifest.contains(&format!("full-path=\"{name}\"")),
            "{name}"
        );
    }
    let content = inside(&sent.bytes, "content.xml");
    assert!(
        content.contains("a b<text:s text:c=\"2\"/>c"),
        "control characters are no XML"
    );
    assert!(content.chars().all(|c| !c.is_control() || c == '\n'));
    let places = [
        "<office:automatic-styles>",
        "<office:body>",
        "<table:calculation-settings",
        "<table:table ",
    ];
    let places = places.map(|part| content.find(part).unwrap());
    assert!(places.is_sorted());
    assert!(inside(&sent.bytes, "meta.xml").contains("plan_revision"));
}

#[test]
fn an_open_spreadsheet_calculates_with_the_formulas_of_the_workbook() {
    let desk = Desk::demo().unwrap();
    let sent = plain(&desk, "ods");
    let book = super::workbook::export(&desk);
    let of_summary = book.pages[0].formulas.len();
    let all: usize = book.pages.iter().map(|page| page.formulas.len()).sum();
    assert_eq!(sent.written.n_formulas, all - of_summary);
    let content = inside(&sent.bytes, "content.xml");
    let formulas: Vec<&str> = content
        .split("table:formula=\"")
        .skip(1)
        .map(|rest| rest.split('"').next().unwrap())
        .collect();
    assert_eq!(formulas.len(), sent.written.n_formulas);
    for formula in formulas {
        assert!(formula.starts_with("of:="), "{formula}");
        let without_texts: String = formula.split("&quot;").step_by(2).collect();
        assert!(!without_texts.contains(','), "{formula}");
        for (open, close) in [('(', ')'), ('[', ']'), ('{', '}')] {
            assert_eq!(
                without_texts.matches(open).count(),
                without_texts.matches(close).count(),
                "{formula}"
            );
        }
    }
}

#[test]
fn a_work_list_walks_room_by_room_and_fits_the_paper() {
    let desk = Desk::demo().unwrap();
    let sent = plain(&desk, "txt");
    let text = sent.text();
    assert!(text.lines().all(|line| line.width() <= 80), "{text}");
    assert!(text.is_ascii());
    assert_eq!(
        sent.written.pages,
        ["main hall", "pump house", "quarantine lab"]
    );
    let labels: Vec<&str> = text
        .lines()
        .filter_map(|line| line.strip_prefix("[ ] label ")?.split(' ').next())
        .collect();
    assert_eq!(
        labels,
        [
            "M109", "M116", "M12O", "P102", "P105", "P111", "Q102", "Q106", "Q104", "Q111"
        ]
    );
    for wanted in [
        "-10.9 dBm to -1.2 dBm expected; read ________ dBm",
        "[ ] inspected   [ ] cleaned   [ ] seated   [ ] read",
        "Never look into a fibre or a port",
        "never copper",
        "length not entered",
        "medium not entered",
        "expected light unknown",
        "core-b, port c2, in main hall",
    ] {
        assert!(text.contains(wanted), "{wanted}\n{text}");
    }
}

#[test]
fn a_work_list_of_every_state_holds_every_link_once() {
    let mut desk = Desk::demo().unwrap();
    set(&mut desk, "links", "M101", "from", "nowhere");
    set(
        &mut desk,
        "switches",
        "acc-kelp",
        "building",
        "\u{1b}[31mred水",
    );
    let choice = Choice {
        every_state: true,
        ..Choice::default()
    };
    let sent = send(&desk, "txt", choice);
    let text = sent.text();
    assert_eq!(text.matches("[ ] label ").count(), 46);
    assert!(text.contains("room not entered  (1 link)"));
    assert!(!text.contains('\u{1b}'));
    assert!(text.lines().all(|line| line.width() <= 80));
}

#[test]
fn a_choice_that_a_format_cannot_follow_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    let plan = folder.path().join("reef.plan");
    std::fs::copy("examples/aquarium.plan", &plan).unwrap();
    let run = |file: &str, more: &[&str]| {
        let mut command = Command::new(env!("CARGO_BIN_EXE_portledger"));
        let output = command
            .arg("export")
            .arg(&plan)
            .arg(folder.path().join(file))
            .args(more)
            .output()
            .unwrap();
        let told = |bytes: &[u8]| String::from_utf8(bytes.to_vec()).unwrap();
        (
            output.status.code(),
            told(&output.stdout),
            told(&output.stderr),
        )
    };
    let (code, said, _) = run("s.csv", &["--sheet", "switches"]);
    assert_eq!(code, Some(0));
    assert!(said.contains("left out: all sheets but one"), "{said}");
    for (file, more, wanted) in [
        ("w.txt", &["--sheet", "links"][..], "leave --sheet away"),
        ("p.html", &["--every-state"][..], "leave --every-state away"),
        (
            "l.csv",
            &["--sheet", "links", "--sheet", "parts"][..],
            "a file of its own",
        ),
        ("l.csv", &["--sheet", "linsk"][..], "links"),
        ("l.pdf", &[][..], "end the name with one of"),
    ] {
        let (code, _, said) = run(file, more);
        assert_eq!(code, Some(2), "{file}");
        assert!(said.contains(wanted), "{said}");
        assert!(!folder.path().join(file).exists(), "{file}");
    }
}
