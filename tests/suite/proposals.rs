//! What stands over the base: entered and left, kept in the file, in the journal, on each other.

use super::properties::{Step, beginning, edit, step};
use portledger::desk::{Desk, SaveState};
use portledger::files::plan_file::{read, write};
use portledger::plan::{Edit, Plan, read_entry};
use portledger::table::{RowId, SheetId};
use portledger::trade::empty_plan;
use proptest::prelude::*;
use proptest::test_runner::TestRunner;
use std::path::Path;
use std::process::Command;

/// Two halls with a link, and proposals over them.
const HALLS: &str = r#"portledger = 1
title = "Halls"

[[proposal]]
name = "longer fibre"
note = "what the contractor offers"
changes = '''
change,sheet,row,column,value,source
assume,,reserve,,1 dB,contract
formula,links,,margin,loss_limit - loss - 0.1 dB,
cell,links,l1,length,250 ft,
cell,links,L2,state,out,
remove,links,L3,,,
add,links,L9,,,
cell,links,L9,from,North hall,
cell,links,L9,medium,OM4,
'''

[[proposal]]
name = "and one more"
on = "Longer fibre"
changes = '''
change,sheet,row,column,value
cell,links,L9,length,12
add,links,L10,,
'''

[rows]
links = '''
id,from,to,interface,medium,length
L1,North hall,Pump house,10GBASE-SR,OM3,30
L2,South hall,Pump house,10GBASE-SR,OM3,90
L3,South hall,Pump house,10GBASE-LR,OS2,90
'''
switches = '''
id,building
North hall,Aquarium
South hall,Aquarium
Pump house,Pump house
'''
"#;

fn opened(text: &str) -> Plan {
    read(text, empty_plan).expect("a plan").0
}

fn desk(text: &str) -> Desk {
    Desk::of_text(text).expect("a plan")
}

fn links(desk: &Desk) -> SheetId {
    desk.plan().sheet("links").expect("links")
}

fn row(desk: &Desk, id: &str) -> RowId {
    desk.plan().find(links(desk), id).expect("a row")
}

fn set(desk: &mut Desk, id: &str, column: &str, text: &str) {
    let (sheet, row) = (links(desk), row(desk, id));
    let column = desk.plan().def(sheet).column(column).expect("a column");
    desk.set(sheet, row, column, text).expect("it fits");
}

fn shown(desk: &Desk, id: &str, column: &str) -> String {
    let column = desk.engine().find_column(links(desk), column);
    let row = row(desk, id);
    desk.engine()
        .shown(desk.plan(), column.expect("a column"), row)
}

#[test]
fn a_proposal_is_entered_left_and_taken_back_and_the_base_is_as_it_was() {
    let mut desk = desk(HALLS);
    let before = write(desk.plan());
    assert_eq!(desk.enter("LONGER FIBRE").unwrap(), []);
    assert_eq!(desk.within(), Some("longer fibre"));
    assert_eq!(shown(&desk, "L1", "length"), "76.2 m");
    assert_eq!(shown(&desk, "L9", "from"), "North hall");
    assert!(desk.plan().find(links(&desk), "L3").is_none());
    // What is saved is the base, whatever is open.
    assert_eq!(write(desk.plan()), before);
    assert_eq!(desk.enter("and one more").unwrap(), []);
    assert_eq!(shown(&desk, "L9", "length"), "12 m");
    assert_eq!(write(desk.plan()), before);
    desk.leave().unwrap();
    assert_eq!(desk.within(), None);
    assert_eq!(write(desk.plan()), before);
    assert_eq!(shown(&desk, "L1", "length"), "30 m");
    let labels: Vec<&str> = desk.steps_done().collect();
    assert_eq!(
        labels,
        [
            "out of proposal and one more",
            "into proposal and one more",
            "out of proposal longer fibre",
            "into proposal longer fibre"
        ]
    );
    while desk.undo().unwrap().is_some() {
        assert_eq!(write(desk.plan()), before);
    }
    while desk.redo().unwrap().is_some() {
        assert_eq!(write(desk.plan()), before);
    }
}

