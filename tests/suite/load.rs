//! Load: ratios by each failure, uplinks that stand by, bundles, routes, split cages, reserve,
//! stock and heat.

use super::story::{Cells, Story, unit_of};
use portledger::table::Cell;
use proptest::prelude::*;

const NONE: [&str; 0] = [];

fn near(got: f64, expected: f64, what: &str) {
    let within = 1e-9 * expected.abs().max(1.0);
    assert!(
        (got - expected).abs() <= within,
        "{what}: {got}, not {expected}"
    );
}

fn calc(formula: &str, unit: &str) -> f64 {
    match Story::new().told().calc(formula) {
        Cell::Number(base) => unit_of(unit).from_base(base),
        other => panic!("`{formula}` is {other:?}"),
    }
}

/// A hall with 48 ports of 1 Gb/s and uplinks, each with more cells.
fn hall(uplinks: &[Cells<'_>]) -> Story {
    let story = Story::new().switch(
        "North hall",
        &[("access_ports", "48"), ("access_speed", "1 Gb/s")],
    );
    let add = |story: Story, (at, more): (usize, &Cells<'_>)| {
        let cells = [
            &[
                ("from", "North hall"),
                ("to", "Pump house"),
                ("role", "uplink"),
                ("interface", "10GBASE-SR"),
                ("medium", "OM3"),
                ("length", "60 m"),
            ],
            *more,
        ]
        .concat();
        story.link(&format!("U{}", at + 1), &cells)
    };
    uplinks.iter().enumerate().fold(story, add).told()
}

fn north(story: &Story, column: &str, unit: &str) -> f64 {
    story.number("switches", "North hall", column, unit)
}

// A design blog's access switch: 48 ports of 1 Gb/s over two uplinks of 10 Gb/s are 2.4 to 1, and
// 4.8 to 1 with one of them.
#[test]
fn each_failure_has_its_own_ratio() {
    let story = hall(&[
        &[("members", "2"), ("route", "east duct")],
        &[("route", "west duct")],
        &[("route", "West Duct")],
    ]);
    near(north(&story, "ratio", ""), 48.0 / 40.0, "ratio");
    near(north(&story, "worst_ratio", ""), 48.0 / 30.0, "by member");
    near(
        north(&story, "worst_link_ratio", ""),
        48.0 / 20.0,
        "by link",
    );
    near(
        north(&story, "worst_route_ratio", ""),
        48.0 / 20.0,
        "by route",
    );
    assert_eq!(story.objections("U1"), NONE);
    assert_eq!(story.objections("U2"), ["shared-route"]);
    assert!(
        story
            .finding("U2", "shared-route")
            .sentence
            .contains("west duct")
    );
    let two = hall(&[&[], &[]]);
    near(north(&two, "ratio", ""), 2.4, "two uplinks");
    near(north(&two, "worst_link_ratio", ""), 4.8, "one uplink");
    // Without a route on every uplink nobody can say what a cut costs.
    for column in ["worst_route", "worst_route_ratio"] {
        assert!(two.is_missing("switches", "North hall", column), "{column}");
    }
}

#[test]
fn what_stands_by_counts_in_no_ratio_and_takes_over_only_when_nothing_is_left() {
    let mut story = hall(&[&[], &[("state", "standby")]]);
    near(north(&story, "ratio", ""), 4.8, "one carries");
    near(north(&story, "ratio_standby", ""), 2.4, "both would");
    near(
        north(&story, "worst_ratio", ""),
        4.8,
        "the other takes over",
    );
    assert_eq!(story.objections_at("switches", "North hall"), NONE);
    story.set("links", "U2", "state", "spare");
    assert!(story.is_missing("switches", "North hall", "worst_ratio"));
    assert_eq!(
        story.objections_at("switches", "North hall"),
        ["worst-ratio"]
    );
    story.set("links", "U2", "state", "standby");
    story.set("links", "U1", "state", "standby");
    assert!(story.is_missing("switches", "North hall", "ratio"));
    assert_eq!(
        story.objections_at("switches", "North hall"),
        ["standby-counted"]
    );
}

#[test]
fn three_ratios_have_three_names() {
    let mut story = hall(&[&[]]).link(
        "A1",
        &[
            ("from", "North hall"),
            ("to", "shark camera"),
            ("role", "access"),
            ("interface", "1000BASE-T"),
            ("medium", "Cat6"),
            ("length", "20 m"),
        ],
    );
    for (column, text) in [
        ("users", "200"),
        ("activity", "10 %"),
        ("user_rate", "50 Mb/s"),
    ] {
        story.set("switches", "North hall", column, text);
    }
    near(north(&story, "ratio", ""), 4.8, "offered");
    near(north(&story, "ratio_connected", ""), 0.1, "connected");
    near(north(&story, "ratio_demand", ""), 0.1, "by demand");
}

// A maker's forum: of 16 slots over three members one has six and the others five. The other
// shares are counted by dealing the buckets out one by one.
#[test]
fn buckets_are_dealt_to_members() {
    near(calc("bucket_share(3, 16)", ""), 6.0 / 16.0, "three of 16");
    for buckets in [8_u32, 16] {
        for members in 1..=20_u32 {
            let mut dealt = vec![0_u32; members as usize];
            (0..buckets).for_each(|bucket| dealt[(bucket % members) as usize] += 1);
            let busiest = dealt.iter().max().copied().unwrap_or(0);
            let formula = format!("bucket_share({members}, {buckets})");
            let expected = f64::from(busiest) / f64::from(buckets);
            near(calc(&formula, ""), expected, &formula);
        }
    }
    for (members, share) in [
        (2, 100.0),
        (3, 800.0 / 9.0),
        (5, 80.0),
        (6, 200.0 / 3.0),
        (7, 400.0 / 7.0),
        (8, 100.0),
    ] {
        let story = hall(&[&[("members", &members.to_string())]]);
        near(
            story.number("links", "U1", "even_share", "%"),
            share,
            "even share",
        );
        near(
            story.number("links", "U1", "flow_ceiling", "Gb/s"),
            10.0,
            "one flow",
        );
        let uneven = !matches!(members, 2 | 8);
        assert_eq!(
            story.objections("U1").contains(&"members".to_owned()),
            uneven,
            "{members}"
        );
    }
}

// All ways in which flows may fall on members, gone through one by one.
#[test]
fn flows_use_fewer_members_than_there_are() {
    for members in 1..=4_usize {
        for flows in 0..=5_u32 {
            let ways = members.pow(flows);
            let used: usize = (0..ways)
                .map(|way| {
                    let hit =
                        |member| (0..flows).any(|flow| way / members.pow(flow) % members == member);
                    (0..members).filter(|member| hit(*member)).count()
                })
                .sum();
            let formula = format!("members_used({flows}, {members})");
            near(calc(&formula, ""), used as f64 / ways as f64, &formula);
        }
    }
}

#[test]
fn a_split_cage_counts_once() {
    let lane = |id: &'static str, port: &'static str| {
        (
            id,
            [
                ("from", "South hall"),
                ("to", "Core"),
                ("to_port", port),
                ("to_cage", "q1"),
                ("role", "uplink"),
                ("interface", "10GBASE-SR"),
                ("medium", "OM3"),
                ("length", "60 m"),
            ],
        )
    };
    let lanes = [
        lane("L1", "q1/1"),
        lane("L2", "q1/2"),
        lane("L3", "q1/3"),
        lane("L4", "q1/4"),
    ];
    let core = [
        ("uplink_cages", "2"),
        ("cage", "QSFP+"),
        ("cage_speed", "40 Gb/s"),
    ];
    let mut story = lanes
        .iter()
        .fold(Story::new().switch("Core", &core), |story, (id, cells)| {
            story.link(id, cells)
        })
        .told();
    let used = |story: &Story| story.number("switches", "Core", "cages_used", "");
    near(used(&story), 1.0, "four lanes");
    let stopped = |story: &Story| story.objections("L1").contains(&"breakout".to_owned());
    assert!(!stopped(&story));
    let (id, cells) = lane("L5", "q1/5");
    story = story.link(id, &cells);
    near(used(&story), 1.0, "five lanes");
    assert!(stopped(&story));
    story.set("links", "L5", "to_cage", "");
    near(used(&story), 2.0, "a whole cage");
    story.set("links", "L1", "state", "out");
    near(used(&story), 2.0, "three lanes and a whole cage");
}

#[test]
fn ports_last_as_long_as_growth_lets_them() {
    let mut story = hall(&[&[]]);
    for column in ["ports_years", "cages_years"] {
        assert!(
            story.is_missing("switches", "North hall", column),
            "{column}"
        );
    }
    for (column, text) in [
        ("reserved_ports", "8"),
        ("port_growth", "16"),
        ("uplink_cages", "4"),
        ("cage_growth", "1.5"),
    ] {
        story.set("switches", "North hall", column, text);
    }
    near(north(&story, "ports_free", ""), 40.0, "free");
    near(north(&story, "ports_years", "yr"), 2.5, "ports");
    near(north(&story, "cages_years", "yr"), 2.0, "cages");
}

#[test]
fn what_is_planned_has_to_be_in_stock() {
    let part = |kind, on_hand| {
        [
            ("kind", kind),
            ("interface", "10GBASE-SR"),
            ("on_hand", on_hand),
        ]
    };
    let mut story = hall(&[&[], &[("members", "2")], &[("state", "ordered")]])
        .row("parts", "optic A", &part("module", "4"))
        .row("parts", "optic B", &part("module", "1"))
        .row("parts", "optic C", &part("module", ""))
        .row(
            "parts",
            "cord",
            &[("kind", "cord"), ("medium", "OM3"), ("on_hand", "6")],
        )
        .row("parts", "pad", &[("kind", "pad"), ("on_hand", "0")]);
    near(
        story.number("parts", "optic A", "needed", ""),
        6.0,
        "modules",
    );
    near(
        story.number("parts", "optic A", "in_stock", ""),
        5.0,
        "modules",
    );
    near(story.number("parts", "cord", "needed", ""), 6.0, "cords");
    for (id, expected) in [
        ("optic A", true),
        ("optic B", true),
        ("optic C", false),
        ("cord", false),
        ("pad", false),
    ] {
        let found = story.objections_at("parts", id);
        assert_eq!(found == ["parts-short"], expected, "{id}: {found:?}");
    }
    story.set("parts", "optic B", "on_hand", "2");
    assert_eq!(story.objections_at("parts", "optic A"), NONE);
}

#[test]
fn a_combo_port_counts_once() {
    let camera = [
        ("from", "North hall"),
        ("to", "shark camera"),
        ("role", "access"),
        ("interface", "1000BASE-T"),
        ("medium", "Cat6"),
        ("length", "20 m"),
    ];
    let mut story = hall(&[&[("members", "2")]]).link("A1", &camera);
    for (column, text) in [
        ("access_ports", "8"),
        ("uplink_cages", "4"),
        ("combo_ports", "4"),
    ] {
        story.set("switches", "North hall", column, text);
    }
    // Eight ports in all, of which four are a jack or a cage: two cages and a jack are taken.
    near(north(&story, "places_left", ""), 5.0, "places");
    near(north(&story, "ports_free", ""), 5.0, "ports");
    near(north(&story, "cages_free", ""), 2.0, "cages");
    story.set("switches", "North hall", "combo_ports", "");
    near(north(&story, "ports_free", ""), 7.0, "ports");
    near(north(&story, "cages_free", ""), 2.0, "cages");
}

// A target of one's own for a switch comes before that of its kind.
#[test]
fn a_switch_may_have_a_target_of_its_own() {
    let mut story = hall(&[&[], &[]]);
    let objections = |story: &Story| story.objections_at("switches", "North hall");
    near(north(&story, "ratio_limit", ""), 20.0, "access");
    story.set("switches", "North hall", "ratio_target", "2.4");
    assert_eq!(objections(&story), ["worst-ratio"]);
    story.set("switches", "North hall", "ratio_target", "2.3");
    assert!(objections(&story).contains(&"ratio".to_owned()));
}

/// A link whose modules are hot. A data sheet of a 10GBASE-T module has 2.9 W, above the 2 W of
/// SFF-8419 level III.
fn copper(port: &str) -> [(&str, &str); 8] {
    [
        ("from", "North hall"),
        ("from_port", port),
        ("to", "shark camera"),
        ("role", "uplink"),
        ("interface", "10GBASE-T"),
        ("medium", "Cat6A"),
        ("length", "20 m"),
        ("module", "SFP+"),
    ]
}

#[test]
fn hot_modules_are_named_also_where_every_one_is_hot() {
    let ports: Vec<String> = (1..=2_100).map(|at| format!("u{at}")).collect();
    let hall = Story::new().switch("North hall", &[("cage", "SFP+")]);
    let add = |story: Story, port: &String| story.link(port, &copper(port));
    let story = ports.iter().fold(hall, add).told();
    // Of so many rows that are alike the column holds one value.
    let hot = story.engine().values(story.column("links", "near_hot"));
    assert!(hot.is_one());
    let beside = |port: &String| story.cell("links", port, "hot_beside");
    assert_eq!(beside(&ports[0]), Cell::Missing);
    for two in ports.windows(2) {
        let told = format!("ports {} and {} of North hall", two[0], two[1]);
        assert_eq!(beside(&two[1]), Cell::Text(told));
    }
}

#[test]
fn hot_modules_side_by_side_are_named() {
    let mut story = Story::new()
        .switch("North hall", &[("cage", "SFP+")])
        .link("H1", &copper("u1"))
        .link("H2", &copper("U2"))
        .link("H3", &copper("u4"))
        .told();
    let hot = |story: &Story| -> Vec<String> {
        let found = story.findings().into_iter();
        found
            .filter(|finding| finding.check == "hot-modules")
            .map(|finding| finding.sentence)
            .collect()
    };
    near(
        story.number("switches", "North hall", "module_watts", "W"),
        8.7,
        "all",
    );
    assert_eq!(
        hot(&story),
        ["ports u1 and u2 of North hall stand side by side with modules of more than 2 W"]
    );
    // Optics, a fixed port, a port that is out and another switch are no hot neighbours.
    story.set("links", "H2", "module", "");
    assert_eq!(hot(&story), NONE);
    story.set("links", "H2", "module", "SFP+");
    story.set("links", "H2", "state", "out");
    assert_eq!(hot(&story), NONE);
    story.set("links", "H2", "state", "");
    story.set("links", "H2", "from", "South hall");
    assert_eq!(hot(&story), NONE);
    story.set("links", "H2", "from", "north hall");
    assert_eq!(hot(&story).len(), 1);
    // The members of one bundle sit beside each other as well.
    story.set("links", "H2", "from_port", "u7+u8");
    story.set("links", "H2", "members", "2");
    assert_eq!(hot(&story).len(), 1);
    story.set("links", "H2", "interface", "10GBASE-SR");
    story.set("links", "H2", "medium", "OM3");
    assert_eq!(hot(&story), NONE);
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 40, ..ProptestConfig::default() })]

    // More ports that are two in one never leave more free, and what is reserved is not free.
    #[test]
    fn combo_ports_and_reserve_never_leave_more_free(
        (ports, cages) in (0..60_u32, 0..9_u32),
        (combo, more) in (0..9_u32, 1..9_u32),
        reserved in 0..9_u32,
        members in 1..5_u32,
    ) {
        let mut story = hall(&[&[("members", &members.to_string())]]);
        story.set("switches", "North hall", "access_ports", &ports.to_string());
        story.set("switches", "North hall", "uplink_cages", &cages.to_string());
        let mut left = Vec::new();
        let combos = [String::new(), combo.to_string(), (combo + more).to_string()];
        for (combo, reserved) in [(0, 0), (1, 0), (2, 0), (2, reserved)] {
            story.set("switches", "North hall", "combo_ports", &combos[combo]);
            for column in ["reserved_ports", "reserved_cages"] {
                story.set("switches", "North hall", column, &reserved.to_string());
            }
            left.push([north(&story, "ports_free", ""), north(&story, "cages_free", "")]);
        }
        for step in left.windows(2) {
            prop_assert!(step[1][0] <= step[0][0] && step[1][1] <= step[0][1], "{:?}", left);
        }
        let free = f64::from(ports) + f64::from(cages) - f64::from(combo) - f64::from(members);
        prop_assert!(left[1][0] <= free && left[1][1] <= free, "{:?}", left);
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 80, ..ProptestConfig::default() })]

    // Added up here from the cells as they were typed, in another way.
    #[test]
    fn a_route_carries_what_its_uplinks_carry(
        edits in prop::collection::vec((0..6_usize, 0..4_usize, 0..4_usize, 0..4_usize, 1..9_u32), 1..40)
    ) {
        const HALLS: [&str; 4] = ["North hall", "north hall", "South hall", ""];
        const ROUTES: [&str; 4] = ["duct", "Duct", "tray", ""];
        const STATES: [&str; 4] = ["", "in service", "standby", "out"];
        let uplink: Cells<'_> = &[("role", "uplink"), ("speed", "1 Gb/s")];
        let mut story = (0..6).fold(Story::new(), |story, at| story.link(&format!("U{at}"), uplink)).told();
        let mut typed = [(3, 3, 0, 1); 6];
        for (link, hall, route, state, members) in edits {
            let id = format!("U{link}");
            for (column, text) in [("from", HALLS[hall]), ("route", ROUTES[route]), ("state", STATES[state]), ("members", &members.to_string())] {
                story.set("links", &id, column, text);
            }
            typed[link] = (hall, route, state, members);
            for (at, own) in typed.iter().enumerate() {
                let key = |of: &(usize, usize, usize, u32)| (HALLS[of.0].to_lowercase(), ROUTES[of.1].to_lowercase());
                let mates = || typed.iter().filter(|of| key(of) == key(own));
                let placed = own.0 != 3 && own.1 != 3;
                let carried: u32 = mates().filter(|of| of.2 < 2).map(|of| of.3).sum();
                let id = format!("U{at}");
                let expected = if placed && own.2 < 2 { Cell::Number(f64::from(carried) * 1e9) } else { Cell::Missing };
                prop_assert_eq!(story.cell("links", &id, "route_capacity"), expected);
                let others = mates().filter(|of| of.2 < 3).count();
                let expected = if placed && own.2 < 3 { Cell::Number(others as f64 - 1.0) } else { Cell::Missing };
                prop_assert_eq!(story.cell("links", &id, "route_shares"), expected);
            }
        }
    }
}
