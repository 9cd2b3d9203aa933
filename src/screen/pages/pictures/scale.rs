//! A scale of numbers over a number of cells, and strips of marks along it.

use crate::screen::pages::lay::Piece;
use crate::screen::pages::lay::piece;
use crate::screen::theme::Glyph;
use crate::screen::theme::Theme;
use crate::screen::theme::Tone;

/// Cells from one number under a scale to the next, at least.
const APART: usize = 7;

/// Numbers from left to right.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Scale {
    from: f64,
    to: f64,
    cells: usize,
}

impl Scale {
    /// A scale from one number to a greater one.
    pub fn new(from: f64, to: f64, cells: usize) -> Self {
        let cells = cells.max(1);
        Self { from, to, cells }
    }

    /// How many cells it has.
    pub fn cells(self) -> usize {
        self.cells
    }

    /// The cell of a number; what lies outside stands at the end.
    pub fn at(self, value: f64) -> usize {
        let share = (value - self.from) / (self.to - self.from);
        let last = self.cells - 1;
        // A share that is no number goes to the left end.
        ((share * last as f64).round().max(0.0) as usize).min(last)
    }

    /// A strip with a mark for each cell.
    pub fn strip(self, theme: Theme, mark: impl Fn(usize) -> Option<(Glyph, Tone)>) -> Vec<Piece> {
        let mut pieces: Vec<Piece> = Vec::new();
        for at in 0..self.cells {
            let (text, tone) = match mark(at) {
                Some((glyph, tone)) => (theme.glyph(glyph), tone),
                None => (" ", Tone::Plain),
            };
            match pieces.last_mut() {
                Some((last, same)) if *same == tone => last.push_str(text),
                Some(_) | None => pieces.push(piece(text, tone)),
            }
        }
        pieces
    }

    /// Words in the middle of stretches of cells; a word that is longer than its stretch is left
    /// out.
    pub fn words(self, stretches: &[(usize, usize, &str)]) -> String {
        let mut cells = vec![' '; self.cells];
        for (from, to, word) in stretches {
            let (room, wide) = (to.saturating_sub(*from), word.chars().count());
            if wide > room {
                continue;
            }
            let start = from + (room - wide) / 2;
            for (cell, letter) in cells.iter_mut().skip(start).zip(word.chars()) {
                *cell = letter;
            }
        }
        cells.into_iter().collect()
    }

    /// Round numbers at their cells.
    pub fn numbers(self) -> String {
        let Some(step) = self.step() else {
            return String::new();
        };
        let mut text = String::new();
        let first = (self.from / step).ceil();
        for n in 0..=self.cells / APART {
            let value = (first + n as f64) * step;
            if value > self.to {
                break;
            }
            let number = format!("{:.0}", value + 0.0);
            let start = self.at(value);
            let clear = text.len() < start || text.is_empty();
            if clear && start + number.len() <= self.cells {
                text.push_str(&" ".repeat(start - text.len()));
                text.push_str(&number);
            }
        }
        text
    }

    /// The distance between numbers: 1, 2 or 5 with zeros.
    fn step(self) -> Option<f64> {
        let wanted = (self.to - self.from) * APART as f64 / self.cells as f64;
        let tens = 10_f64.powf(wanted.max(1.0).log10().floor());
        let steps = [1.0, 2.0, 5.0, 10.0].map(|times| times * tens);
        let step = steps.into_iter().find(|step| *step >= wanted);
        step.filter(|step| step.is_finite())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn round_numbers_stand_at_their_cells() {
        let scale = Scale::new(-16.0, 2.0, 37);
        assert_eq!(scale.numbers(), "  -15       -10       -5        0");
        assert_eq!(
            (scale.at(-16.0), scale.at(2.0), scale.at(99.0)),
            (0, 36, 36)
        );
    }

    #[test]
    fn a_word_that_does_not_fit_is_left_out() {
        let scale = Scale::new(0.0, 1.0, 12);
        assert_eq!(
            scale.words(&[(0, 3, "dark"), (4, 12, "much")]),
            "      much  "
        );
    }

    proptest! {
        #[test]
        fn any_numbers_have_a_place(from in any::<f64>(), to in any::<f64>(), value in any::<f64>(), cells in 0_usize..200) {
            let scale = Scale::new(from, to, cells);
            prop_assert!(scale.at(value) < cells.max(1));
            prop_assert!(scale.numbers().len() <= cells.max(1));
        }
    }
}
