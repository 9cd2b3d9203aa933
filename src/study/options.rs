//! Every interface and medium that could carry a link at its speed, and why the others cannot.
//!
//! Each is tried on a copy of the plan, so what speaks is the checks of the plan; here is only
//! what is tried and in which order it stands. Taking one is an edit that the caller makes.

use super::Look;
use super::Trial;
use crate::engine::Engine;
use crate::plan::Edit;
use crate::plan::Entry;
use crate::plan::Plan;
use crate::problem::Problem;
use crate::problem::Severity;
use crate::table::{RowId, SheetId};
use rustc_hash::FxHashMap;
use std::cmp::Ordering;

/// What choices are ranked by; all are better the less, but for the margin.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Criterion {
    /// The price, from the own parts list.
    Price,
    /// The power of the modules at both ends.
    Watts,
    /// The latency of the hop.
    Latency,
    /// The margin, or on twisted pair that of the pair loss.
    Margin,
}

impl Criterion {
    /// The order in which they count where nothing else is asked.
    pub const ALL: [Self; 4] = [Self::Price, Self::Watts, Self::Latency, Self::Margin];

    /// The word for it.
    pub fn word(self) -> &'static str {
        match self {
            Self::Price => "price",
            Self::Watts => "watts",
            Self::Latency => "latency",
            Self::Margin => "margin",
        }
    }

    /// Reads the word back.
    ///
    /// # Errors
    /// A word that names none.
    pub fn of_word(word: &str) -> Result<Self, Problem> {
        let lower = word.trim().to_lowercase();
        let found = Self::ALL.into_iter().find(|one| one.word() == lower);
        found.ok_or_else(|| {
            let words = Self::ALL.map(Self::word);
            Problem::new("no-criterion", format!("`{word}` ranks nothing"))
                .did_you_mean(word, words)
                .help(format!("rank by: {}", words.join(", ")))
        })
    }
}

/// How an order is told.
pub fn said_order(order: &[Criterion]) -> String {
    let words: Vec<&str> = order.iter().map(|one| one.word()).collect();
    format!(
        "what fits before what is tight, then by {}; where one is not known, behind those where it is",
        words.join(", ")
    )
}

/// Whether a choice carries the links.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Standing {
    /// It does.
    Carries,
    /// That cannot be told: something is not entered, or not in the tables.
    Unknown,
    /// It does not.
    Refused,
}

/// One interface on one medium.
#[derive(Debug, Clone, PartialEq)]
pub struct Choice {
    /// The interface at the near ends.
    pub interface: String,
    /// The one at the far ends, where it is another.
    pub far: Option<String>,
    /// The medium.
    pub medium: String,
    /// Whether it carries the links.
    pub standing: Standing,
    /// The worst verdict of the links with it.
    pub verdict: String,
    /// Why it is refused or unknown, else the first caution; of the first link that has one.
    pub why: Option<String>,
    /// The price of all links; none where one has none.
    pub price: Option<f64>,
    /// The power of all modules in watts.
    pub watts: Option<f64>,
    /// The greatest latency of a hop, in seconds.
    pub latency: Option<f64>,
    /// The least margin in dB.
    pub margin: Option<f64>,
    /// Whether all links have it today.
    pub is_now: bool,
    /// The edit that takes it.
    pub edit: Edit,
}

/// The choices for some links.
#[derive(Debug, Clone, PartialEq)]
pub struct Options {
    /// The links.
    pub links: Vec<RowId>,
    /// Their speed in bit/s.
    pub speed: f64,
    /// What the choices are ranked by.
    pub order: Vec<Criterion>,
    /// Those that carry the links, best first; then those that cannot be told, then those that
    /// are refused, in the order of the tables.
    pub choices: Vec<Choice>,
}

impl Options {
    /// The choices of one standing, in order.
    pub fn of(&self, standing: Standing) -> impl Iterator<Item = &Choice> {
        let choices = self.choices.iter();
        choices.filter(move |choice| choice.standing == standing)
    }
}