#[test]
fn an_edit_belongs_to_the_proposal_that_is_open() {
    let mut desk = desk(HALLS);
    let rows =
        |text: &str| text[text.find("[rows]").unwrap()..text.find("# sha").unwrap()].to_owned();
    let before = write(desk.plan());
    desk.enter("longer fibre").unwrap();
    set(&mut desk, "L1", "length", "30 m");
    set(&mut desk, "L2", "medium", "OM4");
    set(&mut desk, "L9", "to", "Pump house");
    desk.leave().unwrap();
    let after = write(desk.plan());
    assert_eq!(rows(&after), rows(&before));
    let lines: Vec<String> = desk.proposals()[0]
        .changes
        .iter()
        .map(|one| one.line())
        .collect();
    // L1 is as it is in the base, so nothing is said of it any more.
    assert_eq!(
        lines,
        [
            "assume reserve",
            "formula links margin",
            "cell links L2 medium",
            "cell links L2 state",
            "remove links L3",
            "add links L9",
            "cell links L9 from",
            "cell links L9 to",
            "cell links L9 medium",
        ]
    );
    for _ in 0..5 {
        desk.undo().unwrap();
    }
    assert_eq!(write(desk.plan()), before);
}

#[test]
fn marks_say_what_a_proposal_changes() {
    use portledger::plan::RowMark;
    let mut desk = desk(HALLS);
    let links = links(&desk);
    desk.enter("longer fibre").unwrap();
    let mark = |desk: &Desk, id| desk.plan().row_mark(links, row(desk, id));
    assert_eq!(mark(&desk, "L1"), Some(RowMark::Changed));
    assert_eq!(mark(&desk, "L9"), Some(RowMark::Added));
    let length = desk.plan().def(links).column("length").unwrap();
    let stood = desk.plan().stood(links, length, row(&desk, "L1"));
    assert_eq!(stood, Some(&portledger::plan::Entry::Number(30.0)));
    assert_eq!(desk.plan().rows_away(links).len(), 1);
    desk.enter("and one more").unwrap();
    // Only what this proposal changes over what it stands on.
    assert_eq!(mark(&desk, "L1"), None);
    assert_eq!(mark(&desk, "L9"), Some(RowMark::Changed));
    assert_eq!(mark(&desk, "L10"), Some(RowMark::Added));
}

#[test]
fn accepting_writes_the_base_and_dropping_leaves_it() {
    let mut desk = desk(HALLS);
    let before = write(desk.plan());
    let problem = desk.accept("and one more").unwrap_err();
    assert_eq!(problem.code, "stands-on-another");
    let problem = desk.drop_proposal("longer fibre").unwrap_err();
    assert_eq!(problem.code, "others-stand-on-it");
    assert_eq!(write(desk.plan()), before);

    assert_eq!(desk.accept("longer fibre").unwrap(), []);
    let accepted = write(desk.plan());
    assert!(accepted.contains("L9,North hall,,"), "{accepted}");
    assert!(!accepted.contains("L3,"), "{accepted}");
    assert_eq!(desk.proposals().len(), 1);
    assert_eq!(desk.proposals()[0].on, None);
    assert_eq!(desk.enter("and one more").unwrap(), []);
    assert_eq!(shown(&desk, "L9", "length"), "12 m");
    // Accepted from within comes to the same.
    desk.accept("and one more").unwrap();
    assert_eq!(desk.within(), None);
    assert_eq!(shown(&desk, "L9", "length"), "12 m");
    assert!(desk.proposals().is_empty());
    while desk.undo().unwrap().is_some() {}
    assert_eq!(write(desk.plan()), before);

    desk.enter("longer fibre").unwrap();
    desk.accept("longer fibre").unwrap();
    assert_eq!(write(desk.plan()), accepted);
    desk.drop_proposal("and one more").unwrap();
    assert!(!write(desk.plan()).contains("[[proposal]]"));
    while desk.undo().unwrap().is_some() {}
    assert_eq!(write(desk.plan()), before);
}

#[test]
fn a_change_that_does_not_fit_is_kept_told_and_skipped() {
    let text = HALLS.replace(
        "cell,links,L2,state,out,",
        "cell,links,L77,state,out,\nwish,,,,,\ncell,links,L2,colour,red,",
    );
    let (plan, problems) = read(&text, empty_plan).unwrap();
    let told: Vec<&str> = problems.iter().map(|one| one.message.as_str()).collect();
    for part in [
        "no row `L77`",
        "no change is called `wish`",
        "no column `colour`",
    ] {
        assert!(
            told.iter().any(|message| message.contains(part)),
            "{told:?}"
        );
    }
    let mut desk = Desk::of_plan(plan, Vec::new());
    let before = write(desk.plan());
    assert_eq!(desk.enter("longer fibre").unwrap().len(), 3);
    assert_eq!(shown(&desk, "L1", "length"), "76.2 m");
    set(&mut desk, "L1", "length", "77 m");
    desk.leave().unwrap();
    let after = write(desk.plan());
    for line in [
        "cell,links,L77,state,out,",
        "wish,,,,,",
        "cell,links,L2,colour,red,",
    ] {
        assert!(after.contains(line), "{after}");
    }
    assert!(after.contains("cell,links,L1,length,77,"), "{after}");
    desk.undo().unwrap();
    desk.undo().unwrap();
    assert_eq!(write(desk.plan()), before);
    // What does not fit stays behind when the rest is accepted.
    assert_eq!(desk.accept("longer fibre").unwrap().len(), 3);
    assert_eq!(desk.proposals()[0].changes.len(), 3);
    assert_eq!(shown(&desk, "L1", "length"), "76.2 m");
}

