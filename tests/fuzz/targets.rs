//! What has to hold for any bytes, one function a kind of input. How inputs are made is in
//! `mod.rs`, `packed.rs` and `batch.rs`.

use super::super::monkey::{MOUSE_KINDS, MOVES, assert_sound};
use crossterm::event::{KeyCode, KeyEvent, KeyModifiers, MouseEvent};
use portledger::desk::{Desk, Returned};
use portledger::engine::Engine;
use portledger::files::import::{self, Source, Wish};
use portledger::files::module_dump;
use portledger::files::plan_file;
use portledger::files::spreadsheet::Reader;
use portledger::plan::{Edit, Entry, Plan, read_entry};
use portledger::problem::{Problem, clean, render};
use portledger::report::giveback::{Choice, Class, chosen, edit_of};
use portledger::screen::action::RECORDS;
use portledger::screen::block;
use portledger::screen::draw::draw;
use portledger::screen::entry::Purpose;
use portledger::screen::session::{Happening, Session};
use portledger::screen::theme::Theme;
use portledger::table::{Column, MISSING};
use portledger::trade::{empty_plan, engine};
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use std::cell::RefCell;
use std::path::Path;

fn demo() -> Desk {
    Desk::demo().unwrap()
}

/// Whether a character acts on a terminal or turns a line around.
pub fn acts(c: char) -> bool {
    c.is_control()
        || matches!(c, '\u{ad}' | '\u{61c}' | '\u{180e}' | '\u{200b}'..='\u{200f}'
            | '\u{2028}'..='\u{202e}' | '\u{2060}'..='\u{206f}' | '\u{feff}'
            | '\u{fff9}'..='\u{fffb}')
}

/// What is told of bad input is one line, with its place, without anything that acts on a terminal.
fn assert_told(problem: &Problem) {
    assert!(!problem.message.is_empty());
    assert!(!problem.code.is_empty());
    let shown = render(problem, false);
    assert!(
        shown.lines().all(|line| !line.chars().any(acts)),
        "{shown:?}"
    );
    assert!(!problem.to_string().chars().any(acts), "{problem:?}");
}

/// A formula over the links of the demo gives values that are finite or missing, or problems.
pub fn formula() -> impl Fn(&[u8]) {
    let desk = demo();
    let sheet = desk.plan().sheet("links").unwrap();
    move |bytes| {
        let Ok(text) = std::str::from_utf8(bytes) else {
            return;
        };
        match desk.engine().column_of(desk.plan(), sheet, text) {
            Ok((_, Column::Numbers(values))) => {
                let is_value =
                    |value: &f64| value.is_finite() || value.to_bits() == MISSING.to_bits();
                assert!(values.iter().all(is_value), "{text}");
            }
            Ok((_, Column::Codes(_) | Column::Flags(_))) => {}
            Err(problems) => {
                assert!(!problems.is_empty(), "{text}");
                problems.iter().for_each(assert_told);
            }
        }
    }
}

/// A typed text is a finite number that reads back the same, or refused.
pub fn quantity() -> impl Fn(&[u8]) {
    let desk = demo();
    let plan = desk.plan();
    let sheet = plan.sheet("links").unwrap();
    let columns = &plan.def(sheet).columns;
    let length = columns.iter().position(|column| column.name == "length");
    let length = length.unwrap();
    let plan = plan.clone();
    move |bytes| {
        let text = String::from_utf8_lossy(bytes);
        match read_entry(&plan, sheet, length, &text) {
            Ok(Entry::Number(value)) => assert!(value.is_finite(), "{text}"),
            Ok(Entry::Empty) => {}
            Ok(other) => panic!("{text}: {other:?}"),
            Err(problem) => assert_told(&problem),
        }
    }
}

/// A plan that opens is written in a form that opens to the same plan.
pub fn plan() -> impl Fn(&[u8]) {
    let empty = empty_plan().unwrap();
    move |bytes| {
        let blank = || -> Result<Plan, Problem> { Ok(empty.clone()) };
        let text = match plan_file::text_of(bytes.to_vec()) {
            Ok(text) => text,
            Err(problem) => return assert_told(&problem),
        };
        match plan_file::read(&text, blank) {
            Ok((plan, problems)) => {
                problems.iter().for_each(assert_told);
                let written = plan_file::write(&plan);
                let (again, _) = plan_file::read(&written, blank).unwrap();
                assert_eq!(plan_file::write(&again), written, "{text}");
            }
            Err(problem) => assert_told(&problem),
        }
    }
}

