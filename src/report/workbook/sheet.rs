//! The page of a sheet: its rows with what was entered and what follows from it, live.

use super::super::Request;
use super::super::book::{Col, Content, Template};
use super::super::layout::{FIRST_ROW, Laid, Layout};
use super::super::printable;
use super::super::stored::{Datum, Values};
use super::Tally;
use super::look::{Look, colour_words, print, with_decimals};
use crate::sheet::ColumnDef;
use crate::sheet::ColumnKind;
use rust_xlsxwriter::DataValidation;
use rust_xlsxwriter::DataValidationErrorStyle;
use rust_xlsxwriter::Format;
use rust_xlsxwriter::Formula;
use rust_xlsxwriter::Note;
use rust_xlsxwriter::Worksheet;
use rust_xlsxwriter::XlsxError;

/// The most characters of a list of choices that the format takes.
const MOST_OF_A_LIST: usize = 255;

/// Writes the page of a sheet.
///
/// # Errors
/// A file that cannot be written.
pub fn write(
    sheet: &mut Worksheet,
    request: &Request<'_>,
    layout: &Layout,
    laid: &Laid,
    look: &Look,
    tally: &mut Tally<'_>,
) -> Result<(), XlsxError> {
    let def = request.plan.def(layout.blocks[laid.block].sheet);
    columns(sheet, request, layout, laid, look)?;
    sheet.write_with_format(0, 0, printable(&def.title), &look.title)?;
    let words = format!(
        "{} Cells under a dark head may be changed, all others follow. Plan {}, revision {}.",
        def.doc,
        request.identity.id,
        request.identity.short_revision()
    );
    sheet.write_with_format(1, 0, printable(&words), &look.quiet)?;
    heads(sheet, request, layout, laid, look)?;
    let n_rows = rows(sheet, request, layout, laid, look, tally)?;
    around(sheet, request, layout, laid, n_rows)
}

/// Widths and formats of columns; those that serve formulas are folded away.
fn columns(
    sheet: &mut Worksheet,
    request: &Request<'_>,
    layout: &Layout,
    laid: &Laid,
    look: &Look,
) -> Result<(), XlsxError> {
    for (at, placed) in laid.columns.iter().enumerate() {
        let col = layout.col(placed.place);
        let number = column_number(at);
        let format = cell_format(request, col, at, laid, look);
        sheet.set_column_format(number, &format)?;
        sheet.set_column_width(number, width(col, &placed.heading))?;
    }
    let n_columns = laid.columns.len();
    if n_columns > laid.n_shown {
        let (first, last) = (column_number(laid.n_shown), column_number(n_columns - 1));
        sheet.group_columns_collapsed(first, last)?;
    }
    Ok(())
}

/// The format of the cells of a column.
fn cell_format(request: &Request<'_>, col: &Col, at: usize, laid: &Laid, look: &Look) -> Format {
    let def = col.column.and_then(|column| request.engine.def(column));
    match &col.content {
        _ if at == 0 => look.id.clone(),
        Content::Entered if is_number(def) => look.entered.clone(),
        Content::Entered => look.entered_text.clone(),
        _ if at >= laid.n_shown => look.serving.clone(),
        Content::Formula(_) | Content::Value(_) | Content::Pending => {
            with_decimals(&look.computed, def.and_then(|def| def.decimals))
        }
    }
}

fn is_number(def: Option<&ColumnDef>) -> bool {
    def.is_some_and(|def| def.kind == ColumnKind::Number)
}

/// A width that shows the heading on two lines and most values.
fn width(col: &Col, heading: &str) -> f64 {
    let half = heading.chars().count().div_ceil(2) as f64 + 3.0;
    let least = match (&col.content, col.unit.is_empty()) {
        (Content::Entered, true) => 11.0,
        _ => 8.0,
    };
    half.clamp(least, 24.0)
}

