//! Tests of the line over the demo plan: what a person reads while typing, and any keys at all.

use super::*;
use crate::sheet::ColumnKind;
use crate::table::RowId;
use crate::table::SheetId;
use proptest::prelude::*;

const THEME: Theme = Theme {
    colours: false,
    ascii: true,
};

fn demo() -> Desk {
    Desk::demo().unwrap()
}

fn place(desk: &Desk, sheet: &str, row: &str) -> (SheetId, RowId) {
    let sheet = desk.plan().sheet(sheet).unwrap();
    (sheet, desk.plan().find(sheet, row).unwrap())
}

fn cell(desk: &Desk, row: &str, column: &str) -> Purpose {
    let (sheet, row) = place(desk, "links", row);
    let column = desk.plan().def(sheet).column(column).unwrap();
    Purpose::Cell { sheet, row, column }
}

fn formula(desk: &Desk, column: &str) -> Purpose {
    let (sheet, row) = place(desk, "links", "M104");
    let column = desk.plan().def(sheet).column(column).unwrap();
    Purpose::Formula {
        sheet,
        column,
        row: Some(row),
    }
}

fn keep(desk: &Desk) -> Purpose {
    let (sheet, row) = place(desk, "links", "M104");
    Purpose::Keep {
        sheet,
        row: Some(row),
    }
}

fn column(desk: &Desk) -> Purpose {
    let (sheet, row) = place(desk, "links", "M104");
    Purpose::Column {
        sheet,
        row: Some(row),
    }
}

fn press(code: KeyCode) -> KeyEvent {
    KeyEvent::new(code, KeyModifiers::NONE)
}

fn control(letter: char) -> KeyEvent {
    KeyEvent::new(KeyCode::Char(letter), KeyModifiers::CONTROL)
}

/// The line with its content replaced by typed text; a `|` is where the cursor goes.
fn typed(desk: &Desk, purpose: Purpose, text: &str) -> Entry {
    let mut entry = Entry::new(purpose, desk);
    entry.key(control('e'), desk);
    entry.key(control('u'), desk);
    let (before, after) = text.split_once('|').unwrap_or((text, ""));
    for c in before.chars().chain(after.chars()) {
        entry.key(press(KeyCode::Char(c)), desk);
    }
    for _ in after.chars() {
        entry.key(press(KeyCode::Left), desk);
    }
    entry
}

fn under(entry: &Entry, desk: &Desk, width: usize) -> String {
    let lines = entry.lines(desk, width, THEME);
    let lines: Vec<String> = lines
        .iter()
        .map(|line| line.text().trim_end().to_owned())
        .collect();
    lines.join("\n")
}

fn drawn(entry: &Entry, width: u16) -> (String, (u16, u16)) {
    let area = Rect::new(0, 0, width, 1);
    let mut buffer = ratatui::buffer::Buffer::empty(area);
    let mut paint = Paint {
        buffer: &mut buffer,
        theme: THEME,
    };
    let cursor = entry.draw(area, &mut paint);
    let text = buffer.content.iter().map(|cell| cell.symbol()).collect();
    (text, cursor)
}

/// The whole picture: the line with what stands under it.
fn picture(entry: &Entry, desk: &Desk, width: u16) -> String {
    let line = drawn(entry, width).0;
    format!(
        "{}\n{}",
        line.trim_end(),
        under(entry, desk, usize::from(width))
    )
}

/// Asserts that all of these stand in a picture.
fn holds(picture: &str, parts: &[&str]) {
    for part in parts {
        assert!(picture.contains(part), "no `{part}` in\n{picture}");
    }
}

#[test]
fn a_cell_begins_with_its_content_and_unit() {
    let desk = demo();
    let entry = Entry::new(cell(&desk, "M104", "length"), &desk);
    assert_eq!(entry.text(), "80 m");
    assert_eq!(drawn(&entry, 40).1, (19, 0));
    let begun = Entry::begun(cell(&desk, "M104", "length"), '7', &desk);
    assert_eq!(begun.text(), "7");
    let (links, m104) = place(&desk, "links", "M104");
    let (_, m105) = place(&desk, "links", "M105");
    let column = desk.plan().def(links).column("state").unwrap();
    let rows = vec![m104, m105];
    let purpose = Purpose::Cells {
        sheet: links,
        rows,
        column,
    };
    assert_eq!(Entry::new(purpose, &desk).text(), "in service");
}

