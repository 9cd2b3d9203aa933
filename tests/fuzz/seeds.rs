//! The committed corpus of spreadsheets and of keys: made here, by hand and by our own export.

use super::super::books::{V, ods, ods_table, one_page, row, rows, xls, xlsb, xlsx, xlsx_with};
use super::{corpus, folder, targets};
use calamine::{Data, Range, Reader as _, Xlsx};
use portledger::desk::{Desk, Wanted};
use std::fs;
use tempfile::TempDir;

/// The largest file of the corpus, in bytes.
const LARGEST: usize = 20_000;

const TARGETS: [&str; 6] = ["xlsx", "xlsb", "xls", "ods", "returned", "keys"];

const TABLE: &[&[V<'_>]] = &[
    &[
        V::T("id"),
        V::T("From"),
        V::T("To"),
        V::T("Length (ft)"),
        V::T("Medium"),
    ],
    &[
        V::T("L1"),
        V::T("hall 1"),
        V::T("pump house"),
        V::N(250.0),
        V::T("OM4"),
    ],
    &[
        V::T("L2"),
        V::T("pump house 12"),
        V::T("quarantine"),
        V::N(0.1),
        V::T("Cat6A"),
    ],
    &[V::T("\u{202e}L3\u{9b}"), V::No, V::T("hall 1"), V::N(1e15)],
];

/// Lengths far below any there is.
const TINY: &[&[V<'_>]] = &[
    &[V::T("id"), V::T("from"), V::T("Length (ft)")],
    &[V::T("L1"), V::T("hall"), V::N(3.25e-303)],
    &[V::T("L2"), V::T("lab"), V::N(5e-324)],
];

/// What the corpus of a target is made of: names and bytes.
fn seeds(target: &str) -> Vec<(&'static str, Vec<u8>)> {
    match target {
        "xlsx" => workbooks(),
        "xlsb" => vec![
            ("table", xlsb(TABLE)),
            ("empty", xlsb(&[])),
            ("one", xlsb(&[&[V::T("id"), V::T("from")], &[V::N(1.0)]])),
            ("tiny", xlsb(TINY)),
        ],
        "xls" => vec![
            ("table", xls(TABLE)),
            ("empty", xls(&[])),
            ("one", xls(&[&[V::T("id"), V::T("from")], &[V::N(1.0)]])),
            ("tiny", xls(TINY)),
        ],
        "ods" => documents(),
        "returned" => returned(),
        "keys" => keys(),
        other => panic!("{other}"),
    }
}

fn workbooks() -> Vec<(&'static str, Vec<u8>)> {
    let mixed: &[&[V<'_>]] = &[
        &[
            V::T("id"),
            V::T("from"),
            V::T("to"),
            V::T("length"),
            V::T("when"),
        ],
        &[
            V::T("L1"),
            V::T("a"),
            V::E("#REF!"),
            V::F("A1*2", 7.5),
            V::D(45_000.25),
        ],
        &[V::T("L2"), V::B(true), V::Bare("A1"), V::N(-0.0), V::No],
    ];
    let merged = rows(TABLE) + "<!--behind--><mergeCells><mergeCell ref=\"A2:A3\"/></mergeCells>";
    let strings = b"<sst xmlns=\"http://schemas.openxmlformats.org/spreadsheetml/2006/main\" count=\"2\" uniqueCount=\"2\"><si><t>id</t></si><si><r><t>fr</t></r><r><t>om</t></r></si></sst>";
    let shared = "<row r=\"1\"><c r=\"A1\" t=\"s\"><v>0</v></c><c r=\"B1\" t=\"s\"><v>1</v></c></row>\
                  <row r=\"2\" hidden=\"1\"><c r=\"A2\"><f t=\"shared\" si=\"0\" ref=\"A2:A4\">B2+1</f><v>2</v></c></row>\
                  <row r=\"3\"><c r=\"A3\"><f t=\"shared\" si=\"0\"/><v>3</v></c><c r=\"B3\" t=\"s\"><v>1</v></c></row>";
    let custom = b"<Properties xmlns=\"http://schemas.openxmlformats.org/officeDocument/2006/custom-properties\"><property name=\"plan_name\"><vt:lpwstr xmlns:vt=\"x\">a&amp;b</vt:lpwstr></property></Properties>";
    let two = [
        ("Cables", "", rows(TABLE)),
        ("Old", "state=\"hidden\"", rows(mixed)),
        ("\u{202e}Third", "", String::new()),
    ];
    vec![
        ("table", one_page(TABLE)),
        ("mixed", one_page(mixed)),
        ("merged", xlsx(&[("p", "", merged)], &[])),
        (
            "strings",
            xlsx(
                &[("p", "", shared.to_owned())],
                &[
                    ("xl/sharedStrings.xml", strings),
                    ("docProps/custom.xml", custom),
                ],
            ),
        ),
        ("pages", xlsx(&two, &[("xl/vbaProject.bin", b"no")])),
        (
            "from-1904",
            xlsx_with(
                "<workbookPr date1904=\"1\"/>",
                &[("p", "", rows(mixed))],
                &[],
            ),
        ),
    ]
}

fn documents() -> Vec<(&'static str, Vec<u8>)> {
    let plain = ods_table(
        "Cables",
        &[
            &["id", "from", "to", "length"],
            &["L1", "hall 1", "pump house", "85 m"],
            &["", "\u{202e}", "1e999", "=1+1"],
        ],
    );
    let typed = "<table:table table:name=\"p\" table:style-name=\"away\"><table:table-header-rows><table:table-row>\
        <table:table-cell office:value-type=\"string\"><text:p>id</text:p></table:table-cell>\
        <table:table-cell office:value-type=\"string\"><text:p>from<text:s text:c=\"2\"/></text:p></table:table-cell>\
        <table:table-cell office:value-type=\"string\"><text:p>length</text:p></table:table-cell></table:table-row></table:table-header-rows>\
        <table:table-row table:visibility=\"collapse\"><table:table-cell office:value-type=\"float\" office:value=\"7\"><text:p>7</text:p></table:table-cell>\
        <table:table-cell table:number-columns-spanned=\"2\" table:number-rows-spanned=\"2\" office:value-type=\"date\" office:date-value=\"2026-02-03T04:05:06\"/>\
        <table:covered-table-cell/></table:table-row>\
        <table:table-row table:number-rows-repeated=\"3\"><table:table-cell table:number-columns-repeated=\"2\" office:value-type=\"boolean\" office:boolean-value=\"true\"/>\
        <table:table-cell table:formula=\"of:=[.A1]\" office:value-type=\"percentage\" office:value=\"0.5\"/></table:table-row>\
        <table:table-row table:number-rows-repeated=\"1048000\"><table:table-cell table:number-columns-repeated=\"16384\"/></table:table-row></table:table>";
    vec![
        ("table", ods(&plain)),
        ("typed", ods(typed)),
        ("pages", ods(&(plain.clone() + typed))),
        ("empty", ods("")),
    ]
}

/// The pages that a comparison reads; the rest of a workbook is large and is not looked at.
const READ: [&str; 5] = ["Summary", "Links", "Switches", "Assumptions", "_base"];

/// Columns behind these serve formulas.
const SHOWN: usize = 36;

/// The plan of the target as it is exported: its cells as another program saves them.
fn returned() -> Vec<(&'static str, Vec<u8>)> {
    let folder = TempDir::new().unwrap();
    let path = folder.path().join("sent.xlsx");
    let mut desk = Desk::of_text(targets::SENT).unwrap();
    desk.export(&path, &Wanted::default(), &mut |_| {}).unwrap();
    let mut book: Xlsx<_> = calamine::open_workbook(&path).unwrap();
    let pages = READ.map(|name| (name, book.worksheet_range(name).unwrap()));
    let as_xml = |name: &str, range: &Range<Data>| {
        let top = range.start().unwrap_or_default().0 as usize;
        let read = range.rows().enumerate();
        let read = read.filter(|(_, cells)| is_read(name, cells));
        let all = read.map(|(at, cells)| {
            let cells: Vec<V<'_>> = cells.iter().take(SHOWN).map(value).collect();
            row(top + at + 1, "", &cells)
        });
        all.collect::<String>()
    };
    let sheets = pages.each_ref().map(|(name, range)| {
        let state = if *name == "_base" {
            "state=\"hidden\""
        } else {
            ""
        };
        (*name, state, as_xml(name, range))
    });
    let tables = pages.each_ref().map(|(name, range)| {
        let texts = |cells: &[Data]| -> Vec<String> {
            cells.iter().take(SHOWN).map(Data::to_string).collect()
        };
        let read = range.rows().filter(|cells| is_read(name, cells));
        let all: Vec<Vec<String>> = read.map(texts).collect();
        let all: Vec<Vec<&str>> = all
            .iter()
            .map(|row| row.iter().map(String::as_str).collect())
            .collect();
        let all: Vec<&[&str]> = all.iter().map(Vec::as_slice).collect();
        ods_table(name, &all)
    });
    vec![
        ("sent-xlsx", xlsx(&sheets, &[])),
        ("sent-ods", ods(&tables.concat())),
        ("without-base", xlsx(&sheets[..4], &[])),
    ]
}

/// Whether a comparison reads a row. Of the first page it reads whose workbook it is; the rest are
/// sentences, with each change of which these files would be others.
fn is_read(page: &str, cells: &[Data]) -> bool {
    let is_identity = |cell: &Data| matches!(cell, Data::String(text) if text == "Revision");
    page != "Summary" || cells.iter().any(is_identity)
}

fn value(data: &Data) -> V<'_> {
    match data {
        Data::String(text) => V::T(text),
        Data::Float(number) => V::N(*number),
        Data::Bool(flag) => V::B(*flag),
        _ => V::No,
    }
}

/// Keys as `targets::keys` reads them: typed texts, control keys, and bytes from 0x80 on for what
/// has no character.
fn keys() -> Vec<(&'static str, Vec<u8>)> {
    let walk = [
        b"\x81\x81\x83\x83\r85 m\r\x80\x82".as_slice(),
        b"\t\t\x84\x85\x86\x87",
    ]
    .concat();
    let pasted = [&[0x90, 11][..], b"1\t2\n\x1b[2J\t3", b"\ruu"].concat();
    let sizes = b"\x91\x00\x00\x91\x01\x01\x91\xff\xff\x91\x4f\x17".to_vec();
    let mice = b"\x92\x00\x05\x05\x92\x02\x06\x07\x92\x04\x01\x01\x93\x01a".to_vec();
    let every = (0..96_u8).flat_map(|at| [0xa0 + at % 32, at / 32, 0x1b]);
    let every: Vec<u8> = every.collect();
    let again = (0..96_u8).flat_map(|at| [0xa0 + at % 32, at / 32, b'1', b'\r', 0x1b]);
    let again: Vec<u8> = again.collect();
    let typed = "\rmargin < 1 dB\r\u{202e}水e\u{301}\r\x1b\x1b"
        .as_bytes()
        .to_vec();
    vec![
        ("walk", walk),
        ("pasted", pasted),
        ("sizes", sizes),
        ("mice", mice),
        ("every-action", every),
        ("every-answer", again),
        ("typed", typed),
    ]
}

/// `FUZZ_CORPUS=write` writes the corpus anew; else what is there is small.
#[test]
fn the_corpus_is_small() {
    for target in TARGETS {
        if std::env::var_os("FUZZ_CORPUS").is_some_and(|wish| wish == "write") {
            fs::create_dir_all(folder(target)).unwrap();
            for (name, bytes) in seeds(target) {
                fs::write(folder(target).join(name), bytes).unwrap();
            }
        }
        for bytes in corpus(target) {
            assert!(bytes.len() < LARGEST, "{target}: {} bytes", bytes.len());
        }
    }
}
