//! Every text of a plan once, as a code; comparing codes compares texts without regard to case.
//!
//! Only grows while a plan is open. Shared between plan and engine.

use super::ABSENT;
use std::sync::{RwLock, RwLockReadGuard, RwLockWriteGuard};

/// The texts of a plan by code.
#[derive(Debug, Default)]
pub struct Names {
    inner: RwLock<Inner>,
}

#[derive(Debug, Default)]
struct Inner {
    /// All texts one behind the other: a million small ones of their own would take longer to
    /// make than to read.
    texts: String,
    /// Where the text of each code ends.
    ends: Vec<usize>,
    /// For each code the first code with the same text in another case; often itself.
    folded: Vec<u32>,
    /// For each code that is the first of its spellings, how many there are.
    spellings: Vec<u32>,
    /// Half empty places; a code stands at the first free one from where the hash of its
    /// lower-case form points, behind the upper half of that hash. The texts themselves are not
    /// in here: a plan has a million ids, and each is looked for once in every column that names
    /// it, so what counts is that one search meets one piece of memory.
    places: Vec<u64>,
}

/// By what a text is looked for; it can be made where nobody has the names.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct TextHash(u32);

impl TextHash {
    /// The hash of a text.
    pub fn of(text: &str) -> Self {
        Self(lower_hash(text))
    }
}

/// A place without a code.
const FREE: u64 = u64::MAX;

/// A look at the names while nobody adds any.
#[derive(Debug)]
pub struct NamesView<'a> {
    inner: RwLockReadGuard<'a, Inner>,
}

/// Names while many are added; nobody else gets at them meanwhile.
#[derive(Debug)]
pub struct NamesWriter<'a> {
    inner: RwLockWriteGuard<'a, Inner>,
}

impl NamesWriter<'_> {
    /// Makes room for so many more texts.
    pub fn reserve(&mut self, n_texts: usize) {
        self.inner.ends.reserve(n_texts);
        self.inner.folded.reserve(n_texts);
        self.inner.spellings.reserve(n_texts);
        self.inner.make_room(n_texts);
    }

    /// The code of a text, added when new.
    pub fn code(&mut self, text: &str) -> u32 {
        self.inner.add(text, TextHash::of(text))
    }

    /// The same for a text whose hash was made before.
    pub fn code_of(&mut self, text: &str, hash: TextHash) -> u32 {
        self.inner.add(text, hash)
    }

    /// How many codes there are.
    pub fn len(&self) -> usize {
        self.inner.ends.len()
    }

    /// Whether there are none.
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }

    /// Looks at the places of texts that are asked for soon. Looking at many at once takes little
    /// longer than waiting for the memory of one.
    pub fn expect(&self, texts: impl Iterator<Item = TextHash>) {
        let places = &self.inner.places;
        let looked = texts.fold(0, |looked, hash| {
            let place = places.get(first_place(hash.0, places.len()));
            looked ^ place.copied().unwrap_or(0)
        });
        std::hint::black_box(looked);
    }
}

impl Names {
    /// For adding many texts at once.
    pub fn writer(&self) -> NamesWriter<'_> {
        NamesWriter {
            inner: self
                .inner
                .write()
                .unwrap_or_else(std::sync::PoisonError::into_inner),
        }
    }

    /// The code of a text, added when new.
    ///
    /// # Panics
    /// Never in practice: after 4,294,967,294 different texts.
    pub fn code(&self, text: &str) -> u32 {
        if let Some(code) = self.known(text) {
            return code;
        }
        let mut inner = self
            .inner
            .write()
            .unwrap_or_else(std::sync::PoisonError::into_inner);
        inner.add(text, TextHash::of(text))
    }

    /// The code of a text that is already there, spelled exactly so.
    pub fn known(&self, text: &str) -> Option<u32> {
        self.view().known(text)
    }

    /// The text of a code; empty for an absent one.
    pub fn text(&self, code: u32) -> String {
        self.view().text(code).to_owned()
    }

    /// The code shared by all spellings of a text.
    pub fn folded(&self, code: u32) -> u32 {
        self.view().folded(code)
    }

    /// How many codes there are.
    pub fn len(&self) -> usize {
        self.view().inner.ends.len()
    }

    /// Whether there are none.
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }

    /// A look at many names at once.
    pub fn view(&self) -> NamesView<'_> {
        NamesView {
            inner: self
                .inner
                .read()
                .unwrap_or_else(std::sync::PoisonError::into_inner),
        }
    }
}

