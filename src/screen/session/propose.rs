//! Proposals on the screen: into one, out of it, a new one, accepted, dropped.
//!
//! What they do to the plan is known to the desk; here is who asks for it and what is said.

use super::{Answer, Ask, Layer, Session};
use crate::problem::Problem;
use crate::screen::theme::Tone;

impl Session {
    /// Goes into the proposal of a position.
    pub(super) fn enter_proposal(&mut self, at: usize) {
        let Some(name) = self.desk.proposals().get(at).map(|one| one.name.clone()) else {
            return;
        };
        self.layers.clear();
        if let Err(problem) = self.enter_named(&name) {
            self.tell(&problem);
        }
    }

    fn enter_named(&mut self, name: &str) -> Result<(), Problem> {
        let misfits = self.desk.enter(name)?;
        self.greeting = false;
        self.followed(&format!("into proposal {name}"), "");
        if let Some(problem) = misfits.first() {
            self.tell(problem);
        }
        Ok(())
    }

    /// Goes back to the base.
    pub(super) fn leave_proposal(&mut self) {
        let Some(name) = self.desk.within().map(str::to_owned) else {
            self.say("this is the base; P shows the proposals", Tone::Quiet);
            return;
        };
        match self.desk.leave() {
            Ok(()) => self.followed(&format!("out of proposal {name}"), ""),
            Err(problem) => self.tell(&problem),
        }
    }

    /// Makes a proposal and goes into it; in a proposal it stands on that one.
    pub(super) fn new_proposal(&mut self, name: &str) -> Result<(), Problem> {
        let on = self.desk.within().map(str::to_owned);
        self.desk.propose(name, "", on.as_deref())?;
        self.enter_named(name.trim())
    }

    /// Writes the open proposal into the base.
    pub(super) fn accept_proposal(&mut self) {
        let Some(name) = self.open_name() else {
            return;
        };
        match self.desk.accept(&name) {
            Ok(misfits) => {
                self.followed(&format!("proposal {name} accepted"), "");
                if let Some(problem) = misfits.first() {
                    self.tell(problem);
                }
            }
            Err(problem) => self.tell(&problem),
        }
    }

    /// Asks whether the open proposal is to go.
    pub(super) fn ask_drop(&mut self) {
        let Some(name) = self.open_name() else {
            return;
        };
        self.layers.push(Layer::Ask(Ask {
            text: format!("Drop `{name}` with all its changes? Undo brings it back."),
            answers: vec![('d', "drop it", Answer::DropProposal(name))],
        }));
    }

    /// Takes a proposal away.
    pub(super) fn drop_proposal(&mut self, name: &str) {
        match self.desk.drop_proposal(name) {
            Ok(()) => self.followed(&format!("proposal {name} dropped"), ""),
            Err(problem) => self.tell(&problem),
        }
    }

    /// The name of the open proposal; says how to open one where none is.
    fn open_name(&mut self) -> Option<String> {
        let name = self.desk.within().map(str::to_owned);
        if name.is_none() {
            self.say("go into the proposal first; P shows all", Tone::Quiet);
        }
        name
    }
}
