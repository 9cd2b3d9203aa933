//! The screen: the ledger a person works in, and the pages about it.
//!
//! Keys become actions (`action`), actions change the session (`session`) and through the desk the
//! plan, and `draw` paints a session into a frame. Only `terminal` touches the terminal.

pub mod action;
pub mod block;
mod burst;
pub mod draw;
mod ending;
pub mod entry;
pub mod frame;
pub mod grid;
pub mod ledger;
pub mod page;
pub mod pages;
pub mod paint;
mod run;
pub mod session;
mod terminal;
pub mod theme;

pub use run::{Options, run};
