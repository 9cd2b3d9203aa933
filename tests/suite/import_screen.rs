//! Importing on the screen: the file is asked for, headings are looked at and changed, and the
//! whole is one step.

use crate::books::{V, rows, xlsx};
use crate::import::reader;
use crossterm::event::{KeyCode, KeyEvent, KeyModifiers};
use portledger::desk::{Desk, Gauge, Wanted};
use portledger::files::plan_file;
use portledger::files::spreadsheet::Reader;
use portledger::screen::draw::draw;
use portledger::screen::session::{Happening, Session};
use portledger::screen::theme::Theme;
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use std::fs;
use std::os::unix::fs::PermissionsExt;
use std::path::Path;
use tempfile::TempDir;

struct Sitting {
    session: Session,
    buffer: Buffer,
}

impl Sitting {
    fn new() -> Self {
        let theme = Theme {
            colours: true,
            ascii: false,
        };
        let mut session = Session::new(Desk::empty("").unwrap(), theme);
        session.reader = Some(reader());
        let buffer = Buffer::empty(Rect::new(0, 0, 100, 40));
        Self { session, buffer }
    }

    fn key(&mut self, code: KeyCode) {
        let key = KeyEvent::new(code, KeyModifiers::NONE);
        assert_eq!(self.session.take(Happening::Key(key)), []);
        self.session.wait_for_work();
        self.buffer.reset();
        draw(&mut self.session, &mut self.buffer);
    }

    fn keys(&mut self, text: &str) {
        for c in text.chars() {
            self.key(match c {
                '\n' => KeyCode::Enter,
                '\u{1b}' => KeyCode::Esc,
                '↓' => KeyCode::Down,
                '↑' => KeyCode::Up,
                c => KeyCode::Char(c),
            });
        }
    }

    fn open(&mut self, path: &Path) {
        self.keys("I");
        self.session
            .take(Happening::Paste(path.to_str().unwrap().to_owned()));
        self.keys("\n");
    }

    fn shown(&self) -> String {
        let area = self.buffer.area;
        let line = |y: u16| {
            (0..area.width)
                .map(|x| self.buffer[(x, y)].symbol())
                .collect::<String>()
        };
        (0..area.height)
            .map(|y| line(y).trim_end().to_owned() + "\n")
            .collect()
    }

    #[track_caller]
    fn shows(&self, what: &str) {
        assert!(self.shown().contains(what), "{what}\n{}", self.shown());
    }
}

fn book(folder: &Path) -> std::path::PathBuf {
    let path = folder.join("reef.xlsx");
    let links = rows(&[
        &[
            V::T("Cable"),
            V::T("Device A"),
            V::T("Device B"),
            V::T("Run"),
        ],
        &[V::T("L1"), V::T("reef"), V::T("core"), V::N(100.0)],
        &[V::T("Total")],
    ]);
    let other = rows(&[&[V::T("Cable"), V::T("From")], &[V::T("X1"), V::T("kelp")]]);
    fs::write(
        &path,
        xlsx(&[("Links", "", links), ("Spare", "", other)], &[]),
    )
    .unwrap();
    path
}

#[test]
fn a_table_is_looked_at_changed_and_taken_as_one_step() {
    let folder = TempDir::new().unwrap();
    let mut sitting = Sitting::new();
    let before = plan_file::write(sitting.session.desk.plan());
    sitting.open(&book(folder.path()));
    for what in [
        "What an import would read of page Links",
        "Take it: 1 link, 1 new switch, 1 row set aside",
        "Device A",
        "from",
        "Run",
        "run",
        "as text",
        "row 3 set aside: a total",
    ] {
        sitting.shows(what);
    }
    assert_eq!(plan_file::write(sitting.session.desk.plan()), before);
    // Down to the fourth heading, which is said to be a length in feet.
    sitting.keys("↓↓↓↓\n");
    sitting.shows("`Run` is");
    for _ in 0..9 {
        sitting.key(KeyCode::Backspace);
    }
    sitting.keys("lenth:ft\n");
    sitting.shows("there is no entered column `lenth`");
    for _ in 0..9 {
        sitting.key(KeyCode::Backspace);
    }
    sitting.keys("length:ft\n");
    sitting.shows("length, in ft");
    sitting.shows("as you say");
    sitting.keys("↑↑↑↑\n");
    let text = plan_file::write(sitting.session.desk.plan());
    assert!(
        text.contains("L1,reef,core,30.48") && text.contains("[mapping.reef]"),
        "{text}"
    );
    sitting.keys("u");
    assert_eq!(plan_file::write(sitting.session.desk.plan()), before);
}

