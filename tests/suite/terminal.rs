//! The program in a terminal, as a person meets it: what is seen, what keys do, how it ends.

use super::pty::{Start, Term, holds};
use rustix::process::Signal;
use std::fs;
use std::time::Duration;

const RIGHT: &str = "\x1b[C";
const DOWN: &str = "\x1b[B";
const ESC: &str = "\x1b";
/// F12, which breaks something in a build for tests that is asked to.
const FAULT: &str = "\x1b[24~";

/// A copy of the demo on disk, open.
fn opened() -> Term {
    let mut term = Start::on_plan(&[]).go();
    term.wait("M101");
    term
}

/// Moves from the first cell to the length of the first link.
fn to_length(term: &mut Term) {
    term.keys(&RIGHT.repeat(6));
    let column = term.line("id ").find("length").unwrap();
    term.until("the cursor in the first length", |screen| {
        usize::from(screen.cursor_position().1) == column
    });
    at_row(term, "M101");
}

/// Waits for the cursor to stand in the row of an id.
#[track_caller]
fn at_row<'a>(term: &'a mut Term, id: &str) -> &'a mut Term {
    term.until(&format!("the cursor in {id}"), |screen| {
        let (line, _) = screen.cursor_position();
        let width = screen.size().1.get();
        let line = screen.rows(0, width).nth(usize::from(line));
        line.is_some_and(|line| line.starts_with(id))
    })
}

#[test]
fn the_first_frame_shows_what_a_link_is() {
    let term = opened();
    let heads = term.line("id ");
    for head in ["id", "verdict", "from", "to", "speed", "medium", "length"] {
        assert!(heads.contains(head), "{head}: {heads}");
    }
    let line = term.line("M101");
    for part in ["fits", "acc-reef", "dist-main", "OM4", "85"] {
        assert!(line.contains(part), "{part}: {line}");
    }
    assert!(term.screen().alternate_screen());
}

#[test]
fn an_edited_length_changes_the_verdict_and_undo_brings_it_back() {
    let mut term = opened();
    to_length(&mut term);
    term.keys("5000\r").wait("1 unsaved");
    let line = term.line("M101");
    assert!(line.contains("fails") && line.contains("5000"), "{line}");
    term.keys("u").wait("taken back");
    let line = term.line("M101");
    assert!(line.contains("fits") && line.contains("85"), "{line}");
    term.until("a saved plan", |screen| {
        !screen.contents().contains("unsaved")
    });
}

#[test]
fn an_entry_that_is_refused_stays_and_changes_nothing() {
    let mut term = opened();
    to_length(&mut term);
    term.keys("12 apples\r").wait("apples`");
    assert!(term.text().contains("12 apples"));
    assert!(!term.text().contains("unsaved"));
    term.keys(ESC).wait_gone("12 apples");
    assert!(term.line("M101").contains("85"));
}

#[test]
fn a_plan_saved_under_a_name_opens_the_same() {
    let mut term = Start::with(&[]).go();
    term.wait("A demo plan");
    to_length(&mut term);
    term.keys("77\r").wait("length of M101");
    term.keys("S").wait("take it");
    term.keys("new.plan\r").wait("saved new.plan");
    let file = term.home.path().join("new.plan");
    let saved = fs::read(&file).unwrap();
    term.keys("q");
    assert_eq!(term.end(), 0);
    let mut again = Start::with(&["new.plan"]).at_home(term.home.path()).go();
    again.wait("M101");
    assert!(again.line("M101").contains("77"));
    again.keys("\x13").wait("saved new.plan");
    again.keys("q");
    assert_eq!(again.end(), 0);
    assert_eq!(fs::read(&file).unwrap(), saved);
}

#[test]
fn quit_gives_the_terminal_back() {
    let mut term = Start::with(&["--mouse"]).go();
    term.wait("M101");
    assert!(term.screen().bracketed_paste());
    assert!(holds(&term.raw, b"\x1b[?1000h"));
    term.keys("q");
    assert_eq!(term.end(), 0);
    term.assert_given_back();
    assert_eq!(term.text().trim(), "");
}

