//! How long it takes to open a plan, and to follow one edit with all findings, up to a million
//! links.
//!
//! Run with `cargo bench --bench open`, or with row counts after `--`; with the word `only` the
//! plans are opened and nothing else, for a profile. Prints medians and, for edits, the time that
//! one in a hundred exceeds; a timing is never a test.

mod made;

use made::{PER_SWITCH, plan_text};
use portledger::desk::Desk;
use portledger::files::plan_file;
use portledger::plan::{Edit, Entry, read_entry};
use portledger::table::{RowId, SheetId};
use portledger::trade;
use std::time::{Duration, Instant};

fn main() {
    let sizes: Vec<usize> = std::env::args()
        .filter_map(|arg| arg.parse().ok())
        .collect();
    let sizes = if sizes.is_empty() {
        vec![1_000, 100_000, 1_000_000]
    } else {
        sizes
    };
    let folder = tempfile::tempdir().expect("a folder for the plans");
    for n_links in sizes {
        let path = folder.path().join("bench.plan");
        std::fs::write(&path, plan_text(n_links)).expect("the plan can be written");
        opening(n_links, &path);
        if std::env::args().any(|arg| arg == "only") {
            continue;
        }
        let mut desk = Desk::open(&path).expect("the plan opens");
        all_rows(n_links, &desk);
        edits(n_links, &mut desk);
    }
}

fn report(line: &str) {
    use std::io::Write;
    let _ = writeln!(std::io::stdout(), "{line}");
}

/// Opens a plan as a whole and part by part.
fn opening(n_links: usize, path: &std::path::Path) {
    let n = if n_links > 200_000 { 5 } else { 15 };
    let open = median((0..n).map(|_| timed(|| Desk::open(path).expect("the plan opens"))));
    let text = std::fs::read_to_string(path).expect("the plan is there");
    let read = || plan_file::read(&text, trade::empty_plan).expect("the plan is read");
    let reading = median((0..n).map(|_| timed(read)));
    let (plan, _) = read();
    let compute = median((0..n).map(|_| timed(|| trade::engine(&plan))));
    let engine = trade::engine(&plan);
    let stand = median((0..n).map(|_| timed(|| trade::Standing::new(&plan, &engine))));
    report(&format!(
        "{n_links:>9} links: open {open:.1?} (read {reading:.1?}, compute {compute:.1?}, findings {stand:.1?})"
    ));
}

/// Conditions and orders over all rows, and a page of findings.
fn all_rows(n_links: usize, desk: &Desk) {
    let (plan, engine) = (desk.plan(), desk.engine());
    let links = plan.sheet("links").expect("the sheet is built in");
    let column = |name| engine.find_column(links, name);
    let column = |name| column(name).expect("the column is built in");
    let sorted = |name, descending| {
        let mut rows = plan.rows(links).order().to_vec();
        timed(|| engine.sorted(plan, links, &mut rows, &[(column(name), descending)]))
    };
    let number = median((0..5).map(|_| sorted("length", true)));
    let computed = median((0..5).map(|_| sorted("margin", false)));
    let text = median((0..3).map(|_| sorted("id", true)));
    let asked = |text| timed(|| engine.condition(plan, links, text).expect("it compiles"));
    let simple = median((0..5).map(|_| asked("length > 50 m and medium.kind == \"twisted pair\"")));
    let grouped = median((0..5).map(|_| asked("tally(links.from == from) > 47")));
    let n_found = desk.standing().len();
    let page = median((0..5).map(|at| timed(|| desk.findings_from(at * n_found / 10, 30))));
    report(&format!(
        "{n_links:>9} links: sorted by length {number:.1?}, margin {computed:.1?}, id {text:.1?}; condition {simple:.1?}, with a sum {grouped:.1?}; 30 of {n_found} findings {page:.1?}"
    ));
}

/// A thousand edits of each kind.
fn edits(n_links: usize, desk: &mut Desk) {
    let links = desk.plan().sheet("links").expect("the sheet is built in");
    // A person looks at the findings while editing, so they are listed.
    desk.findings_from(0, 30);
    for (column, texts) in [
        ("length", ["120 m", "35 m", "900 m"]),
        ("speed", ["1 Gb/s", "100 Mb/s", "10 Gb/s"]),
        ("medium", ["Cat6A", "OM4", "Cat5e"]),
        ("from", ["sw0", "SW0", "a new name"]),
        ("id", ["L0", "l-0", "a new id"]),
    ] {
        let position = desk.plan().def(links).column(column);
        let position = position.expect("the column is built in");
        let times = (0..1000).map(|at| {
            let row = row(n_links, at);
            let text = texts[at % 3];
            timed(|| desk.set(links, row, position, text).expect("it is taken"))
        });
        tell(n_links, column, times.collect());
    }
    rows(n_links, desk, links);
}

/// Adds rows in the middle, and takes them away again.
fn rows(n_links: usize, desk: &mut Desk, links: SheetId) {
    let cells = [
        ("id", "new"),
        ("medium", "Cat6"),
        ("length", "300 m"),
        ("interface", "1000BASE-T"),
    ];
    let cells = cells.map(|(name, text)| {
        let column = desk.plan().def(links).column(name);
        let column = column.expect("the column is built in");
        let entry = read_entry(desk.plan(), links, column, text);
        (column, entry.expect("the cell is well formed"))
    });
    let n = if n_links > 200_000 { 200 } else { 1000 };
    let (mut added, mut removed, mut undone) = (Vec::new(), Vec::new(), Vec::new());
    for at in 0..n {
        let position = row(n_links, at).at();
        let row = vec![cells.to_vec()];
        added.push(timed(|| add(desk, links, position, row)));
        let rows = vec![desk.plan().rows(links).order()[position]];
        let edit = Edit::RemoveRows { sheet: links, rows };
        removed.push(timed(|| {
            desk.apply("remove", edit).expect("the row is there")
        }));
        undone.push(timed(|| desk.undo().expect("there is a step")));
    }
    tell(n_links, "add row", added);
    tell(n_links, "remove", removed);
    tell(n_links, "undo", undone);
}

fn add(desk: &mut Desk, sheet: SheetId, at: usize, rows: Vec<Vec<(usize, Entry)>>) {
    let edit = Edit::AddRows { sheet, at, rows };
    desk.apply("add", edit).expect("the position is there");
}

/// A row somewhere in the table.
fn row(n_links: usize, at: usize) -> RowId {
    let row = (at * 7919 * PER_SWITCH + 5) % n_links;
    RowId(u32::try_from(row).expect("rows are numbered in 32 bits"))
}

fn timed<T>(work: impl FnOnce() -> T) -> Duration {
    let started = Instant::now();
    let made = work();
    let took = started.elapsed();
    drop(made);
    took
}

fn median(times: impl Iterator<Item = Duration>) -> Duration {
    at(times.collect(), 50)
}

fn at(mut times: Vec<Duration>, percent: usize) -> Duration {
    times.sort_unstable();
    times[(times.len() - 1) * percent / 100]
}

fn tell(n_links: usize, what: &str, times: Vec<Duration>) {
    let (half, most) = (at(times.clone(), 50), at(times, 99));
    report(&format!(
        "{n_links:>9} links: {what:<8} {half:>9.1?} median {most:>9.1?} p99"
    ));
}
