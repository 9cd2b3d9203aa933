//! Runs a program over a piece of rows, step by step, column at a time.
//!
//! One executor serves whole columns, chunk by chunk, and single rows, so both give the same
//! bits. It allocates nothing once its scratch registers have grown.

use super::find::Finder;
use super::node::{Node, Source, column_id};
use crate::formula::program::{Binary, Code, Num, Out, Program, Step, TextKernel, Unary};
use crate::plan::Plan;
use crate::table::{ABSENT, Column, ColumnId, MISSING, NO_FLAG, Names, Value, Values, stored};
use pulp::WithSimd;

/// The value of an assumption, both ways it can be read.
#[derive(Debug, Clone, Copy)]
pub struct Assumed {
    /// As a number in base units; missing for a text.
    pub number: f64,
    /// As the code of a text; absent for a number.
    pub code: u32,
}

/// All a program can read.
#[derive(Clone, Copy)]
pub struct Inputs<'a> {
    /// The entered cells.
    pub plan: &'a Plan,
    /// The columns.
    pub nodes: &'a [Node],
    /// Computed values by column; those being written now are empty here.
    pub values: &'a [Column],
    /// For entered columns of rows, the row each cell points to.
    pub resolved: &'a [Values<u32>],
    /// The assumptions.
    pub assumed: &'a [Assumed],
    /// Columns beyond those of the graph, for a formula that stands alone.
    pub extra: &'a [Column],
    /// The searches.
    pub finders: &'a [Finder],
    /// The texts.
    pub names: &'a Names,
}

impl<'a> Inputs<'a> {
    /// A whole column, entered or computed.
    pub fn column(&self, column: ColumnId) -> &'a Column {
        let Some(node) = self.nodes.get(column.at()) else {
            return &self.extra[column.at() - self.nodes.len()];
        };
        match node.source {
            Source::Entered(position) => self.plan.rows(node.sheet).column(position),
            Source::Program(_)
            | Source::Broken
            | Source::Group { .. }
            | Source::Whole { .. }
            | Source::Shared { .. }
            | Source::Made { .. } => &self.values[column.at()],
        }
    }

    /// All row numbers of a column of rows.
    pub fn row_numbers(&self, column: ColumnId) -> &'a Values<u32> {
        if self.nodes[column.at()].is_entered() {
            &self.resolved[column.at()]
        } else {
            self.values[column.at()].codes()
        }
    }
}

/// A part of a column that is being written.
#[derive(Debug, Default)]
pub enum Piece<'a> {
    /// Not here, or just being written.
    #[default]
    None,
    /// Numbers.
    Numbers(&'a mut [f64]),
    /// Flags.
    Flags(&'a mut [u8]),
    /// Texts or rows.
    Codes(&'a mut [u32]),
}

/// A run of rows with the pieces of all columns that are computed together.
#[derive(Debug, Default)]
pub struct Chunk<'a> {
    /// The first row.
    pub first: usize,
    /// How many rows.
    pub len: usize,
    /// The columns, each at its slot.
    pub pieces: Vec<Piece<'a>>,
    /// Columns that have no place of their own yet but hold these values in these rows, each at
    /// its slot; empty where there are none.
    pub own: Vec<Option<Column>>,
}

impl Chunk<'_> {
    /// Some rows in which no columns are computed together.
    pub fn of_rows(first: usize, len: usize) -> Self {
        Self {
            first,
            len,
            ..Self::default()
        }
    }
}

/// Registers, kept from run to run.
#[derive(Debug, Default)]
pub struct Scratch {
    numbers: Vec<Vec<f64>>,
    codes: Vec<Vec<u32>>,
    wide: [Vec<f64>; 3],
    memo: Vec<u32>,
}

/// Where the pieces of a chunk are: for each column its slot, or `u32::MAX`.
pub type Slots = [u32];

/// A number operand over the rows of a chunk.
#[derive(Clone, Copy)]
enum Numbers<'a> {
    Each(&'a [f64]),
    All(f64),
}

/// A code operand over the rows of a chunk.
#[derive(Clone, Copy)]
enum Codes<'a> {
    Each(&'a [u32]),
    All(u32),
    This(u32),
}

impl Codes<'_> {
    #[inline(always)]
    fn at(&self, row: usize) -> u32 {
        match self {
            Self::Each(codes) => codes[row],
            Self::All(code) => *code,
            Self::This(first) => first + row as u32,
        }
    }
}

