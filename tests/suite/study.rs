//! What if: failures, sweeps, options, growth and orders, against worked examples, closed forms
//! and plans in which the thing really is so.

use crate::story::{Story, unit_of};
use portledger::files::plan_file;
use portledger::plan::{Edit, Entry, Plan};
use portledger::study::Look;
use portledger::study::curve::svg;
use portledger::study::failures::{
    self, Asked, Failures, Harm, Kind, Out, PathHarm, RatioHarm, failures,
};
use portledger::study::growth::{Thing, growth, year_of};
use portledger::study::labels::{is_safe, labels};
use portledger::study::options::{Criterion, Standing, options};
use portledger::study::order::{Family, OrderList, order_list, short_order_list};
use portledger::study::sweep::{self, Axis, Knob, Swept, Watch, sweep};
use portledger::table::{Cell, RowId};
use portledger::trade;
use proptest::prelude::*;
use proptest::sample::select;
use std::collections::{BTreeMap, BTreeSet};

fn tried(plan: &Plan, asked: &Asked) -> Failures {
    failures(plan, &trade::engine(plan), asked).unwrap()
}

fn only(kind: Kind) -> Asked {
    Asked {
        kinds: vec![kind],
        ..Asked::default()
    }
}

/// A leaf with uplinks of one speed, each a link of its own, and a target for its ratio.
fn leaf(ports: &str, speed: &str, n_uplinks: usize, uplink: &str, target: &str) -> Story {
    let story = Story::new()
        .assume("ratio_access", target)
        .switch("leaf", &[("access_ports", ports), ("access_speed", speed)])
        .switch("spine", &[]);
    let cells = [
        ("from", "leaf"),
        ("to", "spine"),
        ("role", "uplink"),
        ("speed", uplink),
    ];
    (0..n_uplinks)
        .fold(story, |story, at| story.link(&format!("up{at}"), &cells))
        .told()
}

/// Ratios that were published, normal and with one uplink out.
#[test]
fn published_ratios_break_with_one_uplink_out() {
    let cases = [
        // M. Lyons and C. Zolotow, IBM, Converged networking: over-subscription ratio: 48 x 10G
        // over 4 x 40G is 3 to 1; over three of them it is 4 to 1.
        (("48", "10 Gb/s", 4, "40 Gb/s"), 3.0, 4.0),
        // it-tuff weblog, Oversubscription (network): 46 x 1G over 2 x 1G is 23 to 1.
        (("46", "1 Gb/s", 2, "1 Gb/s"), 23.0, 46.0),
        // Who needs 16 uplinks? Welcome to 10GE world: 48 x 10G over 16 x 10G is 3 to 1.
        (("48", "10 Gb/s", 16, "10 Gb/s"), 3.0, 48.0 / 15.0),
    ];
    for ((ports, speed, n, uplink), before, after) in cases {
        let story = leaf(ports, speed, n, uplink, &format!("{before}"));
        let found = tried(story.plan(), &only(Kind::Link));
        assert_eq!((found.n_tried, found.harms.len()), (n, n));
        for harm in &found.harms {
            let [ratio] = &harm.ratios[..] else {
                panic!("{harm:?}");
            };
            assert!((ratio.before.unwrap() - before).abs() < 1e-9);
            assert!((ratio.after.unwrap() - after).abs() < 1e-9);
            assert!(harm.cut_off.is_empty());
        }
        // Just at the target it is kept.
        let kept = leaf(ports, speed, n, uplink, &format!("{after}"));
        assert!(tried(kept.plan(), &only(Kind::Link)).harms.is_empty());
    }
}

#[test]
fn a_bundle_loses_one_member_and_a_single_cable_has_none_to_lose() {
    let story = leaf("40", "10 Gb/s", 1, "100 Gb/s", "4");
    assert_eq!(tried(story.plan(), &only(Kind::Member)).n_tried, 0);
    let mut story = story;
    story.set("links", "up0", "members", "2");
    let story = story.told();
    let found = tried(story.plan(), &only(Kind::Member));
    // 400 over 200 Gb/s is 2 to 1, over 100 it is 4 to 1, which is the target.
    assert_eq!((found.n_tried, found.harms.len()), (1, 0));
    let link = tried(story.plan(), &only(Kind::Link));
    assert_eq!(link.harms[0].cut_off, [story.row_of("switches", "leaf")]);
}

#[test]
fn what_stands_by_takes_over_and_is_told() {
    let mut story = leaf("48", "1 Gb/s", 2, "1 Gb/s", "20");
    story.set("links", "up1", "state", "standby");
    let story = story.told();
    let found = tried(story.plan(), &only(Kind::Link));
    // 48 to 1 before as well, so nothing gets worse by it.
    assert_eq!((found.n_tried, found.harms.len()), (2, 0));
    let mut wide = leaf("48", "1 Gb/s", 2, "10 Gb/s", "20");
    wide.set("links", "up1", "state", "standby");
    wide.set("links", "up1", "speed", "1 Gb/s");
    let wide = wide.told();
    let found = tried(wide.plan(), &only(Kind::Link));
    let ratio = &found.harms[0].ratios[0];
    assert_eq!((ratio.after, ratio.by_standby), (Some(48.0), true));
    assert!(found.harms[0].cut_off.is_empty());
    let said = failures::said(wide.plan(), wide.engine(), &found.harms[0]);
    let wanted = "leaf has a ratio of 48 to 1, by what stands by; 4.8 to 1 today, target 20 to 1";
    assert_eq!(said[0].text, wanted);
}

