//! Bytes of a table as text, and what separates its cells.
//!
//! Rows and headings are read elsewhere.

use super::report::Report;
use crate::files::table_text::TableText;
use std::borrow::Cow;
use std::collections::BTreeMap;

/// What can separate cells, the most usual first.
const SEPARATORS: [char; 4] = [',', ';', '\t', '|'];

/// How many rows are looked at to find the separator.
const SAMPLE: usize = 200;

/// What the bytes 0x80 to 0x9f are in Windows-1252; the five unused ones stay control characters.
const WINDOWS_1252: [char; 32] = [
    '€', '\u{81}', '‚', 'ƒ', '„', '…', '†', '‡', 'ˆ', '‰', 'Š', '‹', 'Œ', '\u{8d}', 'Ž', '\u{8f}',
    '\u{90}', '‘', '’', '“', '”', '•', '–', '—', '˜', '™', 'š', '›', 'œ', '\u{9d}', 'ž', 'Ÿ',
];

/// The text of a file in UTF-8, in UTF-16 with its mark, or in Windows-1252.
pub(super) fn text<'b>(bytes: &'b [u8], report: &mut Report) -> Cow<'b, str> {
    match bytes {
        [0xef, 0xbb, 0xbf, rest @ ..] => plain(rest, report),
        [0xff, 0xfe, rest @ ..] => Cow::Owned(utf_16(rest, u16::from_le_bytes, report)),
        [0xfe, 0xff, rest @ ..] => Cow::Owned(utf_16(rest, u16::from_be_bytes, report)),
        _ => plain(bytes, report),
    }
}

fn plain<'b>(bytes: &'b [u8], report: &mut Report) -> Cow<'b, str> {
    match std::str::from_utf8(bytes) {
        Ok(text) => Cow::Borrowed(text),
        Err(_) => {
            report.note("the file is not UTF-8; it was read as Windows-1252".to_owned());
            Cow::Owned(bytes.iter().map(|byte| windows_1252(*byte)).collect())
        }
    }
}

fn windows_1252(byte: u8) -> char {
    match byte {
        0x80..=0x9f => WINDOWS_1252[usize::from(byte - 0x80)],
        _ => char::from(byte),
    }
}

fn utf_16(bytes: &[u8], unit: fn([u8; 2]) -> u16, report: &mut Report) -> String {
    let (pairs, rest) = bytes.as_chunks::<2>();
    let mut n_lost = usize::from(!rest.is_empty());
    let text = char::decode_utf16(pairs.iter().map(|pair| unit(*pair)))
        .map(|c| {
            c.unwrap_or_else(|_| {
                n_lost += 1;
                char::REPLACEMENT_CHARACTER
            })
        })
        .collect();
    report.note("the file was read as UTF-16".to_owned());
    if n_lost > 0 {
        report.note(format!("{n_lost} characters are damaged in the file"));
    }
    text
}

/// The text without a line that names its separator, and the separator.
pub(super) fn separator(text: &str) -> (&str, char) {
    if let Some((separator, rest)) = named(text) {
        return (rest, separator);
    }
    let best = SEPARATORS
        .into_iter()
        .rev()
        .map(|separator| (regularity(text, separator), separator))
        .max_by_key(|(regularity, _)| *regularity);
    (text, best.map_or(',', |(_, separator)| separator))
}

/// A first line such as `sep=;`, as spreadsheets write it.
fn named(text: &str) -> Option<(char, &str)> {
    let rest = text.strip_prefix("sep=")?;
    let separator = SEPARATORS
        .into_iter()
        .find(|known| rest.starts_with(*known))?;
    let rest = &rest[1..];
    let rest = rest.strip_prefix('\r').unwrap_or(rest);
    // The line stays as an empty row, so that rows keep the numbers a person sees.
    rest.starts_with('\n').then_some((separator, rest))
}

/// How many rows have the usual number of cells, and that number; nothing for single cells.
fn regularity(text: &str, separator: char) -> (usize, usize) {
    let (mut reader, mut cells) = (TableText::new(text, separator), Vec::new());
    let (mut rows_by_width, mut n_rows) = (BTreeMap::new(), 0);
    while n_rows < SAMPLE && reader.next_row(&mut cells).is_some() {
        if !cells.is_empty() {
            *rows_by_width.entry(cells.len()).or_insert(0) += 1;
            n_rows += 1;
        }
    }
    let usual = rows_by_width.into_iter().max_by_key(|(_, n)| *n);
    match usual {
        Some((width, n)) if width > 1 => (n, width),
        Some(_) | None => (0, 0),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn check(bytes: &[u8], text_expected: &str, n_notes: usize) {
        let mut report = Report::default();
        assert_eq!(text(bytes, &mut report), text_expected);
        assert_eq!(report.finish().0.len(), n_notes);
    }

    #[test]
    fn four_encodings_are_read() {
        check("pump à".as_bytes(), "pump à", 0);
        check(b"\xef\xbb\xbfpump", "pump", 0);
        check(b"\xff\xfep\x00\xe0\x00", "pà", 1);
        check(b"\xfe\xff\x00p\x00\xe0", "pà", 1);
        check(b"\xfe\xff\xd8\x00\x00p\x00", "\u{fffd}p", 2);
        check(b"10 \x80 \x96 \xe0", "10 € – à", 1);
    }

    #[test]
    fn the_separator_is_what_cuts_rows_alike() {
        for (text, separator_expected) in [
            ("id,from\nL1,a\n", ','),
            ("id;from;notes\nL1;a;b, c, d\nL2;a;e, f, g\n", ';'),
            ("id\tnotes\nL1\ta, b; c\n", '\t'),
            ("id|from\nL1|a\n", '|'),
            ("id\nL1\n", ','),
            ("", ','),
            ("id,notes\nL1,\"a;b\nc;d\"\nL2,\n", ','),
        ] {
            assert_eq!(separator(text), (text, separator_expected), "{text}");
        }
        assert_eq!(separator("sep=;\r\nid,a\n"), ("\nid,a\n", ';'));
    }
}
