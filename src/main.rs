//! The program: opens the door that the arguments ask for, command line or screen, and hands the
//! exit code to the system.

use portledger::cli;
use portledger::cli::{Asked, Wish};
use portledger::desk::Desk;
use portledger::files::side::state_folder;
use portledger::problem::Problem;
use portledger::screen;
use portledger::screen::Options;
use std::process::ExitCode;

/// Reading formulas is many small pieces of memory on all cores.
#[global_allocator]
static MEMORY: mimalloc::MiMalloc = mimalloc::MiMalloc;

fn main() -> ExitCode {
    match cli::run(std::env::args_os()) {
        Asked::Done(code) => code,
        Asked::Screen(wish) => show(&wish).unwrap_or_else(|problem| cli::fail(&[problem])),
    }
}

fn show(wish: &Wish) -> Result<ExitCode, Problem> {
    let desk = match &wish.plan {
        Some(path) => Desk::open_for_editing(path, state_folder())?,
        None => Desk::demo_for_editing(state_folder())?,
    };
    let options = Options {
        colours: wish.colours,
        ascii: wish.ascii,
        mouse: wish.mouse,
        greeting: wish.plan.is_none(),
    };
    screen::run(desk, options, cli::tell).map(ExitCode::from)
}
