//! The usual colour of a cable as a swatch with its word; the colour proves nothing.

use crate::screen::pages::lay::Piece;
use crate::screen::pages::lay::piece;
use crate::screen::pages::row::Row;
use crate::screen::theme::Glyph;
use crate::screen::theme::Theme;
use crate::screen::theme::Tone;
use ratatui::style::Color;

/// The colours of TIA-598, the nearest of the sixteen of a terminal for each.
const COLOURS: &[(&str, Color)] = &[
    ("blue", Color::Blue),
    ("orange", Color::LightRed),
    ("lime green", Color::LightGreen),
    ("green", Color::Green),
    ("brown", Color::Yellow),
    ("slate", Color::DarkGray),
    ("grey", Color::DarkGray),
    ("white", Color::White),
    ("red", Color::Red),
    ("black", Color::Black),
    ("yellow", Color::LightYellow),
    ("violet", Color::Magenta),
    ("rose", Color::LightMagenta),
    ("aqua", Color::LightCyan),
];

/// The jacket of the medium of a link; nothing where the tables name none.
pub(super) fn jacket(link: Row, theme: Theme) -> Vec<Piece> {
    let medium = link.through("medium", "media");
    let Some(word) = medium.and_then(|medium| medium.shown("jacket")) else {
        return Vec::new();
    };
    let known = COLOURS
        .iter()
        .find(|(name, _)| *name == word.to_lowercase());
    let mut pieces = vec![piece(" ", Tone::Plain)];
    if let (Some((_, colour)), true) = (known, theme.colours) {
        pieces.push(piece(theme.glyph(Glyph::Full), Tone::Swatch(*colour)));
        pieces.push(piece(" ", Tone::Plain));
    }
    pieces.push(piece(format!("{word} jacket"), Tone::Quiet));
    pieces
}
