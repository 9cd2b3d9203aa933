//! A program as it is while some of what it reads is the same in every row.
//!
//! Most columns of most plans hold nothing, or the same in every row. Steps over those are done
//! once instead of row by row, by the executor that would do them row by row, so the bits are the
//! same; of a step that is left the operands that are the same become constants.

use super::node::column_id;
use super::run::{Chunk, Inputs, Kind, Piece, Scratch, Slots, fetched_flag};
use super::run::{run, target_of, wide_flag};
use crate::formula::program::{Binary, Code, Num, Out, Program, Step, TextKernel};
use crate::table::{ABSENT, Column, ColumnId, MISSING, Values};
use std::sync::Arc;

/// What is left of a program.
pub enum Folded {
    /// Every row has this number; of a flag 1, 0 or missing.
    Number(f64),
    /// Every row has this code.
    Code(u32),
    /// The rows differ, as far as can be told without going through them.
    Rows(Arc<Program>),
}

/// Folds a program over the columns as they are now; those with a slot are not computed yet.
pub fn folded(
    program: &Arc<Program>,
    inputs: Inputs<'_>,
    slots: &Slots,
    scratch: &mut Scratch,
) -> Folded {
    let mut fold = Fold {
        inputs,
        slots,
        scratch,
        numbers: vec![None; usize::from(program.n_numbers)],
        codes: vec![None; usize::from(program.n_codes)],
        is_less: false,
    };
    let mut steps = Vec::with_capacity(program.steps.len());
    for step in &program.steps {
        steps.extend(fold.step(step));
    }
    let out = match program.out {
        Out::Number(num) => Out::Number(fold.num(num)),
        Out::Text(code) => Out::Text(fold.code(code)),
        Out::Row(code) => Out::Row(fold.code(code)),
    };
    match out {
        Out::Number(Num::Constant(value)) => Folded::Number(value),
        Out::Text(Code::Constant(code)) | Out::Row(Code::Constant(code)) => Folded::Code(code),
        Out::Number(_) | Out::Text(_) | Out::Row(_) if !fold.is_less => {
            Folded::Rows(Arc::clone(program))
        }
        Out::Number(_) | Out::Text(_) | Out::Row(_) => Folded::Rows(Arc::new(needed(Program {
            steps,
            out,
            ..**program
        }))),
    }
}

/// What a step comes to.
enum Made {
    Number(Num),
    Code(Code),
    /// It has to be done for each row.
    Step(Step),
}

struct Fold<'a> {
    inputs: Inputs<'a>,
    slots: &'a Slots,
    scratch: &'a mut Scratch,
    /// For each register what stands in its place.
    numbers: Vec<Option<Num>>,
    codes: Vec<Option<Code>>,
    /// Whether anything was found to be the same in every row.
    is_less: bool,
}

