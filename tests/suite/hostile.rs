//! Files that are damaged or made to do harm, and a reading process that breaks: the program
//! lives on, says one thing, and the plan is as it was.

use crate::books::{V, compound, ods, ods_table, one_page, rows, xls, xlsx, zipped};
use crate::import::reader;
use portledger::desk::Desk;
use portledger::files::import::Wish;
use portledger::files::plan_file;
use portledger::files::spreadsheet::Reader;
use portledger::problem::Problem;
use proptest::prelude::*;
use std::fs;
use std::os::unix::fs::PermissionsExt;
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};
use tempfile::TempDir;

fn try_import(path: &Path, reader: &Reader) -> (Result<usize, Problem>, bool) {
    let mut desk = Desk::empty("campus").unwrap();
    let before = plan_file::write(desk.plan());
    let done = desk.import(path, &Wish::default(), reader, &mut |_| true);
    let is_same = plan_file::write(desk.plan()) == before;
    (done.map(|import| import.n_links), is_same)
}

fn read(name: &str, bytes: &[u8]) -> (Result<usize, Problem>, bool) {
    let folder = TempDir::new().unwrap();
    let path = folder.path().join(name);
    fs::write(&path, bytes).unwrap();
    try_import(&path, &reader())
}

/// A file that is refused with one of these codes, in time, with a next step.
#[track_caller]
fn refused(name: &str, bytes: &[u8], codes: &[&str]) -> Problem {
    let begun = Instant::now();
    let (done, is_same) = read(name, bytes);
    let problem = done.unwrap_err();
    assert!(codes.contains(&problem.code), "{problem:?}");
    assert!(
        !problem.message.contains('\n') && !problem.help.is_empty(),
        "{problem:?}"
    );
    assert!(is_same);
    assert!(begun.elapsed() < Duration::from_secs(60));
    problem
}

fn good() -> Vec<u8> {
    one_page(&[
        &[V::T("id"), V::T("from")],
        &[V::T("L1"), V::T("a")],
        &[V::T("L2"), V::N(7.0)],
    ])
}

#[test]
fn the_reading_process_has_its_limits() {
    let mut child = Command::new(env!("CARGO_BIN_EXE_portledger"))
        .args(["read-apart", "all"])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    let limits = format!("/proc/{}/limits", child.id());
    let holds = |text: &str| {
        let of = |name: &str| {
            let line = text
                .lines()
                .find(|line| line.starts_with(name))
                .unwrap_or_default()
                .to_owned();
            line.split_whitespace()
                .rev()
                .nth(1)
                .unwrap_or_default()
                .to_owned()
        };
        of("Max address space") == "1073741824"
            && of("Max cpu time") == "30"
            && of("Max file size") == "0"
    };
    let until = Instant::now() + Duration::from_secs(50);
    while !fs::read_to_string(&limits).is_ok_and(|text| holds(&text)) {
        assert!(Instant::now() < until, "{:?}", fs::read_to_string(&limits));
        std::thread::yield_now();
    }
    drop(child.stdin.take());
    child.wait().unwrap();
}

#[test]
fn cells_far_out_are_no_dense_page() {
    let far = "<row r=\"1\"><c r=\"A1\" t=\"inlineStr\"><is><t>id</t></is></c><c r=\"B1\" t=\"inlineStr\"><is><t>from</t></is></c></row>\
               <row r=\"2\"><c r=\"A2\" t=\"inlineStr\"><is><t>L1</t></is></c><c r=\"Z2\"><v>1</v></c></row>\
               <row r=\"1048576\"><c r=\"XFD1048576\"><v>1</v></c></row>";
    let folder = TempDir::new().unwrap();
    let path = folder.path().join("a.xlsx");
    fs::write(&path, xlsx(&[("p", "", far.to_owned())], &[])).unwrap();
    let mut desk = Desk::empty("").unwrap();
    let import = desk
        .import(&path, &Wish::default(), &reader(), &mut |_| true)
        .unwrap();
    assert_eq!(import.n_links, 1);
    assert_eq!(import.set_aside.len(), 1);
    assert_eq!(import.set_aside[0].row, 1_048_576);
    // A lone cell far to the right of a link is told with its address.
    let far = rows(&[&[V::T("id"), V::T("from")]])
        + "<row r=\"2\"><c r=\"A2\"><v>1</v></c><c r=\"XFD2\"><v>1</v></c></row>";
    fs::write(&path, xlsx(&[("p", "", far)], &[])).unwrap();
    let import = desk
        .import(&path, &Wish::default(), &reader(), &mut |_| true)
        .unwrap();
    assert!(
        import
            .notes
            .iter()
            .any(|note| note.contains("cell XFD2 stands far from the table")),
        "{:?}",
        import.notes
    );
}

