//! Somebody who presses any key: random events against a sitting, drawn after each of them.
//!
//! Whatever is pressed, pasted or clicked at any size, nothing panics, the cursor stays where
//! there is something, no frame holds a character that acts on a terminal, and undoing every step
//! gives the bytes that the plan began with. `MONKEY_EVENTS` raises the number of events,
//! `MONKEY_SEED` repeats one sitting alone. Nothing is ever written to a file: lines that ask for
//! a file name are left by Esc.

use super::random::Random;
use crossterm::event::{KeyCode, KeyEvent, KeyModifiers, MouseButton, MouseEvent, MouseEventKind};
use portledger::desk::Desk;
use portledger::files::plan_file;
use portledger::screen::action::RECORDS;
use portledger::screen::draw::draw;
use portledger::screen::entry::Purpose;
use portledger::screen::session::{Happening, Layer, Session};
use portledger::screen::theme::Theme;
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use std::fmt::Write;
use std::panic::{AssertUnwindSafe, catch_unwind};

/// Events of one sitting; fewer steps than a history keeps, so that all can be taken back.
const SITTING: usize = 2_500;

/// Events of a usual run.
const EVENTS: usize = 100_000;

/// A few texts that mean something somewhere.
const TEXTS: &[&str] = &[
    "120",
    "-3",
    "85 m",
    "1e308",
    "250 ft",
    "nonsense",
    "10 Gb/s",
    "OM4",
    "Cat6",
    "sw1",
    "L7",
    "loss_limit - loss",
    "own: length * 2",
    "margin < 1 dB",
    "1 +",
    "\u{1b}[2J",
    "\u{202e}mirror",
    "e\u{301}\u{301}",
    "水族館",
    "\"",
    "'",
    ",",
    "   ",
    "0.5 dB",
    "uplink",
    "10GBASE-SR",
];

#[test]
fn any_events_can_be_drawn_and_taken_back() {
    let of_env = |name: &str| std::env::var(name).ok().and_then(|text| text.parse().ok());
    let start = start();
    if let Some(seed) = of_env("MONKEY_SEED") {
        sit(&start, seed, SITTING);
        return;
    }
    let n_sittings = of_env("MONKEY_EVENTS").map_or(EVENTS, |n: u64| {
        usize::try_from(n).expect("a number of events")
    }) / SITTING;
    let halves = [0, 1].map(|half| {
        let start = start.clone();
        std::thread::spawn(move || {
            for seed in (half..n_sittings as u64).step_by(2) {
                sit(&start, seed, SITTING);
            }
        })
    });
    for half in halves {
        half.join()
            .unwrap_or_else(|what| std::panic::resume_unwind(what));
    }
}

/// A plan of 200 links and some switches, in the form that is written.
fn start() -> String {
    let mut text = String::from("portledger = 1\ntitle = \"Tanks\"\n\n[rows]\nlinks = '''\n");
    text.push_str("id,from,from_port,to,role,speed,interface,medium,length\n");
    for at in 0..200 {
        let (switch, port, length) = (at / 25, at % 25, 5 + (at * 37) % 90);
        match port {
            0 | 1 => writeln!(
                text,
                "L{at},sw{switch},{port},sw7,uplink,10,10GBASE-SR,OM4,{length}"
            ),
            2 => writeln!(text, "L{at},sw{switch},,,,,,,"),
            _ => writeln!(
                text,
                "L{at},sw{switch},{port},,access,1,1000BASE-T,Cat6,{length}"
            ),
        }
        .unwrap();
    }
    text.push_str("'''\nswitches = '''\nid,access_ports,access_speed,uplink_cages,cage\n");
    for at in 0..8 {
        writeln!(text, "sw{at},24,1,4,SFP+").unwrap();
    }
    text.push_str("'''\n");
    plan_file::write(Desk::of_text(&text).unwrap().plan())
}

