//! What a plan file has to keep, told by examples and by plans nobody would write.

use super::*;
use crate::files::sample::fresh;
use crate::plan::Edit;
use crate::plan::Entry;
use crate::plan::MAX_WIDTH;
use crate::plan::MOST_ROWS;
use crate::plan::Plan;
use crate::plan::SheetView;
use crate::problem::Problem;
use crate::problem::Severity;
use crate::sheet::CaseDef;
use crate::sheet::CheckDef;
use crate::sheet::ColumnDef;
use crate::table::ParamId;
use crate::table::SheetId;
use crate::units::Units;
use proptest::prelude::*;

const LINKS: SheetId = SheetId(0);
const MEDIA: SheetId = SheetId(2);

/// The example of the header, with most of what a file can hold.
const CAMPUS: &str = r#"portledger = 1
title = "Aquarium campus"

[assumptions]
reserve = { value = "1 dB", source = "house rule" }

[severities]
ratio = "off"
reach = "caution"

[view.links]
order = ["to", "from", "double"]
hidden = ["notes"]
width = { from = 12, ticket = 8 }

[[column]]
sheet = "links"
name = "ticket"
title = "Ticket"
kind = "text"

[[formula]]
sheet = "links"
column = "double"
formula = "length + length"

[[check]]
sheet = "links"
name = "long"
doc = "a long link"
source = "house rule"
[[check.case]]
when = "length > 90 m"
severity = "caution"
say = "{length} is long"
advise = "look for a shorter way"

[rows]
links = '''
id,from,to,length,notes,ticket
L1,quarantine,pump house,85,"dry, warm",T-1
L2,hall 2,pump house,0.5,,
'''
switches = '''
id,access_ports
pump house,48
'''
"#;

fn sealed(body: &str) -> String {
    format!("{body}{SEAL}{}\n", checksum(body))
}

fn opened(text: &str) -> (Plan, Vec<Problem>) {
    read(text, fresh).unwrap_or_else(|problem| panic!("{problem}\n{text}"))
}

fn codes(text: &str) -> Vec<&'static str> {
    opened(text).1.iter().map(|problem| problem.code).collect()
}

/// A text with these problems, none of which loses anything: saved once it stays as it is.
fn check(text: &str, expected: &[&str]) -> Plan {
    let (plan, problems) = opened(text);
    let found: Vec<&str> = problems.iter().map(|problem| problem.code).collect();
    assert_eq!(found, expected, "{problems:#?}");
    let once = write(&plan);
    assert_eq!(write(&opened(&once).0), once);
    plan
}

#[test]
fn a_file_we_wrote_comes_back_byte_by_byte() {
    let text = sealed(CAMPUS);
    let plan = check(&text, &[]);
    assert_eq!(write(&plan), text);
    assert_eq!(
        plan.entry(LINKS, 9, plan.find(LINKS, "L1").unwrap()),
        Entry::Number(85.0)
    );
    assert_eq!(plan.severities["reach"], Some(Severity::Caution));
    assert_eq!(plan.own_checks[0].1.cases.len(), 1);
    assert_eq!(plan.view(LINKS).order, ["to", "from", "double"]);
    assert_eq!(plan.view(LINKS).width["ticket"], 8);
    assert!(plan.view(MEDIA).is_default());
}

#[test]
fn a_view_is_kept_whatever_stands_in_it() {
    let text = r#"portledger = 1
[view]
boats = { order = ["keel"] }
media = 3
[view.links]
order = ["to", "colour", "to"]
hidden = [1, 2]
width = { from = 12, to = 0, colour = 9, length = "wide" }
folded = true
"#;
    let expected = [
        vec!["changed-outside"],
        vec!["unknown-key"; 6],
        vec!["view-column"],
    ]
    .concat();
    let mut found = codes(text);
    found.sort_unstable();
    assert_eq!(found, expected);
    let (mut plan, _) = opened(text);
    let saved = write(&plan);
    assert_eq!(write(&opened(&saved).0), saved);
    for kept in [
        "boats = ",
        "media = 3",
        "hidden = [1, 2]",
        "to = 0",
        "folded = true",
        "colour = 9",
    ] {
        assert!(saved.contains(kept), "{kept}\n{saved}");
    }
    // What a person sets takes the place of what nobody understood.
    let view = SheetView {
        hidden: ["notes".to_owned()].into(),
        width: [("to".to_owned(), 5), ("length".to_owned(), 6)].into(),
        ..SheetView::default()
    };
    for sheet in [LINKS, MEDIA] {
        let view = view.clone();
        plan.apply(Edit::SetView { sheet, view }).unwrap();
    }
    let saved = write(&plan);
    assert_eq!(write(&opened(&saved).0), saved);
    assert_eq!(opened(&saved).0.view(LINKS), &view);
    for gone in ["[1, 2]", "to = 0", "wide", "media = 3"] {
        assert!(!saved.contains(gone), "{gone}\n{saved}");
    }
}

