//! By what a plan and a state of it are known, so that a returned workbook finds its plan.
//!
//! The plan keeps its id from the first export on, whatever is edited afterwards; it is made from what
//! the plan was then. The revision is the checksum of the plan file that the export carries along,
//! so that a merge needs nothing but the returned file.

use crate::files::Checksum;

/// Gives the text of a plan as its file has it, piece by piece: that of a large plan is not to lie
/// beside everything else.
pub type Base<'a> = &'a dyn Fn(&mut dyn FnMut(&str));

/// So many hexadecimal digits make an id; two plans with the same are one in 2^80.
const ID_DIGITS: usize = 20;

/// So many digits of a revision are shown to people.
const SHORT: usize = 12;

/// By what a plan and a state of it are known.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Identity {
    /// The id of the plan.
    pub id: String,
    /// The revision: the checksum of the plan file.
    pub revision: String,
    /// The checksum of the plan that the export carries along; the same as the revision today.
    pub base: String,
}

impl Identity {
    /// Of a plan whose text comes in pieces; `id` is the one that it keeps, if it keeps one.
    pub fn new(id: Option<&str>, base: Base<'_>) -> Self {
        let mut sum = Checksum::default();
        base(&mut |piece| sum.add(piece.as_bytes()));
        let sum = sum.digits();
        Self {
            id: id.map_or_else(|| new_id(base), str::to_owned),
            revision: sum.clone(),
            base: sum,
        }
    }

    /// The first digits of the revision, for people.
    pub fn short_revision(&self) -> &str {
        self.revision.get(..SHORT).unwrap_or(&self.revision)
    }
}

/// An id for a plan that has none yet, made from its text.
pub fn new_id(base: Base<'_>) -> String {
    let mut sum = Checksum::default();
    sum.add(b"portledger plan\n");
    base(&mut |piece| sum.add(piece.as_bytes()));
    let mut id = sum.digits();
    id.truncate(ID_DIGITS);
    id
}
