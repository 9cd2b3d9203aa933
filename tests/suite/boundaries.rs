//! At the limit a link is kept, a step beyond it is not: every row of the channel table, and the
//! facts of the trade by name.
//!
//! What is expected is worked out here from the rows as text, never from the engine.

use super::story::Story;
use portledger::plan::{Edit, MOST_ROWS};
use portledger::problem::Severity;
use portledger::sheet::rows_of;
use portledger::trade;
use std::collections::BTreeMap;

/// A row of the channel table, as far as limits go.
struct Row {
    id: String,
    interface: String,
    /// The interface at the other end: its pair on one fibre, else the same.
    far: String,
    medium: String,
    kind: String,
    reach: Option<f64>,
    loss_limit: Option<f64>,
    tx_max: Option<f64>,
    rx_max: Option<f64>,
}

fn channel_rows() -> Vec<Row> {
    let pairs = column_by_id("interfaces", 7);
    let kinds = column_by_id("media", 1);
    let row = |cells: Vec<String>| {
        let number = |at: usize| cells[at].parse().ok();
        Row {
            far: match pairs[&cells[1]].as_str() {
                "" => cells[1].clone(),
                pair => pair.to_owned(),
            },
            kind: kinds[&cells[2]].clone(),
            reach: number(3),
            loss_limit: number(4),
            tx_max: number(9),
            rx_max: number(11),
            id: cells[0].clone(),
            interface: cells[1].clone(),
            medium: cells[2].clone(),
        }
    };
    rows_of("channels").iter().cloned().map(row).collect()
}

fn column_by_id(sheet: &str, column: usize) -> BTreeMap<String, String> {
    let rows = rows_of(sheet).iter();
    rows.map(|cells| (cells[0].clone(), cells[column].clone()))
        .collect()
}

impl Row {
    /// A link over this channel, with more cells.
    fn link(&self, story: Story, id: &str, more: &[(&str, &str)]) -> Story {
        let channel = [
            ("interface", &*self.interface),
            ("far_interface", &*self.far),
            ("medium", &*self.medium),
        ];
        story.link(id, &[&channel, more].concat())
    }

    fn is_fibre(&self) -> bool {
        matches!(&*self.kind, "multimode" | "single-mode")
    }

    /// The check that holds the length of this kind of medium.
    fn length_check(&self) -> &'static str {
        match &*self.kind {
            "multimode" | "single-mode" => "reach",
            "twisted pair" => "copper-length",
            _ => "direct-attach-length",
        }
    }
}

/// The checks that object to each link, with their severity.
fn objections(story: &Story) -> BTreeMap<String, Vec<(String, Severity)>> {
    let links = story.sheet("links");
    let mut by_link: BTreeMap<String, Vec<(String, Severity)>> = BTreeMap::new();
    for finding in story.findings() {
        assert_eq!(finding.sheet, links);
        let id = story.plan().id(links, finding.row);
        let found = by_link.entry(id).or_default();
        found.push((finding.check, finding.severity));
    }
    by_link
}

#[test]
fn every_channel_is_kept_at_its_reach_and_fails_a_metre_beyond() {
    let rows: Vec<Row> = channel_rows();
    let mut story = Story::new();
    let mut n_rows = 0;
    for row in &rows {
        let Some(reach) = row.reach else { continue };
        n_rows += 1;
        for (id, length) in [("at", reach), ("beyond", reach + 1.0)] {
            let length = format!("{length} m");
            story = row.link(story, &format!("{} {id}", row.id), &[("length", &*length)]);
        }
    }
    assert!(n_rows > 300, "{n_rows} rows have a reach");
    let story = story.told();
    let found = objections(&story);
    let checks = ["reach", "copper-length", "direct-attach-length"];
    for row in rows.iter().filter(|row| row.reach.is_some()) {
        let of = |id: &str| {
            let found = found.get(&format!("{} {id}", row.id)).into_iter().flatten();
            found
                .filter(|(check, _)| checks.contains(&&**check))
                .cloned()
                .collect::<Vec<_>>()
        };
        assert_eq!(of("at"), [], "{}", row.id);
        let expected = (row.length_check().to_owned(), Severity::Stop);
        assert_eq!(of("beyond"), [expected], "{}", row.id);
        assert_eq!(story.verdict(&format!("{} beyond", row.id)), "fails");
        assert_eq!(
            story.number("links", &format!("{} at", row.id), "headroom", "m"),
            0.0
        );
    }
}

