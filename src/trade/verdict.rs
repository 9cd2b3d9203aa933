//! Turns checks into columns: a flag for each case, and a verdict for each row.
//!
//! The columns are ordinary formulas, so they are kept up to date and can be explained like any
//! other.

use crate::plan::Plan;
use crate::problem::Severity;
use crate::sheet::CheckDef;
use crate::sheet::ColumnDef;
use crate::sheet::ColumnKind;
use crate::sheet::SheetDef;
use crate::table::SheetId;
use std::sync::Arc;

/// One case of a check, with the position of its flag column.
#[derive(Debug, Clone)]
pub struct Case {
    /// The sheet.
    pub sheet: SheetId,
    /// Position of the flag column.
    pub column: usize,
    /// The check it belongs to.
    pub check: Arc<CheckDef>,
    /// Which case of the check.
    pub case: usize,
    /// How much it weighs in this plan.
    pub severity: Severity,
}

/// A schema with the columns of checks and verdicts.
#[derive(Debug, Clone)]
pub struct Judged {
    /// The sheets; columns of the plan first.
    pub schema: Vec<SheetDef>,
    /// Every case that is switched on, in order.
    pub cases: Vec<Case>,
}

/// The schema of a plan with its checks and verdicts.
pub fn judged(plan: &Plan) -> Judged {
    let mut schema = plan.schema().to_vec();
    let cases = cases(plan);
    for (at, sheet) in schema.iter_mut().enumerate() {
        let id = SheetId(u16::try_from(at).unwrap_or(u16::MAX));
        sheet.columns.extend(shared_columns(sheet));
        let own = cases.iter().filter(|case| case.sheet == id);
        sheet.columns.extend(own.map(flag));
        add_verdict(id, sheet, &cases);
    }
    Judged { schema, cases }
}

/// Every case that is switched on, in order, with the position its flag has in the schema.
pub fn cases(plan: &Plan) -> Vec<Case> {
    let mut cases = Vec::new();
    for (at, sheet) in plan.schema().iter().enumerate() {
        let id = SheetId(u16::try_from(at).unwrap_or(u16::MAX));
        let first = sheet.columns.len() + shared_columns(sheet).count();
        let n_before = cases.len();
        let own = plan.own_checks.iter();
        let own = own.filter(|(name, _)| *name == sheet.name);
        for check in sheet.checks.iter().chain(own.map(|(_, check)| check)) {
            let check = Arc::new(check.clone());
            let next = first + cases.len() - n_before;
            cases.extend(
                (next..)
                    .zip(cases_of(plan, id, &check))
                    .map(|(column, case)| Case { column, ..case }),
            );
        }
    }
    cases
}

/// The cases of one check that are switched on, without their positions.
fn cases_of(plan: &Plan, sheet: SheetId, check: &Arc<CheckDef>) -> Vec<Case> {
    let cases = check.cases.iter().enumerate();
    let on = cases.filter_map(|(at, case)| {
        let severity = match plan.severities.get(&check.name) {
            Some(None) => return None,
            Some(Some(severity)) => *severity,
            None => case.severity,
        };
        Some(Case {
            sheet,
            column: 0,
            check: Arc::clone(check),
            case: at,
            severity,
        })
    });
    on.collect()
}

/// The column that says where a case finds something.
fn flag(case: &Case) -> ColumnDef {
    let check = &case.check;
    let name = format!("found_{}_{}", check.name.replace('-', "_"), case.case + 1);
    let when = &check.cases[case.case].when;
    computed(&name, &check.name, &check.doc, ColumnKind::Flag, when)
}

/// The columns that the engine fills with what rows share a place.
fn shared_columns(sheet: &SheetDef) -> impl Iterator<Item = ColumnDef> + use<> {
    const ALL: [(&str, &str, &str, &str); 5] = [
        (
            "port_shares",
            "Port shared",
            "",
            "How many other cable ends name one of the two ports of this link.",
        ),
        (
            "near_lanes",
            "Near lanes",
            "",
            "How many other links are lanes of the same split cage at the near end.",
        ),
        (
            "far_lanes",
            "Far lanes",
            "",
            "How many other links are lanes of the same split cage at the far end.",
        ),
        (
            "route_shares",
            "Route shared",
            "",
            "How many other uplinks of the same switch take the same route, those that stand by counted.",
        ),
        (
            "route_capacity",
            "Route capacity",
            "Gb/s",
            "What all uplinks of the same switch on the same route carry.",
        ),
    ];
    let n = if sheet.name == "links" { ALL.len() } else { 0 };
    ALL.into_iter().take(n).map(|(name, title, unit, doc)| {
        let mut column = computed(name, title, doc, ColumnKind::Number, "missing");
        unit.clone_into(&mut column.unit);
        column
    })
}

/// Adds the verdict where the sheet says when it is unknown and when it is tight.
fn add_verdict(id: SheetId, sheet: &mut SheetDef, cases: &[Case]) {
    if sheet.column("is_unknown").is_none() || sheet.column("is_tight").is_none() {
        return;
    }
    let stops: Vec<&str> = cases
        .iter()
        .filter(|case| case.sheet == id && case.severity == Severity::Stop)
        .map(|case| sheet.columns[case.column].name.as_str())
        .collect();
    let stopped = match stops.is_empty() {
        true => "no".to_owned(),
        false => format!("first_given({}, no)", stops.join(" or ")),
    };
    let formula = format!(
        "pick({stopped}, \"fails\", pick(first_given(is_unknown, yes), \"unknown\", \
         pick(first_given(is_tight, no), \"tight\", \"fits\")))"
    );
    let doc = "fits, tight, fails or unknown: fails beats all, unknown beats fits and tight.";
    let mut verdict = computed("verdict", "Verdict", doc, ColumnKind::Text, &formula);
    verdict.quiet = false;
    sheet.columns.push(verdict);
}

fn computed(name: &str, title: &str, doc: &str, kind: ColumnKind, formula: &str) -> ColumnDef {
    ColumnDef {
        name: name.to_owned(),
        title: title.to_owned(),
        doc: doc.to_owned(),
        unit: String::new(),
        kind,
        choices: Vec::new(),
        to: None,
        formula: Some(formula.to_owned()),
        decimals: None,
        source: String::new(),
        quiet: true,
    }
}