/// A table of links gives an edit that fits, or is refused.
pub fn table() -> impl Fn(&[u8]) {
    let empty = empty_plan().unwrap();
    let wish = Wish::default();
    let read = move |bytes: &[u8]| {
        let source = Source::of_text(bytes, "cables", &wish)?;
        import::links(&empty, &source, &wish)
    };
    let empty = empty_plan().unwrap();
    let before = plan_file::write(&empty);
    move |bytes| match read(bytes) {
        Ok(read) => {
            let mut plan = empty.clone();
            let change = plan.apply(read.edit).unwrap();
            plan.apply(change.inverse).unwrap();
            assert_eq!(plan_file::write(&plan), before);
        }
        Err(problem) => assert_told(&problem),
    }
}

/// What is pasted at any row gives an edit that fits and can be taken back.
pub fn paste() -> impl Fn(&[u8]) {
    let desk = demo();
    let before = plan_file::write(desk.plan());
    move |bytes| {
        let text = String::from_utf8_lossy(bytes);
        let table = block::read_table(&text);
        let plan = desk.plan();
        let sheet = plan.sheet("links").unwrap();
        let rows = plan.rows(sheet).order();
        let columns: Vec<usize> = plan.entered(sheet).collect();
        let at = bytes.len() % (rows.len() + 2);
        let pasting = block::plan_paste(&desk, sheet, at, rows, &columns, &table);
        let mut plan = plan.clone();
        let change = plan.apply(pasting.edit).unwrap();
        plan.apply(change.inverse).unwrap();
        assert_eq!(plan_file::write(&plan), before, "{text}");
    }
}

/// A dump is a module or refused.
pub fn dump() -> impl Fn(&[u8]) {
    |bytes| {
        let _ = module_dump::is_dump(bytes);
        match module_dump::read(bytes) {
            Ok(module) => drop(format!("{:?} {:?}", module.found(), module.identity.form())),
            Err(problem) => assert_told(&problem),
        }
    }
}

/// A cleaned text holds nothing that acts on a terminal or turns a line around.
pub fn text(bytes: &[u8]) {
    let text = String::from_utf8_lossy(bytes);
    let cleaned = clean(&text);
    assert!(!cleaned.chars().any(acts), "{cleaned:?}");
}

/// A spreadsheet gives an edit that fits, is written as it was read and can be taken back, or is
/// refused.
pub fn spreadsheet() -> impl Fn(&Path, &Reader) {
    let empty = empty_plan().unwrap();
    let fits = fits(empty.clone());
    let wish = Wish::default();
    move |path, reader| {
        let source = Source::read(&empty, path, &wish, reader, &mut |_| true);
        let read = source.and_then(|source| import::links(&empty, &source, &wish));
        match read {
            Ok(read) => fits(read.edit),
            Err(problem) => assert_told_with_step(&problem),
        }
    }
}

fn assert_told_with_step(problem: &Problem) {
    assert_told(problem);
    assert!(!problem.help.is_empty(), "{problem:?}");
}

/// An edit that came of a file leaves a plan that is read as it was written, and is taken back.
///
/// What is the same for all inputs is made once: a blank plan, and the text before.
fn fits(plan: Plan) -> impl Fn(Edit) {
    let (blank, before) = (empty_plan().unwrap(), plan_file::write(&plan));
    move |edit| {
        let mut plan = plan.clone();
        let change = plan.apply(edit).unwrap();
        let written = plan_file::write(&plan);
        // Cells that could not be read are kept as they stood, and told.
        let (again, problems) = plan_file::read(&written, || Ok(blank.clone())).unwrap();
        problems.iter().for_each(assert_told);
        assert_eq!(plan_file::write(&again), written);
        plan.apply(change.inverse).unwrap();
        assert_eq!(plan_file::write(&plan), before);
    }
}

/// The plan whose workbooks stand in the corpus.
pub const SENT: &str = r#"portledger = 1
title = "Aquarium"
id = "00c0ffee"

[assumptions]
reserve = { value = "1 dB", source = "house rule" }