#[test]
fn what_belongs_to_the_base_is_refused_in_a_proposal() {
    let mut desk = desk(HALLS);
    desk.enter("longer fibre").unwrap();
    let before = write(desk.plan());
    let links = links(&desk);
    let mut order = desk.plan().rows(links).order().to_vec();
    order.reverse();
    for edit in [
        Edit::SetTitle("Other".to_owned()),
        Edit::Reorder {
            sheet: links,
            order,
        },
        Edit::SetSeverity {
            check: "reach".to_owned(),
            severity: Some(None),
        },
        Edit::CloseProposal,
    ] {
        assert!(desk.apply("no", edit.clone()).is_err(), "{edit:?}");
        assert_eq!(write(desk.plan()), before);
    }
}

#[test]
fn rows_that_no_id_tells_apart_are_not_changed_in_a_proposal() {
    let text = HALLS
        .replace("L3,South", "l1,South")
        .replace("remove,links,L3,,,\n", "")
        .replace("cell,links,l1,length,250 ft,\n", "");
    let mut desk = desk(&text);
    desk.enter("longer fibre").unwrap();
    let links = links(&desk);
    let length = desk.plan().def(links).column("length").unwrap();
    for row in desk.plan().rows(links).order().to_vec() {
        let id = desk.plan().id(links, row);
        let is_set = desk.set(links, row, length, "11 m");
        match &*id {
            "L1" | "l1" => assert_eq!(is_set.unwrap_err().code, "row-ambiguous"),
            _ => is_set.unwrap(),
        }
    }
}

#[test]
fn a_new_row_that_is_taken_away_twice_at_once_is_gone() {
    let mut desk = desk(HALLS);
    let before = write(desk.plan());
    desk.enter("longer fibre").unwrap();
    let (sheet, row) = (links(&desk), row(&desk, "L9"));
    let rows = vec![row, row];
    desk.apply("away", Edit::RemoveRows { sheet, rows })
        .unwrap();
    desk.leave().unwrap();
    assert!(!write(desk.plan()).contains("add,links,L9"));
    while desk.undo().unwrap().is_some() {}
    assert_eq!(write(desk.plan()), before);
}

#[test]
fn proposals_in_a_circle_are_told() {
    let text = HALLS.replace(
        "note = \"what the contractor offers\"",
        "on = \"and one more\"",
    );
    let (plan, problems) = read(&text, empty_plan).unwrap();
    assert_eq!(
        problems
            .iter()
            .filter(|one| one.code == "proposals-in-circle")
            .count(),
        2
    );
    let mut desk = Desk::of_plan(plan, Vec::new());
    assert_eq!(
        desk.enter("longer fibre").unwrap_err().code,
        "proposals-in-circle"
    );
    assert!(write(desk.plan()).contains("on = \"and one more\""));
}

#[test]
fn a_file_with_proposals_keeps_its_bytes_and_what_nobody_knows() {
    let text = write(&opened(HALLS));
    assert_eq!(write(&opened(&text)), text);
    let strange = text
        .replace("note = \"what", "budget = 12\nnote = \"what")
        .replace("[[proposal]]\nname = \"and", "[[proposal]]\nname = 7\n\n[[proposal]]\nname = \"odd\"\nchanges = '''\nwho,what\na,b\n'''\n\n[[proposal]]\nname = \"and");
    let (plan, problems) = read(&strange, empty_plan).unwrap();
    let once = write(&plan);
    assert!(
        problems
            .iter()
            .any(|one| one.message.contains("`budget` is not known"))
    );
    for part in ["budget = 12", "name = 7", "name = \"odd\"", "who,what"] {
        assert!(once.contains(part), "{once}");
    }
    assert_eq!(plan.proposals().len(), 2);
    assert_eq!(write(&opened(&once)), once);
}

