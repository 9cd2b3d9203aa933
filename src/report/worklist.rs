//! The work list: for each room the links to be built, in walking order, with what the person on the
//! ladder needs and boxes to tick.
//!
//! Plain text of at most 80 columns. Our own words are ASCII alone, so that any printer takes them.

use super::Done;
use super::Format;
use super::Request;
use super::Sink;
use super::Written;
use super::fields::shown;
use super::unwritten;
use crate::problem::Problem;
use crate::problem::Severity;
use crate::problem::clean;
use crate::problem::several;
use crate::table::{Cell, RowId, SheetId};
use rustc_hash::FxHashMap;
use unicode_width::UnicodeWidthChar;
use unicode_width::UnicodeWidthStr;

/// The format.
pub(super) const FORMAT: Format = Format {
    name: "work list",
    endings: &["txt"],
    doc: "the links to be built, room by room, with boxes to tick and a field for each reading",
    leaves_out: "links neither planned nor ordered (--every-state takes all), other sheets, notes, prices, sources",
    shows_studies: false,
    most_findings: usize::MAX,
    write,
};

/// So wide a line is at most.
const WIDTH: usize = 80;

/// The states of a link that is still to be built; an empty one means planned.
const TO_BUILD: [&str; 3] = ["", "planned", "ordered"];

/// What stands over links whose upper or lower end is in no known building.
const NO_ROOM: &str = "room not entered";

fn write(
    request: &Request<'_>,
    out: &mut dyn Sink,
    progress: &mut dyn FnMut(Done),
) -> Result<Written, Problem> {
    request.whole_plan("a work list")?;
    let links = request.plan.sheet("links").ok_or_else(|| {
        Problem::new("no-such-sheet", "there is no sheet `links`").help("use a plan with links")
    })?;
    let list = List::new(request, links);
    let mut written = Written::default();
    let mut text = list.head();
    let mut done = Done {
        rows: 0,
        of: list.stops.len(),
    };
    let mut room = None;
    for stop in &list.stops {
        if room != Some(&stop.room) {
            room = Some(&stop.room);
            written.pages.push(stop.room.clone());
            list.room(&stop.room, &mut text);
        }
        list.link(stop, &mut text);
        done.rows += 1;
        written.n_values += 1;
        if done.rows.is_multiple_of(256) {
            out.write_all(text.as_bytes())
                .map_err(|error| unwritten(&error))?;
            text.clear();
            progress(done);
        }
    }
    text.push_str(&list.foot());
    out.write_all(text.as_bytes())
        .and_then(|()| out.flush())
        .map_err(|error| unwritten(&error))?;
    Ok(written)
}

/// A link on the walk.
struct Stop {
    row: RowId,
    room: String,
    /// By what it is ordered: room, switch, port, then as in the plan.
    key: (usize, usize, Vec<Part>, usize),
}

/// A port in pieces, so that `p10` comes after `p9`.
#[derive(Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Part {
    Number(u64),
    Text(String),
}

struct List<'a> {
    request: &'a Request<'a>,
    links: SheetId,
    stops: Vec<Stop>,
    /// Links that are not on it because of their state.
    n_other: usize,
    /// The stops among the findings, by link.
    against: FxHashMap<RowId, Vec<&'a str>>,
    fibre: Option<String>,
    between: Option<String>,
}

impl<'a> List<'a> {
    fn new(request: &'a Request<'a>, links: SheetId) -> Self {
        let mut against = FxHashMap::<RowId, Vec<&str>>::default();
        let found = request.findings.list.iter();
        for finding in found.filter(|one| one.sheet == links && one.severity == Severity::Stop) {
            against
                .entry(finding.row)
                .or_default()
                .push(&finding.sentence);
        }
        let mut list = Self {
            request,
            links,
            stops: Vec::new(),
            n_other: 0,
            against,
            fibre: caution(request, "laser light"),
            between: caution(request, "between buildings"),
        };
        list.walk();
        list
    }

