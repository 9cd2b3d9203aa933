//! The flat program of a formula: steps over numbered registers, no names, no units, no tree.
//!
//! Made by `lower.rs`, run by the engine. There are two kinds of register: numbers (flags are 0
//! and 1, absent is NaN) and codes (texts, or row numbers of a sheet; absent is `u32::MAX`).

// Steps are compared to reuse equal ones; two addresses of one kernel only make a step twice.
// The lint has to be lifted here, since a derive does not take it.
#![allow(unpredictable_function_pointer_comparisons)]

use crate::table::{ColumnId, ParamId, SheetId};
use crate::units::Measure;
use std::collections::BTreeSet;
use std::fmt;
use std::sync::Arc;

/// A register of either kind by number; the step says which kind.
pub type Register = u16;

/// Where a step takes a number from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Num {
    /// A number register.
    Register(Register),
    /// A constant in base units; NaN is missing.
    Constant(f64),
    /// A number or flag column of the sheet the program runs on.
    Column(ColumnId),
    /// A number assumption.
    Assumption(ParamId),
    /// An aggregate of the formula grouped by `this`: one value a row.
    Group(usize),
    /// An aggregate of the formula over a whole sheet: one value in all.
    Whole(usize),
}

/// Where a step takes a code from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Code {
    /// A code register.
    Register(Register),
    /// A constant: the code of a text or a row number; absent is `u32::MAX`.
    Constant(u32),
    /// The text of a text column, or of an entered column of rows, of the program's sheet.
    Text(ColumnId),
    /// The row numbers of a column of rows of the program's sheet.
    Row(ColumnId),
    /// A text assumption.
    Assumption(ParamId),
    /// The number of the row itself.
    This,
}

/// Two numbers to one.
///
/// Absent in, absent out, except for `And`, `Or` and `FirstGiven`. Comparisons give 0 or 1.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Binary {
    /// Sum.
    Add,
    /// Difference.
    Subtract,
    /// Product.
    Multiply,
    /// Quotient; by zero gives an absent result.
    Divide,
    /// Power.
    Power,
    /// The smaller.
    Least,
    /// The greater.
    Most,
    /// Equal.
    Equal,
    /// Not equal.
    Unequal,
    /// Less.
    Less,
    /// Less or equal.
    LessEqual,
    /// Both; no wins over absent.
    And,
    /// Either; yes wins over absent.
    Or,
    /// The first unless absent, else the second.
    FirstGiven,
    /// The nearest multiple of the second.
    Nearest,
    /// The next multiple of the second at or above.
    NextUp,
    /// The next multiple of the second at or below.
    NextDown,
}

/// One number to one; absent in, absent out, except for `IsGiven`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Unary {
    /// Minus.
    Negate,
    /// 1 minus a flag.
    Not,
    /// Absolute value.
    Abs,
    /// Square root.
    Sqrt,
    /// Natural logarithm.
    Ln,
    /// Decimal logarithm.
    Log10,
    /// Exponential.
    Exp,
    /// 1 when there is a value, else 0.
    IsGiven,
}

/// A function of numbers that has no step of its own; called row by row.
///
/// It is called only when every argument is given.
pub type NumberKernel = fn(&[f64]) -> f64;

/// A function of texts that gives a text; `None` is absent.
pub type TextFunction = Arc<dyn Fn(&[&str]) -> Option<String> + Send + Sync>;

/// A function of texts; the engine remembers the last arguments, so it must be pure.
#[derive(Clone)]
pub enum TextKernel {
    /// Gives yes or no.
    Flag(fn(&[&str]) -> bool),
    /// Gives a number in base units; not a number is missing.
    Number {
        /// The function.
        kernel: fn(&[&str]) -> f64,
        /// The measure of its result.
        result: Measure,
    },
    /// Gives a text; `None` is absent.
    Text(TextFunction),
}

impl fmt::Debug for TextKernel {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Flag(_) => "Flag(..)",
            Self::Number { .. } => "Number(..)",
            Self::Text(_) => "Text(..)",
        })
    }
}

