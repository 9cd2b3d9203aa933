//! What the first page says besides findings: the worst figures, the money, what is not checked.
//!
//! Sentences and rows of charts, from what is computed already; nothing is written here.

use super::Request;
use super::layout::{Laid, Layout};
use super::stored::Datum;
use crate::problem::several;
use crate::units::significant;
use rustc_hash::FxHashMap;

/// So many bars a chart has; the worst come first.
const MOST_BARS: usize = 15;

/// A chart of bars with the table it is drawn from.
pub struct Bars {
    /// The finding, as a sentence.
    pub title: String,
    /// What the rows are.
    pub of: String,
    /// The unit of the values.
    pub unit: String,
    /// The names of the series.
    pub series: Vec<String>,
    /// Rows: a name, and one value for each series.
    pub rows: Vec<(String, Vec<Option<f64>>)>,
    /// For each series the block and the letters of the column that it stands in, if it is one.
    pub sources: Vec<Option<(usize, String)>>,
}

/// What the first page says.
pub struct Facts {
    /// The worst figures.
    pub risk: Vec<String>,
    /// The money.
    pub money: Vec<String>,
    /// The assumptions.
    pub assumptions: String,
    /// The charts.
    pub bars: Vec<Bars>,
    verdicts: FxHashMap<(String, &'static str), usize>,
    n_links: usize,
    n_unknown: usize,
}

/// The words of a verdict.
const VERDICTS: [&str; 4] = ["fits", "tight", "fails", "unknown"];

impl Facts {
    /// Looks at what is computed.
    pub fn new(request: &Request<'_>, layout: &Layout) -> Self {
        let mut facts = Self {
            risk: Vec::new(),
            money: Vec::new(),
            assumptions: assumptions(request),
            bars: Vec::new(),
            verdicts: FxHashMap::default(),
            n_links: 0,
            n_unknown: 0,
        };
        for laid in &layout.pages {
            facts.count_verdicts(request, layout, laid);
        }
        let page = |name: &str| {
            request
                .plan
                .sheet(name)
                .and_then(|sheet| layout.page_of(sheet))
        };
        if let Some(links) = page("links") {
            facts.n_links = layout.blocks[links.block].rows.len();
            facts.n_unknown = facts.verdicts("Links", "unknown");
            facts.margins(request, layout, links);
            facts.costs(request);
        }
        if let Some(switches) = page("switches") {
            facts.ratios(request, layout, switches);
            facts.growth(request, layout, switches);
        }
        facts
    }

    /// How many rows of a page have a verdict.
    pub fn verdicts(&self, page: &str, word: &str) -> usize {
        let known = VERDICTS.iter().find(|known| **known == word);
        let count = known.and_then(|known| self.verdicts.get(&(page.to_owned(), *known)));
        count.copied().unwrap_or(0)
    }

    /// What is to be decided.
    pub fn decision(&self, request: &Request<'_>) -> Vec<String> {
        let [stops, cautions, _] = request.findings.counts;
        let first = match (stops, cautions) {
            (0, 0) => "Nothing speaks against building the plan as it stands.".to_owned(),
            (0, n) => format!(
                "No finding stops the plan; decide which of the {n} cautions are accepted as they are."
            ),
            (n, _) => format!(
                "The plan should not be built as it stands: cure the findings of weight stop first, {n} of them, or say \
                 which of them are accepted, and why."
            ),
        };
        let second = match &request.proposal {
            Some(proposal) => format!(
                "Choose between the plan as it stands and `{}`, told under Proposal.",
                proposal.title
            ),
            None => "No other proposal is beside this plan.".to_owned(),
        };
        vec![first, second]
    }

    /// How fresh the plan is, and what was not checked.
    pub fn freshness(&self, request: &Request<'_>) -> Vec<String> {
        let day = match request.date {
            Some((year, month, day)) => format!(" on {year:04}-{month:02}-{day:02}"),
            None => String::new(),
        };
        let mut all = vec![format!(
            "Made{day} by portledger {} from `{}`, revision {}.",
            env!("CARGO_PKG_VERSION"),
            request.name,
            request.identity.short_revision()
        )];
        all.push(match self.n_unknown {
            0 => format!("{}, all checked.", several(self.n_links, "link", "links")),
            n => format!(
                "{}; {n} of them could not be checked because an input is missing: their verdict is unknown.",
                several(self.n_links, "link", "links")
            ),
        });
        all
    }

    fn count_verdicts(&mut self, request: &Request<'_>, layout: &Layout, laid: &Laid) {
        let Some((place, _)) = layout.find(request.engine, laid, "verdict") else {
            return;
        };
        let values = layout.values(request.plan, request.engine, place);
        for row in 0..layout.blocks[laid.block].rows.len() {
            let word = match values.at(row) {
                Datum::Text(word) => VERDICTS.into_iter().find(|known| *known == word),
                Datum::Empty | Datum::Number(_) | Datum::Flag(_) => None,
            };
            if let Some(word) = word {
                *self.verdicts.entry((laid.page.clone(), word)).or_default() += 1;
            }
        }
    }