    /// Puts the links in walking order: rooms and switches as in the sheet of switches, then ports.
    fn walk(&mut self) {
        let (plan, links) = (self.request.plan, self.links);
        let mut rooms = Vec::<String>::new();
        let mut switches = FxHashMap::default();
        if let Some(sheet) = plan.sheet("switches") {
            for (at, row) in plan.rows(sheet).order().iter().enumerate() {
                let room = self.text(sheet, "building", *row);
                if !room.is_empty() && !rooms.contains(&room) {
                    rooms.push(room.clone());
                }
                switches.insert(plan.id(sheet, *row).to_lowercase(), (at, room));
            }
        }
        for (at, row) in plan.rows(links).order().iter().enumerate() {
            let state = self.text(links, "state", *row);
            if !self.request.choice.every_state && !TO_BUILD.contains(&&*state) {
                self.n_other += 1;
                continue;
            }
            let from = switches.get(&self.text(links, "from", *row).to_lowercase());
            let (switch, room) = match from {
                Some((switch, room)) if !room.is_empty() => (*switch, room.clone()),
                Some((switch, _)) => (*switch, NO_ROOM.to_owned()),
                None => (usize::MAX, NO_ROOM.to_owned()),
            };
            let rank = rooms
                .iter()
                .position(|known| *known == room)
                .unwrap_or(usize::MAX);
            let port = parts(&self.text(links, "from_port", *row));
            self.stops.push(Stop {
                row: *row,
                room,
                key: (rank, switch, port, at),
            });
        }
        self.stops.sort_by(|a, b| a.key.cmp(&b.key));
    }

    fn text(&self, sheet: SheetId, name: &str, row: RowId) -> String {
        shown(self.request, sheet, name, row)
    }

    /// A value of a link, or the words for none.
    fn given(&self, name: &str, row: RowId, otherwise: &str) -> String {
        let text = self.text(self.links, name, row);
        match text.is_empty() {
            true => otherwise.to_owned(),
            false => text,
        }
    }

    fn head(&self) -> String {
        let request = self.request;
        let mut text = String::new();
        wrapped(&mut text, "", &format!("WORK LIST: {}", request.title()));
        let day = request
            .date
            .map_or(String::new(), |(y, m, d)| format!(", {y:04}-{m:02}-{d:02}"));
        let identity = &request.identity;
        let line = format!(
            "plan {}, revision {}{day}",
            identity.id,
            identity.short_revision()
        );
        wrapped(&mut text, "", &line);
        let which = match (request.choice.every_state, self.n_other) {
            (true, _) => "in every state".to_owned(),
            (false, 0) => "planned or ordered".to_owned(),
            (false, n) => format!("planned or ordered; {n} in another state are not on this list"),
        };
        let n = self.stops.len();
        wrapped(
            &mut text,
            "",
            &format!("{} {which}", several(n, "link", "links")),
        );
        text.push('\n');
        for name in ["laser light", "cleaning", "insertion", "power", "codes"] {
            if let Some(say) = caution(request, name) {
                wrapped(&mut text, "! ", &say);
            }
        }
        text
    }

    fn room(&self, room: &str, text: &mut String) {
        let stops = self.stops.iter().filter(|stop| stop.room == room).count();
        let title = format!("{}  ({})", clean(room), several(stops, "link", "links"));
        text.push_str(&format!("\n{}\n", "=".repeat(WIDTH)));
        wrapped(text, "", &title);
        text.push_str(&format!("{}\n", "=".repeat(WIDTH)));
    }

    fn link(&self, stop: &Stop, text: &mut String) {
        let row = stop.row;
        let plan = self.request.plan;
        text.push('\n');
        let state = self.given("state", row, "planned");
        let verdict = self.given("verdict", row, "unknown");
        let label = plan.id(self.links, row);
        wrapped(
            text,
            "",
            &format!("[ ] label {label} on both ends   ({state}, verdict {verdict})"),
        );
        for sentence in self.against.get(&row).into_iter().flatten() {
            wrapped(
                text,
                "    ! do not build before this is settled: ",
                sentence,
            );
        }
        wrapped(
            text,
            "    from    ",
            &self.end(row, "from", "from_port", stop, false),
        );
        wrapped(
            text,
            "    to      ",
            &self.end(row, "to", "to_port", stop, true),
        );
        wrapped(text, "    cable   ", &self.cable(row));
        wrapped(text, "    module  ", &self.modules(row));
        self.light(row, text);
        for line in self.cautions(row) {
            wrapped(text, "    ! ", &line);
        }
        self.boxes(row, text);
    }

