//! One test binary; each module is a subject.

mod boundaries;
mod builtin;
mod checks;
mod engine;
mod floors;
mod properties;

mod story;
mod worked;