#[test]
fn a_switch_out_cuts_off_what_hangs_on_it_alone() {
    let up = |from, to| {
        [
            ("from", from),
            ("to", to),
            ("role", "uplink"),
            ("speed", "10 Gb/s"),
        ]
    };
    let story = ["core", "hall", "lab", "tank"]
        .iter()
        .fold(Story::new(), |story, id| story.switch(id, &[]))
        .link("h", &up("hall", "core"))
        .link("l", &up("lab", "core"))
        .link("t", &up("tank", "hall"))
        .link(
            "t2",
            &[("from", "tank"), ("to", "lab"), ("speed", "1 Gb/s")],
        )
        .told();
    let found = tried(story.plan(), &only(Kind::Switch));
    let cut = |id: &str| {
        let row = story.row_of("switches", id);
        let harm = found.harms.iter().find(|harm| harm.out == Out::Switch(row));
        let cut = harm.map_or(&[][..], |harm| &harm.cut_off);
        cut.iter()
            .map(|row| story.plan().id(story.sheet("switches"), *row))
            .collect::<Vec<_>>()
    };
    assert_eq!(cut("core"), ["hall", "lab", "tank"]);
    assert!(
        cut("hall").is_empty(),
        "the tank still has its way through the lab"
    );
    assert!(cut("tank").is_empty());
    // Both ways of the tank at once: only a pair does that.
    let pairs = Asked {
        pairs: true,
        ..only(Kind::Link)
    };
    let found = tried(story.plan(), &pairs);
    let both = |harm: &&Harm| matches!(harm.out, Out::Pair(..));
    let pairs: Vec<&Harm> = found.harms.iter().filter(both).collect();
    let tank = story.row_of("switches", "tank");
    assert!(pairs.iter().any(|harm| harm.cut_off.contains(&tank)));
}

/// A net of switches, links and paths, typed at random.
fn nets() -> impl Strategy<Value = Plan> {
    let link = (
        0..6_usize,
        0..6_usize,
        select(vec!["uplink", "uplink", "access", ""]),
        select(vec!["", "", "standby", "spare", "ordered"]),
        select(vec!["", "1", "2", "3"]),
        select(vec!["", "north", "North", "south"]),
        select(vec!["1", "10"]),
    );
    let path = (0..6_usize, 0..6_usize);
    (
        prop::collection::vec(link, 1..12),
        prop::collection::vec(path, 0..4),
        prop::collection::vec(select(vec!["", "8", "48"]), 6),
    )
        .prop_map(|(links, paths, ports)| {
            let mut story = Story::new();
            for (at, ports) in ports.iter().enumerate() {
                let cells = [("access_ports", *ports), ("access_speed", "1 Gb/s")];
                story = story.switch(&format!("S{at}"), &cells);
            }
            for (at, (from, to, role, state, members, route, speed)) in links.iter().enumerate() {
                let (from, to) = (format!("S{from}"), format!("S{to}"));
                let interface = if *speed == "1" {
                    "1000BASE-SX"
                } else {
                    "10GBASE-SR"
                };
                let cells = [
                    ("from", &*from),
                    ("to", &*to),
                    ("role", role),
                    ("state", state),
                    ("members", members),
                    ("route", route),
                    ("interface", interface),
                    ("medium", "OM4"),
                    ("length", "50 m"),
                ];
                story = story.link(&format!("L{at}"), &cells);
            }
            for (at, (from, to)) in paths.iter().enumerate() {
                let (from, to) = (format!("S{from}"), format!("S{to}"));
                let cells = [("from", &*from), ("to", &*to), ("latency_limit", "20 µs")];
                story = story.row("paths", &format!("P{at}"), &cells);
            }
            story.told().plan().clone()
        })
}

/// The plan with something really out, computed anew.
fn without(plan: &Plan, out: &Out) -> Plan {
    let links = plan.sheet("links").unwrap();
    let engine = trade::engine(plan);
    let look = Look::new(plan, &engine, "links").unwrap();
    let mut now = plan.clone();
    let column = |name: &str| plan.def(links).column(name).unwrap();
    let spare = Entry::Text(plan.names().code("spare"));
    let is_hit = |row: &RowId| match out {
        Out::Link(one) => row == one,
        Out::Pair(one, two) => row == one || row == two,
        Out::Route(name) => look
            .text("route", *row)
            .is_some_and(|route| route.to_lowercase() == name.to_lowercase()),
        Out::Switch(switch) => ["from", "to"]
            .iter()
            .any(|end| look.through(end, *row) == Some(*switch)),
        Out::Member(_) => false,
    };
    let cells = match out {
        Out::Member(row) => {
            let cables = look.number("cables", *row).unwrap();
            vec![((column("members"), *row), Entry::Number(cables - 1.0))]
        }
        Out::Link(_) | Out::Pair(..) | Out::Route(_) | Out::Switch(_) => {
            let rows = look.rows().iter().filter(|row| is_hit(row));
            rows.map(|row| ((column("state"), *row), spare.clone()))
                .collect()
        }
    };
    let sheet = links;
    now.apply(Edit::SetCells { sheet, cells }).unwrap();
    now
}