/// What a person does in a proposal, with ways in and out.
#[derive(Debug, Clone)]
pub enum Move {
    Enter(u8),
    Leave,
    Propose(u8),
    Accept(u8),
    Drop(u8),
    Edit(Step),
    Undo,
    Redo,
}

pub fn moves() -> impl Strategy<Value = Move> {
    prop_oneof![
        3 => any::<u8>().prop_map(Move::Enter),
        2 => Just(Move::Leave),
        2 => any::<u8>().prop_map(Move::Propose),
        1 => any::<u8>().prop_map(Move::Accept),
        1 => any::<u8>().prop_map(Move::Drop),
        14 => step().prop_map(Move::Edit),
        2 => Just(Move::Undo),
        1 => Just(Move::Redo),
    ]
}

const NAMES: [&str; 3] = ["keep", "renew", "both"];

fn name(at: u8) -> &'static str {
    NAMES[usize::from(at) % NAMES.len()]
}

/// Makes a move; whatever is refused changes nothing.
pub fn make(desk: &mut Desk, one: &Move) {
    let (before, n_steps) = (write(desk.plan()), desk.steps_done().count());
    let done = match one {
        Move::Enter(at) => desk.enter(name(*at)).map(drop),
        Move::Leave => desk.leave(),
        Move::Propose(at) => {
            let on = (at % 2 == 1).then(|| name(at / 2));
            desk.propose(name(*at), "", on)
        }
        Move::Accept(at) => desk.accept(name(*at)).map(drop),
        Move::Drop(at) => desk.drop_proposal(name(*at)),
        Move::Edit(step) => match edit(desk.plan(), step) {
            Some(edit) => desk.apply("edit", edit),
            None => Ok(()),
        },
        Move::Undo => desk.undo().map(drop),
        Move::Redo => desk.redo().map(drop),
    };
    if done.is_err() && desk.steps_done().count() == n_steps {
        assert_eq!(write(desk.plan()), before, "{one:?}");
    }
}

fn runner(cases: u32) -> TestRunner {
    TestRunner::new(ProptestConfig {
        cases,
        failure_persistence: None,
        ..ProptestConfig::default()
    })
}

#[test]
fn whatever_is_done_undo_and_saving_are_exact() {
    let many = prop::collection::vec(moves(), 1..40);
    let checked = runner(96).run(&many, |many| {
        let mut desk = Desk::of_plan(beginning(), Vec::new());
        let mut texts = vec![write(desk.plan())];
        for one in &many {
            make(&mut desk, one);
            // What is written is read again as the same, and the way in gives the same plan.
            let text = write(desk.plan());
            let again = opened(&text);
            prop_assert_eq!(write(&again), text.clone());
            texts.push(text);
        }
        if desk.within().is_some() {
            let there = write_as_seen(&desk);
            let inside = desk.within().unwrap().to_owned();
            let mut again = desk_of(&write(desk.plan()));
            again.enter(&inside).unwrap();
            prop_assert_eq!(write_as_seen(&again), there);
            desk.leave().unwrap();
            prop_assert_eq!(&write(desk.plan()), texts.last().unwrap());
        }
        let end = write(desk.plan());
        let n_steps = desk.steps_done().count();
        while desk.undo().unwrap().is_some() {}
        prop_assert_eq!(&write(desk.plan()), &texts[0]);
        for _ in 0..n_steps {
            desk.redo().unwrap();
        }
        prop_assert_eq!(write(desk.plan()), end);
        Ok(())
    });
    checked.unwrap();
}

fn desk_of(text: &str) -> Desk {
    Desk::of_text(text).expect("a plan")
}

/// The rows as they are now, with the open proposal taken for the base. New ones come back in the
/// order in which they are told, so each sheet is sorted.
fn write_as_seen(desk: &Desk) -> String {
    let mut out = String::new();
    let plan = desk.plan();
    for at in 0..plan.schema().len() {
        let sheet = SheetId(u16::try_from(at).unwrap());
        let rows = plan.rows(sheet);
        let own = rows.order().iter().filter(|row| !rows.is_builtin(**row));
        let mut lines: Vec<String> = own
            .map(|row| {
                let cells = plan.entered(sheet).map(|column| {
                    let entry = plan.entry(sheet, column, *row);
                    entry.text(&portledger::units::Unit::none(), plan.names())
                });
                cells.collect::<Vec<_>>().join(",")
            })
            .collect();
        lines.sort();
        out.push_str(&lines.join("\n"));
    }
    for known in plan.assumptions() {
        let value = known.entry.text(&known.unit, plan.names());
        out.push_str(&format!(
            "{} {value} {} {}\n",
            known.def.name, known.source, known.own
        ));
    }
    out
}

