//! The pages: one file each, made from an open plan. Nothing here changes a plan or draws.
use super::page::{Line, Page};
use super::session::Shown;
use super::theme::{Theme, Tone};
use crate::desk::Desk;
use crate::table::{ColumnId, RowId};
use crate::trade::{Finding, Findings};
/// A page.
pub fn page(
    _: &Desk,
    _: &Findings,
    _: &(String, Vec<Finding>, Vec<Finding>),
    shown: &Shown,
    _: usize,
    _: Theme,
) -> Page {
    Page {
        title: format!("{shown:?}"),
        lines: vec![Line::new("page", Tone::Plain)],
    }
}
/// Short.
pub fn short(
    desk: &Desk,
    _: &Findings,
    column: ColumnId,
    row: RowId,
    _: (usize, usize),
    _: Theme,
) -> Vec<Line> {
    crate::trade::why(desk.plan(), desk.engine(), column, row)
        .lines()
        .into_iter()
        .map(Line::plain)
        .collect()
}
