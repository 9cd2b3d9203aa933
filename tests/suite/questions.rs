//! Questions that people ask before and after they buy, each answered on a plan in `tests/data/plans`
//! in the way a person would ask the program: what it says, and the numbers in it.
//!
//! Numbered in an order of our own: will it work together (1 to 6), how far and how much light
//! (7 to 9), copper outdoors (10 to 14), ratios and bundles (15 to 19), which for the future
//! (20 and 21), cleaning, safety and records (22 to 26). A published figure has its source beside it.
//!
//! Not served: whether a label tells what a cable is used for (question 26), as no program can
//! see that; the caution says it. What an eye took that looked into a fibre (question 25) is for
//! a doctor; the program gives the greatest launch to tell him.

use portledger::desk::Desk;
use portledger::problem::{Severity, render};
use portledger::table::{Cell, RowId, SheetId};
use portledger::trade::Finding;
use std::path::PathBuf;
use std::process::Command;

fn path(name: &str) -> PathBuf {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/data/plans");
    PathBuf::from(folder).join(name).with_extension("plan")
}

/// A plan, opened from its file.
struct Ask(Desk);

impl Ask {
    fn of(name: &str) -> Self {
        let desk = Desk::open(&path(name)).unwrap();
        let problems: Vec<String> = desk.problems().map(|one| render(one, false)).collect();
        assert!(problems.is_empty(), "{}", problems.join("\n"));
        Self(desk)
    }

    fn at(&self, sheet: &str, id: &str) -> (SheetId, RowId) {
        let plan = self.0.plan();
        let sheet = plan.sheet(sheet).unwrap();
        let row = plan.find(sheet, id);
        (sheet, row.unwrap_or_else(|| panic!("no row `{id}`")))
    }

    /// What a formula says of a row.
    fn says(&self, sheet: &str, id: &str, formula: &str) -> Cell {
        let at = Some(self.at(sheet, id));
        match self.0.engine().evaluate(self.0.plan(), formula, at) {
            Ok((_, cell)) => cell,
            Err(problems) => panic!("`{formula}`: {}", render(&problems[0], false)),
        }
    }

    /// Holds a condition to a row.
    #[track_caller]
    fn holds(&self, sheet: &str, id: &str, condition: &str) {
        let said = self.says(sheet, id, condition);
        assert_eq!(said, Cell::Flag(true), "{id}: {condition}");
    }

    fn verdict(&self, sheet: &str, id: &str) -> String {
        match self.says(sheet, id, "verdict") {
            Cell::Text(word) => word,
            other => panic!("{other:?}"),
        }
    }

    /// What the checks say of a row, worst first: sentence and advice.
    fn found(&self, sheet: &str, id: &str) -> Vec<Finding> {
        let (sheet, row) = self.at(sheet, id);
        let mut list = self.0.findings().list;
        list.retain(|finding| (finding.sheet, finding.row) == (sheet, row));
        list
    }

    /// The finding of a check at a row whose sentence holds a text.
    #[track_caller]
    fn told(&self, sheet: &str, id: &str, check: &str, part: &str) -> Finding {
        let found = self.found(sheet, id);
        let fits = |finding: &&Finding| finding.check == check && finding.sentence.contains(part);
        match found.iter().find(fits) {
            Some(finding) => finding.clone(),
            None => panic!("no `{check}` with `{part}` at {id}: {found:#?}"),
        }
    }

    #[track_caller]
    fn quiet(&self, sheet: &str, id: &str) {
        assert_eq!(self.found(sheet, id), [], "{id}");
    }

    /// The plan with cells typed anew, as `set` does, in memory.
    fn with(mut self, cells: &[(&str, &str, &str, &str)]) -> Self {
        for (sheet, id, column, text) in cells {
            let (sheet, row) = self.at(sheet, id);
            let column = self.0.plan().def(sheet).column(column).unwrap();
            self.0.set(sheet, row, column, text).unwrap();
        }
        self
    }
}

