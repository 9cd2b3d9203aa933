//! What an edit costs: which columns it reaches, where it stops, and what a missing value does.

use super::story::Story;
use portledger::plan::{Edit, read_entry};
use portledger::problem::render;
use portledger::sheet::{ColumnDef, ColumnKind};
use portledger::table::{Cell, NO_FLAG};
use portledger::trade::{Sentence, engine};

/// Three halls; `L1` goes up from the north hall, `A1` and `A2` are access links of two halls.
fn campus() -> Story {
    let up = [
        ("to", "Pump house"),
        ("role", "uplink"),
        ("interface", "10GBASE-SR"),
        ("medium", "OM3"),
        ("length", "100 m"),
    ];
    let access = [
        ("role", "access"),
        ("interface", "1000BASE-T"),
        ("medium", "Cat6"),
        ("length", "20 m"),
    ];
    let from = |hall| [("from", hall)];
    Story::new()
        .switch("North hall", &[("building", "Aquarium hall")])
        .switch("South hall", &[("building", "Aquarium hall")])
        .switch("Pump house", &[("building", "Aquarium hall")])
        .link("L1", &[&from("North hall")[..], &up].concat())
        .link("L2", &[&from("South hall")[..], &up].concat())
        .link("A1", &[&from("North hall")[..], &access].concat())
        .link("A2", &[&from("South hall")[..], &access].concat())
        .told()
}

/// The columns that the last edit computed, with how many cells it computed and changed; without
/// hidden ones and without the flags of checks.
fn trace(story: &Story) -> Vec<(String, usize, usize)> {
    let nodes = &story.engine().graph().nodes;
    let steps = story.engine().trace().iter();
    let mut steps: Vec<_> = steps
        .map(|step| {
            let name = nodes[step.column.at()].name.clone();
            let changed = step.changed.expect("a short column is compared");
            (name, step.evaluated, changed)
        })
        .filter(|(name, _, _)| !name.contains('#') && !name.contains(".found_"))
        .collect();
    steps.sort();
    steps
}

/// The names of columns in a trace.
fn names(steps: &[(String, usize, usize)]) -> Vec<&str> {
    steps.iter().map(|(name, _, _)| &**name).collect()
}

/// The names of columns in a trace that changed.
fn changed(steps: &[(String, usize, usize)]) -> Vec<&str> {
    let changed = steps.iter().filter(|(_, _, changed)| *changed > 0);
    changed.map(|(name, _, _)| &**name).collect()
}

#[test]
fn a_length_reaches_what_is_computed_from_it_in_its_row_alone() {
    let mut story = campus();
    story.set("links", "L1", "length", "120 m");
    let steps = trace(&story);
    let computed = [
        "links.acceptance_limit",
        "links.budget_margin",
        "links.cable_price",
        "links.certain_loss",
        "links.dispersion",
        "links.estimate_margin",
        "links.estimate_penalty",
        "links.far_light",
        "links.far_rx_high",
        "links.far_rx_low",
        "links.fibre_loss",
        "links.headroom",
        "links.hop_latency",
        "links.is_tight",
        "links.is_unknown",
        "links.least_loss",
        "links.light_gap",
        "links.loss",
        "links.margin",
        "links.near_light",
        "links.near_rx_high",
        "links.near_rx_low",
        "links.overload",
        "links.pad",
        "links.pair_delay",
        "links.pair_loss",
        "links.pair_skew",
        "links.power_drop",
        "links.propagation",
        "links.rx_high",
        "links.rx_low",
        "links.used_cords",
        "links.used_length",
    ];
    assert_eq!(names(&steps), computed);
    assert!(steps.iter().all(|(_, evaluated, _)| *evaluated == 1));
    let moved = [
        "links.acceptance_limit",
        "links.budget_margin",
        "links.certain_loss",
        "links.estimate_margin",
        "links.estimate_penalty",
        "links.far_rx_high",
        "links.far_rx_low",
        "links.fibre_loss",
        "links.headroom",
        "links.hop_latency",
        "links.least_loss",
        "links.loss",
        "links.margin",
        "links.near_rx_high",
        "links.near_rx_low",
        "links.propagation",
        "links.rx_high",
        "links.rx_low",
        "links.used_length",
    ];
    assert_eq!(changed(&steps), moved);
}

