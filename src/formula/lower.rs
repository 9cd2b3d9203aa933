//! A checked formula as flat programs.
//!
//! Units and names have vanished by now. A step that has been made is used again where an equal
//! one is needed, and each part is lowered once however often a function's text names it.

use super::program::{
    Aggregate, Binary, Code, Gather, Lookup, Num, Out, Program, Register, Step, Unary,
};
use super::typed::{Form, Gathered, Node, Typed};
use super::{Infix, Scope, Ty};
use crate::table::{ABSENT, ColumnId, MISSING, SheetId};
use rustc_hash::FxHashMap;

/// The programs of one formula.
pub struct Lowered {
    /// What the engine runs for each row.
    pub program: Program,
    /// The aggregates the program reads.
    pub aggregates: Vec<Aggregate>,
    /// The searches the program makes.
    pub lookups: Vec<Lookup>,
}

/// Lowers a checked formula.
pub fn lower(tree: &Typed, scope: &dyn Scope) -> Lowered {
    let mut shared = Shared {
        scope,
        aggregates: Vec::new(),
        lookups: Vec::new(),
    };
    let mut lower = Lower::new(&mut shared);
    let out = match tree.ty {
        Ty::Number(_) | Ty::Flag => Out::Number(lower.number(tree)),
        Ty::Text => Out::Text(lower.text(tree)),
        Ty::Row(_) => Out::Row(lower.row(tree)),
    };
    let program = lower.finish(out);
    Lowered {
        program,
        aggregates: shared.aggregates,
        lookups: shared.lookups,
    }
}

/// What the programs of one formula have in common.
struct Shared<'t> {
    scope: &'t dyn Scope,
    aggregates: Vec<Aggregate>,
    lookups: Vec<Lookup>,
}

/// The arguments of a function whose text is being lowered.
#[derive(Clone, Copy)]
struct Frame<'t> {
    /// A number of its own, so that one text used twice is not taken for the same part.
    number: u32,
    args: &'t [Typed],
}

/// A value of either kind.
#[derive(Clone, Copy)]
enum Value {
    Number(Num),
    Code(Code),
}

/// What is wanted of a part.
#[derive(Clone, Copy, PartialEq, Eq, Hash)]
enum Want {
    Number,
    Row,
    Text,
}

/// A part by its place in memory, the frame it stands in, and what is wanted of it.
type Seen = (usize, u32, Want);

/// Makes one program.
struct Lower<'t, 's> {
    shared: &'s mut Shared<'t>,
    steps: Vec<Step>,
    /// Every step with register 0 for its result, and the register it has.
    made: Vec<(Step, Register)>,
    n_numbers: u16,
    n_codes: u16,
    frames: Vec<Frame<'t>>,
    n_frames: u32,
    seen: FxHashMap<Seen, Value>,
}

impl<'t, 's> Lower<'t, 's> {
    fn new(shared: &'s mut Shared<'t>) -> Self {
        Self {
            shared,
            steps: Vec::new(),
            made: Vec::new(),
            n_numbers: 0,
            n_codes: 0,
            frames: Vec::new(),
            n_frames: 0,
            seen: FxHashMap::default(),
        }
    }

    fn finish(self, out: Out) -> Program {
        Program {
            steps: self.steps,
            n_numbers: self.n_numbers,
            n_codes: self.n_codes,
            out,
        }
    }

    fn number(&mut self, part: &'t Typed) -> Num {
        match self.once(part, Want::Number) {
            Value::Number(number) => number,
            Value::Code(_) => Num::Constant(MISSING),
        }
    }

    fn row(&mut self, part: &'t Typed) -> Code {
        self.code(part, Want::Row)
    }

    fn text(&mut self, part: &'t Typed) -> Code {
        self.code(part, Want::Text)
    }

    fn code(&mut self, part: &'t Typed, want: Want) -> Code {
        match self.once(part, want) {
            Value::Code(code) => code,
            Value::Number(_) => Code::Constant(ABSENT),
        }
    }

