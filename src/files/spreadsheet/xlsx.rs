//! Pages of Office Open XML workbooks, cell by cell.

use super::grid::Kind;
use super::package::Found;
use super::serve::{Pages, Sheet, Stop, damaged, put_number};
use super::{Area, Form};
use calamine::DataRef;
use calamine::ExcelDateTime;
use calamine::Reader;
use calamine::SheetType;
use calamine::SheetVisible;
use calamine::Xlsx;
use calamine::open_workbook_from_rs;
use std::io::{Cursor, Write};

/// Sends the pages that are wanted.
pub(super) fn read<W: Write>(
    bytes: &[u8],
    found: &Found,
    pages: &mut Pages<'_, W>,
) -> Result<(), Stop> {
    let mut book: Xlsx<_> = open_workbook_from_rs(Cursor::new(bytes)).map_err(damaged)?;
    pages.begin(
        Form::Xlsx,
        book.has_1904_epoch(),
        &found.properties,
        &found.notes,
    )?;
    let sheets = book.sheets_metadata().to_vec();
    let sheets: Vec<_> = sheets
        .into_iter()
        .filter(|sheet| sheet.typ == SheetType::WorkSheet)
        .collect();
    for (at, sheet) in sheets.iter().enumerate() {
        if !pages.wants(at) {
            continue;
        }
        let beside = found.pages.get(&sheet.name).cloned().unwrap_or_default();
        let is_hidden = sheet.visible != SheetVisible::Visible;
        pages.page(&sheet.name, is_hidden, sheets.len(), |to| {
            let mut cells = book.worksheet_cells_reader(&sheet.name).map_err(damaged)?;
            let mut text = String::new();
            while let Some(cell) = cells.next_cell_with_formula().map_err(damaged)? {
                let (row, column) = cell.pos;
                if cell.value == DataRef::Empty && cell.formula.is_none() {
                    continue;
                }
                let row = row.saturating_add(1);
                if !to.begin_row(row, beside.hidden.contains(&row))? {
                    break;
                }
                send(to, column, &cell.value, cell.formula.as_deref(), &mut text)?;
            }
            Ok(areas(&beside.merged))
        })?;
    }
    Ok(())
}

/// Merged cells, as many as are worth while.
fn areas(merged: &[Area]) -> Vec<Area> {
    merged.iter().take(100_000).copied().collect()
}

/// Sends one cell; `scratch` is for its text.
pub(super) fn send<W: Write>(
    to: &mut Sheet<'_, W>,
    column: u32,
    value: &DataRef<'_>,
    formula: Option<&str>,
    scratch: &mut String,
) -> Result<(), Stop> {
    match value {
        DataRef::Int(number) => {
            *scratch = number.to_string();
            to.cell(column, Kind::Number, scratch, formula)
        }
        DataRef::Float(number) => {
            let kind = put_number(scratch, *number);
            to.cell(column, kind, scratch, formula)
        }
        DataRef::String(text) => to.cell(column, Kind::Text, text, formula),
        DataRef::SharedString(text) => to.cell(column, Kind::Text, text, formula),
        DataRef::Bool(flag) => {
            let word = if *flag { "TRUE" } else { "FALSE" };
            to.cell(column, Kind::Flag, word, formula)
        }
        DataRef::DateTime(date) => {
            let kind = put_date(scratch, date);
            to.cell(column, kind, scratch, formula)
        }
        DataRef::DateTimeIso(text) | DataRef::DurationIso(text) => {
            let text = text.strip_suffix("T00:00:00").unwrap_or(text);
            to.cell(column, Kind::Date, text, formula)
        }
        DataRef::Error(error) => to.cell(column, Kind::Error, &error.to_string(), formula),
        DataRef::Empty => match formula {
            Some(formula) => to.cell(column, Kind::NotCalculated, "", Some(formula)),
            None => Ok(()),
        },
    }
}

/// A date, year first, with its time where it has one.
fn put_date(text: &mut String, date: &ExcelDateTime) -> Kind {
    let serial = date.as_f64();
    if date.is_duration() || !(0.0..2_958_466.0).contains(&serial) {
        return put_number(text, serial);
    }
    let (year, month, day, hour, minute, second, milli) = date.to_ymd_hms_milli();
    // Half a second and more goes up, but never over the end of the day.
    let second = if milli >= 500 && second < 59 {
        second + 1
    } else {
        second
    };
    let time = match second {
        0 => format!("{hour:02}:{minute:02}"),
        second => format!("{hour:02}:{minute:02}:{second:02}"),
    };
    *text = match (serial < 1.0, serial.fract() == 0.0) {
        (true, false) => time,
        (_, true) => format!("{year:04}-{month:02}-{day:02}"),
        (false, false) => format!("{year:04}-{month:02}-{day:02} {time}"),
    };
    Kind::Date
}
