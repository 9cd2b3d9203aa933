//! Every case of every check: a plan that it objects to, and a plan just inside that it lets be.
//!
//! Both are one quiet plan with a few cells changed.

use super::story::Story;
use portledger::problem::Severity;
use portledger::table::Cell;
use portledger::trade::judged;

/// A cell that is typed anew: sheet, row, column, text.
type Change = (&'static str, &'static str, &'static str, &'static str);

/// A case of a check with the row it objects to.
struct Case {
    check: &'static str,
    case: usize,
    row: (&'static str, &'static str),
    /// The plan that it objects to.
    loud: &'static [Change],
    /// The plan just inside.
    quiet: &'static [Change],
}

const L1: (&str, &str) = ("links", "L1");
const L2: (&str, &str) = ("links", "L2");
const NORTH: (&str, &str) = ("switches", "North hall");

const fn case(
    check: &'static str,
    case: usize,
    row: (&'static str, &'static str),
    loud: &'static [Change],
    quiet: &'static [Change],
) -> Case {
    Case {
        check,
        case,
        row,
        loud,
        quiet,
    }
}

/// A change of the link between the halls.
const fn l1(column: &'static str, text: &'static str) -> Change {
    ("links", "L1", column, text)
}

/// A change of the camera's link.
const fn l2(column: &'static str, text: &'static str) -> Change {
    ("links", "L2", column, text)
}

const fn north(column: &'static str, text: &'static str) -> Change {
    ("switches", "North hall", column, text)
}

const fn pump(column: &'static str, text: &'static str) -> Change {
    ("switches", "Pump house", column, text)
}

