//! Twisted pair and twinax: published losses, delays and powers, and what cable and warmth do.

use super::story::{Cells, Story, unit_of};
use portledger::table::Cell;
use proptest::prelude::*;

/// A camera on twisted pair.
fn run(medium: &str, interface: &str, length: &str, more: Cells<'_>) -> Story {
    let cells = [
        &[
            ("from", "North hall"),
            ("to", "shark camera"),
            ("role", "access"),
            ("interface", interface),
            ("medium", medium),
            ("length", length),
        ],
        more,
    ]
    .concat();
    Story::new()
        .switch("North hall", &[("building", "Aquarium hall")])
        .link("L1", &cells)
        .told()
}

fn near(got: f64, expected: f64, within: f64, what: &str) {
    assert!(
        (got - expected).abs() <= within,
        "{what}: {got}, not {expected}"
    );
}

fn calc(story: &Story, formula: &str, unit: &str) -> f64 {
    match story.calc(formula) {
        Cell::Number(base) => unit_of(unit).from_base(base),
        other => panic!("`{formula}` is {other:?}"),
    }
}

// ISO/IEC 11801 channels of 100 m at 20 °C, as printed in "A closer look at Channel Insertion
// Loss", 10GBASE-T task force, March 2004; class EA and FA from memory.
#[test]
fn a_channel_of_a_hundred_metres_loses_what_its_class_allows() {
    let story = run("Cat6", "1000BASE-T", "100 m", &[]);
    for (category, frequency, loss) in [
        ("Cat5e", "100 MHz", 24.0),
        ("Cat6", "250 MHz", 35.9),
        ("Cat6", "100 MHz", 21.7),
        ("Cat6A", "500 MHz", 49.3),
        ("Cat7", "600 MHz", 54.6),
        ("Cat7A", "1000 MHz", 67.6),
    ] {
        for formula in [
            format!("pair_loss(\"{category}\", {frequency}, 100 m, 20 °C)"),
            // 90 m of cable and 10 m of cords that lose half more, over four connections.
            format!("pair_run(\"{category}\", {frequency}, 100 m, 10 m, 4, 20 °C)"),
        ] {
            near(calc(&story, &formula, "dB"), loss, 0.05, &formula);
        }
    }
    // TIA-568.2-D Category 8 cable, 100 m at 2000 MHz, from memory.
    let cable = "pair_run(\"Cat8\", 2000 MHz, 100 m, 0 m, 0, 20 °C)";
    near(calc(&story, cable, "dB"), 90.5, 0.05, cable);
}

// TIA-568-C.2 clause 6.4.7, quoted in an IEEE 802.3 task force message: 0.4 % a kelvin from 20 to
// 40 °C and 0.6 % from 40 to 60 °C without a screen, 0.2 % with one.
#[test]
fn warm_cable_loses_more_and_a_screen_halves_that() {
    let story = run("Cat6", "1000BASE-T", "100 m", &[]);
    for (temperature, plain, screened) in [
        ("-5 °C", 1.0, 1.0),
        ("20 °C", 1.0, 1.0),
        ("40 °C", 1.08, 1.04),
        ("50 °C", 1.14, 1.06),
        ("60 °C", 1.20, 1.08),
    ] {
        for (word, factor) in [("no", plain), ("yes", screened)] {
            let formula = format!("pair_warmth({temperature}, {word})");
            near(calc(&story, &formula, ""), factor, 1e-12, &formula);
        }
    }
    // Nobody says what happens above.
    assert_eq!(story.calc("pair_warmth(60.1 °C, no)"), Cell::Missing);
    let warm = |medium: &str| {
        let story = run(medium, "1000BASE-T", "100 m", &[("connections", "4")]);
        let story = story.assume("temperature", "40 °C").told();
        story.objections("L1").contains(&"pair-loss".to_owned())
    };
    assert!(warm("Cat6") && warm("Cat7"));
}

// TIA-568-C.2: the channel of 90 m and 10 m of cords at four connections is the limit itself.
#[test]
fn the_longest_channel_is_just_inside_its_own_limits() {
    let full = [("connections", "4")];
    for medium in ["Cat5e", "Cat6", "Cat6A", "Cat7", "Cat7A"] {
        let interface = if medium == "Cat7A" {
            "10GBASE-T"
        } else {
            "1000BASE-T"
        };
        let story = run(medium, interface, "100 m", &full);
        if story.is_missing("links", "L1", "reach") {
            continue;
        }
        assert_eq!(story.objections("L1"), Vec::<String>::new(), "{medium}");
        near(
            story.number("links", "L1", "pair_margin", "dB"),
            0.0,
            1e-9,
            medium,
        );
        near(
            story.number("links", "L1", "pair_delay", "ns"),
            story.number("links", "L1", "pair_delay_limit", "ns"),
            1e-9,
            medium,
        );
        let with = |more: Cells<'_>| run(medium, interface, "100 m", more).objections("L1");
        assert_eq!(with(&[("connections", "5")]), ["pair-loss"; 2], "{medium}");
        assert_eq!(
            with(&[("connections", "4"), ("cords", "11 m")]),
            ["pair-loss"],
            "{medium}"
        );
    }
}

