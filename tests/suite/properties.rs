//! Rules that hold for any plan: following edits equals computing anew, more cable is never
//! better, and any text may be a formula.

use super::story::Story;
use portledger::engine::{Engine, Source};
use portledger::formula::Ty;
use portledger::plan::{Change, Edit, Entry, Plan, Touched, read_entry};
use portledger::problem::Severity;
use portledger::sheet::{ColumnDef, ColumnKind, rows_of};
use portledger::table::{Cell, Column, ColumnId, ParamId, RowId, SheetId};
use portledger::trade::engine;
use proptest::prelude::*;
use proptest::test_runner::TestRunner;
use std::cell::RefCell;
use std::collections::BTreeMap;
use std::sync::OnceLock;

/// A step of a person, its choices still open; each is taken modulo what there is.
#[derive(Debug, Clone)]
pub enum Step {
    Set(Cellwise),
    SetWrong(Cellwise),
    Add {
        sheet: u8,
        at: u8,
        cells: Vec<(u8, u8)>,
    },
    Remove {
        sheet: u8,
        rows: Vec<u8>,
    },
    Restore {
        sheet: u8,
        row: u8,
        at: u8,
    },
    Move {
        sheet: u8,
        from: u8,
        to: u8,
    },
    Assume {
        param: u8,
        value: u8,
    },
    Formula(u8),
    OwnColumn(u8),
    Severity(u8),
    Undo,
    Together(Vec<Step>),
}

/// A cell and what is typed.
#[derive(Debug, Clone, Copy)]
pub struct Cellwise {
    sheet: u8,
    row: u8,
    column: u8,
    value: u8,
}

fn cellwise() -> impl Strategy<Value = Cellwise> {
    any::<(u8, u8, u8, u8)>().prop_map(|(sheet, row, column, value)| Cellwise {
        sheet,
        row,
        column,
        value,
    })
}

/// Steps that leave columns and formulas alone.
fn plain_step() -> impl Strategy<Value = Step> {
    let rows = || prop::collection::vec(any::<u8>(), 1..3);
    prop_oneof![
        8 => cellwise().prop_map(Step::Set),
        1 => cellwise().prop_map(Step::SetWrong),
        3 => (any::<u8>(), any::<u8>(), prop::collection::vec(any::<(u8, u8)>(), 0..9))
            .prop_map(|(sheet, at, cells)| Step::Add { sheet, at, cells }),
        2 => (any::<u8>(), rows()).prop_map(|(sheet, rows)| Step::Remove { sheet, rows }),
        2 => any::<(u8, u8, u8)>().prop_map(|(sheet, row, at)| Step::Restore { sheet, row, at }),
        1 => any::<(u8, u8, u8)>().prop_map(|(sheet, from, to)| Step::Move { sheet, from, to }),
        1 => any::<(u8, u8)>().prop_map(|(param, value)| Step::Assume { param, value }),
    ]
}

/// Any step.
pub fn step() -> impl Strategy<Value = Step> {
    prop_oneof![
        12 => plain_step(),
        3 => prop::collection::vec(plain_step(), 2..5).prop_map(Step::Together),
        3 => Just(Step::Undo),
        1 => any::<u8>().prop_map(Step::Formula),
        1 => any::<u8>().prop_map(Step::OwnColumn),
        1 => any::<u8>().prop_map(Step::Severity),
    ]
}

/// The sheets that are edited; those that came with rows keep them and get more.
const SHEETS: &[&str] = &[
    "links",
    "links",
    "links",
    "switches",
    "switches",
    "paths",
    "parts",
    "media",
    "channels",
    "interfaces",
    "segments",
    "segments",
    "readings",
    "modules",
    "modules",
    "glass",
];

fn pick<T: Clone>(of: &[T], at: u8) -> T {
    of[usize::from(at) % of.len()].clone()
}

fn sheet(plan: &Plan, at: u8) -> SheetId {
    plan.sheet(pick(SHEETS, at)).expect("a built-in sheet")
}

/// Rows of a sheet that a person may change: all that did not come with the program.
fn own_rows(plan: &Plan, sheet: SheetId) -> Vec<RowId> {
    let rows = plan.rows(sheet);
    let live = rows.order().iter().copied();
    live.filter(|row| !rows.is_builtin(*row)).collect()
}

fn removed_rows(plan: &Plan, sheet: SheetId) -> Vec<RowId> {
    let rows = plan.rows(sheet);
    let stored = (0..rows.n_stored()).map(|at| RowId(u32::try_from(at).expect("few rows")));
    stored.filter(|row| !rows.is_live(*row)).collect()
}