/// Losses against the limit, with what the check `loss` says.
const STEPS: &[(f64, Option<Severity>)] = &[
    (-0.01, None),
    (0.0, None),
    (0.01, Some(Severity::Caution)),
    (0.049, Some(Severity::Caution)),
    (0.05, Some(Severity::Stop)),
    (0.1, Some(Severity::Stop)),
];

/// Every optical channel with a loss limit, at each step from it; short and without connections.
fn at_the_loss_limit(rows: &[(Row, f64)]) -> Story {
    let mut first = Story::new();
    for (row, _) in rows {
        first = row.link(first, &row.id, &[("length", "1 m")]);
    }
    let first = first.told();
    let mut story = Story::new();
    for (row, limit) in rows {
        let fibre = first.number("links", &row.id, "fibre_loss", "dB");
        for (step, _) in STEPS {
            let extra = format!("{} dB", limit + step - fibre);
            let cells = [
                ("length", "1 m"),
                ("connections", "0"),
                ("splices", "0"),
                ("extra_loss", &*extra),
            ];
            story = row.link(story, &format!("{} {step}", row.id), &cells);
        }
    }
    story
}

/// Optical rows with a loss limit, and the limit of the worse direction.
fn limited_rows() -> Vec<(Row, f64)> {
    let limits: BTreeMap<(String, String), Option<f64>> = channel_rows()
        .into_iter()
        .map(|row| ((row.interface, row.medium), row.loss_limit))
        .collect();
    let limited = channel_rows().into_iter().filter_map(|row| {
        let far = limits[&(row.far.clone(), row.medium.clone())]?;
        let near = row.loss_limit?;
        row.is_fibre().then_some((row, near.min(far)))
    });
    limited.collect()
}

/// The verdict by hand: light first, then what is missing, then the margin against the reserve.
fn verdict_by_hand(
    rows: &[(Row, f64)],
    row: &Row,
    loss: f64,
    limit: f64,
    reserve: f64,
) -> &'static str {
    let far = rows
        .iter()
        .find(|(far, _)| far.interface == row.far && far.medium == row.medium);
    let far = &far.expect("the far end has a row too").0;
    let too_much = |tx: &Row, rx: &Row| Some(tx.tx_max? - loss - rx.rx_max? > 1e-9);
    let overload = too_much(row, far).zip(too_much(far, row));
    let beyond = loss - limit;
    match overload {
        _ if beyond >= 0.05 - 1e-9 => "fails",
        Some((near, back)) if near || back => "fails",
        None => "unknown",
        Some(_) if beyond > -reserve + 1e-9 => "tight",
        Some(_) => "fits",
    }
}

fn check_losses(reserve: f64) -> BTreeMap<&'static str, usize> {
    let rows = limited_rows();
    assert!(rows.len() > 150, "{} rows have a loss limit", rows.len());
    let story = at_the_loss_limit(&rows)
        .assume("reserve", &format!("{reserve} dB"))
        .told();
    let found = objections(&story);
    let mut verdicts = BTreeMap::new();
    for (row, limit) in &rows {
        for (step, severity) in STEPS {
            let id = format!("{} {step}", row.id);
            let found = found.get(&id).into_iter().flatten();
            let losses: Vec<Severity> = found
                .filter(|(check, _)| check == "loss")
                .map(|(_, severity)| *severity)
                .collect();
            assert_eq!(losses, Vec::from_iter(*severity), "{id}");
            let expected = verdict_by_hand(&rows, row, limit + step, *limit, reserve);
            assert_eq!(story.verdict(&id), expected, "{id}");
            *verdicts.entry(expected).or_default() += 1;
        }
    }
    verdicts
}

