//! A terminal for tests: the program in a pseudo-terminal, its bytes made into a screen.
//!
//! Waits for what is to be seen and never for a time; where it does not come, the whole screen is
//! in the failure.

use portable_pty::{Child, CommandBuilder, MasterPty, PtySize, native_pty_system};
use rustix::process::{Pid, Signal, kill_process};
use std::fs;
use std::io::{Read, Write};
use std::path::Path;
use std::sync::mpsc::{self, Receiver, RecvTimeoutError};
use std::thread;
use std::time::{Duration, Instant};
use tempfile::TempDir;
use vt100::{MouseProtocolMode, Parser, Screen};

/// Longer than any machine needs; only a test that fails waits for it.
const LIMIT: Duration = Duration::from_secs(20);

/// A program in a terminal of its own.
pub struct Term {
    parser: Parser,
    bytes: Receiver<Vec<u8>>,
    /// All bytes that were sent to the terminal.
    pub raw: Vec<u8>,
    keyboard: Box<dyn Write + Send>,
    child: Running,
    master: Box<dyn MasterPty + Send>,
    /// The home of the program, empty at first.
    pub home: TempDir,
}

/// How a program is started.
pub struct Start {
    command: CommandBuilder,
    lines: u16,
    columns: u16,
    home: TempDir,
}

impl Start {
    /// The program with arguments, in a terminal of 80 columns and 24 lines.
    pub fn with(args: &[&str]) -> Self {
        let mut command = CommandBuilder::new(env!("CARGO_BIN_EXE_portledger"));
        command.args(args);
        Self::of(command)
    }

    /// The program on a copy of the demo, `aquarium.plan` in its home, and other arguments.
    pub fn on_plan(args: &[&str]) -> Self {
        let mut start = Self::with(&["aquarium.plan"]);
        start.command.args(args);
        let text = include_str!("../../examples/aquarium.plan");
        fs::write(start.home.path().join("aquarium.plan"), text).unwrap();
        start
    }

    /// A line of a shell in the same surroundings; `$PORTLEDGER` is the program.
    pub fn shell(line: &str) -> Self {
        let mut command = CommandBuilder::new("sh");
        command.args(["-c", line]);
        Self::of(command)
    }

    /// A shell that a person types into.
    pub fn prompt() -> Self {
        let mut command = CommandBuilder::new("sh");
        command.arg("-i");
        Self::of(command).env("PS1", "ready> ")
    }

    fn of(mut command: CommandBuilder) -> Self {
        let home = TempDir::new().unwrap();
        command.env_clear();
        command.env("PATH", std::env::var_os("PATH").unwrap_or_default());
        command.env("PORTLEDGER", env!("CARGO_BIN_EXE_portledger"));
        command.env("HOME", home.path());
        command.env("TERM", "xterm-256color");
        command.env("RUST_BACKTRACE", "0");
        command.cwd(home.path());
        Self {
            command,
            lines: 24,
            columns: 80,
            home,
        }
    }

    pub fn env(mut self, name: &str, value: &str) -> Self {
        self.command.env(name, value);
        self
    }

    pub fn size(mut self, columns: u16, lines: u16) -> Self {
        (self.columns, self.lines) = (columns, lines);
        self
    }

    /// In a folder that stands, as a second program beside a first.
    pub fn at_home(mut self, home: &Path) -> Self {
        self.command.env("HOME", home);
        self.command.cwd(home);
        self
    }

    /// Without a terminal of the session, so that no signal tells that it went away.
    pub fn uncontrolled(mut self) -> Self {
        self.command.set_controlling_tty(false);
        self
    }

    pub fn go(self) -> Term {
        let pair = native_pty_system()
            .openpty(size(self.columns, self.lines))
            .unwrap();
        let child = pair.slave.spawn_command(self.command).unwrap();
        // The reader would never see the end otherwise.
        drop(pair.slave);
        let mut reader = pair.master.try_clone_reader().unwrap();
        let (send, bytes) = mpsc::channel();
        thread::spawn(move || {
            let mut buffer = [0; 65536];
            while let Ok(n) = reader.read(&mut buffer) {
                if n == 0 || send.send(buffer[..n].to_vec()).is_err() {
                    break;
                }
            }
        });
        let (columns, lines) = match self.columns == 0 || self.lines == 0 {
            true => (80, 24),
            false => (self.columns, self.lines),
        };
        Term {
            parser: Parser::new(lines.try_into().unwrap(), columns.try_into().unwrap(), 0),
            bytes,
            raw: Vec::new(),
            keyboard: pair.master.take_writer().unwrap(),
            child: Running(child),
            master: pair.master,
            home: self.home,
        }
    }
}

fn size(columns: u16, lines: u16) -> PtySize {
    PtySize {
        rows: lines,
        cols: columns,
        pixel_width: 0,
        pixel_height: 0,
    }
}

impl Term {
    /// The screen as it is now.
    pub fn screen(&self) -> &Screen {
        self.parser.screen()
    }

    /// Its text, lines joined.
    pub fn text(&self) -> String {
        self.screen().contents()
    }

    /// The line of the screen that begins with a word.
    #[track_caller]
    pub fn line(&self, begin: &str) -> String {
        let text = self.text();
        let found = text.lines().find(|line| line.starts_with(begin));
        found
            .unwrap_or_else(|| panic!("no line {begin:?}:\n{text}"))
            .to_owned()
    }

    /// Whether a frame has begun and not ended; what is seen then is neither old nor new.
    fn is_in_frame(&self) -> bool {
        let mark = b"\x1b[?2026";
        let marks = self.raw.windows(mark.len() + 1).rev();
        let mut marks = marks.filter(|part| part.starts_with(mark));
        marks.next().is_some_and(|part| part.ends_with(b"h"))
    }

