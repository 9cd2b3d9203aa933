//! What has to be bought for the planned links, each quantity with the rows behind it.
//!
//! Counts what the columns of links say; planned links are bought, ordered ones are on their way,
//! all others are there. Prices and stock come from the own parts list; what has no price stays
//! without.

use super::Look;
use super::labels;
use crate::engine::Engine;
use crate::plan::Entry;
use crate::plan::Plan;
use crate::problem::Problem;
use crate::problem::several;
use crate::table::{RowId, SheetId};
use crate::trade::Cages;
use indexmap::IndexMap;
use std::collections::BTreeMap;

/// A group of parts with a total of its own.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Family {
    /// Modules.
    Modules,
    /// Direct attach and active optical assemblies.
    Assemblies,
    /// Cords.
    Cords,
    /// Cable by its length.
    Cable,
    /// Attenuators.
    Pads,
    /// Panels and adapters of links that are led through segments.
    Panels,
    /// Labels of cables.
    Labels,
    /// What cleans connectors.
    Cleaning,
}

impl Family {
    /// All families in the order of the list.
    pub const ALL: [Self; 8] = [
        Self::Modules,
        Self::Assemblies,
        Self::Cords,
        Self::Cable,
        Self::Pads,
        Self::Panels,
        Self::Labels,
        Self::Cleaning,
    ];

    /// The words for it.
    pub fn word(self) -> &'static str {
        match self {
            Self::Modules => "modules",
            Self::Assemblies => "assemblies",
            Self::Cords => "cords",
            Self::Cable => "cable",
            Self::Pads => "pads",
            Self::Panels => "panels and adapters",
            Self::Labels => "labels",
            Self::Cleaning => "cleaning",
        }
    }

    /// Whether spares of it are bought.
    fn has_spares(self) -> bool {
        match self {
            Self::Modules | Self::Assemblies | Self::Cords | Self::Pads => true,
            Self::Cable | Self::Panels | Self::Labels | Self::Cleaning => false,
        }
    }
}

/// What a part is for at a link.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Use {
    /// The module at its near end.
    NearEnd,
    /// The module at its far end.
    FarEnd,
    /// An assembly that is the link.
    Link,
    /// A cord from port to port.
    PortToPort,
    /// A cord at an end of its cable.
    Ends,
    /// The cable between the cords.
    Run,
    /// Pads at the receivers.
    Receivers,
    /// Adapters or jacks where cables meet.
    Connections,
    /// Ports of panels.
    Ports,
    /// End faces to be cleaned.
    Faces,
    /// Labels at both ends.
    BothEnds,
}

impl Use {
    /// The words for it, such as `near end`.
    pub fn words(self) -> &'static str {
        match self {
            Self::NearEnd => "near end",
            Self::FarEnd => "far end",
            Self::Link => "link",
            Self::PortToPort => "port to port",
            Self::Ends => "ends",
            Self::Run => "run",
            Self::Receivers => "receivers",
            Self::Connections => "connections",
            Self::Ports => "ports",
            Self::Faces => "faces",
            Self::BothEnds => "both ends",
        }
    }
}

/// A row that needs some of a part.
#[derive(Debug, Clone, PartialEq)]
pub struct Behind {
    /// The link.
    pub link: RowId,
    /// How much: pieces, metres, or what one piece is enough for several of, such as faces.
    pub count: f64,
    /// What it is for.
    pub what: Use,
    /// Whether it is ordered already.
    pub is_ordered: bool,
}

/// One part.
#[derive(Debug, Clone, PartialEq)]
pub struct Line {
    /// Its family.
    pub family: Family,
    /// What it is, such as `10GBASE-SR module, SFP+`.
    pub name: String,
    /// What is counted: `pieces` or `m`.
    pub unit: &'static str,
    /// The rows behind it, in the order shown; those of the first links where no more were asked for.
    pub behind: Vec<Behind>,
    /// How many links need it.
    pub n_links: usize,
    /// Of how much of what the rows count one piece is enough.
    pub each: f64,
    /// What the planned links need.
    pub needed: f64,
    /// Spares by the rule of the plan.
    pub spares: f64,
    /// What the ordered links will bring.
    pub on_order: f64,
    /// What is in stock; none where the parts list does not say.
    pub on_hand: Option<f64>,
    /// What is to be bought: needed and spares, less what is in stock.
    pub to_buy: f64,
    /// The row of the parts list that the price is from, else one that the stock is from.
    pub part: Option<RowId>,
    /// The price of one piece, or of one metre.
    pub price: Option<f64>,
    /// The price of what is to be bought; none where there is no price.
    pub cost: Option<f64>,
}

