//! The pages of the screen: what they say of the demo, and what holds for any plan and width.

use portledger::desk::Desk;
use portledger::plan::{Edit, Entry};
use portledger::problem::clean;
use portledger::screen::action::Action;
use portledger::screen::page::{Line, Page, Target};
use portledger::screen::pages;
use portledger::screen::theme::{Theme, Tone};
use portledger::study::sweep::Knob;
use portledger::table::{ColumnId, RowId, SheetId};
use portledger::trade::Finding;
use proptest::prelude::*;
use proptest::sample::select;
use unicode_width::UnicodeWidthStr;

const DRAWN: Theme = Theme {
    colours: true,
    ascii: false,
};
const PLAIN: Theme = Theme {
    colours: false,
    ascii: true,
};

/// Glyphs that have a plain form.
const GLYPHS: &str = "●▲■○·…━┄╍─│█░┃◆◂▸▶↑↓";

fn demo() -> Desk {
    Desk::demo().unwrap()
}

fn place(desk: &Desk, sheet: &str, row: &str) -> (SheetId, RowId) {
    let sheet = desk.plan().sheet(sheet).unwrap();
    (sheet, desk.plan().find(sheet, row).unwrap())
}

fn column(desk: &Desk, sheet: SheetId, name: &str) -> ColumnId {
    desk.engine().find_column(sheet, name).unwrap()
}

/// Lines as text, `>` before those that lead somewhere.
fn text_of(lines: &[Line]) -> String {
    let line = |line: &Line| {
        let mark = if line.target == Target::None {
            ' '
        } else {
            '>'
        };
        format!("{mark} {}", line.text()).trim_end().to_owned()
    };
    lines.iter().map(line).collect::<Vec<_>>().join("\n")
}

fn shown(page: &Page) -> String {
    format!("{}\n\n{}", page.title, text_of(&page.lines))
}

#[test]
fn reason_of_a_margin() {
    let desk = demo();
    let (sheet, row) = place(&desk, "links", "M104");
    let margin = column(&desk, sheet, "margin");
    insta::assert_snapshot!(shown(&pages::reason(&desk, margin, row, 78, DRAWN)));
}

#[test]
fn reason_of_a_verdict() {
    let desk = demo();
    let (sheet, row) = place(&desk, "links", "P105");
    let verdict = column(&desk, sheet, "verdict");
    insta::assert_snapshot!(shown(&pages::reason(&desk, verdict, row, 78, DRAWN)));
}

#[test]
fn short_reasons() {
    let desk = demo();
    let found = desk.findings().list;
    let mut all = Vec::new();
    for (sheet, row, name, width, height) in [
        ("links", "M104", "margin", 78, 8),
        ("links", "P105", "loss_limit", 78, 8),
        ("links", "P105", "loss_limit", 78, 4),
        ("links", "M101", "length", 78, 8),
        ("links", "Q104", "length", 40, 8),
        ("links", "M101", "state", 40, 8),
        ("switches", "acc-desk", "worst_ratio", 40, 6),
        ("channels", "10GBASE-SR on OM3", "rx_min", 78, 8),
    ] {
        let (id, at) = place(&desk, sheet, row);
        let column = column(&desk, id, name);
        let lines = pages::short(&desk, column, at, &found, width, height, DRAWN);
        all.push(format!(
            "{row} {name}, {width} by {height}\n{}",
            text_of(&lines)
        ));
    }
    insta::assert_snapshot!(all.join("\n\n"));
}

#[test]
fn findings_of_the_demo() {
    let desk = demo();
    let found = desk.findings();
    let page = pages::findings(&desk, &found.list, found.counts, 78, DRAWN);
    insta::assert_snapshot!(shown(&page));
}

#[test]
fn a_finding_leads_to_what_can_be_changed() {
    let desk = demo();
    let found = desk.findings();
    let page = pages::findings(&desk, &found.list, found.counts, 78, DRAWN);
    let mut told = Vec::new();
    for line in &page.lines {
        if let Target::Cell(sheet, row, column) = line.target {
            let name = &desk.engine().def(column).unwrap().name;
            told.push(format!(
                "{} {}: {name}",
                desk.plan().id(sheet, row),
                line.text()
            ));
        }
    }
    assert_eq!(told.len(), found.list.len());
    for wanted in [
        "P105 ■ stop     link P105  reach: medium",
        "M104 ▲ caution  link M104  reserve: medium",
        "P102 ■ stop     link P102  overload: medium",
        "P104 ■ stop     link P104  between-buildings: from",
        "M115 ■ stop     link M115  port-twice: from_port",
        "M12O · note     link M12O  name-alike: id",
    ] {
        assert!(
            told.iter().any(|line| line == wanted),
            "{wanted}\n{}",
            told.join("\n")
        );
    }
}