    /// Reads until the screen is as wanted, at the end of a frame.
    #[track_caller]
    pub fn until(&mut self, what: &str, wanted: impl Fn(&Screen) -> bool) -> &mut Self {
        let end = Instant::now() + LIMIT;
        while self.is_in_frame() || !wanted(self.parser.screen()) {
            let left = end.saturating_duration_since(Instant::now());
            match self.bytes.recv_timeout(left) {
                Ok(bytes) => self.see(&bytes),
                Err(error) => panic!("{error} while waiting for {what}:\n{}", self.text()),
            }
        }
        self
    }

    /// Reads until the screen shows a text.
    #[track_caller]
    pub fn wait(&mut self, text: &str) -> &mut Self {
        self.until(text, |screen| screen.contents().contains(text))
    }

    /// Reads until a text is shown no more.
    #[track_caller]
    pub fn wait_gone(&mut self, text: &str) -> &mut Self {
        self.until(&format!("the end of {text}"), |screen| {
            !screen.contents().contains(text)
        })
    }

    /// Reads until the bytes after a place hold some.
    #[track_caller]
    pub fn wait_bytes(&mut self, from: usize, wanted: &[u8]) -> &mut Self {
        let end = Instant::now() + LIMIT;
        while !holds(&self.raw[from..], wanted) {
            let left = end.saturating_duration_since(Instant::now());
            match self.bytes.recv_timeout(left) {
                Ok(bytes) => self.see(&bytes),
                Err(error) => panic!(
                    "{error} while waiting for {:?}:\n{}",
                    String::from_utf8_lossy(wanted),
                    self.text()
                ),
            }
        }
        self
    }

    fn see(&mut self, bytes: &[u8]) {
        self.parser.process(bytes);
        self.raw.extend(bytes);
    }

    /// Types keys as one piece.
    pub fn keys(&mut self, keys: &str) -> &mut Self {
        self.keyboard.write_all(keys.as_bytes()).unwrap();
        self.keyboard.flush().unwrap();
        self
    }

    /// Gives the terminal another size.
    pub fn resize(&mut self, columns: u16, lines: u16) -> &mut Self {
        let screen = self.parser.screen_mut();
        screen.set_size(lines.try_into().unwrap(), columns.try_into().unwrap());
        self.master.resize(size(columns, lines)).unwrap();
        self
    }

    /// The process in the terminal.
    pub fn pid(&self) -> Pid {
        let id = self.child.0.process_id().unwrap();
        Pid::from_raw(i32::try_from(id).unwrap()).unwrap()
    }

    pub fn signal(&self, signal: Signal) {
        kill_process(self.pid(), signal).unwrap();
    }

    /// Sends a signal again and again until the program ends.
    #[track_caller]
    pub fn insist(&mut self, signal: Signal) {
        let end = Instant::now() + LIMIT;
        while self.child.0.try_wait().unwrap().is_none() {
            assert!(
                Instant::now() < end,
                "it does not end on {signal:?}:\n{}",
                self.text()
            );
            // It may end between the question and the signal.
            let _ = kill_process(self.pid(), signal);
            thread::yield_now();
        }
    }

    /// Whether the program sends nothing for a while in which it would have.
    pub fn is_silent(&mut self, within: Duration) -> bool {
        match self.bytes.recv_timeout(within) {
            Ok(bytes) => {
                self.see(&bytes);
                false
            }
            Err(_) => true,
        }
    }

    /// Waits for the program to end; gives its exit code. The screen is as it was left.
    #[track_caller]
    pub fn end(&mut self) -> u32 {
        let end = Instant::now() + LIMIT;
        loop {
            let left = end.saturating_duration_since(Instant::now());
            match self.bytes.recv_timeout(left) {
                Ok(bytes) => self.see(&bytes),
                Err(RecvTimeoutError::Disconnected) => break,
                Err(RecvTimeoutError::Timeout) => panic!("it does not end:\n{}", self.text()),
            }
        }
        self.child.0.wait().unwrap().exit_code()
    }

    /// Takes the terminal away from the program; gives its exit code.
    #[track_caller]
    pub fn unplug(self) -> u32 {
        let Self {
            bytes,
            mut keyboard,
            child: mut running,
            master,
            home,
            ..
        } = self;
        let child = &mut running.0;
        drop(bytes);
        // The reader lets go of the terminal at the next bytes.
        keyboard.write_all(b"\x1b[B").unwrap();
        drop((keyboard, master));
        let end = Instant::now() + LIMIT;
        loop {
            if let Some(status) = child.try_wait().unwrap() {
                drop(home);
                return status.exit_code();
            }
            if Instant::now() >= end {
                child.kill().unwrap();
                panic!("it does not end without a terminal");
            }
            thread::yield_now();
        }
    }

    /// Fails where a mode is still set that the program set.
    #[track_caller]
    pub fn assert_given_back(&self) {
        let screen = self.screen();
        assert!(!screen.alternate_screen(), "the other screen is still on");
        assert!(!screen.hide_cursor(), "the cursor is hidden");
        assert!(!screen.bracketed_paste(), "pastes are still marked");
        let mouse = screen.mouse_protocol_mode();
        assert_eq!(mouse, MouseProtocolMode::None, "the mouse is still taken");
    }
}

/// The process, which a test that fails leaves no more than one that does not.
struct Running(Box<dyn Child + Send + Sync>);

impl Drop for Running {
    fn drop(&mut self) {
        let _ = self.0.kill();
    }
}

/// Whether some bytes hold others.
pub fn holds(bytes: &[u8], wanted: &[u8]) -> bool {
    bytes.windows(wanted.len()).any(|part| part == wanted)
}
