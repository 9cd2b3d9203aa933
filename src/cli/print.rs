//! The one place that writes to the terminal.
//!
//! A closed pipe is a success: whoever reads has seen enough. Texts from a plan are cleaned
//! before they get here or, for whole lines, here.

use crate::desk::Gauge;
use crate::problem::Problem;
use crate::problem::clean;
use crate::problem::render;
use std::io::{BufWriter, Error, ErrorKind, IsTerminal, Stdout, Write};
use std::sync::Arc;
use std::sync::mpsc::{self, Receiver, RecvTimeoutError, Sender};
use std::thread::{self, JoinHandle};
use std::time::Duration;
use unicode_width::UnicodeWidthStr;

/// How many problems of one formula, or remarks on one plan, are told before the rest is counted.
const MOST_PROBLEMS: usize = 5;
const MOST_REMARKS: usize = 20;

/// The next step where a problem names none.
const ANY_STEP: &str = "what may be written is in: portledger manual";

/// The longest line on the error stream, in characters, so that a long name is not thrown back.
const MOST_OF_A_LINE: usize = 200;

/// What is printed, and whether in colour.
#[derive(Debug)]
pub struct Printer {
    out: BufWriter<Stdout>,
    coloured: bool,
    coloured_errors: bool,
    /// Why nothing more can be written.
    failure: Option<Error>,
}

impl Printer {
    /// Colour only on a terminal, and only where the person has not said no.
    pub fn new() -> Self {
        let wanted = std::env::var_os("NO_COLOR").is_none_or(|value| value.is_empty())
            && std::env::var_os("TERM").is_none_or(|term| term != "dumb");
        Self {
            out: BufWriter::new(std::io::stdout()),
            coloured: wanted && std::io::stdout().is_terminal(),
            coloured_errors: wanted && std::io::stderr().is_terminal(),
            failure: None,
        }
    }

    /// Whether words may be coloured.
    pub fn is_coloured(&self) -> bool {
        self.coloured
    }

    /// Whether anybody still reads.
    pub fn is_open(&self) -> bool {
        self.failure.is_none()
    }

    /// The width of the terminal, when output goes to one.
    pub fn width(&self) -> Option<usize> {
        if !std::io::stdout().is_terminal() {
            return None;
        }
        terminal_size::terminal_size().map(|(width, _)| usize::from(width.0))
    }

    /// Writes a line.
    pub fn line(&mut self, text: &str) {
        self.raw(text);
        self.raw("\n");
    }

    /// Writes a line after a mark, broken between words where a terminal ends.
    ///
    /// `width` is that of the mark as it is seen; further lines begin under the text.
    pub fn wrapped(&mut self, mark: &str, width: usize, text: &str) {
        let room = self
            .width()
            .map_or(usize::MAX, |all| all.saturating_sub(width + 1).max(20));
        let mut line = String::new();
        let mut begin = mark.to_owned();
        for word in text.split(' ') {
            if !line.is_empty() && line.width() + 1 + word.width() > room {
                self.line(&format!("{begin}{line}"));
                begin = " ".repeat(width);
                line.clear();
            }
            if !line.is_empty() {
                line.push(' ');
            }
            line.push_str(word);
        }
        self.line(&format!("{begin}{line}"));
    }

    /// Writes text as it is.
    pub fn raw(&mut self, text: &str) {
        if self.is_open() {
            let written = self.out.write_all(text.as_bytes());
            self.keep(written);
        }
    }

    /// Sends on what is held back.
    fn flush(&mut self) {
        if self.is_open() {
            let flushed = self.out.flush();
            self.keep(flushed);
        }
    }

    fn keep(&mut self, result: Result<(), Error>) {
        self.failure = result.err().or(self.failure.take());
    }

    /// Sends everything on; whether all of it arrived, or its reader went away.
    pub fn finish(&mut self) -> bool {
        self.flush();
        match self.failure.take() {
            Some(error) if error.kind() != ErrorKind::BrokenPipe => {
                let why = error.to_string().to_lowercase();
                let message = format!("cannot write the output: {why}");
                self.problem(
                    &Problem::new("not-written", message)
                        .help("make room, or send the output somewhere else"),
                );
                false
            }
            Some(_) | None => true,
        }
    }

    /// Writes problems to the error stream, whole; after the first few only their number.
    pub fn problems(&mut self, problems: &[Problem]) {
        let told = problems.len().min(MOST_PROBLEMS);
        problems[..told].iter().for_each(|one| self.problem(one));
        self.rest(problems.len() - told, "problem", "problems");
    }

