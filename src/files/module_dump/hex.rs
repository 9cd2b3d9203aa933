//! From the bytes of a file to the memory of a module: binary as it is, hex text line by line.
//!
//! In hex text a line is an offset or none, pairs of digits, and a text column or none. Lines
//! that begin with neither, such as headings, and comments after `#`, `;` or `//` hold no bytes.
//! Knows no field of the memory.

use crate::problem::Problem;
use std::borrow::Cow;

/// More memory than any module of the known layouts has.
const MAX_MEMORY: usize = 16 << 10;

/// The memory that a file holds.
#[derive(Debug)]
pub(super) struct Memory<'b> {
    pub(super) bytes: Cow<'b, [u8]>,
    /// The first line after the first bytes that held none and was no comment.
    pub(super) skipped: Option<usize>,
}

/// Whether a file is no text: it has a zero near its start, or begins with a control character.
pub(super) fn is_binary(bytes: &[u8]) -> bool {
    // Tables come in UTF-16 as well, with its mark, and are full of zeros.
    if bytes.starts_with(&[0xff, 0xfe]) || bytes.starts_with(&[0xfe, 0xff]) {
        return false;
    }
    let is_control = |byte: &u8| *byte < b' ' && !matches!(byte, b'\t' | b'\n' | b'\r' | 0x0c);
    bytes.first().is_some_and(is_control) || bytes.iter().take(256).any(|byte| *byte == 0)
}

/// Whether one of the first lines is hex text of eight bytes or more; in one piece it takes
/// sixteen, as a table may begin with long numbers.
pub(super) fn begins_as_hex(bytes: &[u8]) -> bool {
    let start = &bytes[..bytes.len().min(4096)];
    let text = String::from_utf8_lossy(start);
    let lines = text.lines().filter(|line| !is_blank(line)).take(8);
    let mut read = lines.map(|line| (line, pairs_of(line, true).1.len()));
    read.any(|(line, n_bytes)| match tokens(line).len() {
        ..4 => n_bytes >= 16,
        _ => n_bytes >= 8,
    })
}

/// The memory in a file.
///
/// # Errors
/// A text without bytes, or one whose offsets leave a gap or go back.
pub(super) fn memory(bytes: &[u8]) -> Result<Memory<'_>, Problem> {
    if is_binary(bytes) {
        return Ok(Memory {
            bytes: Cow::Borrowed(bytes),
            skipped: None,
        });
    }
    let text = String::from_utf8_lossy(bytes);
    let text = text.trim_start_matches('\u{feff}');
    let mut reader = Reader::default();
    let mut lines = text.lines().enumerate().peekable();
    while let Some((at, line)) = lines.next() {
        let next = lines.peek().map_or("", |(_, next)| next);
        reader.line(at + 1, line, next)?;
    }
    if reader.bytes.is_empty() {
        return Err(Problem::new(
            "dump-no-bytes",
            "the file is neither a binary dump nor hex text",
        )
        .help("hex text has pairs of digits, with or without an offset before: 0000: 03 04 07 10")
        .help("a table of links has headings in its first row"));
    }
    Ok(Memory {
        bytes: Cow::Owned(reader.bytes),
        skipped: reader.skipped,
    })
}

/// Blank, or a comment alone.
fn is_blank(line: &str) -> bool {
    let line = line.trim();
    line.is_empty() || ["#", ";", "//"].iter().any(|mark| line.starts_with(mark))
}

/// A token of a line.
#[derive(Debug, Clone, Copy)]
struct Token<'l> {
    text: &'l str,
    /// Whether a wide gap is before it.
    is_apart: bool,
}

fn tokens(line: &str) -> Vec<Token<'_>> {
    let mut found = Vec::new();
    let mut rest = line;
    loop {
        let behind = rest.trim_start();
        let gap = &rest[..rest.len() - behind.len()];
        let end = behind.find(char::is_whitespace).unwrap_or(behind.len());
        let (text, after) = behind.split_at(end);
        if text.is_empty() {
            return found;
        }
        found.push(Token {
            text,
            is_apart: gap.len() > 1 || gap.contains('\t'),
        });
        rest = after;
    }
}

/// An offset as it may be meant: in hex, and in decimal where its digits allow.
#[derive(Debug, Clone, Copy)]
struct Offset<'l> {
    text: &'l str,
    hex: u64,
    decimal: Option<u64>,
}

