//! The parts of a zipped spreadsheet, looked at before a library gets it.
//!
//! Every part is inflated once and counted while it inflates, as what the directory says of sizes
//! may be wrong. On the way hidden rows and merged cells of pages are noted, which the libraries
//! do not tell or only at the cost of a second reading. No part is ever written anywhere.

use super::serve::{Stop, damaged, failed};
use super::{Area, Form, place_of};
use memchr::memmem;
use quick_xml::Reader;
use quick_xml::events::{BytesStart, Event};
use rustc_hash::FxHashMap;
use rustc_hash::FxHashSet;
use std::io::{Cursor, Read};
use zip::ZipArchive;

/// The most parts of a file.
const MAX_PARTS: usize = 10_000;

/// The most bytes of all parts together.
const MAX_INFLATED: u64 = 512_000_000;

/// The most that a part inflates, as a multiple of its size in the file.
const MAX_RATIO: u64 = 200;

/// A part may inflate to so many bytes whatever its size in the file: honest pages are repetitive.
const ALWAYS: u64 = 16_000_000;

/// The largest part that is read as a whole here.
const MAX_SMALL: usize = 4_000_000;

/// What was found in the parts.
#[derive(Debug)]
pub(super) struct Found {
    /// What kind of file it is.
    pub(super) form: Form,
    /// Custom properties, name and value.
    pub(super) properties: Vec<(String, String)>,
    /// What is to be told.
    pub(super) notes: Vec<String>,
    /// For each page by its name what stands beside its cells.
    pub(super) pages: FxHashMap<String, Beside>,
}

/// What stands beside the cells of a page.
#[derive(Debug, Default, Clone)]
pub(super) struct Beside {
    /// Hidden rows by number.
    pub(super) hidden: FxHashSet<u32>,
    /// Merged cells.
    pub(super) merged: Vec<Area>,
}

/// Goes through all parts.
pub(super) fn look(bytes: &[u8]) -> Result<Found, Stop> {
    // The directory is read by the library, one entry in memory for each; its end says how many.
    if n_parts(bytes).is_some_and(|n| n > MAX_PARTS) {
        return Err(too_many_parts());
    }
    let mut zip = ZipArchive::new(Cursor::new(bytes)).map_err(damaged)?;
    if zip.len() > MAX_PARTS {
        return Err(too_many_parts());
    }
    let names = zip.file_names().filter_map(Result::ok);
    let names: Vec<String> = names.map(Into::into).collect();
    let has = |name: &str| names.iter().any(|known| known.eq_ignore_ascii_case(name));
    let begins = |start: &str| names.iter().any(|known| known.starts_with(start));
    let form = if has("content.xml") && has("mimetype") {
        Form::Ods
    } else if has("xl/workbook.bin") {
        Form::Xlsb
    } else if has("xl/workbook.xml") || has("[Content_Types].xml") {
        Form::Xlsx
    } else {
        let what = "this is a zip archive, not a spreadsheet";
        return Err(failed("not-a-spreadsheet", what));
    };
    let mut notes = Vec::new();
    if has("xl/vbaProject.bin") || begins("Basic/") {
        notes.push("the file holds macros, which were not run".to_owned());
    }
    if begins("xl/externalLinks/") || has("xl/connections.xml") {
        notes.push("the file links to other files, which were not looked at".to_owned());
    }
    let mut parts = Parts::default();
    for at in 0..zip.len() {
        parts.part(&mut zip, at)?;
    }
    Ok(Found {
        form,
        properties: properties(&parts),
        notes,
        pages: parts.by_page(),
    })
}

fn too_many_parts() -> Stop {
    let what = "the file has more than 10,000 parts; it may be damaged or hostile";
    failed("file-too-large", what)
}

fn too_large() -> Stop {
    let what =
        "the file grows beyond what is allowed when it is unpacked; it may be damaged or hostile";
    failed("file-too-large", what)
}

/// How many parts the end of the directory says there are.
fn n_parts(bytes: &[u8]) -> Option<usize> {
    let tail = &bytes[bytes.len().saturating_sub(66_000)..];
    let at = memmem::rfind(tail, b"PK\x05\x06")?;
    let n = tail.get(at + 10..at + 12)?;
    // 65,535 stands for a count that is kept elsewhere.
    Some(usize::from(u16::from_le_bytes([n[0], n[1]])))
}

/// What is kept of the parts.
#[derive(Default)]
struct Parts {
    n_inflated: u64,
    /// Small parts as a whole, by name in lower case.
    small: FxHashMap<String, Vec<u8>>,
    /// What stands beside the cells, by the name of the part in lower case.
    beside: FxHashMap<String, Beside>,
}

