//! The base and its proposals side by side: totals, findings that come and go, row by row.
//!
//! Each proposal is put over one working copy of the plan, followed by the engine from edit to
//! edit, and taken back. Texts are as a person sees them; how they are laid out is decided by who
//! shows them.

use crate::engine::Dirty;
use crate::engine::Engine;
use crate::plan::Assumption;
use crate::plan::Edit;
use crate::plan::Plan;
use crate::plan::Touched;
use crate::problem::Problem;
use crate::problem::Severity;
use crate::table::{ABSENT, Cell, Column, ColumnId, RowId, SheetId, Values};
use crate::trade;
use crate::trade::Finding;
use crate::trade::{MOST_MOVED, Standing, VERDICTS};
use rustc_hash::FxHashSet;
use std::collections::BTreeSet;

/// So many rows of a proposal are told one by one; beyond that they are only counted.
pub const MOST_ROWS: usize = 1000;

/// The base and proposals, side by side.
#[derive(Debug, Clone, PartialEq)]
pub struct Comparison {
    /// How the base stands.
    pub base: Outlook,
    /// The proposals, in the order in which they were asked for.
    pub proposals: Vec<Compared>,
}

/// How a plan stands: its totals.
#[derive(Debug, Clone, PartialEq)]
pub struct Outlook {
    /// How many stops, cautions and notes there are.
    pub findings: [usize; 3],
    /// The totals, always the same ones in the same order.
    pub totals: Vec<Total>,
    /// The latency of each path, in the order of the sheet.
    pub paths: Vec<Total>,
}

/// One number of a whole plan.
#[derive(Debug, Clone, PartialEq)]
pub struct Total {
    /// Its name: one of a fixed list, or the id of a path.
    pub name: String,
    /// What it is, in a few words.
    pub title: String,
    /// The symbol of its unit; empty where it has none.
    pub unit: String,
    /// The number in this unit; none where it is not known.
    pub number: Option<f64>,
    /// The row that it is of, where it is that of one row.
    pub row: Option<String>,
    /// How many rows are not in it because a number is missing there.
    pub n_missing: usize,
    /// All of that for a person; says `not priced` or `unknown` where there is no number.
    pub text: String,
    /// Whether less of it is better, more is, or neither.
    pub better: Better,
}

/// Which way a number gets better.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Better {
    /// The less the better.
    Less,
    /// The more the better.
    More,
}

/// A proposal beside the base.
#[derive(Debug, Clone, PartialEq)]
pub struct Compared {
    /// Its name.
    pub name: String,
    /// What a person says of it.
    pub note: String,
    /// The proposal that it stands on; the two are then compared together.
    pub on: Option<String>,
    /// How the plan stands with it.
    pub outlook: Outlook,
    /// Findings that come with it, worst first; at most [`MOST_MOVED`].
    pub came: Vec<Found>,
    /// How many come.
    pub n_came: usize,
    /// Findings that go with it, worst first; at most [`MOST_MOVED`].
    pub went: Vec<Found>,
    /// How many go.
    pub n_went: usize,
    /// Assumptions and formulas that differ.
    pub settings: Vec<Setting>,
    /// Rows that differ, in the order of sheets and rows; at most [`MOST_ROWS`]. Where a formula or
    /// an assumption differs, rows that only follow are listed only with another verdict.
    pub rows: Vec<RowChange>,
    /// How many differ.
    pub n_rows: usize,
    /// Changes of the proposal that do not fit and are not in it.
    pub misfits: Vec<Problem>,
}

/// A finding, by names.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Found {
    /// How much it weighs: 0 for a stop, 1 for a caution, 2 for a note.
    rank: u8,
    /// The sheet of the row.
    pub sheet: String,
    /// What a row of that sheet is called.
    pub word: String,
    /// The id of the row.
    pub row: String,
    /// The check.
    pub check: String,
    /// What is wrong, with the numbers.
    pub sentence: String,
    /// What to do about it.
    pub advice: String,
}

