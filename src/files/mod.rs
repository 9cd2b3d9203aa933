//! Bytes in and out: the plan file, saving without loss, tables from other programs, and memory
//! dumps of modules.
//!
//! Forms and their reading only; what an open plan does with them is decided by the desk.

pub mod import;
pub mod module_dump;
pub mod own_column;
pub mod plan_file;
pub mod save;
pub mod table_text;

#[cfg(test)]
pub(crate) mod sample;
