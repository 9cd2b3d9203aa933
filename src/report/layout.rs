//! Which columns stand on which page of a workbook, and where.
//!
//! Chooses and counts; formulas come from `translate.rs`, and what is written from `workbook`.

use super::book::{Block, Col, Content, Grid, Piece, Place, Spot, letters, pieces};
use super::stored::{Datum, Values};
use super::translate::Translator;
use crate::engine::Engine;
use crate::plan::Plan;
use crate::table::{ColumnId, ParamId, SheetId};
use crate::trade::ledger;

/// The sheets that have a page of their own, in the order of the pages, with the name of the page.
pub const PAGES: &[(&str, &str)] = &[
    ("parts", "Parts"),
    ("links", "Links"),
    ("switches", "Switches"),
    ("paths", "Paths"),
    ("segments", "Segments"),
    ("modules", "Modules"),
    ("readings", "Readings"),
];

/// The page with the tables that formulas look into.
pub const REFERENCE: &str = "Reference";

/// The page with the assumptions.
pub const ASSUMPTIONS: &str = "Assumptions";

/// The first row of values on a page, from 1: title, words, kinds and heads stand above.
pub const FIRST_ROW: u32 = 5;

/// The letters of the column of assumptions that formulas read.
pub const ASSUMED: &str = "E";

/// The columns of a reference table that say where a row comes from.
const ORIGINS: &[&str] = &["source", "confidence", "note"];

/// A block on its page.
#[derive(Debug, Clone)]
pub struct Laid {
    /// Which block.
    pub block: usize,
    /// The name of its page.
    pub page: String,
    /// The first row of values, from 1.
    pub first: u32,
    /// Its columns in order, those for people first.
    pub columns: Vec<Placed>,
    /// How many of them are for people.
    pub n_shown: usize,
}

/// A column on its page.
#[derive(Debug, Clone)]
pub struct Placed {
    /// Its place among the blocks.
    pub place: Place,
    /// What stands above it; with the unit.
    pub heading: String,
}

/// Everything about where things stand.
pub struct Layout {
    /// The blocks with rows and columns.
    pub blocks: Vec<Block>,
    /// Pages of sheets, in order.
    pub pages: Vec<Laid>,
    /// Tables on the reference page, in order.
    pub tables: Vec<Laid>,
    /// Where marks lead.
    pub grid: Grid,
}

impl Layout {
    /// Lays a plan out; no block gets columns for its formulas beyond so many cells.
    pub fn new(plan: &Plan, engine: &Engine, most_cells: usize) -> Self {
        let pages: Vec<(SheetId, Vec<ColumnId>, &str)> = PAGES
            .iter()
            .filter_map(|(sheet, page)| {
                let sheet = plan.sheet(sheet)?;
                let is_there = !plan.rows(sheet).order().is_empty();
                is_there.then(|| (sheet, shown(plan, engine, sheet), *page))
            })
            .collect();
        let asked: Vec<(SheetId, Vec<ColumnId>)> = pages
            .iter()
            .map(|(sheet, columns, _)| (*sheet, columns.clone()))
            .collect();
        let mut translator = Translator::new(plan, engine, &asked, most_cells);
        translator.translate_all();
        let blocks = std::mem::take(&mut translator.blocks);
        let used = used(&blocks);
        let mut laid = Vec::new();
        for (at, (_, _, page)) in pages.iter().enumerate() {
            laid.push(lay(engine, &blocks, at, page, FIRST_ROW, &used));
        }
        let mut tables = Vec::new();
        let mut row = FIRST_ROW;
        for at in pages.len()..blocks.len() {
            if used[at].iter().any(|used| *used) {
                let table = lay(engine, &blocks, at, REFERENCE, row + 2, &used);
                row = table.first + u32::try_from(blocks[at].rows.len()).unwrap_or(0) + 1;
                tables.push(table);
            }
        }
        let grid = grid(plan, &blocks, laid.iter().chain(&tables));
        Self {
            blocks,
            pages: laid,
            tables,
            grid,
        }
    }

