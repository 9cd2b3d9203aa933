//! One or two entered values over a range: what becomes of some columns, and where they turn.
//!
//! Every step is tried on a copy of the plan. Where a word or a flag differs between two steps the
//! exact place is found by halving: the last value on one side and the first on the other.

use super::Look;
use super::Trial;
use super::look::number_of;
use crate::engine::Engine;
use crate::formula::Formula;
use crate::formula::Ty;
use crate::plan::Edit;
use crate::plan::Entry;
use crate::plan::Plan;
use crate::problem::Problem;
use crate::sheet::ColumnKind;
use crate::table::{Cell, ColumnId, ParamId, RowId, SheetId};
use crate::trade::Finding;
use crate::units::Unit;
use crate::units::Units;
use crate::units::read;
use crate::units::significant;
use crate::units::split_quantity;

/// So many points are tried at most.
pub const MOST_POINTS: usize = 200_000;

/// Steps where a range does not say how many.
pub const USUAL_STEPS: usize = 40;

/// So many turns are told at most.
const MOST_TURNS: usize = 200;

/// Two sides of a turn are so far apart, in the unit that is shown, where values are not counts.
const FINE: f64 = 1e-6;

/// The greatest number up to which that step can be told apart.
const FINE_UP_TO: f64 = 1e9;

/// What is turned: an entered number.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Knob {
    /// A cell, by sheet, row and position of the column.
    Cell(SheetId, RowId, usize),
    /// An assumption.
    Assumption(ParamId),
}

/// A knob and its range.
#[derive(Debug, Clone, PartialEq)]
pub struct Axis {
    /// What is turned.
    pub knob: Knob,
    /// What it is called, such as `length of P105`.
    pub name: String,
    /// The unit it is shown in.
    pub unit: Unit,
    /// Where it begins, in that unit.
    pub from: f64,
    /// Where it ends, in that unit.
    pub to: f64,
    /// How many steps lead from one to the other.
    pub n_steps: usize,
}

/// What is looked at in each step.
#[derive(Debug, Clone)]
pub struct Watch {
    /// What it is called: the name of a column, or the formula.
    pub name: String,
    /// The unit it is shown in.
    pub unit: Unit,
    /// How many decimals a person sees.
    pub decimals: Option<u8>,
    source: Source,
}

#[derive(Debug, Clone)]
enum Source {
    Column(ColumnId, RowId),
    Formula(Box<Formula>, Option<(SheetId, RowId)>),
}

/// A place where a word or a flag turns.
#[derive(Debug, Clone, PartialEq)]
pub struct Turn {
    /// Which of the watches turns.
    pub watch: usize,
    /// The value of the second axis, where there is one, in its unit.
    pub second: Option<f64>,
    /// The last value of the first axis before the turn, in its unit.
    pub last: f64,
    /// What it is there.
    pub before: Cell,
    /// The first value after it.
    pub first: f64,
    /// What it is from there on.
    pub after: Cell,
    /// What the checks find of the row after the turn and not before.
    pub came: Vec<Finding>,
    /// What they find before the turn and not after.
    pub went: Vec<Finding>,
}

/// A sweep: points, values and turns.
#[derive(Debug, Clone)]
pub struct Swept {
    /// One or two axes; the first runs fastest.
    pub axes: Vec<Axis>,
    /// What was looked at.
    pub watches: Vec<Watch>,
    /// The values of the axes at each point, in their units.
    pub points: Vec<Vec<f64>>,
    /// The values of the watches at each point.
    pub values: Vec<Vec<Cell>>,
    /// Where words and flags turn along the first axis, in its order.
    pub turns: Vec<Turn>,
}

impl Axis {
    /// An axis from words such as `10 m to 400 m in 40`; units may be left out.
    ///
    /// # Errors
    /// A knob that is no entered number, or a range that cannot be read.
    pub fn new(plan: &Plan, knob: Knob, range: &str) -> Result<Self, Problem> {
        let (name, unit) = knob_name(plan, knob)?;
        let (from, to, n_steps) = read_range(range, &unit)?;
        Ok(Self {
            knob,
            name,
            unit,
            from,
            to,
            n_steps,
        })
    }