#[test]
fn an_empty_plan_is_two_lines() {
    let text = write(&fresh().unwrap());
    assert_eq!(text, sealed("portledger = 1\n"));
    check(&text, &[]);
}

#[test]
fn what_an_editor_does_to_a_file_is_harmless() {
    let text = sealed(CAMPUS);
    for other in [
        text.replace('\n', "\r\n"),
        format!("\u{feff}{text}"),
        text.trim_end().to_owned(),
        format!("{text}\n\n"),
    ] {
        assert_eq!(write(&check(&other, &[])), text);
    }
}

#[test]
fn a_changed_file_opens_and_says_so() {
    let (rows, rest) = (
        CAMPUS.find("[rows]").unwrap(),
        CAMPUS.find("[assumptions]").unwrap(),
    );
    let reordered = format!(
        "{}{}\n{}",
        &CAMPUS[..rest],
        &CAMPUS[rows..],
        &CAMPUS[rest..rows]
    );
    for text in [
        CAMPUS.to_owned(),
        reordered,
        sealed(CAMPUS).replace("85", "86"),
        format!(
            "title = \"Aquarium campus\"\n{}",
            sealed(CAMPUS).replace("title = \"Aquarium campus\"\n", "")
        ),
    ] {
        let plan = check(&text, &["changed-outside"]);
        assert_eq!(write(&plan).len(), sealed(CAMPUS).len());
    }
}

#[test]
fn a_cut_file_is_never_taken_for_a_whole_one() {
    let text = sealed(CAMPUS);
    for end in 0..text.len() - 1 {
        if let Ok((_, problems)) = read(&text[..end], fresh) {
            assert!(!problems.is_empty(), "cut at byte {end}");
        }
    }
}

#[test]
fn a_newer_format_is_refused_before_anything_else_is_read() {
    let problem = read("portledger = 2\n???", fresh).unwrap_err();
    assert_eq!(problem.code, "plan-newer");
    assert!(problem.help[0].contains("newer version"));
    for text in ["", "id,from\n", "portledger", "portledger = \"one\"", "\0"] {
        let problem = read(text, fresh).unwrap_err();
        assert!(
            ["not-a-plan", "plan-damaged"].contains(&problem.code),
            "{text}"
        );
        assert!(!problem.help.is_empty());
    }
}

#[test]
fn unknown_parts_are_told_and_kept() {
    let text = r#"portledger = 1
colour = "sea green"
sizes = [1, 2.50, 1979-05-27]
[assumptions]
tide = "3 m"
reserve = { value = "1 dB", source = "", seen = true }
[severities]
reach = "loud"
[weather]
wind.force = 7
[[column]]
sheet = "links"
name = "rack"
kind = "text"
width = 12
[[column]]
sheet = "boats"
name = "keel"
kind = "text"
[[formula]]
sheet = "links"
column = "length"
formula = "1 m"
[rows]
boats = '''
id
one
'''
"#;
    let expected = [
        vec!["changed-outside"],
        vec!["unknown-key"; 7],
        vec!["no-such-sheet", "column-entered", "unknown-key"],
    ]
    .concat();
    let saved = write(&check(text, &expected));
    for kept in [
        "colour = \"sea green\"\n",
        "sizes = [1, 2.50, 1979-05-27]\n",
        "tide = \"3 m\"\n",
        ", seen = true }\n",
        "reach = \"loud\"\n",
        "weather = { wind = { force = 7 } }\n",
        "name = \"rack\"\ntitle = \"rack\"\nkind = \"text\"\nwidth = 12\n",
        "name = \"keel\"\nsheet = \"boats\"\n",
        "column = \"length\"\nformula = \"1 m\"\nsheet = \"links\"\n",
        "boats = \"id\\none\\n\"\n",
    ] {
        assert!(saved.contains(kept), "{kept} is not in\n{saved}");
    }
}

