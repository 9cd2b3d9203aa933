//! From a checked formula to a workbook formula over cells.
//!
//! A number is an error inside a formula where it is missing, a text an empty text; the cell then
//! holds an empty text. Whatever is needed twice, or from another sheet, gets a column of its own
//! beside those that people read. What cannot be said with the functions that every spreadsheet
//! program knows is refused with a reason. Values over many rows are in `gather.rs`.

use super::book::{Block, Col, Content, Place, Stored, assumed, is_markless};
use super::express::{Binds, Flag, MISSING, Number, Words, alike, all_alike, quoted};
use super::fold::Folder;
use crate::engine::Engine;
use crate::engine::Source;
use crate::formula::Form;
use crate::formula::Infix;
use crate::formula::Library;
use crate::formula::Node;
use crate::formula::Ty;
use crate::formula::Typed;
use crate::formula::program::Binary;
use crate::formula::program::TextKernel;
use crate::formula::program::Unary;
use crate::plan::Entry;
use crate::plan::Plan;
use crate::sheet::ColumnKind;
use crate::table::{ABSENT, ColumnId, RowId, SheetId};
use rustc_hash::{FxBuildHasher, FxHashMap, FxHashSet};
use std::collections::BTreeSet;
use std::hash::BuildHasher;

/// Why a formula stays out of the workbook.
#[derive(Debug, Clone, PartialEq)]
pub struct Untold(pub String);

/// What became of a part of a formula.
pub type Told<T> = Result<T, Untold>;

/// The functions that every spreadsheet program knows and computes alike.
const KNOWN: &[&str] = &[
    "SUM",
    "MAX",
    "MIN",
    "ROUND",
    "IF",
    "AND",
    "OR",
    "NOT",
    "IFERROR",
    "INDEX",
    "MATCH",
    "SUMIFS",
    "COUNTIFS",
    "SUMPRODUCT",
    "LOG10",
    "LN",
    "EXP",
    "SQRT",
    "ABS",
];

/// The longest formula that is written; the format allows 8,192 characters.
const MOST_CHARACTERS: usize = 8_000;

/// The deepest nesting of calls; the format allows 64.
const MOST_NESTED: usize = 60;

/// Names longer than this cannot be searched for.
const MOST_OF_A_NAME: usize = 250;

/// Why a column stands as values in a large plan.
const TOO_MANY: &str = "the sheet has too many rows for the columns that it needs";

/// Steps within a billionth of a whole count as whole, as in our own rounding.
const STEP_SLACK: &str = "0.000000001";

/// Translates the formulas of a plan, and keeps what the workbook has to hold for them.
pub struct Translator<'a> {
    pub(super) plan: &'a Plan,
    pub(super) engine: &'a Engine,
    folder: Folder<'a>,
    library: &'a Library,
    /// The blocks, in the order in which they were first needed.
    pub blocks: Vec<Block>,
    by_sheet: FxHashMap<SheetId, usize>,
    columns: FxHashMap<ColumnId, Place>,
    helpers: FxHashMap<(usize, String), Place>,
    /// For entered columns of rows, whether a search would take a cell for a pattern.
    patterns: FxHashMap<ColumnId, bool>,
    /// The block whose rows are being worked on.
    pub(super) here: usize,
    leans: BTreeSet<Place>,
    most_cells: usize,
}

impl<'a> Translator<'a> {
    /// Starts with the columns that people are to read, sheet by sheet.
    ///
    /// A block gets columns for its formulas only while all its cells are no more than
    /// `most_cells`.
    pub fn new(
        plan: &'a Plan,
        engine: &'a Engine,
        pages: &[(SheetId, Vec<ColumnId>)],
        most_cells: usize,
    ) -> Self {
        let shown: FxHashSet<ColumnId> = pages.iter().flat_map(|(_, all)| all).copied().collect();
        let mut new = Self {
            plan,
            engine,
            folder: Folder::new(plan, engine, shown),
            library: &engine.knowledge().library,
            blocks: Vec::new(),
            by_sheet: FxHashMap::default(),
            columns: FxHashMap::default(),
            helpers: FxHashMap::default(),
            patterns: FxHashMap::default(),
            here: 0,
            leans: BTreeSet::new(),
            most_cells,
        };
        for (sheet, columns) in pages {
            let block = new.block(*sheet);
            for column in columns {
                new.add_column(block, *column, true);
            }
        }
        new
    }

    /// Translates every column that people are to read.
    pub fn translate_all(&mut self) {
        let shown: Vec<ColumnId> = self
            .blocks
            .iter()
            .flat_map(|block| block.columns.iter().filter_map(|col| col.column))
            .collect();
        for column in shown {
            self.translate_or_leave(column);
        }
    }

    /// Translates a column; one for which there is no room leaves nothing behind.
    fn translate_or_leave(&mut self, id: ColumnId) {
        let before: Vec<usize> = self
            .blocks
            .iter()
            .map(|block| block.columns.len())
            .collect();
        let pending = self
            .columns
            .iter()
            .filter(|(_, place)| self.col(**place).content == Content::Pending);
        let pending: Vec<Place> = pending.map(|(_, place)| *place).collect();
        let Ok(place) = self.column(id) else {
            return;
        };
        if self.col(place).content != Content::Value(TOO_MANY.to_owned()) {
            return;
        }
        let is_old = |place: &Place| before.get(place.block).is_some_and(|n| place.column < *n);
        self.columns.retain(|_, place| is_old(place));
        self.helpers.retain(|_, place| is_old(place));
        for (block, n) in self
            .blocks
            .iter_mut()
            .zip(before.iter().copied().chain(std::iter::repeat(0)))
        {
            block.columns.truncate(n);
        }
        // Others may have been translated on the way, over columns that are gone now.
        for other in pending.into_iter().filter(|other| *other != place) {
            let col = self.col_mut(other);
            col.content = Content::Pending;
            col.leans = BTreeSet::new();
            col.sure = false;
        }
    }

    /// The block of a sheet, made when it is first asked for.
    pub fn block(&mut self, sheet: SheetId) -> usize {
        if let Some(known) = self.by_sheet.get(&sheet) {
            return *known;
        }
        let block = block_of(self.plan, sheet);
        self.blocks.push(block);
        let at = self.blocks.len() - 1;
        self.by_sheet.insert(sheet, at);
        at
    }

