//! The plainest reading of `program.rs`: one program for one row at a time.

use super::super::program::*;
use super::*;

/// Runs one program for one row.
struct Run<'a> {
    book: &'a Book,
    formula: &'a Formula,
    row: u32,
    numbers: Vec<f64>,
    codes: Vec<u32>,
}

/// The result of a program.
#[derive(Debug, PartialEq)]
pub(super) enum Given {
    Number(f64),
    Code(u32),
}

pub(super) fn run(book: &Book, formula: &Formula, program: &Program, row: u32) -> Given {
    let mut run = Run {
        book,
        formula,
        row,
        numbers: vec![MISSING; usize::from(program.n_numbers)],
        codes: vec![ABSENT; usize::from(program.n_codes)],
    };
    program.steps.iter().for_each(|step| run.step(step));
    match program.out {
        Out::Number(number) => Given::Number(run.number(number)),
        Out::Text(code) | Out::Row(code) => Given::Code(run.code(code)),
    }
}

impl Run<'_> {
    fn number(&self, number: Num) -> f64 {
        match number {
            Num::Register(at) => self.numbers[usize::from(at)],
            Num::Constant(value) => value,
            Num::Column(id) => self.book.number_at(id, self.row),
            Num::Assumption(id) => match self.book.assumptions[id.at()].2 {
                Number(value) => value,
                Text(_) | Row(_) | Empty => MISSING,
            },
            Num::Group(at) => self.gathered(at, Some(self.row)),
            Num::Whole(at) => self.gathered(at, None),
        }
    }

    fn code(&self, code: Code) -> u32 {
        match code {
            Code::Register(at) => self.codes[usize::from(at)],
            Code::Constant(code) => code,
            Code::Text(id) => self.book.text_at(id, self.row),
            Code::Row(id) => self.book.row_at(id, self.row),
            Code::Assumption(id) => match self.book.assumptions[id.at()].2 {
                Text(text) => self.book.names.code(text),
                Number(_) | Row(_) | Empty => ABSENT,
            },
            Code::This => self.row,
        }
    }

    fn gathered(&self, at: usize, group: Option<u32>) -> f64 {
        let aggregate = &self.formula.aggregates[at];
        assert_eq!(group.is_some(), aggregate.key.is_some());
        let values: Vec<f64> = (0..self.book.n_rows(aggregate.over))
            .filter(|row| match (aggregate.key, group) {
                (Some(key), Some(group)) => self.book.row_at(key, *row) == group,
                _ => true,
            })
            .map(
                |row| match run(self.book, self.formula, &aggregate.value, row) {
                    Given::Number(value) => value,
                    Given::Code(_) => panic!("an aggregate of codes"),
                },
            )
            .filter(|value| *value != f64::INFINITY)
            .collect();
        let sum = values.iter().fold(0.0, |sum, value| sum + value);
        if sum.is_nan() || values.is_empty() && aggregate.gather != Gather::Total {
            return if aggregate.gather == Gather::Tally {
                0.0
            } else {
                MISSING
            };
        }
        match aggregate.gather {
            Gather::Total | Gather::Tally => sum,
            Gather::Mean => sum / values.len() as f64,
            Gather::Largest => values.into_iter().fold(f64::NEG_INFINITY, f64::max),
            Gather::Smallest => values.into_iter().fold(f64::INFINITY, f64::min),
        }
    }

    fn set(&mut self, to: Register, value: f64) {
        let slot = &mut self.numbers[usize::from(to)];
        assert!(slot.is_nan(), "a register is written once");
        *slot = value;
    }

    fn set_code(&mut self, to: Register, code: u32) {
        let slot = &mut self.codes[usize::from(to)];
        assert_eq!(*slot, ABSENT, "a register is written once");
        *slot = code;
    }

    fn step(&mut self, step: &Step) {
        match step {
            Step::Binary { op, to, a, b } => {
                self.set(*to, binary(*op, self.number(*a), self.number(*b)));
            }
            Step::Unary { op, to, a } => self.set(*to, unary(*op, self.number(*a))),
            Step::Pick { to, flag, a, b } => {
                let flag = self.number(*flag);
                let value = if flag == 1.0 {
                    self.number(*a)
                } else {
                    self.number(*b)
                };
                self.set(*to, if flag.is_nan() { MISSING } else { value });
            }
            Step::PickCode { to, flag, a, b } => {
                let flag = self.number(*flag);
                let code = if flag == 1.0 {
                    self.code(*a)
                } else {
                    self.code(*b)
                };
                self.set_code(*to, if flag.is_nan() { ABSENT } else { code });
            }
            Step::CodeGiven { to, a } => self.set(*to, flag(self.code(*a) != ABSENT)),
            Step::SameText { to, a, b } => {
                let (a, b) = (self.code(*a), self.code(*b));
                let names = &self.book.names;
                self.set(*to, same(names.folded(a), names.folded(b)));
            }
            Step::SameRow { to, a, b } => self.set(*to, same(self.code(*a), self.code(*b))),
            Step::Fetch { to, row, column } => {
                self.set(*to, self.book.number_at(*column, self.code(*row)));
            }
            Step::FetchText { to, row, column } => {
                self.set_code(*to, self.book.text_at(*column, self.code(*row)));
            }
            Step::FetchRow { to, row, column } => {
                self.set_code(*to, self.book.row_at(*column, self.code(*row)));
            }
            Step::FetchGroup { to, row, aggregate } => {
                let value = match self.code(*row) {
                    ABSENT => MISSING,
                    group => self.gathered(*aggregate, Some(group)),
                };
                self.set(*to, value);
            }
            Step::Find { to, lookup, keys } => {
                let lookup = &self.formula.lookups[*lookup];
                let keys: Vec<u32> = keys.iter().map(|key| self.code(*key)).collect();
                let is = |row: &u32| {
                    lookup.keys.iter().zip(&keys).all(|((column, _), key)| {
                        *key != ABSENT && self.book.row_at(*column, *row) == *key
                    })
                };
                let found = (0..self.book.n_rows(lookup.sheet)).find(is);
                self.set_code(*to, found.unwrap_or(ABSENT));
            }
            Step::Call { to, kernel, args } => {
                let args: Vec<f64> = args.iter().map(|arg| self.number(*arg)).collect();
                let given = args.iter().all(|arg| !arg.is_nan());
                self.set(*to, if given { kernel(&args) } else { MISSING });
            }
            Step::CallText { to, kernel, args } => self.call_text(*to, kernel, args),
        }
    }

    fn call_text(&mut self, to: Register, kernel: &TextKernel, args: &[Code]) {
        let codes: Vec<u32> = args.iter().map(|arg| self.code(*arg)).collect();
        if codes.contains(&ABSENT) {
            return;
        }
        let texts: Vec<String> = codes
            .iter()
            .map(|code| self.book.names.text(*code))
            .collect();
        let texts: Vec<&str> = texts.iter().map(String::as_str).collect();
        match kernel {
            TextKernel::Flag(kernel) => self.set(to, flag(kernel(&texts))),
            TextKernel::Number { kernel, .. } => self.set(to, kernel(&texts)),
            TextKernel::Text(kernel) => {
                let code = kernel(&texts).map_or(ABSENT, |text| self.book.names.code(&text));
                self.set_code(to, code);
            }
        }
    }
}