#[test]
fn a_quantity_in_another_unit_is_told_in_that_of_the_column() {
    let desk = demo();
    let entry = typed(&desk, cell(&desk, "M104", "length"), "250 ft");
    holds(
        &picture(&entry, &desk, 80),
        &["= 76.2 m", "now 80 m", "The length of the route"],
    );
    let entry = typed(&desk, cell(&desk, "M104", "speed"), "10G");
    holds(&picture(&entry, &desk, 80), &["= 10 Gb/s"]);
}

#[test]
fn a_wrong_cell_stays_with_its_problem() {
    let desk = demo();
    let mut entry = typed(&desk, cell(&desk, "M104", "length"), "about 30");
    holds(
        &under(&entry, &desk, 80),
        &["wrong: `about 30` is not a number"],
    );
    assert_eq!(entry.key(press(KeyCode::Enter), &desk), Reply::Stay);
    assert_eq!(entry.text(), "about 30");
    assert_eq!(entry.key(press(KeyCode::Esc), &desk), Reply::Cancel);

    let mut entry = typed(&desk, cell(&desk, "M104", "length"), "90");
    entry.refuse(Problem::new("row-builtin", "this row stays"));
    holds(&under(&entry, &desk, 80), &["wrong: this row stays"]);
    entry.key(press(KeyCode::Char('1')), &desk);
    assert!(!under(&entry, &desk, 80).contains("wrong"));
    assert_eq!(
        entry.key(press(KeyCode::Enter), &desk),
        Reply::Take("901".to_owned())
    );
}

#[test]
fn interfaces_that_reach_come_first() {
    let desk = demo();
    let entry = typed(&desk, cell(&desk, "M104", "interface"), "10g");
    let told = under(&entry, &desk, 80);
    let offered: Vec<&str> = told
        .lines()
        .filter(|line| line.starts_with("  10G"))
        .collect();
    assert_eq!(
        offered[0].trim(),
        "10GBASE-SR      10 Gb/s, reach 400 m on OM4"
    );
    assert!(offered[1].ends_with("no specified reach on OM4"), "{told}");
    assert!(offered.len() <= 8 && told.ends_with(" more"), "{told}");
    let entry = typed(&desk, cell(&desk, "M104", "medium"), "om");
    holds(
        &under(&entry, &desk, 80),
        &["OM4  multimode, reach 100 m with 25GBASE-SR"],
    );
    let entry = typed(&desk, cell(&desk, "M104", "from"), "filter");
    holds(&under(&entry, &desk, 80), &["acc-filter  pump house"]);
}

#[test]
fn tab_completes_and_then_goes_on() {
    let desk = demo();
    let mut entry = typed(&desk, cell(&desk, "M104", "role"), "up");
    assert!(
        !under(&entry, &desk, 80).contains("wrong"),
        "a beginning is not wrong yet"
    );
    assert_eq!(entry.key(press(KeyCode::Tab), &desk), Reply::Stay);
    assert_eq!(entry.text(), "uplink");
    let moved = Reply::TakeAndMove("uplink".to_owned(), Direction::Right);
    assert_eq!(entry.key(press(KeyCode::Tab), &desk), moved);
    let moved = Reply::TakeAndMove("uplink".to_owned(), Direction::Left);
    assert_eq!(entry.key(press(KeyCode::BackTab), &desk), moved);

    let mut entry = typed(&desk, cell(&desk, "M104", "role"), "up");
    assert_eq!(entry.key(press(KeyCode::Enter), &desk), Reply::Stay);
    holds(
        &under(&entry, &desk, 80),
        &["wrong: `up` is not one of the choices"],
    );
}

