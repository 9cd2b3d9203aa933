//! The front of a switch: its access ports and uplink cages by what holds them.
//!
//! How many there are, used and free is what the columns of the switch say; where a port stands is
//! read from the number in its name.

use super::jacket::jacket;
use super::places::End;
use super::places::Held;
use super::places::Places;
use super::places::ends_at;
use crate::desk::Desk;
use crate::screen::page::Page;
use crate::screen::page::Target;
use crate::screen::pages::lay::Lay;
use crate::screen::pages::lay::Piece;
use crate::screen::pages::lay::piece;
use crate::screen::pages::lay::width_of;
use crate::screen::pages::row::Row;
use crate::screen::theme::Glyph;
use crate::screen::theme::Theme;
use crate::screen::theme::Tone;
use crate::table::RowId;

/// The most places that are drawn.
const MOST: usize = 480;

/// How many places may stand in one row, the best first.
const IN_A_ROW: [usize; 7] = [24, 12, 8, 6, 4, 2, 1];

/// The most cells of a name in the list of what is plugged in.
const LONGEST_NAME: usize = 16;

/// What is told of one kind of places: words, and columns of the switch.
struct Kind {
    what: &'static str,
    count: &'static str,
    form: &'static str,
    /// The form where none is entered.
    usual: Option<&'static str>,
    speed: &'static str,
    used: &'static str,
    free: &'static str,
}

const PORTS: Kind = Kind {
    what: "access ports",
    count: "access_ports",
    form: "access_cage",
    usual: Some("RJ45"),
    speed: "access_speed",
    used: "ports_used",
    free: "ports_free",
};

const CAGES: Kind = Kind {
    what: "uplink cages",
    count: "uplink_cages",
    form: "cage",
    usual: None,
    speed: "cage_speed",
    used: "cages_used",
    free: "cages_free",
};

/// The picture of the front of a switch, which is a row of `switches`.
pub fn front(desk: &Desk, row: RowId, width: usize, theme: Theme) -> Page {
    let Some(sheet) = desk.plan().sheet("switches") else {
        return Lay::new("Front", width, theme).page();
    };
    let switch = Row::new(desk, sheet, row);
    let mut lay = Lay::new(&format!("Front of {}", switch.name()), width, theme);
    if let Some(building) = switch.shown("building") {
        lay.say(0, &format!("In {building}"), Tone::Quiet);
    }
    let ends = ends_at(switch);
    let (cages, ports): (Vec<&End>, Vec<&End>) = ends.iter().partition(|end| end.in_cage);
    part(&mut lay, switch, &PORTS, 0, ports);
    let before = count(switch, &PORTS).unwrap_or(0);
    part(&mut lay, switch, &CAGES, before, cages);
    lay.gap();
    legend(&mut lay);
    lay.page()
}

/// How many places of a kind a switch has, where that is entered.
fn count(switch: Row, kind: &Kind) -> Option<usize> {
    let count = switch.number(kind.count);
    count.map(|count| count.max(0.0) as usize)
}

/// One kind of places: how many, the picture, then what is plugged in.
fn part(lay: &mut Lay, switch: Row, kind: &Kind, before: usize, mut ends: Vec<&End>) {
    lay.heading(&heading(switch, kind));
    let counts = counts(switch, kind, &ends, lay.theme);
    lay.item(0, 2, &counts, switch.target(kind.used));
    let n_drawn = count(switch, kind).unwrap_or(0).min(MOST);
    let places = Places::of(n_drawn, before, &ends);
    if n_drawn > 0 {
        lay.gap();
        draw(lay, &places);
        remarks(lay, &places, count(switch, kind).unwrap_or(0) - n_drawn);
    }
    if !ends.is_empty() {
        lay.gap();
    }
    ends.sort_by_key(|end| end.number());
    list(lay, &places, &ends);
}

fn heading(switch: Row, kind: &Kind) -> String {
    let form = switch.shown(kind.form).or(kind.usual.map(str::to_owned));
    let told: Vec<String> = [form, switch.shown(kind.speed)]
        .into_iter()
        .flatten()
        .collect();
    let told = match told.is_empty() {
        true => String::new(),
        false => format!(" ({})", told.join(", ")),
    };
    match switch.shown(kind.count) {
        Some(n) => format!("{n} {}{told}", kind.what),
        None => format!("{}{told}: how many there are is not entered", kind.what),
    }
}

