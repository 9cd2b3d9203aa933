//! Bytes of a table as text, and what separates its cells.
//!
//! Rows and headings are read elsewhere.

use crate::files::table_text::TableText;
use crate::problem::Problem;
use encoding_rs::Encoding;
use encoding_rs::UTF_8;
use encoding_rs::UTF_16BE;
use encoding_rs::UTF_16LE;
use encoding_rs::WINDOWS_1252;
use std::borrow::Cow;
use std::collections::BTreeMap;

/// What can separate cells, the most usual first.
const SEPARATORS: [char; 4] = [',', ';', '\t', '|'];

/// How many rows are looked at to find the separator.
const SAMPLE: usize = 200;

/// So many bytes are looked at to see whether they are text.
const LOOKED_AT: usize = 4096;

/// The text of a file, in the encoding that is asked for, that its mark names, in UTF-8, or in
/// the one that it looks like.
pub(super) fn text<'b>(
    bytes: &'b [u8],
    asked: Option<&str>,
    notes: &mut Vec<String>,
) -> Result<Cow<'b, str>, Problem> {
    let (encoding, is_guess) = match asked {
        Some(label) => (named(label)?, false),
        None => found(bytes)?,
    };
    let (text, encoding, _) = encoding.decode(bytes);
    let lost = text.matches('\u{fffd}').count();
    if encoding != UTF_8 {
        let guess = match is_guess {
            true => "; that is a guess, say another one with --encoding",
            false => "",
        };
        notes.push(format!("the file was read as {}{guess}", shown(encoding)));
    }
    if lost > 0 {
        notes.push(format!("{lost} characters are damaged in the file"));
    }
    Ok(match text.contains('\0') {
        true => {
            notes.push("characters of no meaning (NUL) were left out".to_owned());
            Cow::Owned(text.replace('\0', ""))
        }
        false => text,
    })
}

fn shown(encoding: &'static Encoding) -> &'static str {
    match encoding.name() {
        "windows-1252" => "Windows-1252",
        "UTF-16LE" | "UTF-16BE" => "UTF-16",
        name => name,
    }
}

fn named(label: &str) -> Result<&'static Encoding, Problem> {
    Encoding::for_label(label.as_bytes()).ok_or_else(|| {
        let what = format!("`{label}` is no encoding that is known");
        let known = [
            "utf-8",
            "utf-16le",
            "windows-1252",
            "iso-8859-2",
            "shift_jis",
        ];
        Problem::new("no-such-encoding", what)
            .did_you_mean(label, known)
            .help(format!("name one such as {}", known.join(", ")))
    })
}

/// The encoding of bytes, and whether it is a guess.
fn found(bytes: &[u8]) -> Result<(&'static Encoding, bool), Problem> {
    if let Some((encoding, _)) = Encoding::for_bom(bytes) {
        return Ok((encoding, false));
    }
    if let Some(encoding) = wide(bytes) {
        return Ok((encoding, true));
    }
    let sample = &bytes[..bytes.len().min(LOOKED_AT)];
    let n_nuls = sample.iter().filter(|byte| **byte == 0).count();
    if n_nuls * 20 > sample.len() {
        let what = "this is neither a table of text nor a spreadsheet of a known form";
        return Err(
            Problem::new("not-a-table", what).help("name an xlsx, xlsb, xls, ods, csv or tsv file")
        );
    }
    match std::str::from_utf8(bytes) {
        Ok(_) => Ok((UTF_8, false)),
        Err(_) => Ok((WINDOWS_1252, true)),
    }
}

/// Whether bytes without a mark are text of two bytes a letter: every second one is mostly zero.
pub fn is_wide_text(bytes: &[u8]) -> bool {
    wide(bytes).is_some()
}

fn wide(bytes: &[u8]) -> Option<&'static Encoding> {
    let sample = &bytes[..bytes.len().min(LOOKED_AT)];
    let nuls = |from: usize| {
        let every = sample.iter().skip(from).step_by(2);
        every.filter(|byte| **byte == 0).count()
    };
    let (even, odd, half) = (nuls(0), nuls(1), sample.len() / 2);
    match (even, odd) {
        (few, many) if many * 10 > half * 7 && few * 10 < half => Some(UTF_16LE),
        (many, few) if many * 10 > half * 7 && few * 10 < half => Some(UTF_16BE),
        (_, _) => None,
    }
}

