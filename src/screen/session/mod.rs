//! One sitting at the screen: an open plan, a ledger for each sheet, and what lies over it.
//!
//! Takes events and gives effects; it changes the plan through the desk and touches no terminal.
//! Edits are in `change`, what is shown and how in `arrange`, pages in `look`.

mod arrange;
mod begin;
mod change;
mod import;
mod look;
mod merge;
mod propose;
mod study;
mod work;

pub use import::Importing;
pub use look::{Leaf, Shown};
pub use merge::Merging;
pub use work::Caller;

use super::action::{self, Action};
use super::entry::{Entry, Purpose};
use super::grid::Drawn;
use super::ledger::Ledger;
use super::theme::Theme;
use super::theme::Tone;
use crate::desk::Desk;
use crate::files::spreadsheet::Reader;
use crate::plan::Edit;
use crate::problem::Problem;
use crate::table::SheetId;
use crossterm::event::KeyCode;
use crossterm::event::KeyEvent;
use crossterm::event::KeyEventKind;
use crossterm::event::KeyModifiers;
use crossterm::event::MouseButton;
use crossterm::event::MouseEvent;
use crossterm::event::MouseEventKind;
use std::path::PathBuf;
use work::Work;

/// Something that happened.
#[derive(Debug, Clone, PartialEq)]
pub enum Happening {
    /// A key.
    Key(KeyEvent),
    /// A text that was pasted as one.
    Paste(String),
    /// The mouse.
    Mouse(MouseEvent),
    /// The terminal has another size; what is drawn next learns which.
    Resize,
    /// What is being done beside the sitting may be done, or further than it was.
    Worked,
}

/// What the run loop has to do.
#[derive(Debug, Clone, PartialEq)]
pub enum Effect {
    /// Send a text to the clipboard of the terminal.
    Clipboard(String),
    /// Draw everything again.
    Redraw,
    /// Leave the terminal to the shell until it gives it back.
    Suspend,
    /// End.
    Quit,
}

/// What lies over the ledger; the last has the keys.
#[derive(Debug)]
pub enum Layer {
    /// A page.
    Page(Leaf),
    /// The line a person types into.
    Entry(Box<Entry>),
    /// A question with a few answers.
    Ask(Ask),
}

/// A question.
#[derive(Debug)]
pub struct Ask {
    /// What is asked.
    pub text: String,
    /// The answers: key, words, and what they do.
    pub answers: Vec<(char, &'static str, Answer)>,
}

/// What an answer does.
#[derive(Debug, Clone, PartialEq)]
pub enum Answer {
    /// Save, then end.
    SaveAndQuit,
    /// End; steps that are not saved are gone.
    QuitAnyway,
    /// Save over a file that is there.
    SaveOver(PathBuf),
    /// Save over a file that another program changed.
    SaveChanged,
    /// Ask for another name to save under.
    NameAnother,
    /// Make the unsaved edits of an earlier session again.
    TakeRecovery,
    /// Leave them, kept aside.
    DropRecovery,
    /// Make an edit as one step.
    Apply(String, Box<Edit>),
    /// Take a proposal away.
    DropProposal(String),
}

/// One sitting.
#[derive(Debug)]
pub struct Session {
    /// The open plan.
    pub desk: Desk,
    /// How things look.
    pub theme: Theme,
    /// A ledger for each sheet, in the order of sheets.
    pub ledgers: Vec<Ledger>,
    /// The sheet in view.
    pub current: usize,
    /// What lies over the ledger.
    pub layers: Vec<Layer>,
    /// The line that tells what the last key did.
    pub message: (String, Tone),
    /// Whether the short reason is shown.
    pub pane: bool,
    /// Whether the hint for a first start is shown.
    pub greeting: bool,
    /// Where the ledger was drawn last.
    pub drawn: Drawn,
    /// Lines that a page had when it was drawn last.
    pub page_height: usize,
    /// Cells of a line when it was drawn last.
    pub width: usize,
    /// The name of the last step, with the way it went.
    last_step: String,
    /// Whether the person ends without the steps that are not saved.
    pub is_abandoned: bool,
    /// The table that was read and not taken yet.
    pub importing: Option<Importing>,
    /// The workbook that came back and is looked at.
    pub merging: Option<Merging>,
    /// What reads spreadsheets, where it is not this program as it runs.
    pub reader: Option<Reader>,
    /// What is called when work beside the sitting is done.
    pub call: Option<Caller>,
    work: Option<Work>,
    copied: Option<String>,
    needle: String,
    effects: Vec<Effect>,
}

impl Session {
    /// A sitting over an open plan.
    pub fn new(desk: Desk, theme: Theme) -> Self {
        let mut session = Self {
            ledgers: ledgers_of(&desk),
            greeting: false,
            desk,
            theme,
            current: 0,
            layers: Vec::new(),
            message: (String::new(), Tone::Plain),
            pane: true,
            drawn: Drawn::default(),
            page_height: 1,
            width: 80,
            last_step: String::new(),
            is_abandoned: false,
            importing: None,
            merging: None,
            reader: None,
            call: None,
            work: None,
            copied: None,
            needle: String::new(),
            effects: Vec::new(),
        };
        session.begin();
        session
    }