#[test]
fn an_edit_that_changes_no_value_stops_at_its_first_readers() {
    let mut story = campus();
    story.set("links", "L1", "medium", "om3");
    let steps = trace(&story);
    assert_eq!(changed(&steps), [""; 0]);
    let reached = names(&steps);
    assert!(reached.contains(&"links.used_medium"), "{reached:?}");
    for column in [
        "links.fibre_loss",
        "links.loss",
        "links.reach",
        "links.verdict",
    ] {
        assert!(!reached.contains(&column), "{column}");
    }
}

#[test]
fn a_note_reaches_nothing() {
    let mut story = campus();
    story.set("links", "L1", "notes", "behind the filter tank");
    assert_eq!(story.engine().trace(), []);
}

#[test]
fn the_speed_of_an_access_link_reaches_its_switch_and_no_other() {
    let mut story = campus();
    let before = story.cell("switches", "South hall", "ratio_connected");
    story.set("links", "A1", "speed", "0.1 Gb/s");
    let steps = trace(&story);
    let reached = [
        "links.capacity",
        "links.correction",
        "links.flow_ceiling",
        "links.hop_latency",
        "links.line_speed",
        "links.route_capacity",
        "links.serialization",
        "links.verdict",
        "switches.access_connected",
        "switches.access_side",
        "switches.is_tight",
        "switches.is_unknown",
        "switches.ratio",
        "switches.ratio_connected",
        "switches.ratio_standby",
        "switches.worst_link_ratio",
        "switches.worst_ratio",
        "switches.worst_route_ratio",
    ];
    assert_eq!(names(&steps), reached);
    assert!(steps.iter().all(|(_, evaluated, _)| *evaluated == 1));
    let connected = |hall| story.number("switches", hall, "access_connected", "Gb/s");
    assert_eq!(
        (connected("North hall"), connected("South hall")),
        (0.1, 1.0)
    );
    assert_eq!(
        story.cell("switches", "South hall", "ratio_connected"),
        before
    );
}

#[test]
fn the_speed_of_an_uplink_reaches_both_its_ends() {
    let mut story = campus();
    story.set("links", "L1", "speed", "1 Gb/s");
    let capacity = |hall, column| story.number("switches", hall, column, "Gb/s");
    assert_eq!(capacity("North hall", "uplink_capacity"), 1.0);
    assert_eq!(capacity("South hall", "uplink_capacity"), 10.0);
    assert_eq!(capacity("Pump house", "downlinks"), 11.0);
}

#[test]
fn a_sum_over_a_missing_value_is_missing() {
    let mut story = campus();
    story.set("links", "A1", "interface", "");
    for column in [
        "access_connected",
        "access_side",
        "ratio",
        "ratio_connected",
    ] {
        assert!(
            story.is_missing("switches", "North hall", column),
            "{column}"
        );
        assert!(
            !story.is_missing("switches", "South hall", column),
            "{column}"
        );
    }
    assert_eq!(story.text("switches", "North hall", "verdict"), "unknown");
    // A link that forwards nothing is not in the sum, known or not.
    story.set("links", "A1", "state", "out");
    let connected = story.number("switches", "North hall", "access_connected", "Gb/s");
    assert_eq!(connected, 0.0);
}

#[test]
fn a_removed_link_leaves_every_sum() {
    let mut story = campus();
    story.remove("links", "L1");
    assert_eq!(story.number("switches", "North hall", "uplinks", ""), 0.0);
    assert!(story.is_missing("switches", "North hall", "ratio"));
    assert_eq!(
        story.number("switches", "Pump house", "downlinks", "Gb/s"),
        10.0
    );
}