[rows]
links = '''
id,from,to,role,speed,interface,medium,length,notes
L1,hall,pump house,uplink,10 Gb/s,10GBASE-SR,OM4,85,wet
L2,quarantine,hall,access,1 Gb/s,1000BASE-T,Cat6,40,
L3,lab,hall,access,1 Gb/s,,,,
'''
switches = '''
id,access_ports,access_speed
hall,24,1 Gb/s
pump house,8,1 Gb/s
'''
"#;

/// A workbook that came back gives differences that can all be taken and given back, or is refused.
///
/// What is computed of a plan that was exported is kept for the next input that has the same one.
pub fn returned() -> impl Fn(&Path, &Reader) {
    let desk = Desk::of_text(SENT).unwrap();
    let fits = fits(desk.plan().clone());
    let kept: RefCell<Option<(String, Engine)>> = RefCell::new(None);
    let compare = move |desk: &Desk, returned: &Returned| {
        let Some(base) = returned.base() else {
            return desk.compare_returned(returned);
        };
        let text = plan_file::write(base);
        let mut kept = kept.borrow_mut();
        if kept.as_ref().is_none_or(|(known, _)| *known != text) {
            *kept = Some((text, engine(base)));
        }
        let (_, engine) = kept.as_ref().unwrap();
        returned.compare_with(desk.plan(), engine)
    };
    move |path, reader| {
        let returned = match Returned::read(path, reader, &mut |_| true) {
            Ok(returned) => returned,
            Err(problem) => return assert_told_with_step(&problem),
        };
        let found = match compare(&desk, &returned) {
            Ok(found) => found,
            Err(problem) => return assert_told_with_step(&problem),
        };
        let taken = chosen(&found, &Class::ALL.map(Choice::Class)).unwrap();
        if let Some(edit) = edit_of(desk.plan(), &found, &taken) {
            fits(edit);
        }
    }
}

/// The most events of one input.
const EVENTS: usize = 300;

/// A plan whose texts would act on a terminal.
pub const ACTING: &str = r#"portledger = 1
title = "Tanks\u001b]0;x\u0007\u202e"

[rows]
links = """
id,from,from_port,to,role,speed,interface,medium,length,notes
L1,hall\u001b[31m,1,pump\u202e house,uplink,10,10GBASE-SR,OM4,85,\u009b2J
L\u200b2,quarantine,2,hall\u001b[31m,access,1,1000BASE-T,Cat6,40,
L3,lab,,,,,,,,\u2066
L4,hall\u001b[31m,9,lab,access,1,1000BASE-T,Cat6,90,
"""
switches = """
id,access_ports,access_speed,uplink_cages,cage
hall\u001b[31m,24,1,4,SFP+
lab\u0085,8,1,2,SFP
"""
"#;

/// Keys against a sitting, drawn after each: nothing panics, nothing that acts reaches a frame, and
/// every step can be taken back.
///
/// A desk is made once; an input that breaks it ends the run.
pub fn keys() -> impl Fn(&[u8]) {
    let desk = Desk::of_text(ACTING).unwrap();
    let start = plan_file::write(desk.plan());
    let kept = RefCell::new(Some(desk));
    move |bytes| {
        let desk = kept.borrow_mut().take().unwrap();
        let theme = Theme {
            colours: bytes.len() % 2 == 0,
            ascii: bytes.len() % 3 == 0,
        };
        let mut session = Session::new(desk, theme);
        let mut buffer = Buffer::empty(Rect::new(0, 0, 80, 24));
        let mut rest = bytes;
        for _ in 0..EVENTS {
            let Some(event) = next_event(&mut rest) else {
                break;
            };
            press(&mut session, &mut buffer, event);
        }
        let mut desk = session.desk;
        assert_eq!(desk.path(), None, "it was saved");
        while desk.undo().unwrap().is_some() {}
        assert_eq!(plan_file::write(desk.plan()), start);
        kept.replace(Some(desk));
    }
}

/// What a byte or some bytes stand for.
enum Event {
    Take(Happening),
    Size(u16, u16),
}

