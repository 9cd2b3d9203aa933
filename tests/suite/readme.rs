//! What the README shows is what the program prints.
//!
//! Every command of a console block is run in a folder of its own, and every line below it has
//! to be among the printed ones. A block leaves lines out; `[...]` says so in the picture. The csv
//! block is the file `cables.csv` there.

use crossterm::event::KeyCode;
use crossterm::event::KeyEvent;
use crossterm::event::KeyModifiers;
use portledger::desk::Desk;
use portledger::screen::draw::draw;
use portledger::screen::session::{Happening, Session};
use portledger::screen::theme::Theme;
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use std::path::Path;
use std::process::Command;

const ROOT: &str = env!("CARGO_MANIFEST_DIR");

/// A command with the lines that are shown below it.
struct Shown<'t> {
    command: &'t str,
    lines: Vec<&'t str>,
}

/// The commands of all console blocks, in order.
fn shown(readme: &str) -> Vec<Shown<'_>> {
    let mut all: Vec<Shown<'_>> = Vec::new();
    let mut inside = false;
    for line in readme.lines() {
        match (line, line.strip_prefix("$ "), all.last_mut()) {
            ("```console", _, _) => inside = true,
            ("```", _, _) => inside = false,
            _ if !inside || line == "[...]" || line.is_empty() => {}
            (_, Some(command), _) => all.push(Shown {
                command,
                lines: Vec::new(),
            }),
            (_, None, Some(shown)) => shown.lines.push(line),
            (_, None, None) => panic!("no command before `{line}`"),
        }
    }
    all
}

/// All that a shell prints for a command, errors too.
fn printed(command: &str, folder: &Path) -> String {
    let program = Path::new(env!("CARGO_BIN_EXE_portledger"));
    let output = Command::new("/bin/sh")
        .args(["-c", command])
        .current_dir(folder)
        .env("PATH", program.parent().unwrap())
        .env("NO_COLOR", "1")
        .output()
        .unwrap();
    [output.stdout, output.stderr]
        .map(|bytes| String::from_utf8(bytes).unwrap())
        .concat()
}

#[test]
#[cfg(unix)]
fn the_readme_shows_what_the_program_prints() {
    let folder = tempfile::tempdir().unwrap();
    std::fs::create_dir(folder.path().join("examples")).unwrap();
    for file in ["examples/aquarium.plan", "examples/p103-near.hex"] {
        std::fs::copy(Path::new(ROOT).join(file), folder.path().join(file)).unwrap();
    }
    let readme = std::fs::read_to_string(Path::new(ROOT).join("README.md")).unwrap();
    let (_, after) = readme.split_once("```csv\n").unwrap();
    let (list, _) = after.split_once("```").unwrap();
    std::fs::write(folder.path().join("cables.csv"), list).unwrap();
    let all = shown(&readme);
    assert!(all.len() >= 10);
    for Shown { command, lines } in all {
        assert!(command.starts_with("portledger"), "{command}");
        let printed = printed(command, folder.path());
        // Shown lines stand in the order of the printed ones.
        let mut rest = printed.lines();
        for line in lines {
            let is_there = rest.any(|one| one.trim_end() == line);
            assert!(is_there, "`{line}` is not, or not there, in:\n{printed}");
        }
    }
}

#[test]
fn the_readme_sets_up_with_two_commands() {
    let readme = std::fs::read_to_string(Path::new(ROOT).join("README.md")).unwrap();
    let (_, after) = readme.split_once("```sh\n").unwrap();
    let (block, rest) = after.split_once("```").unwrap();
    assert_eq!(block, "cargo run --release\ncargo test\n");
    assert!(!rest.contains("```sh"));
}

/// The pictures of the screen: the keys that lead there, and the lines.
fn pictures(readme: &str) -> Vec<(&str, &str)> {
    let parts = readme.split("<!-- keys: ").skip(1);
    parts
        .map(|part| {
            let (keys, after) = part.split_once(" -->\n```text\n").unwrap();
            (keys, after.split_once("```").unwrap().0)
        })
        .collect()
}

/// The frame of the demo after keys, at 80x24, without blanks at the ends of lines.
fn frame(keys: &str) -> String {
    let theme = Theme {
        colours: false,
        ascii: false,
    };
    let mut session = Session::new(Desk::demo().unwrap(), theme);
    let mut buffer = Buffer::empty(Rect::new(0, 0, 80, 24));
    draw(&mut session, &mut buffer);
    for key in keys.split(' ') {
        let code = match key {
            "Enter" => KeyCode::Enter,
            letter => KeyCode::Char(letter.chars().next().unwrap()),
        };
        session.take(Happening::Key(KeyEvent::new(code, KeyModifiers::NONE)));
        buffer.reset();
        draw(&mut session, &mut buffer);
    }
    let lines = buffer.content.chunks(80).map(|line| {
        let text: String = line.iter().map(|cell| cell.symbol()).collect();
        format!("{}\n", text.trim_end())
    });
    lines.collect()
}

#[test]
fn the_pictures_in_the_readme_are_what_the_screen_shows() {
    let path = Path::new(ROOT).join("README.md");
    let readme = std::fs::read_to_string(&path).unwrap();
    let mut wanted = readme.clone();
    let pictures = pictures(&readme);
    assert!(pictures.len() >= 2);
    for (keys, shown) in pictures {
        let head = format!("<!-- keys: {keys} -->\n```text\n");
        wanted = wanted.replace(&format!("{head}{shown}"), &format!("{head}{}", frame(keys)));
    }
    // With README=write the pictures are drawn anew.
    if std::env::var("README").is_ok_and(|word| word == "write") {
        std::fs::write(&path, &wanted).unwrap();
    }
    assert!(
        readme == wanted,
        "a picture is not what is drawn; README=write draws them anew"
    );
}
