//! Holds `src/` to the map of the house: who imports whom, and which room uses which crate.
//!
//! The sources are read as text; lines of comment do not count.

use std::fs;
use std::path::{Path, PathBuf};

/// The rooms, lowest floor first; each may import those before it.
const ROOMS: &[&str] = &[
    "problem", "units", "table", "formula", "sheet", "plan", "engine", "trade", "study", "files",
    "report", "desk", "screen", "cli",
];

/// Crates with the only rooms that use them.
const OWNED: &[(&str, &[&str])] = &[
    ("annotate_snippets", &["problem"]),
    ("calamine", &["files"]),
    ("clap", &["cli"]),
    ("clap_complete", &["cli"]),
    ("clap_mangen", &["cli"]),
    ("crossterm", &["screen"]),
    ("csv", &["sheet", "files"]),
    ("encoding_rs", &["files"]),
    ("evalexpr", &["formula"]),
    ("frizbee", &["screen"]),
    ("libm", &["formula"]),
    ("logos", &["formula"]),
    ("maud", &["report"]),
    ("memchr", &["files"]),
    ("mimalloc", &[]),
    ("pulp", &["engine"]),
    ("quick_xml", &["files", "report"]),
    ("ratatui", &["screen"]),
    ("rayon", &["engine", "trade", "files"]),
    ("rust_xlsxwriter", &["report"]),
    ("rustix", &["files", "screen"]),
    ("serde_json", &["sheet", "files", "report", "cli"]),
    ("sha2", &["files"]),
    ("signal_hook", &["files", "screen"]),
    ("strsim", &["problem"]),
    ("terminal_size", &["cli"]),
    ("tui_input", &["screen"]),
    ("toml", &["units", "sheet", "files"]),
    ("zip", &["files", "report"]),
];

/// Crates that every room may use.
const OPEN: &[&str] = &[
    "indexmap",
    "rustc_hash",
    "serde",
    "unicode_segmentation",
    "unicode_width",
];

