//! Names that look alike, kept up to date from edit to edit.
//!
//! Which names look alike is decided in `alike.rs`; here is what has to be looked at again after
//! an edit, and which rows are found then.

use super::alike::{device_columns, finding, skeleton, skeleton_key};
use super::findings::Finding;
use super::keys::{Keys, NO_KEY};
use crate::plan::Plan;
use crate::plan::Touched;
use crate::problem::Severity;
use crate::table::{ABSENT, RowId, SheetId};
use rustc_hash::{FxHashMap, FxHashSet};

/// More touched cells than this, and everything is looked at again.
const MOST_FOLLOWED: usize = 64;

/// Beyond so many names, where each stands first is found in one walk over all of them.
const MOST_SOUGHT: usize = 8;

/// Where a name was found, in the order in which findings stand.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Among {
    /// The ids of links.
    Links,
    /// The ids of switches.
    Switches,
    /// The near ends of links.
    From,
    /// The far ends of links.
    To,
}

impl Among {
    /// All of them, in order.
    pub const ALL: [Self; 4] = [Self::Links, Self::Switches, Self::From, Self::To];
}

/// A row that is found, and where.
type Found = (Among, u32);

/// What a set of rows has in common.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
enum Kin {
    /// Links with ids of one skeleton.
    Ids(u32),
    /// Switches with one id.
    Doubled(u32),
    /// Devices with names of one skeleton.
    Devices(u32),
}

/// A column in which devices are named, with the codes last seen in it.
#[derive(Debug)]
struct Ends {
    among: Among,
    sheet: SheetId,
    column: usize,
    seen: Vec<u32>,
}

/// Which names look alike, as of the last look.
#[derive(Debug)]
pub struct Namesakes {
    links: SheetId,
    ends: Vec<Ends>,
    /// For each code of a text the key of its skeleton.
    skeletons: Vec<u32>,
    /// How many cells name a device by each code.
    n_uses: Vec<u32>,
    /// Links by the skeleton of their id.
    ids: Keys,
    /// Switches by their id in any case.
    switches: Keys,
    /// Codes of devices by their skeleton.
    devices: Keys,
    /// What was found of each kin.
    found: FxHashMap<Kin, Vec<Found>>,
    /// How many kin find a row.
    marks: FxHashMap<Found, u8>,
    /// For each code that looks like one before it, that one; by key of the skeleton.
    leads: FxHashMap<u32, Vec<(u32, u32)>>,
}

impl Namesakes {
    /// Looks at all names; `None` where there are no links.
    pub fn new(plan: &Plan) -> Option<Self> {
        let links = plan.sheet("links")?;
        let mut namesakes = Self {
            links,
            ends: Vec::new(),
            skeletons: Vec::new(),
            n_uses: Vec::new(),
            ids: Keys::default(),
            switches: Keys::default(),
            devices: Keys::default(),
            found: FxHashMap::default(),
            marks: FxHashMap::default(),
            leads: FxHashMap::default(),
        };
        namesakes.see_names(plan);
        namesakes.see_ends(plan, links);
        let all = namesakes.all_kin();
        namesakes.look_again(plan, &all);
        Some(namesakes)
    }

    /// The sheet in which rows of a kind are.
    pub fn sheet(&self, among: Among) -> SheetId {
        let ends = self.ends.iter().find(|ends| ends.among == among);
        ends.map_or(self.links, |ends| ends.sheet)
    }

    /// All rows that are found.
    pub fn found(&self) -> impl Iterator<Item = Found> {
        self.marks.keys().copied()
    }

    /// Whether a row is found.
    pub fn has(&self, found: Found) -> bool {
        self.marks.contains_key(&found)
    }

