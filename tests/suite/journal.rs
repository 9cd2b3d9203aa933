//! Nothing is lost: what is on disk after a crash, who may write, and what saving refuses.
//!
//! A crash is a copy of the files as they are at that moment, or a process that is killed.

use super::properties::{Step, beginning, edit, step};
use super::proposals::{Move, make, moves};
use portledger::desk::{Desk, SaveState};
use portledger::files::plan_file::write;
use portledger::plan::{Edit, Entry};
use proptest::prelude::*;
use std::fs;
use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

/// A folder with a plan of two halls.
fn with_plan() -> (tempfile::TempDir, PathBuf) {
    let room = tempfile::tempdir().unwrap();
    let path = room.path().join("reef.plan");
    fs::write(&path, write(&beginning())).unwrap();
    (room, path)
}

fn opened(path: &Path) -> Desk {
    Desk::open_for_editing(path, None).unwrap()
}

fn titled(desk: &mut Desk, title: &str) {
    let edit = Edit::SetTitle(title.to_owned());
    desk.apply(&format!("title {title}"), edit).unwrap();
}

/// The names of the files in a folder.
fn names(room: &Path) -> Vec<String> {
    let entries = fs::read_dir(room).unwrap();
    let names = entries.map(|entry| entry.unwrap().file_name().into_string().unwrap());
    let mut names: Vec<String> = names.collect();
    names.sort();
    names
}

/// The files of a folder as they are now, in a folder of their own, locks left out: they end with
/// the process.
fn crashed(room: &Path) -> tempfile::TempDir {
    let copy = tempfile::tempdir().unwrap();
    for name in names(room).iter().filter(|name| !name.ends_with(".lock")) {
        fs::copy(room.join(name), copy.path().join(name)).unwrap();
    }
    copy
}

/// What a person does in a sitting.
#[derive(Debug, Clone)]
enum Act {
    Edit(Step),
    Undo,
    Redo,
    Save,
    Proposal(Move),
}

fn act() -> impl Strategy<Value = Act> {
    prop_oneof![
        8 => step().prop_map(Act::Edit),
        3 => Just(Act::Undo),
        2 => Just(Act::Redo),
        1 => Just(Act::Save),
        8 => moves().prop_map(Act::Proposal),
    ]
}

fn does(desk: &mut Desk, act: &Act) {
    match act {
        Act::Edit(step) => {
            if let Some(edit) = edit(desk.plan(), step) {
                let done = desk.apply("a step", edit);
                // What belongs to the base is refused in a proposal.
                assert!(done.is_ok() || desk.within().is_some(), "{done:?}");
            }
        }
        Act::Undo => drop(desk.undo().unwrap()),
        Act::Redo => drop(desk.redo().unwrap()),
        Act::Save => drop(desk.save().unwrap()),
        Act::Proposal(one) => make(desk, one),
    }
}

/// A plan after a crash is what it was, and so is every way back and forward from there.
fn check_recovery(acts: &[Act]) -> Result<(), TestCaseError> {
    let (room, path) = with_plan();
    let mut desk = opened(&path);
    for act in acts {
        does(&mut desk, act);
    }
    prop_assert!(desk.settle());
    let copy = crashed(room.path());
    let mut again = opened(&copy.path().join("reef.plan"));
    let told = again.recovery().map_or(0, |recovery| recovery.n_steps);
    let (SaveState::Saved | SaveState::Unsaved(_)) = desk.state() else {
        return Err(TestCaseError::fail(format!("{:?}", desk.state())));
    };
    let taken = again.take_recovery().unwrap();
    prop_assert_eq!((told, taken), (told, told));
    prop_assert_eq!(again.state(), desk.state());
    let of_journal = |code: &str| code.starts_with("edits-") || code.starts_with("journal-");
    prop_assert!(!again.problems().any(|problem| of_journal(problem.code)));
    prop_assert_eq!(write(again.plan()), write(desk.plan()));
    if told > 0 {
        while let Some(label) = again.undo().unwrap() {
            prop_assert_eq!(desk.undo().unwrap(), Some(label));
            prop_assert_eq!(write(again.plan()), write(desk.plan()));
        }
        while let Some(label) = again.redo().unwrap() {
            prop_assert_eq!(desk.redo().unwrap(), Some(label));
            prop_assert_eq!(write(again.plan()), write(desk.plan()));
        }
        if again.within().is_some() {
            again.leave().unwrap();
        }
        // What was done after the first recovery is there after a second one.
        titled(&mut again, "Second sitting");
        prop_assert!(again.settle());
        let copy = crashed(copy.path());
        let mut third = opened(&copy.path().join("reef.plan"));
        third.take_recovery().unwrap();
        prop_assert_eq!(write(third.plan()), write(again.plan()));
    }
    Ok(())
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 48, max_shrink_iters: 200, ..ProptestConfig::default() })]

    #[test]
    fn a_sitting_that_crashes_is_taken_up_where_it_ended(acts in prop::collection::vec(act(), 1..30)) {
        check_recovery(&acts)?;
    }
}