#[test]
fn arrows_choose_and_enter_takes_what_is_chosen() {
    let desk = demo();
    let mut entry = Entry::new(cell(&desk, "M104", "medium"), &desk);
    entry.key(press(KeyCode::Down), &desk);
    entry.key(press(KeyCode::Down), &desk);
    holds(&under(&entry, &desk, 80), &["> OM4"]);
    entry.key(press(KeyCode::Up), &desk);
    assert_eq!(
        entry.key(press(KeyCode::Enter), &desk),
        Reply::Take("OM3".to_owned())
    );
    let mut untouched = Entry::new(cell(&desk, "M104", "medium"), &desk);
    let moved = Reply::TakeAndMove("OM4".to_owned(), Direction::Right);
    assert_eq!(untouched.key(press(KeyCode::Tab), &desk), moved);
    let mut plain = Entry::new(cell(&desk, "M104", "length"), &desk);
    assert_eq!(plain.key(press(KeyCode::Up), &desk), Reply::Pass);
    assert_eq!(plain.key(press(KeyCode::F(1)), &desk), Reply::Pass);
    assert_eq!(plain.key(control('c'), &desk), Reply::Pass);
}

#[test]
fn a_name_of_no_switch_is_told_but_taken() {
    let desk = demo();
    let mut entry = typed(&desk, cell(&desk, "M104", "from"), "acc-rf");
    holds(
        &under(&entry, &desk, 90),
        &["no switch has this name yet", "did you mean `acc-reef`?"],
    );
    assert_eq!(
        entry.key(press(KeyCode::Enter), &desk),
        Reply::Take("acc-rf".to_owned())
    );
}

#[test]
fn marks_stand_under_their_characters() {
    let desk = demo();
    let entry = typed(&desk, formula(&desk, "loss"), "fibre_loss + length");
    let shown = picture(&entry, &desk, 80);
    let lines: Vec<&str> = shown.lines().collect();
    assert_eq!(lines[0], "loss = fibre_loss + length");
    assert_eq!(lines[1], "       ^^^^^^^^^^   ^^^^^^");
    holds(
        &shown,
        &["wrong: cannot add m to dB", "`length`: this is m"],
    );

    // Characters that take two cells, and an accent that takes none.
    let entry = typed(
        &desk,
        keep(&desk),
        "notes == \"水e\u{301}\" and lngth > 1 m",
    );
    let shown = picture(&entry, &desk, 80);
    let lines: Vec<&str> = shown.lines().collect();
    assert_eq!(lines[1], "                                   ^^^^^");
    holds(&shown, &["did you mean `length`?"]);
}

#[test]
fn marks_out_of_view_are_pointed_to() {
    let desk = demo();
    let text = "lngth + fibre_loss + connection_loss + splice_loss + extra_loss";
    let entry = typed(&desk, formula(&desk, "loss"), text);
    let shown = picture(&entry, &desk, 40);
    assert_eq!(shown.lines().nth(1), Some("       <"));
}

#[test]
fn a_formula_is_shown_with_its_value_now_and_then() {
    let desk = demo();
    let entry = typed(&desk, formula(&desk, "loss"), "fibre_loss + 1 dB");
    holds(&under(&entry, &desk, 80), &["M104: 1.28 dB; now 1.78 dB"]);
    let entry = typed(&desk, formula(&desk, "loss"), "measured_loss + 1 dB");
    holds(
        &under(&entry, &desk, 80),
        &["unknown, because `measured_loss` has no value there"],
    );
    let entry = typed(&desk, formula(&desk, "loss"), "length");
    holds(
        &under(&entry, &desk, 80),
        &["wrong: the formula gives m, wanted is dB"],
    );
}

#[test]
fn a_formula_that_reads_itself_is_refused_with_the_loop() {
    let desk = demo();
    let mut entry = typed(&desk, formula(&desk, "loss"), "margin");
    holds(
        &under(&entry, &desk, 80),
        &["links.loss -> links.margin -> links.loss"],
    );
    assert_eq!(entry.key(press(KeyCode::Enter), &desk), Reply::Stay);
    for name in ["loss", "loss_limit", "margin", "verdict"] {
        let Some(column) = desk
            .plan()
            .def(place(&desk, "links", "M104").0)
            .column(name)
        else {
            continue;
        };
        let text = desk
            .plan()
            .column(place(&desk, "links", "M104").0, column)
            .formula
            .clone();
        let mut entry = Entry::new(formula(&desk, name), &desk);
        assert_eq!(
            entry.key(press(KeyCode::Enter), &desk),
            Reply::Take(text.unwrap())
        );
    }
}