/// What the program prints for a call; `@name` stands for a plan of this folder.
fn prints(args: &[&str]) -> String {
    let args = args.iter().map(|arg| match arg.strip_prefix('@') {
        Some(name) => path(name).into_os_string(),
        None => (*arg).into(),
    });
    let output = Command::new(env!("CARGO_BIN_EXE_portledger"))
        .args(args)
        .env("NO_COLOR", "1")
        .output()
        .unwrap();
    let stderr = String::from_utf8(output.stderr).unwrap();
    assert_eq!(stderr, "");
    String::from_utf8(output.stdout).unwrap()
}

/// Holds texts to be there, whatever the blanks between columns.
#[track_caller]
fn shows(text: &str, parts: &[&str]) {
    let squeezed = |text: &str| {
        text.split(' ')
            .filter(|word| !word.is_empty())
            .collect::<Vec<_>>()
            .join(" ")
    };
    for part in parts {
        assert!(
            squeezed(text).contains(&squeezed(part)),
            "no `{part}` in\n{text}"
        );
    }
}

// 1. The gigabit long-wave optics ran on our multimode; will those of 10 Gb/s for 10 km, and what
// do the ones made for long multimode do differently? IEEE 802.3 clauses 38, 52 and 68: 1000BASE-LX
// has 550 m, 10GBASE-LR none, 10GBASE-LRM 220 m and 1.9 dB.
#[test]
fn q01_long_optics_on_multimode() {
    let ask = Ask::of("glass");
    let said = ask.told("links", "Y1", "medium-unknown", "no specified reach");
    assert_eq!(said.severity, Severity::Stop);
    shows(
        &said.sentence,
        &["10GBASE-LR runs on single-mode", "OM3 is multimode"],
    );
    ask.holds("links", "Y1", "not is_given(reach)");
    ask.holds("links", "Y2", "reach == 220 m and loss_limit == 1.9 dB");
    ask.holds("links", "Y3", "reach == 550 m");
    let words = ["Y1", "Y2"].map(|id| ask.verdict("links", id));
    assert_eq!(words, ["fails", "tight"]);
}

// 2. Why did eight of forty trunks show errors, and what is a conditioning cord for? IEEE 802.3
// clause 38: a cord at both ends on fibre older than OM3.
#[test]
fn q02_errors_without_conditioning_cords() {
    let ask = Ask::of("glass");
    let said = ask.told("links", "Y3", "mode-conditioning", "planned is none");
    shows(&said.sentence, &["1000BASE-LX on OM2", "both ends"]);
    shows(&said.advice, &["errors may come and go"]);
    let found = ask.found("links", "Y4");
    assert!(
        found
            .iter()
            .all(|finding| finding.check != "mode-conditioning")
    );
}

// 3. How do A and B go on over several panels? TIA-568.3-D: an odd number of turns.
#[test]
fn q03_duplex_polarity_over_panels() {
    let ask = Ask::of("glass");
    ask.holds("links", "P1", "turns == 3 and verdict == \"fits\"");
    let said = ask.told("links", "P2", "polarity", "2 turns on the way");
    assert_eq!(said.severity, Severity::Stop);
    shows(&said.advice, &["odd number of turns"]);
    // A cassette that turns the pair does what the missing cord did.
    let cured = ask.with(&[("segments", "P2-a", "polarity", "cassette flipped")]);
    cured.told("links", "P2", "polarity", "2 turns");
    let cured = cured.with(&[("segments", "P2-b", "polarity", "cassette straight")]);
    assert_eq!(cured.verdict("links", "P2"), "fits");
}

// 4. Why is this cord blue, and may it go into a green socket? IEC 61755.
#[test]
fn q04_a_flat_cord_in_an_angled_socket() {
    let ask = Ask::of("glass");
    let said = ask.told("links", "G1", "polish-mix", "APC");
    assert_eq!(said.severity, Severity::Stop);
    let met = ask.with(&[("links", "G1", "far_polish", "UPC")]);
    met.quiet("links", "G1");
}

