//! Tables as people keep them, one for each hazard, through the file, the process that reads
//! apart and the plan; each with its wanted outcome.

use crate::books::{V, ods, ods_table, one_page, row, rows, xls, xlsb, xlsx, xlsx_with};
use portledger::desk::{Desk, Gauge, read_table};
use portledger::files::import::{Decimal, How, Import, Source, Wish, aside_lines};
use portledger::files::plan_file;
use portledger::files::spreadsheet::{Kind, Reader, Wanted};
use portledger::plan::Entry;
use portledger::problem::Problem;
use proptest::prelude::*;
use std::fs;
use std::path::Path;
use tempfile::TempDir;

pub fn reader() -> Reader {
    Reader::new(env!("CARGO_BIN_EXE_portledger").into())
}

/// What a file of a name becomes in an empty plan.
fn read(name: &str, bytes: &[u8], wish: &Wish) -> Result<(Desk, Import), Problem> {
    let folder = TempDir::new().unwrap();
    let path = folder.path().join(name);
    fs::write(&path, bytes).unwrap();
    let mut desk = Desk::empty("")?;
    let import = desk.import(&path, wish, &reader(), &mut |_| true)?;
    Ok((desk, import))
}

fn plain(name: &str, bytes: &[u8]) -> (Desk, Import) {
    read(name, bytes, &Wish::default()).unwrap_or_else(|problem| panic!("{problem:?}"))
}

/// The rows of a sheet as they stand in the plan file.
fn sheet(desk: &Desk, name: &str) -> String {
    let text = plan_file::write(desk.plan());
    let block = text
        .split_once(&format!("{name} = '''\n"))
        .map_or("", |(_, rest)| rest);
    block
        .split_once("'''")
        .map_or("", |(block, _)| block)
        .to_owned()
}

fn links(desk: &Desk) -> String {
    sheet(desk, "links")
}

fn check(name: &str, bytes: &[u8], expected: &str) -> Import {
    let (desk, import) = plain(name, bytes);
    assert_eq!(links(&desk), expected, "{:#?}", import.notes);
    import
}

#[track_caller]
fn says(import: &Import, what: &str) {
    let notes = import.notes.join("\n");
    let lines = aside_lines(&import.set_aside).join("\n");
    assert!(
        notes.contains(what) || lines.contains(what),
        "{what}\n--\n{notes}\n{lines}"
    );
}

fn with_map(map: &[(&str, &str)]) -> Wish {
    let map = map
        .iter()
        .map(|(heading, column)| ((*heading).to_owned(), (*column).to_owned()));
    Wish {
        map: map.collect(),
        ..Wish::default()
    }
}

// Hazard 1: encodings.

#[test]
fn a_guess_of_the_encoding_is_told_and_can_be_put_right() {
    let import = check(
        "a.csv",
        b"id;from\nL1;Becken S\xfcd\n",
        "id,from\nL1,Becken Süd\n",
    );
    says(
        &import,
        "read as Windows-1252; that is a guess, say another one with --encoding",
    );
    let wish = Wish {
        encoding: Some("iso-8859-2".to_owned()),
        ..Wish::default()
    };
    let (desk, _) = read("a.csv", b"id;from\nL1;\xb9kola\n", &wish).unwrap();
    assert_eq!(links(&desk), "id,from\nL1,škola\n");
}

// Hazard 2: a mark of the encoding before the first heading.

#[test]
fn the_mark_of_an_encoding_is_no_part_of_a_heading() {
    check("a.csv", b"\xef\xbb\xbfId,from\nL1,a\n", "id,from\nL1,a\n");
    check(
        "a.csv",
        b"\xef\xbb\xbf\"Id\",from\nL1,a\n",
        "id,from\nL1,a\n",
    );
}

// Hazard 3: separators.

#[test]
fn separators_are_found_or_said_by_the_file() {
    for text in [
        "id,from\nL1,a\n",
        "id;from\nL1;a\n",
        "id\tfrom\nL1\ta\n",
        "id|from\nL1|a\n",
        "sep=|\nid|from\nL1|a\n",
    ] {
        check("a.txt", text.as_bytes(), "id,from\nL1,a\n");
    }
}

// Hazard 4: quotes, line breaks and NUL.

#[test]
fn quotes_and_line_breaks_stay_and_nul_goes() {
    let import = check(
        "a.csv",
        b"id,notes\nL1,\"a \"\"b\"\"\nc, d\"\nL2,e\0f\n",
        "id,notes\nL1,\"a \"\"b\"\"\nc, d\"\nL2,ef\n",
    );
    says(&import, "(NUL) were left out");
}

// Hazards 5 and 6: decimal signs, thousands, other digits.

#[test]
fn the_decimal_sign_is_that_of_the_column() {
    let import = check(
        "a.csv",
        "id;length;extra_loss\nL1;1,5;0,25\nL2;1 234,5 m;1,5 dB\nL3;1.234;\u{2212}0\n".as_bytes(),
        "id,length,extra_loss\nL1,1.5,0.25\nL2,1234.5,1.5\nL3,1234,0\n",
    );
    says(&import, "length is read with a decimal comma");
    check(
        "a.csv",
        "id,length\nL1,\"1,234.5\"\nL2,12\u{a0}300\nL3,\u{ff11}\u{ff12}\n".as_bytes(),
        "id,length\nL1,1234.5\nL2,12300\nL3,12\n",
    );
}

#[test]
fn what_may_be_a_thousand_or_a_decimal_is_asked_for() {
    let text = b"id,length\nL1,\"1,234\"\n";
    let import = check("a.csv", text, "id,length\nL1,\"1,234\"\n");
    says(&import, "may be a decimal or a thousand");
    for (decimal, expected) in [
        (Decimal::Comma, "id,length\nL1,1.234\n"),
        (Decimal::Point, "id,length\nL1,1234\n"),
    ] {
        let wish = Wish {
            decimal: Some(decimal),
            ..Wish::default()
        };
        assert_eq!(links(&read("a.csv", text, &wish).unwrap().0), expected);
    }
}

