//! Which measures go together under an operator, and what comes out.
//!
//! One `match` on operator and kinds; messages for people are made by the formula checker.

use super::dim::{Dim, Kind, Measure};

/// What is done with two numbers, as far as their measures care.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Operation {
    /// Addition.
    Add,
    /// Subtraction.
    Subtract,
    /// Multiplication.
    Multiply,
    /// Division.
    Divide,
    /// Comparison, or a choice between two values: both must be of one measure.
    Match,
}

/// Why two measures do not go together.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Clash {
    /// Two levels under plus.
    LevelPlusLevel,
    /// A level taken from an amount.
    AmountMinusLevel,
    /// A level under times or divided-by.
    LevelInProduct,
    /// Different dimensions, or a level against an amount.
    Different,
    /// Exponents outside the range.
    TooLarge,
}

/// The measure of `left op right`.
///
/// # Errors
/// The clash, when the two do not go together.
pub fn combine(op: Operation, left: Measure, right: Measure) -> Result<Measure, Clash> {
    use Kind::{Amount, Level};
    let same_dim = left.dim == right.dim;
    match (op, left.kind, right.kind) {
        (Operation::Match, a, b) => same(left, same_dim && a == b),
        (Operation::Add | Operation::Subtract, Amount, Amount) => same(left, same_dim),
        (Operation::Add, Level(_), Level(_)) => Err(Clash::LevelPlusLevel),
        (Operation::Add | Operation::Subtract, Level(_), Amount) => same(left, same_dim),
        (Operation::Add, Amount, Level(_)) => same(right, same_dim),
        (Operation::Subtract, Level(a), Level(b)) => same(Measure::amount(left.dim), a == b),
        (Operation::Subtract, Amount, Level(_)) => Err(Clash::AmountMinusLevel),
        (Operation::Multiply, Amount, Amount) => product(left.dim.times(right.dim)),
        (Operation::Divide, Amount, Amount) => product(left.dim.over(right.dim)),
        (Operation::Multiply | Operation::Divide, _, _) => Err(Clash::LevelInProduct),
    }
}

fn same(measure: Measure, holds: bool) -> Result<Measure, Clash> {
    if holds {
        Ok(measure)
    } else {
        Err(Clash::Different)
    }
}

fn product(dim: Option<Dim>) -> Result<Measure, Clash> {
    dim.map(Measure::amount).ok_or(Clash::TooLarge)
}

#[cfg(test)]
mod tests {
    use super::super::dim::Reference;
    use super::*;
    use Operation::{Add, Divide, Match, Multiply, Subtract};

    const DB: Measure = Measure::amount(Dim::DECIBEL);
    const M: Measure = Measure::amount(Dim::LENGTH);
    const DBM: Measure = Measure::level(Reference::Milliwatt);
    const CELSIUS: Measure = Measure::level(Reference::Celsius);

    #[test]
    fn the_whole_table_of_amounts_and_levels() {
        let db_per_m = combine(Divide, DB, M).unwrap();
        let rows = [
            (Add, DB, DB, Ok(DB)),
            (Subtract, DB, DB, Ok(DB)),
            (Add, DB, M, Err(Clash::Different)),
            (Add, DBM, DB, Ok(DBM)),
            (Subtract, DBM, DB, Ok(DBM)),
            (Add, DB, DBM, Ok(DBM)),
            (Add, M, DBM, Err(Clash::Different)),
            (Subtract, DBM, DBM, Ok(DB)),
            (Subtract, DBM, CELSIUS, Err(Clash::Different)),
            (Add, DBM, DBM, Err(Clash::LevelPlusLevel)),
            (Subtract, DB, DBM, Err(Clash::AmountMinusLevel)),
            (Multiply, DBM, M, Err(Clash::LevelInProduct)),
            (Divide, DBM, DBM, Err(Clash::LevelInProduct)),
            (Multiply, M, DBM, Err(Clash::LevelInProduct)),
            (Multiply, db_per_m, M, Ok(DB)),
            (Divide, DB, DB, Ok(Measure::NUMBER)),
            (Match, DB, DB, Ok(DB)),
            (Match, DB, DBM, Err(Clash::Different)),
            (Match, DBM, DBM, Ok(DBM)),
            (Match, M, DB, Err(Clash::Different)),
        ];
        for (op, left, right, expected) in rows {
            assert_eq!(
                combine(op, left, right),
                expected,
                "{op:?} {left:?} {right:?}"
            );
        }
    }
}
