//! Columns of one sheet computed together, chunk by chunk.
//!
//! Columns that have one value for all rows are computed once. Of the others many turn out to hold
//! the same in every row as well: flags of checks that nothing breaks, texts that come to the same.
//! A few rows tell which those may be; the rows of a chunk are then computed as if they were, and
//! what is not as guessed is computed from its whole formula. So nothing depends on a guess but
//! time and memory. Single rows are computed in `recalc.rs`.

use super::Engine;
use super::fold::{Folded, folded};
use super::recalc::piece;
use super::run::{Chunk, Inputs, Piece, Scratch, Slots, narrow_flag, run, run_slot, with_scratch};
use crate::formula::program::Program;
use crate::plan::Plan;
use crate::table::{ABSENT, Column, ColumnId, Value, Values};
use rayon::iter::{IntoParallelRefMutIterator, ParallelIterator};
use std::sync::Arc;

/// Below so many rows a guess costs more than it saves.
const LEAST_GUESSED: usize = 2048;

/// So many runs of rows are computed for a guess, spread over the sheet.
const N_SAMPLES: usize = 4;

/// Rows in each of them.
const SAMPLE: usize = 64;

/// Columns of a sheet whose rows are not known to have one value.
struct Together {
    columns: Vec<ColumnId>,
    /// What computes each of them from the columns that are ready and those before it.
    programs: Vec<Arc<Program>>,
    /// For each column of the graph its place among them.
    slots: Vec<u32>,
}

/// What is computed where guesses hold.
struct Guesses {
    /// For each of the columns what all its rows may hold.
    values: Vec<Option<Column>>,
    /// The programs with what is guessed put in; none where nothing is left to compute.
    programs: Vec<Option<Arc<Program>>>,
    /// Places of columns that are not guessed.
    slots: Vec<u32>,
    /// For each of the columns those before it, among the guessed ones, that it reads.
    reads: Vec<Vec<usize>>,
}

/// The rows of a column, from one on, that are not as guessed.
struct Differing {
    slot: usize,
    first: usize,
    values: Column,
}

impl Engine {
    /// Runs the programs of columns of one sheet chunk by chunk, all columns of a chunk together,
    /// so that inputs are read once and results are read back from the cache.
    pub(super) fn run_together(&mut self, plan: &Plan, columns: &[ColumnId]) {
        let Some(first) = columns.first() else { return };
        let n_rows = plan.rows(self.graph.nodes[first.at()].sheet).n_stored();
        if n_rows == 0 {
            columns
                .iter()
                .for_each(|column| self.trace_whole(*column, 0));
            return;
        }
        let together = self.differing(plan, columns, n_rows);
        if together.columns.is_empty() {
            return;
        }
        let mut taken: Vec<Column> = together
            .columns
            .iter()
            .map(|column| self.take_values(*column))
            .collect();
        let guesses = self.guessed(plan, &together, &taken, n_rows);
        self.run_chunks(plan, &together, guesses.as_ref(), &mut taken, n_rows);
        for (column, values) in together.columns.iter().zip(taken) {
            self.values[column.at()] = values;
            self.trace_whole(*column, n_rows);
        }
    }

    /// Computes the columns that have one value for all rows; gives the others.
    fn differing(&mut self, plan: &Plan, columns: &[ColumnId], n_rows: usize) -> Together {
        let mut together = Together {
            columns: Vec::new(),
            programs: Vec::new(),
            slots: vec![ABSENT; self.graph.nodes.len()],
        };
        for column in columns {
            let Some(program) = self.graph.nodes[column.at()].program() else {
                continue;
            };
            match self.folded(plan, program, &together.slots) {
                Folded::Number(value) => self.put_number(*column, value, n_rows),
                Folded::Code(code) => {
                    self.values[column.at()] = Column::Codes(Values::same(code, n_rows));
                    self.trace_whole(*column, 1);
                }
                Folded::Rows(program) => {
                    together.slots[column.at()] = together.columns.len() as u32;
                    together.columns.push(*column);
                    together.programs.push(program);
                }
            }
        }
        together
    }

    fn folded(&self, plan: &Plan, program: &Arc<Program>, slots: &Slots) -> Folded {
        with_scratch(|scratch| folded(program, self.inputs(plan), slots, scratch))
    }

