//! Strings, keys and values as TOML text.
//!
//! Writing only; reading is the `toml` crate's.

use std::fmt::Write;
use toml::de::{DeTable, DeValue};

/// A one-line string.
pub(super) fn quoted(text: &str) -> String {
    let mut out = String::with_capacity(text.len() + 2);
    out.push('"');
    for c in text.chars() {
        match c {
            '\n' => out.push_str("\\n"),
            _ => push_escaped(&mut out, c),
        }
    }
    out.push('"');
    out
}

/// Whether lines can stand in a block word for word, where TOML allows it.
pub(super) fn is_verbatim(text: &str) -> bool {
    let plain = |byte: u8| byte == b'\n' || byte == b'\t' || (byte >= b' ' && byte != 0x7f);
    text.bytes().all(plain) && !text.contains("'''")
}

/// A block of whole lines.
pub(super) fn push_block(out: &mut String, lines: &str) {
    let form = BlockForm::of(is_verbatim(lines));
    form.open(out);
    form.push(out, lines);
    form.close(out);
}

/// How a block of lines stands in the file.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum BlockForm {
    Verbatim,
    Escaped,
}

impl BlockForm {
    pub(super) fn of(is_verbatim: bool) -> Self {
        match is_verbatim {
            true => Self::Verbatim,
            false => Self::Escaped,
        }
    }

    fn quotes(self) -> &'static str {
        match self {
            Self::Verbatim => "'''",
            Self::Escaped => "\"\"\"",
        }
    }

    pub(super) fn open(self, out: &mut String) {
        out.push_str(self.quotes());
        out.push('\n');
    }

    /// Adds whole lines.
    pub(super) fn push(self, out: &mut String, lines: &str) {
        if self == Self::Verbatim {
            return out.push_str(lines);
        }
        for c in lines.chars() {
            match c {
                '\n' => out.push('\n'),
                _ => push_escaped(out, c),
            }
        }
    }

    pub(super) fn close(self, out: &mut String) {
        out.push_str(self.quotes());
    }
}

fn push_escaped(out: &mut String, c: char) {
    match c {
        '"' => out.push_str("\\\""),
        '\\' => out.push_str("\\\\"),
        '\t' => out.push_str("\\t"),
        '\r' => out.push_str("\\r"),
        // Writing to a string cannot fail.
        '\0'..='\x1f' | '\x7f' => drop(write!(out, "\\u{:04X}", u32::from(c))),
        _ => out.push(c),
    }
}

/// A key, bare where TOML allows it.
pub(super) fn key(name: &str) -> String {
    if is_bare(name) {
        name.to_owned()
    } else {
        quoted(name)
    }
}

/// Whether a key can stand without quotes.
pub(super) fn is_bare(name: &str) -> bool {
    let bare = |byte: u8| byte.is_ascii_alphanumeric() || byte == b'_' || byte == b'-';
    !name.is_empty() && name.bytes().all(bare)
}

/// How deep a value is nested; a number has depth one.
pub(super) fn depth(value: &DeValue<'_>) -> usize {
    let inner = match value {
        DeValue::Array(items) => items.iter().map(|item| depth(item.get_ref())).max(),
        DeValue::Table(table) => table.iter().map(|(_, item)| depth(item.get_ref())).max(),
        DeValue::String(_)
        | DeValue::Integer(_)
        | DeValue::Float(_)
        | DeValue::Boolean(_)
        | DeValue::Datetime(_) => None,
    };
    inner.unwrap_or(0) + 1
}

/// A value on one line.
pub(super) fn inline(value: &DeValue<'_>) -> String {
    match value {
        DeValue::String(text) => quoted(text),
        DeValue::Integer(number) => number.to_string(),
        DeValue::Float(number) => number.to_string(),
        DeValue::Boolean(flag) => flag.to_string(),
        DeValue::Datetime(time) => time.to_string(),
        DeValue::Array(items) => {
            let items: Vec<String> = items.iter().map(|item| inline(item.get_ref())).collect();
            format!("[{}]", items.join(", "))
        }
        DeValue::Table(table) if table.is_empty() => "{}".to_owned(),
        DeValue::Table(table) => format!("{{ {} }}", pairs(table).join(", ")),
    }
}

/// The keys of a table with their values, one text each.
pub(super) fn pairs(table: &DeTable<'_>) -> Vec<String> {
    table
        .iter()
        .map(|(name, value)| format!("{} = {}", key(name.get_ref()), inline(value.get_ref())))
        .collect()
}
