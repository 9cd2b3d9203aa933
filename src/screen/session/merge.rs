//! A workbook that came back: read, its changes chosen one by one or by class, and taken as one step.
//!
//! How workbooks are compared is in `report`, the page about it in `pages`.

use super::{Layer, Session, Shown};
use crate::desk::Ahead;
use crate::desk::Gauge;
use crate::desk::Prepared;
use crate::desk::Returned;
use crate::desk::merge_label;
use crate::plan::Edit;
use crate::problem::Problem;
use crate::report::giveback::Class;
use crate::report::giveback::Comparison;
use crate::report::giveback::edit_of;
use crate::screen::entry::Purpose;
use crate::screen::theme::Tone;
use std::path::PathBuf;

/// A workbook that came back and was not taken yet.
#[derive(Debug)]
pub struct Merging {
    returned: Returned,
    found: Comparison,
    /// For each difference whether it is chosen.
    chosen: Vec<bool>,
    /// How often the plan had been changed when they were compared.
    n_changes: u64,
}

impl Merging {
    fn new(returned: Returned, found: Comparison, n_changes: u64) -> Self {
        // Only what nobody changed here is taken unless it is left.
        let chosen = found.differences.iter();
        let chosen = chosen.map(|one| one.class == Class::Theirs && one.is_open());
        Self {
            chosen: chosen.collect(),
            returned,
            found,
            n_changes,
        }
    }

    /// What is different in it.
    pub fn found(&self) -> &Comparison {
        &self.found
    }

    /// The name of its file.
    pub fn name(&self) -> &str {
        &self.returned.name
    }

    /// Whether a difference is chosen, by its position.
    pub fn is_chosen(&self, at: usize) -> bool {
        self.chosen.get(at).is_some_and(|chosen| *chosen)
    }

    /// How many are chosen.
    pub fn n_chosen(&self) -> usize {
        self.chosen.iter().filter(|chosen| **chosen).count()
    }

    /// The positions of the chosen differences.
    fn taken(&self) -> Vec<usize> {
        let all = 0..self.chosen.len();
        all.filter(|at| self.chosen[*at]).collect()
    }

    /// The positions of the differences of a class that can be taken.
    fn open_of(&self, class: Class) -> Vec<usize> {
        let all = self.found.differences.iter().enumerate();
        let of_it = all.filter(|(_, one)| one.class == class && one.is_open());
        of_it.map(|(at, _)| at).collect()
    }
}

impl Session {
    /// Lets a workbook be read that a person named, and shows then what was changed in it.
    pub(super) fn ask_returned(&mut self, text: &str) -> Result<(), Problem> {
        let path = PathBuf::from(text.trim());
        if path.as_os_str().is_empty() {
            return Err(Problem::new("no-name", "no file is named")
                .help("type the name of a workbook, such as returned.xlsx"));
        }
        let reader = self.reader()?;
        let (plan, n_changes) = (self.desk.plan().clone(), self.desk.n_changes());
        self.begin_work(format!("reading {}", text.trim()), move |gauge| {
            let returned = Returned::read(&path, &reader, &mut |step| gauge.tell(step));
            let merging = returned.and_then(|returned| {
                let found = returned.compare(&plan)?;
                gauge.go_on()?;
                Ok(Merging::new(returned, found, n_changes))
            });
            Box::new(move |session| match merging {
                Ok(merging) => session.show_merging(merging),
                Err(problem) => session.tell_stopped(&problem),
            })
        })
    }

    /// Chooses a change, or leaves it.
    pub(super) fn turn_change(&mut self, at: usize) {
        let Some(merging) = &mut self.merging else {
            return;
        };
        let is_open = merging.found.differences.get(at);
        let is_open = is_open.is_some_and(crate::report::giveback::Difference::is_open);
        if let (Some(chosen), true) = (merging.chosen.get_mut(at), is_open) {
            *chosen = !*chosen;
        }
        self.refresh_pages();
    }

    /// Chooses all changes of a class; where all are chosen, none.
    pub(super) fn turn_class(&mut self, class: Class) {
        let Some(merging) = &mut self.merging else {
            return;
        };
        let all = merging.open_of(class);
        let is_whole = all.iter().all(|at| merging.chosen[*at]);
        for at in all {
            merging.chosen[at] = !is_whole;
        }
        self.refresh_pages();
    }

    /// Takes what is chosen, as one step: on a copy beside the sitting, which takes the place of the
    /// plan when it is done.
    pub(super) fn take_merge(&mut self) {
        match self.merging.as_ref().map(Merging::n_chosen) {
            None => {}
            Some(0) => self.say("nothing is chosen", Tone::Quiet),
            Some(_) => self.begin_alone(Self::begin_merging),
        }
    }

    fn begin_merging(&mut self) -> Result<(), Problem> {
        let ahead = self.desk.ahead()?;
        let Some(merging) = self.merging.take() else {
            return Ok(());
        };
        let is_as_shown = merging.n_changes == self.desk.n_changes();
        let label = merge_label(merging.name());
        let begun = self.begin_work(label.clone(), move |gauge| {
            let prepared = prepared(ahead, &merging, is_as_shown, gauge);
            Box::new(move |session| {
                let taken = prepared.and_then(|done| session.desk.take_prepared(done));
                match taken {
                    Ok(()) => {
                        session.greeting = false;
                        session.followed(&label, "");
                    }
                    // What a person chose is not to be chosen again.
                    Err(problem) => {
                        session.show_merging(merging);
                        session.tell_stopped(&problem);
                    }
                }
            })
        });
        self.layers.retain(|layer| !matches!(layer, Layer::Page(_)));
        begun
    }

    fn show_merging(&mut self, merging: Merging) {
        self.merging = Some(merging);
        self.layers.clear();
        self.open_page(Shown::Merge);
    }

    /// Asks for the workbook.
    pub(super) fn open_merge(&mut self) {
        self.open_entry(Purpose::MergeFrom);
    }
}

/// The plan with what is chosen in it. Compared anew only where the plan was changed since, as that
/// may take long; the person chose from the list as it was.
fn prepared(
    ahead: Ahead,
    merging: &Merging,
    is_as_shown: bool,
    gauge: &Gauge,
) -> Result<Prepared, Problem> {
    if !is_as_shown && merging.returned.compare(ahead.plan())? != merging.found {
        let what = "the plan was changed since this list was made";
        return Err(Problem::new("plan-changed", what).help("read the workbook again"));
    }
    let edit = edit_of(ahead.plan(), &merging.found, &merging.taken());
    ahead.make(
        &merge_label(merging.name()),
        edit.unwrap_or(Edit::Group(Vec::new())),
        gauge,
    )
}
