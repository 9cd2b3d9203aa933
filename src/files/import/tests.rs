//! Cable lists as people keep them, and bytes that are none.

use super::*;
use crate::files::plan_file;
use crate::files::sample::fresh;
use proptest::prelude::*;

fn imported(bytes: &[u8], map: &[(&str, &str)]) -> (Plan, Import) {
    let mut plan = fresh().unwrap();
    let import = read(&plan, bytes, map).unwrap_or_else(|problem| panic!("{problem:?}"));
    plan.apply(import.edit.clone()).unwrap();
    (plan, import)
}

fn read(plan: &Plan, bytes: &[u8], map: &[(&str, &str)]) -> Result<Import, Problem> {
    let map = map.iter();
    let map = map.map(|(heading, column)| ((*heading).to_owned(), (*column).to_owned()));
    let wish = Wish {
        map: map.collect(),
        ..Wish::default()
    };
    links(plan, &Source::of_text(bytes, "cables", &wish)?, &wish)
}

/// The rows of the plan file that an import makes.
fn rows(plan: &Plan) -> String {
    let text = plan_file::write(plan);
    let rows = text.split("[rows]\n").nth(1).unwrap_or_default();
    rows.split("# sha256").next().unwrap_or_default().to_owned()
}

fn check(text: &str, expected: &str, notes: &[&str]) -> Import {
    let (plan, import) = imported(text.as_bytes(), &[]);
    assert_eq!(rows(&plan), expected);
    assert_eq!(import.notes, notes);
    import
}

#[test]
fn a_cable_list_becomes_links_and_switches() {
    check(
        "label,class,a_device,a_iface,b_device,b_iface,type,status,description\n\
         F1,fabric-host-leaf,pump1,nic0,leaf1,1,dac-qsfpdd-400g,planned,pump1 → leaf1\n\
         F2,fabric-host-leaf,pump2,nic0,leaf1,2,dac-qsfpdd-400g,planned,\n\
         F3,fabric-leaf-spine,leaf1,49,spine1,1,aoc-qsfpdd-400g,installed,\n\
         F4,oob-bmc,pump1,bmc,oob1,1,cat6,reserved,\n",
        "links = '''\n\
         id,from,from_port,to,to_port,role,speed,medium,module,state,notes,class,type,status\n\
         F1,pump1,nic0,leaf1,1,access,400,twinax passive,QSFP-DD,planned,pump1 → leaf1,fabric-host-leaf,dac-qsfpdd-400g,planned\n\
         F2,pump2,nic0,leaf1,2,access,400,twinax passive,QSFP-DD,planned,,fabric-host-leaf,dac-qsfpdd-400g,planned\n\
         F3,leaf1,49,spine1,1,uplink,400,active optical,QSFP-DD,in service,,fabric-leaf-spine,aoc-qsfpdd-400g,installed\n\
         F4,pump1,bmc,oob1,1,access,,Cat6,,planned,,oob-bmc,cat6,reserved\n\
         '''\n\
         switches = '''\nid\nleaf1\nspine1\noob1\n'''\n",
        &[
            "heading `label` is `id`",
            "heading `class` is `role`",
            "heading `a_device` is `from`",
            "heading `a_iface` is `from_port`",
            "heading `b_device` is `to`",
            "heading `b_iface` is `to_port`",
            "heading `type` is `medium`",
            "heading `status` is `state`",
            "heading `description` is `notes`",
            "the words of `class` are kept as they stood in column `class`",
            "the words of `type` are kept as they stood in column `type`",
            "the words of `status` are kept as they stood in column `status`",
            "3 switches added: every device at the `to` end of a link",
            "role `fabric-host-leaf` read as access (2 rows)",
            "medium `dac-qsfpdd-400g` read as twinax passive, module QSFP-DD, 400 Gb/s (2 rows)",
            "role `fabric-leaf-spine` read as uplink (1 row)",
            "medium `aoc-qsfpdd-400g` read as active optical, module QSFP-DD, 400 Gb/s (1 row)",
            "state `installed` read as in service (1 row)",
            "role `oob-bmc` read as access (1 row)",
            "state `reserved` read as planned (1 row)",
        ],
    );
}

