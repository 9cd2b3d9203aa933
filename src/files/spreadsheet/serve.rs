//! The process that reads: sets its limits, takes the file from its input, sends cells.
//!
//! It opens nothing else and writes nothing else.

use super::apart::Wanted;
use super::grid::Kind;
use super::wire::{Failure, Sender};
use super::{Area, Form, MAX_CELL_TEXT, MAX_CELLS, N_LOOKED_AT};
use super::{limits, ods, package, xls, xlsx};
use crate::files::import::MAX_BYTES;
use std::fs::File;
use std::io::{self, BufWriter, Read, Write};
use std::os::fd::AsFd;
use std::process::ExitCode;

/// What ends the reading of a file.
#[derive(Debug)]
pub(super) enum Stop {
    /// The other side is gone.
    Gone,
    /// It cannot be read, and why.
    Failed(Failure),
}

impl From<io::Error> for Stop {
    fn from(_: io::Error) -> Self {
        Self::Gone
    }
}

/// A failure with its code.
pub(super) fn failed(code: &str, message: impl Into<String>) -> Stop {
    Stop::Failed(Failure {
        code: code.to_owned(),
        message: message.into(),
    })
}

/// A file whose parts do not fit together.
pub(super) fn damaged(error: impl std::fmt::Display) -> Stop {
    failed(
        "file-damaged",
        format!("the file is damaged or no spreadsheet: {error}"),
    )
}

/// Reads the spreadsheet on the input and sends what is wanted to the output.
///
/// Limits the memory, time and files of this process for good, so it is for a process of its own.
pub fn serve(wanted: &str) -> ExitCode {
    let to = BufWriter::with_capacity(1 << 16, io::stdout().lock());
    let input = io::stdin().as_fd().try_clone_to_owned();
    let answered = match (limits::set(), Wanted::of_word(wanted)) {
        (true, Some(wanted)) => input.and_then(|file| answer(file.into(), wanted, to)),
        (false, _) => {
            let what = "the system does not limit what reading a spreadsheet may take";
            tell(Err(failed("no-limits", what)), Sender::new(to))
        }
        (true, None) => tell(Err(damaged("no page is wanted")), Sender::new(to)),
    };
    match answered {
        Ok(()) => ExitCode::SUCCESS,
        Err(_) => ExitCode::from(3),
    }
}

/// Reads a spreadsheet from a file or a pipe and sends what is wanted, or why it cannot, to another.
///
/// # Errors
/// A stream that breaks.
pub(super) fn answer(from: File, wanted: Wanted, to: impl Write) -> io::Result<()> {
    let mut sender = Sender::new(to);
    let done = read(from, wanted, &mut sender);
    tell(done, sender)
}

fn tell<W: Write>(done: Result<(), Stop>, mut sender: Sender<W>) -> io::Result<()> {
    match done {
        Ok(()) => sender.end(),
        Err(Stop::Gone) => Err(io::ErrorKind::BrokenPipe.into()),
        Err(Stop::Failed(failure)) => sender.failed(&failure),
    }
}

fn read<W: Write>(from: File, wanted: Wanted, to: &mut Sender<W>) -> Result<(), Stop> {
    let most = MAX_BYTES as u64 + 1;
    // Room for all of it from the start, since what grows is copied, and both need memory then.
    let size = from.metadata().map_or(0, |file| file.len()).min(most);
    let mut bytes = Vec::with_capacity(usize::try_from(size).unwrap_or(0));
    from.take(most).read_to_end(&mut bytes)?;
    if bytes.len() > MAX_BYTES {
        return Err(failed("file-too-large", "the file is larger than 64 MB"));
    }
    let mut pages = Pages { to, wanted };
    match bytes.as_slice() {
        [b'P', b'K', ..] => zipped(&bytes, &mut pages),
        _ => xls::read(&bytes, &mut pages),
    }
}

fn zipped<W: Write>(bytes: &[u8], pages: &mut Pages<'_, W>) -> Result<(), Stop> {
    let found = package::look(bytes)?;
    match found.form {
        Form::Xlsx => xlsx::read(bytes, &found, pages),
        Form::Xlsb => xls::read_binary(bytes, &found, pages),
        Form::Ods => ods::read(bytes, &found, pages),
        Form::Xls | Form::Text => Err(damaged("no page in it")),
    }
}

/// Where readers put what they find.
pub(super) struct Pages<'s, W: Write> {
    to: &'s mut Sender<W>,
    wanted: Wanted,
}

/// A page that is being sent.
pub(super) struct Sheet<'p, W: Write> {
    to: &'p mut Sender<W>,
    most_rows: usize,
    n_rows: usize,
    row: Option<u32>,
}

