//! Changes of the plan: what was typed, rows that come and go, steps back, saving.
//!
//! Every change goes through the desk as one named step; what is refused changes nothing.

use super::{Answer, Ask, Effect, Layer, Session};
use crate::desk::Exported;
use crate::desk::Outcome;
use crate::desk::Wanted;
use crate::files::save::Saved;
use crate::plan::Edit;
use crate::plan::Entry as Content;
use crate::plan::read_entry;
use crate::problem::Problem;
use crate::report::format_of;
use crate::screen::action::{self, Action};
use crate::screen::block;
use crate::screen::block::Pasting;
use crate::screen::entry::read_column;
use crate::screen::entry::{Direction, Entry, Purpose, Reply};
use crate::screen::page::Page;
use crate::screen::theme::Tone;
use crate::sheet::ColumnDef;
use crate::table::{ParamId, RowId, SheetId};
use crate::trade::Finding;
use crossterm::event::KeyEvent;
use crossterm::event::KeyModifiers;
use std::path::{Path, PathBuf};

impl Session {
    /// Opens the entry for the cell of the cursor, or for all entered cells of the block.
    pub(super) fn begin_entry(&mut self, typed: Option<char>) {
        let Some(purpose) = self.purpose_here() else {
            return;
        };
        let entry = match typed {
            Some(typed) => Entry::begun(purpose, typed, &self.desk),
            None => Entry::new(purpose, &self.desk),
        };
        self.layers.push(Layer::Entry(Box::new(entry)));
    }

    fn purpose_here(&mut self) -> Option<Purpose> {
        let ledger = self.ledger();
        let (sheet, head) = (ledger.sheet, ledger.head()?.clone());
        let Some(row) = ledger.here(&self.desk) else {
            return Some(Purpose::Id {
                sheet,
                like: None,
                after: None,
            });
        };
        let of_plan = self.desk.plan().def(sheet).columns.get(head.position);
        if !of_plan.is_some_and(ColumnDef::entered) {
            let text = format!(
                "`{}` is computed; w says how, e changes the formula of the column",
                head.name
            );
            self.say(text, Tone::Quiet);
            return None;
        }
        let rows = ledger.block_rows(&self.desk);
        Some(match ledger.mark.is_some() && rows.len() > 1 {
            true => Purpose::Cells {
                sheet,
                rows,
                column: head.position,
            },
            false => Purpose::Cell {
                sheet,
                row,
                column: head.position,
            },
        })
    }

    pub(super) fn entry_key(&mut self, key: KeyEvent) {
        if self.needle_key(key) {
            return;
        }
        let Some(Layer::Entry(entry)) = self.layers.last_mut() else {
            return;
        };
        let reply = entry.key(key, &self.desk);
        let purpose = entry.purpose().clone();
        match reply {
            Reply::Stay => self.follow_needle(),
            Reply::Pass => self.pass_by_entry(key),
            Reply::Cancel => {
                self.layers.pop();
                self.leave_needle(&purpose);
            }
            Reply::Take(text) => {
                self.take_entry(&purpose, &text);
            }
            Reply::TakeAndMove(text, to) => {
                if self.take_entry(&purpose, &text) {
                    match to {
                        Direction::Left => self.step(0, -1),
                        Direction::Right => self.step(0, 1),
                    }
                }
            }
        }
    }

    /// A key that an entry has no use for: those that do the same everywhere still do.
    fn pass_by_entry(&mut self, key: KeyEvent) {
        match action::of_key(key, false) {
            Some(action @ (Action::Quit | Action::Suspend | Action::Redraw))
                if key.modifiers.contains(KeyModifiers::CONTROL) =>
            {
                self.act_anywhere(action);
            }
            Some(_) | None => {}
        }
    }

    /// Does what an entry is for; refused, it stays with its problem. Gives whether it was done.
    fn take_entry(&mut self, purpose: &Purpose, text: &str) -> bool {
        let layer = self.layers.pop();
        match self.done_with(purpose, text) {
            Ok(()) => true,
            Err(problem) => {
                if let Some(Layer::Entry(mut entry)) = layer {
                    entry.refuse(problem);
                    self.layers.push(Layer::Entry(entry));
                }
                false
            }
        }
    }