impl Found {
    /// How much it weighs.
    pub fn severity(&self) -> Severity {
        match self.rank {
            0 => Severity::Stop,
            1 => Severity::Caution,
            _ => Severity::Note,
        }
    }
}

/// An assumption or a formula that differs.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Setting {
    /// The assumption, or `sheet.column`.
    pub name: String,
    /// The value or formula of the base.
    pub old: String,
    /// That of the proposal.
    pub new: String,
}

/// What became of a row.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum RowKind {
    /// Cells of it were entered anew.
    Changed,
    /// Nothing of it was entered; computed cells follow from elsewhere.
    Follows,
    /// It is new.
    Added,
    /// It is gone.
    Removed,
}

impl RowKind {
    /// The word for it.
    pub fn word(self) -> &'static str {
        match self {
            Self::Changed => "changed",
            Self::Follows => "follows",
            Self::Added => "added",
            Self::Removed => "removed",
        }
    }
}

/// A row that differs.
#[derive(Debug, Clone, PartialEq)]
pub struct RowChange {
    /// The name of the sheet.
    pub sheet: String,
    /// What a row of that sheet is called.
    pub word: String,
    /// The id in the base; of a new row its own.
    pub id: String,
    /// What became of it.
    pub kind: RowKind,
    /// The verdict of the base and that of the proposal; empty where there is none.
    pub verdicts: [String; 2],
    /// The cells that differ, those that are entered first; quiet columns are left out unless
    /// they were entered.
    pub cells: Vec<CellChange>,
}

/// A cell that differs.
#[derive(Debug, Clone, PartialEq)]
pub struct CellChange {
    /// The column.
    pub column: String,
    /// The symbol of its unit; empty where it has none.
    pub unit: String,
    /// Whether it is entered.
    pub is_entered: bool,
    /// In the base.
    pub old: Side,
    /// In the proposal.
    pub new: Side,
}

/// A cell on one side.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Side {
    /// The number in the unit of the column, where it is one.
    pub number: Option<f64>,
    /// As a person sees it, with its unit; empty where there is nothing.
    pub text: String,
}

/// Holds proposals of a plan beside its base; no names mean all of them.
///
/// `engine` holds what is computed of this plan. A plan in which a proposal is open is compared as
/// it would be saved.
///
/// # Errors
/// A name that no proposal has, or proposals that stand on each other in a circle.
pub fn compare(plan: &Plan, engine: &Engine, names: &[String]) -> Result<Comparison, Problem> {
    compare_with(plan, Some(engine), names, false)
}

/// The same with everything computed anew for each proposal: slow, and what tests hold
/// [`compare`] to. Rows that only follow may be told by one of the two alone.
///
/// # Errors
/// As [`compare`].
pub fn compare_anew(plan: &Plan, names: &[String]) -> Result<Comparison, Problem> {
    compare_with(plan, None, names, true)
}

fn compare_with(
    plan: &Plan,
    engine: Option<&Engine>,
    names: &[String],
    is_anew: bool,
) -> Result<Comparison, Problem> {
    // What is computed of the plan holds for its copy; inside a proposal the base is another plan.
    let (plan, engine) = match plan.base() {
        Some((base, _)) => (base, None),
        None => (plan.clone(), engine.cloned()),
    };
    let names = match names.is_empty() {
        true => plan
            .proposals()
            .iter()
            .map(|one| one.name.clone())
            .collect(),
        false => names.to_vec(),
    };
    let engine = engine.unwrap_or_else(|| trade::engine(&plan));
    let mut copy = Working::new(plan, engine, is_anew);
    let base = copy.outlook();
    let verdicts = copy.verdicts();
    let proposals = names.iter().map(|name| copy.compared(name, &verdicts));
    Ok(Comparison {
        base,
        proposals: proposals.collect::<Result<_, _>>()?,
    })
}

/// A copy of a plan with everything computed from it.
struct Working {
    plan: Plan,
    engine: Engine,
    standing: Standing,
    is_anew: bool,
}

/// Cells of a row, by position of the column.
type Cells = Vec<(usize, Cell)>;

/// For each sheet the codes of its verdicts, by place in storage.
type Verdicts = Vec<Values<u32>>;