impl Parts {
    fn part(&mut self, zip: &mut ZipArchive<Cursor<&[u8]>>, at: usize) -> Result<(), Stop> {
        let mut part = zip.by_index(at).map_err(encrypted_or_damaged)?;
        let name = part.name().map_err(damaged)?.to_lowercase();
        let is_page = name.starts_with("xl/worksheets/") && name.ends_with(".xml");
        let is_small = matches!(
            name.as_str(),
            "xl/workbook.xml" | "xl/_rels/workbook.xml.rels" | "docprops/custom.xml" | "meta.xml"
        );
        let packed = part.compressed_size().max(1);
        let (mut n_part, mut scan, mut whole) = (0_u64, Scan::default(), Vec::new());
        let mut first = Vec::new();
        let mut buffer = vec![0; 1 << 16];
        loop {
            let n = part.read(&mut buffer).map_err(damaged)?;
            if n == 0 {
                break;
            }
            n_part += n as u64;
            self.n_inflated += n as u64;
            let is_over = n_part > ALWAYS && n_part / packed > MAX_RATIO;
            if is_over || self.n_inflated > MAX_INFLATED {
                return Err(too_large());
            }
            let piece = &buffer[..n];
            if is_page {
                scan.take(piece);
            }
            if is_small && whole.len() + n <= MAX_SMALL {
                whole.extend_from_slice(piece);
            }
            if first.len() < 2048 {
                first.extend_from_slice(&piece[..n.min(2048)]);
            }
        }
        if name == "xl/sharedstrings.xml" {
            must_hold(&first, n_part)?;
        }
        if is_page {
            self.beside.insert(name.clone(), scan.found);
        }
        if is_small {
            self.small.insert(name, whole);
        }
        Ok(())
    }

    /// What stands beside the cells, by the names of the pages.
    fn by_page(&mut self) -> FxHashMap<String, Beside> {
        let rels = self.small.get("xl/_rels/workbook.xml.rels");
        let targets: FxHashMap<String, String> = elements(rels, "Relationship", "Id", "Target")
            .into_iter()
            .collect();
        let names = elements(self.small.get("xl/workbook.xml"), "sheet", "name", "id");
        let found = names.into_iter().filter_map(|(name, id)| {
            let target = targets.get(&id)?.to_lowercase();
            let target = target.trim_start_matches('/');
            let part = match target.starts_with("xl/") {
                true => target.to_owned(),
                false => format!("xl/{target}"),
            };
            Some((name, self.beside.remove(&part)?))
        });
        found.collect()
    }
}

fn encrypted_or_damaged(error: zip::result::ZipError) -> Stop {
    match error {
        zip::result::ZipError::UnsupportedArchive(_) => failed(
            "password",
            "the file is protected by a password or packed in a way that is not known",
        ),
        error => damaged(error),
    }
}

/// A table of texts that says it has more entries than bytes makes a library reserve memory.
fn must_hold(first: &[u8], n_bytes: u64) -> Result<(), Stop> {
    let text = String::from_utf8_lossy(first);
    for word in ["uniqueCount=", "count="] {
        let Some(at) = text.find(word) else { continue };
        let said: String = text[at + word.len()..]
            .trim_start_matches(['"', '\''])
            .chars()
            .take_while(char::is_ascii_digit)
            .collect();
        // The total count says how often texts are used, which is no matter of memory.
        let is_unique = word.starts_with("unique");
        if is_unique && said.parse::<u64>().is_ok_and(|said| said > n_bytes) {
            let what =
                "the file says it has more texts than fit into it; it may be damaged or hostile";
            return Err(failed("file-too-large", what));
        }
    }
    Ok(())
}

/// Two attributes of every element of a name, each looked for without its prefix.
fn elements(xml: Option<&Vec<u8>>, name: &str, first: &str, second: &str) -> Vec<(String, String)> {
    let mut reader = Reader::from_reader(xml.map_or(&[][..], Vec::as_slice));
    let mut out = Vec::new();
    while let Ok(event) = reader.read_event() {
        match event {
            Event::Start(element) | Event::Empty(element)
                if element.local_name().as_ref() == name =>
            {
                if let (Some(a), Some(b)) =
                    (attribute(&element, first), attribute(&element, second))
                {
                    out.push((a, b));
                }
            }
            Event::Eof => break,
            _ => {}
        }
    }
    out
}

/// The value of an attribute, looked for without its prefix.
pub(super) fn attribute(element: &BytesStart<'_>, name: &str) -> Option<String> {
    let mut attributes = element.attributes();
    let mut attributes = attributes.with_checks(false).filter_map(Result::ok);
    let found = attributes.find(|known| known.key.local_name().as_ref() == name)?;
    Some(unescaped(&found.value))
}