    fn done_with(&mut self, purpose: &Purpose, text: &str) -> Result<(), Problem> {
        match purpose {
            Purpose::Cell { sheet, row, column } => self.write(*sheet, &[*row], *column, text),
            Purpose::Cells {
                sheet,
                rows,
                column,
            } => self.write(*sheet, rows, *column, text),
            Purpose::Id { sheet, like, .. } => self.add_row(*sheet, *like, text),
            Purpose::Assumption(param) => {
                self.desk.plan().read_assumption(*param, text)?;
                self.open_entry(Purpose::AssumptionSource {
                    param: *param,
                    value: text.to_owned(),
                });
                Ok(())
            }
            Purpose::AssumptionSource { param, value } => self.assume(*param, value, text),
            Purpose::Formula { sheet, column, .. } => self.set_formula(*sheet, *column, Some(text)),
            Purpose::Column { sheet, .. } => self.add_column(*sheet, text),
            Purpose::Keep { .. } => self.keep(text),
            Purpose::Sweep { knob, of } => self.show_sweep(*knob, *of, text),
            Purpose::Find => {
                self.find(text);
                Ok(())
            }
            Purpose::SaveAs => self.save_as(text),
            Purpose::ImportFrom => self.ask_table(text),
            Purpose::MergeFrom => self.ask_returned(text),
            Purpose::Heading { heading, .. } => self.map_heading(heading, text),
            Purpose::CopyTo => self.copy_to(text),
            Purpose::Proposal => self.new_proposal(text),
            Purpose::Export => self.export(text),
            Purpose::Needle(_) => Ok(()),
        }
    }

    /// Writes a text into one column of rows, as one step.
    fn write(
        &mut self,
        sheet: SheetId,
        rows: &[RowId],
        column: usize,
        text: &str,
    ) -> Result<(), Problem> {
        let mut own = Vec::with_capacity(rows.len());
        for row in rows {
            // A built-in row stays; the person's copy takes its place.
            own.push(match self.desk.plan().rows(sheet).is_builtin(*row) {
                true => {
                    read_entry(self.desk.plan(), sheet, column, text)?;
                    self.desk.own_row(sheet, *row)?
                }
                false => *row,
            });
        }
        let entry = read_entry(self.desk.plan(), sheet, column, text)?;
        let name = self.desk.plan().column(sheet, column).name.clone();
        let label = match own.as_slice() {
            [row] => format!("{name} of {}", self.desk.plan().id(sheet, *row)),
            rows => format!("{name} of {} rows", rows.len()),
        };
        let cells = own
            .iter()
            .map(|row| ((column, *row), entry.clone()))
            .collect();
        self.try_apply(&label, Edit::SetCells { sheet, cells })?;
        if let [row] = own.as_slice() {
            let id = self.desk.engine().column(sheet, column);
            let Self { desk, ledgers, .. } = self;
            ledgers[sheet.at()].make_room(desk, *row, id);
            ledgers[sheet.at()].go_to(desk, *row, Some(id));
        }
        Ok(())
    }

    pub(super) fn ask_id(&mut self, like: bool) {
        let (sheet, here) = (self.ledger().sheet, self.ledger().here(&self.desk));
        let like = if like { here } else { None };
        self.open_entry(Purpose::Id {
            sheet,
            like,
            after: here,
        });
    }

    /// Adds a row after the one of the cursor, its cells those of another row where one is named.
    fn add_row(&mut self, sheet: SheetId, like: Option<RowId>, text: &str) -> Result<(), Problem> {
        let plan = self.desk.plan();
        let id = read_entry(plan, sheet, 0, text)?;
        if id == Content::Empty {
            return Err(Problem::new("no-id", "a row needs a name").help("type one, or press Esc"));
        }
        if plan.find(sheet, text).is_some() {
            return Err(Problem::new(
                "id-there",
                format!("there is already a row `{}`", text.trim()),
            )
            .help("choose another name"));
        }
        let mut cells = vec![(0, id)];
        if let Some(like) = like {
            let others = plan.entered(sheet).filter(|column| *column != 0);
            cells.extend(others.map(|column| (column, plan.entry(sheet, column, like))));
        }
        let here = self.ledger().here(&self.desk);
        let rank = here.and_then(|row| plan.rows(sheet).rank().get(row.at()).copied());
        let at = rank.map_or(plan.rows(sheet).order().len(), |rank| rank as usize + 1);
        let at = plan.place_of_new(sheet, at);
        self.try_apply(
            &format!("new row {}", text.trim()),
            Edit::AddRows {
                sheet,
                at,
                rows: vec![cells],
            },
        )?;
        let added = self.desk.plan().rows(sheet).order().get(at).copied();
        if let Some(row) = added {
            let Self { desk, ledgers, .. } = self;
            ledgers[sheet.at()].put_in(row);
            ledgers[sheet.at()].go_to(desk, row, None);
        }
        Ok(())
    }