#[test]
fn what_a_step_changed() {
    let mut desk = demo();
    let before = desk.findings().list;
    let (sheet, row) = place(&desk, "links", "Q103");
    let length = desk.plan().def(sheet).column("length").unwrap();
    desk.set(sheet, row, length, "640 ft").unwrap();
    let after = desk.findings().list;
    let only = |list: &[Finding], other: &[Finding]| -> Vec<Finding> {
        let new = list.iter().filter(|finding| !other.contains(finding));
        new.cloned().collect()
    };
    let (came, went) = (only(&after, &before), only(&before, &after));
    let page = pages::changes(&desk, "length of Q103", &came, &went, 78, DRAWN);
    insta::assert_snapshot!(shown(&page));
    let nothing = pages::changes(&desk, "notes of Q103", &[], &[], 78, DRAWN);
    assert!(shown(&nothing).contains("No finding came or went"));
}

#[test]
fn help_actions_and_functions() {
    let desk = demo();
    let library = &desk.engine().knowledge().library;
    insta::assert_snapshot!("help", shown(&pages::help(true, 78, DRAWN)));
    insta::assert_snapshot!("actions", shown(&pages::actions("row", 78, DRAWN)));
    insta::assert_snapshot!(
        "functions",
        shown(&pages::functions("loss", library, 78, DRAWN))
    );
    let known = library.get("pad_needed").unwrap();
    insta::assert_snapshot!("function", shown(&pages::function(known, 78, DRAWN)));
    insta::assert_snapshot!("care", shown(&pages::care(78, DRAWN)));
}

#[test]
fn few_letters_find_an_action() {
    for (needle, wanted) in [
        ("undo", Action::Undo),
        ("fnd", Action::Find),
        ("fil down", Action::FillDown),
        ("whats chang", Action::Changes),
        ("take the last step", Action::Undo),
    ] {
        let page = pages::actions(needle, 78, DRAWN);
        assert_eq!(page.lines[0].target, Target::Action(wanted), "{needle}");
    }
    let none = pages::actions("qqq\u{1b}[2J", 78, DRAWN);
    assert!(none.lines[0].text().starts_with("No action"));
}

#[test]
fn assumptions_columns_and_steps() {
    let desk = demo();
    insta::assert_snapshot!("assumptions", shown(&pages::assumptions(&desk, 78, DRAWN)));
    let links = desk.plan().sheet("links").unwrap();
    let page = pages::columns(&desk, links, &[0, 1, 11, 30], &[2, 9999, 40], 78, DRAWN);
    insta::assert_snapshot!("columns", shown(&page));
    let (done, undone) = (
        ["length of Q103", "new row"],
        ["state of M101", "fill down"],
    );
    let page = pages::steps(&done, &undone, Some(1), 78, DRAWN);
    insta::assert_snapshot!("steps", shown(&page));
    let targets: Vec<Target> = page.lines.iter().map(|line| line.target).collect();
    assert_eq!(targets, [-2, -1, 0, 1, 2].map(Target::Steps));
}

#[test]
fn light_of_links() {
    let desk = demo();
    let mut all = Vec::new();
    for id in [
        "M101", "Q101", "P102", "P106", "Q104", "M112", "Q111", "M109",
    ] {
        let (sheet, row) = place(&desk, "links", id);
        all.push(shown(&pages::light(&desk, sheet, row, 78, PLAIN)));
    }
    let (sheet, row) = place(&desk, "links", "Q101");
    all.push(shown(&pages::light(&desk, sheet, row, 78, DRAWN)));
    insta::assert_snapshot!(all.join("\n\n\n"));
}

#[test]
fn fronts_of_switches() {
    let desk = demo();
    let mut all = Vec::new();
    for id in ["acc-reef", "core-a", "dist-main", "dist-pump", "acc-pump"] {
        let (_, row) = place(&desk, "switches", id);
        all.push(shown(&pages::front(&desk, row, 78, DRAWN)));
    }
    insta::assert_snapshot!(all.join("\n\n\n"));
}

#[test]
fn cages_may_be_numbered_on_from_the_ports() {
    let text = "portledger = 1\ntitle = \"\"\n\n[rows]\nlinks = '''\n\
        id,from,from_port,to,to_port,role,members,interface,medium\n\
        A1,acc,25+26,top,c1,uplink,2,10GBASE-SR,OM4\n\
        A2,acc,26,top,lan,uplink,,10GBASE-SR,OM4\n\
        A3,acc,,cam,lan,access,,1000BASE-T,Cat6\n'''\n\
        switches = '''\nid,access_ports,uplink_cages\nacc,24,4\ntop,,2\n'''\n";
    let desk = Desk::of_text(text).unwrap();
    let front = |id| {
        shown(&pages::front(
            &desk,
            place(&desk, "switches", id).1,
            78,
            PLAIN,
        ))
    };
    let acc = front("acc");
    assert!(acc.contains(" 25p 26X 27- 28-\n"), "{acc}");
    assert!(acc.contains("1 cable end has no place here"), "{acc}");
    let top = front("top");
    assert!(
        top.contains("  1p 2-\n") && top.contains("X 1 too many"),
        "{top}"
    );
    assert!(top.contains("2 cable ends have no place here"), "{top}");
}

