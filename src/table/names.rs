//! Every text of a plan once, as a code; comparing codes compares texts without regard to case.
//!
//! Only grows while a plan is open. Shared between plan and engine.

use super::ABSENT;
use indexmap::IndexSet;
use rustc_hash::FxBuildHasher;
use std::sync::{RwLock, RwLockReadGuard, RwLockWriteGuard};

/// The texts of a plan by code.
#[derive(Debug, Default)]
pub struct Names {
    inner: RwLock<Inner>,
}

#[derive(Debug, Default)]
struct Inner {
    texts: IndexSet<Box<str>, FxBuildHasher>,
    /// For each code the code of its lower-case form.
    folded: Vec<u32>,
    /// For each code that is its own lower-case form, how many texts share it.
    spellings: Vec<u32>,
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
        self.inner.texts.reserve(n_texts);
        self.inner.folded.reserve(n_texts);
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
        self.view().inner.texts.len()
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
    fn add(&mut self, text: &str) -> u32 {
        if let Some(at) = self.texts.get_index_of(text) {
            return code_of(at);
        }
        let lower = text.to_lowercase();
        let folded = if lower == text {
            None
        } else {
            Some(self.add(&lower))
        };
        let (at, _) = self.texts.insert_full(text.into());
        let folded = folded.unwrap_or(code_of(at));
        self.folded.push(folded);
        self.spellings.push(0);
        self.spellings[folded as usize] += 1;
        code_of(at)
    }
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
        self.inner.texts.get_index_of(text).map(code_of)
    }

    /// The text of a code; empty for an absent one.
    pub fn text(&self, code: u32) -> &str {
        self.inner
            .texts
            .get_index(code as usize)
            .map_or("", |text| text)
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
        self.folded(code) == code && self.inner.spellings.get(code as usize) == Some(&1)
    }

    /// For each code the code of its lower-case form.
    pub fn folds(&self) -> &[u32] {
        &self.inner.folded
    }
}

#[cfg(test)]
mod tests {
    use super::*;

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
        let mixed = names.writer().code("Om3");
        assert_eq!(mixed, names.code("Om3"));
    }
}
