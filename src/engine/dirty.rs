//! Which rows of a column may have changed.

/// A set of rows of one column.
#[derive(Debug, Clone, Default, PartialEq)]
pub enum Dirty {
    /// None.
    #[default]
    Clean,
    /// Some, in any order, possibly twice.
    Rows(Vec<u32>),
    /// All.
    All,
}

impl Dirty {
    /// These rows; none where there are none.
    pub fn of(rows: Vec<u32>) -> Self {
        match rows.is_empty() {
            true => Self::Clean,
            false => Self::Rows(rows),
        }
    }

    /// Adds rows.
    pub fn add(&mut self, rows: &[u32]) {
        if rows.is_empty() {
            return;
        }
        match self {
            Self::Clean => *self = Self::Rows(rows.to_vec()),
            Self::Rows(known) => known.extend_from_slice(rows),
            Self::All => {}
        }
    }

    /// Adds another set of rows of the same sheet.
    pub fn join(&mut self, other: &Self) {
        match other {
            Self::Clean => {}
            Self::Rows(rows) => self.add(rows),
            Self::All => *self = Self::All,
        }
    }

    /// Whether no row may have changed.
    pub fn is_clean(&self) -> bool {
        matches!(self, Self::Clean)
    }

    /// The set with its rows sorted and once each; all rows where that is cheaper to compute.
    ///
    /// The limit is where running single rows was measured to cost as much as the whole column.
    #[must_use]
    pub fn settled(self, n_rows: usize) -> Self {
        match self {
            Self::Rows(mut rows) => {
                rows.sort_unstable();
                rows.dedup();
                if rows.len() > n_rows / 24 + 512 {
                    Self::All
                } else {
                    Self::Rows(rows)
                }
            }
            Self::Clean | Self::All => self,
        }
    }
}