#[test]
fn a_unit_in_the_heading_counts_for_bare_numbers() {
    for heading in [
        "Length (ft)",
        "Cable length [ft]",
        "length_ft",
        "Distance ft",
    ] {
        let (plan, _) = imported(format!("id;{heading}\nL1;250\nL2;3 m\n").as_bytes(), &[]);
        let expected = "links = '''\nid,length\nL1,76.2\nL2,3\n'''\n";
        assert_eq!(rows(&plan), expected, "{heading}");
    }
}

#[test]
fn cells_that_are_given_beat_what_the_medium_says() {
    let text = "id,medium,speed,length\nL1,dac-sfp28-25g-3m,10,\nL2,DAC 25G,,2\n";
    let (plan, _) = imported(text.as_bytes(), &[]);
    assert!(rows(&plan).contains("id,speed,medium,length,module,medium_2\n"));
    assert!(rows(&plan).contains("L1,10,twinax passive,3,SFP28,dac-sfp28-25g-3m\n"));
    assert!(rows(&plan).contains("L2,25,twinax passive,2,,DAC 25G\n"));
}

#[test]
fn what_the_person_says_wins() {
    let (plan, _) = imported(
        b"label,where,run\nA,tank,10\n",
        &[("Where", "id"), ("run", "length:km"), ("label", "notes")],
    );
    assert_eq!(
        rows(&plan),
        "links = '''\nid,length,notes\ntank,10000,A\n'''\n"
    );
    for (heading, column, code) in [
        ("wher", "id", "no-such-heading"),
        ("where", "idd", "no-such-column"),
        ("where", "double", "no-such-column"),
        ("run", "length:dB", "unit-differs"),
        ("run", "length:parsec", "unit-unknown"),
        ("run", "notes:m", "unit-differs"),
    ] {
        let map = [(heading, column)];
        let problem = read(&fresh().unwrap(), b"label,where,run\n", &map).unwrap_err();
        assert_eq!(problem.code, code, "{heading} {column}");
    }
    let twice = [("label", "id"), ("where", "id")];
    let problem = read(&fresh().unwrap(), b"label,where\n", &twice).unwrap_err();
    assert_eq!(problem.code, "mapped-twice");
}

#[test]
fn nothing_of_the_source_is_lost() {
    let import = check(
        "\n,,\nid,Rack Unit,length,,length,unused\n\
         L1,12,far,x,7,\n\
         \n\
         L1,,3,,,,extra\n\
         stray\n\
         , ,\n\
         ,,,,, \n\
         ,13,2,,,\n\
         ,,\n",
        "links = '''\n\
         id,length,rack_unit,column_4,length_2,column_7\n\
         L1,far,12,x,7,\n\
         L1,3,,,,extra\n\
         '''\n",
        &[
            "the headings stand in row 3",
            "heading `Rack Unit` is not known; its cells are in column `rack_unit`",
            "cells without a heading are in column `column_4`",
            "heading `length` is not known; its cells are in column `length_2`",
            "cells without a heading are in column `column_7`",
            "length `far` is not a number, kept as it is (row 4)",
            "id `L1` is not the only one, all are kept; --tell-apart makes `L1-2` of the next (row 6)",
        ],
    );
    let rows: Vec<usize> = import.set_aside.iter().map(|aside| aside.row).collect();
    assert_eq!(rows, [1, 2, 5, 7, 8, 9, 10, 11]);
    let lines = aside_lines(&import.set_aside);
    assert_eq!(lines[0], "rows 1 to 2 set aside: empty");
    assert_eq!(lines[2], "row 7 set aside: a section or a remark (`stray`)");
    assert_eq!(
        lines[4],
        "row 10 set aside: names no link and no end (`13, 2`)"
    );
}