#[test]
fn a_switch_that_gets_its_row_late_is_found_by_its_links() {
    let story = campus().link(
        "L3",
        &[
            ("from", "Ray pool"),
            ("role", "uplink"),
            ("speed", "10 Gb/s"),
        ],
    );
    assert_eq!(story.cell("links", "L3", "near_cage"), Cell::Missing);
    let story = story.switch("ray pool", &[("access_cage", "SFP")]);
    let capacity = story.number("switches", "Ray pool", "uplink_capacity", "Gb/s");
    assert_eq!(capacity, 10.0);
}

#[test]
fn columns_in_a_loop_are_told_and_spoil_no_others() {
    let mut story = campus();
    let links = story.sheet("links");
    let column = story.plan().def(links).column("fibre_loss").unwrap();
    story.apply(Edit::SetFormula {
        sheet: links,
        column,
        formula: Some("margin / 2".to_owned()),
    });
    let story = story.told();
    let problems: Vec<_> = story.engine().problems().collect();
    assert!(
        problems.iter().all(|problem| problem.code == "cycle"),
        "{problems:?}"
    );
    let around = "the loop is links.fibre_loss -> links.margin -> links.loss -> links.fibre_loss";
    assert!(
        problems
            .iter()
            .any(|problem| problem.help.contains(&around.to_owned())),
        "{problems:?}"
    );
    assert!(story.is_missing("links", "L1", "margin"));
    assert_eq!(story.number("links", "L1", "reach", "m"), 300.0);
}

#[test]
fn a_new_formula_needs_a_new_engine() {
    let mut story = campus();
    let links = story.sheet("links");
    let column = story.plan().def(links).column("headroom").unwrap();
    let change = story.apply(Edit::SetFormula {
        sheet: links,
        column,
        formula: Some("reach - length - 10 m".to_owned()),
    });
    let mut old = campus().told();
    assert!(!old.follow(&change.touched));
    assert_eq!(story.told().number("links", "L1", "headroom", "m"), 190.0);
}

/// A row of typed cells for a sheet of a story.
fn row(story: &Story, sheet: &str, cells: &[(&str, &str)]) -> Edit {
    let sheet = story.sheet(sheet);
    let typed = cells.iter().map(|(column, text)| {
        let column = story.plan().def(sheet).column(column).expect("a column");
        (
            column,
            read_entry(story.plan(), sheet, column, text).expect("an entry"),
        )
    });
    Edit::AddRows {
        sheet,
        at: 0,
        rows: vec![typed.collect()],
    }
}

#[test]
fn a_switch_and_its_link_may_come_in_one_step() {
    let mut story = campus();
    let switch = row(&story, "switches", &[("id", "Ray pool")]);
    let link = row(
        &story,
        "links",
        &[
            ("id", "L3"),
            ("from", "Ray pool"),
            ("role", "uplink"),
            ("speed", "10 Gb/s"),
        ],
    );
    let capacity = |story: &Story| story.number("switches", "Ray pool", "uplink_capacity", "Gb/s");
    let change = story.apply(Edit::Group(vec![switch, link]));
    assert_eq!(capacity(&story), 10.0);
    let again = story.apply(change.inverse);
    story.apply(again.inverse);
    assert_eq!(capacity(&story), 10.0);
}

#[test]
fn a_link_that_is_moved_and_removed_in_one_step_leaves_its_first_switch() {
    let mut story = campus();
    let (links, row) = (story.sheet("links"), story.row_of("links", "L1"));
    let column = story.plan().def(links).column("from").unwrap();
    let south = read_entry(story.plan(), links, column, "South hall").unwrap();
    story.apply(Edit::Group(vec![
        Edit::SetCells {
            sheet: links,
            cells: vec![((column, row), south)],
        },
        Edit::RemoveRows {
            sheet: links,
            rows: vec![row],
        },
    ]));
    assert_eq!(story.number("switches", "North hall", "uplinks", ""), 0.0);
    assert_eq!(story.number("switches", "South hall", "uplinks", ""), 1.0);
}

