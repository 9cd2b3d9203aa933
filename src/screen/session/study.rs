//! What if, on the screen: which row a study is about, and taking one of its choices.
//!
//! Studies work on copies; what is taken is one step of the desk like any other.

use super::look::Shown;
use super::{Layer, Session};
use crate::problem::Problem;
use crate::screen::entry::Purpose;
use crate::screen::page::Target;
use crate::screen::pages::OPTIONS_ORDER;
use crate::screen::theme::Tone;
use crate::sheet::ColumnKind;
use crate::study::options::options;
use crate::study::sweep::Axis;
use crate::study::sweep::Knob;
use crate::table::{RowId, SheetId};

impl Session {
    /// Asks for the range of the number under the cursor, or of the assumption of a page.
    pub(super) fn ask_sweep(&mut self) {
        let ledger = self.ledger();
        let Some(row) = ledger.here(&self.desk) else {
            self.say(
                "a sweep looks at a row, and there is none here",
                Tone::Quiet,
            );
            return;
        };
        let of = (ledger.sheet, row);
        let target = match self.layers.last() {
            Some(Layer::Page(leaf)) => leaf.reading.target(&leaf.page),
            Some(Layer::Entry(_) | Layer::Ask(_)) | None => Target::None,
        };
        let knob = match target {
            Target::Assumption(param) => Some(Knob::Assumption(param)),
            _ => self.knob_here(of),
        };
        match knob {
            Some(knob) => self.open_entry(Purpose::Sweep { knob, of }),
            None => self.say(
                "a sweep turns an entered number, such as a length; go to one first",
                Tone::Quiet,
            ),
        }
    }

    fn knob_here(&self, (sheet, row): (SheetId, RowId)) -> Option<Knob> {
        let position = self.ledger().head()?.position;
        let def = self.desk.plan().def(sheet).columns.get(position)?;
        let is_number = def.entered() && def.kind == ColumnKind::Number;
        is_number.then_some(Knob::Cell(sheet, row, position))
    }

    /// Shows a sweep, unless its range cannot be read.
    pub(super) fn show_sweep(
        &mut self,
        knob: Knob,
        of: (SheetId, RowId),
        range: &str,
    ) -> Result<(), Problem> {
        Axis::new(self.desk.plan(), knob, range)?;
        self.open_page(Shown::Sweep(knob, of, range.to_owned()));
        Ok(())
    }

    /// The options of the link under the cursor, or of those of the block.
    pub(super) fn options_here(&mut self) -> Option<Shown> {
        let ledger = self.ledger();
        if self.desk.plan().def(ledger.sheet).name != "links" {
            self.say("links have options; go to one first", Tone::Quiet);
            return None;
        }
        let mut rows = ledger.block_rows(&self.desk);
        if ledger.mark.is_none() {
            rows = ledger.here(&self.desk).into_iter().collect();
        }
        (!rows.is_empty()).then_some(Shown::Options(rows))
    }

    /// Takes a choice of the options that are shown, as one step.
    pub(super) fn take_option(&mut self, at: usize) {
        let Some(Shown::Options(links)) = self.leaf().map(|leaf| leaf.shown.clone()) else {
            return;
        };
        let found = options(self.desk.plan(), self.desk.engine(), &links, &OPTIONS_ORDER);
        let choice = match found.map(|found| found.choices.into_iter().nth(at)) {
            Ok(Some(choice)) => choice,
            Ok(None) => return,
            Err(problem) => {
                self.tell(&problem);
                return;
            }
        };
        let sheet = self.ledger().sheet;
        let ids: Vec<String> = links
            .iter()
            .map(|link| self.desk.plan().id(sheet, *link))
            .collect();
        let whose = match &ids[..] {
            [one] => one.clone(),
            many => format!("{} links", many.len()),
        };
        if choice.is_now {
            self.say(
                format!("{whose} has {} already", choice.name()),
                Tone::Quiet,
            );
            return;
        }
        // The page is made for the plan as it was; its lines mean others now.
        self.layers.pop();
        self.apply(&format!("{whose}: {}", choice.name()), choice.edit);
    }
}