/// What is typed into a column: real words, other spellings, words that mean nothing, and nothing.
fn typed(plan: &Plan, sheet: SheetId, column: usize, value: u8) -> Entry {
    const NUMBERS: &[&str] = &[
        "", "0", "1", "2", "3", "30", "100", "301", "5000", "-1", "1e9",
    ];
    const TEXTS: &[&str] = &[
        "",
        "1",
        "2",
        "u1",
        "SFP+",
        "QSFP28",
        "RJ45",
        "Aquarium hall",
        "2031-05-28",
        "2031-06-01",
    ];
    const NAMES: &[&str] = &[
        "",
        "North hall",
        "north hall",
        "Pump house",
        "South hall",
        "Ray pool",
        "L1",
        "om3",
        "OM9",
        "10GBASE-SR",
        "lamp",
    ];
    const WAYS: &[&str] = &[
        "",
        "L2",
        "l1, Pump house",
        "Pump house",
        "South hall",
        "nowhere",
    ];
    let def = plan.column(sheet, column);
    let text = match def.kind {
        ColumnKind::Text if def.name == "via" => pick(WAYS, value).to_owned(),
        ColumnKind::Number => pick(NUMBERS, value).to_owned(),
        ColumnKind::Choice => {
            let at = usize::from(value) % (def.choices.len() + 1);
            def.choices.get(at).cloned().unwrap_or_default()
        }
        ColumnKind::Row => row_name(def.to.as_deref().unwrap_or_default(), value).to_owned(),
        ColumnKind::Text if column == 0 => pick(NAMES, value).to_owned(),
        ColumnKind::Text | ColumnKind::Flag => pick(TEXTS, value).to_owned(),
    };
    read_entry(plan, sheet, column, &text).unwrap_or(Entry::Wrong(text))
}

fn row_name(sheet: &str, value: u8) -> &'static str {
    match sheet {
        "switches" => pick(
            &[
                "North hall",
                "Pump house",
                "NORTH HALL",
                "South hall",
                "Ray pool",
                "nowhere",
                "",
            ],
            value,
        ),
        "links" => pick(&["L1", "L2", "A1", "l1", "L9", ""], value),
        "ratings" => pick(&["OFNP", "ofnr", "LSZH", "ink", ""], value),
        "interfaces" => pick(
            &[
                "10GBASE-SR",
                "1000BASE-T",
                "1000BASE-BX10-D",
                "10gbase-sr",
                "10GBASE-ER",
                "lamp",
                "",
            ],
            value,
        ),
        "power_classes" => pick(&["3", "4", "none", "9", ""], value),
        "assemblies" => pick(&["CA-25G-S", "ca-25g-n", "braid", ""], value),
        _ => pick(
            &["OM3", "Cat6", "OS2", "om3", "OM9", "twinax passive", ""],
            value,
        ),
    }
}

fn cell(plan: &Plan, at: Cellwise) -> Option<(SheetId, usize, RowId)> {
    let sheet = sheet(plan, at.sheet);
    let rows = own_rows(plan, sheet);
    let columns: Vec<usize> = plan.entered(sheet).collect();
    (!rows.is_empty()).then(|| (sheet, pick(&columns, at.column), pick(&rows, at.row)))
}

const FORMULAS: &[(&str, &str, Option<&str>)] = &[
    ("links", "fibre_loss", Some("length * 2 dB/km")),
    ("links", "fibre_loss", None),
    ("links", "loss", Some("loss_limit - margin")),
    ("links", "loss", None),
    (
        "switches",
        "ratio",
        Some("largest(links.length, links.from == this) / 1 m"),
    ),
    ("switches", "ratio", None),
    (
        "links",
        "headroom",
        Some("smallest(links.length, links.medium == medium)"),
    ),
    ("links", "headroom", None),
];

/// An own column: entered, or over all rows, or over rows of another sheet.
fn own_column(which: u8) -> ColumnDef {
    let (name, kind, formula) = pick(
        &[
            ("rack", ColumnKind::Text, None),
            (
                "share",
                ColumnKind::Number,
                Some("capacity / total(links.capacity)"),
            ),
            ("peers", ColumnKind::Number, Some("tally(links.to == to)")),
            ("above", ColumnKind::Number, Some("mean(switches.uplinks)")),
        ],
        which,
    );
    ColumnDef {
        name: name.to_owned(),
        title: name.to_owned(),
        doc: "An own column.".to_owned(),
        unit: String::new(),
        kind,
        choices: Vec::new(),
        to: None,
        formula: formula.map(str::to_owned),
        decimals: None,
        source: String::new(),
        quiet: false,
    }
}