    fn add_column(&mut self, block: usize, id: ColumnId, shown: bool) -> Place {
        let engine = self.engine;
        let node = &engine.graph().nodes[id.at()];
        let def = engine.def(id);
        let unit = engine.unit(id);
        let content = match node.is_entered() {
            true => Content::Entered,
            false => Content::Pending,
        };
        self.blocks[block].columns.push(Col {
            title: def.map_or_else(|| node.name.clone(), |def| def.name.clone()),
            unit: unit.symbol.clone(),
            column: Some(id),
            content,
            stored: Stored::Column(id),
            scale: unit.to_base(1.0) - unit.to_base(0.0),
            shown,
            sure: false,
            leans: BTreeSet::new(),
        });
        let column = self.blocks[block].columns.len() - 1;
        let place = Place { block, column };
        self.columns.insert(id, place);
        place
    }

    /// A column of the workbook by its place.
    pub(super) fn col(&self, place: Place) -> &Col {
        &self.blocks[place.block].columns[place.column]
    }

    /// The place of a column of the plan, which is translated when it is first needed.
    fn column(&mut self, id: ColumnId) -> Told<Place> {
        let sheet = self.engine.graph().nodes[id.at()].sheet;
        let block = self.block(sheet);
        let place = match self.columns.get(&id) {
            Some(known) => *known,
            None => {
                self.must_have_room(block)?;
                self.add_column(block, id, false)
            }
        };
        match &self.col(place).content {
            Content::Pending => {}
            Content::Value(why) if why == TOO_MANY && !self.col(place).shown => {
                return untold(TOO_MANY);
            }
            Content::Entered | Content::Formula(_) | Content::Value(_) => return Ok(place),
        }
        // Where a formula comes back to itself, which no plan without problems does, it ends here.
        self.col_mut(place).content = Content::Value("it hangs on itself".to_owned());
        let (here, outer) = (self.here, std::mem::take(&mut self.leans));
        self.here = block;
        let told = self.whole(id);
        let leans = std::mem::replace(&mut self.leans, outer);
        self.here = here;
        let col = self.col_mut(place);
        match told {
            Ok((text, sure)) => {
                col.content = Content::Formula(text);
                col.sure = sure;
                col.leans = leans;
                Ok(place)
            }
            Err(Untold(why)) => {
                let is_lost = why == TOO_MANY && !col.shown;
                col.content = Content::Value(why);
                match is_lost {
                    true => untold(TOO_MANY),
                    false => Ok(place),
                }
            }
        }
    }

    /// Refuses one more column where the cells of a sheet are many already.
    fn must_have_room(&self, block: usize) -> Told<()> {
        let block = &self.blocks[block];
        match block.columns.len() * block.rows.len() > self.most_cells {
            true => untold(TOO_MANY),
            false => Ok(()),
        }
    }

    fn col_mut(&mut self, place: Place) -> &mut Col {
        &mut self.blocks[place.block].columns[place.column]
    }

    /// The formula of a column as its cells have it, and whether it always has a value.
    fn whole(&mut self, id: ColumnId) -> Told<(String, bool)> {
        let ty = self.engine.graph().nodes[id.at()].ty;
        let Some(part) = self.folder.formula(id) else {
            return untold("it is made from many rows at once, by a rule that is no formula");
        };
        let told = match ty {
            _ if part.is_missing() => (quoted(""), false),
            Ty::Number(_) => {
                let scale = self.scale(id)?;
                let number = self.number(&part)?.in_scale(scale);
                closed(number.text(Binds::Compare), number.sure)
            }
            Ty::Flag => {
                let flag = self.flag(&part)?;
                closed(flag.strict(), flag.is_sure())
            }
            Ty::Text => {
                let words = self.words(&part)?;
                closed(words.value(), words.sure)
            }
            Ty::Row(sheet) => {
                let at = self.at(&part)?;
                let ids = self.ids(sheet)?;
                closed(
                    format!("INDEX({},{})", ids.range(), at.text(Binds::Compare)),
                    false,
                )
            }
        };
        fits(&told.0)?;
        Ok(told)
    }

    /// What one unit of a column is in base units.
    fn scale(&self, id: ColumnId) -> Told<f64> {
        let unit = self.engine.unit(id);
        match unit.to_base(0.0) == 0.0 {
            true => Ok(unit.to_base(1.0)),
            false => untold("its unit does not begin at zero"),
        }
    }

    /// A column beside the others for a part of a formula; equal ones are one.
    pub(super) fn helper(
        &mut self,
        text: String,
        title: &str,
        stored: Stored,
        scale: f64,
    ) -> Told<Place> {
        fits(&text)?;
        let key = (self.here, text);
        let place = match self.helpers.get(&key) {
            Some(known) => *known,
            None => self.add_helper(key, title, stored, scale)?,
        };
        let leans = self.col(place).leans.clone();
        self.leans.extend(leans);
        Ok(place)
    }

    fn add_helper(
        &mut self,
        key: (usize, String),
        title: &str,
        stored: Stored,
        scale: f64,
    ) -> Told<Place> {
        self.must_have_room(self.here)?;
        let leans = leans_of(&key.1);
        let here = self.here;
        let mut hangs_on = BTreeSet::new();
        for place in leans {
            hangs_on.extend(self.leaning(place));
        }
        self.blocks[here].columns.push(Col {
            title: title.to_owned(),
            unit: String::new(),
            column: None,
            content: Content::Formula(key.1.clone()),
            stored,
            scale,
            shown: false,
            sure: false,
            leans: hangs_on,
        });
        let place = Place {
            block: here,
            column: self.blocks[here].columns.len() - 1,
        };
        self.helpers.insert(key, place);
        Ok(place)
    }

    /// The columns written as values that a column hangs on, itself included.
    fn leaning(&self, place: Place) -> BTreeSet<Place> {
        let col = self.col(place);
        match col.content {
            Content::Value(_) => BTreeSet::from([place]),
            Content::Entered | Content::Pending | Content::Formula(_) => col.leans.clone(),
        }
    }

    /// Uses a column: what it hangs on, the formula under work hangs on too.
    ///
    /// # Errors
    /// A sheet that has no room for one more column.
    pub(super) fn used(&mut self, id: ColumnId) -> Told<Place> {
        let place = self.column(id)?;
        let leans = self.leaning(place);
        self.leans.extend(leans);
        Ok(place)
    }

