//! The program: hands the arguments to the command line and its exit code to the system.

use std::process::ExitCode;

fn main() -> ExitCode {
    portledger::cli::run(std::env::args_os())
}