/// What one proposal brought about, before it is taken back.
struct Applied {
    /// The edits that take it back, newest last.
    inverses: Vec<Edit>,
    /// What was touched.
    touched: Vec<Touched>,
    misfits: Vec<Problem>,
}

impl Working {
    fn new(plan: Plan, engine: Engine, is_anew: bool) -> Self {
        let standing = Standing::new(&plan, &engine);
        Self {
            plan,
            engine,
            standing,
            is_anew,
        }
    }

    fn compared(&mut self, name: &str, verdicts: &Verdicts) -> Result<Compared, Problem> {
        let known = self.plan.must_propose(name)?.clone();
        let before = Settings::of(&self.plan);
        let applied = self.put_over(&known.name)?;
        self.follow(&applied.touched);
        let settings = before.differences(&self.plan);
        let (outlook, came) = (self.outlook(), self.came());
        let (n_came, n_went) = self.standing.n_moved();
        let direct = direct_rows(&applied.touched);
        let (places, n_rows) = self.rows_that_differ(&direct, verdicts);
        let new: Vec<Option<Cells>> = places.iter().map(|place| self.cells(*place)).collect();
        self.take_back(applied.inverses)?;
        // What comes when it is taken back is what went with it, told with the numbers of the base.
        let went = self.came();
        let old: Vec<Option<Cells>> = places.iter().map(|place| self.cells(*place)).collect();
        let rows = places.iter().zip(old.iter().zip(&new));
        let rows = rows.map(|(place, (old, new))| {
            self.row_change(*place, direct.contains(place), old.as_ref(), new.as_ref())
        });
        let rows: Vec<RowChange> = rows.flatten().collect();
        Ok(Compared {
            outlook,
            came,
            n_came,
            went,
            n_went,
            settings,
            n_rows: n_rows - (places.len() - rows.len()),
            rows,
            misfits: applied.misfits,
            name: known.name,
            note: known.note,
            on: known.on,
        })
    }

    /// Applies a proposal with all that it stands on.
    fn put_over(&mut self, name: &str) -> Result<Applied, Problem> {
        let stack = self.plan.stack(name)?;
        let names: Vec<String> = stack.iter().map(|one| one.name.clone()).collect();
        let mut applied = Applied {
            inverses: Vec::new(),
            touched: Vec::new(),
            misfits: Vec::new(),
        };
        for name in names {
            let (edit, misfits) = self.plan.layer_edit(&name)?;
            applied.misfits.extend(misfits);
            match self.plan.apply(edit) {
                Ok(change) => {
                    applied.inverses.push(change.inverse);
                    applied.touched.extend(change.touched);
                }
                Err(problem) => {
                    for inverse in applied.inverses.into_iter().rev() {
                        self.plan.apply(inverse)?;
                    }
                    return Err(problem);
                }
            }
        }
        Ok(applied)
    }

    fn take_back(&mut self, inverses: Vec<Edit>) -> Result<(), Problem> {
        let mut touched = Vec::new();
        for inverse in inverses.into_iter().rev() {
            touched.extend(self.plan.apply(inverse)?.touched);
        }
        self.follow(&touched);
        Ok(())
    }

    /// Brings everything up to date, as the desk does after an edit.
    fn follow(&mut self, touched: &[Touched]) {
        let is_new = self.is_anew || self.needs_new_engine(touched);
        if is_new || !self.engine.update(&self.plan, touched) {
            self.engine = trade::engine(&self.plan);
            self.standing.renew(&self.plan, &self.engine);
        } else {
            self.standing.follow(&self.plan, &self.engine, touched);
        }
    }

    /// The table that the function of cages was made from is a part of the engine.
    fn needs_new_engine(&self, touched: &[Touched]) -> bool {
        let fits = self.plan.sheet("fits");
        touched.iter().any(|part| match part {
            Touched::Cells(sheet, _, _) | Touched::Rows(sheet, _) | Touched::Order(sheet) => {
                Some(*sheet) == fits
            }
            Touched::Assumption(_) | Touched::Schema => false,
        })
    }