/// The edit that a step is in this plan; none where there is nothing to do it to.
pub fn edit(plan: &Plan, step: &Step) -> Option<Edit> {
    match step {
        Step::Set(at) => {
            let (sheet, column, row) = cell(plan, *at)?;
            let cells = vec![((column, row), typed(plan, sheet, column, at.value))];
            Some(Edit::SetCells { sheet, cells })
        }
        Step::SetWrong(at) => {
            let (sheet, column, row) = cell(plan, *at)?;
            let cells = vec![((column, row), Entry::Wrong("about ten".to_owned()))];
            Some(Edit::SetCells { sheet, cells })
        }
        Step::Add {
            sheet: of,
            at,
            cells,
        } => {
            let sheet = sheet(plan, *of);
            let columns: Vec<usize> = plan.entered(sheet).collect();
            let row = cells.iter().map(|(column, value)| {
                let column = pick(&columns, *column);
                (column, typed(plan, sheet, column, *value))
            });
            Some(Edit::AddRows {
                sheet,
                at: usize::from(*at) % (plan.rows(sheet).order().len() + 1),
                rows: vec![row.collect()],
            })
        }
        Step::Remove { sheet: of, rows } => {
            let sheet = sheet(plan, *of);
            let own = own_rows(plan, sheet);
            let rows = (!own.is_empty()).then(|| rows.iter().map(|row| pick(&own, *row)))?;
            Some(Edit::RemoveRows {
                sheet,
                rows: rows.collect(),
            })
        }
        Step::Restore { sheet: of, row, at } => {
            let sheet = sheet(plan, *of);
            let removed = removed_rows(plan, sheet);
            let at = usize::from(*at) % (plan.rows(sheet).order().len() + 1);
            (!removed.is_empty()).then(|| Edit::RestoreRows {
                sheet,
                rows: vec![(at, pick(&removed, *row))],
            })
        }
        Step::Move {
            sheet: of,
            from,
            to,
        } => {
            let sheet = sheet(plan, *of);
            let mut order = plan.rows(sheet).order().to_vec();
            let row =
                (!order.is_empty()).then(|| order.remove(usize::from(*from) % order.len()))?;
            order.insert(usize::from(*to) % (order.len() + 1), row);
            Some(Edit::Reorder { sheet, order })
        }
        Step::Assume { param, value } => Some(assume(plan, *param, *value)),
        Step::Formula(which) => {
            let (sheet, column, formula) = pick(FORMULAS, *which);
            let sheet = plan.sheet(sheet)?;
            Some(Edit::SetFormula {
                sheet,
                column: plan.def(sheet).column(column)?,
                formula: formula.map(str::to_owned),
            })
        }
        Step::OwnColumn(which) => {
            let (sheet, def) = (plan.sheet("links")?, own_column(*which));
            let is_new = plan.def(sheet).column(&def.name).is_none();
            is_new.then_some(Edit::AddColumn { sheet, def })
        }
        Step::Severity(which) => Some(Edit::SetSeverity {
            check: pick(&["reach", "loss", "ratio"], *which).to_owned(),
            severity: pick(&[None, Some(None), Some(Some(Severity::Note))], *which / 3),
        }),
        Step::Together(steps) => together(plan, steps),
        Step::Undo => None,
    }
}

fn assume(plan: &Plan, param: u8, value: u8) -> Edit {
    let at = usize::from(param) % plan.assumptions().len();
    let text = plan.assumptions()[at].def.text;
    let entry = match (text, value % 4) {
        (_, 0) => Entry::Empty,
        (true, 1) => Entry::Text(plan.names().code("tia")),
        (true, _) => Entry::Text(plan.names().code("ISO")),
        (false, _) => Entry::Number(f64::from(value)),
    };
    Edit::SetAssumption {
        param: ParamId(u16::try_from(at).expect("few assumptions")),
        entry,
        source: "measured here".to_owned(),
        own: true,
    }
}

/// Several steps as one edit, each made for the plan that the ones before it leave.
fn together(plan: &Plan, steps: &[Step]) -> Option<Edit> {
    let mut scratch = plan.clone();
    let mut edits = Vec::new();
    for step in steps {
        let Some(edit) = edit(&scratch, step) else {
            continue;
        };
        match scratch.apply(edit.clone()) {
            Ok(_) => edits.push(edit),
            // What belongs to the base is refused there.
            Err(_) if scratch.within().is_some() => {}
            Err(problem) => panic!("an edit made for this plan: {problem}"),
        }
    }
    (!edits.is_empty()).then_some(Edit::Group(edits))
}

/// A plan to begin with: two halls with an uplink and an access link each.
pub fn beginning() -> Plan {
    static PLAN: OnceLock<Plan> = OnceLock::new();
    let plan = PLAN.get_or_init(|| {
        let link = |from, role, interface, medium| {
            [
                ("from", from),
                ("from_port", "u1"),
                ("to", "Pump house"),
                ("to_port", "u1"),
                ("role", role),
                ("interface", interface),
                ("medium", medium),
                ("length", "30 m"),
            ]
        };
        let hall = [
            ("building", "Aquarium hall"),
            ("access_ports", "24"),
            ("cage", "SFP+"),
        ];
        Story::new()
            .switch("North hall", &hall)
            .switch("Pump house", &hall)
            .link("L1", &link("North hall", "uplink", "10GBASE-SR", "OM3"))
            .link("L2", &link("North hall", "uplink", "1000BASE-T", "Cat6"))
            .link("A1", &link("Ray pool", "access", "1000BASE-T", "Cat6"))
            .row(
                "parts",
                "optic",
                &[
                    ("kind", "module"),
                    ("interface", "10GBASE-SR"),
                    ("price", "90"),
                ],
            )
            .row(
                "segments",
                "S1",
                &[("link", "A1"), ("order", "1"), ("length", "20 m")],
            )
            .row(
                "readings",
                "R1",
                &[("link", "L1"), ("date", "2031-05-28"), ("rx", "-3 dBm")],
            )
            .row("modules", "M1", &[("link", "L1"), ("end", "near")])
            .row("modules", "M2", &[("link", "L1"), ("end", "far")])
            .row(
                "paths",
                "camera",
                &[("from", "Ray pool"), ("to", "North hall")],
            )
            .plan()
            .clone()
    });
    plan.clone()
}