    /// Looks at what an edit touched; gives the rows that may be found now or no longer, `None`
    /// where so much was touched that all names have to be looked at.
    pub fn follow(&mut self, plan: &Plan, touched: &[Touched]) -> Option<Vec<Found>> {
        let cells = self.touched_cells(touched)?;
        if cells.is_empty() {
            return Some(Vec::new());
        }
        self.see_names(plan);
        let mut kin = FxHashSet::default();
        for (among, row) in cells {
            self.see(plan, among, row, &mut kin);
        }
        let mut kin: Vec<Kin> = kin.into_iter().collect();
        kin.sort_unstable();
        Some(self.look_again(plan, &kin))
    }

    /// The touched cells that hold names; `None` where that is too much to follow.
    fn touched_cells(&self, touched: &[Touched]) -> Option<Vec<Found>> {
        let mut cells = Vec::new();
        for part in touched {
            match part {
                Touched::Cells(sheet, column, rows) => {
                    let here = |place| place == (*sheet, *column);
                    cells.extend(self.cells_of(here, rows));
                }
                Touched::Rows(sheet, rows) => {
                    cells.extend(self.cells_of(|(known, _)| known == *sheet, rows));
                }
                // Another row may stand first now.
                Touched::Order(sheet) => {
                    let mut places = Among::ALL.iter().filter_map(|among| self.place(*among));
                    if places.any(|(known, _)| known == *sheet) && self.is_any_shared() {
                        return None;
                    }
                }
                Touched::Assumption(_) => {}
                Touched::Schema => return None,
            }
        }
        (cells.len() <= MOST_FOLLOWED).then_some(cells)
    }

    /// The cells of rows in the columns of names that are meant.
    fn cells_of(&self, is_meant: impl Fn((SheetId, usize)) -> bool, rows: &[RowId]) -> Vec<Found> {
        let meant = |among: &Among| self.place(*among).is_some_and(&is_meant);
        let meant = Among::ALL.into_iter().filter(meant);
        meant
            .flat_map(|among| rows.iter().map(move |row| (among, row.0)))
            .collect()
    }

    fn is_any_shared(&self) -> bool {
        let all = [&self.ids, &self.switches, &self.devices];
        all.iter().any(|keys| keys.all_shared().next().is_some())
    }

    /// Sheet and column of names.
    fn place(&self, among: Among) -> Option<(SheetId, usize)> {
        if among == Among::Links {
            return Some((self.links, 0));
        }
        let ends = self.ends.iter().find(|ends| ends.among == among)?;
        Some((ends.sheet, ends.column))
    }

    /// Computes the keys of texts that came since the last look.
    fn see_names(&mut self, plan: &Plan) {
        let view = plan.names().view();
        let n_names = view.folds().len();
        for at in self.skeletons.len()..n_names {
            let text = view.text(u32::try_from(at).unwrap_or(ABSENT));
            self.skeletons.push(skeleton_key(text));
        }
        self.n_uses.resize(n_names, 0);
    }

    /// Looks at all cells that hold names.
    fn see_ends(&mut self, plan: &Plan, links: SheetId) {
        let view = plan.names().view();
        let key = |code: u32| match view.text(code) {
            "" => NO_KEY,
            _ => self.skeletons[code as usize],
        };
        let ids = live_codes(plan, links, 0);
        self.ids = Keys::new(ids.iter().map(|code| key(*code)).collect());
        for (sheet, column) in device_columns(plan, links) {
            let among = among_of(plan, sheet, column);
            let seen = live_codes(plan, sheet, column);
            if among == Among::Switches {
                let key = |code: &u32| view.folded(*code).wrapping_add(1);
                self.switches = Keys::new(seen.iter().map(key).collect());
            }
            for code in seen.iter().filter(|code| **code != ABSENT) {
                self.n_uses[*code as usize] += 1;
            }
            self.ends.push(Ends {
                among,
                sheet,
                column,
                seen,
            });
        }
        let used = self.n_uses.iter().zip(&self.skeletons);
        let key = |(n_uses, key): (&u32, &u32)| if *n_uses > 0 { *key } else { NO_KEY };
        self.devices = Keys::new(used.map(key).collect());
    }