/// What a column holds in the rows of a chunk.
enum Held<'a> {
    Numbers(&'a [f64]),
    Flags(&'a [u8]),
    Codes(&'a [u32]),
}

/// One program on its way over one chunk.
struct Runner<'r, 'c> {
    inputs: Inputs<'r>,
    slots: &'r Slots,
    chunk: &'r Chunk<'c>,
}

/// Runs a program over a chunk and writes the piece at a slot.
pub fn run_slot(
    program: &Program,
    inputs: Inputs<'_>,
    slots: &Slots,
    chunk: &mut Chunk<'_>,
    slot: usize,
    scratch: &mut Scratch,
) {
    let mut target = std::mem::take(&mut chunk.pieces[slot]);
    run(program, inputs, slots, chunk, &mut target, scratch);
    chunk.pieces[slot] = target;
}

/// Runs a program over the rows of a chunk and writes a piece.
pub fn run(
    program: &Program,
    inputs: Inputs<'_>,
    slots: &Slots,
    chunk: &Chunk<'_>,
    target: &mut Piece<'_>,
    scratch: &mut Scratch,
) {
    scratch.grow(program, chunk.len);
    let runner = Runner {
        inputs,
        slots,
        chunk,
    };
    let last = program.steps.len().wrapping_sub(1);
    for (at, step) in program.steps.iter().enumerate() {
        match (&mut *target, direct(step, program.out)) {
            (Piece::Numbers(into), Some(Kind::Number)) if at == last => {
                runner.number_step(step, into, scratch);
            }
            (Piece::Codes(into), Some(Kind::Code)) if at == last => {
                runner.code_step(step, into, scratch);
            }
            _ => runner.to_register(step, scratch),
        }
    }
    let written = program
        .steps
        .last()
        .and_then(|step| direct(step, program.out))
        .is_some();
    runner.write_out(program.out, target, scratch, written);
}

/// The kind of a register.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// A number or a flag.
    Number,
    /// A text or a row.
    Code,
}

/// Whether a step writes the register that is the result, and of which kind it is.
fn direct(step: &Step, out: Out) -> Option<Kind> {
    let (register, kind) = target_of(step);
    match (out, kind) {
        (Out::Number(Num::Register(wanted)), Kind::Number) if wanted == register => Some(kind),
        (Out::Text(Code::Register(wanted)) | Out::Row(Code::Register(wanted)), Kind::Code)
            if wanted == register =>
        {
            Some(kind)
        }
        _ => None,
    }
}

/// The register a step writes, and its kind.
pub fn target_of(step: &Step) -> (u16, Kind) {
    match step {
        Step::Binary { to, .. }
        | Step::Unary { to, .. }
        | Step::Pick { to, .. }
        | Step::CodeGiven { to, .. }
        | Step::SameText { to, .. }
        | Step::SameRow { to, .. }
        | Step::Fetch { to, .. }
        | Step::FetchGroup { to, .. }
        | Step::Call { to, .. }
        | Step::CallText {
            to,
            kernel: TextKernel::Flag(_) | TextKernel::Number { .. },
            ..
        } => (*to, Kind::Number),
        Step::PickCode { to, .. }
        | Step::FetchText { to, .. }
        | Step::FetchRow { to, .. }
        | Step::Find { to, .. }
        | Step::CallText {
            to,
            kernel: TextKernel::Text(_),
            ..
        } => (*to, Kind::Code),
    }
}

impl Scratch {
    fn grow(&mut self, program: &Program, len: usize) {
        grow_to(&mut self.numbers, usize::from(program.n_numbers), len, 0.0);
        grow_to(&mut self.codes, usize::from(program.n_codes), len, ABSENT);
        for wide in &mut self.wide {
            if wide.len() < len {
                wide.resize(len, 0.0);
            }
        }
    }
}

fn grow_to<T: Copy>(registers: &mut Vec<Vec<T>>, count: usize, len: usize, fill: T) {
    while registers.len() < count {
        registers.push(Vec::new());
    }
    for register in &mut registers[..count] {
        if register.len() < len {
            register.resize(len, fill);
        }
    }
}

impl Runner<'_, '_> {
    fn rows(&self) -> std::ops::Range<usize> {
        self.chunk.first..self.chunk.first + self.chunk.len
    }

    /// What a column that is computed in this chunk holds by now.
    fn held(&self, column: ColumnId) -> Option<Held<'_>> {
        let slot = *self
            .slots
            .get(column.at())
            .filter(|slot| **slot != ABSENT)? as usize;
        match self.chunk.pieces.get(slot) {
            Some(Piece::Numbers(values)) => return Some(Held::Numbers(values)),
            Some(Piece::Flags(flags)) => return Some(Held::Flags(flags)),
            Some(Piece::Codes(codes)) => return Some(Held::Codes(codes)),
            Some(Piece::None) | None => {}
        }
        match self.chunk.own.get(slot)?.as_ref()? {
            Column::Numbers(Values::Each(values)) => Some(Held::Numbers(values)),
            Column::Flags(Values::Each(flags)) => Some(Held::Flags(flags)),
            Column::Codes(Values::Each(codes)) => Some(Held::Codes(codes)),
            Column::Numbers(_) | Column::Flags(_) | Column::Codes(_) => None,
        }
    }

    /// A number operand; flags are widened into `wide`.
    fn number<'s>(
        &'s self,
        num: Num,
        registers: &'s [Vec<f64>],
        wide: &'s mut [f64],
    ) -> Numbers<'s> {
        match num {
            Num::Register(at) => Numbers::Each(&registers[usize::from(at)][..self.chunk.len]),
            Num::Constant(value) => Numbers::All(value),
            Num::Assumption(param) => Numbers::All(self.inputs.assumed[param.at()].number),
            Num::Whole(at) => Numbers::All(self.column(column_id(at)).numbers()[0]),
            Num::Column(column) => self.number_column(column, wide),
            Num::Group(_) => unreachable!("aggregates are columns once a program is linked"),
        }
    }

    fn number_column<'s>(&'s self, column: ColumnId, wide: &'s mut [f64]) -> Numbers<'s> {
        match self.held(column) {
            Some(Held::Numbers(values)) => return Numbers::Each(values),
            Some(Held::Flags(flags)) => return widened(flags, wide),
            Some(Held::Codes(_)) | None => {}
        }
        match self.column(column) {
            Column::Numbers(Values::Each(values)) => Numbers::Each(&values[self.rows()]),
            Column::Numbers(Values::Same { value, .. }) => Numbers::All(*value),
            Column::Flags(Values::Each(flags)) => widened(&flags[self.rows()], wide),
            Column::Flags(Values::Same { value, .. }) => Numbers::All(wide_flag(*value)),
            Column::Codes(_) => Numbers::All(MISSING),
        }
    }

    /// The codes of the rows of the chunk.
    fn codes_of<'s>(&self, codes: &'s Values<u32>) -> Codes<'s> {
        match codes {
            Values::Each(codes) => Codes::Each(&codes[self.rows()]),
            Values::Same { value, .. } => Codes::All(*value),
        }
    }

    fn column(&self, column: ColumnId) -> &Column {
        self.inputs.column(column)
    }

    /// All row numbers of a column of rows.
    fn row_numbers(&self, column: ColumnId) -> &Values<u32> {
        self.inputs.row_numbers(column)
    }

    fn code<'s>(&'s self, code: Code, registers: &'s [Vec<u32>]) -> Codes<'s> {
        match code {
            Code::Register(at) => Codes::Each(&registers[usize::from(at)][..self.chunk.len]),
            Code::Constant(code) => Codes::All(code),
            Code::Assumption(param) => Codes::All(self.inputs.assumed[param.at()].code),
            Code::This => Codes::This(self.chunk.first as u32),
            Code::Text(column) => match self.held(column) {
                Some(Held::Codes(codes)) => Codes::Each(codes),
                _ => self.codes_of(self.column(column).codes()),
            },
            Code::Row(column) => match self.held(column) {
                Some(Held::Codes(codes)) => Codes::Each(codes),
                _ => self.codes_of(self.row_numbers(column)),
            },
        }
    }

    /// Runs a step into its register.
    fn to_register(&self, step: &Step, scratch: &mut Scratch) {
        let (register, kind) = target_of(step);
        let at = usize::from(register);
        match kind {
            Kind::Number => {
                let mut into = std::mem::take(&mut scratch.numbers[at]);
                self.number_step(step, &mut into[..self.chunk.len], scratch);
                scratch.numbers[at] = into;
            }
            Kind::Code => {
                let mut into = std::mem::take(&mut scratch.codes[at]);
                self.code_step(step, &mut into[..self.chunk.len], scratch);
                scratch.codes[at] = into;
            }
        }
    }

    /// Runs a step that makes numbers.
    fn number_step(&self, step: &Step, into: &mut [f64], scratch: &mut Scratch) {
        let Scratch {
            numbers,
            codes,
            wide: [wide_a, wide_b, wide_c],
            memo,
        } = scratch;
        match step {
            Step::Binary { op, a, b, .. } => {
                let a = self.number(*a, numbers, wide_a);
                let b = self.number(*b, numbers, wide_b);
                wide(BinaryWork {
                    op: *op,
                    a,
                    b,
                    into,
                });
            }
            Step::Unary { op, a, .. } => {
                let a = self.number(*a, numbers, wide_a);
                wide(UnaryWork { op: *op, a, into });
            }
            Step::Pick { flag, a, b, .. } => {
                let flag = self.number(*flag, numbers, wide_a);
                let a = self.number(*a, numbers, wide_b);
                let b = self.number(*b, numbers, wide_c);
                wide(PickWork {
                    choice: flag,
                    a,
                    b,
                    into,
                });
            }
            Step::CodeGiven { a, .. } => match self.code(*a, codes) {
                Codes::Each(a) => each(into, |row| flag(a[row] != ABSENT)),
                other => each(into, |row| flag(other.at(row) != ABSENT)),
            },
            Step::SameText { a, b, .. } => {
                self.same_text(self.code(*a, codes), self.code(*b, codes), into)
            }
            Step::SameRow { a, b, .. } => {
                let (a, b) = (self.code(*a, codes), self.code(*b, codes));
                each(into, |row| same(a.at(row), b.at(row)));
            }
            Step::Fetch { row, column, .. } => self.fetch(self.code(*row, codes), *column, into),
            Step::Call { kernel, args, .. } => self.call(*kernel, args, numbers, into),
            Step::CallText {
                kernel: TextKernel::Flag(kernel),
                args,
                ..
            } => {
                self.number_of_texts(|texts| flag(kernel(texts)), args, codes, memo, into);
            }
            Step::CallText {
                kernel: TextKernel::Number { kernel, .. },
                args,
                ..
            } => {
                self.number_of_texts(|texts| stored(kernel(texts)), args, codes, memo, into);
            }
            Step::FetchGroup { .. }
            | Step::PickCode { .. }
            | Step::FetchText { .. }
            | Step::FetchRow { .. }
            | Step::Find { .. }
            | Step::CallText { .. } => unreachable!("this step makes codes or was linked away"),
        }
    }

    /// Runs a step that makes codes.
    fn code_step(&self, step: &Step, into: &mut [u32], scratch: &mut Scratch) {
        let Scratch {
            numbers,
            codes,
            wide: [wide, ..],
            memo,
        } = scratch;
        match step {
            Step::PickCode { flag, a, b, .. } => {
                let flag = self.number(*flag, numbers, wide);
                pick_code(flag, self.code(*a, codes), self.code(*b, codes), into);
            }
            Step::FetchText { row, column, .. } => {
                fetch_at(
                    self.code(*row, codes),
                    self.column(*column).codes(),
                    ABSENT,
                    into,
                );
            }
            Step::FetchRow { row, column, .. } => {
                fetch_at(
                    self.code(*row, codes),
                    self.row_numbers(*column),
                    ABSENT,
                    into,
                );
            }
            Step::Find { lookup, keys, .. } => {
                let keys: Vec<Codes<'_>> = keys.iter().map(|key| self.code(*key, codes)).collect();
                let finder = &self.inputs.finders[*lookup];
                match keys.as_slice() {
                    [one] => each(into, |row| finder.find(one.at(row), 0)),
                    [one, two] => each(into, |row| finder.find(one.at(row), two.at(row))),
                    _ => into.fill(ABSENT),
                }
            }
            Step::CallText {
                kernel: TextKernel::Text(kernel),
                args,
                ..
            } => {
                self.text_call(kernel.as_ref(), args, codes, memo, into);
            }
            Step::Binary { .. }
            | Step::Unary { .. }
            | Step::Pick { .. }
            | Step::CodeGiven { .. }
            | Step::SameText { .. }
            | Step::SameRow { .. }
            | Step::Fetch { .. }
            | Step::FetchGroup { .. }
            | Step::Call { .. }
            | Step::CallText { .. } => unreachable!("this step makes numbers"),
        }
    }

    fn same_text(&self, a: Codes<'_>, b: Codes<'_>, into: &mut [f64]) {
        let view = self.inputs.names.view();
        let folds = view.folds();
        let fold = |code: u32| folds.get(code as usize).copied().unwrap_or(ABSENT);
        match (a, b) {
            (Codes::Each(a), Codes::All(b)) | (Codes::All(b), Codes::Each(a))
                if view.is_spelled_once(b) =>
            {
                wide(SameCode { a, b, into });
            }
            (Codes::Each(a), Codes::All(b)) | (Codes::All(b), Codes::Each(a)) => {
                let b = fold(b);
                each(into, |row| same(fold(a[row]), b));
            }
            _ => each(into, |row| same(fold(a.at(row)), fold(b.at(row)))),
        }
    }

    fn fetch(&self, rows: Codes<'_>, column: ColumnId, into: &mut [f64]) {
        match self.column(column) {
            Column::Numbers(values) => fetch_at(rows, values, MISSING, into),
            Column::Flags(flags) => each(into, |at| fetched_flag(flags, rows.at(at))),
            Column::Codes(_) => into.fill(MISSING),
        }
    }

    /// Calls a function of numbers row by row where every argument is given.
    fn call(
        &self,
        kernel: fn(&[f64]) -> f64,
        args: &[Num],
        registers: &[Vec<f64>],
        into: &mut [f64],
    ) {
        let mut wides: Vec<Vec<f64>> = vec![Vec::new(); args.len()];
        let args: Vec<Numbers<'_>> = args
            .iter()
            .zip(&mut wides)
            .map(|(arg, wide)| {
                wide.resize(self.chunk.len, 0.0);
                self.number(*arg, registers, wide)
            })
            .collect();
        let mut values = vec![0.0; args.len()];
        each(into, |row| {
            for (value, arg) in values.iter_mut().zip(&args) {
                *value = arg.at(row);
            }
            let given = values.iter().all(|value| !value.is_nan());
            if given {
                stored(kernel(&values))
            } else {
                MISSING
            }
        });
    }

    fn number_of_texts(
        &self,
        kernel: impl Fn(&[&str]) -> f64,
        args: &[Code],
        registers: &[Vec<u32>],
        memo: &mut Vec<u32>,
        into: &mut [f64],
    ) {
        let args: Vec<Codes<'_>> = args.iter().map(|arg| self.code(*arg, registers)).collect();
        let view = self.inputs.names.view();
        let mut last = MISSING;
        memo.clear();
        each(into, |row| {
            if is_new(memo, &args, row) {
                let given = !memo.contains(&ABSENT);
                let texts: Vec<&str> = memo.iter().map(|code| view.text(*code)).collect();
                last = if given { kernel(&texts) } else { MISSING };
            }
            last
        });
    }

    fn text_call(
        &self,
        kernel: &(dyn Fn(&[&str]) -> Option<String> + Send + Sync),
        args: &[Code],
        registers: &[Vec<u32>],
        memo: &mut Vec<u32>,
        into: &mut [u32],
    ) {
        let args: Vec<Codes<'_>> = args.iter().map(|arg| self.code(*arg, registers)).collect();
        let mut last = ABSENT;
        memo.clear();
        each(into, |row| {
            if is_new(memo, &args, row) {
                last = self.text_result(kernel, memo);
            }
            last
        });
    }

    /// The code of a text function's result; the view of the names is closed before one is added.
    fn text_result(
        &self,
        kernel: &(dyn Fn(&[&str]) -> Option<String> + Send + Sync),
        args: &[u32],
    ) -> u32 {
        if args.contains(&ABSENT) {
            return ABSENT;
        }
        let result = {
            let view = self.inputs.names.view();
            let texts: Vec<&str> = args.iter().map(|code| view.text(*code)).collect();
            kernel(&texts)
        };
        result.map_or(ABSENT, |text| self.inputs.names.code(&text))
    }

    /// Moves the result to where it belongs, unless the last step wrote it there.
    fn write_out(&self, out: Out, target: &mut Piece<'_>, scratch: &mut Scratch, written: bool) {
        let Scratch {
            numbers,
            codes,
            wide: [wide, ..],
            ..
        } = scratch;
        match (target, out) {
            (Piece::Numbers(into), Out::Number(num)) => {
                if !written {
                    let value = self.number(num, numbers, wide);
                    each(into, |row| value.at(row));
                }
            }
            (Piece::Flags(into), Out::Number(num)) => {
                let value = self.number(num, numbers, wide);
                match value {
                    Numbers::Each(values) => self::wide(NarrowWork { values, into }),
                    Numbers::All(value) => into.fill(narrow_flag(value)),
                }
            }
            (Piece::Codes(into), Out::Text(code) | Out::Row(code)) => {
                if !written {
                    let code = self.code(code, codes);
                    each(into, |row| code.at(row));
                }
            }
            (Piece::None | Piece::Numbers(_) | Piece::Flags(_) | Piece::Codes(_), _) => {}
        }
    }
}