/// Tries every interface of the speed of some links on every medium of a kind that it runs on.
///
/// # Errors
/// No link, links of several speeds, or a link whose speed is not known.
pub fn options(
    plan: &Plan,
    engine: &Engine,
    links: &[RowId],
    order: &[Criterion],
) -> Result<Options, Problem> {
    let look = look_at_links(plan, engine)?;
    let speed = common_speed(look, links)?;
    let columns = Columns::of(plan, look.sheet)?;
    let mut trial = Trial::new(plan, engine);
    let mut choices = Vec::new();
    for pair in pairs(plan, engine, look, links, speed) {
        let edit = columns.edit(plan, look, links, &pair);
        let barred = led_elsewhere(look, links, &pair.medium);
        let barred = barred.or_else(|| links.iter().find_map(|link| pair.no_port(look, *link)));
        let choice = match barred {
            Some(why) => Choice::refused(pair, why, edit),
            None => {
                let is_now = links.iter().all(|link| pair.is_of(look, *link));
                let seen = trial.with(edit.clone(), |trial| Seen::of(trial, links))?;
                seen.choice(pair, is_now, edit)
            }
        };
        choices.push(choice);
    }
    choices.sort_by(|a, b| ranked(a, b, order));
    Ok(Options {
        links: links.to_vec(),
        speed,
        order: order.to_vec(),
        choices,
    })
}

fn look_at_links<'a>(plan: &'a Plan, engine: &'a Engine) -> Result<Look<'a>, Problem> {
    Look::new(plan, engine, "links").ok_or_else(|| {
        Problem::new("sheet-unknown", "there is no sheet of links").help("use the built-in sheets")
    })
}

fn common_speed(look: Look<'_>, links: &[RowId]) -> Result<f64, Problem> {
    let mut common = None;
    for link in links {
        let id = look.id(*link);
        let speed = look.number("line_speed", *link).ok_or_else(|| {
            Problem::new("no-speed", format!("the speed of link {id} is not known"))
                .help("enter its speed, or an interface")
        })?;
        if common.is_some_and(|known| known != speed) {
            let message = format!("link {id} has another speed than those before it");
            return Err(
                Problem::new("speeds-differ", message).help("ask for links of one speed at a time")
            );
        }
        common = Some(speed);
    }
    common.ok_or_else(|| Problem::new("no-link", "no link is named").help("name one or more"))
}

/// An interface on a medium, with what goes at the far end.
#[derive(Debug, Clone)]
struct Pair {
    interface: String,
    far: Option<String>,
    medium: String,
    /// Whether the medium is twisted pair, which may go into a fixed port.
    is_pair: bool,
    /// The speed in bit/s.
    speed: f64,
    /// The form of a module for it, where it is made as one.
    form: Option<String>,
}

impl Pair {
    /// The end of a link whose fixed ports do not take twisted pair of this speed, and why.
    fn barred_end(&self, look: Look<'_>, link: RowId, end: &str) -> Option<String> {
        let switches = Look::new(look.plan, look.engine, "switches")?;
        let switch = look.through(end, link).filter(|_| self.is_pair)?;
        let id = switches.id(switch);
        let cage = switches.text("access_cage", switch);
        if let Some(cage) = cage.filter(|cage| !cage.eq_ignore_ascii_case("RJ45")) {
            return Some(format!("the access ports of {id} are {cage}"));
        }
        let most = switches.number("access_speed", switch);
        let slow = most.filter(|most| *most < self.speed * (1.0 - 1e-9))?;
        let most = switches.said("access_speed", Some(slow));
        Some(format!("the access ports of {id} take {most}"))
    }

    /// Why a link has no port for it: no fixed one takes it, and it is not made as a module.
    fn no_port(&self, look: Look<'_>, link: RowId) -> Option<String> {
        if self.form.is_some() || self.is_of(look, link) {
            return None;
        }
        let barred = ["from", "to"].into_iter();
        barred
            .filter_map(|end| self.barred_end(look, link, end))
            .next()
    }

    fn is_of(&self, look: Look<'_>, link: RowId) -> bool {
        let is = |name, wanted: &str| {
            let text = look.text(name, link);
            text.is_some_and(|text| text.to_lowercase() == wanted.to_lowercase())
        };
        let far = self.far.as_deref().unwrap_or(&self.interface);
        is("interface", &self.interface) && is("far", far) && is("used_medium", &self.medium)
    }
}