/// A text of XML with its five entities and character numbers put in place.
pub(super) fn unescaped(text: &str) -> String {
    match text.contains('&') {
        true => quick_xml::escape::unescape(text).map_or_else(|_| text.to_owned(), Into::into),
        false => text.to_owned(),
    }
}

/// Custom properties of an Office Open XML or OpenDocument file.
fn properties(parts: &Parts) -> Vec<(String, String)> {
    let mut out = Vec::new();
    for (part, element, name) in [
        ("docprops/custom.xml", "property", "name"),
        ("meta.xml", "user-defined", "name"),
    ] {
        let xml = parts.small.get(part);
        let mut reader = Reader::from_reader(xml.map_or(&[][..], Vec::as_slice));
        let (mut open, mut value) = (None, String::new());
        while let Ok(event) = reader.read_event() {
            match event {
                Event::Start(start) if start.local_name().as_ref() == element => {
                    (open, value) = (attribute(&start, name), String::new());
                }
                Event::Text(text) if open.is_some() => value.push_str(&unescaped(&text)),
                Event::GeneralRef(entity) if open.is_some() => {
                    value.push_str(&unescaped(&format!("&{};", &*entity)));
                }
                Event::End(end) if end.local_name().as_ref() == element => {
                    if let Some(name) = open.take() {
                        out.push((name, value.trim().to_owned()));
                    }
                }
                Event::Eof => break,
                _ => {}
            }
        }
    }
    out
}

/// Finds hidden rows and merged cells in the text of a page as it comes.
#[derive(Default)]
struct Scan {
    /// The end of what came before, in case a tag is cut.
    window: Vec<u8>,
    found: Beside,
}

/// No tag that matters is longer.
const OVERLAP: usize = 1024;

impl Scan {
    fn take(&mut self, piece: &[u8]) {
        let n_seen = self.window.len();
        self.window.extend_from_slice(piece);
        // What began in the old part and was whole there was found then.
        for (word, is_row) in [(&b"hidden=\""[..], true), (&b"mergeCell "[..], false)] {
            let hits: Vec<usize> = memmem::find_iter(&self.window, word).collect();
            for at in hits {
                let start = memchr::memrchr(b'<', &self.window[..at]);
                let end = memchr::memchr(b'>', &self.window[at..]).map(|end| at + end);
                let (Some(start), Some(end)) = (start, end) else {
                    continue;
                };
                if end < n_seen {
                    continue;
                }
                let tag = String::from_utf8_lossy(&self.window[start..end]).into_owned();
                match is_row {
                    true => self.hidden(&tag),
                    false => self.merged(&tag),
                }
            }
        }
        let keep = self.window.len().saturating_sub(OVERLAP);
        self.window.drain(..keep);
    }

    fn hidden(&mut self, tag: &str) {
        let name = tag.trim_start_matches('<').split_whitespace().next();
        let is_row = name.is_some_and(|name| name == "row" || name.ends_with(":row"));
        let says = value(tag, "hidden=\"").is_some_and(|value| value == "1" || value == "true");
        if let (true, true, Some(row)) = (is_row, says, value(tag, " r=\"")) {
            self.found.hidden.extend(row.parse::<u32>().ok());
        }
    }

    fn merged(&mut self, tag: &str) {
        let Some((from, to)) = value(tag, "ref=\"").and_then(|area| area.split_once(':')) else {
            return;
        };
        if let (Some((left, top)), Some((right, bottom))) = (place_of(from), place_of(to)) {
            self.found.merged.push(Area {
                top,
                bottom,
                left,
                right,
            });
        }
    }
}

/// What stands in quotes behind a word.
fn value<'t>(tag: &'t str, word: &str) -> Option<&'t str> {
    let rest = &tag[tag.find(word)? + word.len()..];
    rest.split_once('"').map(|(value, _)| value)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn hidden_rows_and_merged_cells_are_found_in_any_pieces() {
        let xml = "<x><cols><col min=\"1\" hidden=\"1\"/></cols><row r=\"2\" hidden=\"1\" x=\"y\"><c/></row>\
                   <x:row hidden=\"true\" r=\"30\"></x:row><row r=\"4\" hidden=\"0\"/>\
                   <mergeCell ref=\"B1:C1\"/></x>";
        for piece in [1, 3, 17, 1000] {
            let mut scan = Scan::default();
            for piece in xml.as_bytes().chunks(piece) {
                scan.take(piece);
            }
            let mut rows: Vec<u32> = scan.found.hidden.into_iter().collect();
            rows.sort_unstable();
            assert_eq!(rows, [2, 30], "{piece}");
            assert_eq!(scan.found.merged.len(), 1, "{piece}");
        }
    }
}