impl Inner {
    fn text(&self, code: u32) -> &str {
        let at = code as usize;
        let Some(end) = self.ends.get(at) else {
            return "";
        };
        let start = at.checked_sub(1).map_or(0, |before| self.ends[before]);
        &self.texts[start..*end]
    }

    fn known(&self, text: &str) -> Option<u32> {
        let (_, found) = self.search(lower_hash(text), |code| self.text(code) == text);
        found
    }

    /// The first code with a hash that is meant, or the free place where the search ended.
    fn search(&self, hash: u32, mut is_meant: impl FnMut(u32) -> bool) -> (usize, Option<u32>) {
        let Some(mask) = self.places.len().checked_sub(1) else {
            return (0, None);
        };
        let mut at = first_place(hash, self.places.len());
        loop {
            let place = self.places[at];
            let code = place as u32;
            if place == FREE {
                return (at, None);
            }
            if (place >> 32) as u32 == hash && is_meant(code) {
                return (at, Some(code));
            }
            at = (at + 1) & mask;
        }
    }

    /// Makes the table so large that with so many more texts half of it stays empty.
    fn make_room(&mut self, n_more: usize) {
        let wanted = (2 * (self.ends.len() + n_more)).next_power_of_two().max(64);
        if wanted <= self.places.len() {
            return;
        }
        let before = std::mem::replace(&mut self.places, vec![FREE; wanted]);
        for place in before.into_iter().filter(|place| *place != FREE) {
            let (at, _) = self.search((place >> 32) as u32, |_| false);
            self.places[at] = place;
        }
    }

    fn add(&mut self, text: &str, TextHash(hash): TextHash) -> u32 {
        self.make_room(1);
        let code = code_of(self.ends.len());
        let mut folded = code;
        let (at, found) = self.search(hash, |other| {
            let known = self.text(other);
            if folded == code && known != text && same_in_lower_case(known, text) {
                folded = self.folded[other as usize];
            }
            known == text
        });
        if let Some(found) = found {
            return found;
        }
        self.places[at] = u64::from(hash) << 32 | u64::from(code);
        self.texts.push_str(text);
        self.ends.push(self.texts.len());
        self.folded.push(folded);
        self.spellings.push(0);
        self.spellings[folded as usize] += 1;
        code
    }
}

/// Where a search begins in a table of a power of two places; nearly all of the hash tells.
fn first_place(hash: u32, n_places: usize) -> usize {
    ((u64::from(hash) * n_places as u64) >> 32) as usize
}

/// A hash of the lower-case form of a text: the upper half, which all bytes reach.
fn lower_hash(text: &str) -> u32 {
    let hash = match text.is_ascii() {
        true => hash(text.as_bytes()),
        false => hash(text.to_lowercase().as_bytes()),
    };
    (hash >> 32) as u32
}

/// A hash of bytes, ASCII letters as lower case, eight at a time.
fn hash(bytes: &[u8]) -> u64 {
    // An odd number with bits all over (the golden ratio), as in Fibonacci hashing.
    const SPREAD: u64 = 0x9e37_79b9_7f4a_7c15;
    let mix = |hash: u64, word: u64| (hash.rotate_left(23) ^ word).wrapping_mul(SPREAD);
    let (words, rest) = bytes.as_chunks::<8>();
    let whole = words.iter().fold(bytes.len() as u64, |hash, word| {
        let mut word = *word;
        word.make_ascii_lowercase();
        mix(hash, u64::from_le_bytes(word))
    });
    let rest = rest.iter().fold(0, |word, byte| {
        word << 8 | u64::from(byte.to_ascii_lowercase())
    });
    mix(whole, rest)
}

fn same_in_lower_case(a: &str, b: &str) -> bool {
    if a.is_ascii() && b.is_ascii() {
        return a.eq_ignore_ascii_case(b);
    }
    a.to_lowercase() == b.to_lowercase()
}