// Hazard 7: dates.

#[test]
fn dates_are_dates_with_both_epochs() {
    let body = || {
        rows(&[
            &[V::T("id"), V::T("Install date"), V::T("Rack")],
            &[V::T("L1"), V::D(47_727.0), V::N(47_727.0)],
            &[V::T("L2"), V::N(47_727.0), V::D(47_727.5)],
        ])
    };
    check(
        "a.xlsx",
        &xlsx(&[("p", "", body())], &[]),
        "id,install_date,rack\nL1,2030-09-01,47727\nL2,2030-09-01,2030-09-01 12:00\n",
    );
    check(
        "a.xlsx",
        &xlsx_with("<workbookPr date1904=\"1\"/>", &[("p", "", body())], &[]),
        "id,install_date,rack\nL1,2034-09-02,47727\nL2,2034-09-02,2034-09-02 12:00\n",
    );
}

// Hazard 8: where the headings are.

#[test]
fn headings_are_found_below_titles_and_over_two_rows() {
    let import = check(
        "a.csv",
        b"Cables of the pump house,,,\nas of spring,,,\n\nCable ID,From,To,Length (m)\nL1,a,b,3\n",
        "id,from,to,length\nL1,a,b,3\n",
    );
    assert_eq!(import.heading_rows, [4]);
    says(
        &import,
        "row 1 set aside: above the headings (`Cables of the pump house`)",
    );
    // Groups above their parts, merged and not.
    let body = rows(&[
        &[
            V::T("Cable"),
            V::T("A end"),
            V::No,
            V::T("B end"),
            V::No,
            V::T("Length"),
        ],
        &[
            V::No,
            V::T("Device"),
            V::T("Port"),
            V::T("Device"),
            V::T("Port"),
            V::No,
        ],
        &[
            V::T("L1"),
            V::T("reef"),
            V::T("p1"),
            V::T("core"),
            V::T("p9"),
            V::N(12.0),
        ],
    ]);
    let merged = "<!--behind--><mergeCells><mergeCell ref=\"B1:C1\"/><mergeCell ref=\"D1:E1\"/></mergeCells>";
    let expected = "id,from,from_port,to,to_port,length\nL1,reef,p1,core,p9,12\n";
    for body in [body.clone() + merged, body] {
        let import = check("a.xlsx", &xlsx(&[("p", "", body)], &[]), expected);
        assert_eq!(import.heading_rows, [1, 2]);
    }
    // A row of units under the names, a blank column, a start at B2.
    check(
        "a.csv",
        b",,,,\n,Cable,From,,Length\n,,,,ft\n,L1,reef,,250\n",
        "id,from,length\nL1,reef,76.2\n",
    );
    // The row can be named.
    let wish = Wish {
        heading_row: Some(2),
        ..Wish::default()
    };
    let (desk, _) = read("a.csv", b"id,from\ncable,from\nL1,a\n", &wish).unwrap();
    assert_eq!(links(&desk), "id,from\nL1,a\n");
}

#[test]
fn a_plain_heading_that_stands_twice_means_both_ends() {
    let expected = "id,from,from_port,to,to_port\nL1,reef,p1,core,p9\n";
    check(
        "a.csv",
        b"Label,Device,Port,Device,Port\nL1,reef,p1,core,p9\n",
        expected,
    );
    // The far end may stand in reverse order.
    check(
        "a.csv",
        b"Label,Switch,Port,Remote Port,Remote Switch\nL1,reef,p1,p9,core\n",
        expected,
    );
}

// Hazard 9: hidden rows and pages.

#[test]
fn hidden_rows_are_read_and_told_or_left_out() {
    let body = row(1, "", &[V::T("id"), V::T("from")])
        + &row(2, "hidden=\"1\"", &[V::T("L1"), V::T("a")])
        + &row(3, "", &[V::T("L2"), V::T("b")]);
    let book = xlsx(&[("p", "", body)], &[]);
    let import = check("a.xlsx", &book, "id,from\nL1,a\nL2,b\n");
    says(
        &import,
        "hidden rows are read as well, --leave-hidden leaves them out (row 2)",
    );
    let wish = Wish {
        leaves_hidden: true,
        ..Wish::default()
    };
    let (desk, import) = read("a.xlsx", &book, &wish).unwrap();
    assert_eq!(links(&desk), "id,from\nL2,b\n");
    says(&import, "row 2 set aside: hidden, left out as you say");
}

#[test]
fn of_several_pages_the_one_with_the_best_headings_is_read() {
    let book = xlsx(
        &[
            ("Notes", "", rows(&[&[V::T("hello")]])),
            (
                "Old",
                "state=\"hidden\"",
                rows(&[&[V::T("id"), V::T("from")], &[V::T("X1"), V::T("z")]]),
            ),
            (
                "Links",
                "",
                rows(&[&[V::T("id"), V::T("from")], &[V::T("L1"), V::T("a")]]),
            ),
        ],
        &[],
    );
    let import = check("a.xlsx", &book, "id,from\nL1,a\n");
    says(&import, "xlsx file, page `Links`");
    says(
        &import,
        "other pages were not read: Notes, Old; name one with --page",
    );
    let page = |name: &str| Wish {
        page: Some(name.to_owned()),
        ..Wish::default()
    };
    let (desk, import) = read("a.xlsx", &book, &page("old")).unwrap();
    assert_eq!(links(&desk), "id,from\nX1,z\n");
    says(&import, "the page was hidden");
    assert_eq!(
        read("a.xlsx", &book, &page("Lnks")).unwrap_err().code,
        "no-page"
    );
    assert_eq!(
        read("a.csv", b"id\n", &page("x")).unwrap_err().code,
        "no-page"
    );
}

