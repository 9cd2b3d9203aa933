//! Pages over the ledger: which one is shown, getting about in it, and where its lines lead.

use super::{Layer, Session};
use crate::formula::Library;
use crate::screen::action::Action;
use crate::screen::entry::{NeedleFor, Purpose};
use crate::screen::page::{Page, Reading, Target};
use crate::screen::pages;
use crate::screen::theme::Tone;
use crate::study::sweep::Knob;
use crate::table::{ColumnId, RowId, SheetId};
use crossterm::event::KeyCode;
use crossterm::event::KeyEvent;

/// So many findings and steps a page lists.
const MOST_LISTED: usize = 500;

/// A page with the place of its reader.
#[derive(Debug)]
pub struct Leaf {
    /// What it shows.
    pub shown: Shown,
    /// Its lines.
    pub page: Page,
    /// Where the reader is.
    pub reading: Reading,
    width: usize,
}

/// What a page shows.
#[derive(Debug, Clone, PartialEq)]
pub enum Shown {
    /// The reason of a cell.
    Reason(ColumnId, RowId),
    /// What the checks found.
    Findings,
    /// What the last step changed.
    Changes,
    /// What is to be known of the plan as a file.
    Remarks,
    /// The light of a link.
    Light(SheetId, RowId),
    /// The front of a switch.
    Front(SheetId, RowId),
    /// The ratios of all switches.
    Ratios,
    /// The trail of a path.
    Trail(RowId),
    /// What breaks when something fails.
    Failures,
    /// A knob turned over a range, and the row that is looked at.
    Sweep(Knob, (SheetId, RowId), String),
    /// What could carry some links.
    Options(Vec<RowId>),
    /// When switches are full.
    Growth,
    /// What to buy.
    OrderList,
    /// The rows behind a line of the order list.
    Behind(usize),
    /// The assumptions.
    Assumptions,
    /// The columns of a sheet.
    Columns(SheetId),
    /// The proposals.
    Proposals,
    /// Base and proposals side by side.
    Beside,
    /// The steps of this sitting.
    Steps,
    /// The keys.
    Help(bool),
    /// All actions that answer to a text.
    Actions(String),
    /// All functions that answer to a text.
    Functions(String),
    /// One function.
    Function(usize),
    /// Cautions.
    Care,
    /// The table that is about to be imported.
    Import,
    /// What was changed in a workbook that came back.
    Merge,
    /// A page that was made once and belongs to a question.
    Ready,
}

impl Session {
    pub(super) fn open_page_of(&mut self, action: Action) {
        let Some(shown) = self.shown_of(action) else {
            return;
        };
        // The same key again closes its page.
        if self.leaf().is_some_and(|leaf| leaf.shown == shown) {
            self.layers.pop();
            return;
        }
        self.open_page(shown.clone());
        match shown {
            Shown::Actions(_) => self.open_entry(Purpose::Needle(NeedleFor::Actions)),
            Shown::Functions(_) => self.open_entry(Purpose::Needle(NeedleFor::Functions)),
            _ => {}
        }
    }

    fn shown_of(&mut self, action: Action) -> Option<Shown> {
        let ledger = self.ledger();
        let (sheet, row) = (ledger.sheet, ledger.here(&self.desk));
        let head = ledger.head().map(|head| head.id);
        Some(match action {
            Action::Why => match (head, row) {
                (Some(column), Some(row)) => Shown::Reason(column, row),
                _ => return None,
            },
            Action::Findings => Shown::Findings,
            Action::Changes => Shown::Changes,
            Action::Remarks => Shown::Remarks,
            Action::Picture => return self.picture_of(sheet, row?),
            Action::Ratios => Shown::Ratios,
            Action::Failures => Shown::Failures,
            Action::Options => return self.options_here(),
            Action::Growth => Shown::Growth,
            Action::OrderList => Shown::OrderList,
            Action::Assumptions => Shown::Assumptions,
            Action::Columns => Shown::Columns(sheet),
            Action::Steps => Shown::Steps,
            Action::Proposals => Shown::Proposals,
            Action::Beside => Shown::Beside,
            Action::Help => Shown::Help(self.layers.is_empty()),
            Action::Actions => Shown::Actions(String::new()),
            Action::Functions => Shown::Functions(String::new()),
            Action::Care => Shown::Care,
            _ => return None,
        })
    }