// 5. Can a port of 40 Gb/s be split into eight links of 1 Gb/s? Form factor standards: a QSFP cage
// has four lanes, of 10 Gb/s each.
#[test]
fn q05_eight_slow_links_on_a_split_cage() {
    let ask = Ask::of("split");
    let said = ask.told("links", "E8", "breakout", "than it has lanes");
    assert_eq!(said.severity, Severity::Stop);
    shows(&said.sentence, &["lanes: 8", "a QSFP+ cage has 4"]);
    shows(&said.advice, &["splits into 4 lanes"]);
    let rate = ask.told("links", "E8", "breakout", "1 Gb/s on a lane of 10 Gb/s");
    assert_eq!(rate.severity, Severity::Caution);
    assert_eq!(ask.verdict("links", "E8"), "fails");
    // Two on one cage, at the speed of its lanes, are fine.
    ask.quiet("links", "D1");
    ask.holds("switches", "star-a", "cages_used == 3 and cage_lanes == 4");
}

// 6. The switch does not know our split cable from another maker, and the optics of one port send
// less and less: is that the heat?
#[test]
fn q06_coding_and_a_fading_laser() {
    let ask = Ask::of("split");
    let other = ask.told("modules", "SPLIT-1", "module-coding", "coded for Ebb");
    shows(
        &other.sentence,
        &["star-a needs modules coded for Tidewater"],
    );
    assert_eq!(other.severity, Severity::Caution);
    ask.told(
        "modules",
        "SPLIT-2",
        "module-coding",
        "not known how it is coded",
    );
    let words = ["SPLIT-1", "SPLIT-2", "BUOY-1"].map(|id| ask.verdict("modules", id));
    assert_eq!(words, ["tight", "unknown", "fits"]);
    let fading = ask.told(
        "readings",
        "R3",
        "laser-fades",
        "sends -3.9 dBm, 1.8 dB less",
    );
    shows(&fading.advice, &["Cleaning does not cure it", "air"]);
    // What arrives did not change, so it is no dirty face.
    ask.holds("links", "D3", "abs(light_trend) < 0.1 dB");
    ask.quiet("readings", "R2");
}

// 7. Should optics for 10 km be padded on a cross-connect of 20 m? IEEE 802.3 clause 52: LR sends
// 0.5 dBm at most and stands 0.5 dBm; ER sends 4 dBm and stands -1 dBm.
#[test]
fn q07_pads_on_a_short_cross_connect() {
    let why = prints(&["why", "@glass", "links", "X1", "overload"]);
    shows(
        &why,
        &[
            "overload: 0 dB",
            "channel.tx_max: 0.5 dBm   [10GBASE-LR on OS2;",
            "far_channel.rx_max: 0.5 dBm   [10GBASE-LR on OS2;",
        ],
    );
    let ask = Ask::of("glass");
    ask.holds("links", "X1", "pad == 0 dB and verdict == \"fits\"");
    let said = ask.told("links", "X2", "overload", "a launch of 4 dBm");
    shows(&said.sentence, &["stands -1 dBm"]);
    shows(
        &said.advice,
        &["a pad of 5 dB", "-11.2 dBm to -1 dBm", "never look into it"],
    );
}

// 8. Can a fibre be too short? Somebody says the laser burns our optics; these are my readings.
// IEEE 802.3 clause 52 as above.
#[test]
fn q08_readings_in_the_window_of_their_receiver() {
    let ask = Ask::of("records");
    ask.quiet("links", "N1");
    ask.holds(
        "links",
        "N1",
        "near_light == \"as planned\" and far_light == \"as planned\"",
    );
    // -8.2 dBm less two pairs of 0.75 dB and 20 m of 0.4 dB/km.
    ask.holds("links", "N1", "abs(near_rx_low - (-9.708 dBm)) < 1e-9 dB");
    let shown = prints(&[
        "show",
        "@records",
        "links",
        "--columns",
        "id,near_light,near_rx_low,near_rx_high",
    ]);
    shows(
        &shown,
        &[
            "N1   as planned             -9.7               0.5",
            "N2   too bright",
        ],
    );
    let said = ask.told(
        "links",
        "N2",
        "overload",
        "reads more light than it stands, -1 dBm",
    );
    assert_eq!(said.severity, Severity::Stop);
}

// 9. Do pads at both ends add up in one direction? A pad stands in one strand, so each direction
// passes one: 4 dBm less 5 dB and 0.008 dB of fibre.
#[test]
fn q09_pads_at_both_ends() {
    let ask = Ask::of("records");
    ask.quiet("links", "N3");
    for end in ["near_rx_high", "far_rx_high"] {
        let within = format!("{end} > -1.01 dBm and {end} < -1 dBm");
        ask.holds("links", "N3", &within);
    }
    ask.holds("links", "N3", "overload == 0 dB and pad == 0 dB");
}