#[test]
fn the_call_at_the_cursor_is_explained() {
    let desk = demo();
    let entry = typed(&desk, formula(&desk, "loss"), "least(1 dB, |2 dB)");
    holds(
        &under(&entry, &desk, 80),
        &["least(a, b, ...)   b: a number of the same unit"],
    );
    let entry = typed(&desk, formula(&desk, "loss"), "abs(1, |)");
    holds(&under(&entry, &desk, 80), &["no more arguments"]);
}

#[test]
fn names_are_completed_where_the_cursor_is() {
    let desk = demo();
    for (purpose, text, completed) in [
        (keep(&desk), "mar", "margin"),
        (keep(&desk), "medium.ki", "medium.kind"),
        (keep(&desk), "from.buil", "from.building"),
        (
            keep(&desk),
            "channel.interface.lan",
            "channel.interface.lanes",
        ),
        (
            keep(&desk),
            "margin < assume.res",
            "margin < assume.reserve",
        ),
        (keep(&desk), "margin < reserv", "margin < assume.reserve"),
        (keep(&desk), "mos| + 1", "most( + 1"),
        (keep(&desk), "lea|(1, 2)", "least(1, 2)"),
        (keep(&desk), "tally(switc", "tally(switches."),
        (
            keep(&desk),
            "tally(switches.buil",
            "tally(switches.building",
        ),
        (keep(&desk), "role == \"up", "role == \"uplink\""),
        (
            keep(&desk),
            "one_of(state, \"ord",
            "one_of(state, \"ordered\"",
        ),
        (keep(&desk), "medium == \"om4", "medium == \"OM4\""),
        (
            keep(&desk),
            "attenuation_at(\"om4",
            "attenuation_at(\"OM4\"",
        ),
        (column(&desk), "half = len", "half = length"),
        (column(&desk), "spare row of sw", "spare row of switches"),
    ] {
        let mut entry = typed(&desk, purpose, text);
        assert_eq!(entry.key(press(KeyCode::Tab), &desk), Reply::Stay);
        assert_eq!(entry.text(), completed, "{text}");
    }
}

#[test]
fn a_condition_has_to_say_yes_or_no() {
    let desk = demo();
    let entry = typed(&desk, keep(&desk), "margin < 1 dB");
    holds(&under(&entry, &desk, 80), &["M104: yes"]);
    let mut entry = typed(&desk, keep(&desk), "margin + 0 dB");
    let told = [
        "this gives a value in dB",
        "compare it: `margin + 0 dB < 1 dB`",
    ];
    holds(&under(&entry, &desk, 80), &told);
    assert_eq!(entry.key(press(KeyCode::Enter), &desk), Reply::Stay);
    let mut empty = typed(&desk, keep(&desk), "");
    assert_eq!(
        empty.key(press(KeyCode::Enter), &desk),
        Reply::Take(String::new())
    );
}