    fn picture_of(&mut self, sheet: SheetId, row: RowId) -> Option<Shown> {
        match self.desk.plan().def(sheet).name.as_str() {
            "links" => Some(Shown::Light(sheet, row)),
            "switches" => Some(Shown::Front(sheet, row)),
            "paths" => Some(Shown::Trail(row)),
            _ => {
                self.say("links, switches and paths have pictures", Tone::Quiet);
                None
            }
        }
    }

    pub(super) fn open_page(&mut self, shown: Shown) {
        let mut leaf = Leaf {
            page: self.page_of(&shown),
            shown,
            reading: Reading::default(),
            width: self.width,
        };
        let first = leaf
            .page
            .lines
            .iter()
            .position(|line| line.target != Target::None);
        leaf.reading.at = first.unwrap_or(0);
        leaf.reading.keep_in_view(&leaf.page, self.page_height);
        self.layers.push(Layer::Page(leaf));
    }

    /// Shows a page that belongs to a question; it goes with it.
    pub(super) fn open_ready(&mut self, page: Page) {
        self.layers.push(Layer::Page(Leaf {
            shown: Shown::Ready,
            page,
            reading: Reading::default(),
            width: self.width,
        }));
    }

    /// Takes the page away that belongs to a question.
    pub(super) fn close_ready(&mut self) {
        let is_ready =
            |layer: &Layer| matches!(layer, Layer::Page(leaf) if leaf.shown == Shown::Ready);
        self.layers.retain(|layer| !is_ready(layer));
    }

    fn page_of(&self, shown: &Shown) -> Page {
        let (desk, theme, width) = (&self.desk, self.theme, self.width);
        match shown {
            Shown::Reason(column, row) => {
                let mut page = pages::reason(desk, *column, *row, width, theme);
                let sheet = desk.engine().graph().nodes[column.at()].sheet;
                let found = desk.findings_of(sheet, *row);
                page.lines.extend(pages::of_row(desk, &found, width, theme));
                page
            }
            Shown::Findings => {
                let list = desk.findings_from(0, MOST_LISTED);
                pages::findings(desk, &list, desk.standing().counts(), width, theme)
            }
            Shown::Changes => {
                let outcome = desk.outcome();
                pages::changes(
                    desk,
                    &self.last_step,
                    &outcome.came,
                    &outcome.went,
                    width,
                    theme,
                )
            }
            Shown::Remarks => pages::remarks(desk, width, theme),
            Shown::Light(sheet, row) => pages::light(desk, *sheet, *row, width, theme),
            Shown::Front(_, row) => pages::front(desk, *row, width, theme),
            Shown::Ratios => pages::ratios(desk, width, theme),
            Shown::Trail(row) => pages::trail(desk, *row, width, theme),
            Shown::Failures => pages::failures(desk, width, theme),
            Shown::Sweep(knob, of, range) => pages::sweep(desk, *knob, *of, range, width, theme),
            Shown::Options(links) => pages::options(desk, links, width, theme),
            Shown::Growth => pages::growth(desk, width, theme),
            Shown::OrderList => pages::order_list(desk, width, theme),
            Shown::Behind(at) => pages::behind(desk, *at, width, theme),
            Shown::Assumptions => pages::assumptions(desk, width, theme),
            Shown::Columns(sheet) => self.columns_page(*sheet),
            Shown::Steps => self.steps_page(),
            Shown::Proposals => pages::proposals(desk, width, theme),
            Shown::Beside => match desk.compare(&[]) {
                Ok(compared) => pages::beside(&compared, width, theme),
                Err(problem) => pages::cannot("Proposals beside the base", &problem, width, theme),
            },
            Shown::Help(in_ledger) => pages::help(*in_ledger, width, theme),
            Shown::Actions(needle) => pages::actions(needle, width, theme),
            Shown::Functions(needle) => pages::functions(needle, self.library(), width, theme),
            Shown::Function(at) => match self.library().iter().nth(*at) {
                Some(function) => pages::function(function, width, theme),
                None => Page::default(),
            },
            Shown::Care => pages::care(width, theme),
            Shown::Import => match &self.importing {
                Some(importing) => pages::import(importing, width, theme),
                None => Page::default(),
            },
            Shown::Merge => match &self.merging {
                Some(merging) => pages::merge(merging, width, theme),
                None => Page::default(),
            },
            // Such a page is kept as it is.
            Shown::Ready => Page::default(),
        }
    }