    pub(super) fn remove_rows(&mut self) {
        let sheet = self.ledger().sheet;
        let rows = self.ledger().block_rows(&self.desk);
        let label = match rows.as_slice() {
            [] => return,
            [row] => format!("{} taken away", self.desk.plan().id(sheet, *row)),
            rows => format!("{} rows taken away", rows.len()),
        };
        self.apply(&label, Edit::RemoveRows { sheet, rows });
        self.ledger_mut().mark = None;
    }

    /// Moves the rows of the block by one place in the stored order.
    pub(super) fn move_rows(&mut self, up: bool) {
        if self.ledger().is_picked() {
            self.say(
                "rows can be moved where all are shown as stored; Esc shows them",
                Tone::Quiet,
            );
            return;
        }
        let sheet = self.ledger().sheet;
        let ((from, to), _) = self.ledger().block();
        let mut order = self.desk.plan().rows(sheet).order().to_vec();
        match up {
            true if from > 0 && to < order.len() => order[from - 1..=to].rotate_left(1),
            false if to + 1 < order.len() => order[from..=to + 1].rotate_right(1),
            true | false => return,
        }
        let label = if up {
            "rows moved up"
        } else {
            "rows moved down"
        };
        if let Err(problem) = self.try_apply(label, Edit::Reorder { sheet, order }) {
            self.tell(&problem);
            return;
        }
        let ledger = self.ledger_mut();
        let moved = |at: usize| if up { at - 1 } else { at + 1 };
        ledger.row = moved(ledger.row);
        ledger.mark = ledger.mark.map(|(row, column)| (moved(row), column));
    }

    /// Empties every entered cell of the block; names of rows stay.
    pub(super) fn clear(&mut self) {
        let sheet = self.ledger().sheet;
        let rows = self.ledger().block_rows(&self.desk);
        let columns = self.entered_in_block();
        let places = columns
            .iter()
            .flat_map(|column| rows.iter().map(|row| (*column, *row)));
        let cells: Vec<_> = places.map(|place| (place, Content::Empty)).collect();
        if cells.is_empty() {
            self.say(
                "nothing here that a person enters, other than the name of a row",
                Tone::Quiet,
            );
            return;
        }
        let label = self.label_of(&columns, &rows, "emptied");
        self.apply(&label, Edit::SetCells { sheet, cells });
    }

    /// Writes the first row of the block into those under it, or the cell above into this one.
    pub(super) fn fill_down(&mut self) {
        let sheet = self.ledger().sheet;
        let ((from, to), _) = self.ledger().block();
        let from = if from == to {
            from.saturating_sub(1)
        } else {
            from
        };
        let rows = self.ledger().rows(&self.desk);
        let rows = rows
            .get(from..(to + 1).min(rows.len()))
            .unwrap_or(&[])
            .to_vec();
        let [first, under @ ..] = rows.as_slice() else {
            return;
        };
        let columns = self.entered_in_block();
        let plan = self.desk.plan();
        let mut cells = Vec::new();
        for column in &columns {
            let content = plan.entry(sheet, *column, *first);
            cells.extend(under.iter().map(|row| ((*column, *row), content.clone())));
        }
        if cells.is_empty() {
            self.say(
                "nothing to fill: computed cells fill themselves",
                Tone::Quiet,
            );
            return;
        }
        let label = self.label_of(&columns, under, "filled down");
        self.apply(&label, Edit::SetCells { sheet, cells });
    }

    /// Positions of the entered columns of the block, that of the id left out.
    fn entered_in_block(&self) -> Vec<usize> {
        let ledger = self.ledger();
        let columns = &self.desk.plan().def(ledger.sheet).columns;
        let positions = ledger.block_heads().iter().map(|head| head.position);
        positions
            .filter(|at| *at != 0 && columns.get(*at).is_some_and(ColumnDef::entered))
            .collect()
    }

