//! Words as people write them in cable lists, and what they are called here.
//!
//! Tables and the reading of one cell; nothing here knows a plan except the list of media.

use crate::units::Unit;
use crate::units::read as read_quantity;
use crate::units::split_quantity;
use rustc_hash::FxHashMap;

/// Other headings for our columns, in lower case, words separated by one space.
pub(super) const HEADINGS: [(&str, &[&str]); 17] = [
    (
        "id",
        &[
            "link name",
            "wire no",
            "wire number",
            "wire",
            "cable name",
            "tag",
            "cable tag",
            "ckt",
            "ckt id",
            "circuit no",
            "no",
            "nr",
            "number",
            "link no",
            "label",
            "cable",
            "cable id",
            "cable no",
            "cable number",
            "cable label",
            "link",
            "link id",
            "circuit",
            "circuit id",
        ],
    ),
    (
        "from",
        &[
            "origin",
            "origin device",
            "a end device",
            "local device name",
            "local switch",
            "source switch",
            "near end",
            "near device",
            "near end device",
            "leaf",
            "device name a",
            "switch a",
            "end a device",
            "local",
            "a device",
            "device a",
            "from device",
            "from switch",
            "source",
            "source device",
            "side a",
            "a side",
            "side a device",
            "a end",
            "end a",
            "local device",
            "termination a device",
        ],
    ),
    (
        "from_port",
        &[
            "a end port",
            "origin port",
            "switch port",
            "leaf port",
            "intf",
            "source intf",
            "near port",
            "near end port",
            "end a port",
            "source iface",
            "port name a",
            "a iface",
            "a port",
            "port a",
            "a interface",
            "interface a",
            "from iface",
            "from interface",
            "source port",
            "source interface",
            "side a port",
            "local port",
            "local interface",
        ],
    ),
    (
        "to",
        &[
            "b end device",
            "z end device",
            "remote device name",
            "remote switch",
            "connected host device",
            "connected host",
            "connected device",
            "connected to",
            "spine",
            "far end",
            "far device",
            "far end device",
            "destination switch",
            "switch b",
            "end b device",
            "end z",
            "neighbour",
            "neighbor",
            "remote",
            "b device",
            "device b",
            "to device",
            "to switch",
            "destination",
            "destination device",
            "dest",
            "target",
            "target device",
            "side b",
            "b side",
            "side b device",
            "b end",
            "end b",
            "z device",
            "z end",
            "z side",
            "remote device",
            "termination b device",
        ],
    ),
    (
        "to_port",
        &[
            "b end port",
            "z end port",
            "target interface",
            "spine port",
            "far port",
            "far end port",
            "end b port",
            "remote iface",
            "target iface",
            "port name b",
            "dest interface",
            "remote intf",
            "b iface",
            "b port",
            "port b",
            "b interface",
            "interface b",
            "to iface",
            "to interface",
            "destination port",
            "destination interface",
            "dest port",
            "target port",
            "side b port",
            "z port",
            "z iface",
            "remote port",
            "remote interface",
        ],
    ),
    (
        "role",
        &[
            "use",
            "link use",
            "class",
            "purpose",
            "usage",
            "function",
            "link role",
            "link class",
        ],
    ),
    (
        "speed",
        &[
            "bandwidth",
            "rate",
            "link speed",
            "port speed",
            "line rate",
            "data rate",
        ],
    ),
    ("members", &["lag members", "bundle size"]),
    ("interface", &["phy", "interface type", "ethernet standard"]),
    (
        "medium",
        &[
            "link type",
            "fibre",
            "fiber",
            "cable medium",
            "type",
            "media",
            "media type",
            "medium type",
            "cable type",
            "cable media",
            "fibre type",
            "fiber type",
        ],
    ),
    (
        "length",
        &[
            "len",
            "cable length",
            "run length",
            "distance",
            "total length",
            "route length",
            "length total",
        ],
    ),
    (
        "module",
        &[
            "transceiver",
            "optic",
            "optics",
            "form factor",
            "module type",
        ],
    ),
    ("connections", &["connectors", "mated pairs"]),
    (
        "state",
        &[
            "status",
            "link status",
            "cable status",
            "installation status",
        ],
    ),
    (
        "measured_loss",
        &["insertion loss", "test loss", "tested loss"],
    ),
    ("measured_rx", &["rx power", "received power", "rx level"]),
    (
        "notes",
        &[
            "isolation note",
            "link description",
            "desc",
            "note",
            "comment",
            "comments",
            "description",
            "remark",
            "remarks",
        ],
    ),
];