    fn came(&self) -> Vec<Found> {
        let came = self.standing.came(&self.plan, &self.engine, MOST_MOVED);
        let mut came: Vec<Found> = came.iter().map(|one| found(&self.plan, one)).collect();
        came.sort();
        came
    }

    fn outlook(&self) -> Outlook {
        outlook(&self.plan, &self.engine, &self.standing)
    }

    fn sheets(&self) -> impl Iterator<Item = SheetId> + use<> {
        let n_sheets = u16::try_from(self.plan.schema().len()).unwrap_or(u16::MAX);
        (0..n_sheets).map(SheetId)
    }

    fn verdicts(&self) -> Verdicts {
        let codes = |sheet| match self.engine.find_column(sheet, "verdict") {
            Some(column) => self.engine.values(column).codes().clone(),
            None => Values::default(),
        };
        self.sheets().map(codes).collect()
    }

    /// The rows that are told of, in order, and how many there are: those that were touched, those
    /// with another verdict, and those in which a column that a ledger shows has changed.
    fn rows_that_differ(
        &self,
        direct: &FxHashSet<(SheetId, RowId)>,
        before: &Verdicts,
    ) -> (Vec<(SheetId, RowId)>, usize) {
        let mut others: FxHashSet<(SheetId, RowId)> = FxHashSet::default();
        for (sheet, before) in self.sheets().zip(before) {
            let rows = self.plan.rows(sheet);
            if let Some(column) = self.engine.find_column(sheet, "verdict") {
                let now = self.engine.values(column).codes();
                let turned = before.iter().zip(now.iter()).zip(0..);
                let turned = turned.filter(|((old, new), _)| old != new);
                others.extend(turned.map(|(_, row)| (sheet, RowId(row))));
            }
            for column in self.told_columns(sheet) {
                if let Dirty::Rows(rows) = self.engine.changed(column) {
                    others.extend(rows.iter().map(|row| (sheet, RowId(*row))));
                }
            }
            others.retain(|(of, row)| *of != sheet || rows.is_live(*row));
        }
        others.retain(|place| !direct.contains(place));
        let n_rows = direct.len() + others.len();
        let mut places: Vec<(SheetId, RowId)> = direct.iter().copied().collect();
        self.sort(&mut places);
        let mut others: Vec<(SheetId, RowId)> = others.into_iter().collect();
        self.sort(&mut others);
        places.extend(others);
        places.truncate(MOST_ROWS);
        self.sort(&mut places);
        (places, n_rows)
    }

    fn sort(&self, places: &mut [(SheetId, RowId)]) {
        let rank = |sheet: SheetId, row: RowId| {
            let rank = self.plan.rows(sheet).rank().get(row.at()).copied();
            // A row that is gone stands where its storage says.
            match rank {
                Some(rank) if rank != ABSENT => rank,
                Some(_) | None => row.0,
            }
        };
        places.sort_by_key(|(sheet, row)| (*sheet, rank(*sheet, *row), *row));
    }

    /// The computed columns of a sheet that are told of where they changed.
    fn told_columns(&self, sheet: SheetId) -> impl Iterator<Item = ColumnId> {
        let columns = self.plan.def(sheet).columns.iter().enumerate();
        columns
            .filter(|(_, def)| !def.entered() && !def.quiet)
            .map(move |(at, _)| self.engine.column(sheet, at))
    }

    /// The cells of a row by position, the verdict last; none of a row that is not there.
    fn cells(&self, (sheet, row): (SheetId, RowId)) -> Option<Cells> {
        if !self.plan.rows(sheet).is_live(row) {
            return None;
        }
        let def = &self.plan.def(sheet).columns;
        let told = def.iter().enumerate();
        let told = told.filter(|(_, def)| def.entered() || !def.quiet);
        let positions = told.map(|(at, _)| at).chain(self.verdict_position(sheet));
        let cells = positions.map(|at| {
            let column = self.engine.column(sheet, at);
            (at, self.cell(sheet, at, column, row))
        });
        Some(cells.collect())
    }

