//! The program: hands the arguments to the command line and its exit code to the system.

fn main() {}