impl PartialEq for TextKernel {
    /// The same function, not merely one that gives the same.
    fn eq(&self, other: &Self) -> bool {
        match (self, other) {
            (Self::Flag(a), Self::Flag(b)) => std::ptr::fn_addr_eq(*a, *b),
            (Self::Text(a), Self::Text(b)) => Arc::ptr_eq(a, b),
            (
                Self::Number { kernel: a, result },
                Self::Number {
                    kernel: b,
                    result: other,
                },
            ) => std::ptr::fn_addr_eq(*a, *b) && result == other,
            (Self::Flag(_) | Self::Number { .. } | Self::Text(_), _) => false,
        }
    }
}

/// One step of a program; `to` is a number register unless said otherwise.
#[derive(Debug, Clone, PartialEq)]
pub enum Step {
    /// Two numbers to one.
    Binary {
        /// What is done.
        op: Binary,
        /// Result.
        to: Register,
        /// Left.
        a: Num,
        /// Right.
        b: Num,
    },
    /// One number to one.
    Unary {
        /// What is done.
        op: Unary,
        /// Result.
        to: Register,
        /// Operand.
        a: Num,
    },
    /// `a` where the flag is 1, `b` where it is 0, absent where it is absent.
    Pick {
        /// Result.
        to: Register,
        /// The flag.
        flag: Num,
        /// Where yes.
        a: Num,
        /// Where no.
        b: Num,
    },
    /// The same for codes; `to` is a code register.
    PickCode {
        /// Result.
        to: Register,
        /// The flag.
        flag: Num,
        /// Where yes.
        a: Code,
        /// Where no.
        b: Code,
    },
    /// 1 where the code is there, else 0.
    CodeGiven {
        /// Result.
        to: Register,
        /// The code.
        a: Code,
    },
    /// Whether two texts are the same without regard to case; absent when one is.
    SameText {
        /// Result.
        to: Register,
        /// A text.
        a: Code,
        /// A text.
        b: Code,
    },
    /// Whether two row numbers are the same; absent when one is.
    SameRow {
        /// Result.
        to: Register,
        /// A row.
        a: Code,
        /// A row.
        b: Code,
    },
    /// The number of another sheet's column at a row; absent at an absent row.
    Fetch {
        /// Result.
        to: Register,
        /// The row.
        row: Code,
        /// The column of the other sheet.
        column: ColumnId,
    },
    /// The text of another sheet's column at a row; `to` is a code register.
    FetchText {
        /// Result.
        to: Register,
        /// The row.
        row: Code,
        /// The column of the other sheet: text, or an entered column of rows.
        column: ColumnId,
    },
    /// The row that another sheet's column points to at a row; `to` is a code register.
    FetchRow {
        /// Result.
        to: Register,
        /// The row.
        row: Code,
        /// The column of rows of the other sheet.
        column: ColumnId,
    },
    /// The value of an aggregate of the formula for the group of a row.
    FetchGroup {
        /// Result.
        to: Register,
        /// The row that names the group.
        row: Code,
        /// Which aggregate of the formula.
        aggregate: usize,
    },
    /// The row of a sheet whose key columns point to these rows; `to` is a code register.
    Find {
        /// Result.
        to: Register,
        /// Which lookup of the formula.
        lookup: usize,
        /// One row for each key.
        keys: Vec<Code>,
    },
    /// A function of numbers.
    Call {
        /// Result.
        to: Register,
        /// The function.
        kernel: NumberKernel,
        /// Its arguments.
        args: Vec<Num>,
    },
    /// A function of texts; `to` is a number register for a flag, a code register for a text.
    CallText {
        /// Result.
        to: Register,
        /// The function.
        kernel: TextKernel,
        /// Its arguments.
        args: Vec<Code>,
    },
}

/// The result of a program.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Out {
    /// A number or flag.
    Number(Num),
    /// A text.
    Text(Code),
    /// A row of a sheet.
    Row(Code),
}

/// Steps in order, and where the result is.
///
/// Registers are numbered so that every step writes one that no step before has written.
#[derive(Debug, Clone, PartialEq)]
pub struct Program {
    /// The steps.
    pub steps: Vec<Step>,
    /// How many number registers.
    pub n_numbers: u16,
    /// How many code registers.
    pub n_codes: u16,
    /// The result.
    pub out: Out,
}

