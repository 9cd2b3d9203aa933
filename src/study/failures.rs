//! What breaks when something fails: every link, member, route and switch out in turn.
//!
//! Each failure is tried on a copy and taken back, by the engine's incremental recalculation, so
//! the result is that of a plan in which it really is out. Paths are computed again only where
//! they take what is out; without it nothing better comes up.

use super::Look;
use super::Trial;
use super::look::number_of;
use super::net::Net;
use crate::engine::Dirty;
use crate::engine::Engine;
use crate::plan::Edit;
use crate::plan::Entry;
use crate::plan::Plan;
use crate::problem::Problem;
use crate::problem::Severity;
use crate::table::{ColumnId, RowId, SheetId};
use crate::trade;
use indexmap::IndexMap;
use rustc_hash::FxHashMap;
use std::cmp::Ordering;
use std::ops::ControlFlow;

/// So many pairs are tried; beyond that fewer links have to be named.
pub const MOST_PAIRS: usize = 100_000;

/// What is called the same within this, in shares of a ratio.
const SAME: f64 = 1e-9;

/// What may be out.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Kind {
    /// A whole link.
    Link,
    /// One cable of a bundle.
    Member,
    /// All links that share a route.
    Route,
    /// A switch with all its links.
    Switch,
}

impl Kind {
    /// All kinds, in the order in which they are tried.
    pub const ALL: [Self; 4] = [Self::Link, Self::Member, Self::Route, Self::Switch];

    /// The word for it.
    pub fn word(self) -> &'static str {
        match self {
            Self::Link => "link",
            Self::Member => "member",
            Self::Route => "route",
            Self::Switch => "switch",
        }
    }
}

/// What is out.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Out {
    /// A whole link.
    Link(RowId),
    /// One cable of a bundle.
    Member(RowId),
    /// All links on a route.
    Route(String),
    /// A switch with all its links.
    Switch(RowId),
    /// Two links at once.
    Pair(RowId, RowId),
}

/// A switch whose ratio breaks, or that is left without an uplink.
#[derive(Debug, Clone, PartialEq)]
pub struct RatioHarm {
    /// The switch.
    pub switch: RowId,
    /// Its ratio today.
    pub before: Option<f64>,
    /// Its ratio with that out; none where no uplink is left.
    pub after: Option<f64>,
    /// The target that it is held to.
    pub target: Option<f64>,
    /// Whether only uplinks that stand by carry it then.
    pub by_standby: bool,
}

/// A path that is cut, or gets slower or narrower.
#[derive(Debug, Clone, PartialEq)]
pub struct PathHarm {
    /// The path.
    pub path: RowId,
    /// Why there is no way any more.
    pub cut: Option<String>,
    /// The latency today and then, in seconds.
    pub slower: Option<(f64, f64)>,
    /// The capacity today and then, in bit/s.
    pub narrower: Option<(f64, f64)>,
    /// What the checks then find that they do not find today, and the worst weight of it.
    pub stops: bool,
}

/// What one failure does.
#[derive(Debug, Clone, PartialEq)]
pub struct Harm {
    /// What is out.
    pub out: Out,
    /// Switches from which no top of the plan is reached any more.
    pub cut_off: Vec<RowId>,
    /// Ratios past their target.
    pub ratios: Vec<RatioHarm>,
    /// Paths that suffer.
    pub paths: Vec<PathHarm>,
}

/// What is to be tried.
#[derive(Debug, Clone)]
pub struct Asked {
    /// Which kinds; none for all.
    pub kinds: Vec<Kind>,
    /// Whether every two links are tried together as well.
    pub pairs: bool,
    /// Only these links are tried one by one, member by member and in pairs; none for all.
    pub links: Option<Vec<RowId>>,
}

impl Default for Asked {
    fn default() -> Self {
        Self {
            kinds: Kind::ALL.to_vec(),
            pairs: false,
            links: None,
        }
    }
}

/// What failures do, worst first.
#[derive(Debug, Clone, PartialEq)]
pub struct Failures {
    /// Those that do harm.
    pub harms: Vec<Harm>,
    /// How many failures were tried, harmless ones counted.
    pub n_tried: usize,
}

