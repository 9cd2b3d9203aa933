//! The text of a plan file prepared for TOML: line ends made plain, rows cut out.
//!
//! Rows are most of a file, and TOML reads them slower than their own reader; so blocks that
//! stand in the form we write are taken out first and a mark is left in their place. Anything in
//! another form stays for TOML.

use super::SEAL;
use super::checksum;
use super::toml_text::is_bare;
use memchr::memmem;
use std::borrow::Cow;
use std::cell::OnceCell;

/// What a mark begins with; no block of rows can, because headings are names.
const MARK: &str = "\0";

/// A plan file whose plain blocks of rows are cut out.
#[derive(Debug)]
pub(super) struct Source<'t> {
    /// What is left for TOML.
    pub(super) toml: String,
    cuts: Vec<Cut<'t>>,
    breaks: OnceCell<Vec<usize>>,
}

/// A block of rows that was cut out.
#[derive(Debug)]
struct Cut<'t> {
    body: &'t str,
    /// The line of the file on which the body begins.
    line: usize,
    /// Where the mark stands in what is left.
    at: usize,
    /// How many lines are missing up to and with this block.
    n_missing: usize,
}

/// The text without a byte order mark and with plain line ends.
///
/// We never write a carriage return, so every one before a line break came from an editor.
pub(super) fn plain(text: &str) -> Cow<'_, str> {
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    if memmem::find(text.as_bytes(), b"\r\n").is_some() {
        Cow::Owned(text.replace("\r\n", "\n"))
    } else {
        Cow::Borrowed(text)
    }
}

/// Whether the last line carries the checksum of all above it.
pub(super) fn seal_holds(text: &str) -> bool {
    let text = text.trim_end_matches('\n');
    let start = text.rfind('\n').map_or(0, |at| at + 1);
    text[start..]
        .strip_prefix(SEAL)
        .is_some_and(|seal| seal == checksum(&text[..start]))
}

impl<'t> Source<'t> {
    /// Cuts out the plain blocks.
    pub(super) fn new(text: &'t str) -> Self {
        let mut source = Self {
            toml: String::new(),
            cuts: Vec::new(),
            breaks: OnceCell::new(),
        };
        let (mut at, mut line, mut in_rows) = (0, 1, false);
        while at < text.len() {
            let end = line_end(text, at);
            let this = &text[at..end];
            let next = match Start::of(this) {
                Start::Other => end,
                Start::Table(is_rows) => {
                    in_rows = is_rows;
                    end
                }
                Start::Literal(key) if in_rows => match literal_end(text, end) {
                    Some(close) => {
                        line += source.cut(key, &text[end..close], line);
                        at = close + 3;
                        continue;
                    }
                    None => text.len(),
                },
                Start::Basic => basic_end(text, end).unwrap_or(text.len()),
                Start::Literal(_) | Start::Unsure => text.len(),
            };
            source.toml.push_str(&text[at..next]);
            line += n_breaks(&text[at..next]);
            at = next;
        }
        source
    }

    /// Takes a block out; gives the number of its lines.
    fn cut(&mut self, key: &str, body: &'t str, line: usize) -> usize {
        let n_lines = n_breaks(body) + 1;
        let at = self.toml.len();
        let mark = format!("{key} = \"\\u0000{}\"", self.cuts.len());
        self.toml.push_str(&mark);
        self.cuts.push(Cut {
            body,
            line: line + 1,
            at,
            n_missing: n_lines + self.cuts.last().map_or(0, |cut| cut.n_missing),
        });
        n_lines
    }

    /// The body that a mark stands for, with its first line; `None` for any other text.
    pub(super) fn body(&self, mark: &str) -> Option<(&'t str, usize)> {
        let at: usize = mark.strip_prefix(MARK)?.parse().ok()?;
        self.cuts.get(at).map(|cut| (cut.body, cut.line))
    }

    /// The line of the file at a byte of what is left.
    pub(super) fn line(&self, at: usize) -> usize {
        let n_cuts = self.cuts.partition_point(|cut| cut.at < at);
        let n_missing = n_cuts
            .checked_sub(1)
            .map_or(0, |cut| self.cuts[cut].n_missing);
        1 + self.breaks().partition_point(|end| *end < at) + n_missing
    }

    /// Where lines end in what is left; looked for once, when a place is first asked for.
    fn breaks(&self) -> &[usize] {
        self.breaks
            .get_or_init(|| self.toml.match_indices('\n').map(|(at, _)| at).collect())
    }

    /// The first line of a block whose opening quotes stand at a byte of what is left.
    pub(super) fn block_line(&self, at: usize) -> usize {
        let quotes_end_line = self.toml.as_bytes().get(at + 3) == Some(&b'\n');
        self.line(at) + usize::from(quotes_end_line)
    }

    /// The text of the line at a byte of what is left.
    pub(super) fn line_text(&self, at: usize) -> &str {
        let bytes = self.toml.as_bytes();
        let at = at.min(bytes.len());
        let start = bytes[..at].iter().rposition(|byte| *byte == b'\n');
        let start = start.map_or(0, |at| at + 1);
        let end = bytes[start..].iter().position(|byte| *byte == b'\n');
        &self.toml[start..end.map_or(bytes.len(), |length| start + length)]
    }
}

/// What a line outside of strings begins.
enum Start<'t> {
    /// Nothing that matters here.
    Other,
    /// A table; whether it is the one of rows.
    Table(bool),
    /// A block in our literal form, with its key.
    Literal(&'t str),
    /// A block in our form with escapes.
    Basic,
    /// A block in a form of somebody else.
    Unsure,
}

impl<'t> Start<'t> {
    fn of(line: &'t str) -> Self {
        if line.contains("'''") || line.contains("\"\"\"") {
            return match line.trim_end_matches('\n').split_once(" = ") {
                Some((key, "'''")) if is_bare(key) => Self::Literal(key),
                Some((key, "\"\"\"")) if is_bare(key) => Self::Basic,
                Some(_) | None => Self::Unsure,
            };
        }
        let line = line.trim();
        if line.starts_with('[') {
            return Self::Table(line == "[rows]");
        }
        Self::Other
    }
}

fn line_end(text: &str, at: usize) -> usize {
    text[at..].find('\n').map_or(text.len(), |end| at + end + 1)
}

/// Where the closing quotes of a literal block stand, if alone on their line.
fn literal_end(text: &str, at: usize) -> Option<usize> {
    let close = at + memmem::find(&text.as_bytes()[at..], b"'''")?;
    let alone = text[at..close].is_empty() || text[at..close].ends_with('\n');
    let after = &text[close + 3..];
    (alone && (after.is_empty() || after.starts_with('\n'))).then_some(close)
}

/// Where a block with escapes ends, its closing quotes included.
fn basic_end(text: &str, at: usize) -> Option<usize> {
    let bytes = text.as_bytes();
    let mut at = at;
    loop {
        at += bytes[at..]
            .iter()
            .position(|byte| matches!(byte, b'"' | b'\\'))?;
        if bytes[at] == b'\\' {
            at = (at + 2).min(bytes.len());
        } else if bytes[at..].starts_with(b"\"\"\"") {
            return (bytes.get(at + 3) != Some(&b'"')).then_some(at + 3);
        } else {
            at += 1;
        }
    }
}

fn n_breaks(text: &str) -> usize {
    memchr::memchr_iter(b'\n', text.as_bytes()).count()
}
