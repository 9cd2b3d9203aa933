//! The commands that ask what if, as a person meets them: output, forms and exit codes.

use std::path::Path;
use std::process::Command;

/// What a run printed, and its exit code.
fn told(folder: &Path, args: &[&str]) -> (String, String, i32) {
    let output = Command::new(env!("CARGO_BIN_EXE_portledger"))
        .args(args)
        .current_dir(folder)
        .env_clear()
        .output()
        .unwrap();
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).unwrap();
    let code = output.status.code().unwrap();
    (text(output.stdout), text(output.stderr), code)
}

const DEMO: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/examples/aquarium.plan");

/// A folder with the demo plan in it.
fn room() -> tempfile::TempDir {
    let room = tempfile::tempdir().unwrap();
    std::fs::copy(DEMO, room.path().join("a.plan")).unwrap();
    room
}

#[test]
fn every_question_answers_in_every_form_and_changes_nothing() {
    let room = room();
    let before = std::fs::read(room.path().join("a.plan")).unwrap();
    let commands: [(&[&str], i32); 8] = [
        (&["fail", "a.plan"], 1),
        (
            &[
                "fail",
                "a.plan",
                "--by",
                "link",
                "--pairs",
                "--where",
                "from == \"acc-pump\"",
            ],
            1,
        ),
        (
            &[
                "sweep", "a.plan", "links", "P105", "length", "10", "m", "to", "400", "m", "in",
                "8",
            ],
            0,
        ),
        (
            &[
                "sweep", "a.plan", "assume", "reserve", "0", "to", "2", "in", "4", "--of", "links",
                "P103",
            ],
            0,
        ),
        (&["options", "a.plan", "P105"], 0),
        (&["growth", "a.plan", "--from", "2031"], 0),
        (&["order", "a.plan"], 0),
        (&["order", "a.plan", "--labels"], 0),
    ];
    for (args, wanted) in commands {
        for form in ["table", "csv", "json"] {
            let args = [args, &["--as", form]].concat();
            let (out, err, code) = told(room.path(), &args);
            assert_eq!((code, err.as_str()), (wanted, ""), "{args:?}");
            assert!(!out.is_empty());
            if form == "json" {
                let value: serde_json::Value = serde_json::from_str(&out).unwrap();
                assert!(value["rows"].is_array(), "{args:?}");
            }
        }
    }
    assert_eq!(std::fs::read(room.path().join("a.plan")).unwrap(), before);
    assert_eq!(std::fs::read_dir(room.path()).unwrap().count(), 1);
}

#[test]
fn a_sweep_tells_where_it_turns_and_draws_it() {
    let room = room();
    let range = [
        "sweep", "a.plan", "links", "P105", "length", "10", "m", "to", "400", "m", "in", "4",
    ];
    let turns = [&range[..], &["--turns", "--svg", "p105.svg"]].concat();
    let (out, err, code) = told(room.path(), &turns);
    assert_eq!((code, err.as_str()), (0, "the curves are in p105.svg\n"));
    assert!(out.contains("fails from 33.000001 m"), "{out}");
    assert!(
        out.contains("new: stop reach: 33 m of OM1 is more than"),
        "{out}"
    );
    let svg = std::fs::read_to_string(room.path().join("p105.svg")).unwrap();
    assert!(svg.contains("<title>length of P105</title>"));
    // One more connection, held for the whole sweep.
    let with = [
        &range[..],
        &["--turns", "--with", "links", "P105", "connections", "4"],
    ]
    .concat();
    let (more, _, _) = told(room.path(), &with);
    assert_ne!(out, more);
}

#[test]
fn what_cannot_be_asked_is_told_with_the_next_step() {
    let room = room();
    let cases: [(&[&str], &str); 7] = [
        (
            &["sweep", "a.plan", "links", "P105", "margin", "1", "to", "2"],
            "entered",
        ),
        (
            &["sweep", "a.plan", "links", "P105", "length", "10"],
            "range",
        ),
        (
            &["sweep", "a.plan", "assume", "reserv", "0", "to", "1"],
            "reserve",
        ),
        (
            &["sweep", "a.plan", "assume", "reserve", "0", "to", "1"],
            "look at",
        ),
        (
            &["options", "a.plan", "P105", "--rank", "colour"],
            "ranks nothing",
        ),
        (&["options", "a.plan", "P105", "M112"], "another speed"),
        (&["fail", "a.plan", "--where", "lenght > 1 m"], "length"),
    ];
    for (args, wanted) in cases {
        let (out, err, code) = told(room.path(), args);
        assert_eq!((code, out.as_str()), (2, ""), "{args:?}");
        assert!(err.contains(wanted) && err.contains("help"), "{err}");
    }
}