// Hazard 10: totals, sections and notes.

#[test]
fn totals_sections_and_notes_are_set_aside_and_listed() {
    let book = one_page(&[
        &[V::T("id"), V::T("from"), V::T("to"), V::T("length")],
        &[V::T("# Pump house #")],
        &[V::T("L1"), V::T("a"), V::T("b"), V::N(3.0)],
        &[V::T("Quarantine lab")],
        &[
            V::T("L2"),
            V::T("a"),
            V::T("c"),
            V::N(4.0),
            V::No,
            V::F("SUM(D2:D9)/100", 0.07),
        ],
        &[V::T("id"), V::T("from"), V::T("to"), V::T("length")],
        &[V::T("L3"), V::T("a"), V::T("d"), V::N(5.0)],
        &[V::T("Total"), V::No, V::No, V::F("SUM(D2:D7)", 12.0)],
        &[V::No, V::No, V::No, V::F("AVERAGE(D2:D7)", 4.0)],
        &[V::No, V::No, V::No, V::No, V::No, V::N(7.0)],
    ]);
    let (desk, import) = plain("a.xlsx", &book);
    let text = links(&desk);
    assert_eq!(text.lines().count(), 4, "{text}");
    for line in [
        "row 2 set aside: a section or a remark (`# Pump house #`)",
        "row 4 set aside: a section or a remark (`Quarantine lab`)",
        "row 6 set aside: the headings again",
        "row 8 set aside: a total (`Total, 12`)",
        "row 9 set aside: a total (`4`)",
        "row 10 set aside: beside the table (`7`)",
    ] {
        says(&import, line);
    }
}

// Hazard 11: units and speeds.

#[test]
fn units_stand_in_headings_in_cells_or_nowhere() {
    check(
        "a.csv",
        b"id,Length (cm),Speed,extra_loss\nL1,250,10G,2.5 dB\nL2,3m,10GE,\nL3,12',10000,\nL4,,GE,\n",
        "id,speed,length,extra_loss\nL1,10,2.5,2.5\nL2,10,3,\nL3,10,3.6576,\nL4,1,,\n",
    );
    let import = check(
        "a.csv",
        b"id,Len\nL1,1200\nL2,40\n",
        "id,length\nL1,1200\nL2,40\n",
    );
    says(
        &import,
        "length names no unit and goes up to 1200, taken as m; if they are feet, say --map 'Len=length:ft'",
    );
    let import = check(
        "a.csv",
        b"id,Len\nL1,40 ft\nL2,40\n",
        "id,length\nL1,12.192\nL2,40\n",
    );
    says(&import, "length has units in some cells");
    let (desk, _) = read(
        "a.csv",
        b"id,Len\nL1,1200\n",
        &with_map(&[("Len", "length:ft")]),
    )
    .unwrap();
    assert_eq!(links(&desk), "id,length\nL1,365.76\n");
}

#[test]
fn bare_speeds_go_by_the_column_where_both_units_are_usual() {
    check(
        "a.csv",
        b"id,speed\nL1,10\nL2,100\nL3,1\n",
        "id,speed\nL1,10\nL2,100\nL3,1\n",
    );
    check(
        "a.csv",
        b"id,speed\nL1,10\nL2,1000\nL3,25\n",
        "id,speed\nL1,0.01\nL2,1\nL3,25\n",
    );
    check(
        "a.csv",
        b"id,speed\nL1,4x10G\n",
        "id,speed,members\nL1,10,4\n",
    );
}

// Hazards 12 and 13: ids.

#[test]
fn ids_that_stand_twice_are_all_kept() {
    let import = check("a.csv", b"id,from\nL1,a\nl1,b\n", "id,from\nL1,a\nl1,b\n");
    says(
        &import,
        "id `l1` is not the only one, all are kept; --tell-apart makes `l1-2` of the next (row 3)",
    );
    assert_eq!(import.n_twins, 1);
}

#[test]
fn ids_that_stand_twice_can_be_told_apart() {
    let wish = Wish {
        tells_apart: true,
        ..Wish::default()
    };
    let bytes = b"id,from\nL1,a\nl1,b\nL1-2,c\nL1,d\nL1-2,e\n";
    let (desk, import) = read("a.csv", bytes, &wish).unwrap();
    assert_eq!(
        links(&desk),
        "id,from\nL1,a\nl1-3,b\nL1-2,c\nL1-4,d\nL1-2-2,e\n"
    );
    assert_eq!(import.n_twins, 3);
    says(
        &import,
        "id `l1` is not the only one, this one comes as `l1-3` (row 3)",
    );
    // Those of the plan count as well.
    let mut desk = desk;
    let folder = TempDir::new().unwrap();
    let path = folder.path().join("again.csv");
    fs::write(&path, b"id,from\nL1,z\n").unwrap();
    desk.import(&path, &wish, &reader(), &mut |_| true).unwrap();
    let sheet = desk.plan().sheet("links").unwrap();
    assert!(desk.plan().find(sheet, "L1-5").is_some());
}

#[test]
fn ids_that_a_spreadsheet_changed_are_warned_of() {
    let book = one_page(&[
        &[V::T("id"), V::T("from")],
        &[V::N(100_000.0), V::T("a")],
        &[V::D(45_720.0), V::T("b")],
        &[V::T("1E7"), V::T("c")],
    ]);
    let import = check("a.xlsx", &book, "id,from\n100000,a\n2025-03-04,b\n1E7,c\n");
    says(&import, "2 of the ids are numbers or dates among 1 texts");
    let import = check(
        "a.csv",
        b"id,from\n1E+05,a\n4-Mar,b\nL3,c\n",
        "id,from\n1E+05,a\n4-Mar,b\nL3,c\n",
    );
    says(&import, "2 of the ids are numbers or dates");
}