// 10. Two houses 200 ft apart: what do I have to mind with a copper cable? IEC 62305-4.
#[test]
fn q10_copper_between_two_houses() {
    let ask = Ask::of("yard");
    ask.holds(
        "links",
        "Y1",
        "length == 200 ft and abs(length - 60.96 m) < 1e-9 m",
    );
    let said = ask.told("links", "Y1", "between-buildings", "Cat6 conducts");
    assert_eq!(said.severity, Severity::Stop);
    shows(&said.sentence, &["from pool hut to otter hall"]);
    shows(
        &said.advice,
        &["earth potentials differ", "lightning", "licensed practice"],
    );
}

// 11. A coaxial line across the car park: what of the ground potential?
#[test]
fn q11_coax_across_the_yard() {
    let ask = Ask::of("yard");
    ask.told(
        "links",
        "Y2",
        "between-buildings",
        "coax conducts and runs from gate house",
    );
    assert_eq!(ask.verdict("links", "Y2"), "fails");
}

// 12. Does fibre make the run safe from lightning, or do the ends still want protection? NFPA 70
// article 770: OFC has metal, OFN has none.
#[test]
fn q12_fibre_outdoors_and_its_metal() {
    let ask = Ask::of("yard");
    ask.quiet("links", "Y3");
    let said = ask.told("links", "Y4", "between-buildings", "metal in its sheath");
    shows(&said.advice, &["OFN, not OFC", "bond the metal"]);
    let cautions = prints(&["tables", "cautions"]);
    shows(
        &cautions,
        &["equipment at both ends still needs protection on its power side"],
    );
}

// 13. Lightning killed our cable underground; would a plastic pipe have helped?
#[test]
fn q13_a_plastic_pipe() {
    let ask = Ask::of("yard");
    let said = ask.told("links", "Y5", "between-buildings", "Cat5e conducts");
    shows(&said.advice, &["through a plastic pipe as well"]);
}

// 14. An old cable of more than 100 m between houses is flaky: what do I put in its place?
#[test]
fn q14_what_replaces_an_old_run() {
    let ask = Ask::of("yard");
    ask.told("links", "Y6", "between-buildings", "Cat5 conducts");
    let said = ask.told("links", "Y6", "copper-length", "130 m of Cat5");
    shows(&said.sentence, &["100 m"]);
    ask.told("links", "Y6", "pair-loss", "22.9 dB at 62.5 MHz");
    let glass = ask.with(&[
        ("links", "Y6", "state", "planned"),
        ("links", "Y6", "interface", "1000BASE-LX"),
        ("links", "Y6", "medium", "OS2"),
    ]);
    assert_eq!(glass.verdict("links", "Y6"), "fits");
    let said = glass.told("parts", "LX1", "parts-short", "need 2, 1 are in stock");
    shows(&said.advice, &["Order 1 more"]);
}

// 15. What is oversubscription, and how is it computed? A published answer: 48 ports of 1 Gb/s
// over one uplink of 10 Gb/s are 4.8 to 1; over two of them, 2.4 to 1.
#[test]
fn q15_how_a_ratio_is_computed() {
    let why = prints(&["why", "@load", "switches", "acc-ray", "ratio"]);
    shows(
        &why,
        &[
            "ratio: 2.4",
            "= pick(20 Gb/s > 0 Gb/s, 48 Gb/s / 20 Gb/s, missing)",
        ],
    );
    Ask::of("load").holds("switches", "acc-ray", "worst_ratio == 4.8");
}

// 16. Which ratio is right at the top of a rack? 48 ports of 10 Gb/s over four uplinks of 40 Gb/s are
// 3 to 1 (a published example); whether that is much is for the planner to say, by switch.
#[test]
fn q16_a_target_for_each_switch() {
    let ask = Ask::of("load");
    ask.holds("switches", "leaf-wide", "ratio == 3 and ratio_limit == 20");
    ask.quiet("switches", "leaf-wide");
    let said = ask.told("switches", "leaf-close", "ratio", "a ratio of 3 to 1");
    shows(&said.sentence, &["the target, 2 to 1"]);
    shows(&said.advice, &["rule of thumb"]);
}