#[test]
fn a_room_imports_only_rooms_below_it() {
    let mut wrong = Vec::new();
    for (floor, room) in ROOMS.iter().enumerate() {
        for (file, code) in sources(room) {
            for above in &ROOMS[floor + 1..] {
                if names(&code, &format!("crate::{above}")) {
                    wrong.push(format!("{}: imports `{above}`", file.display()));
                }
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn a_crate_is_used_in_its_rooms_alone() {
    let mut wrong = Vec::new();
    for room in ROOMS {
        for (file, code) in sources(room) {
            for (name, owners) in OWNED {
                if !owners.contains(room) && names(&code, &format!("{name}::")) {
                    wrong.push(format!("{}: uses `{name}`", file.display()));
                }
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn every_crate_has_a_place() {
    let manifest = fs::read_to_string(top().join("Cargo.toml")).unwrap();
    let manifest: toml::Table = manifest.parse().unwrap();
    let owned = OWNED.iter().map(|(name, _)| *name);
    let placed: Vec<&str> = owned.chain(OPEN.iter().copied()).collect();
    let depended = manifest["dependencies"].as_table().unwrap().keys();
    let mut depended: Vec<String> = depended.map(|name| name.replace('-', "_")).collect();
    depended.retain(|name| !placed.contains(&&**name));
    assert!(
        depended.is_empty(),
        "in no list here: {}",
        depended.join(", ")
    );
}

#[test]
fn imports_stand_alone_so_that_this_search_sees_them() {
    let mut wrong = Vec::new();
    for (file, code) in all_sources() {
        if code.contains("crate::{") || code.contains("crate::*") {
            wrong.push(file.display().to_string());
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn the_house_has_these_rooms_and_no_others() {
    let lib = fs::read_to_string(top().join("src/lib.rs")).unwrap();
    for line in lib.lines().filter(|line| line.contains("mod ")) {
        let room = line.trim_start_matches("pub mod ").trim_end_matches(';');
        assert!(ROOMS.contains(&room), "`{line}` is no room");
    }
    for entry in fs::read_dir(top().join("src")).unwrap() {
        let path = entry.unwrap().path();
        let name = path.file_stem().unwrap().to_string_lossy().into_owned();
        let known = ROOMS.contains(&&*name) || matches!(&*name, "lib" | "main");
        assert!(known, "{} is in no room", path.display());
    }
}

#[test]
fn every_module_of_the_suite_is_listed() {
    let main = fs::read_to_string(top().join("tests/suite/main.rs")).unwrap();
    let mut listed: Vec<&str> = main
        .lines()
        .filter_map(|line| line.strip_prefix("mod ")?.strip_suffix(';'))
        .collect();
    listed.sort_unstable();
    let files = fs::read_dir(top().join("tests/suite")).unwrap();
    let files = files.map(|entry| entry.unwrap().path());
    let mut found: Vec<String> = files
        .filter(|path| path.is_dir() || path.extension().is_some_and(|ext| ext == "rs"))
        .map(|path| path.file_stem().unwrap().to_string_lossy().into_owned())
        .filter(|name| name != "main" && name != "snapshots")
        .collect();
    // Stands in a folder of its own beside its corpus.
    found.push("fuzz".to_owned());
    found.sort_unstable();
    assert_eq!(listed, found);
}

#[test]
fn every_source_file_says_what_it_holds() {
    let mut files = Vec::new();
    rust_files(&top().join("src"), &mut files);
    rust_files(&top().join("tests"), &mut files);
    assert!(files.len() > 60, "{} files", files.len());
    for file in files {
        let text = fs::read_to_string(&file).unwrap();
        assert!(text.starts_with("//! "), "{}", file.display());
    }
}

#[test]
fn a_name_is_found_as_a_whole_word() {
    assert!(names("use crate::plan::Plan;", "crate::plan"));
    assert!(!names("use crate::planner::Plan;", "crate::plan"));
    assert!(names("let x = toml::from_str(text);", "toml::"));
    assert!(!names("super::toml::read()", "toml::"));
    assert!(!names("my_toml::read()", "toml::"));
}

fn top() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// Whether code holds a path that is not part of a longer one.
fn names(code: &str, path: &str) -> bool {
    let in_word = |c: char| c.is_alphanumeric() || c == '_';
    code.match_indices(path).any(|(at, _)| {
        let before = code[..at].chars().next_back();
        let after = code[at + path.len()..].chars().next();
        let longer = !path.ends_with("::") && after.is_some_and(in_word);
        !longer && !before.is_some_and(|c| in_word(c) || c == ':')
    })
}

/// Every source file of one room with its code.
fn sources(room: &str) -> Vec<(PathBuf, String)> {
    let mut files = Vec::new();
    rust_files(&top().join("src").join(room), &mut files);
    rust_files(&top().join("src").join(format!("{room}.rs")), &mut files);
    files.into_iter().map(with_code).collect()
}

fn all_sources() -> Vec<(PathBuf, String)> {
    let mut files = Vec::new();
    rust_files(&top().join("src"), &mut files);
    files.into_iter().map(with_code).collect()
}

/// A file with its text, lines of comment removed.
fn with_code(file: PathBuf) -> (PathBuf, String) {
    let text = fs::read_to_string(&file).expect("a source file is text");
    let code = text
        .lines()
        .filter(|line| !line.trim_start().starts_with("//"));
    let code = code.collect::<Vec<_>>().join("\n");
    (file, code)
}

/// All source files at or under a path; none where there is nothing.
fn rust_files(path: &Path, found: &mut Vec<PathBuf>) {
    if path.is_dir() {
        let entries = fs::read_dir(path).expect("a folder of the house");
        for entry in entries {
            rust_files(&entry.expect("an entry of a folder").path(), found);
        }
    } else if path.exists() && path.extension().is_some_and(|ext| ext == "rs") {
        found.push(path.to_owned());
    }
}