// Hazard 14: blanks around words.

#[test]
fn spaces_around_a_cell_do_not_count() {
    check(
        "a.csv",
        "id,from,to\n L1\u{a0}, reef ,core\n".as_bytes(),
        "id,from,to\nL1,reef,core\n",
    );
}

// Hazards 15 and 16: formulas without results and errors.

#[test]
fn what_is_not_calculated_is_neither_nothing_nor_zero() {
    let book = one_page(&[
        &[V::T("id"), V::T("length"), V::T("Rack"), V::T("notes")],
        &[V::T("L1"), V::Bare("B9*2"), V::Bare("C9"), V::E("#REF!")],
        &[V::Bare("A1"), V::E("#DIV/0!"), V::F("1+1", 2.0), V::B(true)],
    ]);
    let import = check(
        "a.xlsx",
        &book,
        "id,length,notes,rack\nL1,not calculated,#REF!,not calculated\nL2,#DIV/0!,TRUE,2\n",
    );
    says(
        &import,
        "length is not calculated in the file; open it once where it comes from and save it (row 2)",
    );
    says(&import, "length holds the error #DIV/0! (row 3)");
    says(&import, "numbered 1 link without an id");
}

// Hazard 17: words for nothing.

#[test]
fn words_for_nothing_are_nothing_and_told() {
    let import = check(
        "a.csv",
        b"id,from,to,length,Rack\nL1,a,tbd,n/a,-\nL2,-,c,-,x\n",
        "id,from,to,length,rack\nL1,a,,,-\nL2,,c,,x\n"
            .replace(",length", "")
            .replace("L1,a,,,-", "L1,a,,-")
            .replace("L2,,c,,x", "L2,,c,x")
            .as_str(),
    );
    says(&import, "length `n/a` taken as empty (row 2)");
    says(&import, "to `tbd` taken as empty (row 2)");
}

// Hazard 18: one bad cell.

#[test]
fn a_damaged_page_is_named_and_others_can_be_read() {
    let strings = b"<sst xmlns=\"http://schemas.openxmlformats.org/spreadsheetml/2006/main\" count=\"1\" uniqueCount=\"1\"><si><t>x</t></si></sst>";
    let bad = "<row r=\"1\"><c r=\"A1\" t=\"s\"><v>99999</v></c></row>".to_owned();
    let good = rows(&[&[V::T("id"), V::T("from")], &[V::T("L1"), V::T("a")]]);
    let book = xlsx(
        &[("Bad", "", bad), ("Good", "", good)],
        &[("xl/sharedStrings.xml", strings)],
    );
    check("a.xlsx", &book, "id,from\nL1,a\n");
    let wish = Wish {
        page: Some("Bad".to_owned()),
        ..Wish::default()
    };
    let problem = read("a.xlsx", &book, &wish).unwrap_err();
    assert!(
        problem.message.starts_with("page `Bad` cannot be read"),
        "{problem:?}"
    );
    assert!(problem.help[0].contains("Good"), "{problem:?}");
}

// Hazard 24: macros and links to other files.

#[test]
fn macros_and_links_are_told_and_not_followed() {
    let page = rows(&[&[V::T("id"), V::T("from")], &[V::T("L1"), V::T("a")]]);
    let more: [(&str, &[u8]); 2] = [
        ("xl/vbaProject.bin", b"x"),
        ("xl/externalLinks/externalLink1.xml", b"<x/>"),
    ];
    let import = check(
        "a.xlsm",
        &xlsx(&[("p", "", page)], &more),
        "id,from\nL1,a\n",
    );
    says(&import, "the file holds macros, which were not run");
    says(
        &import,
        "the file links to other files, which were not looked at",
    );
}

// Hazard 31: our own workbook.

#[test]
fn the_workbook_of_a_plan_goes_to_merge() {
    let page = || rows(&[&[V::T("id"), V::T("from")], &[V::T("L1"), V::T("a")]]);
    let custom = b"<Properties><property name=\"plan id\"><vt:lpwstr xmlns:vt=\"x\">7f&amp;1</vt:lpwstr></property></Properties>";
    let by_property = xlsx(&[("p", "", page())], &[("docProps/custom.xml", custom)]);
    let by_cell = xlsx(
        &[
            ("Summary", "", rows(&[&[V::T("Plan id"), V::T("7f")]])),
            ("p", "", page()),
        ],
        &[],
    );
    for book in [by_property.clone(), by_cell] {
        let problem = read("a.xlsx", &book, &Wish::default()).unwrap_err();
        assert_eq!(problem.code, "own-workbook");
        assert!(problem.help[0].contains("merge"));
    }
    let folder = TempDir::new().unwrap();
    let path = folder.path().join("a.xlsx");
    fs::write(&path, by_property).unwrap();
    let book = reader()
        .read(fs::File::open(&path).unwrap(), Wanted::All, &mut |_| true)
        .unwrap();
    assert_eq!(book.properties, [("plan id".to_owned(), "7f&1".to_owned())]);
}

// Ends of links.

#[test]
fn device_and_port_in_one_cell_are_parted() {
    let import = check(
        "a.csv",
        b"Label,From,To\nL1,EDGE-01 Gi0/0/0,ISP1 ONT\nL2,EDGE-01 Gi0/0/1,core swp3\nL3,EDGE-02 Gi0/0/1,core swp4\n",
        "id,from,from_port,to,to_port\nL1,EDGE-01,Gi0/0/0,ISP1 ONT,\nL2,EDGE-01,Gi0/0/1,core,swp3\nL3,EDGE-02,Gi0/0/1,core,swp4\n",
    );
    says(
        &import,
        "from holds device and port, parted at the last space (rows 2, 3, 4)",
    );
}