fn heads(
    sheet: &mut Worksheet,
    request: &Request<'_>,
    layout: &Layout,
    laid: &Laid,
    look: &Look,
) -> Result<(), XlsxError> {
    let (kinds, heads) = (FIRST_ROW - 3, FIRST_ROW - 2);
    for (at, placed) in laid.columns.iter().enumerate() {
        let kind = match &layout.col(placed.place).content {
            Content::Entered => "entered",
            Content::Formula(_) if at >= laid.n_shown => "serves formulas",
            Content::Formula(_) => "computed",
            Content::Value(_) | Content::Pending => "computed, as a value",
        };
        sheet.write_with_format(kinds, column_number(at), kind, &look.kind)?;
    }
    for (at, placed) in laid.columns.iter().enumerate() {
        let col = layout.col(placed.place);
        let format = match col.content {
            Content::Entered => &look.head,
            Content::Formula(_) | Content::Value(_) | Content::Pending => &look.head_computed,
        };
        let column = column_number(at);
        sheet.write_string_with_format(heads, column, printable(&placed.heading), format)?;
        if let Some(note) = note(request, col) {
            let note = Note::new(note)
                .add_author_prefix(false)
                .set_width(320)
                .set_height(140);
            sheet.insert_note(heads, column, &note)?;
        }
    }
    Ok(())
}

/// What a column is, how it is computed, and where the rule comes from.
fn note(request: &Request<'_>, col: &Col) -> Option<String> {
    let column = col.column?;
    let def = request.engine.def(column)?;
    let mut lines = vec![def.doc.clone()];
    if let Some(formula) = &def.formula {
        lines.push(format!("{} = {formula}", def.name));
    }
    if !def.source.is_empty() {
        lines.push(format!("Source: {}", def.source));
    }
    match &col.content {
        Content::Value(why) => lines.push(format!("Stands as a value: {why}.")),
        Content::Formula(_) if !col.leans.is_empty() => {
            lines.push("Live, but it hangs on a column that stands as a value.".to_owned());
        }
        Content::Formula(_) | Content::Entered | Content::Pending => {}
    }
    let text: String = lines.join("\n").chars().take(1_500).collect();
    Some(text)
}

fn rows(
    sheet: &mut Worksheet,
    request: &Request<'_>,
    layout: &Layout,
    laid: &Laid,
    look: &Look,
    tally: &mut Tally<'_>,
) -> Result<u32, XlsxError> {
    let page = laid.page.as_str();
    let cells: Vec<Cells<'_>> = laid
        .columns
        .iter()
        .map(|placed| Cells::new(request, layout, placed.place, page))
        .collect();
    let n_rows = layout.blocks[laid.block].rows.len();
    let mut text = String::new();
    for row in 0..n_rows {
        let at = laid.first - 1 + u32::try_from(row).unwrap_or(u32::MAX);
        for (column, cell) in cells.iter().enumerate() {
            cell.write(
                sheet,
                at,
                column_number(column),
                row,
                &mut text,
                look,
                tally,
            )?;
        }
        tally.row();
    }
    Ok(u32::try_from(n_rows).unwrap_or(0))
}

/// The cells of a column, ready to be written.
pub struct Cells<'a> {
    template: Option<Template>,
    values: Values<'a>,
}

impl<'a> Cells<'a> {
    /// The cells of a column on a page.
    pub fn new(
        request: &'a Request<'_>,
        layout: &'a Layout,
        place: super::super::book::Place,
        page: &str,
    ) -> Self {
        let template = match &layout.col(place).content {
            Content::Formula(text) => Some(Template::new(text, page, &layout.grid)),
            Content::Entered | Content::Value(_) | Content::Pending => None,
        };
        Self {
            template,
            values: layout.values(request.plan, request.engine, place),
        }
    }

    /// Writes one cell; rows and columns of the page from 0.
    ///
    /// # Errors
    /// A file that cannot be written.
    #[expect(
        clippy::too_many_arguments,
        reason = "it is called once, for each cell of the workbook"
    )]
    pub fn write(
        &self,
        sheet: &mut Worksheet,
        at: u32,
        column: u16,
        row: usize,
        text: &mut String,
        look: &Look,
        tally: &mut Tally<'_>,
    ) -> Result<(), XlsxError> {
        let datum = self.values.at(row);
        let Some(template) = &self.template else {
            return value(sheet, at, column, &datum, look, tally);
        };
        let result = match &datum {
            Datum::Empty => String::new(),
            Datum::Number(number) => number.to_string(),
            Datum::Flag(true) => "TRUE".to_owned(),
            Datum::Flag(false) => "FALSE".to_owned(),
            // A text that looks like a number would be stored as one.
            Datum::Text(words) if is_taken_for_another(words) => {
                tally.written.n_as_values += 1;
                return value(sheet, at, column, &datum, look, tally);
            }
            Datum::Text(words) => printable(words),
        };
        template.write(at + 1, text);
        sheet.write_formula(at, column, Formula::new(text.as_str()).set_result(result))?;
        tally.written.n_formulas += 1;
        Ok(())
    }
}