#[test]
fn control_c_asks_where_steps_are_not_saved() {
    let mut term = opened();
    to_length(&mut term);
    term.keys("77\r").wait("1 unsaved");
    term.keys("\x03").wait("not saved");
    term.keys(ESC).wait("nothing was done");
    assert!(term.line("M101").contains("77"));
    term.keys("\x03").wait("drop them");
    term.keys("d");
    assert_eq!(term.end(), 0);
    term.assert_given_back();
}

/// Edits, breaks, and gives what is left on the terminal; the code has to be that of a fault.
#[cfg(debug_assertions)]
fn broken(kind: &str) -> Term {
    let mut term = Start::on_plan(&["--mouse"])
        .env("PORTLEDGER_FAULT", kind)
        .go();
    term.wait("M101");
    to_length(&mut term);
    term.keys("77\r").wait("1 unsaved");
    term.keys(FAULT);
    assert_eq!(term.end(), 70);
    term.assert_given_back();
    term
}

#[test]
#[cfg(debug_assertions)]
fn a_panic_gives_the_terminal_back_and_says_what_is_safe() {
    let term = broken("loop");
    assert!(term.text().contains("on purpose"), "{}", term.text());
    let text = term.text().replace('\n', "");
    assert!(text.contains("nothing that was saved is harmed"), "{text}");
    assert!(text.contains("aquarium.plan.journal"), "{text}");
}

#[test]
#[cfg(debug_assertions)]
fn a_panic_of_another_thread_ends_the_program_too() {
    let term = broken("thread");
    assert!(term.text().contains("in a thread, on purpose"));
    assert_eq!(term.text().matches("harmed").count(), 1, "{}", term.text());
}

#[test]
#[cfg(debug_assertions)]
fn a_loop_that_hangs_does_not_keep_a_panic_from_ending_the_program() {
    let term = broken("thread-and-hang");
    assert!(term.text().contains("in a thread, on purpose"));
}

#[test]
#[cfg(debug_assertions)]
fn a_loop_that_hangs_ends_on_the_second_signal() {
    for (signal, code) in [(Signal::TERM, 143), (Signal::HUP, 129)] {
        let mut term = Start::with(&["--mouse"])
            .env("PORTLEDGER_FAULT", "hang")
            .go();
        term.wait("M101");
        term.keys(FAULT).insist(signal);
        assert_eq!(term.end(), code);
        term.assert_given_back();
    }
}

#[test]
fn signals_end_it_cleanly_with_their_codes() {
    for (signal, code) in [(Signal::TERM, 143), (Signal::HUP, 129), (Signal::INT, 130)] {
        let mut term = Start::with(&["--mouse"]).go();
        term.wait("M101");
        term.signal(signal);
        assert_eq!(term.end(), code);
        term.assert_given_back();
        assert_eq!(term.text().trim(), "", "nothing was unsaved");
    }
}

#[test]
fn a_signal_says_where_unsaved_steps_are() {
    let mut term = opened();
    to_length(&mut term);
    term.keys("77\r").wait("1 unsaved");
    term.signal(Signal::TERM);
    assert_eq!(term.end(), 143);
    term.assert_given_back();
    let text = term.text().replace('\n', "");
    assert!(text.contains("ended by SIGTERM"), "{text}");
    assert!(text.contains("aquarium.plan.journal"), "{text}");
}

