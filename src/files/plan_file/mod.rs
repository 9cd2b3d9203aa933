//! The plan file: one text that a person can read, compare and mend.
//!
//! TOML for everything about the plan, one block of rows a sheet, a checksum in the last line.
//! Only what a person entered stands in it. Bytes are read and written in `save.rs`.
//!
//! ```text
//! portledger = 1
//! title = "Aquarium campus"
//!
//! [assumptions]
//! reserve = { value = "1 dB", source = "house rule" }
//!
//! [rows]
//! links = '''
//! id,from,to,length
//! L1,quarantine,pump house,85
//! '''
//! # sha256 = 9f86d081884c7d65...
//! ```

mod extras;
mod mapping;
mod proposal;
mod read;
mod rows;
mod source;
mod toml_text;
mod view;
mod write;

pub use read::{read, text_of};
pub use write::{write, write_in_pieces};

use crate::sheet::ColumnKind;

/// The format this version writes.
pub const FORMAT: u64 = 1;

/// The largest plan file.
pub const MAX_BYTES: usize = 256 << 20;

/// How the last line begins.
const SEAL: &str = "# sha256 = ";

/// The checksum of a text, as it stands in the last line.
fn checksum(text: &str) -> String {
    crate::files::checksum(text.as_bytes())
}

/// The words of the kinds of column.
const KINDS: [(ColumnKind, &str); 5] = [
    (ColumnKind::Number, "number"),
    (ColumnKind::Text, "text"),
    (ColumnKind::Choice, "choice"),
    (ColumnKind::Row, "row"),
    (ColumnKind::Flag, "flag"),
];

#[cfg(test)]
mod tests;