    /// Takes one event; gives what the run loop has to do.
    pub fn take(&mut self, happening: Happening) -> Vec<Effect> {
        match happening {
            Happening::Key(key) if key.kind == KeyEventKind::Release => {}
            Happening::Key(key) => self.key(key),
            Happening::Paste(text) => self.pasted(&text),
            Happening::Mouse(mouse) => self.mouse(mouse),
            Happening::Resize | Happening::Worked => {}
        }
        self.look_at_work();
        std::mem::take(&mut self.effects)
    }

    /// The ledger in view.
    pub fn ledger(&self) -> &Ledger {
        &self.ledgers[self.current]
    }

    fn ledger_mut(&mut self) -> &mut Ledger {
        &mut self.ledgers[self.current]
    }

    /// The entry that has the keys.
    pub fn entry(&self) -> Option<&Entry> {
        match self.layers.last() {
            Some(Layer::Entry(entry)) => Some(entry),
            Some(Layer::Page(_) | Layer::Ask(_)) | None => None,
        }
    }

    /// The page that covers the ledger: the uppermost one.
    pub fn leaf(&self) -> Option<&Leaf> {
        self.layers.iter().rev().find_map(|layer| match layer {
            Layer::Page(leaf) => Some(leaf),
            Layer::Entry(_) | Layer::Ask(_) => None,
        })
    }

    fn key(&mut self, key: KeyEvent) {
        let is_typing = matches!(self.layers.last(), Some(Layer::Entry(_) | Layer::Ask(_)));
        if key.code == KeyCode::Esc && !is_typing && self.stop_work() {
            return;
        }
        match self.layers.last() {
            Some(Layer::Entry(_)) => self.entry_key(key),
            Some(Layer::Ask(_)) => self.ask_key(key),
            Some(Layer::Page(_)) => {
                if let Some(action) = action::of_key(key, false) {
                    self.say("", Tone::Plain);
                    self.act(action);
                }
            }
            None => self.ledger_key(key),
        }
    }

    fn ledger_key(&mut self, key: KeyEvent) {
        self.say("", Tone::Plain);
        if let Some(action) = action::of_key(key, true) {
            self.act(action);
            return;
        }
        match (key.code, key.modifiers) {
            (KeyCode::Up | KeyCode::Down | KeyCode::Left | KeyCode::Right, modifiers)
                if modifiers == KeyModifiers::SHIFT =>
            {
                self.grow_block(key.code);
            }
            (KeyCode::Char(typed), modifiers)
                if begins_number(typed) && (modifiers - KeyModifiers::SHIFT).is_empty() =>
            {
                self.begin_entry(Some(typed));
            }
            _ => self.say("no such key here; ? shows the keys", Tone::Quiet),
        }
    }

    /// Does an action, in whatever lies on top.
    pub fn act(&mut self, action: Action) {
        match self.leaf().is_some() {
            true => self.act_in_page(action),
            false => self.act_in_ledger(action),
        }
    }