/// The total of a family.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Total {
    /// The family; none for all.
    pub family: Option<Family>,
    /// What the parts cost that have a price.
    pub cost: f64,
    /// How many lines of it are to be bought and have no price.
    pub n_unpriced: usize,
}

/// What is to be bought.
#[derive(Debug, Clone, PartialEq)]
pub struct OrderList {
    /// The parts, by family.
    pub lines: Vec<Line>,
    /// A total for each family that has a part to be bought, and one of all.
    pub totals: Vec<Total>,
    /// The currency of all prices, where the plan states one.
    pub currency: Option<String>,
    /// Planned links of which something cannot be ordered yet, and why.
    pub open: Vec<(RowId, String)>,
    /// What is to be known of the whole list.
    pub notes: Vec<&'static str>,
}

/// What a part is told apart by.
#[derive(Debug, Clone, PartialEq, Eq, Hash, PartialOrd, Ord)]
struct Key {
    family: Family,
    /// Millimetres of a cord or an assembly, so that lines stand by length.
    length: u64,
    name: String,
}

/// Where the stock and the price of a part are found.
#[derive(Debug, Clone, Default, PartialEq)]
struct Wanted {
    kinds: &'static [&'static str],
    interface: Option<String>,
    medium: Option<String>,
    length: Option<f64>,
    loss: Option<f64>,
    by_length: bool,
}

/// A line that is being added to.
#[derive(Debug, Default)]
struct Open {
    wanted: Wanted,
    each: f64,
    behind: Vec<Behind>,
    n_links: usize,
    last: Option<RowId>,
    planned: Sum,
    ordered: Sum,
}

/// Counts that are added in an order of their own, so that moved rows change no bit: how often each
/// came, by the bits of the number, which for positive ones is by size.
#[derive(Debug, Default)]
struct Sum(BTreeMap<u64, u32>);

impl Sum {
    fn add(&mut self, count: f64) {
        *self.0.entry(count.to_bits()).or_default() += 1;
    }

    fn total(&self) -> f64 {
        let each = self.0.iter();
        each.map(|(bits, n)| f64::from_bits(*bits) * f64::from(*n))
            .sum()
    }
}

/// What the plan assumes of orders.
#[derive(Debug, Clone)]
struct Rules {
    slack: f64,
    cord: f64,
    lengths: Vec<f64>,
    share: f64,
    least: f64,
    panel_ports: f64,
    cleanings: f64,
}

impl Rules {
    fn of(plan: &Plan) -> Self {
        let entry = |name: &str| {
            let param = plan.assumption(name)?;
            Some(&plan.assumptions()[param.at()].entry)
        };
        let number = |name: &str, otherwise: f64| match entry(name) {
            Some(Entry::Number(value)) if value.is_finite() => *value,
            Some(_) | None => otherwise,
        };
        let lengths = match entry("stock_lengths") {
            Some(Entry::Text(code)) => plan.names().text(*code),
            Some(_) | None => String::new(),
        };
        let lengths = lengths.split([',', ';', ' ']).filter_map(|word| {
            let length: f64 = word.trim().trim_end_matches('m').parse().ok()?;
            (length > 0.0 && length < 1e6).then_some(length)
        });
        Self {
            slack: number("order_slack", 0.0).max(0.0),
            cord: number("cord_length", 2.0).max(0.0),
            lengths: lengths.collect(),
            share: number("spare_share", 0.0).max(0.0),
            least: number("spare_least", 0.0).max(0.0),
            panel_ports: number("panel_ports", 24.0).max(1.0),
            cleanings: number("cleanings", 500.0).max(1.0),
        }
    }
}