    fn all_kin(&self) -> Vec<Kin> {
        let mut kin: Vec<Kin> = self.ids.all_shared().map(Kin::Ids).collect();
        kin.extend(self.switches.all_shared().map(Kin::Doubled));
        kin.extend(self.devices.all_shared().map(Kin::Devices));
        kin
    }

    /// Looks at one cell; adds the kin it was of and is of now.
    fn see(&mut self, plan: &Plan, among: Among, row: u32, kin: &mut FxHashSet<Kin>) {
        let Some((sheet, column)) = self.place(among) else {
            return;
        };
        let code = live_code(plan, sheet, column, row);
        if among == Among::Links {
            kin.insert(Kin::Ids(self.ids.get(row)));
            let is_named = !plan.names().view().text(code).is_empty();
            let key = if is_named {
                self.skeleton_of(code)
            } else {
                NO_KEY
            };
            self.ids.set(row, key);
            kin.insert(Kin::Ids(key));
            return;
        }
        if among == Among::Switches {
            kin.insert(Kin::Doubled(self.switches.get(row)));
            let key = plan.names().folded(code).wrapping_add(1);
            self.switches.set(row, key);
            kin.insert(Kin::Doubled(key));
        }
        let before = self.saw(among, row, code);
        kin.insert(Kin::Devices(self.skeleton_of(before)));
        kin.insert(Kin::Devices(self.skeleton_of(code)));
        self.count(code, 1);
        self.count(before, -1);
    }

    fn skeleton_of(&self, code: u32) -> u32 {
        self.skeletons.get(code as usize).copied().unwrap_or(NO_KEY)
    }

    /// Notes a code at a row; gives the one before.
    fn saw(&mut self, among: Among, row: u32, code: u32) -> u32 {
        let Some(ends) = self.ends.iter_mut().find(|ends| ends.among == among) else {
            return ABSENT;
        };
        if ends.seen.len() <= row as usize {
            ends.seen.resize(row as usize + 1, ABSENT);
        }
        std::mem::replace(&mut ends.seen[row as usize], code)
    }

    fn count(&mut self, code: u32, by: i32) {
        let Some(n_uses) = self.n_uses.get_mut(code as usize) else {
            return;
        };
        *n_uses = n_uses.saturating_add_signed(by);
        let key = if *n_uses > 0 {
            self.skeleton_of(code)
        } else {
            NO_KEY
        };
        self.devices.set(code, key);
    }

    /// Finds anew what some kin find; gives all rows that were or are found by them.
    fn look_again(&mut self, plan: &Plan, kin: &[Kin]) -> Vec<Found> {
        let firsts = self.firsts(plan, kin);
        let mut turned = Vec::new();
        for kin in kin {
            let now = match *kin {
                Kin::Ids(key) => self.alike_ids(plan, key),
                Kin::Doubled(key) => later(
                    plan,
                    self.sheet(Among::Switches),
                    self.switches.sharing(key),
                )
                .map(|row| (Among::Switches, row))
                .collect(),
                Kin::Devices(key) => self.alike_devices(plan, key, &firsts),
            };
            for found in &now {
                *self.marks.entry(*found).or_default() += 1;
            }
            turned.extend_from_slice(&now);
            let before = match now.is_empty() {
                true => self.found.remove(kin),
                false => self.found.insert(*kin, now),
            };
            for found in before.into_iter().flatten() {
                self.unmark(found);
                turned.push(found);
            }
        }
        turned.sort_unstable();
        turned.dedup();
        turned
    }

    fn unmark(&mut self, found: Found) {
        if let Some(n_kin) = self.marks.get_mut(&found) {
            *n_kin -= 1;
            if *n_kin == 0 {
                self.marks.remove(&found);
            }
        }
    }