/// Switches from which a switch that hangs on none, and on which others hang, is reached; the slow
/// way.
fn joined(plan: &Plan, tops: &BTreeSet<RowId>, out: Option<RowId>) -> BTreeSet<RowId> {
    let engine = trade::engine(plan);
    let look = Look::new(plan, &engine, "links").unwrap();
    let mut seen: BTreeSet<RowId> = tops
        .iter()
        .copied()
        .filter(|top| Some(*top) != out)
        .collect();
    loop {
        let before = seen.len();
        for row in look.rows() {
            let carries = look.is("forwards", *row) || look.is("is_redundant", *row);
            let ends = ["from", "to"].map(|end| look.through(end, *row));
            let [Some(from), Some(to)] = ends else {
                continue;
            };
            if !carries || Some(from) == out || Some(to) == out {
                continue;
            }
            if seen.contains(&from) || seen.contains(&to) {
                seen.extend([from, to]);
            }
        }
        if seen.len() == before {
            return seen;
        }
    }
}

fn tops(plan: &Plan) -> BTreeSet<RowId> {
    let engine = trade::engine(plan);
    let look = Look::new(plan, &engine, "links").unwrap();
    let (mut lower, mut upper) = (BTreeSet::new(), BTreeSet::new());
    for row in look
        .rows()
        .iter()
        .filter(|row| look.is("is_redundant", **row))
    {
        let ends = ["from", "to"].map(|end| look.through(end, *row));
        if let [Some(from), Some(to)] = ends
            && from != to
        {
            lower.insert(from);
            upper.insert(to);
        }
    }
    upper.difference(&lower).copied().collect()
}

/// What a failure does, by comparing two plans computed whole.
fn compared(plan: &Plan, out: &Out) -> Harm {
    let now = without(plan, out);
    let engines = [trade::engine(plan), trade::engine(&now)];
    let [was, is] = [(plan, &engines[0]), (&now, &engines[1])]
        .map(|(plan, engine)| Look::new(plan, engine, "switches").unwrap());
    let switch = match out {
        Out::Switch(row) => Some(*row),
        _ => None,
    };
    let tops = tops(plan);
    let (before, after) = (joined(plan, &tops, None), joined(&now, &tops, switch));
    let mut cut_off: Vec<RowId> = before.difference(&after).copied().collect();
    cut_off.retain(|row| Some(*row) != switch && !matches!(out, Out::Member(_)));
    let ratio_harm = |row: &RowId| {
        let [before, limit] = ["ratio", "ratio_limit"].map(|name| was.number(name, *row));
        let uplinks = [was, is].map(|look| look.number("uplinks", *row).unwrap_or(0.0));
        let is_bare = uplinks[0] > 0.0 && uplinks[1] == 0.0;
        let standby = is.number("ratio_standby", *row).filter(|_| is_bare);
        let after = if is_bare {
            standby
        } else {
            is.number("ratio", *row)
        };
        let harm = RatioHarm {
            switch: *row,
            before,
            after,
            target: limit,
            by_standby: standby.is_some(),
        };
        let past = match after {
            Some(after) => {
                after > limit? + 1e-9 && before.is_none_or(|before| after > before * (1.0 + 1e-9))
            }
            None => is_bare && !cut_off.contains(row),
        };
        (past && Some(*row) != switch).then_some(harm)
    };
    let [was_path, is_path] = [(plan, &engines[0]), (&now, &engines[1])]
        .map(|(plan, engine)| Look::new(plan, engine, "paths").unwrap());
    let path_harm = |row: &RowId| {
        let cut = is_path.text("trouble", *row);
        if was_path.text("trouble", *row).is_some() {
            return None;
        }
        let numbers = |name| [was_path, is_path].map(|look| look.number(name, *row));
        let slower = match numbers("latency") {
            [Some(a), Some(b)] if b > a * (1.0 + 1e-9) => Some((a, b)),
            _ => None,
        };
        let narrower = match numbers("capacity") {
            [Some(a), Some(b)] if a > b * (1.0 + 1e-9) => Some((a, b)),
            _ => None,
        };
        let fails =
            [was_path, is_path].map(|look| look.text("verdict", *row).as_deref() == Some("fails"));
        let is_harm = cut.is_some() || slower.is_some() || narrower.is_some();
        is_harm.then_some(PathHarm {
            path: *row,
            cut,
            slower,
            narrower,
            stops: fails == [false, true],
        })
    };
    Harm {
        out: out.clone(),
        ratios: was.rows().iter().filter_map(ratio_harm).collect(),
        paths: was_path.rows().iter().filter_map(path_harm).collect(),
        cut_off,
    }
}

/// Everything that is tried one by one.
fn outs(plan: &Plan) -> Vec<Out> {
    let engine = trade::engine(plan);
    let links = Look::new(plan, &engine, "links").unwrap();
    let switches = Look::new(plan, &engine, "switches").unwrap();
    let lit = |row: &&RowId| links.is("forwards", **row) || links.is("is_redundant", **row);
    let rows: Vec<RowId> = links.rows().iter().filter(lit).copied().collect();
    let bundled = |row: &&RowId| links.number("cables", **row).unwrap() >= 2.0;
    let mut outs: Vec<Out> = rows.iter().map(|row| Out::Link(*row)).collect();
    outs.extend(rows.iter().filter(bundled).map(|row| Out::Member(*row)));
    let routes: BTreeSet<String> = links
        .rows()
        .iter()
        .filter_map(|row| links.text("route", *row))
        .map(|route| route.to_lowercase())
        .collect();
    outs.extend(routes.into_iter().map(Out::Route));
    outs.extend(switches.rows().iter().map(|row| Out::Switch(*row)));
    outs
}