#[test]
fn rows_that_moved_and_went_before_a_save_are_found_after_it() {
    let (room, path) = with_plan();
    let mut desk = opened(&path);
    let links = desk.plan().sheet("links").unwrap();
    let order = desk.plan().rows(links).order().to_vec();
    let remove = Edit::RemoveRows {
        sheet: links,
        rows: vec![order[0]],
    };
    desk.apply("remove", remove).unwrap();
    let reversed = order[1..].iter().rev().copied().collect();
    let turn = Edit::Reorder {
        sheet: links,
        order: reversed,
    };
    desk.apply("turn round", turn).unwrap();
    desk.save().unwrap();
    let length = desk.plan().def(links).column("length").unwrap();
    desk.set(links, order[1], length, "77 m").unwrap();
    // Two steps back beyond the save: the row that the file does not have comes again.
    for _ in 0..3 {
        desk.undo().unwrap().unwrap();
    }
    desk.set(links, order[0], length, "88 m").unwrap();
    assert_eq!(desk.state(), SaveState::Unsaved(3));
    desk.settle();
    let copy = crashed(room.path());
    let mut again = opened(&copy.path().join("reef.plan"));
    let labels = again.recovery().unwrap().labels.clone();
    assert_eq!(
        labels,
        ["turn round taken back", "remove taken back", "length of L1"]
    );
    assert_eq!(again.take_recovery().unwrap(), 3);
    assert_eq!(write(again.plan()), write(desk.plan()));
}

#[test]
fn a_clean_end_leaves_nothing_but_the_version_before() {
    let (room, path) = with_plan();
    drop(Desk::open(&path).unwrap());
    drop(opened(&path));
    assert_eq!(names(room.path()), ["reef.plan"]);

    let mut desk = opened(&path);
    assert_eq!(
        (desk.state(), desk.journal_path()),
        (SaveState::Saved, None)
    );
    titled(&mut desk, "Reef");
    assert!(desk.settle());
    let journal = desk.journal_path().unwrap();
    assert_eq!(journal.file_name().unwrap(), ".reef.plan.journal");
    assert_eq!(
        names(room.path()),
        [".reef.plan.journal", ".reef.plan.lock", "reef.plan"]
    );
    desk.undo().unwrap();
    assert_eq!(desk.state(), SaveState::Saved);
    drop(desk);
    assert_eq!(names(room.path()), ["reef.plan"]);

    let mut desk = opened(&path);
    titled(&mut desk, "Reef");
    desk.save().unwrap();
    assert_eq!(
        (desk.state(), desk.journal_path()),
        (SaveState::Saved, None)
    );
    drop(desk);
    assert_eq!(names(room.path()), ["reef.plan", "reef.plan~1"]);
}