    /// A cell; a text that cannot be read for its column is told as it is.
    fn cell(&self, sheet: SheetId, at: usize, column: ColumnId, row: RowId) -> Cell {
        let wrong = self.plan.rows(sheet).wrong().get(&(at, row));
        match wrong {
            Some(text) => Cell::Text(text.clone()),
            None => self.engine.cell(&self.plan, column, row),
        }
    }

    fn verdict_position(&self, sheet: SheetId) -> Option<usize> {
        let def = self.engine.schema().get(sheet.at())?;
        let at = def.column("verdict")?;
        (at >= self.plan.def(sheet).columns.len()).then_some(at)
    }

    /// What differs in a row; none where nothing does that a person would see.
    fn row_change(
        &self,
        place: (SheetId, RowId),
        is_direct: bool,
        old: Option<&Cells>,
        new: Option<&Cells>,
    ) -> Option<RowChange> {
        let (sheet, verdict) = (place.0, self.verdict_position(place.0));
        let kind = match (old, new) {
            (None, None) => return None,
            (None, Some(_)) => RowKind::Added,
            (Some(_), None) => RowKind::Removed,
            (Some(_), Some(_)) if is_direct => RowKind::Changed,
            (Some(_), Some(_)) => RowKind::Follows,
        };
        let word = |cells| match verdict.and_then(|at| of(cells, at)) {
            Some(Cell::Text(word)) => word.clone(),
            Some(Cell::Number(_) | Cell::Flag(_) | Cell::Missing | Cell::Failed) | None => {
                String::new()
            }
        };
        let positions: Vec<usize> = match old.or(new) {
            Some(cells) => cells.iter().map(|(at, _)| *at).collect(),
            None => Vec::new(),
        };
        let positions = positions.into_iter().filter(|at| Some(*at) != verdict);
        let mut cells: Vec<CellChange> = positions
            .filter_map(|at| self.cell_change(sheet, at, of(old, at), of(new, at)))
            .collect();
        cells.sort_by_key(|cell| !cell.is_entered);
        let verdicts = [word(old), word(new)];
        if cells.is_empty() && verdicts[0] == verdicts[1] {
            return None;
        }
        let def = self.plan.def(sheet);
        Some(RowChange {
            sheet: def.name.clone(),
            word: def.row_word().to_owned(),
            id: match of(old, 0).or(of(new, 0)) {
                Some(Cell::Text(id)) => id.clone(),
                Some(Cell::Number(_) | Cell::Flag(_) | Cell::Missing | Cell::Failed) | None => {
                    String::new()
                }
            },
            kind,
            verdicts,
            cells,
        })
    }

    fn cell_change(
        &self,
        sheet: SheetId,
        at: usize,
        old: Option<&Cell>,
        new: Option<&Cell>,
    ) -> Option<CellChange> {
        let missing = Cell::Missing;
        let (old, new) = (old.unwrap_or(&missing), new.unwrap_or(&missing));
        if old == new {
            return None;
        }
        let (column, def) = (self.engine.column(sheet, at), self.plan.column(sheet, at));
        let side = |cell: &Cell| Side {
            number: match cell {
                Cell::Number(value) => Some(self.engine.unit(column).from_base(*value)),
                Cell::Text(_) | Cell::Flag(_) | Cell::Missing | Cell::Failed => None,
            },
            text: match cell {
                Cell::Missing => String::new(),
                Cell::Number(_) | Cell::Text(_) | Cell::Flag(_) | Cell::Failed => {
                    self.engine.shown_cell(column, cell)
                }
            },
        };
        Some(CellChange {
            column: def.name.clone(),
            unit: def.unit.clone(),
            is_entered: def.entered(),
            old: side(old),
            new: side(new),
        })
    }
}

/// The cell of a position.
fn of(cells: Option<&Cells>, at: usize) -> Option<&Cell> {
    let mut cells = cells?.iter();
    cells.find(|(known, _)| *known == at).map(|(_, cell)| cell)
}