/// The name of a route in lower case, as one of its spellings is told.
fn plainly(mut harm: Harm) -> Harm {
    if let Out::Route(name) = &mut harm.out {
        *name = name.to_lowercase();
    }
    harm
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 24, failure_persistence: None, ..ProptestConfig::default() })]

    /// What the study tells is what a plan shows in which the thing really is out.
    #[test]
    fn a_study_by_increments_is_a_study_of_whole_plans(plan in nets()) {
        let before = plan_file::write(&plan);
        let found = tried(&plan, &Asked::default());
        prop_assert_eq!(&before, &plan_file::write(&plan));
        let told: Vec<Harm> = found.harms.into_iter().map(plainly).collect();
        for out in outs(&plan) {
            let wanted = compared(&plan, &out);
            let harmless = wanted.cut_off.is_empty() && wanted.ratios.is_empty() && wanted.paths.is_empty();
            let known = told.iter().find(|harm| harm.out == out);
            match harmless {
                true => prop_assert_eq!(known, None, "{:?}", out),
                false => prop_assert_eq!(known, Some(&wanted)),
            }
        }
        for pair in told.windows(2) {
            prop_assert!(pair[0].weight() >= pair[1].weight());
        }
    }

    /// With nothing out, nothing changes.
    #[test]
    fn failing_nothing_changes_nothing(plan in nets()) {
        let nothing = Asked { links: Some(Vec::new()), kinds: vec![Kind::Link, Kind::Member], pairs: true };
        let found = tried(&plan, &nothing);
        prop_assert_eq!((found.n_tried, found.harms.len()), (0, 0));
    }
}

// Sweeps.

/// A link of multimode fibre.
fn fibre(length: &str) -> Story {
    let cells = [
        ("interface", "10GBASE-SR"),
        ("medium", "OM3"),
        ("length", length),
    ];
    Story::new().link("A", &cells).told()
}

fn axis(story: &Story, column: &str, range: &str) -> Axis {
    let sheet = story.sheet("links");
    let position = story.plan().def(sheet).column(column).unwrap();
    let knob = Knob::Cell(sheet, story.row_of("links", "A"), position);
    Axis::new(story.plan(), knob, range).unwrap()
}

fn swept(story: &Story, axes: Vec<Axis>, show: &[&str], with: Vec<Edit>) -> Swept {
    let at = Some((story.sheet("links"), story.row_of("links", "A")));
    let watch = |name: &&str| Watch::new(story.plan(), story.engine(), name, at).unwrap();
    let watches = show.iter().map(watch).collect();
    let asked = sweep::Asked {
        axes,
        watches,
        with,
    };
    sweep(story.plan(), story.engine(), asked).unwrap()
}

/// The longest run that still fits, and with one more connection: the printed limit is exceeded
/// from 0.05 dB on, so 2.65 dB less 0.75 dB a connection are left for 3.5 dB/km.
#[test]
fn the_longest_run_is_where_the_closed_form_says() {
    let story = fibre("100 m");
    for (connections, metres) in [(2.0, 300.0), (3.0, (2.65 - 2.25) / 0.0035)] {
        let sheet = story.sheet("links");
        let column = story.plan().def(sheet).column("connections").unwrap();
        let cells = vec![(
            (column, story.row_of("links", "A")),
            Entry::Number(connections),
        )];
        let with = vec![Edit::SetCells { sheet, cells }];
        let length = axis(&story, "length", "10 m to 400 m in 7");
        let swept = swept(&story, vec![length], &["margin", "verdict"], with);
        let turn = swept.turns.last().unwrap();
        assert_eq!(turn.after, Cell::Text("fails".to_owned()));
        assert!((turn.last - metres).abs() < 2e-6, "{} {metres}", turn.last);
        assert!((turn.first - turn.last - 1e-6).abs() < 1e-9);
        let check = if connections == 2.0 { "reach" } else { "loss" };
        assert!(
            turn.came.iter().any(|finding| finding.check == check),
            "{turn:?}"
        );
    }
    assert!(story.plan().rows(story.sheet("links")).order().len() == 1);
    assert_eq!(story.number("links", "A", "length", "m"), 100.0);
}

#[test]
fn counts_turn_from_one_whole_number_to_the_next() {
    let story = fibre("100 m");
    let connections = axis(&story, "connections", "0 to 8 in 2");
    let swept = swept(&story, vec![connections], &["verdict"], Vec::new());
    for turn in &swept.turns {
        assert_eq!((turn.last.fract(), turn.first - turn.last), (0.0, 1.0));
    }
    assert_eq!(swept.turns.last().unwrap().last, 3.0);
}

#[test]
fn two_axes_make_a_grid_and_a_turn_for_each_value_of_the_second() {
    let story = fibre("100 m");
    let axes = vec![
        axis(&story, "length", "10 m to 400 m in 4"),
        axis(&story, "connections", "1 to 3"),
    ];
    let swept = swept(&story, axes, &["margin", "verdict"], Vec::new());
    assert_eq!((swept.points.len(), swept.values.len()), (15, 15));
    assert_eq!(swept.points[5], [10.0, 2.0]);
    let fails = |turn: &&sweep::Turn| turn.after == Cell::Text("fails".to_owned());
    let by_second: BTreeMap<String, f64> = swept
        .turns
        .iter()
        .filter(fails)
        .map(|turn| (turn.second.unwrap().to_string(), turn.last))
        .collect();
    assert_eq!(by_second.len(), 3);
    assert!(by_second["3"] < by_second["2"] && by_second["2"] <= by_second["1"]);
}

