//! Calls of the system that fail, processes that are killed, writers that meet, bytes that are
//! damaged: the plan is the old one or the new one, and what was called saved is there.
//!
//! `tests/faults/shim.c` stands between the program and the system; the C compiler that links the
//! tests makes it. `PORTLEDGER_KILLS=10000` makes the loops of killing longer.

#![cfg(unix)]

use super::journal::{self, CHILD};
use super::properties::beginning;
use super::pty::Start;
use super::random::Random;
use portledger::desk::Desk;
use portledger::files::plan_file::{read, write};
use portledger::plan::{Edit, Entry};
use portledger::trade::empty_plan;
use std::collections::BTreeSet;
use std::fs;
use std::io::{BufRead, BufReader, Write};
use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use std::sync::OnceLock;
use std::thread;
use std::time::Duration;

const EINTR: i32 = 4;
const EIO: i32 = 5;
const EACCES: i32 = 13;
const ENOSPC: i32 = 28;
const EROFS: i32 = 30;
const EDQUOT: i32 = 122;

/// A folder with a plan of two halls, whose title is the number 0.
fn with_plan() -> (tempfile::TempDir, PathBuf) {
    let room = tempfile::tempdir().unwrap();
    let path = room.path().join("reef.plan");
    let mut plan = beginning();
    plan.title = "0".to_owned();
    fs::write(&path, write(&plan)).unwrap();
    (room, path)
}

fn titled(desk: &mut Desk, title: &str) {
    let edit = Edit::SetTitle(title.to_owned());
    desk.apply(&format!("title {title}"), edit).unwrap();
}

/// The number in the title of a plan that must be whole.
#[track_caller]
fn number(path: &Path) -> usize {
    let text = fs::read_to_string(path).unwrap();
    let (plan, problems) = read(&text, empty_plan).unwrap();
    assert!(problems.is_empty(), "{problems:?}");
    assert_eq!(write(&plan), text);
    plan.title.parse().unwrap()
}

/// Says something to a parent, past the harness, which keeps what is printed by macro.
fn say(words: &str) {
    let mut out = std::io::stdout();
    writeln!(out, "{words}").unwrap();
    out.flush().unwrap();
}

/// A test of this file as a process of its own, in a folder.
fn child(test: &str, room: &Path) -> Command {
    let program = std::env::current_exe().unwrap();
    journal::child(&format!("faults::{test}"), &[], &program, room)
}

/// The folder, where this process is a child.
fn folder_of_child() -> Option<PathBuf> {
    std::env::var_os(CHILD).map(PathBuf::from)
}

/// What the shim is compiled to, once.
fn shim() -> &'static Path {
    static SHIM: OnceLock<PathBuf> = OnceLock::new();
    SHIM.get_or_init(|| {
        let from = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/faults/shim.c");
        let to = tempfile::Builder::new()
            .prefix("faults")
            .tempdir_in(env!("CARGO_TARGET_TMPDIR"))
            .unwrap()
            .keep();
        let to = to.join("shim.so");
        let made = Command::new("cc")
            .args(["-shared", "-fPIC", "-O1", "-o"])
            .args([&to, &from])
            .arg("-ldl")
            .status()
            .unwrap();
        assert!(made.success());
        to
    })
}

/// Which call fails, and how.
#[derive(Debug, Clone, Copy)]
struct Fault {
    at: usize,
    /// `None` kills the process.
    error: Option<i32>,
    /// Whether all later calls fail as well.
    on: bool,
}

fn with_fault(command: &mut Command, room: &Path, fault: Option<Fault>) -> Output {
    command.env("LD_PRELOAD", shim()).env("FAULT_ROOM", room);
    if let Some(fault) = fault {
        let error = fault.error.map_or("kill".to_owned(), |no| no.to_string());
        command.env("FAULT_AT", fault.at.to_string());
        command.env("FAULT_ERRNO", error);
        if fault.on {
            command.env("FAULT_ON", "1");
        }
    }
    command.output().unwrap()
}

/// Runs a child without a fault and counts its calls.
fn n_calls(test: &str) -> usize {
    let (room, path) = with_plan();
    let log = tempfile::NamedTempFile::new().unwrap();
    let mut command = child(test, room.path());
    command.env("FAULT_LOG", log.path());
    let output = with_fault(&mut command, room.path(), None);
    assert!(said(&output).contains("saved"), "{output:?}");
    assert_eq!(number(&path), 1);
    fs::read_to_string(log.path()).unwrap().lines().count()
}

fn said(output: &Output) -> String {
    String::from_utf8_lossy(&output.stdout).into_owned()
}