    /// Guesses columns from a few rows and keeps what was guessed as their values; none where
    /// nothing is to be gained.
    fn guessed(
        &mut self,
        plan: &Plan,
        together: &Together,
        kinds: &[Column],
        n_rows: usize,
    ) -> Option<Guesses> {
        if n_rows < LEAST_GUESSED {
            return None;
        }
        let samples = self.samples(plan, together, kinds, n_rows);
        let values: Vec<Option<Column>> = samples
            .into_iter()
            .map(|sample| sample.narrowed().of_one(n_rows))
            .collect();
        if values.iter().all(Option::is_none) {
            return None;
        }
        let mut slots = together.slots.clone();
        for (column, value) in together.columns.iter().zip(&values) {
            if let Some(value) = value {
                self.values[column.at()] = value.clone();
                slots[column.at()] = ABSENT;
            }
        }
        let programs = together.programs.iter().enumerate().map(|(at, program)| {
            let (is_guess, left) = match self.folded(plan, program, &slots) {
                Folded::Rows(program) => (false, program),
                Folded::Number(number) => {
                    (is_number(values[at].as_ref(), number), Arc::clone(program))
                }
                Folded::Code(code) => (is_code(values[at].as_ref(), code), Arc::clone(program)),
            };
            (!is_guess).then_some(left)
        });
        let programs = programs.collect();
        let reads = together.columns.iter().map(|column| {
            let reads = self.graph.nodes[column.at()].reads.iter();
            let slots = reads.map(|read| together.slots[read.column.at()]);
            let known = slots.filter(|slot| *slot != ABSENT);
            let known = known.map(|slot| slot as usize);
            known.filter(|slot| values[*slot].is_some()).collect()
        });
        let reads = reads.collect();
        Some(Guesses {
            values,
            programs,
            slots,
            reads,
        })
    }

    /// What a few rows of the columns hold.
    fn samples(
        &self,
        plan: &Plan,
        together: &Together,
        kinds: &[Column],
        n_rows: usize,
    ) -> Vec<Column> {
        let mut samples: Vec<Column> = kinds
            .iter()
            .map(|kind| kind.alike(N_SAMPLES * SAMPLE))
            .collect();
        let last = n_rows - SAMPLE;
        let firsts = (0..N_SAMPLES).map(|at| last * at / (N_SAMPLES - 1));
        let places = firsts.map(|first| (first, SAMPLE));
        let inputs = self.inputs(plan);
        for mut chunk in cut(&mut samples, SAMPLE, places) {
            with_scratch(|scratch| together.run(inputs, &mut chunk, scratch));
        }
        samples
    }

    /// Computes all rows; what is guessed is set right where it is not as guessed.
    fn run_chunks(
        &self,
        plan: &Plan,
        together: &Together,
        guesses: Option<&Guesses>,
        taken: &mut [Column],
        n_rows: usize,
    ) {
        for (at, column) in taken.iter_mut().enumerate() {
            let own = std::mem::replace(column, Column::of_numbers(Vec::new()));
            *column = match guesses.and_then(|guesses| guesses.values[at].clone()) {
                Some(guess) => guess,
                None => own.room(n_rows),
            };
        }
        let inputs = self.inputs(plan);
        let compute = |chunk: &mut Chunk<'_>| {
            with_scratch(|scratch| match guesses {
                Some(guesses) => together.try_guesses(guesses, inputs, chunk, scratch),
                None => {
                    together.run(inputs, chunk, scratch);
                    Vec::new()
                }
            })
        };
        let mut chunks = chunked(taken, n_rows);
        let differing: Vec<Vec<Differing>> = match chunks.as_mut_slice() {
            [only] => vec![compute(only)],
            several => several.par_iter_mut().map(compute).collect(),
        };
        for one in differing.into_iter().flatten() {
            taken[one.slot].overwrite(one.first, &one.values);
        }
    }
}

impl Together {
    /// Computes the rows of a chunk.
    fn run(&self, inputs: Inputs<'_>, chunk: &mut Chunk<'_>, scratch: &mut Scratch) {
        for (slot, program) in self.programs.iter().enumerate() {
            run_slot(program, inputs, &self.slots, chunk, slot, scratch);
        }
    }