#[test]
fn every_loss_limit_is_kept_exactly_and_fails_from_half_its_last_digit() {
    let verdicts = check_losses(0.5);
    assert!(
        verdicts["tight"] > 100 && verdicts["fails"] > 100,
        "{verdicts:?}"
    );
    assert!(verdicts["unknown"] > 0, "{verdicts:?}");
    assert!(!verdicts.contains_key("fits"), "{verdicts:?}");
}

#[test]
fn without_a_reserve_the_limit_itself_fits() {
    let verdicts = check_losses(0.0);
    assert!(verdicts["fits"] > 100, "{verdicts:?}");
}

/// A link between two switches of one building.
fn link(interface: &str, medium: &str, length: &str) -> Story {
    two_halls(
        "Aquarium hall",
        &[
            ("interface", interface),
            ("medium", medium),
            ("length", length),
        ],
    )
}

fn two_halls(building: &str, cells: &[(&str, &str)]) -> Story {
    let ends = [
        ("from", "North hall"),
        ("to", "Pump house"),
        ("role", "uplink"),
    ];
    Story::new()
        .switch("North hall", &[("building", "Aquarium hall")])
        .switch("Pump house", &[("building", building)])
        .link("L1", &[&ends, cells].concat())
        .told()
}

/// Each link with its verdict and the checks that object to it.
fn check(cases: &[(&str, &str, &str, &str, &[&str])]) {
    for (interface, medium, length, verdict, checks) in cases {
        let story = link(interface, medium, length);
        let told = (story.verdict("L1"), story.objections("L1"));
        let expected = (
            (*verdict).to_owned(),
            checks.iter().map(|check| (*check).to_owned()).collect(),
        );
        assert_eq!(told, expected, "{interface} on {length} of {medium}");
    }
}

// IEEE 802.3 clauses 40 and 55; TIA-568.2-D.
#[test]
fn twisted_pair_ends_at_a_hundred_metres() {
    check(&[
        ("1000BASE-T", "Cat6", "100 m", "fits", &[]),
        ("1000BASE-T", "Cat6", "101 m", "fails", &["copper-length"]),
        ("10GBASE-T", "Cat6A", "100 m", "fits", &[]),
        ("10GBASE-T", "Cat6A", "101 m", "fails", &["copper-length"]),
        ("10GBASE-T", "Cat6", "37 m", "fits", &[]),
        ("10GBASE-T", "Cat6", "38 m", "fails", &["copper-length"]),
    ]);
}

// IEEE 802.3 clause 38, table 38-2.
#[test]
fn gigabit_on_multimode_goes_further_on_the_better_fibre() {
    check(&[
        ("1000BASE-SX", "OM2", "400 m", "fits", &[]),
        ("1000BASE-SX", "OM1", "400 m", "fails", &["reach", "loss"]),
        ("1000BASE-SX", "OM1", "275 m", "tight", &["reserve"]),
    ]);
}

// IEEE 802.3 clause 52, tables 52-7 to 52-10.
#[test]
fn ten_gigabit_on_om3_ends_at_three_hundred_metres() {
    check(&[
        ("10GBASE-SR", "OM3", "300 m", "tight", &["reserve"]),
        ("10GBASE-SR", "OM3", "301 m", "fails", &["reach", "reserve"]),
    ]);
    let one_connection = two_halls(
        "Aquarium hall",
        &[
            ("interface", "10GBASE-SR"),
            ("medium", "OM3"),
            ("length", "300 m"),
            ("connections", "1"),
        ],
    );
    assert_eq!(one_connection.verdict("L1"), "fits");
    let no_reserve = link("10GBASE-SR", "OM3", "300 m").assume("reserve", "0 dB");
    assert_eq!(no_reserve.verdict("L1"), "fits");
}