    fn act_in_ledger(&mut self, action: Action) {
        let height = isize::try_from(self.drawn.height.max(1)).unwrap_or(1);
        match action {
            Action::Up => self.step(-1, 0),
            Action::Down => self.step(1, 0),
            Action::Left => self.step(0, -1),
            Action::Right => self.step(0, 1),
            Action::PageUp => self.step(-height, 0),
            Action::PageDown => self.step(height, 0),
            Action::FirstColumn => self.step(0, isize::MIN),
            Action::LastColumn => self.step(0, isize::MAX),
            Action::First => self.step(isize::MIN, 0),
            Action::Last => self.step(isize::MAX, 0),
            Action::NextSheet => self.turn_to(1),
            Action::PreviousSheet => self.turn_to(self.ledgers.len() - 1),
            Action::Enter => self.begin_entry(None),
            Action::Back => self.back_in_ledger(),
            Action::Clear => self.clear(),
            Action::FillDown => self.fill_down(),
            Action::AddRow => self.ask_id(false),
            Action::CopyRow => self.ask_id(true),
            Action::RemoveRow => self.remove_rows(),
            Action::RowUp => self.move_rows(true),
            Action::RowDown => self.move_rows(false),
            Action::Mark => self.mark(),
            Action::Copy => self.copy(),
            Action::CopyToFile => self.open_entry(Purpose::CopyTo),
            Action::Paste => self.put(),
            Action::Find => self.open_entry(Purpose::Find),
            Action::FindNext => self.find_next(),
            Action::Keep => self.ask_condition(),
            Action::KeepVerdict => self.keep_verdict(),
            Action::Order => self.order(false),
            Action::OrderWithin => self.order(true),
            Action::HideColumn => self.hide_column(),
            Action::ColumnLeft => self.move_column(false),
            Action::ColumnRight => self.move_column(true),
            Action::Narrower => self.resize_column(-1),
            Action::Wider => self.resize_column(1),
            Action::Formula => self.edit_formula(),
            Action::AddColumn => self.ask_column(),
            Action::DropFormula => self.drop_formula(),
            Action::WhyPane => self.pane = !self.pane,
            Action::NextFinding => self.next_finding(),
            Action::Undo
            | Action::Redo
            | Action::Proposals
            | Action::NewProposal
            | Action::LeaveProposal
            | Action::Accept
            | Action::DropProposal
            | Action::Beside
            | Action::Steps
            | Action::Columns
            | Action::Why
            | Action::Findings
            | Action::Changes
            | Action::Remarks
            | Action::Picture
            | Action::Ratios
            | Action::Failures
            | Action::Sweep
            | Action::Options
            | Action::Growth
            | Action::OrderList
            | Action::Assumptions
            | Action::Functions
            | Action::Care
            | Action::Import
            | Action::Merge
            | Action::Save
            | Action::SaveAs
            | Action::Export
            | Action::Help
            | Action::Actions
            | Action::Redraw
            | Action::Suspend
            | Action::Quit => self.act_anywhere(action),
        }
    }

    /// Actions that do the same in the ledger and in pages.
    fn act_anywhere(&mut self, action: Action) {
        match action {
            Action::Undo => self.undo(),
            Action::Redo => self.redo(),
            Action::NewProposal => self.open_entry(Purpose::Proposal),
            Action::LeaveProposal => self.leave_proposal(),
            Action::Accept => self.accept_proposal(),
            Action::DropProposal => self.ask_drop(),
            Action::Import => self.open_entry(Purpose::ImportFrom),
            Action::Merge => self.open_merge(),
            Action::Save => self.save(),
            Action::SaveAs => self.open_entry(Purpose::SaveAs),
            Action::Export => self.open_entry(Purpose::Export),
            Action::Redraw => self.effects.push(Effect::Redraw),
            Action::Suspend => self.effects.push(Effect::Suspend),
            Action::Quit => self.quit(),
            Action::Sweep => self.ask_sweep(),
            _ => self.open_page_of(action),
        }
    }

    /// Puts a message into the line for it.
    pub fn say(&mut self, text: impl Into<String>, tone: Tone) {
        self.message = (text.into(), tone);
    }

    /// Puts a problem into the line for messages.
    pub fn tell(&mut self, problem: &Problem) {
        let text = match problem.help.first() {
            Some(help) => format!("{}; {help}", problem.message),
            None => problem.message.clone(),
        };
        self.say(text, Tone::Wrong);
    }

    fn open_entry(&mut self, purpose: Purpose) {
        let entry = Entry::new(purpose, &self.desk);
        self.layers.push(Layer::Entry(Box::new(entry)));
    }