    /// Links whose id looks like that of a link before them.
    fn alike_ids(&self, plan: &Plan, key: u32) -> Vec<Found> {
        let rows = self.ids.sharing(key);
        if rows.is_empty() {
            return Vec::new();
        }
        let codes = plan.rows(self.links).column(0).codes();
        let mut skeletons: FxHashMap<String, Vec<u32>> = FxHashMap::default();
        let mut last = (ABSENT, String::new());
        for row in rows {
            let code = codes[*row as usize];
            if code != last.0 {
                last = (code, skeleton(plan.names().view().text(code)));
            }
            match skeletons.get_mut(&last.1) {
                Some(rows) => rows.push(*row),
                None => drop(skeletons.insert(last.1.clone(), vec![*row])),
            }
        }
        let found = skeletons.values();
        found
            .flat_map(|rows| later(plan, self.links, rows))
            .map(|row| (Among::Links, row))
            .collect()
    }

    /// The first cell of each name of a device that looks like one that comes before it.
    fn alike_devices(
        &mut self,
        plan: &Plan,
        key: u32,
        firsts: &FxHashMap<u32, (Among, u32, u32)>,
    ) -> Vec<Found> {
        self.leads.remove(&key);
        let mut codes: Vec<((Among, u32, u32), u32)> = self
            .devices
            .sharing(key)
            .iter()
            .filter_map(|code| Some((*firsts.get(code)?, *code)))
            .collect();
        codes.sort_unstable();
        let view = plan.names().view();
        let mut first_of: FxHashMap<String, u32> = FxHashMap::default();
        let (mut found, mut leads) = (Vec::new(), Vec::new());
        for ((among, _, row), code) in codes {
            let first = *first_of.entry(skeleton(view.text(code))).or_insert(code);
            if first != code {
                found.push((among, row));
                leads.push((code, first));
            }
        }
        if !leads.is_empty() {
            self.leads.insert(key, leads);
        }
        found
    }

    /// Where each name that some kin share stands first: kind, position in the order, row.
    fn firsts(&self, plan: &Plan, kin: &[Kin]) -> FxHashMap<u32, (Among, u32, u32)> {
        let codes: Vec<u32> = kin
            .iter()
            .flat_map(|kin| match kin {
                Kin::Devices(key) => self.devices.sharing(*key),
                Kin::Ids(_) | Kin::Doubled(_) => &[],
            })
            .copied()
            .collect();
        let mut firsts = FxHashMap::default();
        for ends in &self.ends {
            let rank = plan.rows(ends.sheet).rank();
            let missing = codes.iter().filter(|code| !firsts.contains_key(*code));
            let missing: Vec<u32> = missing.copied().collect();
            for (code, row) in first_rows(&ends.seen, rank, &missing) {
                firsts.insert(code, (ends.among, rank[row as usize], row));
            }
        }
        firsts
    }

    /// What is said of a row that is found.
    pub fn finding(&self, plan: &Plan, found: Found, severity: Severity) -> Finding {
        let (among, row) = found;
        let sheet = self.sheet(among);
        let column = self.place(among).map_or(0, |(_, column)| column);
        let code = live_code(plan, sheet, column, row);
        let other = match among {
            Among::Links => self.first_id(plan, row),
            Among::Switches | Among::From | Among::To => self.lead(code),
        };
        let view = plan.names().view();
        let (name, other) = (view.text(code), view.text(other));
        finding(sheet, RowId(row), severity, name, other)
    }

    /// The code of the first id that looks like that of a row.
    fn first_id(&self, plan: &Plan, row: u32) -> u32 {
        let rows = plan.rows(self.links);
        let codes = rows.column(0).codes();
        let view = plan.names().view();
        let wanted = skeleton(view.text(codes[row as usize]));
        let alike = self.ids.sharing(self.ids.get(row)).iter();
        let mut last = (ABSENT, false);
        let alike = alike.filter(|row| {
            let code = codes[**row as usize];
            if code != last.0 {
                last = (code, skeleton(view.text(code)) == wanted);
            }
            last.1
        });
        let first = alike.min_by_key(|row| rows.rank()[**row as usize]);
        codes[first.copied().unwrap_or(row) as usize]
    }

