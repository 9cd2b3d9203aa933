//! Rules that hold for any way through segments, any face and any unit: told from the other end it
//! is the same way, what fails is never better, and the unit that is typed changes nothing.
//!
//! Rules for links without segments are in `properties`.

use super::properties::{badness, in_one_story, one_link, type_link};
use super::story::Story;
use portledger::plan::Edit;
use portledger::table::{Cell, SheetId};
use proptest::prelude::*;

/// Cells of a segment towards the near end of its link, each with its twin at the other side.
const SIDES: &[(&str, &str)] = &[
    ("polish", "far_polish"),
    ("gender", "far_gender"),
    ("near_face", "far_face"),
];

/// What does not depend on the end from which a link of segments is told.
const SAME_WAY: &[&str] = &[
    "used_length",
    "loss",
    "reach",
    "least_loss",
    "turns",
    "core_mix_loss",
    "faces_passed",
    "faces_failed",
    "found_faces_1",
    "found_faces_2",
    "found_polish_mix_1",
    "found_polish_mix_2",
    "found_polarity_1",
    "found_polarity_2",
    "found_polarity_3",
    "found_polarity_4",
    "found_fibre_mix_1",
    "verdict",
];

/// One segment: its two sides (polish, pins, face), how it turns, its medium and length.
type Segment = ([[&'static str; 2]; 3], &'static str, &'static str, u32);

fn segment() -> impl Strategy<Value = Segment> {
    let word = |words: &'static [&'static str]| prop::sample::select(words);
    // What is left empty at the far side is the same as at the near one, so both or none are given.
    let pair = |words: &'static [&'static str]| {
        prop_oneof![
            1 => Just(["", ""]),
            4 => (word(words), word(words)).prop_map(|(near, far)| [near, far]),
        ]
    };
    let faces = (
        word(&["", "cleaned", "passed", "failed"]),
        word(&["", "cleaned", "passed", "failed"]),
    );
    (
        pair(&["PC", "UPC", "APC"]),
        pair(&["pinned", "unpinned"]),
        faces,
        word(&[
            "",
            "A-to-B",
            "A-to-A",
            "array A",
            "array B",
            "array C",
            "cassette straight",
            "cassette flipped",
        ]),
        word(&["OM3", "OM3", "OM1", "OS2"]),
        0..90_u32,
    )
        .prop_map(|(polish, gender, faces, polarity, medium, length)| {
            let sides = [polish, gender, [faces.0, faces.1]];
            (sides, polarity, medium, length)
        })
}

/// Types the segments of the link, from the near end on or from the far end on.
fn type_way(story: &mut Story, segments: &[Segment], turned: bool) {
    for at in 0..4 {
        let id = format!("S{at}");
        let mut set = |column: &str, text: &str| story.set("segments", &id, column, text);
        let Some((sides, polarity, medium, length)) = segments.get(at) else {
            set("link", "");
            continue;
        };
        let order = if turned { segments.len() - at } else { at + 1 };
        set("link", "L1");
        set("order", &order.to_string());
        set("polarity", polarity);
        set("medium", medium);
        set("length", &length.to_string());
        for ((near, far), [a, b]) in SIDES.iter().zip(sides) {
            let (a, b) = if turned { (b, a) } else { (a, b) };
            set(near, a);
            set(far, b);
        }
    }
}

fn alike(a: &Cell, b: &Cell) -> bool {
    match (a, b) {
        (Cell::Number(a), Cell::Number(b)) => (a - b).abs() <= 1e-9 * a.abs().max(1e-12),
        _ => a == b,
    }
}

#[test]
fn a_way_told_from_its_other_end_is_the_same_way() {
    let word = |words: &'static [&'static str]| prop::sample::select(words);
    let way = (
        word(&["10GBASE-SR", "40GBASE-SR4", "10GBASE-LR"]),
        (word(&["", "UPC", "APC"]), word(&["", "UPC", "APC"])),
        prop::collection::vec(segment(), 1..5),
    );
    let story = (0..4).fold(one_link(), |story, at| {
        story.row("segments", &format!("S{at}"), &[])
    });
    in_one_story(300, story, &way, |story, (interface, polish, segments)| {
        type_link(story, &[("interface", interface), ("state", "in service")]);
        let mut told = Vec::new();
        for turned in [false, true] {
            let (near, far) = if turned { (polish.1, polish.0) } else { polish };
            type_link(story, &[("polish", near), ("far_polish", far)]);
            type_way(story, &segments, turned);
            let cells = SAME_WAY
                .iter()
                .map(|column| story.cell("links", "L1", column));
            told.push(cells.collect::<Vec<_>>());
        }
        for ((column, a), b) in SAME_WAY.iter().zip(&told[0]).zip(&told[1]) {
            prop_assert!(alike(a, b), "{}: {:?}, turned {:?}", column, a, b);
        }
        Ok(())
    });
}

#[test]
fn a_face_that_fails_is_never_better_than_one_that_passed() {
    const STATES: [&str; 4] = ["passed", "cleaned", "", "failed"];
    let state = prop::sample::select(&["planned", "in service", "spare"][..]);
    let choices = (0..4_usize, 0..4_usize, state);
    in_one_story(60, one_link(), &choices, |story, (near, far, state)| {
        type_link(
            story,
            &[
                ("interface", "10GBASE-SR"),
                ("medium", "OM3"),
                ("length", "40"),
                ("state", state),
            ],
        );
        let mut judge = |near: usize| {
            type_link(
                story,
                &[("near_face", STATES[near]), ("far_face", STATES[far])],
            );
            let passed = story.number("links", "L1", "faces_passed", "");
            (badness(&story.verdict("L1")), passed)
        };
        let (now, passed) = judge(near);
        for worse in near..STATES.len() {
            let (then, left) = judge(worse);
            prop_assert!(then >= now && left <= passed, "{} {}", near, worse);
        }
        Ok(())
    });
}

