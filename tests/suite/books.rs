//! Spreadsheets made by hand for tests: honest ones, odd ones and hostile ones.
//!
//! Bytes only; what the program makes of them is tested elsewhere.

use std::fmt::Write as _;
use std::io::{Cursor, Write};
use zip::ZipWriter;
use zip::write::SimpleFileOptions;

/// A cell that is written.
#[derive(Debug, Clone, Copy)]
pub enum V<'a> {
    /// Nothing.
    No,
    /// A text.
    T(&'a str),
    /// A number.
    N(f64),
    /// A serial day with the style of a date.
    D(f64),
    /// A formula with its result.
    F(&'a str, f64),
    /// A formula without a result.
    Bare(&'a str),
    /// An error.
    E(&'a str),
    /// A truth value.
    B(bool),
}

/// Parts in a zip archive.
pub fn zipped(parts: &[(&str, &[u8])]) -> Vec<u8> {
    let mut zip = ZipWriter::new(Cursor::new(Vec::new()));
    for (name, bytes) in parts {
        zip.start_file(*name, SimpleFileOptions::default()).unwrap();
        zip.write_all(bytes).unwrap();
    }
    zip.finish().unwrap().into_inner()
}

/// Column letters of a position.
pub fn letters(column: usize) -> String {
    let first = (column / 26)
        .checked_sub(1)
        .map(letters)
        .unwrap_or_default();
    first + &char::from(b'A' + (column % 26) as u8).to_string()
}

pub fn escaped(text: &str) -> String {
    text.replace('&', "&amp;")
        .replace('<', "&lt;")
        .replace('"', "&quot;")
}

/// A row of a page as XML, its cells from column A on.
pub fn row(number: usize, attributes: &str, cells: &[V<'_>]) -> String {
    let mut out = format!("<row r=\"{number}\" {attributes}>");
    for (at, cell) in cells.iter().enumerate() {
        let place = format!("{}{number}", letters(at));
        let _ = match cell {
            V::No => Ok(()),
            V::T(text) => write!(
                out,
                "<c r=\"{place}\" t=\"inlineStr\"><is><t xml:space=\"preserve\">{}</t></is></c>",
                escaped(text)
            ),
            V::N(number) => write!(out, "<c r=\"{place}\"><v>{number}</v></c>"),
            V::D(number) => write!(out, "<c r=\"{place}\" s=\"1\"><v>{number}</v></c>"),
            V::F(formula, value) => {
                write!(out, "<c r=\"{place}\"><f>{formula}</f><v>{value}</v></c>")
            }
            V::Bare(formula) => write!(out, "<c r=\"{place}\"><f>{formula}</f></c>"),
            V::E(error) => write!(out, "<c r=\"{place}\" t=\"e\"><v>{error}</v></c>"),
            V::B(flag) => write!(
                out,
                "<c r=\"{place}\" t=\"b\"><v>{}</v></c>",
                u8::from(*flag)
            ),
        };
    }
    out + "</row>"
}

/// Rows from the first on.
pub fn rows(all: &[&[V<'_>]]) -> String {
    let rows = all.iter().enumerate();
    rows.map(|(at, cells)| row(at + 1, "", cells)).collect()
}

/// A workbook of pages: name, state, rows and what stands behind them.
pub fn xlsx(pages: &[(&str, &str, String)], more: &[(&str, &[u8])]) -> Vec<u8> {
    xlsx_with("", pages, more)
}

/// A workbook with properties, such as another epoch.
pub fn xlsx_with(
    properties: &str,
    pages: &[(&str, &str, String)],
    more: &[(&str, &[u8])],
) -> Vec<u8> {
    let main = "http://schemas.openxmlformats.org/spreadsheetml/2006/main";
    let office = "http://schemas.openxmlformats.org/officeDocument/2006/relationships";
    let (mut sheets, mut rels, mut parts) = (String::new(), String::new(), Vec::new());
    for (at, (name, state, body)) in pages.iter().enumerate() {
        let n = at + 1;
        let _ = write!(
            sheets,
            "<sheet name=\"{}\" sheetId=\"{n}\" {state} r:id=\"rId{n}\"/>",
            escaped(name)
        );
        let _ = write!(
            rels,
            "<Relationship Id=\"rId{n}\" Type=\"{office}/worksheet\" Target=\"worksheets/sheet{n}.xml\"/>"
        );
        let (data, behind) = body.split_once("<!--behind-->").unwrap_or((body, ""));
        let xml = format!(
            "<worksheet xmlns=\"{main}\"><sheetData>{data}</sheetData>{behind}</worksheet>"
        );
        parts.push((format!("xl/worksheets/sheet{n}.xml"), xml.into_bytes()));
    }
    let _ = write!(
        rels,
        "<Relationship Id=\"rIdS\" Type=\"{office}/styles\" Target=\"styles.xml\"/>"
    );
    if more.iter().any(|(name, _)| *name == "xl/sharedStrings.xml") {
        let _ = write!(
            rels,
            "<Relationship Id=\"rIdT\" Type=\"{office}/sharedStrings\" Target=\"sharedStrings.xml\"/>"
        );
    }
    let package = "http://schemas.openxmlformats.org/package/2006/relationships";
    parts.extend([
        ("[Content_Types].xml".to_owned(), b"<Types xmlns=\"http://schemas.openxmlformats.org/package/2006/content-types\"/>".to_vec()),
        ("_rels/.rels".to_owned(), format!("<Relationships xmlns=\"{package}\"><Relationship Id=\"rId1\" Type=\"{office}/officeDocument\" Target=\"xl/workbook.xml\"/></Relationships>").into_bytes()),
        ("xl/workbook.xml".to_owned(), format!("<workbook xmlns=\"{main}\" xmlns:r=\"{office}\">{properties}<sheets>{sheets}</sheets></workbook>").into_bytes()),
        ("xl/_rels/workbook.xml.rels".to_owned(), format!("<Relationships xmlns=\"{package}\">{rels}</Relationships>").into_bytes()),
        ("xl/styles.xml".to_owned(), format!("<styleSheet xmlns=\"{main}\"><cellXfs count=\"2\"><xf numFmtId=\"0\"/><xf numFmtId=\"14\"/></cellXfs></styleSheet>").into_bytes()),
    ]);
    let own = parts
        .iter()
        .map(|(name, bytes)| (name.as_str(), bytes.as_slice()));
    let own = own.filter(|(name, _)| more.iter().all(|(known, _)| known != name));
    let all: Vec<(&str, &[u8])> = own.chain(more.iter().copied()).collect();
    zipped(&all)
}

/// One page of rows.
pub fn one_page(all: &[&[V<'_>]]) -> Vec<u8> {
    xlsx(&[("Cables", "", rows(all))], &[])
}

/// An OpenDocument spreadsheet around its tables.
pub fn ods(tables: &str) -> Vec<u8> {
    let content = format!(
        "<?xml version=\"1.0\"?><office:document-content \
         xmlns:office=\"urn:oasis:names:tc:opendocument:xmlns:office:1.0\" \
         xmlns:table=\"urn:oasis:names:tc:opendocument:xmlns:table:1.0\" \
         xmlns:style=\"urn:oasis:names:tc:opendocument:xmlns:style:1.0\" \
         xmlns:calcext=\"urn:org:documentfoundation:names:experimental:calc:xmlns:calcext:1.0\" \
         xmlns:text=\"urn:oasis:names:tc:opendocument:xmlns:text:1.0\"><office:automatic-styles>\
         <style:style style:name=\"away\"><style:table-properties table:display=\"false\"/></style:style>\
         </office:automatic-styles><office:body>\
         <office:spreadsheet>{tables}</office:spreadsheet></office:body></office:document-content>"
    );
    zipped(&[
        (
            "mimetype",
            b"application/vnd.oasis.opendocument.spreadsheet",
        ),
        ("content.xml", content.as_bytes()),
    ])
}

/// A table of texts in that form.
pub fn ods_table(name: &str, all: &[&[&str]]) -> String {
    let mut out = format!("<table:table table:name=\"{name}\">");
    for row in all {
        out.push_str("<table:table-row>");
        for cell in *row {
            let _ = write!(
                out,
                "<table:table-cell office:value-type=\"string\"><text:p>{}</text:p></table:table-cell>",
                escaped(cell)
            );
        }
        out.push_str("</table:table-row>");
    }
    out + "</table:table>"
}

/// A binary workbook in a compound file, with one page of texts and numbers.
pub fn xls(all: &[&[V<'_>]]) -> Vec<u8> {
    compound("Workbook", &binary_book(all))
}

fn record(out: &mut Vec<u8>, kind: u16, body: &[u8]) {
    out.extend(kind.to_le_bytes());
    out.extend(u16::try_from(body.len()).unwrap().to_le_bytes());
    out.extend(body);
}

fn binary_book(all: &[&[V<'_>]]) -> Vec<u8> {
    let bof = |kind: u16| {
        [0x0600, kind, 0x0dbb, 0x07cc, 0, 0, 6, 0]
            .map(u16::to_le_bytes)
            .concat()
    };
    let mut sheet = Vec::new();
    record(&mut sheet, 0x0809, &bof(0x0010));
    for (r, cells) in all.iter().enumerate() {
        for (c, cell) in cells.iter().enumerate() {
            let mut body = [r as u16, c as u16, 0].map(u16::to_le_bytes).concat();
            match cell {
                V::T(text) => {
                    body.extend(u16::try_from(text.len()).unwrap().to_le_bytes());
                    body.push(0);
                    body.extend(text.as_bytes());
                    record(&mut sheet, 0x0204, &body);
                }
                V::N(number) => {
                    body.extend(number.to_le_bytes());
                    record(&mut sheet, 0x0203, &body);
                }
                other => assert!(matches!(other, V::No), "{other:?}"),
            }
        }
    }
    record(&mut sheet, 0x000a, &[]);
    let mut book = Vec::new();
    record(&mut book, 0x0809, &bof(0x0005));
    let name = b"Cables";
    // Behind this record and the end of the globals the page begins.
    let start = book.len() + 4 + 8 + name.len() + 4;
    let mut bound = u32::try_from(start).unwrap().to_le_bytes().to_vec();
    bound.extend([0, 0, name.len() as u8, 0]);
    bound.extend(name);
    record(&mut book, 0x0085, &bound);
    record(&mut book, 0x000a, &[]);
    book.extend(sheet);
    book
}

/// A compound file with one stream.
pub fn compound(name: &str, stream: &[u8]) -> Vec<u8> {
    const END: u32 = 0xffff_fffe;
    const FREE: u32 = 0xffff_ffff;
    let n = stream.len().div_ceil(512).max(8);
    let mut out = vec![0xd0, 0xcf, 0x11, 0xe0, 0xa1, 0xb1, 0x1a, 0xe1];
    out.extend([0; 16]);
    out.extend([0x3e, 3, 0xfeff, 9, 6].map(u16::to_le_bytes).concat());
    out.extend([0; 6]);
    // Directory sectors, FAT sectors, first directory sector, transaction, cutoff, small FAT, DIFAT.
    out.extend(
        [0_u32, 1, 1, 0, 4096, END, 0, END, 0, 0]
            .map(u32::to_le_bytes)
            .concat(),
    );
    out.extend(vec![0xff; 4 * 108]);
    let mut fat = vec![0xffff_fffd, END];
    fat.extend((0..n).map(|at| if at + 1 == n { END } else { at as u32 + 3 }));
    fat.resize(128, FREE);
    out.extend(fat.iter().flat_map(|at| at.to_le_bytes()));
    let entry = |name: &str, kind: u8, child: u32, start: u32, size: usize| {
        let wide: Vec<u8> = name.encode_utf16().flat_map(u16::to_le_bytes).collect();
        let mut entry = wide.clone();
        entry.resize(64, 0);
        entry.extend(((wide.len() + 2) as u16).to_le_bytes());
        entry.extend([kind, 1]);
        entry.extend([FREE, FREE, child].map(u32::to_le_bytes).concat());
        entry.extend([0; 36]);
        entry.extend(start.to_le_bytes());
        entry.extend((size as u64).to_le_bytes());
        entry
    };
    out.extend(entry("Root Entry", 5, 1, END, 0));
    out.extend(entry(name, 2, FREE, 2, n * 512));
    out.resize(512 * 3, 0);
    out.extend(stream);
    out.resize(512 * (3 + n), 0);
    out
}

/// A workbook of one page in binary parts, of texts and numbers.
pub fn xlsb(all: &[&[V<'_>]]) -> Vec<u8> {
    let package = "http://schemas.openxmlformats.org/package/2006/relationships";
    let office = "http://schemas.openxmlformats.org/officeDocument/2006/relationships";
    let rels = format!(
        "<Relationships xmlns=\"{package}\"><Relationship Id=\"rId1\" \
         Type=\"{office}/worksheet\" Target=\"worksheets/sheet1.bin\"/></Relationships>"
    );
    let mut book = Vec::new();
    let bundle = [
        &[0; 4][..],
        &1_u32.to_le_bytes(),
        &wide("rId1"),
        &wide("Cables"),
    ];
    part_record(&mut book, 0x9c, &bundle.concat());
    part_record(&mut book, 0x90, &[]);
    part_record(&mut book, 0x84, &[]);
    let mut page = Vec::new();
    part_record(&mut page, 0x81, &[]);
    part_record(&mut page, 0x94, &[0; 16]);
    part_record(&mut page, 0x91, &[]);
    for (r, cells) in all.iter().enumerate() {
        part_record(
            &mut page,
            0,
            &[&(r as u32).to_le_bytes()[..], &[0; 13]].concat(),
        );
        for (c, cell) in cells.iter().enumerate() {
            let place = [(c as u32).to_le_bytes(), [0; 4]].concat();
            match cell {
                V::T(text) => part_record(&mut page, 6, &[place, wide(text)].concat()),
                V::N(number) => {
                    let number = number.to_le_bytes().to_vec();
                    part_record(&mut page, 5, &[place, number].concat());
                }
                other => assert!(matches!(other, V::No), "{other:?}"),
            }
        }
    }
    part_record(&mut page, 0x92, &[]);
    zipped(&[
        ("xl/workbook.bin", &book),
        ("xl/_rels/workbook.bin.rels", rels.as_bytes()),
        ("xl/worksheets/sheet1.bin", &page),
    ])
}

fn wide(text: &str) -> Vec<u8> {
    let mut out = (text.encode_utf16().count() as u32).to_le_bytes().to_vec();
    out.extend(text.encode_utf16().flat_map(u16::to_le_bytes));
    out
}

fn part_record(out: &mut Vec<u8>, kind: u16, body: &[u8]) {
    match kind {
        0..0x80 => out.push(kind as u8),
        kind => out.extend([kind as u8 | 0x80, (kind >> 7) as u8]),
    }
    assert!(body.len() < 0x80);
    out.push(body.len() as u8);
    out.extend(body);
}