/// No test: a sitting with one edit that is saved, whatever the system says to it.
#[test]
fn a_child_that_saves_once() {
    let Some(room) = folder_of_child() else {
        return;
    };
    let path = room.join("reef.plan");
    let mut desk = match Desk::open_for_editing(&path, Some(room.join("state"))) {
        Ok(desk) => desk,
        Err(problem) => return say(&format!("unopened {}", problem.code)),
    };
    if desk.is_read_only() {
        return say("unopened read-only");
    }
    titled(&mut desk, "1");
    if desk.settle() {
        say("settled");
    }
    match desk.save() {
        Ok(_) => say("saved"),
        Err(problem) => {
            assert!(!problem.help.is_empty());
            say(&format!("refused {}", problem.code));
        }
    }
    // Whatever the disk did, the plan in memory is the person's.
    assert_eq!(desk.plan().title, "1");
    say("alive");
}

#[test]
fn a_save_whose_calls_fail_in_turn_leaves_the_old_plan_or_the_new_one() {
    let n = n_calls("a_child_that_saves_once");
    assert!(n > 20, "{n} calls");
    let errors = [EIO, ENOSPC, EACCES, EROFS, EDQUOT, EINTR];
    let once = errors.map(|error| (Some(error), false));
    // What is interrupted is asked again, for ever if need be.
    let on = errors[..5].iter().map(|error| (Some(*error), true));
    let kinds: Vec<_> = once.into_iter().chain(on).chain([(None, false)]).collect();
    let faults = (1..=n).flat_map(|at| {
        kinds
            .iter()
            .map(move |&(error, on)| Fault { at, error, on })
    });
    let faults: Vec<Fault> = faults.collect();
    let (mut n_old, mut n_new) = (0, 0);
    for fault in faults {
        let (room, path) = with_plan();
        let mut command = child("a_child_that_saves_once", room.path());
        let output = with_fault(&mut command, room.path(), Some(fault));
        let said = said(&output);
        let is_killed = fault.error.is_none();
        let is_told = said.contains("unopened") || said.contains("alive");
        assert!(is_killed || is_told, "{fault:?}: {output:?}");
        let found = number(&path);
        match found {
            0 => n_old += 1,
            1 => n_new += 1,
            other => panic!("{fault:?}: {other}"),
        }
        if said.contains("\nsaved") {
            assert_eq!(found, 1, "{fault:?} lost what was called saved");
        }
        if said.contains("settled") && found == 0 {
            let mut again = Desk::open_for_editing(&path, Some(room.path().join("state"))).unwrap();
            again.take_recovery().unwrap();
            assert_eq!(again.plan().title, "1", "{fault:?} lost what was on disk");
        }
        if is_killed {
            // The next writer clears away what a save left that did not come to its end.
            drop(Desk::open_for_editing(&path, None).unwrap());
            let left = names(room.path());
            let left = left.iter().filter(|name| name.contains(".saving-"));
            assert_eq!(left.count(), 0, "{fault:?}");
        }
    }
    assert!(n_old > 20 && n_new > 20, "{n_old} old, {n_new} new");
}

/// The names of the files in a folder.
fn names(room: &Path) -> BTreeSet<String> {
    let entries = fs::read_dir(room).unwrap();
    entries
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .collect()
}

/// No test: saves for ever and says which number was saved.
#[test]
fn a_child_that_saves() {
    let Some(room) = folder_of_child() else {
        return;
    };
    let path = room.join("reef.plan");
    let mut desk = Desk::open_for_editing(&path, None).unwrap();
    // What was only edited is decided to be kept, as a person would.
    desk.take_recovery().unwrap();
    let begin: usize = desk.plan().title.parse().unwrap();
    for at in begin + 1.. {
        titled(&mut desk, &at.to_string());
        desk.save().unwrap();
        say(&format!("saved {at}"));
    }
}

fn n_kills(usual: usize) -> usize {
    let wanted = std::env::var("PORTLEDGER_KILLS").ok();
    wanted.map_or(usual, |n| n.parse().unwrap())
}

/// A number of a turn below another, as a time.
fn micros(turn: usize, most: usize) -> u64 {
    spread(turn, most) as u64
}

/// A number of a turn below another, as by chance.
fn spread(turn: usize, most: usize) -> usize {
    Random(turn as u64).below(most)
}