    /// An end: device, port, and the room where it is another one.
    fn end(&self, row: RowId, device: &str, port: &str, stop: &Stop, is_far: bool) -> String {
        let name = self.given(device, row, "device not entered");
        let port = self.given(port, row, "not entered");
        let room = match is_far {
            true => self.far_room(&name),
            false => None,
        };
        let room = match room {
            Some(room) if room != stop.room => format!(", in {room}"),
            Some(_) | None => String::new(),
        };
        format!("{name}, port {port}{room}")
    }

    fn far_room(&self, device: &str) -> Option<String> {
        let plan = self.request.plan;
        let sheet = plan.sheet("switches")?;
        let row = plan.find(sheet, device)?;
        let room = self.text(sheet, "building", row);
        (!room.is_empty()).then_some(room)
    }

    fn cable(&self, row: RowId) -> String {
        let medium = self.given("used_medium", row, "");
        let medium = match medium.is_empty() {
            true => self.given("medium", row, "medium not entered"),
            false => medium,
        };
        let mut all = vec![medium, self.given("used_length", row, "length not entered")];
        let cords = self.given("cords", row, "");
        if !cords.is_empty() {
            all.push(format!("cords {cords} of it"));
        }
        let count = self.given("cables", row, "1");
        if count != "1" {
            all.push(format!("{count} times"));
        }
        for (name, word) in [
            ("polarity", "polarity"),
            ("polish", "polish"),
            ("pad", "pad"),
        ] {
            let value = self.given(name, row, "");
            if !value.is_empty() && value != "0 dB" {
                all.push(format!("{word} {value}"));
            }
        }
        all.join(", ")
    }

    fn modules(&self, row: RowId) -> String {
        let near = self.given("interface", row, "interface not entered");
        let far = self.given("far_interface", row, &near);
        let form = |name: &str, cage: &str| {
            let form = self.given(name, row, "");
            let cage = self.given(cage, row, "");
            match (form.is_empty(), cage.is_empty()) {
                (false, _) => format!(" as {form}"),
                (true, false) => format!(" for {cage}"),
                (true, true) => String::new(),
            }
        };
        format!(
            "{near}{} here; {far}{} at the other end",
            form("module", "near_cage"),
            form("far_module", "far_cage")
        )
    }

    /// What the receivers should read, and a field for what they do read.
    fn light(&self, row: RowId, text: &mut String) {
        if !self.is_lit(row) {
            return;
        }
        for (word, low, high) in [
            ("    light here  ", "near_rx_low", "near_rx_high"),
            ("    light there ", "far_rx_low", "far_rx_high"),
        ] {
            let (low, high) = (self.given(low, row, ""), self.given(high, row, ""));
            let window = match (low.is_empty(), high.is_empty()) {
                (false, false) => format!("{low} to {high} expected"),
                (false, true) => format!("at least {low} expected"),
                (true, false) => format!("at most {high} expected"),
                (true, true) => "expected light unknown".to_owned(),
            };
            wrapped(text, word, &format!("{window}; read ________ dBm"));
        }
    }

    /// Whether light runs in it; where nobody knows, it is taken for light.
    fn is_lit(&self, row: RowId) -> bool {
        let flag = self.request.engine.find_column(self.links, "is_fibre");
        let cell = flag.map(|column| self.request.engine.cell(self.request.plan, column, row));
        !matches!(cell, Some(Cell::Flag(false)))
    }