/// The demo with a path from a camera to the store, and one that leads nowhere.
fn with_paths() -> Desk {
    let mut desk = demo();
    let sheet = desk.plan().sheet("paths").unwrap();
    let text = |text: &str| Entry::Text(desk.plan().names().code(text));
    let column = |name: &str| desk.plan().def(sheet).column(name).unwrap();
    let row = |id: &str, to: &str| {
        vec![
            (column("id"), text(id)),
            (column("from"), text("reef-cam-1")),
            (column("to"), text(to)),
        ]
    };
    let rows = vec![row("feed", "tank-store"), row("lost", "nowhere")];
    let at = 0;
    desk.apply("paths", Edit::AddRows { sheet, at, rows })
        .unwrap();
    desk
}

#[test]
fn trail_of_a_path() {
    let desk = with_paths();
    let (_, feed) = place(&desk, "paths", "feed");
    let (_, lost) = place(&desk, "paths", "lost");
    insta::assert_snapshot!("trail", shown(&pages::trail(&desk, feed, 78, DRAWN)));
    insta::assert_snapshot!("trail_narrow", shown(&pages::trail(&desk, feed, 30, PLAIN)));
    let page = pages::trail(&desk, lost, 78, DRAWN);
    assert!(page.lines[0].text().contains("No way"), "{page:?}");
}

#[test]
fn failures_with_paths() {
    let desk = with_paths();
    insta::assert_snapshot!("failures", shown(&pages::failures(&desk, 78, DRAWN)));
}

#[test]
fn sweeps_of_cells_and_assumptions_without_colour() {
    let desk = demo();
    let of = place(&desk, "links", "P105");
    let length = desk.plan().def(of.0).column("length").unwrap();
    let knob = Knob::Cell(of.0, of.1, length);
    let page = pages::sweep(&desk, knob, of, "10 m to 60 m in 25", 78, PLAIN);
    insta::assert_snapshot!("sweep", shown(&page));
    let reserve = Knob::Assumption(desk.plan().assumption("reserve").unwrap());
    let of = place(&desk, "links", "P103");
    let page = pages::sweep(&desk, reserve, of, "0 to 2", 60, PLAIN);
    assert!(
        text_of(&page.lines).contains("verdict is fits up to"),
        "{page:?}"
    );
    let wrong = pages::sweep(&desk, reserve, of, "1 m", 60, PLAIN);
    assert!(text_of(&wrong.lines).contains("no range"));
}

#[test]
fn ratios_of_all_switches() {
    let desk = demo();
    insta::assert_snapshot!("ratios", shown(&pages::ratios(&desk, 78, DRAWN)));
    insta::assert_snapshot!("ratios_narrow", shown(&pages::ratios(&desk, 24, PLAIN)));
    let empty = Desk::empty("").unwrap();
    assert_eq!(pages::ratios(&empty, 78, DRAWN).lines.len(), 1);
}

/// Every page of a plan, for one row of each sheet and all columns of one of them.
fn all_pages(desk: &Desk, pick: usize, width: usize, theme: Theme) -> Vec<Page> {
    let found = desk.findings();
    let (list, counts) = (&found.list, found.counts);
    let library = &desk.engine().knowledge().library;
    let mut all = vec![
        pages::findings(desk, list, counts, width, theme),
        pages::changes(desk, "a step", list, &list[..list.len() / 2], width, theme),
        pages::help(true, width, theme),
        pages::help(false, width, theme),
        pages::actions("", width, theme),
        pages::functions("", library, width, theme),
        pages::care(width, theme),
        pages::assumptions(desk, width, theme),
        pages::steps(
            &["a step\u{7}", "水族館"],
            &["\u{202e}x"],
            Some(-1),
            width,
            theme,
        ),
        pages::ratios(desk, width, theme),
        pages::growth(desk, width, theme),
        pages::order_list(desk, width, theme),
        pages::behind(desk, pick, width, theme),
        pages::failures(desk, width, theme),
    ];
    all.extend(
        library
            .iter()
            .map(|known| pages::function(known, width, theme)),
    );
    for at in 0..desk.plan().schema().len() {
        let sheet = SheetId(u16::try_from(at).unwrap());
        let n_columns = desk.engine().schema()[at].columns.len();
        let every: Vec<usize> = (0..n_columns).collect();
        let (shown, hidden) = every.split_at(n_columns / 2);
        all.push(pages::columns(desk, sheet, shown, hidden, width, theme));
        let order = desk.plan().rows(sheet).order();
        if order.is_empty() {
            continue;
        }
        let row = order[pick % order.len()];
        all.push(pages::light(desk, sheet, row, width, theme));
        all.push(pages::front(desk, row, width, theme));
        all.push(pages::trail(desk, row, width, theme));
        all.push(pages::options(desk, &[row], width, theme));
        for position in 0..n_columns {
            let column = desk.engine().column(sheet, position);
            all.push(pages::reason(desk, column, row, width, theme));
            let lines = pages::short(desk, column, row, list, width, 1 + pick % 9, theme);
            assert!(lines.len() <= 1 + pick % 9);
            all.push(Page {
                title: String::new(),
                lines,
            });
        }
    }
    all
}