/// Used and free in words, and what the used ones are.
fn counts(switch: Row, kind: &Kind, ends: &[&End], theme: Theme) -> Vec<Piece> {
    let used = switch.shown(kind.used);
    let used = used.map_or_else(|| "used: unknown".to_owned(), |used| format!("{used} used"));
    let free = match (switch.number(kind.free), switch.shown(kind.free)) {
        (Some(free), _) if free < 0.0 => {
            let mark = theme.glyph(Glyph::Fails);
            piece(format!("{mark} {} too many", -free), Tone::Fails)
        }
        (Some(_), Some(free)) => piece(format!("{free} free"), Tone::Plain),
        _ => piece("free: unknown", Tone::Unknown),
    };
    let mut pieces = vec![piece(format!("{used}, "), Tone::Plain), free];
    for held in [Held::InService, Held::Ordered, Held::Planned, Held::Spare] {
        let of_it = ends.iter().filter(|end| end.held == held);
        let n = of_it.map(|end| end.cables).fold(0, usize::saturating_add);
        if n > 0 {
            pieces.push(piece(format!("; {n} {}", held.word()), Tone::Quiet));
        }
    }
    pieces
}

/// The places in rows, each with its number and mark.
fn draw(lay: &mut Lay, places: &Places) {
    let digits = (places.first + places.held.len()).to_string().len();
    let fits = |n: &usize| n * (digits + 2) <= lay.width + 1;
    let in_a_row = IN_A_ROW.into_iter().find(fits).unwrap_or(1);
    for (row, chunk) in places.held.chunks(in_a_row).enumerate() {
        let mut pieces = Vec::new();
        for (at, (held, _)) in chunk.iter().enumerate() {
            let number = places.first + row * in_a_row + at;
            let (mark, tone) = held.mark(lay.theme);
            let gap = if at == 0 { "" } else { " " };
            pieces.push(piece(format!("{gap}{number:>digits$}"), Tone::Quiet));
            pieces.push(piece(mark, tone));
        }
        lay.line(pieces, Target::None);
    }
}

/// What the picture does not show.
fn remarks(lay: &mut Lay, places: &Places, n_more: usize) {
    if n_more > 0 {
        lay.say(0, &format!("{n_more} more are not drawn."), Tone::Quiet);
    }
    let text = match places.unplaced {
        0 => return,
        1 => "1 cable end has no place here: its port has no name, or none of these numbers."
            .to_owned(),
        n => format!(
            "{n} cable ends have no place here: their ports have no name, or none of these numbers."
        ),
    };
    lay.say(0, &text, Tone::Unknown);
}

/// The cable ends: port, link, where it goes, and through what.
fn list(lay: &mut Lay, places: &Places, ends: &[&End]) {
    let name = |end: &End| {
        let of_link = |name: &str| end.link.shown(name).unwrap_or_default();
        let port = end.link.shown(end.columns.port);
        let port = port.unwrap_or_else(|| "no port".to_owned());
        [port, end.link.id(), of_link(end.columns.other)]
    };
    let names: Vec<[String; 3]> = ends.iter().map(|end| name(end)).collect();
    let cells = [0, 1, 2].map(|at| {
        let widest = names.iter().map(|names| width_of(&names[at])).max();
        widest.unwrap_or(0).min(LONGEST_NAME) + 1
    });
    for (end, [port, link, other]) in ends.iter().zip(names) {
        let is_twice = places.is_twice(end);
        let held = if is_twice { Held::Twice } else { end.held };
        let (mark, tone) = held.mark(lay.theme);
        let row = [
            (piece(mark, tone), 1),
            (piece(port, Tone::Heading), cells[0]),
            (piece(link, Tone::Plain), cells[1]),
            (piece(other, Tone::Plain), cells[2]),
        ];
        lay.row(
            &row,
            &plugged(end, is_twice, lay.theme),
            end.link.target(end.columns.port),
        );
    }
}

/// State, cables, interface, module and medium of a cable end.
fn plugged(end: &End, is_twice: bool, theme: Theme) -> Vec<Piece> {
    let shown = |name: &str| end.link.shown(name);
    let mut told = Vec::new();
    if is_twice {
        told.push(Held::Twice.word().to_owned());
    }
    told.push(end.held.word().to_owned());
    if end.cables != 1 {
        told.push(format!("{} cables", end.cables));
    }
    let made = [
        shown(end.columns.interface),
        shown(end.columns.module),
        shown("medium"),
    ];
    told.extend(made.into_iter().flatten());
    let mut pieces = vec![piece(told.join(", "), Tone::Plain)];
    pieces.extend(jacket(end.link, theme));
    pieces
}

fn legend(lay: &mut Lay) {
    let all = [
        Held::InService,
        Held::Planned,
        Held::Ordered,
        Held::Spare,
        Held::Twice,
        Held::Free,
    ];
    let mut pieces = Vec::new();
    for held in all {
        let (mark, tone) = held.mark(lay.theme);
        pieces.push(piece(format!("{mark} "), tone));
        pieces.push(piece(format!("{}  ", held.word()), Tone::Quiet));
    }
    lay.item(0, 0, &pieces, Target::None);
}