impl<W: Write> Pages<'_, W> {
    /// What kind of file it is, and what is known of it as a whole.
    pub(super) fn begin(
        &mut self,
        form: Form,
        from_1904: bool,
        properties: &[(String, String)],
        notes: &[String],
    ) -> Result<(), Stop> {
        self.to.book(form, from_1904)?;
        for (name, value) in properties {
            self.to.property(name, value)?;
        }
        for note in notes {
            self.to.note(note)?;
        }
        Ok(())
    }

    /// Whether the page at a position is wanted, of so many.
    pub(super) fn wants(&self, at: usize) -> bool {
        match self.wanted {
            Wanted::OnlyOrHeads | Wanted::All => true,
            Wanted::Page(wanted) => wanted == at,
        }
    }

    /// Sends a page: `fill` puts rows in and gives merged cells; what stops it is told with the
    /// page, so that others can still be read.
    pub(super) fn page(
        &mut self,
        name: &str,
        is_hidden: bool,
        n_pages: usize,
        fill: impl FnOnce(&mut Sheet<'_, W>) -> Result<Vec<Area>, Stop>,
    ) -> Result<(), Stop> {
        let is_head = self.wanted == Wanted::OnlyOrHeads && n_pages > 1;
        self.to.page(&shortened(name, 200), is_hidden)?;
        let mut sheet = Sheet {
            to: &mut *self.to,
            most_rows: if is_head { N_LOOKED_AT } else { usize::MAX },
            n_rows: 0,
            row: None,
        };
        let filled = fill(&mut sheet);
        let is_whole = !is_head || sheet.n_rows < N_LOOKED_AT;
        match filled {
            Ok(merged) => self.to.end_page(&merged, is_whole, None)?,
            Err(Stop::Gone) => return Err(Stop::Gone),
            // What is too much is so for all pages together.
            Err(Stop::Failed(failure)) if failure.code == "too-many-cells" => {
                return Err(Stop::Failed(failure));
            }
            Err(Stop::Failed(failure)) => {
                self.to.end_page(&[], is_whole, Some(&failure.message))?;
            }
        }
        Ok(())
    }
}

impl<W: Write> Sheet<'_, W> {
    /// Begins a row with its number; `false` where no more rows are wanted.
    pub(super) fn begin_row(&mut self, number: u32, hidden: bool) -> Result<bool, Stop> {
        if self.row == Some(number) {
            return Ok(true);
        }
        if self.n_rows >= self.most_rows {
            return Ok(false);
        }
        self.n_rows += 1;
        self.row = Some(number);
        self.to.begin_row(number, hidden)?;
        Ok(true)
    }

    /// A cell of the row begun last.
    pub(super) fn cell(
        &mut self,
        column: u32,
        kind: Kind,
        text: &str,
        formula: Option<&str>,
    ) -> Result<(), Stop> {
        if self.to.n_cells() >= MAX_CELLS {
            let what = "the file has more than 10,000,000 cells";
            return Err(failed("too-many-cells", what));
        }
        if text.len() > MAX_CELL_TEXT {
            let what = "a cell holds more than 1 MB of text";
            return Err(failed("too-many-cells", what));
        }
        let formula = formula.filter(|formula| formula.len() <= MAX_CELL_TEXT);
        self.to.cell(column, kind, text, formula)?;
        Ok(())
    }
}

/// A text cut at a number of letters.
fn shortened(text: &str, most: usize) -> String {
    text.chars().take(most).collect()
}

/// A number as the shortest decimal that gives it back.
pub(super) fn put_number(text: &mut String, value: f64) -> Kind {
    use std::fmt::Write;
    text.clear();
    if !value.is_finite() {
        text.push_str("number too large");
        return Kind::Error;
    }
    // Digits before and behind the point, and no row of zeros. Writing to a string cannot fail.
    let is_plain = value == 0.0 || (1e-15..1e15).contains(&value.abs());
    let _ = match is_plain {
        true => write!(text, "{value}"),
        false => write!(text, "{value:e}"),
    };
    Kind::Number
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        /// A number of a cell is short, as nothing longer is taken for a number, and the same.
        #[test]
        fn numbers_are_short_and_come_back(bits in any::<u64>()) {
            let (value, mut text) = (f64::from_bits(bits), String::new());
            let kind = put_number(&mut text, value);
            if value.is_finite() {
                prop_assert_eq!(kind, Kind::Number);
                prop_assert!(text.len() <= 40, "{}", text);
                prop_assert_eq!(text.parse::<f64>().unwrap().to_bits(), bits);
            } else {
                prop_assert_eq!(kind, Kind::Error);
            }
        }
    }

    #[test]
    fn numbers_of_tables_stand_as_people_write_them() {
        for (value, shown) in [
            (0.0, "0"),
            (-0.5, "-0.5"),
            (0.000_001, "0.000001"),
            (999_999_999_999_999.0, "999999999999999"),
            (1e15, "1e15"),
            (1e-15, "0.000000000000001"),
            (9e-16, "9e-16"),
            (3.25e-303, "3.25e-303"),
        ] {
            let mut text = String::new();
            put_number(&mut text, value);
            assert_eq!(text, shown);
        }
    }
}
