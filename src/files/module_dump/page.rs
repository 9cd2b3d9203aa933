//! Numbers and texts at byte offsets of a page of memory, the most significant byte first.
//!
//! Beyond the end everything reads as zero; the lengths of pages are checked before.

use super::Sum;

/// Some bytes of memory; offsets count from its start.
#[derive(Debug, Clone, Copy)]
pub(super) struct Page<'b>(pub(super) &'b [u8]);

impl Page<'_> {
    pub(super) fn byte(self, at: usize) -> u8 {
        self.0.get(at).copied().unwrap_or(0)
    }

    pub(super) fn bit(self, at: usize, bit: u8) -> bool {
        self.byte(at) >> bit & 1 == 1
    }

    pub(super) fn word(self, at: usize) -> u16 {
        u16::from_be_bytes([self.byte(at), self.byte(at + 1)])
    }

    pub(super) fn signed(self, at: usize) -> i16 {
        i16::from_be_bytes([self.byte(at), self.byte(at + 1)])
    }

    /// IEEE 754 single precision.
    pub(super) fn float(self, at: usize) -> f64 {
        let bytes = [0, 1, 2, 3].map(|next| self.byte(at + next));
        f64::from(f32::from_be_bytes(bytes))
    }

    /// ASCII padded with spaces; what is not printable is shown as a replacement character, and a
    /// field of zeros or of ones throughout is empty.
    pub(super) fn text(self, at: usize, n: usize) -> String {
        let bytes: Vec<u8> = (at..at + n).map(|at| self.byte(at)).collect();
        if bytes.iter().all(|byte| matches!(byte, 0 | 0xff)) {
            return String::new();
        }
        let shown = |byte: u8| match byte {
            b' '..=b'~' => char::from(byte),
            0 => ' ',
            _ => char::REPLACEMENT_CHARACTER,
        };
        let text: String = bytes.into_iter().map(shown).collect();
        text.trim().to_owned()
    }

    /// The check code that stands behind some bytes.
    pub(super) fn sum(self, from: usize, code_at: usize) -> Sum {
        let bytes = (from..code_at).map(|at| self.byte(at));
        Sum {
            stored: self.byte(code_at),
            computed: bytes.fold(0, u8::wrapping_add),
        }
    }
}
