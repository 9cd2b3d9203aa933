//! What is known about a text that is being typed: problems, what it would give, what it may mean.
//!
//! Made anew after each key, without a width; `entry/mod.rs` lays it out.

use super::offers::Offer;
use crate::problem::Problem;
use crate::screen::page::Line;
use crate::screen::theme::Tone;

/// What stands under the line.
#[derive(Debug, Clone, Default)]
pub(super) struct Advice {
    /// What is wrong with the text; places are bytes of it.
    pub problems: Vec<Problem>,
    /// Whether the problems wait for the person to go on: a beginning of a word is not wrong yet.
    pub patient: bool,
    /// What the text means and gives.
    pub told: Vec<Told>,
    /// What may be meant, best first.
    pub offers: Vec<Offer>,
    /// Whether the offers come from a part of the words only.
    pub partly: bool,
}

/// Something that is told under the line.
#[derive(Debug, Clone)]
pub(super) enum Told {
    /// A paragraph, broken where the screen ends.
    Text(String, Tone),
    /// A line that is cut there.
    Line(Line),
}

impl Advice {
    /// Adds a paragraph.
    pub fn tell(&mut self, text: impl Into<String>, tone: Tone) {
        self.told.push(Told::Text(text.into(), tone));
    }

    /// The advice with one paragraph in a quiet tone.
    pub fn of(text: impl Into<String>) -> Self {
        let mut advice = Self::default();
        advice.tell(text, Tone::Quiet);
        advice
    }
}

/// The problem with its marks moved along by bytes of the text before it.
pub(super) fn moved(mut problem: Problem, by: usize, whole: &str) -> Problem {
    if let Some(place) = &mut problem.place {
        whole.clone_into(&mut place.source);
        for label in &mut place.labels {
            label.span = label.span.start + by..label.span.end + by;
        }
    }
    problem
}
