//! The document: sheets with their entered cells, assumptions, own columns and checks.
//!
//! No computed value is kept here, and nothing here reads a file.
