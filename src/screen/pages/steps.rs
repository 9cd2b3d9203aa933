//! All steps of the sitting: made ones, and above them those that were taken back.

use super::lay::Lay;
use super::lay::piece;
use crate::screen::page::Page;
use crate::screen::page::Target;
use crate::screen::theme::Glyph;
use crate::screen::theme::Theme;
use crate::screen::theme::Tone;

/// The steps, newest at the top; each leads to the plan as it was just after it.
///
/// `done` has the newest first, `undone` the one that would be made again next first. `saved` is
/// how many steps back the saved plan lies; negative where it lies ahead.
pub fn steps(
    done: &[&str],
    undone: &[&str],
    saved: Option<i32>,
    width: usize,
    theme: Theme,
) -> Page {
    let mut lay = Lay::new("Steps", width, theme);
    if done.is_empty() && undone.is_empty() {
        lay.say(0, "No step was made yet.", Tone::Plain);
        return lay.page();
    }
    let ahead = undone
        .iter()
        .zip(1..)
        .map(|(label, n): (_, i32)| (*label, -n));
    let mut ahead: Vec<(&str, i32)> = ahead.collect();
    ahead.reverse();
    let behind = done.iter().copied().chain(["before all of these"]).zip(0..);
    for (label, back) in ahead.into_iter().chain(behind) {
        let (mark, tone) = match back {
            0 => (theme.glyph(Glyph::Here), Tone::Heading),
            1.. => (" ", Tone::Plain),
            ..0 => (" ", Tone::Quiet),
        };
        let mut pieces = vec![piece(label, tone)];
        let words = [
            (back == 0).then_some("now"),
            (back < 0).then_some("taken back"),
            (saved == Some(back)).then_some("saved"),
        ];
        let words: Vec<&str> = words.into_iter().flatten().collect();
        if !words.is_empty() {
            pieces.push(piece(format!("  ({})", words.join(", ")), Tone::Quiet));
        }
        lay.row(&[(piece(mark, tone), 1)], &pieces, Target::Steps(back));
    }
    lay.page()
}