/// Tries failures.
///
/// # Errors
/// Too many pairs, or a plan without the columns that a failure is told by.
pub fn failures(plan: &Plan, engine: &Engine, asked: &Asked) -> Result<Failures, Problem> {
    let mut study = Study::new(plan, engine)?;
    let links = study.links_to_try(asked);
    let mut outs = study.singles(asked, &links);
    let n_pairs = links.len() * links.len().saturating_sub(1) / 2;
    if asked.pairs && n_pairs > MOST_PAIRS {
        let message = format!("{n_pairs} pairs of links are more than {MOST_PAIRS}");
        return Err(Problem::new("too-many-pairs", message)
            .help("name fewer links by a condition, such as those of one switch"));
    }
    let harms = study.try_all(&outs)?;
    let mut n_tried = outs.len();
    let mut found: Vec<Harm> = harms.into_iter().flatten().collect();
    if asked.pairs {
        outs = pairs_of(&links);
        n_tried += outs.len();
        found.extend(study.try_pairs(&links, &outs)?);
    }
    found.sort_by(worst_first);
    Ok(Failures {
        harms: found,
        n_tried,
    })
}

fn pairs_of(links: &[RowId]) -> Vec<Out> {
    let with = |(at, one): (usize, &RowId)| {
        let one = *one;
        links[at + 1..].iter().map(move |two| Out::Pair(one, *two))
    };
    links.iter().enumerate().flat_map(with).collect()
}

/// How a switch stands in the plan as it is.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Stand {
    ratio: Option<f64>,
    uplinks: Option<f64>,
    target: Option<f64>,
    standby: Option<f64>,
}

/// How a path stands in the plan as it is.
#[derive(Debug, Clone, Copy)]
struct PathStand {
    latency: Option<f64>,
    capacity: Option<f64>,
    stops: bool,
}

/// The columns that tell what a failure does.
#[derive(Debug, Clone, Copy)]
struct Columns {
    ratio: ColumnId,
    uplinks: ColumnId,
    target: ColumnId,
    standby: Option<ColumnId>,
}

/// The columns that a failure is told by, and those of links that are looked at on the way.
fn wanted(engine: &Engine, columns: Columns, paths: Option<SheetId>) -> Vec<ColumnId> {
    let own = [columns.ratio, columns.uplinks, columns.target];
    let of_paths = ["trouble", "latency", "capacity", "verdict"];
    let of_paths = of_paths.map(|name| engine.find_column(paths?, name));
    own.into_iter()
        .chain(columns.standby)
        .chain(of_paths.into_iter().flatten())
        .collect()
}

/// A copy without its paths, and what is known of the plan as it is.
struct Study<'a> {
    /// The plan as it is, which is not touched.
    base: (&'a Plan, &'a Engine),
    trial: Trial,
    links: SheetId,
    switches: SheetId,
    paths: Option<SheetId>,
    state: usize,
    members: usize,
    /// What a link that is out has as its state: it keeps its ports and carries nothing.
    spare: Entry,
    columns: Columns,
    stands: FxHashMap<RowId, Stand>,
    path_stands: FxHashMap<RowId, PathStand>,
    /// For each link the paths that take it.
    taken: FxHashMap<RowId, Vec<RowId>>,
    /// Each path with its position in the order.
    places: FxHashMap<RowId, usize>,
    routes: IndexMap<String, Vec<RowId>>,
    net: Net,
    /// Takes back the failure that is made now.
    back: Option<Edit>,
    /// Switches that are not as in the plan with the failure that is made now.
    off: Vec<RowId>,
}

