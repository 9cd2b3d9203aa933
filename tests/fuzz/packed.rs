//! Files whose parts are packed: an input is changed inside its parts and packed anew.
//!
//! A changed byte of a zip mostly breaks a checksum and is refused at the door. So parts are
//! changed as texts and packed again with sums that hold; one input in five is changed as it lies.

use super::super::books::compound;
use super::super::random::Random;
use super::{PIECES, change, changed};
use std::io::{Cursor, Read, Write};
use zip::write::SimpleFileOptions;
use zip::{CompressionMethod, ZipArchive, ZipWriter};

/// The longest part of an input.
const LONGEST_PART: usize = 60_000;

/// Where the one stream of a compound file of the corpus begins: behind head, table and directory.
const STREAM: usize = 3 * 512;

/// Pieces that mean something in the parts of a spreadsheet.
const XML: &[&str] = &[
    "<",
    ">",
    "/>",
    "</",
    "&",
    "&#27;[31m",
    "&#x202e;",
    "&#0;",
    "&lt;",
    "&none;",
    "_x001B_",
    "]]>",
    "<![CDATA[",
    "<!--",
    "-->",
    "<?x?>",
    "<!DOCTYPE x [<!ENTITY a \"b\"><!ENTITY c SYSTEM \"file:///etc/passwd\">]>",
    "&a;",
    "&c;",
    "<row r=\"1048576\">",
    "<row r=\"0\">",
    "<row r=\"4294967295\">",
    "<row>",
    "<row r=\"3\" hidden=\"1\">",
    "</row>",
    "<c r=\"XFD1048576\"><v>1</v></c>",
    "<c r=\"A0\"/>",
    "<c r=\"ZZZZZZZZZ9\"><v>1</v></c>",
    "<c><v>",
    "</v></c>",
    " t=\"s\"",
    " t=\"inlineStr\"",
    " t=\"e\"",
    " t=\"d\"",
    " t=\"b\"",
    " s=\"1\"",
    " s=\"99999\"",
    "<v>4294967295</v>",
    "<v>-1</v>",
    "<v>1e999</v>",
    "<v>NaN</v>",
    "<v>45000.5</v>",
    "<v>-99999999999</v>",
    "<is><t>",
    "</t></is>",
    "<t xml:space=\"preserve\">",
    "<f t=\"shared\" si=\"0\" ref=\"A1:B9\">A1</f>",
    "<f t=\"shared\" si=\"0\"/>",
    "<f t=\"shared\" si=\"4294967295\"/>",
    "<f>A1+$XFD$1048577</f>",
    "<dimension ref=\"A1:XFD1048576\"/>",
    "<dimension ref=\"B2:A1\"/>",
    "<mergeCell ref=\"A1:XFD1048576\"/>",
    "<mergeCell ref=\"C3:A1\"/>",
    " ref=\"",
    " r=\"A1\"",
    " hidden=\"1\"",
    " state=\"veryHidden\"",
    " date1904=\"1\"",
    " count=\"4294967295\"",
    " uniqueCount=\"100000\"",
    "<sst><si><t>x</t></si></sst>",
    "numFmtId=\"14\"",
    "numFmtId=\"4294967295\"",
    "<numFmt numFmtId=\"164\" formatCode=\"[h]:mm:ss;@\"/>",
    "Target=\"../../x.xml\"",
    "Target=\"\"",
    "worksheets/sheet1.xml",
    "<sheet name=\"\" sheetId=\"1\" r:id=\"rId1\"/>",
    "<table:table table:name=\"\u{1b}[2J\">",
    "</table:table>",
    "<table:table-row table:number-rows-repeated=\"1048576\">",
    "</table:table-row>",
    " table:number-rows-repeated=\"4294967295\"",
    " table:number-rows-repeated=\"-1\"",
    " table:number-columns-repeated=\"16384\"",
    " table:number-columns-repeated=\"18446744073709551615\"",
    " table:number-columns-spanned=\"3\"",
    " table:style-name=\"away\"",
    "<table:covered-table-cell/>",
    "<table:table-cell office:value-type=\"float\" office:value=\"1e999\"/>",
    " office:value-type=\"date\"",
    " office:date-value=\"99999-13-99\"",
    " office:time-value=\"PT99999999999H\"",
    " office:value-type=\"boolean\"",
    " office:boolean-value=\"x\"",
    " table:formula=\"of:=[.A1]\"",
    "<text:p>",
    "</text:p>",
    "<text:s text:c=\"4294967295\"/>",
    "<text:tab/>",
    "<text:line-break/>",
    "<office:annotation><text:p>x</text:p></office:annotation>",
    "\u{202e}",
    "\u{feff}",
    "999999999999999999999999",
    "0",
    "-1",
];

