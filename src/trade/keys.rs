//! Things with a key each, and which of them share one.
//!
//! Keys are mostly all different, so only those that several share are kept by key; who else has
//! a key is found by looking through all, a few hundred microseconds for a million.

use rustc_hash::FxHashMap;

/// The key of a thing that has none.
pub const NO_KEY: u32 = 0;

/// How many keys are compared before looking whether one was met.
const AT_ONCE: usize = 4096;

/// The most bits by which keys are told apart at first; two tables of so many fit a cache.
const COARSE: u32 = 24;

/// A key for each thing, by number.
#[derive(Debug, Default)]
pub struct Keys {
    keys: Vec<u32>,
    /// Keys that several things share, with those things in no order.
    shared: FxHashMap<u32, Vec<u32>>,
}

impl Keys {
    /// The things at the positions of their keys.
    pub fn new(keys: Vec<u32>) -> Self {
        let mut shared: FxHashMap<u32, Vec<u32>> = FxHashMap::default();
        let suspects = suspects(&keys);
        for run in suspects.chunk_by(|a, b| a.0 == b.0) {
            if run.len() > 1 {
                shared.insert(run[0].0, run.iter().map(|(_, at)| *at).collect());
            }
        }
        Self { keys, shared }
    }

    /// The key of a thing.
    pub fn get(&self, at: u32) -> u32 {
        self.keys.get(at as usize).copied().unwrap_or(NO_KEY)
    }

    /// The things that share a key; none where at most one has it.
    pub fn sharing(&self, key: u32) -> &[u32] {
        self.shared.get(&key).map_or(&[], Vec::as_slice)
    }

    /// All keys that several things share.
    pub fn all_shared(&self) -> impl Iterator<Item = u32> {
        self.shared.keys().copied()
    }

    /// Gives a thing another key.
    pub fn set(&mut self, at: u32, key: u32) {
        let before = self.get(at);
        if before == key {
            return;
        }
        self.leave(at, before);
        if self.keys.len() <= at as usize {
            self.keys.resize(at as usize + 1, NO_KEY);
        }
        self.keys[at as usize] = NO_KEY;
        if key != NO_KEY {
            match self.shared.get_mut(&key) {
                Some(things) => things.push(at),
                None => {
                    if let Some(other) = self.position(key) {
                        self.shared.insert(key, vec![other, at]);
                    }
                }
            }
        }
        self.keys[at as usize] = key;
    }

    fn leave(&mut self, at: u32, key: u32) {
        let Some(things) = self.shared.get_mut(&key) else {
            return;
        };
        things.retain(|thing| *thing != at);
        if things.len() < 2 {
            self.shared.remove(&key);
        }
    }

    /// The only thing with a key, if any has it.
    fn position(&self, key: u32) -> Option<u32> {
        // Without a way out of the inner loop it compares many keys in one step.
        let holds = |part: &[u32]| part.iter().fold(false, |met, known| met | (*known == key));
        let part = self.keys.chunks(AT_ONCE).position(holds)?;
        let first = part * AT_ONCE;
        let within = self.keys[first..].iter().position(|known| *known == key)?;
        u32::try_from(first + within).ok()
    }
}

/// Keys that may be shared with the things that have them, sorted.
///
/// A first walk notes coarse keys that are met twice, a second one takes the things behind them:
/// sorting all of them would take ten times as long.
fn suspects(keys: &[u32]) -> Vec<(u32, u32)> {
    // Sixteen places for each key, so that few meet by accident.
    let n_bits = (16 * keys.len())
        .next_power_of_two()
        .ilog2()
        .clamp(6, COARSE);
    let coarse = |key: u32| {
        let key = key.wrapping_mul(0x9e37_79b1) >> (u32::BITS - n_bits);
        ((key / 64) as usize, 1_u64 << (key % 64))
    };
    let mut once = vec![0_u64; 1 << (n_bits - 6)];
    let mut twice = once.clone();
    for key in keys.iter().filter(|key| **key != NO_KEY) {
        let (word, bit) = coarse(*key);
        twice[word] |= once[word] & bit;
        once[word] |= bit;
    }
    let met_twice = |key: u32| {
        let (word, bit) = coarse(key);
        key != NO_KEY && twice[word] & bit != 0
    };
    let mut suspects: Vec<(u32, u32)> = (0..)
        .zip(keys)
        .filter(|(_, key)| met_twice(**key))
        .map(|(at, key)| (*key, at))
        .collect();
    suspects.sort_unstable();
    suspects
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn told(keys: &Keys) -> Vec<(u32, Vec<u32>)> {
        let mut told: Vec<(u32, Vec<u32>)> = keys
            .all_shared()
            .map(|key| {
                let mut things = keys.sharing(key).to_vec();
                things.sort_unstable();
                (key, things)
            })
            .collect();
        told.sort();
        told
    }

    proptest! {
        #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

        #[test]
        fn keys_set_one_by_one_are_shared_as_if_all_came_at_once(
            first in prop::collection::vec(0..6u32, 0..12),
            turned in prop::collection::vec((0..14u32, 0..6u32), 0..30),
        ) {
            let mut keys = Keys::new(first);
            for (at, key) in turned {
                keys.set(at, key);
                prop_assert_eq!(told(&keys), told(&Keys::new(keys.keys.clone())));
            }
        }
    }
}
