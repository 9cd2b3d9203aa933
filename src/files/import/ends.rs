//! The two ends of a link as people write them: device and port in one cell, ranges of ports.
//!
//! Texts in, texts out; when a column is read so is decided in `survey.rs`.

/// Words before a number that make a port of it.
const PORT_WORDS: [&str; 22] = [
    "port",
    "p",
    "eth",
    "ethernet",
    "gi",
    "gigabitethernet",
    "te",
    "fo",
    "hu",
    "fa",
    "fastethernet",
    "xe",
    "ge",
    "et",
    "fe",
    "swp",
    "nic",
    "rail",
    "lan",
    "wan",
    "g",
    "e",
];

/// More members than this are no bundle but a count of something else.
const MOST_MEMBERS: u32 = 64;

/// Device and port of a cell that holds both, split at the last space.
pub(super) fn device_and_port(text: &str) -> Option<(&str, &str)> {
    // An annotation in brackets stays with the port.
    let bare = match (text.strip_suffix(')'), text.rfind(" (")) {
        (Some(_), Some(at)) => &text[..at],
        (_, _) => text,
    };
    let (device, word) = bare.rsplit_once(' ')?;
    let device = device.trim_end_matches([' ', ',', ';', ':']);
    if word.bytes().all(|byte| byte.is_ascii_digit()) {
        // `acc-reef port 1`: the number needs its word.
        let (before, port) = device.rsplit_once(' ')?;
        let at = text.len() - text[before.len()..].len();
        return is_port_word(port).then(|| (before.trim_end(), text[at..].trim()));
    }
    let is_port = looks_like_port(word) && !device.is_empty();
    is_port.then(|| (device, text[bare.len() - word.len()..].trim()))
}

fn is_port_word(word: &str) -> bool {
    PORT_WORDS.contains(&word.to_lowercase().as_str())
}

/// Whether a word is a port by its form: `Gi1/0/1`, `xe-0/0/0`, `swp3`, `1/47`.
pub(super) fn looks_like_port(word: &str) -> bool {
    let has_digit = word.bytes().any(|byte| byte.is_ascii_digit());
    let n_letters = word.bytes().take_while(u8::is_ascii_alphabetic).count();
    let head = word[..n_letters].to_lowercase();
    has_digit && (is_port_word(&head) || word.contains('/'))
}

/// How many ports a range names: `g1/0/6-7`, `Ethernet[1-5]`, `Gi1/0/1 - 24`.
pub(super) fn n_ports(text: &str) -> Option<u32> {
    // Most ports are no ranges.
    if !text.contains(['-', '\u{2013}', '\u{2212}']) {
        return None;
    }
    let text = text.trim().replace(['\u{2013}', '\u{2212}'], "-");
    let text = text.strip_suffix(']').unwrap_or(&text);
    let (head, last) = text.rsplit_once('-')?;
    let (head, last) = (head.trim_end(), last.trim());
    let n_digits = head.bytes().rev().take_while(u8::is_ascii_digit).count();
    let (before, first) = head.split_at(head.len() - n_digits);
    // `xe-0/0/1` and `2-3` alone are names, a range goes on from a name or a slot.
    let goes_on = before.ends_with(['/', '[', ':', ' '])
        || before.ends_with(|c: char| c.is_ascii_alphabetic()) && is_port_word(before.trim());
    let is_number = !last.is_empty() && last.bytes().all(|byte| byte.is_ascii_digit());
    if !goes_on || !is_number {
        return None;
    }
    let (first, last) = (first.parse::<u32>().ok()?, last.parse::<u32>().ok()?);
    let n = last.checked_sub(first)?.checked_add(1)?;
    (2..=MOST_MEMBERS).contains(&n).then_some(n)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn device_and_port_are_parted() {
        for (text, expected) in [
            ("EDGE-01 Gi0/0/0", Some(("EDGE-01", "Gi0/0/0"))),
            (
                "pump house sw1 xe-0/0/1",
                Some(("pump house sw1", "xe-0/0/1")),
            ),
            ("acc-reef port 1", Some(("acc-reef", "port 1"))),
            ("acc-reef, swp3", Some(("acc-reef", "swp3"))),
            (
                "acc-reef eth0 (LAN Port 1)",
                Some(("acc-reef", "eth0 (LAN Port 1)")),
            ),
            ("ISP1 ONT", None),
            ("leaf 1", None),
            ("acc-reef", None),
            ("rack A12", None),
            ("pump 2/1", Some(("pump", "2/1"))),
            ("", None),
            (" eth0", None),
        ] {
            assert_eq!(device_and_port(text), expected, "{text}");
        }
    }

    #[test]
    fn ranges_name_so_many_ports() {
        for (text, n) in [
            ("g1/0/6-7", Some(2)),
            ("Ethernet[1-5]", Some(5)),
            ("swp1-4", Some(4)),
            ("Gi1/0/1 - 24", Some(24)),
            ("g1/0/6\u{2013}7", Some(2)),
            ("xe-0/0/0", None),
            ("1A-B24", None),
            ("1A.AD02-45", None),
            ("AD02-45", None),
            ("3-4", None),
            ("Eth1/4-1", None),
            ("p1-900", None),
            ("20/50", None),
        ] {
            assert_eq!(n_ports(text), n, "{text}");
        }
    }
}