/// Other words for the state of a link.
const STATES: [(&str, &[&str]); 6] = [
    (
        "planned",
        &[
            "plan", "reserved", "proposed", "design", "designed", "to do",
        ],
    ),
    ("ordered", &["on order", "purchased"]),
    (
        "in service",
        &[
            "installed",
            "active",
            "live",
            "connected",
            "deployed",
            "in use",
            "used",
            "production",
            "existing",
            "up",
        ],
    ),
    ("standby", &["stand-by", "stand by", "blocked", "passive"]),
    ("spare", &["unused", "dark", "available", "free"]),
    (
        "out",
        &[
            "decommissioned",
            "decommissioning",
            "removed",
            "retired",
            "disconnected",
            "out of service",
        ],
    ),
];

/// Words inside a role, the role that wins first.
///
/// A link to the next switch is an uplink whatever hangs below it, so `leaf-spine` is one.
const ROLES: [(&str, &[&str]); 4] = [
    ("wan", &["wan", "isp"]),
    ("uplink", &["uplink", "spine", "core", "trunk", "backbone"]),
    ("storage", &["storage", "nas", "san"]),
    (
        "access",
        &[
            "access",
            "host",
            "server",
            "desk",
            "desktop",
            "bmc",
            "camera",
            "ap",
            "workstation",
            "printer",
            "phone",
            "client",
            "endpoint",
        ],
    ),
];

/// Form factors spelled as in the table of what fits which cage.
const FORMS: [&str; 22] = [
    "SFP",
    "SFP+",
    "SFP28",
    "SFP56",
    "SFP112",
    "SFP-DD",
    "SFP-DD112",
    "QSFP+",
    "QSFP28",
    "QSFP56",
    "QSFP112",
    "QSFP-DD",
    "OSFP",
    "CFP",
    "CFP2",
    "CFP4",
    "CFP8",
    "CXP",
    "XFP",
    "XENPAK",
    "X2",
    "GBIC",
];

/// Short names of cables with fixed ends.
const CABLES: [(&str, &str); 4] = [
    ("dac", "twinax passive"),
    ("acc", "twinax active"),
    ("aec", "twinax active"),
    ("aoc", "active optical"),
];

/// Words beside a medium that say nothing more.
const FILLERS: [&str; 5] = ["cable", "patch", "cord", "fibre", "fiber"];

/// The column that a heading in lower case means by another word.
pub(super) fn column_of(heading: &str) -> Option<&'static str> {
    listed(&HEADINGS, heading)
}

/// Headings that name a device or a port without saying at which end.
const EITHER_END: [(&[&str], [&str; 2]); 2] = [
    (
        &[
            "device",
            "device name",
            "switch",
            "switch name",
            "host",
            "node",
            "equipment",
            "hostname",
            "end",
            "unit",
        ],
        ["from", "to"],
    ),
    (
        &[
            "port",
            "port no",
            "port number",
            "port name",
            "iface",
            "device port",
        ],
        ["from_port", "to_port"],
    ),
];

/// The columns of both ends for a heading in lower case that may be either.
pub(super) fn ends_of(heading: &str) -> Option<&'static [&'static str; 2]> {
    let found = EITHER_END
        .iter()
        .find(|(words, _)| words.contains(&heading));
    found.map(|(_, ends)| ends)
}

/// Words that people write where they know nothing.
const BLANKS: [&str; 17] = [
    "-", "--", "---", "\u{2013}", "\u{2014}", "n/a", "n.a.", "#n/a", "tbd", "t.b.d.", "tba", "?",
    "??", "unknown", "nil", "null", "none yet",
];

/// The longest of them, in bytes.
const LONGEST_BLANK: usize = 8;

/// Whether a cell says that nothing is known.
pub(super) fn is_blank(text: &str) -> bool {
    let text = text.trim();
    // Asked of every cell, and most begin like none of these words.
    let may_be = |first: u8| matches!(first | 0x20, b'-' | b'n' | b'#' | b't' | b'?' | b'u' | 0xe2);
    if text.len() > LONGEST_BLANK || !text.bytes().next().is_some_and(may_be) {
        return false;
    }
    BLANKS.iter().any(|blank| blank.eq_ignore_ascii_case(text))
}

/// Words that begin a row of totals.
const TOTALS: [&str; 12] = [
    "total",
    "totals",
    "sum",
    "subtotal",
    "sub-total",
    "grand",
    "average",
    "mean",
    "minimum",
    "maximum",
    "summe",
    "gesamt",
];

