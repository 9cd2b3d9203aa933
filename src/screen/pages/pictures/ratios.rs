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

/// Cells of the label and of the number before a bar, each with the blank after it.
const BEFORE: [usize; 2] = [9, 13];

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
    let numbers = |switch: &Switch| [switch.ratio, switch.worst, switch.target];
    let most = switches
        .iter()
        .flat_map(numbers)
        .flatten()
        .fold(1.0, f64::max);
    let cells = lay.width.saturating_sub(BEFORE.iter().sum()).min(LONGEST);
    let scale = Scale::new(0.0, most, cells);
    for switch in &switches {
        lay.gap();
        tell(&mut lay, switch, scale);
    }
    lay.gap();
    let [full, limit] = [Glyph::Full, Glyph::Limit].map(|glyph| theme.glyph(glyph));
    let legend = format!("{full} ratio  {limit} target: a rule of thumb; measured load decides");
    lay.say(0, &legend, Tone::Quiet);
    lay.page()
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

fn tell(lay: &mut Lay, switch: &Switch, scale: Scale) {
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
        (None, Some(0.0)) => lay.say(2, "no uplink", Tone::Unknown),
        (None, _) => lay.say(
            2,
            "unknown: the speed of a link or the ports are missing",
            Tone::Unknown,
        ),
        (Some(ratio), _) => {
            bar(lay, switch, ("normal", "ratio", ratio), scale);
            match switch.worst {
                Some(worst) => bar(lay, switch, ("worst", "worst_ratio", worst), scale),
                None => lay.item(
                    2,
                    4,
                    &[
                        piece("worst   ", Tone::Plain),
                        piece("one cable out leaves no uplink", Tone::Tight),
                    ],
                    Target::None,
                ),
            }
        }
    }
}

/// The number of a ratio and its bar, with the target as a mark in it.
fn bar(lay: &mut Lay, switch: &Switch, (label, column, ratio): (&str, &str, f64), scale: Scale) {
    let shown = switch.row.shown(column).unwrap_or_default();
    let (above, tone) = match switch.is_above(ratio) {
        true => (lay.theme.glyph(Glyph::Tight), Tone::Tight),
        false => ("", Tone::Computed),
    };
    let (end, limit) = (
        scale.at(ratio),
        switch.target.map(|target| scale.at(target)),
    );
    let strip = scale.strip(lay.theme, |at| match (Some(at) == limit, at <= end) {
        (true, _) => Some((Glyph::Limit, Tone::Heading)),
        (false, true) => Some((Glyph::Full, tone)),
        (false, false) => None,
    });
    let [label_cells, number_cells] = BEFORE;
    let number = format!("{shown} to 1 {above}");
    let fit = |text: &str, cells| fit(text, cells, lay.theme);
    let mut pieces = vec![
        piece(fit(&format!("  {label}"), label_cells), Tone::Plain),
        piece(fit(&number, number_cells), tone),
    ];
    pieces.extend(strip);
    lay.line(pieces, Target::None);
}
