//! Paths: the least latency against every way there is, what a hop adds, and what is said when
//! there is no way.

use super::story::{Cells, Story};
use portledger::table::{Cell, RowId};
use portledger::trade::why;
use proptest::prelude::*;

const PARTS: [&str; 5] = [
    "propagation",
    "conversion",
    "correction",
    "serialization",
    "forwarding",
];

fn near(got: f64, expected: f64, what: &str) {
    assert!(
        (got - expected).abs() < 1e-6,
        "{what}: {got}, not {expected}"
    );
}

fn link<'a>(
    from: &'a str,
    to: &'a str,
    interface: &'a str,
    medium: &'a str,
    length: &'a str,
) -> [(&'a str, &'a str); 5] {
    [
        ("from", from),
        ("to", to),
        ("interface", interface),
        ("medium", medium),
        ("length", length),
    ]
}

/// A camera, two switches and a store, with a slow way round.
fn campus(forwarding: &str) -> Story {
    let switch: Cells<'_> = &[("forwarding", forwarding), ("forwarding_delay", "2 µs")];
    Story::new()
        .switch("Reef", switch)
        .switch("Core", switch)
        .switch("Yard", switch)
        .link("C1", &link("Reef", "camera", "1000BASE-T", "Cat6", "50 m"))
        .link("U1", &link("Reef", "Core", "10GBASE-SR", "OM3", "200 m"))
        .link("U2", &link("Reef", "Yard", "1000BASE-SX", "OM3", "100 m"))
        .link("U3", &link("Yard", "Core", "1000BASE-SX", "OM3", "100 m"))
        .link(
            "S1",
            &link("Core", "store", "25GBASE-CR", "twinax passive", "3 m"),
        )
        .row("paths", "P1", &[("from", "camera"), ("to", "store")])
        .told()
}

fn micros(story: &Story, column: &str) -> f64 {
    story.number("paths", "P1", column, "µs")
}

// A frame of 1518 bytes: 12.144 µs at 1 Gb/s, 1.2144 at 10, 0.48576 at 25. Twisted pair at
// 62.5 MHz 5.3855 ns/m, OM3 by its group index of 1.482, twinax 4.5 ns/m; a PHY of 1000BASE-T
// 328 ns, two optical modules 10 ns, one codeword of RS-FEC 204.8 ns.
#[test]
fn a_path_is_the_sum_of_its_hops_by_cause() {
    let story = campus("store-and-forward");
    assert_eq!(story.text("paths", "P1", "taken"), "C1 > U1 > S1");
    near(story.number("paths", "P1", "hops", ""), 3.0, "hops");
    let fibre = 200.0 * 1.482 / 299.792458;
    let pair = 0.05 * (534.0 + 36.0 / 62.5_f64.sqrt()) / 100.0;
    near(
        micros(&story, "propagation"),
        pair + fibre + 3.0 * 0.0045,
        "propagation",
    );
    near(micros(&story, "conversion"), 0.328 + 0.01, "conversion");
    near(micros(&story, "correction"), 0.2048, "correction");
    near(
        micros(&story, "serialization"),
        12.144 + 1.2144 + 0.48576,
        "serialization",
    );
    near(micros(&story, "forwarding"), 4.0, "two switches");
    let sum: f64 = PARTS.iter().map(|part| micros(&story, part)).sum();
    near(micros(&story, "latency"), sum, "latency");
    near(
        story.number("paths", "P1", "capacity", "Gb/s"),
        1.0,
        "narrowest",
    );
    assert_eq!(story.text("paths", "P1", "verdict"), "fits");
}

// A cut-through switch falls back to taking frames in when the line out is faster; when it is no
// faster, only what the slower line adds is waited for.
#[test]
fn cut_through_saves_a_frame_time_only_towards_slower_lines() {
    let mut story = campus("cut-through");
    near(
        micros(&story, "serialization"),
        12.144 + 1.2144 + 0.48576,
        "up in speed",
    );
    story.set("paths", "P1", "from", "store");
    story.set("paths", "P1", "to", "camera");
    assert_eq!(story.text("paths", "P1", "taken"), "S1 > U1 > C1");
    near(micros(&story, "serialization"), 12.144, "down in speed");
    // One frame time less where one of the two takes frames in.
    story.set("switches", "Reef", "forwarding", "");
    near(
        micros(&story, "serialization"),
        1.2144 + 12.144,
        "one of two",
    );
}