#[test]
fn counts_that_are_lies_are_not_believed() {
    let strings = b"<sst xmlns=\"http://schemas.openxmlformats.org/spreadsheetml/2006/main\" count=\"1\" uniqueCount=\"4294967295\"><si><t>x</t></si></sst>";
    let page = rows(&[&[V::T("id"), V::T("from")]]);
    let book = xlsx(&[("p", "", page)], &[("xl/sharedStrings.xml", strings)]);
    refused("a.xlsx", &book, &["file-too-large"]);
}

#[test]
fn what_grows_without_end_is_refused() {
    // A part that inflates to a thousand times its size.
    let bomb = vec![b' '; 20_000_000];
    refused(
        "a.xlsx",
        &xlsx(&[("p", "", String::new())], &[("xl/media/big.xml", &bomb)]),
        &["file-too-large"],
    );
    // A cell repeated ninety million times, and over the whole page.
    let cells = |across: u32, down: u32| {
        ods(&format!(
            "<table:table table:name=\"p\"><table:table-row table:number-rows-repeated=\"{down}\"><table:table-cell \
             table:number-columns-repeated=\"{across}\"><text:p>id</text:p></table:table-cell></table:table-row></table:table>"
        ))
    };
    refused("a.ods", &cells(90, 1_000_000), &["too-many-cells"]);
    refused("a.ods", &cells(16_384, 1_048_576), &["too-many-cells"]);
    refused("a.ods", &cells(u32::MAX, u32::MAX), &["too-many-cells"]);
    let many: Vec<(String, Vec<u8>)> = (0..10_001)
        .map(|at| (format!("p{at}"), Vec::new()))
        .collect();
    let many: Vec<(&str, &[u8])> = many
        .iter()
        .map(|(name, bytes)| (name.as_str(), bytes.as_slice()))
        .collect();
    refused("a.xlsx", &zipped(&many), &["file-too-large"]);
}

#[test]
fn chains_of_sectors_that_go_in_circles_end() {
    let mut file = compound("Workbook", &[0; 4096]);
    // The list of sector tables begins in sector 2 and is said to be endless; there it leads back.
    file[0x44..0x48].copy_from_slice(&2_u32.to_le_bytes());
    file[0x48..0x4c].copy_from_slice(&u32::MAX.to_le_bytes());
    let last = 512 * 4 - 4;
    file[last..last + 4].copy_from_slice(&2_u32.to_le_bytes());
    refused(
        "a.xls",
        &file,
        &["file-too-large", "file-damaged", "file-too-slow"],
    );
}

#[test]
fn entities_are_neither_unfolded_nor_fetched() {
    let laughs = "<?xml version=\"1.0\"?><!DOCTYPE x [<!ENTITY a \"ha\"><!ENTITY b \"&a;&a;&a;\"><!ENTITY x SYSTEM \"file:///etc/passwd\">]>\
                  <worksheet xmlns=\"http://schemas.openxmlformats.org/spreadsheetml/2006/main\"><sheetData><row r=\"1\">\
                  <c r=\"A1\" t=\"inlineStr\"><is><t>NAME</t></is></c></row></sheetData></worksheet>";
    for name in ["&b;", "&x;"] {
        let xml = laughs.replace("NAME", name);
        let book = xlsx(
            &[("p", "", String::new())],
            &[("xl/worksheets/sheet1.xml", xml.as_bytes())],
        );
        refused(
            "a.xlsx",
            &book,
            &["file-damaged", "nothing-to-import", "no-links"],
        );
    }
}