/// The rows that edits touched.
fn direct_rows(touched: &[Touched]) -> FxHashSet<(SheetId, RowId)> {
    let mut direct = FxHashSet::default();
    for part in touched {
        match part {
            Touched::Cells(sheet, _, rows) | Touched::Rows(sheet, rows) => {
                direct.extend(rows.iter().map(|row| (*sheet, *row)));
            }
            Touched::Order(_) | Touched::Assumption(_) | Touched::Schema => {}
        }
    }
    direct
}

fn found(plan: &Plan, finding: &Finding) -> Found {
    let def = plan.def(finding.sheet);
    Found {
        rank: match finding.severity {
            Severity::Stop => 0,
            Severity::Caution => 1,
            Severity::Note => 2,
        },
        sheet: def.name.clone(),
        word: def.row_word().to_owned(),
        row: plan.id(finding.sheet, finding.row),
        check: finding.check.clone(),
        sentence: finding.sentence.clone(),
        advice: finding.advice.clone(),
    }
}

/// Assumptions and formulas, to see which differ.
struct Settings {
    assumptions: Vec<Assumption>,
    formulas: Vec<Vec<Option<String>>>,
}

impl Settings {
    fn of(plan: &Plan) -> Self {
        Self {
            assumptions: plan.assumptions().to_vec(),
            formulas: formulas(plan),
        }
    }

    fn differences(&self, plan: &Plan) -> Vec<Setting> {
        let text = |known: &Assumption| {
            let value = known.entry.text(&known.unit, plan.names());
            let text = format!("{value} {}", known.unit.symbol);
            format!("{} ({})", text.trim(), known.source)
        };
        let pairs = self.assumptions.iter().zip(plan.assumptions());
        let assumed = pairs.filter(|(old, new)| old != new);
        let mut out: Vec<Setting> = assumed
            .map(|(old, new)| Setting {
                name: new.def.name.clone(),
                old: text(old),
                new: text(new),
            })
            .collect();
        let now = formulas(plan);
        for (def, (old, new)) in plan.schema().iter().zip(self.formulas.iter().zip(&now)) {
            for (column, (old, new)) in def.columns.iter().zip(old.iter().zip(new)) {
                if old != new {
                    out.push(Setting {
                        name: format!("{}.{}", def.name, column.name),
                        old: old.clone().unwrap_or_default(),
                        new: new.clone().unwrap_or_default(),
                    });
                }
            }
        }
        out
    }
}

fn formulas(plan: &Plan) -> Vec<Vec<Option<String>>> {
    let of_sheet = |def: &crate::sheet::SheetDef| {
        let columns = def.columns.iter();
        columns.map(|column| column.formula.clone()).collect()
    };
    plan.schema().iter().map(of_sheet).collect()
}

/// How a total is made of a column.
#[derive(Debug, Clone, Copy)]
enum Of {
    /// The least number, with its row.
    Least,
    /// The greatest number, with its row.
    Most,
    /// The sum over the rows for which a flag says yes; the word for rows without a number.
    Sum(&'static str, &'static str),
}

/// Name, title, sheet, columns, how it is made of their sum, and which way is better.
type Measure = (
    &'static str,
    &'static str,
    &'static str,
    &'static [&'static str],
    Of,
    Better,
);

/// The totals that are made of columns.
#[rustfmt::skip]
const MEASURES: &[Measure] = &[
    ("margin", "worst margin", "links", &["margin"], Of::Least, Better::More),
    ("ratio", "worst ratio", "switches", &["ratio"], Of::Most, Better::Less),
    ("worst_ratio", "worst ratio, one cable out", "switches", &["worst_ratio"], Of::Most, Better::Less),
    ("latency", "longest latency of the paths", "paths", &["latency"], Of::Most, Better::Less),
    ("watts", "power of modules", "links", &["watts"], Of::Sum("forwards", "unknown"), Better::Less),
    ("modules", "modules to order", "links", &["near_modules", "far_modules"], Of::Sum("to_order", "unknown"), Better::Less),
    ("assemblies", "assemblies to order", "links", &["needed_assemblies"], Of::Sum("to_order", "unknown"), Better::Less),
    ("cords", "cords to order", "links", &["needed_cords"], Of::Sum("to_order", "unknown"), Better::Less),
    ("price", "price of what is to order", "links", &["price"], Of::Sum("to_order", "not priced"), Better::Less),
    ("years_left", "years until uplinks are full", "switches", &["years_left"], Of::Least, Better::More),
];