#[test]
fn own_columns_are_read_from_one_line() {
    let desk = demo();
    let links = desk.plan().sheet("links").unwrap();
    let made = |text: &str| {
        let def = read_column(&desk, links, text).unwrap();
        (def.name, def.title, def.kind, def.unit, def.formula)
    };
    let named = |name: &str, title: &str| (name.to_owned(), title.to_owned());
    for (text, (name, title), kind, unit, formula) in [
        ("rack", named("rack", "Rack"), ColumnKind::Text, "", None),
        (
            "rack_unit number",
            named("rack_unit", "Rack unit"),
            ColumnKind::Number,
            "",
            None,
        ),
        (
            "height [cm]",
            named("height", "Height"),
            ColumnKind::Number,
            "cm",
            None,
        ),
        (
            "height cm",
            named("height", "Height"),
            ColumnKind::Number,
            "cm",
            None,
        ),
        (
            "\"Höhe = oben\" height cm",
            named("height", "Höhe = oben"),
            ColumnKind::Number,
            "cm",
            None,
        ),
        (
            "phase one of plan, pull",
            named("phase", "Phase"),
            ColumnKind::Choice,
            "",
            None,
        ),
        (
            "spare row of switches",
            named("spare", "Spare"),
            ColumnKind::Row,
            "",
            None,
        ),
        (
            "half = length / 2",
            named("half", "Half"),
            ColumnKind::Number,
            "m",
            Some("length / 2"),
        ),
        (
            "half [km]=length / 2",
            named("half", "Half"),
            ColumnKind::Number,
            "km",
            Some("length / 2"),
        ),
        (
            "long = length > 9 m",
            named("long", "Long"),
            ColumnKind::Flag,
            "",
            Some("length > 9 m"),
        ),
        (
            "gear = medium",
            named("gear", "Gear"),
            ColumnKind::Row,
            "",
            Some("medium"),
        ),
    ] {
        let formula = formula.map(str::to_owned);
        assert_eq!(
            made(text),
            (name, title, kind, unit.to_owned(), formula),
            "{text}"
        );
    }
    for (text, code) in [
        ("", "name-missing"),
        ("length", "column-there"),
        ("2nd", "name-form"),
        ("switches text", "name-taken"),
        ("dB", "name-taken"),
        ("not = 1", "name-taken"),
        ("a parsec", "kind-unknown"),
        ("a one of b", "choice-short"),
        ("a row of swiches", "sheet-unknown"),
        ("\"a b", "text-open"),
        ("a = lngth", "name-unknown"),
        ("a =", "formula-empty"),
        ("a [m] = loss", "units-differ"),
    ] {
        assert_eq!(
            read_column(&desk, links, text).unwrap_err()[0].code,
            code,
            "{text}"
        );
    }
}

#[test]
fn an_own_column_is_explained_and_can_be_added() {
    let mut desk = demo();
    let text = "half [m] = length / 2";
    let entry = typed(&desk, column(&desk), text);
    let told = [
        "makes a column `half`, titled Half: computed, values in m",
        "M104: 40 m",
    ];
    holds(&under(&entry, &desk, 80), &told);
    let entry = typed(&desk, column(&desk), "half [m] = lngth");
    let shown = picture(&entry, &desk, 80);
    assert_eq!(
        shown.lines().nth(1),
        Some("                               ^^^^^")
    );
    let links = desk.plan().sheet("links").unwrap();
    let def = read_column(&desk, links, text).unwrap();
    let edit = crate::plan::Edit::AddColumn { sheet: links, def };
    desk.apply("own column", edit).unwrap();
    assert_eq!(desk.problems().count(), 0);
}

#[test]
fn new_names_are_the_next_free_ones() {
    let desk = demo();
    let (links, m104) = place(&desk, "links", "M104");
    let id = |like, after| Purpose::Id {
        sheet: links,
        like,
        after,
    };
    assert_eq!(Entry::new(id(None, Some(m104)), &desk).text(), "M122");
    let mut entry = typed(&desk, id(Some(m104), None), "m105");
    holds(
        &under(&entry, &desk, 80),
        &["already a link `m105`", "everything else as in M104"],
    );
    assert_eq!(entry.key(press(KeyCode::Enter), &desk), Reply::Stay);
    let mut entry = typed(&desk, id(None, None), "");
    assert_eq!(entry.key(press(KeyCode::Enter), &desk), Reply::Stay);
    holds(&under(&entry, &desk, 80), &["a link needs a name"]);
}

#[test]
fn assumptions_are_asked_for_with_their_source() {
    let desk = demo();
    let param = desk.plan().assumption("reserve").unwrap();
    let mut entry = Entry::new(Purpose::Assumption(param), &desk);
    assert_eq!(entry.text(), "0.5 dB");
    entry.key(control('u'), &desk);
    holds(
        &under(&entry, &desk, 80),
        &["empty: the built-in value counts, 0.5 dB"],
    );
    let wrong = typed(&desk, Purpose::Assumption(param), "1 m");
    holds(&under(&wrong, &desk, 80), &["wrong: `1 m` is in m"]);
    let source = Purpose::AssumptionSource {
        param,
        value: "1 dB".to_owned(),
    };
    let mut entry = Entry::new(source, &desk);
    assert_eq!(entry.key(press(KeyCode::Enter), &desk), Reply::Stay);
    holds(&under(&entry, &desk, 80), &["needs its source"]);
}

