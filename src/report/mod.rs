//! Pages for people outside the program: a workbook that calculates by itself.
//!
//! Makes pages from a plan and what is computed from it. It knows no terminal and no open plan, and
//! names no file; whoever asks brings something to write into.

pub mod book;
mod express;
mod fold;
mod gather;
pub mod stored;
pub mod translate;