impl<'a> Study<'a> {
    fn new(plan: &'a Plan, engine: &'a Engine) -> Result<Self, Problem> {
        let missing = |name: &str| {
            let message = format!("a failure is told by `{name}`, which is not there");
            Problem::new("column-unknown", message).help("use the built-in sheets")
        };
        let sheet = |name: &str| plan.sheet(name).ok_or_else(|| missing(name));
        let (links, switches) = (sheet("links")?, sheet("switches")?);
        let position = |name: &str| plan.def(links).column(name).ok_or_else(|| missing(name));
        let (state, members) = (position("state")?, position("members")?);
        let column = |name: &str| {
            let found = engine.find_column(switches, name);
            found.ok_or_else(|| missing(name))
        };
        let columns = Columns {
            ratio: column("ratio")?,
            uplinks: column("uplinks")?,
            target: column("ratio_limit")?,
            standby: engine.find_column(switches, "ratio_standby"),
        };
        let look = |sheet| Look {
            plan,
            engine,
            sheet,
        };
        let (net, routes) = (Net::new(look(links)), routes_of(look(links)));
        let stands = stands_of(look(switches), columns);
        let paths = plan.sheet("paths");
        let path_stands = paths.map_or_else(FxHashMap::default, |paths| path_stands(look(paths)));
        let mut taken: FxHashMap<RowId, Vec<RowId>> = FxHashMap::default();
        for trail in trade::trails(plan, engine) {
            for hop in trail.hops.iter().flatten() {
                taken.entry(hop.row).or_default().push(trail.row);
            }
        }
        let order = paths.map_or(&[][..], |paths| plan.rows(paths).order());
        let places = order.iter().enumerate();
        let places = places.map(|(at, row)| (*row, at)).collect();
        let mut trial = Trial::of_columns(plan, engine, &wanted(engine, columns, paths));
        if let (Some(sheet), false) = (paths, order.is_empty()) {
            let rows = order.to_vec();
            trial.make(Edit::RemoveRows { sheet, rows })?;
        }
        Ok(Self {
            base: (plan, engine),
            spare: Entry::Text(plan.names().code("spare")),
            trial,
            links,
            switches,
            paths,
            state,
            members,
            columns,
            stands,
            path_stands,
            taken,
            places,
            routes,
            net,
            back: None,
            off: Vec::new(),
        })
    }

