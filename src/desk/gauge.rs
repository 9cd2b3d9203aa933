//! How far something long has come: told by the work, read by whoever waits for it, and where the
//! work is asked to stop.
//!
//! Both doors show it with the same words. It shows nothing itself.

use crate::problem::Problem;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::time::{Duration, Instant};

/// Work is told of when it takes longer than this.
const PATIENCE: Duration = Duration::from_millis(500);

/// What is being done, and how far it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Step {
    /// So many rows of a file were read.
    Read(usize),
    /// So many rows that were read were looked at, of so many.
    Placed(usize, usize),
    /// So many rows were written, of so many.
    Written(usize, usize),
    /// So many rows are put into the plan and computed; how far that is, is not known.
    Computed(usize),
}

/// How far something has come. Shared between the thread that works and the one that shows it.
#[derive(Debug)]
pub struct Gauge {
    begun: Instant,
    /// Which step, counted from 1; 0 before the first.
    step: AtomicUsize,
    rows: AtomicUsize,
    of: AtomicUsize,
    is_stopped: AtomicBool,
}

impl Default for Gauge {
    fn default() -> Self {
        Self {
            begun: Instant::now(),
            step: AtomicUsize::new(0),
            rows: AtomicUsize::new(0),
            of: AtomicUsize::new(0),
            is_stopped: AtomicBool::new(false),
        }
    }
}

impl Gauge {
    /// Notes how far the work is; says whether it is to go on.
    pub fn tell(&self, step: Step) -> bool {
        let (kind, rows, of) = match step {
            Step::Read(rows) => (1, rows, 0),
            Step::Placed(rows, of) => (2, rows, of),
            Step::Written(rows, of) => (3, rows, of),
            Step::Computed(rows) => (4, rows, 0),
        };
        self.of.store(of, Ordering::Relaxed);
        self.rows.store(rows, Ordering::Relaxed);
        self.step.store(kind, Ordering::Relaxed);
        !self.is_stopped()
    }

    /// Asks the work to stop where it can.
    pub fn stop(&self) {
        self.is_stopped.store(true, Ordering::Relaxed);
    }

    /// Whether the work was asked to stop.
    pub fn is_stopped(&self) -> bool {
        self.is_stopped.load(Ordering::Relaxed)
    }

    /// Goes on, unless the work was asked to stop.
    ///
    /// # Errors
    /// That it was stopped.
    pub fn go_on(&self) -> Result<(), Problem> {
        match self.is_stopped() {
            true => Err(stopped()),
            false => Ok(()),
        }
    }

    /// Whether it takes so long that a person wants to know.
    pub fn is_slow(&self) -> bool {
        self.begun.elapsed() >= PATIENCE
    }

    /// How far it is, in words, such as `1200 of 5000 rows written`; empty before the first row.
    pub fn said(&self) -> String {
        let (rows, of) = (
            self.rows.load(Ordering::Relaxed),
            self.of.load(Ordering::Relaxed),
        );
        match self.step.load(Ordering::Relaxed) {
            1 => format!("{rows} rows read"),
            2 => format!("{rows} of {of} rows looked at"),
            3 => format!("{rows} of {of} rows written"),
            4 => format!("{rows} rows being put in and computed"),
            _ => String::new(),
        }
    }
}

/// What is said of work that was stopped.
fn stopped() -> Problem {
    Problem::new("stopped", "it was stopped").help("nothing was changed; begin again when you like")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn it_says_the_last_step_in_words_and_whether_to_go_on() {
        let gauge = Gauge::default();
        assert_eq!(gauge.said(), "");
        assert!(gauge.tell(Step::Read(7)));
        assert_eq!(gauge.said(), "7 rows read");
        assert!(gauge.tell(Step::Placed(7, 20)));
        assert_eq!(gauge.said(), "7 of 20 rows looked at");
        gauge.stop();
        assert!(!gauge.tell(Step::Written(3, 20)));
        assert_eq!(gauge.said(), "3 of 20 rows written");
        gauge.tell(Step::Computed(20));
        assert_eq!(gauge.said(), "20 rows being put in and computed");
    }
}
