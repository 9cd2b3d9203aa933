//! Caution with light, glass, power and copper between buildings.

use super::lay::Lay;
use super::lay::piece;
use crate::screen::page::Page;
use crate::screen::page::Target;
use crate::screen::theme::Glyph;
use crate::screen::theme::Theme;
use crate::screen::theme::Tone;

/// The line under every list of findings.
pub(super) const BESIDE_FINDINGS: &str = "Never look into a fibre or port; clean and inspect before \
     mating. Fibre, not copper, between buildings. Local codes and licensed practice rule.";

/// The line beside every level of light.
pub(super) const BESIDE_LIGHT: &str = "Never look into a fibre or port, lit or not. Switch the \
     transmitter off, clean and inspect before you mate or measure.";

/// What to take care of, why, and the standard where one says it.
const CARE: &[(&str, &str, &str)] = &[
    (
        "Laser light",
        "Never look into a fibre or a port, lit or not: most of this light is invisible. No \
         magnifier, and no microscope on a fibre that may be lit.",
        "IEC 60825-1, IEC 60825-2",
    ),
    (
        "Clean before mating",
        "Clean and inspect both faces before every mating, new ones too. Switch the transmitter \
         off first. Cap what is open.",
        "IEC 61300-3-35",
    ),
    (
        "Glass",
        "Bare fibre leaves shards that enter skin and eyes and are hard to find. Wear glasses, \
         collect every piece in a closed bin, do not eat there, wash your hands.",
        "",
    ),
    (
        "Power",
        "Modules run hot; let them cool before you take hold of them. Cables may carry power to \
         what hangs on them. Let whoever is allowed to work on power work on power.",
        "IEC 62368-1",
    ),
    (
        "Between buildings",
        "Run fibre without metal, never copper: earth potentials differ and lightning couples in. \
         Where metal is there already, have it bonded and protected by whoever is licensed to.",
        "IEC 62305-4; local electrical codes",
    ),
    (
        "Ways and walls",
        "Cables through fire walls need their seal back; jackets have to be allowed in the space \
         they run through. Work at height and in ducts has rules of its own.",
        "local codes",
    ),
    (
        "What rules",
        "Local codes and licensed practice rule over anything this program says. Measure what was \
         planned before anyone relies on it.",
        "",
    ),
];

/// The cautions, each with its standard.
pub fn care(width: usize, theme: Theme) -> Page {
    let mut lay = Lay::new("Care", width, theme);
    for (at, (title, text, standard)) in CARE.iter().enumerate() {
        if at > 0 {
            lay.gap();
        }
        let mark = theme.glyph(Glyph::Tight);
        lay.item(
            0,
            2,
            &[piece(format!("{mark} {title}"), Tone::Care)],
            Target::None,
        );
        lay.say(2, text, Tone::Plain);
        if !standard.is_empty() {
            lay.say(2, standard, Tone::Quiet);
        }
    }
    lay.page()
}
