//! Questions that people ask about light, answered on the plan of a jellyfish wing; verification
//! and segments on the same plan. Each limit has its source beside it.

use super::story::Story;
use portledger::desk::Desk;
use portledger::engine::Reason;
use portledger::problem::{Severity, render};
use portledger::sheet::builtin;
use portledger::sheet::rows_of;
use portledger::table::Cell;
use portledger::trade::Finding;
use std::collections::BTreeMap;
use std::path::Path;
use std::process::Command;

const PLAN: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/data/plans/glass.plan");

/// The plan of the jellyfish wing, opened from its file.
struct Wing(Desk);

impl Wing {
    fn open() -> Self {
        let desk = Desk::open(Path::new(PLAN)).unwrap();
        let problems: Vec<String> = desk.problems().map(|one| render(one, false)).collect();
        assert!(problems.is_empty(), "{}", problems.join("\n"));
        Self(desk)
    }

    /// Whether a condition holds for a link.
    fn holds(&self, id: &str, condition: &str) -> bool {
        let plan = self.0.plan();
        let links = plan.sheet("links").unwrap();
        let row = plan.find(links, id).unwrap();
        let (_, cell) = self
            .0
            .engine()
            .evaluate(plan, condition, Some((links, row)))
            .unwrap();
        cell == Cell::Flag(true)
    }

    /// What was found at a link.
    fn found(&self, id: &str) -> Vec<Finding> {
        let plan = self.0.plan();
        let mut list = self.0.findings().list;
        list.retain(|finding| plan.id(finding.sheet, finding.row) == id);
        list
    }

    fn checks(&self, id: &str) -> Vec<(String, Severity)> {
        let found = self.found(id).into_iter();
        found
            .map(|finding| (finding.check, finding.severity))
            .collect()
    }

    fn finding(&self, id: &str, check: &str) -> Finding {
        let found = self.found(id).into_iter();
        let mut of_check = found.filter(|finding| finding.check == check);
        of_check
            .next()
            .unwrap_or_else(|| panic!("no `{check}` at `{id}`"))
    }

    /// The lines of a reason.
    fn reason(&self, id: &str, column: &str) -> Vec<String> {
        let (plan, engine) = (self.0.plan(), self.0.engine());
        let links = plan.sheet("links").unwrap();
        let column = engine.find_column(links, column).unwrap();
        let reason = engine.reason(plan, column, plan.find(links, id).unwrap());
        reason
            .lines()
            .iter()
            .map(|line| line.trim().to_owned())
            .collect()
    }
}

fn has_line(lines: &[String], beginning: &str) {
    let found = lines.iter().any(|line| line.starts_with(beginning));
    assert!(found, "no `{beginning}` in\n{}", lines.join("\n"));
}

// IEEE 802.3 clause 52, tables 52-12 and 52-13: LR sends 0.5 dBm at most and stands 0.5 dBm.
#[test]
fn optics_for_10_km_on_20_m_need_no_pad_and_both_numbers_are_shown() {
    let wing = Wing::open();
    assert!(wing.holds("X1", "overload == 0 dB and pad == 0 dB"));
    assert_eq!(wing.checks("X1"), []);
    let reason = wing.reason("X1", "overload");
    has_line(&reason, "channel.tx_max: 0.5 dBm");
    has_line(&reason, "far_channel.rx_max: 0.5 dBm");
}

// IEEE 802.3 clause 52, tables 52-16 and 52-17: ER sends 4 dBm at most and stands -1 dBm.
#[test]
fn optics_for_40_km_on_20_m_need_a_pad_and_the_level_behind_it_is_told() {
    let wing = Wing::open();
    assert!(wing.holds(
        "X2",
        "overload > 4.9 dB and overload < 5 dB and pad == 5 dB"
    ));
    let finding = wing.finding("X2", "overload");
    assert!(
        finding.sentence.contains("a launch of 4 dBm"),
        "{finding:?}"
    );
    assert!(finding.sentence.contains("stands -1 dBm"), "{finding:?}");
    // -4.7 dBm less 1.508 dB and the pad; 4 dBm less 0.008 dB and the pad.
    assert!(finding.advice.contains("a pad of 5 dB"), "{finding:?}");
    assert!(
        finding.advice.contains("-11.2 dBm to -1 dBm"),
        "{finding:?}"
    );
}