/// The last row of each name, so that a person's own beats a built-in one.
fn latest(look: Look<'_>) -> Vec<(String, RowId)> {
    let mut places: FxHashMap<String, usize> = FxHashMap::default();
    let mut rows: Vec<(String, RowId)> = Vec::new();
    for row in look.rows() {
        let id = look.id(*row);
        match places.get(&id.to_lowercase()) {
            Some(at) => rows[*at] = (id, *row),
            None => {
                places.insert(id.to_lowercase(), rows.len());
                rows.push((id, *row));
            }
        }
    }
    rows
}

/// What is tried, in the order of the tables.
fn pairs(plan: &Plan, engine: &Engine, links: Look<'_>, chosen: &[RowId], speed: f64) -> Vec<Pair> {
    let of = |name| Look::new(plan, engine, name);
    let (Some(interfaces), Some(media)) = (of("interfaces"), of("media")) else {
        return Vec::new();
    };
    let all_media: Vec<(String, String)> = latest(media)
        .into_iter()
        .filter_map(|(id, row)| Some((id, media.text("kind", row)?)))
        .collect();
    // Of the two halves of a pair on one fibre, the near end keeps the one that it has.
    let near_now = chosen
        .first()
        .and_then(|link| links.text("interface", *link));
    let near_now = near_now.unwrap_or_default().to_lowercase();
    let mut tried: Vec<Pair> = Vec::new();
    for (id, row) in latest(interfaces) {
        let same = interfaces
            .number("speed", row)
            .is_some_and(|own| (own - speed).abs() <= speed * 1e-9);
        if !same {
            continue;
        }
        let far = interfaces.text("pair", row);
        let is_other_half = far.as_ref().is_some_and(|far| {
            let far = far.to_lowercase();
            far == near_now
                || id.to_lowercase() != near_now
                    && tried
                        .iter()
                        .any(|pair| pair.interface.to_lowercase() == far)
        });
        if is_other_half {
            continue;
        }
        let forms = interfaces.text("forms", row).unwrap_or_default();
        let form = forms.split_whitespace().find(|form| *form != "RJ45");
        let carriers = interfaces.text("carriers", row).unwrap_or_default();
        let runs_on = |kind: &str| carriers.split(',').any(|word| word.trim() == kind);
        for (medium, kind) in all_media.iter().filter(|(_, kind)| runs_on(kind)) {
            tried.push(Pair {
                interface: id.clone(),
                far: far
                    .clone()
                    .filter(|far| far.to_lowercase() != id.to_lowercase()),
                medium: medium.clone(),
                is_pair: kind == "twisted pair",
                speed,
                form: form.map(str::to_owned),
            });
        }
    }
    tried
}

/// Why a medium is none for links that are led through segments of another.
fn led_elsewhere(look: Look<'_>, links: &[RowId], medium: &str) -> Option<String> {
    links.iter().find_map(|link| {
        let n = look.number("segment_count", *link).filter(|n| *n > 0.0)?;
        let own = look.text("used_medium", *link).unwrap_or_default();
        (own.to_lowercase() != medium.to_lowercase()).then(|| {
            let id = look.id(*link);
            format!("{id} is led through {n} segments of {own}; change those first")
        })
    })
}

/// Positions of the columns that taking a choice writes.
struct Columns {
    sheet: SheetId,
    interface: usize,
    far: usize,
    medium: usize,
    /// The modules at the near and the far end.
    modules: [usize; 2],
    /// What was said of the parts that go.
    of_parts: Vec<usize>,
    /// What was said of the cable that goes.
    of_cable: Vec<usize>,
}