// 17. Are uplinks four times as fast as the access ports enough, and what if one fails?
#[test]
fn q17_a_ratio_with_one_uplink_out() {
    let ask = Ask::of("load");
    ask.holds("switches", "leaf-fast", "ratio == 3 and worst_ratio == 4");
    let said = ask.told("switches", "leaf-fast", "worst-ratio", "4 to 1");
    shows(&said.sentence, &["the target, 3 to 1"]);
}

// 18. Why is a bundle loaded unevenly; are 2, 4 or 8 members better than 3? Vendor practice: flows
// fall on eight buckets, of which one of three members has three.
#[test]
fn q18_three_members() {
    let ask = Ask::of("load");
    let said = ask.told(
        "links",
        "T3",
        "members",
        "3 members share 8 buckets unevenly",
    );
    assert_eq!(said.severity, Severity::Note);
    shows(&said.sentence, &["0.375", "26.667 Gb/s of 30 Gb/s"]);
    shows(&said.advice, &["2, 4 or 8 members"]);
    ask.quiet("links", "T4");
}

// 19. Can one transfer be faster than one member? IEEE 802.1AX: frames of one flow stay on one.
#[test]
fn q19_one_flow_and_its_member() {
    let ask = Ask::of("load");
    ask.holds(
        "links",
        "F1",
        "capacity == 2 Gb/s and flow_ceiling == 1 Gb/s",
    );
    let said = ask.told("links", "F1", "members", "one flow of 1.8 Gb/s");
    shows(&said.sentence, &["no more than one member, 1 Gb/s"]);
    shows(&said.advice, &["faster interface"]);
    ask.quiet("links", "F2");
}

// 20. 1 or 10 Gb/s for the backbone of a new house? Compound growth of 25 % a year from 0.48 Gb/s:
// ln(1 / 0.48) / ln(1.25) and ln(10 / 0.48) / ln(1.25) years.
#[test]
fn q20_how_long_a_backbone_lasts() {
    let ask = Ask::of("load");
    for (id, uplink) in [("hall-slow", 1.0_f64), ("hall-quick", 10.0)] {
        let years = (uplink / 0.48).ln() / 1.25_f64.ln();
        ask.holds(
            "switches",
            id,
            &format!("abs(years_left - {years} yr) < 1e-6 yr"),
        );
    }
    ask.holds("links", "B1", "headroom == 330 m");
    ask.holds("links", "B2", "headroom == 80 m");
    ask.told("switches", "hall-slow", "ratio", "48 to 1");
}

// 21. Multimode or single-mode for the next ten years? What each step costs and how far it may go,
// side by side; what has no price is not free. IEEE 802.3 clauses 95, 112, 114 and 140.
#[test]
fn q21_two_kinds_of_glass_side_by_side() {
    let shown = prints(&[
        "show",
        "@future",
        "links",
        "--columns",
        "id,interface,reach,margin,price,watts,verdict",
        "--where",
        "from == \"squid-a\" and to == \"squid-b\"",
    ]);
    shows(
        &shown,
        &[
            "M1  10GBASE-SR        400     1.08        197.5",
            "M3  100GBASE-SR4      100     0.08        501.5       11  ▲ tight",
            "S1  10GBASE-LR      10000     4.66          191",
            "S3  100GBASE-DR       500     1.46                    11  ● fits",
        ],
    );
    let ask = Ask::of("future");
    ask.holds("links", "M1", "price == 2 * 38 money + 90 m * 1.35 money/m");
    // The same glass carries every step, so its price is paid once.
    ask.holds(
        "links",
        "S3",
        "not is_given(price) and abs(cable_price - 63 money) < 1e-9 money",
    );
    ask.holds("links", "D1", "price == 24 money and verdict == \"fits\"");
}