#[test]
fn an_end_without_saving_is_taken_up_or_dropped_by_choice() {
    let (room, path) = with_plan();
    let mut desk = opened(&path);
    titled(&mut desk, "One");
    titled(&mut desk, "Two");
    drop(desk);

    let mut desk = opened(&path);
    let recovery = desk.recovery().unwrap();
    assert_eq!(recovery.labels, ["title One", "title Two"]);
    assert!(recovery.is_whole && recovery.n_steps == 2);
    assert!(recovery.written.as_ref().unwrap().ends_with(" UTC"));
    // Until it is decided nothing can be changed or saved.
    let edit = Edit::SetTitle("Three".to_owned());
    let problem = desk.apply("title", edit).unwrap_err();
    assert_eq!(problem.code, "edits-wait");
    assert_eq!(desk.save().unwrap_err().code, "edits-wait");
    let other = room.path().join("other.plan");
    assert_eq!(desk.save_as(&other, false).unwrap_err().code, "edits-wait");
    // Who does not decide is asked again.
    drop(desk);
    let mut desk = opened(&path);
    let kept = desk.drop_recovery().unwrap().unwrap();
    assert!(kept.ends_with(".reef.plan.journal~dropped"));
    assert!(desk.recovery().is_none());
    titled(&mut desk, "Four");
    let kept = desk.abandon().unwrap();
    assert!(kept.ends_with(".reef.plan.journal~dropped-2"));
    assert_eq!(
        names(room.path()),
        [
            ".reef.plan.journal~dropped",
            ".reef.plan.journal~dropped-2",
            "reef.plan"
        ]
    );
    assert!(opened(&path).recovery().is_none());
}

#[test]
fn edits_made_to_another_version_of_the_plan_are_kept_aside() {
    let (room, path) = with_plan();
    let mut desk = opened(&path);
    titled(&mut desk, "One");
    drop(desk);
    fs::write(&path, "portledger = 1\n").unwrap();
    let desk = opened(&path);
    assert!(desk.recovery().is_none());
    let told = desk
        .problems()
        .find(|problem| problem.code == "edits-set-aside");
    assert!(told.unwrap().message.contains("the plan was changed since"));
    drop(desk);
    assert_eq!(names(room.path()), [".reef.plan.journal~kept", "reef.plan"]);
}

#[test]
fn a_crash_just_after_saving_has_nothing_to_recover() {
    let (room, path) = with_plan();
    let mut desk = opened(&path);
    titled(&mut desk, "One");
    desk.settle();
    let journal = desk.journal_path().unwrap();
    // The journal says first that a save is coming; this one fails behind that.
    let before = fs::read(&path).unwrap();
    fs::remove_file(&path).unwrap();
    fs::create_dir(&path).unwrap();
    desk.save_over().unwrap_err();
    assert!(matches!(desk.state(), SaveState::Failing(why) if why.contains("is a folder")));
    let with_mark = fs::read(&journal).unwrap();
    fs::remove_dir(&path).unwrap();
    desk.save_over().unwrap();
    drop(desk);
    // The journal that the failed save left, beside the file that the good one wrote.
    fs::write(&journal, &with_mark).unwrap();
    let desk = opened(&path);
    assert!(desk.recovery().is_none());
    assert_eq!(desk.problems().count(), 0);
    drop(desk);
    assert_eq!(names(room.path()), ["reef.plan"]);
    // And beside the file from before.
    fs::write(&journal, &with_mark).unwrap();
    fs::write(&path, &before).unwrap();
    assert_eq!(opened(&path).recovery().unwrap().n_steps, 1);
}

#[test]
fn a_second_opener_reads_until_the_first_is_gone() {
    let (_room, path) = with_plan();
    let mut first = opened(&path);
    let mut second = opened(&path);
    assert!(!first.is_read_only() && second.is_read_only());
    let SaveState::ReadOnly(who) = second.state() else {
        panic!("{:?}", second.state());
    };
    let me = format!("process {} on ", std::process::id());
    assert!(who.starts_with("open in another window since 20"), "{who}");
    assert!(who.contains(&me), "{who}");
    titled(&mut first, "First");
    let edit = Edit::SetTitle("Second".to_owned());
    let problem = second.apply("title", edit).unwrap_err();
    assert_eq!(problem.code, "read-only");
    assert!(!problem.help.is_empty());
    assert_eq!(second.save().unwrap_err().code, "read-only");
    assert_eq!(second.save_over().unwrap_err().code, "read-only");
    assert_eq!(Desk::open_to_change(&path).unwrap_err().code, "plan-held");

    // A copy is its own plan.
    let copy = path.with_file_name("copy.plan");
    second.save_as(&copy, false).unwrap();
    assert_eq!(second.state(), SaveState::Saved);
    titled(&mut second, "Copy");
    second.save().unwrap();
    assert!(opened(&copy).is_read_only());

    drop(first);
    assert!(opened(&path).recovery().is_some());
}