impl Columns {
    fn of(plan: &Plan, sheet: SheetId) -> Result<Self, Problem> {
        let def = plan.def(sheet);
        let must = |name: &str| {
            def.column(name).ok_or_else(|| {
                Problem::new("column-unknown", format!("there is no column `{name}`"))
                    .help("use the built-in sheets")
            })
        };
        let there = |names: &[&str]| names.iter().filter_map(|name| def.column(name)).collect();
        Ok(Self {
            sheet,
            interface: must("interface")?,
            far: must("far_interface")?,
            medium: must("medium")?,
            modules: [must("module")?, must("far_module")?],
            of_parts: there(&[
                "module",
                "far_module",
                "fec",
                "far_fec",
                "assembly",
                "measured_rx",
                "far_measured_rx",
            ]),
            of_cable: there(&[
                "polish",
                "far_polish",
                "polarity",
                "gender",
                "conditioning",
                "rating",
                "diameter",
                "measured_loss",
            ]),
        })
    }

    /// The edit that gives links an interface and a medium, and clears what was said of those
    /// that go.
    fn edit(&self, plan: &Plan, look: Look<'_>, links: &[RowId], pair: &Pair) -> Edit {
        let text = |text: &str| Entry::Text(plan.names().code(text));
        let mut cells = Vec::new();
        for link in links {
            let far = pair.far.as_deref().map_or(Entry::Empty, text);
            cells.push(((self.interface, *link), text(&pair.interface)));
            cells.push(((self.far, *link), far));
            let own = look.text("used_medium", *link).unwrap_or_default();
            let is_same_cable = own.to_lowercase() == pair.medium.to_lowercase();
            if !pair.is_of(look, *link) {
                cells.extend(cleared(plan, self.sheet, &self.of_parts, *link));
                // Where no fixed port takes twisted pair, a module in a cage does.
                for (end, column) in ["from", "to"].into_iter().zip(self.modules) {
                    let barred = pair.barred_end(look, *link, end);
                    if let (Some(form), Some(_)) = (&pair.form, barred) {
                        cells.push(((column, *link), text(form)));
                    }
                }
            }
            if !is_same_cable {
                cells.push(((self.medium, *link), text(&pair.medium)));
                cells.extend(cleared(plan, self.sheet, &self.of_cable, *link));
            }
        }
        Edit::SetCells {
            sheet: self.sheet,
            cells,
        }
    }
}

/// Cells to be emptied; those that are empty are left alone.
fn cleared(
    plan: &Plan,
    sheet: SheetId,
    columns: &[usize],
    row: RowId,
) -> Vec<((usize, RowId), Entry)> {
    let filled = |column: &&usize| plan.entry(sheet, **column, row) != Entry::Empty;
    let filled = columns.iter().filter(filled);
    filled
        .map(|column| ((*column, row), Entry::Empty))
        .collect()
}

/// What a copy shows of links with a choice made.
struct Seen {
    standing: Standing,
    verdict: String,
    why: Option<String>,
    sums: [Option<f64>; 2],
    latency: Option<f64>,
    margin: Option<f64>,
}

/// What a verdict needs, and what it is called.
const NEEDS: [(&str, &str); 5] = [
    ("used_length", "the length is not entered"),
    ("reach", "no reach is known"),
    ("loss_limit", "no loss limit is known"),
    ("margin", "the loss is not known"),
    ("overload", "a light level is not in the tables"),
];

