//! What modules say of themselves against what their links plan.
//!
//! How dumps are read is tested beside the code that reads them.

use super::story::Story;
use portledger::problem::Severity;

/// A link with an interface at each end, and a module at the near end.
fn link(medium: &str, ends: [&str; 2], found: &str) -> Story {
    let [near, far] = ends;
    Story::new()
        .link(
            "L1",
            &[
                ("interface", near),
                ("far_interface", far),
                ("medium", medium),
                ("length", "100 m"),
            ],
        )
        .row(
            "modules",
            "near one",
            &[("link", "L1"), ("end", "near"), ("interface", found)],
        )
}

/// The verdict on a module and how much its difference weighs.
fn verdict(story: &Story, id: &str) -> (String, Option<Severity>) {
    let found = story.findings_at("modules", id);
    let differs = found
        .iter()
        .find(|finding| finding.check == "module-differs");
    (
        story.text("modules", id, "verdict"),
        differs.map(|finding| finding.severity),
    )
}

fn fits() -> (String, Option<Severity>) {
    ("fits".to_owned(), None)
}

fn fails() -> (String, Option<Severity>) {
    ("fails".to_owned(), Some(Severity::Stop))
}

fn tight() -> (String, Option<Severity>) {
    ("tight".to_owned(), Some(Severity::Caution))
}

fn unknown() -> (String, Option<Severity>) {
    ("unknown".to_owned(), None)
}

#[test]
fn the_planned_interface_fits_at_either_end() {
    let mut story = link("OS2", ["10GBASE-LR", ""], "10gbase-lr").told();
    assert_eq!(verdict(&story, "near one"), fits());
    story.set("modules", "near one", "end", "far");
    assert_eq!(verdict(&story, "near one"), fits());
}

#[test]
fn another_interface_than_the_other_end_is_a_stop_until_both_are_the_same() {
    let mut story = link("OS2", ["10GBASE-LR", ""], "10GBASE-ER").told();
    assert_eq!(verdict(&story, "near one"), fails());
    let finding = &story.findings_at("modules", "near one")[0];
    assert_eq!(
        finding.sentence,
        "planned 10GBASE-LR, found 10GBASE-ER, which does not work with 10GBASE-LR at the other end"
    );
    story = story
        .row(
            "modules",
            "far one",
            &[("link", "L1"), ("end", "far"), ("interface", "10GBASE-ER")],
        )
        .told();
    assert_eq!(verdict(&story, "near one"), tight());
    assert_eq!(verdict(&story, "far one"), tight());
    // The plan is put right: both fit.
    story.set("links", "L1", "interface", "10GBASE-ER");
    assert_eq!(verdict(&story, "near one"), fits());
    assert_eq!(verdict(&story, "far one"), fits());
    // The far module moves away, to no link.
    story.set("links", "L1", "interface", "10GBASE-LR");
    story.set("modules", "far one", "link", "");
    assert_eq!(verdict(&story, "near one"), fails());
    assert_eq!(verdict(&story, "far one"), unknown());
}

#[test]
fn two_way_ends_go_with_their_other_half_alone() {
    let ends = ["1000BASE-BX10-D", "1000BASE-BX10-U"];
    let mut story = link("OS2", ends, "1000BASE-BX10-D").told();
    assert_eq!(verdict(&story, "near one"), fits());
    // Two of a kind do not work, though they are the same.
    story.set("modules", "near one", "interface", "1000BASE-BX10-U");
    assert_eq!(verdict(&story, "near one"), fails());
    // Both ends swapped do.
    let story = story
        .row(
            "modules",
            "far one",
            &[("link", "L1"), ("end", "far"), ("interface", ends[0])],
        )
        .told();
    assert_eq!(verdict(&story, "near one"), tight());
}

#[test]
fn what_a_module_does_not_say_is_unknown_and_no_finding() {
    let mut story = link("OM3", ["10GBASE-SR", ""], "").told();
    assert_eq!(verdict(&story, "near one"), unknown());
    // A name that no interface has is no interface.
    story.set("modules", "near one", "interface", "10GBASE-QQ");
    assert_eq!(story.text("modules", "near one", "verdict"), "unknown");
    story.set("modules", "near one", "interface", "");
    story.set("modules", "near one", "could_be", "10GBASE-SR, 1000BASE-SX");
    assert_eq!(verdict(&story, "near one"), unknown());
    story.set("modules", "near one", "could_be", "10GBASE-LR, 10GBASE-LRM");
    assert_eq!(verdict(&story, "near one"), tight());
    // The name of one is the beginning of another.
    story.set("links", "L1", "interface", "1000BASE-LX");
    story.set(
        "modules",
        "near one",
        "could_be",
        "1000BASE-SX, 1000BASE-LX10",
    );
    assert_eq!(verdict(&story, "near one"), tight());
    story.set(
        "modules",
        "near one",
        "could_be",
        "1000BASE-LX10, 1000BASE-LX",
    );
    assert_eq!(verdict(&story, "near one"), unknown());
}

#[test]
fn readings_of_a_module_are_not_measurements_of_the_link() {
    let mut story = link("OS2", ["10GBASE-LR", ""], "10GBASE-LR").told();
    story.set("modules", "near one", "rx_power", "-25 dBm");
    story.set("modules", "near one", "rx_alarm_low", "-16 dBm");
    assert!(story.is_missing("links", "L1", "measured_rx"));
    assert!(story.is_missing("links", "L1", "light_gap"));
    assert_eq!(story.objections_at("modules", "near one"), ["module-alarm"]);
    assert_eq!(story.text("modules", "near one", "verdict"), "tight");
    // On the shelf it is dark, and nothing is wrong.
    story.set("modules", "near one", "link", "");
    story.set("modules", "near one", "rx_state", "no light");
    assert_eq!(story.objections_at("modules", "near one"), [""; 0]);
}

#[test]
fn a_coding_is_compared_with_that_of_the_switch_at_its_own_end() {
    let mut story = link("OS2", ["10GBASE-LR", ""], "10GBASE-LR")
        .switch("North hall", &[("coding", "Tide")])
        .switch("Pump house", &[("coding", "Ebb")])
        .told();
    story.set("links", "L1", "from", "North hall");
    story.set("links", "L1", "to", "Pump house");
    let coded = |story: &mut Story, end: &str, coding: &str| {
        story.set("modules", "near one", "end", end);
        story.set("modules", "near one", "coding", coding);
        story.text("modules", "near one", "verdict")
    };
    for (end, coding, expected) in [
        ("near", "tide", "fits"),
        ("near", "Ebb", "tight"),
        ("near", "", "unknown"),
        ("far", "Tide", "tight"),
        ("far", "EBB", "fits"),
        ("far", "", "unknown"),
    ] {
        assert_eq!(coded(&mut story, end, coding), expected, "{end} {coding}");
    }
    // A switch of which nobody knows, or that takes all, asks for nothing.
    for coding in ["", "any", "Any"] {
        story.set("switches", "Pump house", "coding", coding);
        assert_eq!(coded(&mut story, "far", ""), "fits", "{coding}");
        assert_eq!(coded(&mut story, "far", "Tide"), "fits", "{coding}");
    }
}
