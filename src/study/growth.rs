//! When ports, cages, access and uplinks of a switch are full, and what the next step up gives.
//!
//! The years are those of the columns; a step up is tried on a copy. Which year it is nobody here
//! knows: a calendar year comes from the caller.

use super::Look;
use super::Trial;
use crate::engine::Engine;
use crate::plan::Edit;
use crate::plan::Entry;
use crate::plan::Plan;
use crate::problem::Problem;
use crate::table::{Cell, RowId};
use rustc_hash::FxHashMap;

/// Seconds of a year, as in the unit `yr`.
const YEAR: f64 = 31_557_600.0;

/// What can be full.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Thing {
    /// The access ports.
    Ports,
    /// The uplink cages.
    Cages,
    /// What the access ports carry, against what users want.
    Access,
    /// What the uplinks carry, against what users want.
    Uplinks,
}

impl Thing {
    /// All of them, in the order in which they are told.
    pub const ALL: [Self; 4] = [Self::Ports, Self::Cages, Self::Access, Self::Uplinks];

    /// The word for it.
    pub fn word(self) -> &'static str {
        match self {
            Self::Ports => "ports",
            Self::Cages => "cages",
            Self::Access => "access",
            Self::Uplinks => "uplinks",
        }
    }

    /// The years until it is full, as a formula of the sheet of switches.
    fn formula(self) -> &'static str {
        match self {
            Self::Ports => "ports_years",
            Self::Cages => "cages_years",
            Self::Access => {
                "years_until(load, first_given(access_offered, access_connected), growth)"
            }
            Self::Uplinks => "years_left",
        }
    }

    /// What it hangs on: columns, and whether they have to be entered.
    fn needs(self) -> &'static [&'static str] {
        match self {
            Self::Ports => &["access_ports", "port_growth"],
            Self::Cages => &["uplink_cages", "cage_growth"],
            Self::Access => &["users", "activity", "user_rate", "growth"],
            Self::Uplinks => &[
                "uplink_capacity",
                "users",
                "activity",
                "user_rate",
                "growth",
            ],
        }
    }

    /// The columns that say how much is taken, and of how much.
    fn amounts(self) -> [&'static str; 2] {
        match self {
            Self::Ports => ["ports_used", "access_ports"],
            Self::Cages => ["cages_used", "uplink_cages"],
            Self::Access => ["load", "access_offered"],
            Self::Uplinks => ["load", "uplink_capacity"],
        }
    }

    /// The column that says how it grows.
    fn growth(self) -> &'static str {
        match self {
            Self::Ports => "port_growth",
            Self::Cages => "cage_growth",
            Self::Access | Self::Uplinks => "growth",
        }
    }

    /// The column to look at for it.
    pub fn column(self) -> &'static str {
        match self {
            Self::Ports => "ports_years",
            Self::Cages => "cages_years",
            Self::Access => "access_offered",
            Self::Uplinks => "years_left",
        }
    }
}

/// How one thing fills.
#[derive(Debug, Clone, PartialEq)]
pub struct Filling {
    /// What.
    pub thing: Thing,
    /// How much is taken today, as a person reads it.
    pub used: String,
    /// Of how much.
    pub of: String,
    /// By how much it grows in a year; none where that is not entered.
    pub growth: Option<String>,
    /// Years until it is full; none where that cannot be told or never comes.
    pub years: Option<f64>,
    /// The columns that are not entered.
    pub missing: Vec<&'static str>,
}

/// One step up.
#[derive(Debug, Clone, PartialEq)]
pub struct Step {
    /// What is done, in words.
    pub what: String,
    /// The ratio then.
    pub ratio: Option<f64>,
    /// The ratio with one cable out then.
    pub worst_ratio: Option<f64>,
    /// Years until the uplinks are full then.
    pub years: Option<f64>,
    /// What stands in its way, such as cages that are all taken.
    pub hurdle: Option<String>,
    /// The edit that does it.
    pub edit: Option<Edit>,
}

/// How a switch fills, and what the next steps give.
#[derive(Debug, Clone, PartialEq)]
pub struct Growth {
    /// The switch.
    pub switch: RowId,
    /// Ports, cages, access and uplinks.
    pub fillings: Vec<Filling>,
    /// One more member, and the next speed that the cages take; none without an uplink.
    pub steps: Vec<Step>,
}

impl Growth {
    /// The years until the first of its things is full.
    pub fn first_full(&self) -> Option<f64> {
        let years = self.fillings.iter().filter_map(|filling| filling.years);
        years.reduce(f64::min)
    }
}