/// The first value of a followed engine that is not as in one made anew.
fn difference(plan: &Plan, followed: &Engine, anew: &Engine) -> Option<String> {
    let nodes = &anew.graph().nodes;
    assert_eq!(followed.graph().nodes.len(), nodes.len());
    (0..nodes.len()).find_map(|at| {
        let column = ColumnId(u32::try_from(at).expect("few columns"));
        let rows = match &nodes[at].source {
            Source::Whole { .. } => vec![RowId(0)],
            _ => plan.rows(nodes[at].sheet).order().to_vec(),
        };
        let differs = |row: &RowId| {
            let (left, right) = (
                value(plan, followed, column, *row),
                value(plan, anew, column, *row),
            );
            (left != right)
                .then(|| format!("{} of row {}: {left}, not {right}", nodes[at].name, row.0))
        };
        rows.iter().find_map(differs)
    })
}

/// A value so that equal texts mean equal values, bit by bit.
fn value(plan: &Plan, engine: &Engine, column: ColumnId, row: RowId) -> String {
    let node = &engine.graph().nodes[column.at()];
    if let Ty::Row(_) = node.ty {
        return format!("row {}", engine.row_at(column, row));
    }
    match engine.values(column) {
        _ if node.is_entered() => String::new(),
        Column::Numbers(values) => format!("{:x} {}", values[row.at()].to_bits(), values[row.at()]),
        Column::Flags(flags) => format!("flag {}", flags[row.at()]),
        Column::Codes(codes) => plan.names().text(codes[row.at()]),
    }
}

/// Takes the steps and compares after those that are marked, and after the last.
fn follow(steps: &[(Step, bool)]) -> Result<(), TestCaseError> {
    let mut plan = beginning();
    let mut followed = engine(&plan);
    let mut done: Vec<Edit> = Vec::new();
    for (at, (step, compared)) in steps.iter().enumerate() {
        let undone = if let Step::Undo = step {
            done.pop()
        } else {
            None
        };
        let is_undo = undone.is_some();
        let Some(edit) = undone.or_else(|| edit(&plan, step)) else {
            continue;
        };
        let Change { inverse, touched } = plan.apply(edit).expect("an edit made for this plan");
        if !is_undo {
            done.push(inverse);
        }
        let rebuilt = touched.contains(&Touched::Schema);
        prop_assert_eq!(followed.update(&plan, &touched), !rebuilt);
        if rebuilt {
            followed = engine(&plan);
        } else if *compared || at + 1 == steps.len() {
            let wrong = difference(&plan, &followed, &engine(&plan));
            prop_assert!(
                wrong.is_none(),
                "after step {}: {}",
                at + 1,
                wrong.unwrap_or_default()
            );
        }
    }
    Ok(())
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 200, max_shrink_iters: 400, ..ProptestConfig::default() })]

    #[test]
    fn following_edits_gives_the_bits_of_computing_anew(
        steps in prop::collection::vec((step(), prop::bool::weighted(0.2)), 20)
    ) {
        follow(&steps)?;
    }
}

/// Makes an edit and holds the followed engine to one made anew; gives the way back.
#[track_caller]
fn step_and_compare(plan: &mut Plan, followed: &mut Engine, edit: Edit) -> Edit {
    let told = format!("{edit:?}");
    let Change { inverse, touched } = plan.apply(edit).expect("an edit made for this plan");
    assert!(followed.update(plan, &touched));
    let wrong = difference(plan, followed, &engine(plan));
    assert!(wrong.is_none(), "{told}: {}", wrong.unwrap_or_default());
    inverse
}

/// Links that are all alike, so that most columns hold one value for all of them.
fn all_alike(n_links: usize) -> Plan {
    let link = [
        ("from", "North hall"),
        ("to", "Pump house"),
        ("interface", "10GBASE-SR"),
        ("medium", "OM3"),
        ("length", "30 m"),
    ];
    let links = (0..n_links).map(|at| format!("L{at}"));
    let story = Story::new()
        .switch("North hall", &[])
        .switch("Pump house", &[]);
    links
        .fold(story, |story, id| story.link(&id, &link))
        .plan()
        .clone()
}

