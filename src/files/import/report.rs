//! What an import tells: readings, cells it could not read, rows it set aside.
//!
//! Collected here, shown elsewhere; the same thing in many rows is told once with their numbers.

use crate::problem::several;
use indexmap::IndexMap;
use rustc_hash::FxBuildHasher;
use std::fmt;

/// So many row numbers are listed with a note; the others are counted.
const MAX_NUMBERS: usize = 6;

/// So many different notes of a kind are listed; the others are counted.
const MAX_NOTES: usize = 200;

/// A row of the source that became no link.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SetAside {
    /// Its number, the first row of the page being one.
    pub row: usize,
    /// Why.
    pub reason: Reason,
    /// What stands in it, as much as fits a line.
    pub text: String,
}

/// Why a row was set aside.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Reason {
    /// There is nothing in it.
    Empty,
    /// It stands above the headings.
    Above,
    /// It has fewer cells than headings and no id.
    Short {
        /// Its cells.
        n_cells: usize,
        /// The headings.
        n_headings: usize,
    },
    /// It names no link and no end.
    Nameless,
    /// It is the heading of a section or a remark.
    Section,
    /// It sums up others.
    Total,
    /// It holds the headings again.
    Headings,
    /// It was hidden, and hidden rows are left out.
    Hidden,
    /// Its cells stand beside the table.
    Beside,
}

impl fmt::Display for Reason {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Empty => f.write_str("empty"),
            Self::Above => f.write_str("above the headings"),
            Self::Short {
                n_cells,
                n_headings,
            } => write!(f, "{n_cells} cells of {n_headings} and no id"),
            Self::Nameless => f.write_str("names no link and no end"),
            Self::Section => f.write_str("a section or a remark"),
            Self::Total => f.write_str("a total"),
            Self::Headings => f.write_str("the headings again"),
            Self::Hidden => f.write_str("hidden, left out as you say"),
            Self::Beside => f.write_str("beside the table"),
        }
    }
}

/// Rows that were set aside, one line for each or for several alike that follow each other.
pub fn aside_lines(aside: &[SetAside]) -> Vec<String> {
    let mut lines: Vec<(usize, usize, &SetAside)> = Vec::new();
    for row in aside {
        match lines.last_mut() {
            Some((_, last, first))
                if *last + 1 == row.row
                    && first.reason == row.reason
                    && (row.text.is_empty() || row.text == first.text)
                    && (first.text.is_empty() || row.text == first.text) =>
            {
                *last = row.row;
            }
            Some(_) | None => lines.push((row.row, row.row, row)),
        }
    }
    let lines = lines.into_iter().map(|(first, last, row)| {
        let rows = match first == last {
            true => format!("row {first}"),
            false => format!("rows {first} to {last}"),
        };
        let text = match row.text.is_empty() {
            true => String::new(),
            false => format!(" (`{}`)", row.text),
        };
        format!("{rows} set aside: {}{text}", row.reason)
    });
    lines.collect()
}

/// What is told, each sentence once, in the order in which it came up.
type Told<T> = IndexMap<String, T, FxBuildHasher>;

/// The notes of an import while it runs.
#[derive(Debug, Default)]
pub(super) struct Report {
    notes: Vec<String>,
    /// What was read, as what, and in how many rows.
    readings: Told<usize>,
    wrong: Told<Numbers>,
    twice: Told<Numbers>,
    /// Other things that are told with the rows they are in.
    listed: Told<Numbers>,
    set_aside: Vec<SetAside>,
}

impl Report {
    /// Adds a sentence.
    pub(super) fn note(&mut self, note: String) {
        self.notes.push(note);
    }

    /// What is told of a word of a column that was read as something else.
    pub(super) fn reading(column: &str, word: &str, read_as: &str) -> String {
        format!("{column} `{word}` read as {read_as}")
    }

    /// A word was read as something else in one more row.
    pub(super) fn read(&mut self, reading: &str) {
        match self.readings.get_mut(reading) {
            Some(n) => *n += 1,
            None => drop(self.readings.insert(reading.to_owned(), 1)),
        }
    }

    /// A cell was kept because it could not be read or is not known.
    pub(super) fn kept(&mut self, column: &str, text: &str, why: &str, row: usize) {
        let kept = format!("{column} `{text}` {why}, kept as it is");
        add(&mut self.wrong, &kept, row, Stage::Cells);
    }

