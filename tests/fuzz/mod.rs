//! Hostile input: for each target the committed corpus, and inputs made from it by chance.
//!
//! A target takes bytes and panics where something does not hold; what it holds is in
//! `targets.rs`. `FUZZ_INPUTS=1000000 cargo test --release --test suite fuzz::` makes more inputs;
//! an input that breaks something is written to a file that is named, and belongs into the corpus
//! once the fault is mended. Spreadsheets are changed in their parts (`packed.rs`) and read as the
//! program reads them (`batch.rs`); `FUZZ_CORPUS=write` makes their corpus anew (`seeds.rs`).

mod batch;
mod packed;
mod printed;
mod seeds;
mod targets;

use super::random::Random;
use std::fs;
use std::io::Write;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::PathBuf;

/// Inputs of a usual run, of each target.
const INPUTS: usize = 3_000;

/// Sittings of a usual run; each is drawn after every key.
const SITTINGS: usize = 500;

/// The longest input.
const LONGEST: usize = 20_000;

/// Pieces that mean something somewhere.
const PIECES: &[&str] = &[
    "(",
    ")",
    "((((((((",
    "+",
    "-",
    "*",
    "/",
    "^",
    "==",
    "=",
    "and",
    "not",
    "&&",
    "\"",
    "'",
    "'''",
    ",",
    ";",
    "\t",
    "|",
    "\n",
    "\r\n",
    "\r",
    "[",
    "]",
    "[rows]",
    "[[",
    "{",
    "}",
    "#",
    ".",
    "..",
    "0",
    "-1",
    "1e308",
    "1e-400",
    "999999999999999999999",
    "0.1",
    "nan",
    "inf",
    " m",
    " ft",
    " dB/km",
    " dBm",
    "this",
    "links.",
    "from.",
    "assume.",
    "total(",
    "pick(",
    "length",
    "id",
    "\u{feff}",
    "\u{0}",
    "\u{1b}[31m",
    "\u{9b}",
    "\u{202e}",
    "\u{200b}",
    "\u{301}",
    "水",
    "=1+1",
    "@SUM(1)",
    "sep=;",
    "Length (ft)",
    "portledger = 1",
    "portledger = 2",
    "title = \"x\"",
];

fn folder(target: &str) -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
        .join("tests/fuzz/corpus")
        .join(target)
}

/// The corpus of a target, in the order of its names.
fn corpus(target: &str) -> Vec<Vec<u8>> {
    let entries = fs::read_dir(folder(target)).unwrap();
    let mut paths: Vec<PathBuf> = entries.map(|entry| entry.unwrap().path()).collect();
    paths.sort();
    let read = |path: &PathBuf| fs::read(path).unwrap();
    paths.iter().map(read).collect()
}

/// Tries the corpus, then inputs made from it.
fn attack(target: &str, hold: impl Fn(&[u8])) {
    attack_made(target, INPUTS, changed, hold);
}

/// As many inputs as a usual run is to make, by a way of its own: each is small, but takes long.
fn attack_made(
    target: &str,
    usual: usize,
    make: impl Fn(&[Vec<u8>], &mut Random) -> Vec<u8>,
    hold: impl Fn(&[u8]),
) {
    let corpus = corpus(target);
    assert!(!corpus.is_empty());
    for input in &corpus {
        attempt(target, input, &hold);
    }
    let wanted = std::env::var("FUZZ_INPUTS").ok();
    let n = wanted.map_or(usual, |n| n.parse().unwrap());
    let mut random = Random(7);
    for at in 1..=n {
        attempt(target, &make(&corpus, &mut random), &hold);
        // A long run that is stopped has said how far it came.
        if at % 10_000 == 0 {
            let _ = writeln!(std::io::stderr().lock(), "{target}: {at} of {n} tried");
        }
    }
}

/// Tries one input; keeps it where it breaks something.
fn attempt(target: &str, input: &[u8], hold: &impl Fn(&[u8])) {
    if let Err(what) = catch_unwind(AssertUnwindSafe(|| hold(input))) {
        let kept = PathBuf::from(env!("CARGO_TARGET_TMPDIR")).join(format!("broke-{target}"));
        fs::write(&kept, input).unwrap();
        let owned = what.downcast_ref::<String>().map(String::as_str);
        let said = owned.or(what.downcast_ref::<&str>().copied());
        panic!("{}: {}", kept.display(), said.unwrap_or_default());
    }
}

/// An input of the corpus with a few changes.
fn changed(corpus: &[Vec<u8>], random: &mut Random) -> Vec<u8> {
    let mut input = random.of(corpus).clone();
    for _ in 0..1 + random.below(6) {
        change(&mut input, corpus, PIECES, random);
    }
    input.truncate(LONGEST);
    input
}

/// Keys: one input in forty as long as it comes, of the others a piece of up to two dozen bytes,
/// mostly of a few. What a key does costs far more than what is in a byte.
fn pressed(corpus: &[Vec<u8>], random: &mut Random) -> Vec<u8> {
    let input = changed(corpus, random);
    if random.below(40) == 0 {
        return input;
    }
    let most = 1 + random.below(24);
    let at = random.below(input.len() + 1);
    let end = input.len().min(at + 1 + random.below(most));
    input[at..end].to_vec()
}

fn change(input: &mut Vec<u8>, corpus: &[Vec<u8>], pieces: &[&str], random: &mut Random) {
    let at = random.below(input.len() + 1);
    let end = at + random.below((input.len() - at).min(40) + 1);
    match random.below(9) {
        0 if at < input.len() => input[at] ^= 1 << random.below(8),
        1 if at < input.len() => input[at] = random.next() as u8,
        2 => drop(input.drain(at..end)),
        3 => input.truncate(at),
        4 => {
            let part = input[at..end].to_vec();
            let n = 1 + random.below(30);
            input.splice(at..at, part.repeat(n));
        }
        5 => {
            let other = random.of(corpus);
            let from = random.below(other.len() + 1);
            input.splice(at..end, other[from..].iter().copied());
        }
        6 => {
            let (other, part) = (random.below(input.len() + 1), input[at..end].to_vec());
            input.splice(other..other, part);
        }
        _ => {
            input.splice(at..end, random.of(pieces).bytes());
        }
    }
}

#[test]
fn any_formula_is_computed_or_refused() {
    attack("formula", targets::formula());
}

#[test]
fn any_quantity_is_read_or_refused() {
    attack("quantity", targets::quantity());
}

#[test]
fn any_plan_opens_or_is_refused_and_is_written_as_it_was_read() {
    attack("plan", targets::plan());
}

#[test]
fn any_table_is_taken_row_by_row_or_refused() {
    attack("csv", targets::table());
}

#[test]
fn any_paste_is_taken_or_told() {
    attack("paste", targets::paste());
}

#[test]
fn any_dump_is_read_or_refused() {
    attack("dump", targets::dump());
}

#[test]
fn no_text_acts_on_a_terminal() {
    attack("text", targets::text);
}

#[test]
fn any_keys_can_be_pressed_and_taken_back() {
    attack_made("keys", SITTINGS, pressed, targets::keys());
}

#[test]
fn any_xlsx_is_read_or_refused() {
    batch::attack("xlsx");
}

#[test]
fn any_xlsb_is_read_or_refused() {
    batch::attack("xlsb");
}

#[test]
fn any_xls_is_read_or_refused() {
    batch::attack("xls");
}

#[test]
fn any_ods_is_read_or_refused() {
    batch::attack("ods");
}

#[test]
fn any_returned_workbook_is_compared_or_refused() {
    batch::attack("returned");
}