fn press(session: &mut Session, buffer: &mut Buffer, event: Event) {
    let asks_file = session
        .entry()
        .is_some_and(|entry| matches!(entry.purpose(), Purpose::SaveAs | Purpose::CopyTo));
    match event {
        Event::Size(width, height) => {
            *buffer = Buffer::empty(Rect::new(0, 0, width, height));
            session.take(Happening::Resize);
        }
        // Nothing is ever written to a file: a line that asks for its name is left.
        Event::Take(_) if asks_file => {
            session.take(Happening::Key(KeyEvent::new(
                KeyCode::Esc,
                KeyModifiers::NONE,
            )));
        }
        Event::Take(happening) => {
            session.take(happening);
        }
    }
    buffer.reset();
    let cursor = draw(session, buffer);
    assert_sound(session, buffer, cursor);
}

/// Takes the next event from bytes: characters in UTF-8 and control characters are keys; from 0x80
/// on stand keys without a character, 0x90 a paste with its length, 0x91 a size, 0x92 the mouse,
/// 0x93 a key with others held, from 0xa0 on, with a second byte, an entry of the list of actions.
fn next_event(rest: &mut &[u8]) -> Option<Event> {
    let first = take(rest)?;
    let key = |code| Event::Take(Happening::Key(KeyEvent::new(code, KeyModifiers::NONE)));
    Some(match first {
        b'\r' | b'\n' => key(KeyCode::Enter),
        0x1b => key(KeyCode::Esc),
        b'\t' => key(KeyCode::Tab),
        0x7f => key(KeyCode::Backspace),
        0 => key(KeyCode::Null),
        1..0x20 => {
            let letter = KeyCode::Char(char::from(b'a' + first - 1));
            Event::Take(Happening::Key(KeyEvent::new(letter, KeyModifiers::CONTROL)))
        }
        0x80..0x90 => key(without_character(first)),
        0x90 => {
            let n = usize::from(take(rest)?).min(rest.len());
            let (text, after) = rest.split_at(n);
            *rest = after;
            Event::Take(Happening::Paste(String::from_utf8_lossy(text).into_owned()))
        }
        0x91 => Event::Size(1 + u16::from(take(rest)?), 1 + u16::from(take(rest)?) % 100),
        0x92 => {
            let (kind, column, row) = (take(rest)?, take(rest)?, take(rest)?);
            Event::Take(Happening::Mouse(mouse(kind, column.into(), row.into())))
        }
        0x93 => {
            let held = KeyModifiers::from_bits_truncate(take(rest)?);
            let code = KeyCode::Char(char::from(take(rest)?));
            Event::Take(Happening::Key(KeyEvent::new(code, held)))
        }
        0x94..0xa0 => key(KeyCode::F(first - 0x93)),
        0xa0..0xc0 => {
            let at = usize::from(first - 0xa0) + 32 * usize::from(take(rest)?);
            let keys = RECORDS[at % RECORDS.len()].keys;
            let action = keys.first()?;
            Event::Take(Happening::Key(KeyEvent::new(action.0, action.1)))
        }
        _ => key(KeyCode::Char(character(first, rest))),
    })
}

fn take(rest: &mut &[u8]) -> Option<u8> {
    let (first, after) = rest.split_first()?;
    *rest = after;
    Some(*first)
}

/// Of a byte from 0x80 on: keys that move the cursor, then others.
fn without_character(byte: u8) -> KeyCode {
    const OTHERS: [KeyCode; 4] = [
        KeyCode::Insert,
        KeyCode::Delete,
        KeyCode::BackTab,
        KeyCode::CapsLock,
    ];
    let at = usize::from(byte - 0x80) % (MOVES.len() + OTHERS.len());
    let moves = MOVES.get(at).copied();
    moves.unwrap_or_else(|| OTHERS[at - MOVES.len()])
}

/// The character of which a byte is the first in UTF-8, or what stands for none.
fn character(first: u8, rest: &mut &[u8]) -> char {
    let n = match first {
        0xc0..0xe0 => 1,
        0xe0..0xf0 => 2,
        0xf0.. => 3,
        0..0xc0 => 0,
    };
    let n = rest.len().min(n);
    let bytes = [&[first], &rest[..n]].concat();
    *rest = &rest[n..];
    let text = String::from_utf8_lossy(&bytes).into_owned();
    text.chars().next().unwrap_or('\u{fffd}')
}

fn mouse(kind: u8, column: u16, row: u16) -> MouseEvent {
    MouseEvent {
        kind: MOUSE_KINDS[usize::from(kind) % MOUSE_KINDS.len()],
        column,
        row,
        modifiers: KeyModifiers::NONE,
    }
}