    fn library(&self) -> &Library {
        &self.desk.engine().knowledge().library
    }

    fn columns_page(&self, sheet: SheetId) -> Page {
        let shown: Vec<usize> = self.ledgers[sheet.at()]
            .heads
            .iter()
            .map(|head| head.position)
            .collect();
        let all = 0..self.desk.engine().schema()[sheet.at()].columns.len();
        let hidden: Vec<usize> = all.filter(|at| !shown.contains(at)).collect();
        pages::columns(&self.desk, sheet, &shown, &hidden, self.width, self.theme)
    }

    fn steps_page(&self) -> Page {
        let done: Vec<&str> = self.desk.steps_done().take(MOST_LISTED).collect();
        let undone: Vec<&str> = self.desk.steps_undone().collect();
        pages::steps(&done, &undone, None, self.width, self.theme)
    }

    /// Makes the pages anew after the plan or the width changed.
    pub(super) fn refresh_pages(&mut self) {
        for at in 0..self.layers.len() {
            let Some(Layer::Page(leaf)) = self.layers.get(at) else {
                continue;
            };
            if leaf.shown == Shown::Ready {
                continue;
            }
            let page = self.page_of(&leaf.shown);
            let (height, width) = (self.page_height, self.width);
            if let Some(Layer::Page(leaf)) = self.layers.get_mut(at) {
                let chosen = leaf.reading.target(&leaf.page);
                leaf.page = page;
                // Laid out anew, what was chosen may stand on another line.
                let targets = || leaf.page.lines.iter().map(|line| line.target);
                if chosen != Target::None && targets().nth(leaf.reading.at) != Some(chosen) {
                    let found = targets().position(|target| target == chosen);
                    leaf.reading.at = found.unwrap_or(leaf.reading.at);
                }
                leaf.width = width;
                leaf.reading.keep_in_view(&leaf.page, height);
            }
        }
    }

    /// Learns how much room pages have; pages made for another width are made anew.
    pub fn fit_pages(&mut self, width: usize, height: usize) {
        (self.width, self.page_height) = (width, height);
        if self.leaf().is_some_and(|leaf| leaf.width != width) {
            self.refresh_pages();
        }
        if let Some(Layer::Page(leaf)) = self
            .layers
            .iter_mut()
            .rev()
            .find(|layer| matches!(layer, Layer::Page(_)))
        {
            leaf.reading.keep_in_view(&leaf.page, height);
        }
    }

    pub(super) fn act_in_page(&mut self, action: Action) {
        let height = isize::try_from(self.page_height.max(1)).unwrap_or(1);
        match action {
            Action::Up => self.step_page(-1),
            Action::Down => self.step_page(1),
            Action::PageUp => self.step_page(-height),
            Action::PageDown => self.step_page(height),
            Action::First => self.step_page(isize::MIN),
            Action::Last => self.step_page(isize::MAX),
            Action::Left | Action::Back => {
                self.layers.pop();
            }
            Action::Right | Action::Enter => self.follow_line(),
            Action::NextSheet | Action::PreviousSheet => {}
            Action::Quit => self.layers.clear(),
            other => self.act_anywhere(other),
        }
    }

    pub(super) fn step_page(&mut self, by: isize) {
        let height = self.page_height;
        let top = self.layers.iter_mut().rev();
        let leaf = top.into_iter().find_map(|layer| match layer {
            Layer::Page(leaf) => Some(leaf),
            Layer::Entry(_) | Layer::Ask(_) => None,
        });
        if let Some(leaf) = leaf {
            leaf.reading.step(&leaf.page, by, height);
        }
    }