#[test]
fn a_range_of_ports_is_a_bundle() {
    let import = check(
        "a.csv",
        b"id,from,from_port,to,to_port\nL1,a,g1/0/6-7,b,swp1-2\nL2,a,swp1-4,b,\nL3,a,swp1-4,b,swp1-2\n",
        "id,from,from_port,to,to_port,members\nL1,a,g1/0/6-7,b,swp1-2,2\nL2,a,swp1-4,b,,4\nL3,a,swp1-4,b,swp1-2,\n",
    );
    says(
        &import,
        "the ranges of ports differ at the two ends, no members are taken (row 4)",
    );
}

#[test]
fn names_that_stand_once_are_filled_down() {
    let body = rows(&[
        &[V::T("id"), V::T("from"), V::T("Port"), V::T("to")],
        &[V::T("L1"), V::T("reef"), V::T("p1"), V::T("core")],
        &[V::T("L2"), V::No, V::T("p2"), V::T("core")],
        &[V::T("L3"), V::No, V::No, V::T("core")],
    ]);
    let expected = "id,from,from_port,to\nL1,reef,p1,core\nL2,reef,p2,core\nL3,,,core\n";
    let import = check("a.xlsx", &xlsx(&[("p", "", body.clone())], &[]), expected);
    says(&import, "from is taken from the row above (row 3)");
    let merged = body + "<!--behind--><mergeCells><mergeCell ref=\"B2:B4\"/></mergeCells>";
    let expected = "id,from,from_port,to\nL1,reef,p1,core\nL2,reef,p2,core\nL3,reef,,core\n";
    check("a.xlsx", &xlsx(&[("p", "", merged)], &[]), expected);
}

#[test]
fn a_row_seen_from_the_other_end_is_told() {
    let (_, import) = plain(
        "a.csv",
        b"id,from,from_port,to,to_port\nL1,a,1,b,2\nL2,b,2,a,1\n",
    );
    says(
        &import,
        "the two ends of row 2 stand here the other way round (row 3)",
    );
}

// Other forms.

#[test]
fn all_forms_say_the_same() {
    let texts: [&[&str]; 2] = [
        &["id", "from", "length"],
        &["L1", "Becken <S\u{fc}d> & co", "3 m"],
    ];
    let expected = "id,from,length\nL1,Becken <Süd> & co,3\n";
    check("a.ods", &ods(&ods_table("p", &texts)), expected);
    let cells: Vec<Vec<V>> = texts
        .iter()
        .map(|row| row.iter().map(|text| V::T(text)).collect())
        .collect();
    let cells: Vec<&[V]> = cells.iter().map(Vec::as_slice).collect();
    check("a.xlsx", &one_page(&cells), expected);
    let import = check(
        "a.xls",
        &xls(&[
            &[V::T("id"), V::T("from"), V::T("length")],
            &[V::T("L1"), V::T("reef"), V::N(3.5)],
        ]),
        "id,from,length\nL1,reef,3.5\n",
    );
    says(&import, "xls file, page `Cables`");
    let import = check(
        "a.xlsb",
        &xlsb(&[
            &[V::T("id"), V::T("from"), V::T("length")],
            &[V::T("L1"), V::T("Süd"), V::N(3.5)],
        ]),
        "id,from,length\nL1,Süd,3.5\n",
    );
    says(&import, "xlsb file, page `Cables`");
    // A name does not say what a file is.
    check("a.csv", &one_page(&cells), expected);
}

#[test]
fn open_documents_say_dates_numbers_errors_and_repeats() {
    let table = "<table:table table:name=\"Old\" table:style-name=\"away\"/><table:table table:name=\"p\">\
        <table:table-row><table:table-cell><text:p>id</text:p></table:table-cell><table:table-cell><text:p>from</text:p></table:table-cell>\
        <table:table-cell><text:p>length</text:p></table:table-cell><table:table-cell><text:p>Install date</text:p></table:table-cell></table:table-row>\
        <table:table-row table:number-rows-repeated=\"3\"/>\
        <table:table-row table:visibility=\"filter\"><table:table-cell><text:p>L1</text:p></table:table-cell>\
        <table:table-cell table:number-rows-spanned=\"2\"><office:annotation><text:p>no</text:p></office:annotation><text:p>a<text:s text:c=\"2\"/>b</text:p><text:p>c</text:p></table:table-cell>\
        <table:table-cell office:value-type=\"float\" office:value=\"2.5\"><text:p>2,5</text:p></table:table-cell>\
        <table:table-cell office:value-type=\"date\" office:date-value=\"2031-03-04T00:00:00\"><text:p>4 March</text:p></table:table-cell></table:table-row>\
        <table:table-row><table:table-cell><text:p>L2</text:p></table:table-cell><table:covered-table-cell/>\
        <table:table-cell table:formula=\"of:=[.A1]\" office:value-type=\"string\" calcext:value-type=\"error\"><text:p>#REF!</text:p></table:table-cell></table:table-row>\
        <table:table-row><table:table-cell table:number-columns-repeated=\"2\"><text:p>x7</text:p></table:table-cell><table:table-cell table:formula=\"of:=1\"/></table:table-row>\
        <table:table-row table:number-rows-repeated=\"1048000\"><table:table-cell table:number-columns-repeated=\"16384\"/></table:table-row>\
        </table:table>";
    let import = check(
        "a.ods",
        &ods(table),
        "id,from,length,install_date\nL1,\"a  b\nc\",2.5,2031-03-04\nL2,\"a  b\nc\",#REF!,\nx7,x7,not calculated,\n",
    );
    says(
        &import,
        "hidden rows are read as well, --leave-hidden leaves them out (row 5)",
    );
    says(&import, "other pages were not read: Old");
}

