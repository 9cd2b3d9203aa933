//! How our calculation compares: with two general engines on the same plan as an exported workbook,
//! and with what the memory of the machine could move.
//!
//! Run with `cargo run --release --manifest-path tests/bench/engines/Cargo.toml`, or with numbers of
//! links after `--`. Before anything is measured, each engine's values are held to ours; a timing is
//! never a test. A crate of its own, so the program does not carry these engines.
//!
//! What is compared is one job, not one algorithm: theirs is any formula in any cell, ours is one
//! formula for a whole column. The workbook has columns of its own that hold parts of formulas, and
//! leaves out columns that hold nothing, so both counts of cells are printed.

mod book;
#[path = "../../made/mod.rs"]
mod made;
mod memory;
mod ours;
#[path = "../../made/sheets.rs"]
mod sheets;
mod theirs;

use book::Agreement;
use book::Book;
use book::Place;
use ours::Ours;
use portledger::desk::Desk;
use sheets::product_plan;
use std::path::Path;
use std::time::Duration;
use std::time::Instant;
use theirs::Calculator;
use theirs::Formualizer;
use theirs::Ironcalc;

/// The longest calculation that is begun.
const PATIENCE: Duration = Duration::from_secs(60);
/// The link whose length is changed; a copper one.
const LINK: &str = "L5";
/// The assumption that is changed, in dB.
const ASSUMED: &str = "connection_loss";

fn main() {
    let sizes: Vec<usize> = std::env::args()
        .filter_map(|arg| arg.parse().ok())
        .collect();
    let sizes = match sizes.is_empty() {
        true => vec![1_000, 10_000],
        false => sizes,
    };
    let folder = tempfile::tempdir().expect("a folder for the workbooks");
    let (mut formualizer, mut ironcalc) = (None, None);
    for n_links in sizes {
        let case = Case::of(n_links, folder.path());
        case.head();
        formualizer = case.measure::<Formualizer>(formualizer);
        ironcalc = case.measure::<Ironcalc>(ironcalc);
    }
    memory::measure();
}

/// One size, and what we take for it.
struct Case {
    n_links: usize,
    book: Book,
    /// The workbook of the plan after the edits.
    after: Book,
    length: Place,
    assumption: Place,
    n_cells: usize,
    full: Duration,
    length_edit: Duration,
    assumption_edit: Duration,
}

/// What an engine took at one size.
#[derive(Clone, Copy)]
struct Took {
    n_links: usize,
    full: Duration,
}

/// How often an edit is measured, and the values it turns through; the last ones stay.
const N_EDITS: u32 = 9;

fn metres(at: u32) -> f64 {
    10.0 + f64::from(at)
}

fn decibels(at: u32) -> f64 {
    0.7 + f64::from(at) / 100.0
}

impl Case {
    fn of(n_links: usize, folder: &Path) -> Self {
        let mut desk = Desk::of_text(&made::plan_text(n_links)).expect("the plan opens");
        let book = Book::of(&mut desk, folder);
        drop(desk);
        let mut ours = Ours::of(product_plan(n_links));
        let n_cells = ours.n_cells();
        let full = ours.full();
        let length_edit = median((0..N_EDITS).map(|at| ours.set_length(LINK, metres(at))));
        let assumption_edit = median((0..N_EDITS).map(|at| ours.assume(ASSUMED, decibels(at))));
        let mut desk = Desk::of_text(&ours.text()).expect("the changed plan opens");
        let after = Book::of(&mut desk, folder);
        Self {
            n_links,
            length: book.entered(LINK, "Length (m)"),
            assumption: book.assumed(ASSUMED),
            book,
            after,
            n_cells,
            full,
            length_edit,
            assumption_edit,
        }
    }

    fn head(&self) {
        report(&format!(
            "{} links: {} cells computed by us, {} formula cells in the workbook",
            self.n_links,
            self.n_cells,
            self.book.n_formulas()
        ));
        self.row(
            "portledger",
            None,
            self.full,
            self.length_edit,
            self.assumption_edit,
        );
    }

    /// Measures an engine, unless the last size says that it takes too long; gives what it took.
    fn measure<C: Calculator>(&self, before: Option<Took>) -> Option<Took> {
        if let Some(before) = before {
            let times = (self.n_links as f64 / before.n_links as f64).powi(C::GROWS);
            let most = before.full.mul_f64(times);
            if most > PATIENCE {
                report(&format!(
                    "  {:<20} not begun: {:.1?} at {} links may become {:.0?}",
                    C::NAME,
                    before.full,
                    before.n_links,
                    most
                ));
                return Some(before);
            }
        }
        let mut calculator = None;
        let put_in = timed(|| calculator = Some(C::of(&self.book)));
        let mut calculator = calculator?;
        let full = timed(|| calculator.calculate());
        self.agreement("all", &self.book, &calculator);
        let mut edit = |place: &Place, value: fn(u32) -> f64| {
            let n = if full > Duration::from_secs(2) {
                3
            } else {
                N_EDITS
            };
            median((N_EDITS - n..N_EDITS).map(|at| {
                timed(|| {
                    calculator.set(place, value(at));
                    calculator.calculate();
                })
            }))
        };
        let length = edit(&self.length, metres);
        let assumption = edit(&self.assumption, decibels);
        self.row(C::NAME, Some(put_in), full, length, assumption);
        if self.after.has_formulas_of(&self.book) {
            self.agreement("after the edits", &self.after, &calculator);
        }
        Some(Took {
            n_links: self.n_links,
            full,
        })
    }

    fn agreement(&self, when: &str, book: &Book, calculator: &impl Calculator) {
        let found = Agreement::of(book, |page, at| calculator.value(page, at));
        report(&format!(
            "  {} of {} formula cells as ours, {when}",
            found.n_agree, found.n_all
        ));
        for other in found.others {
            report(&format!("    {other}"));
        }
    }

    fn row(
        &self,
        name: &str,
        put_in: Option<Duration>,
        full: Duration,
        length: Duration,
        assumption: Duration,
    ) {
        let put_in = put_in.map_or(String::new(), |took| format!("; {took:.1?} to put it in"));
        report(&format!(
            "  {name:<20} full {full:.1?} ({}), length {length:.1?} ({}), assumption {assumption:.1?} ({}){put_in}",
            times(full, self.full),
            times(length, self.length_edit),
            times(assumption, self.assumption_edit),
        ));
    }
}

fn times(took: Duration, ours: Duration) -> String {
    let ratio = took.as_secs_f64() / ours.as_secs_f64();
    match ratio < 10.0 {
        true => format!("{ratio:.1}x"),
        false => format!("{ratio:.0}x"),
    }
}

fn report(line: &str) {
    use std::io::Write;
    let _ = writeln!(std::io::stdout(), "{line}");
}

fn timed(work: impl FnOnce()) -> Duration {
    let started = Instant::now();
    work();
    started.elapsed()
}

fn median(times: impl Iterator<Item = Duration>) -> Duration {
    let mut times: Vec<Duration> = times.collect();
    times.sort_unstable();
    times[times.len() / 2]
}
