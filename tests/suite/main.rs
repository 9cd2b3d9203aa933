//! One test binary; each module is a subject.

#![allow(clippy::unwrap_used, reason = "a test says what went wrong by failing")]

mod boundaries;
mod builtin;
mod checks;
mod cli;
mod copper;
mod demo;
mod engine;
mod floors;
mod load;
mod paths;
mod properties;
mod readme;

mod story;
mod worked;
