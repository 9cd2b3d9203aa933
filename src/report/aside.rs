//! What was studied beside the plan, as pages: proposals side by side, and the order list.
//!
//! Texts only; what is compared and what is to be bought is worked out in `study`, and how a page
//! looks is decided by each format.

use super::{OrderPage, ProposalPage};
use crate::plan::Plan;
use crate::problem::several;
use crate::study::compare::{Compared, Comparison};
use crate::study::order::{OrderList, money};

/// So many cells that only follow are told of a row.
const MOST_CELLS: usize = 4;

/// So many rows of each proposal stand on its page.
const MOST_ROWS: usize = 200;

impl ProposalPage {
    /// Proposals beside their base; none where there are none.
    pub fn of(compared: &Comparison) -> Option<Self> {
        if compared.proposals.is_empty() {
            return None;
        }
        let names = || compared.proposals.iter().map(|one| one.name.clone());
        let heads = ["", "as it stands"].map(str::to_owned).into_iter();
        let totals = compared.lines().into_iter();
        let totals = totals.map(|(what, texts)| std::iter::once(what).chain(texts).collect());
        let mut rows: Vec<Vec<String>> = totals.collect();
        let n_columns = 2 + compared.proposals.len();
        for (at, one) in compared.proposals.iter().enumerate() {
            rows.push(Vec::new());
            for [what, old, new] in changes(one) {
                let mut row = vec![String::new(); n_columns];
                (row[0], row[1], row[2 + at]) = (what, old, new);
                rows.push(row);
            }
        }
        Some(Self {
            title: names().collect::<Vec<_>>().join("; "),
            sentences: compared.proposals.iter().map(sentence).collect(),
            heads: heads.chain(names()).collect(),
            rows,
        })
    }
}

impl ProposalPage {
    /// The rows that say what the whole comes to.
    pub fn totals(&self) -> &[Vec<String>] {
        &self.rows[..self.n_totals()]
    }

    /// The rows that say what changes, with an empty row between proposals.
    pub fn changes(&self) -> &[Vec<String>] {
        self.rows.get(self.n_totals() + 1..).unwrap_or(&[])
    }

    fn n_totals(&self) -> usize {
        let all = &self.rows;
        all.iter().position(Vec::is_empty).unwrap_or(all.len())
    }
}

/// What a proposal comes to, with the words of its author.
fn sentence(one: &Compared) -> String {
    let on = match &one.on {
        Some(on) => format!(", on `{on}`,"),
        None => String::new(),
    };
    let note = match one.note.is_empty() {
        true => String::new(),
        false => format!(" {}.", one.note.trim_end_matches('.')),
    };
    format!(
        "`{}`{on} changes {} and cures {}; {} new.{note}",
        one.name,
        several(one.n_rows, "row", "rows"),
        several(one.n_went, "finding", "findings"),
        match one.n_came {
            1 => "1 is".to_owned(),
            n => format!("{n} are"),
        }
    )
}

/// What a proposal changes: what it is, as it stands, as proposed.
fn changes(one: &Compared) -> Vec<[String; 3]> {
    let settings = one.settings.iter();
    let settings = settings.map(|setting| {
        [
            setting.name.clone(),
            setting.old.clone(),
            setting.new.clone(),
        ]
    });
    let rows = one.rows.iter().take(MOST_ROWS).flat_map(|row| {
        let name = format!("{} {}", row.word, row.id);
        let [old, new] = row.verdicts.clone();
        let mut told = vec![[format!("{name} {}", row.kind.word()), old, new]];
        told.extend(row.told(MOST_CELLS).map(|cell| {
            [
                format!("{name} {}", cell.column),
                cell.old.text.clone(),
                cell.new.text.clone(),
            ]
        }));
        told
    });
    let mut all: Vec<[String; 3]> = settings.chain(rows).collect();
    let n_more = one.n_rows.saturating_sub(one.rows.len().min(MOST_ROWS));
    if n_more > 0 {
        let more = several(n_more, "more row differs", "more rows differ");
        all.push([more, String::new(), String::new()]);
    }
    all
}

/// The first of `n` names, and how many more there are.
fn names(all: &[String], n: usize) -> String {
    let first = all.iter().take(OrderPage::MOST_NAMES).map(String::as_str);
    let first = first.collect::<Vec<_>>().join(" ");
    match n.saturating_sub(OrderPage::MOST_NAMES) {
        0 => first,
        n => format!("{first} and {n} more"),
    }
}

impl OrderPage {
    /// So many links are named behind a line.
    pub const MOST_NAMES: usize = 12;

    /// The order list of a plan; none where nothing is to be ordered.
    pub fn of(plan: &Plan, list: &OrderList) -> Option<Self> {
        if list.lines.is_empty() {
            return None;
        }
        let currency = list.currency.as_deref();
        let amount = |sum: Option<f64>| match sum {
            Some(sum) => money(sum, currency),
            None => "not priced".to_owned(),
        };
        let totals = list.totals.iter().map(|total| {
            let name = total.family.map_or("all", |family| family.word());
            format!("{name}: {}", total.said(currency))
        });
        let mut sentences: Vec<String> = totals.collect();
        sentences.extend(list.notes.iter().map(|note| (*note).to_owned()));
        if !list.open.is_empty() {
            let links = plan.sheet("links");
            let ids = list
                .open
                .iter()
                .filter_map(|(row, _)| links.map(|links| plan.id(links, *row)));
            let ids: Vec<String> = ids.collect();
            sentences.push(format!(
                "not ready to be ordered: {}",
                names(&ids, ids.len())
            ));
        }
        let heads = [
            "family",
            "part",
            "to buy",
            "unit",
            "needed",
            "spares",
            "in stock",
            "on order",
            "price",
            "cost",
            "for links",
        ];
        let families = list.totals.iter().filter_map(|total| {
            let family = total.family?;
            Some((family.word().to_owned(), total.cost))
        });
        let all = list.totals.iter().find(|total| total.family.is_none());
        Some(Self {
            sentences,
            total: all.map_or_else(|| "nothing".to_owned(), |all| all.said(currency)),
            costs: families.collect(),
            heads: heads.map(str::to_owned).to_vec(),
            rows: list
                .lines
                .iter()
                .map(|line| {
                    let behind = plan.sheet("links").map_or_else(String::new, |links| {
                        let mut ids: Vec<String> = line
                            .behind
                            .iter()
                            .map(|one| plan.id(links, one.link))
                            .collect();
                        ids.dedup();
                        names(&ids, line.n_links)
                    });
                    vec![
                        line.family.word().to_owned(),
                        line.name.clone(),
                        count(line.to_buy),
                        line.unit.to_owned(),
                        count(line.needed),
                        count(line.spares),
                        line.on_hand.map_or_else(|| "not counted".to_owned(), count),
                        count(line.on_order),
                        amount(line.price),
                        amount(line.cost),
                        behind,
                    ]
                })
                .collect(),
        })
    }
}

/// A count, or a length to a tenth.
fn count(n: f64) -> String {
    let tenths = (n * 10.0).round() / 10.0;
    tenths.to_string()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn many_names_are_counted_and_not_listed() {
        let all: Vec<String> = (0..50_000).map(|at| format!("M{at}")).collect();
        assert_eq!(names(&all[..3], 3), "M0 M1 M2");
        let told = names(&all, all.len());
        assert!(told.starts_with("M0 M1 ") && told.ends_with(" M11 and 49988 more"));
    }
}
