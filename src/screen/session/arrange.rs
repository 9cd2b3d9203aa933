//! What of a sheet is seen: moving, marking, keeping, ordering, finding, columns.

use super::Session;
use crate::plan::Edit;
use crate::plan::SheetView;
use crate::problem::Problem;
use crate::screen::entry::Purpose;
use crate::screen::ledger::cell_text;
use crate::screen::theme::Tone;
use crate::table::{RowId, SheetId};
use crossterm::event::KeyCode;

/// The verdicts that rows are kept by, in the order of pressing.
const VERDICTS: [&str; 4] = ["fails", "tight", "unknown", "fits"];

impl Session {
    pub(super) fn step(&mut self, rows: isize, columns: isize) {
        let Self {
            desk,
            ledgers,
            current,
            ..
        } = self;
        ledgers[*current].step(desk, rows, columns);
    }

    pub(super) fn turn_to(&mut self, by: usize) {
        self.current = (self.current + by) % self.ledgers.len();
        let Self {
            desk,
            ledgers,
            current,
            ..
        } = self;
        ledgers[*current].follow(desk);
        ledgers[*current].shape(desk);
    }

    pub(super) fn back_in_ledger(&mut self) {
        if self.ledger_mut().mark.take().is_some() {
            return;
        }
        self.greeting = false;
        if self.ledger().is_picked() {
            self.show_all();
            self.say("all rows as stored", Tone::Quiet);
        }
    }

    fn show_all(&mut self) {
        let Self {
            desk,
            ledgers,
            current,
            ..
        } = self;
        let ledger = &mut ledgers[*current];
        ledger.keep = None;
        ledger.verdict = None;
        ledger.order.clear();
        ledger.pick(desk, None);
    }

    pub(super) fn mark(&mut self) {
        let ledger = self.ledger_mut();
        ledger.mark = match ledger.mark {
            Some(_) => None,
            None => Some((ledger.row, ledger.column)),
        };
    }

    pub(super) fn grow_block(&mut self, code: KeyCode) {
        let ledger = self.ledger_mut();
        let corner = (ledger.row, ledger.column);
        ledger.mark.get_or_insert(corner);
        match code {
            KeyCode::Up => self.step(-1, 0),
            KeyCode::Down => self.step(1, 0),
            KeyCode::Left => self.step(0, -1),
            _ => self.step(0, 1),
        }
    }

    pub(super) fn ask_condition(&mut self) {
        let (sheet, row) = (self.ledger().sheet, self.ledger().here(&self.desk));
        self.open_entry(Purpose::Keep { sheet, row });
    }

    /// Keeps the rows of a condition; an empty one keeps all.
    pub(super) fn keep(&mut self, text: &str) -> Result<(), Problem> {
        let text = text.trim();
        let sheet = self.ledger().sheet;
        let keep = (!text.is_empty()).then(|| text.to_owned());
        let ledger = self.ledger_mut();
        let before = (
            std::mem::replace(&mut ledger.keep, keep),
            ledger.verdict.take(),
        );
        if let Err(problem) = self.pick_again() {
            let ledger = self.ledger_mut();
            (ledger.keep, ledger.verdict) = before;
            return Err(problem);
        }
        let (shown, all) = (self.n_shown(), self.desk.plan().rows(sheet).order().len());
        self.say(format!("{shown} of {all} rows"), Tone::Quiet);
        Ok(())
    }

    pub(super) fn keep_verdict(&mut self) {
        let sheet = self.ledger().sheet;
        if self.desk.engine().find_column(sheet, "verdict").is_none() {
            self.say("this sheet has no verdicts", Tone::Quiet);
            return;
        }
        let next = match self.ledger().verdict {
            None => Some(VERDICTS[0]),
            Some(word) => VERDICTS
                .iter()
                .position(|known| *known == word)
                .and_then(|at| VERDICTS.get(at + 1).copied()),
        };
        self.ledger_mut().verdict = next;
        if let Err(problem) = self.pick_again() {
            self.tell(&problem);
            return;
        }
        let said = match next {
            Some(word) => format!("{} rows: {word}", self.n_shown()),
            None => "all rows".to_owned(),
        };
        self.say(said, Tone::Quiet);
    }