    fn cautions(&self, row: RowId) -> Vec<String> {
        let mut all = Vec::new();
        if self.is_lit(row) {
            all.extend(self.fibre.clone());
        }
        let crosses = [("from", "to")].into_iter().any(|(a, b)| {
            let room = |name| self.far_room(&self.text(self.links, name, row));
            matches!((room(a), room(b)), (Some(a), Some(b)) if a != b)
        });
        if crosses || self.text(self.links, "space", row) == "between buildings" {
            all.extend(self.between.clone());
        }
        all
    }

    fn boxes(&self, row: RowId, text: &mut String) {
        let boxes = match self.is_lit(row) {
            true => "[ ] inspected   [ ] cleaned   [ ] seated   [ ] read",
            false => "[ ] inspected   [ ] seated   [ ] link up",
        };
        for end in ["here ", "there"] {
            wrapped(text, "    ", &format!("{end}  {boxes}"));
        }
        wrapped(
            text,
            "    ",
            "by ______________________   on ______________",
        );
    }

    fn foot(&self) -> String {
        let mut text = "\n".to_owned();
        if self.stops.is_empty() {
            wrapped(&mut text, "", "No link waits to be built.");
        }
        let words = "Light in dBm. What is not entered was not guessed. A reading outside its window: clean and inspect \
                     both faces, then read again.";
        wrapped(&mut text, "", words);
        text
    }
}

/// A line of the safety sheet.
fn caution(request: &Request<'_>, name: &str) -> Option<String> {
    let sheet = request.plan.sheet("cautions")?;
    let row = request.plan.find(sheet, name)?;
    let say = shown(request, sheet, "say", row);
    (!say.is_empty()).then_some(say)
}

/// The runs of digits and of other characters of a port.
fn parts(port: &str) -> Vec<Part> {
    let mut all = Vec::new();
    let mut rest = port;
    while let Some(first) = rest.chars().next() {
        let is_digit = first.is_ascii_digit();
        let end = rest
            .find(|c: char| c.is_ascii_digit() != is_digit)
            .unwrap_or(rest.len());
        let (run, after) = rest.split_at(end);
        all.push(match run.parse() {
            Ok(number) => Part::Number(number),
            Err(_) => Part::Text(run.to_lowercase()),
        });
        rest = after;
    }
    all
}

/// A text behind a mark, broken so that no line is wider than the paper; further lines are set in.
fn wrapped(out: &mut String, mark: &str, text: &str) {
    let text = clean(text);
    // A long mark would leave no room beside it.
    let indent = match mark.width() {
        width if width > 16 => 6,
        width => width,
    };
    let mut line = mark.to_owned();
    let mut is_fresh = true;
    for word in text.split(' ') {
        let gap = usize::from(!is_fresh);
        if !is_fresh && line.width() + gap + word.width() > WIDTH {
            push_line(out, &line);
            line = " ".repeat(indent);
            is_fresh = true;
        }
        if !is_fresh {
            line.push(' ');
        }
        for c in word.chars() {
            if line.width() + c.width().unwrap_or(0) > WIDTH {
                push_line(out, &line);
                line = " ".repeat(indent);
            }
            line.push(c);
        }
        is_fresh = false;
    }
    push_line(out, &line);
}

fn push_line(out: &mut String, line: &str) {
    out.push_str(line.trim_end());
    out.push('\n');
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn ports_are_walked_as_they_are_counted() {
        let mut ports = ["p10", "p9", "P2", "c1+c2", "", "1/0/11", "1/0/9"];
        ports.sort_by_key(|port| parts(port));
        assert_eq!(ports, ["", "1/0/9", "1/0/11", "c1+c2", "P2", "p9", "p10"]);
    }

    proptest! {
        #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

        #[test]
        fn no_line_is_wider_than_the_paper(mark in " {0,6}[!a]{0,40} ?", text in "[a-z水é ]{0,300}") {
            let mut out = String::new();
            wrapped(&mut out, &mark, &text);
            for line in out.lines() {
                prop_assert!(line.width() <= WIDTH, "{}", line);
            }
            let words = |text: &str| text.chars().filter(|c| *c != ' ' && *c != '\n').collect::<String>();
            prop_assert_eq!(words(&out), words(&format!("{mark}{text}")));
        }
    }
}