    /// A part lowered, or what it was lowered to before.
    fn once(&mut self, part: &'t Typed, want: Want) -> Value {
        let frame = self.frames.last().map_or(0, |frame| frame.number);
        let key = (std::ptr::from_ref(part).addr(), frame, want);
        if let Some(value) = self.seen.get(&key) {
            return *value;
        }
        let value = match want {
            Want::Number => Value::Number(self.make_number(part)),
            Want::Row => Value::Code(self.make_row(part)),
            Want::Text => Value::Code(self.make_text(part)),
        };
        self.seen.insert(key, value);
        value
    }

    /// Does something where an argument of the innermost function stands: outside of it.
    fn in_argument<T>(
        &mut self,
        at: usize,
        then: impl FnOnce(&mut Self, &'t Typed) -> T,
    ) -> Option<T> {
        let frame = self.frames.pop()?;
        let done = frame.args.get(at).map(|arg| then(self, arg));
        self.frames.push(frame);
        done
    }

    /// Does something inside the text of a function.
    fn in_body<T>(&mut self, args: &'t [Typed], then: impl FnOnce(&mut Self) -> T) -> T {
        self.n_frames += 1;
        let number = self.n_frames;
        self.frames.push(Frame { number, args });
        let done = then(self);
        self.frames.pop();
        done
    }

    fn make_number(&mut self, part: &'t Typed) -> Num {
        match &part.node {
            Node::Number(value) => Num::Constant(*value),
            Node::Flag(flag) => Num::Constant(f64::from(u8::from(*flag))),
            Node::Column { id, .. } => Num::Column(*id),
            Node::Fetch { row, column, .. } => {
                let (row, column) = (self.row(row), *column);
                self.step(|to| Step::Fetch { to, row, column })
            }
            Node::Assumption(id) => Num::Assumption(*id),
            Node::Parameter(at) => self
                .in_argument(*at, Self::number)
                .unwrap_or(Num::Constant(MISSING)),
            Node::Negate(x) => {
                let a = self.number(x);
                self.unary(Unary::Negate, a)
            }
            Node::Not(x) => {
                let a = self.number(x);
                self.unary(Unary::Not, a)
            }
            Node::Infix { op, a, b } => self.infix(*op, a, b),
            Node::Call { form, args, .. } => self.call(form, args),
            Node::Aggregate(gathered) => self.aggregate(gathered),
            // The checker lets no text and no row stand for a number.
            Node::Missing
            | Node::Text(_)
            | Node::Row(_)
            | Node::This
            | Node::TextOf(_)
            | Node::RowOf { .. } => Num::Constant(MISSING),
        }
    }

    fn infix(&mut self, op: Infix, a: &'t Typed, b: &'t Typed) -> Num {
        let binary = match op {
            Infix::Add => Binary::Add,
            Infix::Subtract => Binary::Subtract,
            Infix::Multiply => Binary::Multiply,
            Infix::Divide => Binary::Divide,
            Infix::Power => Binary::Power,
            Infix::And => Binary::And,
            Infix::Or => Binary::Or,
            Infix::Equal => return self.equal(a, b),
            Infix::Unequal => return self.unequal(a, b),
            Infix::Less | Infix::Greater => Binary::Less,
            Infix::LessEqual | Infix::GreaterEqual => Binary::LessEqual,
        };
        let (left, right) = (self.number(a), self.number(b));
        match op {
            Infix::Greater | Infix::GreaterEqual => self.binary(binary, right, left),
            _ => self.binary(binary, left, right),
        }
    }

    fn equal(&mut self, a: &'t Typed, b: &'t Typed) -> Num {
        if is_code(a.ty) {
            return self.same(a, b);
        }
        let (a, b) = (self.number(a), self.number(b));
        self.binary(Binary::Equal, a, b)
    }

    fn unequal(&mut self, a: &'t Typed, b: &'t Typed) -> Num {
        if is_code(a.ty) {
            let same = self.same(a, b);
            return self.unary(Unary::Not, same);
        }
        let (a, b) = (self.number(a), self.number(b));
        self.binary(Binary::Unequal, a, b)
    }

    /// Whether two texts or rows are the same: by row number where one is the row itself or
    /// neither has a text of its own, else by text, so that a text that names no row counts.
    fn same(&mut self, a: &'t Typed, b: &'t Typed) -> Num {
        let rows = matches!((a.ty, b.ty), (Ty::Row(_), Ty::Row(_)));
        let this = matches!(a.node, Node::This) || matches!(b.node, Node::This);
        if rows && (this || !self.has_text(a) && !self.has_text(b)) {
            let (a, b) = (self.row(a), self.row(b));
            return self.step(|to| Step::SameRow { to, a, b });
        }
        let (a, b) = (self.text(a), self.text(b));
        self.step(|to| Step::SameText { to, a, b })
    }

    /// Whether a row comes from an entered column, and so has a text even where it names no row.
    fn has_text(&mut self, part: &'t Typed) -> bool {
        match &part.node {
            Node::Column { entered, .. } | Node::Fetch { entered, .. } => *entered,
            Node::Parameter(at) => self.in_argument(*at, Self::has_text).unwrap_or(false),
            Node::Call { form, args, .. } => match form {
                Form::Pick => args[1..].iter().any(|arg| self.has_text(arg)),
                Form::FirstGiven => args.iter().any(|arg| self.has_text(arg)),
                Form::Inline { body, .. } => self.in_body(args, |lower| lower.has_text(body)),
                Form::Unary(_)
                | Form::Fold(_)
                | Form::IsGiven
                | Form::OneOf
                | Form::Numbers(_)
                | Form::Texts(_) => false,
            },
            Node::Number(_)
            | Node::Text(_)
            | Node::Flag(_)
            | Node::Missing
            | Node::Row(_)
            | Node::This
            | Node::Assumption(_)
            | Node::TextOf(_)
            | Node::Negate(_)
            | Node::Not(_)
            | Node::Infix { .. }
            | Node::Aggregate(_)
            | Node::RowOf { .. } => false,
        }
    }

    fn call(&mut self, form: &'t Form, args: &'t [Typed]) -> Num {
        match form {
            Form::Unary(op) => {
                let a = self.number(&args[0]);
                self.unary(*op, a)
            }
            Form::Fold(op) => self.fold(*op, args),
            Form::Pick => {
                let flag = self.number(&args[0]);
                let (a, b) = (self.number(&args[1]), self.number(&args[2]));
                self.pick(flag, a, b)
            }
            Form::FirstGiven => self.fold(Binary::FirstGiven, args),
            Form::IsGiven => self.given(&args[0]),
            Form::OneOf => {
                let same = args[1..].iter().map(|other| self.equal(&args[0], other));
                let same: Vec<Num> = same.collect();
                self.joined(Binary::Or, &same)
            }
            Form::Numbers(kernel) => {
                let args: Vec<Num> = args.iter().map(|arg| self.number(arg)).collect();
                self.kernel(*kernel, args)
            }
            Form::Texts(kernel) => {
                let args = args.iter().map(|arg| self.text(arg)).collect();
                let kernel = kernel.clone();
                self.step(|to| Step::CallText { to, kernel, args })
            }
            Form::Inline { body, .. } => self.in_body(args, |lower| lower.number(body)),
        }
    }

    fn fold(&mut self, op: Binary, args: &'t [Typed]) -> Num {
        let args: Vec<Num> = args.iter().map(|arg| self.number(arg)).collect();
        self.joined(op, &args)
    }

    fn joined(&mut self, op: Binary, values: &[Num]) -> Num {
        let joined = values.iter().copied().reduce(|a, b| self.binary(op, a, b));
        joined.unwrap_or(Num::Constant(MISSING))
    }

    /// Whether a part is given; a row that comes from an entered column is, by its text.
    fn given(&mut self, part: &'t Typed) -> Num {
        if !is_code(part.ty) {
            let a = self.number(part);
            return self.unary(Unary::IsGiven, a);
        }
        let by_text = part.ty == Ty::Text || self.has_text(part);
        let a = if by_text {
            self.text(part)
        } else {
            self.row(part)
        };
        match a {
            Code::Constant(ABSENT) => Num::Constant(0.0),
            Code::Constant(_) | Code::This => Num::Constant(1.0),
            Code::Register(_) | Code::Text(_) | Code::Row(_) | Code::Assumption(_) => {
                self.step(|to| Step::CodeGiven { to, a })
            }
        }
    }

    fn make_row(&mut self, part: &'t Typed) -> Code {
        match &part.node {
            Node::Row(row) => Code::Constant(*row),
            Node::This => Code::This,
            Node::Column { id, .. } => Code::Row(*id),
            Node::Fetch { row, column, .. } => {
                let (row, column) = (self.row(row), *column);
                self.code_step(|to| Step::FetchRow { to, row, column })
            }
            Node::Parameter(at) => self
                .in_argument(*at, Self::row)
                .unwrap_or(Code::Constant(ABSENT)),
            Node::Call { form, args, .. } => self.code_call(form, args, Want::Row),
            Node::RowOf { sheet, keys } => self.find(*sheet, keys),
            // The checker lets nothing else stand for a row.
            Node::Number(_)
            | Node::Text(_)
            | Node::Flag(_)
            | Node::Missing
            | Node::Assumption(_)
            | Node::TextOf(_)
            | Node::Negate(_)
            | Node::Not(_)
            | Node::Infix { .. }
            | Node::Aggregate(_) => Code::Constant(ABSENT),
        }
    }

    fn make_text(&mut self, part: &'t Typed) -> Code {
        let named = matches!(part.ty, Ty::Row(_));
        match &part.node {
            Node::Text(text) => Code::Constant(self.shared.scope.names().code(text)),
            Node::Column { id, entered } if *entered || !named => Code::Text(*id),
            Node::Fetch {
                row,
                column,
                entered,
            } if *entered || !named => {
                let (row, column) = (self.row(row), *column);
                self.code_step(|to| Step::FetchText { to, row, column })
            }
            Node::Assumption(id) => Code::Assumption(*id),
            Node::TextOf(x) => self.text(x),
            Node::Parameter(at) => self
                .in_argument(*at, Self::text)
                .unwrap_or(Code::Constant(ABSENT)),
            Node::Call { form, args, .. } => self.code_call(form, args, Want::Text),
            Node::Row(_)
            | Node::This
            | Node::Column { .. }
            | Node::Fetch { .. }
            | Node::RowOf { .. } => self.id_of(part),
            // The checker lets nothing else stand for a text.
            Node::Number(_)
            | Node::Flag(_)
            | Node::Missing
            | Node::Negate(_)
            | Node::Not(_)
            | Node::Infix { .. }
            | Node::Aggregate(_) => Code::Constant(ABSENT),
        }
    }

    /// The id of a row that has no text of its own.
    fn id_of(&mut self, part: &'t Typed) -> Code {
        let Ty::Row(sheet) = part.ty else {
            return Code::Constant(ABSENT);
        };
        let column = self.shared.scope.id_column(sheet);
        match self.row(part) {
            Code::This => Code::Text(column),
            row => self.code_step(|to| Step::FetchText { to, row, column }),
        }
    }

    fn code_call(&mut self, form: &'t Form, args: &'t [Typed], want: Want) -> Code {
        match form {
            Form::Pick => {
                let flag = self.number(&args[0]);
                let (a, b) = (self.code(&args[1], want), self.code(&args[2], want));
                self.pick_code(flag, a, b)
            }
            Form::FirstGiven => self.first_code(args, want),
            Form::Texts(kernel) => {
                let args = args.iter().map(|arg| self.text(arg)).collect();
                let kernel = kernel.clone();
                self.code_step(|to| Step::CallText { to, kernel, args })
            }
            Form::Inline { body, .. } => self.in_body(args, |lower| lower.code(body, want)),
            // These give numbers.
            Form::Unary(_) | Form::Fold(_) | Form::IsGiven | Form::OneOf | Form::Numbers(_) => {
                Code::Constant(ABSENT)
            }
        }
    }

    fn first_code(&mut self, args: &'t [Typed], want: Want) -> Code {
        let Some((last, before)) = args.split_last() else {
            return Code::Constant(ABSENT);
        };
        let mut out = self.code(last, want);
        for arg in before.iter().rev() {
            let (flag, a) = (self.given(arg), self.code(arg, want));
            out = self.pick_code(flag, a, out);
        }
        out
    }

    fn find(&mut self, sheet: SheetId, keys: &'t [(ColumnId, Typed)]) -> Code {
        let columns = keys.iter().map(|(column, row)| match row.ty {
            Ty::Row(to) => (*column, to),
            Ty::Number(_) | Ty::Text | Ty::Flag => (*column, sheet),
        });
        let lookup = Lookup {
            sheet,
            keys: columns.collect(),
        };
        let lookup = position(&mut self.shared.lookups, lookup);
        let keys = keys.iter().map(|(_, row)| self.row(row)).collect();
        self.code_step(|to| Step::Find { to, lookup, keys })
    }

    fn aggregate(&mut self, gathered: &'t Gathered) -> Num {
        let value = self.value_program(gathered);
        let aggregate = Aggregate {
            gather: gathered.gather,
            over: gathered.over,
            value,
            key: gathered.key.as_ref().map(|(column, _)| *column),
        };
        let aggregate = position(&mut self.shared.aggregates, aggregate);
        match &gathered.key {
            None => Num::Whole(aggregate),
            Some((_, row)) if matches!(row.node, Node::This) => Num::Group(aggregate),
            Some((_, row)) => {
                let row = self.row(row);
                self.step(|to| Step::FetchGroup { to, row, aggregate })
            }
        }
    }

    /// One value for each row of the sheet gone through, infinite where the row does not count.
    fn value_program(&mut self, gathered: &'t Gathered) -> Program {
        let mut lower = Lower::new(self.shared);
        let value = match (&gathered.value, gathered.gather) {
            (Some(value), _) => lower.number(value),
            (None, Gather::Tally) => Num::Constant(1.0),
            (None, Gather::Total | Gather::Largest | Gather::Smallest | Gather::Mean) => {
                Num::Constant(MISSING)
            }
        };
        let conditions = gathered.conditions.iter().map(|part| lower.number(part));
        let conditions: Vec<Num> = conditions.collect();
        if conditions.is_empty() {
            return lower.finish(Out::Number(value));
        }
        let counts = lower.joined(Binary::And, &conditions);
        let counts = lower.binary(Binary::FirstGiven, counts, Num::Constant(0.0));
        let value = lower.pick(counts, value, Num::Constant(f64::INFINITY));
        lower.finish(Out::Number(value))
    }
}

/// Steps, with what can be said before any row is seen.
impl Lower<'_, '_> {
    fn binary(&mut self, op: Binary, a: Num, b: Num) -> Num {
        if let (Num::Constant(x), Num::Constant(y)) = (a, b)
            && let Some(value) = constant(op, x, y)
        {
            return Num::Constant(value);
        }
        self.step(|to| Step::Binary { op, to, a, b })
    }

