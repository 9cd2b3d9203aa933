//! The ledger of one sheet: which rows and columns are seen, where the cursor is, what is marked.
//!
//! Looks at a plan and never changes it; how it is drawn is in `grid`.

use crate::desk::Desk;
use crate::engine::Engine;
use crate::plan::SheetView;
use crate::sheet::ColumnDef;
use crate::sheet::ColumnKind;
use crate::table::Cell;
use crate::table::{ColumnId, RowId, SheetId};
use crate::trade;
use crate::units::bare;
use unicode_width::UnicodeWidthStr;

/// Narrowest and widest column that is chosen by itself.
const WIDTHS: (u16, u16) = (4, 24);

/// Rows that are looked at to choose the width of a column.
const SAMPLE: usize = 100;

/// What fills a column.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Filling {
    /// What a person types.
    Entered,
    /// A formula of the program.
    Computed,
    /// A formula of the person.
    Own,
}

/// One column as it is shown.
#[derive(Debug, Clone, PartialEq)]
pub struct Head {
    /// Its position in the sheet.
    pub position: usize,
    /// Its id.
    pub id: ColumnId,
    /// Cells of the terminal it takes.
    pub width: u16,
    /// Its name.
    pub name: String,
    /// The symbol of its unit.
    pub unit: String,
    /// What fills it.
    pub filling: Filling,
    /// Whether its values stand at the right.
    pub is_number: bool,
    /// Whether its values are verdicts.
    pub is_verdict: bool,
}

/// Where in a sheet a person is, and what of it is seen.
#[derive(Debug, Clone)]
pub struct Ledger {
    /// The sheet.
    pub sheet: SheetId,
    /// The columns shown: the id, the verdict where the sheet has one, and the rest.
    pub heads: Vec<Head>,
    /// How many of them stay in view.
    pub n_fixed: usize,
    /// The position of the cursor among the rows shown.
    pub row: usize,
    /// The position of the cursor among the columns shown.
    pub column: usize,
    /// The first row in view.
    pub top: usize,
    /// The first column in view after those that stay.
    pub left: usize,
    /// The other corner of a block: row and column.
    pub mark: Option<(usize, usize)>,
    /// The condition that rows were kept by.
    pub keep: Option<String>,
    /// The verdict that rows were kept by.
    pub verdict: Option<&'static str>,
    /// The columns that rows are ordered by, and whether falling.
    pub order: Vec<(ColumnId, bool)>,
    /// The rows shown where they are not all rows as stored.
    picked: Option<Vec<RowId>>,
    n_columns: usize,
    view: SheetView,
}

impl Ledger {
    /// The ledger of a sheet, its cursor on the first row after the columns that stay.
    pub fn new(desk: &Desk, sheet: SheetId) -> Self {
        let mut ledger = Self {
            sheet,
            heads: Vec::new(),
            n_fixed: 1,
            row: 0,
            column: 0,
            top: 0,
            left: 0,
            mark: None,
            keep: None,
            verdict: None,
            order: Vec::new(),
            picked: None,
            n_columns: 0,
            view: SheetView::default(),
        };
        ledger.shape(desk);
        ledger.left = ledger.n_fixed;
        ledger
    }

    /// Chooses columns and widths anew.
    pub fn shape(&mut self, desk: &Desk) {
        let here = self.heads.get(self.column).map(|head| head.id);
        let def = &desk.engine().schema()[self.sheet.at()];
        let rows = self.rows(desk);
        let sample: Vec<RowId> = rows.iter().take(SAMPLE).copied().collect();
        let order = shown_columns(desk, self.sheet);
        self.n_columns = def.columns.len();
        self.view = desk.plan().view(self.sheet).clone();
        self.n_fixed = match order.get(1) {
            Some(at) if def.columns[*at].name == "verdict" => 2,
            Some(_) | None => 1.min(order.len()),
        };
        let heads = order.iter().map(|at| head(desk, self.sheet, *at, &sample));
        self.heads = heads.collect();
        let found = here.and_then(|id| self.heads.iter().position(|head| head.id == id));
        let last = self.heads.len().saturating_sub(1);
        self.column = found.unwrap_or(self.column.min(last));
        self.left = self.left.max(self.n_fixed);
        if self.mark.is_some_and(|(_, column)| column > last) {
            self.mark = None;
        }
    }