impl Numbers<'_> {
    #[inline(always)]
    fn at(&self, row: usize) -> f64 {
        match self {
            Self::Each(values) => values[row],
            Self::All(value) => *value,
        }
    }
}

/// Whether the arguments of a row differ from the remembered ones, which then become these.
fn is_new(memo: &mut Vec<u32>, args: &[Codes<'_>], row: usize) -> bool {
    if memo.len() == args.len() && memo.iter().zip(args).all(|(old, arg)| *old == arg.at(row)) {
        return false;
    }
    memo.clear();
    memo.extend(args.iter().map(|arg| arg.at(row)));
    true
}

#[inline(always)]
fn each<T>(into: &mut [T], mut value: impl FnMut(usize) -> T) {
    for (row, slot) in into.iter_mut().enumerate() {
        *slot = value(row);
    }
}

#[inline(always)]
fn flag(holds: bool) -> f64 {
    if holds { 1.0 } else { 0.0 }
}

#[inline(always)]
fn same(a: u32, b: u32) -> f64 {
    if a == ABSENT || b == ABSENT {
        MISSING
    } else {
        flag(a == b)
    }
}

/// A flag as programs compute with it.
#[inline(always)]
pub fn wide_flag(flag: u8) -> f64 {
    if flag == NO_FLAG {
        MISSING
    } else {
        f64::from(flag)
    }
}

/// A flag as it is stored: anything but 0 and 1 is absent.
#[inline(always)]
pub fn narrow_flag(value: f64) -> u8 {
    if value == 1.0 {
        1
    } else if value == 0.0 {
        0
    } else {
        NO_FLAG
    }
}

fn widened<'s>(flags: &[u8], wide: &'s mut [f64]) -> Numbers<'s> {
    let into = &mut wide[..flags.len()];
    self::wide(WidenWork { flags, into });
    Numbers::Each(into)
}

