//! What was not as expected when the plan was opened, and what is wrong with its formulas.

use super::lay::Lay;
use crate::desk::Desk;
use crate::screen::page::Page;
use crate::screen::theme::Theme;
use crate::screen::theme::Tone;

/// So many remarks are told.
const MOST: usize = 200;

/// The problems of an open plan, each with its next step.
pub fn remarks(desk: &Desk, width: usize, theme: Theme) -> Page {
    let mut lay = Lay::new("Remarks", width, theme);
    let n_remarks = desk.problems().count();
    if n_remarks == 0 {
        lay.say(
            0,
            "The plan was read as it stands, and its formulas are right.",
            Tone::Plain,
        );
    }
    for problem in desk.problems().take(MOST) {
        let place = problem
            .place
            .as_ref()
            .map(|place| format!("{}: ", place.origin));
        let text = format!("{}{}", place.unwrap_or_default(), problem.message);
        lay.say(0, &text, Tone::Plain);
        for help in &problem.help {
            lay.say(2, help, Tone::Quiet);
        }
    }
    if n_remarks > MOST {
        lay.say(
            0,
            &format!("{} more are not listed.", n_remarks - MOST),
            Tone::Quiet,
        );
    }
    lay.page()
}
