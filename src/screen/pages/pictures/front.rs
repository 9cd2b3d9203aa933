//! The front of a switch: its access ports and uplink cages by what holds them.
//!
//! How many there are, used and free is what the columns of the switch say; where a port stands is
//! read from the number in its name.

use super::jacket::jacket;
use crate::desk::Desk;
use crate::screen::page::Page;
use crate::screen::page::Target;
use crate::screen::pages::lay::Lay;
use crate::screen::pages::lay::Piece;
use crate::screen::pages::lay::piece;
use crate::screen::pages::row::Row;
use crate::screen::theme::Glyph;
use crate::screen::theme::Theme;
use crate::screen::theme::Tone;
use crate::table::RowId;

/// The most places that are drawn.
const MOST: usize = 480;

/// How many places may stand in one row, the best first.
const IN_A_ROW: [usize; 7] = [24, 12, 8, 6, 4, 2, 1];

/// What holds a place.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Held {
    Free,
    InService,
    Planned,
    Ordered,
    Spare,
    Twice,
}

/// One end of a link at the switch.
#[derive(Debug)]
struct End<'a> {
    link: Row<'a>,
    /// The names of its ports, one for each cable where so many are named.
    ports: Vec<String>,
    /// How many cables end here.
    cables: usize,
    in_cage: bool,
    held: Held,
    /// The column that names the device at the other end.
    other: &'static str,
    /// The columns of port, interface and module at this end.
    columns: [&'static str; 3],
}

/// The places of one kind, with the name of what holds each.
#[derive(Debug)]
struct Places {
    /// The number of the first place.
    first: usize,
    held: Vec<(Held, String)>,
    /// Cable ends without a place.
    unplaced: usize,
}

/// The picture of the front of a switch.
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
    let count = |name: &str| switch.number(name).map(|count| count.max(0.0) as usize);
    let (n_ports, n_cages) = (count("access_ports"), count("uplink_cages"));
    let (cages, ports): (Vec<&End>, Vec<&End>) = ends.iter().partition(|end| end.in_cage);
    let kind = switch
        .shown("access_cage")
        .unwrap_or_else(|| "RJ45".to_owned());
    let head = [
        switch.shown("access_ports"),
        Some(kind),
        switch.shown("access_speed"),
    ];
    part(
        &mut lay,
        switch,
        ["access ports", "ports_used", "ports_free"],
        head,
        (n_ports, 0),
        &ports,
    );
    let head = ["uplink_cages", "cage", "cage_speed"].map(|name| switch.shown(name));
    let counts = (n_cages, n_ports.unwrap_or(0));
    part(
        &mut lay,
        switch,
        ["uplink cages", "cages_used", "cages_free"],
        head,
        counts,
        &cages,
    );
    lay.gap();
    legend(&mut lay);
    lay.page()
}

/// Every cable end that holds a port or cage of a switch, in the order of the links.
fn ends_at(switch: Row) -> Vec<End> {
    let engine = switch.desk.engine();
    let Some(sheet) = switch.desk.plan().sheet("links") else {
        return Vec::new();
    };
    let near = (
        "from",
        "to",
        "near_in_cage",
        ["from_port", "interface", "module"],
    );
    let far = (
        "to",
        "from",
        "far_in_cage",
        ["to_port", "far", "far_module"],
    );
    let columns = [near, far].map(|end| (engine.find_column(sheet, end.0), end));
    let mut ends = Vec::new();
    for row in switch.desk.plan().rows(sheet).order() {
        for (column, (_, other, in_cage, columns)) in columns {
            let ends_here =
                column.is_some_and(|column| engine.row_at(column, *row) == switch.row.0);
            let link = Row::new(switch.desk, sheet, *row);
            if ends_here && link.is("holds_port") {
                ends.push(End {
                    link,
                    ports: names_in(&link.shown(columns[0]).unwrap_or_default()),
                    cables: link.number("cables").unwrap_or(1.0).max(0.0) as usize,
                    in_cage: link.is(in_cage),
                    held: Held::of(link.shown("state").as_deref()),
                    other,
                    columns,
                });
            }
        }
    }
    ends
}