#[test]
fn a_process_killed_at_any_moment_of_saving_damages_nothing_and_keeps_what_was_saved() {
    let n_each = n_kills(1000) / 2;
    thread::scope(|scope| {
        for lane in 0..2 {
            scope.spawn(move || {
                let (room, path) = with_plan();
                let mut known = 0;
                for at in 0..n_each {
                    let mut child = child("a_child_that_saves", room.path()).spawn().unwrap();
                    let mut lines = BufReader::new(child.stdout.take().unwrap()).lines();
                    let mut saved = lines
                        .by_ref()
                        .filter_map(|line| line.ok()?.strip_prefix("saved ")?.parse().ok());
                    // The first save is waited for, so that the kill falls into the saving.
                    known = saved.next().unwrap_or(known);
                    thread::sleep(Duration::from_micros(micros(at * 2 + lane, 5000)));
                    child.kill().unwrap();
                    child.wait().unwrap();
                    known = saved.last().unwrap_or(known);
                    let found = number(&path);
                    assert!(found == known || found == known + 1, "{found}, not {known}");
                    // What was made up to the kill and not saved waits in the journal.
                    known = found;
                }
                assert!(known > n_each, "{known} saves");
            });
        }
    });
}

#[test]
fn a_program_killed_at_any_moment_of_editing_leaves_the_plan_and_edits_in_order() {
    let mut n_recovered = 0;
    for at in 0..n_kills(1000) / 5 {
        let mut term = Start::on_plan(&[]).go();
        term.wait("M101");
        let path = term.home.path().join("aquarium.plan");
        let before = fs::read(&path).unwrap();
        term.keys(&"\x1b[C".repeat(6));
        for value in 1..=9 {
            term.keys(&format!("{}\r\x1b[B", 1000 + value));
        }
        thread::sleep(Duration::from_micros(micros(at, 30_000)));
        term.insist(rustix::process::Signal::KILL);
        assert_eq!(fs::read(&path).unwrap(), before, "nothing was saved");
        let state = term.home.path().join(".local/state/portledger");
        let mut desk = Desk::open_for_editing(&path, Some(state)).unwrap();
        let n_steps = desk.take_recovery().unwrap();
        n_recovered += n_steps;
        // The edits that are there are the first ones, each as it was typed.
        let plan = desk.plan();
        let links = plan.sheet("links").unwrap();
        let columns = &plan.def(links).columns;
        let length = columns.iter().position(|column| column.name == "length");
        let lengths = plan.rows(links).order().iter().filter_map(|&row| {
            match plan.entry(links, length.unwrap(), row) {
                // The longest link of the demo has 1,800 m.
                Entry::Number(value) if (1001.0..1010.0).contains(&value) => Some(value),
                Entry::Number(_) | Entry::Empty | Entry::Text(_) | Entry::Wrong(_) => None,
            }
        });
        let wanted: Vec<f64> = (1..=n_steps).map(|value| 1000.0 + value as f64).collect();
        assert_eq!(lengths.collect::<Vec<_>>(), wanted);
    }
    assert!(n_recovered > 0);
}

/// No test: adds one to the title again and again, with the others that do.
#[test]
fn a_child_that_counts() {
    let Some(room) = folder_of_child() else {
        return;
    };
    let path = room.join("reef.plan");
    let mut n_done = 0;
    while n_done < 250 {
        let mut desk = match Desk::open_to_change(&path) {
            Ok(desk) => desk,
            Err(problem) => {
                assert_eq!(problem.code, "plan-held");
                thread::sleep(Duration::from_millis(1));
                continue;
            }
        };
        let next = desk.plan().title.parse::<usize>().unwrap() + 1;
        titled(&mut desk, &next.to_string());
        desk.save().unwrap();
        n_done += 1;
    }
    say("counted");
}

#[test]
fn two_writers_never_mix_and_none_loses_what_it_saved() {
    let (room, path) = with_plan();
    let start = || child("a_child_that_counts", room.path()).spawn().unwrap();
    let both = [start(), start()];
    for child in both {
        let output = child.wait_with_output().unwrap();
        assert!(said(&output).contains("counted"), "{output:?}");
    }
    assert_eq!(number(&path), 500);
}

#[test]
fn a_limit_on_file_sizes_refuses_the_save_and_does_not_end_the_program() {
    let (room, path) = with_plan();
    let program = std::env::current_exe().unwrap();
    let before = ["sh", "-c", "ulimit -f 0; exec \"$0\" \"$@\""];
    let test = "faults::a_child_that_saves_once";
    let mut command = journal::child(test, &before, &program, room.path());
    let output = command.output().unwrap();
    let said = said(&output);
    assert!(
        said.contains("refused not-saved") && said.contains("alive"),
        "{output:?}"
    );
    assert_eq!(number(&path), 0);
}

