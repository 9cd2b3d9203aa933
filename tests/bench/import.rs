//! How long it takes to bring tables in: a workbook of 100,000 rows of 15 cells, the same as an
//! open document, and a text of a million rows.
//!
//! Run with `cargo bench --bench import`, or with `csv` after `--` for the text alone. Prints medians,
//! and for the process that reads spreadsheets the most memory that it held; a timing is never a test.

use portledger::desk::Desk;
use portledger::files::import::{Source, Wish, links};
use portledger::files::spreadsheet::Reader;
use std::fmt::Write as _;
use std::fs::File;
use std::io::{Read, Write};
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

/// As in the program.
#[global_allocator]
static MEMORY: mimalloc::MiMalloc = mimalloc::MiMalloc;

const N_ROWS: usize = 100_000;
const N_TEXT_ROWS: usize = 1_000_000;

const PROGRAM: &str = env!("CARGO_BIN_EXE_portledger");

const HEADINGS: [&str; 15] = [
    "Cable ID",
    "Device A",
    "Port A",
    "Device B",
    "Port B",
    "Role",
    "Speed",
    "Interface",
    "Type",
    "Length (m)",
    "Connections",
    "Splices",
    "Status",
    "Rack",
    "Notes",
];

fn main() {
    let folder = tempfile::tempdir().expect("a folder for the tables");
    let (xlsx, ods, csv) = (
        folder.path().join("bench.xlsx"),
        folder.path().join("bench.ods"),
        folder.path().join("bench.csv"),
    );
    write_csv(&csv);
    if !std::env::args().any(|arg| arg == "csv") {
        write_xlsx(&xlsx);
        write_ods(&ods);
        for path in [&xlsx, &ods] {
            apart(path);
            whole(path, 5);
        }
    }
    whole(&csv, 3);
}

fn report(line: &str) {
    let _ = writeln!(std::io::stdout(), "{line}");
}

fn name(path: &Path) -> String {
    path.file_name()
        .map_or_else(String::new, |name| name.to_string_lossy().into_owned())
}

/// The texts of a row.
fn cells(at: usize) -> [String; 15] {
    let text = |text: &str| text.to_owned();
    [
        format!("C{at:06}"),
        format!("acc-{:04}", at / 48),
        format!("p{}", at % 48 + 1),
        format!("dist-{:03}", at / 960),
        format!("q{}", at % 960 + 1),
        text(["access", "uplink"][usize::from(at % 48 < 2)]),
        text("10"),
        text("10GBASE-SR"),
        text(["OM3", "OM4"][at % 2]),
        format!("{}.5", at % 280 + 3),
        text("2"),
        text("0"),
        text(["planned", "in service"][at % 2]),
        format!("R{:02}", at % 40),
        format!("hall {}", at % 7),
    ]
}

fn write_xlsx(path: &Path) {
    let mut book = rust_xlsxwriter::Workbook::new();
    let page = book.add_worksheet();
    for (column, heading) in (0_u16..).zip(HEADINGS) {
        page.write_string(0, column, heading).expect("a cell");
    }
    for (row, at) in (1_u32..).zip(0..N_ROWS) {
        for (column, text) in (0_u16..).zip(cells(at)) {
            match text.parse::<f64>() {
                Ok(number) => page.write_number(row, column, number),
                Err(_) => page.write_string(row, column, &text),
            }
            .expect("a cell");
        }
    }
    book.save(path).expect("the workbook can be written");
}

fn write_ods(path: &Path) {
    let mut zip = zip::ZipWriter::new(File::create(path).expect("a file"));
    let options = zip::write::SimpleFileOptions::default;
    zip.start_file("mimetype", options()).expect("a part");
    zip.write_all(b"application/vnd.oasis.opendocument.spreadsheet")
        .expect("a part");
    zip.start_file("content.xml", options()).expect("a part");
    let mut text = "<office:document-content xmlns:office=\"o\" xmlns:table=\"t\" xmlns:text=\"x\"><office:body><office:spreadsheet><table:table table:name=\"p\">".to_owned();
    let rows = (0..N_ROWS).map(cells);
    for row in std::iter::once(HEADINGS.map(str::to_owned)).chain(rows) {
        text.push_str("<table:table-row>");
        for cell in row {
            let _ = match cell.parse::<f64>() {
                Ok(number) => write!(
                    text,
                    "<table:table-cell office:value-type=\"float\" office:value=\"{number}\"><text:p>{cell}</text:p></table:table-cell>"
                ),
                Err(_) => write!(
                    text,
                    "<table:table-cell office:value-type=\"string\"><text:p>{cell}</text:p></table:table-cell>"
                ),
            };
        }
        text.push_str("</table:table-row>");
        zip.write_all(text.as_bytes()).expect("a part");
        text.clear();
    }
    zip.write_all(b"</table:table></office:spreadsheet></office:body></office:document-content>")
        .expect("a part");
    zip.finish().expect("the document can be written");
}

