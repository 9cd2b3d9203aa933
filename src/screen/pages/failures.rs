//! What breaks when something fails, worst first.

use super::lay::Lay;
use super::lay::piece;
use crate::desk::Desk;
use crate::screen::page::Page;
use crate::screen::page::Target;
use crate::screen::theme::Theme;
use crate::screen::theme::Tone;
use crate::study::failures::Asked;
use crate::study::failures::Failures;
use crate::study::failures::failures as study;
use crate::study::failures::said;
use crate::table::{RowId, SheetId};

/// So many failures are listed.
const MOST: usize = 200;

/// With more links than this the study would keep the screen waiting.
const MOST_LINKS: usize = 100_000;

/// The failures of a plan that do harm.
pub fn failures(desk: &Desk, width: usize, theme: Theme) -> Page {
    let mut lay = Lay::new("Failures", width, theme);
    let told = "What breaks with one thing out, worst first: a link, one member of a bundle, all \
                links of a route, a switch. The plan stays as it is.";
    lay.say(0, told, Tone::Quiet);
    let n_links = desk.plan().sheet("links");
    let n_links = n_links.map_or(0, |sheet| desk.plan().rows(sheet).order().len());
    if n_links > MOST_LINKS {
        let text = "The plan is too large to be tried while you wait: portledger fail PLAN";
        lay.say(0, text, Tone::Plain);
        return lay.page();
    }
    match study(desk.plan(), desk.engine(), &Asked::default()) {
        Ok(found) => tell(&mut lay, desk, &found),
        Err(problem) => lay.say(0, &problem.message, Tone::Wrong),
    }
    lay.page()
}

fn tell(lay: &mut Lay, desk: &Desk, found: &Failures) {
    let counted = format!(
        "{} tried, {} of them do harm.",
        found.n_tried,
        found.harms.len()
    );
    lay.say(0, &counted, Tone::Plain);
    for harm in found.harms.iter().take(MOST) {
        lay.gap();
        let (mark, tone) = lay.theme.severity(harm.severity());
        let out = format!("{} out", harm.out.name(desk.plan()));
        let target = harm
            .out
            .at(desk.plan())
            .map_or(Target::None, |at| id_of(desk, at));
        lay.item(
            0,
            2,
            &[piece(format!("{mark} "), tone), piece(out, Tone::Heading)],
            target,
        );
        for effect in said(desk.plan(), desk.engine(), harm) {
            let (_, tone) = lay.theme.severity(effect.severity);
            let word = piece(format!("{}: ", effect.severity.word()), tone);
            let text = piece(effect.text, Tone::Plain);
            lay.item(2, 4, &[word, text], id_of(desk, effect.at));
        }
    }
    if found.harms.len() > MOST {
        let more = found.harms.len() - MOST;
        lay.say(0, &format!("{more} more are not listed."), Tone::Quiet);
    }
}

/// The id of a row, to go there.
fn id_of(desk: &Desk, (sheet, row): (SheetId, RowId)) -> Target {
    Target::Cell(sheet, row, desk.engine().column(sheet, 0))
}