#[test]
fn another_page_of_the_file_can_be_read() {
    let folder = TempDir::new().unwrap();
    let mut sitting = Sitting::new();
    sitting.open(&book(folder.path()));
    sitting.shows("Other pages of the file");
    sitting.keys("↓↓↓↓↓\n");
    sitting.shows("What an import would read of page Spare");
    sitting.shows("Take it: 1 link, 0 new switches, 0 rows set aside");
    sitting.keys("\u{1b}");
    assert!(sitting.session.layers.is_empty());
}

#[test]
fn a_file_that_cannot_be_read_is_told() {
    let mut sitting = Sitting::new();
    sitting.open(Path::new("/nowhere/at/all.xlsx"));
    sitting.shows("there is no file `/nowhere/at/all.xlsx`");
    assert!(sitting.session.importing.is_none());
}

/// A reader that never says anything.
fn deaf(folder: &Path) -> Reader {
    let program = folder.join("deaf");
    fs::write(&program, "#!/bin/sh\nexec sleep 600\n").unwrap();
    let mut rights = fs::metadata(&program).unwrap().permissions();
    rights.set_mode(0o755);
    fs::set_permissions(&program, rights).unwrap();
    Reader::new(program)
}

/// One event, without waiting for what it began.
fn take(session: &mut Session, code: KeyCode) {
    let key = KeyEvent::new(code, KeyModifiers::NONE);
    assert_eq!(session.take(Happening::Key(key)), []);
}

#[test]
fn while_a_file_is_read_the_ledger_can_be_used_and_escape_stops_it() {
    let folder = TempDir::new().unwrap();
    let theme = Theme {
        colours: true,
        ascii: false,
    };
    for letter in ['I', 'M'] {
        let mut session = Session::new(Desk::demo().unwrap(), theme);
        session.reader = Some(deaf(folder.path()));
        let before = plan_file::write(session.desk.plan());
        take(&mut session, KeyCode::Char(letter));
        let path = book(folder.path());
        session.take(Happening::Paste(path.to_str().unwrap().to_owned()));
        take(&mut session, KeyCode::Enter);
        assert!(session.is_working());
        assert!(
            session.message.0.starts_with("reading "),
            "{:?}",
            session.message
        );
        // The ledger is there, and a second file has to wait.
        let row = session.ledger().row;
        take(&mut session, KeyCode::Down);
        assert_eq!(session.ledger().row, row + 1);
        take(&mut session, KeyCode::Char('I'));
        session.take(Happening::Paste(path.to_str().unwrap().to_owned()));
        take(&mut session, KeyCode::Enter);
        let mut buffer = Buffer::empty(Rect::new(0, 0, 80, 24));
        draw(&mut session, &mut buffer);
        let shown: String = buffer.content().iter().map(|cell| cell.symbol()).collect();
        assert!(shown.contains("is not done yet"), "{shown}");
        // Escape leaves the entry first, then stops the reading.
        take(&mut session, KeyCode::Esc);
        assert!(session.is_working());
        while !session.message.0.contains("Esc stops it") {
            session.take(Happening::Worked);
        }
        take(&mut session, KeyCode::Esc);
        session.wait_for_work();
        assert!(!session.is_working());
        assert_eq!(session.message.0, "stopped; nothing was changed");
        assert_eq!(plan_file::write(session.desk.plan()), before);
    }
}