impl Fold<'_> {
    /// The step with what is known put in; none where nothing is left to do.
    fn step(&mut self, step: &Step) -> Option<Step> {
        let (to, _) = target_of(step);
        match self.made(step) {
            Made::Number(num) => self.numbers[usize::from(to)] = Some(num),
            Made::Code(code) => self.codes[usize::from(to)] = Some(code),
            Made::Step(step) => return Some(step),
        }
        self.is_less = true;
        None
    }

    fn made(&mut self, step: &Step) -> Made {
        match step {
            Step::Binary { op, to, a, b } => {
                let (a, b) = (self.num(*a), self.num(*b));
                let step = Step::Binary {
                    op: *op,
                    to: *to,
                    a,
                    b,
                };
                self.number_of(step, [a, b].iter(), binary(*op, a, b))
            }
            Step::Unary { op, to, a } => {
                let a = self.num(*a);
                let step = Step::Unary {
                    op: *op,
                    to: *to,
                    a,
                };
                self.number_of(step, [a].iter(), None)
            }
            Step::Pick { to, flag, a, b } => {
                let (flag, a, b) = (self.num(*flag), self.num(*a), self.num(*b));
                let chosen = picked(flag, a, b, Num::Constant(MISSING));
                let step = Step::Pick {
                    to: *to,
                    flag,
                    a,
                    b,
                };
                self.number_of(step, [flag, a, b].iter(), chosen)
            }
            Step::PickCode { to, flag, a, b } => {
                let (flag, a, b) = (self.num(*flag), self.code(*a), self.code(*b));
                match picked(flag, a, b, Code::Constant(ABSENT)) {
                    Some(chosen) => Made::Code(chosen),
                    None => Made::Step(Step::PickCode {
                        to: *to,
                        flag,
                        a,
                        b,
                    }),
                }
            }
            Step::CodeGiven { to, a } => {
                let a = self.code(*a);
                self.flag_of(Step::CodeGiven { to: *to, a }, &[a], false)
            }
            Step::SameText { to, a, b } => {
                let (a, b) = (self.code(*a), self.code(*b));
                self.flag_of(Step::SameText { to: *to, a, b }, &[a, b], true)
            }
            Step::SameRow { to, a, b } => {
                let (a, b) = (self.code(*a), self.code(*b));
                self.flag_of(Step::SameRow { to: *to, a, b }, &[a, b], true)
            }
            Step::Fetch { to, row, column } => {
                let row = self.code(*row);
                match self.fetched(row, *column) {
                    Some(value) => Made::Number(Num::Constant(value)),
                    None => Made::Step(Step::Fetch {
                        to: *to,
                        row,
                        column: *column,
                    }),
                }
            }
            Step::FetchText { to, row, column } => {
                let row = self.code(*row);
                match fetched_code(row, self.inputs.column(*column).codes()) {
                    Some(code) => Made::Code(Code::Constant(code)),
                    None => Made::Step(Step::FetchText {
                        to: *to,
                        row,
                        column: *column,
                    }),
                }
            }
            Step::FetchRow { to, row, column } => {
                let row = self.code(*row);
                match fetched_code(row, self.inputs.row_numbers(*column)) {
                    Some(code) => Made::Code(Code::Constant(code)),
                    None => Made::Step(Step::FetchRow {
                        to: *to,
                        row,
                        column: *column,
                    }),
                }
            }
            Step::FetchGroup { .. } => {
                unreachable!("aggregates are columns once a program is linked")
            }
            Step::Find { to, lookup, keys } => self.find(*to, *lookup, keys),
            Step::Call { to, kernel, args } => {
                let args: Vec<Num> = args.iter().map(|arg| self.num(*arg)).collect();
                let spoilt = args.iter().any(is_missing);
                let step = Step::Call {
                    to: *to,
                    kernel: *kernel,
                    args: args.clone(),
                };
                let known = spoilt.then_some(Num::Constant(MISSING));
                self.number_of(step, args.iter(), known)
            }
            Step::CallText { to, kernel, args } => self.text_call(*to, kernel, args),
        }
    }

    fn find(&mut self, to: u16, lookup: usize, keys: &[Code]) -> Made {
        let keys: Vec<Code> = keys.iter().map(|key| self.code(*key)).collect();
        let finder = &self.inputs.finders[lookup];
        let constants: Option<Vec<u32>> = keys.iter().map(|key| constant(*key)).collect();
        if finder.is_empty() || keys.contains(&Code::Constant(ABSENT)) {
            return Made::Code(Code::Constant(ABSENT));
        }
        match constants.as_deref() {
            Some([one]) => Made::Code(Code::Constant(finder.find(*one, 0))),
            Some([one, two]) => Made::Code(Code::Constant(finder.find(*one, *two))),
            Some(_) | None => Made::Step(Step::Find { to, lookup, keys }),
        }
    }

    fn text_call(&mut self, to: u16, kernel: &TextKernel, args: &[Code]) -> Made {
        let args: Vec<Code> = args.iter().map(|arg| self.code(*arg)).collect();
        let spoilt = args.contains(&Code::Constant(ABSENT));
        let known = args.iter().all(|arg| constant(*arg).is_some());
        let kernel = kernel.clone();
        let is_text = matches!(kernel, TextKernel::Text(_));
        let step = Step::CallText { to, kernel, args };
        match (is_text, spoilt, known) {
            (true, true, _) => Made::Code(Code::Constant(ABSENT)),
            (false, true, _) => Made::Number(Num::Constant(MISSING)),
            (true, false, true) => Made::Code(Code::Constant(self.once(&step).1)),
            (false, false, true) => Made::Number(Num::Constant(self.once(&step).0)),
            (_, false, false) => Made::Step(step),
        }
    }

    /// A step that makes a number: what it is known to be, or what constants make of it.
    fn number_of<'n>(
        &mut self,
        step: Step,
        mut operands: impl Iterator<Item = &'n Num>,
        known: Option<Num>,
    ) -> Made {
        let is_constant = |num: &Num| matches!(num, Num::Constant(_));
        match known {
            Some(known) => Made::Number(known),
            None if operands.all(is_constant) => Made::Number(Num::Constant(self.once(&step).0)),
            None => Made::Step(step),
        }
    }

    /// A step that makes a flag of codes; an absent one may make it missing.
    fn flag_of(&mut self, step: Step, codes: &[Code], is_strict: bool) -> Made {
        if is_strict && codes.contains(&Code::Constant(ABSENT)) {
            return Made::Number(Num::Constant(MISSING));
        }
        match codes.iter().all(|code| constant(*code).is_some()) {
            true => Made::Number(Num::Constant(self.once(&step).0)),
            false => Made::Step(step),
        }
    }

    /// What a step over constants gives, as a number or as a code.
    fn once(&mut self, step: &Step) -> (f64, u32) {
        let (mut number, mut code) = ([MISSING], [ABSENT]);
        let (to, kind) = target_of(step);
        let (mut piece, out) = match kind {
            Kind::Number => (Piece::Numbers(&mut number), Out::Number(Num::Register(to))),
            Kind::Code => (Piece::Codes(&mut code), Out::Text(Code::Register(to))),
        };
        let program = Program {
            steps: vec![step.clone()],
            n_numbers: to + 1,
            n_codes: to + 1,
            out,
        };
        let chunk = Chunk::of_rows(0, 1);
        run(&program, self.inputs, &[], &chunk, &mut piece, self.scratch);
        (number[0], code[0])
    }

    /// The column, unless it is still to be computed.
    fn ready(&self, column: ColumnId) -> Option<&Column> {
        let slot = self.slots.get(column.at()).copied().unwrap_or(ABSENT);
        (slot == ABSENT).then(|| self.inputs.column(column))
    }

    fn num(&mut self, num: Num) -> Num {
        let known = match num {
            Num::Register(at) => return self.numbers[usize::from(at)].unwrap_or(num),
            Num::Constant(_) => return num,
            Num::Column(column) => match self.ready(column) {
                Some(Column::Numbers(values)) => values.one(),
                Some(Column::Flags(flags)) => flags.one().map(wide_flag),
                Some(Column::Codes(_)) => Some(MISSING),
                None => None,
            },
            Num::Assumption(param) => Some(self.inputs.assumed[param.at()].number),
            Num::Whole(at) => self.inputs.column(column_id(at)).numbers().get(0).copied(),
            Num::Group(_) => unreachable!("aggregates are columns once a program is linked"),
        };
        self.is_less |= known.is_some();
        known.map_or(num, Num::Constant)
    }

    fn code(&mut self, code: Code) -> Code {
        let known = match code {
            Code::Register(at) => return self.codes[usize::from(at)].unwrap_or(code),
            Code::Constant(_) | Code::This => return code,
            Code::Text(column) => self.ready(column).and_then(|known| known.codes().one()),
            Code::Row(column) => {
                let is_ready = self.ready(column).is_some();
                is_ready
                    .then(|| self.inputs.row_numbers(column).one())
                    .flatten()
            }
            Code::Assumption(param) => Some(self.inputs.assumed[param.at()].code),
        };
        self.is_less |= known.is_some();
        known.map_or(code, Code::Constant)
    }

    /// What another sheet's column has at a row, where that is one value.
    fn fetched(&self, row: Code, column: ColumnId) -> Option<f64> {
        match (self.inputs.column(column), constant(row)) {
            (Column::Codes(_), _) | (_, Some(ABSENT)) => Some(MISSING),
            (Column::Numbers(values), Some(row)) => {
                Some(values.get(row as usize).copied().unwrap_or(MISSING))
            }
            (Column::Flags(flags), Some(row)) => Some(fetched_flag(flags, row)),
            // Whatever the row, there is nothing at it.
            (Column::Numbers(values), None) => {
                let nothing = values.is_empty() || values.one().is_some_and(f64::is_nan);
                nothing.then_some(MISSING)
            }
            (Column::Flags(flags), None) => {
                let nothing =
                    flags.is_empty() || flags.one().is_some_and(|f| wide_flag(f).is_nan());
                nothing.then_some(MISSING)
            }
        }
    }
}

