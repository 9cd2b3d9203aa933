//! Every text of a plan once, as a code; comparing codes compares texts without regard to case.
//!
//! Only grows while a plan is open. Shared between plan and engine.

use super::ABSENT;
use rustc_hash::FxHashMap;
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
    /// For each code the next one whose lower-case form has the same hash.
    next: Vec<u32>,
    /// The first code for each hash of a lower-case form. The texts themselves are not in here:
    /// a plan has a million ids, and each is looked for once in every column that names it.
    first: FxHashMap<u64, u32>,
}

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
        self.inner.next.reserve(n_texts);
        self.inner.first.reserve(n_texts);
    }

    /// The code of a text, added when new.
    pub fn code(&mut self, text: &str) -> u32 {
        self.inner.add(text)
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
        inner.add(text)
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
        self.alike(lower_hash(text))
            .find(|code| self.text(*code) == text)
    }

    /// Codes whose lower-case form has a hash.
    fn alike(&self, hash: u64) -> impl Iterator<Item = u32> {
        let mut code = self.first.get(&hash).copied().unwrap_or(ABSENT);
        std::iter::from_fn(move || {
            let this = Some(code).filter(|code| *code != ABSENT)?;
            code = self.next[this as usize];
            Some(this)
        })
    }

    fn add(&mut self, text: &str) -> u32 {
        let hash = lower_hash(text);
        let code = code_of(self.ends.len());
        let (mut folded, mut last) = (code, None);
        for other in self.alike(hash) {
            let known = self.text(other);
            if known == text {
                return other;
            }
            if folded == code && same_in_lower_case(known, text) {
                folded = self.folded[other as usize];
            }
            last = Some(other);
        }
        match last {
            Some(last) => self.next[last as usize] = code,
            None => drop(self.first.insert(hash, code)),
        }
        self.texts.push_str(text);
        self.ends.push(self.texts.len());
        self.folded.push(folded);
        self.spellings.push(0);
        self.spellings[folded as usize] += 1;
        self.next.push(ABSENT);
        code
    }
}

/// A hash of the lower-case form of a text.
fn lower_hash(text: &str) -> u64 {
    if text.is_ascii() {
        return hash(text.as_bytes());
    }
    hash(text.to_lowercase().as_bytes())
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