    /// The value at a step, in its unit.
    fn at(&self, step: usize) -> f64 {
        match step == self.n_steps {
            true => self.to,
            false => {
                let value = self.from + (self.to - self.from) * step as f64 / self.n_steps as f64;
                // What a person would write, not the noise of binary fractions.
                significant(value, 12).parse().unwrap_or(value)
            }
        }
    }

    /// Whether it counts things: whole numbers without a unit.
    fn is_count(&self) -> bool {
        let step = (self.to - self.from) / self.n_steps as f64;
        let whole = |value: f64| value.fract() == 0.0;
        self.unit.symbol.is_empty() && whole(self.from) && whole(self.to) && whole(step)
    }

    /// How far the two sides of a turn are apart.
    fn fine(&self) -> f64 {
        if self.is_count() {
            return 1.0;
        }
        let most = self.from.abs().max(self.to.abs());
        let mut fine = FINE;
        let mut up_to = FINE_UP_TO;
        while most > up_to && up_to < f64::MAX / 10.0 {
            fine *= 10.0;
            up_to *= 10.0;
        }
        fine
    }
}

/// What a knob is called, and the unit of its values.
fn knob_name(plan: &Plan, knob: Knob) -> Result<(String, Unit), Problem> {
    match knob {
        Knob::Cell(sheet, row, column) => {
            let def = plan.column(sheet, column);
            if !def.entered() || def.kind != ColumnKind::Number {
                let message = format!("`{}` is no entered number", def.name);
                return Err(Problem::new("not-a-knob", message)
                    .help("sweep what a person enters as a number, such as length"));
            }
            let name = format!("{} of {}", def.name, plan.id(sheet, row));
            Ok((name, Units::builtin().unit(&def.unit)?))
        }
        Knob::Assumption(param) => {
            let known = plan.assumptions().get(param.at());
            let known = known
                .ok_or_else(|| Problem::new("no-such-assumption", "there is no such assumption"))?;
            if known.def.text {
                let message = format!("`{}` is no number", known.def.name);
                return Err(Problem::new("not-a-knob", message)
                    .help("sweep an assumption that is a number, such as reserve"));
            }
            Ok((format!("assume {}", known.def.name), known.unit.clone()))
        }
    }
}

/// Reads a range such as `10 m to 400 m in 40`: its ends in the unit, and how many steps.
///
/// # Errors
/// A range without two ends, with ends that are the same, or with no step.
pub fn read_range(text: &str, unit: &Unit) -> Result<(f64, f64, usize), Problem> {
    let help = format!("write it as: 10 {0} to 400 {0} in 40", unit.symbol).replace("  ", " ");
    let wrong = |code, message: String| Problem::new(code, message).help(help.clone());
    let words: Vec<&str> = text.split_whitespace().collect();
    let text = words.join(" ");
    let Some((from, rest)) = text.split_once(" to ") else {
        return Err(wrong("no-range", format!("`{text}` is no range")));
    };
    let (to, steps) = match rest.rsplit_once(" in ") {
        Some((to, steps)) => (to, Some(steps)),
        None => (rest, None),
    };
    // `10 to 400 ft` means feet at both ends.
    let from = match (split_quantity(from), split_quantity(to)) {
        (Some((_, "")), Some((_, symbol))) => format!("{from} {symbol}"),
        (Some(_) | None, _) => from.to_owned(),
    };
    let [from, to] = [read(&from, unit)?, read(to, unit)?].map(|base| {
        let value = unit.from_base(base);
        significant(value, 12).parse().unwrap_or(value)
    });
    let way = to - from;
    if way == 0.0 || !way.is_finite() {
        return Err(wrong("no-range", "the range has no length".to_owned()));
    }
    let whole = unit.symbol.is_empty() && from.fract() == 0.0 && to.fract() == 0.0;
    let usual = match whole && way.abs() <= USUAL_STEPS as f64 {
        true => way.abs() as usize,
        false => USUAL_STEPS,
    };
    let n_steps = match steps.map(str::trim) {
        None => usual,
        Some(steps) => steps
            .parse()
            .ok()
            .filter(|n| (1..MOST_POINTS).contains(n))
            .ok_or_else(|| {
                let message = format!("`{steps}` is no number of steps from 1 to {MOST_POINTS}");
                wrong("no-steps", message)
            })?,
    };
    Ok((from, to, n_steps))
}