/// The code that another sheet's column has at a row, where that is one.
fn fetched_code(row: Code, codes: &Values<u32>) -> Option<u32> {
    match constant(row) {
        Some(row) => Some(codes.get(row as usize).copied().unwrap_or(ABSENT)),
        None => (codes.is_empty() || codes.one() == Some(ABSENT)).then_some(ABSENT),
    }
}

fn constant(code: Code) -> Option<u32> {
    match code {
        Code::Constant(code) => Some(code),
        Code::Register(_) | Code::Text(_) | Code::Row(_) | Code::Assumption(_) | Code::This => None,
    }
}

fn is_missing(num: &Num) -> bool {
    matches!(num, Num::Constant(value) if value.is_nan())
}

/// What two numbers come to where one of them decides.
fn binary(op: Binary, a: Num, b: Num) -> Option<Num> {
    let is = |num: Num, value: f64| num == Num::Constant(value);
    match op {
        Binary::And if is(a, 0.0) || is(b, 0.0) => Some(Num::Constant(0.0)),
        Binary::And if is(a, 1.0) => Some(b),
        Binary::And if is(b, 1.0) => Some(a),
        Binary::Or if is(a, 1.0) || is(b, 1.0) => Some(Num::Constant(1.0)),
        Binary::Or if is(a, 0.0) => Some(b),
        Binary::Or if is(b, 0.0) => Some(a),
        Binary::And | Binary::Or => None,
        Binary::FirstGiven if is_missing(&a) => Some(b),
        Binary::FirstGiven if is_missing(&b) || matches!(a, Num::Constant(_)) => Some(a),
        Binary::FirstGiven => None,
        Binary::Add
        | Binary::Subtract
        | Binary::Multiply
        | Binary::Divide
        | Binary::Power
        | Binary::Least
        | Binary::Most
        | Binary::Equal
        | Binary::Unequal
        | Binary::Less
        | Binary::LessEqual
        | Binary::Nearest
        | Binary::NextUp
        | Binary::NextDown => (is_missing(&a) || is_missing(&b)).then_some(Num::Constant(MISSING)),
    }
}