#[test]
fn a_password_is_asked_to_be_taken_off() {
    let problem = refused(
        "a.xlsx",
        &compound("EncryptedPackage", &[7; 4096]),
        &["password"],
    );
    assert!(problem.help[0].contains("without a password"));
}

#[test]
fn what_is_no_spreadsheet_is_said_to_be_none() {
    let good = good();
    refused("a.xlsx", &good[..good.len() / 2], &["file-damaged"]);
    refused("a.xlsx", &good[..30], &["file-damaged"]);
    refused("a.xlsx", b"", &["nothing-to-import"]);
    refused("a.xls", b"<html><table><tr><td>id", &["not-a-table"]);
    refused(
        "a.xlsx",
        &zipped(&[("readme.txt", b"hello")]),
        &["not-a-spreadsheet"],
    );
    refused("a.csv", &[b'\0', 1, 2, 3].repeat(500), &["not-a-table"]);
    refused("a.xls", &compound("Picture", &[7; 4096]), &["file-damaged"]);
}

#[test]
fn names_of_parts_lead_nowhere() {
    let folder = TempDir::new().unwrap();
    let page = rows(&[&[V::T("id"), V::T("from")], &[V::T("L1"), V::T("a")]]);
    let book = xlsx(
        &[("p", "", page)],
        &[
            ("../../../../tmp/portledger-escaped", b"x"),
            ("/etc/portledger-escaped", b"x"),
        ],
    );
    let path = folder.path().join("a.xlsx");
    fs::write(&path, book).unwrap();
    assert_eq!(try_import(&path, &reader()).0.unwrap(), 1);
    assert!(
        !Path::new("/tmp/portledger-escaped").exists()
            && !Path::new("/etc/portledger-escaped").exists()
    );
    assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 1);
}

#[test]
fn only_regular_files_are_read() {
    let folder = TempDir::new().unwrap();
    let pipe = folder.path().join("pipe.xlsx");
    let made = Command::new("mkfifo").arg(&pipe).status().unwrap();
    assert!(made.success());
    for path in [folder.path(), &pipe, Path::new("/dev/zero")] {
        let (done, is_same) = try_import(path, &reader());
        assert_eq!(done.unwrap_err().code, "not-a-file", "{}", path.display());
        assert!(is_same);
    }
    let large = folder.path().join("large.xlsx");
    let file = fs::File::create(&large).unwrap();
    file.set_len(64_000_001).unwrap();
    let problem = try_import(&large, &reader()).0.unwrap_err();
    assert_eq!(problem.code, "file-too-large");
    assert!(problem.message.contains("64 MB"), "{problem:?}");
    assert_eq!(
        try_import(&folder.path().join("none"), &reader())
            .0
            .unwrap_err()
            .code,
        "no-such-file"
    );
}

/// A program that stands in for ours as the one that reads.
fn stand_in(folder: &Path, script: &str) -> Reader {
    let path = folder.join("reader");
    fs::write(&path, format!("#!/bin/sh\n{script}\n")).unwrap();
    fs::set_permissions(&path, fs::Permissions::from_mode(0o755)).unwrap();
    Reader::new(path).patient(Duration::from_secs(20))
}