    fn ask_key(&mut self, key: KeyEvent) {
        let Some(Layer::Ask(ask)) = self.layers.last() else {
            return;
        };
        if matches!(key.code, KeyCode::Esc) || action::of_key(key, false) == Some(Action::Quit) {
            self.layers.pop();
            self.close_ready();
            self.say("nothing was done", Tone::Quiet);
            return;
        }
        let KeyCode::Char(typed) = key.code else {
            self.scroll_under_question(key);
            return;
        };
        let chosen = ask.answers.iter().find(|(key, _, _)| *key == typed);
        if let Some(answer) = chosen.map(|(_, _, answer)| answer.clone()) {
            self.layers.pop();
            self.close_ready();
            self.answer(answer);
        }
    }

    /// A page under a question can be read on.
    fn scroll_under_question(&mut self, key: KeyEvent) {
        let height = isize::try_from(self.page_height.max(1)).unwrap_or(1);
        match action::of_key(key, false) {
            Some(Action::Up) => self.step_page(-1),
            Some(Action::Down) => self.step_page(1),
            Some(Action::PageUp) => self.step_page(-height),
            Some(Action::PageDown) => self.step_page(height),
            Some(_) | None => {}
        }
    }

    fn answer(&mut self, answer: Answer) {
        match answer {
            Answer::SaveAndQuit => {
                self.save();
                if !self.desk.is_changed() {
                    self.effects.push(Effect::Quit);
                }
            }
            Answer::QuitAnyway => {
                self.is_abandoned = true;
                self.effects.push(Effect::Quit);
            }
            Answer::SaveOver(path) => self.save_over(&path),
            Answer::SaveChanged => self.save_changed(),
            Answer::NameAnother => self.open_entry(Purpose::SaveAs),
            Answer::TakeRecovery => self.take_recovery(),
            Answer::DropRecovery => self.drop_recovery(),
            Answer::Apply(label, edit) => self.apply(&label, *edit),
            Answer::DropProposal(name) => self.drop_proposal(&name),
        }
    }

    fn quit(&mut self) {
        if !self.desk.is_changed() {
            self.effects.push(Effect::Quit);
            return;
        }
        self.layers.push(Layer::Ask(Ask {
            text: "There are steps that are not saved.".to_owned(),
            answers: vec![
                ('s', "save and end", Answer::SaveAndQuit),
                ('d', "drop them and end", Answer::QuitAnyway),
            ],
        }));
    }

    fn mouse(&mut self, mouse: MouseEvent) {
        match mouse.kind {
            MouseEventKind::ScrollUp => self.wheel(-3),
            MouseEventKind::ScrollDown => self.wheel(3),
            MouseEventKind::Down(MouseButton::Left) => self.click(mouse.column, mouse.row),
            _ => {}
        }
    }

    fn wheel(&mut self, by: isize) {
        match self.layers.last() {
            Some(Layer::Page(_)) => self.step_page(by),
            None => self.step(by, 0),
            Some(Layer::Entry(_) | Layer::Ask(_)) => {}
        }
    }

    fn click(&mut self, x: u16, y: u16) {
        if !self.layers.is_empty() || y < self.drawn.top {
            return;
        }
        let columns = self.drawn.columns.iter();
        let hit = |(_, from, width): &&(usize, u16, u16)| (*from..=from + width).contains(&x);
        let column = columns.rev().find(hit).map(|(at, _, _)| *at);
        let row = self.ledger().top + usize::from(y - self.drawn.top);
        let n_rows = self.ledger().rows(&self.desk).len();
        if row < n_rows.min(self.ledger().top + self.drawn.height) {
            let ledger = self.ledger_mut();
            ledger.row = row;
            ledger.column = column.unwrap_or(ledger.column);
        }
    }
}

/// A ledger for each sheet of a plan.
fn ledgers_of(desk: &Desk) -> Vec<Ledger> {
    let n_sheets = u16::try_from(desk.plan().schema().len()).unwrap_or(u16::MAX);
    let sheets = (0..n_sheets).map(SheetId);
    sheets.map(|sheet| Ledger::new(desk, sheet)).collect()
}

/// Whether a character can be the first of a number.
fn begins_number(typed: char) -> bool {
    typed.is_ascii_digit() || typed == '-' || typed == '+'
}