    /// The column with the names of the rows of a sheet, where they can be found by them.
    pub(super) fn ids(&mut self, sheet: SheetId) -> Told<Place> {
        let block = self.block(sheet);
        if let Some(why) = self.blocks[block].unnamed {
            return untold(why);
        }
        self.used(self.engine.column(sheet, 0))
    }

    /// A number, in whatever scale is at hand.
    pub(super) fn number(&mut self, part: &Typed) -> Told<Number> {
        match &part.node {
            Node::Number(value) => Ok(Number::constant(*value)),
            Node::Missing => Ok(Number::missing()),
            Node::Column { id, .. } => self.number_cell(*id),
            Node::Fetch { row, column, .. } => self.fetched(part, row, *column),
            Node::Assumption(param) => {
                let unit = &self.plan.assumptions()[param.at()].unit;
                match unit.to_base(0.0) == 0.0 {
                    true => {
                        let text = assumed(*param);
                        Ok(Number::of(text, Binds::Whole, unit.to_base(1.0)).soft())
                    }
                    false => untold("an assumption has a unit that does not begin at zero"),
                }
            }
            Node::Negate(x) => {
                let x = self.number(x)?;
                let text = format!("-{}", x.text(Binds::Product));
                Ok(Number::of(text, Binds::Sum, x.scale).sure_if(x.sure))
            }
            Node::Infix { op, a, b } => self.arithmetic(*op, a, b),
            Node::Call { name, form, args } => self.number_call(part, name, form, args),
            Node::Aggregate(gathered) => self.aggregate(gathered),
            Node::Flag(_)
            | Node::Text(_)
            | Node::Row(_)
            | Node::This
            | Node::Parameter(_)
            | Node::TextOf(_)
            | Node::Not(_)
            | Node::RowOf { .. } => untold("a part of it is no number"),
        }
    }

    fn number_cell(&mut self, id: ColumnId) -> Told<Number> {
        let scale = self.scale(id)?;
        let place = self.used(id)?;
        let (cell, col) = (place.cell(), self.col(place));
        Ok(match col.content {
            // An empty cell counts as 0 in a workbook, so it is made an error here.
            Content::Entered | Content::Value(_) => {
                Number::of(format!("{cell}/({cell}<>\"\")"), Binds::Product, scale)
            }
            Content::Pending | Content::Formula(_) => Number::of(cell, Binds::Whole, scale)
                .soft()
                .sure_if(col.sure),
        })
    }

    /// Whether cells of a column of numbers hold something else, as it was entered.
    fn may_hold_words(&self, column: ColumnId) -> bool {
        let node = &self.engine.graph().nodes[column.at()];
        match (node.ty, &node.source) {
            (Ty::Number(_), Source::Entered(position)) => {
                self.plan.rows(node.sheet).has_wrong(*position)
            }
            _ => false,
        }
    }

    /// A number of a row of another sheet.
    fn fetched(&mut self, part: &Typed, row: &Typed, column: ColumnId) -> Told<Number> {
        let scale = self.scale(column)?;
        let at = self.at(row)?.text(Binds::Compare);
        let place = self.used(column)?;
        let found = format!("INDEX({},{at})", place.range());
        let title = self.col(place).title.clone();
        match self.col(place).content {
            Content::Entered | Content::Value(_) => {
                let text = match self.may_hold_words(column) {
                    // An empty cell, and one with words instead of a number, becomes an error here.
                    true => format!("IFERROR({found}/({found}<>\"\"),\"\")"),
                    false => format!("IFERROR(IF({found}=\"\",\"\",{found}),\"\")"),
                };
                let stored = Stored::Part(Box::new(part.clone()));
                let place = self.helper(text, &title, stored, scale)?;
                Ok(Number::of(place.cell(), Binds::Whole, scale).soft())
            }
            Content::Pending | Content::Formula(_) => {
                Ok(Number::of(found, Binds::Whole, scale).soft())
            }
        }
    }

    fn arithmetic(&mut self, op: Infix, a: &Typed, b: &Typed) -> Told<Number> {
        let (a, b) = (self.number(a)?, self.number(b)?);
        let sure = a.sure && b.sure;
        Ok(match op {
            Infix::Add | Infix::Subtract => {
                let (a, b) = alike(a, b);
                let (sign, least) = match op {
                    Infix::Add => ('+', Binds::Sum),
                    _ => ('-', Binds::Product),
                };
                let text = format!("{}{sign}{}", a.text(Binds::Sum), b.text(least));
                Number::of(text, Binds::Sum, a.scale).sure_if(sure)
            }
            Infix::Multiply => {
                let text = format!("{}*{}", a.text(Binds::Product), b.text(Binds::Product));
                Number::of(text, Binds::Product, a.scale * b.scale).sure_if(sure)
            }
            Infix::Divide => {
                let text = format!("{}/{}", a.text(Binds::Product), b.text(Binds::Power));
                Number::of(text, Binds::Product, a.scale / b.scale)
            }
            Infix::Power => {
                let (a, b) = (a.in_scale(1.0), b.in_scale(1.0));
                let text = format!("{}^{}", a.text(Binds::Whole), b.text(Binds::Whole));
                Number::of(text, Binds::Power, 1.0)
            }
            Infix::And
            | Infix::Or
            | Infix::Equal
            | Infix::Unequal
            | Infix::Less
            | Infix::LessEqual
            | Infix::Greater
            | Infix::GreaterEqual => return untold("a part of it is no number"),
        })
    }

    fn numbers(&mut self, args: &[Typed]) -> Told<Vec<Number>> {
        args.iter().map(|arg| self.number(arg)).collect()
    }