/// Refuses text of another kind under the name of a table.
pub(super) fn must_be_table(text: &str) -> Result<(), Problem> {
    let start: String = text.trim_start().chars().take(20).collect();
    let start = start.to_lowercase();
    let what = match start.as_str() {
        start if start.starts_with("<!doctype") || start.starts_with("<html") => "a web page",
        start if start.starts_with("<table") => "a web page",
        start if start.starts_with("<?xml") => "an XML file",
        start if start.starts_with("%pdf") => "a PDF",
        start if start.starts_with("{\\rtf") => "a text with layout",
        start if start.starts_with("portledger =") => {
            let what = "this is a plan, not a table";
            return Err(Problem::new("not-a-table", what).help(
                "open it, or show a sheet of it as csv: portledger show PLAN links --as csv",
            ));
        }
        _ => return Ok(()),
    };
    Err(Problem::new(
        "not-a-table",
        format!("this is {what}, whatever its name says"),
    )
    .help("open it where it comes from and save the table as xlsx, ods or csv"))
}

/// The text without a line that names its separator, and the separator.
pub(super) fn separator(text: &str) -> (&str, char) {
    if let Some((separator, rest)) = named_separator(text) {
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
fn named_separator(text: &str) -> Option<(char, &str)> {
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
    // Titles and sections are single cells between rows that are cut alike.
    rows_by_width.remove(&1);
    let usual = rows_by_width.into_iter().max_by_key(|(_, n)| *n);
    match usual {
        Some((width, n)) => (n, width),
        None => (0, 0),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn check(bytes: &[u8], text_expected: &str, n_notes: usize) {
        let mut notes = Vec::new();
        assert_eq!(text(bytes, None, &mut notes).unwrap(), text_expected);
        assert_eq!(notes.len(), n_notes, "{notes:?}");
    }

    #[test]
    fn encodings_are_read_by_their_mark_or_their_look() {
        check("pump à".as_bytes(), "pump à", 0);
        check(b"\xef\xbb\xbfpump", "pump", 0);
        check(b"\xff\xfep\x00\xe0\x00", "pà", 1);
        check(b"\xfe\xff\x00p\x00\xe0", "pà", 1);
        check(b"\xfe\xff\xd8\x00\x00p\x00", "\u{fffd}p\u{fffd}", 2);
        check(b"10 \x80 \x96 \xe0", "10 € – à", 1);
        check(b"i\0d\0,\0f\0r\0o\0m\0", "id,from", 1);
        check(b"\0i\0d\0,\0f\0r\0o\0m", "id,from", 1);
    }

    #[test]
    fn an_encoding_can_be_said() {
        let mut notes = Vec::new();
        let read = text(b"l\xb9ka", Some("iso-8859-2"), &mut notes).unwrap();
        assert_eq!(read, "lška");
        assert_eq!(notes, ["the file was read as ISO-8859-2"]);
        let problem = text(b"", Some("utf-9"), &mut notes).unwrap_err();
        assert_eq!(problem.code, "no-such-encoding");
    }

    #[test]
    fn what_is_no_table_is_refused() {
        let bytes = [b"BM\0\0\x01\0".as_slice(), &[0; 90]].concat();
        assert_eq!(
            text(&bytes, None, &mut Vec::new()).unwrap_err().code,
            "not-a-table"
        );
        for text in [
            "<html><table>",
            " <!DOCTYPE html>",
            "<?xml version='1.0'?>",
            "%PDF-1.7",
        ] {
            assert_eq!(must_be_table(text).unwrap_err().code, "not-a-table");
        }
        assert!(must_be_table("id,from\n").is_ok());
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
            ("Cables of the pump house\n\n\nid;from\nL1;a\n", ';'),
        ] {
            assert_eq!(separator(text), (text, separator_expected), "{text}");
        }
        assert_eq!(separator("sep=;\r\nid,a\n"), ("\nid,a\n", ';'));
    }
}