/// The ports in a text such as `c1+c2`.
fn names_in(text: &str) -> Vec<String> {
    let names = text.split(['+', ',', ';']).map(str::trim);
    names
        .filter(|name| !name.is_empty())
        .map(str::to_owned)
        .collect()
}

/// The number at the end of the name of a port.
fn number_in(name: &str) -> Option<usize> {
    let digits = name.len() - name.trim_end_matches(|c: char| c.is_ascii_digit()).len();
    name[name.len() - digits..].parse().ok()
}

/// One kind of places: how many, the picture, then what is plugged in.
fn part(
    lay: &mut Lay,
    switch: Row,
    [what, used, free]: [&str; 3],
    head: [Option<String>; 3],
    (count, before): (Option<usize>, usize),
    ends: &[&End],
) {
    let [n, kind, speed] = head;
    let of_kind: Vec<String> = [kind, speed].into_iter().flatten().collect();
    let of_kind = match of_kind.is_empty() {
        true => String::new(),
        false => format!(" ({})", of_kind.join(", ")),
    };
    lay.heading(&match &n {
        Some(n) => format!("{n} {what}{of_kind}"),
        None => format!("{what}{of_kind}: how many there are is not entered"),
    });
    let counts = counts(switch, [used, free], ends, lay.theme);
    lay.item(0, 2, &counts, switch.target(used));
    if let Some(count) = count.filter(|count| *count > 0) {
        let places = Places::of(count.min(MOST), before, ends);
        lay.gap();
        draw(lay, &places);
        if count > MOST {
            lay.say(
                0,
                &format!("{} more are not drawn.", count - MOST),
                Tone::Quiet,
            );
        }
        if places.unplaced > 0 {
            let text = format!(
                "{} cable ends have no place here: their port has no name, or its name no number of these.",
                places.unplaced
            );
            lay.say(0, &text, Tone::Unknown);
        }
    }
    if !ends.is_empty() {
        lay.gap();
    }
    let mut ends: Vec<&&End> = ends.iter().collect();
    ends.sort_by_key(|end| {
        end.ports
            .first()
            .and_then(|name| number_in(name))
            .unwrap_or(usize::MAX)
    });
    ends.into_iter().for_each(|end| plugged(lay, end));
}

/// Used and free in words, and what the used ones are.
fn counts(switch: Row, [used, free]: [&str; 2], ends: &[&End], theme: Theme) -> Vec<Piece> {
    let shown = |name: &str| switch.shown(name).unwrap_or_else(|| "unknown".to_owned());
    let mut pieces = vec![piece(format!("{} used", shown(used)), Tone::Plain)];
    match switch.number(free) {
        Some(left) if left < 0.0 => {
            let mark = theme.glyph(Glyph::Fails);
            pieces.push(piece(format!(", {mark} {} too many", -left), Tone::Fails));
        }
        _ => pieces.push(piece(format!(", {} free", shown(free)), Tone::Plain)),
    }
    let states = [Held::InService, Held::Ordered, Held::Planned, Held::Spare];
    let told = states.into_iter().filter_map(|held| {
        let cables = ends
            .iter()
            .filter(|end| end.held == held)
            .map(|end| end.cables);
        let n = cables.fold(0, usize::saturating_add);
        (n > 0).then(|| format!("{n} {}", held.word()))
    });
    let told: Vec<String> = told.collect();
    if !told.is_empty() {
        pieces.push(piece(format!(": {}", told.join(", ")), Tone::Quiet));
    }
    pieces
}

impl Places {
    /// So many places, with each end at the number in the name of its port.
    ///
    /// Cages may be numbered on from the ports before them; then all their numbers lie there.
    fn of(count: usize, before: usize, ends: &[&End]) -> Self {
        let names = || ends.iter().flat_map(|end| &end.ports);
        let follows = |name: &String| {
            number_in(name).is_some_and(|number| number > before && number - before <= count)
        };
        let goes_on = before > 0 && names().next().is_some() && names().all(follows);
        let small = |name: &String| number_in(name).is_some_and(|number| number <= count);
        let first = if goes_on && !names().all(small) {
            before + 1
        } else {
            1
        };
        let mut places = Self {
            first,
            held: vec![(Held::Free, String::new()); count],
            unplaced: 0,
        };
        for end in ends {
            let unnamed = end.cables.saturating_sub(end.ports.len());
            places.unplaced = places.unplaced.saturating_add(unnamed);
            for name in &end.ports {
                places.put(&name.to_lowercase(), end.held);
            }
        }
        places
    }