    /// A sheet of the copy, with what is out.
    fn look(&self, sheet: SheetId) -> Look<'_> {
        Look {
            plan: self.trial.plan(),
            engine: self.trial.engine(),
            sheet,
        }
    }

    /// The links of the plan as it is.
    fn links_now(&self) -> Look<'a> {
        let (plan, engine) = self.base;
        Look {
            plan,
            engine,
            sheet: self.links,
        }
    }

    /// The links that are tried one by one: uplinks, those that stand by counted, links between
    /// switches of the plan, and links on a path. Without any other link a ratio only falls.
    fn links_to_try(&self, asked: &Asked) -> Vec<RowId> {
        let links = self.links_now();
        let only = asked.links.as_deref();
        let worth = |row: &RowId| {
            let (carries, stands_by) = (links.is("forwards", *row), links.is("is_redundant", *row));
            (carries || stands_by)
                && (stands_by || self.net.joins(*row) || self.taken.contains_key(row))
                && only.is_none_or(|only| only.contains(row))
        };
        links.rows().iter().copied().filter(worth).collect()
    }

    /// All failures of one thing, in the order in which they are tried.
    fn singles(&self, asked: &Asked, tried: &[RowId]) -> Vec<Out> {
        let wants = |kind: Kind| asked.kinds.is_empty() || asked.kinds.contains(&kind);
        let links = self.links_now();
        let mut outs = Vec::new();
        if wants(Kind::Link) {
            outs.extend(tried.iter().map(|row| Out::Link(*row)));
        }
        if wants(Kind::Member) {
            let bundled = |row: &&RowId| links.number("cables", **row).is_some_and(|n| n >= 2.0);
            outs.extend(tried.iter().filter(bundled).map(|row| Out::Member(*row)));
        }
        if wants(Kind::Route) {
            let routes = self.routes.iter();
            let carries =
                |row: &RowId| links.is("forwards", *row) || links.is("is_redundant", *row);
            let lit = |links_on: &[RowId]| links_on.iter().any(carries);
            let routes = routes.filter(|(_, on)| lit(on));
            outs.extend(routes.map(|(name, _)| Out::Route(name.clone())));
        }
        if wants(Kind::Switch) {
            let at_ends = self.links_by_switch();
            let rows = self.look(self.switches).rows().iter();
            let rows = rows.filter(|row| at_ends.contains_key(row));
            outs.extend(rows.map(|row| Out::Switch(*row)));
        }
        outs
    }

    /// For each switch the links that end at it and carry traffic.
    fn links_by_switch(&self) -> FxHashMap<RowId, Vec<RowId>> {
        let links = self.links_now();
        let mut found: FxHashMap<RowId, Vec<RowId>> = FxHashMap::default();
        for row in links.rows() {
            if !links.is("forwards", *row) && !links.is("is_redundant", *row) {
                continue;
            }
            for end in ["from", "to"] {
                if let Some(switch) = links.through(end, *row) {
                    let rows = found.entry(switch).or_default();
                    if rows.last() != Some(row) {
                        rows.push(*row);
                    }
                }
            }
        }
        found
    }

    /// What each failure does, in the order given; nothing where it does no harm.
    fn try_all(&mut self, outs: &[Out]) -> Result<Vec<Option<Harm>>, Problem> {
        let by_switch = match outs.iter().any(|out| matches!(out, Out::Switch(_))) {
            true => self.links_by_switch(),
            false => FxHashMap::default(),
        };
        let mut harms = Vec::with_capacity(outs.len());
        for out in outs {
            let links = match out {
                Out::Link(row) | Out::Member(row) => vec![*row],
                Out::Pair(one, two) => vec![*one, *two],
                Out::Route(name) => self.routes.get(name).cloned().unwrap_or_default(),
                Out::Switch(row) => by_switch.get(row).cloned().unwrap_or_default(),
            };
            harms.push(self.try_one(out, &links)?);
        }
        self.end()?;
        Ok(harms)
    }

    fn try_one(&mut self, out: &Out, links: &[RowId]) -> Result<Option<Harm>, Problem> {
        let mut hit: Vec<RowId> = links
            .iter()
            .filter_map(|row| self.taken.get(row))
            .flatten()
            .copied()
            .collect();
        hit.sort_unstable_by_key(|path| self.places.get(path));
        hit.dedup();
        let edit = self.failing(out, links, &hit);
        self.back = Some(match self.back.take() {
            Some(back) => self.trial.turn(back, edit)?,
            None => self.trial.make(edit)?,
        });
        let switch = match out {
            Out::Switch(row) => Some(*row),
            Out::Link(_) | Out::Member(_) | Out::Route(_) | Out::Pair(..) => None,
        };
        let cut_off = match out {
            Out::Member(_) => Vec::new(),
            Out::Link(_) | Out::Route(_) | Out::Switch(_) | Out::Pair(..) => {
                self.net.cut_off(links, switch)
            }
        };
        let ratios = self.ratio_harms(switch, &cut_off);
        let harm = Harm {
            out: out.clone(),
            ratios,
            paths: hit
                .iter()
                .filter_map(|path| self.path_harm(*path))
                .collect(),
            cut_off,
        };
        let is_harm = !harm.cut_off.is_empty() || !harm.ratios.is_empty() || !harm.paths.is_empty();
        Ok(is_harm.then_some(harm))
    }

    /// Takes the last failure back.
    fn end(&mut self) -> Result<(), Problem> {
        if let Some(back) = self.back.take() {
            self.trial.make(back)?;
            self.off.clear();
        }
        Ok(())
    }

    /// The edit that takes something out, and puts the paths in that have to be looked at.
    fn failing(&self, out: &Out, links: &[RowId], hit: &[RowId]) -> Edit {
        let cells = match out {
            Out::Member(row) => {
                let cables = self.links_now().number("cables", *row).unwrap_or(1.0);
                vec![((self.members, *row), Entry::Number(cables - 1.0))]
            }
            Out::Link(_) | Out::Route(_) | Out::Switch(_) | Out::Pair(..) => {
                let cell = |row: &RowId| ((self.state, *row), self.spare.clone());
                links.iter().map(cell).collect()
            }
        };
        let sheet = self.links;
        let fail = Edit::SetCells { sheet, cells };
        match (self.paths, hit.is_empty()) {
            (Some(sheet), false) => {
                let rows = hit.iter().copied().enumerate().collect();
                Edit::Group(vec![Edit::RestoreRows { sheet, rows }, fail])
            }
            (Some(_) | None, _) => fail,
        }
    }

    /// What became of the switches that are not as in the plan, in the order shown.
    fn ratio_harms(&mut self, out: Option<RowId>, cut_off: &[RowId]) -> Vec<RatioHarm> {
        self.off = self.rows_off();
        let asked = self.off.iter().filter(|row| Some(**row) != out);
        let harm = |row: &RowId| self.ratio_harm(*row, cut_off.contains(row));
        asked.filter_map(harm).collect()
    }

    /// The switches that are not as in the plan: the update named those that are not as in the
    /// failure before, which had its own.
    fn rows_off(&self) -> Vec<RowId> {
        let engine = self.trial.engine();
        let Columns {
            ratio,
            uplinks,
            standby,
            target,
        } = self.columns;
        let mut rows = self.off.clone();
        let columns = [Some(ratio), Some(uplinks), Some(target), standby];
        let all = columns.into_iter().flatten().try_for_each(|column| {
            match engine.changed(column) {
                Dirty::Clean => {}
                Dirty::Rows(changed) => rows.extend(changed.iter().map(|row| RowId(*row))),
                Dirty::All => return ControlFlow::Break(()),
            }
            ControlFlow::Continue(())
        });
        let sheet = self.trial.plan().rows(self.switches);
        if all.is_break() {
            rows = sheet.order().to_vec();
        }
        let look = self.look(self.switches);
        rows.sort_unstable_by_key(|row| sheet.rank()[row.at()]);
        rows.dedup();
        rows.retain(|row| {
            let now = stand_of(look, self.columns, *row);
            sheet.is_live(*row) && self.stands.get(row) != Some(&now)
        });
        rows
    }

    fn ratio_harm(&self, switch: RowId, is_cut_off: bool) -> Option<RatioHarm> {
        let before = *self.stands.get(&switch)?;
        let now = stand_of(self.look(self.switches), self.columns, switch);
        let had = before.uplinks.is_some_and(|n| n > 0.0);
        let is_bare = had && now.uplinks.is_some_and(|n| n <= 0.0);
        let standby = now.standby.filter(|_| is_bare);
        let after = if is_bare { standby } else { now.ratio };
        let harm = RatioHarm {
            switch,
            before: before.ratio,
            after,
            target: before.target,
            by_standby: standby.is_some(),
        };
        let is_past = match (after, before.target) {
            (Some(after), Some(target)) => {
                let worse = before
                    .ratio
                    .is_none_or(|ratio| after > ratio * (1.0 + SAME));
                after > target + SAME && worse
            }
            (Some(_), None) => false,
            // What hangs loose as a whole is told as such.
            (None, _) => is_bare && !is_cut_off,
        };
        is_past.then_some(harm)
    }

    fn path_harm(&self, path: RowId) -> Option<PathHarm> {
        let before = *self.path_stands.get(&path)?;
        let look = self.look(self.paths?);
        let now = path_stand(look, path);
        let grew = |before: Option<f64>, now: Option<f64>| match (before, now) {
            (Some(before), Some(now)) if now > before * (1.0 + SAME) => Some((before, now)),
            (Some(_) | None, _) => None,
        };
        let harm = PathHarm {
            path,
            cut: look.text("trouble", path),
            slower: grew(before.latency, now.latency),
            narrower: grew(now.capacity, before.capacity).map(|(now, before)| (before, now)),
            stops: now.stops && !before.stops,
        };
        let is_harm = harm.cut.is_some() || harm.slower.is_some() || harm.narrower.is_some();
        is_harm.then_some(harm)
    }

    /// What pairs do that neither of the two does alone.
    fn try_pairs(&mut self, links: &[RowId], pairs: &[Out]) -> Result<Vec<Harm>, Problem> {
        let singles: Vec<Out> = links.iter().map(|row| Out::Link(*row)).collect();
        let alone = self.try_all(&singles)?;
        let alone: FxHashMap<RowId, Harm> = links
            .iter()
            .zip(alone)
            .filter_map(|(row, harm)| Some((*row, harm?)))
            .collect();
        let harms = self.try_all(pairs)?;
        let beyond = |mut harm: Harm| {
            let Out::Pair(one, two) = harm.out else {
                return None;
            };
            for single in [one, two].iter().filter_map(|row| alone.get(row)) {
                harm.take_out(single);
            }
            let is_more =
                !harm.cut_off.is_empty() || !harm.ratios.is_empty() || !harm.paths.is_empty();
            is_more.then_some(harm)
        };
        Ok(harms.into_iter().flatten().filter_map(beyond).collect())
    }
}