/// What holds for every page: lines fit, nothing acts on the terminal, no swatch without a word.
fn holds(page: &Page, width: usize, theme: Theme) -> Result<(), TestCaseError> {
    for line in &page.lines {
        let text = line.text();
        prop_assert!(text.width() <= width, "{}: {text:?} at {width}", page.title);
        prop_assert_eq!(clean(&text), text.as_str());
        if theme.ascii {
            let drawn = text
                .chars()
                .find(|c| GLYPHS.contains(*c) && *c != '·' && *c != '…');
            prop_assert_eq!(drawn, None, "{}: {}", page.title, text);
        }
        for (piece, tone) in &line.pieces {
            let is_swatch = matches!(tone, Tone::Swatch(_));
            prop_assert!(!is_swatch || theme.colours && piece.width() == 1);
        }
    }
    prop_assert_eq!(clean(&page.title), page.title.as_str());
    Ok(())
}

/// A plan whose rows hold nothing at all.
fn with_empty_rows() -> Desk {
    let mut desk = Desk::empty("").unwrap();
    for name in ["links", "switches"] {
        let sheet = desk.plan().sheet(name).unwrap();
        let rows = vec![Vec::new(); 2];
        desk.apply("rows", Edit::AddRows { sheet, at: 0, rows })
            .unwrap();
    }
    desk
}

/// Texts that names, ports and numbers should not be.
fn hostile() -> impl Strategy<Value = String> {
    let known = [
        "",
        "0",
        "-5",
        "1e9",
        "1e300",
        "1e-300",
        "-40",
        "3",
        "c1+c1+c1",
        "p7, p8",
        "0/0/0",
        "OM4",
        "Cat6",
        "10GBASE-SR",
        "core-a",
        "spare",
        "out",
        "uplink",
        "x\u{1b}[2J\u{7}",
        "\u{202e}ab\u{200b}",
        "水族館の長い名前のスイッチ",
        "👨‍👩‍👧‍👦👩🏽‍🚒",
        "e\u{301}\u{302}\u{303}\u{304}",
        "a very long name with many words that goes on for longer than any line has room for, and then some",
    ];
    let endless = ["x".repeat(300), "\u{1100}".repeat(60), "ﷺ".repeat(30)];
    select(
        known
            .map(str::to_owned)
            .into_iter()
            .chain(endless)
            .collect::<Vec<_>>(),
    )
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]

    #[test]
    fn pages_of_any_plan_fit_any_width(
        width in 20_usize..201,
        pick in 0_usize..1000,
        is_empty in any::<bool>(),
        (colours, ascii) in any::<(bool, bool)>(),
        edits in proptest::collection::vec((0_usize..3, 0_usize..1000, 0_usize..40, hostile()), 0..40),
    ) {
        let mut desk = if is_empty { with_empty_rows() } else { demo() };
        for (sheet, row, column, text) in edits {
            let id = desk.plan().sheet(["links", "switches", "assume"][sheet]);
            let Some(sheet) = id else { continue };
            let order = desk.plan().rows(sheet).order().to_vec();
            let columns: Vec<usize> = desk.plan().entered(sheet).collect();
            if !order.is_empty() {
                // Refused texts leave the plan as it was.
                let _ = desk.set(sheet, order[row % order.len()], columns[column % columns.len()], &text);
            }
        }
        let theme = Theme { colours, ascii };
        for page in all_pages(&desk, pick, width, theme) {
            holds(&page, width, theme)?;
        }
    }
}

#[test]
fn every_row_of_the_demo_has_its_pictures() {
    let desk = demo();
    for (sheet, width) in [
        ("links", 20),
        ("links", 61),
        ("switches", 20),
        ("switches", 133),
    ] {
        let sheet = desk.plan().sheet(sheet).unwrap();
        for row in desk.plan().rows(sheet).order() {
            holds(
                &pages::light(&desk, sheet, *row, width, PLAIN),
                width,
                PLAIN,
            )
            .unwrap();
            holds(&pages::front(&desk, *row, width, PLAIN), width, PLAIN).unwrap();
        }
    }
}