/// How a plan stands.
pub fn outlook(plan: &Plan, engine: &Engine, standing: &Standing) -> Outlook {
    let findings = standing.counts();
    let mut totals: Vec<Total> = [("stops", 0), ("cautions", 1), ("notes", 2)]
        .map(|(name, at)| counted(name, name, findings[at]))
        .to_vec();
    let n_sheets = u16::try_from(plan.schema().len()).unwrap_or(u16::MAX);
    let mut words = [0; VERDICTS.len()];
    for counts in (0..n_sheets).filter_map(|sheet| standing.verdicts(SheetId(sheet))) {
        words.iter_mut().zip(counts).for_each(|(sum, n)| *sum += n);
    }
    for (word, title) in [
        ("fails", "rows that fail"),
        ("unknown", "rows that are unknown"),
        ("tight", "rows that are tight"),
    ] {
        let at = VERDICTS.iter().position(|known| *known == word);
        totals.push(counted(word, title, at.map_or(0, |at| words[at])));
    }
    totals.extend(MEASURES.iter().filter_map(|one| total(plan, engine, *one)));
    Outlook {
        findings,
        totals,
        paths: paths(plan, engine),
    }
}

fn counted(name: &str, title: &str, n: usize) -> Total {
    Total {
        name: name.to_owned(),
        title: title.to_owned(),
        unit: String::new(),
        number: Some(n as f64),
        row: None,
        n_missing: 0,
        text: n.to_string(),
        better: Better::Less,
    }
}

/// A total of a column; none where the plan has no such column.
fn total(
    plan: &Plan,
    engine: &Engine,
    (name, title, sheet, columns, of, better): Measure,
) -> Option<Total> {
    let sheet = plan.sheet(sheet)?;
    let found = columns.iter().map(|name| engine.find_column(sheet, name));
    let columns: Vec<ColumnId> = found.collect::<Option<_>>()?;
    let column = *columns.first()?;
    let of_columns = columns
        .iter()
        .map(|column| engine.values(*column).numbers());
    let of_columns: Vec<&Values<f64>> = of_columns.collect();
    let order = plan.rows(sheet).order().iter();
    // A number that is missing makes the sum missing.
    let value = |row: &RowId| {
        let parts = of_columns
            .iter()
            .map(|values| values.get(row.at()).copied());
        let sum = parts.sum::<Option<f64>>();
        sum.filter(|value| !value.is_nan())
    };
    let given = order.clone().filter_map(|row| Some((*row, value(row)?)));
    let (number, row, n_missing, lack) = match of {
        Of::Least | Of::Most => {
            let sign = if matches!(of, Of::Most) { -1.0 } else { 1.0 };
            let best = given.min_by(|a, b| (sign * a.1).total_cmp(&(sign * b.1)));
            let (row, number) = best.unzip();
            (number, row, 0, "unknown")
        }
        Of::Sum(flag, lack) => {
            let flags = engine.find_column(sheet, flag);
            let flags = flags.map(|flag| engine.values(flag));
            let counts = |row: &&RowId| match flags {
                Some(Column::Flags(flags)) => flags.get(row.at()) == Some(&1),
                Some(Column::Numbers(_) | Column::Codes(_)) | None => true,
            };
            let (mut sum, mut n_given, mut n_missing) = (0.0, 0, 0);
            for row in order.filter(counts) {
                match value(row) {
                    Some(value) => (sum, n_given) = (sum + value, n_given + 1),
                    None => n_missing += 1,
                }
            }
            let number = (n_given > 0 || n_missing == 0).then_some(sum);
            (number, None, n_missing, lack)
        }
    };
    let row = row.map(|row| plan.id(sheet, row));
    let mut text = match number {
        Some(number) => engine.shown_cell(column, &Cell::Number(number)),
        None if plan.rows(sheet).order().is_empty() => "none".to_owned(),
        None => lack.to_owned(),
    };
    if let Some(row) = &row {
        text.push_str(&format!(" ({row})"));
    }
    if number.is_some() && n_missing > 0 {
        text.push_str(&format!(", {n_missing} {lack}"));
    }
    let unit = engine.unit(column);
    Some(Total {
        name: name.to_owned(),
        title: title.to_owned(),
        unit: unit.symbol.clone(),
        number: number.map(|number| unit.from_base(number)),
        row,
        n_missing,
        text,
        better,
    })
}