#[test]
fn ranges_are_read_with_units_and_without() {
    let metre = unit_of("m");
    let cases = [
        ("10 m to 400 m in 40", (10.0, 400.0, 40)),
        ("10 to 400", (10.0, 400.0, 40)),
        ("0.1 km to 0.4 km in 3", (100.0, 400.0, 3)),
        ("10 to 100 ft in 2", (3.048, 30.48, 2)),
        ("400 to 10 in 1", (400.0, 10.0, 1)),
    ];
    for (text, wanted) in cases {
        assert_eq!(sweep::read_range(text, &metre), Ok(wanted), "{text}");
    }
    assert_eq!(sweep::read_range("1 to 5", &unit_of("")), Ok((1.0, 5.0, 4)));
    for wrong in [
        "",
        "10 m",
        "10 m to",
        "1 to 1",
        "1 to 2 in 0",
        "1 to 2 in x",
        "1 dB to 2 dB",
    ] {
        let problem = sweep::read_range(wrong, &metre).unwrap_err();
        assert!(!problem.help.is_empty(), "{wrong}");
    }
}

#[test]
fn a_drawing_holds_nothing_that_acts() {
    let story = fibre("100 m");
    let length = axis(&story, "length", "10 m to 400 m in 9");
    let swept = swept(&story, vec![length], &["margin", "verdict"], Vec::new());
    let text = svg("<script>&\"\u{1b}", &swept);
    assert!(text.starts_with("<svg ") && text.ends_with("</svg>\n"));
    assert!(text.contains("&lt;script&gt;&amp;&quot; ") && !text.contains("<script"));
    assert_eq!(text.matches("<polyline").count(), 1);
    assert!(
        text.contains("verdict is tight up to 300 m, fails from 300.000001 m")
            || text.contains("fails from 300.000001 m"),
        "{text}"
    );
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 24, failure_persistence: None, ..ProptestConfig::default() })]

    /// On each side of a turn a plan computed whole says what the sweep says.
    #[test]
    fn both_sides_of_a_turn_hold(
        interface in select(vec!["10GBASE-SR", "25GBASE-SR", "10GBASE-LR", "1000BASE-T", "10GSFP+Cu"]),
        medium in select(vec!["OM1", "OM3", "OM4", "OS2", "Cat6", "twinax passive"]),
        connections in 0..6_u8,
        steps in 1..9_usize,
    ) {
        let cells = [
            ("interface", interface),
            ("medium", medium),
            ("connections", &*connections.to_string()),
            ("length", "1 m"),
        ];
        let mut story = Story::new().link("A", &cells).told();
        let length = axis(&story, "length", &format!("1 m to 900 m in {steps}"));
        let swept = swept(&story, vec![length], &["verdict", "margin > 0.7 dB"], Vec::new());
        for turn in &swept.turns {
            prop_assert!(turn.last < turn.first);
            prop_assert_ne!(&turn.before, &turn.after);
            if turn.watch > 0 {
                continue;
            }
            for (value, wanted) in [(turn.last, &turn.before), (turn.first, &turn.after)] {
                story.set("links", "A", "length", &format!("{value} m"));
                let whole = trade::engine(story.plan());
                let look = Look::new(story.plan(), &whole, "links").unwrap();
                let verdict = look.cell("verdict", story.row_of("links", "A"));
                prop_assert_eq!(&verdict, wanted, "at {}", value);
            }
        }
    }
}

// Options.

#[test]
fn what_has_no_price_ranks_behind_what_has_one_and_never_counts_as_zero() {
    let story = Story::new()
        .row(
            "parts",
            "a",
            &[
                ("kind", "module"),
                ("interface", "10GBASE-SR"),
                ("price", "500"),
            ],
        )
        .row(
            "parts",
            "b",
            &[("kind", "cord"), ("medium", "OM4"), ("price", "10")],
        )
        .link("A", &[("speed", "10 Gb/s"), ("length", "60 m")])
        .told();
    let links = [story.row_of("links", "A")];
    let found = options(story.plan(), story.engine(), &links, &Criterion::ALL).unwrap();
    let first = found.of(Standing::Carries).next().unwrap();
    assert_eq!(
        (first.name().as_str(), first.price),
        ("10GBASE-SR on OM4", Some(1010.0))
    );
    let mut carries = found.of(Standing::Carries).skip(1);
    assert!(carries.all(|choice| choice.price.is_none()));
    // Without a price the next word ranks: by watts alone the same list begins otherwise.
    let watts = options(story.plan(), story.engine(), &links, &[Criterion::Watts]).unwrap();
    let values: Vec<f64> = watts
        .of(Standing::Carries)
        .filter(|choice| choice.verdict == "fits")
        .filter_map(|choice| choice.watts)
        .collect();
    assert!(values.is_sorted() && values.len() > 3, "{values:?}");
    // Every kind of medium takes part.
    let kinds = [
        "Cat6A",
        "OM3",
        "OS2",
        "twinax passive",
        "twinax active",
        "active optical",
    ];
    for medium in kinds {
        assert!(
            found.choices.iter().any(|choice| choice.medium == medium),
            "{medium}"
        );
    }
    let refused = found.of(Standing::Refused);
    assert!(refused.into_iter().all(|choice| choice.why.is_some()));
}