#[test]
fn a_small_frame_takes_less() {
    let story = campus("store-and-forward").assume("frame", "64 B").told();
    near(
        micros(&story, "serialization"),
        0.512 + 0.0512 + 0.02048,
        "64 bytes",
    );
}

// With 64 bytes a codeword of RS-FEC (204.8 ns) is more than what 25 Gb/s save on 10 (30.7 ns).
#[test]
fn a_line_without_correction_may_be_the_faster_one() {
    let switch: Cells<'_> = &[("forwarding", "cut-through")];
    let twinax = link("Reef", "Core", "25GBASE-CR", "twinax passive", "3 m");
    let story = Story::new()
        .switch("Reef", switch)
        .switch("Core", switch)
        .link("F1", &twinax)
        .link("U1", &link("Reef", "Core", "10GBASE-SR", "OM3", "3 m"))
        .row("paths", "P1", &[("from", "Reef"), ("to", "Core")])
        .assume("frame", "64 B")
        .told();
    assert_eq!(story.text("paths", "P1", "taken"), "U1");
}

#[test]
fn via_leads_the_way() {
    let mut story = campus("store-and-forward");
    for (via, taken) in [
        ("Yard", "C1 > U2 > U3 > S1"),
        ("u3", "C1 > U2 > U3 > S1"),
        ("C1, Reef, U1", "C1 > U1 > S1"),
        (" yard ,core", "C1 > U2 > U3 > S1"),
        ("", "C1 > U1 > S1"),
    ] {
        story.set("paths", "P1", "via", via);
        assert_eq!(story.text("paths", "P1", "taken"), taken, "{via}");
        assert_eq!(story.objections_at("paths", "P1"), Vec::<String>::new());
    }
    for (via, word) in [("U9", "U9"), ("C1, C1", "by that way")] {
        story.set("paths", "P1", "via", via);
        let found = story.findings_at("paths", "P1");
        assert_eq!(
            found.len(),
            1,
            "{via}: {:?}",
            story.text("paths", "P1", "verdict")
        );
        assert!(found[0].sentence.contains(word), "{}", found[0].sentence);
        assert!(story.is_missing("paths", "P1", "latency"), "{via}");
    }
}

#[test]
fn a_cut_path_says_so_and_an_unknown_hop_is_unknown() {
    let mut story = campus("store-and-forward");
    let told = |story: &Story| {
        (
            story.text("paths", "P1", "verdict"),
            story.objections_at("paths", "P1"),
        )
    };
    // Without its length a link is taken only where there is no other way.
    story.set("links", "U1", "length", "");
    assert_eq!(story.text("paths", "P1", "taken"), "C1 > U2 > U3 > S1");
    story.set("links", "U3", "state", "out");
    assert_eq!(story.text("paths", "P1", "taken"), "C1 > U1 > S1");
    assert!(story.is_missing("paths", "P1", "latency"));
    assert!(!story.is_missing("paths", "P1", "serialization"));
    assert_eq!(told(&story), ("unknown".to_owned(), vec![]));
    for state in ["out", "spare", "standby"] {
        story.set("links", "U1", "state", state);
        assert_eq!(
            told(&story),
            ("fails".to_owned(), vec!["path-cut".to_owned()]),
            "{state}"
        );
    }
    story.set("links", "U1", "state", "");
    story.set("paths", "P1", "to", "");
    assert_eq!(told(&story), ("unknown".to_owned(), vec![]));
    for (to, word) in [
        ("camera", "both ends"),
        ("pump", "no link that carries traffic ends at"),
    ] {
        story.set("paths", "P1", "to", to);
        assert!(
            story.findings_at("paths", "P1")[0].sentence.contains(word),
            "{to}"
        );
    }
}

#[test]
fn only_switches_of_the_plan_pass_frames_on() {
    let mut story = campus("store-and-forward");
    story.set("links", "U1", "length", "20 km");
    let story = story
        .link("X1", &link("camera", "bridge", "10GBASE-SR", "OM3", "5 m"))
        .link("X2", &link("bridge", "store", "10GBASE-SR", "OM3", "5 m"));
    assert_ne!(story.text("paths", "P1", "taken"), "X1 > X2");
    let story = story.switch("bridge", &[]);
    assert_eq!(story.text("paths", "P1", "taken"), "X1 > X2");
}

