//! How we tell a person what is wrong: one line, the place, the next step.
//!
//! A [`Problem`] is data. Only `render` turns it into text; nothing here prints.

mod clean;
mod count;
mod render;
mod suggest;

pub use clean::clean;
pub use count::several;
pub use render::render;
pub use suggest::similar;

use std::fmt;
use std::ops::Range;

/// Something a person has to know about, with its place and what to do next.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Problem {
    /// A short stable name for tests and scripts, e.g. `units-differ`.
    pub code: &'static str,
    /// What is wrong: one line, lower case, no full stop, names in back-quotes.
    pub message: String,
    /// Where it stands, when it stands in a text.
    pub place: Option<Place>,
    /// Next steps a person can take, one a line.
    pub help: Vec<String>,
}

/// A place in a text: its name, the text itself and marked spans.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Place {
    /// What the text is, e.g. `formula of links.margin` or a file name with its line.
    pub origin: String,
    /// The text that the spans point into.
    pub source: String,
    /// Marks; the first is the main one.
    pub labels: Vec<Label>,
}

/// One marked span of bytes and what is said about it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Label {
    /// Bytes of the source.
    pub span: Range<usize>,
    /// What is said under the mark; may be empty.
    pub text: String,
}

impl Problem {
    /// A problem without a place yet.
    pub fn new(code: &'static str, message: impl Into<String>) -> Self {
        Self {
            code,
            message: message.into(),
            place: None,
            help: Vec::new(),
        }
    }

    /// Marks a span of a source; a second call adds a second mark.
    #[must_use]
    pub fn at(mut self, span: Range<usize>, text: impl Into<String>) -> Self {
        let label = Label {
            span,
            text: text.into(),
        };
        match &mut self.place {
            Some(place) => place.labels.push(label),
            None => {
                self.place = Some(Place {
                    origin: String::new(),
                    source: String::new(),
                    labels: vec![label],
                });
            }
        }
        self
    }

    /// Says which text the marks point into.
    #[must_use]
    pub fn within(mut self, origin: impl Into<String>, source: impl Into<String>) -> Self {
        let (origin, source) = (origin.into(), source.into());
        match &mut self.place {
            Some(place) => {
                place.origin = origin;
                place.source = source;
            }
            None => {
                self.place = Some(Place {
                    origin,
                    source,
                    labels: Vec::new(),
                })
            }
        }
        self
    }

    /// Adds a next step.
    #[must_use]
    pub fn help(mut self, step: impl Into<String>) -> Self {
        self.help.push(step.into());
        self
    }

    /// Adds "did you mean" when one of the candidates is close to the word.
    #[must_use]
    pub fn did_you_mean<'a>(
        self,
        word: &str,
        candidates: impl IntoIterator<Item = &'a str>,
    ) -> Self {
        match similar(word, candidates) {
            Some(best) => {
                let step = format!("did you mean `{best}`?");
                self.help(step)
            }
            None => self,
        }
    }
}

impl fmt::Display for Problem {
    /// The message alone, on one line.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&clean(&self.message))
    }
}

impl std::error::Error for Problem {}

/// How much a finding weighs.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Severity {
    /// Worth knowing.
    Note,
    /// Works, but think again.
    Caution,
    /// Will not work or must not be done.
    Stop,
}

impl Severity {
    /// The word a person reads.
    pub fn word(self) -> &'static str {
        match self {
            Self::Note => "note",
            Self::Caution => "caution",
            Self::Stop => "stop",
        }
    }

    /// Reads the word back.
    pub fn from_word(word: &str) -> Option<Self> {
        [Self::Note, Self::Caution, Self::Stop]
            .into_iter()
            .find(|s| s.word() == word)
    }
}