const CASES: &[Case] = &[
    // IEEE 802.3 clause 52: 300 m on OM3.
    case(
        "reach",
        1,
        L1,
        &[l1("length", "301 m")],
        &[l1("length", "300 m")],
    ),
    // IEEE 802.3 clause 55: no length on Cat5e.
    case(
        "reach",
        2,
        L1,
        &[l1("interface", "10GBASE-T"), l1("medium", "Cat5e")],
        &[l1("interface", "10GBASE-T"), l1("medium", "Cat6A")],
    ),
    case(
        "reach",
        3,
        L1,
        &[
            l1("interface", "1000BASE-T"),
            l1("far_interface", "10GBASE-T"),
            l1("medium", "Cat5e"),
        ],
        &[
            l1("interface", "1000BASE-T"),
            l1("far_interface", "10GBASE-T"),
            l1("medium", "Cat6A"),
        ],
    ),
    // IEEE 802.3 clause 52: 2.6 dB on OM3; the plan has 1.85 dB.
    case(
        "loss",
        1,
        L1,
        &[l1("extra_loss", "0.8 dB")],
        &[l1("extra_loss", "0.75 dB")],
    ),
    case(
        "loss",
        2,
        L1,
        &[l1("extra_loss", "0.79 dB")],
        &[l1("extra_loss", "0.75 dB")],
    ),
    case(
        "loss",
        3,
        L1,
        &[l1("measured_loss", "2.65 dB")],
        &[l1("measured_loss", "2.64 dB")],
    ),
    // Common practice, no source: a reserve of 0.5 dB.
    case(
        "reserve",
        1,
        L1,
        &[l1("extra_loss", "0.3 dB")],
        &[l1("extra_loss", "0.25 dB")],
    ),
    // IEEE 802.3 clauses 52 and 87: launch and receive levels of the long types.
    case(
        "overload",
        1,
        L1,
        &[l1("interface", "10GBASE-ER"), l1("medium", "OS2")],
        &[
            l1("interface", "10GBASE-ER"),
            l1("medium", "OS2"),
            l1("extra_loss", "5 dB"),
        ],
    ),
    case(
        "overload",
        2,
        L1,
        &[
            l1("interface", "40GBASE-ER4"),
            l1("medium", "OS2"),
            l1("connections", "13"),
        ],
        &[
            l1("interface", "40GBASE-ER4"),
            l1("medium", "OS2"),
            l1("extra_loss", "10 dB"),
        ],
    ),
    // IEEE 802.3 clause 52: -1 dBm at most, -9.9 dBm at least.
    case(
        "overload",
        3,
        L1,
        &[l1("far_measured_rx", "-0.9 dBm")],
        &[l1("far_measured_rx", "-1 dBm")],
    ),
    // IEEE 802.3: both ends of one type, or a pair on one fibre.
    case(
        "ends-differ",
        1,
        L1,
        &[l1("far_interface", "10GBASE-LRM")],
        &[l1("far_interface", "10gbase-sr")],
    ),
    case(
        "bidi-pair",
        1,
        L1,
        &[
            l1("interface", "1000BASE-BX10-D"),
            l1("far_interface", "1000BASE-BX10-D"),
            l1("medium", "OS2"),
        ],
        &[
            l1("interface", "1000BASE-BX10-D"),
            l1("far_interface", "1000BASE-BX10-U"),
            l1("medium", "OS2"),
        ],
    ),
    // IEEE 802.3: the kinds of medium that a type runs on.
    case(
        "medium-unknown",
        1,
        L1,
        &[l1("medium", "OM9")],
        &[l1("medium", "OM4")],
    ),
    case(
        "medium-unknown",
        2,
        L1,
        &[l1("medium", "OS2")],
        &[l1("medium", "OM5")],
    ),
    case(
        "medium-unknown",
        3,
        L1,
        &[l1("far_interface", "10GBASE-LR")],
        &[l1("far_interface", "10GBASE-LRM")],
    ),
    // Common practice, no source: names as the tables have them.
    case(
        "interface-unknown",
        1,
        L1,
        &[l1("interface", "10GBASE-SQ")],
        &[l1("interface", "")],
    ),
    case(
        "interface-unknown",
        2,
        L1,
        &[l1("far_interface", "10GBASE-SQ")],
        &[l1("far_interface", "10GBASE-LR")],
    ),
    // IEC 62305-4; local electrical codes.
    case(
        "between-buildings",
        1,
        L1,
        &[
            pump("building", "Pump house"),
            l1("interface", "10GBASE-T"),
            l1("medium", "Cat6A"),
        ],
        &[pump("building", "Pump house")],
    ),
    // IEEE 802.3 clause 55; TIA-568.2-D: 100 m.
    case(
        "copper-length",
        1,
        L1,
        &[
            l1("interface", "10GBASE-T"),
            l1("medium", "Cat6A"),
            l1("length", "101 m"),
        ],
        &[l1("interface", "10GBASE-T"), l1("medium", "Cat6A")],
    ),
    // SFF-8431 and vendor practice: 7 m passive.
    case(
        "direct-attach-length",
        1,
        L1,
        &[
            l1("interface", "10GSFP+Cu"),
            l1("medium", "twinax passive"),
            l1("length", "8 m"),
        ],
        &[
            l1("interface", "10GSFP+Cu"),
            l1("medium", "twinax passive"),
            l1("length", "7 m"),
        ],
    ),
    // Common practice, no source.
    case(
        "distance-port",
        1,
        L1,
        &[north("access_speed", "10 Gb/s")],
        &[north("access_speed", "5 Gb/s")],
    ),
    // IEC 61300-3-35 and common practice; IEEE 802.3 clause 52: least launch -7.3 dBm.
    case(
        "light-low",
        1,
        L1,
        &[l1("measured_rx", "-10 dBm")],
        &[l1("measured_rx", "-9.15 dBm")],
    ),
    case(
        "light-low",
        2,
        L1,
        &[l1("far_measured_rx", "-9.2 dBm")],
        &[l1("far_measured_rx", "-9.15 dBm")],
    ),
    case(
        "light-low",
        3,
        L1,
        &[l1("measured_loss", "1.9 dB")],
        &[l1("measured_loss", "1.85 dB")],
    ),
    // Common practice, no source: 900 ft are 274 m, 1000 ft are 305 m.
    case(
        "unit-suspect",
        1,
        L1,
        &[l1("length", "900 m")],
        &[l1("length", "1000 m")],
    ),
    case(
        "unit-suspect",
        2,
        L1,
        &[l1("length", "0.3 m")],
        &[l1("length", "0.5 m")],
    ),
    // IEEE 802.3: a type has one speed.
    case(
        "speed-over-interface",
        1,
        L1,
        &[l1("speed", "25 Gb/s")],
        &[l1("speed", "10 Gb/s")],
    ),
    case(
        "speed-over-interface",
        2,
        L1,
        &[l1("speed", "1 Gb/s")],
        &[l1("speed", "10 Gb/s")],
    ),
    // Common practice, no source: a port takes one cable.
    case(
        "port-twice",
        1,
        L1,
        &[("links", "L2", "from_port", "u1")],
        &[
            ("links", "L2", "from_port", "u1"),
            ("links", "L2", "state", "out"),
        ],
    ),
    // Form factor standards and vendor practice.
    case(
        "cage-fit",
        1,
        L1,
        &[north("cage", "SFP")],
        &[north("cage", "SFP28")],
    ),
    case(
        "cage-fit",
        2,
        L1,
        &[pump("cage", "SFP")],
        &[pump("cage", "SFP28")],
    ),
    case(
        "cage-fit",
        3,
        L1,
        &[north("cage", "QSFP+")],
        &[north("cage", "SFP28")],
    ),
    case(
        "cage-fit",
        4,
        L1,
        &[pump("cage", "QSFP+")],
        &[pump("cage", "SFP28")],
    ),
    case(
        "cage-fit",
        5,
        L1,
        &[pump("cage_speed", "1 Gb/s")],
        &[pump("cage_speed", "10 Gb/s")],
    ),
    // Campus rule of thumb: 20 to 1 from access to distribution; the plan has two times 10 Gb/s.
    case(
        "ratio",
        1,
        NORTH,
        &[north("access_ports", "401")],
        &[north("access_ports", "400")],
    ),
    case(
        "worst-ratio",
        1,
        NORTH,
        &[north("access_ports", "201")],
        &[north("access_ports", "200")],
    ),
    case(
        "worst-ratio",
        2,
        NORTH,
        &[l1("members", "1")],
        &[l1("members", "2")],
    ),
    // Arithmetic.
    case(
        "ports-short",
        1,
        NORTH,
        &[north("access_ports", "0")],
        &[north("access_ports", "1")],
    ),
    case(
        "ports-short",
        2,
        NORTH,
        &[north("uplink_cages", "1")],
        &[north("uplink_cages", "2")],
    ),
    // ISO/IEC 11801 class E, four connections and 10 m of cords in a channel of 100 m.
    case(
        "pair-loss",
        1,
        L2,
        &[
            l2("length", "100 m"),
            l2("connections", "4"),
            l2("cords", "10.1 m"),
        ],
        &[l2("length", "100 m"), l2("connections", "4")],
    ),
    case(
        "pair-loss",
        2,
        L2,
        &[l2("length", "98 m"), l2("connections", "7")],
        &[l2("length", "98 m"), l2("connections", "4")],
    ),
    // IEEE 802.3 clause 110.
    case(
        "fec-differs",
        1,
        L1,
        &[l1("fec", "RS"), l1("far_fec", "none")],
        &[l1("fec", "RS")],
    ),
    case(
        "fec-differs",
        2,
        L1,
        &[
            l1("interface", "25GBASE-CR"),
            l1("medium", "twinax passive"),
            l1("fec", "BASE-R"),
        ],
        &[
            l1("interface", "25GBASE-CR"),
            l1("medium", "twinax passive"),
            l1("fec", "BASE-R"),
            l1("assembly", "CA-25G-S"),
        ],
    ),
    case(
        "direct-attach-length",
        2,
        L1,
        &[
            l1("interface", "25GBASE-CR"),
            l1("medium", "twinax passive"),
            l1("assembly", "CA-25G-S"),
            l1("length", "3.1 m"),
        ],
        &[
            l1("interface", "25GBASE-CR"),
            l1("medium", "twinax passive"),
            l1("assembly", "CA-25G-S"),
            l1("length", "3 m"),
        ],
    ),
    // IEEE 802.3 clauses 33 and 145: class 4 leaves 25.5 W after 100 m.
    case(
        "power-over",
        1,
        L2,
        &[l2("power_class", "4"), l2("length", "102 m")],
        &[l2("power_class", "4"), l2("length", "101 m")],
    ),
    case(
        "power-over",
        2,
        L1,
        &[l1("power_class", "3")],
        &[l1("power_class", "none")],
    ),
    case(
        "power-over",
        3,
        L2,
        &[l2("power_class", "7")],
        &[l2("power_class", "6")],
    ),
    case(
        "power-over",
        4,
        L2,
        &[l2("power_class", "9")],
        &[l2("power_class", "5")],
    ),
    case(
        "power-over",
        1,
        NORTH,
        &[l2("power_class", "4"), north("power_budget", "29.9 W")],
        &[l2("power_class", "4"), north("power_budget", "30 W")],
    ),
    // Vendor practice: flows fall on eight buckets, which three members cannot share evenly.
    case(
        "members",
        1,
        L1,
        &[l1("members", "2.5")],
        &[l1("members", "4")],
    ),
    case(
        "members",
        2,
        L1,
        &[l1("flow_rate", "11 Gb/s")],
        &[l1("flow_rate", "10 Gb/s")],
    ),
    case(
        "members",
        3,
        L1,
        &[l1("members", "3")],
        &[l1("members", "4")],
    ),
    // Common practice, no source: what cuts one cuts all.
    case(
        "shared-route",
        1,
        L1,
        &[
            l1("route", "north duct"),
            l2("route", "North duct"),
            l2("role", "uplink"),
        ],
        &[
            l1("route", "north duct"),
            l2("route", "south duct"),
            l2("role", "uplink"),
        ],
    ),
    case(
        "shared-route",
        2,
        L1,
        &[l1("route", "north duct")],
        &[l1("route", "north duct"), l2("role", "uplink")],
    ),
    // Form factor standards: an SFP+ cage is one lane.
    case(
        "breakout",
        1,
        L1,
        &[l1("from_cage", "c1"), l2("from_cage", "C1")],
        &[
            l1("from_cage", "c1"),
            l2("from_cage", "C1"),
            north("cage", "QSFP28"),
        ],
    ),
    case(
        "ports-short",
        3,
        NORTH,
        &[north("reserved_ports", "24")],
        &[north("reserved_ports", "23")],
    ),
    case(
        "ports-short",
        4,
        NORTH,
        &[north("reserved_cages", "3")],
        &[north("reserved_cages", "2")],
    ),
    // Uplinks that are blocked count as zero: 10 Gb/s carry, 30 Gb/s would.
    case(
        "standby-counted",
        1,
        NORTH,
        &[
            north("access_ports", "400"),
            l1("members", "1"),
            l2("role", "uplink"),
            l2("state", "standby"),
            l2("interface", "25GBASE-T"),
        ],
        &[
            north("access_ports", "400"),
            l1("members", "1"),
            l2("role", "uplink"),
            l2("state", "in service"),
            l2("interface", "25GBASE-T"),
        ],
    ),
    case(
        "standby-counted",
        2,
        NORTH,
        &[l1("state", "standby")],
        &[l1("state", "spare")],
    ),
    // Vendor data sheet: the two modules take 2 W.
    case(
        "hot-modules",
        1,
        NORTH,
        &[north("module_power_budget", "1.9 W")],
        &[north("module_power_budget", "2 W")],
    ),
    // Own parts list: two members need four modules.
    case(
        "parts-short",
        1,
        ("parts", "optic"),
        &[("parts", "optic", "on_hand", "3")],
        &[("parts", "optic", "on_hand", "4")],
    ),
    // The path from the hall to the pump house takes its one uplink.
    case(
        "path-cut",
        1,
        ("paths", "way"),
        &[l1("state", "out")],
        &[l1("state", "in service")],
    ),
    // 1.719 µs: a frame time of 1.214, a cable of 0.494, modules of 0.010 µs.
    case(
        "path-slow",
        1,
        ("paths", "way"),
        &[("paths", "way", "latency_limit", "1.71 µs")],
        &[("paths", "way", "latency_limit", "1.72 µs")],
    ),
    case(
        "path-narrow",
        1,
        ("paths", "way"),
        &[("paths", "way", "capacity_wanted", "21 Gb/s")],
        &[("paths", "way", "capacity_wanted", "20 Gb/s")],
    ),
    // Common practice, no source: what the eye takes for the same.
    case(
        "name-alike",
        1,
        ("links", "L-1"),
        &[("links", "L2", "id", "L-1")],
        &[("links", "L2", "id", "L-1b")],
    ),
];