#[test]
fn twisted_pair_that_no_fixed_port_takes_goes_into_a_cage_as_a_module() {
    let ends = [
        ("from", "hall"),
        ("to", "core"),
        ("role", "uplink"),
        ("length", "20 m"),
    ];
    let with = |speed| {
        Story::new()
            .switch(
                "hall",
                &[
                    ("access_ports", "24"),
                    ("access_speed", speed),
                    ("cage", "SFP+"),
                ],
            )
            .switch(
                "core",
                &[
                    ("access_ports", "24"),
                    ("access_speed", "10 Gb/s"),
                    ("cage", "SFP+"),
                ],
            )
            .link("A", &[&ends[..], &[("speed", "10 Gb/s")]].concat())
            .link("B", &[&ends[..], &[("speed", "2.5 Gb/s")]].concat())
            .told()
    };
    let found = |story: &Story, id: &str, name: &str| {
        let links = [story.row_of("links", id)];
        let found = options(story.plan(), story.engine(), &links, &Criterion::ALL).unwrap();
        found
            .choices
            .into_iter()
            .find(|choice| choice.name() == name)
            .unwrap()
    };
    // At 1 Gb/s the near end takes a module of 2.9 W; the far end has a port for it.
    let slow = with("1 Gb/s");
    let choice = found(&slow, "A", "10GBASE-T on Cat6A");
    assert_eq!(
        (choice.standing, choice.watts),
        (Standing::Carries, Some(2.9))
    );
    let choice = found(&with("10 Gb/s"), "A", "10GBASE-T on Cat6A");
    assert_eq!(
        (choice.standing, choice.watts),
        (Standing::Carries, Some(0.0))
    );
    // 2.5GBASE-T is made as no module.
    let choice = found(&slow, "B", "2.5GBASE-T on Cat6A");
    assert_eq!(choice.standing, Standing::Refused);
    assert_eq!(choice.why.unwrap(), "the access ports of hall take 1 Gb/s");
}

#[test]
fn a_choice_that_is_taken_is_what_it_said() {
    let desk = portledger::desk::Desk::demo().unwrap();
    let sheet = desk.plan().sheet("links").unwrap();
    for id in ["P105", "Q103", "M107", "P106"] {
        let row = desk.plan().find(sheet, id).unwrap();
        let found = options(desk.plan(), desk.engine(), &[row], &Criterion::ALL).unwrap();
        assert!(found.choices.iter().filter(|choice| choice.is_now).count() <= 1);
        for choice in &found.choices {
            // What has no port is refused before any check speaks.
            if choice
                .why
                .as_ref()
                .is_some_and(|why| why.starts_with("the access ports"))
            {
                continue;
            }
            let mut plan = desk.plan().clone();
            plan.apply(choice.edit.clone()).unwrap();
            let engine = trade::engine(&plan);
            let look = Look::new(&plan, &engine, "links").unwrap();
            let verdict = look.text("verdict", row).unwrap();
            assert_eq!(verdict, choice.verdict, "{id} {}", choice.name());
            assert_eq!(
                look.number("price", row),
                choice.price,
                "{id} {}",
                choice.name()
            );
        }
    }
}

#[test]
fn links_that_are_asked_about_together_get_what_carries_all_of_them() {
    let story = Story::new()
        .link("A", &[("speed", "10 Gb/s"), ("length", "60 m")])
        .link("B", &[("speed", "10 Gb/s"), ("length", "350 m")])
        .link("C", &[("speed", "25 Gb/s"), ("length", "60 m")])
        .told();
    let row = |id| story.row_of("links", id);
    let ask = |links: &[RowId]| options(story.plan(), story.engine(), links, &Criterion::ALL);
    let names = |links: &[RowId]| {
        let found = ask(links).unwrap();
        found
            .of(Standing::Carries)
            .map(|choice| choice.name())
            .collect::<BTreeSet<_>>()
    };
    let both = names(&[row("A"), row("B")]);
    assert_eq!(
        both,
        names(&[row("A")])
            .intersection(&names(&[row("B")]))
            .cloned()
            .collect()
    );
    let refused = ask(&[row("A"), row("B")]).unwrap();
    let sr = refused
        .choices
        .iter()
        .find(|choice| choice.name() == "10GBASE-SR on OM3")
        .unwrap();
    assert!(
        sr.why.as_ref().unwrap().starts_with("B: 350 m of OM3"),
        "{:?}",
        sr.why
    );
    assert_eq!(
        ask(&[row("A"), row("C")]).unwrap_err().code,
        "speeds-differ"
    );
    assert_eq!(ask(&[]).unwrap_err().code, "no-link");
}

// Growth.

#[test]
fn years_are_those_of_compound_growth_and_a_step_up_doubles_them() {
    let story = Story::new()
        .switch(
            "hall",
            &[
                ("access_ports", "48"),
                ("access_speed", "1 Gb/s"),
                ("users", "100"),
                ("activity", "10 %"),
                ("user_rate", "100 Mb/s"),
                ("growth", "100 %"),
                ("uplink_cages", "2"),
                ("cage_speed", "25 Gb/s"),
                ("port_growth", "4"),
            ],
        )
        .switch("core", &[("cage_speed", "100 Gb/s")])
        .link(
            "u",
            &[
                ("from", "hall"),
                ("to", "core"),
                ("role", "uplink"),
                ("interface", "10GBASE-SR"),
                ("medium", "OM4"),
            ],
        )
        .told();
    let all = growth(story.plan(), story.engine()).unwrap();
    let hall = &all[0];
    let years = |thing: Thing| {
        let filling = hall.fillings.iter().find(|filling| filling.thing == thing);
        filling.unwrap().years
    };
    let near = |value: Option<f64>, wanted: f64| {
        assert!((value.unwrap() - wanted).abs() < 1e-9, "{value:?} {wanted}");
    };
    // 1 Gb/s doubles each year: 10 Gb/s after log2(10) years, 48 Gb/s after log2(48).
    near(years(Thing::Uplinks), 10_f64.log2());
    near(years(Thing::Access), 48_f64.log2());
    near(years(Thing::Ports), 12.0);
    assert_eq!(years(Thing::Cages), None);
    let [member, faster] = &hall.steps[..] else {
        panic!("{:?}", hall.steps);
    };
    near(member.years, 20_f64.log2());
    near(member.ratio, 48.0 / 20.0);
    assert_eq!(member.hurdle, None);
    near(faster.years, 25_f64.log2());
    assert!(faster.what.contains("25 Gb/s"), "{}", faster.what);
    assert_eq!(year_of(2031, 3.3), Some(2034));
}

