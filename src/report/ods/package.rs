//! The package: its parts in the order that the format asks for, and text that XML allows.
//!
//! `mimetype` comes first and is not compressed, so that the file is known by its first bytes.

use super::pages;
use crate::report::Done;
use crate::report::Request;
use crate::report::Sink;
use crate::report::Written;
use crate::report::layout::Layout;
use crate::report::printable;
use quick_xml::escape::escape;
use std::io;
use std::io::BufWriter;
use std::io::Write;
use zip::CompressionMethod;
use zip::DateTime;
use zip::ZipWriter;
use zip::write::SimpleFileOptions;

/// The kind of the document.
const MIME: &str = "application/vnd.oasis.opendocument.spreadsheet";

/// What every part begins with.
const XML: &str = "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n";

/// The names that parts use.
const NAMES: &str = concat!(
    " xmlns:office=\"urn:oasis:names:tc:opendocument:xmlns:office:1.0\"",
    " xmlns:style=\"urn:oasis:names:tc:opendocument:xmlns:style:1.0\"",
    " xmlns:text=\"urn:oasis:names:tc:opendocument:xmlns:text:1.0\"",
    " xmlns:table=\"urn:oasis:names:tc:opendocument:xmlns:table:1.0\"",
    " xmlns:fo=\"urn:oasis:names:tc:opendocument:xmlns:xsl-fo-compatible:1.0\"",
    " xmlns:number=\"urn:oasis:names:tc:opendocument:xmlns:datastyle:1.0\"",
    " xmlns:meta=\"urn:oasis:names:tc:opendocument:xmlns:meta:1.0\"",
    " xmlns:dc=\"http://purl.org/dc/elements/1.1/\"",
    " xmlns:config=\"urn:oasis:names:tc:opendocument:xmlns:config:1.0\"",
    " xmlns:of=\"urn:oasis:names:tc:opendocument:xmlns:of:1.2\"",
    " office:version=\"1.3\"",
);

/// The parts besides `mimetype` and the list of parts itself.
const PARTS: [&str; 4] = ["content.xml", "styles.xml", "meta.xml", "settings.xml"];

/// Writes the whole package.
///
/// # Errors
/// A file that cannot be written.
pub fn write(
    request: &Request<'_>,
    layout: &Layout,
    out: &mut dyn Sink,
    progress: &mut dyn FnMut(Done),
) -> io::Result<Written> {
    let mut zip = ZipWriter::new(out);
    // The same plan gives the same bytes, so no part has a time of its own.
    let packed = SimpleFileOptions::default().last_modified_time(DateTime::default());
    // Entries with the long sizes of large files are refused by office programs.
    let packed = packed
        .compression_method(CompressionMethod::Deflated)
        .large_file(false);
    let stored = packed.compression_method(CompressionMethod::Stored);
    zip.start_file("mimetype", stored)?;
    zip.write_all(MIME.as_bytes())?;
    zip.start_file("META-INF/manifest.xml", packed)?;
    zip.write_all(manifest().as_bytes())?;
    zip.start_file("meta.xml", packed)?;
    zip.write_all(meta(request).as_bytes())?;
    zip.start_file("styles.xml", packed)?;
    zip.write_all(styles().as_bytes())?;
    zip.start_file("content.xml", packed)?;
    let mut content = BufWriter::with_capacity(1 << 16, &mut zip);
    let written = pages::write(request, layout, &mut content, progress)?;
    content.flush()?;
    drop(content);
    zip.start_file("settings.xml", packed)?;
    zip.write_all(settings(&written.pages).as_bytes())?;
    zip.finish()?.flush()?;
    Ok(written)
}

/// A text as it may stand in a part, also within quotes.
pub fn safe(text: &str) -> String {
    escape(printable(text)).replace('\n', "&#10;")
}

/// The opening of a part.
pub fn opening(element: &str) -> String {
    format!("{XML}<office:{element}{NAMES}>")
}