#[test]
fn control_z_leaves_to_the_shell_and_comes_back() {
    let mut term = Start::prompt().go();
    let text = include_str!("../../examples/aquarium.plan");
    fs::write(term.home.path().join("aquarium.plan"), text).unwrap();
    let text = include_str!("../../examples/aquarium.plan");
    fs::write(term.home.path().join("aquarium.plan"), text).unwrap();
    term.wait("ready>")
        .keys("$PORTLEDGER --mouse aquarium.plan\r")
        .wait("M101");
    to_length(&mut term);
    term.keys("77\r").wait("1 unsaved");
    term.keys("\x1a");
    term.until("the shell", |screen| {
        !screen.alternate_screen() && screen.contents().contains("Stopped")
    });
    term.assert_given_back();
    // The shell echoes what is typed: the modes of its terminal are back as well.
    term.keys("echo in\"\"between\r").wait("inbetween");
    term.keys("fg\r");
    term.until("the ledger", |screen| {
        screen.alternate_screen() && screen.contents().contains("M101")
    });
    assert!(term.screen().bracketed_paste());
    assert!(term.line("M101").contains("77"));
    term.keys("u").wait("taken back");
    term.keys("q").wait("ready>");
    term.assert_given_back();
}

#[test]
fn control_z_without_a_shell_does_nothing() {
    let mut term = opened();
    term.keys("\x1a").wait("no shell started this program");
    at_row(term.keys(DOWN), "M102");
}

#[test]
fn a_stop_from_outside_is_followed_by_a_whole_frame() {
    let mut term = opened();
    let before = term.raw.len();
    term.signal(Signal::STOP);
    term.signal(Signal::CONT);
    term.wait_bytes(before, b"\x1b[2J")
        .wait_bytes(before, b"M101");
    at_row(term.keys(DOWN), "M102");
}

#[test]
fn any_size_is_drawn_and_the_usual_one_again() {
    let mut term = opened();
    // The last words of a frame: before them it may be there in part.
    term.wait("Tab sheet");
    let first = term.text();
    let mut sent = term.raw.len();
    for (columns, lines) in [(1, 1), (300, 100), (2, 5), (40, 10), (1, 50), (80, 24)] {
        term.resize(columns, lines).wait_bytes(sent, b"\x1b[2J");
        sent = term.raw.len();
    }
    term.until("the first frame", |screen| screen.contents() == first);
    term.keys("q");
    assert_eq!(term.end(), 0);
}

#[test]
fn a_terminal_without_a_size_gets_the_usual_one() {
    let mut term = Start::with(&[]).size(0, 0).go();
    term.wait("M101").wait("? keys");
}

#[test]
fn a_marked_paste_into_an_entry_is_typed_and_changes_nothing_yet() {
    let mut term = opened();
    to_length(&mut term);
    term.keys("7").wait("take it");
    term.keys("\x1b[200~77\x1b[201~").wait("777");
    assert!(!term.text().contains("unsaved"));
    term.keys("\r").wait("1 unsaved");
    assert!(term.line("M101").contains("777"));
}

#[test]
fn a_copy_is_sent_to_the_clipboard_of_the_terminal() {
    let mut term = opened();
    let before = term.raw.len();
    term.keys("c")
        .wait("copied")
        .wait_bytes(before, b"\x1b]52;c;");
    let sent = String::from_utf8_lossy(&term.raw[before..]).into_owned();
    let text = sent.split("\x1b]52;c;").nth(1).unwrap();
    let text = text.split(['\x1b', '\x07']).next().unwrap();
    assert_eq!(decoded(text).trim_end(), "M101");
}

/// Base 64 (RFC 4648), for texts that are known to be well formed.
fn decoded(text: &str) -> String {
    const DIGITS: &[u8] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    let digits = text.bytes().filter(|byte| *byte != b'=');
    let bits: String = digits
        .map(|byte| DIGITS.iter().position(|known| *known == byte).unwrap())
        .map(|digit| format!("{digit:06b}"))
        .collect();
    let bytes = bits.as_bytes().chunks_exact(8);
    let bytes =
        bytes.map(|byte| u8::from_str_radix(std::str::from_utf8(byte).unwrap(), 2).unwrap());
    String::from_utf8(bytes.collect()).unwrap()
}