    /// A column by its place.
    pub fn col(&self, place: Place) -> &Col {
        &self.blocks[place.block].columns[place.column]
    }

    /// The values of a column.
    pub fn values<'a>(&'a self, plan: &'a Plan, engine: &'a Engine, place: Place) -> Values<'a> {
        super::stored::values(plan, engine, &self.blocks, place)
    }

    /// The page of a sheet, if it has one.
    pub fn page_of(&self, sheet: SheetId) -> Option<&Laid> {
        self.pages
            .iter()
            .find(|laid| self.blocks[laid.block].sheet == sheet)
    }

    /// A column of a page by its name in the plan, and its letters.
    pub fn find(&self, engine: &Engine, laid: &Laid, name: &str) -> Option<(Place, String)> {
        let sheet = self.blocks[laid.block].sheet;
        let id = engine.find_column(sheet, name)?;
        let placed = laid
            .columns
            .iter()
            .find(|one| self.col(one.place).column == Some(id))?;
        let spot = &self.grid.blocks[laid.block];
        let letters = spot.letters[placed.place.column].clone()?;
        Some((placed.place, letters))
    }

    /// Live columns for people that hang on one that stands as values, by page and heading.
    pub fn leaning(&self) -> Vec<(String, String)> {
        let shown = self.pages.iter().flat_map(|laid| {
            let columns = laid.columns.iter().take(laid.n_shown);
            columns.map(move |placed| (laid, placed))
        });
        let leaning = shown.filter(|(_, placed)| {
            let col = self.col(placed.place);
            matches!(col.content, Content::Formula(_)) && !col.leans.is_empty()
        });
        leaning
            .map(|(laid, placed)| (laid.page.clone(), placed.heading.clone()))
            .collect()
    }

    /// Columns for people that stand as values, with the reason.
    pub fn values_only(&self) -> impl Iterator<Item = (&Laid, &Col, &str)> {
        let laid = self.pages.iter().chain(&self.tables);
        laid.flat_map(|laid| laid.columns.iter().map(move |placed| (laid, placed)))
            .map(|(laid, placed)| (laid, self.col(placed.place)))
            .filter_map(|(laid, col)| match &col.content {
                Content::Value(why) => Some((laid, col, why.as_str())),
                Content::Entered | Content::Pending | Content::Formula(_) => None,
            })
    }
}

/// The columns that people read: as in the ledger, without those that hold nothing, and quiet ones
/// in which something was entered.
pub fn shown(plan: &Plan, engine: &Engine, sheet: SheetId) -> Vec<ColumnId> {
    let def = &engine.schema()[sheet.at()];
    let rows = plan.rows(sheet).order();
    let holds = |column: ColumnId| {
        let values = Values::Column(super::stored::Reader::new(plan, engine, column, rows));
        (0..rows.len()).any(|row| values.at(row) != Datum::Empty)
    };
    let is_led = |column: ColumnId| {
        let name = engine.def(column).map_or("", |def| def.name.as_str());
        let view = &plan.view(sheet).order;
        name == "verdict" || def.ledger.iter().chain(view).any(|led| led == name)
    };
    let mut all = ledger(plan, engine, sheet);
    let id = all.first().copied();
    all.retain(|column| Some(*column) == id || is_led(*column) || holds(*column));
    let quiet = plan.entered(sheet).map(|at| engine.column(sheet, at));
    for column in quiet {
        if !all.contains(&column) && holds(column) {
            all.push(column);
        }
    }
    all
}