    fn number_call(
        &mut self,
        part: &Typed,
        name: &str,
        form: &Form,
        args: &[Typed],
    ) -> Told<Number> {
        match form {
            Form::Unary(op) => self.unary(*op, &args[0]),
            Form::Fold(op) => self.folded(*op, args),
            Form::Pick => {
                let flag = self.flag(&args[0])?;
                let (a, b) = alike(self.number(&args[1])?, self.number(&args[2])?);
                let sure = flag.is_sure() && a.sure && b.sure;
                let text = format!(
                    "IF({},{},{})",
                    flag.strict(),
                    a.text(Binds::Compare),
                    b.text(Binds::Compare)
                );
                let number = Number::of(text, Binds::Whole, a.scale);
                let number = match a.soft || b.soft {
                    true => number.soft(),
                    false => number,
                };
                Ok(number.sure_if(sure))
            }
            Form::FirstGiven => self.first_number(args),
            Form::Numbers(_) => self.by_template(name, args),
            Form::Texts(TextKernel::Number { .. } | TextKernel::Flag(_) | TextKernel::Text(_)) => {
                untold(&format!("`{name}` has no workbook formula"))
            }
            Form::IsGiven | Form::OneOf | Form::Inline { .. } => {
                let what = part.leaves().len();
                untold(&format!("a part of it with {what} names is no number"))
            }
        }
    }

    fn unary(&mut self, op: Unary, x: &Typed) -> Told<Number> {
        let x = self.number(x)?;
        let call = |name: &str, x: Number| {
            let (scale, text) = (x.scale, format!("{name}({})", x.hard(Binds::Compare)));
            Number::of(text, Binds::Whole, scale)
        };
        Ok(match op {
            Unary::Abs => {
                let sure = x.sure;
                call("ABS", x).sure_if(sure)
            }
            Unary::Sqrt => call("SQRT", x.in_scale(1.0)),
            Unary::Ln => call("LN", x.in_scale(1.0)),
            Unary::Log10 => call("LOG10", x.in_scale(1.0)),
            Unary::Exp => call("EXP", x.in_scale(1.0)),
            Unary::Negate | Unary::Not | Unary::IsGiven => {
                return untold("a part of it is no number");
            }
        })
    }

    fn folded(&mut self, op: Binary, args: &[Typed]) -> Told<Number> {
        let all = all_alike(self.numbers(args)?);
        let Some(scale) = all.first().map(|one| one.scale) else {
            return untold("a call has no arguments");
        };
        let sure = all.iter().all(|one| one.sure);
        let hard = |least| -> Vec<String> { all.iter().map(|one| one.hard(least)).collect() };
        let text = match op {
            Binary::Least => format!("MIN({})", hard(Binds::Compare).join(",")),
            Binary::Most => format!("MAX({})", hard(Binds::Compare).join(",")),
            Binary::Nearest | Binary::NextUp | Binary::NextDown => {
                let (x, step) = (all[0].text(Binds::Product), all[1].text(Binds::Whole));
                // Rounding a half up or down is rounding up or down, but for the slack.
                let slack = match op {
                    Binary::NextUp => format!("-{STEP_SLACK}+0.5"),
                    Binary::NextDown => format!("+{STEP_SLACK}-0.5"),
                    _ => String::new(),
                };
                format!("ROUND({x}/{step}{slack},0)*{step}")
            }
            Binary::Add
            | Binary::Subtract
            | Binary::Multiply
            | Binary::Divide
            | Binary::Power
            | Binary::Equal
            | Binary::Unequal
            | Binary::Less
            | Binary::LessEqual
            | Binary::And
            | Binary::Or
            | Binary::FirstGiven => return untold("a call is of no kind that a workbook has"),
        };
        Ok(match op {
            Binary::Least | Binary::Most => Number::of(text, Binds::Whole, scale).sure_if(sure),
            _ => Number::of(text, Binds::Product, scale),
        })
    }

    fn first_number(&mut self, args: &[Typed]) -> Told<Number> {
        let all = all_alike(self.numbers(args)?);
        let mut from_last = all.into_iter().rev();
        let Some(mut rest) = from_last.next() else {
            return untold("a call has no arguments");
        };
        for one in from_last {
            if one.sure {
                rest = one;
                continue;
            }
            let text = format!(
                "IFERROR({},{})",
                one.hard(Binds::Compare),
                rest.text(Binds::Compare)
            );
            let number = Number::of(text, Binds::Whole, one.scale);
            rest = match rest.soft {
                true => number.soft(),
                false => number.sure_if(rest.sure),
            };
        }
        Ok(rest)
    }

    /// A function by its text, over numbers in base units.
    fn by_template(&mut self, name: &str, args: &[Typed]) -> Told<Number> {
        let Some(function) = self.library.get(name) else {
            return untold(&format!("`{name}` has no workbook formula"));
        };
        let mut texts = Vec::new();
        for (at, arg) in args.iter().enumerate() {
            let mut number = self.number(arg)?;
            let slot = format!("{{{}}}", at + 1);
            if function.workbook.matches(&slot).count() > 1 && !number.is_constant() {
                number = self.one_cell(number, arg, name)?;
            }
            texts.push(number.in_scale(1.0).hard(Binds::Whole));
        }
        let Some(text) = function.in_workbook(&texts) else {
            return untold(&format!("`{name}` has no workbook formula"));
        };
        if let Some(other) = functions(function.workbook).find(|one| !KNOWN.contains(one)) {
            return untold(&format!(
                "`{name}` needs {other}, which not every program knows"
            ));
        }
        let number = Number::of(format!("({text})"), Binds::Whole, 1.0);
        Ok(match function.workbook.contains("\"\"") {
            true => number.soft(),
            false => number,
        })
    }

    /// A number as one cell, so that it can be named twice.
    pub(super) fn one_cell(&mut self, number: Number, part: &Typed, title: &str) -> Told<Number> {
        let text = closed(number.text(Binds::Compare), number.sure).0;
        let is_cell = text.starts_with('\u{1}')
            && text.matches('\u{1}').count() == 1
            && text.ends_with('\u{4}');
        if is_cell || number.is_constant() {
            return Ok(number);
        }
        let stored = Stored::Part(Box::new(part.clone()));
        let place = self.helper(text, title, stored, number.scale)?;
        Ok(Number::of(place.cell(), Binds::Whole, number.scale).soft())
    }