    /// The first name that looks like the name of a device; itself where there is none.
    fn lead(&self, code: u32) -> u32 {
        let leads = self.leads.get(&self.skeleton_of(code));
        let lead = leads.and_then(|leads| leads.iter().find(|(known, _)| *known == code));
        lead.map_or(code, |(_, first)| *first)
    }
}

/// The kind of a column of devices.
fn among_of(plan: &Plan, sheet: SheetId, column: usize) -> Among {
    match plan.column(sheet, column).name.as_str() {
        "from" => Among::From,
        "to" => Among::To,
        _ => Among::Switches,
    }
}

/// All rows but the one that stands first.
fn later<'r>(plan: &Plan, sheet: SheetId, rows: &'r [u32]) -> impl Iterator<Item = u32> + use<'r> {
    let rank = plan.rows(sheet).rank();
    let first = rows.iter().copied().min_by_key(|row| rank[*row as usize]);
    rows.iter().copied().filter(move |row| Some(*row) != first)
}

/// The codes of a column, absent in removed rows.
fn live_codes(plan: &Plan, sheet: SheetId, column: usize) -> Vec<u32> {
    let rows = plan.rows(sheet);
    let codes = rows.column(column).codes().iter().zip(rows.rank());
    codes
        .map(|(code, rank)| if *rank == ABSENT { ABSENT } else { *code })
        .collect()
}

fn live_code(plan: &Plan, sheet: SheetId, column: usize, row: u32) -> u32 {
    let rows = plan.rows(sheet);
    let code = rows.column(column).codes().get(row as usize);
    let live = rows.is_live(RowId(row));
    code.copied().filter(|_| live).unwrap_or(ABSENT)
}

/// For each of some codes the row that stands first among those that hold it.
fn first_rows(seen: &[u32], rank: &[u32], codes: &[u32]) -> Vec<(u32, u32)> {
    if codes.is_empty() {
        return Vec::new();
    }
    if codes.len() <= MOST_SOUGHT {
        let first = |code: &u32| Some((*code, first_row(seen, rank, *code)?));
        return codes.iter().filter_map(first).collect();
    }
    let mut firsts: FxHashMap<u32, u32> = codes.iter().map(|code| (*code, ABSENT)).collect();
    let mut last = ABSENT;
    for (row, code) in (0..).zip(seen) {
        // Neighbours often have the same ends; where rows stand in another order the second of
        // two may be the first, so only one of a run that is in order may be skipped.
        let in_order = row > 0 && rank[row as usize] > rank[row as usize - 1];
        if *code == std::mem::replace(&mut last, *code) && in_order {
            continue;
        }
        if let Some(first) = firsts.get_mut(code)
            && (*first == ABSENT || rank[row as usize] < rank[*first as usize])
        {
            *first = row;
        }
    }
    let met = firsts.into_iter().filter(|(_, row)| *row != ABSENT);
    met.collect()
}