impl Seen {
    fn of(trial: &Trial, links: &[RowId]) -> Self {
        let look = look_at_links(trial.plan(), trial.engine());
        let Ok(look) = look else {
            return Self::nothing();
        };
        let verdicts: Vec<String> = links
            .iter()
            .map(|link| look.text("verdict", *link).unwrap_or_default())
            .collect();
        let worst = ["fails", "unknown", "tight", "fits"]
            .into_iter()
            .find(|word| verdicts.iter().any(|verdict| verdict == word));
        let verdict = worst.unwrap_or("unknown").to_owned();
        let standing = match verdict.as_str() {
            "fits" | "tight" => Standing::Carries,
            "fails" => Standing::Refused,
            _ => Standing::Unknown,
        };
        let first = links
            .iter()
            .zip(&verdicts)
            .find(|(_, own)| **own == verdict);
        let of_link = |link: RowId| match links.len() {
            1 => String::new(),
            _ => format!("{}: ", look.id(link)),
        };
        let why = match standing {
            Standing::Refused => first.and_then(|(link, _)| {
                let found = trial.findings(look.sheet, *link).into_iter().next()?;
                Some(format!("{}{}", of_link(*link), found.sentence))
            }),
            Standing::Unknown => first.map(|(link, _)| {
                let missing = NEEDS
                    .iter()
                    .find(|(name, _)| look.number(name, *link).is_none());
                let told = missing.map_or("an input is missing", |(_, told)| *told);
                format!("{}{told}", of_link(*link))
            }),
            Standing::Carries => links.iter().find_map(|link| {
                let found = trial.findings(look.sheet, *link).into_iter();
                let mut cautions = found.filter(|one| one.severity == Severity::Caution);
                Some(format!("{}{}", of_link(*link), cautions.next()?.sentence))
            }),
        };
        let all = |name: &str| links.iter().map(|link| look.number(name, *link)).collect();
        let [prices, watts, latencies]: [Option<Vec<f64>>; 3] =
            ["price", "watts", "hop_latency"].map(all);
        let margins = links.iter().map(|link| {
            let margin = look.number("margin", *link);
            margin.or_else(|| look.number("pair_margin", *link))
        });
        let margins: Option<Vec<f64>> = margins.collect();
        Self {
            standing,
            verdict,
            why,
            sums: [prices, watts].map(|values| values.map(|values| values.iter().sum())),
            latency: latencies.and_then(|values| values.into_iter().reduce(f64::max)),
            margin: margins.and_then(|values| values.into_iter().reduce(f64::min)),
        }
    }

    fn nothing() -> Self {
        Self {
            standing: Standing::Unknown,
            verdict: "unknown".to_owned(),
            why: None,
            sums: [None, None],
            latency: None,
            margin: None,
        }
    }

    fn choice(self, pair: Pair, is_now: bool, edit: Edit) -> Choice {
        let [price, watts] = self.sums;
        Choice {
            interface: pair.interface,
            far: pair.far,
            medium: pair.medium,
            standing: self.standing,
            verdict: self.verdict,
            why: self.why,
            price,
            watts,
            latency: self.latency,
            margin: self.margin,
            is_now,
            edit,
        }
    }
}

impl Choice {
    fn refused(pair: Pair, why: String, edit: Edit) -> Self {
        let seen = Seen {
            standing: Standing::Refused,
            verdict: "fails".to_owned(),
            why: Some(why),
            ..Seen::nothing()
        };
        seen.choice(pair, false, edit)
    }

    /// The value of a criterion.
    pub fn value(&self, criterion: Criterion) -> Option<f64> {
        match criterion {
            Criterion::Price => self.price,
            Criterion::Watts => self.watts,
            Criterion::Latency => self.latency,
            Criterion::Margin => self.margin,
        }
    }

    /// What it is called: `10GBASE-SR on OM4`.
    pub fn name(&self) -> String {
        match &self.far {
            Some(far) => format!("{} and {far} on {}", self.interface, self.medium),
            None => format!("{} on {}", self.interface, self.medium),
        }
    }
}

/// The order of choices: what carries first, then what fits before what is tight, then by the
/// criteria. One that has no value stands behind all that have one, so nothing counts as zero.
fn ranked(a: &Choice, b: &Choice, order: &[Criterion]) -> Ordering {
    let standing = |choice: &Choice| match choice.standing {
        Standing::Carries => 0,
        Standing::Unknown => 1,
        Standing::Refused => 2,
    };
    let tight = |choice: &Choice| choice.verdict != "fits";
    let by_standing = standing(a).cmp(&standing(b));
    if by_standing != Ordering::Equal || a.standing == Standing::Refused {
        return by_standing;
    }
    let by_criteria = order.iter().map(|one| {
        let (a, b) = (a.value(*one), b.value(*one));
        match (a, b) {
            (Some(a), Some(b)) if *one == Criterion::Margin => b.total_cmp(&a),
            (Some(a), Some(b)) => a.total_cmp(&b),
            (Some(_), None) => Ordering::Less,
            (None, Some(_)) => Ordering::Greater,
            (None, None) => Ordering::Equal,
        }
    });
    let mut all = std::iter::once(tight(a).cmp(&tight(b))).chain(by_criteria);
    all.find(|order| *order != Ordering::Equal)
        .unwrap_or(Ordering::Equal)
}