/// The unit of a column, another one for the same, and how many places of ten lie between.
const UNITS: &[(&str, &str, i32)] = &[
    ("m", "km", -3),
    ("m", "cm", 2),
    ("mm", "m", -3),
    ("mm", "cm", -1),
    ("Gb/s", "Mb/s", 3),
    ("Mb/s", "Gb/s", -3),
    ("W", "mW", 3),
    ("µs", "ns", 3),
    ("nm", "µm", -3),
    ("mA", "A", -3),
];

/// A whole number with its point moved by some places, as a person writes it.
fn moved(number: u32, places: i32) -> String {
    let digits = number.to_string();
    let n_places = places.unsigned_abs() as usize;
    if places >= 0 {
        return digits + &"0".repeat(n_places);
    }
    let digits = format!("{digits:0>width$}", width = n_places + 1);
    let (whole, part) = digits.split_at(digits.len() - n_places);
    format!("{whole}.{part}")
}

/// All values of all rows of a person.
fn everything(story: &Story) -> Vec<(String, Cell)> {
    let (plan, engine) = (story.plan(), story.engine());
    let mut all = Vec::new();
    for (at, sheet) in engine
        .schema()
        .iter()
        .enumerate()
        .filter(|(_, sheet)| !sheet.reference)
    {
        let id = plan.sheet(&sheet.name).expect("a sheet");
        assert_eq!(id.at(), at);
        for row in plan.rows(id).order() {
            for (position, column) in sheet.columns.iter().enumerate() {
                let cell = engine.cell(plan, engine.column(id, position), *row);
                all.push((column.name.clone(), cell));
            }
        }
    }
    all
}

/// A plan with something in each sheet that a person fills.
fn campus() -> Story {
    let hall = [
        ("access_ports", "24"),
        ("access_speed", "1"),
        ("users", "9"),
        ("activity", "20"),
        ("user_rate", "30"),
        ("growth", "10"),
    ];
    let link = |interface, medium, role| {
        [
            ("from", "North hall"),
            ("to", "Pump house"),
            ("interface", interface),
            ("medium", medium),
            ("role", role),
            ("length", "50"),
            ("power_class", "4"),
        ]
    };
    Story::new()
        .switch("North hall", &hall)
        .switch("Pump house", &[])
        .link("L1", &link("10GBASE-SR", "OM3", "uplink"))
        .link("L2", &link("1000BASE-T", "Cat6", "access"))
        .row("segments", "S1", &[("link", "L1"), ("order", "1")])
        .row("readings", "R1", &[("link", "L1"), ("date", "2031-05-28")])
        .row("modules", "M1", &[("link", "L1"), ("end", "near")])
        .row("parts", "glass", &[("kind", "cable"), ("medium", "OM3")])
        .row(
            "paths",
            "P1",
            &[("from", "North hall"), ("to", "Pump house")],
        )
}

/// A cell that takes a number with a unit: its sheet and column, the unit and another one.
type Typed = (SheetId, usize, &'static str, &'static str, i32);

/// Every column of every sheet of a person with each other unit for it.
fn typed_columns(story: &Story) -> Vec<Typed> {
    let plan = story.plan();
    let mut all = Vec::new();
    for name in [
        "links", "switches", "paths", "parts", "modules", "segments", "readings",
    ] {
        let sheet = plan.sheet(name).expect("a sheet");
        for (at, column) in plan.def(sheet).columns.iter().enumerate() {
            let others = UNITS.iter().filter(|(unit, ..)| *unit == column.unit);
            if column.formula.is_none() {
                all.extend(others.map(|(unit, other, places)| (sheet, at, *unit, *other, *places)));
            }
        }
    }
    all
}

#[test]
fn the_unit_in_which_a_number_is_typed_changes_nothing() {
    let story = campus();
    let columns = typed_columns(&story);
    assert!(columns.len() > 20, "{}", columns.len());
    let choices = (prop::sample::select(columns), 0..2_u8, 1..3_000_u32);
    in_one_story(250, story, &choices, |story, (typed, row, number)| {
        let (sheet, column, unit, other, places) = typed;
        let rows = story.plan().rows(sheet).order();
        let row = rows[usize::from(row) % rows.len()];
        let before = story.plan().entry(sheet, column, row);
        let (name, id) = (
            story.plan().def(sheet).name.clone(),
            story.plan().id(sheet, row),
        );
        let title = story.plan().def(sheet).columns[column].name.clone();
        let mut told = Vec::new();
        for text in [
            format!("{number} {unit}"),
            format!("{} {other}", moved(number, places)),
        ] {
            story.set(&name, &id, &title, &text);
            told.push(everything(story));
        }
        for ((of, a), (_, b)) in told[0].iter().zip(&told[1]) {
            prop_assert!(
                alike(a, b),
                "{} by {} of {}: {:?}, {:?}",
                of,
                title,
                id,
                a,
                b
            );
        }
        story.apply(Edit::SetCells {
            sheet,
            cells: vec![((column, row), before)],
        });
        Ok(())
    });
}