#[test]
fn a_reading_is_placed_in_the_window_of_its_end() {
    let place = |text| {
        let link = [
            ("interface", "10GBASE-LR"),
            ("medium", "OS2"),
            ("length", "20 m"),
            ("measured_rx", text),
        ];
        Story::new()
            .link("L1", &link)
            .told()
            .text("links", "L1", "near_light")
    };
    // Least launch -8.2 dBm less 1.508 dB; the receiver needs -14.4 dBm and stands 0.5 dBm.
    let window = [
        ("-14.5 dBm", "too dark"),
        ("-14.4 dBm", "below the plan"),
        ("-9.8 dBm", "below the plan"),
        ("-9.7 dBm", "as planned"),
        ("0.49 dBm", "as planned"),
        ("0.5 dBm", "above the plan"),
        ("0.6 dBm", "too bright"),
    ];
    for (text, expected) in window {
        assert_eq!(place(text), expected, "{text}");
    }
}

// A pad at each end stands in one strand each, so each direction passes one of them.
#[test]
fn pads_at_both_ends_do_not_add_up_in_one_direction() {
    let low = |extra| {
        let link = [
            ("interface", "10GBASE-LR"),
            ("medium", "OS2"),
            ("length", "20 m"),
            ("extra_loss", extra),
        ];
        let story = Story::new().link("L1", &link).told();
        ["near_rx_low", "far_rx_low"].map(|column| story.number("links", "L1", column, "dBm"))
    };
    for (without, with) in low("0 dB").into_iter().zip(low("5 dB")) {
        assert!((without - with - 5.0).abs() < 1e-9);
    }
}

// IEEE 802.3 clauses 52 and 68: LR is single-mode only; LRM has 220 m and 1.9 dB on OM3.
#[test]
fn long_optics_have_no_specified_reach_on_multimode_and_lrm_has() {
    let wing = Wing::open();
    let finding = wing.finding("Y1", "medium-unknown");
    assert!(finding.sentence.ends_with("no specified reach"));
    assert_eq!(finding.severity, Severity::Stop);
    assert!(wing.holds("Y1", "not is_given(reach) and verdict == \"fails\""));
    assert!(wing.holds("Y2", "reach == 220 m and loss_limit == 1.9 dB"));
}

// IEEE 802.3 clause 38: conditioning cords at both ends on 62.5 µm and on 50 µm of OM2.
#[test]
fn gigabit_long_wave_on_old_multimode_wants_conditioning_cords() {
    let wing = Wing::open();
    let cords = ("mode-conditioning".to_owned(), Severity::Caution);
    assert!(wing.checks("Y3").contains(&cords));
    assert!(
        wing.finding("Y3", "mode-conditioning")
            .advice
            .contains("errors")
    );
    assert!(
        wing.checks("Y4")
            .iter()
            .all(|(check, _)| check != "mode-conditioning")
    );
}

// IEEE 802.3 clauses 52 and 68: 33 m of 62.5 µm fibre for SR, 220 m for LRM.
#[test]
fn old_fibre_of_62_5_um_carries_10_gigabit_as_far_as_its_class_says() {
    let wing = Wing::open();
    assert!(wing.holds("Z1", "reach == 33 m and verdict == \"tight\""));
    assert!(
        wing.checks("Z2")
            .contains(&("reach".to_owned(), Severity::Stop))
    );
    assert!(wing.holds("Z3", "reach == 220 m and verdict == \"tight\""));
    assert!(
        wing.checks("Z3")
            .iter()
            .all(|(_, severity)| *severity != Severity::Stop)
    );
}

// TIA-568.3-D: every cord and cable turns the two fibres; through two panels three of them do.
#[test]
fn duplex_polarity_holds_over_panels_with_an_odd_number_of_turns() {
    let wing = Wing::open();
    assert!(wing.holds("P1", "turns == 3 and verdict == \"fits\""));
    let stop = ("polarity".to_owned(), Severity::Stop);
    assert!(wing.checks("P2").contains(&stop));
}

#[test]
fn one_cable_needs_no_segments_for_its_polarity_and_pins() {
    let objects = |interface, column, text| {
        let link = [("interface", interface), ("medium", "OM4"), (column, text)];
        let story = Story::new().link("L1", &link).told();
        story.objections("L1").contains(&"polarity".to_owned())
    };
    assert!(objects("10GBASE-SR", "polarity", "A-to-A"));
    assert!(!objects("10GBASE-SR", "polarity", "A-to-B"));
    assert!(objects("40GBASE-SR4", "polarity", "array A"));
    assert!(objects("40GBASE-SR4", "polarity", "array C"));
    assert!(!objects("40GBASE-SR4", "polarity", "array B"));
    assert!(objects("40GBASE-SR4", "gender", "pinned"));
    assert!(!objects("40GBASE-SR4", "gender", "unpinned"));
    assert!(!objects("10GBASE-SR", "gender", "pinned"));
}