#[test]
fn a_link_that_is_taken_out_and_put_elsewhere_in_one_step_counts_once() {
    let mut story = campus();
    let (sheet, row) = (story.sheet("links"), story.row_of("links", "L2"));
    story.apply(Edit::Group(vec![
        Edit::RemoveRows {
            sheet,
            rows: vec![row],
        },
        Edit::RestoreRows {
            sheet,
            rows: vec![(0, row)],
        },
    ]));
    assert_eq!(
        story.number("switches", "Pump house", "lower_links", ""),
        2.0
    );
    assert_eq!(story.number("switches", "South hall", "uplinks", ""), 1.0);
}

/// Results of many rows do not depend on how many threads computed them.
#[test]
fn one_thread_and_several_give_the_same_bits() {
    let mut story = Story::new();
    for at in 0..40 {
        story = story.switch(
            &format!("s{at}"),
            &[("access_ports", "24"), ("access_speed", "1 Gb/s")],
        );
    }
    for at in 0..3000 {
        let (from, to) = (format!("s{}", at % 40), format!("s{}", (at * 7) % 40));
        let length = format!("{}", 1.0 + f64::from(at) * 0.37);
        let role = if at % 5 == 0 { "uplink" } else { "access" };
        let cells = [
            ("from", from.as_str()),
            ("to", to.as_str()),
            ("role", role),
            ("interface", "10GBASE-SR"),
            ("medium", "OM4"),
            ("length", length.as_str()),
        ];
        story = story.link(&format!("L{at}"), &cells);
    }
    let plan = story.plan();
    let with = |n_threads| {
        let pool = rayon::ThreadPoolBuilder::new()
            .num_threads(n_threads)
            .build()
            .unwrap();
        pool.install(|| portledger::trade::engine(plan))
    };
    let (one, four) = (with(1), with(4));
    for at in 0..one.graph().nodes.len() {
        let column = portledger::table::ColumnId(u32::try_from(at).unwrap());
        let bits = |column: &portledger::table::Column| {
            column
                .numbers()
                .iter()
                .map(|value| value.to_bits())
                .collect::<Vec<_>>()
        };
        assert_eq!(bits(one.values(column)), bits(four.values(column)));
        assert_eq!(one.values(column).codes(), four.values(column).codes());
    }
}

#[test]
fn yes_no_and_unknown_go_together_as_three_values() {
    let said = [None, Some(false), Some(true)];
    let length = |p: Option<bool>| p.map_or("", |p| if p { "100 m" } else { "10 m" });
    let splices = |q: Option<bool>| q.map_or("", |q| if q { "4" } else { "1" });
    let pairs: Vec<_> = said.iter().flat_map(|p| said.map(|q| (*p, q))).collect();
    let mut story = Story::new();
    for (at, (p, q)) in pairs.iter().enumerate() {
        let cells = [("length", length(*p)), ("splices", splices(*q))];
        let given: Vec<_> = cells
            .into_iter()
            .filter(|cell| !cell.1.is_empty())
            .collect();
        story = story.link(&format!("L{at}"), &given);
    }
    let story = story.told();
    let answers = |text: &str| -> Vec<Option<bool>> {
        let links = story.sheet("links");
        let flags = story.engine().condition(story.plan(), links, text);
        let flags = flags.unwrap_or_else(|problems| panic!("{text}: {problems:?}"));
        let of_row = |at| flags[story.row_of("links", &format!("L{at}")).at()];
        let told = |flag| (flag != NO_FLAG).then_some(flag == 1);
        (0..pairs.len()).map(of_row).map(told).collect()
    };
    let either = pairs.iter().map(|(p, q)| match (p, q) {
        (Some(true), _) | (_, Some(true)) => Some(true),
        (Some(false), Some(false)) => Some(false),
        (None, _) | (_, None) => None,
    });
    let either: Vec<_> = either.collect();
    for text in [
        "length > 50 m or splices > 2",
        "splices > 2 or length > 50 m",
        "not (not (length > 50 m) and not (splices > 2))",
    ] {
        assert_eq!(answers(text), either, "{text}");
    }
}