fn is_taken_for_another(words: &str) -> bool {
    words.parse::<f64>().is_ok() || matches!(words, "TRUE" | "FALSE") || words.starts_with('#')
}

fn value(
    sheet: &mut Worksheet,
    at: u32,
    column: u16,
    datum: &Datum<'_>,
    look: &Look,
    tally: &mut Tally<'_>,
) -> Result<(), XlsxError> {
    match datum {
        Datum::Empty => return Ok(()),
        Datum::Number(number) => sheet.write_number(at, column, *number)?,
        Datum::Flag(flag) => sheet.write_boolean(at, column, *flag)?,
        Datum::Text(words) => {
            let words = printable(words);
            match words.starts_with(['=', '+', '-', '@']) {
                true => sheet.write_string_with_format(
                    at,
                    column,
                    super::super::cut(words),
                    &look.text,
                )?,
                false => sheet.write_string(at, column, super::super::cut(words))?,
            }
        }
    };
    tally.written.n_values += 1;
    Ok(())
}

/// Panes, filter, lists of choices, colours and the print set-up.
fn around(
    sheet: &mut Worksheet,
    request: &Request<'_>,
    layout: &Layout,
    laid: &Laid,
    n_rows: u32,
) -> Result<(), XlsxError> {
    let head = FIRST_ROW - 2;
    let (first, last) = (FIRST_ROW - 1, FIRST_ROW - 2 + n_rows.max(1));
    let last_shown = column_number(laid.n_shown.max(1) - 1);
    sheet.set_freeze_panes(first, 1)?;
    // Sorting has to take the columns that serve formulas along, since some stand as values.
    sheet.autofilter(head, 0, last, column_number(laid.columns.len().max(1) - 1))?;
    sheet.set_print_area(0, 0, last, last_shown)?;
    print(sheet, Some((head, head)))?;
    for (at, placed) in laid.columns.iter().enumerate().take(laid.n_shown) {
        let col = layout.col(placed.place);
        let Some(def) = col.column.and_then(|column| request.engine.def(column)) else {
            continue;
        };
        if def.name == "verdict" {
            colour_words(sheet, column_number(at), first, last)?;
        }
        if let (Content::Entered, Some(list)) = (&col.content, list(request, layout, def)?) {
            sheet.add_data_validation(first, column_number(at), last, column_number(at), &list)?;
        }
    }
    Ok(())
}

/// The list from which the cells of a column are chosen; another word is asked about.
fn list(
    request: &Request<'_>,
    layout: &Layout,
    def: &ColumnDef,
) -> Result<Option<DataValidation>, XlsxError> {
    let list = match def.kind {
        ColumnKind::Choice => {
            let length: usize = def.choices.iter().map(|word| word.len() + 1).sum();
            if length > MOST_OF_A_LIST {
                return Ok(None);
            }
            DataValidation::new()
                .allow_list_strings(&def.choices)?
                .set_error_style(DataValidationErrorStyle::Stop)
        }
        ColumnKind::Row => {
            let target = def.to.as_deref().and_then(|name| request.plan.sheet(name));
            let block =
                target.and_then(|sheet| layout.blocks.iter().position(|one| one.sheet == sheet));
            let Some(block) = block else {
                return Ok(None);
            };
            let spot = &layout.grid.blocks[block];
            let id = request.engine.column(layout.blocks[block].sheet, 0);
            let at = layout.blocks[block]
                .columns
                .iter()
                .position(|col| col.column == Some(id));
            let ids = at.and_then(|at| spot.letters.get(at)?.as_deref());
            let (Some(ids), true) = (ids, spot.n_rows > 0) else {
                return Ok(None);
            };
            let (first, last) = (spot.first, spot.first + spot.n_rows - 1);
            let range = format!("={}!${ids}${first}:${ids}${last}", spot.page);
            DataValidation::new()
                .allow_list_formula(Formula::new(range))
                .set_error_style(DataValidationErrorStyle::Warning)
        }
        ColumnKind::Number | ColumnKind::Text | ColumnKind::Flag => return Ok(None),
    };
    let title = def.title.chars().take(30).collect::<String>();
    Ok(Some(
        list.set_error_title(title)?
            .set_error_message("This word is not in the list.")?,
    ))
}

/// The number of a column as the format counts it.
pub fn column_number(at: usize) -> u16 {
    u16::try_from(at).unwrap_or(u16::MAX)
}
