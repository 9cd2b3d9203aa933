//! Rows in the order of the values of columns.
//!
//! Gives an order and changes nothing; keeping it is an edit of the plan.

use super::Engine;
use super::node::Source;
use crate::formula::Ty;
use crate::plan::Plan;
use crate::table::{ABSENT, Column, ColumnId, NO_FLAG, RowId, SheetId};
use rayon::slice::ParallelSliceMut;
use std::cmp::Ordering;

/// The key of a row without a value: it stands last whichever way the others go.
const LAST: u64 = u64::MAX;

impl Engine {
    /// Sorts rows of a sheet by columns, the first key first; `true` turns a key around.
    ///
    /// Numbers go by value, texts without regard to case and with the numbers in them by value
    /// (M2 before M10), no before yes. Rows without a value stand last either way, and rows that
    /// are equal stay as they stood.
    pub fn sorted(
        &self,
        plan: &Plan,
        sheet: SheetId,
        rows: &mut Vec<RowId>,
        keys: &[(ColumnId, bool)],
    ) {
        let of_sheet = |column: ColumnId| self.graph.nodes[column.at()].sheet == sheet;
        // Each pass keeps the order of the one before among equals, so the first key comes last.
        for (column, descending) in keys.iter().rev().filter(|key| of_sheet(key.0)) {
            let keys = self.sort_keys(plan, *column, rows);
            let turned = |key: u64| {
                if *descending && key != LAST {
                    LAST - 1 - key
                } else {
                    key
                }
            };
            let mut placed: Vec<(u64, u32, RowId)> = (0..)
                .zip(rows.iter().zip(keys))
                .map(|(at, (row, key))| (turned(key), at, *row))
                .collect();
            placed.par_sort_unstable_by_key(|(key, at, _)| (*key, *at));
            rows.clear();
            rows.extend(placed.into_iter().map(|(_, _, row)| row));
        }
    }

    /// For each row a number that stands among others as its value does.
    fn sort_keys(&self, plan: &Plan, column: ColumnId, rows: &[RowId]) -> Vec<u64> {
        let node = &self.graph.nodes[column.at()];
        let (values, is_entered) = match node.source {
            Source::Entered(position) => (plan.rows(node.sheet).column(position), true),
            Source::Program(_)
            | Source::Broken
            | Source::Group { .. }
            | Source::Whole { .. }
            | Source::Shared { .. }
            | Source::Made { .. } => (&self.values[column.at()], false),
        };
        match (values, node.ty) {
            (Column::Numbers(values), _) => {
                let key = |row: &RowId| values.get(row.at()).map_or(LAST, |value| ordered(*value));
                rows.iter().map(key).collect()
            }
            (Column::Flags(flags), _) => {
                let flag = |row: &RowId| flags.get(row.at()).copied().unwrap_or(NO_FLAG);
                let key = |flag| {
                    if flag == NO_FLAG {
                        LAST
                    } else {
                        u64::from(flag)
                    }
                };
                rows.iter().map(|row| key(flag(row))).collect()
            }
            // A computed column of rows holds row numbers, an entered one what was typed.
            (Column::Codes(codes), Ty::Row(target)) if !is_entered => {
                let ids = plan.rows(target).column(0).codes();
                let id = |code: u32| ids.get(code as usize).copied().unwrap_or(ABSENT);
                text_keys(
                    plan,
                    rows.iter()
                        .map(|row| codes.get(row.at()).map_or(ABSENT, |code| id(*code))),
                )
            }
            (Column::Codes(codes), _) => {
                let code = |row: &RowId| codes.get(row.at()).copied().unwrap_or(ABSENT);
                text_keys(plan, rows.iter().map(code))
            }
        }
    }
}

/// A number whose order among others is that of a value.
fn ordered(value: f64) -> u64 {
    if value.is_nan() {
        return LAST;
    }
    // Minus zero is zero. Negative numbers count down as their bits count up.
    let bits = (value + 0.0).to_bits();
    let sign = 1 << (u64::BITS - 1);
    if bits & sign == 0 { bits | sign } else { !bits }
}

/// For each code the position of its text among all that are there, equal ones together.
fn text_keys(plan: &Plan, codes: impl Iterator<Item = u32>) -> Vec<u64> {
    let codes: Vec<u32> = codes.collect();
    let view = plan.names().view();
    let mut used: Vec<u32> = codes
        .iter()
        .copied()
        .filter(|code| *code != ABSENT)
        .collect();
    used.sort_unstable();
    used.dedup();
    let mut texts: Vec<(Vec<u8>, u32)> = used
        .into_iter()
        .map(|code| (natural(view.text(code)), code))
        .collect();
    texts.par_sort_unstable();
    let mut keys = vec![LAST; view.folds().len()];
    for (at, part) in (0_u64..).zip(texts.chunk_by(|a, b| a.0.cmp(&b.0) == Ordering::Equal)) {
        for (_, code) in part {
            keys[*code as usize] = at;
        }
    }
    let key = |code: &u32| keys.get(*code as usize).copied().unwrap_or(LAST);
    codes.iter().map(key).collect()
}

/// A text in bytes that compare as a person would: lower case, and each run of digits without
/// leading zeros behind their number, so that longer numbers are greater.
fn natural(text: &str) -> Vec<u8> {
    let lower = text.to_lowercase();
    let mut out = Vec::with_capacity(lower.len() + 8);
    let mut rest = lower.as_bytes();
    while let Some(byte) = rest.first() {
        if !byte.is_ascii_digit() {
            out.push(*byte);
            rest = &rest[1..];
            continue;
        }
        let n_digits = rest.iter().take_while(|byte| byte.is_ascii_digit()).count();
        let (digits, after) = rest.split_at(n_digits);
        let zeros = digits.iter().take_while(|digit| **digit == b'0').count();
        let digits = &digits[zeros..];
        // Numbers stand where digits do among letters and signs.
        out.push(b'0');
        let length = u32::try_from(digits.len()).unwrap_or(u32::MAX);
        out.extend_from_slice(&length.to_be_bytes());
        out.extend_from_slice(digits);
        rest = after;
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn texts_stand_as_a_person_would_put_them() {
        let mut texts = [
            "m10", "M2", "a", "M2b", "m 2", "M02", "", "12", "2", "B", "é",
        ];
        texts.sort_by_key(|text| natural(text));
        let wanted = [
            "", "2", "12", "a", "B", "m 2", "M2", "M02", "M2b", "m10", "é",
        ];
        assert_eq!(texts, wanted);
    }

    proptest! {
        #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

        #[test]
        fn numbers_keep_their_order(
            a in prop::num::f64::NORMAL | prop::num::f64::ZERO | prop::num::f64::SUBNORMAL,
            b in prop::num::f64::NORMAL | prop::num::f64::ZERO,
        ) {
            prop_assert_eq!(a.partial_cmp(&b), Some(ordered(a).cmp(&ordered(b))));
            prop_assert!(ordered(a) < LAST);
        }
    }
}