/// An uplink of two members with room on every side, and a camera.
fn plan() -> Story {
    Story::new()
        .switch(
            "North hall",
            &[
                ("building", "Aquarium hall"),
                ("access_ports", "24"),
                ("access_speed", "1 Gb/s"),
                ("uplink_cages", "4"),
                ("cage", "SFP+"),
                ("cage_speed", "10 Gb/s"),
            ],
        )
        .switch(
            "Pump house",
            &[
                ("building", "Aquarium hall"),
                ("uplink_cages", "4"),
                ("cage", "SFP+"),
                ("cage_speed", "10 Gb/s"),
            ],
        )
        .link(
            "L1",
            &[
                ("from", "North hall"),
                ("from_port", "u1"),
                ("to", "Pump house"),
                ("to_port", "u1"),
                ("role", "uplink"),
                ("members", "2"),
                ("interface", "10GBASE-SR"),
                ("medium", "OM3"),
                ("length", "100 m"),
            ],
        )
        .link(
            "L2",
            &[
                ("from", "North hall"),
                ("from_port", "1"),
                ("to", "shark camera"),
                ("role", "access"),
                ("interface", "1000BASE-T"),
                ("medium", "Cat6"),
                ("length", "20 m"),
            ],
        )
        .row(
            "parts",
            "optic",
            &[("kind", "module"), ("interface", "10GBASE-SR")],
        )
        .row(
            "paths",
            "way",
            &[("from", "North hall"), ("to", "Pump house")],
        )
        .told()
}

