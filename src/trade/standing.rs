//! How a plan stands: what every check finds, kept up to date from edit to edit.
//!
//! Which rows are found is said by the columns of flags, which the engine keeps; here are their
//! numbers, their order, and what an edit changed. Sentences are filled only for what is asked.

use super::alike;
use super::bits::Bits;
use super::findings::{Finding, Findings, Sentence, slot};
use super::namesakes::{Among, Namesakes};
use super::verdict::{Case, cases};
use crate::engine::Dirty;
use crate::engine::Engine;
use crate::plan::Plan;
use crate::plan::Touched;
use crate::problem::Severity;
use crate::table::{ABSENT, ColumnId, RowId, SheetId, Values};
use std::sync::OnceLock;

/// The words of a verdict, in the order in which they are counted.
pub const VERDICTS: [&str; 4] = ["fails", "unknown", "tight", "fits"];

/// So many findings that came or went are known one by one; beyond that they are only counted.
pub const MOST_MOVED: usize = 1000;

/// After an edit of more rows than this, a list of rows is made anew when it is asked for.
const MOST_RELISTED: usize = 64;

/// What every check finds.
#[derive(Debug)]
pub struct Standing {
    /// What can find a row, worst first, then in the order of checks.
    finders: Vec<Finder>,
    counts: [usize; 3],
    verdicts: Vec<Option<Verdicts>>,
    namesakes: Option<Namesakes>,
    moved: Moved,
    told: Vec<Told>,
}

/// One case of a check, or one kind of names that look alike, and the rows it finds.
#[derive(Debug)]
struct Finder {
    what: What,
    sheet: SheetId,
    severity: Severity,
    found: Bits,
    /// The rows found in the order shown, made when first asked for.
    listed: OnceLock<Vec<u32>>,
    /// Sentence and advice, compiled when first asked for.
    sentences: OnceLock<(Sentence, Sentence)>,
}

/// What finds a row.
#[derive(Debug)]
enum What {
    /// A case of a check, with its column of flags.
    Case(Box<Case>, ColumnId),
    /// Names that look alike.
    Alike(Among),
}

/// How often each word of a verdict stands in a sheet.
#[derive(Debug)]
struct Verdicts {
    column: ColumnId,
    counts: [usize; 4],
    /// For each row the position of its word; beyond the last for none.
    words: Vec<u8>,
}

/// The mark of a row without a verdict.
const NO_WORD: u8 = VERDICTS.len() as u8;

/// Findings that came and went with one edit.
#[derive(Debug, Default)]
struct Moved {
    came: Vec<(usize, u32)>,
    n_came: usize,
    went: Vec<Finding>,
    n_went: usize,
}

/// A finding as it was told before an edit: what finds it, its row, and the finding.
type Told = (usize, u32, Finding);

/// The names of a plan and which of them look alike; none where nobody asks.
pub(super) fn names_seen(plan: &Plan) -> Option<Namesakes> {
    alike::severity(plan).and_then(|_| Namesakes::new(plan))
}

impl Standing {
    /// Looks at a whole plan.
    pub fn new(plan: &Plan, engine: &Engine) -> Self {
        Self::of_names(plan, engine, names_seen(plan))
    }

    /// The same, with the names that were seen already.
    pub(super) fn of_names(plan: &Plan, engine: &Engine, namesakes: Option<Namesakes>) -> Self {
        let severity = alike::severity(plan);
        let cases = cases(plan);
        let mut finders = Vec::new();
        for weight in [Severity::Stop, Severity::Caution, Severity::Note] {
            for case in cases.iter().filter(|case| case.severity == weight) {
                finders.push(Finder::of_case(case, engine));
            }
            if let Some(namesakes) = namesakes.as_ref().filter(|_| severity == Some(weight)) {
                finders.extend(Among::ALL.map(|among| Finder::of_names(namesakes, among, weight)));
            }
        }
        let mut standing = Self {
            finders,
            counts: [0; 3],
            verdicts: (0..plan.schema().len())
                .map(|at| Verdicts::new(plan, engine, SheetId(u16::try_from(at).ok()?)))
                .collect(),
            namesakes,
            moved: Moved::default(),
            told: Vec::new(),
        };
        standing.find_cases(plan, engine);
        standing.find_names();
        standing.count();
        standing
    }

