//! Pages of binary workbooks: xls in a compound file, and xlsb.

use super::package::Found;
use super::serve::{Pages, Stop, damaged, failed};
use super::xls_size;
use super::xls_size::TooMuch;
use super::xlsx::send;
use super::{Area, Form};
use calamine::Data;
use calamine::DataRef;
use calamine::Reader;
use calamine::SheetType;
use calamine::SheetVisible;
use calamine::Xls;
use calamine::Xlsb;
use calamine::open_workbook_from_rs;
use memchr::memmem;
use rustc_hash::FxHashMap;
use std::io::{Cursor, Write};

/// The first bytes of a compound file.
pub(super) const COMPOUND: [u8; 8] = [0xd0, 0xcf, 0x11, 0xe0, 0xa1, 0xb1, 0x1a, 0xe1];

/// What a newer workbook that is protected holds, as it stands in the list of parts.
const ENCRYPTED: &str = "EncryptedPackage";

/// Sends the pages of an xls file.
pub(super) fn read<W: Write>(bytes: &[u8], pages: &mut Pages<'_, W>) -> Result<(), Stop> {
    if !bytes.starts_with(&COMPOUND) {
        let what = "this is no spreadsheet of a known form";
        return Err(failed("not-a-spreadsheet", what));
    }
    let wide: Vec<u8> = ENCRYPTED
        .encode_utf16()
        .flat_map(u16::to_le_bytes)
        .collect();
    if memmem::find(bytes, &wide).is_some() {
        return Err(protected());
    }
    xls_size::look(bytes).map_err(|why| match why {
        TooMuch::Circle => damaged("a list of its sectors leads back into itself"),
        TooMuch::Page(cell) => failed(
            "too-many-cells",
            format!("a page reaches to cell {cell}, which takes more memory than allowed"),
        ),
    })?;
    let mut book: Xls<_> =
        open_workbook_from_rs(Cursor::new(bytes)).map_err(|error| match error {
            calamine::XlsError::Password => protected(),
            error => damaged(error),
        })?;
    pages.begin(Form::Xls, book.has_1904_epoch(), &[], &[])?;
    let sheets: Vec<_> = book.sheets_metadata().to_vec();
    let sheets: Vec<_> = sheets
        .into_iter()
        .filter(|sheet| sheet.typ == SheetType::WorkSheet)
        .collect();
    for (at, sheet) in sheets.iter().enumerate() {
        if !pages.wants(at) {
            continue;
        }
        let is_hidden = sheet.visible != SheetVisible::Visible;
        pages.page(&sheet.name, is_hidden, sheets.len(), |to| {
            let values = book.worksheet_range(&sheet.name).map_err(damaged)?;
            let formulas = book.worksheet_formula(&sheet.name).map_err(damaged)?;
            let mut cells: Vec<(u32, u32)> = Vec::new();
            for (range, corner) in [
                (
                    values
                        .used_cells()
                        .map(|(r, c, _)| (r, c))
                        .collect::<Vec<_>>(),
                    values.start(),
                ),
                (
                    formulas.used_cells().map(|(r, c, _)| (r, c)).collect(),
                    formulas.start(),
                ),
            ] {
                let (top, left) = corner.unwrap_or_default();
                let number = |at: usize| u32::try_from(at).unwrap_or(u32::MAX);
                cells.extend(range.into_iter().map(|(r, c)| {
                    (
                        top.saturating_add(number(r)),
                        left.saturating_add(number(c)),
                    )
                }));
            }
            cells.sort_unstable();
            cells.dedup();
            let mut text = String::new();
            for (row, column) in cells {
                if !to.begin_row(row.saturating_add(1), false)? {
                    break;
                }
                let formula = formulas
                    .get_value((row, column))
                    .filter(|text| !text.is_empty());
                let value = values.get_value((row, column)).unwrap_or(&Data::Empty);
                send(
                    to,
                    column,
                    &borrowed(value),
                    formula.map(String::as_str),
                    &mut text,
                )?;
            }
            let merged = book
                .merge_cells_by_sheet_name(&sheet.name)
                .unwrap_or_default();
            Ok(merged.into_iter().take(100_000).map(area).collect())
        })?;
    }
    Ok(())
}

fn protected() -> Stop {
    failed("password", "the file is protected by a password")
}

fn area(of: calamine::Dimensions) -> Area {
    Area {
        top: of.start.0.saturating_add(1),
        bottom: of.end.0.saturating_add(1),
        left: of.start.1,
        right: of.end.1,
    }
}

fn borrowed(value: &Data) -> DataRef<'_> {
    match value {
        Data::Int(number) => DataRef::Int(*number),
        Data::Float(number) => DataRef::Float(*number),
        Data::String(text) => DataRef::SharedString(text),
        Data::Bool(flag) => DataRef::Bool(*flag),
        Data::DateTime(date) => DataRef::DateTime(*date),
        Data::DateTimeIso(text) => DataRef::DateTimeIso(text.clone()),
        Data::DurationIso(text) => DataRef::DurationIso(text.clone()),
        Data::Error(error) => DataRef::Error(error.clone()),
        Data::Empty => DataRef::Empty,
    }
}

/// Sends the pages of an xlsb file.
pub(super) fn read_binary<W: Write>(
    bytes: &[u8],
    found: &Found,
    pages: &mut Pages<'_, W>,
) -> Result<(), Stop> {
    let mut book: Xlsb<_> = open_workbook_from_rs(Cursor::new(bytes)).map_err(damaged)?;
    pages.begin(
        Form::Xlsb,
        book.has_1904_epoch(),
        &found.properties,
        &found.notes,
    )?;
    let sheets: Vec<_> = book.sheets_metadata().to_vec();
    let sheets: Vec<_> = sheets
        .into_iter()
        .filter(|sheet| sheet.typ == SheetType::WorkSheet)
        .collect();
    for (at, sheet) in sheets.iter().enumerate() {
        if !pages.wants(at) {
            continue;
        }
        let is_hidden = sheet.visible != SheetVisible::Visible;
        pages.page(&sheet.name, is_hidden, sheets.len(), |to| {
            let mut formulas = FxHashMap::default();
            let mut cells = book.worksheet_cells_reader(&sheet.name).map_err(damaged)?;
            // A formula that is not understood is no reason to leave its value out.
            while let Ok(Some(cell)) = cells.next_formula() {
                if !cell.get_value().is_empty() {
                    formulas.insert(cell.get_position(), cell.get_value().clone());
                }
            }
            drop(cells);
            let mut cells = book.worksheet_cells_reader(&sheet.name).map_err(damaged)?;
            let mut text = String::new();
            while let Some(cell) = cells.next_cell().map_err(damaged)? {
                let (row, column) = cell.get_position();
                let formula = formulas.get(&(row, column));
                if *cell.get_value() == DataRef::Empty && formula.is_none() {
                    continue;
                }
                if !to.begin_row(row.saturating_add(1), false)? {
                    break;
                }
                let formula = formula.map(String::as_str);
                send(to, column, cell.get_value(), formula, &mut text)?;
            }
            Ok(Vec::new())
        })?;
    }
    Ok(())
}