// IEEE 802.3 clause 52, table 52-10: a limit printed as 1.6 dB.
#[test]
fn a_loss_within_the_last_printed_digit_is_tight() {
    let story = link("10GBASE-SR", "OM1", "33 m");
    assert!((story.number("links", "L1", "loss", "dB") - 1.6155).abs() < 1e-12);
    assert_eq!(story.verdict("L1"), "tight");
    let finding = story.finding("L1", "loss");
    assert_eq!(finding.severity, Severity::Caution);
    assert_eq!(
        finding.sentence,
        "a loss of 1.62 dB exceeds the printed limit, 1.6 dB, by less than half of its last digit"
    );
}

// IEEE 802.3 clause 52: LR is single-mode only.
#[test]
fn single_mode_optics_on_multimode_fibre_are_a_stop() {
    let story = link("10GBASE-LR", "OM3", "100 m");
    assert_eq!(story.verdict("L1"), "fails");
    let finding = story.finding("L1", "medium-unknown");
    assert_eq!(finding.severity, Severity::Stop);
    assert_eq!(
        finding.sentence,
        "10GBASE-LR runs on single-mode; OM3 is multimode: no specified reach"
    );
}

// IEEE 802.3 clause 55: no length on Cat5e.
#[test]
fn a_medium_without_a_length_in_the_standard_is_a_stop() {
    let story = link("10GBASE-T", "Cat5e", "10 m");
    assert_eq!(story.verdict("L1"), "fails");
    let finding = story.finding("L1", "reach");
    assert_eq!(finding.severity, Severity::Stop);
    assert_eq!(
        finding.sentence,
        "no specified reach: the tables have no length for 10GBASE-T on Cat5e"
    );
    assert!(story.is_missing("links", "L1", "reach"));
}

// IEEE 802.3 clause 52: launch up to 4 dBm, a receiver that stands -1 dBm.
#[test]
fn long_haul_optics_on_a_short_fibre_need_a_pad() {
    let mut story = link("10GBASE-ER", "OS2", "1 km");
    assert_eq!(story.verdict("L1"), "fails");
    assert_eq!(story.objections("L1"), ["overload"]);
    assert_eq!(story.number("links", "L1", "pad", "dB"), 5.0);
    story.set("links", "L1", "extra_loss", "5 dB");
    assert_eq!(story.verdict("L1"), "fits");
    assert_eq!(story.number("links", "L1", "pad", "dB"), 0.0);
}

// IEC 62305-4 and local electrical codes: earth potential and lightning.
#[test]
fn no_conductor_runs_between_buildings() {
    let cases = [
        (
            "1000BASE-T",
            "Cat6",
            "Quarantine lab",
            vec!["between-buildings"],
        ),
        (
            "10GSFP+Cu",
            "twinax passive",
            "Quarantine lab",
            vec!["between-buildings"],
        ),
        ("1000BASE-T", "Cat6", "aquarium hall", vec![]),
        ("1000BASE-LX", "OS2", "Quarantine lab", vec![]),
        ("10G AOC", "active optical", "Quarantine lab", vec![]),
    ];
    for (interface, medium, building, expected) in cases {
        let story = two_halls(
            building,
            &[
                ("interface", interface),
                ("medium", medium),
                ("length", "5 m"),
            ],
        );
        assert_eq!(story.objections("L1"), expected, "{medium} to {building}");
    }
}