    /// Yes, no or missing.
    pub(super) fn flag(&mut self, part: &Typed) -> Told<Flag> {
        match &part.node {
            Node::Flag(flag) => Ok(Flag::Constant(*flag)),
            Node::Missing => Ok(Flag::Missing),
            Node::Column { id, .. } => {
                let place = self.used(*id)?;
                let cell = place.cell();
                Ok(match (&self.col(place).content, self.col(place).sure) {
                    // An empty cell is as good as no to a workbook.
                    (Content::Value(_) | Content::Entered, _) => {
                        Flag::Strict(format!("IF({cell}=\"\",{MISSING},{cell})"))
                    }
                    (Content::Formula(_) | Content::Pending, true) => Flag::Sure(cell),
                    (Content::Formula(_) | Content::Pending, false) => Flag::Cell(cell),
                })
            }
            Node::Fetch { row, column, .. } => {
                let at = self.at(row)?.text(Binds::Compare);
                let place = self.used(*column)?;
                let found = format!("INDEX({},{at})", place.range());
                let text = format!("IFERROR(IF({found}=\"\",\"\",{found}),\"\")");
                let title = self.col(place).title.clone();
                let stored = Stored::Part(Box::new(part.clone()));
                let place = self.helper(text, &title, stored, 1.0)?;
                Ok(Flag::Cell(place.cell()))
            }
            Node::Not(x) => Ok(Flag::Not(Box::new(self.flag(x)?))),
            Node::Infix { op, a, b } => self.compared(*op, a, b),
            Node::Call { name, form, args } => self.flag_call(name, form, args),
            Node::Number(_)
            | Node::Text(_)
            | Node::Row(_)
            | Node::This
            | Node::Assumption(_)
            | Node::Parameter(_)
            | Node::TextOf(_)
            | Node::Negate(_)
            | Node::Aggregate(_)
            | Node::RowOf { .. } => untold("a part of it does not say yes or no"),
        }
    }

    fn compared(&mut self, op: Infix, a: &Typed, b: &Typed) -> Told<Flag> {
        let sign = match op {
            Infix::And => return Ok(Flag::And(self.joined(Infix::And, a, b)?)),
            Infix::Or => return Ok(Flag::Or(self.joined(Infix::Or, a, b)?)),
            Infix::Equal if !matches!(a.ty, Ty::Number(_)) => return self.same(a, b),
            Infix::Unequal if !matches!(a.ty, Ty::Number(_)) => {
                return Ok(Flag::Not(Box::new(self.same(a, b)?)));
            }
            Infix::Equal => "=",
            Infix::Unequal => "<>",
            Infix::Less => "<",
            Infix::LessEqual => "<=",
            Infix::Greater => ">",
            Infix::GreaterEqual => ">=",
            Infix::Add | Infix::Subtract | Infix::Multiply | Infix::Divide | Infix::Power => {
                return untold("a part of it does not say yes or no");
            }
        };
        let (a, b) = alike(self.number(a)?, self.number(b)?);
        let text = format!("{}{sign}{}", a.hard(Binds::Join), b.hard(Binds::Join));
        Ok(match a.sure && b.sure {
            true => Flag::Sure(text),
            false => Flag::Strict(text),
        })
    }

    /// The sides of `and` or `or`, with those inside that are joined in the same way.
    fn joined(&mut self, op: Infix, a: &Typed, b: &Typed) -> Told<Vec<Flag>> {
        let mut all = Vec::new();
        for side in [a, b] {
            match self.flag(side)? {
                Flag::And(inner) if op == Infix::And => all.extend(inner),
                Flag::Or(inner) if op == Infix::Or => all.extend(inner),
                other => all.push(other),
            }
        }
        Ok(all)
    }

    /// Whether two texts, rows or flags are the same.
    fn same(&mut self, a: &Typed, b: &Typed) -> Told<Flag> {
        if a.ty == Ty::Flag {
            let (a, b) = (self.flag(a)?, self.flag(b)?);
            return Ok(Flag::Strict(format!("({})=({})", a.strict(), b.strict())));
        }
        let rows = matches!((a.ty, b.ty), (Ty::Row(_), Ty::Row(_)));
        let this = matches!(a.node, Node::This) || matches!(b.node, Node::This);
        if rows && this && self.blocks[self.here].is_nameless {
            return untold("it asks for a row of a sheet in which one has no id");
        }
        if rows && (this || !has_text(a) && !has_text(b)) {
            let (a, b) = (self.at(a)?, self.at(b)?);
            return Ok(Flag::Strict(format!(
                "{}={}",
                a.hard(Binds::Join),
                b.hard(Binds::Join)
            )));
        }
        let (a, b) = (self.word_cell(a)?, self.word_cell(b)?);
        Ok(same_words(&a, &[b]))
    }

    fn flag_call(&mut self, name: &str, form: &Form, args: &[Typed]) -> Told<Flag> {
        match form {
            Form::Pick => {
                let flag = self.flag(&args[0])?;
                let (a, b) = (self.flag(&args[1])?, self.flag(&args[2])?);
                let sure = flag.is_sure() && a.is_sure() && b.is_sure();
                let text = format!("IF({},{},{})", flag.strict(), a.strict(), b.strict());
                Ok(match sure {
                    true => Flag::Sure(text),
                    false => Flag::Strict(text),
                })
            }
            Form::FirstGiven => self.first_flag(args),
            Form::IsGiven => self.given(&args[0]),
            Form::OneOf => self.one_of(args),
            Form::Texts(TextKernel::Flag(_)) => self.text_test(name, args),
            Form::Texts(TextKernel::Number { .. } | TextKernel::Text(_))
            | Form::Unary(_)
            | Form::Fold(_)
            | Form::Numbers(_)
            | Form::Inline { .. } => untold("a part of it does not say yes or no"),
        }
    }

    fn first_flag(&mut self, args: &[Typed]) -> Told<Flag> {
        let mut from_last = args.iter().rev();
        let Some(last) = from_last.next() else {
            return untold("a call has no arguments");
        };
        let mut rest = self.flag(last)?;
        for arg in from_last {
            let flag = self.flag(arg)?;
            rest = match (flag.is_sure(), &rest) {
                (true, _) => flag,
                (false, Flag::Constant(false)) => Flag::Sure(flag.yes()),
                (false, Flag::Constant(true)) => Flag::Not(Box::new(Flag::Sure(flag.no()))),
                (false, rest) => {
                    let text = format!("IFERROR({},{})", flag.strict(), rest.strict());
                    match rest.is_sure() {
                        true => Flag::Sure(text),
                        false => Flag::Strict(text),
                    }
                }
            };
        }
        Ok(rest)
    }