// IEC 61755: a blue face (UPC) and a green one (APC) never meet.
#[test]
fn a_flat_cord_does_not_go_into_an_angled_socket() {
    let finding = Wing::open().finding("G1", "polish-mix");
    assert_eq!(finding.severity, Severity::Stop);
    assert!(finding.advice.contains("IEC 61300-3-35"));
}

// IEEE 802.3 clause 122 and its like: the module says that its own faces are angled.
#[test]
fn an_interface_with_angled_faces_is_known_to_have_them() {
    let objects = |polish| {
        let link = [("interface", "400GBASE-DR4"), ("medium", "OS2")];
        let cord = [("link", "L1"), ("order", "1"), ("polish", polish)];
        let story = Story::new().link("L1", &link).row("segments", "S1", &cord);
        story
            .told()
            .objections("L1")
            .contains(&"polish-mix".to_owned())
    };
    assert!(objects("UPC"));
    assert!(!objects("APC"));
}

// 148 m of 3.5 dB/km, two pairs of 0.75 dB and a splice of 0.3 dB.
#[test]
fn segments_sum_into_their_link_and_the_reason_lists_them() {
    let wing = Wing::open();
    assert!(wing.holds(
        "P1",
        "used_length == 148 m and abs(loss - 2.318 dB) < 1e-9 dB"
    ));
    let reason = wing.reason("P1", "fibre_loss");
    for line in ["P1-a: 0.01 dB", "P1-b: 0.49 dB", "P1-c: 0.02 dB"] {
        has_line(&reason, line);
    }
}

// Kamino, Cabling Installation and Maintenance, March 2010: plan for 4 dB in one direction.
#[test]
fn a_change_of_core_costs_light_and_a_change_of_mode_is_a_stop() {
    let wing = Wing::open();
    assert!(wing.holds(
        "M1",
        "abs(loss - 0.105 dB - 1.5 dB - 4 dB) < 1e-9 dB and reach == 33 m"
    ));
    let caution = ("fibre-mix".to_owned(), Severity::Caution);
    assert!(wing.checks("M1").contains(&caution));
}

#[test]
fn the_latest_reading_counts_and_a_fall_since_the_first_is_told() {
    let wing = Wing::open();
    assert!(wing.holds("V1", "near_reading == -4.8 dBm and far_reading == -3.5 dBm"));
    assert!(wing.holds(
        "V1",
        "abs(light_trend + 1.7 dB) < 1e-9 dB and loss_reading == 1.9 dB"
    ));
    // 800 m of 0.4 dB/km and two pairs of 0.75 dB.
    assert!(wing.holds("V1", "abs(acceptance_limit - 1.82 dB) < 1e-9 dB"));
    let drift = wing.finding("V1", "light-drift").advice;
    let causes = [
        "dirty face",
        "bend",
        "bad mate",
        "wrong fibre",
        "ageing laser",
    ];
    let places: Vec<usize> = causes
        .iter()
        .map(|cause| drift.find(cause).unwrap())
        .collect();
    assert!(places.is_sorted(), "{drift}");
    assert_eq!(wing.finding("V1", "loss-high").severity, Severity::Caution);
    assert_eq!(
        wing.finding("V2", "reading-missing").severity,
        Severity::Note
    );
}

// The standard allows what a plan assumes to be better.
#[test]
fn a_link_may_pass_acceptance_and_still_be_worse_than_planned() {
    let link = [
        ("interface", "10GBASE-SR"),
        ("medium", "OM3"),
        ("length", "100 m"),
        ("measured_loss", "1.5 dB"),
    ];
    let story = Story::new()
        .assume("connection_loss", "0.5 dB")
        .link("L1", &link)
        .told();
    assert_eq!(story.objections("L1"), ["light-low"]);
}

#[test]
fn an_estimate_answers_what_fewer_connectors_allow_and_overrules_nothing() {
    let wing = Wing::open();
    assert!(wing.holds(
        "E1",
        "estimate_margin > 0 dB and length > reach and verdict == \"fails\""
    ));
    // At the reach, with the whole loss of the standard, nothing is left by definition.
    let link = [
        ("interface", "10GBASE-SR"),
        ("medium", "OM3"),
        ("length", "300 m"),
        ("extra_loss", "0.05 dB"),
    ];
    let story = Story::new().link("L1", &link).told();
    let left = story.number("links", "L1", "estimate_margin", "dB");
    assert!(left.abs() < 1e-9, "{left}");
}