#[test]
fn a_column_that_held_one_value_takes_another_and_gives_it_back() {
    let mut plan = all_alike(20);
    let mut followed = engine(&plan);
    let links = plan.sheet("links").expect("the sheet is built in");
    let n_one = |engine: &Engine| {
        let nodes = engine.graph().nodes.iter().enumerate();
        let computed = nodes.filter(|(_, node)| node.sheet == links && !node.is_entered());
        let one = computed.filter(|(at, _)| {
            engine
                .values(ColumnId(u32::try_from(*at).expect("few columns")))
                .is_one()
        });
        one.count()
    };
    let n_at_first = n_one(&followed);
    assert!(
        n_at_first > 100,
        "{n_at_first} columns of links are kept as one value"
    );
    let columns: Vec<usize> = plan.entered(links).collect();
    for column in columns {
        let row = RowId(7);
        let set = |entry| Edit::SetCells {
            sheet: links,
            cells: vec![((column, row), entry)],
        };
        let entry = typed(&plan, links, column, 3);
        let back = step_and_compare(&mut plan, &mut followed, set(entry.clone()));
        let gone = step_and_compare(&mut plan, &mut followed, set(Entry::Empty));
        step_and_compare(&mut plan, &mut followed, gone);
        step_and_compare(&mut plan, &mut followed, back);
        let add = Edit::AddRows {
            sheet: links,
            at: 3,
            rows: vec![vec![(column, entry)]],
        };
        let back = step_and_compare(&mut plan, &mut followed, add);
        step_and_compare(&mut plan, &mut followed, back);
    }
    for other in ["segments", "readings", "modules", "parts", "paths"] {
        let sheet = plan.sheet(other).expect("the sheet is built in");
        let cells: Vec<(usize, Entry)> = plan
            .entered(sheet)
            .map(|column| (column, typed(&plan, sheet, column, 5)))
            .collect();
        let add = Edit::AddRows {
            sheet,
            at: 0,
            rows: vec![cells],
        };
        let back = step_and_compare(&mut plan, &mut followed, add);
        step_and_compare(&mut plan, &mut followed, back);
    }
    followed.recalculate(&plan);
    let wrong = difference(&plan, &followed, &engine(&plan));
    assert_eq!(wrong, None);
}

/// Of many rows a few are computed first, and the others are tried as if they were like those.
#[test]
fn rows_that_are_not_like_most_are_computed_as_they_are() {
    let mut plan = all_alike(5_000);
    let mut followed = engine(&plan);
    let links = plan.sheet("links").expect("the sheet is built in");
    let columns: Vec<usize> = plan.entered(links).collect();
    let rows = [7, 1_500, 2_047, 2_048, 4_999];
    let mut backs = Vec::new();
    for (at, column) in columns.into_iter().enumerate() {
        let row = RowId(rows[at % rows.len()]);
        let entry = typed(&plan, links, column, 3);
        let edit = Edit::SetCells {
            sheet: links,
            cells: vec![((column, row), entry)],
        };
        let back = step_and_compare(&mut plan, &mut followed, edit.clone());
        step_and_compare(&mut plan, &mut followed, back);
        // And together with what was done before.
        let change = plan.apply(edit).expect("an edit made for this plan");
        assert!(followed.update(&plan, &change.touched));
        backs.push(change.inverse);
    }
    let anew = engine(&plan);
    assert_eq!(difference(&plan, &followed, &anew), None);
    followed.recalculate(&plan);
    assert_eq!(difference(&plan, &followed, &anew), None);
    for back in backs.into_iter().rev() {
        let change = plan.apply(back).expect("the way back");
        assert!(followed.update(&plan, &change.touched));
    }
    assert_eq!(difference(&plan, &followed, &engine(&plan)), None);
}

/// Runs a rule over many choices in one story, which is edited from case to case.
pub fn in_one_story<S: Strategy>(
    cases: u32,
    story: Story,
    choices: &S,
    rule: impl Fn(&mut Story, S::Value) -> Result<(), TestCaseError>,
) {
    let story = RefCell::new(story.told());
    let mut runner = TestRunner::new(ProptestConfig {
        cases,
        source_file: Some(file!()),
        ..ProptestConfig::default()
    });
    let run = |choice| rule(&mut story.borrow_mut(), choice);
    runner
        .run(choices, run)
        .unwrap_or_else(|error| panic!("{error}"));
}

/// A link between two halls of one building.
pub fn one_link() -> Story {
    Story::new()
        .switch("North hall", &[("building", "Aquarium hall")])
        .switch("Pump house", &[("building", "Aquarium hall")])
        .link("L1", &[("from", "North hall"), ("to", "Pump house")])
}

/// Types cells of the link.
pub fn type_link(story: &mut Story, cells: &[(&str, &str)]) {
    for (column, text) in cells {
        story.set("links", "L1", column, text);
    }
}

/// Interface and medium of a channel; of a pair on one fibre the far one too.
fn channel() -> impl Strategy<Value = (String, String, String)> {
    let pairs: BTreeMap<String, String> = rows_of("interfaces")
        .iter()
        .map(|cells| (cells[0].clone(), cells[7].clone()))
        .collect();
    let rows = rows_of("channels").iter();
    let rows = rows.map(|cells| (cells[1].clone(), pairs[&cells[1]].clone(), cells[2].clone()));
    prop::sample::select(rows.collect::<Vec<_>>())
}

#[test]
fn more_cable_never_loses_less() {
    let grown = (
        0..3_u8,
        channel(),
        0..50_000_u32,
        0..9_u32,
        0..9_u32,
        1..5_000_u32,
    );
    in_one_story(500, one_link(), &grown, |story, choice| {
        let (which, (interface, far, medium), length, connections, splices, more) = choice;
        let sizes = [length, connections, splices].map(|size| size.to_string());
        type_link(
            story,
            &[
                ("interface", &*interface),
                ("far_interface", &*far),
                ("medium", &*medium),
                ("length", &*sizes[0]),
                ("connections", &*sizes[1]),
                ("splices", &*sizes[2]),
            ],
        );
        let lost = ["loss", "acceptance_limit", "dispersion", "estimate_penalty"];
        let before = lost.map(|column| story.cell("links", "L1", column));
        let columns = [
            ("length", length),
            ("connections", connections),
            ("splices", splices),
        ];
        let (column, size) = columns[usize::from(which)];
        story.set("links", "L1", column, &(size + more).to_string());
        for (column, before) in lost.into_iter().zip(before) {
            match (before, story.cell("links", "L1", column)) {
                (Cell::Number(before), Cell::Number(after)) => {
                    prop_assert!(after >= before, "{}", column);
                }
                // The estimate ends where the eye closes.
                (Cell::Number(_), Cell::Missing) if column == "estimate_penalty" => {}
                (before, after) => prop_assert_eq!(before, after, "{}", column),
            }
        }
        Ok(())
    });
}