#[test]
fn pasting_into_the_line_makes_one_line() {
    let desk = demo();
    let mut entry = Entry::holding(Purpose::Find, "core", &desk);
    entry.paste("-a\r\nsecond\n");
    assert_eq!(entry.text(), "core-a second");
    entry.paste(&"x".repeat(1 << 20));
    assert_eq!(entry.text(), "core-a second");
    holds(&under(&entry, &desk, 80), &["the pasted text is too long"]);
}

#[test]
fn releases_of_keys_are_passed_by() {
    let desk = demo();
    let mut entry = Entry::new(Purpose::Find, &desk);
    let mut key = press(KeyCode::Char('x'));
    key.kind = KeyEventKind::Release;
    assert_eq!(entry.key(key, &desk), Reply::Stay);
    assert_eq!(entry.text(), "");
}

#[test]
fn nothing_typed_acts_on_the_terminal() {
    let desk = demo();
    let mut entry = Entry::new(keep(&desk), &desk);
    entry.paste("\"a\u{1b}[2J\u{202e}b\u{9b}");
    let shown = drawn(&entry, 60).0;
    assert!(
        shown.chars().all(|c| !c.is_control() && c != '\u{202e}'),
        "{shown:?}"
    );
}

/// Every purpose there is, over the demo.
fn purposes(desk: &Desk) -> Vec<Purpose> {
    let (links, m104) = place(desk, "links", "M104");
    let (media, om4) = place(desk, "media", "OM4");
    let param = desk.plan().assumption("reserve").unwrap();
    let n_columns = desk.engine().schema()[links.at()].columns.len();
    let cell = |column| Purpose::Cell {
        sheet: links,
        row: m104,
        column,
    };
    let mut all: Vec<Purpose> = [
        "length",
        "role",
        "interface",
        "medium",
        "from",
        "notes",
        "loss",
    ]
    .iter()
    .map(|name| cell(desk.plan().def(links).column(name).unwrap()))
    .collect();
    all.extend([
        cell(n_columns - 1),
        Purpose::Cell {
            sheet: media,
            row: om4,
            column: 1,
        },
        Purpose::Cells {
            sheet: links,
            rows: desk.plan().rows(links).order().to_vec(),
            column: 8,
        },
        Purpose::Id {
            sheet: links,
            like: Some(m104),
            after: None,
        },
        Purpose::Assumption(param),
        Purpose::AssumptionSource {
            param,
            value: "1 dB".to_owned(),
        },
        formula(desk, "loss"),
        Purpose::Formula {
            sheet: links,
            column: n_columns - 1,
            row: None,
        },
        column(desk),
        keep(desk),
        Purpose::Keep {
            sheet: media,
            row: None,
        },
        Purpose::Find,
        Purpose::SaveAs,
        Purpose::CopyTo,
        Purpose::ImportFrom,
        Purpose::MergeFrom,
        Purpose::Heading {
            heading: "Cable Len".to_owned(),
            now: "length:ft".to_owned(),
        },
        Purpose::Export,
        Purpose::Needle(NeedleFor::Actions),
    ]);
    all
}

/// What a person may do with the line.
#[derive(Debug, Clone)]
enum Doing {
    Press(KeyCode, KeyModifiers),
    Paste(String),
}