/// Applies a function of two numbers to each row, with a loop of its own for each kind of operand.
#[inline(always)]
fn map2(a: Numbers<'_>, b: Numbers<'_>, into: &mut [f64], f: impl Fn(f64, f64) -> f64) {
    match (a, b) {
        (Numbers::Each(a), Numbers::Each(b)) => {
            for ((slot, a), b) in into.iter_mut().zip(a).zip(b) {
                *slot = f(*a, *b);
            }
        }
        (Numbers::Each(a), Numbers::All(b)) => {
            for (slot, a) in into.iter_mut().zip(a) {
                *slot = f(*a, b);
            }
        }
        (Numbers::All(a), Numbers::Each(b)) => {
            for (slot, b) in into.iter_mut().zip(b) {
                *slot = f(a, *b);
            }
        }
        (Numbers::All(a), Numbers::All(b)) => into.fill(f(a, b)),
    }
}

#[inline(always)]
fn map1(a: Numbers<'_>, into: &mut [f64], f: impl Fn(f64) -> f64) {
    match a {
        Numbers::Each(a) => {
            for (slot, a) in into.iter_mut().zip(a) {
                *slot = f(*a);
            }
        }
        Numbers::All(a) => into.fill(f(a)),
    }
}

/// A comparison: absent when a side is.
#[inline(always)]
fn compared(a: f64, b: f64, holds: bool) -> f64 {
    if a.is_nan() || b.is_nan() {
        MISSING
    } else {
        flag(holds)
    }
}