impl Watch {
    /// A column of a row, or any formula about it; without a row, a formula about the plan.
    ///
    /// # Errors
    /// Every problem of the formula.
    pub fn new(
        plan: &Plan,
        engine: &Engine,
        text: &str,
        at: Option<(SheetId, RowId)>,
    ) -> Result<Self, Vec<Problem>> {
        let text = text.trim();
        let known = at.and_then(|(sheet, row)| Some((engine.find_column(sheet, text)?, row)));
        if let Some((column, row)) = known {
            return Ok(Self {
                name: text.to_owned(),
                unit: engine.unit(column).clone(),
                decimals: engine.def(column).and_then(|def| def.decimals),
                source: Source::Column(column, row),
            });
        }
        let formula = engine.compile(plan, text, at.map(|(sheet, _)| sheet))?;
        let unit = match (&formula.unit_hint, formula.ty) {
            (Some(unit), _) => unit.clone(),
            (None, Ty::Number(measure)) => Units::builtin().default_for(measure),
            (None, Ty::Flag | Ty::Text | Ty::Row(_)) => Unit::none(),
        };
        Ok(Self {
            name: text.to_owned(),
            unit,
            decimals: None,
            source: Source::Formula(Box::new(formula), at),
        })
    }

    fn look(&self, trial: &Trial) -> Cell {
        match &self.source {
            Source::Column(column, row) => trial.engine().cell(trial.plan(), *column, *row),
            Source::Formula(formula, at) => {
                trial
                    .engine()
                    .evaluate_part(trial.plan(), &formula.tree, *at)
            }
        }
    }

    /// The row that it looks at.
    fn row(&self, engine: &Engine) -> Option<(SheetId, RowId)> {
        match &self.source {
            Source::Column(column, row) => Some((engine.graph().nodes[column.at()].sheet, *row)),
            Source::Formula(_, at) => *at,
        }
    }

    /// A value of it as a person reads it.
    pub fn said(&self, cell: &Cell) -> String {
        match cell {
            Cell::Number(value) => crate::units::shown(*value, &self.unit, self.decimals),
            Cell::Text(text) => text.clone(),
            Cell::Flag(flag) => if *flag { "yes" } else { "no" }.to_owned(),
            Cell::Missing => "unknown".to_owned(),
            Cell::Failed => "no number".to_owned(),
        }
    }

    /// A value of it in its unit.
    pub fn number(&self, cell: &Cell) -> Option<f64> {
        number_of(cell).map(|value| self.unit.from_base(value))
    }
}

/// What is swept.
#[derive(Debug, Clone)]
pub struct Asked {
    /// One or two axes.
    pub axes: Vec<Axis>,
    /// What is looked at.
    pub watches: Vec<Watch>,
    /// Changes that hold for every point, such as one more connection.
    pub with: Vec<Edit>,
}