fn code_of(at: usize) -> u32 {
    u32::try_from(at)
        .ok()
        .filter(|code| *code != ABSENT)
        .expect("a plan holds fewer texts than codes")
}

impl NamesView<'_> {
    /// The code of a text spelled exactly so.
    pub fn known(&self, text: &str) -> Option<u32> {
        self.inner.known(text)
    }

    /// The text of a code; empty for an absent one.
    pub fn text(&self, code: u32) -> &str {
        self.inner.text(code)
    }

    /// All texts, in the order of their codes.
    pub fn texts(&self) -> impl Iterator<Item = &str> {
        let codes = 0..u32::try_from(self.inner.ends.len()).unwrap_or(u32::MAX);
        codes.map(|code| self.inner.text(code))
    }

    /// The code shared by all spellings of a text; absent stays absent.
    #[inline]
    pub fn folded(&self, code: u32) -> u32 {
        self.inner
            .folded
            .get(code as usize)
            .copied()
            .unwrap_or(ABSENT)
    }

    /// Whether a text has one spelling only, so that equal codes are equal texts.
    pub fn is_spelled_once(&self, code: u32) -> bool {
        self.inner.spellings.get(code as usize) == Some(&1)
    }

    /// For each code the code shared by all spellings.
    pub fn folds(&self) -> &[u32] {
        &self.inner.folded
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

        #[test]
        fn codes_tell_texts_apart_and_folds_tell_their_lower_case(
            texts in prop::collection::vec("[abABßẞöÖ\u{212a}k0]{0,10}", 1..30),
        ) {
            let names = Names::default();
            let codes: Vec<u32> = texts.iter().map(|text| names.code(text)).collect();
            for (a, text_a) in codes.iter().zip(&texts) {
                prop_assert_eq!(names.text(*a), text_a.as_str());
                prop_assert_eq!(names.known(text_a), Some(*a));
                for (b, text_b) in codes.iter().zip(&texts) {
                    prop_assert_eq!(a == b, text_a == text_b);
                    let alike = text_a.to_lowercase() == text_b.to_lowercase();
                    prop_assert_eq!(names.folded(*a) == names.folded(*b), alike);
                    prop_assert!(a == b || !alike || !names.view().is_spelled_once(*a));
                }
            }
            prop_assert_eq!(names.known("never"), None);
        }
    }

    #[test]
    fn names_that_are_counted_up_do_not_crowd() {
        for make in [
            |at| format!("L{at}"),
            |at| format!("hall-{at:05}"),
            |at| format!("{at:08}/9"),
        ] {
            let mut names = Inner::default();
            let texts: Vec<String> = (0..20_000).map(make).collect();
            for text in &texts {
                names.add(text, TextHash::of(text));
            }
            let n_places = names.places.len();
            let walk = |text: &String| {
                let code = names.known(text).expect("it was added");
                let hash = lower_hash(text);
                let (at, _) = names.search(hash, |found| found == code);
                at.wrapping_sub(first_place(hash, n_places)) & (n_places - 1)
            };
            let longest = texts.iter().map(walk).max();
            assert!(longest < Some(40), "{longest:?}");
        }
    }

    #[test]
    fn spellings_share_a_folded_code() {
        let names = Names::default();
        let (upper, lower) = (names.code("OM3"), names.code("om3"));
        assert_ne!(upper, lower);
        assert_eq!(names.folded(upper), names.folded(lower));
        assert_eq!(names.text(upper), "OM3");
        assert_eq!(names.code("OM3"), upper);
        assert_eq!(names.folded(ABSENT), ABSENT);
        assert_eq!(names.text(ABSENT), "");
        // The sign of kelvin is a letter K, and its lower case is plain.
        assert_eq!(
            names.folded(names.code("\u{212a}6")),
            names.folded(names.code("k6"))
        );
        assert_eq!(
            names.folded(names.code("ÖL")),
            names.folded(names.code("öl"))
        );
        assert_ne!(
            names.folded(names.code("ol")),
            names.folded(names.code("öl"))
        );
        let mixed = names.writer().code("Om3");
        assert_eq!(mixed, names.code("Om3"));
    }
}