    /// Computes the rows of a chunk with what is guessed; gives columns that are not as guessed.
    fn try_guesses(
        &self,
        guesses: &Guesses,
        inputs: Inputs<'_>,
        chunk: &mut Chunk<'_>,
        scratch: &mut Scratch,
    ) -> Vec<Differing> {
        chunk.own = self.columns.iter().map(|_| None).collect();
        let mut spare = Vec::new();
        for slot in 0..self.columns.len() {
            // What reads a column that is not as guessed takes it from the chunk.
            let is_wrong = |read: &usize| chunk.own[*read].is_some();
            let (program, slots) = match &guesses.programs[slot] {
                _ if guesses.reads[slot].iter().any(is_wrong) => {
                    (&self.programs[slot], &self.slots)
                }
                Some(program) => (program, &guesses.slots),
                None => continue,
            };
            let Some(guess) = &guesses.values[slot] else {
                run_slot(program, inputs, slots, chunk, slot, scratch);
                continue;
            };
            let mut values = room(&mut spare, guess, chunk.len);
            run(
                program,
                inputs,
                slots,
                chunk,
                &mut piece(&mut values),
                scratch,
            );
            match values.is_all(guess) {
                true => spare.push(values),
                false => chunk.own[slot] = Some(values),
            }
        }
        let own = std::mem::take(&mut chunk.own).into_iter().enumerate();
        let differing = own.filter_map(|(slot, values)| {
            let (first, values) = (chunk.first, values?);
            Some(Differing {
                slot,
                first,
                values,
            })
        });
        differing.collect()
    }
}

/// A column with places for the rows of a chunk: one that is not needed any more, if there is any.
fn room(spare: &mut Vec<Column>, kind: &Column, n_rows: usize) -> Column {
    match spare.iter().position(|column| column.is_kind(kind)) {
        Some(at) => spare.swap_remove(at),
        None => kind.alike(n_rows),
    }
}

/// Whether all rows of a column are guessed to have a number.
fn is_number(guess: Option<&Column>, number: f64) -> bool {
    match guess {
        Some(Column::Numbers(values)) => values.one().is_some_and(|one| one.is_same(number)),
        Some(Column::Flags(flags)) => flags.one() == Some(narrow_flag(number)),
        Some(Column::Codes(_)) | None => false,
    }
}

/// Whether all rows of a column are guessed to have a code.
fn is_code(guess: Option<&Column>, code: u32) -> bool {
    guess.is_some_and(|guess| guess.codes().one() == Some(code))
}

/// So many cells of one chunk, all columns together, still lie in the second cache.
const CELLS_AT_ONCE: usize = 1 << 18;

/// Columns cut into chunks of rows; one that has one value for all rows has no piece.
///
/// Sixteen chunks keep two to sixteen workers busy; below 1,024 rows the cost of a chunk shows,
/// above 16,384 its registers leave the cache (both measured).
pub(super) fn chunked(columns: &mut [Column], n_rows: usize) -> Vec<Chunk<'_>> {
    let most = (CELLS_AT_ONCE / columns.len().max(1))
        .next_power_of_two()
        .clamp(1024, 16384);
    let size = (n_rows / 16).next_power_of_two().clamp(1024, most);
    let places = (0..n_rows).step_by(size);
    cut(
        columns,
        size,
        places.map(|first| (first, size.min(n_rows - first))),
    )
}

/// Cuts columns into pieces of so many rows, which are computed for these rows: the first of them,
/// and how many.
fn cut(
    columns: &mut [Column],
    size: usize,
    places: impl Iterator<Item = (usize, usize)>,
) -> Vec<Chunk<'_>> {
    let chunks = places.map(|(first, len)| Chunk {
        pieces: Vec::with_capacity(columns.len()),
        ..Chunk::of_rows(first, len)
    });
    let mut chunks: Vec<Chunk<'_>> = chunks.collect();
    for column in columns {
        match column {
            Column::Numbers(Values::Each(values)) => {
                give(&mut chunks, values.chunks_mut(size).map(Piece::Numbers));
            }
            Column::Flags(Values::Each(flags)) => {
                give(&mut chunks, flags.chunks_mut(size).map(Piece::Flags));
            }
            Column::Codes(Values::Each(codes)) => {
                give(&mut chunks, codes.chunks_mut(size).map(Piece::Codes));
            }
            Column::Numbers(_) | Column::Flags(_) | Column::Codes(_) => {
                let none = chunks.iter().map(|_| Piece::None);
                let none: Vec<Piece<'_>> = none.collect();
                give(&mut chunks, none.into_iter());
            }
        }
    }
    chunks
}

fn give<'a>(chunks: &mut [Chunk<'a>], pieces: impl Iterator<Item = Piece<'a>>) {
    for (chunk, piece) in chunks.iter_mut().zip(pieces) {
        chunk.pieces.push(piece);
    }
}
