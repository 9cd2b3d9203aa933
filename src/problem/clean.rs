//! Makes text from a file or a person safe to show: no escape, no hidden direction mark.
//!
//! Only replaces characters; it does not cut or wrap.

use std::borrow::Cow;

/// Replaces control characters and invisible direction or width marks by visible stand-ins.
///
/// A terminal never receives an escape sequence that came from data.
pub fn clean(text: &str) -> Cow<'_, str> {
    if text.chars().all(is_plain) {
        return Cow::Borrowed(text);
    }
    Cow::Owned(
        text.chars()
            .map(|c| if is_plain(c) { c } else { stand_in(c) })
            .collect(),
    )
}

/// Whether a character may reach a terminal as it is.
fn is_plain(c: char) -> bool {
    !(c.is_control() || is_hidden(c))
}

/// Marks that change direction or width without being seen (Unicode categories Cf and Zl/Zp).
fn is_hidden(c: char) -> bool {
    matches!(c,
        '\u{ad}' | '\u{61c}' | '\u{180e}' | '\u{200b}'..='\u{200f}' | '\u{2028}'..='\u{202e}'
        | '\u{2060}'..='\u{206f}' | '\u{feff}' | '\u{fff9}'..='\u{fffb}')
}

/// The visible picture of a control character; everything else becomes a replacement mark.
fn stand_in(c: char) -> char {
    match u32::from(c) {
        code @ 0..0x20 => char::from_u32(0x2400 + code).unwrap_or('\u{fffd}'),
        0x7f => '\u{2421}',
        _ => '\u{fffd}',
    }
}

#[cfg(test)]
mod tests {
    use super::clean;

    #[test]
    fn an_escape_becomes_visible() {
        assert_eq!(clean("a\u{1b}[31mb"), "a\u{241b}[31mb");
        assert_eq!(clean("x\u{202e}y\u{9b}z"), "x\u{fffd}y\u{fffd}z");
        assert_eq!(clean("plain µ °C"), "plain µ °C");
    }
}