/// Steps within a billionth of a whole count as whole: a sum of tenths is seldom exact.
const STEP_SLACK: f64 = 1e-9;

/// Work on columns that is compiled once more for wide vectors, where the processor has them.
///
/// The loops are the same, and none of them fuses or reorders operations, so the bits are too.
fn wide<W: WithSimd>(work: W) -> W::Output {
    pulp::Arch::new().dispatch(work)
}

/// Two numbers to one over a column.
struct BinaryWork<'a> {
    op: Binary,
    a: Numbers<'a>,
    b: Numbers<'a>,
    into: &'a mut [f64],
}

impl WithSimd for BinaryWork<'_> {
    type Output = ();

    #[inline(always)]
    fn with_simd<S: pulp::Simd>(self, _: S) {
        binary_loop(self.op, self.a, self.b, self.into);
    }
}

/// One number to one over a column.
struct UnaryWork<'a> {
    op: Unary,
    a: Numbers<'a>,
    into: &'a mut [f64],
}

impl WithSimd for UnaryWork<'_> {
    type Output = ();

    #[inline(always)]
    fn with_simd<S: pulp::Simd>(self, _: S) {
        unary_loop(self.op, self.a, self.into);
    }
}

/// A choice between two numbers over a column.
struct PickWork<'a> {
    choice: Numbers<'a>,
    a: Numbers<'a>,
    b: Numbers<'a>,
    into: &'a mut [f64],
}