/// How many rows become one value.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Gather {
    /// The sum; 0 of no rows.
    Total,
    /// How many rows; the value program gives 1 for a row that counts.
    Tally,
    /// The greatest; absent of no rows.
    Largest,
    /// The smallest; absent of no rows.
    Smallest,
    /// The mean; absent of no rows.
    Mean,
}

/// An aggregate inside a formula.
///
/// `value` runs over the rows of `over`. It gives `+inf` for a row that does not count (its
/// condition is no or absent) and absent for a counted row without a value, which makes the
/// whole group absent.
#[derive(Debug, Clone, PartialEq)]
pub struct Aggregate {
    /// What is made of the rows.
    pub gather: Gather,
    /// The sheet that is gone through.
    pub over: SheetId,
    /// One value a row.
    pub value: Program,
    /// The column of rows of `over` that says to which group a row belongs; `None`: all rows
    /// are one group.
    pub key: Option<ColumnId>,
}

/// A search inside a formula for the row of a sheet by one or two key columns.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Lookup {
    /// The sheet that is searched.
    pub sheet: SheetId,
    /// Its key columns, each a column of rows, with the sheet each points to.
    pub keys: Vec<(ColumnId, SheetId)>,
}

impl Program {
    /// Adds every column that the program reads.
    pub fn add_reads(&self, columns: &mut BTreeSet<ColumnId>) {
        self.steps.iter().for_each(|step| step.add_reads(columns));
        match self.out {
            Out::Number(number) => columns.extend(number.column()),
            Out::Text(code) | Out::Row(code) => columns.extend(code.column()),
        }
    }
}

impl Step {
    /// Adds every column that the step reads.
    fn add_reads(&self, columns: &mut BTreeSet<ColumnId>) {
        let (numbers, codes, column) = self.sources();
        columns.extend(numbers.iter().filter_map(|number| number.column()));
        columns.extend(codes.iter().filter_map(|code| code.column()));
        columns.extend(column);
    }

    /// The numbers and codes it takes, and the column of another sheet it fetches from.
    pub fn sources(&self) -> (Vec<Num>, Vec<Code>, Option<ColumnId>) {
        match self {
            Self::Binary { a, b, .. } => (vec![*a, *b], Vec::new(), None),
            Self::Unary { a, .. } => (vec![*a], Vec::new(), None),
            Self::Pick { flag, a, b, .. } => (vec![*flag, *a, *b], Vec::new(), None),
            Self::PickCode { flag, a, b, .. } => (vec![*flag], vec![*a, *b], None),
            Self::CodeGiven { a, .. } => (Vec::new(), vec![*a], None),
            Self::SameText { a, b, .. } | Self::SameRow { a, b, .. } => {
                (Vec::new(), vec![*a, *b], None)
            }
            Self::Fetch { row, column, .. }
            | Self::FetchText { row, column, .. }
            | Self::FetchRow { row, column, .. } => (Vec::new(), vec![*row], Some(*column)),
            Self::FetchGroup { row, .. } => (Vec::new(), vec![*row], None),
            Self::Find { keys, .. } => (Vec::new(), keys.clone(), None),
            Self::Call { args, .. } => (args.clone(), Vec::new(), None),
            Self::CallText { args, .. } => (Vec::new(), args.clone(), None),
        }
    }
}

impl Num {
    /// The column it is taken from.
    fn column(self) -> Option<ColumnId> {
        match self {
            Self::Column(id) => Some(id),
            Self::Register(_)
            | Self::Constant(_)
            | Self::Assumption(_)
            | Self::Group(_)
            | Self::Whole(_) => None,
        }
    }
}

impl Code {
    /// The column it is taken from.
    fn column(self) -> Option<ColumnId> {
        match self {
            Self::Text(id) | Self::Row(id) => Some(id),
            Self::Register(_) | Self::Constant(_) | Self::Assumption(_) | Self::This => None,
        }
    }
}