impl Harm {
    /// Leaves only what goes beyond another failure.
    fn take_out(&mut self, other: &Self) {
        self.cut_off.retain(|row| !other.cut_off.contains(row));
        self.ratios.retain(|ratio| {
            let known = other
                .ratios
                .iter()
                .find(|known| known.switch == ratio.switch);
            known.is_none_or(|known| match (ratio.after, known.after) {
                (Some(now), Some(known)) => now > known * (1.0 + SAME),
                (None, Some(_)) => true,
                (_, None) => false,
            })
        });
        self.paths.retain(|path| {
            let known = other.paths.iter().find(|known| known.path == path.path);
            let more = |now: Option<(f64, f64)>, known: Option<(f64, f64)>| match (now, known) {
                (Some((_, now)), Some((_, known))) => (now - known).abs() > known.abs() * SAME,
                (Some(_), None) => true,
                (None, _) => false,
            };
            known.is_none_or(|known| {
                let cut = path.cut.is_some() && known.cut.is_none();
                let alive = path.cut.is_none() && known.cut.is_none();
                cut || alive
                    && (more(path.slower, known.slower) || more(path.narrower, known.narrower))
            })
        });
    }

    /// How bad it is: greater is worse, by switches cut off, then paths cut, then switches without
    /// an uplink, then ratios past their target, then by how much the worst of them, then other
    /// paths that suffer.
    pub fn weight(&self) -> [f64; 6] {
        let cut = self.paths.iter().filter(|path| path.cut.is_some()).count();
        let bare = self.ratios.iter().filter(|ratio| ratio.after.is_none());
        let bare = bare.count();
        let share = |ratio: &RatioHarm| Some(ratio.after? / ratio.target?);
        let worst = self.ratios.iter().filter_map(share).fold(0.0, f64::max);
        [
            self.cut_off.len() as f64,
            cut as f64,
            bare as f64,
            (self.ratios.len() - bare) as f64,
            worst,
            (self.paths.len() - cut) as f64,
        ]
    }