/// Whether a cell begins a row of totals.
pub fn is_total(text: &str) -> bool {
    let first = text
        .trim()
        .split([' ', ':', '('])
        .next()
        .unwrap_or_default();
    TOTALS.iter().any(|total| total.eq_ignore_ascii_case(first))
}

/// The state that another word means.
pub(super) fn state_of(text: &str) -> Option<&'static str> {
    let words: Vec<String> = words(text).collect();
    listed(&STATES, &words.join(" "))
}

/// The role that the words of a text mean.
pub(super) fn role_of(text: &str) -> Option<&'static str> {
    let words: Vec<String> = words(text).collect();
    let means = |known: &&str| {
        let plural = |word: &String| word.strip_suffix('s') == Some(known);
        words.iter().any(|word| word == known || plural(word))
    };
    let found = ROLES.iter().find(|(_, known)| known.iter().any(means));
    found.map(|(role, _)| *role)
}

fn listed(
    table: &'static [(&'static str, &'static [&'static str])],
    word: &str,
) -> Option<&'static str> {
    let found = table.iter().find(|(_, others)| others.contains(&word));
    found.map(|(name, _)| *name)
}

/// The words of a text in lower case.
pub(super) fn words(text: &str) -> impl Iterator<Item = String> {
    text.split(|c: char| !c.is_alphanumeric())
        .filter(|word| !word.is_empty())
        .map(str::to_lowercase)
}

/// What a cell of a medium says.
#[derive(Debug, Clone, Default, PartialEq)]
pub(super) struct Medium {
    /// The medium by its id.
    pub(super) medium: Option<String>,
    /// The form factor of its ends.
    pub(super) module: Option<&'static str>,
    /// A speed, in base units.
    pub(super) speed: Option<f64>,
    /// A length, in base units.
    pub(super) length: Option<f64>,
}

/// The media of a plan, to read cells by.
#[derive(Debug)]
pub(super) struct Media {
    ids: FxHashMap<String, String>,
    speed: Unit,
    length: Unit,
}

impl Media {
    /// Over the ids of the media and the units in which speed and length are written.
    pub(super) fn new(ids: impl Iterator<Item = String>, speed: Unit, length: Unit) -> Self {
        Self {
            ids: ids.map(|id| (folded(&id), id)).collect(),
            speed,
            length,
        }
    }

    /// What a cell says: a medium alone, or one among words such as `dac-qsfpdd-400g`.
    ///
    /// `None` where any part of it is not understood.
    pub(super) fn read(&self, text: &str) -> Option<Medium> {
        if let Some(id) = self.ids.get(&folded(text)) {
            return Some(Medium {
                medium: Some(id.clone()),
                ..Medium::default()
            });
        }
        let words: Vec<&str> = text
            .split(['-', '_', ' ', '/', ','])
            .filter(|word| !word.is_empty())
            .collect();
        let (mut out, mut at) = (Medium::default(), 0);
        while at < words.len() {
            // `qsfp-dd` and `cat 6a` are cut in two by the split.
            let lengths = (1..=3.min(words.len() - at)).rev();
            let mut lengths = lengths.filter(|n| self.takes(&mut out, &words[at..at + n].concat()));
            at += lengths.next()?;
        }
        out.medium.is_some().then_some(out)
    }

    /// Whether a word says something that was not said yet; then it is noted.
    fn takes(&self, out: &mut Medium, word: &str) -> bool {
        let key = folded(word);
        let cable = CABLES.iter().find(|(name, _)| *name == key);
        let id = cable.map_or(key.as_str(), |(_, medium)| medium);
        if let Some(id) = self.ids.get(&folded(id)) {
            return set(&mut out.medium, id.clone());
        }
        if let Some(form) = FORMS.into_iter().find(|form| folded(form) == key) {
            return set(&mut out.module, form);
        }
        FILLERS.contains(&key.as_str()) || self.takes_quantity(out, word)
    }

    fn takes_quantity(&self, out: &mut Medium, word: &str) -> bool {
        let Some((_, rest)) = split_quantity(word).filter(|(_, rest)| !rest.is_empty()) else {
            return false;
        };
        // `M` is short for Mb/s, `m` for metres.
        if rest != "M"
            && let Ok(length) = read_quantity(word, &self.length)
        {
            return set(&mut out.length, length);
        }
        match read_quantity(word, &self.speed) {
            Ok(speed) => set(&mut out.speed, speed),
            Err(_) => false,
        }
    }
}

fn set<T>(slot: &mut Option<T>, value: T) -> bool {
    let is_free = slot.is_none();
    if is_free {
        *slot = Some(value);
    }
    is_free
}

