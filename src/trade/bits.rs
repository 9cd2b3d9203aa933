//! A set of rows as bits, with their number kept.
//!
//! Knows rows by place in storage only; what it means that a row is in the set is decided above.

use crate::table::ABSENT;
use crate::table::Values;

/// How many rows share a word.
const WORD: usize = 64;

/// A set of rows.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Bits {
    words: Vec<u64>,
    n_set: usize,
}

impl Bits {
    /// The rows whose flag is yes; of those only the ones in `live`, where it is given.
    pub fn of_flags(flags: &Values<u8>, live: Option<&Self>) -> Self {
        let mut words: Vec<u64> = match flags {
            Values::Each(flags) => flags.chunks(WORD).map(word_of).collect(),
            Values::Same { value: 1, n_rows } => all_of(*n_rows),
            Values::Same { .. } => Vec::new(),
        };
        if let Some(live) = live {
            for (at, word) in words.iter_mut().enumerate() {
                *word &= live.word(at);
            }
        }
        Self::of_words(words)
    }

    /// The rows that have a position in the order; `None` where all of them do.
    pub fn of_live(rank: &[u32], n_live: usize) -> Option<Self> {
        if rank.len() == n_live {
            return None;
        }
        let words = rank.chunks(WORD).map(|ranks| {
            let bit = |(at, rank): (usize, &u32)| u64::from(*rank != ABSENT) << at;
            ranks.iter().enumerate().map(bit).fold(0, |a, b| a | b)
        });
        Some(Self::of_words(words.collect()))
    }

    fn of_words(words: Vec<u64>) -> Self {
        let n_set = words.iter().map(|word| word.count_ones() as usize).sum();
        Self { words, n_set }
    }

    /// How many rows are in the set.
    pub fn len(&self) -> usize {
        self.n_set
    }

    /// Whether a row is in the set.
    pub fn has(&self, row: u32) -> bool {
        let (word, bit) = place(row);
        self.word(word) & bit != 0
    }

    /// Puts a row in or takes it out; gives whether that changed anything.
    pub fn put(&mut self, row: u32, is_in: bool) -> bool {
        if self.has(row) == is_in {
            return false;
        }
        let (word, bit) = place(row);
        if self.words.len() <= word {
            self.words.resize(word + 1, 0);
        }
        self.words[word] ^= bit;
        if is_in {
            self.n_set += 1;
        } else {
            self.n_set -= 1;
        }
        true
    }

    /// All rows, ascending.
    pub fn rows(&self) -> impl Iterator<Item = u32> {
        let words = self.words.iter().enumerate();
        words.flat_map(|(at, word)| rows_of(at, *word))
    }

    /// The rows that are here and not in another set, ascending.
    pub fn without<'a>(&'a self, other: &'a Self) -> impl Iterator<Item = u32> + 'a {
        let words = self.words.iter().enumerate();
        words.flat_map(|(at, word)| rows_of(at, word & !other.word(at)))
    }

    fn word(&self, at: usize) -> u64 {
        self.words.get(at).copied().unwrap_or(0)
    }
}

fn place(row: u32) -> (usize, u64) {
    (row as usize / WORD, 1 << (row as usize % WORD))
}

/// The words of so many rows that are all in the set.
fn all_of(n_rows: usize) -> Vec<u64> {
    let rest = n_rows % WORD;
    let mut words = vec![u64::MAX; n_rows / WORD];
    words.extend((rest > 0).then_some((1 << rest) - 1));
    words
}

/// Up to 64 flags as the bits of a word.
fn word_of(flags: &[u8]) -> u64 {
    let (eights, rest) = flags.as_chunks::<8>();
    let mut word = 0;
    for (at, eight) in eights.iter().enumerate() {
        word |= packed(u64::from_le_bytes(*eight)) << (8 * at);
    }
    for (at, flag) in rest.iter().enumerate() {
        word |= u64::from(*flag == 1) << (8 * eights.len() + at);
    }
    word
}

/// Eight flags to eight bits: yes is 1, and neither no (0) nor absent (2) has that bit.
fn packed(eight: u64) -> u64 {
    const LOWEST: u64 = 0x0101_0101_0101_0101;
    // Brings the lowest bit of byte n to bit 56 + n; no two of them meet on the way.
    const GATHER: u64 = 0x0102_0408_1020_4080;
    (eight & LOWEST).wrapping_mul(GATHER) >> 56
}

fn rows_of(at: usize, mut word: u64) -> impl Iterator<Item = u32> {
    std::iter::from_fn(move || {
        if word == 0 {
            return None;
        }
        let bit = word.trailing_zeros();
        word &= word - 1;
        Some((at * WORD) as u32 + bit)
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

        #[test]
        fn a_set_of_flags_holds_the_rows_that_say_yes_and_live(
            rows in prop_oneof![
                prop::collection::vec((0..3u8, any::<bool>()), 0..300),
                prop::collection::vec((Just(1u8), any::<bool>()), 0..300),
            ],
            turned in prop::collection::vec((0..300u32, any::<bool>()), 0..20),
        ) {
            let flags: Vec<u8> = rows.iter().map(|(flag, _)| *flag).collect();
            let rank: Vec<u32> = rows.iter().map(|(_, live)| if *live { 7 } else { ABSENT }).collect();
            let n_live = rows.iter().filter(|(_, live)| *live).count();
            let live = Bits::of_live(&rank, n_live);
            let before = Bits::of_flags(&Values::from(flags.clone()), live.as_ref());
            let kept_once = Bits::of_flags(&Values::from(flags).narrowed(), live.as_ref());
            prop_assert!(kept_once.rows().eq(before.rows()) && kept_once.len() == before.len());
            let mut wanted: std::collections::BTreeSet<u32> = (0..rows.len())
                .filter(|at| rows[*at] == (1, true))
                .map(|at| at as u32)
                .collect();
            prop_assert!(before.rows().eq(wanted.iter().copied()));
            let mut after = before.clone();
            for (row, is_in) in turned {
                let changed = if is_in { wanted.insert(row) } else { wanted.remove(&row) };
                prop_assert_eq!(after.put(row, is_in), changed);
            }
            prop_assert!(after.rows().eq(wanted.iter().copied()));
            prop_assert_eq!(after.len(), wanted.len());
            let came: Vec<u32> = wanted.iter().copied().filter(|row| !before.has(*row)).collect();
            let went: Vec<u32> = before.rows().filter(|row| !wanted.contains(row)).collect();
            prop_assert!(after.without(&before).eq(came));
            prop_assert!(before.without(&after).eq(went));
        }
    }
}