/// The order list of a plan.
///
/// # Errors
/// A plan without the sheets of links and parts.
pub fn order_list(plan: &Plan, engine: &Engine) -> Result<OrderList, Problem> {
    short_order_list(plan, engine, usize::MAX)
}

/// The order list of a plan with the rows of so many links behind each line: a large plan has several
/// rows for each link.
///
/// # Errors
/// The same.
pub fn short_order_list(
    plan: &Plan,
    engine: &Engine,
    most_links: usize,
) -> Result<OrderList, Problem> {
    let look = |name: &str| {
        Look::new(plan, engine, name).ok_or_else(|| {
            Problem::new("sheet-unknown", format!("there is no sheet of {name}"))
                .help("use the built-in sheets")
        })
    };
    let (links, parts) = (look("links")?, look("parts")?);
    let mut list = Lister {
        links,
        parts,
        cages: Cages::of(plan),
        rules: Rules::of(plan),
        most_links,
        lines: IndexMap::new(),
        open: Vec::new(),
    };
    for link in links.rows() {
        list.add_link(*link);
    }
    for link in links.rows() {
        (0..labels::n_of(links, *link)).for_each(|_| list.add_label(*link));
    }
    Ok(list.end(currency(plan)))
}

/// The currency that a plan states.
pub fn currency(plan: &Plan) -> Option<String> {
    let param = plan.assumption("currency")?;
    match &plan.assumptions()[param.at()].entry {
        Entry::Text(code) => Some(plan.names().text(*code)),
        Entry::Empty | Entry::Number(_) | Entry::Wrong(_) => None,
    }
}

struct Lister<'a> {
    links: Look<'a>,
    parts: Look<'a>,
    cages: Cages,
    rules: Rules,
    most_links: usize,
    lines: IndexMap<Key, Open>,
    open: Vec<(RowId, String)>,
}

/// How a link stands to an order: bought, ordered, or neither.
fn is_ordered(links: Look<'_>, link: RowId) -> Option<bool> {
    match links.is("to_order", link) {
        true => Some(false),
        false => (links.text("state", link).as_deref() == Some("ordered")).then_some(true),
    }
}