    fn label_of(&self, columns: &[usize], rows: &[RowId], done: &str) -> String {
        let (sheet, plan) = (self.ledger().sheet, self.desk.plan());
        match (columns, rows) {
            ([column], [row]) => {
                format!(
                    "{} of {} {done}",
                    plan.column(sheet, *column).name,
                    plan.id(sheet, *row)
                )
            }
            _ => format!("{} cells {done}", columns.len() * rows.len()),
        }
    }

    pub(super) fn edit_formula(&mut self) {
        let ledger = self.ledger();
        let (sheet, row) = (ledger.sheet, ledger.here(&self.desk));
        let Some(head) = ledger.head().cloned() else {
            return;
        };
        match self.desk.plan().def(sheet).columns.get(head.position) {
            Some(def) if !def.entered() => {
                self.open_entry(Purpose::Formula {
                    sheet,
                    column: head.position,
                    row,
                });
            }
            Some(_) => self.say(
                format!("`{}` is entered; E adds a column with a formula", head.name),
                Tone::Quiet,
            ),
            None => self.say(
                format!("`{}` follows from the checks; w says how", head.name),
                Tone::Quiet,
            ),
        }
    }

    pub(super) fn ask_column(&mut self) {
        let (sheet, row) = (self.ledger().sheet, self.ledger().here(&self.desk));
        self.open_entry(Purpose::Column { sheet, row });
    }

    /// Puts the built-in formula back, or takes an own column away that is the last.
    pub(super) fn drop_formula(&mut self) {
        let sheet = self.ledger().sheet;
        let Some(head) = self.ledger().head().cloned() else {
            return;
        };
        let plan = self.desk.plan();
        let of_plan = head.position < plan.def(sheet).columns.len();
        if of_plan && plan.is_own(sheet, head.position) {
            if head.position + 1 == plan.def(sheet).columns.len() {
                self.apply(
                    &format!("column {} taken away", head.name),
                    Edit::RemoveLastColumn { sheet },
                );
            } else {
                self.say(
                    "own columns go in the order they came, the last one first",
                    Tone::Quiet,
                );
            }
            return;
        }
        if plan.overridden(sheet, head.position).is_none() {
            self.say(
                format!("`{}` has its built-in formula", head.name),
                Tone::Quiet,
            );
            return;
        }
        if let Err(problem) = self.set_formula(sheet, head.position, None) {
            self.tell(&problem);
        }
    }

    fn set_formula(
        &mut self,
        sheet: SheetId,
        column: usize,
        text: Option<&str>,
    ) -> Result<(), Problem> {
        let name = self.desk.plan().column(sheet, column).name.clone();
        let formula = text.map(str::to_owned);
        self.try_apply(
            &format!("formula of {name}"),
            Edit::SetFormula {
                sheet,
                column,
                formula,
            },
        )
    }

    fn add_column(&mut self, sheet: SheetId, text: &str) -> Result<(), Problem> {
        let made = read_column(&self.desk, sheet, text);
        let def = made.map_err(|problems| {
            let first = problems.into_iter().next();
            first.unwrap_or_else(|| Problem::new("no-column", "this describes no column"))
        })?;
        let label = format!("column {}", def.name);
        self.try_apply(&label, Edit::AddColumn { sheet, def })
    }

    fn assume(&mut self, param: ParamId, value: &str, source: &str) -> Result<(), Problem> {
        let entry = self.desk.plan().read_assumption(param, value)?;
        let own = entry != Content::Empty;
        let def = &self.desk.plan().assumptions()[param.at()].def;
        let (label, builtin) = (format!("assumption {}", def.name), def.clone());
        let entry = match own {
            true => entry,
            false => self.desk.plan().read_assumption(param, &builtin.value)?,
        };
        let source = match (own, source.trim()) {
            (false, _) => builtin.source,
            (true, "") => "not said".to_owned(),
            (true, source) => source.to_owned(),
        };
        self.try_apply(
            &label,
            Edit::SetAssumption {
                param,
                entry,
                source,
                own,
            },
        )
    }

    /// Makes an edit as one step and says what it changed; a refused one is told.
    pub(super) fn apply(&mut self, label: &str, edit: Edit) {
        if let Err(problem) = self.try_apply(label, edit) {
            self.tell(&problem);
        }
    }

    fn try_apply(&mut self, label: &str, edit: Edit) -> Result<(), Problem> {
        self.desk.apply(label, edit)?;
        self.greeting = false;
        self.followed(label, "");
        Ok(())
    }