// ITU-T G.652: zero between 1300 and 1324 nm, 0.092 ps/(nm² km); worked out by hand.
#[test]
fn dispersion_is_that_of_the_worst_wavelength_allowed() {
    let link = [
        ("interface", "10GBASE-ER"),
        ("medium", "OS2"),
        ("length", "40 km"),
    ];
    let story = Story::new().link("L1", &link).told();
    let spread = story.number("links", "L1", "dispersion", "ps/nm");
    let by_hand = 0.092 / 4.0 * 1565.0 * (1.0 - (1300.0_f64 / 1565.0).powi(4)) * 40.0;
    assert!((spread - by_hand).abs() < 1e-6, "{spread} {by_hand}");
    assert!(!story.objections("L1").contains(&"dispersion".to_owned()));
}

#[test]
fn a_bend_is_ten_diameters_wide_at_rest_and_twenty_while_pulling() {
    let wing = Wing::open();
    assert!(wing.holds(
        "V1",
        "bend_radius == 62 mm and bend_radius_pulled == 124 mm"
    ));
    assert!(wing.holds("V2", "not is_given(bend_radius)"));
}

// NFPA 70: riser cable does not go where air is handled.
#[test]
fn a_higher_jacket_replaces_a_lower_one_and_never_the_reverse() {
    let wing = Wing::open();
    assert!(
        wing.checks("V1")
            .iter()
            .all(|(check, _)| check != "space-rating")
    );
    assert_eq!(wing.finding("V2", "space-rating").severity, Severity::Stop);
}

#[test]
fn every_table_is_printed_with_source_and_confidence() {
    for sheet in builtin().iter().filter(|sheet| sheet.reference) {
        let output = Command::new(env!("CARGO_BIN_EXE_portledger"))
            .args(["tables", &sheet.name, "--as", "csv"])
            .output()
            .unwrap();
        let text = String::from_utf8(output.stdout).unwrap();
        let mut lines = csv::Reader::from_reader(text.as_bytes());
        let heads = lines.headers().unwrap().clone();
        let [source, confidence] = ["source", "confidence"]
            .map(|name| heads.iter().position(|head| head == name).unwrap());
        let mut n_rows = 0;
        for row in lines.records().map(Result::unwrap) {
            assert!(!row[source].is_empty(), "{}: {row:?}", sheet.name);
            assert!(["seen", "memory"].contains(&&row[confidence]), "{row:?}");
            n_rows += 1;
        }
        assert!(n_rows > 5, "{}", sheet.name);
    }
}

/// The figures of reference tables that a reason names: sheet, row and column, with what is said
/// of where they come from.
fn figures(desk: &Desk, reason: &Reason, found: &mut Vec<([String; 3], String)>) {
    for input in &reason.inputs {
        if let Some((column, row)) = input.cell {
            let node = &desk.engine().graph().nodes[column.at()];
            let def = &desk.engine().schema()[node.sheet.at()];
            if def.reference && node.is_entered() {
                let id = desk.plan().id(node.sheet, row);
                let name = &desk.engine().def(column).unwrap().name;
                found.push(([def.name.clone(), id, name.clone()], input.origin.clone()));
            }
        }
        figures(desk, input, found);
    }
}

/// The mark of every cell of the reference tables, worked out from the rows as text.
fn marks() -> BTreeMap<[String; 3], &'static str> {
    let mut marks = BTreeMap::new();
    for sheet in builtin().iter().filter(|sheet| sheet.reference) {
        let columns = sheet
            .columns
            .iter()
            .filter(|column| column.formula.is_none());
        let entered: Vec<&str> = columns.map(|column| &*column.name).collect();
        let at = |name: &str| entered.iter().position(|column| *column == name).unwrap();
        for row in rows_of(&sheet.name) {
            let listed = row[at("note")].split("memory columns: ").nth(1);
            for name in &entered {
                let recalled = match listed {
                    Some(columns) => columns.split(' ').any(|column| column == *name),
                    None => row[at("confidence")] == "memory",
                };
                let mark = if recalled { "from memory" } else { "seen" };
                let cell = [sheet.name.clone(), row[0].clone(), (*name).to_owned()];
                marks.insert(cell, mark);
            }
        }
    }
    marks
}