fn first_row(seen: &[u32], rank: &[u32], code: u32) -> Option<u32> {
    const AT_ONCE: usize = 4096;
    let mut first: Option<u32> = None;
    for (part, codes) in seen.chunks(AT_ONCE).enumerate() {
        // Without a way out of the loop it compares many codes in one step.
        if !codes
            .iter()
            .fold(false, |met, known| met | (*known == code))
        {
            continue;
        }
        let rows = codes
            .iter()
            .enumerate()
            .filter(|(_, known)| **known == code);
        let rows = rows.map(|(at, _)| (part * AT_ONCE + at) as u32);
        first = first
            .into_iter()
            .chain(rows)
            .min_by_key(|row| rank[*row as usize]);
    }
    first
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plan::Edit;
    use crate::plan::Entry;
    use crate::trade::empty_plan;
    use proptest::prelude::*;
    use std::collections::BTreeSet;

    proptest! {
        /// A few names are sought one by one, many in one walk: both find what sorting finds.
        #[test]
        fn a_name_stands_first_in_the_row_that_a_person_sees_first(
            cells in prop::collection::vec((0..6_u32, any::<u32>(), prop::bool::weighted(0.8)), 0..40),
            wanted in prop::collection::btree_set(0..30_u32, 0..25),
        ) {
            let mut order: Vec<u32> = (0..).zip(&cells).filter(|(_, cell)| cell.2).map(|(row, _)| row).collect();
            order.sort_by_key(|row| cells[*row as usize].1);
            let seen = cells.iter().map(|cell| if cell.2 { cell.0 } else { ABSENT });
            let seen: Vec<u32> = seen.collect();
            let mut rank = vec![ABSENT; cells.len()];
            (0..).zip(&order).for_each(|(at, row)| rank[*row as usize] = at);
            let first = |code: &u32| {
                let row = order.iter().find(|row| seen[**row as usize] == *code)?;
                Some((*code, *row))
            };
            let expected: BTreeSet<(u32, u32)> = wanted.iter().filter_map(first).collect();
            let wanted: Vec<u32> = wanted.into_iter().collect();
            let found = first_rows(&seen, &rank, &wanted);
            prop_assert_eq!(found.len(), expected.len());
            prop_assert_eq!(found.into_iter().collect::<BTreeSet<_>>(), expected);
        }
    }

    #[test]
    fn a_name_is_found_however_far_down_it_stands() {
        let mut seen = vec![0; 10_000];
        (seen[5_000], seen[9_000]) = (1, 1);
        let down: Vec<u32> = (0..10_000).collect();
        let up: Vec<u32> = (0..10_000).rev().collect();
        let many: Vec<u32> = (1..20).collect();
        for wanted in [&many[..1], &many] {
            assert_eq!(first_rows(&seen, &down, wanted), [(1, 5_000)]);
            assert_eq!(first_rows(&seen, &up, wanted), [(1, 9_000)]);
        }
    }

    /// A plan of so many links, each named by its number.
    fn links(n: usize) -> (Plan, SheetId) {
        let mut plan = empty_plan().unwrap();
        let sheet = plan.sheet("links").unwrap();
        let name = |at| vec![(0, Entry::Text(plan.names().code(&format!("L{at}"))))];
        let rows = (0..n).map(name).collect();
        plan.apply(Edit::AddRows { sheet, at: 0, rows }).unwrap();
        (plan, sheet)
    }

    #[test]
    fn what_an_edit_of_few_names_turns_is_known_without_looking_at_all() {
        let (mut plan, sheet) = links(MOST_FOLLOWED + 1);
        let mut namesakes = Namesakes::new(&plan).unwrap();
        let rows: Vec<RowId> = plan.rows(sheet).order().to_vec();
        let all = [Touched::Cells(sheet, 0, rows.clone())];
        let most = [Touched::Rows(sheet, rows[1..22].to_vec())];
        // A row of links names three times: itself and both its ends.
        assert_eq!(namesakes.follow(&plan, &most), Some(Vec::new()));
        assert_eq!(
            namesakes.follow(&plan, &[Touched::Rows(sheet, rows[..22].to_vec())]),
            None
        );
        let most = [Touched::Cells(sheet, 0, rows[1..].to_vec())];
        assert_eq!(namesakes.follow(&plan, &most), Some(Vec::new()));
        assert_eq!(namesakes.follow(&plan, &all), None);
        for nothing in [Touched::Cells(sheet, 2, rows), Touched::Order(sheet)] {
            let turned = namesakes.follow(&plan, std::slice::from_ref(&nothing));
            assert_eq!(turned, Some(Vec::new()), "{nothing:?}");
        }
        let entry = Entry::Text(plan.names().code("l0"));
        let cells = vec![((0, RowId(7)), entry)];
        let change = plan.apply(Edit::SetCells { sheet, cells }).unwrap();
        let turned = namesakes.follow(&plan, &change.touched);
        assert_eq!(turned, Some(vec![(Among::Links, 7)]));
        // Another row may stand first among names that are shared.
        assert_eq!(namesakes.follow(&plan, &[Touched::Order(sheet)]), None);
        assert_eq!(namesakes.follow(&plan, &[Touched::Schema]), None);
    }
}