fn doing() -> impl Strategy<Value = Doing> {
    let code = prop_oneof![
        6 => prop::char::any().prop_map(KeyCode::Char),
        12 => prop::sample::select("aelmo01. \"()=<>+*,-[]水\u{301}".chars().collect::<Vec<_>>()).prop_map(KeyCode::Char),
        12 => prop::sample::select(vec![
            KeyCode::Left, KeyCode::Right, KeyCode::Home, KeyCode::End, KeyCode::Backspace,
            KeyCode::Delete, KeyCode::Tab, KeyCode::BackTab, KeyCode::Up, KeyCode::Down,
            KeyCode::Enter, KeyCode::F(5), KeyCode::Null,
        ]),
    ];
    let modifiers = prop::sample::select(vec![
        KeyModifiers::NONE,
        KeyModifiers::NONE,
        KeyModifiers::NONE,
        KeyModifiers::SHIFT,
        KeyModifiers::CONTROL,
        KeyModifiers::ALT,
    ]);
    let words = prop::sample::select(vec![
        "medium.",
        "margin < ",
        "total(links.capacity, links.from == this",
        "role == \"",
        "250 ft",
        "row_of(channels, channels.interface == ",
        "\u{1b}[31m\r\n\t",
        "half [m] = ",
        "one_of(state, \"",
        "10G",
    ]);
    prop_oneof![
        4 => (code, modifiers).prop_map(|(code, modifiers)| Doing::Press(code, modifiers)),
        1 => words.prop_map(|word| Doing::Paste(word.to_owned())),
        1 => "\\PC{0,30}".prop_map(Doing::Paste),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::with_cases(24) })]

    #[test]
    fn no_key_stops_the_line(
        doings in prop::collection::vec(doing(), 0..24),
        width in 1u16..100,
        x in 0u16..4,
    ) {
        let desk = demo();
        for purpose in purposes(&desk) {
            let mut entry = Entry::new(purpose, &desk);
            for doing in &doings {
                match doing {
                    Doing::Press(code, modifiers) => drop(entry.key(KeyEvent::new(*code, *modifiers), &desk)),
                    Doing::Paste(text) => entry.paste(text),
                }
                prop_assert!(!entry.text().contains(['\n', '\r', '\t']));
            }
            let frame = Rect::new(0, 0, width, 2);
            let mut buffer = ratatui::buffer::Buffer::empty(frame);
            let mut paint = Paint { buffer: &mut buffer, theme: THEME };
            let area = Rect::new(x, 1, width, 1);
            let cursor = entry.draw(area, &mut paint);
            if x < width {
                prop_assert!(cursor.0 >= x && cursor.0 < width && cursor.1 == 1, "{cursor:?}");
            }
            for line in entry.lines(&desk, usize::from(width), THEME) {
                crate::screen::page::draw_line(&line, false, Rect::new(0, 0, width, 1), &mut paint);
            }
        }
    }
}

#[test]
fn a_row_keeps_a_name_and_is_told_of_another_of_that_name() {
    let desk = demo();
    let mut entry = typed(&desk, cell(&desk, "M104", "id"), "");
    assert_eq!(entry.key(press(KeyCode::Enter), &desk), Reply::Stay);
    holds(&under(&entry, &desk, 80), &["wrong: a link needs a name"]);
    let entry = typed(&desk, cell(&desk, "M104", "id"), "m105");
    holds(
        &under(&entry, &desk, 80),
        &["there is already a link of this name"],
    );
    let entry = typed(&desk, cell(&desk, "M104", "id"), "m104");
    assert!(!under(&entry, &desk, 80).contains("already"));
}

#[test]
fn formulas_without_a_built_in_one_cannot_be_empty() {
    let mut desk = demo();
    let links = desk.plan().sheet("links").unwrap();
    let def = read_column(&desk, links, "half = length / 2").unwrap();
    let edit = crate::plan::Edit::AddColumn { sheet: links, def };
    desk.apply("own column", edit).unwrap();
    let entry = typed(&desk, formula(&desk, "half"), "");
    holds(
        &under(&entry, &desk, 80),
        &["wrong: `half` has no built-in formula"],
    );
    let entry = typed(&desk, formula(&desk, "loss"), "");
    holds(
        &under(&entry, &desk, 80),
        &["empty: the built-in formula counts again"],
    );
    let entry = Entry::new(formula(&desk, "length"), &desk);
    holds(
        &under(&entry, &desk, 80),
        &["wrong: `length` is entered and has no formula"],
    );
}

#[test]
fn a_word_that_is_only_begun_is_not_wrong_yet() {
    let desk = demo();
    for (text, is_wrong) in [
        ("medium.ki", false),
        ("margin < 1 dB and loss", true),
        ("mar", false),
        ("mrgn", true),
        ("role == \"up", false),
        ("role == \"zz", true),
    ] {
        let entry = typed(&desk, keep(&desk), text);
        let told = under(&entry, &desk, 80);
        assert_eq!(told.contains("wrong"), is_wrong, "{text}\n{told}");
    }
}
