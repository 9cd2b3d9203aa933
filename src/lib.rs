//! portledger: a port-planning ledger with unit-checked formulas.
//!
//! The house, lowest floor first; a room imports only rooms below it, which
//! `tests/suite/floors.rs` holds.
//!
//! ```text
//! problem   how we tell a person what is wrong
//! units     what a number means
//! table     columns of values
//! formula   text to typed program
//! sheet     which columns a sheet has
//! plan      the document and its edits
//! engine    keeps every column up to date
//! trade     what a network planner knows
//! study     what if: proposals beside the base, failures, sweeps, options, growth, orders
//! files     bytes in and out
//! report    pages for people
//! desk      one open plan: edits, undo, saving
//! screen    the ledger on a terminal
//! cli       the command line
//! ```

pub mod cli;
pub mod desk;
pub mod engine;
pub mod files;
pub mod formula;
pub mod plan;
pub mod problem;
pub mod report;
pub mod screen;
pub mod sheet;
pub mod study;
pub mod table;
pub mod trade;
pub mod units;