// Orders.

fn ordered(story: &Story) -> OrderList {
    order_list(story.plan(), story.engine()).unwrap()
}

fn needed(list: &OrderList, name: &str) -> f64 {
    let line = list.lines.iter().find(|line| line.name == name);
    line.map_or(0.0, |line| line.needed)
}

/// R. Bergman, AIDataCenter, docs/cabling.csv: 8 servers with 8 rails each by direct attach, 8
/// leaves with 8 uplinks each by active optical cable, 14 links of management on Cat6.
#[test]
fn a_published_list_of_cables_is_ordered_piece_by_piece() {
    let story = Story::new()
        .link(
            "rail",
            &[
                ("members", "64"),
                ("interface", "25GBASE-CR"),
                ("medium", "twinax passive"),
                ("length", "2.5 m"),
            ],
        )
        .link(
            "up",
            &[
                ("members", "64"),
                ("interface", "25G AOC"),
                ("medium", "active optical"),
                ("length", "12 m"),
            ],
        )
        .link(
            "hand",
            &[
                ("members", "14"),
                ("interface", "1000BASE-T"),
                ("medium", "Cat6"),
                ("length", "30 m"),
            ],
        )
        .told();
    let list = ordered(&story);
    assert_eq!(needed(&list, "25GBASE-CR on twinax passive, 3 m"), 64.0);
    assert_eq!(needed(&list, "25G AOC on active optical, 15 m"), 64.0);
    assert_eq!(needed(&list, "Cat6 cord, 5 m"), 28.0);
    assert_eq!(needed(&list, "cable label"), 2.0 * 142.0);
    assert!(!list.lines.iter().any(|line| line.family == Family::Modules));
}

#[test]
fn both_halves_of_a_pair_are_ordered_and_state_decides_what_is_bought() {
    let pair = [
        ("interface", "1000BASE-BX10-D"),
        ("far_interface", "1000BASE-BX10-U"),
        ("medium", "OS2"),
        ("length", "500 m"),
    ];
    let mut story = Story::new()
        .row(
            "parts",
            "d",
            &[
                ("kind", "module"),
                ("interface", "1000BASE-BX10-D"),
                ("price", "20"),
                ("on_hand", "1"),
            ],
        )
        .link("A", &pair)
        .link("B", &pair)
        .told();
    let line = |list: &OrderList, half: &str| {
        let name = format!("1000BASE-BX10-{half} module, SFP");
        list.lines.iter().find(|line| line.name == name).cloned()
    };
    let list = ordered(&story);
    let (down, up) = (line(&list, "D").unwrap(), line(&list, "U").unwrap());
    // Two and a spare, less the one in stock; of the other half there is none.
    assert_eq!(
        (down.needed, down.spares, down.on_hand, down.to_buy),
        (2.0, 1.0, Some(1.0), 2.0)
    );
    assert_eq!((up.needed, up.on_hand, up.to_buy), (2.0, None, 3.0));
    assert_eq!((down.cost, up.cost), (Some(40.0), None));
    story.set("links", "A", "state", "ordered");
    story.set("links", "B", "state", "in service");
    let story = story.told();
    let up = line(&ordered(&story), "U").unwrap();
    assert_eq!((up.needed, up.on_order, up.to_buy), (0.0, 1.0, 0.0));
}

#[test]
fn totals_say_how_much_is_not_priced_and_in_which_currency() {
    let story = Story::new()
        .row(
            "parts",
            "c",
            &[
                ("kind", "cord"),
                ("medium", "OM4"),
                ("length", "3 m"),
                ("price", "10"),
            ],
        )
        .assume("cord_length", "2.5 m")
        .assume("currency", "shells")
        .link(
            "A",
            &[
                ("interface", "10GBASE-SR"),
                ("medium", "OM4"),
                ("length", "60 m"),
            ],
        )
        .told();
    let list = ordered(&story);
    let total = |family| {
        list.totals
            .iter()
            .find(|total| total.family == family)
            .unwrap()
    };
    let currency = list.currency.as_deref();
    assert_eq!(total(Some(Family::Cords)).said(currency), "30.00 shells");
    assert_eq!(
        total(Some(Family::Modules)).said(currency),
        "1 line not priced"
    );
    assert!(total(None).said(currency).starts_with("30.00 shells, and "));
    assert_eq!(needed(&list, "OM4 cord, 3 m"), 2.0);
    assert_eq!(needed(&list, "OM4 cable"), 55.0);
}

