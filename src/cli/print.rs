//! The one place that writes to the terminal.
//!
//! A closed pipe is a success: whoever reads has seen enough. Texts from a plan are cleaned
//! before they get here or, for whole lines, here.

use crate::problem::Problem;
use crate::problem::render;
use std::io::{IsTerminal, Write};
use unicode_width::UnicodeWidthStr;

/// What is printed, and whether in colour.
#[derive(Debug)]
pub struct Printer {
    coloured: bool,
    coloured_errors: bool,
    open: bool,
}

impl Printer {
    /// Colour only on a terminal, and only where the person has not said no.
    pub fn new() -> Self {
        let wanted = std::env::var_os("NO_COLOR").is_none_or(|value| value.is_empty());
        Self {
            coloured: wanted && std::io::stdout().is_terminal(),
            coloured_errors: wanted && std::io::stderr().is_terminal(),
            open: true,
        }
    }

    /// Whether words may be coloured.
    pub fn is_coloured(&self) -> bool {
        self.coloured
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
        if self.open && std::io::stdout().lock().write_all(text.as_bytes()).is_err() {
            self.open = false;
        }
    }

    /// Sends everything on; after a closed pipe there is nothing to send.
    pub fn finish(&mut self) {
        if self.open && std::io::stdout().lock().flush().is_err() {
            self.open = false;
        }
    }

    /// Writes a problem to the error stream, whole.
    pub fn problem(&self, problem: &Problem) {
        // Nobody is left to tell when the error stream is closed too.
        let _ = writeln!(
            std::io::stderr().lock(),
            "{}",
            render(problem, self.coloured_errors)
        );
    }

    /// Writes a remark to the error stream: one line and its next steps.
    pub fn remark(&self, problem: &Problem) {
        let mut stderr = std::io::stderr().lock();
        let place = problem
            .place
            .as_ref()
            .map_or(String::new(), |place| format!("{}: ", place.origin));
        let _ = writeln!(
            stderr,
            "note: {}",
            crate::problem::clean(&format!("{place}{}", problem.message))
        );
        for step in &problem.help {
            let _ = writeln!(stderr, "      {}", crate::problem::clean(step));
        }
    }
}