    /// Reads all flags.
    fn find_cases(&mut self, plan: &Plan, engine: &Engine) {
        let live = live_rows(plan);
        for finder in &mut self.finders {
            if let What::Case(_, column) = finder.what {
                finder.found =
                    Bits::of_flags(flags(engine, column), live[finder.sheet.at()].as_ref());
            }
        }
    }

    /// Marks all names that look alike.
    fn find_names(&mut self) {
        let Some(namesakes) = &self.namesakes else {
            return;
        };
        for (among, row) in namesakes.found() {
            let is_this = |finder: &&mut Finder| finder.what.among() == Some(among);
            if let Some(finder) = self.finders.iter_mut().find(is_this) {
                finder.found.put(row, true);
            }
        }
    }

    fn count(&mut self) {
        self.counts = [0; 3];
        for finder in &self.finders {
            self.counts[slot(finder.severity)] += finder.found.len();
        }
    }

    /// Fills the sentences of what is found in some rows, before an edit that may end it: only
    /// now are the numbers there.
    pub fn remember(&mut self, plan: &Plan, engine: &Engine, rows: &[(SheetId, RowId)]) {
        self.told.clear();
        for (sheet, row) in rows {
            let finders: Vec<usize> = self.finders_of(*sheet, *row).collect();
            for at in finders {
                let finding = self.finding(plan, engine, at, row.0);
                self.told.push((at, row.0, finding));
            }
        }
    }

    /// Brings everything up to date after the engine followed an edit that left columns, formulas
    /// and severities alone, and notes what came and went.
    pub fn follow(&mut self, plan: &Plan, engine: &Engine, touched: &[Touched]) {
        self.moved = Moved::default();
        self.let_go(touched);
        let mut live = None;
        for at in 0..self.finders.len() {
            let finder = &self.finders[at];
            let What::Case(_, column) = finder.what else {
                continue;
            };
            let fresh = fresh_rows(touched, finder.sheet);
            match engine.changed(column) {
                Dirty::Clean if fresh.is_empty() => {}
                Dirty::Clean => self.turn_rows(plan, engine, at, &fresh),
                Dirty::Rows(rows) if fresh.is_empty() => self.turn_rows(plan, engine, at, rows),
                Dirty::Rows(rows) => {
                    self.turn_rows(plan, engine, at, &[rows.as_slice(), &fresh].concat());
                }
                Dirty::All => {
                    let live = live.get_or_insert_with(|| live_rows(plan));
                    let live = live[finder.sheet.at()].as_ref();
                    let found = Bits::of_flags(flags(engine, column), live);
                    self.turn_all(at, found);
                    if !fresh.is_empty() {
                        self.finders[at].listed = OnceLock::new();
                    }
                }
            }
        }
        self.follow_names(plan, touched);
        for verdicts in self.verdicts.iter_mut().flatten() {
            verdicts.follow(plan, engine, touched);
        }
        self.told.clear();
        self.count();
    }

    /// Looks at a plan anew whose columns, formulas or severities changed, and notes what came
    /// and went.
    pub fn renew(&mut self, plan: &Plan, engine: &Engine) {
        self.give_way(Self::new(plan, engine));
    }

    /// Lets another standing of the same sheets take its place, and notes what came and went.
    pub fn give_way(&mut self, now: Self) {
        let before = std::mem::replace(self, now);
        let nothing = Bits::default();
        let mut moved = Moved::default();
        for (at, finder) in self.finders.iter().enumerate() {
            let old = before.finders.iter().find(|old| old.is_same(finder));
            let old = old.map_or(&nothing, |old| &old.found);
            finder
                .found
                .without(old)
                .for_each(|row| moved.come(at, row));
        }
        for (at, old) in before.finders.iter().enumerate() {
            let finder = self.finders.iter().find(|finder| finder.is_same(old));
            let found = finder.map_or(&nothing, |finder| &finder.found);
            let went = old.found.without(found);
            went.for_each(|row| moved.go(at, old, row, &before.told));
        }
        self.moved = moved;
    }