    /// Follows a change of the plan: rows that went are not shown any more.
    pub fn follow(&mut self, desk: &Desk) {
        let rows = desk.plan().rows(self.sheet);
        if let Some(picked) = &mut self.picked {
            picked.retain(|row| rows.is_live(*row));
        }
        let n_columns = desk.engine().schema()[self.sheet.at()].columns.len();
        if n_columns != self.n_columns {
            self.order.clear();
        }
        // Where whole columns were computed anew, formulas may be others as well.
        let is_new = desk.outcome().changed_cells.is_none();
        if is_new || n_columns != self.n_columns || *desk.plan().view(self.sheet) != self.view {
            self.shape(desk);
        }
        self.row = self.row.min(self.rows(desk).len().saturating_sub(1));
        if self
            .mark
            .is_some_and(|(row, _)| row >= self.rows(desk).len())
        {
            self.mark = None;
        }
    }

    /// The rows shown, in their order.
    pub fn rows<'a>(&'a self, desk: &'a Desk) -> &'a [RowId] {
        match &self.picked {
            Some(rows) => rows,
            None => desk.plan().rows(self.sheet).order(),
        }
    }

    /// Whether rows are left out or stand in another order than stored.
    pub fn is_picked(&self) -> bool {
        self.picked.is_some()
    }

    /// Shows these rows; `None` shows all as stored. The cursor stays on its row where it can.
    pub fn pick(&mut self, desk: &Desk, rows: Option<Vec<RowId>>) {
        let here = self.here(desk);
        self.picked = rows;
        self.mark = None;
        self.row = here.and_then(|row| self.place_of(desk, row)).unwrap_or(0);
    }

    /// Shows a new row after the one of the cursor where rows are picked.
    pub fn put_in(&mut self, row: RowId) {
        if let Some(picked) = &mut self.picked {
            let at = (self.row + 1).min(picked.len());
            picked.insert(at, row);
        }
    }

    /// The row of the cursor.
    pub fn here(&self, desk: &Desk) -> Option<RowId> {
        self.rows(desk).get(self.row).copied()
    }

    /// The column of the cursor.
    pub fn head(&self) -> Option<&Head> {
        self.heads.get(self.column)
    }

    /// The place of a row among those shown.
    pub fn place_of(&self, desk: &Desk, row: RowId) -> Option<usize> {
        let rows = desk.plan().rows(self.sheet);
        match &self.picked {
            Some(picked) => picked.iter().position(|known| *known == row),
            None if rows.is_live(row) => rows.rank().get(row.at()).map(|rank| *rank as usize),
            None => None,
        }
    }

    /// Moves the cursor to a cell, showing all rows again where its row is not among them.
    pub fn go_to(&mut self, desk: &Desk, row: RowId, column: Option<ColumnId>) {
        if self.place_of(desk, row).is_none() {
            self.picked = None;
            self.keep = None;
            self.verdict = None;
            self.order.clear();
        }
        if let Some(place) = self.place_of(desk, row) {
            self.row = place;
        }
        let found = column.and_then(|id| self.heads.iter().position(|head| head.id == id));
        if let Some(found) = found {
            self.column = found;
        }
        self.mark = None;
    }

    /// Moves the cursor by rows and columns, within what is shown.
    pub fn step(&mut self, desk: &Desk, rows: isize, columns: isize) {
        let last = self.rows(desk).len().saturating_sub(1);
        self.row = self.row.saturating_add_signed(rows).min(last);
        let last = self.heads.len().saturating_sub(1);
        self.column = self.column.saturating_add_signed(columns).min(last);
    }

    /// The places of the block from and to, both inclusive: rows, then columns.
    pub fn block(&self) -> ((usize, usize), (usize, usize)) {
        let (row, column) = self.mark.unwrap_or((self.row, self.column));
        let span = |a: usize, b: usize| (a.min(b), a.max(b));
        (span(row, self.row), span(column, self.column))
    }

    /// The rows of the block.
    pub fn block_rows(&self, desk: &Desk) -> Vec<RowId> {
        let ((from, to), _) = self.block();
        let rows = self.rows(desk);
        rows.get(from..(to + 1).min(rows.len()))
            .map_or_else(Vec::new, <[RowId]>::to_vec)
    }