/// Eight columns, so that a million rows stay below the limit of bytes.
fn write_csv(path: &Path) {
    let mut text = "Cable,Device A,Port A,Device B,Port B,Type,Length (m),Status\n".to_owned();
    for at in 0..N_TEXT_ROWS {
        let _ = writeln!(
            text,
            "C{at:06},acc-{:05},p{},dist-{:04},q{},OM4,{}.5,planned",
            at / 48,
            at % 48 + 1,
            at / 960,
            at % 960 + 1,
            at % 280 + 3
        );
    }
    std::fs::write(path, text).expect("the text can be written");
}

/// The process that reads, alone: time and memory.
fn apart(path: &Path) {
    let mut times = Vec::new();
    let mut most = 0;
    for _ in 0..5 {
        let begun = Instant::now();
        let mut child = Command::new(PROGRAM)
            .args(["read-apart", "all"])
            .stdin(Stdio::from(File::open(path).expect("the table is there")))
            .stdout(Stdio::piped())
            .spawn()
            .expect("the program starts");
        let mut out = child.stdout.take().expect("an output");
        let (mut buffer, status) = (vec![0; 1 << 16], format!("/proc/{}/status", child.id()));
        while out.read(&mut buffer).is_ok_and(|n| n > 0) {
            let text = std::fs::read_to_string(&status).unwrap_or_default();
            let line = text.lines().find(|line| line.starts_with("VmHWM"));
            let kilobytes =
                line.and_then(|line| line.split_whitespace().nth(1)?.parse::<usize>().ok());
            most = most.max(kilobytes.unwrap_or(0));
        }
        child.wait().expect("it ends");
        times.push(begun.elapsed());
    }
    let time = median(times);
    report(&format!(
        "{}: read apart {time:.2?}, at most {} MB",
        name(path),
        most / 1024
    ));
}

/// A file until its links can be taken, and until they are.
fn whole(path: &Path, n: usize) {
    let (mut reading, mut meaning, mut taking) = (Vec::new(), Vec::new(), Vec::new());
    let (mut cpu_reading, mut cpu_meaning) = (Vec::new(), Vec::new());
    let mut n_links = 0;
    for _ in 0..n {
        let mut desk = Desk::empty("bench").expect("an empty plan");
        let (wish, reader) = (Wish::default(), Reader::new(PROGRAM.into()));
        let (begun, worked) = (Instant::now(), cpu());
        let source = Source::read(desk.plan(), path, &wish, &reader, &mut |_| true)
            .expect("the table is read");
        reading.push(begun.elapsed());
        cpu_reading.push(cpu() - worked);
        let (begun, worked) = (Instant::now(), cpu());
        let import = links(desk.plan(), &source, &wish).expect("it holds links");
        meaning.push(begun.elapsed());
        cpu_meaning.push(cpu() - worked);
        n_links = import.n_links;
        let begun = Instant::now();
        desk.take_import(import).expect("they are taken");
        taking.push(begun.elapsed());
    }
    report(&format!(
        "{}: {n_links} links, cells {:.2?} (of the processors {:.2?}), links of them {:.2?} ({:.2?}), into the plan and computed {:.2?}",
        name(path),
        median(reading),
        median(cpu_reading),
        median(meaning),
        median(cpu_meaning),
        median(taking)
    ));
}

/// How long processors worked for this process, all threads together, in steps of 10 ms: on a busy
/// machine that tells more than a clock. Zero where the system does not say.
fn cpu() -> Duration {
    let stat = std::fs::read_to_string("/proc/self/stat").unwrap_or_default();
    let after_name = stat.rsplit(')').next().unwrap_or_default();
    let ticks = after_name.split_whitespace().skip(11).take(2);
    let ticks: u64 = ticks.filter_map(|n| n.parse::<u64>().ok()).sum();
    Duration::from_millis(ticks * 10)
}

fn median(mut times: Vec<Duration>) -> Duration {
    times.sort_unstable();
    times[times.len() / 2]
}
