//! Whether a formula that came back is the one of its column: all rows of a computed column have one
//! formula but for the number of their row, wherever rows and columns were moved to.
//!
//! So no text of ours is compared, which other programs may spell in another way.

use rustc_hash::FxHashMap;
use rustc_hash::FxHasher;
use std::hash::Hasher;

/// Among fewer formulas nobody can tell which is the usual one.
const LEAST: usize = 3;

/// A formula without the number of its row; two rows of a column have the same.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Form(u64);

impl Form {
    /// Of the formula in a row; none where a program left the formula to another cell.
    pub fn of(formula: &str, row: usize) -> Option<Self> {
        if formula.trim().is_empty() {
            return None;
        }
        let own = row.to_string();
        let mut hasher = FxHasher::default();
        let mut rest = formula.as_bytes();
        let mut is_quoted = false;
        let mut before = b' ';
        while let Some(&byte) = rest.first() {
            let n_letters = letters(rest);
            let is_begun = before.is_ascii_alphanumeric() || matches!(before, b'_' | b'"');
            let digits = &rest[n_letters..];
            let n_digits = digits.iter().take_while(|c| c.is_ascii_digit()).count();
            let behind = digits.get(n_digits).copied().unwrap_or(b' ');
            let ends = !behind.is_ascii_alphanumeric() && !matches!(behind, b'_' | b'(' | b'!');
            let is_own = (1..=3).contains(&n_letters) && digits[..n_digits] == *own.as_bytes();
            if !is_quoted && !is_begun && ends && is_own {
                hasher.write(&rest[..n_letters]);
                hasher.write_u8(b'@');
                before = b'0';
                rest = &digits[n_digits..];
                continue;
            }
            is_quoted ^= byte == b'"';
            if is_quoted || !byte.is_ascii_whitespace() {
                hasher.write_u8(byte);
                before = byte;
            }
            rest = &rest[1..];
        }
        Some(Self(hasher.finish()))
    }
}

/// How many capital letters a text begins with.
fn letters(text: &[u8]) -> usize {
    let capitals = text.iter().take(4);
    capitals.take_while(|c| c.is_ascii_uppercase()).count()
}

/// The form that more than half of a column has; none where no form is as usual as that.
pub fn usual(forms: impl Iterator<Item = Form>) -> Option<Form> {
    let mut counts: FxHashMap<Form, usize> = FxHashMap::default();
    let mut n_all = 0;
    for form in forms {
        *counts.entry(form).or_default() += 1;
        n_all += 1;
    }
    let (form, n) = counts.into_iter().max_by_key(|(_, n)| *n)?;
    (n_all >= LEAST && n * 2 > n_all).then_some(form)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rows_of_a_column_have_one_form_and_other_formulas_another() {
        let of = |formula: &str, row| Form::of(formula, row).unwrap();
        let usual = of("IFERROR(K5-J5,\"\")", 5);
        assert_eq!(of("IFERROR(K17-J17,\"\")", 17), usual);
        assert_eq!(of("IFERROR( K17 - J17, \"\")", 17), usual);
        for other in [
            "IFERROR(K17-J16,\"\")",
            "IFERROR(K17-J17,\"-\")",
            "K17-J17",
            "IFERROR(K17-J17*2,\"\")",
            "IFERROR($K$17-J17,\"\")",
        ] {
            assert_ne!(of(other, 17), usual, "{other}");
        }
        // What names another row on purpose does so in all rows.
        let looked_up = |row: usize| of(&format!("INDEX(Links!$I$5:$I$50,A{row})"), row);
        assert_eq!(looked_up(5), looked_up(50));
        assert_eq!(of("LOG10(A10)&\"A10\"", 10), of("LOG10(A11)&\"A10\"", 11));
        assert_eq!(of("[.A7]+[$Links.B$7]", 7), of("[.A8]+[$Links.B$7]", 8));
        assert_eq!(Form::of(" ", 3), None);
    }

    #[test]
    fn the_usual_form_is_that_of_more_than_half() {
        let of = |formulas: &[&str]| usual(formulas.iter().filter_map(|f| Form::of(f, 1)));
        assert_eq!(of(&["A1", "A1", "B1"]), Form::of("A1", 1));
        assert_eq!(of(&["A1", "A1"]), None);
        assert_eq!(of(&["A1", "A1", "B1", "B1"]), None);
        assert_eq!(of(&[]), None);
    }
}