#[test]
fn every_problem_names_its_line() {
    let text = "portledger = 1\ncolour = 1\n[rows]\nlinks = '''\nid,length\n\nL1,2\nL2,far\n'''\nswitches = '''\nid,height\n'''\n[tail]\n";
    let lines: Vec<String> = opened(text)
        .1
        .into_iter()
        .filter_map(|problem| problem.place.map(|place| place.origin))
        .collect();
    assert_eq!(lines, ["line 2", "line 13", "line 8", "line 11"]);
}

#[test]
fn strange_rows_lose_nothing() {
    let rows = "links = '''\nid,lenght,length,margin,length,\nL1,1,2,3,4,5,6\nL2,7\nL3,,far\n'''\n";
    let plan = check(
        &format!("portledger = 1\n[rows]\n{rows}"),
        &[
            "changed-outside",
            "unknown-key",
            "unknown-key",
            "unknown-key",
            "unknown-key",
            "unknown-key",
            "not-a-quantity",
            "row-short",
        ],
    );
    let saved = write(&plan);
    assert!(
        saved.contains("\nid,length,lenght,margin,length_2,column,column_2\nL1,2,1,3,4,5,6\nL2,,7,,,,\nL3,far,,,,,\n"),
        "{saved}"
    );
    let wrong = plan.rows(LINKS).wrong();
    assert_eq!(wrong.values().collect::<Vec<_>>(), ["far"]);
}

#[test]
fn a_wrong_cell_is_named_with_sheet_row_and_column() {
    let text = "portledger = 1\n[rows]\nlinks = '''\nid,role,length\nL7,acess,1\n'''\n";
    let (plan, problems) = opened(text);
    assert_eq!(
        problems[1].message,
        "links `L7`, `role`: `acess` is not one of the choices"
    );
    assert_eq!(problems[1].help[0], "did you mean `access`?");
    assert_eq!(
        plan.entry(LINKS, 5, plan.find(LINKS, "L7").unwrap()),
        Entry::Wrong("acess".to_owned())
    );
}

#[test]
fn an_open_quote_is_told() {
    let text = "portledger = 1\n[rows]\nlinks = '''\nid,notes\nL1,\"wet\nL2,dry\n'''\n";
    assert_eq!(codes(text), ["changed-outside", "quote-open"]);
}

#[test]
fn many_wrong_cells_are_counted_after_the_first_thousand() {
    let rows: String = (0..1003).map(|at| format!("L{at},far\n")).collect();
    let text = format!("portledger = 1\n[rows]\nlinks = '''\nid,length\n{rows}'''\n");
    let problems = opened(&text).1;
    assert_eq!(problems.len(), 1002);
    assert_eq!(problems[1001].message, "3 more cells cannot be read");
}

#[test]
fn a_hostile_file_is_answered_at_once() {
    let many = |n: usize, line: fn(usize) -> String| (0..n).map(line).collect::<String>();
    let keys = many(20_000, |at| format!("k{at} = 1\n"));
    let (plan, problems) = opened(&format!("portledger = 1\n{keys}"));
    assert_eq!((plan.extras.len(), problems.len()), (20_000, 1001));
    let blocks = many(20_000, |at| format!("k{at} = '''\n'''\n"));
    assert_eq!(
        codes(&format!("portledger = 1\n[rows]\n{blocks}")).len(),
        1001
    );
    let columns = many(20_000, |at| {
        format!("[[column]]\nsheet = \"links\"\nname = \"k{at}\"\nkind = \"text\"\n")
    });
    let (plan, problems) = opened(&format!("portledger = 1\n{columns}"));
    assert_eq!(plan.schema()[0].columns.len(), 256);
    assert_eq!(plan.extras.len(), 20_000 - 241);
    assert_eq!(problems.len(), 1001);
}