#[test]
fn typed_text_reads_the_same_in_a_proposal() {
    let mut desk = desk(HALLS);
    desk.enter("longer fibre").unwrap();
    let links = links(&desk);
    let length = desk.plan().def(links).column("length").unwrap();
    let row = row(&desk, "L1");
    for text in ["-0", "0.1 km", "1e-9", "not long", ""] {
        let entry = read_entry(desk.plan(), links, length, text);
        let Ok(entry) = entry else { continue };
        let cells = vec![((length, row), entry.clone())];
        desk.apply(
            "cell",
            Edit::SetCells {
                sheet: links,
                cells,
            },
        )
        .unwrap();
        let mut again = desk_of(&write(desk.plan()));
        again.enter("longer fibre").unwrap();
        let row = again.plan().find(links, "L1").unwrap();
        assert_eq!(again.plan().entry(links, length, row), entry, "{text}");
    }
}

/// The file of a plan in a folder, opened for a sitting.
fn sitting(folder: &Path) -> Desk {
    let path = folder.join("halls.plan");
    if !path.exists() {
        std::fs::write(&path, write(&opened(HALLS))).unwrap();
    }
    Desk::open_for_editing(&path, None).unwrap()
}

#[test]
fn looking_into_a_proposal_is_nothing_to_save() {
    let room = tempfile::tempdir().unwrap();
    let mut desk = sitting(room.path());
    desk.enter("longer fibre").unwrap();
    assert_eq!(desk.state(), SaveState::Saved);
    desk.leave().unwrap();
    assert_eq!(desk.state(), SaveState::Saved);
    desk.enter("longer fibre").unwrap();
    set(&mut desk, "L1", "length", "77 m");
    assert_eq!(desk.state(), SaveState::Unsaved(1));
    desk.leave().unwrap();
    assert_eq!(desk.state(), SaveState::Unsaved(1));
    drop(desk);
}

#[test]
fn what_was_edited_in_a_proposal_after_saving_in_it_is_there_after_a_crash() {
    let room = tempfile::tempdir().unwrap();
    let mut desk = sitting(room.path());
    desk.enter("longer fibre").unwrap();
    set(&mut desk, "L9", "length", "5 m");
    desk.save().unwrap();
    assert_eq!(desk.within(), Some("longer fibre"));
    assert_eq!(desk.state(), SaveState::Saved);
    let saved = std::fs::read_to_string(room.path().join("halls.plan")).unwrap();
    assert!(saved.contains("cell,links,L9,length,5"), "{saved}");
    set(&mut desk, "L9", "length", "6 m");
    set(&mut desk, "L1", "length", "78 m");
    assert!(desk.settle());
    let crash = tempfile::tempdir().unwrap();
    for entry in std::fs::read_dir(room.path()).unwrap() {
        let entry = entry.unwrap();
        if !entry.file_name().to_string_lossy().ends_with(".lock") {
            std::fs::copy(entry.path(), crash.path().join(entry.file_name())).unwrap();
        }
    }
    let mut again = sitting(crash.path());
    assert_eq!(again.recovery().unwrap().n_steps, 2);
    assert_eq!(again.take_recovery().unwrap(), 2);
    assert_eq!(again.within(), Some("longer fibre"));
    assert_eq!(shown(&again, "L9", "length"), "6 m");
    assert_eq!(write(again.plan()), write(desk.plan()));
    assert_eq!(again.undo().unwrap().as_deref(), Some("length of L1"));
    again.leave().unwrap();
    desk.undo().unwrap();
    desk.leave().unwrap();
    assert_eq!(write(again.plan()), write(desk.plan()));
}

/// Runs the program in a folder; what it printed, and its exit code.
fn told(folder: &Path, args: &[&str]) -> (String, String, i32) {
    let mut program = Command::new(env!("CARGO_BIN_EXE_portledger"));
    let output = program
        .args(args)
        .current_dir(folder)
        .env_clear()
        .output()
        .unwrap();
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).unwrap();
    let code = output.status.code().unwrap();
    (text(output.stdout), text(output.stderr), code)
}