/// Verdicts from good to bad; what is unknown stands aside.
pub fn badness(verdict: &str) -> Option<usize> {
    ["fits", "tight", "fails"]
        .iter()
        .position(|known| *known == verdict)
}

#[test]
fn a_longer_link_never_gets_a_better_verdict_unless_it_cures_too_much_light() {
    let grown = (channel(), 0..1_200_u32, 1..1_200_u32, 1..40_u32);
    in_one_story(500, one_link(), &grown, |story, choice| {
        let ((interface, far, medium), length, more, scale) = choice;
        let typed = |length: u32| (length * scale).to_string();
        type_link(
            story,
            &[
                ("interface", &*interface),
                ("far_interface", &*far),
                ("medium", &*medium),
                ("length", &*typed(length)),
            ],
        );
        let overloaded = matches!(
            story.cell("links", "L1", "overload"),
            Cell::Number(pad) if pad > 0.0
        );
        let before = story.verdict("L1");
        story.set("links", "L1", "length", &typed(length + more));
        let after = story.verdict("L1");
        match (badness(&before), badness(&after)) {
            (Some(before), Some(after)) => prop_assert!(after >= before || overloaded),
            // The tables do not learn anything from a longer cable.
            (None, Some(after)) => prop_assert_eq!(after, 2),
            (Some(before), None) => prop_assert!(before == 2 && overloaded),
            (None, None) => {}
        }
        Ok(())
    });
}

#[test]
fn an_uplink_out_of_service_never_lowers_the_ratio_of_its_switch() {
    let uplinks = prop::collection::vec(
        (
            1..5_u32,
            prop::sample::select(&["1", "10", "25", "100"][..]),
        ),
        1..5,
    );
    let choices = (uplinks, any::<prop::sample::Index>(), 0..96_u32);
    let story = (0..4).fold(
        Story::new().switch("North hall", &[("access_speed", "1 Gb/s")]),
        |story, at| {
            story.link(
                &format!("up {at}"),
                &[("from", "North hall"), ("role", "uplink")],
            )
        },
    );
    in_one_story(200, story, &choices, |story, (uplinks, out, ports)| {
        story.set("switches", "North hall", "access_ports", &ports.to_string());
        for at in 0..4 {
            let (members, speed) = uplinks.get(at).copied().unwrap_or((1, "1"));
            let id = format!("up {at}");
            let state = if at < uplinks.len() {
                "in service"
            } else {
                "spare"
            };
            story.set("links", &id, "members", &members.to_string());
            story.set("links", &id, "speed", speed);
            story.set("links", &id, "state", state);
        }
        let ratios = |story: &Story| {
            ["ratio", "ratio_connected", "worst_ratio"]
                .map(|column| story.cell("switches", "North hall", column))
        };
        let before = ratios(story);
        let out = format!("up {}", out.index(uplinks.len()));
        story.set("links", &out, "state", "out");
        for (before, after) in before.into_iter().zip(ratios(story)) {
            match (before, after) {
                (Cell::Number(before), Cell::Number(after)) => prop_assert!(after >= before),
                (_, after) => prop_assert!(!matches!(after, Cell::Number(_))),
            }
        }
        Ok(())
    });
}

/// Cells of the near end, each with its twin at the far end.
const ENDS: &[(&str, &str)] = &[
    ("from", "to"),
    ("from_port", "to_port"),
    ("interface", "far_interface"),
    ("module", "far_module"),
    ("measured_rx", "far_measured_rx"),
    ("polish", "far_polish"),
    ("fec", "far_fec"),
    ("near_face", "far_face"),
];

/// Computed columns of the near end, each with its twin at the far end.
const TWINS: &[(&str, &str)] = &[
    ("near_rx_low", "far_rx_low"),
    ("near_rx_high", "far_rx_high"),
    ("near_reading", "far_reading"),
    ("near_light", "far_light"),
    ("near_angle", "far_angle"),
];

/// What does not depend on which end comes first.
const SAME: &[&str] = &[
    "capacity",
    "loss",
    "loss_limit",
    "margin",
    "reach",
    "headroom",
    "overload",
    "pad",
    "rx_low",
    "rx_high",
    "light_gap",
    "correction",
    "hop_latency",
    "pair_loss",
    "pair_margin",
    "pair_delay",
    "fec_needed",
    "device_watts",
    "flow_ceiling",
    "even_share",
    "watts",
    "port_shares",
    "acceptance_limit",
    "dispersion",
    "dispersion_limit",
    "estimate_margin",
    "budget_margin",
    "certain_loss",
    "turns",
    "faces_passed",
    "faces_failed",
    "found_faces_1",
    "found_faces_2",
    "found_polish_mix_1",
    "verdict",
];