#[test]
fn the_reason_goes_hop_by_hop() {
    let story = campus("cut-through");
    let (row, column) = (story.row_of("paths", "P1"), |name| {
        story.column("paths", name)
    });
    let lines = why(story.plan(), story.engine(), column("latency"), row)
        .lines()
        .join("\n");
    for part in [
        "C1 propagation: ",
        "U1 propagation: ",
        "S1 correction: ",
        "Reef own_delay: 2 µs",
        "Core own_delay: 2 µs",
        "group_index",
    ] {
        assert!(lines.contains(part), "no `{part}` in\n{lines}");
    }
    let taken = why(story.plan(), story.engine(), column("taken"), row)
        .lines()
        .join("\n");
    assert!(taken.contains("C1: camera to Reef"), "{taken}");
}

// Latency table: twinax 4.5 ns/m and no electronics; two optical modules 10 ns; a PHY of
// 10GBASE-T up to 2560 ns. One frame of 1518 bytes takes 1214.4 ns on each.
#[test]
fn on_the_same_run_only_twisted_pair_costs_more_than_nanoseconds() {
    let hop = |interface, medium| {
        let story = Story::new()
            .link("L1", &link("Reef", "Core", interface, medium, "5 m"))
            .told();
        let nanos = |column| story.number("links", "L1", column, "ns");
        near(nanos("serialization"), 1214.4, "one frame");
        nanos("propagation") + nanos("conversion") + nanos("correction")
    };
    let attached = hop("10GSFP+Cu", "twinax passive");
    let optics = hop("10GBASE-SR", "OM3");
    let pair = hop("10GBASE-T", "Cat6A");
    near(attached, 22.5, "direct attach");
    near(optics, 5.0 * 1.482 / 0.299792458 + 10.0, "optics");
    near(pair, 2560.0 + 0.05 * (534.0 + 36.0 / 20.0), "twisted pair");
    assert!(optics - attached < 15.0 && pair > 70.0 * optics);
}

/// A net told in words: switches that may cut through, links with speed and length.
#[derive(Debug, Clone)]
struct Told {
    cuts: Vec<bool>,
    links: Vec<(usize, usize, usize, u32)>,
}

const SPEEDS: [f64; 3] = [1.0, 10.0, 25.0];

fn net() -> impl Strategy<Value = Told> {
    let link = (0..5_usize, 0..5_usize, 0..3_usize, 0..4_000_u32);
    (
        prop::collection::vec(any::<bool>(), 5),
        prop::collection::vec(link, 1..9),
    )
        .prop_map(|(cuts, links)| Told { cuts, links })
}

impl Told {
    fn story(&self) -> Story {
        let words = ["store-and-forward", "cut-through"];
        let switch = |story: Story, (at, cuts): (usize, &bool)| {
            let forwarding = words[usize::from(*cuts)];
            story.switch(
                &format!("D{at}"),
                &[("forwarding", forwarding), ("forwarding_delay", "1 µs")],
            )
        };
        let story = self.cuts.iter().enumerate().fold(Story::new(), switch);
        let link = |story: Story, (at, link): (usize, &(usize, usize, usize, u32))| {
            let (from, to) = (format!("D{}", link.0), format!("D{}", link.1));
            let (speed, length) = (format!("{} Gb/s", SPEEDS[link.2]), format!("{} m", link.3));
            story.link(
                &format!("L{at}"),
                &[
                    ("from", &from),
                    ("to", &to),
                    ("interface", "10GBASE-LR"),
                    ("speed", &speed),
                    ("medium", "OS2"),
                    ("length", &length),
                ],
            )
        };
        let story = self.links.iter().enumerate().fold(story, link);
        story
            .row("paths", "P1", &[("from", "D0"), ("to", "D1")])
            .told()
    }

    /// Adds a link to a way: its time so far and the frame time of the last link.
    fn time(&self, way: &[(usize, usize)]) -> f64 {
        let mut total = 0.0;
        let mut before: Option<f64> = None;
        let mut device = 0;
        for (link, to) in way {
            let (_, _, speed, length) = self.links[*link];
            let frame = 12.144 / SPEEDS[speed];
            total += f64::from(length) * 1.467 / 299.792458 + 0.01;
            total += match before {
                Some(before) if self.cuts[device] && frame >= before => frame - before + 1.0,
                Some(_) => frame + 1.0,
                None => frame,
            };
            before = Some(frame);
            device = *to;
        }
        total
    }