#[test]
fn the_limit_of_columns_is_inclusive() {
    // Fourteen columns are entered and one is computed.
    let text = |n: usize| {
        let own: String = (0..n).map(|at| format!(",k{at}")).collect();
        format!("portledger = 1\n[rows]\nlinks = '''\nid{own}\n'''\n")
    };
    assert_eq!(opened(&text(241)).0.schema()[0].columns.len(), 256);
    assert_eq!(
        read(&text(242), fresh).unwrap_err().code,
        "too-many-columns"
    );
}

#[test]
fn the_limit_of_rows_is_inclusive() {
    let rows = |n: usize| {
        let rows = "L\n".repeat(n);
        sealed(&format!(
            "portledger = 1\n\n[rows]\nlinks = '''\nid\n{rows}'''\n"
        ))
    };
    assert_eq!(codes(&rows(MOST_ROWS)), Vec::<&str>::new());
    let problem = read(&rows(MOST_ROWS + 1), fresh).unwrap_err();
    assert_eq!(problem.code, "too-many-rows");
    assert!(problem.message.contains("2,000,000"));
}

#[test]
fn a_number_without_all_its_digits_comes_back_as_it_was_saved() {
    for length in [
        "5.4e-311",
        "1.9e-319 km",
        "6.3e-294 m",
        "-4.9e-324 ft",
        "1e-240",
    ] {
        let text = sealed(&format!(
            "portledger = 1\n\n[rows]\nlinks = '''\nid,length\nL1,{length}\n'''\n"
        ));
        let (plan, _) = read(&text, fresh).unwrap();
        let once = write(&plan);
        let (again, _) = read(&once, fresh).unwrap();
        assert_eq!(write(&again), once, "{length}");
    }
}

#[test]
fn the_limit_of_bytes_is_inclusive() {
    let mut text = "x".repeat(MAX_BYTES);
    assert_eq!(read(&text, fresh).unwrap_err().code, "not-a-plan");
    text.push('x');
    assert_eq!(read(&text, fresh).unwrap_err().code, "plan-too-large");
}

#[test]
fn deep_nesting_is_refused_or_kept() {
    for n in [1, 39, 60, 200] {
        let text = format!("portledger = 1\na = {}1{}\n", "[".repeat(n), "]".repeat(n));
        match read(&text, fresh) {
            Ok((plan, _)) => assert_eq!(write(&opened(&write(&plan)).0), write(&plan)),
            Err(problem) => assert!(n > 39, "{problem}"),
        }
    }
}

#[test]
fn built_in_rows_stay_out_of_the_file() {
    let mut plan = fresh().unwrap();
    let own = Edit::AddRows {
        sheet: MEDIA,
        at: 0,
        rows: vec![vec![(0, Entry::Text(plan.names().code("OM4")))]],
    };
    plan.apply(own).unwrap();
    assert_eq!(
        write(&plan),
        sealed("portledger = 1\n\n[rows]\nmedia = '''\nid\nOM4\n'''\n")
    );
}

#[test]
fn bytes_that_are_no_text_are_refused() {
    assert_eq!(text_of(b"portledger".to_vec()).unwrap(), "portledger");
    let problem = text_of(b"portledger = 1\n\xff".to_vec()).unwrap_err();
    assert_eq!(problem.code, "not-text");
    assert!(problem.message.starts_with("line 2"));
}

/// Texts with all that files and formats trip over.
fn any_text() -> impl Strategy<Value = String> {
    prop_oneof![
        "[ -~]{0,6}",
        "[\\x00\\r\\n\\t\"'\\\\, \u{1b}\u{7f}\u{feff}\u{85}\u{202e}é😀#=]{0,8}",
        Just("'''".to_owned()),
        Just("\"\"\"".to_owned()),
        Just("[rows]\nlinks = '''\nid\n".to_owned()),
        any::<String>(),
    ]
}

