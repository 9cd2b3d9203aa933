//! The command line: everything the program can do, for scripts and for a quick look.
//!
//! Exit codes: 0 nothing to report, 1 findings of severity stop, 2 could not do it. One file a
//! command; only `print.rs` writes.

mod args;
mod calc;
mod compare;
mod describe;
mod edit;
mod export;
mod fail;
mod growth;
mod import;
mod look;
mod merge;
mod options;
mod order;
mod pick;
mod print;
mod propose;
mod sweep;
mod table;

use crate::files::spreadsheet;
use crate::problem::Problem;
use args::{Colour, Command, Form, Line};
use clap::Parser;
use print::Printer;
use std::ffi::OsString;
use std::io::IsTerminal;
use std::path::PathBuf;
use std::process::ExitCode;

/// How a command ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Outcome {
    /// Nothing to report.
    Quiet,
    /// There are findings of severity stop.
    Stops,
    /// It could not be done.
    Undone,
}

/// What the arguments ask for.
#[derive(Debug)]
pub enum Asked {
    /// It was done; the exit code.
    Done(ExitCode),
    /// The screen, which is a room of its own.
    Screen(Wish),
}

/// The screen that was asked for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Wish {
    /// The plan; none for the demo.
    pub plan: Option<PathBuf>,
    /// Whether colours are used.
    pub colours: bool,
    /// Whether marks are drawn in ASCII.
    pub ascii: bool,
    /// Whether the mouse is listened to.
    pub mouse: bool,
}

/// Runs the program with its arguments, the name of the program first.
pub fn run(args: impl IntoIterator<Item = OsString>) -> Asked {
    let mut out = Printer::new();
    let outcome = match Line::try_parse_from(args) {
        Ok(Line {
            command: Some(Command::ReadApart { wanted }),
            ..
        }) => return Asked::Done(spreadsheet::serve(&wanted)),
        Ok(line) => match wish(&line) {
            Some(wish) => return Asked::Screen(wish),
            None => command(line, &mut out).unwrap_or_else(|problems| {
                out.problems(&problems);
                Outcome::Undone
            }),
        },
        Err(error) => {
            out.usage(&error);
            match error.use_stderr() {
                true => Outcome::Undone,
                false => Outcome::Quiet,
            }
        }
    };
    Asked::Done(ExitCode::from(match (out.finish(), outcome) {
        (true, Outcome::Quiet) => 0,
        (true, Outcome::Stops) => 1,
        (true, Outcome::Undone) | (false, _) => 2,
    }))
}

/// Says what went wrong outside the command line, in its manner; the exit code.
pub fn fail(problems: &[Problem]) -> ExitCode {
    let mut out = Printer::new();
    out.problems(problems);
    out.finish();
    ExitCode::from(2)
}

/// Says one line on the error stream, whole, outside the command line.
pub fn tell(line: &str) {
    Printer::new().told(line);
}

/// The screen, where no command, no form and no plain text are asked for and a terminal is there.
fn wish(line: &Line) -> Option<Wish> {
    let dumb = std::env::var_os("TERM").is_some_and(|term| term == "dumb");
    let is_plain = line.plain || line.form != Form::Table || line.command.is_some();
    if is_plain || dumb || !std::io::stdout().is_terminal() {
        return None;
    }
    let bare = std::env::var_os("NO_COLOR").is_some_and(|value| !value.is_empty());
    Some(Wish {
        plan: line.plan.clone(),
        colours: match line.colour {
            Colour::Auto => !bare,
            Colour::Always => true,
            Colour::Never => false,
        },
        ascii: line.ascii,
        mouse: line.mouse,
    })
}

fn command(line: Line, out: &mut Printer) -> Result<Outcome, Vec<Problem>> {
    let form = line.form;
    match line.command {
        None => look::overview(line.plan.as_deref(), form, out),
        Some(Command::Check { plan, within }) => look::check(&plan, within.as_deref(), form, out),
        Some(Command::Show(show)) => look::show(&show, form, out),
        Some(Command::Why {
            plan,
            sheet,
            row,
            column,
            within,
        }) => look::why(&plan, [&sheet, &row, &column], within.as_deref(), form, out),
        Some(Command::Calc(calc)) => calc::calc(&calc, form, out),
        Some(Command::Set(set)) => edit::set(&set, out),
        Some(Command::New(new)) => edit::new(&new, out),
        Some(Command::Import(import)) => import::import(&import, out),
        Some(Command::Fail(asked)) => fail::fail(&asked, form, out),
        Some(Command::Sweep(asked)) => sweep::sweep(&asked, form, out),
        Some(Command::Options(asked)) => options::options(&asked, form, out),
        Some(Command::Growth(asked)) => growth::growth(&asked, form, out),
        Some(Command::Order(asked)) => order::order(&asked, form, out),
        Some(Command::Propose(asked)) => propose::propose(&asked, form, out),
        Some(Command::Compare(asked)) => compare::compare(&asked, form, out),
        Some(Command::Export(export)) => export::export(&export, out),
        Some(Command::Merge(asked)) => merge::merge(&asked, form, out),
        Some(Command::Tables { name }) => describe::tables(name.as_deref(), form, out),
        Some(Command::Functions { name }) => describe::functions(name.as_deref(), form, out),
        Some(Command::Completions { shell }) => describe::completions(shell, out),
        // It ended the program before any command was looked for.
        Some(Command::ReadApart { .. }) => Ok(Outcome::Undone),
        Some(Command::Manual) => describe::manual(out),
    }
}

impl From<Problem> for Vec<Problem> {
    fn from(problem: Problem) -> Self {
        vec![problem]
    }
}