    /// The columns of the block.
    pub fn block_heads(&self) -> &[Head] {
        let (_, (from, to)) = self.block();
        self.heads
            .get(from..(to + 1).min(self.heads.len()))
            .unwrap_or(&[])
    }

    /// Scrolls so that the cursor is in view.
    pub fn keep_in_view(&mut self, height: usize, width: u16, gap: u16) {
        let height = height.max(1);
        self.top = self.top.min(self.row);
        if self.row >= self.top + height {
            self.top = self.row + 1 - height;
        }
        self.left = self
            .left
            .clamp(self.n_fixed, self.heads.len().max(self.n_fixed));
        if self.column < self.n_fixed {
            return;
        }
        self.left = self.left.min(self.column);
        while self.left < self.column && !self.reaches(self.column, width, gap) {
            self.left += 1;
        }
    }

    /// Whether a column ends within the width when the view begins at the first scrolled one.
    fn reaches(&self, column: usize, width: u16, gap: u16) -> bool {
        let fixed = self.heads[..self.n_fixed].iter();
        let scrolled = self.heads[self.left..=column].iter();
        let taken = fixed
            .chain(scrolled)
            .map(|head| u32::from(head.width + gap));
        taken.sum::<u32>() <= u32::from(width) + u32::from(gap)
    }

    /// Widens the column of a cell that was written, so that the text is seen.
    pub fn make_room(&mut self, desk: &Desk, row: RowId, column: ColumnId) {
        let text = cell_text(desk.engine(), desk, column, row);
        let wide = u16::try_from(text.width()).unwrap_or(u16::MAX);
        if let Some(head) = self.heads.iter_mut().find(|head| head.id == column) {
            head.width = head.width.max(wide.min(WIDTHS.1));
        }
    }
}

/// Positions of the columns that are shown, in their order.
pub fn shown_columns(desk: &Desk, sheet: SheetId) -> Vec<usize> {
    let first = desk.engine().column(sheet, 0).at();
    let columns = trade::ledger(desk.plan(), desk.engine(), sheet);
    columns
        .into_iter()
        .map(|column| column.at() - first)
        .collect()
}

fn head(desk: &Desk, sheet: SheetId, position: usize, sample: &[RowId]) -> Head {
    let engine = desk.engine();
    let (def, id) = (
        &engine.schema()[sheet.at()].columns[position],
        engine.column(sheet, position),
    );
    let widest = sample
        .iter()
        .map(|row| cell_text(engine, desk, id, *row).width())
        .chain([def.name.width(), def.unit.width()])
        .max()
        .unwrap_or(0);
    let asked = desk.plan().view(sheet).width.get(&def.name).copied();
    let is_verdict = def.name == "verdict";
    // The mark before the word, and the longest word.
    let widest = if is_verdict {
        "? unknown".len()
    } else {
        widest
    };
    Head {
        position,
        id,
        width: asked.unwrap_or_else(|| {
            let widest = u16::try_from(widest).unwrap_or(u16::MAX);
            widest.clamp(WIDTHS.0, WIDTHS.1)
        }),
        name: def.name.clone(),
        unit: def.unit.clone(),
        filling: filling(desk, sheet, position, def),
        is_number: def.kind == ColumnKind::Number,
        is_verdict,
    }
}

fn filling(desk: &Desk, sheet: SheetId, position: usize, def: &ColumnDef) -> Filling {
    if def.entered() {
        return Filling::Entered;
    }
    let plan = desk.plan();
    let of_plan = position < plan.def(sheet).columns.len();
    match of_plan && (plan.is_own(sheet, position) || plan.overridden(sheet, position).is_some()) {
        true => Filling::Own,
        false => Filling::Computed,
    }
}

/// A cell as the ledger shows it: a number without its unit, which the head has.
pub fn cell_text(engine: &Engine, desk: &Desk, column: ColumnId, row: RowId) -> String {
    match engine.cell(desk.plan(), column, row) {
        Cell::Number(value) => {
            let decimals = engine.def(column).and_then(|def| def.decimals);
            bare(value, engine.unit(column), decimals)
        }
        Cell::Missing => desk.wrong_text(column, row).unwrap_or_default().to_owned(),
        cell @ (Cell::Text(_) | Cell::Flag(_) | Cell::Failed) => engine.shown_cell(column, &cell),
    }
}