fn any_cell(plan: &Plan, sheet: SheetId, at: usize, text: &str, number: f64) -> Entry {
    let def = plan.column(sheet, at);
    let unit = Units::builtin().unit(&def.unit).unwrap();
    let base = unit.to_base(number);
    match (def.kind, text.len() % 5) {
        (_, 0) => Entry::Empty,
        (ColumnKind::Number, 1) => Entry::Wrong(format!("~{text}")),
        (ColumnKind::Number, _) if base.is_finite() => Entry::Number(base),
        (ColumnKind::Number | ColumnKind::Flag, _) => Entry::Empty,
        (ColumnKind::Choice, 1) => Entry::Wrong(format!("~{text}")),
        (ColumnKind::Choice, n) => Entry::Text(plan.names().code(&def.choices[n % 4])),
        (ColumnKind::Text | ColumnKind::Row, _) => Entry::Text(plan.names().code(text)),
    }
}

/// A plan made from texts and numbers, with a bit of everything.
fn plan_of(texts: &[String], numbers: &[f64]) -> Plan {
    let mut plan = fresh().unwrap();
    let (mut texts_left, mut numbers_left) = (texts.iter().cycle(), numbers.iter().cycle());
    let mut text = || texts_left.next().unwrap().clone();
    plan.title = text();
    for name in ["one", "two"] {
        let mut def: ColumnDef = plan.column(LINKS, 13).clone();
        def.name = name.to_owned() + &text();
        def.title = text();
        def.doc = text();
        plan.apply(Edit::AddColumn { sheet: LINKS, def }).unwrap();
    }
    plan.apply(Edit::SetFormula {
        sheet: LINKS,
        column: 14,
        formula: Some(text()),
    })
    .unwrap();
    let source = text();
    let entry = Entry::Text(plan.names().code(&text()));
    for (param, entry) in [(0, Entry::Number(numbers[0] + 0.0)), (1, entry)] {
        plan.apply(Edit::SetAssumption {
            param: ParamId(param),
            entry,
            source: source.clone(),
            own: true,
        })
        .unwrap();
    }
    plan.severities.insert(text(), None);
    plan.severities.insert(text(), Some(Severity::Note));
    let case = CaseDef {
        when: text(),
        severity: Severity::Stop,
        say: text(),
        advise: text(),
    };
    let check = CheckDef {
        name: text(),
        doc: text(),
        source: text(),
        cases: vec![case.clone(), case],
    };
    plan.own_checks.push(("links".to_owned(), check));
    let view = SheetView {
        order: vec!["to".to_owned(), text(), text()],
        hidden: [text()].into(),
        width: [("from".to_owned(), 1), (text(), MAX_WIDTH)].into(),
    };
    plan.apply(Edit::SetView { sheet: LINKS, view }).unwrap();
    for sheet in [LINKS, MEDIA] {
        for _ in 0..texts.len() % 4 {
            let row = plan
                .entered(sheet)
                .map(|at| {
                    (
                        at,
                        any_cell(&plan, sheet, at, &text(), *numbers_left.next().unwrap()),
                    )
                })
                .collect();
            let add = Edit::AddRows {
                sheet,
                at: 0,
                rows: vec![row],
            };
            plan.apply(add).unwrap();
        }
    }
    plan
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn any_plan_comes_back(
        texts in prop::collection::vec(any_text(), 1..40),
        numbers in prop::collection::vec(
            // Below that, what is read counts as 0.
            prop_oneof![
                any::<f64>().prop_filter("of a size to be read", |x| {
                    x.is_finite() && (*x == 0.0 || x.abs() > 1e-240)
                }),
                -1e6..1e6,
            ],
            1..20,
        ),
    ) {
        let plan = plan_of(&texts, &numbers);
        let text = write(&plan);
        let (back, problems) = read(&text, fresh).map_err(|problem| {
            TestCaseError::fail(format!("{problem:?}\n{text}"))
        })?;
        prop_assert_eq!(write(&back), text);
        prop_assert_eq!(&back.title, &plan.title);
        prop_assert_eq!(&back.own_checks, &plan.own_checks);
        let n_wrong: usize = [LINKS, MEDIA].map(|sheet| plan.rows(sheet).wrong().len()).iter().sum();
        let columns = &crate::trade::judged(&plan).schema[LINKS.at()];
        let unknown = plan.view(LINKS).names().filter(|name| columns.column(name).is_none());
        let n_unknown = unknown.collect::<std::collections::BTreeSet<_>>().len();
        prop_assert_eq!(problems.len(), n_wrong + n_unknown);
        prop_assert_eq!(back.view(LINKS), plan.view(LINKS));
        for sheet in [LINKS, MEDIA] {
            let rows = |plan: &Plan| {
                let own = plan.rows(sheet).order().iter().filter(|row| !plan.rows(sheet).is_builtin(**row));
                own.copied().collect::<Vec<_>>()
            };
            for (before, after) in rows(&plan).into_iter().zip(rows(&back)) {
                for at in plan.entered(sheet) {
                    let shown = |plan: &Plan, row| match plan.entry(sheet, at, row) {
                        Entry::Empty => String::new(),
                        Entry::Number(value) => format!("{:x}", value.to_bits()),
                        Entry::Text(code) => plan.names().text(code),
                        Entry::Wrong(text) => format!("wrong {text}"),
                    };
                    prop_assert_eq!(shown(&plan, before), shown(&back, after));
                }
            }
        }
    }

    #[test]
    fn any_text_is_read_or_refused(parts in prop::collection::vec(
        prop_oneof![any_text(), prop::sample::select(vec![
            "portledger = 1\n", "[rows]\n", "links = '''\n", "'''\n", "id,from,length\n", "L1,a,1\n",
            "[[column]]\n", "sheet = \"links\"\n", "name = 'x'\n", "kind = \"text\"\n", "\"\"\"", "=", "\n",
            "[assumptions]\n", "reserve = 1\n", "[severities]\n", "[view]\n", "[view.links]\n", "order = [\"id\"]\n", "width = { to = 1 }\n", "links = 1\n", "# sha256 = 00\n",
        ]).prop_map(str::to_owned)], 0..12)) {
        let text = parts.concat();
        for text in [text.clone(), format!("portledger = 1\n{text}")] {
            if let Ok((plan, _)) = read(&text, fresh) {
                let once = write(&plan);
                let (again, _) = read(&once, fresh).map_err(|problem| {
                    TestCaseError::fail(format!("{problem:?}\n{once}"))
                })?;
                prop_assert_eq!(write(&again), once);
            }
        }
    }

    #[test]
    fn a_changed_byte_is_never_silent(at in any::<prop::sample::Index>(), byte in any::<u8>()) {
        let text = sealed(CAMPUS);
        let mut bytes = text.clone().into_bytes();
        let at = at.index(bytes.len());
        bytes[at] = byte;
        if let Ok(changed) = text_of(bytes)
            && let Ok((plan, problems)) = read(&changed, fresh)
            && problems.is_empty()
        {
            prop_assert_eq!(write(&plan), text);
        }
    }
}