#[test]
fn a_row_that_breaks_off_without_an_id_is_set_aside() {
    let (plan, import) = imported(b"id,from,to\n,tank\nL2,tank\n", &[]);
    assert_eq!(rows(&plan), "links = '''\nid,from\nL2,tank\n'''\n");
    assert_eq!(import.set_aside.len(), 1);
    assert_eq!(
        import.set_aside[0].reason.to_string(),
        "2 cells of 3 and no id"
    );
    // Without a column of ids the ends are what makes a link.
    let (plan, import) = imported(b"from,to,notes\ntank,pump\nx1,\nx\n\"\",\n", &[]);
    assert!(rows(&plan).starts_with("links = '''\nid,from,to\nL1,tank,pump\nL2,x1,\n'''\n"));
    assert_eq!(import.set_aside.len(), 2);
}

#[test]
fn a_second_import_goes_on_where_the_first_ended() {
    let text = b"class,from,to,type,keeper\nserver,tank,leaf1,DAC 25G,Ida\nnone,x,LEAF1,seaweed,\n";
    let (mut plan, first) = imported(text, &[]);
    assert_eq!((first.n_links, first.n_switches), (2, 1));
    let second = read(&plan, text, &[]).unwrap();
    assert_eq!((second.n_links, second.n_switches), (2, 0));
    let before = plan_file::write(&plan);
    let change = plan.apply(second.edit).unwrap();
    assert_eq!(
        rows(&plan).split("switches").next().unwrap(),
        "links = '''\n\
         id,from,to,role,speed,medium,keeper,class,type\n\
         L1,tank,leaf1,access,25,twinax passive,Ida,server,DAC 25G\n\
         L2,x,LEAF1,none,,seaweed,,none,seaweed\n\
         L3,tank,leaf1,access,25,twinax passive,Ida,server,DAC 25G\n\
         L4,x,LEAF1,none,,seaweed,,none,seaweed\n\
         '''\n"
    );
    plan.apply(change.inverse).unwrap();
    assert_eq!(plan_file::write(&plan), before);
}

#[test]
fn control_characters_are_data() {
    let (plan, _) = imported(b"id,from,notes\n\x1b[31mL1,a\0b,\"one\r\ntwo\"\n", &[]);
    let row = plan.rows(SheetId(0)).order()[0];
    assert_eq!(plan.id(SheetId(0), row), "\u{1b}[31mL1");
    let notes = plan.entry(SheetId(0), 13, row);
    assert_eq!(notes, Entry::Text(plan.names().code("one\r\ntwo")));
}

#[test]
fn tables_without_links_are_refused() {
    for (text, code) in [
        ("", "nothing-to-import"),
        ("\n,,\n \n", "nothing-to-import"),
        ("colour,size\nred,1\n", "no-links"),
    ] {
        let problem = read(&fresh().unwrap(), text.as_bytes(), &[]).unwrap_err();
        assert_eq!(problem.code, code);
        assert!(!problem.help.is_empty());
    }
    let (_, import) = imported(b"id,from\n", &[]);
    assert_eq!(import.n_links, 0);
}

#[test]
fn the_limit_of_bytes_is_inclusive() {
    let plan = fresh().unwrap();
    let mut bytes = b"id,from\nL1,\"".to_vec();
    bytes.resize(MAX_BYTES - 2, b'x');
    bytes.extend(b"\"\n");
    assert_eq!(read(&plan, &bytes, &[]).unwrap().n_links, 1);
    bytes.push(b'\n');
    let problem = read(&plan, &bytes, &[]).unwrap_err();
    assert_eq!(problem.code, "file-too-large");
    assert!(problem.message.contains("64 MB"));
}