impl Lister<'_> {
    fn add(&mut self, key: Key, wanted: Wanted, each: f64, behind: Behind) {
        if behind.count <= 0.0 {
            return;
        }
        let line = self.lines.entry(key).or_insert_with(|| Open {
            wanted,
            each,
            ..Open::default()
        });
        match behind.is_ordered {
            true => line.ordered.add(behind.count),
            false => line.planned.add(behind.count),
        }
        if line.last.replace(behind.link) != Some(behind.link) {
            line.n_links += 1;
        }
        if line.n_links <= self.most_links {
            line.behind.push(behind);
        }
    }

    fn add_link(&mut self, link: RowId) {
        let Some(is_ordered) = is_ordered(self.links, link) else {
            return;
        };
        if let Some(why) = self.trouble(link).filter(|_| !is_ordered) {
            self.open.push((link, why));
        }
        for (end, what) in [("near", Use::NearEnd), ("far", Use::FarEnd)] {
            self.add_module(link, end, what, is_ordered);
        }
        self.add_assembly(link, is_ordered);
        self.add_cords(link, is_ordered);
        self.add_cable(link, is_ordered);
        self.add_pads(link, is_ordered);
        self.add_panels(link, is_ordered);
        self.add_cleaning(link, is_ordered);
    }

    /// Why something of a link cannot be ordered yet.
    fn trouble(&self, link: RowId) -> Option<String> {
        let links = self.links;
        let missing = [
            ("interface", "interface"),
            ("used_medium", "medium"),
            ("used_length", "length"),
        ];
        let missing: Vec<&str> = missing
            .iter()
            .filter(|(name, _)| {
                links.text(name, link).is_none() && links.number(name, link).is_none()
            })
            .map(|(_, word)| *word)
            .collect();
        if !missing.is_empty() {
            return Some(format!("no {} is entered", missing.join(", no ")));
        }
        let verdict = links.text("verdict", link)?;
        (verdict == "fails").then(|| "it fails: mend the plan before you order".to_owned())
    }

    fn cables(&self, link: RowId) -> f64 {
        self.links.number("cables", link).unwrap_or(1.0)
    }

    fn add_module(&mut self, link: RowId, end: &str, what: Use, is_ordered: bool) {
        let links = self.links;
        let Some(count) = links.number(&format!("{end}_modules"), link) else {
            return;
        };
        let (name, module) = match end {
            "near" => ("interface", "module"),
            _ => ("far", "far_module"),
        };
        let Some(interface) = links.text(name, link) else {
            return;
        };
        let form = self.form(link, end, links.text(module, link), &interface);
        let form = form.map_or_else(String::new, |form| format!(", {form}"));
        let key = Key {
            family: Family::Modules,
            length: 0,
            name: format!("{interface} module{form}"),
        };
        let wanted = Wanted {
            kinds: &["module"],
            interface: Some(interface),
            ..Wanted::default()
        };
        let behind = Behind {
            link,
            count,
            what,
            is_ordered,
        };
        self.add(key, wanted, 1.0, behind);
    }

    /// The form factor of a module: as entered, else the one of the interface that goes best into
    /// its cage, else the first that the tables name.
    fn form(
        &self,
        link: RowId,
        end: &str,
        entered: Option<String>,
        interface: &str,
    ) -> Option<String> {
        if entered.is_some() {
            return entered;
        }
        let links = self.links;
        let interfaces = Look::new(links.plan, links.engine, "interfaces")?;
        let row = links.plan.find(interfaces.sheet, interface)?;
        let forms = interfaces.text("forms", row)?;
        // The jack of twisted pair is no module.
        let mut forms = forms.split_whitespace().filter(|form| *form != "RJ45");
        let cage = links.text(&format!("{end}_cage"), link);
        match cage {
            // Of several that fit alike the first.
            Some(cage) => forms
                .rev()
                .max_by_key(|form| self.cages.fit(&cage, form))
                .map(str::to_owned),
            None => forms.next().map(str::to_owned),
        }
    }

    fn add_assembly(&mut self, link: RowId, is_ordered: bool) {
        let links = self.links;
        let count = links.number("needed_assemblies", link).unwrap_or(0.0);
        let (Some(interface), Some(medium)) = (
            links.text("interface", link),
            links.text("used_medium", link),
        ) else {
            return;
        };
        if count <= 0.0 {
            return;
        }
        let Some(need) = links.number("used_length", link) else {
            return;
        };
        let wanted = Wanted {
            kinds: &["direct attach", "active optical"],
            interface: Some(interface.clone()),
            medium: Some(medium.clone()),
            ..Wanted::default()
        };
        let most = links.number("reach", link);
        let length = self.stock_length(need * (1.0 + self.rules.slack), most, &wanted);
        self.add_piece(
            Family::Assemblies,
            format!("{interface} on {medium}"),
            length,
            wanted,
            Behind {
                link,
                count,
                what: Use::Link,
                is_ordered,
            },
        );
    }

    /// Adds pieces of a length to their line.
    fn add_piece(
        &mut self,
        family: Family,
        name: String,
        length: f64,
        wanted: Wanted,
        behind: Behind,
    ) {
        let said = crate::units::significant(length, 6);
        let key = Key {
            family,
            length: (length * 1000.0).round() as u64,
            name: format!("{name}, {said} m"),
        };
        let wanted = Wanted {
            length: Some(length),
            ..wanted
        };
        self.add(key, wanted, 1.0, behind);
    }

    /// The shortest stock length that is long enough and not beyond what is allowed; where there
    /// is none, the length itself, to a tenth of a metre up.
    fn stock_length(&self, need: f64, most: Option<f64>, wanted: &Wanted) -> f64 {
        let parts = self.parts;
        let own = parts.rows().iter().filter(|row| self.serves(wanted, **row));
        let own = own.filter_map(|row| parts.number("length", *row));
        let all = own.chain(self.rules.lengths.iter().copied());
        let allowed = |length: &f64| most.is_none_or(|most| *length <= most + 1e-9);
        let fits = all.filter(|length| *length >= need - 1e-9).filter(allowed);
        let exact = (need * 10.0 - 1e-6).ceil() / 10.0;
        fits.reduce(f64::min).unwrap_or(exact)
    }

    /// Whether a row of the parts list is what is wanted.
    fn serves(&self, wanted: &Wanted, row: RowId) -> bool {
        let parts = self.parts;
        let same = |name: &str, wanted: &Option<String>, may_be_empty: bool| {
            let Some(wanted) = wanted else { return true };
            match parts.text(name, row) {
                Some(text) => text.to_lowercase() == wanted.to_lowercase(),
                None => may_be_empty,
            }
        };
        let near = |name: &str, wanted: Option<f64>| {
            wanted.is_none_or(|wanted| {
                let own = parts.number(name, row);
                own.is_some_and(|own| (own - wanted).abs() < 1e-6)
            })
        };
        let kind = parts.text("kind", row).unwrap_or_default();
        let of_interface = wanted.interface.is_some();
        wanted.kinds.contains(&kind.as_str())
            && same("interface", &wanted.interface, false)
            && same("medium", &wanted.medium, of_interface)
            && near("length", wanted.length)
            && near("loss", wanted.loss)
    }

    fn add_cords(&mut self, link: RowId, is_ordered: bool) {
        let links = self.links;
        let Some(count) = links.number("needed_cords", link).filter(|n| *n > 0.0) else {
            return;
        };
        let Some(medium) = links.text("used_medium", link) else {
            return;
        };
        let cables = self.cables(link);
        let special = match links.is("is_fibre", link) {
            true => self.conditioned_ends(link) * cables,
            false => 0.0,
        };
        let is_direct = links.number("used_connections", link) == Some(0.0);
        let need = match (is_direct, links.is("is_fibre", link)) {
            (true, _) => {
                let length = links.number("used_length", link);
                length.map(|length| length * (1.0 + self.rules.slack))
            }
            (false, true) => Some(self.rules.cord),
            (false, false) => links.number("used_cords", link).map(|cords| cords / 2.0),
        };
        let Some(need) = need.filter(|need| *need > 0.0) else {
            return;
        };
        let mut cord = |name: String, count: f64, kinds: &'static [&'static str]| {
            let wanted = Wanted {
                kinds,
                medium: Some(medium.clone()),
                ..Wanted::default()
            };
            let length = self.stock_length(need, None, &wanted);
            let behind = Behind {
                link,
                count,
                what: if is_direct {
                    Use::PortToPort
                } else {
                    Use::Ends
                },
                is_ordered,
            };
            self.add_piece(Family::Cords, name, length, wanted, behind);
        };
        cord(format!("{medium} cord"), count - special, &["cord"]);
        // The parts list does not tell such cords from others.
        cord(format!("{medium} mode-conditioning cord"), special, &[]);
    }

    /// At how many ends a mode-conditioning cord is planned, or asked for by the standard.
    fn conditioned_ends(&self, link: RowId) -> f64 {
        match self.links.text("conditioning", link).as_deref() {
            Some("both ends") => 2.0,
            Some("one end") => 1.0,
            Some(_) => 0.0,
            None if self.links.is("needs_conditioning", link) => 2.0,
            None => 0.0,
        }
    }

    /// The cable between the cords, by its length.
    fn add_cable(&mut self, link: RowId, is_ordered: bool) {
        let links = self.links;
        let Some(medium) = links.text("used_medium", link) else {
            return;
        };
        let is_cabled = links.number("needed_cords", link).is_some_and(|n| n > 0.0)
            && links
                .number("used_connections", link)
                .is_some_and(|n| n > 0.0);
        let Some(length) = links.number("used_length", link).filter(|_| is_cabled) else {
            return;
        };
        let cords = match links.is("is_fibre", link) {
            true => 2.0 * self.rules.cord,
            false => links.number("used_cords", link).unwrap_or(0.0),
        };
        let run = (length - cords).max(0.0) * (1.0 + self.rules.slack);
        let key = Key {
            family: Family::Cable,
            length: 0,
            name: format!("{medium} cable"),
        };
        let wanted = Wanted {
            kinds: &["cable"],
            medium: Some(medium),
            by_length: true,
            ..Wanted::default()
        };
        let behind = Behind {
            link,
            count: run * self.cables(link),
            what: Use::Run,
            is_ordered,
        };
        self.add(key, wanted, 1.0, behind);
    }

    /// A pad at each receiver.
    fn add_pads(&mut self, link: RowId, is_ordered: bool) {
        let Some(loss) = self.links.number("pad", link).filter(|pad| *pad > 0.0) else {
            return;
        };
        let key = Key {
            family: Family::Pads,
            length: (loss * 1000.0).round() as u64,
            name: format!("pad {}", self.links.said("pad", Some(loss))),
        };
        let wanted = Wanted {
            kinds: &["pad"],
            loss: Some(loss),
            ..Wanted::default()
        };
        let behind = Behind {
            link,
            count: 2.0 * self.cables(link),
            what: Use::Receivers,
            is_ordered,
        };
        self.add(key, wanted, 1.0, behind);
    }

    /// An adapter or a jack for each connection, and the panels for them, of a link that is led
    /// through segments.
    fn add_panels(&mut self, link: RowId, is_ordered: bool) {
        let links = self.links;
        let has_segments = links.number("segment_count", link).is_some_and(|n| n > 0.0);
        let connections = links
            .number("used_connections", link)
            .filter(|_| has_segments);
        let Some(connections) = connections else {
            return;
        };
        let connector = self.connector(link);
        let count = connections * self.cables(link);
        let ports = self.rules.panel_ports;
        let adapter = (format!("{connector} adapter"), 1.0, Use::Connections);
        let panel = (
            format!("panel of {ports} for {connector}"),
            ports,
            Use::Ports,
        );
        for (name, each, what) in [adapter, panel] {
            let key = Key {
                family: Family::Panels,
                length: each as u64,
                name,
            };
            let behind = Behind {
                link,
                count,
                what,
                is_ordered,
            };
            // The parts list does not say for which connector a panel is.
            self.add(key, Wanted::default(), each, behind);
        }
    }

    /// The connector of an interface, without what the tables add to it.
    fn connector(&self, link: RowId) -> String {
        let links = self.links;
        let named = || {
            let interfaces = Look::new(links.plan, links.engine, "interfaces")?;
            let row = links.through("interface", link)?;
            let text = interfaces.text("connector", row)?;
            let short = text
                .split(" (")
                .next()
                .unwrap_or_default()
                .trim()
                .to_owned();
            (!short.is_empty()).then_some(short)
        };
        named().unwrap_or_else(|| "connector".to_owned())
    }

    /// Two faces at each connection and at each module.
    fn add_cleaning(&mut self, link: RowId, is_ordered: bool) {
        let links = self.links;
        if !links.is("is_fibre", link) {
            return;
        }
        let connections = links.number("used_connections", link).unwrap_or(0.0);
        let key = Key {
            family: Family::Cleaning,
            length: 0,
            name: format!("connector cleaner for {} faces", self.rules.cleanings),
        };
        let behind = Behind {
            link,
            count: 2.0 * (connections + 2.0) * self.cables(link),
            what: Use::Faces,
            is_ordered,
        };
        self.add(key, Wanted::default(), self.rules.cleanings, behind);
    }

    /// Two labels for a cable.
    fn add_label(&mut self, link: RowId) {
        let Some(is_ordered) = is_ordered(self.links, link) else {
            return;
        };
        let key = Key {
            family: Family::Labels,
            length: 0,
            name: "cable label".to_owned(),
        };
        let behind = Behind {
            link,
            count: 2.0,
            what: Use::BothEnds,
            is_ordered,
        };
        self.add(key, Wanted::default(), 1.0, behind);
    }

    fn end(mut self, currency: Option<String>) -> OrderList {
        let mut lines = std::mem::take(&mut self.lines);
        lines.sort_unstable_by(|a, _, b, _| a.cmp(b));
        let lines: Vec<Line> = lines
            .into_iter()
            .map(|(key, open)| self.line(key, open))
            .collect();
        let cable = lines.iter().any(|line| line.family == Family::Cable);
        let panels = lines.iter().any(|line| line.family == Family::Panels);
        let mut notes = Vec::new();
        if cable {
            notes.push("cable is counted also where it lies already: the plan does not say");
        }
        if !panels && !lines.is_empty() {
            notes.push(
                "panels and adapters are counted for links that are led through segments alone",
            );
        }
        OrderList {
            totals: totals(&lines),
            lines,
            currency,
            open: self.open,
            notes,
        }
    }

    fn line(&self, key: Key, open: Open) -> Line {
        let pieces = |sum: &Sum| match key.family {
            Family::Cable => (sum.total() * 10.0 - 1e-6).ceil() / 10.0,
            _ => (sum.total() / open.each - 1e-9).ceil(),
        };
        let needed = pieces(&open.planned).max(0.0);
        let on_order = pieces(&open.ordered).max(0.0);
        let spares = match key.family.has_spares() && needed > 0.0 {
            true => (needed * self.rules.share - 1e-9)
                .ceil()
                .max(self.rules.least),
            false => 0.0,
        };
        let found = self.found(&open.wanted);
        let on_hand = found.on_hand.filter(|_| key.family != Family::Cable);
        let to_buy = match needed > 0.0 {
            true => (needed + spares - on_hand.unwrap_or(0.0)).max(0.0),
            false => 0.0,
        };
        Line {
            family: key.family,
            name: key.name,
            unit: if key.family == Family::Cable {
                "m"
            } else {
                "pieces"
            },
            behind: open.behind,
            n_links: open.n_links,
            each: open.each,
            needed,
            spares,
            on_order,
            on_hand,
            to_buy,
            part: found.part,
            price: found.price,
            cost: found.price.map(|price| price * to_buy),
        }
    }

    /// Stock and price of what is wanted: the cheapest of several.
    fn found(&self, wanted: &Wanted) -> Found {
        let parts = self.parts;
        let column = if wanted.by_length {
            "price_per_length"
        } else {
            "price"
        };
        let mut found = Found::default();
        for row in parts.rows().iter().filter(|row| self.serves(wanted, **row)) {
            if let Some(on_hand) = parts.number("on_hand", *row) {
                found.on_hand = Some(found.on_hand.unwrap_or(0.0) + on_hand);
                found.part = found.part.or(Some(*row));
            }
            let price = parts.number(column, *row);
            if let Some(price) = price.filter(|price| found.price.is_none_or(|own| *price < own)) {
                (found.price, found.part) = (Some(price), Some(*row));
            }
        }
        found
    }
}