    /// Whether a value is given; a row that comes from an entered column is, by its text.
    pub(super) fn given(&mut self, part: &Typed) -> Told<Flag> {
        match part.ty {
            Ty::Number(_) => {
                if let Node::Column { id, entered: true } = part.node {
                    return Ok(Flag::Sure(format!("{}<>\"\"", self.used(id)?.cell())));
                }
                let number = self.number(part)?;
                Ok(match number.sure {
                    true => Flag::Constant(true),
                    false => {
                        let text = number.text(Binds::Join);
                        let is_cell = number.soft
                            && text.starts_with('\u{1}')
                            && text.matches('\u{4}').count() == 1;
                        match is_cell && text.ends_with('\u{4}') {
                            true => Flag::Sure(format!("{text}<>\"\"")),
                            false => Flag::Sure(format!(
                                "IFERROR({}*0=0,FALSE)",
                                number.hard(Binds::Product)
                            )),
                        }
                    }
                })
            }
            Ty::Flag => {
                let flag = self.flag(part)?;
                Ok(match flag.is_sure() {
                    true => Flag::Constant(true),
                    false => Flag::Sure(format!("OR({},{})", flag.yes(), flag.no())),
                })
            }
            Ty::Row(_) if !has_text(part) => {
                let at = self.at(part)?;
                Ok(Flag::Sure(format!(
                    "IFERROR({}*0=0,FALSE)",
                    at.hard(Binds::Product)
                )))
            }
            Ty::Text | Ty::Row(_) => {
                let words = self.word_cell(part)?;
                Ok(match words.sure {
                    true => Flag::Constant(true),
                    false => Flag::Sure(format!("{}<>\"\"", words.text)),
                })
            }
        }
    }

    fn one_of(&mut self, args: &[Typed]) -> Told<Flag> {
        let (first, others) = (&args[0], &args[1..]);
        if matches!(first.ty, Ty::Number(_) | Ty::Flag) {
            let all = others
                .iter()
                .map(|other| self.compared(Infix::Equal, first, other));
            return Ok(Flag::Or(all.collect::<Told<Vec<_>>>()?));
        }
        let first = self.word_cell(first)?;
        let others = others.iter().map(|other| self.word_cell(other));
        let others = others.collect::<Told<Vec<_>>>()?;
        if others.iter().all(|other| other.sure) {
            return Ok(same_words(&first, &others));
        }
        let each = |other| same_words(&first, std::slice::from_ref(other));
        Ok(Flag::Or(others.iter().map(each).collect()))
    }

    /// `has` and `begins`: counting in one cell finds a part of a text without regard to case.
    fn text_test(&mut self, name: &str, args: &[Typed]) -> Told<Flag> {
        let text = self.word_cell(&args[0])?;
        let part = self.word_cell(&args[1])?;
        if text.constant.is_some() {
            return untold(&format!("`{name}` looks into a text that is no cell"));
        }
        let before = if name == "has" { "\"*\"&" } else { "" };
        if !matches!(name, "has" | "begins") || part.constant.as_deref().is_some_and(is_pattern) {
            return untold(&format!("`{name}` has no workbook formula"));
        }
        let given = [&text, &part].into_iter().filter(|one| !one.sure);
        Ok(Flag::Same {
            given: given.map(|one| one.text.clone()).collect(),
            same: format!(
                "COUNTIFS({0}:{0},{before}{1}&\"*\")>0",
                text.text, part.text
            ),
            closed: false,
        })
    }

    /// Whether a cell of an entered column of rows names none, with a text that a search would take
    /// for a pattern and find a row by.
    fn points_by_pattern(&mut self, id: ColumnId, sheet: SheetId, position: usize) -> bool {
        if let Some(known) = self.patterns.get(&id) {
            return *known;
        }
        let rows = self.plan.rows(sheet).order().iter();
        let mut lost = rows.filter(|row| self.engine.row_at(id, **row) == ABSENT);
        let found = lost.any(|row| match self.plan.entry(sheet, position, *row) {
            Entry::Text(code) => is_pattern(&self.plan.names().text(code)),
            Entry::Empty | Entry::Number(_) | Entry::Wrong(_) => false,
        });
        self.patterns.insert(id, found);
        found
    }

    /// A column of texts: of choices without the cells that hold none of them, which count as
    /// missing.
    fn readable(&mut self, id: ColumnId) -> Told<Place> {
        let place = self.used(id)?;
        let node = &self.engine.graph().nodes[id.at()];
        let Source::Entered(position) = node.source else {
            if let Ty::Row(to) = node.ty {
                let to = self.block(to);
                if self.blocks[to].is_nameless {
                    return untold("it reads a row that may have no id");
                }
            }
            return Ok(place);
        };
        if matches!(node.ty, Ty::Row(_)) && self.points_by_pattern(id, node.sheet, position) {
            return untold("a cell names no row, and would be searched for as a pattern");
        }
        let def = self.plan.column(node.sheet, position);
        let is_choice = def.kind == ColumnKind::Choice;
        if !is_choice || !self.plan.rows(node.sheet).has_wrong(position) {
            return Ok(place);
        }
        let (cell, title, block) = (place.cell(), def.title.clone(), place.block);
        let words = def.choices.iter().map(|word| format!("{cell}=\"{word}\""));
        let words: Vec<String> = words.collect();
        let text = format!("IF(OR({}),{cell},\"\")", words.join(","));
        let part = Typed {
            span: 0..0,
            ty: node.ty,
            node: Node::Column { id, entered: true },
        };
        let here = std::mem::replace(&mut self.here, block);
        let read = self.helper(text, &title, Stored::Part(Box::new(part)), 1.0);
        self.here = here;
        read
    }