    /// Two ends at one name share its place; another name of the same number gets none.
    fn put(&mut self, name: &str, held: Held) {
        let at = number_in(name).and_then(|number| number.checked_sub(self.first));
        match at.and_then(|at| self.held.get_mut(at)) {
            Some(place) if place.0 == Held::Free => *place = (held, name.to_owned()),
            Some(place) if place.1 == name => place.0 = Held::Twice,
            Some(_) | None => self.unplaced += 1,
        }
    }
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

/// One cable end: its port, the link, where it goes and through what.
fn plugged(lay: &mut Lay, end: &End) {
    let shown = |name: &str| end.link.shown(name);
    let [port, interface, module] = end.columns;
    let (mark, tone) = end.held.mark(lay.theme);
    let cells = [
        (piece(mark, tone), 1),
        (
            piece(
                shown(port).unwrap_or_else(|| "no port".to_owned()),
                Tone::Heading,
            ),
            8,
        ),
        (piece(end.link.id(), Tone::Plain), 8),
        (piece(shown(end.other).unwrap_or_default(), Tone::Plain), 16),
    ];
    let mut told = vec![end.held.word().to_owned()];
    if end.cables != 1 {
        told.push(format!("{} cables", end.cables));
    }
    let made = [shown(interface), shown(module), shown("medium")];
    told.extend(made.into_iter().flatten());
    let mut rest = vec![piece(told.join(", "), Tone::Plain)];
    rest.extend(jacket(end.link, lay.theme));
    lay.row(&cells, &rest, end.link.target(port));
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

impl Held {
    /// The state of a link; without one it is planned.
    fn of(state: Option<&str>) -> Self {
        match state {
            Some("in service") => Self::InService,
            Some("ordered") => Self::Ordered,
            Some("spare") => Self::Spare,
            Some(_) | None => Self::Planned,
        }
    }

    fn word(self) -> &'static str {
        match self {
            Self::Free => "free",
            Self::InService => "in service",
            Self::Planned => "planned",
            Self::Ordered => "ordered",
            Self::Spare => "spare",
            Self::Twice => "named twice",
        }
    }

    /// A mark one cell wide; letters, because they need no colour.
    fn mark(self, theme: Theme) -> (&'static str, Tone) {
        match self {
            Self::Free => (theme.glyph(Glyph::Note), Tone::Quiet),
            Self::InService => (theme.glyph(Glyph::Full), Tone::Plain),
            Self::Planned => ("p", Tone::Computed),
            Self::Ordered => ("o", Tone::Computed),
            Self::Spare => ("s", Tone::Unknown),
            Self::Twice => ("X", Tone::Fails),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_port_has_the_number_at_its_end() {
        let named = ["p7", "1/0/24", "lan", "", "c0", "99999999999999999999999"];
        let numbers = named.map(number_in);
        assert_eq!(numbers, [Some(7), Some(24), None, None, Some(0), None]);
        assert_eq!(names_in(" c1+ c2 ;"), ["c1", "c2"]);
    }

    #[test]
    fn only_one_name_is_twice_at_a_place() {
        let mut places = Places {
            first: 1,
            held: vec![(Held::Free, String::new()); 4],
            unplaced: 0,
        };
        for name in ["p1", "p1", "p2", "q2", "p0", "lan"] {
            places.put(name, Held::Planned);
        }
        let held: Vec<Held> = places.held.iter().map(|place| place.0).collect();
        assert_eq!(held, [Held::Twice, Held::Planned, Held::Free, Held::Free]);
        assert_eq!(places.unplaced, 3);
    }
}