/// A name without regard to case, spaces and hyphens.
fn folded(name: &str) -> String {
    let letters = name.chars().filter(|c| !matches!(c, ' ' | '-' | '_'));
    letters.flat_map(char::to_lowercase).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Units;

    #[test]
    fn roles_are_found_by_their_words() {
        for (text, role) in [
            ("fabric-host-leaf", Some("access")),
            ("fabric-leaf-spine", Some("uplink")),
            ("oob-bmc", Some("access")),
            ("Servers", Some("access")),
            ("AP", Some("access")),
            ("NAS uplink", Some("uplink")),
            ("storage host", Some("storage")),
            ("ISP/core", Some("wan")),
            ("apnea tank", None),
            ("mystery", None),
        ] {
            assert_eq!(role_of(text), role, "{text}");
        }
    }

    #[test]
    fn states_have_other_names() {
        for (text, state) in [
            ("Installed", Some("in service")),
            ("IN-USE", Some("in service")),
            ("reserved", Some("planned")),
            ("decommissioned", Some("out")),
            ("on fire", None),
        ] {
            assert_eq!(state_of(text), state, "{text}");
        }
    }

    #[test]
    fn every_word_for_nothing_is_known_in_any_case() {
        for blank in BLANKS {
            assert!(is_blank(&format!(" {} ", blank.to_uppercase())), "{blank}");
            assert!(blank.len() <= LONGEST_BLANK, "{blank}");
        }
        assert!(!is_blank("north") && !is_blank("—1") && !is_blank(""));
    }

    #[test]
    fn no_other_name_stands_for_two_things() {
        let others = |table: &[(&str, &[&'static str])]| {
            let all = table.iter().flat_map(|(_, others)| others.iter().copied());
            all.collect::<Vec<_>>()
        };
        for table in [others(&HEADINGS), others(&STATES), others(&ROLES)] {
            let mut unique = table.clone();
            unique.sort_unstable();
            unique.dedup();
            assert_eq!(unique.len(), table.len());
        }
    }

    fn check(text: &str, expected: Option<(&str, &str, f64, f64)>) {
        let unit = |name| Units::builtin().unit(name).unwrap();
        let ids = [
            "OM4",
            "Cat6",
            "Cat6A",
            "G.652.D",
            "twinax passive",
            "twinax active",
            "active optical",
        ];
        let media = Media::new(ids.map(str::to_owned).into_iter(), unit("Gb/s"), unit("m"));
        let found = media.read(text).map(|found| {
            (
                found.medium.unwrap_or_default(),
                found.module.unwrap_or_default(),
                found.speed.unwrap_or_default() / 1e9,
                found.length.unwrap_or_default(),
            )
        });
        let expected = expected
            .map(|(medium, module, speed, length)| (medium.to_owned(), module, speed, length));
        assert_eq!(found, expected, "{text}");
    }

    #[test]
    fn media_are_read_as_people_write_them() {
        check(
            "dac-qsfpdd-400g",
            Some(("twinax passive", "QSFP-DD", 400.0, 0.0)),
        );
        check(
            "aoc-qsfp28-100g",
            Some(("active optical", "QSFP28", 100.0, 0.0)),
        );
        check(
            "DAC_QSFP-DD_400G_3m",
            Some(("twinax passive", "QSFP-DD", 400.0, 3.0)),
        );
        check(
            "AEC SFP+ 10 ft",
            Some(("twinax active", "SFP+", 0.0, 3.048)),
        );
        check("dac 100M", Some(("twinax passive", "", 0.1, 0.0)));
        check("cat6", Some(("Cat6", "", 0.0, 0.0)));
        check("CAT-6a", Some(("Cat6A", "", 0.0, 0.0)));
        check("Cat 6A patch cord", Some(("Cat6A", "", 0.0, 0.0)));
        check("om4 10g", Some(("OM4", "", 10.0, 0.0)));
        check("OM4 fiber 25 Gbps", Some(("OM4", "", 25.0, 0.0)));
        check("Active Optical", Some(("active optical", "", 0.0, 0.0)));
        check("g.652.d", Some(("G.652.D", "", 0.0, 0.0)));
    }

    #[test]
    fn what_is_half_understood_is_not_understood() {
        for text in [
            "",
            "-",
            "400g",
            "qsfp28",
            "om4 om4",
            "om4 lc",
            "om4 10g 25g",
            "seaweed",
            "dac-",
            "om4 400",
        ] {
            check(
                text,
                if text == "dac-" {
                    Some(("twinax passive", "", 0.0, 0.0))
                } else {
                    None
                },
            );
        }
    }
}
