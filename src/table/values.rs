//! The values of one column: one for each row, or one that all rows have.
//!
//! Most columns of most plans hold the same in every row, mostly nothing; those take no memory
//! and no time however many rows there are. What the values mean is not known here.

use std::ops::Index;

/// A value of a column, compared by its bits: an absent number is the same as another.
pub trait Value: Copy + Send + Sync + 'static {
    /// Whether two values are the same, bit by bit.
    fn is_same(self, other: Self) -> bool;
}

impl Value for f64 {
    #[inline(always)]
    fn is_same(self, other: Self) -> bool {
        self.to_bits() == other.to_bits()
    }
}

impl Value for u8 {
    #[inline(always)]
    fn is_same(self, other: Self) -> bool {
        self == other
    }
}

impl Value for u32 {
    #[inline(always)]
    fn is_same(self, other: Self) -> bool {
        self == other
    }
}

/// The values of a column by place in storage.
#[derive(Debug, Clone)]
pub enum Values<T> {
    /// One value for each row.
    Each(Vec<T>),
    /// One value that all rows have.
    Same {
        /// The value.
        value: T,
        /// How many rows have it.
        n_rows: usize,
    },
}

impl<T: Value> Values<T> {
    /// So many rows of one value.
    pub fn same(value: T, n_rows: usize) -> Self {
        Self::Same { value, n_rows }
    }

    /// How many rows there are.
    #[inline]
    pub fn len(&self) -> usize {
        match self {
            Self::Each(each) => each.len(),
            Self::Same { n_rows, .. } => *n_rows,
        }
    }

    /// Whether there are no rows.
    #[inline]
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }

    /// The value of a row; none beyond the last.
    #[inline(always)]
    pub fn get(&self, row: usize) -> Option<&T> {
        match self {
            Self::Each(each) => each.get(row),
            Self::Same { value, n_rows } => (row < *n_rows).then_some(value),
        }
    }

    /// The value that all rows have, where it is kept once; values that are only equal give none.
    #[inline]
    pub fn one(&self) -> Option<T> {
        match self {
            Self::Each(_) => None,
            Self::Same { value, .. } => Some(*value),
        }
    }

    /// All values in the order of storage.
    pub fn iter(&self) -> impl Iterator<Item = &T> + Clone {
        let (each, one, n_rows) = match self {
            Self::Each(each) => (each.as_slice(), None, 0),
            Self::Same { value, n_rows } => (&[][..], Some(value), *n_rows),
        };
        let same = one
            .into_iter()
            .flat_map(move |one| std::iter::repeat_n(one, n_rows));
        each.iter().chain(same)
    }

    /// The values of the rows, each in a place of its own from now on.
    pub fn spread(&mut self) -> &mut Vec<T> {
        if let Self::Same { value, n_rows } = self {
            *self = Self::Each(vec![*value; *n_rows]);
        }
        match self {
            Self::Each(each) => each,
            Self::Same { .. } => unreachable!("it was spread just now"),
        }
    }

    /// Writes the value of a row; a value that is there already takes no memory.
    ///
    /// # Panics
    /// For a row beyond the last.
    pub fn set(&mut self, row: usize, value: T) {
        if !self[row].is_same(value) {
            self.spread()[row] = value;
        }
    }

    /// Whether all rows have the one value that others keep for all of theirs.
    pub fn is_all(&self, other: &Self) -> bool {
        let Some(one) = other.one() else {
            return false;
        };
        match self {
            Self::Same { value, .. } => value.is_same(one),
            // Without an end before the last of a run, so that many are compared at once.
            Self::Each(each) => each
                .chunks(64)
                .all(|run| run.iter().fold(true, |all, value| all & value.is_same(one))),
        }
    }

    /// Writes other values over those from a row on.
    ///
    /// # Panics
    /// For rows beyond the last.
    pub fn overwrite(&mut self, first: usize, with: &Self) {
        let into = &mut self.spread()[first..first + with.len()];
        match with {
            Self::Each(each) => into.copy_from_slice(each),
            Self::Same { value, .. } => into.fill(*value),
        }
    }

    /// Grows or shrinks to so many rows with this value in new ones.
    pub fn resize(&mut self, n_rows: usize, fill: T) {
        match self {
            Self::Same { value, n_rows: n } if value.is_same(fill) || n_rows <= *n => *n = n_rows,
            Self::Same { n_rows: 0, .. } => *self = Self::same(fill, n_rows),
            Self::Same { .. } => self.spread().resize(n_rows, fill),
            Self::Each(each) if each.is_empty() => *self = Self::same(fill, n_rows),
            Self::Each(each) => each.resize(n_rows, fill),
        }
    }

    /// Grows to so many rows. Where all rows have one value the new ones have it as well, else
    /// they are filled: for whoever computes the new rows at once.
    pub fn grow(&mut self, n_rows: usize, fill: T) {
        match self {
            Self::Same { n_rows: n, .. } => *n = n_rows.max(*n),
            Self::Each(each) => each.resize(n_rows.max(each.len()), fill),
        }
    }

    /// The same values, kept once where all are the same.
    #[must_use]
    pub fn narrowed(self) -> Self {
        let Self::Each(each) = &self else {
            return self;
        };
        match each.split_first() {
            Some((first, rest)) if rest.iter().all(|value| value.is_same(*first)) => {
                Self::same(*first, each.len())
            }
            Some(_) | None => self,
        }
    }
}

