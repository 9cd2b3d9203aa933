//! What the headings of a table mean, as a person said it for an import.
//!
//! Kept with the plan so that the same headings need not be explained again. How a table is read
//! is decided above; here it is text.

/// What the headings of one table mean.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Mapping {
    /// All headings of the table in order, by which it is known again.
    pub headings: Vec<String>,
    /// Headings with where their cells go, in the order of the headings as texts: `column`,
    /// `column:unit`, `text` for a column of text, or `-` for none.
    pub columns: Vec<(String, String)>,
}