/// Which of two a flag chooses, where that is known.
fn picked<T>(flag: Num, a: T, b: T, absent: T) -> Option<T> {
    match flag {
        Num::Constant(1.0) => Some(a),
        Num::Constant(0.0) => Some(b),
        Num::Constant(_) => Some(absent),
        Num::Register(_) | Num::Column(_) | Num::Assumption(_) | Num::Group(_) | Num::Whole(_) => {
            None
        }
    }
}

/// A program without steps that nothing reads.
fn needed(program: Program) -> Program {
    let mut numbers = vec![false; usize::from(program.n_numbers)];
    let mut codes = vec![false; usize::from(program.n_codes)];
    match program.out {
        Out::Number(Num::Register(at)) => numbers[usize::from(at)] = true,
        Out::Text(Code::Register(at)) | Out::Row(Code::Register(at)) => {
            codes[usize::from(at)] = true
        }
        Out::Number(_) | Out::Text(_) | Out::Row(_) => {}
    }
    let mut steps: Vec<Step> = Vec::with_capacity(program.steps.len());
    for step in program.steps.into_iter().rev() {
        let (to, kind) = target_of(&step);
        let is_read = match kind {
            Kind::Number => numbers[usize::from(to)],
            Kind::Code => codes[usize::from(to)],
        };
        if !is_read {
            continue;
        }
        let (from_numbers, from_codes, _) = step.sources();
        for num in from_numbers {
            if let Num::Register(at) = num {
                numbers[usize::from(at)] = true;
            }
        }
        for code in from_codes {
            if let Code::Register(at) = code {
                codes[usize::from(at)] = true;
            }
        }
        steps.push(step);
    }
    steps.reverse();
    Program { steps, ..program }
}
