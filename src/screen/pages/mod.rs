//! The pages: one file each, made from an open plan. Nothing here changes a plan or draws.

mod actions;
mod assumptions;
mod care;
mod columns;
mod failures;
mod findings;
mod functions;
mod growth;
mod help;
mod lay;
mod options;
mod order;
mod pictures;
mod rank;
mod reason;
mod remarks;
mod row;
mod steps;
mod sweep;

pub use actions::actions;
pub use assumptions::assumptions;
pub use care::care;
pub use columns::columns;
pub use failures::failures;
pub use findings::{changes, counted, findings, of_row};
pub use functions::{function, functions};
pub use growth::growth;
pub use help::help;
pub use options::{OPTIONS_ORDER, options};
pub use order::{behind, order_list};
pub use pictures::{front, light, ratios, trail};
pub use reason::{reason, short};
pub use remarks::remarks;
pub use steps::steps;
pub use sweep::sweep;
