//! Which rows belong to which group, and what an aggregate makes of them.
//!
//! Rows of a group always stand in the order the person sees, and a sum always adds them in
//! that order from zero, so its bits depend neither on threads nor on the history of edits.

use crate::formula::program::Gather;
use crate::table::{ABSENT, MISSING, Values};
use rustc_hash::FxHashMap;

/// The rows of each group: a compact table, with edited groups beside it.
#[derive(Debug, Default, Clone)]
pub struct Groups {
    offsets: Vec<u32>,
    rows: Vec<u32>,
    edited: FxHashMap<u32, Vec<u32>>,
}

impl Groups {
    /// Builds the table: `group_of` names the group of each row, `order` the live rows in order.
    pub fn build(
        n_groups: usize,
        group_of: &Values<u32>,
        order: impl Iterator<Item = u32> + Clone,
    ) -> Self {
        if group_of.one() == Some(ABSENT) {
            return Self::none(n_groups);
        }
        let mut offsets = vec![0_u32; n_groups + 1];
        let in_range = |row: u32| Some(group_of[row as usize] as usize).filter(|g| *g < n_groups);
        for group in order.clone().filter_map(in_range) {
            offsets[group + 1] += 1;
        }
        for at in 0..n_groups {
            offsets[at + 1] += offsets[at];
        }
        let mut rows = vec![0_u32; offsets[n_groups] as usize];
        let mut next = offsets.clone();
        for row in order {
            if let Some(group) = in_range(row) {
                rows[next[group] as usize] = row;
                next[group] += 1;
            }
        }
        Self {
            offsets,
            rows,
            edited: FxHashMap::default(),
        }
    }

    /// So many groups without a row.
    fn none(n_groups: usize) -> Self {
        Self {
            offsets: vec![0; n_groups + 1],
            ..Self::default()
        }
    }

    /// Whether no group has a row.
    pub fn is_empty(&self) -> bool {
        self.rows.is_empty() && self.edited.values().all(Vec::is_empty)
    }

    /// How many groups the table was built for.
    pub fn n_groups(&self) -> usize {
        self.offsets.len().saturating_sub(1)
    }

    /// The rows of a group in order.
    #[inline]
    pub fn rows(&self, group: u32) -> &[u32] {
        if !self.edited.is_empty()
            && let Some(rows) = self.edited.get(&group)
        {
            return rows;
        }
        let at = group as usize;
        match (self.offsets.get(at), self.offsets.get(at + 1)) {
            (Some(start), Some(end)) => &self.rows[*start as usize..*end as usize],
            _ => &[],
        }
    }

    /// Moves a row from one group to another; `rank` gives the position of a row in the order.
    pub fn shift(&mut self, row: u32, from: u32, to: u32, rank: &[u32]) {
        if from != ABSENT {
            self.edit(from).retain(|known| *known != row);
        }
        if to != ABSENT {
            let rows = self.edit(to);
            // One step may remove other rows of the group, and put this one elsewhere in it.
            rows.retain(|known| *known != row && rank[*known as usize] != ABSENT);
            let at = rows.partition_point(|known| rank[*known as usize] < rank[row as usize]);
            rows.insert(at, row);
        }
    }

    /// Whether so many groups were edited that building the table anew is cheaper.
    pub fn is_worn(&self) -> bool {
        self.edited.len() > self.n_groups() / 8 + 64
    }

    fn edit(&mut self, group: u32) -> &mut Vec<u32> {
        let at = group as usize;
        let built: &[u32] = match (self.offsets.get(at), self.offsets.get(at + 1)) {
            (Some(start), Some(end)) => &self.rows[*start as usize..*end as usize],
            _ => &[],
        };
        self.edited.entry(group).or_insert_with(|| built.to_vec())
    }
}

/// One value of many rows: a row at `+inf` does not count, one that is missing spoils the result.
pub fn gathered(gather: Gather, rows: impl Iterator<Item = u32>, values: &Values<f64>) -> f64 {
    match values {
        Values::Each(values) => gathered_of(gather, rows.map(|row| values[row as usize])),
        // None of them counts.
        Values::Same { value, .. } if *value == f64::INFINITY => gathered_none(gather),
        Values::Same { value, .. } => gathered_of(gather, rows.map(|_| *value)),
    }
}

/// What an aggregate makes of no rows.
pub fn gathered_none(gather: Gather) -> f64 {
    gathered_of(gather, std::iter::empty())
}

fn gathered_of(gather: Gather, values: impl Iterator<Item = f64>) -> f64 {
    let start = match gather {
        Gather::Total | Gather::Tally | Gather::Mean => 0.0,
        Gather::Largest => f64::NEG_INFINITY,
        Gather::Smallest => f64::INFINITY,
    };
    let (mut sum, mut count) = (start, 0_u32);
    for value in values {
        if value == f64::INFINITY {
            continue;
        }
        if value.is_nan() {
            return MISSING;
        }
        count += 1;
        match gather {
            Gather::Total | Gather::Tally | Gather::Mean => sum += value,
            Gather::Largest => sum = sum.max(value),
            Gather::Smallest => sum = sum.min(value),
        }
    }
    match gather {
        Gather::Total | Gather::Tally => crate::table::stored(sum),
        Gather::Mean if count > 0 => crate::table::stored(sum / f64::from(count)),
        Gather::Largest | Gather::Smallest if count > 0 => sum,
        Gather::Mean | Gather::Largest | Gather::Smallest => MISSING,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_moved_row_is_found_in_its_new_group_in_order() {
        let mut groups = Groups::build(3, &vec![0, 1, 0, ABSENT, 1].into(), 0..5);
        assert_eq!(groups.rows(0), [0, 2]);
        let rank = [0, 1, 2, 3, 4];
        groups.shift(2, 0, 1, &rank);
        assert_eq!(
            (groups.rows(0), groups.rows(1), groups.rows(2)),
            (&[0][..], &[1, 2, 4][..], &[][..])
        );
    }

    #[test]
    fn a_row_of_no_group_is_in_none() {
        let groups = Groups::build(2, &vec![1, 2, ABSENT, 0, 1].into(), 0..5);
        assert_eq!((groups.n_groups(), groups.is_empty()), (2, false));
        assert_eq!((groups.rows(0), groups.rows(1)), (&[3][..], &[0, 4][..]));
        let none = Groups::build(4, &vec![ABSENT, ABSENT].into(), 0..2);
        assert_eq!((none.n_groups(), none.is_empty()), (4, true));
    }

    #[test]
    fn a_missing_row_spoils_and_an_uncounted_one_does_not() {
        let values = vec![1.0, f64::INFINITY, 3.0, MISSING].into();
        assert_eq!(gathered(Gather::Total, [0, 1, 2].into_iter(), &values), 4.0);
        assert!(gathered(Gather::Total, [0, 3].into_iter(), &values).is_nan());
        assert_eq!(gathered(Gather::Mean, [0, 1, 2].into_iter(), &values), 2.0);
        assert_eq!(gathered(Gather::Total, [1].into_iter(), &values), 0.0);
        assert!(gathered(Gather::Largest, [1].into_iter(), &values).is_nan());
    }
}
