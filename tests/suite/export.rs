//! What an export leaves on the disk: pages, values and lists of the workbook as other programs read
//! them, the plan as it was behind them, and no file that was there before.

use super::workbook::{Calculator, differences, export, export_with};
use calamine::{Data, DataType, Reader, SheetVisible, Xlsx};
use portledger::desk::{Desk, Wanted};
use portledger::files::plan_file;
use portledger::report::{BASE, decoded};
use std::collections::BTreeMap;
use std::io::{Cursor, Read};
use std::process::Command;

/// A file inside a workbook.
fn inside(bytes: &[u8], name: &str) -> String {
    let mut zip = zip::ZipArchive::new(Cursor::new(bytes)).unwrap();
    let mut text = String::new();
    zip.by_name(name)
        .unwrap()
        .read_to_string(&mut text)
        .unwrap();
    text
}

/// All pages inside a workbook, as they are written.
fn all_pages(bytes: &[u8]) -> String {
    let zip = zip::ZipArchive::new(Cursor::new(bytes)).unwrap();
    let names: Vec<String> = zip
        .file_names()
        .map(|name| name.unwrap().into_owned())
        .collect();
    let pages = names
        .iter()
        .filter(|name| name.starts_with("xl/worksheets/sheet"));
    pages.map(|name| inside(bytes, name)).collect()
}

fn demo() -> Desk {
    Desk::demo().unwrap()
}

fn set(desk: &mut Desk, sheet: &str, id: &str, column: &str, text: &str) {
    let sheet = desk.plan().sheet(sheet).unwrap();
    let row = desk.plan().find(sheet, id).unwrap();
    let column = desk.plan().def(sheet).column(column).unwrap();
    desk.set(sheet, row, column, text).unwrap();
}

#[test]
fn the_pages_stand_in_order_with_the_plan_hidden_behind_them() {
    let book = export(&demo());
    let names: Vec<&str> = book.pages.iter().map(|page| page.name.as_str()).collect();
    assert_eq!(
        &names[..5],
        ["Summary", "Findings", "Parts", "Links", "Switches"]
    );
    assert_eq!(
        &names[names.len() - 3..],
        ["Assumptions", "Reference", BASE]
    );
    assert_eq!(book.written.pages, names);
    let read: Xlsx<_> = calamine::open_workbook_from_rs(Cursor::new(book.bytes)).unwrap();
    for sheet in read.sheets_metadata() {
        let wanted = match sheet.name == BASE {
            true => SheetVisible::Hidden,
            false => SheetVisible::Visible,
        };
        assert_eq!(sheet.visible, wanted, "{}", sheet.name);
    }
}

#[test]
fn the_plan_can_be_taken_out_of_the_workbook_again() {
    let mut desk = demo();
    for (text, at) in [
        ("two  blanks ", "M101"),
        ("_x0041_ \\ \t and ü", "M104"),
        ("=1+1", "M107"),
    ] {
        set(&mut desk, "links", at, "notes", text);
    }
    let book = export(&desk);
    let text = plan_file::write(desk.plan());
    let cells = book
        .page(BASE)
        .values
        .iter()
        .filter(|((row, _), _)| *row > 0);
    let cells: Vec<String> = cells.map(|(_, value)| value.to_string()).collect();
    assert_eq!(decoded(cells.iter().map(String::as_str)).unwrap(), text);
    let properties = inside(&book.bytes, "docProps/custom.xml");
    let sum = portledger::files::checksum(text.as_bytes());
    for wanted in ["plan_id", "plan_revision", "base_sha256", &sum] {
        assert!(properties.contains(wanted), "{wanted}");
    }
    // The second anchor, where a program drops the properties.
    assert_eq!(book.page("Summary").values[&(1, 3)], Data::String(sum));
}

#[test]
fn a_damaged_hidden_page_is_no_plan() {
    assert_eq!(
        decoded(["|a", "|b", "+c"].into_iter()).as_deref(),
        Some("a\nbc")
    );
    for cells in [
        vec!["|a", "b"],
        vec!["|a", ""],
        vec!["|a\\"],
        vec!["|\\zz;"],
        vec!["|\\110000;"],
    ] {
        assert_eq!(decoded(cells.clone().into_iter()), None, "{cells:?}");
    }
}