impl WithSimd for PickWork<'_> {
    type Output = ();

    #[inline(always)]
    fn with_simd<S: pulp::Simd>(self, _: S) {
        pick_loop(self.choice, self.a, self.b, self.into);
    }
}

/// Flags to numbers.
struct WidenWork<'a> {
    flags: &'a [u8],
    into: &'a mut [f64],
}

impl WithSimd for WidenWork<'_> {
    type Output = ();

    #[inline(always)]
    fn with_simd<S: pulp::Simd>(self, _: S) {
        for (slot, flag) in self.into.iter_mut().zip(self.flags) {
            *slot = wide_flag(*flag);
        }
    }
}

/// Numbers to flags.
struct NarrowWork<'a> {
    values: &'a [f64],
    into: &'a mut [u8],
}

impl WithSimd for NarrowWork<'_> {
    type Output = ();

    #[inline(always)]
    fn with_simd<S: pulp::Simd>(self, _: S) {
        for (slot, value) in self.into.iter_mut().zip(self.values) {
            *slot = narrow_flag(*value);
        }
    }
}

/// Whether each code is one code.
struct SameCode<'a> {
    a: &'a [u32],
    b: u32,
    into: &'a mut [f64],
}

impl WithSimd for SameCode<'_> {
    type Output = ();

    #[inline(always)]
    fn with_simd<S: pulp::Simd>(self, _: S) {
        for (slot, a) in self.into.iter_mut().zip(self.a) {
            *slot = same(*a, self.b);
        }
    }
}