/// The latency of each path.
fn paths(plan: &Plan, engine: &Engine) -> Vec<Total> {
    let sheet = plan.sheet("paths");
    let found = sheet.and_then(|sheet| Some((sheet, engine.find_column(sheet, "latency")?)));
    let Some((sheet, column)) = found else {
        return Vec::new();
    };
    let (values, unit) = (engine.values(column).numbers(), engine.unit(column));
    let total = |row: &RowId| {
        let id = plan.id(sheet, *row);
        let value = values
            .get(row.at())
            .copied()
            .filter(|value| !value.is_nan());
        Total {
            title: format!("latency of path {id}"),
            name: id.clone(),
            unit: unit.symbol.clone(),
            number: value.map(|value| unit.from_base(value)),
            row: Some(id),
            n_missing: usize::from(value.is_none()),
            text: match value {
                Some(value) => engine.shown_cell(column, &Cell::Number(value)),
                None => "unknown".to_owned(),
            },
            better: Better::Less,
        }
    };
    plan.rows(sheet).order().iter().map(total).collect()
}

impl RowChange {
    /// The cells to be told where there is little room: all that were entered, then so many that
    /// follow; of a row that came only the entered ones, of one that went none.
    pub fn told(&self, most: usize) -> impl Iterator<Item = &CellChange> {
        let room = match self.kind {
            RowKind::Changed | RowKind::Follows => most,
            RowKind::Added | RowKind::Removed => 0,
        };
        let is_told = self.kind != RowKind::Removed;
        let cells = self.cells.iter();
        let cells = cells.filter(move |cell| is_told && cell.column != "id");
        let (entered, others): (Vec<_>, Vec<_>) = cells.partition(|cell| cell.is_entered);
        let room = room.saturating_sub(entered.len());
        entered.into_iter().chain(others.into_iter().take(room))
    }
}

impl CellChange {
    /// The change in a few words: what it was and what it is, or the one of them that is there.
    pub fn text(&self) -> String {
        let (old, new) = (&self.old.text, &self.new.text);
        match (old.is_empty(), new.is_empty()) {
            (true, _) => format!("{} {new}", self.column),
            (false, true) => format!("{} {old} -> none", self.column),
            (false, false) => format!("{} {old} -> {new}", self.column),
        }
    }
}

impl Comparison {
    /// The totals as lines: what it is, then the text of the base and of each proposal. Paths that
    /// not all of them have are told as such.
    pub fn lines(&self) -> Vec<(String, Vec<String>)> {
        let outlooks = || {
            let others = self.proposals.iter().map(|one| &one.outlook);
            std::iter::once(&self.base).chain(others)
        };
        let mut lines: Vec<(String, Vec<String>)> = Vec::new();
        for (at, total) in self.base.totals.iter().enumerate() {
            let texts = outlooks().map(|one| one.totals.get(at).map(|one| one.text.clone()));
            let texts = texts.map(Option::unwrap_or_default).collect();
            lines.push((total.title.clone(), texts));
        }
        let ids: Vec<&String> = outlooks()
            .flat_map(|one| &one.paths)
            .map(|one| &one.name)
            .collect();
        let mut told = BTreeSet::new();
        for id in ids.into_iter().filter(|id| told.insert((*id).clone())) {
            let texts = outlooks().map(|one| {
                let path = one.paths.iter().find(|path| path.name == *id);
                path.map_or_else(|| "no such path".to_owned(), |path| path.text.clone())
            });
            lines.push((format!("latency of path {id}"), texts.collect()));
        }
        lines
    }
}