#[test]
fn only_functions_that_every_program_knows_are_used() {
    const KNOWN: &[&str] = &[
        "SUM",
        "MAX",
        "MIN",
        "ROUND",
        "IF",
        "AND",
        "OR",
        "NOT",
        "IFERROR",
        "INDEX",
        "MATCH",
        "SUMIFS",
        "COUNTIFS",
        "SUMPRODUCT",
        "LOG10",
        "LN",
        "EXP",
        "SQRT",
        "ABS",
    ];
    let book = export(&demo());
    for formula in book.pages.iter().flat_map(|page| page.formulas.values()) {
        assert!(formula.chars().count() < 8_192, "{formula}");
        // Texts in quotes are no part of this.
        let bare: String = formula.split('"').step_by(2).collect();
        for (at, _) in bare.match_indices('(') {
            let before = &bare[..at];
            let rest = before
                .trim_end_matches(|c: char| c.is_ascii_alphanumeric() || c == '.' || c == '_');
            let name = &before[rest.len()..];
            assert!(
                name.is_empty() || KNOWN.contains(&name),
                "{name} in {formula}"
            );
        }
    }
}

#[test]
fn a_text_that_looks_like_a_formula_stays_a_text() {
    let mut desk = demo();
    let texts = [
        "=1+1",
        "+31 20",
        "-",
        "@hall",
        "=HYPERLINK(\"x\")",
        "\u{7}bell",
    ];
    let links = desk.plan().sheet("links").unwrap();
    let ids: Vec<String> = texts
        .iter()
        .enumerate()
        .map(|(at, _)| desk.plan().id(links, desk.plan().rows(links).order()[at]))
        .collect();
    for (id, text) in ids.iter().zip(texts) {
        set(&mut desk, "links", id, "notes", text);
    }
    let book = export(&desk);
    let page = book.page("Links");
    let column = page.column("Notes").unwrap();
    for (id, text) in ids.iter().zip(texts) {
        let at = (page.row(id).unwrap(), column);
        assert!(!page.formulas.contains_key(&at), "{text}");
        assert_eq!(page.values[&at].to_string(), text.replace('\u{7}', " "));
    }
    assert!(inside(&book.bytes, "xl/styles.xml").contains("quotePrefix=\"1\""));
    let pages = all_pages(&book.bytes);
    assert!(!pages.contains("<hyperlink"), "no cell leads anywhere");
}

/// The rows of a page by the number in front of their cells, each with what it says of itself.
fn heights(page: &str) -> BTreeMap<u32, Option<f64>> {
    let rows = page.split("<row ").skip(1);
    let rows = rows.map(|row| &row[..row.find('>').unwrap()]);
    let said = |row: &str, name: &str| {
        let after = row.split(&format!("{name}=\"")).nth(1)?;
        after.split('"').next()?.parse::<f64>().ok()
    };
    rows.map(|row| (said(row, "r").unwrap() as u32, said(row, " ht")))
        .collect()
}

#[test]
fn wrapped_texts_have_room_and_no_chart_is_cut_in_two() {
    let desk = demo();
    let book = export(&desk);
    let findings = heights(&inside(&book.bytes, "xl/worksheets/sheet2.xml"));
    let list = &desk.findings().list;
    assert!(list.iter().any(|one| one.advice.len() > 130));
    for (row, finding) in (5..).zip(list) {
        // Words are broken between columns of 60 characters, so there are at least so many lines.
        let n_lines = finding
            .sentence
            .len()
            .max(finding.advice.len())
            .div_ceil(60);
        let height = findings[&row].unwrap_or(15.0);
        assert!(
            height >= 15.0 * n_lines as f64,
            "{height} {}",
            finding.advice
        );
    }
    let summary = inside(&book.bytes, "xl/worksheets/sheet1.xml");
    let drawing = inside(&book.bytes, "xl/drawings/drawing1.xml");
    let numbers = |text: &str, before: &str| -> Vec<u32> {
        let parts = text.split(before).skip(1);
        let digits = parts.map(|part| part.split(|c: char| !c.is_ascii_digit()).next().unwrap());
        digits.map(|digits| digits.parse().unwrap()).collect()
    };
    let breaks = numbers(&summary, "<brk id=\"");
    assert!(!breaks.is_empty());
    let rows = numbers(&drawing, "<xdr:row>");
    assert_eq!(rows.len(), 4, "two charts, each from a row to a row");
    for chart in rows.chunks(2) {
        let cuts = breaks
            .iter()
            .any(|cut| (chart[0] + 1..=chart[1]).contains(cut));
        assert!(!cuts, "{chart:?} {breaks:?}");
        let begun = breaks.iter().rev().find(|cut| **cut <= chart[0]).unwrap();
        assert!(chart[1] - begun <= 62, "{chart:?} {breaks:?}");
    }
}

