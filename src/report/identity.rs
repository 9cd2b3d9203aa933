//! By what a plan and a state of it are known, so that a returned workbook finds its plan.
//!
//! The plan keeps its id from the first export on, whatever is edited afterwards; it is made from what
//! the plan was then. The revision is the checksum of the plan file that the export carries along,
//! so that a merge needs nothing but the returned file.

use sha2::Digest;
use sha2::Sha256;
use std::fmt::Write;

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
    /// Of a plan with this text; `id` is the one that it keeps, if it keeps one.
    pub fn new(id: Option<&str>, base: &str) -> Self {
        let sum = checksum(base);
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
pub fn new_id(text: &str) -> String {
    let mut sum = Sha256::new_with_prefix("portledger plan\n");
    sum.update(text);
    let mut id = digits(&sum.finalize());
    id.truncate(ID_DIGITS);
    id
}

/// The SHA-256 of a text, in hexadecimal digits.
pub fn checksum(text: &str) -> String {
    digits(&Sha256::digest(text.as_bytes()))
}

fn digits(bytes: &[u8]) -> String {
    let mut digits = String::with_capacity(2 * bytes.len());
    for byte in bytes {
        // Writing to a text does not fail.
        let _ = write!(digits, "{byte:02x}");
    }
    digits
}