#[test]
fn a_reading_process_that_breaks_anywhere_changes_nothing() {
    let folder = TempDir::new().unwrap();
    let path = folder.path().join("a.xlsx");
    fs::write(&path, good()).unwrap();
    let program = env!("CARGO_BIN_EXE_portledger");
    let whole = Command::new(program)
        .args(["read-apart", "heads"])
        .stdin(fs::File::open(&path).unwrap())
        .output()
        .unwrap()
        .stdout;
    for n in (0..whole.len()).step_by(7).chain([whole.len() - 1]) {
        let reader = stand_in(
            folder.path(),
            &format!("\"{program}\" \"$@\" | head -c {n}\nkill -9 $$"),
        );
        let (done, is_same) = try_import(&path, &reader);
        let problem = done.unwrap_err();
        assert!(
            ["file-damaged", "file-too-slow"].contains(&problem.code),
            "{n}: {problem:?}"
        );
        assert!(is_same);
    }
    let reader = stand_in(folder.path(), &format!("exec \"{program}\" \"$@\""));
    assert_eq!(try_import(&path, &reader).0.unwrap(), 2);
    for (script, codes) in [
        ("kill -6 $$", "file-too-large"),
        ("kill -11 $$", "file-too-large"),
        ("exit 101", "file-damaged"),
        ("yes", "file-damaged"),
        ("exec cat /dev/zero", "file-damaged"),
    ] {
        let reader = stand_in(folder.path(), script);
        assert_eq!(
            try_import(&path, &reader).0.unwrap_err().code,
            codes,
            "{script}"
        );
    }
    let reader = Reader::new(folder.path().join("none"));
    assert_eq!(
        try_import(&path, &reader).0.unwrap_err().code,
        "reader-missing"
    );
}

#[test]
fn a_reading_process_that_never_ends_is_ended() {
    let folder = TempDir::new().unwrap();
    let path = folder.path().join("a.xlsx");
    fs::write(&path, good()).unwrap();
    let reader = stand_in(folder.path(), "exec sleep 600").patient(Duration::from_millis(300));
    let (done, is_same) = try_import(&path, &reader);
    assert_eq!(done.unwrap_err().code, "file-too-slow");
    assert!(is_same);
}

#[test]
fn reading_can_be_stopped() {
    let many: Vec<[V; 3]> = (0..60_000)
        .map(|at| [V::N(f64::from(at)), V::T("a"), V::T("b")])
        .collect();
    let many: Vec<&[V]> = many.iter().map(|row| &row[..]).collect();
    let folder = TempDir::new().unwrap();
    let path = folder.path().join("a.xlsx");
    fs::write(&path, one_page(&many)).unwrap();
    let program = env!("CARGO_BIN_EXE_portledger");
    // Slow enough to be asked at least once.
    let reader = stand_in(
        folder.path(),
        &format!("\"{program}\" \"$@\" | (head -c 70000; sleep 0.3; cat)"),
    );
    let mut desk = Desk::empty("").unwrap();
    let problem = desk
        .import(&path, &Wish::default(), &reader, &mut |_| false)
        .unwrap_err();
    assert_eq!(problem.code, "stopped");
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, cases: 60, ..ProptestConfig::default() })]

    /// A file in which anything was changed is read or refused, and the plan follows whole or not.
    #[test]
    fn damaged_files_are_read_or_refused(
        form in 0_usize..3,
        changes in prop::collection::vec((any::<prop::sample::Index>(), any::<u8>()), 1..12),
        cut in prop::option::weighted(0.2, any::<prop::sample::Index>()),
    ) {
        let mut bytes = match form {
            0 => good(),
            1 => ods(&ods_table("p", &[&["id", "from"], &["L1", "a"]])),
            _ => xls(&[&[V::T("id"), V::T("from")], &[V::T("L1"), V::N(2.0)]]),
        };
        for (at, byte) in changes {
            let at = at.index(bytes.len());
            bytes[at] = byte;
        }
        if let Some(cut) = cut {
            bytes.truncate(cut.index(bytes.len()));
        }
        let (done, is_same) = read("a.bin", &bytes);
        if let Err(problem) = done {
            prop_assert!(is_same);
            prop_assert!(!problem.message.contains('\n'));
            prop_assert!(!problem.help.is_empty(), "{:?}", problem);
        }
    }
}