fn manifest() -> String {
    let name = "urn:oasis:names:tc:opendocument:xmlns:manifest:1.0";
    let mut text =
        format!("{XML}<manifest:manifest xmlns:manifest=\"{name}\" manifest:version=\"1.3\">");
    text.push_str(&format!(
        "<manifest:file-entry manifest:full-path=\"/\" manifest:version=\"1.3\" manifest:media-type=\"{MIME}\"/>"
    ));
    for part in PARTS {
        text.push_str(&format!(
            "<manifest:file-entry manifest:full-path=\"{part}\" manifest:media-type=\"text/xml\"/>"
        ));
    }
    text + "</manifest:manifest>"
}

fn meta(request: &Request<'_>) -> String {
    let (year, month, day) = request.date.unwrap_or((2000, 1, 1));
    let own = |name: &str, value: &str| {
        format!(
            "<meta:user-defined meta:name=\"{name}\" meta:value-type=\"string\">{}</meta:user-defined>",
            safe(value)
        )
    };
    format!(
        "{}<office:meta><meta:generator>portledger/{}</meta:generator><dc:title>{}</dc:title>\
         <meta:creation-date>{year:04}-{month:02}-{day:02}T00:00:00</meta:creation-date>{}{}{}</office:meta></office:document-meta>",
        opening("document-meta"),
        env!("CARGO_PKG_VERSION"),
        safe(request.title()),
        own(crate::report::property::PLAN, &request.identity.id),
        own(
            crate::report::property::REVISION,
            &request.identity.revision
        ),
        own(crate::report::property::BASE, &request.identity.base),
    )
}

/// The page that sheets are printed on: lying, one page wide.
fn styles() -> String {
    format!(
        "{}<office:styles><style:default-style style:family=\"table-cell\"><style:text-properties fo:font-size=\"10pt\"/>\
         </style:default-style></office:styles><office:automatic-styles><style:page-layout style:name=\"pm1\">\
         <style:page-layout-properties style:print-orientation=\"landscape\" fo:page-width=\"29.7cm\" fo:page-height=\"21cm\" fo:margin=\"1.2cm\" style:scale-to-X=\"1\" \
         style:scale-to-Y=\"0\"/></style:page-layout></office:automatic-styles><office:master-styles>\
         <style:master-page style:name=\"Default\" style:page-layout-name=\"pm1\"><style:footer><text:p>\
         <text:sheet-name>?</text:sheet-name>, page <text:page-number>1</text:page-number> of \
         <text:page-count>1</text:page-count></text:p></style:footer></style:master-page></office:master-styles>\
         </office:document-styles>",
        opening("document-styles")
    )
}

/// Keeps heads and ids in view while a person scrolls.
fn settings(all: &[String]) -> String {
    let item = |name: &str, kind: &str, value: u32| {
        format!(
            "<config:config-item config:name=\"{name}\" config:type=\"{kind}\">{value}</config:config-item>"
        )
    };
    let mut text = format!(
        "{}<office:settings><config:config-item-set config:name=\"ooo:view-settings\">\
         <config:config-item-map-indexed config:name=\"Views\"><config:config-item-map-entry>\
         <config:config-item config:name=\"ViewId\" config:type=\"string\">view1</config:config-item>\
         <config:config-item-map-named config:name=\"Tables\">",
        opening("document-settings")
    );
    for page in all {
        let heads = pages::n_heads(page);
        if heads == 0 {
            continue;
        }
        text.push_str(&format!(
            "<config:config-item-map-entry config:name=\"{}\">",
            safe(page)
        ));
        for (name, kind, value) in [
            ("HorizontalSplitMode", "short", 2),
            ("VerticalSplitMode", "short", 2),
            ("HorizontalSplitPosition", "int", 1),
            ("VerticalSplitPosition", "int", heads),
            ("ActiveSplitRange", "short", 3),
            ("PositionLeft", "int", 0),
            ("PositionRight", "int", 1),
            ("PositionTop", "int", 0),
            ("PositionBottom", "int", heads),
        ] {
            text.push_str(&item(name, kind, value));
        }
        text.push_str("</config:config-item-map-entry>");
    }
    text + "</config:config-item-map-named></config:config-item-map-entry></config:config-item-map-indexed>\
            </config:config-item-set></office:settings></office:document-settings>"
}