#[test]
fn what_is_read_waits_until_an_entry_is_done() {
    let folder = TempDir::new().unwrap();
    let mut sitting = Sitting::new();
    let session = &mut sitting.session;
    take(session, KeyCode::Char('I'));
    let path = book(folder.path());
    session.take(Happening::Paste(path.to_str().unwrap().to_owned()));
    take(session, KeyCode::Enter);
    // Typed before the file is read, or the page would have come first.
    if session.layers.is_empty() {
        take(session, KeyCode::Char('X'));
        take(session, KeyCode::Char('x'));
        session.wait_for_work();
        assert!(session.is_working() && session.entry().is_some());
        take(session, KeyCode::Esc);
    }
    assert!(!session.is_working());
    sitting.session.take(Happening::Resize);
    draw(&mut sitting.session, &mut sitting.buffer);
    sitting.shows("What an import would read of page Links");
}

#[test]
fn an_export_is_written_beside_the_sitting_and_one_that_is_stopped_leaves_nothing() {
    let folder = TempDir::new().unwrap();
    let path = folder.path().join("reef.xlsx");
    let mut sitting = Sitting::new();
    sitting.keys("X");
    sitting
        .session
        .take(Happening::Paste(path.to_str().unwrap().to_owned()));
    sitting.keys("\n");
    sitting.shows("wrote ");
    assert!(path.exists());
    sitting.keys("X");
    sitting
        .session
        .take(Happening::Paste(path.to_str().unwrap().to_owned()));
    sitting.keys("\n");
    sitting.shows("there is already a file");
    let n_before = fs::read_dir(folder.path()).unwrap().count();
    for ending in ["xlsx", "ods", "csv", "json", "html", "txt"] {
        let gauge = Gauge::default();
        gauge.stop();
        let mut desk = Desk::demo().unwrap();
        let other = folder.path().join(format!("stopped.{ending}"));
        let problem = desk
            .snapshot()
            .export(&other, &Wanted::default(), &gauge)
            .unwrap_err();
        assert_eq!(problem.code, "stopped", "{ending}");
        assert_eq!(fs::read_dir(folder.path()).unwrap().count(), n_before);
    }
}

#[test]
fn ids_that_stand_twice_are_told_apart_on_demand() {
    let folder = TempDir::new().unwrap();
    let path = folder.path().join("twins.csv");
    fs::write(&path, "id,from,to\nL1,reef,core\nL1,kelp,core\n").unwrap();
    let mut sitting = Sitting::new();
    sitting.open(&path);
    sitting.shows("1 id stands more than once: kept as they are");
    sitting.keys("↓\n");
    sitting.shows("each further one gets a number");
    sitting.keys("↑\n");
    let text = plan_file::write(sitting.session.desk.plan());
    assert!(text.contains("L1,reef,core\nL1-2,kelp,core"), "{text}");
}

#[test]
fn taking_an_import_in_and_changing_a_heading_go_on_beside_the_sitting() {
    let folder = TempDir::new().unwrap();
    let mut sitting = Sitting::new();
    sitting.open(&book(folder.path()));
    let key = |sitting: &mut Sitting, code| {
        let key = KeyEvent::new(code, KeyModifiers::NONE);
        assert_eq!(sitting.session.take(Happening::Key(key)), []);
    };
    let before = plan_file::write(sitting.session.desk.plan());
    key(&mut sitting, KeyCode::Enter);
    assert!(sitting.session.is_working());
    assert_eq!(plan_file::write(sitting.session.desk.plan()), before);
    assert!(sitting.session.message.0.starts_with("taking in "));
    sitting.session.wait_for_work();
    assert!(!sitting.session.is_working());
    let links = sitting.session.desk.plan().sheet("links").unwrap();
    assert!(sitting.session.desk.plan().find(links, "L1").is_some());
    assert_eq!(
        sitting.session.desk.steps_done().collect::<Vec<_>>(),
        ["import"]
    );
    sitting.keys("u");
    assert_eq!(plan_file::write(sitting.session.desk.plan()), before);
    // What was read is taken into the plan as it is now, also where that was changed meanwhile.
    sitting.open(&book(folder.path()));
    key(&mut sitting, KeyCode::Enter);
    let title = portledger::plan::Edit::SetTitle("changed".to_owned());
    sitting.session.desk.apply("title", title).unwrap();
    sitting.session.wait_for_work();
    assert_eq!(
        sitting.session.message.0,
        "the plan was changed meanwhile; do it again"
    );
    assert!(sitting.session.desk.plan().find(links, "L1").is_none());
}
