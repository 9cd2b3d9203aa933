//! The line a person types into. Stub.
use super::page::Line;
use super::paint::Paint;
use super::theme::{Theme, Tone};
use crate::desk::Desk;
use crate::problem::Problem;
use crate::sheet::ColumnDef;
use crate::table::{ParamId, RowId, SheetId};
use crossterm::event::{KeyCode, KeyEvent};
use ratatui::layout::Rect;
#[derive(Debug, Clone, PartialEq)]
pub enum Purpose {
    Cell {
        sheet: SheetId,
        row: RowId,
        column: usize,
    },
    Cells {
        sheet: SheetId,
        rows: Vec<RowId>,
        column: usize,
    },
    Id {
        sheet: SheetId,
        like: Option<RowId>,
        after: Option<RowId>,
    },
    Assumption(ParamId),
    AssumptionSource {
        param: ParamId,
        value: String,
    },
    Formula {
        sheet: SheetId,
        column: usize,
        row: Option<RowId>,
    },
    Column {
        sheet: SheetId,
        row: Option<RowId>,
    },
    Keep {
        sheet: SheetId,
        row: Option<RowId>,
    },
    Find,
    SaveAs,
    CopyTo,
    Needle(NeedleFor),
}
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum NeedleFor {
    Actions,
    Functions,
}
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Move {
    Right,
    Down,
}
pub enum Reply {
    Stay,
    Cancel,
    Take(String),
    TakeAndMove(String, Move),
}
#[derive(Debug)]
pub struct Entry {
    purpose: Purpose,
    text: String,
    problem: Option<Problem>,
}
impl Entry {
    pub fn new(purpose: Purpose, _: &Desk) -> Self {
        Self {
            purpose,
            text: String::new(),
            problem: None,
        }
    }
    pub fn begun(purpose: Purpose, typed: char, _: &Desk) -> Self {
        Self {
            purpose,
            text: typed.to_string(),
            problem: None,
        }
    }
    pub fn purpose(&self) -> &Purpose {
        &self.purpose
    }
    pub fn text(&self) -> &str {
        &self.text
    }
    pub fn refuse(&mut self, problem: Problem) {
        self.problem = Some(problem);
    }
    pub fn key(&mut self, key: KeyEvent, _: &Desk) -> Reply {
        match key.code {
            KeyCode::Esc => Reply::Cancel,
            KeyCode::Enter => Reply::Take(self.text.clone()),
            KeyCode::Backspace => {
                self.text.pop();
                Reply::Stay
            }
            KeyCode::Char(c) => {
                self.text.push(c);
                Reply::Stay
            }
            _ => Reply::Stay,
        }
    }
    pub fn paste(&mut self, text: &str) {
        self.text.push_str(text);
    }
    pub fn lines(&self, _: &Desk, _: usize, _: Theme) -> Vec<Line> {
        self.problem
            .iter()
            .map(|p| Line::new(&p.message, Tone::Wrong))
            .collect()
    }
    pub fn draw(&self, area: Rect, paint: &mut Paint) -> (u16, u16) {
        let used = paint.text(
            area.x,
            area.y,
            area.width,
            &format!("> {}", self.text),
            Tone::Plain,
        );
        (area.x + used, area.y)
    }
}
pub fn checked(_: &Desk, _: SheetId, _: usize, _: &str) -> Result<(), Problem> {
    Ok(())
}
pub fn column_of(_: &Desk, _: SheetId, _: &str) -> Result<ColumnDef, Problem> {
    Err(Problem::new("x", "x"))
}