    /// Lets go of lists and sentences that may not hold any more.
    fn let_go(&mut self, touched: &[Touched]) {
        for part in touched {
            let (sheet, is_order) = match part {
                Touched::Order(sheet) => (*sheet, true),
                Touched::Rows(sheet, _) | Touched::Cells(sheet, 0, _) => (*sheet, false),
                Touched::Cells(..) | Touched::Assumption(_) | Touched::Schema => continue,
            };
            for finder in &mut self.finders {
                // A sentence may name a row of any sheet.
                finder.sentences = OnceLock::new();
                if is_order && finder.sheet == sheet {
                    finder.listed = OnceLock::new();
                }
            }
        }
    }

    /// Reads the flags of some rows again.
    fn turn_rows(&mut self, plan: &Plan, engine: &Engine, at: usize, rows: &[u32]) {
        let finder = &self.finders[at];
        let What::Case(_, column) = finder.what else {
            return;
        };
        let (flags, sheet) = (flags(engine, column), plan.rows(finder.sheet));
        let says = |row: &u32| {
            let is_found = flags.get(*row as usize) == Some(&1) && sheet.is_live(RowId(*row));
            (*row, is_found)
        };
        let rows: Vec<(u32, bool)> = rows.iter().map(says).collect();
        self.turn(plan, at, &rows);
    }

    /// Puts rows in or takes them out, and notes which came and went.
    fn turn(&mut self, plan: &Plan, at: usize, rows: &[(u32, bool)]) {
        let finder = &mut self.finders[at];
        if rows.len() > MOST_RELISTED {
            finder.listed = OnceLock::new();
        }
        for (row, is_found) in rows {
            if finder.found.put(*row, *is_found) {
                match is_found {
                    true => self.moved.come(at, *row),
                    false => self.moved.go(at, finder, *row, &self.told),
                }
            }
        }
        finder.relist(plan, rows);
    }

    /// Puts another set in place of that of a finder, and notes what came and went.
    fn turn_all(&mut self, at: usize, found: Bits) {
        let finder = &mut self.finders[at];
        if finder.found == found {
            return;
        }
        let before = std::mem::replace(&mut finder.found, found);
        finder.listed = OnceLock::new();
        for row in self.finders[at].found.without(&before) {
            self.moved.come(at, row);
        }
        for row in before.without(&self.finders[at].found) {
            self.moved.go(at, &self.finders[at], row, &self.told);
        }
    }

    fn follow_names(&mut self, plan: &Plan, touched: &[Touched]) {
        let Some(namesakes) = &mut self.namesakes else {
            return;
        };
        let Some(turned) = namesakes.follow(plan, touched) else {
            self.renew_names(plan);
            return;
        };
        let says = |found: &(Among, u32)| (found.0, found.1, namesakes.has(*found));
        let turned: Vec<(Among, u32, bool)> = turned.iter().map(says).collect();
        for at in 0..self.finders.len() {
            let Some(among) = self.finders[at].what.among() else {
                continue;
            };
            let here = turned.iter().filter(|(of, _, _)| *of == among);
            let rows: Vec<(u32, bool)> = here.map(|(_, row, is)| (*row, *is)).collect();
            if !rows.is_empty() {
                self.turn(plan, at, &rows);
            }
        }
    }

    /// Looks at all names again.
    fn renew_names(&mut self, plan: &Plan) {
        self.namesakes = Namesakes::new(plan);
        for at in 0..self.finders.len() {
            let (Some(among), Some(namesakes)) = (self.finders[at].what.among(), &self.namesakes)
            else {
                continue;
            };
            let mut found = Bits::default();
            for (_, row) in namesakes.found().filter(|(of, _)| *of == among) {
                found.put(row, true);
            }
            self.turn_all(at, found);
            // Rows that stay found may have changed places.
            self.finders[at].listed = OnceLock::new();
        }
    }

