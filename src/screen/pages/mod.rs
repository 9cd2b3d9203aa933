//! The pages: one file each, made from an open plan. Nothing here changes a plan or draws.

mod actions;
mod assumptions;
mod care;
mod columns;
mod findings;
mod functions;
mod help;
mod import;
mod lay;
mod pictures;
mod rank;
mod reason;
mod remarks;
mod row;
mod steps;

pub use actions::actions;
pub use assumptions::assumptions;
pub use care::care;
pub use columns::columns;
pub use findings::{changes, counted, findings, of_row};
pub use functions::{function, functions};
pub use help::help;
pub use import::import;
pub use pictures::{front, light, ratios};
pub use reason::{reason, short};
pub use remarks::remarks;
pub use steps::steps;