#[test]
fn without_colours_no_colour_is_sent_but_the_cursor_stands_out() {
    let bare = Start::with(&[]).env("NO_COLOR", "1").go();
    let never = Start::with(&["--colour", "never"]).go();
    for mut term in [bare, never] {
        term.wait("M101").wait("? keys");
        assert_eq!(colours(&term.raw), Vec::<String>::new());
        let (line, column) = term.screen().cursor_position();
        let cell = term.screen().cell(line, column).unwrap();
        assert!(cell.inverse(), "{:?} at {line}, {column}", cell.contents());
        let head = term.screen().cell(4, 0).unwrap();
        assert!(head.bold(), "{:?}", head.contents());
    }
    let mut always = Start::with(&["--colour", "always"])
        .env("NO_COLOR", "1")
        .go();
    always.wait("M101").wait("? keys");
    assert_ne!(colours(&always.raw), Vec::<String>::new());
}

/// The codes in some bytes that choose a colour; those that go back to the usual one are none.
fn colours(raw: &[u8]) -> Vec<String> {
    let text = String::from_utf8_lossy(raw).into_owned();
    let codes = text.split("\x1b[").skip(1).filter_map(|rest| {
        let end = rest.find(|c: char| !c.is_ascii_digit() && c != ';' && c != ':')?;
        rest[end..].starts_with('m').then(|| rest[..end].to_owned())
    });
    let chooses = |code: &String| {
        code.split([';', ':'])
            .filter_map(|part| part.parse::<u16>().ok())
            .any(|part| matches!(part, 30..=38 | 40..=48 | 90..=107))
    };
    codes.filter(chooses).collect()
}

#[test]
fn in_ascii_no_other_byte_is_sent() {
    let mut term = Start::with(&["--ascii"]).go();
    term.wait("M101").wait("? keys");
    for keys in ["\t", "\t", "\x1b[Z\x1b[Z", "w", ESC, "f", ESC, DOWN] {
        let before = term.raw.len();
        term.keys(keys).wait_bytes(before, b"\x1b[?2026l");
    }
    let raw = &term.raw;
    let other = raw.iter().position(|byte| *byte > 0x7f);
    let around = other.map(|at| String::from_utf8_lossy(&raw[at.saturating_sub(40)..at + 20]));
    assert_eq!(around, None);
}

#[test]
fn a_terminal_that_cannot_draw_gets_text() {
    let mut term = Start::with(&[]).env("TERM", "dumb").go();
    assert!(term.end() < 2);
    assert!(!term.raw.contains(&0x1b));
    assert!(String::from_utf8_lossy(&term.raw).contains("Aquarium campus"));
}

#[test]
fn nothing_in_a_plan_acts_on_the_terminal() {
    let home = tempfile::tempdir().unwrap();
    let hostile = "\u{9b}2J\u{7f}\u{202e}\u{2066}\u{200b}\u{feff}";
    let escaped = r"\u001b]0;owned\u0007\u001b[31mred\u009b2J\u202e";
    let text = format!(
        "portledger = 1\ntitle = \"{escaped}\"\n\n[rows]\nlinks = '''\nid,from,to,length,notes\n\
         \"L1{hostile}\",\"a{hostile}b\",\"c\",85{hostile},\"{hostile}\"\n'''\n"
    );
    let path = home.path().join("hostile.plan");
    fs::write(&path, text).unwrap();
    let mut term = Start::with(&[path.to_str().unwrap()]).go();
    term.wait("L1").wait("? keys");
    for keys in ["w", ESC, "f", ESC, "v", ESC, "\r", ESC, "i", ESC] {
        let before = term.raw.len();
        term.keys(keys).wait_bytes(before, b"\x1b[?2026l");
    }
    let raw = String::from_utf8_lossy(&term.raw).into_owned();
    for mark in [
        "owned\x07",
        "\x1b]0",
        "\u{9b}",
        "\u{202e}",
        "\u{2066}",
        "\u{200b}",
        "\u{feff}",
    ] {
        assert!(!raw.contains(mark), "{mark:?}");
    }
    let known = |c: char| c == '\x1b' || !c.is_control();
    assert!(raw.chars().all(known), "a control character was sent");
}