// Every figure of a table that any reason of the demo and of the jellyfish wing names is marked as
// its row says, also where a function reads it.
#[test]
fn a_figure_from_memory_is_marked_wherever_a_reason_names_it() {
    let marks = marks();
    let mut counted: BTreeMap<&str, usize> = BTreeMap::new();
    let mut inside = 0;
    for desk in [Desk::demo().unwrap(), Wing::open().0] {
        let (plan, engine) = (desk.plan(), desk.engine());
        for sheet in engine.schema().iter().filter(|sheet| !sheet.reference) {
            let id = plan.sheet(&sheet.name).unwrap();
            let mut found = Vec::new();
            for row in plan.rows(id).order().iter().step_by(4) {
                for column in 0..sheet.columns.len() {
                    let reason = engine.reason(plan, engine.column(id, column), *row);
                    figures(&desk, &reason, &mut found);
                }
            }
            for (cell, origin) in found {
                let mark = marks[&cell];
                assert!(origin.ends_with(mark), "{cell:?} is {mark}: {origin}");
                *counted.entry(mark).or_default() += 1;
                let by_function = ["attenuation", "pair_"]
                    .iter()
                    .any(|part| cell[2].starts_with(part));
                inside += usize::from(by_function);
            }
        }
    }
    assert!(
        counted["from memory"] > 500 && counted["seen"] > 500,
        "{counted:?}"
    );
    assert!(inside > 100, "{inside}");
}

#[test]
fn what_a_function_reads_of_a_table_stands_in_the_reason_with_its_mark() {
    let wing = Wing::open();
    let lines = wing.reason("Z1", "fibre_loss");
    let beginning = "medium.attenuation_850 in attenuation_at: 3.5 dB/km   [OM1;";
    let line = lines.iter().find(|line| line.starts_with(beginning));
    let line = line.unwrap_or_else(|| panic!("{}", lines.join("\n")));
    assert!(line.ends_with("from memory]"), "{line}");
    // Of the two limits for 850 nm only the one that the basis takes is named.
    let other = |line: &String| line.starts_with("medium.attenuation_850_tia");
    assert!(!lines.iter().any(other), "{}", lines.join("\n"));
}

#[test]
fn queues_are_left_out_and_the_reason_says_so() {
    let reason = Wing::open().reason("X1", "hop_latency");
    let said = "waiting in queues is left out";
    assert!(reason[0].contains(said), "{}", reason[0]);
}

// A module is judged by its own readings of sent light at the same end, first to latest.
#[test]
fn what_a_module_sends_is_compared_end_by_end() {
    let reading = |date, end, tx| [("link", "L1"), ("date", date), ("end", end), ("tx", tx)];
    let story = Story::new()
        .link("L1", &[("interface", "10GBASE-LR"), ("medium", "OS2")])
        .row("readings", "R1", &reading("2031-01-05", "near", "-2 dBm"))
        .row("readings", "R2", &reading("2031-01-05", "far", "-4 dBm"))
        .row("readings", "R3", &reading("2031-07-05", "", "-3.4 dBm"))
        .row("readings", "R4", &reading("2031-07-05", "far", "-5.6 dBm"))
        .row("readings", "R5", &reading("2030-07-05", "near", "-1 dBm"))
        .told();
    for (id, expected) in [("R1", -1.0), ("R3", -2.4), ("R4", -1.6)] {
        let trend = story.number("readings", id, "tx_trend", "dB");
        assert!((trend - expected).abs() < 1e-9, "{id}: {trend}");
    }
    for id in ["R2", "R5"] {
        assert!(story.is_missing("readings", id, "tx_trend"), "{id}");
    }
    let fades = |id: &&str| story.objections_at("readings", id) == ["laser-fades"];
    let fading: Vec<&str> = ["R1", "R2", "R3", "R4", "R5"]
        .into_iter()
        .filter(fades)
        .collect();
    assert_eq!(fading, ["R3", "R4"]);
}

#[test]
fn a_pad_of_the_stock_cures_what_it_is_made_for_and_no_more() {
    let story = Story::new().told();
    let pad = |needed: f64| match story.calc(&format!("stock_pad({needed} dB)")) {
        Cell::Number(pad) => Some(pad),
        Cell::Missing => None,
        other => panic!("{needed}: {other:?}"),
    };
    let stock = [1.0, 2.0, 3.0, 5.0, 7.0, 10.0, 15.0, 20.0].map(Some);
    for (at, value) in stock.into_iter().flatten().enumerate() {
        assert_eq!(pad(value), stock[at]);
        // What rounding adds asks for no more, what can be measured does.
        assert_eq!(pad(value + 1e-10), stock[at]);
        assert_eq!(pad(value + 0.01), stock.get(at + 1).copied().flatten());
        assert_eq!(pad(value - 0.01), stock[at]);
    }
}