fn changed(changes: &[Change]) -> Story {
    let mut story = plan();
    for (sheet, row, column, text) in changes {
        story.set(sheet, row, column, text);
    }
    story
}

#[test]
fn the_plan_that_is_changed_is_quiet() {
    let story = plan();
    assert_eq!(story.findings(), []);
    assert_eq!(story.verdict("L1"), "fits");
    assert_eq!(story.text("switches", "North hall", "verdict"), "fits");
}

#[test]
fn every_case_of_a_check_objects_and_lets_be() {
    for case in CASES {
        let name = format!("{} case {}", case.check, case.case);
        let (loud, quiet) = (changed(case.loud), changed(case.quiet));
        assert!(objects(&loud, case), "{name} does not object");
        let mut found = quiet.findings();
        found.retain(|finding| finding.check == case.check);
        assert_eq!(found, [], "{name} objects without need");
    }
}

/// Whether this very case of the check objects to its row.
fn objects(story: &Story, case: &Case) -> bool {
    let (sheet, id) = case.row;
    let listed = story.objections_at(sheet, id);
    let column = format!("found_{}_{}", case.check.replace('-', "_"), case.case);
    // The check of names is no formula, so it has no column.
    let by_hand = case.check == "name-alike";
    listed.iter().any(|check| check == case.check)
        && (by_hand || story.cell(sheet, id, &column) == Cell::Flag(true))
}

#[test]
fn no_case_of_a_check_is_forgotten() {
    let story = plan();
    let mut known: Vec<(String, usize)> = judged(story.plan())
        .cases
        .iter()
        .map(|case| (case.check.name.clone(), case.case + 1))
        .collect();
    known.push(("name-alike".to_owned(), 1));
    let mut listed: Vec<(String, usize)> = CASES
        .iter()
        .map(|case| (case.check.to_owned(), case.case))
        .collect();
    known.sort_unstable();
    listed.sort_unstable();
    assert_eq!(known, listed);
}

// The severities that the trade agrees on; a plan may change any of them.
#[test]
fn a_plan_may_make_a_check_milder_or_switch_it_off() {
    let far = |severity| {
        let mut story = plan().severity("reach", severity).told();
        story.set("links", "L1", "length", "301 m");
        (story.verdict("L1"), story.objections("L1"))
    };
    let caution = far(Some(Severity::Caution));
    assert_eq!(caution.0, "tight");
    assert!(caution.1.contains(&"reach".to_owned()), "{:?}", caution.1);
    let off = far(None);
    assert_eq!(off.0, "tight");
    assert!(!off.1.contains(&"reach".to_owned()), "{:?}", off.1);
}
