//! What the program prints of hostile files: whatever they hold, nothing that acts on a terminal
//! reaches one.

use super::packed::Packed;
use super::{changed, corpus, targets};
use crate::random::Random;
use std::fs;
use std::path::Path;
use std::process::Command;
use tempfile::TempDir;

/// Inputs of a target beside its corpus; each costs a run of the program or several.
const INPUTS: usize = 12;

/// Runs the program and looks at all it prints, which is never nothing.
#[track_caller]
fn run(folder: &Path, words: &[&str]) {
    let output = Command::new(env!("CARGO_BIN_EXE_portledger"))
        .args(words)
        .current_dir(folder)
        .env("XDG_STATE_HOME", folder)
        .output()
        .unwrap();
    assert!(
        matches!(output.status.code(), Some(0..=2)),
        "{words:?}: {:?}",
        output.status
    );
    for printed in [&output.stdout, &output.stderr] {
        let text = std::str::from_utf8(printed).unwrap();
        let mut lines = text.split('\n');
        let bad = lines.find(|line| line.chars().any(targets::acts));
        assert_eq!(bad, None, "{words:?}");
    }
    assert!(output.stdout.len() + output.stderr.len() > 0, "{words:?}");
}

#[test]
fn nothing_acts_on_a_terminal_of_what_is_imported() {
    let folder = TempDir::new().unwrap();
    let folder = folder.path();
    for target in ["xlsx", "xlsb", "xls", "ods"] {
        let packed = Packed::new(corpus(target));
        for at in 0..corpus(target).len() + INPUTS {
            fs::write(folder.join("in\u{1b}[31m.bin"), packed.input(at)).unwrap();
            fs::write(folder.join("a.plan"), targets::SENT).unwrap();
            run(folder, &["import", "a.plan", "in\u{1b}[31m.bin"]);
            run(folder, &["show", "a.plan", "links"]);
        }
    }
    let (csv, mut random) = (corpus("csv"), Random(3));
    for _ in 0..INPUTS {
        fs::write(folder.join("in.csv"), changed(&csv, &mut random)).unwrap();
        run(folder, &["import", "a.plan", "in.csv", "--dry-run"]);
    }
}

#[test]
fn nothing_acts_on_a_terminal_of_what_comes_back() {
    let folder = TempDir::new().unwrap();
    let folder = folder.path();
    let packed = Packed::new(corpus("returned"));
    for at in 0..corpus("returned").len() + 3 * INPUTS {
        fs::write(folder.join("back.bin"), packed.input(at)).unwrap();
        fs::write(folder.join("a.plan"), targets::SENT).unwrap();
        run(folder, &["merge", "a.plan", "back.bin"]);
    }
}

#[test]
fn nothing_acts_on_a_terminal_of_a_plan() {
    let folder = TempDir::new().unwrap();
    let folder = folder.path();
    let (plans, mut random) = (corpus("plan"), Random(5));
    let made = (0..INPUTS).map(|_| changed(&plans, &mut random));
    let made: Vec<Vec<u8>> = made.collect();
    let acting = targets::ACTING.as_bytes().to_vec();
    for plan in plans.into_iter().chain(made).chain([acting]) {
        fs::write(folder.join("a.plan"), plan).unwrap();
        for words in [
            &["check", "a.plan"][..],
            &["show", "a.plan", "links"],
            &["show", "a.plan", "switches"],
            &["fail", "a.plan"],
            &["order", "a.plan"],
            &["export", "a.plan", "out.txt", "--replace"],
        ] {
            run(folder, words);
        }
        // A work list is read on a terminal as well; a plan that does not open has none.
        let list = fs::read_to_string(folder.join("out.txt")).unwrap_or_default();
        let bad = list
            .split('\n')
            .find(|line| line.chars().any(targets::acts));
        assert_eq!(bad, None);
    }
}
