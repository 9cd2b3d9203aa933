//! How cells look: what is entered, what is computed, and what a verdict says, never by colour alone.

use rust_xlsxwriter::ConditionalFormatText;
use rust_xlsxwriter::ConditionalFormatTextRule;
use rust_xlsxwriter::Format;
use rust_xlsxwriter::FormatAlign;
use rust_xlsxwriter::FormatBorder;
use rust_xlsxwriter::Worksheet;
use rust_xlsxwriter::XlsxError;

const INK: u32 = 0x1F2933;
const DEEP: u32 = 0x24566B;
const SAND: u32 = 0xF6EFD9;
const MIST: u32 = 0xE8EEF1;
const PALE: u32 = 0xF4F6F7;

/// The formats of a workbook.
pub struct Look {
    /// The title of a page.
    pub title: Format,
    /// The title of a part of a page.
    pub part: Format,
    /// A sentence.
    pub words: Format,
    /// A sentence that is less important.
    pub quiet: Format,
    /// The head of an entered column.
    pub head: Format,
    /// The head of a computed column.
    pub head_computed: Format,
    /// The kind of a column, above its head.
    pub kind: Format,
    /// A cell that may be changed.
    pub entered: Format,
    /// A text cell that may be changed; what looks like a formula stays a text.
    pub entered_text: Format,
    /// The name of a row.
    pub id: Format,
    /// A computed cell.
    pub computed: Format,
    /// A figure on the first page.
    pub figure: Format,
    /// A cell of a column that serves formulas.
    pub serving: Format,
    /// A text that looks like a formula and is none.
    pub text: Format,
}

impl Look {
    /// The formats.
    pub fn new() -> Self {
        let plain = || Format::new().set_font_color(INK);
        let head = |fill: u32, ink: u32| {
            Format::new()
                .set_bold()
                .set_font_color(ink)
                .set_background_color(fill)
                .set_text_wrap()
                .set_align(FormatAlign::Top)
                .set_border_bottom(FormatBorder::Thin)
        };
        Self {
            title: plain().set_bold().set_font_size(16),
            part: plain().set_bold().set_font_size(12),
            words: plain().set_text_wrap().set_align(FormatAlign::Top),
            quiet: Format::new().set_font_color(0x5B6770).set_italic(),
            head: head(DEEP, 0xFFFFFF),
            head_computed: head(MIST, INK),
            kind: Format::new().set_font_color(0x5B6770).set_font_size(8),
            entered: plain().set_background_color(SAND).set_unlocked(),
            entered_text: plain()
                .set_background_color(SAND)
                .set_unlocked()
                .set_quote_prefix(),
            id: plain().set_background_color(PALE).set_bold(),
            computed: plain(),
            figure: plain().set_num_format("0.00"),
            serving: Format::new().set_font_color(0x7B8794),
            text: plain().set_quote_prefix(),
        }
    }
}

/// The format of a computed column with so many places after the point.
pub fn with_decimals(format: &Format, decimals: Option<u8>) -> Format {
    match decimals {
        Some(0) => format.clone().set_num_format("0"),
        Some(places) => format
            .clone()
            .set_num_format(format!("0.{}", "0".repeat(usize::from(places)))),
        None => format.clone(),
    }
}

/// Colours cells by the word in them.
///
/// # Errors
/// None for places on the page.
pub fn colour_words(
    sheet: &mut Worksheet,
    column: u16,
    first: u32,
    last: u32,
) -> Result<(), XlsxError> {
    let rules: [(&str, u32, u32); 7] = [
        ("fails", 0xF3C9C2, 0x7A1F12),
        ("stop", 0xF3C9C2, 0x7A1F12),
        ("tight", 0xF6E2B3, 0x6B4A00),
        ("caution", 0xF6E2B3, 0x6B4A00),
        ("unknown", 0xDCDCE4, 0x3C3C50),
        ("note", 0xDCDCE4, 0x3C3C50),
        ("fits", 0xD4E8D8, 0x1E5631),
    ];
    for (word, fill, ink) in rules {
        let format = Format::new().set_background_color(fill).set_font_color(ink);
        let rule = ConditionalFormatText::new()
            .set_rule(ConditionalFormatTextRule::BeginsWith(word.to_owned()))
            .set_format(format);
        sheet.add_conditional_format(first, column, last, column, &rule)?;
    }
    Ok(())
}

/// The height of a row of one line, in points.
const LINE: f64 = 15.0;

/// Makes a row as tall as its texts need where they wrap; each comes with the width of its column
/// in characters. Not every program counts the height of a row that says none.
///
/// # Errors
/// None for places on the page.
pub fn heighten<'t>(
    sheet: &mut Worksheet,
    row: u32,
    texts: impl IntoIterator<Item = (&'t str, f64)>,
) -> Result<(), XlsxError> {
    let lines = texts.into_iter().map(|(text, width)| n_lines(text, width));
    match lines.max() {
        Some(lines @ 2..) => sheet.set_row_height(row, LINE * f64::from(lines)).map(drop),
        Some(0..2) | None => Ok(()),
    }
}

/// The lines of a text that is broken between words; a longer word than a line takes several.
fn n_lines(text: &str, width: f64) -> u32 {
    let (mut lines, mut at) = (1, 0.0);
    for word in text.split_whitespace() {
        let length = f64::from(u32::try_from(word.chars().count()).unwrap_or(u32::MAX));
        if at > 0.0 && at + 1.0 + length > width {
            lines += 1;
            at = 0.0;
        }
        at += length + if at > 0.0 { 1.0 } else { 0.0 };
        while at > width {
            lines += 1;
            at -= width;
        }
    }
    lines
}

/// Prints in its own size, with numbers at the foot, so that page breaks are kept.
///
/// # Errors
/// None for places on the page.
pub fn print_in_parts(sheet: &mut Worksheet, breaks: &[u32]) -> Result<(), XlsxError> {
    sheet
        .set_paper_size(9)
        .set_print_scale(SCALE)
        .set_footer(FOOT)
        .set_page_breaks(breaks)
        .map(drop)
}

/// In hundredths: so the columns of the first page are as wide as the paper.
const SCALE: u16 = 75;

/// So many rows of one line a page has at that scale.
pub const ROWS_OF_A_PAGE: u32 = 62;

const FOOT: &str = "&L&A&RPage &P of &N";

/// Prints one page wide, with the heads on every page and numbers at the foot.
///
/// # Errors
/// None for places on the page.
pub fn print(sheet: &mut Worksheet, heads: Option<(u32, u32)>) -> Result<(), XlsxError> {
    sheet
        .set_landscape()
        .set_paper_size(9)
        .set_print_fit_to_pages(1, 0)
        .set_footer(FOOT);
    if let Some((first, last)) = heads {
        sheet.set_repeat_rows(first, last)?;
    }
    Ok(())
}