    /// How much it weighs: a stop where something is cut off.
    pub fn severity(&self) -> Severity {
        let cut = self
            .paths
            .iter()
            .any(|path| path.cut.is_some() || path.stops);
        match (!self.cut_off.is_empty() || cut, self.ratios.is_empty()) {
            (true, _) => Severity::Stop,
            (false, false) => Severity::Caution,
            (false, true) => Severity::Note,
        }
    }
}

fn worst_first(a: &Harm, b: &Harm) -> Ordering {
    let pairs = b.weight().into_iter().zip(a.weight());
    let mut order = pairs.map(|(b, a)| b.total_cmp(&a));
    order
        .find(|order| *order != Ordering::Equal)
        .unwrap_or(Ordering::Equal)
}

/// The links on each route, by its name without regard to case, in the order in which they come
/// up; a link is on the routes of its segments as well.
fn routes_of(links: Look<'_>) -> IndexMap<String, Vec<RowId>> {
    let mut routes: IndexMap<String, (String, Vec<RowId>)> = IndexMap::new();
    let mut add = |name: Option<String>, link: RowId| {
        let Some(name) = name.map(|name| name.trim().to_owned()) else {
            return;
        };
        let known = routes.entry(name.to_lowercase());
        let (_, rows) = known.or_insert_with(|| (name, Vec::new()));
        if !rows.contains(&link) {
            rows.push(link);
        }
    };
    for row in links.rows() {
        add(links.text("route", *row), *row);
    }
    if let Some(segments) = Look::new(links.plan, links.engine, "segments") {
        for row in segments.rows() {
            if let Some(link) = segments.through("link", *row) {
                add(segments.text("route", *row), link);
            }
        }
    }
    routes.into_values().collect()
}

fn stands_of(switches: Look<'_>, columns: Columns) -> FxHashMap<RowId, Stand> {
    let rows = switches.rows().iter();
    rows.map(|row| (*row, stand_of(switches, columns, *row)))
        .collect()
}

fn stand_of(switches: Look<'_>, columns: Columns, row: RowId) -> Stand {
    let of = |column| number_of(&switches.engine.cell(switches.plan, column, row));
    Stand {
        ratio: of(columns.ratio),
        uplinks: of(columns.uplinks),
        target: of(columns.target),
        standby: columns.standby.and_then(of),
    }
}

fn path_stands(paths: Look<'_>) -> FxHashMap<RowId, PathStand> {
    let rows = paths.rows().iter();
    rows.map(|row| (*row, path_stand(paths, *row))).collect()
}

fn path_stand(paths: Look<'_>, row: RowId) -> PathStand {
    PathStand {
        latency: paths.number("latency", row),
        capacity: paths.number("capacity", row),
        stops: paths.text("verdict", row).as_deref() == Some("fails"),
    }
}