// Mappings.

#[test]
fn what_is_said_of_headings_is_kept_undone_and_used_again() {
    let folder = TempDir::new().unwrap();
    let path = folder.path().join("reef cables.csv");
    fs::write(&path, "Wire,Begin,Finish,Run,Colour\nL1,a,b,100,red\n").unwrap();
    let wish = with_map(&[
        ("begin", "from"),
        ("finish", "to"),
        ("Run", "length:ft"),
        ("Colour", "-"),
    ]);
    let mut desk = Desk::empty("").unwrap();
    let import = desk.import(&path, &wish, &reader(), &mut |_| true).unwrap();
    assert_eq!(import.kept_as.as_deref(), Some("reef cables"));
    assert_eq!(links(&desk), "id,from,to,length\nL1,a,b,30.48\n");
    let saved = plan_file::write(desk.plan());
    assert!(
        saved.contains(
            "[mapping.\"reef cables\"]\nheadings = [\"Wire\", \"Begin\", \"Finish\", \"Run\", \"Colour\"]\n\
             columns = { Begin = \"from\", Colour = \"-\", Finish = \"to\", Run = \"length:ft\" }\n"
        ),
        "{saved}"
    );
    let mut again = Desk::of_text(&saved).unwrap();
    assert_eq!(again.problems().count(), 0);
    assert_eq!(plan_file::write(again.plan()), saved);
    fs::write(&path, "Wire,Begin,Finish,Run,Colour\nL2,c,b,200,blue\n").unwrap();
    let import = again
        .import(&path, &Wish::default(), &reader(), &mut |_| true)
        .unwrap();
    says(
        &import,
        "the mapping `reef cables` of an earlier import was used",
    );
    assert_eq!(
        links(&again),
        "id,from,to,length\nL1,a,b,30.48\nL2,c,b,60.96\n"
    );
    assert_eq!(again.undo().unwrap().as_deref(), Some("import"));
    assert_eq!(plan_file::write(again.plan()), saved);
    desk.undo().unwrap();
    assert!(!plan_file::write(desk.plan()).contains("mapping"));
}

#[test]
fn a_mapping_that_is_not_understood_is_kept_in_the_file() {
    let text = "portledger = 1\n\n[mapping]\nodd = { headings = 3 }\n";
    let desk = Desk::of_text(text).unwrap();
    let told: Vec<&str> = desk.problems().map(|problem| problem.code).collect();
    assert!(told.contains(&"unknown-key"), "{told:?}");
    assert!(plan_file::write(desk.plan()).contains("odd = { headings = 3 }"));
}

#[test]
fn every_heading_of_the_list_is_known_or_kept_as_text() {
    // Headings as they are met, with the column that they mean; those without one stay texts.
    let list = [
        (
            "id",
            "Cable ID|label|Label|Link Name|Wire No.|Cable #|Cable No.|Tag|Ckt|Circuit ID",
        ),
        (
            "from",
            "From|a_device|A-End Device|Local Device|Local Device Name|Origin Device|Device|Switch|Switch Name|Leaf|Source",
        ),
        (
            "from_port",
            "a_iface|A-End Port|Local Port|Origin Port|Switch Port|Port|Leaf port|Intf|Source Port",
        ),
        (
            "to",
            "To|b_device|B-End Device|Remote Device|Remote Device Name|Remote Switch|Destination Device|Connected Host / Device|Connected Host|Target|Spine|Z-End|Dest",
        ),
        (
            "to_port",
            "b_iface|B-End Port|Remote Port|Destination Port|Target Interface|Spine port",
        ),
        ("medium", "Type|type|Cable Type|Link type|Media|Fibre|Fiber"),
        ("length", "Length|Length (cm)|Total Length (m)|Len ft"),
        ("role", "Purpose|Function|Role|class"),
        ("state", "status|Status"),
        (
            "notes",
            "description|Notes|Note|Isolation / note|Link Description",
        ),
        (
            "",
            "Patch Panel|Patch Port|Patch Panel Port|Patch|PP|Panel/Port|Wall Outlet|Area|Jack|Room|Drop|Faceplate|Cores|Conductors|\
             Length purchased (m)|Slack (cm)|Carries|Signal|VLAN|VLAN ID|VLAN(s)|Mode|PoE|Tested|Result|Sheets Referenced|Parameter|\
             Value|Link Loss Factor|Estimate of Link Loss Value|PT|PR|PB|PM|LL|OPB worst|OPB typ|d worst|d typ|Connection loss|Splice loss|\
             Trunk loss per km",
        ),
    ];
    let mut n = 0;
    for (column, headings) in list {
        for heading in headings.split('|') {
            n += 1;
            // The other end of a link makes it a table of links.
            let other = if column == "from" { "to" } else { "from" };
            let text = format!("{other};{heading}\na;1\n");
            let (_, import) = plain("a.csv", text.as_bytes());
            let mapped = &import.mapped[1];
            match column {
                "" => assert_eq!(mapped.how, How::Unknown, "{heading}"),
                column => assert_eq!(mapped.column, column, "{heading}"),
            }
        }
    }
    assert!(n >= 110, "{n}");
}

// The door.