#[test]
fn the_command_line_does_all_of_it() {
    let room = tempfile::tempdir().unwrap();
    let plan = "halls.plan";
    let text = HALLS[..HALLS.find("[[proposal]]").unwrap()].to_owned()
        + &HALLS[HALLS.find("[rows]").unwrap()..];
    std::fs::write(room.path().join(plan), write(&opened(&text))).unwrap();
    let run = |args: &[&str]| told(room.path(), args);
    let text = || std::fs::read_to_string(room.path().join(plan)).unwrap();
    let base = text();

    let (out, _, code) = run(&["compare", plan]);
    assert!(out.contains("no proposals") && code == 0, "{out}");
    assert_eq!(run(&["propose", plan, "far"]).2, 0);
    assert_eq!(
        run(&["propose", plan, "farther", "--on", "far", "--note", "two"]).2,
        0
    );
    let (_, error, code) = run(&["propose", plan, "FAR"]);
    assert!(error.contains("already") && code == 2, "{error}");
    let set = |args: &[&str]| run(&[&["set", plan], args].concat());
    let (out, _, code) = set(&["links", "L1", "length", "400 m", "--in", "far"]);
    assert!(
        out.contains("L1: length is 400 m; verdict fails") && code == 1,
        "{out}"
    );
    assert_eq!(
        set(&["links", "L7", "medium", "OM4", "--add", "--in", "farther"]).2,
        0
    );
    assert_eq!(
        set(&["assume", "reserve", "value", "1 dB", "--in", "farther"]).2,
        0
    );
    let formula = [
        "links",
        "--formula",
        "margin",
        "loss_limit - loss - 1 dB",
        "--in",
        "farther",
    ];
    assert!(set(&formula).2 < 2);
    let (out, _, _) = run(&["propose", plan, "farther", "--take-away", "links", "L3"]);
    assert!(out.starts_with("L3: taken away"), "{out}");
    let rows =
        |text: &str| text[text.find("[rows]").unwrap()..text.find("# sha").unwrap()].to_owned();
    assert_eq!(rows(&text()), rows(&base));

    assert_eq!(run(&["check", plan]).2, 0);
    assert_eq!(run(&["check", plan, "--in", "far"]).2, 1);
    let show = |name: &str| {
        let columns = ["--columns", "id,length", "--as", "csv"];
        run(&[&["show", plan, "links"], &columns[..], &["--in", name]].concat()).0
    };
    assert_eq!(show("far"), "id,length [m]\nL1,400\nL2,90\nL3,90\n");
    assert_eq!(show("farther"), "id,length [m]\nL1,400\nL2,90\nL7,\n");
    let (out, _, _) = run(&["why", plan, "links", "L1", "length", "--in", "farther"]);
    assert!(out.contains("400 m"), "{out}");
    let (_, error, code) = run(&["show", plan, "links", "--in", "fat"]);
    assert!(error.contains("far") && code == 2, "{error}");

    let (out, _, code) = run(&["compare", plan, "far", "--as", "csv"]);
    assert!(
        out.starts_with("what,unit,base,far\nstops,,0,2\n") && code == 0,
        "{out}"
    );
    let (out, _, _) = run(&["compare", plan, "far", "--rows", "--as", "csv"]);
    assert!(
        out.contains("\nfar,links,L1,changed,length,m,true,30,400\n"),
        "{out}"
    );
    let (out, _, _) = run(&["compare", plan, "farther", "--as", "json", "--rows"]);
    let json: serde_json::Value = serde_json::from_str(&out).unwrap();
    assert!(json["rows"].as_array().is_some_and(|rows| rows.len() > 3));
    let (out, _, _) = run(&["compare", plan]);
    assert!(out.contains("new: stop link L1 reach"), "{out}");
    let (out, _, _) = run(&["propose", plan]);
    assert_eq!(
        out,
        "name     on    changes  fits  note\nfar      base  1        yes\nfarther  far   5        yes   two\n"
    );

    assert_eq!(run(&["propose", plan, "farther", "--accept"]).2, 2);
    let (out, _, code) = run(&["propose", plan, "far", "--accept"]);
    assert!(
        out.contains("new: stop link L1 reach") && code == 1,
        "{out}"
    );
    assert_eq!(run(&["propose", plan, "farther", "--drop"]).2, 0);
    assert_eq!(
        text(),
        base.replace(
            "L1,North hall,Pump house,10GBASE-SR,OM3,30",
            "L1,North hall,Pump house,10GBASE-SR,OM3,400"
        )
        .lines()
        .take_while(|line| !line.starts_with("# sha"))
        .map(|line| format!("{line}\n"))
        .collect::<String>()
            + text().lines().last().unwrap()
            + "\n"
    );
}
