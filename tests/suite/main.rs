//! One test binary; each module is a subject.

mod builtin;
mod demo;
