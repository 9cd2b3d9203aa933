//! The pages: one file each, made from an open plan. Nothing here changes a plan or draws.

mod lay;
pub mod reason;
mod row;

pub use reason::reason;
pub use reason::short;
