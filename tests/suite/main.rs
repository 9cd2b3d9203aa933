//! One test binary; each module is a subject.

mod boundaries;
mod builtin;
mod checks;
mod demo;
mod engine;
mod floors;
mod properties;
mod readme;

mod story;
mod worked;