#[test]
fn the_limit_of_cells_is_inclusive() {
    let plan = fresh().unwrap();
    let mut bytes = b"id,from,to,a,b\n".to_vec();
    bytes.extend(",,,,\n".repeat(MAX_CELLS / 5 - 1).bytes());
    assert_eq!(
        read(&plan, &bytes, &[]).unwrap().set_aside.len(),
        MAX_CELLS / 5 - 1
    );
    bytes.push(b'\n');
    let problem = read(&plan, &bytes, &[]).unwrap_err();
    assert_eq!(problem.code, "too-many-cells");
    assert!(problem.message.contains("10,000,000"));
}

#[test]
fn the_limit_of_columns_is_inclusive() {
    for (n_own, code) in [
        (241, None),
        (242, Some("too-many-columns")),
        (9999, Some("too-many-columns")),
    ] {
        let own: String = (0..n_own).map(|at| format!(",k{at}")).collect();
        let text = format!("id{own}\nL1{}\n", ",x".repeat(n_own));
        let problem = read(&fresh().unwrap(), text.as_bytes(), &[]).err();
        assert_eq!(problem.map(|problem| problem.code), code, "{n_own}");
    }
}

#[test]
fn an_import_never_makes_a_plan_that_does_not_open() {
    let mut text = "id\n".to_owned();
    text.push_str(&"L\n".repeat(MOST_ROWS + 1));
    let problem = read(&fresh().unwrap(), text.as_bytes(), &[]).unwrap_err();
    assert_eq!(problem.code, "too-many-rows");
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn any_bytes_are_imported_or_refused(bytes in prop::collection::vec(any::<u8>(), 0..200)) {
        let plan = fresh().unwrap();
        let headed = [b"id,from,length (ft)\n".as_slice(), &bytes].concat();
        for bytes in [bytes, headed] {
            if let Ok(import) = read(&plan, &bytes, &[]) {
                fresh().unwrap().apply(import.edit).unwrap();
            }
        }
    }

    #[test]
    fn every_row_is_a_link_or_set_aside(
        separator in prop::sample::select(vec![',', ';', '\t', '|']),
        rows in prop::collection::vec(prop::collection::vec(prop::sample::select(vec![
            "", " ", "L1", "pump", "host", "spine-x", "om4 10g", "dac", "cat6", "installed", "3 ft",
            "12", "far", "\"a\"\"b\"", "\"two\nlines\"", "\u{1b}[2J", "é",
        ]), 1..9), 0..30),
    ) {
        let join = |row: &Vec<&str>| row.join(&separator.to_string()) + "\n";
        let heading = vec!["label", "a_device", "b_device", "class", "type", "status", "Length (ft)"];
        let text: String = std::iter::once(&heading).chain(&rows).map(join).collect();
        let mut plan = fresh().unwrap();
        // Rows of another width may hide the separator; then the heading is not found.
        let Ok(import) = read(&plan, text.as_bytes(), &[("label", "id")]) else {
            return Ok(());
        };
        prop_assert_eq!(import.n_links + import.set_aside.len() + import.heading_rows.len(), rows.len() + 1);
        plan.apply(import.edit).unwrap();
        let saved = plan_file::write(&plan);
        let (back, _) = plan_file::read(&saved, fresh).unwrap();
        prop_assert_eq!(plan_file::write(&back), saved);
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 300, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn rows_that_are_read_a_few_at_once_on_threads_say_the_same(
        seed in any::<u64>(),
        at_once in 1_usize..9,
    ) {
        let plan = fresh().unwrap();
        let Some((source, wish)) = any_table::any_table(seed, 60) else {
            return Ok(());
        };
        let read = |at_once, n_threads| {
            let pace = Pace { at_once, n_threads };
            let import = links_at(&plan, &source, &wish, pace, &mut |_, _| true);
            import.map(|import| any_table::told(&plan, &import)).map_err(|problem| problem.to_string())
        };
        prop_assert_eq!(read(at_once, 3), read(1_000_000, 1));
    }
}