    fn unary(&mut self, op: Unary, a: Num) -> Num {
        if let Num::Constant(x) = a
            && let Some(value) = constant_of_one(op, x)
        {
            return Num::Constant(value);
        }
        self.step(|to| Step::Unary { op, to, a })
    }

    fn pick(&mut self, flag: Num, a: Num, b: Num) -> Num {
        match flag {
            Num::Constant(1.0) => a,
            Num::Constant(0.0) => b,
            _ => self.step(|to| Step::Pick { to, flag, a, b }),
        }
    }

    fn pick_code(&mut self, flag: Num, a: Code, b: Code) -> Code {
        match flag {
            Num::Constant(1.0) => a,
            Num::Constant(0.0) => b,
            _ => self.code_step(|to| Step::PickCode { to, flag, a, b }),
        }
    }

    fn kernel(&mut self, kernel: super::program::NumberKernel, args: Vec<Num>) -> Num {
        let known: Option<Vec<f64>> = args.iter().map(|arg| constant_given(*arg)).collect();
        let value = known.map(|args| kernel(&args));
        match value.filter(|value| value.is_finite()) {
            Some(value) => Num::Constant(value),
            None => self.step(|to| Step::Call { to, kernel, args }),
        }
    }

    /// The register of a step that gives a number, made now or before.
    fn step(&mut self, make: impl FnOnce(Register) -> Step) -> Num {
        let (register, is_new) = self.register(make, self.n_numbers);
        self.n_numbers += u16::from(is_new);
        Num::Register(register)
    }