    /// An id that another row or the plan already has.
    pub(super) fn twice(&mut self, id: &str, row: usize) {
        let twice = format!(
            "id `{id}` is not the only one, all are kept; --tell-apart makes `{id}-2` of the next"
        );
        add(&mut self.twice, &twice, row, Stage::Cells);
    }

    /// An id that another row or the plan already has got a number.
    pub(super) fn parted(&mut self, id: &str, given: &str, row: usize) {
        let parted = format!("id `{id}` is not the only one, this one comes as `{given}`");
        add(&mut self.twice, &parted, row, Stage::Cells);
    }

    /// Something that is told once with the rows it is in.
    pub(super) fn at(&mut self, what: &str, row: usize) {
        add(&mut self.listed, what, row, Stage::Cells);
    }

    /// The same of the row as a whole, told behind what is told of its cells.
    pub(super) fn after(&mut self, what: &str, row: usize) {
        add(&mut self.listed, what, row, Stage::Row);
    }

    /// The same, told last.
    pub(super) fn at_the_end_of(&mut self, what: &str, row: usize) {
        add(&mut self.listed, what, row, Stage::End);
    }

    /// Takes in what was told of the rows that follow.
    pub(super) fn append(&mut self, later: Self) {
        self.notes.extend(later.notes);
        for (reading, n) in later.readings {
            *self.readings.entry(reading).or_default() += n;
        }
        for (all, later) in [
            (&mut self.wrong, later.wrong),
            (&mut self.twice, later.twice),
            (&mut self.listed, later.listed),
        ] {
            for (what, numbers) in later {
                match all.get_mut(&what) {
                    Some(known) => known.append(&numbers),
                    None => drop(all.insert(what, numbers)),
                }
            }
        }
        self.set_aside.extend(later.set_aside);
    }

    /// A row became no link.
    pub(super) fn set_aside(&mut self, row: usize, reason: Reason, text: String) {
        self.set_aside.push(SetAside { row, reason, text });
    }

    /// All notes in order, and the rows set aside.
    pub(super) fn finish(mut self) -> (Vec<String>, Vec<SetAside>) {
        self.listed.sort_by(|_, a, _, b| a.begun.cmp(&b.begun));
        let readings = self.readings.into_iter();
        let readings =
            readings.map(|(reading, n)| format!("{reading} ({})", several(n, "row", "rows")));
        extend(&mut self.notes, readings, "words were read as another");
        for (kept, what) in [
            (self.wrong, "cells were kept as they are"),
            (self.twice, "ids are not the only ones"),
            (self.listed, "remarks on cells"),
        ] {
            let kept = kept.into_iter();
            let kept = kept.map(|(note, numbers)| format!("{note} ({numbers})"));
            extend(&mut self.notes, kept, what);
        }
        (self.notes, self.set_aside)
    }
}

/// Adds notes up to the limit and counts the others.
fn extend(notes: &mut Vec<String>, more: impl ExactSizeIterator<Item = String>, what: &str) {
    let n_more = more.len().saturating_sub(MAX_NOTES);
    notes.extend(more.take(MAX_NOTES));
    if n_more > 0 {
        notes.push(format!("{n_more} more {what}"));
    }
}

/// What of a row something is told of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Stage {
    Cells,
    Row,
    End,
}

/// Row numbers, the first ones in full.
#[derive(Debug)]
struct Numbers {
    /// When it was first told, whatever was found first.
    begun: (usize, Stage),
    first: Vec<usize>,
    n_more: usize,
}

fn add(all: &mut Told<Numbers>, what: &str, row: usize, stage: Stage) {
    if let Some(numbers) = all.get_mut(what) {
        return numbers.add(row);
    }
    let numbers = Numbers {
        begun: (row, stage),
        first: vec![row],
        n_more: 0,
    };
    all.insert(what.to_owned(), numbers);
}

impl Numbers {
    /// Takes in rows that follow.
    fn append(&mut self, later: &Self) {
        later.first.iter().for_each(|row| self.add(*row));
        self.n_more += later.n_more;
    }

    fn add(&mut self, row: usize) {
        if self.first.len() < MAX_NUMBERS {
            self.first.push(row);
        } else {
            self.n_more += 1;
        }
    }
}

impl fmt::Display for Numbers {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let list: Vec<String> = self.first.iter().map(ToString::to_string).collect();
        let word = if list.len() > 1 { "rows" } else { "row" };
        write!(f, "{word} {}", list.join(", "))?;
        if self.n_more > 0 {
            write!(f, " and {} more", self.n_more)?;
        }
        Ok(())
    }
}