#[test]
fn swapping_the_two_ends_changes_nothing() {
    let word = |words: &'static [&'static str]| prop::sample::select(words);
    let interfaces = word(&[
        "10GBASE-SR",
        "10GBASE-LR",
        "1000BASE-BX10-D",
        "1000BASE-BX10-U",
        "10GBASE-ER",
        "1000BASE-T",
        "10GBASE-T",
    ]);
    let end = || {
        (
            word(&["North hall", "Pump house", "Ray pool"]),
            word(&["", "u1", "u2"]),
            word(&["", "SFP", "SFP28", "RJ45"]),
            word(&["", "-0.5", "-9", "-12"]),
            word(&["", "UPC", "APC"]),
            word(&["", "cleaned", "passed", "failed"]),
        )
    };
    let link = (
        word(&["OM3", "OS2", "Cat6A", "OM9"]),
        word(&["", "uplink", "access"]),
        word(&["", "10", "100", "1000", "30000"]),
        prop::option::of(interfaces.clone()),
    );
    let story = one_link()
        .switch(
            "Ray pool",
            &[("cage", "SFP28"), ("forwarding_delay", "2 µs")],
        )
        .link("L2", &[("from", "Pump house"), ("from_port", "u1")]);
    let mut story = story.told();
    story.set("switches", "North hall", "cage", "SFP+");
    story.set("switches", "Pump house", "cage", "SFP");
    in_one_story(
        400,
        story,
        &(end(), end(), interfaces, link),
        |story, choice| {
            let (near, far, interface, (medium, role, length, far_interface)) = choice;
            // An empty far interface means the same as at the near end.
            let ends = [
                (near.0, far.0),
                (near.1, far.1),
                (interface, far_interface.unwrap_or(interface)),
                (near.2, far.2),
                (near.3, far.3),
                (near.4, far.4),
                ("", ""),
                (near.5, far.5),
            ];
            type_link(
                story,
                &[("medium", medium), ("role", role), ("length", length)],
            );
            let mut told = [Vec::new(), Vec::new()];
            for (swapped, told) in told.iter_mut().enumerate() {
                for ((near, far), (a, b)) in ENDS.iter().zip(ends) {
                    let (a, b) = if swapped == 1 { (b, a) } else { (a, b) };
                    type_link(story, &[(near, a), (far, b)]);
                }
                let twins = TWINS.iter().flat_map(|(near, far)| match swapped {
                    0 => [*near, *far],
                    _ => [*far, *near],
                });
                *told = SAME
                    .iter()
                    .copied()
                    .chain(twins)
                    .map(|column| story.cell("links", "L1", column))
                    .collect();
            }
            let [straight, swapped] = told;
            prop_assert_eq!(straight, swapped);
            Ok(())
        },
    );
}

/// What the sums of segments have to give as the cells of a link do.
const SUMS: &[(&str, f64)] = &[
    ("used_length", 1e-6),
    ("loss", 1e-9),
    ("least_loss", 1e-9),
    ("loss_limit", 0.0),
    ("reach", 0.0),
    ("propagation", 1e-12),
    ("dispersion", 1e-9),
    ("estimate_penalty", 1e-6),
];

#[test]
fn a_link_in_pieces_is_the_link_in_one_piece() {
    let cut = (channel(), 1..40_000_u32, 0..40_000_u32, any::<bool>());
    let story = one_link().link("P1", &[]);
    let piece = |order| [("link", "P1"), ("order", order)];
    let story = story
        .row("segments", "S1", &piece("1"))
        .row("segments", "S2", &piece("2"));
    in_one_story(300, story, &cut, |story, choice| {
        let ((interface, far, medium), first, second, turned) = choice;
        let whole = (first + second).to_string();
        for (id, length) in [("L1", &*whole), ("P1", "")] {
            for (column, text) in [
                ("interface", &*interface),
                ("far_interface", &*far),
                ("medium", &*medium),
                ("length", length),
            ] {
                story.set("links", id, column, text);
            }
        }
        story.set("segments", "S1", "length", &first.to_string());
        story.set("segments", "S2", "length", &second.to_string());
        let order = if turned { ["2", "1"] } else { ["1", "2"] };
        story.set("segments", "S1", "order", order[0]);
        story.set("segments", "S2", "order", order[1]);
        for (column, within) in SUMS {
            let [whole, pieces] = ["L1", "P1"].map(|id| story.cell("links", id, column));
            match (whole, pieces) {
                (Cell::Number(a), Cell::Number(b)) => {
                    prop_assert!((a - b).abs() <= within * a.abs().max(1.0), "{}", column);
                }
                (whole, pieces) => prop_assert_eq!(whole, pieces, "{}", column),
            }
        }
        // A longer piece loses no less.
        let lost = [
            "used_length",
            "loss",
            "least_loss",
            "propagation",
            "dispersion",
        ];
        let before = lost.map(|column| story.cell("links", "P1", column));
        story.set("segments", "S2", "length", &whole);
        for (column, before) in lost.into_iter().zip(before) {
            match (before, story.cell("links", "P1", column)) {
                (Cell::Number(before), Cell::Number(after)) => {
                    prop_assert!(after >= before, "{}", column);
                }
                (before, after) => prop_assert_eq!(before, after, "{}", column),
            }
        }
        Ok(())
    });
}