#[inline(always)]
fn binary_loop(op: Binary, a: Numbers<'_>, b: Numbers<'_>, into: &mut [f64]) {
    match op {
        Binary::Add => map2(a, b, into, |a, b| stored(a + b)),
        Binary::Subtract => map2(a, b, into, |a, b| stored(a - b)),
        Binary::Multiply => map2(a, b, into, |a, b| stored(a * b)),
        Binary::Divide => map2(a, b, into, |a, b| stored(a / b)),
        Binary::Power => map2(a, b, into, power),
        Binary::Least => map2(a, b, into, |a, b| if a.is_nan() || a < b { a } else { b }),
        Binary::Most => map2(a, b, into, |a, b| if a.is_nan() || a > b { a } else { b }),
        Binary::Equal => map2(a, b, into, |a, b| compared(a, b, a == b)),
        Binary::Unequal => map2(a, b, into, |a, b| compared(a, b, a != b)),
        Binary::Less => map2(a, b, into, |a, b| compared(a, b, a < b)),
        Binary::LessEqual => map2(a, b, into, |a, b| compared(a, b, a <= b)),
        Binary::And => map2(a, b, into, and),
        Binary::Or => map2(a, b, into, or),
        Binary::FirstGiven => map2(a, b, into, |a, b| if a.is_nan() { b } else { a }),
        Binary::Nearest => map2(a, b, into, |a, b| stored((a / b).round() * b)),
        Binary::NextUp => map2(a, b, into, |a, b| stored((a / b - STEP_SLACK).ceil() * b)),
        Binary::NextDown => map2(a, b, into, |a, b| stored((a / b + STEP_SLACK).floor() * b)),
    }
}

/// A power; `powf` gives 1 for anything to the zeroth, a missing base included, hence the test.
#[inline(always)]
fn power(a: f64, b: f64) -> f64 {
    if a.is_nan() || b.is_nan() {
        MISSING
    } else {
        stored(a.powf(b))
    }
}

#[inline(always)]
fn and(a: f64, b: f64) -> f64 {
    if a == 0.0 || b == 0.0 {
        0.0
    } else if a.is_nan() || b.is_nan() {
        MISSING
    } else {
        1.0
    }
}

#[inline(always)]
fn or(a: f64, b: f64) -> f64 {
    if a == 1.0 || b == 1.0 {
        1.0
    } else if a.is_nan() || b.is_nan() {
        MISSING
    } else {
        0.0
    }
}