// Common practice, no source: such a port stretches distance.
#[test]
fn an_optical_uplink_no_faster_than_the_access_ports_is_no_uplink() {
    for (interface, objects) in [("1000BASE-SX", true), ("10GBASE-SR", false)] {
        let mut story = link(interface, "OM3", "100 m");
        story.set("switches", "North hall", "access_speed", "1 Gb/s");
        let found = story.objections("L1");
        assert_eq!(
            found.contains(&"distance-port".to_owned()),
            objects,
            "{interface}"
        );
    }
    let mut copper = link("1000BASE-T", "Cat6", "50 m");
    copper.set("switches", "North hall", "access_speed", "1 Gb/s");
    assert_eq!(copper.objections("L1"), [""; 0]);
}

// SFF-8431 and IEEE 802.3 clauses 52 and 55: no transceiver, no conversion.
#[test]
fn direct_attach_waits_least_and_has_no_optics() {
    let story = |interface, medium| link(interface, medium, "3 m");
    let direct = story("10GSFP+Cu", "twinax passive");
    assert_eq!(direct.verdict("L1"), "fits");
    for column in [
        "loss",
        "fibre_loss",
        "connection_loss",
        "margin",
        "rx_low",
        "overload",
    ] {
        assert!(direct.is_missing("links", "L1", column), "{column}");
    }
    for other in [story("10GBASE-SR", "OM3"), story("10GBASE-T", "Cat6A")] {
        for column in ["conversion", "hop_latency"] {
            let time = |story: &Story| story.number("links", "L1", column, "ns");
            assert!(time(&direct) < time(&other), "{column}");
        }
    }
}

// Common practice, no source: what is not known is never shown as fits.
#[test]
fn a_link_without_length_interface_or_medium_is_unknown() {
    let whole = [
        ("interface", "10GBASE-SR"),
        ("medium", "OM3"),
        ("length", "50 m"),
    ];
    assert_eq!(two_halls("Aquarium hall", &whole).verdict("L1"), "fits");
    for (column, _) in whole {
        let mut story = two_halls("Aquarium hall", &whole);
        story.set("links", "L1", column, "");
        assert_eq!(story.verdict("L1"), "unknown", "without {column}");
    }
    assert_eq!(two_halls("Aquarium hall", &[]).verdict("L1"), "unknown");
}

// Common practice, no source.
#[test]
fn a_medium_or_interface_that_the_tables_do_not_know_is_unknown() {
    check(&[
        ("10GBASE-SR", "OM9", "50 m", "unknown", &["medium-unknown"]),
        (
            "10GBASE-SQ",
            "OM3",
            "50 m",
            "unknown",
            &["interface-unknown"],
        ),
        ("10gbase-sr", "om3", "50 m", "fits", &[]),
    ]);
}

// A missing figure of the tables: no powers are known for this type.
#[test]
fn a_missing_figure_leaves_the_verdict_unknown() {
    let story = link("40G BiDi", "OM3", "50 m");
    assert!(story.is_missing("links", "L1", "margin"));
    assert_eq!(story.verdict("L1"), "unknown");
    assert_eq!(story.objections("L1"), [""; 0]);
}

#[test]
fn no_edit_makes_a_plan_that_could_not_be_opened_again() {
    let mut plan = trade::empty_plan().unwrap();
    let links = plan.sheet("links").unwrap();
    let mut add = |n: usize| {
        let (at, rows) = (plan.rows(links).order().len(), vec![Vec::new(); n]);
        let edit = Edit::AddRows {
            sheet: links,
            at,
            rows,
        };
        let done = plan.apply(edit).map(|_| ()).map_err(|problem| problem.code);
        (done, plan.n_own_rows())
    };
    assert_eq!(add(MOST_ROWS + 1), (Err("too-many-rows"), 0));
    assert_eq!(add(MOST_ROWS - 1), (Ok(()), MOST_ROWS - 1));
    assert_eq!(add(2), (Err("too-many-rows"), MOST_ROWS - 1));
    assert_eq!(add(1), (Ok(()), MOST_ROWS));
    assert_eq!(add(1), (Err("too-many-rows"), MOST_ROWS));
}