#[test]
fn a_key_that_changes_nothing_sends_nothing() {
    let mut term = opened();
    term.wait("? keys");
    // The cursor is in the first cell: up and left go nowhere, the mouse is not listened to.
    term.keys("\x1b[A\x1b[A\x1b[D");
    assert!(
        term.is_silent(Duration::from_millis(200)),
        "{}",
        term.text()
    );
    term.signal(Signal::WINCH);
    assert!(term.is_silent(Duration::from_millis(200)));
    at_row(term.keys(DOWN), "M102");
}

#[test]
fn a_terminal_that_went_away_ends_it() {
    let mut controlled = Start::with(&[]).go();
    controlled.wait("M101");
    assert_eq!(controlled.unplug(), 129);
    let mut alone = Start::with(&[]).uncontrolled().go();
    alone.wait("M101");
    assert_eq!(alone.unplug(), 129);
}

#[test]
fn keys_come_from_the_terminal_where_the_input_is_none() {
    let mut term = Start::shell("exec \"$PORTLEDGER\" </dev/null").go();
    at_row(term.wait("M101").keys(DOWN), "M102");
    term.keys("q");
    assert_eq!(term.end(), 0);
    term.assert_given_back();
}

#[test]
fn a_frame_is_one_piece() {
    let mut term = opened();
    term.wait("? keys");
    let before = term.raw.len();
    at_row(term.keys(DOWN), "M102");
    let sent = String::from_utf8_lossy(&term.raw[before..]).into_owned();
    assert!(
        sent.starts_with("\x1b[?2026h") && sent.ends_with("\x1b[?2026l"),
        "{sent:?}"
    );
    assert_eq!(sent.matches("\x1b[?2026h").count(), 1, "{sent:?}");
}

#[test]
fn fast_typing_over_the_ledger_is_a_paste_and_no_command() {
    let mut term = opened();
    let path = term.home.path().join("aquarium.plan");
    let before = fs::read(&path).unwrap();
    term.keys("xnd S quarantine to pump house 85\rxxx\rdddd");
    term.wait("What a paste would do");
    assert!(!term.text().contains("unsaved"));
    term.keys(ESC).wait_gone("What a paste would do");
    // A key that is held down stays a key: undo with nothing to take back.
    term.keys(&"u".repeat(40)).wait("nothing to take back");
    term.keys("q");
    assert_eq!(term.end(), 0);
    assert_eq!(fs::read(&path).unwrap(), before);
}

#[test]
fn a_second_program_on_the_same_plan_only_reads() {
    let mut first = opened();
    let mut second = Start::with(&["aquarium.plan"])
        .at_home(first.home.path())
        .go();
    second.wait("read only");
    to_length(&mut second);
    second.keys("77\r").wait("save a copy");
    second.keys(ESC).wait("? keys").keys(DOWN);
    at_row(&mut second, "M102");
    assert!(second.line("M101").contains("85"), "{}", second.text());
    to_length(&mut first);
    first.keys("77\r").wait("1 unsaved");
    first.keys("\x13").wait("saved aquarium.plan");
}

#[test]
fn a_program_that_was_killed_offers_its_steps_again() {
    let mut term = opened();
    to_length(&mut term);
    term.keys("77\r").wait("1 unsaved");
    until_kept(&term, "length of M101");
    term.insist(Signal::KILL);
    let mut again = Start::with(&["aquarium.plan"])
        .at_home(term.home.path())
        .go();
    again.wait("Take them up again?").wait("length of M101");
    again.keys("t").wait("1 unsaved");
    assert!(again.line("M101").contains("77"), "{}", again.text());
}

/// Waits until some file beside the plan holds a text: steps are written behind the screen.
#[track_caller]
fn until_kept(term: &Term, text: &str) {
    let holds_text = || {
        let files = fs::read_dir(term.home.path()).unwrap();
        files
            .filter_map(|file| fs::read(file.unwrap().path()).ok())
            .any(|bytes| holds(&bytes, text.as_bytes()))
    };
    for _ in 0..2_000 {
        if holds_text() {
            return;
        }
        std::thread::sleep(Duration::from_millis(10));
    }
    panic!("no journal holds {text:?}");
}