#[inline(always)]
fn unary_loop(op: Unary, a: Numbers<'_>, into: &mut [f64]) {
    match op {
        Unary::Negate => map1(a, into, |a| stored(-a)),
        Unary::Not => map1(a, into, |a| stored(1.0 - a)),
        Unary::Abs => map1(a, into, f64::abs),
        Unary::Sqrt => map1(a, into, |a| stored(a.sqrt())),
        Unary::Ln => map1(a, into, |a| stored(a.ln())),
        Unary::Log10 => map1(a, into, |a| stored(a.log10())),
        Unary::Exp => map1(a, into, |a| stored(a.exp())),
        Unary::IsGiven => map1(a, into, |a| flag(!a.is_nan())),
    }
}

#[inline(always)]
fn pick_loop(choice: Numbers<'_>, a: Numbers<'_>, b: Numbers<'_>, into: &mut [f64]) {
    let chosen = |choice: f64, a: f64, b: f64| {
        if choice == 1.0 {
            a
        } else if choice == 0.0 {
            b
        } else {
            MISSING
        }
    };
    match (choice, a, b) {
        (Numbers::Each(choice), Numbers::Each(a), Numbers::Each(b)) => {
            for (((slot, choice), a), b) in into.iter_mut().zip(choice).zip(a).zip(b) {
                *slot = chosen(*choice, *a, *b);
            }
        }
        (Numbers::Each(choice), Numbers::Each(a), Numbers::All(b)) => {
            for ((slot, choice), a) in into.iter_mut().zip(choice).zip(a) {
                *slot = chosen(*choice, *a, b);
            }
        }
        _ => each(into, |row| chosen(choice.at(row), a.at(row), b.at(row))),
    }
}

fn pick_code(choice: Numbers<'_>, a: Codes<'_>, b: Codes<'_>, into: &mut [u32]) {
    let chosen = |choice: f64, a: u32, b: u32| match choice {
        1.0 => a,
        0.0 => b,
        _ => ABSENT,
    };
    match (choice, a, b) {
        (Numbers::Each(choice), Codes::Each(a), Codes::Each(b)) => {
            each(into, |row| chosen(choice[row], a[row], b[row]));
        }
        (Numbers::Each(choice), Codes::All(a), Codes::Each(b)) => {
            each(into, |row| chosen(choice[row], a, b[row]));
        }
        _ => each(into, |row| chosen(choice.at(row), a.at(row), b.at(row))),
    }
}

/// The values at rows of another sheet; absent at a row it does not have.
fn fetch_at<T: Value>(rows: Codes<'_>, values: &Values<T>, absent: T, into: &mut [T]) {
    match (rows, values) {
        (Codes::Each(rows), Values::Each(values)) => wide(FetchWork {
            rows,
            values,
            absent,
            into,
        }),
        (Codes::All(row), _) => into.fill(values.get(row as usize).copied().unwrap_or(absent)),
        (Codes::This(_), _) | (Codes::Each(_), Values::Same { .. }) => each(into, |at| {
            values.get(rows.at(at) as usize).copied().unwrap_or(absent)
        }),
    }
}

/// The flag of another sheet's column at a row.
#[inline(always)]
pub fn fetched_flag(flags: &Values<u8>, row: u32) -> f64 {
    wide_flag(flags.get(row as usize).copied().unwrap_or(NO_FLAG))
}

/// Values of another sheet at each row.
struct FetchWork<'a, T> {
    rows: &'a [u32],
    values: &'a [T],
    absent: T,
    into: &'a mut [T],
}

impl<T: Copy> WithSimd for FetchWork<'_, T> {
    type Output = ();

    #[inline(always)]
    fn with_simd<S: pulp::Simd>(self, _: S) {
        let Some(last) = self.values.len().checked_sub(1) else {
            self.into.fill(self.absent);
            return;
        };
        // Always reading, then choosing, spares a branch that the processor often guesses wrong.
        for (slot, row) in self.into.iter_mut().zip(self.rows) {
            let row = *row as usize;
            let value = self.values[row.min(last)];
            *slot = if row <= last { value } else { self.absent };
        }
    }
}

/// Lends this thread's scratch registers.
pub fn with_scratch<T>(work: impl FnOnce(&mut Scratch) -> T) -> T {
    thread_local! {
        static SCRATCH: std::cell::RefCell<Scratch> = std::cell::RefCell::default();
    }
    SCRATCH.with_borrow_mut(work)
}