#[test]
fn rows_stand_by_text_then_as_they_stood() {
    let story = Story::new()
        .link("L10", &[("from", "Tank 10"), ("role", "uplink")])
        .link("L2", &[("from", "tank 2"), ("role", "access")])
        .link("L1", &[("from", "Tank 2"), ("role", "uplink")])
        .link("L3", &[])
        .told();
    let links = story.sheet("links");
    let sorted = |keys: &[(&str, bool)]| -> Vec<String> {
        let mut rows = story.plan().rows(links).order().to_vec();
        let keys = keys.iter();
        let keys: Vec<_> = keys
            .map(|(name, down)| (story.column("links", name), *down))
            .collect();
        story.engine().sorted(story.plan(), links, &mut rows, &keys);
        rows.iter()
            .map(|row| story.plan().id(links, *row))
            .collect()
    };
    assert_eq!(sorted(&[("id", false)]), ["L1", "L2", "L3", "L10"]);
    assert_eq!(sorted(&[("id", true)]), ["L10", "L3", "L2", "L1"]);
    // Equal texts keep the order they had; a row without one stands last either way.
    assert_eq!(sorted(&[("from", false)]), ["L2", "L1", "L10", "L3"]);
    assert_eq!(sorted(&[("from", true)]), ["L10", "L2", "L1", "L3"]);
    assert_eq!(
        sorted(&[("role", false), ("from", true)]),
        ["L2", "L10", "L1", "L3"]
    );
}

#[test]
fn a_formula_that_is_no_column_counts_each_of_its_own_sums() {
    let story = campus();
    let switches = story.sheet("switches");
    // No column counts these two; the third is counted by a column already.
    let text = "total(links.length * 2, links.from == this) / 1 m \
                + tally(links.length > 30 m and links.from == this) * 1000";
    let values = story
        .engine()
        .column_of(story.plan(), switches, text)
        .unwrap()
        .1;
    let north = story.row_of("switches", "North hall").at();
    assert_eq!(values.numbers()[north], 2.0 * 120.0 + 1000.0);
    let pump = story.row_of("switches", "Pump house").at();
    assert_eq!(values.numbers()[pump], 0.0);
}

#[test]
fn a_reason_lists_the_rows_of_a_sum_where_they_are_few() {
    let listed = |n: usize| {
        let from = [("from", "North hall"), ("interface", "10GBASE-SR")];
        let mut story = Story::new().switch("North hall", &[]);
        for at in 1..=n {
            let up = [("role", "uplink"), ("to", "Pump house")];
            story = story.link(&format!("U{at}"), &[&from[..], &up].concat());
        }
        let story = story.link("A1", &[&from[..], &[("role", "access")]].concat());
        let story = story.told();
        let column = story.column("switches", "uplink_capacity");
        let row = story.row_of("switches", "North hall");
        let reason = story.engine().reason(story.plan(), column, row);
        let sum = &reason.inputs[0];
        assert_eq!(sum.origin, "over the rows of links");
        let rows = sum.inputs.iter();
        rows.map(|row| row.name.clone()).collect::<Vec<String>>()
    };
    // The access link is of the same switch and does not count.
    assert_eq!(listed(2), ["U1", "U2"]);
    assert_eq!(listed(8).len(), 8);
    assert_eq!(listed(9), Vec::<String>::new());
}

#[test]
fn a_reason_says_of_each_input_what_it_is() {
    let story = campus();
    let (plan, links) = (story.plan(), story.sheet("links"));
    let column = story.engine().find_column(links, "used_length").unwrap();
    let reason = story
        .engine()
        .reason(plan, column, story.row_of("links", "L1"));
    let input = |name: &str| reason.inputs.iter().find(|input| input.name == name);
    let length = input("length").unwrap();
    assert_eq!((&*length.value, &*length.origin), ("100 m", "entered"));
    let story = Story::new().link("L1", &[]).told();
    let row = story.row_of("links", "L1");
    let reason = story.engine().reason(story.plan(), column, row);
    let length = reason.inputs.iter().find(|input| input.name == "length");
    let length = length.unwrap();
    assert_eq!((&*length.value, &*length.origin), ("not entered", ""));
    assert_eq!(reason.value, "unknown");
}