    fn n_shown(&self) -> usize {
        self.ledger().rows(&self.desk).len()
    }

    pub(super) fn order(&mut self, within: bool) {
        let Some(head) = self.ledger().head() else {
            return;
        };
        let (id, name) = (head.id, head.name.clone());
        let ledger = self.ledger_mut();
        let before = ledger
            .order
            .iter()
            .find(|(column, _)| *column == id)
            .copied();
        if !within {
            ledger.order.clear();
        }
        ledger.order.retain(|(column, _)| *column != id);
        let said = match before {
            None => {
                ledger.order.push((id, false));
                format!("ordered by {name}, rising")
            }
            Some((_, false)) => {
                ledger.order.push((id, true));
                format!("ordered by {name}, falling")
            }
            Some((_, true)) => "not ordered by it any more".to_owned(),
        };
        match self.pick_again() {
            Ok(()) => self.say(said, Tone::Quiet),
            Err(problem) => self.tell(&problem),
        }
    }

    /// Chooses the rows anew from condition, verdict and order.
    fn pick_again(&mut self) -> Result<(), Problem> {
        let ledger = self.ledger();
        if ledger.keep.is_none() && ledger.verdict.is_none() && ledger.order.is_empty() {
            self.show_all();
            return Ok(());
        }
        let mut rows = self.desk.plan().rows(ledger.sheet).order().to_vec();
        if let Some(text) = ledger.keep.clone() {
            let says = self.condition(&text)?;
            rows.retain(|row| says.get(row.at()) == Some(&1));
        }
        self.retain_verdict(&mut rows);
        self.sort(&mut rows);
        let Self {
            desk,
            ledgers,
            current,
            ..
        } = self;
        ledgers[*current].pick(desk, Some(rows));
        Ok(())
    }

    fn retain_verdict(&self, rows: &mut Vec<RowId>) {
        let ledger = self.ledger();
        let Some(word) = ledger.verdict else {
            return;
        };
        let engine = self.desk.engine();
        let Some(column) = engine.find_column(ledger.sheet, "verdict") else {
            return;
        };
        let Some(code) = self.desk.plan().names().known(word) else {
            rows.clear();
            return;
        };
        let codes = engine.values(column).codes();
        rows.retain(|row| codes.get(row.at()) == Some(&code));
    }

    /// What a condition says of each row, by place in storage.
    fn condition(&self, text: &str) -> Result<Vec<u8>, Problem> {
        let said = self
            .desk
            .engine()
            .condition(self.desk.plan(), self.ledger().sheet, text);
        said.map_err(|problems| {
            let first = problems.into_iter().next();
            first.unwrap_or_else(|| Problem::new("no-condition", "this is no condition"))
        })
    }

    fn sort(&self, rows: &mut Vec<RowId>) {
        let ledger = self.ledger();
        let engine = self.desk.engine();
        engine.sorted(self.desk.plan(), ledger.sheet, rows, &ledger.order);
    }

    /// Moves to the next cell that holds the text that was looked for.
    pub(super) fn find_next(&mut self) {
        if self.needle.is_empty() {
            self.open_entry(Purpose::Find);
            return;
        }
        match self.found_after() {
            Some((row, column)) => {
                let ledger = self.ledger_mut();
                (ledger.row, ledger.column) = (row, column);
            }
            None => {
                let text = format!("`{}` stands nowhere in the rows shown", self.needle);
                self.say(text, Tone::Quiet);
            }
        }
    }

    pub(super) fn find(&mut self, text: &str) {
        self.needle = text.trim().to_lowercase();
        if !self.needle.is_empty() {
            self.find_next();
        }
    }

    /// The next cell after the cursor that holds the text, from the top again after the last row.
    fn found_after(&self) -> Option<(usize, usize)> {
        let (ledger, desk) = (self.ledger(), &self.desk);
        let rows = ledger.rows(desk);
        let holds = |row: usize, column: usize| {
            let text = cell_text(desk.engine(), desk, ledger.heads[column].id, rows[row]);
            text.to_lowercase().contains(&self.needle)
        };
        let n_columns = ledger.heads.len();
        for ahead in 0..=rows.len() {
            let row = (ledger.row + ahead) % rows.len().max(1);
            let columns = match ahead {
                0 => ledger.column + 1..n_columns,
                _ if ahead == rows.len() => 0..(ledger.column + 1).min(n_columns),
                _ => 0..n_columns,
            };
            if rows.is_empty() {
                return None;
            }
            if let Some(column) = columns.clone().find(|column| holds(row, *column)) {
                return Some((row, column));
            }
        }
        None
    }