/// In which base the offsets of a dump count; the first that is not zero tells.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Base {
    Ten,
    Sixteen,
}

impl<'l> Offset<'l> {
    fn of(text: &'l str) -> Option<Self> {
        let digits = text.strip_prefix("0x").or(text.strip_prefix("0X"));
        let plain = digits.unwrap_or(text);
        let plain = plain.strip_suffix(['h', 'H']).unwrap_or(plain);
        if plain.is_empty() || plain.len() > 8 || !is_hex(plain) {
            return None;
        }
        Some(Self {
            text,
            hex: u64::from_str_radix(plain, 16).ok()?,
            decimal: match digits {
                Some(_) => None,
                None => plain.parse().ok(),
            },
        })
    }

    /// In a base, or in either while none is known.
    fn is(self, at: u64, base: Option<Base>) -> bool {
        self.in_base(base).any(|offset| offset == at)
    }

    fn in_base(self, base: Option<Base>) -> impl Iterator<Item = u64> {
        let hex = (base != Some(Base::Ten)).then_some(self.hex);
        let decimal = self.decimal.filter(|_| base != Some(Base::Sixteen));
        hex.into_iter().chain(decimal)
    }
}

fn is_hex(text: &str) -> bool {
    text.bytes().all(|byte| byte.is_ascii_hexdigit())
}

/// The offset that a line begins with, if one is marked by a colon, a prefix or its length.
fn offset_of<'l>(tokens: &[Token<'l>]) -> Option<Offset<'l>> {
    let first = tokens.first()?.text;
    if let Some(text) = first.strip_suffix([':', '|']) {
        return Offset::of(text);
    }
    let is_prefixed = first.len() > 4 && (first.starts_with("0x") || first.starts_with("0X"));
    let next_is_pair = tokens.get(1).is_none_or(|next| next.text.len() == 2);
    if (is_prefixed && !first.ends_with(',')) || (first.len() > 2 && next_is_pair) {
        return Offset::of(first);
    }
    None
}

/// The bytes of a token of hex digits.
fn bytes_of(token: &str) -> Option<Vec<u8>> {
    let token = token.strip_suffix(',').unwrap_or(token);
    let prefixed = token.strip_prefix("0x").or(token.strip_prefix("0X"));
    let digits = match prefixed {
        Some(digits) if digits.len() == 2 => digits,
        Some(_) => return None,
        None => token,
    };
    if digits.is_empty() || digits.len() % 2 == 1 || !is_hex(digits) {
        return None;
    }
    let pairs = (0..digits.len()).step_by(2);
    pairs
        .map(|at| u8::from_str_radix(digits.get(at..at + 2)?, 16).ok())
        .collect()
}

/// A byte and whether a wide gap is before it.
type Pair = (u8, bool);

/// The offset and the bytes of a line; an offset is taken as bytes where it is not one.
fn pairs_of(line: &str, with_offset: bool) -> (Option<Offset<'_>>, Vec<Pair>) {
    let tokens = tokens(line);
    let offset = offset_of(&tokens).filter(|_| with_offset);
    let rest = &tokens[usize::from(offset.is_some())..];
    let widest = rest.first().map_or(0, |token| token.text.len());
    let mut pairs = Vec::new();
    for token in rest {
        // A longer token than the first one is the text column.
        let read = bytes_of(token.text).filter(|_| token.text.len() <= widest);
        let Some(bytes) = read else { break };
        let apart = std::iter::once(token.is_apart).chain(std::iter::repeat(false));
        pairs.extend(bytes.into_iter().zip(apart));
    }
    (offset, pairs)
}

/// Puts the bytes of lines one after the other and holds them against their offsets.
#[derive(Debug, Default)]
struct Reader {
    bytes: Vec<u8>,
    /// Where the part began that the offsets count from.
    start: usize,
    /// Bytes of the line before.
    width: usize,
    /// Whether lines were left out because they repeat the one before.
    is_folded: bool,
    base: Option<Base>,
    skipped: Option<usize>,
}