    fn follow_line(&mut self) {
        let Some(leaf) = self.leaf() else {
            return;
        };
        let target = leaf.reading.target(&leaf.page);
        let in_reason = matches!(leaf.shown, Shown::Reason(..));
        match target {
            Target::None => {}
            Target::Cell(_, row, column) if in_reason => self.open_page(Shown::Reason(column, row)),
            Target::Cell(sheet, row, column) => self.go_to(sheet, row, column),
            Target::Assumption(param) => self.open_entry(Purpose::Assumption(param)),
            Target::Column(sheet, position) => self.turn_column(sheet, position),
            Target::Action(action) => {
                self.layers.clear();
                self.act(action);
            }
            Target::Proposal(at) => self.enter_proposal(at),
            Target::Function(at) => self.open_page(Shown::Function(at)),
            Target::Heading(at) => self.ask_heading(at),
            Target::OtherPage(at) => self.other_page(at),
            Target::TellApart => self.tell_apart(),
            Target::TakeImport => self.take_import(),
            Target::TakeMerge => self.take_merge(),
            Target::TurnClass(class) => self.turn_class(class),
            Target::TurnChange(at) => self.turn_change(at),
            Target::Steps(by) => self.go_steps(by),
            Target::Take(at) => self.take_option(at),
            Target::Behind(at) => self.open_page(Shown::Behind(at)),
        }
    }

    /// Closes the pages and goes to a cell.
    fn go_to(&mut self, sheet: SheetId, row: RowId, column: ColumnId) {
        self.layers.clear();
        self.current = sheet.at();
        let Self { desk, ledgers, .. } = self;
        ledgers[sheet.at()].follow(desk);
        ledgers[sheet.at()].go_to(desk, row, Some(column));
    }

    fn go_steps(&mut self, by: i32) {
        for _ in 0..by.unsigned_abs() {
            if by > 0 { self.undo() } else { self.redo() }
        }
    }

    /// Keys that move in the list under a needle instead of in its line.
    pub(super) fn needle_key(&mut self, key: KeyEvent) -> bool {
        let is_needle = matches!(
            self.entry().map(|entry| entry.purpose()),
            Some(Purpose::Needle(_))
        );
        if !is_needle {
            return false;
        }
        let height = isize::try_from(self.page_height.max(1)).unwrap_or(1);
        match key.code {
            KeyCode::Up => self.step_page(-1),
            KeyCode::Down => self.step_page(1),
            KeyCode::PageUp => self.step_page(-height),
            KeyCode::PageDown => self.step_page(height),
            KeyCode::Enter => {
                self.layers.pop();
                self.follow_line();
            }
            _ => return false,
        }
        true
    }

    /// Makes the list under a needle anew.
    pub(super) fn follow_needle(&mut self) {
        let Some(entry) = self.entry() else {
            return;
        };
        let (purpose, text) = (entry.purpose().clone(), entry.text().to_owned());
        let Purpose::Needle(of) = purpose else {
            return;
        };
        let shown = match of {
            NeedleFor::Actions => Shown::Actions(text),
            NeedleFor::Functions => Shown::Functions(text),
            NeedleFor::Columns => return,
        };
        let page = self.page_of(&shown);
        let height = self.page_height;
        let below = self.layers.len().checked_sub(2);
        if let Some(Layer::Page(leaf)) = below.and_then(|at| self.layers.get_mut(at))
            && leaf.shown != shown
        {
            let first = page
                .lines
                .iter()
                .position(|line| line.target != Target::None);
            *leaf = Leaf {
                shown,
                page,
                reading: Reading {
                    top: 0,
                    at: first.unwrap_or(0),
                },
                width: leaf.width,
            };
            leaf.reading.keep_in_view(&leaf.page, height);
        }
    }

    /// A needle that is left closes its list as well.
    pub(super) fn leave_needle(&mut self, purpose: &Purpose) {
        if let Purpose::Needle(_) = purpose {
            self.layers.pop();
        }
    }
}