// 22. 10 Gb/s in a plant on 62.5 µm fibre from before: how far? IEEE 802.3 clauses 52 and 68: 33 m
// at 200 MHz km, 26 m at 160 MHz km; LRM 220 m, on 50 µm fibre of 400 MHz km 100 m with 1.7 dB.
#[test]
fn q22_reach_by_the_exact_class_of_old_fibre() {
    let ask = Ask::of("future");
    ask.holds(
        "links",
        "H1",
        "reach == 33 m and headroom == 0 m and verdict == \"tight\"",
    );
    let said = ask.told("links", "H2", "reach", "33 m of MM62.5-160");
    shows(&said.sentence, &["10GBASE-SR, 26 m"]);
    ask.holds(
        "links",
        "H3",
        "reach == 220 m and loss_limit == 1.9 dB and verdict == \"tight\"",
    );
    let said = ask.told("links", "H4", "reach", "200 m of MM50-400");
    shows(&said.sentence, &["10GBASE-LRM, 100 m"]);
    ask.holds("links", "H4", "loss_limit == 1.7 dB");
}

// 23. Does anybody clean and look at every face? IEC 61300-3-35: each face, and the result is kept.
#[test]
fn q23_a_tick_for_each_face() {
    let ask = Ask::of("records");
    ask.quiet("links", "N5");
    let said = ask.told("links", "N4", "faces", "1 of 2 faces passed");
    assert_eq!(said.severity, Severity::Note);
    let said = ask.told("links", "N6", "faces", "1 of 2 faces did not pass");
    assert_eq!(said.severity, Severity::Stop);
    shows(&said.advice, &["clean and inspect again", "Never look"]);
    let who = prints(&[
        "show",
        "@records",
        "links",
        "--columns",
        "id,near_face,far_face,faces_by",
    ]);
    shows(
        &who,
        &[
            "N4   passed     cleaned    Ida 2031-03-04",
            "N6   failed                Bo 2031-03-05",
        ],
    );
}

// 24. Is a microscope or a trace the proof that a face is clean, and is a direct view dangerous?
// IEC 61300-3-35 and IEC 60825-2. What counts is a level that is kept and compared.
#[test]
fn q24_what_proves_a_clean_face() {
    let cautions = prints(&["tables", "cautions"]);
    shows(
        &cautions,
        &[
            "use a microscope with a screen, never one to look through",
            "a reflectometer does not show a clean face",
            "IEC 61300-3-35",
        ],
    );
    let ask = Ask::of("glass");
    let said = ask.told(
        "links",
        "V1",
        "light-drift",
        "-1.7 dB since the first reading",
    );
    shows(
        &said.advice,
        &["A dirty face comes first", "clean and inspect both ends"],
    );
    // 800 m of 0.4 dB/km and two pairs of 0.75 dB: 1.82 dB by TIA-568.3-D.
    let said = ask.told("links", "V1", "loss-high", "1.9 dB");
    shows(&said.sentence, &["the acceptance limit, 1.82 dB"]);
}

// 25. Is it dangerous to look into a fibre? I did, by accident. IEC 60825-1: never, lit or not.
#[test]
fn q25_a_look_into_a_fibre() {
    let cautions = prints(&["tables", "cautions"]);
    shows(
        &cautions,
        &[
            "Never look into a fibre or a port, lit or not",
            "tells an eye doctor",
        ],
    );
    let checked = Command::new(env!("CARGO_BIN_EXE_portledger"))
        .args(["check".into(), path("glass").into_os_string()])
        .output()
        .unwrap();
    let checked = String::from_utf8(checked.stdout).unwrap();
    let last = checked.lines().last().unwrap();
    assert!(
        last.starts_with("Never look into a fibre or port"),
        "{last}"
    );
    // The greatest launch of 10GBASE-LR, for the doctor: 10^(0.5 / 10) mW.
    assert_eq!(prints(&["calc", "to_watt(0.5 dBm)"]), "1.1220184543 mW\n");
}

// 26. How do you keep a list of cables? One id at both ends, that stands once and looks like no
// other.
#[test]
fn q26_one_id_for_each_cable() {
    let ask = Ask::of("records");
    ask.told("links", "N-6", "name-alike", "`N-6` looks like `N6`");
    let list = ask.0.findings().list;
    let twice = list
        .iter()
        .find(|finding| finding.sentence.contains("`N7` stands twice"));
    assert_eq!(twice.unwrap().check, "name-alike");
    let cautions = prints(&["tables", "cautions"]);
    shows(
        &cautions,
        &["one id on both ends of a cable, never what it is used for"],
    );
}