#[test]
fn choices_come_from_lists_and_the_heads_stay_in_view() {
    let book = export(&demo());
    let pages = all_pages(&book.bytes);
    for wanted in [
        "<dataValidation type=\"list\"",
        "planned,ordered,in service,standby,spare,out",
        "Reference!$A$",
        "<pane ",
        "<autoFilter",
        "<pageSetUpPr fitToPage=\"1\"/>",
        "fitToHeight=\"0\"",
        "Page &amp;P of &amp;N",
        "type=\"beginsWith\"",
        "outlineLevel=\"1\"",
    ] {
        assert!(pages.contains(wanted), "{wanted}");
    }
    let book_xml = inside(&book.bytes, "xl/workbook.xml");
    assert!(book_xml.contains("_xlnm.Print_Titles") && book_xml.contains("_xlnm.Print_Area"));
    let notes: String = (1..=3)
        .map(|at| inside(&book.bytes, &format!("xl/comments{at}.xml")))
        .collect();
    assert!(
        notes.contains("Source: "),
        "heads say where a rule comes from"
    );
}

#[test]
fn the_same_plan_gives_the_same_bytes() {
    assert!(export(&demo()).bytes == export(&demo()).bytes);
}

#[test]
fn what_does_not_fit_stands_as_values_and_is_told() {
    let book = export_with(&demo(), 1_500);
    assert!(
        book.written
            .values
            .iter()
            .any(|one| one.why.contains("too many rows")),
        "{:?}",
        book.written.values
    );
    let differ = differences(&book, &Calculator::new(&book));
    assert!(differ.is_empty(), "{}", differ.join("\n"));
}

#[test]
fn formulas_and_columns_of_a_person_are_live_as_well() {
    use portledger::plan::Edit;
    use portledger::sheet::{ColumnDef, ColumnKind};
    let mut desk = demo();
    let links = desk.plan().sheet("links").unwrap();
    let margin = desk.plan().def(links).column("margin").unwrap();
    let formula = Some("loss_limit - loss - pick(length > 100 m, 0.2 dB, 0.1 dB)".to_owned());
    desk.apply(
        "formula",
        Edit::SetFormula {
            sheet: links,
            column: margin,
            formula,
        },
    )
    .unwrap();
    let texts = [
        ("near_feet", "ft", "nearest(length, 5 ft)"),
        ("tenfold", "dBm", "to_dbm(2 mW) + next_up(margin, 0.5 dB)"),
        (
            "root",
            "",
            "sqrt(length / 1 m) ^ 3 - ln(2) * exp(log10(50))",
        ),
        ("light_time", "ns", "propagation(length, 1.48)"),
    ];
    for (name, unit, formula) in texts {
        let def = ColumnDef {
            name: name.to_owned(),
            title: name.to_owned(),
            doc: String::new(),
            unit: unit.to_owned(),
            kind: ColumnKind::Number,
            choices: Vec::new(),
            to: None,
            formula: Some(formula.to_owned()),
            decimals: None,
            source: "mine".to_owned(),
            quiet: false,
        };
        desk.apply("column", Edit::AddColumn { sheet: links, def })
            .unwrap();
    }
    let book = export(&desk);
    let page = book.page("Links");
    for heading in [
        "Margin (dB)",
        "near_feet (ft)",
        "tenfold (dBm)",
        "root",
        "light_time (ns)",
    ] {
        assert_eq!(
            page.kind(page.column(heading).unwrap()),
            "computed",
            "{heading}"
        );
    }
    let differ = differences(&book, &Calculator::new(&book));
    assert!(differ.is_empty(), "{}", differ.join("\n"));
}

#[test]
fn a_file_that_is_there_is_not_replaced_unasked() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("reef.xlsx");
    std::fs::write(&path, "mine").unwrap();
    let mut desk = demo();
    let refused = desk
        .export(&path, &Wanted::default(), &mut |_| {})
        .unwrap_err();
    assert_eq!(refused.code, "file-there");
    assert_eq!(std::fs::read(&path).unwrap(), b"mine");
    let wanted = Wanted {
        replace: true,
        date: None,
        ..Wanted::default()
    };
    let done = desk.export(&path, &wanted, &mut |_| {}).unwrap();
    assert!(std::fs::read(&path).unwrap().starts_with(b"PK"));
    assert!(done.written.n_formulas > 10_000);
    let unknown = desk
        .export(&folder.path().join("reef.doc"), &wanted, &mut |_| {})
        .unwrap_err();
    assert_eq!(unknown.code, "no-such-format");
    let names = std::fs::read_dir(folder.path()).unwrap().count();
    assert_eq!(names, 1, "nothing is left beside it");
}

