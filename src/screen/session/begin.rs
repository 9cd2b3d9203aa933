//! How a sitting begins: unsaved edits of an earlier one, and what is to be known of the file.

use super::{Answer, Ask, Layer, Session, ledgers_of};
use crate::desk::Recovery;
use crate::desk::SaveState;
use crate::problem::several;
use crate::screen::page::{Line, Page};
use crate::screen::theme::Tone;

impl Session {
    /// Asks about unsaved edits, and says what was not as expected.
    pub(super) fn begin(&mut self) {
        let n_remarks = self.desk.problems().count();
        if let SaveState::ReadOnly(who) = self.desk.state() {
            let text = format!("only to be read: it is {who}; S makes a copy that can be changed");
            self.say(text, Tone::Tight);
        } else if n_remarks > 0 {
            let text = format!("{n_remarks} remarks on this plan; F4 shows them");
            self.say(text, Tone::Tight);
        }
        if let Some(recovery) = self.desk.recovery().cloned() {
            self.ask_recovery(&recovery);
        }
    }

    fn ask_recovery(&mut self, recovery: &Recovery) {
        let page = Page {
            title: "Unsaved edits of an earlier sitting".to_owned(),
            lines: told(recovery),
        };
        self.open_ready(page);
        self.layers.push(Layer::Ask(Ask {
            text: "Take them up again?".to_owned(),
            answers: vec![
                ('t', "take them", Answer::TakeRecovery),
                ('a', "set them aside", Answer::DropRecovery),
            ],
        }));
    }

    pub(super) fn take_recovery(&mut self) {
        let taken = self.desk.take_recovery();
        self.ledgers = ledgers_of(&self.desk);
        self.current = self.current.min(self.ledgers.len().saturating_sub(1));
        match taken {
            Ok(n_steps) => {
                self.greeting = false;
                self.say(
                    format!(
                        "{} taken up again, not saved yet",
                        several(n_steps, "step", "steps")
                    ),
                    Tone::Changed,
                );
            }
            Err(problem) => self.tell(&problem),
        }
    }

    pub(super) fn drop_recovery(&mut self) {
        match self.desk.drop_recovery() {
            Ok(Some(path)) => self.say(format!("they are kept in {}", path.display()), Tone::Quiet),
            Ok(None) => {}
            Err(problem) => self.tell(&problem),
        }
    }
}

/// What is known of unsaved edits.
fn told(recovery: &Recovery) -> Vec<Line> {
    let when = match &recovery.written {
        Some(when) => format!(", the last at {when} by the clock of then"),
        None => String::new(),
    };
    let mut lines = vec![Line::plain(format!(
        "A sitting ended without saving. {} can be made again{when}.",
        several(recovery.n_steps, "step", "steps")
    ))];
    if !recovery.is_whole {
        lines.push(Line::new(
            "The end of the journal cannot be read: later steps may be missing.",
            Tone::Tight,
        ));
    }
    lines.push(Line::empty());
    lines.push(Line::new("The last of them:", Tone::Heading));
    let labels = recovery.labels.iter();
    lines.extend(labels.map(|label| Line::plain(format!("  {label}"))));
    lines.push(Line::empty());
    lines.push(Line::new(
        format!("They are in {}", recovery.path.display()),
        Tone::Quiet,
    ));
    lines
}