#[test]
fn a_column_that_is_an_assumption_follows_it() {
    let mut story = campus();
    let sheet = story.sheet("links");
    let column = story.plan().def(sheet).column("margin").unwrap();
    story.apply(Edit::SetFormula {
        sheet,
        column,
        formula: Some("assume.reserve".to_owned()),
    });
    let story = story.told().assume("reserve", "0.75 dB");
    assert_eq!(story.number("links", "L1", "margin", "dB"), 0.75);
}

#[test]
fn a_sum_over_more_rows_than_are_asked_lists_none_of_them() {
    let listed = |n_access: usize| {
        let from = [("from", "North hall"), ("interface", "10GBASE-SR")];
        let up = [("role", "uplink"), ("to", "Pump house")];
        let mut story = Story::new().switch("North hall", &[]);
        story = story.link("U1", &[&from[..], &up].concat());
        for at in 1..=n_access {
            let access = [&from[..], &[("role", "access")]].concat();
            story = story.link(&format!("A{at}"), &access);
        }
        let story = story.told();
        let column = story.column("switches", "uplink_capacity");
        let row = story.row_of("switches", "North hall");
        let reason = story.engine().reason(story.plan(), column, row);
        reason.inputs[0].inputs.len()
    };
    assert_eq!(listed(199), 1);
    assert_eq!(listed(200), 0);
}

/// A link with a module read at its near end, and one at its far end for each name.
fn read_at_both_ends(far: &[&str]) -> Story {
    let near = [("link", "L1"), ("end", "near")];
    let story = campus().row("modules", "near one", &near);
    let at_far = |story: Story, id: &&str| story.row("modules", id, &[near[0], ("end", "far")]);
    far.iter().fold(story, at_far).told()
}

/// The module at the other end of a link, and whether an engine made anew says the same.
#[track_caller]
fn partner(story: &Story) -> Option<String> {
    let (sheet, row) = (story.sheet("modules"), story.row_of("modules", "near one"));
    let column = story.column("modules", "partner");
    let followed = story.engine().row_at(column, row);
    assert_eq!(followed, engine(story.plan()).row_at(column, row));
    let mut rows = story.plan().rows(sheet).order().iter();
    let found = rows.find(|row| row.0 == followed)?;
    Some(story.plan().id(sheet, *found))
}

#[test]
fn a_row_that_is_searched_by_what_is_computed_may_go_and_come_back() {
    let mut story = read_at_both_ends(&["far one"]);
    assert_eq!(partner(&story).as_deref(), Some("far one"));
    let (sheet, row) = (story.sheet("modules"), story.row_of("modules", "far one"));
    let rows = vec![row];
    let gone = story.apply(Edit::RemoveRows { sheet, rows });
    assert_eq!(partner(&story), None);
    story.apply(gone.inverse);
    assert_eq!(partner(&story).as_deref(), Some("far one"));
}

#[test]
fn of_rows_with_one_key_the_last_is_found_also_when_they_change_places() {
    let mut story = read_at_both_ends(&["far one", "another"]);
    assert_eq!(partner(&story).as_deref(), Some("another"));
    let sheet = story.sheet("modules");
    let mut order = story.plan().rows(sheet).order().to_vec();
    order.reverse();
    let back = story.apply(Edit::Reorder { sheet, order }).inverse;
    assert_eq!(partner(&story).as_deref(), Some("far one"));
    story.apply(back);
    assert_eq!(partner(&story).as_deref(), Some("another"));
}