fn flag(is: bool) -> f64 {
    f64::from(u8::from(is))
}

fn same(a: u32, b: u32) -> f64 {
    if a == ABSENT || b == ABSENT {
        MISSING
    } else {
        flag(a == b)
    }
}

fn binary(op: Binary, a: f64, b: f64) -> f64 {
    let absent = a.is_nan() || b.is_nan();
    match op {
        Binary::And if a == 0.0 || b == 0.0 => 0.0,
        Binary::Or if a == 1.0 || b == 1.0 => 1.0,
        Binary::FirstGiven if a.is_nan() => b,
        Binary::FirstGiven => a,
        _ if absent => MISSING,
        Binary::Add => a + b,
        Binary::Subtract => a - b,
        Binary::Multiply => a * b,
        Binary::Divide if b == 0.0 => MISSING,
        Binary::Divide => a / b,
        Binary::Power => a.powf(b),
        Binary::Least => a.min(b),
        Binary::Most => a.max(b),
        Binary::Equal => flag(a == b),
        Binary::Unequal => flag(a != b),
        Binary::Less => flag(a < b),
        Binary::LessEqual => flag(a <= b),
        Binary::And => a * b,
        Binary::Or => a.max(b),
        Binary::Nearest => (a / b).round() * b,
        Binary::NextUp => (a / b - 1e-9).ceil() * b,
        Binary::NextDown => (a / b + 1e-9).floor() * b,
    }
}

fn unary(op: Unary, a: f64) -> f64 {
    match op {
        Unary::IsGiven => flag(!a.is_nan()),
        Unary::Negate => -a,
        Unary::Not => 1.0 - a,
        Unary::Abs => a.abs(),
        Unary::Sqrt => a.sqrt(),
        Unary::Ln => a.ln(),
        Unary::Log10 => a.log10(),
        Unary::Exp => a.exp(),
    }
}
