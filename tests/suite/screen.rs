//! What is drawn: every view of the demo at four sizes, and what is told without colours.
//!
//! Each snapshot holds the frame at 80 by 24 with its styles, then the other sizes as text.

use crossterm::event::{KeyCode, KeyEvent, KeyModifiers};
use portledger::desk::Desk;
use portledger::plan::RowMark;
use portledger::screen::draw::draw;
use portledger::screen::session::{Happening, Session};
use portledger::screen::theme::Theme;
use ratatui::buffer::{Buffer, Cell};
use ratatui::layout::Rect;
use std::fmt::Write;
use unicode_width::UnicodeWidthStr;

const SIZES: [(u16, u16); 4] = [(80, 24), (120, 40), (160, 48), (40, 10)];

const DRAWN: Theme = Theme {
    colours: true,
    ascii: false,
};

/// A sitting over the demo after some keys, its frame taken at a size.
fn frame(keys: &str, size: (u16, u16), theme: Theme) -> Buffer {
    let mut session = Session::new(Desk::demo().unwrap(), theme);
    let mut buffer = Buffer::empty(Rect::new(0, 0, size.0, size.1));
    draw(&mut session, &mut buffer);
    for key in keys.chars() {
        session.take(Happening::Key(key_of(key)));
        buffer.reset();
        draw(&mut session, &mut buffer);
    }
    buffer
}

/// The key of a character: arrows stand for themselves, the rest as a keyboard sends it.
fn key_of(key: char) -> KeyEvent {
    let code = match key {
        '→' => KeyCode::Right,
        '←' => KeyCode::Left,
        '↓' => KeyCode::Down,
        '↑' => KeyCode::Up,
        '\t' => KeyCode::Tab,
        '\n' => KeyCode::Enter,
        '\u{1b}' => KeyCode::Esc,
        '②' => KeyCode::F(2),
        '③' => KeyCode::F(3),
        key => KeyCode::Char(key),
    };
    KeyEvent::new(code, KeyModifiers::NONE)
}

/// The lines of a frame; the cell behind a wide character is not there.
fn lines(buffer: &Buffer) -> Vec<String> {
    let area = buffer.area;
    let line = |y: u16| {
        let (mut text, mut x) = (String::new(), 0);
        while x < area.width {
            let symbol = buffer[(x, y)].symbol();
            text.push_str(symbol);
            x += u16::try_from(symbol.width().max(1)).unwrap();
        }
        text.trim_end().to_owned()
    };
    (0..area.height).map(line).collect()
}

/// The styles of a frame: a line for each run of cells in one that is not the usual.
fn styles(buffer: &Buffer) -> String {
    let mut out = String::new();
    for y in 0..buffer.area.height {
        let mut x = 0;
        while x < buffer.area.width {
            let (from, style) = (x, buffer[(x, y)].style());
            while x < buffer.area.width && buffer[(x, y)].style() == style {
                x += 1;
            }
            if style != Cell::EMPTY.style() {
                let fg = style.fg.unwrap_or_default();
                let bg = style.bg.unwrap_or_default();
                let how = style.add_modifier;
                writeln!(out, "{y}:{from}..{x} {fg:?} on {bg:?} {how:?}").unwrap();
            }
        }
    }
    out
}

/// All that a snapshot of a view holds.
fn view(keys: &str) -> String {
    let mut out = String::new();
    for (at, size) in SIZES.into_iter().enumerate() {
        let buffer = frame(keys, size, DRAWN);
        writeln!(out, "{} x {}", size.0, size.1).unwrap();
        for line in lines(&buffer) {
            writeln!(out, "|{line}").unwrap();
        }
        if at == 0 {
            out.push_str(&styles(&buffer));
        }
        out.push('\n');
    }
    out
}

/// The views with the keys that lead to them.
const VIEWS: &[(&str, &str)] = &[
    ("links", ""),
    ("switches", "\t"),
    ("parts", "\t\t"),
    ("block", "→→m↓↓→"),
    ("entry", "→→→→→→\n12"),
    ("entry_refused", "→→→→→→9 apples\n"),
    ("kept", "v"),
    ("far_right", "→→→→→→→→→→→→→→→→→→"),
    ("edited", "→→→→→→5000\n"),
    ("reason", "→w"),
    ("findings", "f"),
    ("changes", "→→→→→→5000\nb"),
    ("light", "i"),
    ("front", "\ti"),
    ("ratios", "t"),
    ("failures", "x"),
    ("sweep", "→→→→→→z\n"),
    ("sweep_entry", "→→→→→→z"),
    ("options", "y"),
    ("option_taken", "y↓\n"),
    ("growth", "g"),
    ("order", "L"),
    ("order_behind", "P\n"),
    ("assumptions", "a"),
    ("columns", "l"),
    ("steps", "→→→→→→5000\ns"),
    ("proposals", "P"),
    ("proposal", "P\n"),
    ("proposal_edited", "P\n→→→→→→5000\n"),
    ("beside", "B"),
    ("help", "?"),
    ("actions", " sa"),
    ("functions", "②"),
    ("function", "②pad\n"),
    ("care", "③"),
    ("quit", "→→→→→→5000\nq"),
];

