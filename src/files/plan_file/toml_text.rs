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

/// A block of lines: word for word where TOML allows it, else with escapes.
///
/// `put` adds the text, which ends with a line break, at the end; so nearly all of a large plan is
/// written only once.
pub(super) fn push_block(out: &mut String, put: impl FnOnce(&mut String)) {
    let plain = |byte: u8| byte == b'\n' || byte == b'\t' || (byte >= b' ' && byte != 0x7f);
    let start = out.len();
    out.push_str("'''\n");
    let first = out.len();
    put(out);
    let text = &out[first..];
    if text.bytes().all(plain) && !text.contains("'''") {
        out.push_str("'''");
        return;
    }
    let text = out.split_off(first);
    out.truncate(start);
    out.push_str("\"\"\"\n");
    for c in text.chars() {
        match c {
            '\n' => out.push('\n'),
            _ => push_escaped(out, c),
        }
    }
    out.push_str("\"\"\"");
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
