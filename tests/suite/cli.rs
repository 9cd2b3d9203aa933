//! The command line as a person meets it: the real program, its output and its exit codes.

use std::path::Path;
use std::process::{Command, Output, Stdio};
use std::time::{Duration, Instant};

/// Runs the program in a folder with an empty environment.
fn run(folder: &Path, args: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_portledger"))
        .args(args)
        .current_dir(folder)
        .env_clear()
        .output()
        .unwrap()
}

/// What a run printed, and its exit code.
fn told(folder: &Path, args: &[&str]) -> (String, String, i32) {
    let output = run(folder, args);
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).unwrap();
    (
        text(output.stdout),
        text(output.stderr),
        output.status.code().unwrap(),
    )
}

/// A folder with a plan of one multimode link of 290 m.
fn with_plan() -> tempfile::TempDir {
    let room = tempfile::tempdir().unwrap();
    let steps: [&[&str]; 4] = [
        &["new", "p.plan"],
        &[
            "set",
            "p.plan",
            "links",
            "UP1",
            "interface",
            "10GBASE-SR",
            "--add",
        ],
        &["set", "p.plan", "links", "UP1", "medium", "OM3"],
        &["set", "p.plan", "links", "UP1", "length", "290 m"],
    ];
    for step in steps {
        let (_, stderr, code) = told(room.path(), step);
        assert_eq!((stderr.as_str(), code), ("", 0), "{step:?}");
    }
    room
}

#[test]
fn a_formula_gives_its_value_and_unit() {
    let here = Path::new(".");
    let cases: [(&[&str], &str); 7] = [
        (
            &["calc", "10 km * 0.35 dB/km + 2 * 0.5 dB", "--as", "json"],
            "{\"value\":4.5,\"unit\":\"dB\"}\n",
        ),
        (&["calc", "10 km * 0.35 dB/km + 2 * 0.5 dB"], "4.5 dB\n"),
        (&["calc", "250 ft", "--in", "m"], "76.2 m\n"),
        (&["calc", "-3 dBm - 7 dB"], "-10 dBm\n"),
        (
            &["calc", "48 * 1 Gb/s / 10 Gb/s", "--as", "json"],
            "{\"value\":4.8}\n",
        ),
        (&["calc", "\"OM3\" == \"om3\""], "yes\n"),
        (&["calc", "assume.reserve"], "0.5 dB\n"),
    ];
    for (args, expected) in cases {
        assert_eq!(
            told(here, args),
            (expected.to_owned(), String::new(), 0),
            "{args:?}"
        );
    }
}

#[test]
fn what_is_no_formula_ends_soon_with_its_place_and_a_next_step() {
    let minus = format!("{}1", "-".repeat(100_000));
    let open = format!("{}1{}", "(".repeat(5_000), ")".repeat(5_000));
    let many: Vec<String> = (0..500).map(|at| format!("nm{at}")).collect();
    let many = many.join(" + ");
    let deep = format!("{}1{}", "(".repeat(100), ")".repeat(100));
    let cases = [
        "1 dBm + 1 dBm",
        "3 dB + 2 m",
        "a =",
        &minus,
        &open,
        &deep,
        "",
        "1 parsec",
        "leng + 1",
        "1 +",
        &many,
    ];
    for formula in cases {
        let started = Instant::now();
        let (stdout, stderr, code) = told(Path::new("."), &["calc", formula]);
        let shown = formula.get(..20.min(formula.len())).unwrap_or_default();
        assert!(started.elapsed() < Duration::from_secs(2), "{shown}");
        assert_eq!((stdout.as_str(), code), ("", 2), "{shown}");
        assert!(
            stderr.starts_with("error: ") && stderr.contains("formula"),
            "{stderr}"
        );
        assert!(stderr.contains("help: "), "{stderr}");
        assert!(stderr.len() < 1200, "{stderr}");
    }
}

#[test]
fn a_result_is_asked_for_in_units_that_measure_the_same() {
    let (_, stderr, code) = told(Path::new("."), &["calc", "3 dB", "--in", "m"]);
    assert_eq!(code, 2);
    assert!(stderr.contains("the result is in dB"), "{stderr}");
    let (stdout, stderr, code) = told(Path::new("."), &["calc", "1 / 0", "--as", "json"]);
    assert_eq!(
        (stdout.as_str(), code),
        ("{\"value\":null}\n", 2),
        "{stderr}"
    );
}

