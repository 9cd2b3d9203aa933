//! Finds the row of a sheet by one or two key columns, through a table of all pairs.
//!
//! Reference sheets are small, so the table of all pairs is; a search is one read.

use crate::table::ABSENT;
use crate::table::Values;

/// The largest table of pairs that is built; beyond it a search finds nothing.
const MOST_PAIRS: usize = 1 << 26;

/// A table from key rows to the row that holds them.
#[derive(Debug, Default, Clone)]
pub struct Finder {
    first: usize,
    second: usize,
    rows: Vec<u32>,
}

impl Finder {
    /// Builds the table from key columns; of several rows with the same keys the last one wins,
    /// so that a person's row beats a built-in one.
    ///
    /// `keys` holds for each key the row every row points to, `sizes` how many there can be, `rows`
    /// the rows in the order that a person sees: where they are stored must make no difference.
    pub fn build(
        keys: &[&Values<u32>],
        sizes: &[usize],
        rows: impl Iterator<Item = usize>,
    ) -> Self {
        let (first, second) = match sizes {
            [one] => (*one, 1),
            [one, two] => (*one, *two),
            _ => (0, 0),
        };
        let mut finder = Self {
            first,
            second,
            rows: Vec::new(),
        };
        if first.saturating_mul(second) > MOST_PAIRS {
            return finder;
        }
        finder.rows = vec![ABSENT; first * second];
        let n_rows = keys.first().map_or(0, |key| key.len());
        for row in rows.filter(|row| *row < n_rows) {
            let second_key = keys.get(1).map_or(0, |key| key[row]);
            if let Some(at) = finder.place(keys[0][row], second_key) {
                finder.rows[at] = u32::try_from(row).unwrap_or(ABSENT);
            }
        }
        finder
    }

    /// The row with these keys, or absent.
    #[inline(always)]
    pub fn find(&self, first: u32, second: u32) -> u32 {
        self.place(first, second)
            .and_then(|at| self.rows.get(at))
            .copied()
            .unwrap_or(ABSENT)
    }

    /// Whether no search finds anything.
    pub fn is_empty(&self) -> bool {
        self.rows.iter().all(|row| *row == ABSENT)
    }

    #[inline(always)]
    fn place(&self, first: u32, second: u32) -> Option<usize> {
        let (first, second) = (first as usize, second as usize);
        (first < self.first && second < self.second).then(|| first * self.second + second)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Each pair of keys is found where it stands, the last row of equal ones, and no other pair.
    #[test]
    fn a_pair_of_keys_gives_the_last_live_row_that_holds_it() {
        let first = vec![0, 1, 1, 2, ABSENT, 0, 2].into();
        let second = vec![0, 3, 3, 1, 2, 2, 0].into();
        let finder = Finder::build(&[&first, &second], &[2, 3], 0..6);
        let mut found = Vec::new();
        for (a, b) in (0..4).flat_map(|a| (0..5).map(move |b| (a, b))) {
            if finder.find(a, b) != ABSENT {
                found.push((a, b, finder.find(a, b)));
            }
        }
        // Keys beyond the sizes are of no row: the third row of two, the fourth of three.
        assert_eq!(found, [(0, 0, 0), (0, 2, 5)]);
        assert!(!finder.is_empty());
        let one = Finder::build(&[&first], &[3], 0..3);
        assert_eq!(
            [0, 1, 2, 3].map(|key| one.find(key, 0)),
            [0, 2, ABSENT, ABSENT]
        );
        assert_eq!(one.find(0, 1), ABSENT, "there is one key alone");
        assert!(Finder::build(&[&first], &[3], 0..0).is_empty());
    }

    #[test]
    fn a_table_of_pairs_beyond_its_limit_finds_nothing() {
        let keys = vec![1].into();
        for sizes in [[2, MOST_PAIRS / 2 + 1], [usize::MAX, 2]] {
            let finder = Finder::build(&[&keys, &keys], &sizes, 0..1);
            assert_eq!(finder.find(1, 1), ABSENT);
        }
    }
}
