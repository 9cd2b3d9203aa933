//! A workbook that came back: read, its changes chosen one by one or by class, and taken as one step.
//!
//! How workbooks are compared is in `report`, the page about it in `pages`.

use super::import::STOPPED;
use super::{Layer, Session, Shown};
use crate::desk::Returned;
use crate::problem::Problem;
use crate::report::giveback::Class;
use crate::report::giveback::Comparison;
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
                Ok(Merging::new(returned, found, n_changes))
            });
            let is_stopped = gauge.is_stopped();
            Box::new(move |session| match merging {
                Ok(_) if is_stopped => session.say(STOPPED, Tone::Quiet),
                Ok(merging) => {
                    session.merging = Some(merging);
                    session.layers.clear();
                    session.open_page(Shown::Merge);
                }
                Err(problem) if problem.code == "stopped" => session.say(STOPPED, Tone::Quiet),
                Err(problem) => session.tell(&problem),
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

    /// Takes what is chosen, as one step.
    pub(super) fn take_merge(&mut self) {
        let Some(merging) = self.merging.take() else {
            return;
        };
        if merging.n_chosen() == 0 {
            self.merging = Some(merging);
            self.say("nothing is chosen", Tone::Quiet);
            return;
        }
        // Anew only where the plan was changed since, as that may take long.
        let found = match merging.n_changes == self.desk.n_changes() {
            true => Ok(merging.found.clone()),
            false => self.desk.compare_returned(&merging.returned),
        };
        let is_as_shown = found.as_ref().is_ok_and(|found| *found == merging.found);
        let problem = match (found, is_as_shown) {
            (Err(problem), _) => Some(problem),
            (Ok(_), false) => Some(
                Problem::new(
                    "plan-changed",
                    "the plan was changed since this list was made",
                )
                .help("read the workbook again"),
            ),
            (Ok(found), true) => {
                let all = 0..merging.chosen.len();
                let taken: Vec<usize> = all.filter(|at| merging.chosen[*at]).collect();
                let name = merging.name();
                self.desk.merge(&found, &taken, name).err()
            }
        };
        match problem {
            Some(problem) => {
                self.merging = Some(merging);
                self.tell(&problem);
            }
            None => {
                self.layers.retain(|layer| !matches!(layer, Layer::Page(_)));
                self.greeting = false;
                self.followed(&format!("merge {}", merging.name()), "");
            }
        }
    }

    /// Asks for the workbook.
    pub(super) fn open_merge(&mut self) {
        self.open_entry(Purpose::MergeFrom);
    }
}