#[test]
fn a_text_longer_than_a_cell_may_be_is_cut_and_says_so() {
    let folder = tempfile::tempdir().unwrap();
    let mut desk = demo();
    // A sign outside the first plane counts as two in a workbook.
    set(
        &mut desk,
        "links",
        "M104",
        "notes",
        &"\u{1f41f}".repeat(40_000),
    );
    let path = folder.path().join("reef.xlsx");
    desk.export(&path, &Wanted::default(), &mut |_| {}).unwrap();
    let bytes = std::fs::read(&path).unwrap();
    let mut book: Xlsx<_> = calamine::open_workbook_from_rs(Cursor::new(bytes)).unwrap();
    let page = book.worksheet_range("Links").unwrap();
    let texts = page
        .used_cells()
        .filter_map(|(_, _, cell)| cell.get_string());
    let cut: Vec<&str> = texts.filter(|text| text.starts_with('\u{1f41f}')).collect();
    let starts: Vec<String> = cut
        .iter()
        .map(|text| text.chars().take(9).collect())
        .collect();
    assert_eq!(cut.len(), 1, "{starts:?}");
    assert!(cut[0].ends_with(" (cut here)") && cut[0].encode_utf16().count() < 32_767);
}

#[test]
fn a_plan_gets_its_id_once_and_keeps_it() {
    let folder = tempfile::tempdir().unwrap();
    let mut desk = demo();
    let wanted = Wanted {
        replace: true,
        date: None,
        ..Wanted::default()
    };
    let path = folder.path().join("reef.xlsx");
    assert!(desk.export(&path, &wanted, &mut |_| {}).unwrap().is_named);
    let id = desk.plan().id.clone();
    set(&mut desk, "links", "M104", "length", "90 m");
    assert!(!desk.export(&path, &wanted, &mut |_| {}).unwrap().is_named);
    assert_eq!(desk.plan().id, id);
    let text = plan_file::write(desk.plan());
    let again = Desk::of_text(&text).unwrap();
    assert_eq!(again.plan().id, id);
    assert_eq!(again.problems().count(), 0);
    desk.undo().unwrap();
    desk.undo().unwrap();
    assert_eq!(desk.plan().id, "");
}

#[test]
fn the_command_says_what_it_wrote() {
    let folder = tempfile::tempdir().unwrap();
    let plan = folder.path().join("reef.plan");
    std::fs::write(&plan, include_str!("../../examples/aquarium.plan")).unwrap();
    let file = folder.path().join("reef.xlsx");
    let run = |more: &[&str]| {
        let program = env!("CARGO_BIN_EXE_portledger");
        let out = Command::new(program)
            .arg("export")
            .arg(&plan)
            .arg(&file)
            .args(more)
            .output()
            .unwrap();
        let text = String::from_utf8_lossy(&out.stdout).into_owned();
        (
            out.status.code(),
            text,
            String::from_utf8_lossy(&out.stderr).into_owned(),
        )
    };
    let (code, out, err) = run(&[]);
    assert_eq!(code, Some(0), "{err}");
    assert!(out.contains("live formulas"), "{out}");
    let text = std::fs::read_to_string(&plan).unwrap();
    assert!(
        text.lines().nth(2).unwrap().starts_with("id = "),
        "{text:.100}"
    );
    let (code, _, err) = run(&[]);
    assert_eq!(code, Some(2));
    assert!(err.contains("--replace"), "{err}");
    let (code, _, err) = run(&["--replace"]);
    assert_eq!(code, Some(0), "{err}");
    assert_eq!(
        std::fs::read_to_string(&plan).unwrap(),
        text,
        "the id is given once"
    );
}

#[test]
fn a_row_of_a_person_beats_the_built_in_one_in_the_workbook_too() {
    let mut desk = demo();
    for (table, like, column, text) in [
        ("media", "OM4", "attenuation_850", "9 dB/km"),
        ("interfaces", "10GBASE-SR", "watts", "7 W"),
    ] {
        let sheet = desk.plan().sheet(table).unwrap();
        let row = desk.plan().find(sheet, like).unwrap();
        let own = desk.own_row(sheet, row).unwrap();
        let column = desk.plan().def(sheet).column(column).unwrap();
        desk.set(sheet, own, column, text).unwrap();
    }
    let book = export(&desk);
    let differ = differences(&book, &Calculator::new(&book));
    assert!(differ.is_empty(), "{}", differ.join("\n"));
}