/// One sitting of random events; says the seed, the event and its number where something breaks.
fn sit(start: &str, seed: u64, events: usize) {
    let mut random = Random(seed);
    let theme = Theme {
        colours: random.below(2) == 0,
        ascii: random.below(2) == 0,
    };
    let mut session = Session::new(Desk::of_text(start).unwrap(), theme);
    let mut buffer = Buffer::empty(Rect::new(0, 0, 80, 24));
    for at in 0..events {
        let event = random.event(&session);
        let step = || event.clone().bring(&mut session, &mut buffer);
        if let Err(what) = catch_unwind(AssertUnwindSafe(step)) {
            panic!(
                "MONKEY_SEED={seed}, event {at}, {event:?}: {}",
                told(&*what)
            );
        }
    }
    assert_eq!(
        session.desk.path(),
        None,
        "MONKEY_SEED={seed}: it was saved"
    );
    let taken_back = || take_back(&mut session.desk, start);
    if let Err(what) = catch_unwind(AssertUnwindSafe(taken_back)) {
        panic!("MONKEY_SEED={seed}, taking back: {}", told(&*what));
    }
}

fn told(what: &(dyn std::any::Any + Send)) -> &str {
    let owned = what.downcast_ref::<String>().map(String::as_str);
    owned.or(what.downcast_ref::<&str>().copied()).unwrap_or("")
}

/// Takes every step back, and makes all again.
fn take_back(desk: &mut Desk, start: &str) {
    let end = plan_file::write(desk.plan());
    let mut steps = 0;
    while desk.undo().unwrap().is_some() {
        steps += 1;
    }
    assert_same(&plan_file::write(desk.plan()), start, "all taken back");
    // There may be more to make again than was made at the end.
    for _ in 0..steps {
        desk.redo().unwrap();
    }
    assert_same(&plan_file::write(desk.plan()), &end, "all made again");
}

#[track_caller]
fn assert_same(text: &str, wanted: &str, when: &str) {
    let lines = text.lines().zip(wanted.lines());
    let differs = lines.enumerate().find(|(_, (a, b))| a != b);
    assert!(text == wanted, "{when}: {differs:?}");
}

/// Something that happens.
#[derive(Debug, Clone)]
enum Event {
    Take(Happening),
    Size(u16, u16),
}

impl Event {
    /// Makes it happen, draws, and looks at what was drawn.
    fn bring(self, session: &mut Session, buffer: &mut Buffer) {
        match self {
            Self::Take(happening) => {
                session.take(happening);
            }
            Self::Size(width, height) => {
                *buffer = Buffer::empty(Rect::new(0, 0, width, height));
                session.take(Happening::Resize);
            }
        }
        buffer.reset();
        let cursor = draw(session, buffer);
        assert_sound(session, buffer, cursor);
    }
}

/// What holds for every frame and the sitting behind it.
#[track_caller]
pub fn assert_sound(session: &Session, buffer: &Buffer, cursor: Option<(u16, u16)>) {
    if let Some((x, y)) = cursor {
        let area = buffer.area;
        assert!(
            x < area.width && y < area.height,
            "cursor {x} {y} in {area}"
        );
    }
    assert!(session.current < session.ledgers.len());
    let (ledger, desk) = (session.ledger(), &session.desk);
    let n_rows = ledger.rows(desk).len();
    let (row, column, heads) = (ledger.row, ledger.column, ledger.heads.len());
    assert!(row < n_rows.max(1), "row {row} of {n_rows}");
    assert!(column < heads, "column {column} of {heads}");
    // A ledger under a page is scrolled when it is seen again.
    let is_seen = session.leaf().is_none();
    assert!(
        !is_seen || ledger.top <= row,
        "top {}, row {row}",
        ledger.top
    );
    let mark = ledger.mark.unwrap_or_default();
    assert!(mark.0 < n_rows.max(1) && mark.1 < heads, "mark {mark:?}");
    let n_asked = session
        .layers
        .iter()
        .filter(|layer| matches!(layer, Layer::Ask(_)))
        .count();
    assert!(n_asked <= 2, "{n_asked} questions at once");
    for cell in &buffer.content {
        let acts = |c: char| {
            c.is_control()
                || matches!(c, '\u{200b}'..='\u{200f}' | '\u{2028}'..='\u{202e}'
                    | '\u{2066}'..='\u{2069}' | '\u{feff}')
        };
        assert!(!cell.symbol().chars().any(acts), "{:?}", cell.symbol());
    }
}