#[test]
fn the_command_line_reads_workbooks_and_a_dry_run_changes_nothing() {
    let folder = TempDir::new().unwrap();
    let (plan, book) = (folder.path().join("a.plan"), folder.path().join("b.xlsx"));
    let page = rows(&[
        &[V::T("Cable"), V::T("Device A"), V::T("Run")],
        &[V::T("L1"), V::T("a\u{1b}[31m"), V::N(250.0)],
        &[V::T("Total")],
    ]);
    fs::write(&book, xlsx(&[("p", "", page)], &[])).unwrap();
    let run = |args: &[&str]| run(folder.path(), args);
    assert_eq!(run(&["new", "a.plan"]).0, 0);
    let before = fs::read(&plan).unwrap();
    let (code, out, _) = run(&[
        "import",
        "a.plan",
        "b.xlsx",
        "--map",
        "Run=length:ft",
        "--dry-run",
    ]);
    assert_eq!(code, 0, "{out}");
    assert!(
        out.contains("row 3 set aside: a total (`Total`)")
            && out.contains("1 link, 0 switches, 1 row set aside"),
        "{out}"
    );
    assert_eq!(fs::read(&plan).unwrap(), before);
    let (_, wet, _) = run(&["import", "a.plan", "b.xlsx", "--map", "Run=length:ft"]);
    assert!(wet.starts_with(&out), "{wet}\n--\n{out}");
    assert!(!wet.contains('\u{1b}'));
    let text = fs::read_to_string(&plan).unwrap();
    assert!(
        text.contains("[mapping.b]") && text.contains("76.2"),
        "{text}"
    );
    let (code, _, error) = run(&["import", "a.plan", "b.xlsx", "--page", "q"]);
    assert_eq!(code, 2);
    assert!(error.contains("there is no page `q`"), "{error}");
}

fn run(folder: &Path, args: &[&str]) -> (i32, String, String) {
    let out = std::process::Command::new(env!("CARGO_BIN_EXE_portledger"))
        .current_dir(folder)
        .args(args)
        .output()
        .unwrap();
    let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
    (
        out.status.code().unwrap(),
        text(&out.stdout),
        text(&out.stderr),
    )
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, cases: 48, ..ProptestConfig::default() })]

    /// Whatever stands in a page, every row is a link, set aside, or a heading, once.
    #[test]
    fn every_row_of_a_workbook_is_somewhere(
        table in prop::collection::vec(prop::collection::vec((0_usize..24, any::<bool>()), 0..8), 1..25),
        titles in 0_usize..3,
    ) {
        const WORDS: [&str; 24] = [
            "", " ", "L1", "pump", "Total", "# x", "om4 10g", "12", "1,5", "3 ft", "-", "tbd", "swp1-4", "a Gi0/1", "10G",
            "id", "from", "Device", "Port", "m", "#DIV/0!", "\u{1b}[2J", "é", "two\nlines",
        ];
        let mut all: Vec<Vec<V>> = (0..titles).map(|_| vec![V::T("Cables")]).collect();
        all.push(["label", "a_device", "b_device", "from_port", "status", "Length (ft)"].map(V::T).to_vec());
        for row in &table {
            all.push(row.iter().map(|(at, is_formula)| match (WORDS[*at], is_formula) {
                ("", _) => V::No,
                ("#DIV/0!", _) => V::E("#DIV/0!"),
                ("12", false) => V::N(12.0),
                ("12", true) => V::F("SUM(A1:A2)", 12.0),
                ("-", true) => V::Bare("A1"),
                (text, _) => V::T(text),
            }).collect());
        }
        let slices: Vec<&[V]> = all.iter().map(Vec::as_slice).collect();
        let (_, import) = plain("a.xlsx", &one_page(&slices));
        let n_rows = all.iter().filter(|row| row.iter().any(|cell| !matches!(cell, V::No))).count();
        prop_assert_eq!(import.n_links + import.set_aside.len() + import.heading_rows.len(), n_rows);
        let mut aside: Vec<usize> = import.set_aside.iter().map(|row| row.row).collect();
        aside.dedup();
        prop_assert_eq!(aside.len(), import.set_aside.len());
    }

    /// What is written into a workbook comes back as it was.
    #[test]
    fn cells_come_back(
        cells in prop::collection::vec((0_u8..4, "[ -~é€]{0,12}", -1e9_f64..1e9), 1..40),
    ) {
        let values: Vec<V> = cells.iter().map(|(kind, text, number)| match kind {
            0 => V::N(*number),
            1 => V::B(*number > 0.0),
            _ => V::T(text),
        }).collect();
        let folder = TempDir::new().unwrap();
        let path = folder.path().join("a.xlsx");
        fs::write(&path, one_page(&[&values])).unwrap();
        let book = reader().read(fs::File::open(&path).unwrap(), Wanted::All, &mut |_| true).unwrap();
        let row = book.pages[0].grid.row(0);
        for (at, value) in values.iter().enumerate() {
            let cell = row.and_then(|row| row.cell(at));
            match value {
                V::N(number) => {
                    let cell = cell.unwrap();
                    prop_assert_eq!(cell.kind, Kind::Number);
                    prop_assert_eq!(cell.text.parse::<f64>().unwrap().to_bits(), (number + 0.0).to_bits());
                }
                V::T(text) if !text.is_empty() => prop_assert_eq!(cell.unwrap().text, *text),
                _ => {}
            }
        }
    }
}

#[test]
fn a_table_is_read_without_a_plan_file_at_hand() {
    let desk = Desk::empty("").unwrap();
    let source = Source::of_text(b"id,from\nL1,a\n", "cables", &Wish::default()).unwrap();
    let import = portledger::files::import::links(desk.plan(), &source, &Wish::default()).unwrap();
    assert_eq!((import.n_links, import.page.as_str()), (1, ""));
}

// Lists that went out of a plan.