#[test]
fn a_link_through_segments_gets_adapters_and_panels() {
    let story = Story::new()
        .link(
            "A",
            &[
                ("interface", "10GBASE-SR"),
                ("medium", "OM4"),
                ("members", "8"),
            ],
        )
        .row(
            "segments",
            "A1",
            &[("link", "A"), ("length", "30 m"), ("connections", "2")],
        )
        .row(
            "segments",
            "A2",
            &[("link", "A"), ("length", "20 m"), ("connections", "2")],
        )
        .told();
    let list = ordered(&story);
    assert_eq!(needed(&list, "LC duplex adapter"), 32.0);
    assert_eq!(needed(&list, "panel of 24 for LC duplex"), 2.0);
}

/// Links of many kinds, for orders and labels.
fn link_lists() -> impl Strategy<Value = Vec<(String, usize, usize, usize, usize)>> {
    let id = prop_oneof![
        "[A-Z]{1,2}[0-9]{1,3}",
        select(vec![
            "1/2",
            "3-4",
            "1E5",
            "007",
            "mar1",
            "Uplink to core",
            "M12O",
            "M120",
            "a b"
        ])
        .prop_map(str::to_owned),
    ];
    prop::collection::vec(
        (id, 0..5_usize, 0..4_usize, 1..4_usize, 1..200_usize),
        1..14,
    )
}

fn listed(links: &[(String, usize, usize, usize, usize)]) -> Story {
    let kinds = [
        ("10GBASE-SR", "OM4"),
        ("10GBASE-LR", "OS2"),
        ("1000BASE-BX10-D", "OS2"),
        ("1000BASE-T", "Cat6"),
        ("10GSFP+Cu", "twinax passive"),
    ];
    let states = ["", "planned", "ordered", "in service"];
    let mut story = Story::new();
    for (id, kind, state, members, length) in links {
        let (interface, medium) = kinds[*kind];
        let cells = [
            ("interface", interface),
            ("medium", medium),
            ("state", states[*state]),
            ("members", &*members.to_string()),
            ("length", &*format!("{length} m")),
        ];
        story = story.link(id, &cells);
    }
    story.told()
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 24, failure_persistence: None, ..ProptestConfig::default() })]

    /// Every quantity is the sum of the rows behind it, and moved rows change none.
    #[test]
    fn orders_sum_to_the_links_whatever_their_order(links in link_lists()) {
        let told = |list: &OrderList| -> Vec<(String, u64, u64, u64)> {
            let line = |line: &portledger::study::order::Line| {
                (line.name.clone(), line.needed.to_bits(), line.to_buy.to_bits(), line.on_order.to_bits())
            };
            list.lines.iter().map(line).collect()
        };
        let list = ordered(&listed(&links));
        for line in &list.lines {
            let sum = |is_ordered: bool| -> f64 {
                let own = line.behind.iter().filter(|one| one.is_ordered == is_ordered);
                own.map(|one| one.count).sum::<f64>() / line.each
            };
            let mut ids: Vec<RowId> = line.behind.iter().map(|one| one.link).collect();
            ids.dedup();
            prop_assert_eq!(line.n_links, ids.len());
            let within = if line.family == Family::Cable { 0.1 } else { 1.0 };
            for (told, sum) in [(line.needed, sum(false)), (line.on_order, sum(true))] {
                prop_assert!(told >= sum - 1e-6 && told < sum + within, "{} {told} {sum}", line.name);
            }
        }
        // With the rows of two links alone all else is the same.
        let story = listed(&links);
        let short = short_order_list(story.plan(), story.engine(), 2).unwrap();
        let mut cut = list.clone();
        for line in &mut cut.lines {
            let mut ids: Vec<RowId> = line.behind.iter().map(|one| one.link).collect();
            ids.dedup();
            line.behind.retain(|one| ids[..ids.len().min(2)].contains(&one.link));
        }
        prop_assert_eq!(short, cut);
        let mut turned = links.clone();
        turned.reverse();
        prop_assert_eq!(told(&list), told(&ordered(&listed(&turned))));
    }

    /// Labels are unique also to the eye, safe, and stay with their link when rows move.
    #[test]
    fn labels_are_unique_and_survive(links in link_lists()) {
        let story = listed(&links);
        let look = Look::new(story.plan(), story.engine(), "links").unwrap();
        let all = labels(look);
        let n_cables: usize = links.iter().map(|(_, _, _, members, _)| members).sum();
        prop_assert_eq!(all.len(), n_cables);
        let alike = |text: &str| text.to_uppercase().replace(['O', 'Q'], "0").replace(['I', 'L'], "1");
        let texts: BTreeSet<String> = all.iter().map(|label| alike(&label.text)).collect();
        prop_assert_eq!(texts.len(), all.len());
        for label in &all {
            prop_assert!(label.text.len() <= 12 && label.text.starts_with(|c: char| c.is_ascii_alphabetic()));
            prop_assert!(label.text.chars().all(|c| c.is_ascii_alphanumeric()), "{}", label.text);
            let own = look.id(label.link);
            let is_own = label.text.to_uppercase().starts_with(&own.to_uppercase());
            prop_assert!(is_safe(&own) || !is_own, "{own} {}", label.text);
        }
        let distinct: BTreeSet<String> = links.iter().map(|link| link.0.to_uppercase()).collect();
        if distinct.len() == links.len() {
            let mut turned = links.clone();
            turned.reverse();
            let story = listed(&turned);
            let look_again = Look::new(story.plan(), story.engine(), "links").unwrap();
            let by_link = |look: Look<'_>, all: Vec<portledger::study::labels::Label>| -> BTreeMap<(String, usize), String> {
                all.into_iter().map(|label| ((look.id(label.link), label.cable), label.text)).collect()
            };
            prop_assert_eq!(by_link(look, all), by_link(look_again, labels(look_again)));
        }
    }
}
