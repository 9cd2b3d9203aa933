//! The ratios of all switches as bars on one scale, normal and with one uplink cable out.

use super::scale::Scale;
use crate::desk::Desk;
use crate::screen::page::Page;
use crate::screen::page::Target;
use crate::screen::pages::lay::Lay;
use crate::screen::pages::lay::fit;
use crate::screen::pages::lay::piece;
use crate::screen::pages::row::Row;
use crate::screen::theme::Glyph;
use crate::screen::theme::Theme;
use crate::screen::theme::Tone;
use std::cmp::Ordering;

/// Cells of the label before a bar.
const LABEL: usize = 9;

/// The fewest and the most cells of the number after the label.
const NUMBER: [usize; 2] = [10, 24];

/// The fewest cells that a bar is drawn in.
const SHORTEST: usize = 4;

/// The most cells of a bar.
const LONGEST: usize = 80;

/// The ratios of one switch; a ratio is missing where there is no uplink.
#[derive(Debug)]
struct Switch<'a> {
    row: Row<'a>,
    ratio: Option<f64>,
    worst: Option<f64>,
    target: Option<f64>,
    uplinks: Option<f64>,
}

/// How bars are drawn.
#[derive(Debug, Clone, Copy)]
struct Bars {
    scale: Scale,
    /// Cells of the number before a bar.
    number: usize,
}

/// The bars of all switches, worst first.
pub fn ratios(desk: &Desk, width: usize, theme: Theme) -> Page {
    let mut lay = Lay::new("Ratios", width, theme);
    let mut switches = all(desk);
    if switches.is_empty() {
        lay.say(0, "The plan has no switches.", Tone::Plain);
        return lay.page();
    }
    switches.sort_by(|a, b| {
        b.weight()
            .partial_cmp(&a.weight())
            .unwrap_or(Ordering::Equal)
    });
    let told = "What the access side may offer to what the uplinks carry; worst is with the one \
                uplink cable out that hurts most.";
    lay.say(0, told, Tone::Quiet);
    let bars = bars(&lay, &switches);
    for switch in &switches {
        lay.gap();
        tell(&mut lay, switch, bars);
    }
    lay.gap();
    let [full, limit] = [Glyph::Full, Glyph::Limit].map(|glyph| theme.glyph(glyph));
    let legend = format!("{full} ratio  {limit} target: a rule of thumb; measured load decides");
    lay.say(0, &legend, Tone::Quiet);
    lay.page()
}

fn bars(lay: &Lay, switches: &[Switch]) -> Bars {
    let values = |switch: &Switch| [switch.ratio, switch.worst, switch.target];
    let most = switches
        .iter()
        .flat_map(values)
        .flatten()
        .fold(1.0, f64::max);
    let texts = |switch: &Switch| ["ratio", "worst_ratio"].map(|column| text_of(switch, column));
    let widest = switches.iter().flat_map(texts).map(|text| text.len()).max();
    let [fewest, longest] = NUMBER;
    // The mark of a ratio above its target, and a blank after it.
    let number = (widest.unwrap_or(0) + 3).clamp(fewest, longest);
    let cells = lay.width.saturating_sub(LABEL + number).min(LONGEST);
    Bars {
        scale: Scale::new(0.0, most, cells),
        number,
    }
}

/// A ratio in words; empty where there is none.
fn text_of(switch: &Switch, column: &str) -> String {
    let shown = switch.row.shown(column);
    shown.map_or_else(String::new, |ratio| format!("{ratio} to 1"))
}

fn all(desk: &Desk) -> Vec<Switch<'_>> {
    let Some(sheet) = desk.plan().sheet("switches") else {
        return Vec::new();
    };
    let rows = desk.plan().rows(sheet).order().iter();
    rows.map(|row| {
        let row = Row::new(desk, sheet, *row);
        Switch {
            row,
            ratio: row.number("ratio"),
            worst: row.number("worst_ratio"),
            target: row.number("ratio_limit"),
            uplinks: row.number("uplinks"),
        }
    })
    .collect()
}

impl Switch<'_> {
    /// Worst is greatest: above the target, then what one cable out leaves, then the ratio;
    /// unknown ones stand after known ones, those without an uplink last.
    fn weight(&self) -> [f64; 3] {
        let Some(ratio) = self.ratio else {
            return [
                -1.0,
                self.uplinks.map_or(0.0, |uplinks| uplinks.min(1.0)),
                0.0,
            ];
        };
        let above = f64::from(u8::from(self.is_above(ratio)));
        [above, self.worst.unwrap_or(f64::INFINITY), ratio]
    }

    fn is_above(&self, ratio: f64) -> bool {
        self.target.is_some_and(|target| ratio > target + 1e-9)
    }
}

fn tell(lay: &mut Lay, switch: &Switch, bars: Bars) {
    let row = switch.row;
    let verdict = row.shown("verdict").unwrap_or_else(|| "unknown".to_owned());
    let (mark, tone) = lay.theme.verdict(&verdict);
    let mut pieces = vec![
        piece(row.id(), Tone::Heading),
        piece(format!("  {mark} {verdict}"), tone),
    ];
    if let Some(target) = row.shown("ratio_limit") {
        pieces.push(piece(format!("  target {target} to 1"), Tone::Quiet));
    }
    lay.item(0, 2, &pieces, row.target("ratio"));
    match (switch.ratio, switch.uplinks) {
        (None, Some(0.0)) => lay.say(2, "no uplink", Tone::Quiet),
        (None, _) => {
            let text = "unknown: the speed of a link, or the ports of the switch are missing";
            lay.say(2, text, Tone::Unknown);
        }
        (Some(ratio), _) => {
            bar(lay, switch, ("  normal", "ratio", ratio), bars);
            match switch.worst {
                Some(worst) => bar(lay, switch, ("  worst", "worst_ratio", worst), bars),
                None => {
                    let label = [(piece("  worst", Tone::Plain), LABEL - 1)];
                    let text = piece("one uplink cable out leaves none", Tone::Tight);
                    lay.row(&label, &[text], Target::None);
                }
            }
        }
    }
}

/// The number of a ratio and its bar, with the target as a mark in it.
fn bar(lay: &mut Lay, switch: &Switch, (label, column, ratio): (&str, &str, f64), bars: Bars) {
    let (above, tone) = match switch.is_above(ratio) {
        true => (lay.theme.glyph(Glyph::Tight), Tone::Tight),
        false => ("", Tone::Computed),
    };
    let scale = bars.scale;
    let number = format!("{} {above}", text_of(switch, column));
    let mut pieces = vec![
        piece(fit(label, LABEL, lay.theme), Tone::Plain),
        piece(fit(&number, bars.number, lay.theme), tone),
    ];
    if scale.cells() >= SHORTEST {
        let (end, limit) = (
            scale.at(ratio),
            switch.target.map(|target| scale.at(target)),
        );
        pieces.extend(
            scale.strip(lay.theme, |at| match (Some(at) == limit, at <= end) {
                (true, _) => Some((Glyph::Limit, Tone::Heading)),
                (false, true) => Some((Glyph::Full, tone)),
                (false, false) => None,
            }),
        );
    }
    lay.line(pieces, Target::None);
}
