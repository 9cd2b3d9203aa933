//! Counts cable ends that name the same place, such as a port of a switch used twice, or sums a
//! column over the rows that name it.
//!
//! A place is a pair of texts without regard to case; a row may name several, for a sum one.

use crate::table::{ABSENT, MISSING, NamesView, Values, stored};
use rustc_hash::{FxHashMap, FxHashSet};

/// Every place with the rows that name it.
#[derive(Debug, Default, Clone)]
pub struct Places {
    /// Place and row, sorted; a row that names a place twice stands twice.
    sorted: Vec<(u64, u32)>,
    /// Rows of places that changed since `sorted` was made.
    edited: FxHashMap<u64, Vec<u32>>,
    /// The places each row was last seen to name.
    named: Vec<[u64; 2]>,
}

/// The place of a row that names none.
const NOWHERE: u64 = u64::MAX;

/// The columns that name places: for each end the codes of device and port.
pub type Ends<'a> = [(&'a Values<u32>, &'a Values<u32>)];

impl Places {
    /// Whether no row names a place.
    pub fn is_empty(&self) -> bool {
        self.named.is_empty()
    }

    /// Builds the table of all rows that count.
    pub fn build(ends: &Ends<'_>, counts: impl Fn(usize) -> bool, view: &NamesView<'_>) -> Self {
        let n_rows = ends.first().map_or(0, |(names, _)| names.len());
        let mut places = Self::default();
        let is_blank = |end: &(&Values<u32>, &Values<u32>)| {
            end.0.one() == Some(ABSENT) || end.1.one() == Some(ABSENT)
        };
        if ends.iter().all(is_blank) {
            return places;
        }
        for row in (0..n_rows).filter(|row| counts(*row)) {
            let named = named(ends, row, view);
            if named == [NOWHERE; 2] {
                continue;
            }
            if places.named.is_empty() {
                places.named = vec![[NOWHERE; 2]; n_rows];
            }
            places.named[row] = named;
            for place in named.into_iter().filter(|place| *place != NOWHERE) {
                places.sorted.push((place, row as u32));
            }
        }
        rayon::slice::ParallelSliceMut::par_sort_unstable(places.sorted.as_mut_slice());
        places
    }

    /// Notes what a row names now; gives the rows whose count may have changed.
    pub fn renamed(
        &mut self,
        row: usize,
        ends: &Ends<'_>,
        counts: bool,
        view: &NamesView<'_>,
    ) -> Vec<u32> {
        if self.named.len() <= row {
            self.named.resize(row + 1, [NOWHERE; 2]);
        }
        let now = if counts {
            named(ends, row, view)
        } else {
            [NOWHERE; 2]
        };
        let before = std::mem::replace(&mut self.named[row], now);
        if before == now {
            return Vec::new();
        }
        let mut touched = vec![row as u32];
        for place in before.into_iter().filter(|place| *place != NOWHERE) {
            let rows = self.edit(place);
            if let Some(at) = rows.iter().position(|known| *known == row as u32) {
                rows.remove(at);
            }
            touched.extend_from_slice(rows);
        }
        for place in now.into_iter().filter(|place| *place != NOWHERE) {
            let rows = self.edit(place);
            touched.extend_from_slice(rows);
            rows.push(row as u32);
        }
        touched.sort_unstable();
        touched.dedup();
        touched
    }

    /// The counts of all rows at once, as [`Self::shared`] gives them one by one, while nothing
    /// was edited since the table was built.
    pub fn all_shared(&self) -> Vec<f64> {
        let mut counts = vec![MISSING; self.named.len()];
        for run in self.sorted.chunk_by(|a, b| a.0 == b.0) {
            let others = run.len() as f64 - 1.0;
            for (_, row) in run {
                let count = &mut counts[*row as usize];
                *count = count.max(others);
            }
        }
        counts
    }

    /// How many other cable ends share the busiest place of a row; missing where it names none.
    pub fn shared(&self, row: usize) -> f64 {
        let places = self.named.get(row).copied().unwrap_or([NOWHERE; 2]);
        let given = places.into_iter().filter(|place| *place != NOWHERE);
        given
            .map(|place| self.count(place))
            .max()
            .map_or(MISSING, |count| count as f64 - 1.0)
    }

    /// The sums of all rows at once, as [`Self::summed`] gives them, while nothing was edited since
    /// the table was built.
    pub fn all_summed(&self, values: &Values<f64>, rank: &[u32]) -> Vec<f64> {
        let mut sums = vec![MISSING; self.named.len()];
        for run in self.sorted.chunk_by(|a, b| a.0 == b.0) {
            let rows: Vec<u32> = run.iter().map(|(_, row)| *row).collect();
            let sum = sum_in_order(rows.clone(), values, rank);
            rows.iter().for_each(|row| sums[*row as usize] = sum);
        }
        sums
    }

    /// The sum over the place of each of some rows, for all rows of that place; missing for a row
    /// that names none. Rows are added in the order the person sees, so the bits are always the
    /// same.
    pub fn summed(&self, rows: &[u32], values: &Values<f64>, rank: &[u32]) -> Vec<(u32, f64)> {
        let mut done = FxHashSet::default();
        let mut sums = Vec::new();
        for row in rows {
            let place = self.named.get(*row as usize).map_or(NOWHERE, |of| of[0]);
            if place == NOWHERE {
                sums.push((*row, MISSING));
            } else if done.insert(place) {
                let members = self.rows_at(place);
                let sum = sum_in_order(members.clone(), values, rank);
                sums.extend(members.into_iter().map(|row| (row, sum)));
            }
        }
        sums.sort_unstable_by_key(|(row, _)| *row);
        sums
    }

    fn rows_at(&self, place: u64) -> Vec<u32> {
        match self.edited.get(&place) {
            Some(rows) => rows.clone(),
            None => self.sorted[self.range(place)]
                .iter()
                .map(|(_, row)| *row)
                .collect(),
        }
    }

    fn count(&self, place: u64) -> usize {
        match self.edited.get(&place) {
            Some(rows) => rows.len(),
            None => self.range(place).len(),
        }
    }

    fn range(&self, place: u64) -> std::ops::Range<usize> {
        let start = self.sorted.partition_point(|(known, _)| *known < place);
        let len = self.sorted[start..]
            .iter()
            .take_while(|(known, _)| *known == place)
            .count();
        start..start + len
    }

    fn edit(&mut self, place: u64) -> &mut Vec<u32> {
        if !self.edited.contains_key(&place) {
            let rows = self.rows_at(place);
            self.edited.insert(place, rows);
        }
        self.edited.entry(place).or_default()
    }
}

/// The sum of a column over rows, added in the order of their ranks.
fn sum_in_order(mut rows: Vec<u32>, values: &Values<f64>, rank: &[u32]) -> f64 {
    rows.sort_unstable_by_key(|row| rank[*row as usize]);
    stored(rows.iter().map(|row| values[*row as usize]).sum())
}

/// The places a row names, at most two.
fn named(ends: &Ends<'_>, row: usize, view: &NamesView<'_>) -> [u64; 2] {
    let mut named = [NOWHERE; 2];
    for (slot, (names, ports)) in named.iter_mut().zip(ends) {
        let (name, port) = (view.folded(names[row]), view.folded(ports[row]));
        if name != ABSENT && port != ABSENT {
            *slot = u64::from(name) << 32 | u64::from(port);
        }
    }
    named
}