    /// How many stops, cautions and notes there are.
    pub fn counts(&self) -> [usize; 3] {
        self.counts
    }

    /// How many findings there are.
    pub fn len(&self) -> usize {
        self.counts.iter().sum()
    }

    /// Whether nothing is found.
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }

    /// How often each word of [`VERDICTS`] stands in a sheet; `None` for a sheet without verdicts.
    pub fn verdicts(&self, sheet: SheetId) -> Option<[usize; 4]> {
        let verdicts = self.verdicts.get(sheet.at())?.as_ref();
        verdicts.map(|verdicts| verdicts.counts)
    }

    /// The worst that is found of a row.
    pub fn worst(&self, sheet: SheetId, row: RowId) -> Option<Severity> {
        let worst = self.finders_of(sheet, row).next();
        worst.map(|at| self.finders[at].severity)
    }

    /// What finds a row, worst first.
    fn finders_of(&self, sheet: SheetId, row: RowId) -> impl Iterator<Item = usize> {
        let finds = move |finder: &Finder| finder.sheet == sheet && finder.found.has(row.0);
        (0..self.finders.len()).filter(move |at| finds(&self.finders[*at]))
    }

    /// So many findings from a position on, worst first, then in the order of checks and rows.
    pub fn findings(&self, plan: &Plan, engine: &Engine, from: usize, n: usize) -> Vec<Finding> {
        let (mut skip, mut out) = (from, Vec::new());
        for (at, finder) in self.finders.iter().enumerate() {
            if skip >= finder.found.len() {
                skip -= finder.found.len();
                continue;
            }
            let rows = finder.listed(plan)[skip..].iter();
            let rows = rows.take(n - out.len());
            out.extend(rows.map(|row| self.finding(plan, engine, at, *row)));
            skip = 0;
            if out.len() == n {
                break;
            }
        }
        out
    }

    /// The first findings and how many there are in all.
    pub fn first(&self, plan: &Plan, engine: &Engine, most: usize) -> Findings {
        Findings {
            list: self.findings(plan, engine, 0, most),
            counts: self.counts,
        }
    }

    /// What is found of one row, worst first.
    pub fn of_row(&self, plan: &Plan, engine: &Engine, sheet: SheetId, row: RowId) -> Vec<Finding> {
        let finders = self.finders_of(sheet, row);
        finders
            .map(|at| self.finding(plan, engine, at, row.0))
            .collect()
    }

    /// How many findings the last edit brought, and how many it took away.
    pub fn n_moved(&self) -> (usize, usize) {
        (self.moved.n_came, self.moved.n_went)
    }

    /// Findings that the last edit brought, worst first; at most `most`, and [`MOST_MOVED`].
    pub fn came(&self, plan: &Plan, engine: &Engine, most: usize) -> Vec<Finding> {
        let came = self.moved.came.iter().take(most);
        came.map(|(at, row)| self.finding(plan, engine, *at, *row))
            .collect()
    }

    /// Findings that the last edit took away, at most [`MOST_MOVED`].
    ///
    /// Their numbers are gone with them: those of remembered rows have the sentence they had,
    /// others say what their check is about.
    pub fn went(&self) -> &[Finding] {
        &self.moved.went
    }

    fn finding(&self, plan: &Plan, engine: &Engine, at: usize, row: u32) -> Finding {
        let finder = &self.finders[at];
        match (&finder.what, &self.namesakes) {
            (What::Case(case, _), _) => finder.of_row(plan, engine, case, RowId(row)),
            (What::Alike(among), Some(namesakes)) => {
                namesakes.finding(plan, (*among, row), finder.severity)
            }
            (What::Alike(_), None) => {
                alike::finding(finder.sheet, RowId(row), finder.severity, "", "")
            }
        }
    }
}

impl Finder {
    fn new(what: What, sheet: SheetId, severity: Severity) -> Self {
        Self {
            what,
            sheet,
            severity,
            found: Bits::default(),
            listed: OnceLock::new(),
            sentences: OnceLock::new(),
        }
    }