// TIA-568.2-D and ISO/IEC 11801-1: 555 ns at 10 MHz and 548 ns at 100 MHz for a channel of
// 100 m; 50 ns of skew, 30 ns in class F. A printed table has 580, 555 and 548 ns.
#[test]
fn delay_and_skew_are_those_of_the_standard() {
    let story = run("Cat6", "1000BASE-T", "100 m", &[("connections", "4")]);
    for (frequency, delay) in [("1 MHz", 580.0), ("10 MHz", 555.0), ("100 MHz", 548.0)] {
        let formula = format!("0 ns + pair_delay({frequency}, 100 m) + 4 * 2.5 ns");
        near(calc(&story, &formula, "ns"), delay, 0.5, &formula);
    }
    near(
        story.number("links", "L1", "pair_skew", "ns"),
        50.0,
        1e-9,
        "Cat6",
    );
    let screened = run("Cat7", "1000BASE-T", "100 m", &[("connections", "4")]);
    near(
        screened.number("links", "L1", "pair_skew_limit", "ns"),
        30.0,
        1e-9,
        "Cat7",
    );
}

#[test]
fn nothing_is_said_beyond_the_frequency_of_the_category() {
    // 10GBASE-T needs 400 MHz, Category 6 is specified to 250 MHz.
    let story = run("Cat6", "10GBASE-T", "30 m", &[]);
    for column in ["pair_loss", "pair_limit", "pair_margin", "pair_delay"] {
        assert!(story.is_missing("links", "L1", column), "{column}");
    }
    assert_eq!(story.objections("L1"), Vec::<String>::new());
}

// IEEE 802.3 clauses 33 and 145, classes as printed in switch manuals: power at the switch, and
// what is left at the device after 100 m.
#[test]
fn every_power_class_arrives_over_a_hundred_metres_as_printed() {
    for (class, source, device) in [
        ("0", 15.4, 12.95),
        ("1", 4.0, 3.84),
        ("2", 7.0, 6.49),
        ("3", 15.4, 12.95),
        ("4", 30.0, 25.5),
        ("5", 45.0, 40.0),
        ("6", 60.0, 51.0),
        ("7", 75.0, 62.0),
        ("8", 90.0, 71.3),
    ] {
        let over = |length: &str| run("Cat6", "1000BASE-T", length, &[("power_class", class)]);
        let story = over("100 m");
        let watts = |column| story.number("links", "L1", column, "W");
        near(watts("supply_watts"), source, 0.0, class);
        near(watts("device_watts"), device, 0.1, class);
        let stopped = |story: &Story| {
            let found = story.findings_at("links", "L1");
            found.iter().any(|finding| {
                finding.check == "power-over"
                    && finding.severity == portledger::problem::Severity::Stop
            })
        };
        assert!(!stopped(&story), "class {class} at 100 m");
        assert!(stopped(&over("120 m")), "class {class} at 120 m");
    }
}

// IEEE 802.3 clause 33 and 145: 350 mA over two pairs of 20 ohm, 600 mA over 12.5 ohm.
#[test]
fn the_drop_is_current_times_the_loop() {
    for (class, current, drop) in [("3", 0.35, 7.0), ("4", 0.6, 7.5), ("6", 1.2, 7.5)] {
        let story = run("Cat6", "1000BASE-T", "100 m", &[("power_class", class)]);
        near(
            story.number("links", "L1", "power_current", "A"),
            current,
            1e-9,
            class,
        );
        near(
            story.number("links", "L1", "power_drop", "V"),
            drop,
            1e-9,
            class,
        );
    }
}

#[test]
fn a_switch_feeds_its_access_links_and_the_switch_below() {
    let link = |from, to, role, class| {
        [
            ("from", from),
            ("to", to),
            ("role", role),
            ("interface", "1000BASE-T"),
            ("medium", "Cat6"),
            ("length", "40 m"),
            ("power_class", class),
        ]
    };
    let story = Story::new()
        .switch("North hall", &[("power_budget", "120 W")])
        .switch("Otter pool", &[])
        .link("A1", &link("North hall", "shark camera", "access", "4"))
        .link("A2", &link("ray camera", "North hall", "access", "3"))
        .link("A3", &link("Otter pool", "North hall", "uplink", "6"))
        .link("A4", &link("North hall", "seal camera", "access", "none"))
        .link("A5", &link("North hall", "crab camera", "access", ""))
        .told();
    let drawn = |story: &Story| story.number("switches", "North hall", "power_drawn", "W");
    near(drawn(&story), 30.0 + 15.4 + 60.0, 1e-9, "fed");
    near(
        story.number("switches", "Otter pool", "power_drawn", "W"),
        0.0,
        0.0,
        "fed",
    );
    // A class that nobody knows makes the sum unknown, not smaller.
    let mut story = story;
    story.set("links", "A5", "power_class", "9");
    assert!(story.is_missing("switches", "North hall", "power_drawn"));
    assert_eq!(story.objections("A5"), ["power-over"]);
}