    fn margins(&mut self, request: &Request<'_>, layout: &Layout, links: &Laid) {
        let Some((mut rows, source)) = numbers(request, layout, links, "margin") else {
            return;
        };
        rows.sort_by(|a, b| a.1.total_cmp(&b.1));
        let Some((worst, margin)) = rows.first().cloned() else {
            self.risk
                .push("No link has a margin: loss and limits are not known.".to_owned());
            return;
        };
        let below = rows.iter().filter(|(_, margin)| *margin < 0.0).count();
        let sentence = match below {
            0 => format!("The least margin is {} dB, of link {worst}.", shown(margin)),
            n => format!(
                "{} over the loss limit; the least margin is {} dB, of link {worst}.",
                several(n, "link is", "links are"),
                shown(margin)
            ),
        };
        self.risk.push(sentence.clone());
        rows.truncate(MOST_BARS);
        self.bars.push(Bars {
            title: sentence,
            of: "Link".to_owned(),
            unit: "Margin, dB".to_owned(),
            series: vec!["Margin".to_owned()],
            rows: rows
                .into_iter()
                .map(|(id, value)| (id, vec![Some(value)]))
                .collect(),
            sources: vec![Some(source)],
        });
    }

    fn ratios(&mut self, request: &Request<'_>, layout: &Layout, switches: &Laid) {
        let Some((mut rows, source)) = numbers(request, layout, switches, "ratio") else {
            return;
        };
        rows.sort_by(|a, b| b.1.total_cmp(&a.1));
        let Some((worst, ratio)) = rows.first().cloned() else {
            return;
        };
        let out = numbers(request, layout, switches, "worst_ratio");
        let of_out: FxHashMap<String, f64> = match &out {
            Some((rows, _)) => rows.iter().cloned().collect(),
            None => FxHashMap::default(),
        };
        let most_out = of_out
            .iter()
            .max_by(|a, b| a.1.total_cmp(b.1).then(b.0.cmp(a.0)));
        let with_out = match most_out {
            Some((id, ratio)) => format!(
                "; where one uplink of several is out, the greatest is {} to 1, of {id}",
                shown(*ratio)
            ),
            None => String::new(),
        };
        let sentence = format!(
            "The greatest ratio is {} to 1, of {worst}{with_out}.",
            shown(ratio)
        );
        self.risk.push(sentence.clone());
        rows.truncate(MOST_BARS);
        let rows = rows.into_iter().map(|(id, value)| {
            let out = of_out.get(&id).copied();
            (id, vec![Some(value), out])
        });
        self.bars.push(Bars {
            title: sentence,
            of: "Switch".to_owned(),
            unit: "Access over uplink capacity".to_owned(),
            series: vec!["As planned".to_owned(), "One uplink out".to_owned()],
            rows: rows.collect(),
            sources: vec![Some(source), out.map(|(_, source)| source)],
        });
    }

    fn growth(&mut self, request: &Request<'_>, layout: &Layout, switches: &Laid) {
        let Some((mut rows, _)) = numbers(request, layout, switches, "years_left") else {
            return;
        };
        rows.sort_by(|a, b| a.1.total_cmp(&b.1));
        if let Some((first, years)) = rows.first() {
            let sentence = format!(
                "With the growth that was entered, the uplinks of {first} are full first, in {} years.",
                shown(*years)
            );
            self.risk.push(sentence);
        }
    }

    /// What is to be bought comes to, by family: what the order list says, so that there is one sum.
    fn costs(&mut self, request: &Request<'_>) {
        let Some(order) = &request.order else {
            self.money = vec!["There is no order list.".to_owned()];
            return;
        };
        self.money = vec![
            format!("What is to be bought, after stock and with spares: {}.", order.total),
            "What has no price is not free. Prices are those in the parts of this plan; nobody else vouches for them."
                .to_owned(),
        ];
        let mut rows: Vec<(String, Vec<Option<f64>>)> = order
            .costs
            .iter()
            .filter(|(_, cost)| *cost > 0.0)
            .map(|(family, cost)| (family.clone(), vec![Some(*cost)]))
            .collect();
        let total: f64 = rows.iter().filter_map(|(_, cost)| cost[0]).sum();
        rows.sort_by(|a, b| b.1[0].unwrap_or(0.0).total_cmp(&a.1[0].unwrap_or(0.0)));
        let Some((most, values)) = rows.first() else {
            return;
        };
        let part = values[0].unwrap_or(0.0) / total * 100.0;
        self.bars.push(Bars {
            title: format!(
                "Of what has a price, {} % is for {most}.",
                significant(part, 2)
            ),
            of: "Family".to_owned(),
            unit: "Money".to_owned(),
            series: vec!["Cost".to_owned()],
            rows,
            sources: vec![None],
        });
    }
}

fn assumptions(request: &Request<'_>) -> String {
    let all = request.plan.assumptions();
    let own: Vec<String> = all
        .iter()
        .filter(|known| known.own)
        .map(|known| known.def.title.to_lowercase())
        .collect();
    let recalled = all
        .iter()
        .filter(|known| !known.own && known.def.confidence == "memory")
        .count();
    let set = match own.as_slice() {
        [] => "None of them was set in this plan.".to_owned(),
        some => format!("Set in this plan: {}.", some.join(", ")),
    };
    format!(
        "{} assumptions stand on the page Assumptions, each with its source; {recalled} come from memory. {set}",
        all.len()
    )
}

/// The rows of a page that have a number in a column, and where the column stands.
type Numbers = (Vec<(String, f64)>, (usize, String));

fn numbers(request: &Request<'_>, layout: &Layout, laid: &Laid, name: &str) -> Option<Numbers> {
    let (place, letters) = layout.find(request.engine, laid, name)?;
    let values = layout.values(request.plan, request.engine, place);
    let block = &layout.blocks[laid.block];
    let rows = block
        .rows
        .iter()
        .enumerate()
        .filter_map(|(at, row)| match values.at(at) {
            Datum::Number(value) => Some((request.plan.id(block.sheet, *row), value)),
            Datum::Empty | Datum::Text(_) | Datum::Flag(_) => None,
        });
    Some((rows.collect(), (laid.block, letters)))
}

fn shown(value: f64) -> String {
    significant(value, 3)
}