#[test]
fn faces_that_meet_are_judged_as_one_by_one_along_the_way() {
    const POLISH: [&str; 3] = ["PC", "UPC", "APC"];
    const GENDER: [&str; 2] = ["unpinned", "pinned"];
    let face = || (0..POLISH.len(), any::<bool>());
    let chain = (
        (0..POLISH.len(), 0..POLISH.len()),
        prop::collection::vec((face(), face()), 1..5),
    );
    let story = one_link();
    let story = (0..4).fold(story, |story, at| {
        story.row("segments", &format!("S{at}"), &[("length", "5 m")])
    });
    in_one_story(300, story, &chain, |story, ((near, far), segments)| {
        type_link(
            story,
            &[
                ("interface", "40GBASE-SR4"),
                ("medium", "OM4"),
                ("polish", POLISH[near]),
                ("far_polish", POLISH[far]),
            ],
        );
        // Modules have pins.
        let (mut polish, mut pins) = (vec![near], vec![true]);
        for at in 0..4 {
            let id = format!("S{at}");
            let mut set = |column, text: &str| story.set("segments", &id, column, text);
            let Some((near, far)) = segments.get(at) else {
                set("link", "");
                continue;
            };
            set("link", "L1");
            // Stored order and the order on the way are different things.
            set("order", &(segments.len() - at).to_string());
            set("polish", POLISH[near.0]);
            set("far_polish", POLISH[far.0]);
            set("gender", GENDER[usize::from(near.1)]);
            set("far_gender", GENDER[usize::from(far.1)]);
        }
        for (near, far) in segments.iter().rev() {
            polish.extend([near.0, far.0]);
            pins.extend([near.1, far.1]);
        }
        polish.push(far);
        pins.push(true);
        let mixed = polish.chunks(2).any(|met| (met[0] == 2) != (met[1] == 2));
        let clash = pins.chunks(2).any(|met| met[0] == met[1]);
        let found = |name: &str| story.cell("links", "L1", name);
        prop_assert_eq!(found("found_polish_mix_1"), Cell::Flag(mixed));
        prop_assert_eq!(found("found_polarity_3"), Cell::Flag(clash));
        Ok(())
    });
}

#[test]
fn a_length_in_feet_is_the_length_in_metres() {
    let choices = (channel(), 1..131_000_u32);
    in_one_story(
        300,
        one_link(),
        &choices,
        |story, ((interface, far, medium), feet)| {
            let ten_thousandths = u64::from(feet) * 3048;
            let metres = format!(
                "{}.{:04} m",
                ten_thousandths / 10_000,
                ten_thousandths % 10_000
            );
            let mut told = Vec::new();
            for length in [format!("{feet} ft"), metres] {
                type_link(
                    story,
                    &[
                        ("interface", &*interface),
                        ("far_interface", &*far),
                        ("medium", &*medium),
                        ("length", &*length),
                    ],
                );
                told.push((story.verdict("L1"), story.objections("L1")));
            }
            prop_assert_eq!(&told[0], &told[1]);
            Ok(())
        },
    );
}

/// Words of the language, to be strung together without sense.
const WORDS: &[&str] = &[
    "length",
    "medium.attenuation_850",
    "links.capacity",
    "from.ratio",
    "this",
    "assume.reserve",
    "missing",
    "yes",
    "pick(",
    "total(",
    "tally(",
    "row_of(",
    "first_given(",
    "sqrt(",
    "one_of(",
    "(",
    ")",
    ",",
    "+",
    "-",
    "*",
    "/",
    "^",
    "==",
    "=",
    "<=",
    "and",
    "or",
    "not",
    "!",
    "\"OM3\"",
    "\"",
    "3 dB",
    "-3 dBm",
    "1e308",
    "10 km",
    "0.35 dB/km",
    "5 %",
    "0",
    ".",
    "{",
    "µ",
    "\u{200b}",
];

fn any_formula() -> impl Strategy<Value = String> {
    let words = prop::collection::vec(prop::sample::select(WORDS), 0..40);
    prop_oneof![
        prop::collection::vec(any::<char>(), 0..300).prop_map(String::from_iter),
        words.prop_map(|words| words.join(" ")),
        "[-+*/^()<>=!&|,. 0-9a-zA-Zµ%\"]{0,300}",
    ]
}

#[test]
fn any_text_may_be_a_formula() {
    in_one_story(3000, one_link(), &any_formula(), |story, text| {
        let (links, row) = (story.sheet("links"), story.row_of("links", "L1"));
        for at in [None, Some((links, row))] {
            let Err(problems) = story.engine().evaluate(story.plan(), &text, at) else {
                continue;
            };
            prop_assert!(!problems.is_empty());
            let spans = problems
                .iter()
                .flat_map(|problem| &problem.place)
                .flat_map(|place| &place.labels);
            for label in spans {
                prop_assert!(text.get(label.span.clone()).is_some(), "{:?}", label);
            }
        }
        Ok(())
    });
}