#[test]
fn a_plan_cut_or_changed_at_any_byte_is_never_taken_for_whole() {
    let (_room, path) = with_plan();
    let text = fs::read(&path).unwrap();
    let whole = write(
        &read(std::str::from_utf8(&text).unwrap(), empty_plan)
            .unwrap()
            .0,
    );
    let check = |bytes: Vec<u8>, what: &str| {
        // What is no text at all is refused when it is loaded.
        let Ok(text) = String::from_utf8(bytes) else {
            return;
        };
        if let Ok((plan, problems)) = read(&text, empty_plan) {
            let is_same = write(&plan) == whole;
            assert!(!problems.is_empty() || is_same, "{what}: {text}");
        }
    };
    for at in 0..text.len() {
        check(text[..at].to_vec(), &format!("cut at {at}"));
    }
    for at in 0..10_000 {
        let mut bytes = text.clone();
        let place = spread(at, text.len());
        bytes[place] ^= 1 << spread(at + 7, 8);
        check(bytes, &format!("byte {place}"));
    }
}

#[test]
fn what_a_file_held_before_a_sitting_is_kept_beside_it() {
    let (room, path) = with_plan();
    let version = |at: usize| room.path().join(format!("reef.plan~{at}"));
    for sitting in 1..=5 {
        let mut desk = Desk::open_for_editing(&path, None).unwrap();
        for step in 0..3 {
            titled(&mut desk, &format!("{sitting}{step}"));
            desk.save().unwrap();
        }
        assert!(!desk.problems().any(|problem| problem.code == "no-version"));
    }
    assert_eq!(number(&path), 52);
    assert_eq!([1, 2, 3].map(|at| number(&version(at))), [42, 32, 22]);
    assert!(!version(4).exists());
    // A sitting that saves nothing moves nothing.
    drop(Desk::open_for_editing(&path, None).unwrap());
    assert_eq!(number(&version(1)), 42);
    assert_eq!(names(room.path()).len(), 4);
}

/// What a run of the program wrote and which sockets it opened, as the shim saw it.
fn seen(command: &mut Command) -> BTreeSet<String> {
    let log = tempfile::NamedTempFile::new().unwrap();
    let run = command
        .env("LD_PRELOAD", shim())
        .env("FAULT_LOG", log.path())
        .env("FAULT_OUTSIDE", "1")
        .output()
        .unwrap();
    assert!(run.status.code().is_some_and(|code| code < 2), "{run:?}");
    let text = fs::read_to_string(log.path()).unwrap();
    text.lines().map(str::to_owned).collect()
}

fn program(room: &Path) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_portledger"));
    command.env_clear().env("HOME", room).current_dir(room);
    command
}

#[test]
fn reading_commands_write_nothing_and_nothing_opens_a_socket() {
    let (room, _) = with_plan();
    let reading: &[&[&str]] = &[
        &["check", "reef.plan"],
        &["show", "reef.plan", "links"],
        &["tables"],
        &["functions"],
        &["calc", "1 km / 2"],
    ];
    for words in reading {
        let seen = seen(program(room.path()).args(*words));
        assert!(seen.is_empty(), "{words:?}: {seen:?}");
    }
}

#[test]
fn a_change_writes_the_plan_and_its_side_files_and_nothing_else() {
    let (room, path) = with_plan();
    let text = include_str!("../../examples/aquarium.plan");
    fs::write(&path, text).unwrap();
    let words = ["set", "reef.plan", "links", "P105", "medium", "OM4"];
    let seen = seen(program(room.path()).args(words));
    assert!(!seen.is_empty());
    for line in seen {
        let path = line
            .strip_prefix("writes ")
            .unwrap_or_else(|| panic!("{line}"));
        let name = path.strip_prefix("./").unwrap_or(path);
        let name = Path::new(name).file_name().unwrap().to_str().unwrap();
        assert!(name.starts_with(".reef.plan."), "{line}");
    }
}

#[test]
fn a_sitting_opens_no_socket_to_anywhere_and_writes_beside_its_plan_alone() {
    let log = tempfile::NamedTempFile::new().unwrap();
    let mut term = Start::on_plan(&[])
        .env("LD_PRELOAD", shim().to_str().unwrap())
        .env("FAULT_LOG", log.path().to_str().unwrap())
        .env("FAULT_OUTSIDE", "1")
        .go();
    term.wait("M101");
    term.keys(&"\x1b[C".repeat(6));
    term.keys("77\r").wait("1 unsaved");
    term.keys("\x13").wait("saved aquarium.plan");
    term.keys("q");
    assert_eq!(term.end(), 0);
    let text = fs::read_to_string(log.path()).unwrap();
    assert!(text.contains(".aquarium.plan.saving-"), "{text}");
    for line in text.lines() {
        // A pair of sockets within the process wakes a thread and leads nowhere.
        let is_ours = line.contains("aquarium.plan") || line.trim() == "socketpair";
        let is_terminal = ["/dev/tty", "/dev/null"]
            .iter()
            .any(|path| line.ends_with(path));
        assert!(is_ours || is_terminal, "{line}");
    }
}
