//! Every case of every check: a plan that it objects to, and a plan just inside that it lets be.
//!
//! Both are one quiet plan with a few cells changed.

use super::story::Story;
use portledger::plan::Edit;
use portledger::problem::Severity;
use portledger::sheet::{CaseDef, CheckDef, ColumnDef, ColumnKind};
use portledger::table::Cell;
use portledger::trade::{engine, find_all, judged};

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
const M1: (&str, &str) = ("modules", "M1");
const L2: (&str, &str) = ("links", "L2");
const L3: (&str, &str) = ("links", "L3");
const S1: (&str, &str) = ("segments", "S1");
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

/// A change of the link that has two segments.
const fn l3(column: &'static str, text: &'static str) -> Change {
    ("links", "L3", column, text)
}

/// A change of its first segment, of 40 m.
const fn s1(column: &'static str, text: &'static str) -> Change {
    ("segments", "S1", column, text)
}

/// A change of its second segment, of 50 m.
const fn s2(column: &'static str, text: &'static str) -> Change {
    ("segments", "S2", column, text)
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

/// A change of the module at the near end of that link.
const fn m1(column: &'static str, text: &'static str) -> Change {
    ("modules", "M1", column, text)
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
    // NFPA 70 article 770: OFC has metal in its sheath, OFN has none.
    case(
        "between-buildings",
        2,
        L1,
        &[pump("building", "Pump house"), l1("rating", "OFCR")],
        &[pump("building", "Pump house"), l1("rating", "OFNR")],
    ),
    case(
        "between-buildings",
        3,
        L2,
        &[("links", "L2", "space", "between buildings")],
        &[("links", "L2", "space", "riser")],
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
    // IEEE 802.3: what runs on single-mode fibre does not run on OM3.
    case(
        "module-differs",
        1,
        M1,
        &[m1("interface", "10GBASE-LR")],
        &[m1("interface", "10GBASE-SR")],
    ),
    // On the medium of the link, but not with its other end.
    case(
        "module-differs",
        2,
        M1,
        &[m1("interface", "10GBASE-LRM")],
        &[m1("interface", "10GBASE-SR")],
    ),
    // The same as the module at the other end.
    case(
        "module-differs",
        3,
        M1,
        &[
            m1("interface", "10GBASE-LRM"),
            ("modules", "M2", "interface", "10GBASE-LRM"),
        ],
        &[m1("interface", "10GBASE-SR")],
    ),
    case(
        "module-differs",
        4,
        M1,
        &[
            m1("interface", ""),
            m1("could_be", "10GBASE-LR, 10GBASE-LRM"),
        ],
        &[
            m1("interface", ""),
            m1("could_be", "10GBASE-SR, 10GBASE-LRM"),
        ],
    ),
    // SFF-8472: thresholds are passed above the high and below the low one.
    case(
        "module-alarm",
        1,
        M1,
        &[m1("rx_state", "no light"), m1("rx_power", "")],
        &[m1("rx_state", "light")],
    ),
    case(
        "module-alarm",
        2,
        M1,
        &[m1("rx_power", "-12.001 dBm")],
        &[m1("rx_power", "-12 dBm")],
    ),
    case(
        "module-alarm",
        3,
        M1,
        &[m1("rx_power", "0.501 dBm")],
        &[m1("rx_power", "0.5 dBm")],
    ),
    case(
        "module-alarm",
        4,
        M1,
        &[m1("alarms", "bias high")],
        &[m1("alarms", "")],
    ),
    // SFF-8472 CC_BASE and CC_EXT.
    case(
        "module-checksum",
        1,
        M1,
        &[m1("checksum", "differs")],
        &[m1("checksum", "matches")],
    ),
    // Segments: two of 40 m and 50 m, and the tables have no LRM on OM4.
    case(
        "reach",
        4,
        L3,
        &[l3("interface", "10GBASE-LRM"), s1("medium", "OM4")],
        &[l3("interface", "10GBASE-LRM")],
    ),
    // Two halves of a pair of one's own: one fibre, both at 1270 nm.
    case(
        "bidi-pair",
        2,
        L1,
        &[l1("interface", "tide lamp"), l1("medium", "OS2")],
        &[
            l1("interface", "tide lamp"),
            l1("far_interface", "tide lamp up"),
            l1("medium", "OS2"),
        ],
    ),
    // IEC 60793-2: cores of 9, 50 and 62.5 µm.
    case(
        "fibre-mix",
        1,
        L3,
        &[s1("medium", "OS2")],
        &[s1("medium", "OM4")],
    ),
    case(
        "fibre-mix",
        2,
        L3,
        &[s1("medium", "OM1")],
        &[s1("medium", "OM2")],
    ),
    // IEC 61755: the quiet plan changes from flat to angled and back inside two cords.
    case(
        "polish-mix",
        1,
        L3,
        &[
            l3("polish", "UPC"),
            l3("far_polish", "UPC"),
            s1("polish", "UPC"),
            s2("polish", "APC"),
        ],
        &[
            l3("polish", "UPC"),
            l3("far_polish", "PC"),
            s1("polish", "PC"),
            s1("far_polish", "APC"),
            s2("polish", "APC"),
            s2("far_polish", "UPC"),
        ],
    ),
    case(
        "polish-mix",
        2,
        L3,
        &[l3("polish", "UPC"), s2("polish", "APC")],
        &[l3("polish", "UPC"), s2("polish", "PC")],
    ),
    // TIA-568.3-D: an odd number of turns; IEC 61754-7: pins meet holes.
    case(
        "polarity",
        1,
        L3,
        &[s1("polarity", "A-to-B"), s2("polarity", "A-to-B")],
        &[s1("polarity", "A-to-B"), s2("polarity", "A-to-A")],
    ),
    case(
        "polarity",
        2,
        L3,
        &[
            l3("interface", "40GBASE-SR4"),
            s1("polarity", "array B"),
            s2("polarity", "array B"),
        ],
        &[
            l3("interface", "40GBASE-SR4"),
            s1("polarity", "array A"),
            s2("polarity", "array B"),
        ],
    ),
    case(
        "polarity",
        3,
        L3,
        &[
            l3("interface", "40GBASE-SR4"),
            s1("gender", "unpinned"),
            s2("gender", "unpinned"),
        ],
        &[
            l3("interface", "40GBASE-SR4"),
            s1("gender", "unpinned"),
            s2("gender", "pinned"),
            s2("far_gender", "unpinned"),
        ],
    ),
    case(
        "polarity",
        4,
        L3,
        &[s1("polarity", "array A"), s2("polarity", "array B")],
        &[s1("polarity", "A-to-A"), s2("polarity", "array B")],
    ),
    // IEEE 802.3 clause 38: 1000BASE-LX on 50 µm fibre older than OM3.
    case(
        "mode-conditioning",
        1,
        L1,
        &[
            l1("interface", "1000BASE-LX"),
            l1("medium", "OM2"),
            l1("conditioning", "one end"),
        ],
        &[
            l1("interface", "1000BASE-LX"),
            l1("medium", "OM2"),
            l1("conditioning", "both ends"),
        ],
    ),
    case(
        "mode-conditioning",
        2,
        L1,
        &[l1("interface", "1000BASE-LX"), l1("medium", "OM2")],
        &[l1("interface", "1000BASE-LX"), l1("medium", "OM3")],
    ),
    // NFPA 70 articles 770 and 800: plenum over riser over general.
    case(
        "space-rating",
        1,
        L1,
        &[l1("space", "plenum"), l1("rating", "OFNR")],
        &[l1("space", "riser"), l1("rating", "OFNP")],
    ),
    case(
        "space-rating",
        2,
        L3,
        &[l3("rating", "OFN"), s1("space", "riser")],
        &[l3("rating", "OFN"), s1("space", "general")],
    ),
    case(
        "space-rating",
        3,
        L1,
        &[l1("space", "plenum"), l1("rating", "LSZH")],
        &[l1("space", "plenum"), l1("rating", "CMP")],
    ),
    // IEEE 802.3 clause 52: 6.3 ps/(nm km) at 1260 nm, 65 ps/nm.
    case(
        "dispersion",
        1,
        L1,
        &[
            l1("interface", "10GBASE-LR"),
            l1("medium", "OS2"),
            l1("length", "10.5 km"),
        ],
        &[
            l1("interface", "10GBASE-LR"),
            l1("medium", "OS2"),
            l1("length", "10 km"),
        ],
    ),
    // TIA-568.3-D, ISO/IEC 11801-1: 100 m of 3.5 dB/km and two pairs of 0.75 dB.
    case(
        "loss-high",
        1,
        L1,
        &[l1("measured_loss", "1.9 dB")],
        &[l1("measured_loss", "1.85 dB")],
    ),
    // Common practice, no source: 1.5 dB.
    case(
        "light-drift",
        1,
        L3,
        &[("readings", "R2", "rx", "-4.6 dBm")],
        &[("readings", "R2", "rx", "-4.5 dBm")],
    ),
    case(
        "reading-missing",
        1,
        L1,
        &[l1("state", "in service")],
        &[l1("state", "in service"), l1("far_measured_rx", "-3 dBm")],
    ),
    case(
        "length-differs",
        1,
        L3,
        &[l3("length", "91 m")],
        &[l3("length", "90 m")],
    ),
    case(
        "segment-lost",
        1,
        S1,
        &[s1("link", "L9")],
        &[s1("link", "l3")],
    ),
    case(
        "segment-medium",
        1,
        S1,
        &[s1("medium", "OM9")],
        &[s1("medium", "om3")],
    ),
    case(
        "reading-lost",
        1,
        ("readings", "R1"),
        &[("readings", "R1", "link", "L9")],
        &[("readings", "R1", "link", "L1")],
    ),
    case(
        "reading-lost",
        2,
        ("readings", "R1"),
        &[("readings", "R1", "date", "1 March")],
        &[("readings", "R1", "date", "2031-02-28")],
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
            north("cage_speed", ""),
        ],
    ),
    // Form factor standards: a QSFP+ cage of 40 Gb/s has four lanes of 10 Gb/s.
    case(
        "breakout",
        2,
        L1,
        &[
            l1("from_cage", "c1"),
            l1("interface", "25GBASE-SR"),
            north("cage", "QSFP+"),
            north("cage_speed", "40 Gb/s"),
        ],
        &[
            l1("from_cage", "c1"),
            l1("interface", "25GBASE-SR"),
            north("cage", "QSFP28"),
            north("cage_speed", "100 Gb/s"),
        ],
    ),
    case(
        "breakout",
        3,
        L1,
        &[
            l1("from_cage", "c1"),
            north("cage", "QSFP28"),
            north("cage_speed", "100 Gb/s"),
        ],
        &[
            l1("from_cage", "c1"),
            north("cage", "QSFP+"),
            north("cage_speed", "40 Gb/s"),
        ],
    ),
    // IEC 61300-3-35: every face is inspected, and what fails is not mated.
    case(
        "faces",
        1,
        L3,
        &[s2("far_face", "failed")],
        &[s2("far_face", "passed")],
    ),
    case(
        "faces",
        2,
        L1,
        &[
            l1("state", "in service"),
            l1("near_face", "passed"),
            l1("far_face", "cleaned"),
        ],
        &[
            l1("state", "in service"),
            l1("near_face", "passed"),
            l1("far_face", "passed"),
        ],
    ),
    // Common practice, no source: 1.5 dB.
    case(
        "laser-fades",
        1,
        ("readings", "R2"),
        &[
            ("readings", "R1", "tx", "-2 dBm"),
            ("readings", "R2", "tx", "-3.6 dBm"),
        ],
        &[
            ("readings", "R1", "tx", "-2 dBm"),
            ("readings", "R2", "tx", "-3.5 dBm"),
        ],
    ),
    // Own entries: names of makers compare without case.
    case(
        "module-coding",
        1,
        M1,
        &[north("coding", "Tide"), m1("coding", "Ebb")],
        &[north("coding", "Tide"), m1("coding", "tide")],
    ),
    case(
        "module-coding",
        2,
        M1,
        &[north("coding", "Tide")],
        &[north("coding", "any")],
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
    // Two ports of which one is a jack and a cage: two places, three are taken.
    case(
        "ports-short",
        5,
        NORTH,
        &[
            north("access_ports", "1"),
            north("uplink_cages", "2"),
            north("combo_ports", "1"),
        ],
        &[
            north("access_ports", "1"),
            north("uplink_cages", "3"),
            north("combo_ports", "1"),
        ],
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
    // Vendor practice: two modules for twisted pair, of 2.9 W each, in ports that follow each other.
    case(
        "hot-modules",
        1,
        L2,
        &[
            l1("interface", "10GBASE-T"),
            l1("medium", "Cat6A"),
            l1("module", "SFP+"),
            l1("from_port", "u1"),
            l2("interface", "10GBASE-T"),
            l2("medium", "Cat6A"),
            l2("module", "SFP+"),
            l2("from_port", "u2"),
        ],
        &[
            l1("interface", "10GBASE-T"),
            l1("medium", "Cat6A"),
            l1("module", "SFP+"),
            l1("from_port", "u1"),
            l2("interface", "10GBASE-T"),
            l2("medium", "Cat6A"),
            l2("module", "SFP+"),
            l2("from_port", "u3"),
        ],
    ),
    // Own parts list: two members and a link of segments need six modules.
    case(
        "parts-short",
        1,
        ("parts", "optic"),
        &[("parts", "optic", "on_hand", "5")],
        &[("parts", "optic", "on_hand", "6")],
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

/// An uplink of two members with room on every side and its modules, and a camera.
/// Light that the near end of the link with segments received.
fn reading(date: &str) -> [(&str, &str); 3] {
    [("link", "L3"), ("date", date), ("rx", "-3 dBm")]
}

/// One half of a pair on one fibre that names no other half.
fn half(wavelength: &str) -> [(&str, &str); 4] {
    [
        ("speed", "10 Gb/s"),
        ("fibres", "1"),
        ("carriers", "single-mode"),
        ("wavelength", wavelength),
    ]
}

/// An uplink of two members with room on every side, a camera, and a link of two segments.
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
            "modules",
            "M1",
            &[
                ("link", "L1"),
                ("end", "near"),
                ("interface", "10GBASE-SR"),
                ("rx_power", "-4 dBm"),
                ("rx_state", "light"),
                ("rx_alarm_low", "-12 dBm"),
                ("rx_alarm_high", "0.5 dBm"),
            ],
        )
        .row(
            "modules",
            "M2",
            &[("link", "L1"), ("end", "far"), ("interface", "10GBASE-SR")],
        )
        .link(
            "L3",
            &[
                ("from", "kelp lab"),
                ("to", "plant room"),
                ("interface", "10GBASE-SR"),
                ("medium", "OM3"),
            ],
        )
        .row(
            "segments",
            "S1",
            &[("link", "L3"), ("order", "1"), ("length", "40 m")],
        )
        .row(
            "segments",
            "S2",
            &[("link", "L3"), ("order", "2"), ("length", "50 m")],
        )
        .row("readings", "R1", &reading("2031-03-01"))
        .row("readings", "R2", &reading("2031-09-01"))
        .row("interfaces", "tide lamp", &half("1270"))
        .row("interfaces", "tide lamp up", &half("1330"))
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

#[test]
fn a_check_of_a_plan_looks_at_the_rows_of_its_sheet_alone() {
    let own = |name: &str| CheckDef {
        name: name.to_owned(),
        doc: "Rows with a name.".to_owned(),
        source: "our own rule".to_owned(),
        cases: vec![CaseDef {
            when: "is_given(id)".to_owned(),
            severity: Severity::Note,
            say: "{id} has a name".to_owned(),
            advise: String::new(),
        }],
    };
    let story = Story::new()
        .switch("North hall", &[])
        .switch("Pump house", &[])
        .link("L1", &[])
        .row("parts", "P1", &[]);
    let mut plan = story.plan().clone();
    // The same formula would find a row in any sheet.
    for (sheet, name) in [
        ("switches", "named"),
        ("links", "tied"),
        ("switches", "known"),
    ] {
        plan.own_checks.push((sheet.to_owned(), own(name)));
    }
    let engine = engine(&plan);
    assert_eq!(engine.problems().count(), 0);
    let found = find_all(&plan, &engine, usize::MAX).list;
    let of = |check: &str| {
        let found = found.iter().filter(|finding| finding.check == check);
        let told = found.map(|finding| (finding.sheet, finding.sentence.as_str()));
        told.collect::<Vec<_>>()
    };
    let (links, switches) = (story.sheet("links"), story.sheet("switches"));
    let halls = [
        (switches, "North hall has a name"),
        (switches, "Pump house has a name"),
    ];
    assert_eq!(of("named"), halls);
    assert_eq!(of("known"), halls);
    assert_eq!(of("tied"), [(links, "L1 has a name")]);
}

#[test]
fn a_sheet_that_says_only_half_of_a_verdict_has_none() {
    let half = |name: &str| ColumnDef {
        name: name.to_owned(),
        title: name.to_owned(),
        doc: "An own column.".to_owned(),
        unit: String::new(),
        kind: ColumnKind::Flag,
        choices: Vec::new(),
        to: None,
        formula: Some("not is_given(id)".to_owned()),
        decimals: None,
        source: String::new(),
        quiet: false,
    };
    let with = |names: &[&str]| {
        let mut story = Story::new().row("parts", "P1", &[]);
        let sheet = story.sheet("parts");
        for name in names {
            let def = half(name);
            story.apply(Edit::AddColumn { sheet, def });
        }
        let story = story.told();
        let problems: Vec<_> = story.engine().problems().collect();
        assert!(problems.is_empty(), "{problems:?}");
        story.engine().find_column(sheet, "verdict").is_some()
    };
    assert!(!with(&[]));
    assert!(!with(&["is_tight"]));
    assert!(!with(&["is_unknown"]));
    assert!(with(&["is_unknown", "is_tight"]));
}
