//! What holds the ports and cages of a switch, and the place of each by the number in its name.

use crate::screen::pages::row::Row;
use crate::screen::theme::Glyph;
use crate::screen::theme::Theme;
use crate::screen::theme::Tone;

/// The most ports after which cages may be numbered on.
const MOST_BEFORE: usize = 10_000;

/// What holds a place.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Held {
    Free,
    InService,
    Planned,
    Ordered,
    Spare,
    Twice,
}

/// One end of a link at a switch.
#[derive(Debug)]
pub(super) struct End<'a> {
    /// The link.
    pub link: Row<'a>,
    /// The names of its ports, one for each cable where so many are named.
    pub ports: Vec<String>,
    /// How many cables end here.
    pub cables: usize,
    /// Whether they take uplink cages.
    pub in_cage: bool,
    /// The state of the link.
    pub held: Held,
    /// The names of the columns of this end.
    pub columns: &'static Columns,
}

/// The names of the columns of one end of a link.
#[derive(Debug)]
pub(super) struct Columns {
    pub device: &'static str,
    pub other: &'static str,
    pub in_cage: &'static str,
    pub port: &'static str,
    pub interface: &'static str,
    pub module: &'static str,
}

const ENDS: [Columns; 2] = [
    Columns {
        device: "from",
        other: "to",
        in_cage: "near_in_cage",
        port: "from_port",
        interface: "interface",
        module: "module",
    },
    Columns {
        device: "to",
        other: "from",
        in_cage: "far_in_cage",
        port: "to_port",
        interface: "far",
        module: "far_module",
    },
];

/// The places of one kind, with the name of what holds each.
#[derive(Debug)]
pub(super) struct Places {
    /// The number of the first place.
    pub first: usize,
    /// What holds each place, and under which name.
    pub held: Vec<(Held, String)>,
    /// Cable ends without a place.
    pub unplaced: usize,
}

/// Every cable end that holds a port or cage of a switch, in the order of the links.
pub(super) fn ends_at(switch: Row) -> Vec<End> {
    let engine = switch.desk.engine();
    let Some(sheet) = switch.desk.plan().sheet("links") else {
        return Vec::new();
    };
    let devices = ENDS
        .each_ref()
        .map(|end| engine.find_column(sheet, end.device));
    let mut ends = Vec::new();
    for row in switch.desk.plan().rows(sheet).order() {
        for (device, columns) in devices.iter().zip(&ENDS) {
            let is_here = device.is_some_and(|column| engine.row_at(column, *row) == switch.row.0);
            let link = Row::new(switch.desk, sheet, *row);
            if is_here && link.is("holds_port") {
                ends.push(End::of(link, columns));
            }
        }
    }
    ends
}

impl<'a> End<'a> {
    fn of(link: Row<'a>, columns: &'static Columns) -> Self {
        Self {
            link,
            ports: names_in(&link.shown(columns.port).unwrap_or_default()),
            cables: link.number("cables").unwrap_or(1.0).max(0.0) as usize,
            in_cage: link.is(columns.in_cage),
            held: Held::of(link.shown("state").as_deref()),
            columns,
        }
    }

    /// The number of its first port; ends without one stand last.
    pub fn number(&self) -> usize {
        let first = self.ports.first();
        first.and_then(|name| number_in(name)).unwrap_or(usize::MAX)
    }
}

/// The ports in a text such as `c1+c2`.
fn names_in(text: &str) -> Vec<String> {
    let names = text.split(['+', ',', ';']).map(str::trim);
    let names = names.filter(|name| !name.is_empty());
    names.map(str::to_owned).collect()
}

/// The number at the end of the name of a port.
fn number_in(name: &str) -> Option<usize> {
    let before = name.trim_end_matches(|c: char| c.is_ascii_digit());
    name[before.len()..].parse().ok()
}

impl Places {
    /// So many places, with each end at the number in the name of its port.
    ///
    /// Cages may be numbered on from the ports before them; then all their numbers lie there.
    pub fn of(count: usize, before: usize, ends: &[&End]) -> Self {
        let numbers = ends
            .iter()
            .flat_map(|end| &end.ports)
            .map(|name| number_in(name));
        let numbers: Vec<usize> = numbers.flatten().collect();
        let follows = |number: &usize| *number > before && number - before <= count;
        let goes_on = before <= MOST_BEFORE
            && numbers.iter().all(follows)
            && numbers.iter().any(|number| *number > count);
        let mut places = Self {
            first: if goes_on { before + 1 } else { 1 },
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

    /// Whether one of the ports of an end is named by another end as well.
    pub fn is_twice(&self, end: &End) -> bool {
        let same = |name: &String, held: &(Held, String)| {
            held.0 == Held::Twice && held.1 == name.to_lowercase()
        };
        let mut ports = end.ports.iter();
        ports.any(|name| self.held.iter().any(|held| same(name, held)))
    }

    /// Two ends at one name share its place; another name of the same number gets none.
    fn put(&mut self, name: &str, held: Held) {
        let at = number_in(name).and_then(|number| number.checked_sub(self.first));
        match at.and_then(|at| self.held.get_mut(at)) {
            Some(place) if place.0 == Held::Free => *place = (held, name.to_owned()),
            Some(place) if place.1 == name => place.0 = Held::Twice,
            Some(_) | None => self.unplaced = self.unplaced.saturating_add(1),
        }
    }
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

    /// The word for it.
    pub fn word(self) -> &'static str {
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
    pub fn mark(self, theme: Theme) -> (&'static str, Tone) {
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
        let mut places = Places::of(4, 0, &[]);
        for name in ["p1", "p1", "p2", "q2", "p0", "lan"] {
            places.put(name, Held::Planned);
        }
        let held: Vec<Held> = places.held.iter().map(|place| place.0).collect();
        assert_eq!(held, [Held::Twice, Held::Planned, Held::Free, Held::Free]);
        assert_eq!(places.unplaced, 3);
    }
}