    fn of_case(case: &Case, engine: &Engine) -> Self {
        let column = engine.column(case.sheet, case.column);
        let what = What::Case(Box::new(case.clone()), column);
        Self::new(what, case.sheet, case.severity)
    }

    fn of_names(namesakes: &Namesakes, among: Among, severity: Severity) -> Self {
        Self::new(What::Alike(among), namesakes.sheet(among), severity)
    }

    /// Whether it finds the same thing as one of an earlier look.
    fn is_same(&self, other: &Self) -> bool {
        match (&self.what, &other.what) {
            (What::Case(a, _), What::Case(b, _)) => {
                (a.sheet, &a.check.name, a.case) == (b.sheet, &b.check.name, b.case)
            }
            (What::Alike(a), What::Alike(b)) => a == b,
            (What::Case(..), What::Alike(_)) | (What::Alike(_), What::Case(..)) => false,
        }
    }

    /// The rows found in the order shown.
    fn listed(&self, plan: &Plan) -> &[u32] {
        self.listed.get_or_init(|| {
            let rows = plan.rows(self.sheet);
            // One walk in order is cheaper than sorting many rows.
            if self.found.len() > rows.order().len() / 16 {
                let order = rows.order().iter().map(|row| row.0);
                return order.filter(|row| self.found.has(*row)).collect();
            }
            let mut listed: Vec<u32> = self.found.rows().collect();
            listed.sort_unstable_by_key(|row| rows.rank()[*row as usize]);
            listed
        })
    }

    /// Brings the list up to date for rows that were turned.
    fn relist(&mut self, plan: &Plan, turned: &[(u32, bool)]) {
        let Some(listed) = self.listed.get_mut() else {
            return;
        };
        let rank = plan.rows(self.sheet).rank();
        let is_turned = |row: &u32| turned.iter().any(|(known, _)| known == row);
        if !turned.is_empty() {
            listed.retain(|row| !is_turned(row));
        }
        for (row, is_found) in turned {
            let at = listed.partition_point(|known| rank[*known as usize] < rank[*row as usize]);
            if *is_found && listed.get(at) != Some(row) {
                listed.insert(at, *row);
            }
        }
    }

    fn of_row(&self, plan: &Plan, engine: &Engine, case: &Case, row: RowId) -> Finding {
        let (say, advise) = self.sentences.get_or_init(|| {
            let def = &case.check.cases[case.case];
            (
                Sentence::new(plan, engine, self.sheet, &def.say),
                Sentence::new(plan, engine, self.sheet, &def.advise),
            )
        });
        Finding {
            check: case.check.name.clone(),
            severity: self.severity,
            sheet: self.sheet,
            row,
            sentence: say.fill(plan, engine, self.sheet, row),
            advice: advise.fill(plan, engine, self.sheet, row),
            source: case.check.source.clone(),
        }
    }
}

impl Finder {
    /// A finding that is no more, and whose numbers nobody kept.
    fn gone(&self, row: RowId) -> Finding {
        let (check, doc, source) = match &self.what {
            What::Case(case, _) => (&*case.check.name, &*case.check.doc, &*case.check.source),
            What::Alike(_) => (alike::CHECK, alike::DOC, alike::SOURCE),
        };
        Finding {
            check: check.to_owned(),
            severity: self.severity,
            sheet: self.sheet,
            row,
            sentence: doc.to_owned(),
            advice: String::new(),
            source: source.to_owned(),
        }
    }
}

impl What {
    fn among(&self) -> Option<Among> {
        match self {
            Self::Case(..) => None,
            Self::Alike(among) => Some(*among),
        }
    }
}

impl Moved {
    fn come(&mut self, at: usize, row: u32) {
        self.n_came += 1;
        if self.came.len() < MOST_MOVED {
            self.came.push((at, row));
        }
    }

    fn go(&mut self, at: usize, finder: &Finder, row: u32, told: &[Told]) {
        self.n_went += 1;
        if self.went.len() < MOST_MOVED {
            let told = told.iter().find(|told| (told.0, told.1) == (at, row));
            let gone = told.map(|told| told.2.clone());
            self.went
                .push(gone.unwrap_or_else(|| finder.gone(RowId(row))));
        }
    }
}

