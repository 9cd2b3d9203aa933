//! What if: failures, sweeps, options, growth and orders.

use crate::story::Story;
