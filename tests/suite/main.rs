//! One test binary; each module is a subject.

#![allow(clippy::unwrap_used, reason = "a test says what went wrong by failing")]

mod boundaries;
mod builtin;
mod checks;
mod cli;
mod copper;
mod demo;
mod engine;
mod export;
mod floors;
mod html;
mod journal;
mod light;
mod load;
mod modules;
mod monkey;
mod pages;
mod paths;
mod properties;
mod pty;
mod readme;
mod rows;
mod screen;
mod sharing;
mod standing;
mod story;
mod tasks;
mod terminal;
mod workbook;
mod worked;