    pub(super) fn undo(&mut self) {
        match self.desk.undo() {
            Ok(Some(label)) => self.followed(&label, "taken back: "),
            Ok(None) => self.say("nothing to take back", Tone::Quiet),
            Err(problem) => self.tell(&problem),
        }
    }

    pub(super) fn redo(&mut self) {
        match self.desk.redo() {
            Ok(Some(label)) => self.followed(&label, "made again: "),
            Ok(None) => self.say("nothing to make again", Tone::Quiet),
            Err(problem) => self.tell(&problem),
        }
    }

    /// Brings what is shown up to date after a step, and says what came of it.
    pub(super) fn followed(&mut self, label: &str, how: &str) {
        self.last_step = format!("{how}{label}");
        let said = format!("{how}{label}{}", came_of(self.desk.outcome()));
        let Self { desk, ledgers, .. } = self;
        for ledger in ledgers {
            ledger.follow(desk);
        }
        self.refresh_pages();
        self.say(said, Tone::Changed);
    }

    pub(super) fn save(&mut self) {
        if self.desk.path().is_none() || self.desk.is_read_only() {
            self.open_entry(Purpose::SaveAs);
            return;
        }
        match self.desk.save() {
            Ok(saved) => self.say_saved(&saved),
            Err(problem) if problem.code == "changed-by-another" => {
                self.layers.push(Layer::Ask(Ask {
                    text: "Another program changed the file since.".to_owned(),
                    answers: vec![
                        ('o', "save over it", Answer::SaveChanged),
                        ('n', "save under another name", Answer::NameAnother),
                    ],
                }))
            }
            Err(problem) => self.tell(&problem),
        }
    }

    /// Saves over a file that another program changed.
    pub(super) fn save_changed(&mut self) {
        match self.desk.save_over() {
            Ok(saved) => self.say_saved(&saved),
            Err(problem) => self.tell(&problem),
        }
    }

    fn save_as(&mut self, text: &str) -> Result<(), Problem> {
        let path = PathBuf::from(text.trim());
        if path.as_os_str().is_empty() {
            return Err(
                Problem::new("no-name", "a plan needs a name to be saved under")
                    .help("type one, such as campus.plan"),
            );
        }
        match self.desk.save_as(&path, false) {
            Ok(saved) => self.say_saved(&saved),
            Err(problem) if problem.code == "plan-there" => self.layers.push(Layer::Ask(Ask {
                text: format!("There is already a file `{}`.", text.trim()),
                answers: vec![('o', "save over it", Answer::SaveOver(path))],
            })),
            Err(problem) => return Err(problem),
        }
        Ok(())
    }

    /// Saves under a name, over what is there.
    pub(super) fn save_over(&mut self, path: &Path) {
        match self.desk.save_as(path, true) {
            Ok(saved) => self.say_saved(&saved),
            Err(problem) => self.tell(&problem),
        }
    }

    fn say_saved(&mut self, saved: &Saved) {
        self.greeting = false;
        match saved.durable {
            true => self.say(format!("saved {}", saved.path.display()), Tone::Fits),
            false => self.say("written, but the folder did not confirm it", Tone::Tight),
        }
    }

    pub(super) fn copy(&mut self) {
        let text = self.block_text(false);
        let n_cells =
            self.ledger().block_rows(&self.desk).len() * self.ledger().block_heads().len();
        self.effects.push(Effect::Clipboard(text.clone()));
        self.copied = Some(text);
        self.ledger_mut().mark = None;
        self.say(
            format!("{n_cells} cells copied; the terminal was asked to keep them as well, which not every one does"),
            Tone::Quiet,
        );
    }

    /// The block as a table; headings go into a file, not to a clipboard, so that what was copied
    /// can be put elsewhere.
    fn block_text(&self, with_heads: bool) -> String {
        let ledger = self.ledger();
        let rows = ledger.block_rows(&self.desk);
        let columns: Vec<usize> = ledger
            .block_heads()
            .iter()
            .map(|head| head.position)
            .collect();
        match with_heads {
            true => block::to_table_with_heads(&self.desk, ledger.sheet, &rows, &columns),
            false => block::to_table(&self.desk, ledger.sheet, &rows, &columns),
        }
    }