/// Sweeps a copy of a plan.
///
/// # Errors
/// No axis or more than two, too many points, or a cell that cannot be written.
pub fn sweep(plan: &Plan, engine: &Engine, asked: Asked) -> Result<Swept, Problem> {
    let n_points = asked
        .axes
        .iter()
        .try_fold(1_usize, |n, axis| n.checked_mul(axis.n_steps + 1));
    let n_points = n_points.filter(|n| *n <= MOST_POINTS).ok_or_else(|| {
        Problem::new(
            "too-many-points",
            format!("a sweep has at most {MOST_POINTS} points"),
        )
        .help("take fewer steps")
    })?;
    let (first, second) = match &asked.axes[..] {
        [first] => (first.clone(), None),
        [first, second] => (first.clone(), Some(second.clone())),
        _ => {
            return Err(Problem::new("axes", "a sweep has one axis or two")
                .help("name what is swept, and its range"));
        }
    };
    let mut trial = Trial::new(plan, engine);
    let sheets = asked.watches.iter().map(|watch| match &watch.source {
        Source::Column(..) => watch.row(engine).map(|(sheet, _)| sheet),
        // A formula may read anything.
        Source::Formula(..) => None,
    });
    if let Some(sheets) = sheets.collect::<Option<Vec<SheetId>>>() {
        trial.leave_paths(&sheets)?;
    }
    trial.make(Edit::Group(asked.with.clone()))?;
    let mut turner = Turner {
        trial,
        watches: &asked.watches,
        first: &first,
        second: second.as_ref(),
        back: None,
    };
    let (mut points, mut values) = (Vec::with_capacity(n_points), Vec::with_capacity(n_points));
    let mut turns = Vec::new();
    let n_seconds = second.as_ref().map_or(0, |axis| axis.n_steps);
    for step in 0..=n_seconds {
        let other = second.as_ref().map(|axis| axis.at(step));
        let from = values.len();
        for at in 0..=first.n_steps {
            let value = first.at(at);
            values.push(turner.look(value, other)?);
            points.push([Some(value), other].into_iter().flatten().collect());
        }
        let line = &values[from..];
        turns.extend(turner.turns(line, other)?);
    }
    Ok(Swept {
        axes: asked.axes,
        watches: asked.watches,
        points,
        values,
        turns,
    })
}

/// Sets the knobs of a copy and looks.
struct Turner<'a> {
    trial: Trial,
    watches: &'a [Watch],
    first: &'a Axis,
    second: Option<&'a Axis>,
    /// Takes back the point that is set now.
    back: Option<Edit>,
}

impl Turner<'_> {
    fn set(&mut self, value: f64, second: Option<f64>) -> Result<(), Problem> {
        let mut edits = vec![turned(self.first, value)];
        if let (Some(axis), Some(value)) = (self.second, second) {
            edits.push(turned(axis, value));
        }
        let edit = Edit::Group(edits);
        self.back = Some(match self.back.take() {
            Some(back) => self.trial.turn(back, edit)?,
            None => self.trial.make(edit)?,
        });
        Ok(())
    }

    fn look(&mut self, value: f64, second: Option<f64>) -> Result<Vec<Cell>, Problem> {
        self.set(value, second)?;
        let seen = self.watches.iter().map(|watch| watch.look(&self.trial));
        Ok(seen.collect())
    }

    fn look_at(&mut self, value: f64, second: Option<f64>, watch: usize) -> Result<Cell, Problem> {
        self.set(value, second)?;
        Ok(self.watches[watch].look(&self.trial))
    }

    /// The turns between the points of a line.
    fn turns(&mut self, line: &[Vec<Cell>], second: Option<f64>) -> Result<Vec<Turn>, Problem> {
        let mut turns = Vec::new();
        for watch in 0..self.watches.len() {
            for at in 1..line.len() {
                let (mut before, after) = (line[at - 1][watch].clone(), &line[at][watch]);
                let mut last = self.first.at(at - 1);
                // Between two points it may turn more than once.
                while turns_from(&before, after) && turns.len() < MOST_TURNS {
                    let turn = self.turn(watch, (last, &before), self.first.at(at), second)?;
                    (last, before) = (turn.first, turn.after.clone());
                    turns.push(turn);
                }
            }
        }
        let rising = self.first.to > self.first.from;
        let place = |turn: &Turn| if rising { turn.last } else { -turn.last };
        turns.sort_by(|a, b| place(a).total_cmp(&place(b)));
        Ok(turns)
    }

    /// Halves the way between a point and one where it is another.
    fn turn(
        &mut self,
        watch: usize,
        (last, before): (f64, &Cell),
        until: f64,
        second: Option<f64>,
    ) -> Result<Turn, Problem> {
        let grid = Grid::new(last, until, self.first.fine());
        let (mut low, mut high) = (0, grid.n);
        let mut after = self.look_at(until, second, watch)?;
        while high - low > 1 {
            let middle = low + (high - low) / 2;
            let seen = self.look_at(grid.at(middle), second, watch)?;
            if seen == *before {
                low = middle;
            } else {
                (high, after) = (middle, seen);
            }
        }
        let (last, first) = (grid.at(low), grid.at(high));
        let [gone, here] = [last, first].map(|value| self.findings(value, second, watch));
        let (gone, here) = (gone?, here?);
        let is_in = |list: &[Finding], one: &Finding| list.iter().any(|known| same(known, one));
        Ok(Turn {
            watch,
            second,
            last,
            before: before.clone(),
            first,
            after,
            came: here
                .iter()
                .filter(|one| !is_in(&gone, one))
                .cloned()
                .collect(),
            went: gone
                .iter()
                .filter(|one| !is_in(&here, one))
                .cloned()
                .collect(),
        })
    }

    fn findings(
        &mut self,
        value: f64,
        second: Option<f64>,
        watch: usize,
    ) -> Result<Vec<Finding>, Problem> {
        self.set(value, second)?;
        let row = self.watches[watch].row(self.trial.engine());
        Ok(row.map_or_else(Vec::new, |(sheet, row)| self.trial.findings(sheet, row)))
    }
}

