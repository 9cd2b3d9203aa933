//! Many spreadsheets tried in few processes.
//!
//! A usual run gives each input to the process that the program starts to read it. For a million
//! that costs too much, so `FUZZ_INPUTS` has this test binary start itself: the second run sets
//! the limits of a reading process on itself, tells the number of each input before it tries it,
//! and ends after some seconds. Where it dies, the input told last goes to a reading process of
//! its own, where it may end in a problem and in nothing else. What is made of cells is tried in
//! the same run, and may not break at all. The size of files is not limited there, as inputs
//! are handed over in one.

use super::packed::Packed;
use super::{corpus, targets};
use portledger::files::spreadsheet::Reader;
use rustix::process::{Resource, Rlimit, setrlimit};
use std::fs;
use std::io::{BufRead, BufReader, Write};
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};
use tempfile::TempDir;

/// Inputs of a usual run beside the corpus, each with a process of its own.
const INPUTS: usize = 120;

/// So long a batch goes on; less than the processor time that a reading process has.
const BATCH: Duration = Duration::from_secs(10);

/// Says to a second run what it is to try: target, first input, end.
const ORDER: &str = "FUZZ_BATCH";

/// What a target holds for a file at a path, read by a reader.
type Hold = Box<dyn Fn(&Path, &Reader)>;

fn hold(target: &str) -> Hold {
    match target {
        "returned" => Box::new(targets::returned()),
        _ => Box::new(targets::spreadsheet()),
    }
}

/// Tries the corpus of a target and inputs made from it.
pub fn attack(target: &str) {
    let packed = Packed::new(corpus(target));
    let n_corpus = corpus(target).len();
    match std::env::var("FUZZ_INPUTS") {
        Err(_) => attack_one_by_one(target, &packed, n_corpus + INPUTS),
        Ok(n) => attack_in_batches(target, &packed, n_corpus + n.parse::<usize>().unwrap()),
    }
}

fn attack_one_by_one(target: &str, packed: &Packed, n: usize) {
    let hold = hold(target);
    let folder = TempDir::new().unwrap();
    for at in 0..n {
        if let Err(why) = tried(&hold, folder.path(), &apart(), &packed.input(at)) {
            panic!("{}: {why}", kept(target, at, &packed.input(at)));
        }
    }
}

/// The reader of the program.
fn apart() -> Reader {
    Reader::new(env!("CARGO_BIN_EXE_portledger").into())
}

fn tried(hold: &Hold, folder: &Path, reader: &Reader, input: &[u8]) -> Result<(), String> {
    let path = folder.join("cables.bin");
    fs::write(&path, input).unwrap();
    catch_unwind(AssertUnwindSafe(|| hold(&path, reader))).map_err(|what| {
        let owned = what.downcast_ref::<String>().map(String::as_str);
        let said = owned.or(what.downcast_ref::<&str>().copied());
        said.unwrap_or_default().replace('\n', " ")
    })
}

/// Where an input that broke something is kept.
fn kept(target: &str, at: usize, input: &[u8]) -> String {
    let path = Path::new(env!("CARGO_TARGET_TMPDIR")).join(format!("broke-{target}-{at}"));
    fs::write(&path, input).unwrap();
    path.display().to_string()
}

/// What came of the batches.
#[derive(Default)]
struct Tally {
    /// Inputs that broke something, with what was said.
    broke: Vec<String>,
    /// Inputs at which a second run died.
    deaths: Vec<usize>,
    /// Inputs that took long, with the seconds.
    slow: Vec<String>,
}

fn attack_in_batches(target: &str, packed: &Packed, n: usize) {
    let hold = hold(target);
    let folder = TempDir::new().unwrap();
    let (mut tally, mut next) = (Tally::default(), 0);
    while next < n && tally.broke.len() < 20 {
        let begun = next;
        next = batch(target, next, n, &mut tally);
        let death = tally.deaths.last().copied().filter(|at| *at >= begun);
        if let Some(at) = death
            && let Err(why) = tried(&hold, folder.path(), &apart(), &packed.input(at))
        {
            tally.broke.push(format!("@{at} {why}"));
        }
        // A long run that is stopped has said how far it came.
        say(&format!(
            "{target}: {next} tried, {} broke, a reading process died at {:?}, slow {:?}",
            tally.broke.len(),
            tally.deaths,
            tally.slow
        ));
    }
    let broke = tally.broke.iter().map(|told| {
        let at = told[1..].split(' ').next().unwrap();
        let at = at.parse().unwrap();
        format!("{}: {told}", kept(target, at, &packed.input(at)))
    });
    let broke: Vec<String> = broke.collect();
    assert!(broke.is_empty(), "{}", broke.join("\n"));
}

fn say(line: &str) {
    let _ = writeln!(std::io::stderr().lock(), "{line}");
}

/// Starts a second run and listens; gives the number of the first input that was not tried.
fn batch(target: &str, from: usize, to: usize, tally: &mut Tally) -> usize {
    let mut child = Command::new(std::env::current_exe().unwrap())
        .args(["--exact", "fuzz::batch::a_batch_is_tried", "--nocapture"])
        .env(ORDER, format!("{target} {from} {to}"))
        .env("RUST_MIN_STACK", (8 << 20).to_string())
        .env("RUST_BACKTRACE", "0")
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .unwrap();
    let (mut next, mut is_done) = (from, false);
    for line in BufReader::new(child.stdout.take().unwrap()).lines() {
        let line = line.unwrap();
        match line.as_bytes() {
            [b'+', ..] => next = line[1..].parse::<usize>().unwrap() + 1,
            [b'@', ..] => tally.broke.push(line),
            [b'~', ..] => tally.slow.push(line),
            [b'.', ..] => is_done = true,
            _ => {}
        }
    }
    child.wait().unwrap();
    assert!(next > from, "the second run tried nothing");
    if !is_done {
        tally.deaths.push(next - 1);
    }
    next
}

/// The second run; without an order there is nothing to do.
#[test]
fn a_batch_is_tried() {
    let Ok(order) = std::env::var(ORDER) else {
        return;
    };
    let words: Vec<&str> = order.split(' ').collect();
    let (target, from, to) = (words[0], words[1], words[2]);
    let packed = Packed::new(corpus(target));
    let hold = hold(target);
    let folder = TempDir::new_in("/dev/shm").or_else(|_| TempDir::new());
    let folder = folder.unwrap();
    limit();
    let begun = Instant::now();
    tell("");
    for at in from.parse().unwrap()..to.parse().unwrap() {
        let input = packed.input(at);
        tell(&format!("+{at}"));
        let at_input = Instant::now();
        if let Err(why) = tried(&hold, folder.path(), &Reader::within(), &input) {
            tell(&format!("@{at} {why}"));
        }
        if at_input.elapsed() > Duration::from_secs(2) {
            tell(&format!("~{at} {:.1} s", at_input.elapsed().as_secs_f64()));
        }
        if begun.elapsed() > BATCH {
            break;
        }
    }
    tell(".");
}

/// Past the harness, which may hold lines back.
fn tell(line: &str) {
    let mut out = std::io::stdout().lock();
    writeln!(out, "{line}").unwrap();
    out.flush().unwrap();
}

/// The limits of a reading process.
fn limit() {
    let all = [
        (Resource::As, 1 << 30),
        (Resource::Cpu, 30),
        (Resource::Nofile, 16),
        (Resource::Core, 0),
    ];
    for (resource, most) in all {
        let limit = Rlimit {
            current: Some(most),
            maximum: Some(most),
        };
        setrlimit(resource, limit).unwrap();
    }
}