impl Reader {
    fn line(&mut self, number: usize, line: &str, next: &str) -> Result<(), Problem> {
        if is_blank(line) {
            return Ok(());
        }
        if line.trim() == "*" && !self.bytes.is_empty() {
            self.is_folded = true;
            return Ok(());
        }
        let (offset, mut pairs) = pairs_of(line, true);
        let offset = match offset {
            Some(offset) if self.stands_at(offset) => Some(offset),
            // Digits in a row without any mark can be bytes as well, and `A2h:` is a heading.
            Some(_) if pairs.is_empty() => {
                pairs = pairs_of(line, false).1;
                None
            }
            Some(offset) => return Err(self.gap(number, offset)),
            None => None,
        };
        if offset.is_none() && pairs.is_empty() {
            if !self.bytes.is_empty() {
                self.skipped.get_or_insert(number);
            }
            return Ok(());
        }
        if offset.is_some() {
            self.move_to(offset, number)?;
        }
        self.cut(&mut pairs, offset.is_some(), next);
        self.width = pairs.len();
        self.bytes.extend(pairs.into_iter().map(|(byte, _)| byte));
        if self.bytes.len() > MAX_MEMORY {
            return Err(too_long());
        }
        Ok(())
    }

    /// How far the part has come.
    fn at(&self) -> u64 {
        (self.bytes.len() - self.start) as u64
    }

    /// Whether an offset is the next one, begins a new part, or ends what was folded.
    fn stands_at(&self, offset: Offset<'_>) -> bool {
        let is_new = offset.hex == 0 && self.bytes.len().is_multiple_of(128);
        offset.is(self.at(), self.base) || is_new || (self.is_folded && offset.hex > self.at())
    }

    fn move_to(&mut self, offset: Option<Offset<'_>>, number: usize) -> Result<(), Problem> {
        let Some(offset) = offset else { return Ok(()) };
        if self.base.is_none() && self.at() > 0 && offset.is(self.at(), None) {
            self.base = Some(match offset.hex == self.at() {
                true => Base::Sixteen,
                false => Base::Ten,
            });
        }
        if self.is_folded && offset.hex > self.at() {
            self.unfold(offset, number)?;
        } else if !offset.is(self.at(), self.base) {
            self.start = self.bytes.len();
        }
        self.is_folded = false;
        Ok(())
    }

    /// Repeats the line before up to an offset.
    fn unfold(&mut self, offset: Offset<'_>, number: usize) -> Result<(), Problem> {
        let missing = offset.hex - self.at();
        if missing > MAX_MEMORY as u64 {
            return Err(too_long());
        }
        if self.width == 0 || !missing.is_multiple_of(self.width as u64) {
            return Err(self.gap(number, offset));
        }
        for _ in 0..missing {
            let before = self.bytes[self.bytes.len() - self.width];
            self.bytes.push(before);
        }
        Ok(())
    }

    /// Takes away a text column that looks like pairs of digits.
    fn cut(&self, pairs: &mut Vec<Pair>, has_offset: bool, next: &str) {
        let next = offset_of(&tokens(next)).filter(|_| has_offset);
        let wanted = next.and_then(|next| {
            let ends = next.in_base(self.base);
            let mut widths = ends.filter_map(|end| end.checked_sub(self.at()));
            widths.find(|width| (1..=pairs.len() as u64).contains(width))
        });
        if let Some(width) = wanted.and_then(|width| usize::try_from(width).ok()) {
            pairs.truncate(width);
        } else if self.width > 0 && pairs.get(self.width).is_some_and(|(_, apart)| *apart) {
            pairs.truncate(self.width);
        }
    }

    fn gap(&self, number: usize, offset: Offset<'_>) -> Problem {
        Problem::new(
            "dump-gap",
            format!(
                "line {number} of the dump is at {}, but {} bytes stand before it",
                offset.text,
                self.at()
            ),
        )
        .help("a line is missing, cut short or out of order: read the memory again")
        .help("offsets count in hex from 0, and may begin anew with each page")
    }
}

fn too_long() -> Problem {
    Problem::new("dump-length", "the dump has more bytes than any module")
        .help("name the dump of one module: at most 640 bytes")
}

#[cfg(test)]
mod tests {
    use super::*;

    fn check(text: &str, expected: &[u8]) {
        let read = memory(text.as_bytes()).unwrap();
        assert_eq!(read.bytes.as_ref(), expected, "{text}");
    }

    fn check_refused(text: &str, code: &str) {
        let problem = memory(text.as_bytes()).unwrap_err();
        assert_eq!(problem.code, code, "{text}");
        assert!(!problem.help.is_empty());
    }