#[test]
fn views() {
    for (name, keys) in VIEWS {
        insta::assert_snapshot!(format!("view_{name}"), view(keys));
    }
}

/// Sizes at which every view can be drawn; what it shows there is another matter.
#[test]
fn every_view_can_be_drawn_at_any_size() {
    for (name, keys) in VIEWS {
        for size in [
            (1, 1),
            (2, 1),
            (1, 40),
            (300, 1),
            (7, 7),
            (20, 5),
            (300, 100),
        ] {
            let buffer = frame(keys, size, DRAWN);
            assert_eq!(buffer.area.width, size.0, "{name}");
        }
    }
}

/// Both looks without colours.
const BARE: [Theme; 2] = [
    Theme {
        colours: false,
        ascii: false,
    },
    Theme {
        colours: false,
        ascii: true,
    },
];

/// The verdict that a mark stands for.
fn meant(mark: &str) -> &'static str {
    match mark {
        "●" | "+" => "fits",
        "▲" | "!" => "tight",
        "■" | "X" => "fails",
        "○" | "?" => "unknown",
        _ => "nothing",
    }
}

#[test]
fn without_colours_each_row_still_tells_its_verdict() {
    let desk = Desk::demo().unwrap();
    for theme in BARE {
        for (keys, sheet) in [("", "links"), ("\t", "switches")] {
            let sheet = desk.plan().sheet(sheet).unwrap();
            let buffer = frame(keys, (160, 80), theme);
            assert!(
                styles(&buffer)
                    .lines()
                    .all(|line| line.contains("Reset on Reset"))
            );
            let verdict = desk.engine().find_column(sheet, "verdict").unwrap();
            let text = lines(&buffer);
            for row in desk.plan().rows(sheet).order() {
                let id = desk.plan().id(sheet, *row);
                let wanted = desk.engine().cell(desk.plan(), verdict, *row);
                let wanted = desk.engine().shown_cell(verdict, &wanted);
                let line = text.iter().find(|line| line.starts_with(&format!("{id} ")));
                let line = line.unwrap_or_else(|| panic!("no row {id}"));
                let mut words = line.split_whitespace().skip(1);
                let mark = words.next().unwrap();
                assert_eq!(
                    (meant(mark), words.next().unwrap()),
                    (&*wanted, &*wanted),
                    "{line}"
                );
            }
        }
    }
}

#[test]
fn without_colours_what_a_proposal_changes_is_marked() {
    for (theme, [mark, new]) in BARE.into_iter().zip([["◇", "◆"], ["*", "#"]]) {
        // Into the second proposal of the demo.
        let text = lines(&frame("P↓\n", (160, 80), theme));
        assert!(text[0].starts_with(&format!("{mark} in ")), "{}", text[0]);
        let desk = {
            let mut desk = Desk::demo().unwrap();
            let name = desk.proposals()[1].name.clone();
            desk.enter(&name).unwrap();
            desk
        };
        let sheet = desk.plan().sheet("links").unwrap();
        let mut n_marked = 0;
        for row in desk.plan().rows(sheet).order() {
            let id = desk.plan().id(sheet, *row);
            let line = text.iter().find(|line| line.starts_with(&id)).unwrap();
            let expected = match desk.plan().row_mark(sheet, *row) {
                Some(RowMark::Added) => new,
                Some(RowMark::Changed) => mark,
                None => " ",
            };
            n_marked += usize::from(expected != " ");
            // The id takes four cells, the mark stands in the gap behind it.
            let behind = line.chars().nth(4).map(String::from);
            assert_eq!(behind.as_deref(), Some(expected), "{line}");
        }
        assert!(n_marked > 5);
    }
}

#[test]
fn without_colours_each_finding_still_tells_its_weight() {
    let desk = Desk::demo().unwrap();
    let found = desk.findings();
    for theme in BARE {
        let text = lines(&frame("f", (160, 200), theme)).join("\n");
        for finding in &found.list {
            let id = desk.plan().id(finding.sheet, finding.row);
            let told = text.lines().any(|line| {
                line.contains(&*id)
                    && line.contains(&*finding.check)
                    && line.contains(finding.severity.word())
            });
            assert!(
                told,
                "{id} {} {}\n{text}",
                finding.check,
                finding.severity.word()
            );
        }
    }
}

#[test]
fn without_colours_the_cursor_and_a_block_stand_out() {
    for theme in BARE {
        let buffer = frame("→→m↓↓→", (80, 24), theme);
        let styles = styles(&buffer);
        let count = |what: &str| styles.lines().filter(|line| line.contains(what)).count();
        assert!(count("BOLD | REVERSED") >= 1, "{styles}");
        assert!(count("DIM | REVERSED") >= 3, "{styles}");
    }
}