#[test]
fn a_change_by_another_program_is_never_overwritten_unasked() {
    let (_room, path) = with_plan();
    let mut desk = opened(&path);
    titled(&mut desk, "Ours");
    let theirs = fs::read_to_string(&path).unwrap() + "\n";
    fs::write(&path, &theirs).unwrap();
    let problem = desk.save().unwrap_err();
    assert_eq!(problem.code, "changed-by-another");
    assert_eq!(problem.help.len(), 2);
    assert_eq!(fs::read_to_string(&path).unwrap(), theirs);
    assert_eq!(desk.state(), SaveState::Unsaved(1));
    desk.save_over().unwrap();
    assert_eq!(fs::read_to_string(&path).unwrap(), write(desk.plan()));
    // Writing the same bytes again, with a new time, is no change.
    fs::write(&path, fs::read(&path).unwrap()).unwrap();
    titled(&mut desk, "Ours too");
    desk.save().unwrap();
    // A file that went away comes again.
    fs::remove_file(&path).unwrap();
    titled(&mut desk, "Ours three");
    desk.save().unwrap();
    assert_eq!(fs::read_to_string(&path).unwrap(), write(desk.plan()));
}

#[test]
fn saving_under_another_name_asks_before_it_replaces() {
    let (room, path) = with_plan();
    let other = room.path().join("other.plan");
    let mut theirs = Desk::empty("Theirs").unwrap();
    assert_eq!(theirs.save().unwrap_err().code, "no-name");
    theirs.save_as(&other, false).unwrap();
    let mut desk = opened(&path);
    titled(&mut desk, "Ours");
    // It is open there.
    assert_eq!(desk.save_as(&other, true).unwrap_err().code, "plan-held");
    drop(theirs);
    assert_eq!(desk.save_as(&other, false).unwrap_err().code, "plan-there");
    assert_eq!(
        (desk.path(), desk.state()),
        (Some(&*path), SaveState::Unsaved(1))
    );
    // Edits of a session with the plan that is replaced are not lost with it.
    let mut theirs = opened(&other);
    titled(&mut theirs, "Theirs, unsaved");
    drop(theirs);
    desk.save_as(&other, true).unwrap();
    assert_eq!(
        (desk.path(), desk.state()),
        (Some(&*other), SaveState::Saved)
    );
    titled(&mut desk, "Ours, more");
    desk.settle();
    assert_eq!(
        desk.journal_path().unwrap().file_name().unwrap(),
        ".other.plan.journal"
    );
    assert!(!opened(&path).is_read_only());
    assert_eq!(
        names(room.path()),
        [
            ".other.plan.journal",
            ".other.plan.journal~kept",
            ".other.plan.lock",
            "other.plan",
            "other.plan~1",
            "reef.plan"
        ]
    );
}