#[test]
fn a_large_plan_is_written_in_pieces_that_are_its_text() {
    let rows: String = (0..5_000)
        .map(|at| format!("L{at},wet end of tank {at}\n"))
        .collect();
    let text = |media: &str| {
        sealed(&format!(
            "portledger = 1\n[rows]\nlinks = '''\nid,notes\n{rows}'''\nmedia = \"\"\"\nid\n{media}\n\"\"\"\n"
        ))
    };
    // A text of one sheet that cannot stand word for word changes nothing in another.
    for media in ["fine", "''' \\u0001"] {
        let (plan, problems) = read(&text(media), fresh).unwrap();
        assert!(problems.is_empty(), "{problems:?}");
        let mut pieces = Vec::new();
        write_in_pieces(&plan, &mut |piece| pieces.push(piece.to_owned()));
        assert!(pieces.iter().all(|piece| piece.len() < 100_000));
        assert!(pieces.len() > 3);
        assert_eq!(pieces.concat(), write(&plan));
        let is_escaped = |sheet: &str| pieces.concat().contains(&format!("{sheet} = \"\"\"\n"));
        assert!(!is_escaped("links"));
        assert_eq!(is_escaped("media"), media != "fine");
        assert!(pieces.concat().contains("\nL4999,wet end of tank 4999\n"));
    }
}