    /// A text.
    pub(super) fn words(&mut self, part: &Typed) -> Told<Words> {
        match &part.node {
            Node::Text(text) => match is_markless(text) {
                true => Ok(Words::constant(text)),
                false => untold("a text in it cannot be written into a workbook"),
            },
            Node::Missing => Ok(Words::missing()),
            Node::Column { id, .. } => {
                let place = self.readable(*id)?;
                let col = self.col(place);
                let words = Words::cell(place.cell());
                Ok(Words {
                    sure: col.sure,
                    blank: !matches!(col.content, Content::Formula(_)),
                    ..words
                })
            }
            Node::Fetch { row, column, .. } => {
                let at = self.at(row)?.text(Binds::Compare);
                let place = self.readable(*column)?;
                Ok(Words::of(format!("INDEX({},{at})&\"\"", place.range())))
            }
            Node::Assumption(param) => Ok(Words::cell(assumed(*param))),
            Node::TextOf(x) => self.words(x),
            Node::Row(row) => match part.ty {
                Ty::Row(sheet) => Ok(Words::constant(&self.plan.id(sheet, RowId(*row)))),
                Ty::Number(_) | Ty::Text | Ty::Flag => Ok(Words::missing()),
            },
            Node::This => {
                let sheet = self.blocks[self.here].sheet;
                let place = self.used(self.engine.column(sheet, 0))?;
                Ok(Words::cell(place.cell()))
            }
            Node::RowOf { sheet, .. } => {
                let at = self.at(part)?.text(Binds::Compare);
                let ids = self.ids(*sheet)?;
                Ok(Words::of(format!("INDEX({},{at})&\"\"", ids.range())))
            }
            Node::Call { name, form, args } => self.words_call(name, form, args),
            Node::Number(_)
            | Node::Flag(_)
            | Node::Parameter(_)
            | Node::Negate(_)
            | Node::Not(_)
            | Node::Infix { .. }
            | Node::Aggregate(_) => untold("a part of it is no text"),
        }
    }

    fn words_call(&mut self, name: &str, form: &Form, args: &[Typed]) -> Told<Words> {
        match form {
            Form::Pick => {
                let flag = self.flag(&args[0])?;
                let (a, b) = (self.words(&args[1])?, self.words(&args[2])?);
                let text = format!("IF({},{},{})", flag.strict(), a.value(), b.value());
                Ok(Words {
                    sure: flag.is_sure() && a.sure && b.sure,
                    ..Words::of(text)
                })
            }
            Form::FirstGiven => {
                let (last, before) = match args.split_last() {
                    Some(split) => split,
                    None => return untold("a call has no arguments"),
                };
                let mut rest = self.words(last)?;
                for arg in before.iter().rev() {
                    let first = self.word_cell(arg)?;
                    let text = format!("IF({0}<>\"\",{0},{1})", first.text, rest.value());
                    rest = Words {
                        sure: rest.sure,
                        ..Words::of(text)
                    };
                }
                Ok(rest)
            }
            Form::Texts(TextKernel::Text(_)) if name == "joined" => {
                let all = args.iter().map(|arg| self.word_cell(arg));
                let all = all.collect::<Told<Vec<_>>>()?;
                let joined: Vec<&str> = all.iter().map(|one| one.text.as_str()).collect();
                let joined = joined.join("&");
                let open = all.iter().filter(|one| !one.sure);
                let open: Vec<String> = open.map(|one| format!("{}=\"\"", one.text)).collect();
                Ok(match open.as_slice() {
                    [] => Words {
                        sure: true,
                        ..Words::of(joined)
                    },
                    [one] => Words::of(format!("IF({one},\"\",{joined})")),
                    several => Words::of(format!("IF(OR({}),\"\",{joined})", several.join(","))),
                })
            }
            Form::Texts(_) => untold(&format!("`{name}` has no workbook formula")),
            Form::Unary(_)
            | Form::Fold(_)
            | Form::IsGiven
            | Form::OneOf
            | Form::Numbers(_)
            | Form::Inline { .. } => untold("a part of it is no text"),
        }
    }

    /// A text as one cell or a constant, so that it can be named twice.
    fn word_cell(&mut self, part: &Typed) -> Told<Words> {
        let words = self.words(part)?;
        if words.is_cell {
            return Ok(words);
        }
        let stored = match part.ty {
            Ty::Row(_) => Typed {
                span: part.span.clone(),
                ty: Ty::Text,
                node: Node::TextOf(Box::new(part.clone())),
            },
            Ty::Number(_) | Ty::Text | Ty::Flag => part.clone(),
        };
        let text = closed(words.text, words.sure).0;
        let place = self.helper(text, "text", Stored::Part(Box::new(stored)), 1.0)?;
        Ok(Words {
            sure: words.sure,
            ..Words::cell(place.cell())
        })
    }

    /// Where a row stands in the block of its sheet, counted from 1; always one cell, a search for
    /// a name, or missing.
    pub(super) fn at(&mut self, part: &Typed) -> Told<Number> {
        let Ty::Row(sheet) = part.ty else {
            return untold("a part of it is no row");
        };
        if part.is_missing() {
            return Ok(Number::missing());
        }
        let ids = self.ids(sheet)?.range();
        let text = match &part.node {
            Node::This | Node::Row(_) | Node::Column { .. } | Node::Fetch { .. } => {
                let name = self.words(part)?.value();
                format!("MATCH({name},{ids},0)")
            }
            Node::Call {
                form: Form::Pick,
                args,
                ..
            } => {
                let flag = self.flag(&args[0])?.strict();
                let (a, b) = (self.at(&args[1])?, self.at(&args[2])?);
                format!(
                    "IF({flag},{},{})",
                    a.text(Binds::Compare),
                    b.text(Binds::Compare)
                )
            }
            Node::Call {
                form: Form::FirstGiven,
                args,
                ..
            } => {
                let Some((last, before)) = args.split_last() else {
                    return untold("a call has no arguments");
                };
                let mut rest = self.at(last)?.text(Binds::Compare);
                for arg in before.iter().rev() {
                    let given = self.given(arg)?.yes();
                    let at = self.at(arg)?.text(Binds::Compare);
                    rest = format!("IF({given},{at},{rest})");
                }
                rest
            }
            Node::RowOf { sheet, keys } => self.search(*sheet, keys)?,
            Node::Number(_)
            | Node::Text(_)
            | Node::Flag(_)
            | Node::Missing
            | Node::Assumption(_)
            | Node::Parameter(_)
            | Node::TextOf(_)
            | Node::Negate(_)
            | Node::Not(_)
            | Node::Infix { .. }
            | Node::Aggregate(_)
            | Node::Call { .. } => return untold("a part of it is no row"),
        };
        let block = self.block(sheet);
        let title = format!("row in {}", self.plan.def(sheet).name);
        let stored = Stored::At(Box::new(part.clone()), block);
        let place = self.helper(format!("IFERROR({text},\"\")"), &title, stored, 1.0)?;
        Ok(Number::of(place.cell(), Binds::Whole, 1.0).soft())
    }
}