/// The calendar year in which so many years from the beginning of another have passed.
pub fn year_of(from: i32, years: f64) -> Option<i32> {
    let year = f64::from(from) + years.floor();
    (year.is_finite() && year.abs() < 1e6).then_some(year as i32)
}

/// How all switches fill, those first that are full first; those of which nothing can be told
/// come last, in the order shown.
///
/// # Errors
/// A plan without the sheets of links and switches.
pub fn growth(plan: &Plan, engine: &Engine) -> Result<Vec<Growth>, Problem> {
    let missing = || {
        Problem::new("sheet-unknown", "growth is told of links and switches")
            .help("use the built-in sheets")
    };
    let look = |name| Look::new(plan, engine, name).ok_or_else(missing);
    let (links, switches) = (look("links")?, look("switches")?);
    let wanted = ["ratio", "worst_ratio", "years_left", "cages_free"];
    let wanted: Vec<_> = wanted
        .into_iter()
        .filter_map(|name| switches.column(name))
        .collect();
    let mut trial = Trial::of_columns(plan, engine, &wanted);
    let speeds = speeds(plan, engine);
    let uplinks = uplinks(links);
    let mut all = Vec::new();
    for switch in switches.rows() {
        let fillings = Thing::ALL.map(|thing| filling(switches, thing, *switch));
        all.push(Growth {
            switch: *switch,
            fillings: fillings.to_vec(),
            steps: match uplinks.get(switch) {
                Some(uplinks) => steps(&mut trial, (links, switches), *switch, uplinks, &speeds)?,
                None => Vec::new(),
            },
        });
    }
    let key = |growth: &Growth| growth.first_full().unwrap_or(f64::INFINITY);
    all.sort_by(|a, b| key(a).total_cmp(&key(b)));
    Ok(all)
}

fn filling(switches: Look<'_>, thing: Thing, switch: RowId) -> Filling {
    let at = Some((switches.sheet, switch));
    let years = switches.engine.evaluate(switches.plan, thing.formula(), at);
    let years = match years {
        Ok((_, Cell::Number(seconds))) => Some(seconds / YEAR),
        Ok(_) | Err(_) => None,
    };
    let said = |name: &str| switches.said(name, switches.number(name, switch));
    let [used, of] = thing.amounts();
    // A switch that states no ports is counted by what is connected.
    let of = match thing == Thing::Access && switches.number(of, switch).is_none() {
        true => "access_connected",
        false => of,
    };
    let growth = thing.growth();
    let needs = thing.needs().iter();
    Filling {
        thing,
        used: said(used),
        of: said(of),
        growth: switches.number(growth, switch).map(|_| said(growth)),
        years,
        missing: needs
            .filter(|name| switches.number(name, switch).is_none())
            .copied()
            .collect(),
    }
}

/// A speed in bit/s, and the kinds of media that an interface of it runs on.
type Speed = (f64, String);

/// The speeds that interfaces have, ascending.
fn speeds(plan: &Plan, engine: &Engine) -> Vec<Speed> {
    let Some(interfaces) = Look::new(plan, engine, "interfaces") else {
        return Vec::new();
    };
    let rows = interfaces.rows().iter();
    let speed = |row: &RowId| {
        let carriers = interfaces.text("carriers", *row)?;
        Some((interfaces.number("speed", *row)?, carriers))
    };
    let mut speeds: Vec<Speed> = rows.filter_map(speed).collect();
    speeds.sort_by(|a, b| a.0.total_cmp(&b.0));
    speeds
}

/// The kind of the medium of a link.
fn kind_of(links: Look<'_>, link: RowId) -> Option<String> {
    let media = Look::new(links.plan, links.engine, "media")?;
    media.text("kind", links.through("used_medium", link)?)
}

/// For each switch its uplinks that carry traffic.
fn uplinks(links: Look<'_>) -> FxHashMap<RowId, Vec<RowId>> {
    let mut uplinks: FxHashMap<RowId, Vec<RowId>> = FxHashMap::default();
    for link in links
        .rows()
        .iter()
        .filter(|link| links.is("carries_up", **link))
    {
        if let Some(switch) = links.through("from", *link) {
            uplinks.entry(switch).or_default().push(*link);
        }
    }
    uplinks
}

