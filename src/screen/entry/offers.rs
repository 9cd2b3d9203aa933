//! Which of many words a typed beginning may mean, best first, with bounded work for each key.
//!
//! Words that begin with it come first, then those that hold it, then those that are near it.
//! What the words are is decided by the caller.

use frizbee::CaseMatching;
use frizbee::Config;
use frizbee::Matcher;
use std::ops::Range;

/// How many words are looked at for their beginning.
const MOST_BEGUN: usize = 200_000;

/// How many are looked through for the text anywhere in them.
const MOST_HELD: usize = 60_000;

/// How many are compared letter by letter, which takes longest.
const MOST_NEAR: usize = 20_000;

/// How many are kept to choose among.
const MOST_KEPT: usize = 64;

/// How many are shown at once.
pub(super) const SHOWN: usize = 8;

/// The longest text that is compared letter by letter, in bytes.
const LONGEST: usize = 96;

/// Something that can be put in place of what was typed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Offer {
    /// What is put there.
    pub insert: String,
    /// The bytes of the text that it takes the place of.
    pub span: Range<usize>,
    /// What a person reads.
    pub shown: String,
    /// What is said beside it.
    pub remark: String,
}

/// Positions of the words that were found.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(super) struct Found {
    /// Words that begin with the text, each with its position.
    pub begun: Vec<usize>,
    /// Words that hold it elsewhere.
    pub held: Vec<usize>,
    /// Words that are near it; looked for only where there are no others.
    pub near: Vec<usize>,
    /// Whether there are words that were not looked at.
    pub partly: bool,
}

impl Found {
    /// All positions, best first.
    pub fn all(&self) -> impl Iterator<Item = usize> {
        let parts = self.begun.iter().chain(&self.held).chain(&self.near);
        parts.copied()
    }
}

/// Looks for a typed text among so many words.
pub(super) fn find<'w>(n_words: usize, word: impl Fn(usize) -> &'w str, typed: &str) -> Found {
    let typed = typed.trim();
    let (lower, mut found) = (typed.to_lowercase(), Found::default());
    for at in 0..n_words.min(MOST_BEGUN) {
        if found.begun.len() == MOST_KEPT {
            break;
        }
        match place(
            word(at),
            &lower,
            at < MOST_HELD && found.held.len() < MOST_KEPT,
        ) {
            Some(0) => found.begun.push(at),
            Some(_) => found.held.push(at),
            None => {}
        }
    }
    let n_found = found.begun.len() + found.held.len();
    if n_found == 0 && typed.chars().count() > 1 && typed.len() <= LONGEST {
        found.near = near(n_words, word, typed);
    }
    let looked_at = match n_found == 0 {
        true => MOST_NEAR,
        false => MOST_HELD,
    };
    found.partly = n_words > looked_at && found.begun.len() < MOST_KEPT;
    found
}

/// Where a lower-case text stands in a word without regard to case; only its beginning is looked
/// at unless `anywhere`.
fn place(word: &str, lower: &str, anywhere: bool) -> Option<usize> {
    if !word.is_ascii() || !lower.is_ascii() {
        let word = word.to_lowercase();
        return match anywhere {
            true => word.find(lower),
            false => word.starts_with(lower).then_some(0),
        };
    }
    let (word, lower) = (word.as_bytes(), lower.as_bytes());
    let begins = |part: &[u8]| part.eq_ignore_ascii_case(lower);
    if lower.is_empty() || word.get(..lower.len()).is_some_and(begins) {
        return Some(0);
    }
    match anywhere {
        true => word.windows(lower.len()).position(begins),
        false => None,
    }
}

/// Words that have the letters of the text in order, one of them perhaps wrong.
fn near<'w>(n_words: usize, word: impl Fn(usize) -> &'w str, typed: &str) -> Vec<usize> {
    let words: Vec<&str> = (0..n_words.min(MOST_NEAR))
        .map(|at| {
            Some(word(at))
                .filter(|word| word.len() <= LONGEST)
                .unwrap_or("")
        })
        .collect();
    let config = Config::default()
        .casing(CaseMatching::Ignore)
        .max_typos(Some(u16::from(typed.chars().count() > 3)));
    let matches = Matcher::new(typed, &config).match_list(&words);
    let places = matches.iter().map(|found| found.index as usize);
    places.take(SHOWN).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn found(words: &[&str], typed: &str) -> Vec<String> {
        let found = find(words.len(), |at| words[at], typed);
        found.all().map(|at| words[at].to_owned()).collect()
    }

    #[test]
    fn beginnings_come_before_parts_and_those_before_what_is_near() {
        let words = ["acc-reef", "reef-cam-1", "core-a", "acc-refuge", "REEF"];
        assert_eq!(found(&words, "reef"), ["reef-cam-1", "REEF", "acc-reef"]);
        assert_eq!(found(&words, "coer-a"), ["core-a"]);
        assert_eq!(found(&words, "Core"), ["core-a"]);
        assert_eq!(found(&words, "").len(), 5);
        assert!(found(&words, "zzzz").is_empty());
    }

    #[test]
    fn letters_beyond_ascii_are_blind_to_case_too() {
        assert_eq!(find(1, |_| "Äußeres Tor", "äuß").begun, [0]);
        assert_eq!(find(1, |_| "Tor im Äußeren", "äuß").held, [0]);
    }

    #[test]
    fn of_many_words_some_are_found_and_it_is_told() {
        let words: Vec<String> = (0..300_000).map(|at| format!("sw-{at}")).collect();
        let some = find(words.len(), |at| &words[at], "sw-19");
        assert_eq!(some.begun.len(), MOST_KEPT);
        let late = find(words.len(), |at| &words[at], "sw-199999");
        assert_eq!(late.begun, [199_999]);
        assert!(late.partly);
    }

    proptest! {
        #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

        #[test]
        fn a_word_is_found_by_any_part_of_it(word in "[a-zA-Z0-9é水-]{1,12}", from in 0usize..12, n in 1usize..12) {
            let part: String = word.chars().skip(from).take(n).collect();
            let found = find(1, |_| &word, &part.to_uppercase().to_lowercase());
            prop_assert!(part.is_empty() || found.all().next() == Some(0), "{word} {part}");
        }

        #[test]
        fn no_text_stops_the_search(words in prop::collection::vec("\\PC{0,12}", 0..12), typed in "\\PC{0,120}") {
            let found = find(words.len(), |at| &words[at], &typed);
            let all: Vec<usize> = found.all().collect();
            let mut once = all.clone();
            once.sort_unstable();
            once.dedup();
            prop_assert_eq!(all.len(), once.len());
        }
    }
}