    /// The least time over every way that takes no link twice.
    fn least(&self, way: &mut Vec<(usize, usize)>, device: usize) -> Option<f64> {
        if device == 1 {
            return Some(self.time(way));
        }
        let mut least: Option<f64> = None;
        for (at, (from, to, _, _)) in self.links.iter().enumerate() {
            if from == to
                || way.iter().any(|(link, _)| *link == at)
                || (*from != device && *to != device)
            {
                continue;
            }
            let next = if *from == device { *to } else { *from };
            way.push((at, next));
            if let Some(time) = self.least(way, next) {
                least = Some(least.map_or(time, |known| known.min(time)));
            }
            way.pop();
        }
        least
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 120, ..ProptestConfig::default() })]

    #[test]
    fn no_way_is_faster_than_the_one_taken(told in net()) {
        let story = told.story();
        match told.least(&mut Vec::new(), 0) {
            Some(time) => {
                let got = micros(&story, "latency");
                prop_assert!((got - time).abs() < 1e-6, "{} by {}, not {}", got, story.text("paths", "P1", "taken"), time);
            }
            None => prop_assert_eq!(story.text("paths", "P1", "verdict"), "fails"),
        }
    }

    // A network that takes every frame in costs the same both ways.
    #[test]
    fn the_way_back_takes_as_long(mut told in net()) {
        told.cuts = vec![false; 5];
        let mut story = told.story();
        let there = story.cell("paths", "P1", "latency");
        story.set("paths", "P1", "from", "D1");
        story.set("paths", "P1", "to", "D0");
        match (there, story.cell("paths", "P1", "latency")) {
            (Cell::Number(a), Cell::Number(b)) => prop_assert!((a - b).abs() < 1e-15),
            (a, b) => prop_assert_eq!(a, b),
        }
    }

    // A longer cable, or one link less, never makes the best way faster.
    #[test]
    fn less_of_a_network_is_never_faster(told in net(), at in any::<prop::sample::Index>(), longer in any::<bool>()) {
        let mut story = told.story();
        let before = story.cell("paths", "P1", "latency");
        let id = format!("L{}", at.index(told.links.len()));
        let (column, text) = if longer { ("length", "9 km") } else { ("state", "out") };
        story.set("links", &id, column, text);
        match (before, story.cell("paths", "P1", "latency")) {
            (Cell::Number(before), Cell::Number(after)) => prop_assert!(after >= before - 1e-15),
            (before, after) => prop_assert!(after == Cell::Missing || before == after),
        }
    }
}

#[test]
fn a_plan_without_paths_never_looks_for_any() {
    let mut story = campus("cut-through");
    story.remove("paths", "P1");
    let engine = story.engine();
    let taken = story.column("paths", "taken");
    assert_eq!(engine.cell(story.plan(), taken, RowId(0)), Cell::Missing);
    let mut bare = Story::new()
        .link("L1", &link("Reef", "Core", "10GBASE-SR", "OM3", "5 m"))
        .told();
    bare.set("links", "L1", "length", "6 m");
    let taken = bare.column("paths", "taken");
    let looked = bare
        .engine()
        .trace()
        .iter()
        .any(|step| step.column == taken);
    assert!(!looked);
}

#[test]
fn of_ways_that_take_as_long_the_one_of_fewest_links_is_taken() {
    let uplink = |from, to, length| link(from, to, "1000BASE-SX", "OM3", length);
    // A cable of negative length takes no time, so both ways take that of one cable of 100 m.
    let story = Story::new()
        .switch("Reef", &[])
        .switch("Yard", &[])
        .switch("Core", &[])
        .link("U1", &uplink("Reef", "Yard", "100 m"))
        .link("U2", &uplink("Yard", "Core", "-1000 km"))
        .link("U3", &uplink("Reef", "Core", "100 m"))
        .row("paths", "P1", &[("from", "Reef"), ("to", "Core")])
        .told();
    assert_eq!(story.text("paths", "P1", "taken"), "U3");
}