#[test]
fn a_plan_without_a_name_has_its_journal_in_the_state_folder() {
    let room = tempfile::tempdir().unwrap();
    let state = room.path().join("state/portledger");
    let new = || Desk::empty_for_editing("", Some(state.clone())).unwrap();
    let mut first = new();
    assert_eq!(first.state(), SaveState::InMemory(0));
    titled(&mut first, "First");
    // A second one at the same time has a journal of its own.
    let mut second = new();
    assert!(second.recovery().is_none());
    titled(&mut second, "Second");
    first.settle();
    second.settle();
    assert_eq!(first.state(), SaveState::InMemory(1));
    assert_eq!(names(&state), ["new-2.journal", "new.journal"]);
    let expected = write(first.plan());
    drop(first);
    drop(second);

    let mut demo = Desk::demo_for_editing(Some(state.clone())).unwrap();
    assert!(demo.recovery().is_none());
    titled(&mut demo, "Demo");
    drop(demo);

    let mut again = Desk::empty_for_editing("Other", Some(state.clone())).unwrap();
    assert_eq!(again.recovery().unwrap().labels, ["title First"]);
    again.take_recovery().unwrap();
    assert_eq!(write(again.plan()), expected);
    let path = room.path().join("named.plan");
    again.save_as(&path, false).unwrap();
    assert_eq!(again.state(), SaveState::Saved);
    titled(&mut again, "Named");
    again.settle();
    assert!(
        again
            .journal_path()
            .unwrap()
            .ends_with(".named.plan.journal")
    );
    assert_eq!(names(&state), ["demo.journal", "new-2.journal"]);
    drop(again);
    assert_eq!(new().recovery().unwrap().labels, ["title Second"]);

    let homeless = Desk::demo_for_editing(None).unwrap();
    assert!(
        homeless
            .problems()
            .any(|problem| problem.code == "no-journal")
    );
}

#[test]
fn files_that_are_no_journals_are_kept_and_told() {
    for (bytes, left) in [
        (&b"nothing of ours\n"[..], true),
        (b"\xff\x00\n\n", true),
        (b"12 0123456789abcdef {\"start\"", false),
        (b"", false),
    ] {
        let (room, path) = with_plan();
        fs::write(room.path().join(".reef.plan.journal"), bytes).unwrap();
        let desk = opened(&path);
        assert!(desk.recovery().is_none());
        assert_eq!(desk.problems().count(), usize::from(left));
        drop(desk);
        let expected: &[&str] = match left {
            true => &[".reef.plan.journal~damaged", "reef.plan"],
            false => &["reef.plan"],
        };
        assert_eq!(names(room.path()), expected);
    }
}

#[test]
fn a_journal_with_a_bad_place_is_taken_up_to_it_and_kept_whole() {
    let (room, path) = with_plan();
    let mut desk = opened(&path);
    for title in ["One", "Two", "Three"] {
        titled(&mut desk, title);
    }
    drop(desk);
    let journal = room.path().join(".reef.plan.journal");
    let text = fs::read_to_string(&journal).unwrap();
    fs::write(&journal, text.replace("title Two", "title Too")).unwrap();
    let mut desk = opened(&path);
    assert!(!desk.recovery().unwrap().is_whole);
    assert_eq!(desk.take_recovery().unwrap(), 1);
    assert_eq!(desk.plan().title, "One");
    assert!(
        desk.problems()
            .any(|problem| problem.code == "edits-damaged")
    );
    titled(&mut desk, "Four");
    drop(desk);
    let damaged = room.path().join(".reef.plan.journal~damaged");
    assert!(fs::read_to_string(damaged).unwrap().contains("title Three"));
    let mut desk = opened(&path);
    assert_eq!(desk.take_recovery().unwrap(), 2);
    assert_eq!(desk.plan().title, "Four");
}

#[test]
fn a_journal_copied_while_it_is_written_is_a_beginning_of_it() {
    let (room, path) = with_plan();
    let mut desk = opened(&path);
    let switches = desk.plan().sheet("switches").unwrap();
    let mut last = 0;
    for at in 1..=120 {
        let id = Entry::Text(desk.plan().names().code(&format!("Tank {at}")));
        let edit = Edit::AddRows {
            sheet: switches,
            at: 0,
            rows: vec![vec![(0, id)]],
        };
        desk.apply("add", edit).unwrap();
        if at % 20 != 0 {
            continue;
        }
        let copy = crashed(room.path());
        let mut again = opened(&copy.path().join("reef.plan"));
        let n_steps = again.take_recovery().unwrap();
        assert!((last..=at).contains(&n_steps), "{n_steps} of {at}");
        let n_rows = again.plan().rows(switches).order().len();
        assert_eq!(n_rows, n_steps + 2);
        last = n_steps;
    }
    assert!(last > 0);
}