    /// Writes a problem to the error stream, whole and never without a next step.
    pub fn problem(&mut self, problem: &Problem) {
        let mut problem = problem.clone();
        problem.message = short(&problem.message);
        problem.help.iter_mut().for_each(|step| *step = short(step));
        if problem.help.is_empty() {
            problem.help.push(ANY_STEP.to_owned());
        }
        self.error_line(&render(&problem, self.coloured_errors));
    }

    /// Writes remarks to the error stream: a line each and its next steps; after the first few
    /// only their number.
    pub fn remarks<'a>(&mut self, problems: impl Iterator<Item = &'a Problem>) {
        let mut n_more = 0;
        for (at, problem) in problems.enumerate() {
            match at < MOST_REMARKS {
                true => self.remark(problem),
                false => n_more += 1,
            }
        }
        self.rest(n_more, "note", "notes");
    }

    /// Writes a remark to the error stream: one line and its next steps.
    pub fn remark(&mut self, problem: &Problem) {
        let place = problem
            .place
            .as_ref()
            .map_or(String::new(), |place| format!("{}: ", place.origin));
        let text = format!("{place}{}", problem.message);
        self.error_line(&format!("note: {}", clean(&short(&text))));
        for step in &problem.help {
            self.error_line(&format!("      {}", clean(&short(step))));
        }
    }

    fn rest(&mut self, n_more: usize, one: &str, more: &str) {
        if n_more > 0 {
            let word = if n_more == 1 { one } else { more };
            self.error_line(&format!("and {n_more} more {word}"));
        }
    }

    /// Says what is wrong with the arguments; help and version come this way too.
    pub fn usage(&mut self, error: &clap::Error) {
        if !error.use_stderr() {
            let styled = error.render();
            match self.coloured {
                true => self.raw(&styled.ansi().to_string()),
                false => self.raw(&styled.to_string()),
            }
            return;
        }
        for line in error.render().to_string().trim_end().lines() {
            self.error_line(&clean(&short(line)));
        }
    }

    /// Writes a line to the error stream, whole, its text made safe.
    pub fn told(&mut self, line: &str) {
        self.error_line(&clean(line));
    }

    /// Writes to the error stream, behind all that was written before.
    fn error_line(&mut self, text: &str) {
        self.flush();
        // Nobody is left to tell when the error stream is closed too.
        let _ = writeln!(std::io::stderr().lock(), "{text}");
    }
}

/// How often it is shown how far something is.
const EVERY: Duration = Duration::from_millis(200);

/// Shows on a terminal at the error stream how far something long has come, from the first half
/// second on; it goes when this does. Anywhere else nothing is written.
#[derive(Debug)]
pub struct Shown {
    /// Its end ends the thread.
    end: Option<Sender<()>>,
    thread: Option<JoinHandle<()>>,
}

impl Shown {
    /// `what` is being done, such as `reading cables.xlsx`.
    pub fn new(what: String, gauge: &Arc<Gauge>) -> Self {
        if !std::io::stderr().is_terminal() {
            return Self {
                end: None,
                thread: None,
            };
        }
        let (end, ended) = mpsc::channel();
        let gauge = Arc::clone(gauge);
        let show = move || show(&clean(&what), &gauge, &ended);
        Self {
            end: Some(end),
            // Without a thread the work is done all the same.
            thread: thread::Builder::new().spawn(show).ok(),
        }
    }
}

/// Writes over one line until nobody waits any more.
fn show(what: &str, gauge: &Gauge, ended: &Receiver<()>) {
    let mut widest = 0;
    while ended.recv_timeout(EVERY) == Err(RecvTimeoutError::Timeout) {
        if !gauge.is_slow() {
            continue;
        }
        let line = match gauge.said() {
            said if said.is_empty() => format!("{what} ..."),
            said => format!("{what}: {said}"),
        };
        widest = widest.max(line.width());
        let rest = widest - line.width();
        let _ = write!(std::io::stderr().lock(), "\r{line}{:rest$}", "");
    }
    if widest > 0 {
        let _ = write!(std::io::stderr().lock(), "\r{:widest$}\r", "");
    }
}

impl Drop for Shown {
    fn drop(&mut self) {
        drop(self.end.take());
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
    }
}

/// A line without the end that nobody would read.
fn short(line: &str) -> String {
    match line.char_indices().nth(MOST_OF_A_LINE) {
        Some((end, _)) => format!("{} ...", &line[..end]),
        None => line.to_owned(),
    }
}