    pub(super) fn next_finding(&mut self) {
        let ledger = self.ledger();
        let rows = ledger.rows(&self.desk);
        let standing = self.desk.standing();
        let ahead = (1..=rows.len()).map(|by| (ledger.row + by) % rows.len());
        match ahead
            .into_iter()
            .find(|at| standing.worst(ledger.sheet, rows[*at]).is_some())
        {
            Some(at) => self.ledger_mut().row = at,
            None => self.say("no row shown has a finding", Tone::Quiet),
        }
    }

    /// Hides the column of the cursor.
    pub(super) fn hide_column(&mut self) {
        let ledger = self.ledger();
        if ledger.column < ledger.n_fixed {
            self.say(
                "the name of a row and its verdict stay in view",
                Tone::Quiet,
            );
            return;
        }
        if let Some(head) = ledger.head() {
            let (sheet, position) = (ledger.sheet, head.position);
            self.turn_column(sheet, position);
        }
    }

    /// Hides a column that is shown, or shows one that is not.
    pub(super) fn turn_column(&mut self, sheet: SheetId, position: usize) {
        let ledger = &self.ledgers[sheet.at()];
        let fixed = ledger.heads[..ledger.n_fixed].iter();
        if fixed.into_iter().any(|head| head.position == position) {
            self.say(
                "the name of a row and its verdict stay in view",
                Tone::Quiet,
            );
            return;
        }
        let is_shown = ledger.heads.iter().any(|head| head.position == position);
        let def = &self.desk.engine().schema()[sheet.at()];
        let name = def.columns[position].name.clone();
        let mut view = self.desk.plan().view(sheet).clone();
        let label = match is_shown {
            true => {
                view.order.retain(|known| *known != name);
                view.hidden.insert(name.clone());
                format!("{name} hidden")
            }
            false => {
                view.hidden.remove(&name);
                if def.columns[position].quiet {
                    view.order = self.order_of(sheet);
                    view.order.push(name.clone());
                }
                format!("{name} shown")
            }
        };
        self.set_view(&label, sheet, view);
    }

    /// Moves the column of the cursor by one place.
    pub(super) fn move_column(&mut self, right: bool) {
        let ledger = self.ledger();
        let (sheet, n_fixed) = (ledger.sheet, ledger.n_fixed);
        let Some(at) = ledger.column.checked_sub(n_fixed) else {
            self.say(
                "the name of a row and its verdict stay where they are",
                Tone::Quiet,
            );
            return;
        };
        let mut order = self.order_of(sheet);
        let to = if right { at + 1 } else { at.wrapping_sub(1) };
        if at >= order.len() || to >= order.len() {
            return;
        }
        order.swap(at, to);
        let label = format!("{} moved", order[to]);
        let mut view = self.desk.plan().view(sheet).clone();
        view.order = order;
        self.set_view(&label, sheet, view);
    }

    /// The names of the columns shown, those that always stay left out.
    fn order_of(&self, sheet: SheetId) -> Vec<String> {
        let ledger = &self.ledgers[sheet.at()];
        let heads = ledger.heads.iter().skip(ledger.n_fixed);
        heads.map(|head| head.name.clone()).collect()
    }

    pub(super) fn resize_column(&mut self, by: i16) {
        let ledger = self.ledger();
        let Some(head) = ledger.head() else {
            return;
        };
        let (sheet, name) = (ledger.sheet, head.name.clone());
        let width = head.width.saturating_add_signed(by).clamp(2, 60);
        let mut view = self.desk.plan().view(sheet).clone();
        view.width.insert(name.clone(), width);
        self.set_view(&format!("{name} {width} wide"), sheet, view);
    }

    fn set_view(&mut self, label: &str, sheet: SheetId, view: SheetView) {
        self.apply(label, Edit::SetView { sheet, view });
    }
}
