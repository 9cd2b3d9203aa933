//! One test binary; each module is a subject.

mod boundaries;
mod builtin;
mod checks;

mod story;
mod worked;