impl Words {
    /// The text as a value, not a cell that counts as 0 where it is empty.
    fn value(&self) -> String {
        match self.blank {
            true => format!("{}&\"\"", self.text),
            false => self.text.clone(),
        }
    }
}

/// A formula whose errors are an empty text, where there can be any.
fn closed(text: String, sure: bool) -> (String, bool) {
    match sure {
        true => (text, true),
        false => (format!("IFERROR({text},\"\")"), false),
    }
}

/// Whether a text is the same as one of others.
fn same_words(a: &Words, others: &[Words]) -> Flag {
    let each = others
        .iter()
        .map(|other| format!("{}={}", a.text, other.text));
    let each: Vec<String> = each.collect();
    let same = match each.as_slice() {
        [one] => one.clone(),
        several => format!("OR({})", several.join(",")),
    };
    let open = std::iter::once(a).chain(others).filter(|one| !one.sure);
    let given: Vec<String> = open.map(|one| one.text.clone()).collect();
    Flag::Same {
        closed: given.len() < 2,
        given,
        same,
    }
}

/// Whether a row comes from an entered column, and so has a text even where it names no row.
pub(super) fn has_text(part: &Typed) -> bool {
    match &part.node {
        Node::Column { entered, .. } | Node::Fetch { entered, .. } => *entered,
        Node::Call { form, args, .. } => match form {
            Form::Pick => args[1..].iter().any(has_text),
            Form::FirstGiven => args.iter().any(has_text),
            Form::Unary(_)
            | Form::Fold(_)
            | Form::IsGiven
            | Form::OneOf
            | Form::Numbers(_)
            | Form::Texts(_)
            | Form::Inline { .. } => false,
        },
        Node::Number(_)
        | Node::Text(_)
        | Node::Flag(_)
        | Node::Missing
        | Node::Row(_)
        | Node::This
        | Node::Assumption(_)
        | Node::Parameter(_)
        | Node::TextOf(_)
        | Node::Negate(_)
        | Node::Not(_)
        | Node::Infix { .. }
        | Node::Aggregate(_)
        | Node::RowOf { .. } => false,
    }
}

/// Whether a text would be taken for a pattern where texts are searched.
fn is_pattern(text: &str) -> bool {
    text.contains(['*', '?', '~'])
}

/// The names of the functions in a workbook formula.
fn functions(text: &str) -> impl Iterator<Item = &str> {
    text.match_indices('(').filter_map(|(at, _)| {
        let before = &text[..at];
        let is_name = |c: char| c.is_ascii_uppercase() || c.is_ascii_digit() || c == '.';
        let name = before.trim_end_matches(is_name);
        let name = &before[name.len()..];
        (!name.is_empty()).then_some(name)
    })
}

/// The columns that a formula with marks names.
fn leans_of(marked: &str) -> Vec<Place> {
    super::book::pieces(marked)
        .into_iter()
        .filter_map(|piece| match piece {
            super::book::Piece::Cell(place) | super::book::Piece::Range(place) => Some(place),
            super::book::Piece::Plain(_) | super::book::Piece::Assumed(_) => None,
        })
        .collect()
}

/// Refuses a formula that is longer or deeper than the format allows.
fn fits(marked: &str) -> Told<()> {
    // A mark becomes at most a page, four letters and two numbers of seven digits.
    let marks = super::book::pieces(marked).len() / 2;
    let (mut depth, mut deepest) = (0_usize, 0);
    for c in marked.chars() {
        match c {
            '(' => depth += 1,
            ')' => depth = depth.saturating_sub(1),
            _ => {}
        }
        deepest = deepest.max(depth);
    }
    match marked.len() + marks * 40 > MOST_CHARACTERS || deepest > MOST_NESTED {
        true => untold("the formula would be longer than a workbook takes"),
        false => Ok(()),
    }
}

/// The block of a sheet: rows in the order in which a search from the top finds the one that
/// counts.
fn block_of(plan: &Plan, sheet: SheetId) -> Block {
    let rows = plan.rows(sheet);
    let mut order: Vec<RowId> = rows.order().to_vec();
    let is_table = plan.def(sheet).reference;
    if is_table {
        // A person's row beats a built-in one, and a later one an earlier one.
        order.sort_by_key(|row| rows.is_builtin(*row));
        let own = order
            .iter()
            .take_while(|row| !rows.is_builtin(**row))
            .count();
        order[..own].reverse();
    }
    let mut positions = vec![0; rows.n_stored()];
    for (at, row) in order.iter().enumerate() {
        positions[row.at()] = u32::try_from(at + 1).unwrap_or(0);
    }
    let (mut unnamed, mut is_nameless) = (None, false);
    // Of each name a number, since the names of a large sheet are not to be held twice.
    let mut names: Vec<(u64, RowId)> = Vec::new();
    let folded = |row: RowId| plan.id(sheet, row).to_lowercase();
    for row in &order {
        let id = plan.id(sheet, *row);
        is_nameless |= id.is_empty();
        if is_pattern(&id) || id.chars().count() > MOST_OF_A_NAME {
            unnamed = Some("a row has a name that cannot be searched for");
        } else if !is_table && !id.is_empty() {
            names.push((FxBuildHasher.hash_one(id.to_lowercase()), *row));
        }
    }
    names.sort_unstable();
    let mut equal = names
        .chunk_by(|a, b| a.0 == b.0)
        .filter(|one| one.len() > 1);
    if equal.any(|one| one.iter().any(|(_, row)| is_twice(one, *row, &folded))) {
        unnamed = Some("two rows have the same name");
    }
    Block {
        sheet,
        rows: order,
        positions,
        unnamed,
        is_nameless,
        columns: Vec::new(),
    }
}

/// Whether another of some rows has the name of a row.
fn is_twice(rows: &[(u64, RowId)], row: RowId, name: &impl Fn(RowId) -> String) -> bool {
    let others = rows.iter().filter(|(_, other)| *other != row);
    others
        .map(|(_, other)| name(*other))
        .any(|other| other == name(row))
}

/// Refuses with a reason.
pub(super) fn untold<T>(why: &str) -> Told<T> {
    Err(Untold(why.to_owned()))
}