    fn copy_to(&mut self, text: &str) -> Result<(), Problem> {
        let name = text.trim();
        if name.is_empty() {
            return Err(
                Problem::new("no-name", "a file needs a name").help("type one, such as links.tsv")
            );
        }
        let path = PathBuf::from(name);
        if path.exists() {
            return Err(
                Problem::new("file-there", format!("there is already a file `{name}`"))
                    .help("choose another name"),
            );
        }
        crate::files::save::save(&path, self.block_text(true).as_bytes())?;
        self.say(format!("copied into {name}"), Tone::Fits);
        Ok(())
    }

    /// Writes pages for people into a file that is not there yet, beside the sitting.
    fn export(&mut self, text: &str) -> Result<(), Problem> {
        let path = PathBuf::from(text.trim());
        format_of(&path)?;
        if path.exists() {
            let what = format!("there is already a file `{}`", path.display());
            return Err(Problem::new("file-there", what).help("choose another name"));
        }
        if self.is_working() {
            return self.begin_work(String::new(), |_| Box::new(|_| {}));
        }
        let copy = self.desk.snapshot();
        self.begin_work(format!("writing {}", path.display()), move |gauge| {
            let done = copy.export(&path, &Wanted::default(), gauge);
            Box::new(move |session| match done {
                Ok(done) => session.say_exported(&done),
                Err(problem) if problem.code == "stopped" => {
                    session.say("stopped; no file was written", Tone::Quiet);
                }
                Err(problem) => session.tell(&problem),
            })
        })
    }

    fn say_exported(&mut self, done: &Exported) {
        let mut text = done.said(&done.saved.path);
        if !done.format.leaves_out.is_empty() {
            text.push_str(&format!("; left out: {}", done.format.leaves_out));
        }
        self.say(text, Tone::Fits);
    }

    pub(super) fn put(&mut self) {
        match self.copied.clone() {
            Some(text) => self.put_text(&text),
            None => self.say(
                "nothing was copied here; paste with the keys of your terminal",
                Tone::Quiet,
            ),
        }
    }

    pub(super) fn pasted(&mut self, text: &str) {
        match self.layers.last_mut() {
            Some(Layer::Entry(entry)) => {
                entry.paste(text);
                self.follow_needle();
            }
            Some(Layer::Page(_) | Layer::Ask(_)) => {}
            None => self.put_text(text),
        }
    }

    /// Puts a table at the cursor: one cell at once, more after a look at what it would do.
    fn put_text(&mut self, text: &str) {
        let table = block::read_table(text);
        let ((row, _), (column, _)) = self.ledger().block();
        let ledger = self.ledger();
        let heads = ledger.heads.iter().skip(column);
        let columns: Vec<usize> = heads.map(|head| head.position).collect();
        let rows = ledger.rows(&self.desk);
        let pasting = block::plan_paste(&self.desk, ledger.sheet, row, rows, &columns, &table);
        self.ledger_mut().mark = None;
        if pasting.is_empty() && pasting.n_refused == 0 {
            self.say("that is what stands there already", Tone::Quiet);
            return;
        }
        let is_one = table.len() == 1 && table.first().is_some_and(|row| row.len() == 1);
        if is_one && pasting.n_refused == 0 {
            self.apply(&pasting.label, pasting.edit);
            return;
        }
        self.ask_paste(pasting);
    }

    fn ask_paste(&mut self, pasting: Pasting) {
        let page = Page {
            title: "What a paste would do".to_owned(),
            lines: pasting.lines(),
        };
        self.open_ready(page);
        let answers = match pasting.is_empty() {
            true => Vec::new(),
            false => {
                let words = match pasting.n_refused {
                    0 => "paste it",
                    _ => "paste the rest",
                };
                let edit = Box::new(pasting.edit);
                vec![('p', words, Answer::Apply(pasting.label, edit))]
            }
        };
        let text = match answers.is_empty() {
            true => "Nothing of it can be pasted here.",
            false => "One step, which undo takes back.",
        };
        self.layers.push(Layer::Ask(Ask {
            text: text.to_owned(),
            answers,
        }));
    }
}

/// What came and went with a step, in a few words.
fn came_of(outcome: &Outcome) -> String {
    let told = |sign: &str, list: &[Finding], n: usize| match (list, n) {
        (_, 0) => String::new(),
        ([one], 1) => format!("; {sign} {} {}", one.severity.word(), one.check),
        (_, several) => format!("; {sign} {several} findings"),
    };
    let came = told("new:", &outcome.came, outcome.n_came);
    let went = told("gone:", &outcome.went, outcome.n_went);
    format!("{came}{went}")
}