impl Random {
    fn event(&mut self, session: &Session) -> Event {
        let asks_file = session
            .entry()
            .is_some_and(|entry| matches!(entry.purpose(), Purpose::SaveAs | Purpose::CopyTo));
        if asks_file {
            return Event::Take(Happening::Key(self.harmless_key()));
        }
        match self.below(100) {
            0..2 => self.size(),
            2..5 => Event::Take(Happening::Mouse(self.mouse())),
            5..10 => Event::Take(Happening::Paste(self.text())),
            10..25 => Event::Take(Happening::Key(press(self.arrow()))),
            25..35 => Event::Take(Happening::Key(press(self.closing()))),
            35..60 => Event::Take(Happening::Key(self.typed())),
            60..63 => Event::Take(Happening::Key(self.any_key())),
            _ => Event::Take(Happening::Key(self.action())),
        }
    }

    /// A key into a line that asks for the name of a file; nothing takes the line.
    fn harmless_key(&mut self) -> KeyEvent {
        match self.below(3) {
            0 => press(KeyCode::Esc),
            _ => self.typed(),
        }
    }

    fn action(&mut self) -> KeyEvent {
        let record = self.of(RECORDS);
        let key = self.of(record.keys);
        KeyEvent::new(key.0, key.1)
    }

    fn arrow(&mut self) -> KeyCode {
        *self.of(&MOVES)
    }

    fn closing(&mut self) -> KeyCode {
        *self.of(&[KeyCode::Enter, KeyCode::Enter, KeyCode::Esc, KeyCode::Tab])
    }

    fn typed(&mut self) -> KeyEvent {
        let text = *self.of(TEXTS);
        let chars: Vec<char> = text.chars().collect();
        press(KeyCode::Char(*self.of(&chars)))
    }

    fn any_key(&mut self) -> KeyEvent {
        let code = match self.below(4) {
            0 => KeyCode::F(u8::try_from(self.below(13)).unwrap()),
            1 => *self.of(&[
                KeyCode::Backspace,
                KeyCode::Delete,
                KeyCode::Insert,
                KeyCode::BackTab,
                KeyCode::Null,
                KeyCode::CapsLock,
            ]),
            2 => self.arrow(),
            _ => KeyCode::Char(char::from(u8::try_from(32 + self.below(95)).unwrap())),
        };
        let held = u8::try_from(self.below(8)).unwrap();
        KeyEvent::new(code, KeyModifiers::from_bits_truncate(held))
    }

    /// A text or a small table, with the line ends and quotes that others write.
    fn text(&mut self) -> String {
        let (rows, columns) = (1 + self.below(4), 1 + self.below(4));
        let end = *self.of(&["\n", "\r\n", "\r", "\r\r"]);
        let mut text = String::new();
        for _ in 0..rows {
            for column in 0..columns {
                if column > 0 {
                    text.push('\t');
                }
                let cell: &&str = self.of(TEXTS);
                text.push_str(cell);
            }
            text.push_str(end);
        }
        text
    }

    fn size(&mut self) -> Event {
        let (most_wide, most_high) =
            *self.of(&[(3, 3), (40, 12), (100, 30), (100, 30), (300, 100)]);
        let wide = 1 + self.below(most_wide);
        let high = 1 + self.below(most_high);
        Event::Size(u16::try_from(wide).unwrap(), u16::try_from(high).unwrap())
    }

    fn mouse(&mut self) -> MouseEvent {
        let kind = *self.of(&MOUSE_KINDS);
        MouseEvent {
            kind,
            column: u16::try_from(self.below(310)).unwrap(),
            row: u16::try_from(self.below(110)).unwrap(),
            modifiers: KeyModifiers::NONE,
        }
    }
}

/// Keys that move the cursor.
pub const MOVES: [KeyCode; 8] = [
    KeyCode::Up,
    KeyCode::Down,
    KeyCode::Left,
    KeyCode::Right,
    KeyCode::PageUp,
    KeyCode::PageDown,
    KeyCode::Home,
    KeyCode::End,
];

/// What a mouse can do to the ledger.
pub const MOUSE_KINDS: [MouseEventKind; 7] = [
    MouseEventKind::Down(MouseButton::Left),
    MouseEventKind::Down(MouseButton::Right),
    MouseEventKind::Drag(MouseButton::Left),
    MouseEventKind::Up(MouseButton::Left),
    MouseEventKind::ScrollUp,
    MouseEventKind::ScrollDown,
    MouseEventKind::Moved,
];

fn press(code: KeyCode) -> KeyEvent {
    KeyEvent::new(code, KeyModifiers::NONE)
}
