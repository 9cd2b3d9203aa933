//! Bytes in and out: the plan file, saving without loss, tables from other programs, and memory
//! dumps of modules.
//!
//! Forms and their reading only; what an open plan does with them is decided by the desk.

mod edit_text;
pub mod import;
pub mod journal;
pub mod module_dump;
pub mod own_column;
pub mod plan_file;
pub mod save;
pub mod side;
pub mod spreadsheet;
pub mod table_text;

use sha2::{Digest, Sha256};
use std::fmt::Write;

/// The SHA-256 of bytes that come piece by piece.
#[derive(Debug, Clone, Default)]
pub struct Checksum(Sha256);

impl Checksum {
    /// Goes on with more bytes.
    pub fn add(&mut self, bytes: &[u8]) {
        self.0.update(bytes);
    }

    /// The checksum of all bytes so far, in hexadecimal digits.
    pub fn digits(self) -> String {
        let bytes = self.0.finalize();
        bytes.iter().fold(String::new(), |mut out, byte| {
            // Writing to a string cannot fail.
            let _ = write!(out, "{byte:02x}");
            out
        })
    }
}

/// The SHA-256 of bytes in hexadecimal digits.
pub fn checksum(bytes: &[u8]) -> String {
    let mut sum = Checksum::default();
    sum.add(bytes);
    sum.digits()
}

/// Does some work while the checksum of bytes is made beside it.
pub fn checksum_beside<T: Send>(bytes: &[u8], work: impl FnOnce() -> T + Send) -> (T, String) {
    rayon::join(work, || checksum(bytes))
}

#[cfg(test)]
pub(crate) mod sample;
