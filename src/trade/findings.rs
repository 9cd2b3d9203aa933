//! What the checks found, each with a sentence that carries the numbers.

use super::alike;
use super::verdict::{Case, cases};
use crate::engine::Engine;
use crate::formula::Formula;
use crate::plan::Plan;
use crate::problem::Severity;
use crate::table::{Column, RowId, SheetId};

/// One thing a check found.
#[derive(Debug, Clone, PartialEq)]
pub struct Finding {
    /// The name of the check.
    pub check: String,
    /// How much it weighs.
    pub severity: Severity,
    /// The sheet of the row.
    pub sheet: SheetId,
    /// The row.
    pub row: RowId,
    /// What is wrong, with the numbers.
    pub sentence: String,
    /// What to do about it.
    pub advice: String,
    /// Where the rule comes from.
    pub source: String,
}

/// Findings, and how many there are when only the first were written out.
#[derive(Debug, Clone, Default)]
pub struct Findings {
    /// The findings, worst first, then in the order of checks and rows.
    pub list: Vec<Finding>,
    /// How many stops, cautions and notes there are in all.
    pub counts: [usize; 3],
}

impl Findings {
    /// How many of a severity there are in all.
    pub fn count(&self, severity: Severity) -> usize {
        self.counts[slot(severity)]
    }
}

/// Where a severity is counted.
pub(super) fn slot(severity: Severity) -> usize {
    match severity {
        Severity::Stop => 0,
        Severity::Caution => 1,
        Severity::Note => 2,
    }
}

/// Everything the checks found; at most `most` findings are written out.
///
/// Goes through all rows; [`super::Standing`] keeps the same up to date from edit to edit.
pub fn find_all(plan: &Plan, engine: &Engine, most: usize) -> Findings {
    let cases = cases(plan);
    let mut found = Findings::default();
    let by_hand = alike::find(plan);
    for severity in [Severity::Stop, Severity::Caution, Severity::Note] {
        for case in cases.iter().filter(|case| case.severity == severity) {
            add_case(plan, engine, case, most, &mut found);
        }
        for finding in by_hand.iter().filter(|one| one.severity == severity) {
            found.counts[slot(severity)] += 1;
            if found.list.len() < most {
                found.list.push(finding.clone());
            }
        }
    }
    found
}

fn add_case(plan: &Plan, engine: &Engine, case: &Case, most: usize, found: &mut Findings) {
    let Column::Flags(flags) = engine.values(engine.column(case.sheet, case.column)) else {
        return;
    };
    let def = &case.check.cases[case.case];
    let mut sentences = None;
    for row in plan.rows(case.sheet).order() {
        if flags.get(row.at()) != Some(&1) {
            continue;
        }
        found.counts[slot(case.severity)] += 1;
        if found.list.len() >= most {
            continue;
        }
        let (say, advise) = sentences.get_or_insert_with(|| {
            (
                Sentence::new(plan, engine, case.sheet, &def.say),
                Sentence::new(plan, engine, case.sheet, &def.advise),
            )
        });
        found.list.push(Finding {
            check: case.check.name.clone(),
            severity: case.severity,
            sheet: case.sheet,
            row: *row,
            sentence: say.fill(plan, engine, case.sheet, *row),
            advice: advise.fill(plan, engine, case.sheet, *row),
            source: case.check.source.clone(),
        });
    }
}

/// A sentence with formulas in braces, compiled once for all rows.
#[derive(Debug)]
pub struct Sentence {
    parts: Vec<Part>,
}

#[derive(Debug)]
enum Part {
    Plain(String),
    Formula(Box<Formula>),
}

impl Sentence {
    /// Reads a sentence; a formula with problems stays as it is written, braces and all.
    pub fn new(plan: &Plan, engine: &Engine, sheet: SheetId, text: &str) -> Self {
        let mut parts = Vec::new();
        let mut rest = text;
        while let Some((before, after)) = rest.split_once('{') {
            let Some((formula, behind)) = after.split_once('}') else {
                break;
            };
            parts.push(Part::Plain(before.to_owned()));
            parts.push(match engine.compile(plan, formula, Some(sheet)) {
                Ok(formula) => Part::Formula(Box::new(formula)),
                Err(_) => Part::Plain(format!("{{{formula}}}")),
            });
            rest = behind;
        }
        parts.push(Part::Plain(rest.to_owned()));
        Self { parts }
    }

    /// The sentence for one row.
    pub fn fill(&self, plan: &Plan, engine: &Engine, sheet: SheetId, row: RowId) -> String {
        self.parts
            .iter()
            .map(|part| match part {
                Part::Plain(text) => text.clone(),
                Part::Formula(formula) => {
                    engine.shown_part(plan, &formula.tree, Some((sheet, row)))
                }
            })
            .collect()
    }

    /// Whether every formula in the sentence was understood.
    pub fn is_whole(&self) -> bool {
        self.parts.iter().all(|part| match part {
            Part::Plain(text) => !text.contains('{'),
            Part::Formula(_) => true,
        })
    }
}