/// The two steps up of a switch.
fn steps(
    trial: &mut Trial,
    (links, switches): (Look<'_>, Look<'_>),
    switch: RowId,
    uplinks: &[RowId],
    speeds: &[Speed],
) -> Result<Vec<Step>, Problem> {
    let speed = |link: &RowId| links.number("line_speed", *link).unwrap_or(0.0);
    // Of several of the same speed the first.
    let widest = uplinks
        .iter()
        .rev()
        .max_by(|a, b| speed(a).total_cmp(&speed(b)))
        .copied();
    let Some(widest) = widest else {
        return Ok(Vec::new());
    };
    let member = member_step(trial, links, switch, widest)?;
    let faster = speed_step(trial, (links, switches), switch, (widest, uplinks), speeds)?;
    Ok([member, faster].into_iter().flatten().collect())
}

fn member_step(
    trial: &mut Trial,
    links: Look<'_>,
    switch: RowId,
    link: RowId,
) -> Result<Option<Step>, Problem> {
    let (Some(column), Some(cables)) = (
        links.plan.def(links.sheet).column("members"),
        links.number("cables", link),
    ) else {
        return Ok(None);
    };
    let edit = Edit::SetCells {
        sheet: links.sheet,
        cells: vec![((column, link), Entry::Number(cables + 1.0))],
    };
    let what = format!(
        "one more member: {} cables of {}",
        cables + 1.0,
        links.id(link)
    );
    let mut step = tried(trial, switch, what, edit)?;
    let in_cage = links.is("near_in_cage", link);
    if in_cage && step.cages_free.is_some_and(|free| free < 0.0) {
        step.step.hurdle = Some("no cage is free for it".to_owned());
    }
    Ok(Some(step.step))
}

fn speed_step(
    trial: &mut Trial,
    (links, switches): (Look<'_>, Look<'_>),
    switch: RowId,
    (widest, uplinks): (RowId, &[RowId]),
    speeds: &[Speed],
) -> Result<Option<Step>, Problem> {
    let Some(column) = links.plan.def(links.sheet).column("speed") else {
        return Ok(None);
    };
    let speed = |link: &RowId| links.number("line_speed", *link);
    let Some(now) = uplinks.iter().filter_map(speed).reduce(f64::max) else {
        return Ok(None);
    };
    // What is pulled stays: the next speed is one that runs on the medium of the widest uplink.
    let kind = kind_of(links, widest);
    let runs = |carriers: &str| {
        let kind = kind.as_deref();
        kind.is_none_or(|kind| carriers.split(',').any(|word| word.trim() == kind))
    };
    let next = speeds
        .iter()
        .find(|(speed, carriers)| *speed > now * (1.0 + 1e-9) && runs(carriers));
    let Some((next, _)) = next.cloned() else {
        return Ok(None);
    };
    let said = links.said("line_speed", Some(next));
    let what = format!("the next speed: {said} on every uplink");
    // Both ends have to take it.
    let uppers = uplinks.iter().filter_map(|link| links.through("to", *link));
    let slow = std::iter::once(switch).chain(uppers).find_map(|end| {
        let most = switches.number("cage_speed", end);
        let id = switches.id(end);
        match most {
            None => Some(format!("the speed of the cages of {id} is not entered")),
            Some(most) if most < next * (1.0 - 1e-9) => {
                let most = switches.said("cage_speed", Some(most));
                Some(format!("the cages of {id} take {most}"))
            }
            Some(_) => None,
        }
    });
    if slow.is_some() {
        return Ok(Some(Step {
            what,
            ratio: None,
            worst_ratio: None,
            years: None,
            hurdle: slow,
            edit: None,
        }));
    }
    let slower = |link: &&RowId| speed(link).is_none_or(|own| own < next);
    let cells = uplinks.iter().filter(slower);
    let edit = Edit::SetCells {
        sheet: links.sheet,
        cells: cells
            .map(|link| ((column, *link), Entry::Number(next)))
            .collect(),
    };
    let mut step = tried(trial, switch, what, edit)?.step;
    step.what.push_str("; its interfaces are to be chosen");
    // A speed alone is no plan: interface and medium go with it.
    step.edit = None;
    Ok(Some(step))
}

/// A step up with the cages that it leaves.
struct Tried {
    step: Step,
    cages_free: Option<f64>,
}

fn tried(trial: &mut Trial, switch: RowId, what: String, edit: Edit) -> Result<Tried, Problem> {
    trial.with(edit.clone(), |trial| {
        let look = Look::new(trial.plan(), trial.engine(), "switches");
        let number = |name| look.and_then(|look| look.number(name, switch));
        Tried {
            cages_free: number("cages_free"),
            step: Step {
                what,
                ratio: number("ratio"),
                worst_ratio: number("worst_ratio"),
                years: number("years_left").map(|seconds| seconds / YEAR),
                hurdle: None,
                edit: Some(edit),
            },
        }
    })
}