/// One thing that a failure does, in words.
#[derive(Debug, Clone, PartialEq)]
pub struct Said {
    /// How much it weighs.
    pub severity: Severity,
    /// The sentence: lower case, no full stop.
    pub text: String,
    /// The sheet and row that suffers.
    pub at: (SheetId, RowId),
}

impl Out {
    /// Which kind it is; none for a pair.
    pub fn kind(&self) -> Option<Kind> {
        match self {
            Self::Link(_) => Some(Kind::Link),
            Self::Member(_) => Some(Kind::Member),
            Self::Route(_) => Some(Kind::Route),
            Self::Switch(_) => Some(Kind::Switch),
            Self::Pair(..) => None,
        }
    }

    /// What is out, in words.
    pub fn name(&self, plan: &Plan) -> String {
        let id = |sheet: &str, row: RowId| {
            let sheet = plan.sheet(sheet);
            sheet.map_or_else(String::new, |sheet| plan.id(sheet, row))
        };
        match self {
            Self::Link(row) => format!("link {}", id("links", *row)),
            Self::Member(row) => format!("one member of {}", id("links", *row)),
            Self::Route(name) => format!("route {name}"),
            Self::Switch(row) => format!("switch {}", id("switches", *row)),
            Self::Pair(one, two) => {
                format!("links {} and {}", id("links", *one), id("links", *two))
            }
        }
    }

    /// The row to look at; a route has none.
    pub fn at(&self, plan: &Plan) -> Option<(SheetId, RowId)> {
        match self {
            Self::Link(row) | Self::Member(row) | Self::Pair(row, _) => {
                Some((plan.sheet("links")?, *row))
            }
            Self::Switch(row) => Some((plan.sheet("switches")?, *row)),
            Self::Route(_) => None,
        }
    }
}

/// What a failure does, sentence by sentence, in the plan and engine that were asked about.
pub fn said(plan: &Plan, engine: &Engine, harm: &Harm) -> Vec<Said> {
    let mut all = Vec::new();
    if let Some(switches) = Look::new(plan, engine, "switches") {
        for row in &harm.cut_off {
            all.push(Said {
                severity: Severity::Stop,
                text: format!("{} is cut off", switches.id(*row)),
                at: (switches.sheet, *row),
            });
        }
        let ratios = harm.ratios.iter();
        all.extend(ratios.map(|ratio| said_of_ratio(switches, ratio)));
    }
    if let Some(paths) = Look::new(plan, engine, "paths") {
        all.extend(harm.paths.iter().map(|path| said_of_path(paths, path)));
    }
    all
}

fn said_of_ratio(switches: Look<'_>, harm: &RatioHarm) -> Said {
    let id = switches.id(harm.switch);
    let to_one = |value: Option<f64>| match value {
        Some(_) => format!("{} to 1", switches.said("ratio", value)),
        None => "unknown".to_owned(),
    };
    let text = match harm.after {
        None => format!("{id} has no uplink left"),
        Some(_) => {
            let standby = match harm.by_standby {
                true => ", by what stands by",
                false => "",
            };
            format!(
                "{id} has a ratio of {}{standby}; {} today, target {}",
                to_one(harm.after),
                to_one(harm.before),
                to_one(harm.target)
            )
        }
    };
    Said {
        severity: Severity::Caution,
        text,
        at: (switches.sheet, harm.switch),
    }
}

fn said_of_path(paths: Look<'_>, harm: &PathHarm) -> Said {
    let id = paths.id(harm.path);
    let change = |name: &str, pair: Option<(f64, f64)>, word: &str| {
        let (before, after) = pair?;
        let [before, after] = [before, after].map(|value| paths.said(name, Some(value)));
        Some(format!("{word}, {after} for {before}"))
    };
    let text = match &harm.cut {
        Some(why) => format!("path {id} is cut: {why}"),
        None => {
            let parts = [
                change("latency", harm.slower, "slower"),
                change("capacity", harm.narrower, "narrower"),
            ];
            let parts: Vec<String> = parts.into_iter().flatten().collect();
            format!("path {id} gets {}", parts.join(" and "))
        }
    };
    let severity = match harm.cut.is_some() || harm.stops {
        true => Severity::Stop,
        false => Severity::Note,
    };
    Said {
        severity,
        text,
        at: (paths.sheet, harm.path),
    }
}
