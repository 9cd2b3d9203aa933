//! How long it takes from a key to the bytes of the frame, and from the start of the program to
//! its first frame, up to a million links.
//!
//! Run with `cargo bench --bench screen`, or with row counts after `--`. Prints medians and the
//! time that one in a hundred exceeds; a timing is never a test.

mod made;

use crossterm::event::{KeyCode, KeyEvent, KeyModifiers};
use made::plan_text;
use portable_pty::{CommandBuilder, PtySize, native_pty_system};
use portledger::desk::Desk;
use portledger::screen::draw::draw;
use portledger::screen::frame::Frames;
use portledger::screen::session::{Happening, Session};
use portledger::screen::theme::Theme;
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use std::io::{Read, Write as _};
use std::path::Path;
use std::time::{Duration, Instant};

/// The frame that is measured: columns and lines.
const SIZE: (u16, u16) = (200, 50);

fn main() {
    let sizes: Vec<usize> = std::env::args()
        .filter_map(|arg| arg.parse().ok())
        .collect();
    let sizes = if sizes.is_empty() {
        vec![1_000, 100_000, 1_000_000]
    } else {
        sizes
    };
    let folder = tempfile::tempdir().expect("a folder for the plans");
    for n_links in sizes {
        let path = folder.path().join("bench.plan");
        std::fs::write(&path, plan_text(n_links)).expect("the plan can be written");
        starting(n_links, &path);
        keys(n_links, Desk::open(&path).expect("the plan opens"));
    }
}

fn report(line: &str) {
    let _ = writeln!(std::io::stdout(), "{line}");
}

/// From the start of the program to the first frame in its terminal.
fn starting(n_links: usize, path: &Path) {
    let n = if n_links > 200_000 { 5 } else { 21 };
    let times = (0..n).map(|_| first_frame(path)).collect();
    tell(n_links, "start to first frame", times, 0);
}

fn first_frame(path: &Path) -> Duration {
    let size = PtySize {
        rows: SIZE.1,
        cols: SIZE.0,
        pixel_width: 0,
        pixel_height: 0,
    };
    let pair = native_pty_system().openpty(size).expect("a terminal");
    let mut command = CommandBuilder::new(env!("CARGO_BIN_EXE_portledger"));
    command.arg(path);
    command.env("TERM", "xterm-256color");
    command.env("XDG_STATE_HOME", path.parent().unwrap_or(path));
    let mut reader = pair.master.try_clone_reader().expect("a terminal");
    let started = Instant::now();
    let mut child = pair.slave.spawn_command(command).expect("it starts");
    drop(pair.slave);
    let (mut seen, mut buffer) = (Vec::new(), [0; 65536]);
    // A frame ends with the end of its synchronised update.
    while !seen.windows(8).any(|part| part == b"\x1b[?2026l") {
        let n = reader.read(&mut buffer).expect("the terminal is read");
        assert!(n > 0, "no frame: {}", String::from_utf8_lossy(&seen));
        seen.extend_from_slice(&buffer[..n]);
    }
    let took = started.elapsed();
    child.kill().expect("it ends");
    child.wait().expect("it ends");
    took
}