    /// The register of a step that gives a code, made now or before.
    fn code_step(&mut self, make: impl FnOnce(Register) -> Step) -> Code {
        let (register, is_new) = self.register(make, self.n_codes);
        self.n_codes += u16::from(is_new);
        Code::Register(register)
    }

    fn register(
        &mut self,
        make: impl FnOnce(Register) -> Step,
        next: Register,
    ) -> (Register, bool) {
        let step = make(0);
        if let Some((_, register)) = self.made.iter().find(|(known, _)| *known == step) {
            return (*register, false);
        }
        self.made.push((step.clone(), next));
        self.steps.push(with_result(step, next));
        (next, true)
    }
}

/// The step with its result in a register.
fn with_result(mut step: Step, register: Register) -> Step {
    match &mut step {
        Step::Binary { to, .. }
        | Step::Unary { to, .. }
        | Step::Pick { to, .. }
        | Step::PickCode { to, .. }
        | Step::CodeGiven { to, .. }
        | Step::SameText { to, .. }
        | Step::SameRow { to, .. }
        | Step::Fetch { to, .. }
        | Step::FetchText { to, .. }
        | Step::FetchRow { to, .. }
        | Step::FetchGroup { to, .. }
        | Step::Find { to, .. }
        | Step::Call { to, .. }
        | Step::CallText { to, .. } => *to = register,
    }
    step
}

fn is_code(ty: Ty) -> bool {
    match ty {
        Ty::Text | Ty::Row(_) => true,
        Ty::Number(_) | Ty::Flag => false,
    }
}

/// The position of an item in a list, added when it is not there.
fn position<T: PartialEq>(list: &mut Vec<T>, item: T) -> usize {
    match list.iter().position(|known| *known == item) {
        Some(at) => at,
        None => {
            list.push(item);
            list.len() - 1
        }
    }
}

fn constant_given(number: Num) -> Option<f64> {
    match number {
        Num::Constant(value) if !value.is_nan() => Some(value),
        Num::Constant(_)
        | Num::Register(_)
        | Num::Column(_)
        | Num::Assumption(_)
        | Num::Group(_)
        | Num::Whole(_) => None,
    }
}

/// The result of a step of two constants; comparing and rounding are left to the engine, which
/// has the tolerances, and so is a result that is no number, for it to say so.
fn constant(op: Binary, a: f64, b: f64) -> Option<f64> {
    let value = match op {
        Binary::Add => a + b,
        Binary::Subtract => a - b,
        Binary::Multiply => a * b,
        Binary::Divide => a / b,
        Binary::Power => a.powf(b),
        Binary::Least => a.min(b),
        Binary::Most => a.max(b),
        Binary::FirstGiven if a.is_nan() => b,
        Binary::FirstGiven => a,
        Binary::Equal
        | Binary::Unequal
        | Binary::Less
        | Binary::LessEqual
        | Binary::And
        | Binary::Or
        | Binary::Nearest
        | Binary::NextUp
        | Binary::NextDown => return None,
    };
    let given = op == Binary::FirstGiven || !a.is_nan() && !b.is_nan();
    (given && value.is_finite()).then_some(value)
}

/// The result of a step of one constant.
fn constant_of_one(op: Unary, a: f64) -> Option<f64> {
    let value = match op {
        Unary::Negate => -a,
        Unary::Not => 1.0 - a,
        Unary::Abs => a.abs(),
        Unary::Sqrt => a.sqrt(),
        Unary::Ln => a.ln(),
        Unary::Log10 => a.log10(),
        Unary::Exp => a.exp(),
        Unary::IsGiven => f64::from(u8::from(!a.is_nan())),
    };
    value.is_finite().then_some(value)
}