/// For each column of each block, whether people or a formula that is used need it.
fn used(blocks: &[Block]) -> Vec<Vec<bool>> {
    let mut used: Vec<Vec<bool>> = blocks
        .iter()
        .map(|block| block.columns.iter().map(|col| col.shown).collect())
        .collect();
    let mut open: Vec<Place> = Vec::new();
    for (block, all) in blocks.iter().enumerate() {
        let shown = all.columns.iter().enumerate().filter(|(_, col)| col.shown);
        open.extend(shown.map(|(column, _)| Place { block, column }));
    }
    while let Some(place) = open.pop() {
        let Content::Formula(text) = &blocks[place.block].columns[place.column].content else {
            continue;
        };
        for piece in pieces(text) {
            if let Piece::Cell(place) | Piece::Range(place) = piece
                && !used[place.block][place.column]
            {
                used[place.block][place.column] = true;
                open.push(place);
            }
        }
    }
    used
}

fn lay(
    engine: &Engine,
    blocks: &[Block],
    at: usize,
    page: &str,
    first: u32,
    used: &[Vec<bool>],
) -> Laid {
    let block = &blocks[at];
    let is_table = page == REFERENCE;
    let id = engine.column(block.sheet, 0);
    let is_id = |col: &Col| col.column == Some(id);
    let mut order: Vec<usize> = Vec::new();
    let add = |order: &mut Vec<usize>, wanted: &dyn Fn(&Col) -> bool| {
        for (column, col) in block.columns.iter().enumerate() {
            if used[at][column] && wanted(col) && !order.contains(&column) {
                order.push(column);
            }
        }
    };
    add(&mut order, &is_id);
    match is_table {
        true => add(&mut order, &|col| col.column.is_some()),
        false => add(&mut order, &|col| col.shown),
    }
    let n_shown = order.len();
    add(&mut order, &|_| true);
    let mut columns: Vec<Placed> = Vec::new();
    for column in order {
        let col = &block.columns[column];
        let mut heading = title_of(engine, col);
        let is_taken =
            |columns: &[Placed], heading: &str| columns.iter().any(|one| one.heading == heading);
        if is_taken(&columns, &heading) {
            heading = format!("{heading}, {}", columns.len() + 1);
        }
        columns.push(Placed {
            place: Place { block: at, column },
            heading,
        });
    }
    Laid {
        block: at,
        page: page.to_owned(),
        first,
        columns,
        n_shown,
    }
}

/// What stands above a column: its title with its unit.
fn title_of(engine: &Engine, col: &Col) -> String {
    let def = col.column.and_then(|column| engine.def(column));
    let title = def.map_or(col.title.as_str(), |def| def.title.as_str());
    titled(title, &col.unit)
}

/// A title with its unit.
pub fn titled(title: &str, unit: &str) -> String {
    match unit.is_empty() {
        true => title.to_owned(),
        false => format!("{title} ({unit})"),
    }
}

fn grid<'a>(plan: &Plan, blocks: &[Block], laid: impl Iterator<Item = &'a Laid>) -> Grid {
    let mut grid = Grid {
        blocks: vec![Spot::default(); blocks.len()],
        assumed: Vec::new(),
    };
    for one in laid {
        let block = &blocks[one.block];
        let mut places = vec![None; block.columns.len()];
        for (at, placed) in one.columns.iter().enumerate() {
            places[placed.place.column] = Some(letters(at));
        }
        grid.blocks[one.block] = Spot {
            page: one.page.clone(),
            first: one.first,
            n_rows: u32::try_from(block.rows.len()).unwrap_or(0),
            letters: places,
        };
    }
    grid.assumed = (0..plan.assumptions().len())
        .map(|at| {
            let row = FIRST_ROW + u32::try_from(at).unwrap_or(0);
            (ASSUMPTIONS.to_owned(), row, ASSUMED.to_owned())
        })
        .collect();
    grid
}

/// The columns of a table that say where a row comes from.
pub fn origins(plan: &Plan, engine: &Engine, sheet: SheetId) -> Vec<ColumnId> {
    let columns = ORIGINS
        .iter()
        .filter_map(|name| plan.def(sheet).column(name));
    columns
        .map(|position| engine.column(sheet, position))
        .collect()
}

/// The row of the assumptions page on which an assumption stands, from 1.
pub fn assumption_row(param: ParamId) -> u32 {
    FIRST_ROW + u32::try_from(param.at()).unwrap_or(0)
}