#[test]
fn a_list_of_a_plan_is_read_as_it_stands_without_what_is_computed() {
    let bytes = b"id,verdict,from,to,length (m),margin (dB),notes,mine\n\
        L1,fits,-,core p1,30,0.3,Total,x\n\
        Total,unknown,a,b,,,,\n\
        L2,,a,b,20,,,\n\
        Total,,,,50,,,\n";
    let import = check(
        "a.csv",
        bytes,
        "id,from,to,length,notes,mine\nL1,-,core p1,30,Total,x\nTotal,a,b,,,\nL2,a,b,20,,\n",
    );
    says(&import, "a list of a plan: 2 computed columns are left out");
    says(&import, "row 5 set aside: a total");
    let kept = with_map(&[("margin (dB)", "text")]);
    let (_, import) = read("a.csv", bytes, &kept).unwrap();
    says(&import, "a list of a plan: 1 computed column is left out");
    let how = |heading: &str| {
        import
            .mapped
            .iter()
            .find(|one| one.heading == heading)
            .unwrap()
            .how
    };
    assert_eq!(how("margin (dB)"), How::Said);
    assert_eq!(how("verdict"), How::Computed);
}

#[test]
fn a_list_of_somebody_else_keeps_a_column_that_is_computed_here() {
    for bytes in [
        &b"id,from,verdict\nL1,a,good\n"[..],
        b"Cable,from,verdict,margin (dB)\nL1,a,good,3\n",
    ] {
        let (_, import) = plain("a.csv", bytes);
        says(
            &import,
            "heading `verdict` is not known; its cells are in column",
        );
    }
}

#[test]
fn a_number_of_many_digits_is_the_one_that_the_saved_plan_holds() {
    let tiny = format!("0.{}5", "0".repeat(100));
    let long = format!("12.5{}", "0".repeat(100));
    let table = format!("id,length (m),speed (Gb/s)\nA,{tiny},{long}\nB,{long},10\n");
    let (desk, import) = plain("cables.csv", table.as_bytes());
    assert_eq!(import.set_aside, []);
    let links = desk.plan().sheet("links").unwrap();
    let entered = |desk: &Desk, column: &str| {
        let column = desk.plan().def(links).column(column).unwrap();
        let rows = desk.plan().rows(links).order().iter();
        rows.map(|row| desk.plan().entry(links, column, *row))
            .collect::<Vec<Entry>>()
    };
    assert_eq!(
        entered(&desk, "length"),
        [Entry::Number(5e-101), Entry::Number(12.5)]
    );
    let saved = plan_file::write(desk.plan());
    let again = Desk::of_text(&saved).unwrap();
    assert_eq!(again.problems().next(), None);
    for column in ["length", "speed"] {
        assert_eq!(entered(&again, column), entered(&desk, column), "{column}");
    }
    assert_eq!(plan_file::write(again.plan()), saved);
}

#[test]
fn a_step_made_ahead_on_a_copy_is_the_step_made_here() {
    let folder = TempDir::new().unwrap();
    let path = folder.path().join("cables.csv");
    fs::write(
        &path,
        "Cable,Device A,Device B,Run (m),Rack\nL1,reef,core,100,R1\nL1,core,reef,9000,\n",
    )
    .unwrap();
    let opened = |room: &str| {
        let room = folder.path().join(room);
        fs::create_dir_all(&room).unwrap();
        let path = room.join("reef.plan");
        fs::write(&path, plan_file::write(Desk::demo().unwrap().plan())).unwrap();
        Desk::open_for_editing(&path, None).unwrap()
    };
    // Texts of an edit are those of the plan that it was made for.
    let edit_of = |desk: &Desk| {
        let wish = Wish::default();
        let read = read_table(desk.plan(), &path, &wish, &reader(), &mut |_| true);
        read.unwrap().1.edit
    };
    let mut here = opened("here");
    let edit = edit_of(&here);
    here.apply("import", edit).unwrap();

    let mut there = opened("there");
    let edit = edit_of(&there);
    let before = plan_file::write(there.plan());
    let stopped = Gauge::default();
    stopped.stop();
    let problem = there
        .ahead()
        .unwrap()
        .make("import", edit.clone(), &stopped);
    assert_eq!(problem.unwrap_err().code, "stopped");
    let make = |desk: &Desk| {
        let ahead = desk.ahead().unwrap();
        ahead
            .make("import", edit.clone(), &Gauge::default())
            .unwrap()
    };
    let late = make(&there);
    let prepared = make(&there);
    assert_eq!(plan_file::write(there.plan()), before);
    there.take_prepared(prepared).unwrap();
    assert_eq!(
        plan_file::write(there.plan()),
        plan_file::write(here.plan())
    );
    assert_eq!(there.outcome(), here.outcome());
    assert_eq!(there.findings().list, here.findings().list);
    assert_eq!(there.take_prepared(late).unwrap_err().code, "plan-changed");
    assert_eq!(there.steps_done().collect::<Vec<_>>(), ["import"]);
    assert_eq!(there.state(), here.state());
    // The journal has it, for whoever opens the plan after a crash.
    let after = plan_file::write(there.plan());
    assert!(there.settle());
    let crashed = folder.path().join("crashed");
    fs::create_dir_all(&crashed).unwrap();
    for name in ["reef.plan", ".reef.plan.journal"] {
        fs::copy(folder.path().join("there").join(name), crashed.join(name)).unwrap();
    }
    let mut again = Desk::open_for_editing(&crashed.join("reef.plan"), None).unwrap();
    assert_eq!(again.take_recovery().unwrap(), 1);
    assert_eq!(plan_file::write(again.plan()), after);
    assert_eq!(there.undo().unwrap().as_deref(), Some("import"));
    assert_eq!(plan_file::write(there.plan()), before);
    there.redo().unwrap();
    assert_eq!(plan_file::write(there.plan()), after);
}
