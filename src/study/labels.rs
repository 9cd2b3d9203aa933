//! Names for the labels of cables: short, unique, the same at both ends, never the purpose.
//!
//! A label has to survive a spreadsheet: nothing in it reads as a number, a date or a fraction.
//! It hangs on the id of the link alone, so that rows may be moved.

use super::Look;
use crate::table::RowId;
use rustc_hash::FxHashSet;

/// The longest label.
const LONGEST: usize = 10;

/// Letters and digits of a label that is made: no vowels, so that no word comes out, and no two
/// that look alike.
const LETTERS: &[u8] = b"CDFGHJKMNPRTVWXY34679";

/// The letter that a label begins with that is made: no month and no number begins so.
const FIRST: char = 'K';

/// How many letters follow it.
const MADE: u32 = 4;

/// More letters than this in a row may be a word that says what the cable is for.
const MOST_LETTERS: usize = 3;

/// So many members of one link get labels.
const MOST_MEMBERS: usize = 1000;

/// Words that a spreadsheet takes for a date or a truth.
const TAKEN: [&str; 22] = [
    "JAN", "FEB", "MAR", "MRZ", "APR", "AVR", "MAY", "MAI", "JUN", "JUL", "AUG", "AGO", "SEP",
    "SET", "OCT", "OKT", "OUT", "NOV", "DEC", "DEZ", "DIC", "ENE",
];

/// The label of one cable, for both its ends.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Label {
    /// The link.
    pub link: RowId,
    /// Which of its cables, from 1.
    pub cable: usize,
    /// The text.
    pub text: String,
}

/// The labels of all cables, in the order shown; the cable of an out link keeps its own.
pub fn labels(links: Look<'_>) -> Vec<Label> {
    let rank = links.plan.rows(links.sheet).rank();
    let mut rows: Vec<(String, RowId)> = links
        .rows()
        .iter()
        .map(|row| (links.id(*row).trim().to_uppercase(), *row))
        .collect();
    // By name, so that the order of rows does not matter; of two of one name the first shown.
    rows.sort_by(|a, b| a.0.cmp(&b.0).then(rank[a.1.at()].cmp(&rank[b.1.at()])));
    let mut taken = FxHashSet::default();
    let mut labels = Vec::new();
    // Those that keep their own name come first, so that no made one takes it.
    for keeps in [true, false] {
        for (id, row) in rows.iter().filter(|(id, _)| is_safe(id) == keeps) {
            let texts = free(id, keeps, n_of(links, *row), &mut taken);
            let label = |(at, text)| Label {
                link: *row,
                cable: at + 1,
                text,
            };
            labels.extend(texts.into_iter().enumerate().map(label));
        }
    }
    labels.sort_by_key(|label| (rank[label.link.at()], label.cable));
    labels
}

/// How many labels a link gets: one for each of its cables.
pub fn n_of(links: Look<'_>, link: RowId) -> usize {
    let cables = links.number("cables", link).unwrap_or(1.0);
    (cables.max(1.0) as usize).min(MOST_MEMBERS)
}

/// The first texts for the cables of a link that nobody has.
fn free(id: &str, keeps: bool, n: usize, taken: &mut FxHashSet<String>) -> Vec<String> {
    let mut salt = 0;
    loop {
        let stem = match (keeps, salt) {
            (true, 0) => id.to_owned(),
            _ => made(id, salt),
        };
        let texts: Vec<String> = match n {
            1 => vec![stem],
            _ => (0..n).map(|at| format!("{stem}{}", member(at))).collect(),
        };
        if texts.iter().all(|text| !taken.contains(&folded(text))) {
            taken.extend(texts.iter().map(|text| folded(text)));
            return texts;
        }
        salt += 1;
    }
}

/// Whether a name can be a label as it is, and says nothing of what the cable is for.
pub fn is_safe(text: &str) -> bool {
    let upper = text.to_uppercase();
    let runs = upper.split(|c: char| !c.is_ascii_alphabetic());
    let longest = runs.map(str::len).max().unwrap_or(0);
    let stem: String = upper
        .chars()
        .take_while(char::is_ascii_alphabetic)
        .collect();
    !text.is_empty()
        && text.len() <= LONGEST
        && text.chars().all(|c| c.is_ascii_alphanumeric())
        && upper.starts_with(|c: char| c.is_ascii_alphabetic())
        && upper.contains(|c: char| c.is_ascii_digit())
        && longest <= MOST_LETTERS
        && !TAKEN.contains(&stem.as_str())
}

/// A text made of a name: the same for the same name.
fn made(id: &str, salt: u64) -> String {
    // FNV-1a: short, and the same on every machine.
    let bytes = id.bytes().chain(salt.to_le_bytes());
    let hash = bytes.fold(0xcbf2_9ce4_8422_2325_u64, |hash, byte| {
        (hash ^ u64::from(byte)).wrapping_mul(0x0100_0000_01b3)
    });
    let n = LETTERS.len() as u64;
    let letters = (0..MADE).map(|at| {
        let digit = (hash >> (at * 12)) % n;
        char::from(LETTERS[usize::try_from(digit).unwrap_or(0)])
    });
    std::iter::once(FIRST).chain(letters).collect()
}

/// The letters of a cable of several: A, B, ... Z, AA, AB.
fn member(at: usize) -> String {
    let letter = |n: usize| char::from(b'A' + (n % 26) as u8);
    match at / 26 {
        0 => letter(at).to_string(),
        n => format!("{}{}", member(n - 1), letter(at)),
    }
}

/// A text in which characters that look alike are the same.
fn folded(text: &str) -> String {
    let alike = |c: char| match c.to_ascii_uppercase() {
        'O' | 'Q' => '0',
        'I' | 'L' => '1',
        other => other,
    };
    text.chars().map(alike).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_a_spreadsheet_would_change_is_no_label() {
        for text in [
            "1/2", "3-4", "1E5", "007", "12", "MAR1", "DEC12", "may3", "uplink1", "backup2", "a b",
            "", "M", "TRUE", "=M1", "M101-1", "é1",
        ] {
            assert!(!is_safe(text), "{text}");
        }
        for text in ["M101", "P105", "M12O", "x7", "AB12C"] {
            assert!(is_safe(text), "{text}");
        }
        for id in ["1/2", "3-4", "UPLINK TO CORE", ""] {
            for salt in 0..50 {
                let label = made(id, salt);
                assert_eq!(label.len(), 5);
                assert!(label.starts_with('K') && label.is_ascii(), "{label}");
            }
        }
        assert_eq!([0, 25, 26, 27].map(member), ["A", "Z", "AA", "AB"]);
    }
}