impl Verdicts {
    fn new(plan: &Plan, engine: &Engine, sheet: SheetId) -> Option<Self> {
        let mut verdicts = Self {
            column: engine.find_column(sheet, "verdict")?,
            counts: [0; 4],
            words: Vec::new(),
        };
        verdicts.read_all(plan, engine);
        Some(verdicts)
    }

    fn sheet(&self, engine: &Engine) -> SheetId {
        engine.graph().nodes[self.column.at()].sheet
    }

    fn read_all(&mut self, plan: &Plan, engine: &Engine) {
        let known = codes_of_words(plan);
        let codes = engine.values(self.column).codes().iter();
        let rank = plan.rows(self.sheet(engine)).rank();
        self.words.clear();
        self.words.extend(
            codes
                .zip(rank)
                .map(|(code, rank)| word(&known, *code, *rank)),
        );
        let mut counts = [0; VERDICTS.len() + 1];
        for word in &self.words {
            counts[usize::from(*word)] += 1;
        }
        let [fails, unknown, tight, fits, _] = counts;
        self.counts = [fails, unknown, tight, fits];
    }

    fn follow(&mut self, plan: &Plan, engine: &Engine, touched: &[Touched]) {
        let fresh = fresh_rows(touched, self.sheet(engine));
        match engine.changed(self.column) {
            Dirty::Clean => self.read_rows(plan, engine, &fresh),
            Dirty::Rows(rows) => {
                self.read_rows(plan, engine, rows);
                self.read_rows(plan, engine, &fresh);
            }
            Dirty::All => self.read_all(plan, engine),
        }
    }

    fn read_rows(&mut self, plan: &Plan, engine: &Engine, rows: &[u32]) {
        if rows.is_empty() {
            return;
        }
        let known = codes_of_words(plan);
        let rank = plan.rows(self.sheet(engine)).rank();
        let codes = engine.values(self.column).codes();
        if self.words.len() < codes.len() {
            self.words.resize(codes.len(), NO_WORD);
        }
        for row in rows {
            let at = *row as usize;
            let now = word(&known, codes[at], rank[at]);
            let before = std::mem::replace(&mut self.words[at], now);
            if let Some(count) = self.counts.get_mut(usize::from(before)) {
                *count -= 1;
            }
            if let Some(count) = self.counts.get_mut(usize::from(now)) {
                *count += 1;
            }
        }
    }
}

/// The codes of the words of a verdict; absent for a word that no row has.
fn codes_of_words(plan: &Plan) -> [u32; 4] {
    VERDICTS.map(|word| plan.names().known(word).unwrap_or(ABSENT))
}

fn word(known: &[u32; 4], code: u32, rank: u32) -> u8 {
    let at = known.iter().position(|word| *word == code);
    let is_word = rank != ABSENT && code != ABSENT;
    match at.filter(|_| is_word) {
        Some(at) => at as u8,
        None => NO_WORD,
    }
}

/// The flags of a case.
fn flags(engine: &Engine, column: ColumnId) -> &Values<u8> {
    engine.values(column).flags()
}

/// The live rows of each sheet; `None` where all rows are.
fn live_rows(plan: &Plan) -> Vec<Option<Bits>> {
    let sheets = (0..plan.schema().len()).filter_map(|at| u16::try_from(at).ok());
    sheets
        .map(|at| {
            let rows = plan.rows(SheetId(at));
            Bits::of_live(rows.rank(), rows.order().len())
        })
        .collect()
}

/// The rows of a sheet that came or went.
fn fresh_rows(touched: &[Touched], sheet: SheetId) -> Vec<u32> {
    let rows = touched.iter().filter_map(|part| match part {
        Touched::Rows(of, rows) if *of == sheet => Some(rows),
        Touched::Rows(..)
        | Touched::Cells(..)
        | Touched::Order(_)
        | Touched::Assumption(_)
        | Touched::Schema => None,
    });
    rows.flatten().map(|row| row.0).collect()
}