#[derive(Debug, Default)]
struct Found {
    on_hand: Option<f64>,
    price: Option<f64>,
    part: Option<RowId>,
}

/// A total for each family of which something is to be bought, then one of all.
fn totals(lines: &[Line]) -> Vec<Total> {
    let total = |family: Option<Family>| {
        let own = lines
            .iter()
            .filter(|line| line.to_buy > 0.0 && family.is_none_or(|family| line.family == family));
        let own: Vec<&Line> = own.collect();
        (!own.is_empty()).then(|| Total {
            family,
            cost: own.iter().filter_map(|line| line.cost).sum(),
            n_unpriced: own.iter().filter(|line| line.cost.is_none()).count(),
        })
    };
    let families = Family::ALL.into_iter().map(Some).chain([None]);
    families.filter_map(total).collect()
}

impl Total {
    /// The total in words: money, and what is not priced.
    pub fn said(&self, currency: Option<&str>) -> String {
        let unpriced = match self.n_unpriced {
            0 => String::new(),
            n => several(n, "line not priced", "lines not priced"),
        };
        if self.cost <= 0.0 && self.n_unpriced > 0 {
            return unpriced;
        }
        let and = if unpriced.is_empty() { "" } else { ", and " };
        format!("{}{and}{unpriced}", money(self.cost, currency))
    }
}

/// An amount of money with two decimals, and its currency where one is stated.
pub fn money(amount: f64, currency: Option<&str>) -> String {
    match currency {
        Some(currency) => format!("{amount:.2} {currency}"),
        None => format!("{amount:.2}"),
    }
}

/// The row of the links that a quantity comes from, to go there.
pub fn place(links: SheetId, behind: &Behind) -> (SheetId, RowId) {
    (links, behind.link)
}