/// From keys to bytes, without a terminal.
fn keys(n_links: usize, desk: Desk) {
    let theme = Theme {
        colours: true,
        ascii: false,
    };
    let mut sitting = Sitting {
        session: Session::new(desk, theme),
        frames: Frames::new(SIZE),
    };
    sitting.frame();
    let n = 1000;
    sitting.tell(n_links, "nothing changed", n, |_| Vec::new());
    sitting.tell(n_links, "cursor down or up", n, |at| {
        vec![press(if at % 2 == 0 {
            KeyCode::Down
        } else {
            KeyCode::Up
        })]
    });
    sitting.tell(n_links, "cursor right", 8, |_| vec![press(KeyCode::Right)]);
    for _ in 0..50 {
        sitting.session.take(press(KeyCode::Left));
    }
    sitting.tell(n_links, "page down or up", n, |at| {
        let down = at * 2 < n;
        vec![press(if down {
            KeyCode::PageDown
        } else {
            KeyCode::PageUp
        })]
    });
    sitting.tell(n_links, "last or first row", n, |at| {
        vec![press(KeyCode::Char(if at % 2 == 0 { '>' } else { '<' }))]
    });
    to_length(&mut sitting.session);
    sitting.tell(n_links, "length: first digit", n, |_| {
        vec![press(KeyCode::Esc), press(KeyCode::Char('9'))]
    });
    sitting.session.take(press(KeyCode::Esc));
    sitting.edits(n_links, n);
    sitting.tell(n_links, "undo of a length", n, |_| {
        vec![press(KeyCode::Char('u'))]
    });
    painting(n_links, &mut sitting.session);
}

/// The frame alone, into a buffer.
fn painting(n_links: usize, session: &mut Session) {
    let mut buffer = Buffer::empty(Rect::new(0, 0, SIZE.0, SIZE.1));
    let times = (0..1000).map(|_| {
        timed(|| {
            buffer.reset();
            draw(session, &mut buffer);
        })
    });
    let times = times.collect();
    tell(n_links, "frame of 200 x 50", times, 0);
}

/// Moves to the first length.
fn to_length(session: &mut Session) {
    session.take(press(KeyCode::Char('<')));
    session.take(press(KeyCode::Home));
    let heads = &session.ledger().heads;
    let at = heads.iter().position(|head| head.name == "length");
    for _ in 0..at.expect("the length is shown") {
        session.take(press(KeyCode::Right));
    }
}

struct Sitting {
    session: Session,
    frames: Frames,
}

impl Sitting {
    /// Draws, and gives the number of bytes.
    fn frame(&mut self) -> usize {
        let session = &mut self.session;
        let bytes = self.frames.draw(|buffer| draw(session, buffer));
        bytes.expect("bytes are written into memory").len()
    }

    /// Presses keys so many times, each time until the bytes are there.
    fn tell(
        &mut self,
        n_links: usize,
        what: &str,
        n: usize,
        keys: impl Fn(usize) -> Vec<Happening>,
    ) {
        let (mut times, mut sent) = (Vec::new(), 0);
        for at in 0..n {
            let keys = keys(at);
            times.push(timed(|| {
                for key in keys {
                    self.session.take(key);
                }
                sent += self.frame();
            }));
        }
        tell(n_links, what, times, sent / n);
    }

    /// Types lengths into rows, and measures Enter.
    fn edits(&mut self, n_links: usize, n: usize) {
        let (mut times, mut sent) = (Vec::new(), 0);
        for at in 0..n {
            for key in [["8", "5000"][at % 2], "7"].concat().chars() {
                self.session.take(press(KeyCode::Char(key)));
            }
            self.frame();
            times.push(timed(|| {
                self.session.take(press(KeyCode::Enter));
                sent += self.frame();
            }));
            assert!(self.session.entry().is_none(), "it was not taken");
            self.session.take(press(KeyCode::Down));
        }
        tell(n_links, "Enter on a length", times, sent / n);
    }
}

fn press(code: KeyCode) -> Happening {
    Happening::Key(KeyEvent::new(code, KeyModifiers::NONE))
}

fn timed<T>(work: impl FnOnce() -> T) -> Duration {
    let started = Instant::now();
    let made = work();
    let took = started.elapsed();
    drop(made);
    took
}

fn tell(n_links: usize, what: &str, mut times: Vec<Duration>, bytes: usize) {
    times.sort_unstable();
    let at = |percent: usize| times[(times.len() - 1) * percent / 100];
    let (half, most) = (at(50), at(99));
    report(&format!(
        "{n_links:>9} links: {what:<22} {half:>9.1?} median {most:>9.1?} p99 {bytes:>7} bytes"
    ));
}