/// Starts one test of this binary alone, as a process of its own that works in a folder.
pub fn child(test: &str, before: &[&str], program: &Path, room: &Path) -> Command {
    let mut words = before
        .iter()
        .map(|word| (*word).to_owned())
        .collect::<Vec<_>>();
    words.push(program.to_str().unwrap().to_owned());
    let mut command = Command::new(&words[0]);
    command
        .args(&words[1..])
        .args(["--exact", test, "--nocapture"])
        .env(CHILD, room)
        .stdout(Stdio::piped());
    command
}

/// Names the folder of a child; a test that is none does nothing where it is not set.
pub const CHILD: &str = "PORTLEDGER_TEST_FOLDER";

/// No test: edits for ever, and says how many edits are on disk.
#[test]
fn a_child_that_edits() {
    let Some(room) = std::env::var_os(CHILD) else {
        return;
    };
    let mut desk = opened(&Path::new(&room).join("reef.plan"));
    for at in 1.. {
        titled(&mut desk, &at.to_string());
        if at % 7 == 0 {
            assert!(desk.settle());
            // The harness keeps what is printed by macro from a parent that reads line by line.
            use std::io::Write;
            let mut out = std::io::stdout();
            writeln!(out, "settled {at}").unwrap();
            out.flush().unwrap();
        }
    }
}

#[test]
fn a_killed_process_loses_nothing_that_was_settled_and_its_lock_goes_with_it() {
    for n_settled in [1, 2, 5, 9, 20] {
        let (room, path) = with_plan();
        let program = std::env::current_exe().unwrap();
        let mut child = child("journal::a_child_that_edits", &[], &program, room.path())
            .spawn()
            .unwrap();
        let mut lines = BufReader::new(child.stdout.take().unwrap()).lines();
        let mut settled = lines
            .by_ref()
            .filter_map(|line| line.unwrap().strip_prefix("settled ")?.parse().ok());
        let mut known: usize = settled.nth(n_settled - 1).unwrap();
        assert!(opened(&path).is_read_only());
        child.kill().unwrap();
        child.wait().unwrap();
        known = settled.last().unwrap_or(known);

        let mut desk = opened(&path);
        assert!(!desk.is_read_only());
        let n_steps = desk.take_recovery().unwrap();
        assert!(n_steps >= known, "{n_steps} of {known}");
        assert_eq!(desk.plan().title, n_steps.to_string());
        desk.undo().unwrap();
        assert_eq!(desk.plan().title, (n_steps - 1).to_string());
    }
}

/// No test: works on a plan in a folder that it cannot write.
#[test]
fn a_child_without_rights() {
    let Some(room) = std::env::var_os(CHILD) else {
        return;
    };
    let room = Path::new(&room);
    let (path, state) = (room.join("closed/reef.plan"), room.join("open/state"));
    let opened = || Desk::open_for_editing(&path, Some(state.clone())).unwrap();
    let mut desk = opened();
    assert!(desk.problems().any(|problem| problem.code == "no-lock"));
    titled(&mut desk, "One");
    assert!(desk.settle());
    assert!(desk.journal_path().unwrap().starts_with(&state));
    assert_eq!(desk.state(), SaveState::Unsaved(1));
    assert_eq!(desk.save().unwrap_err().code, "not-saved");
    assert!(matches!(desk.state(), SaveState::Failing(_)));
    drop(desk);
    let mut desk = opened();
    assert_eq!(desk.take_recovery().unwrap(), 1);
    // Without any folder for it the journal fails, and editing goes on.
    drop(desk);
    let mut desk = Desk::open_for_editing(&path, None).unwrap();
    titled(&mut desk, "Two");
    assert!(!desk.settle());
    let SaveState::Failing(why) = desk.state() else {
        panic!("{:?}", desk.state());
    };
    assert_eq!(why, "no journal: its folder does not let you write");
    fs::write(room.join("open/done"), "").unwrap();
}