impl<T> Default for Values<T> {
    fn default() -> Self {
        Self::Each(Vec::new())
    }
}

impl<T> From<Vec<T>> for Values<T> {
    fn from(each: Vec<T>) -> Self {
        Self::Each(each)
    }
}

impl<T: Value> Index<usize> for Values<T> {
    type Output = T;

    #[inline(always)]
    fn index(&self, row: usize) -> &T {
        match self {
            Self::Each(each) => &each[row],
            Self::Same { value, n_rows } => {
                assert!(row < *n_rows, "there is no row {row} of {n_rows}");
                value
            }
        }
    }
}

impl<T: Value> PartialEq for Values<T> {
    /// Whether the rows have the same values, however they are kept.
    fn eq(&self, other: &Self) -> bool {
        match (self, other) {
            (
                Self::Same { value, n_rows },
                Self::Same {
                    value: b,
                    n_rows: n,
                },
            ) => n_rows == n && (*n == 0 || value.is_same(*b)),
            (Self::Each(a), Self::Each(b)) => {
                a.len() == b.len() && a.iter().zip(b).all(|(a, b)| a.is_same(*b))
            }
            _ => {
                self.len() == other.len()
                    && self.iter().zip(other.iter()).all(|(a, b)| a.is_same(*b))
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[derive(Debug, Clone)]
    enum Change {
        Set(usize, u8),
        Resize(usize, u8),
        Spread,
        Narrow,
    }

    fn change() -> impl Strategy<Value = Change> {
        prop_oneof![
            (0..9_usize, 0..2_u8).prop_map(|(row, value)| Change::Set(row, value)),
            (0..9_usize, 0..2_u8).prop_map(|(n_rows, fill)| Change::Resize(n_rows, fill)),
            Just(Change::Spread),
            Just(Change::Narrow),
        ]
    }

    proptest! {
        #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

        #[test]
        fn values_are_those_of_a_plain_list(changes in prop::collection::vec(change(), 0..20)) {
            let (mut values, mut plain) = (Values::<u8>::default(), Vec::new());
            for change in changes {
                match change {
                    Change::Set(row, value) if row < plain.len() => {
                        values.set(row, value);
                        plain[row] = value;
                    }
                    Change::Set(..) => prop_assert_eq!(values.get(plain.len()), None),
                    Change::Resize(n_rows, fill) => {
                        values.resize(n_rows, fill);
                        plain.resize(n_rows, fill);
                    }
                    Change::Spread => prop_assert_eq!(&*values.spread(), &plain),
                    Change::Narrow => values = values.narrowed(),
                }
                prop_assert_eq!(values.iter().copied().collect::<Vec<_>>(), plain.clone());
                prop_assert_eq!(&values, &Values::from(plain.clone()));
                prop_assert_eq!(values.len(), plain.len());
            }
        }
    }

    #[test]
    fn what_is_there_already_takes_no_memory() {
        let mut values = Values::same(f64::NAN, 1_000_000);
        values.set(999_999, f64::NAN);
        assert!(values.one().is_some());
        values.set(7, 1.0);
        assert_eq!((values.one(), values[7]), (None, 1.0));
    }
}