    #[test]
    fn lines_come_in_many_forms() {
        let four = [3, 4, 7, 0x10];
        check("03 04 07 10", &four);
        check("03040710", &four);
        check("0304 0710", &four);
        check("0x03, 0x04,\n0x07, 0x10,\n", &four);
        check(
            "# a comment\n\n0000: 03 04 ; near end\n0002: 07 10\n",
            &four,
        );
        check("0x0000: 03 04\n0x0002: 07 10", &four);
        check("0x0000\t\t03 04\r\n0x0002\t\t07 10\r\n", &four);
        check(
            "00000000  03 04  |..|\n00000002  07 10  |..|\n00000004\n",
            &four,
        );
        check("00000000: 0304 0710  ....\n", &four);
        check(
            "Offset  Values\n------  ------\n0000  03 04\n0002  07 10\n",
            &four,
        );
        check("\u{feff}03 04 07 10\n", &four);
    }

    #[test]
    fn a_text_column_gives_no_bytes() {
        let pearl: Vec<u8> = (0..32).map(|at| b"FA CE BA"[at % 8]).collect();
        let line = |from: usize| {
            let pairs: Vec<String> = pearl[from..from + 16]
                .iter()
                .map(|b| format!("{b:02x}"))
                .collect();
            let text = String::from_utf8(pearl[from..from + 16].to_vec()).unwrap();
            format!("{from:04x}: {}  {text}\n", pairs.join(" "))
        };
        // The text `FA CE BA` itself reads as pairs of digits.
        check(&format!("{}{}0020:\n", line(0), line(16)), &pearl);
        check("03 04\n07 10  cd ef", &[3, 4, 7, 16]);
    }

    #[test]
    fn decimal_offsets_count_where_they_fit() {
        let line = "01 ".repeat(16);
        check(&format!("0: {line}\n16: {line}\n32: {line}\n"), &[1; 48]);
    }

    #[test]
    fn repeated_lines_may_be_folded() {
        let zeros = "00 ".repeat(16);
        check(
            &format!("0000  {zeros}\n*\n0080  03\n"),
            &[&[0; 128][..], &[3]].concat(),
        );
        check_refused(&format!("0000  {zeros}\n*\n00fffff0  03\n"), "dump-length");
        check_refused(&format!("0000  {zeros}\n*\n0025: 03\n"), "dump-gap");
    }

    #[test]
    fn offsets_may_begin_anew_with_a_page() {
        let page: String = (0..8)
            .map(|at| format!("{:02x}: {}\n", at * 16, "07 ".repeat(16)))
            .collect();
        check(&format!("A0h\n{page}A2h\n{page}"), &[7; 256]);
        check(&format!("A0h:\n{page}A2h:\n{page}"), &[7; 256]);
    }

    #[test]
    fn gaps_and_nothing_are_refused() {
        check_refused("0000: 03 04\n0010: 07 10\n", "dump-gap");
        check_refused("0000: 03 04\n0000: 07 10\n", "dump-gap");
        // 50 is between the lines as a decimal number, but these count in hex.
        let line = "07 ".repeat(16);
        let text = format!("00: {line}\n10: {line}\n20: {line}\n30: {line}\n50: {line}\n");
        check_refused(&text, "dump-gap");
        check_refused("", "dump-no-bytes");
        check_refused("id,from,to\nL1,a,b\n", "dump-no-bytes");
    }

    #[test]
    fn lines_without_bytes_are_told() {
        let read = memory(b"head\n03 04\nzz 07\n10 11\n").unwrap();
        assert_eq!((read.bytes.len(), read.skipped), (4, Some(3)));
    }

    #[test]
    fn tables_are_no_dumps() {
        for text in [
            "id,from,to\nL1,a,b\n",
            "id\nL1\n",
            "ab,cd\n",
            "\r\nid,from\n",
            "a0,a1,a2,a3,a4,a5,a6,a7,a8\n",
            "id\tfrom\n0123456789012345\tpump-1\n",
            "",
        ] {
            assert!(
                !begins_as_hex(text.as_bytes()) && !is_binary(text.as_bytes()),
                "{text}"
            );
        }
        assert!(!is_binary(b"\xff\xfei\x00d\x00"));
        assert!(is_binary(&[3, 4, 7, 16]) && is_binary(&[0x0d, 7, 0, 0]));
        assert!(begins_as_hex(
            b"# near end\n0000: 03 04 07 10 00 00 00 20\n"
        ));
    }
}