/// Whether two values are words or flags that differ; what is not known counts as a word.
fn turns_from(before: &Cell, after: &Cell) -> bool {
    let is_number = |cell: &Cell| matches!(cell, Cell::Number(_));
    !(is_number(before) && is_number(after)) && before != after
}

/// Whether two findings say the same, apart from their numbers.
fn same(a: &Finding, b: &Finding) -> bool {
    (&a.check, a.severity) == (&b.check, b.severity)
}

/// Values between two points, so far apart that a person can write each of them.
struct Grid {
    from: f64,
    to: f64,
    fine: f64,
    n: u64,
}

impl Grid {
    fn new(from: f64, to: f64, fine: f64) -> Self {
        let n = ((to - from).abs() / fine).round().max(1.0);
        Self {
            from,
            to,
            fine,
            n: n as u64,
        }
    }

    fn at(&self, step: u64) -> f64 {
        match step {
            0 => self.from,
            step if step >= self.n => self.to,
            step => {
                let value = self.from + (self.to - self.from).signum() * self.fine * step as f64;
                let digits = (-self.fine.log10().floor()).max(0.0) as usize;
                format!("{value:.digits$}").parse().unwrap_or(value)
            }
        }
    }
}

/// The edit that sets a knob to a value in its unit.
fn turned(axis: &Axis, value: f64) -> Edit {
    let entry = Entry::Number(axis.unit.to_base(value));
    match axis.knob {
        Knob::Cell(sheet, row, column) => Edit::SetCells {
            sheet,
            cells: vec![((column, row), entry)],
        },
        Knob::Assumption(param) => Edit::SetAssumption {
            param,
            entry,
            source: "swept".to_owned(),
            own: true,
        },
    }
}

impl Swept {
    /// A value of an axis as a person reads it, with all its digits.
    pub fn said(&self, axis: usize, value: f64) -> String {
        let unit = &self.axes[axis].unit;
        let number = significant(value, 15);
        format!("{number} {}", unit.symbol).trim_end().to_owned()
    }

    /// A turn in words: both sides with both values, lower case, no full stop.
    pub fn say(&self, turn: &Turn) -> String {
        let watch = &self.watches[turn.watch];
        let second = match (turn.second, self.axes.get(1)) {
            (Some(value), Some(axis)) => format!("with {} {}: ", axis.name, self.said(1, value)),
            (Some(_) | None, _) => String::new(),
        };
        format!(
            "{second}{} is {} up to {}, {} from {}",
            watch.name,
            watch.said(&turn.before),
            self.said(0, turn.last),
            watch.said(&turn.after),
            self.said(0, turn.first)
        )
    }
}

/// What a page shows of a row when nothing else is asked: what a planner would look at first.
pub fn usual_watches(look: Look<'_>) -> Vec<&'static str> {
    let wanted: &[&str] = match look.plan.def(look.sheet).name.as_str() {
        "links" => &["margin", "headroom", "verdict"],
        "switches" => &["ratio", "worst_ratio", "verdict"],
        "paths" => &["latency", "verdict"],
        _ => &["verdict"],
    };
    let there = |name: &&&str| look.column(name).is_some();
    wanted.iter().filter(there).copied().collect()
}
