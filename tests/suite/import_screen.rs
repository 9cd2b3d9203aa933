//! Importing on the screen: the file is asked for, headings are looked at and changed, and the
//! whole is one step.

use crate::books::{V, rows, xlsx};
use crate::import::reader;
use crossterm::event::{KeyCode, KeyEvent, KeyModifiers};
use portledger::desk::Desk;
use portledger::files::plan_file;
use portledger::screen::draw::draw;
use portledger::screen::session::{Happening, Session};
use portledger::screen::theme::Theme;
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use std::fs;
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