#[test]
fn of_two_ways_that_take_as_long_a_path_goes_by_the_link_that_stands_first() {
    let cells = [
        ("from", "North hall"),
        ("to", "Pump house"),
        ("interface", "10GBASE-SR"),
        ("medium", "OM3"),
        ("length", "100 m"),
    ];
    let mut story = Story::new()
        .switch("North hall", &[])
        .switch("Pump house", &[])
        .link("L1", &cells)
        .link("L2", &cells)
        .row("paths", "camera", &cells[..2])
        .told();
    assert_eq!(story.text("paths", "camera", "taken"), "L1");
    let sheet = story.sheet("links");
    let mut order = story.plan().rows(sheet).order().to_vec();
    order.reverse();
    let back = story.apply(Edit::Reorder { sheet, order }).inverse;
    assert_eq!(story.text("paths", "camera", "taken"), "L2");
    story.apply(back);
    assert_eq!(story.text("paths", "camera", "taken"), "L1");
    story.set("links", "L1", "length", "101 m");
    assert_eq!(story.text("paths", "camera", "taken"), "L2");
}

#[test]
fn a_misspelt_name_of_a_plan_is_told_the_near_one() {
    let story = campus();
    let links = story.sheet("links");
    let told = |text: &str| {
        let problems = story.engine().compile(story.plan(), text, Some(links));
        render(&problems.expect_err("a misspelt name")[0], false)
    };
    for (text, near) in [
        (
            "row_of(chanels, chanels.interface == interface)",
            "channels",
        ),
        ("length * assume.reserv", "reserve"),
        ("lenght * 2", "length"),
        ("pick(medium == \"OM3\", medium, \"OMM3\") == medium", "OM3"),
    ] {
        let told = told(text);
        assert!(told.contains(&format!("did you mean `{near}`?")), "{told}");
    }
    let told = told("row_of(squids, squids.interface == interface)");
    assert!(!told.contains("did you mean"), "{told}");
}

#[test]
fn a_part_of_a_sentence_is_told_in_the_unit_of_the_first_column_that_measures_as_it_does() {
    let story = campus();
    let (links, row) = (story.sheet("links"), story.row_of("links", "L1"));
    let told = |text: &str| {
        let sentence = Sentence::new(story.plan(), story.engine(), links, text);
        sentence.fill(story.plan(), story.engine(), links, row)
    };
    // Alone they are told in the unit in which they are short.
    assert_eq!(told("{5 ns * 2}"), "10 ns");
    assert_eq!(told("{1000 Gb/s * 2}"), "2 Tb/s");
    assert_eq!(told("{propagation * 0 + 5 ns * 2}"), "0.01 µs");
    assert_eq!(told("{capacity * 200}"), "2000 Gb/s");
    // A capacity stands before the time, and measures something else.
    let of_two = "{pick(capacity > 1 Gb/s, propagation * 0 + 5 ns * 2, 1 s)}";
    assert_eq!(told(of_two), "0.01 µs");
}

#[test]
fn a_reason_names_the_row_that_two_references_lead_to() {
    let mut story = campus().row("modules", "M1", &[("link", "L1"), ("end", "near")]);
    story.set("switches", "Pump house", "building", "Pumps");
    let sheet = story.sheet("modules");
    story.apply(Edit::AddColumn {
        sheet,
        def: ColumnDef {
            name: "above".to_owned(),
            title: "Above".to_owned(),
            doc: "The building that the link of the module leads to.".to_owned(),
            unit: String::new(),
            kind: ColumnKind::Text,
            choices: Vec::new(),
            to: None,
            formula: Some("link.to.building".to_owned()),
            decimals: None,
            source: String::new(),
            quiet: false,
        },
    });
    let story = story.told();
    let (column, row) = (
        story.column("modules", "above"),
        story.row_of("modules", "M1"),
    );
    let reason = story.engine().reason(story.plan(), column, row);
    assert_eq!(reason.value, "Pumps");
    let building = story.column("switches", "building");
    let pump_house = story.row_of("switches", "Pump house");
    assert_ne!(pump_house.0, 0, "no row that is found by chance");
    let [input] = &reason.inputs[..] else {
        panic!("{:?}", reason.inputs);
    };
    assert_eq!((&*input.name, &*input.value), ("link.to.building", "Pumps"));
    assert_eq!(input.cell, Some((building, pump_house)));
}