// One codeword at the line rate: 204.8 ns of RS(528,514) and 81.92 ns of Firecode at 25 Gb/s,
// 204.8 ns of Firecode in each lane of 10 Gb/s, 51.2 ns of RS at 100 Gb/s.
#[test]
fn the_entered_fec_takes_one_codeword() {
    for (interface, fec, delay) in [
        ("25GBASE-CR", "", 204.8),
        ("25GBASE-CR", "RS", 204.8),
        ("25GBASE-CR", "BASE-R", 81.92),
        ("25GBASE-CR", "none", 0.0),
        ("25GBASE-CR-S", "RS", 204.8),
        ("25GBASE-CR-S", "", 81.92),
        ("40GBASE-CR4", "BASE-R", 204.8),
        ("100GBASE-CR4", "RS", 51.2),
        ("10GSFP+Cu", "BASE-R", 204.8),
    ] {
        let story = run(
            "twinax passive",
            interface,
            "2 m",
            &[("fec", fec), ("far_fec", fec)],
        );
        let got = story.number("links", "L1", "correction", "ns");
        near(got, delay, 1e-9, &format!("{interface} with `{fec}`"));
    }
}

// IEEE 802.3 clause 110: CA-25G-N needs no FEC, CA-25G-S BASE-R, CA-25G-L RS; 3 m, 3 m and 5 m.
#[test]
fn a_loss_class_says_which_fec_and_which_length() {
    let found = |class, fec, length| {
        let cells = [("assembly", class), ("fec", fec), ("far_fec", fec)];
        run("twinax passive", "25GBASE-CR", length, &cells).objections("L1")
    };
    let none = Vec::<String>::new();
    for (class, fec, fine) in [
        ("CA-25G-N", "none", true),
        ("CA-25G-S", "none", false),
        ("CA-25G-S", "BASE-R", true),
        ("CA-25G-S", "RS", true),
        ("CA-25G-L", "BASE-R", false),
        ("CA-25G-L", "RS", true),
        // The class of the cable is not known: the interface speaks for it.
        ("", "none", false),
        ("", "", true),
    ] {
        let expected = if fine { vec![] } else { vec!["fec-differs"] };
        assert_eq!(found(class, fec, "3 m"), expected, "{class} with {fec}");
    }
    assert_eq!(found("CA-25G-N", "none", "4 m"), ["direct-attach-length"]);
    assert_eq!(found("CA-25G-L", "RS", "5 m"), none);
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 60, ..ProptestConfig::default() })]

    #[test]
    fn a_longer_run_never_loses_less_nor_feeds_more(
        medium in prop::sample::select(&["Cat5e", "Cat6", "Cat6A", "Cat7", "Cat8"][..]),
        interface in prop::sample::select(&["100BASE-TX", "1000BASE-T", "5GBASE-T", "10GBASE-T"][..]),
        class in 0..9_u8,
        temperature in -10..61_i32,
        length in 0..1_200_u32,
        cords in prop::option::of(0..40_u32),
        more in 1..400_u32,
    ) {
        let class = class.to_string();
        let cords = cords.map_or(String::new(), |cords| cords.to_string());
        let cells = [("power_class", &*class), ("cords", &*cords)];
        let mut story = run(medium, interface, &format!("{} m", f64::from(length) / 10.0), &cells)
            .assume("temperature", &format!("{temperature} °C")).told();
        let columns = ["pair_loss", "pair_delay", "pair_skew", "power_drop", "device_watts", "pair_margin"];
        let values = |story: &Story| columns.map(|column| story.cell("links", "L1", column));
        let before = values(&story);
        story.set("links", "L1", "length", &format!("{} m", f64::from(length + more) / 10.0));
        for (at, (before, after)) in before.into_iter().zip(values(&story)).enumerate() {
            match (before, after) {
                (Cell::Number(a), Cell::Number(b)) if at < 4 => prop_assert!(b >= a, "{}", columns[at]),
                (Cell::Number(a), Cell::Number(b)) => prop_assert!(b <= a, "{}", columns[at]),
                (a, b) => prop_assert_eq!(a, b),
            }
        }
    }
}
