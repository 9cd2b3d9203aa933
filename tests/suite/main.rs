//! One test binary; each module is a subject.

#![allow(clippy::unwrap_used, reason = "a test says what went wrong by failing")]

mod books;
mod boundaries;
mod builtin;
mod checks;
mod cli;
mod compare;
mod copper;
mod demo;
mod engine;
mod export;
mod faults;
mod floors;
#[path = "../fuzz/mod.rs"]
mod fuzz;
mod giveback;
mod hostile;
mod html;
mod import;
mod import_screen;
mod journal;
mod light;
mod load;
mod modules;
mod monkey;
mod pages;
mod paths;
mod properties;
mod proposals;
mod pty;
mod questions;
mod random;
mod readme;
mod roundtrip;
mod rows;
mod screen;
mod sharing;
mod standing;
mod story;
mod study;
mod study_cli;
mod tasks;
mod terminal;
mod ways;
mod workbook;
mod worked;