#[test]
fn a_margin_is_explained_with_numbers_units_and_sources() {
    let room = with_plan();
    let (stdout, _, code) = told(room.path(), &["why", "p.plan", "links", "up1", "margin"]);
    assert_eq!(code, 0);
    for part in [
        "margin: 0.08 dB",
        "  = loss_limit - loss",
        "  = 2.6 dB - 2.52 dB",
        "channel.loss_limit: 2.6 dB   [10GBASE-SR on OM3; IEEE 802.3-2022 clause 52",
        "seen]",
        "length: 290 m   [entered]",
        "assume.connections: 2   [assumed, from memory",
    ] {
        assert!(stdout.contains(part), "{part}\n{stdout}");
    }
    let (stdout, _, _) = told(room.path(), &["why", "p.plan", "links", "UP1", "verdict"]);
    assert!(stdout.starts_with("verdict: tight"), "{stdout}");
    assert!(stdout.contains("margin < assume.reserve"), "{stdout}");
}

#[test]
fn an_edit_says_what_it_changed_and_is_saved() {
    let room = with_plan();
    let (stdout, stderr, code) = told(
        room.path(),
        &["set", "p.plan", "links", "UP1", "length", "1200 ft"],
    );
    insta::assert_snapshot!(stdout, @r"
    UP1: length is 365.76 m; verdict fails
    gone: caution link UP1 reserve: a margin of 0.08 dB is below the reserve, 0.5 dB
    new: stop link UP1 reach: 365.76 m of OM3 is more than the reach of 10GBASE-SR, 300 m
    new: stop link UP1 loss: a loss of 2.78 dB is more than 10GBASE-SR allows on OM3, 2.6 dB
    2 stops, 0 cautions, 0 notes
    ");
    assert_eq!((stderr.as_str(), code), ("", 1));
    let (stdout, _, code) = told(room.path(), &["check", "p.plan"]);
    assert!(stdout.contains("365.76 m of OM3"), "{stdout}");
    assert_eq!(code, 1);
    let (_, _, code) = told(
        room.path(),
        &["set", "p.plan", "links", "UP1", "length", "100"],
    );
    assert_eq!(code, 0);
    assert_eq!(told(room.path(), &["check", "p.plan"]).2, 0);
}

#[test]
fn a_wrong_entry_is_refused_and_nothing_is_saved() {
    let room = with_plan();
    let before = std::fs::read(room.path().join("p.plan")).unwrap();
    let cases: [(&[&str], &str); 8] = [
        (&["links", "UP1", "length", "3 dB"], "this column is in m"),
        (&["links", "UP1", "role", "uplnk"], "did you mean `uplink`?"),
        (&["links", "UP1", "lenght", "3 m"], "did you mean `length`?"),
        (&["links", "UP1", "margin", "3 dB"], "computed"),
        (&["links", "UP9", "length", "3 m"], "no row `UP9`"),
        (&["link", "UP1", "length", "3 m"], "did you mean `links`?"),
        (
            &["assume", "reserv", "value", "3 dB"],
            "did you mean `reserve`?",
        ),
        (
            &["links", "--formula", "margin", "loss_limit - length"],
            "cannot subtract",
        ),
    ];
    for (args, part) in cases {
        let args: Vec<&str> = ["set", "p.plan"].iter().chain(args).copied().collect();
        let (_, stderr, code) = told(room.path(), &args);
        assert_eq!(code, 2, "{args:?}");
        assert!(stderr.contains(part), "{part}\n{stderr}");
    }
    assert_eq!(std::fs::read(room.path().join("p.plan")).unwrap(), before);
}

#[test]
fn assumptions_and_formulas_are_the_persons_and_shown_as_theirs() {
    let room = with_plan();
    let set: [&[&str]; 2] = [
        &["set", "p.plan", "assume", "reserve", "value", "0 dB"],
        &[
            "set",
            "p.plan",
            "links",
            "--formula",
            "loss",
            "fibre_loss + 0.2 dB",
        ],
    ];
    for args in set {
        assert_eq!(told(room.path(), args).2, 0, "{args:?}");
    }
    let (stdout, _, _) = told(room.path(), &["why", "p.plan", "links", "UP1", "loss"]);
    assert!(
        stdout.starts_with("loss: 1.22 dB   [your formula]"),
        "{stdout}"
    );
    let (stdout, _, _) = told(room.path(), &["why", "p.plan", "links", "UP1", "is_tight"]);
    assert!(
        stdout.contains("assume.reserve: 0 dB   [set in this plan"),
        "{stdout}"
    );
    assert_eq!(
        told(
            room.path(),
            &["set", "p.plan", "links", "--formula", "loss", ""]
        )
        .2,
        0
    );
    let (stdout, _, _) = told(room.path(), &["why", "p.plan", "links", "UP1", "loss"]);
    assert!(
        stdout.starts_with("loss: 2.52 dB   [arithmetic]"),
        "{stdout}"
    );
}

#[test]
fn a_persons_row_beats_a_built_in_one_and_is_shown_as_theirs() {
    let room = with_plan();
    let args = [
        "set",
        "p.plan",
        "channels",
        "10gbase-sr on om3",
        "reach",
        "280 m",
    ];
    let (stdout, stderr, code) = told(room.path(), &args);
    assert_eq!(code, 1, "{stderr}");
    assert!(
        stdout.contains("new: stop link UP1 reach: 290 m of OM3 is more than"),
        "{stdout}"
    );
    let (stdout, _, _) = told(room.path(), &["why", "p.plan", "links", "UP1", "reach"]);
    assert!(
        stdout.contains("channel.reach: 280 m   [10GBASE-SR on OM3; set in this plan; your row]"),
        "{stdout}"
    );
    let (_, _, code) = told(
        room.path(),
        &[
            "set",
            "p.plan",
            "channels",
            "10GBASE-SR on OM3",
            "reach",
            "300",
        ],
    );
    assert_eq!(code, 0);
    let (stdout, _, _) = told(
        room.path(),
        &["show", "p.plan", "links", "--columns", "id,reach"],
    );
    assert_eq!(stdout, "id   reach m\nUP1      300\n");
}

#[test]
fn a_sheet_is_shown_as_text_csv_and_json() {
    let room = with_plan();
    let show = |extra: &[&str]| {
        let args = [
            "show",
            "p.plan",
            "links",
            "--columns",
            "id,length,margin,verdict",
        ];
        told(
            room.path(),
            &args.iter().chain(extra).copied().collect::<Vec<_>>(),
        )
        .0
    };
    assert_eq!(
        show(&[]),
        "id   length m  margin dB  verdict\nUP1       290       0.08  ▲ tight\n"
    );
    assert_eq!(
        show(&["--where", "margin > 1 dB"]),
        "id  length m  margin dB  verdict\n"
    );
    let csv = show(&["--as", "csv"]);
    assert!(
        csv.starts_with("id,length [m],margin [dB],verdict\nUP1,290,0.08"),
        "{csv}"
    );
    let json: serde_json::Value = serde_json::from_str(&show(&["--as", "json"])).unwrap();
    assert_eq!(json["rows"][0]["length"], 290);
    assert_eq!(json["units"]["margin"], "dB");
    let (_, stderr, code) = told(
        room.path(),
        &["show", "p.plan", "links", "--where", "margin"],
    );
    assert_eq!(code, 2);
    assert!(stderr.contains("yes or no"), "{stderr}");
}

#[test]
fn text_from_a_plan_reaches_neither_terminal_nor_spreadsheet_as_a_command() {
    let room = with_plan();
    let hostile = "=cmd\u{1b}[31m\u{202e}x";
    told(
        room.path(),
        &["set", "p.plan", "links", hostile, "notes", "+1+1", "--add"],
    );
    let listings: [&[&str]; 4] = [
        &["show", "p.plan", "links"],
        &["check", "p.plan"],
        &["why", "p.plan", "links", hostile, "verdict"],
        &["why", "p.plan", "links", "no\u{1b}such", "verdict"],
    ];
    for args in listings {
        let (stdout, stderr, _) = told(room.path(), args);
        assert!(
            !format!("{stdout}{stderr}").contains(['\u{1b}', '\u{202e}']),
            "{args:?}"
        );
    }
    let (csv, _, _) = told(
        room.path(),
        &[
            "show",
            "p.plan",
            "links",
            "--columns",
            "id,notes",
            "--as",
            "csv",
        ],
    );
    assert!(csv.contains("'=cmd") && csv.contains("'+1+1"), "{csv}");
}

#[test]
fn a_closed_pipe_is_no_failure() {
    let mut child = Command::new(env!("CARGO_BIN_EXE_portledger"))
        .args(["tables", "channels"])
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    drop(child.stdout.take());
    let output = child.wait_with_output().unwrap();
    assert_eq!(
        (output.status.code(), output.stderr.as_slice()),
        (Some(0), &[][..])
    );
}

#[test]
fn a_table_becomes_a_plan_that_never_judges_what_is_missing() {
    let room = tempfile::tempdir().unwrap();
    let table = "Cable ID,Side A,A port,Side B,B port,Media,Cable Len,Class,Shelf\n\
                 RUN1,pump-1,eth0,deck-1,p1,cat6,120,host,blue\n\
                 RUN2,deck-1,u1,core,p9,om4 10g,250,uplink,red\n\
                 RUN3,lab-1,eth0,deck-1,p2,cat6,,host,\n";
    std::fs::write(room.path().join("t.csv"), table).unwrap();
    let args = [
        "new",
        "t.plan",
        "--from",
        "t.csv",
        "--map",
        "Cable Len=length:ft",
    ];
    let (stdout, stderr, code) = told(room.path(), &args);
    assert_eq!(code, 0, "{stderr}");
    assert!(
        stdout.contains("3 links, 2 switches, 0 rows set aside"),
        "{stdout}"
    );
    let (csv, _, _) = told(
        room.path(),
        &[
            "show",
            "t.plan",
            "links",
            "--as",
            "csv",
            "--columns",
            "id,length,speed,role,shelf,verdict",
        ],
    );
    assert_eq!(
        csv,
        "id,length [m],speed [Gb/s],role,shelf,verdict\n\
         RUN1,36.576,,access,blue,unknown\n\
         RUN2,76.2,10,uplink,red,unknown\n\
         RUN3,,,access,,unknown\n"
    );
    let (_, stderr, code) = told(room.path(), &args);
    assert_eq!(code, 2);
    assert!(stderr.contains("already there"), "{stderr}");
}

/// A folder with the demo plan and the dump that comes with it.
fn with_demo() -> tempfile::TempDir {
    let room = tempfile::tempdir().unwrap();
    for name in ["aquarium.plan", "p103-near.hex"] {
        let from = Path::new(env!("CARGO_MANIFEST_DIR"))
            .join("examples")
            .join(name);
        std::fs::copy(from, room.path().join(name)).unwrap();
    }
    room
}

#[test]
fn a_module_that_is_another_than_planned_is_found() {
    let room = with_demo();
    let plan = room.path().join("aquarium.plan");
    let before = std::fs::read(&plan).unwrap();
    let place = ["--link", "p103", "--end", "near"];
    let args = [&["import", "aquarium.plan", "p103-near.hex"][..], &place].concat();
    let (stdout, stderr, code) = told(room.path(), &[&args[..], &["--dry-run"]].concat());
    assert_eq!((stderr.as_str(), code), ("", 0));
    assert!(
        stdout.contains("10GBASE-LR, by its compliance codes"),
        "{stdout}"
    );
    assert_eq!(std::fs::read(&plan).unwrap(), before);

    let finding = "stop module RX240117 module-differs: planned 10GBASE-SR, found 10GBASE-LR";
    let (stdout, stderr, code) = told(room.path(), &args);
    assert_eq!((stderr.as_str(), code), ("", 1));
    assert!(
        stdout.contains("module RX240117 added: SFP+, REEF OPTICS"),
        "{stdout}"
    );
    assert!(stdout.contains("receives -4.50 dBm"), "{stdout}");
    assert!(stdout.contains(&format!("new: {finding}")), "{stdout}");
    let (stdout, _, code) = told(room.path(), &["check", "aquarium.plan"]);
    let checked = stdout.replace("stop    module", "stop module");
    assert!(checked.contains(finding) && code == 1, "{stdout}");

    // Read again, it is the same row and nothing is new.
    let after = std::fs::read(&plan).unwrap();
    let (stdout, _, code) = told(room.path(), &args[..3]);
    assert!(stdout.contains("RX240117 read again"), "{stdout}");
    assert!(!stdout.contains("new:") && code == 0, "{stdout}");
    assert_eq!(std::fs::read(&plan).unwrap(), after);

    // The plan is put right by hand.
    for (column, text) in [("interface", "10GBASE-LR"), ("medium", "OS2")] {
        told(
            room.path(),
            &["set", "aquarium.plan", "links", "P103", column, text],
        );
    }
    let (stdout, _, _) = told(room.path(), &["check", "aquarium.plan"]);
    assert!(!stdout.contains("module RX240117"), "{stdout}");
}

#[test]
fn import_takes_a_table_into_a_plan_that_is_there() {
    let room = with_plan();
    std::fs::write(
        room.path().join("more.csv"),
        "id,interface,medium,length\nUP2,10GBASE-SR,OM3,310\n",
    )
    .unwrap();
    let args = ["import", "p.plan", "more.csv"];
    let (stdout, stderr, code) = told(room.path(), &args);
    assert_eq!((stderr.as_str(), code), ("", 1));
    assert!(
        stdout.contains("1 link, 0 switches, 0 rows set aside"),
        "{stdout}"
    );
    assert!(stdout.contains("new: stop link UP2 reach"), "{stdout}");
    let (stdout, _, _) = told(room.path(), &["show", "p.plan", "links", "--columns", "id"]);
    assert!(stdout.contains("UP1") && stdout.contains("UP2"), "{stdout}");
}

#[test]
fn what_cannot_be_imported_changes_nothing() {
    let room = with_demo();
    let plan = room.path().join("aquarium.plan");
    let before = std::fs::read(&plan).unwrap();
    let dump = std::fs::read_to_string(room.path().join("p103-near.hex")).unwrap();
    let write = |name: &str, bytes: &[u8]| std::fs::write(room.path().join(name), bytes).unwrap();
    write("short.hex", &dump.as_bytes()[..2000]);
    write("gap.hex", dump.replace("0040:", "0050:").as_bytes());
    write("cmis.bin", &[&[0x1e, 0x40], &[0; 254][..]].concat());
    write("large.bin", &[0; 70_000]);
    write("empty", b"");
    write("table.csv", b"id,from\nL1,a\n");
    let at = ["--link", "P103", "--end", "far"];
    let nowhere = ["--link", "P109X", "--end", "far"];
    let cases: [(&str, &[&str], &str); 9] = [
        ("p103-near.hex", &["--map", "a=length"], "has no headings"),
        ("short.hex", &at, "no whole dump of an SFP module"),
        ("gap.hex", &at, "line 6 of the dump is at 0050"),
        ("cmis.bin", &[], "not read yet"),
        ("large.bin", &[], "64 KiB"),
        ("empty", &[], "no rows"),
        (
            "table.csv",
            &at,
            "--link, --end and --id go with the dump of a module",
        ),
        ("p103-near.hex", &nowhere, "there is no link `P109X`"),
        ("none.hex", &at, "none.hex"),
    ];
    for (file, place, part) in cases {
        let args = [&["import", "aquarium.plan", file], place].concat();
        let (stdout, stderr, code) = told(room.path(), &args);
        assert_eq!((stdout.as_str(), code), ("", 2), "{file}");
        assert!(
            stderr.contains(part) && stderr.contains("help: "),
            "{stderr}"
        );
        assert_eq!(std::fs::read(&plan).unwrap(), before, "{file}");
    }
}

#[test]
fn files_that_are_no_plan_are_told_so() {
    let room = tempfile::tempdir().unwrap();
    std::fs::write(room.path().join("x.plan"), "hello").unwrap();
    for path in ["x.plan", "none.plan", "."] {
        let (stdout, stderr, code) = told(room.path(), &["check", path]);
        assert_eq!((stdout.as_str(), code), ("", 2), "{path}");
        assert!(
            stderr.starts_with("error: ") && stderr.contains("help: "),
            "{path}: {stderr}"
        );
    }
}

#[test]
fn every_command_has_an_example_and_stands_in_the_manual() {
    let here = Path::new(".");
    let (manual, _, _) = told(here, &["manual"]);
    for command in [
        "check",
        "show",
        "why",
        "calc",
        "set",
        "new",
        "import",
        "tables",
        "functions",
        "completions",
        "manual",
    ] {
        let (help, _, code) = told(here, &[command, "--help"]);
        assert_eq!(code, 0);
        assert!(help.contains("Example"), "{command}");
        assert!(manual.contains(&format!(".SS {command}\n")), "{command}");
    }
    for section in ["FORMULAS", "FUNCTIONS", "EXIT STATUS"] {
        assert!(manual.contains(&format!(".SH {section}\n")), "{section}");
    }
    assert!(manual.contains("\\fBattenuation_at(medium, wavelength)\\fR"));
    for shell in ["bash", "zsh", "fish"] {
        let (script, _, code) = told(here, &["completions", shell]);
        assert!(code == 0 && script.contains("portledger"), "{shell}");
    }
    let (list, _, _) = told(here, &["functions"]);
    assert!(
        list.contains("attenuation_at(medium, wavelength)"),
        "{list}"
    );
    let (_, stderr, code) = told(here, &["functions", "attenuation"]);
    assert!(
        code == 2 && stderr.contains("did you mean `attenuation_at`?"),
        "{stderr}"
    );
}

#[test]
fn odd_arguments_end_without_a_panic() {
    use std::ffi::OsStr;
    use std::os::unix::ffi::OsStrExt;
    let long = "x".repeat(50_000);
    let odd = [
        OsStr::new(""),
        OsStr::new("-"),
        OsStr::new("--"),
        OsStr::from_bytes(b"\xff\xfe"),
        OsStr::new(&long),
    ];
    for command in ["check", "calc", "why", "show", "set", "functions"] {
        for arg in odd {
            let output = Command::new(env!("CARGO_BIN_EXE_portledger"))
                .arg(command)
                .args([arg, arg, arg, arg])
                .output()
                .unwrap();
            assert_eq!(output.status.code(), Some(2), "{command}");
            assert!(output.stderr.len() < 1200, "{command}");
            assert!(
                !String::from_utf8_lossy(&output.stderr).contains("panicked"),
                "{command}"
            );
        }
    }
}

#[test]
fn data_for_programs_is_exact_and_holds_no_escape() {
    let room = with_plan();
    let hostile = "a\u{1b}[31m\u{9b}1m\u{202e}b";
    let set = ["set", "p.plan", "links", "UP1", "notes", hostile];
    assert_eq!(told(room.path(), &set).2, 0);
    let why = ["why", "p.plan", "links", "UP1", "notes", "--as", "json"];
    let show = ["show", "p.plan", "links", "--columns", "notes", "--as"];
    let json = told(room.path(), &[&show[..], &["json"]].concat()).0;
    let csv = told(room.path(), &[&show[..], &["csv"]].concat()).0;
    let reason = told(room.path(), &why).0;
    for text in [&json, &csv, &reason] {
        assert!(!text.contains(['\u{1b}', '\u{9b}', '\u{202e}']), "{text:?}");
    }
    let value = |text: &str| serde_json::from_str::<serde_json::Value>(text).unwrap();
    assert_eq!(value(&json)["rows"][0]["notes"], hostile);
    assert_eq!(value(&reason)["value"], hostile);
    assert_eq!(csv, "notes\na\u{241b}[31m\u{fffd}1m\u{fffd}b\n");
}

#[test]
fn a_reason_for_programs_is_nested() {
    let room = with_plan();
    let why = ["why", "p.plan", "links", "UP1", "margin", "--as", "json"];
    let reason: serde_json::Value = serde_json::from_str(&told(room.path(), &why).0).unwrap();
    assert_eq!(reason["value"], "0.08 dB");
    assert_eq!(reason["numbers"], "2.6 dB - 2.52 dB");
    assert_eq!(reason["inputs"][0]["name"], "loss_limit");
    // Loss, then fibre loss, then the length that is counted, after whether there are segments.
    let fibre = &reason["inputs"][1]["inputs"][0];
    assert_eq!(fibre["inputs"][1]["name"], "used_length");
    assert_eq!(fibre["inputs"][1]["inputs"][1]["value"], "290 m");
}

#[test]
fn a_condition_may_look_at_all_rows_and_says_where_it_is_silent() {
    let room = with_plan();
    let steps: [&[&str]; 3] = [
        &[
            "set", "p.plan", "switches", "reef", "building", "A", "--add",
        ],
        &["set", "p.plan", "links", "UP1", "from", "reef"],
        &["set", "p.plan", "links", "UP2", "from", "pump", "--add"],
    ];
    for step in steps {
        assert_eq!(told(room.path(), step).2, 0, "{step:?}");
    }
    let shown = |condition: &str| {
        let show = ["show", "p.plan", "links", "--columns", "id", "--where"];
        told(room.path(), &[&show[..], &[condition]].concat())
    };
    let silent = "note: 1 row is left out: an input of the condition is missing there\n";
    let all = "total(links.capacity, links.from == from) >= 10 Gb/s";
    for (condition, stdout, stderr) in [
        (all, "id\nUP1\n", silent),
        ("length > 1 m", "id\nUP1\n", silent),
        ("not is_given(length)", "id\nUP2\n", ""),
        ("length > 1 km", "id\n", silent),
    ] {
        let expected = (stdout.to_owned(), stderr.to_owned(), 0);
        assert_eq!(shown(condition), expected, "{condition}");
    }
}

#[test]
fn an_assumption_is_shown_and_its_built_in_value_comes_back() {
    let room = with_plan();
    let reserve = |value: &str| {
        let set = ["set", "p.plan", "assume", "reserve", "value", value];
        told(room.path(), &set).0
    };
    let shown = || {
        let show = ["show", "p.plan", "assume", "--as", "csv"];
        let csv = told(room.path(), &show).0;
        let line = csv.lines().find(|line| line.starts_with("reserve,"));
        line.unwrap().to_owned()
    };
    let before = shown();
    assert!(before.starts_with("reserve,0.5,dB,"), "{before}");
    let said = reserve("0 dB");
    assert!(
        said.starts_with("reserve: 0 dB (set in this plan)\ngone: caution link UP1 reserve"),
        "{said}"
    );
    assert!(shown().starts_with("reserve,0,dB,set in this plan,yours,"));
    assert!(reserve("").starts_with("reserve: 0.5 dB (common practice"));
    assert_eq!(shown(), before);
}

#[test]
fn a_formula_that_closes_a_loop_is_refused_and_another_loop_does_not_matter() {
    let room = with_plan();
    let formula = |column: &str, text: &str| {
        told(
            room.path(),
            &["set", "p.plan", "links", "--formula", column, text],
        )
    };
    let (stdout, stderr, code) = formula("loss", "loss_limit - margin");
    assert_eq!((stdout.as_str(), code), ("", 2));
    assert!(
        stderr.contains("`links.loss` depends on itself"),
        "{stderr}"
    );
    // A loop that somebody wrote into the file does not stand in the way of other formulas.
    let path = room.path().join("p.plan");
    let text = std::fs::read_to_string(&path).unwrap();
    let loops = "[[formula]]\nsheet = \"links\"\ncolumn = \"reach\"\nformula = \"headroom + length\"\n\n[rows]";
    std::fs::write(&path, text.replacen("[rows]", loops, 1)).unwrap();
    let (stdout, stderr, code) = formula("loss", "fibre_loss + 0.2 dB");
    assert!(
        stdout.starts_with("loss = fibre_loss + 0.2 dB\n"),
        "{stdout}"
    );
    assert_eq!(code, 0, "{stderr}");
    assert!(
        stderr.contains("`links.reach` depends on itself"),
        "{stderr}"
    );
}

#[test]
fn calc_reads_rows_and_names_what_is_missing() {
    let room = with_plan();
    let row = ["--plan", "p.plan", "--sheet", "links", "--row", "up1"];
    let (stdout, _, code) = told(room.path(), &[&["calc", "length * 2"], &row[..]].concat());
    assert_eq!((stdout.as_str(), code), ("580 m\n", 0));
    let (_, stderr, code) = told(
        room.path(),
        &[&["calc", "1 dB + extra_loss"], &row[..]].concat(),
    );
    assert_eq!(code, 2);
    assert!(
        stderr.contains("`extra_loss` has no value here"),
        "{stderr}"
    );
    let built_in = ["--sheet", "media", "--row", "om3", "--as", "csv"];
    let calc = [&["calc", "attenuation_850"], &built_in[..]].concat();
    assert_eq!(told(room.path(), &calc).0, "value [dB/km]\n3.5\n");
    let (_, stderr, _) = told(room.path(), &["calc", "0 / 0"]);
    assert!(stderr.contains("the result is not a number"), "{stderr}");
}

#[test]
fn a_mistyped_command_and_arguments_that_exclude_each_other_are_told() {
    let room = with_plan();
    let cases: [(&[&str], &str); 4] = [
        (&["chek"], "did you mean `check`?"),
        (&["new", "q.plan", "--map", "a=length"], "--from"),
        (
            &["set", "p.plan", "links", "--formula", "loss", "1 dB", "x"],
            "cannot be used with",
        ),
        (
            &["show", "p.plan", "assume", "--where", "yes"],
            "shown whole",
        ),
    ];
    for (args, part) in cases {
        let (stdout, stderr, code) = told(room.path(), args);
        assert_eq!((stdout.as_str(), code), ("", 2), "{args:?}");
        assert!(stderr.contains(part), "{part}\n{stderr}");
    }
}

#[test]
fn many_remarks_on_a_plan_are_cut_short() {
    let room = with_plan();
    let path = room.path().join("p.plan");
    let text = std::fs::read_to_string(&path).unwrap();
    let (head, rows) = text.split_once("UP1,").unwrap();
    let wrong: String = (0..100)
        .map(|at| format!("W{at},10GBASE-SR,OM3,far\n"))
        .collect();
    std::fs::write(&path, format!("{head}{wrong}UP1,{rows}")).unwrap();
    let (_, stderr, _) = told(room.path(), &["check", "p.plan"]);
    assert!(stderr.starts_with("note: "), "{stderr}");
    assert!(stderr.lines().count() < 70, "{stderr}");
    let (csv, _, _) = told(
        room.path(),
        &[
            "show",
            "p.plan",
            "links",
            "--columns",
            "length",
            "--as",
            "csv",
        ],
    );
    assert!(csv.starts_with("length [m]\nfar\n"), "{csv}");
}

#[test]
fn functions_and_tables_are_whole_for_programs() {
    let here = Path::new(".");
    let rows = |args: &[&str]| {
        let text = told(here, &[args, &["--as", "json"]].concat()).0;
        serde_json::from_str::<serde_json::Value>(&text).unwrap()["rows"].clone()
    };
    let one = rows(&["functions", "least"]);
    assert_eq!(one[0]["form"], "least(a, b, ...)");
    assert_eq!(one[0]["workbook"], "MIN({*})");
    assert_eq!(one[0]["result"], "2 dB");
    let all = rows(&["functions"]);
    assert!(all.as_array().unwrap().contains(&one[0]));
    let sheets = rows(&["tables"]);
    let links = &sheets.as_array().unwrap()[0];
    assert_eq!(links["name"], "links");
    assert!(links["columns"].as_str().unwrap().contains("length, "));
    let channels = rows(&["tables", "channels"]);
    assert_eq!(channels[0]["id"], "100BASE-FX on OM1");
    assert_eq!(channels[0]["confidence"], "memory");
}

#[test]
#[cfg(target_os = "linux")]
fn output_that_does_not_arrive_is_a_failure() {
    let full = std::fs::File::options().write(true).open("/dev/full");
    for args in [&["functions"][..], &["calc", "1"], &["--help"]] {
        let output = Command::new(env!("CARGO_BIN_EXE_portledger"))
            .args(args)
            .env_clear()
            .stdout(full.as_ref().unwrap().try_clone().unwrap())
            .output()
            .unwrap();
        let stderr = String::from_utf8(output.stderr).unwrap();
        assert_eq!(output.status.code(), Some(2), "{args:?}");
        assert!(stderr.contains("cannot write the output"), "{stderr}");
    }
}
