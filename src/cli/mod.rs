//! The command line: everything the program can do, for scripts and for a quick look.
//!
//! Exit codes: 0 nothing to report, 1 findings of severity stop, 2 could not do it. One file a
//! command; only `print.rs` writes.

mod args;
mod calc;
mod describe;
mod edit;
mod look;
mod pick;
mod print;
mod table;

use crate::problem::Problem;
use args::{Command, Line};
use clap::Parser;
use print::Printer;
use std::ffi::OsString;
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

/// Runs the program with its arguments, the name of the program first.
pub fn run(args: impl IntoIterator<Item = OsString>) -> ExitCode {
    let mut out = Printer::new();
    let outcome = outcome(args, &mut out);
    ExitCode::from(match (out.finish(), outcome) {
        (true, Outcome::Quiet) => 0,
        (true, Outcome::Stops) => 1,
        (true, Outcome::Undone) | (false, _) => 2,
    })
}

fn outcome(args: impl IntoIterator<Item = OsString>, out: &mut Printer) -> Outcome {
    let line = match Line::try_parse_from(args) {
        Ok(line) => line,
        Err(error) => {
            out.usage(&error);
            return match error.use_stderr() {
                true => Outcome::Undone,
                false => Outcome::Quiet,
            };
        }
    };
    command(line, out).unwrap_or_else(|problems| {
        out.problems(&problems);
        Outcome::Undone
    })
}

fn command(line: Line, out: &mut Printer) -> Result<Outcome, Vec<Problem>> {
    let form = line.form;
    match line.command {
        None => look::overview(line.plan.as_deref(), form, out),
        Some(Command::Check { plan }) => look::check(&plan, form, out),
        Some(Command::Show(show)) => look::show(&show, form, out),
        Some(Command::Why {
            plan,
            sheet,
            row,
            column,
        }) => look::why(&plan, [&sheet, &row, &column], form, out),
        Some(Command::Calc(calc)) => calc::calc(&calc, form, out),
        Some(Command::Set(set)) => edit::set(&set, out),
        Some(Command::New(new)) => edit::new(&new, out),
        Some(Command::Tables { name }) => describe::tables(name.as_deref(), form, out),
        Some(Command::Functions { name }) => describe::functions(name.as_deref(), form, out),
        Some(Command::Completions { shell }) => describe::completions(shell, out),
        Some(Command::Manual) => describe::manual(out),
    }
}

impl From<Problem> for Vec<Problem> {
    fn from(problem: Problem) -> Self {
        vec![problem]
    }
}