/// A file of the corpus as it is taken apart.
enum Inside {
    Parts(Vec<(String, Vec<u8>)>),
    Stream(Vec<u8>),
}

/// A corpus of packed files.
pub struct Packed {
    whole: Vec<Vec<u8>>,
    inside: Vec<Inside>,
    /// All parts, of which pieces are taken.
    parts: Vec<Vec<u8>>,
}

impl Packed {
    pub fn new(whole: Vec<Vec<u8>>) -> Self {
        let inside: Vec<Inside> = whole.iter().map(|bytes| opened(bytes)).collect();
        let parts = inside.iter().flat_map(|inside| match inside {
            Inside::Parts(parts) => parts.iter().map(|(_, bytes)| bytes.clone()).collect(),
            Inside::Stream(stream) => vec![stream.clone()],
        });
        let parts = parts.collect();
        Self {
            whole,
            inside,
            parts,
        }
    }

    /// Input of a number: the files of the corpus first, then changed ones, each made from its
    /// number alone.
    pub fn input(&self, at: usize) -> Vec<u8> {
        if let Some(whole) = self.whole.get(at) {
            return whole.clone();
        }
        let mut random = Random(at as u64);
        if random.below(5) == 0 {
            return changed(&self.whole, &mut random);
        }
        match random.of(&self.inside) {
            Inside::Parts(parts) => {
                let mut parts = parts.clone();
                for _ in 0..1 + random.below(3) {
                    self.change_one(&mut parts, &mut random);
                }
                stored(&parts)
            }
            Inside::Stream(stream) => {
                let mut stream = stream.clone();
                self.change_part(&mut stream, &mut random);
                let name = *random.of(&["Workbook", "Workbook", "Workbook", "Book", "\u{1b}[2J"]);
                compound(name, &stream)
            }
        }
    }

    /// Changes one of the parts, or which parts there are.
    fn change_one(&self, parts: &mut Vec<(String, Vec<u8>)>, random: &mut Random) {
        let at = random.below(parts.len());
        match random.below(30) {
            0 if parts.len() > 1 => drop(parts.remove(at)),
            1 => parts[at].1 = random.of(&self.parts).clone(),
            2 => parts[at].0.push_str(random.of::<&str>(&["x", "/", ".xml"])),
            _ => self.change_part(&mut parts[at].1, random),
        }
        // Two parts of one name cannot be packed.
        parts.sort_by(|a, b| a.0.cmp(&b.0));
        parts.dedup_by(|a, b| a.0 == b.0);
    }

    fn change_part(&self, part: &mut Vec<u8>, random: &mut Random) {
        for _ in 0..1 + random.below(6) {
            let pieces = if random.below(4) == 0 { PIECES } else { XML };
            change(part, &self.parts, pieces, random);
        }
        part.truncate(LONGEST_PART);
    }
}

/// Parts in an archive, as they are: to deflate them would take most of the time.
fn stored(parts: &[(String, Vec<u8>)]) -> Vec<u8> {
    let mut zip = ZipWriter::new(Cursor::new(Vec::new()));
    let options = SimpleFileOptions::default().compression_method(CompressionMethod::Stored);
    for (name, bytes) in parts {
        zip.start_file(name.as_str(), options).unwrap();
        zip.write_all(bytes).unwrap();
    }
    zip.finish().unwrap().into_inner()
}

fn opened(bytes: &[u8]) -> Inside {
    let Ok(mut zip) = ZipArchive::new(Cursor::new(bytes)) else {
        // A file that was cut short may end before it.
        return Inside::Stream(bytes.get(STREAM..).unwrap_or(bytes).to_vec());
    };
    let part = |at: usize| {
        let mut part = zip.by_index(at).unwrap();
        let mut bytes = Vec::new();
        part.read_to_end(&mut bytes).unwrap();
        (part.name().unwrap().to_string(), bytes)
    };
    Inside::Parts((0..zip_len(bytes)).map(part).collect())
}

fn zip_len(bytes: &[u8]) -> usize {
    ZipArchive::new(Cursor::new(bytes)).unwrap().len()
}