#[cfg(unix)]
#[test]
fn a_folder_that_cannot_be_written_is_worked_in_all_the_same() {
    use std::os::unix::fs::PermissionsExt;
    let (room, path) = with_plan();
    let at = |name: &str| room.path().join(name);
    let mode = |path: &Path, mode| {
        fs::set_permissions(path, fs::Permissions::from_mode(mode)).unwrap();
    };
    fs::create_dir(at("closed")).unwrap();
    fs::create_dir(at("open")).unwrap();
    fs::rename(&path, at("closed/reef.plan")).unwrap();
    mode(room.path(), 0o755);
    mode(&at("open"), 0o777);
    mode(&at("closed"), 0o555);
    // Who may do everything has to become somebody who may not; elsewhere the rights suffice.
    let is_almighty = fs::write(at("closed/probe"), "").is_ok();
    let before: &[&str] = match is_almighty {
        true => &[
            "setpriv",
            "--reuid=65534",
            "--regid=65534",
            "--clear-groups",
        ],
        false => &[],
    };
    let program = at("suite");
    fs::copy(std::env::current_exe().unwrap(), &program).unwrap();
    mode(&program, 0o755);
    let run = child(
        "journal::a_child_without_rights",
        before,
        &program,
        room.path(),
    )
    .output();
    mode(&at("closed"), 0o755);
    let Ok(output) = run else {
        // There is no program to give the rights up with.
        assert!(is_almighty);
        return;
    };
    let said = String::from_utf8_lossy(&output.stdout).into_owned();
    let more = String::from_utf8_lossy(&output.stderr).into_owned();
    assert!(output.status.success(), "{said}{more}");
    assert!(at("open/done").exists());
}

/// Runs the program in a folder with an empty environment; what it said, and its exit code.
fn told(room: &Path, args: &[&str]) -> (String, i32) {
    let output = Command::new(env!("CARGO_BIN_EXE_portledger"))
        .args(args)
        .current_dir(room)
        .env_clear()
        .output()
        .unwrap();
    let stderr = String::from_utf8(output.stderr).unwrap();
    (stderr, output.status.code().unwrap())
}

#[test]
fn the_command_line_changes_no_plan_that_is_open_or_has_unsaved_edits() {
    let (room, path) = with_plan();
    let here = room.path();
    let set = ["set", "reef.plan", "links", "L1", "length", "12 m"];
    let mut desk = opened(&path);
    titled(&mut desk, "Unsaved");
    desk.settle();
    let before = fs::read(&path).unwrap();
    let (stderr, code) = told(here, &set);
    assert_eq!(code, 2);
    assert!(stderr.contains("cannot be changed now"), "{stderr}");
    assert!(stderr.contains("open in another window since"), "{stderr}");
    // Looking is free, and says nothing about edits that are being made.
    let (stderr, code) = told(here, &["check", "reef.plan"]);
    assert!(stderr.is_empty() && code < 2, "{stderr}");
    drop(desk);

    let (stderr, code) = told(here, &set);
    assert_eq!(code, 2);
    let remark = "unsaved edits of a session that ended without saving lie beside";
    assert!(stderr.contains(remark), "{stderr}");
    assert!(stderr.contains("help: "), "{stderr}");
    for args in [
        &["check", "reef.plan"][..],
        &["show", "reef.plan", "links"],
        &["why", "reef.plan", "links", "L1", "loss"],
        &["reef.plan"],
    ] {
        let (stderr, code) = told(here, args);
        assert!(code < 2, "{args:?}: {stderr}");
        assert!(stderr.starts_with(&format!("note: {remark}")), "{stderr}");
    }
    assert_eq!(fs::read(&path).unwrap(), before);
    assert_eq!(names(here), [".reef.plan.journal", "reef.plan"]);

    opened(&path).drop_recovery().unwrap();
    let (stderr, _) = told(here, &set);
    assert_eq!(stderr, "");
    assert_eq!(
        names(here),
        [".reef.plan.journal~dropped", "reef.plan", "reef.plan~1"]
    );
    let (stderr, code) = told(here, &["new", "reef.plan"]);
    assert!(code == 2 && stderr.contains("already there"), "{stderr}");
}
