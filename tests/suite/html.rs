//! The page, read back by a parser of web pages: nothing that was entered becomes part of the page, and
//! all of it is there to be read.

use super::sharing::{plain, send_with};
use portledger::desk::Desk;
use portledger::problem::clean;
use portledger::report::{Choice, OrderPage, ProposalPage};
use scraper::{ElementRef, Html, Node, Selector};
use std::collections::BTreeSet;

/// Texts that would like to be more than texts.
const HOSTILE: [&str; 12] = [
    "<script>alert(1)</script>",
    "\"><img src=x onerror=alert(1)>",
    "'><svg onload=alert(1)>",
    "</title></style></svg><b>bold</b>",
    "<a href=\"http://reef.example/\">reef</a>",
    "javascript:alert(1)",
    "<!-- <base href=x> -->",
    "]]><?xml ?>",
    "&lt;b&gt; &#60;b&#62; &amp",
    "a\u{202e}txt.exe\u{2066}b",
    "\u{1b}[31mred\u{9b}0m\u{7}",
    "<style>*{display:none}</style>",
];

/// All elements that the page is made of.
const ELEMENTS: [&str; 37] = [
    "html",
    "head",
    "meta",
    "title",
    "style",
    "body",
    "main",
    "header",
    "section",
    "h1",
    "h2",
    "p",
    "ul",
    "ol",
    "li",
    "b",
    "bdi",
    "code",
    "span",
    "div",
    "figure",
    "figcaption",
    "svg",
    "desc",
    "text",
    "line",
    "rect",
    "table",
    "caption",
    "thead",
    "tbody",
    "tr",
    "th",
    "td",
    "g",
    "defs",
    "path",
];

/// All attributes that it uses.
const ATTRIBUTES: [&str; 24] = [
    "lang",
    "charset",
    "http-equiv",
    "content",
    "name",
    "class",
    "aria-label",
    "aria-labelledby",
    "role",
    "tabindex",
    "scope",
    "title",
    "id",
    "viewBox",
    "x",
    "y",
    "x1",
    "x2",
    "y1",
    "y2",
    "width",
    "height",
    "text-anchor",
    "xmlns",
];

fn page(bytes: &[u8]) -> Html {
    Html::parse_document(std::str::from_utf8(bytes).unwrap())
}

fn all<'p>(page: &'p Html, selector: &str) -> Vec<ElementRef<'p>> {
    page.select(&Selector::parse(selector).unwrap()).collect()
}

fn text(element: ElementRef<'_>) -> String {
    element.text().collect()
}

/// A plan in which every text that a person can enter is hostile.
fn hostile() -> (Desk, Vec<String>) {
    let mut text = std::fs::read_to_string("examples/aquarium.plan").unwrap();
    let end = text.rfind("# sha256").unwrap();
    text.truncate(end);
    let mut desk = Desk::of_text(&text).unwrap();
    let mut told = Vec::new();
    for (at, hostile) in HOSTILE.iter().enumerate() {
        for (sheet, column) in [("links", 0), ("switches", 0)] {
            let sheet = desk.plan().sheet(sheet).unwrap();
            let row = desk.plan().rows(sheet).order()[at];
            desk.set(sheet, row, column, hostile).unwrap();
        }
        let links = desk.plan().sheet("links").unwrap();
        let row = desk.plan().rows(links).order()[at + 14];
        for name in ["to", "medium", "interface"] {
            let column = desk.plan().def(links).column(name).unwrap();
            desk.set(links, row, column, hostile).unwrap();
        }
        told.push(clean(hostile).into_owned());
    }
    let title = HOSTILE.join(" ");
    let edit = portledger::plan::Edit::SetTitle(title.clone());
    desk.apply("title", edit).unwrap();
    told.push(clean(&title).into_owned());
    (desk, told)
}

fn pages_of_others() -> (ProposalPage, OrderPage) {
    let texts: Vec<String> = HOSTILE.iter().map(|text| (*text).to_owned()).collect();
    let proposal = ProposalPage {
        title: HOSTILE[0].to_owned(),
        sentences: texts.clone(),
        heads: texts.clone(),
        rows: vec![texts.clone()],
    };
    let order = OrderPage {
        sentences: texts.clone(),
        heads: texts.clone(),
        rows: vec![texts],
    };
    (proposal, order)
}

#[test]
fn nothing_that_was_entered_becomes_part_of_the_page() {
    let (desk, told) = hostile();
    let (proposal, order) = pages_of_others();
    let sent = send_with(
        &desk,
        "html",
        Choice::default(),
        Some(proposal),
        Some(order),
    );
    let page = page(&sent.bytes);
    let mut names = BTreeSet::new();
    for element in all(&page, "*") {
        let value = element.value();
        names.insert(value.name().to_owned());
        for (name, _) in value.attrs() {
            assert!(ATTRIBUTES.contains(&name), "<{} {name}>", value.name());
        }
    }
    for name in &names {
        assert!(ELEMENTS.contains(&name.as_str()), "<{name}>");
    }
    let n_comments = page
        .tree
        .nodes()
        .filter(|node| matches!(node.value(), Node::Comment(_)))
        .count();
    assert_eq!(n_comments, 0);
    let texts: BTreeSet<String> = all(&page, "bdi").into_iter().map(text).collect();
    for wanted in &told {
        assert!(texts.contains(wanted), "{wanted}");
    }
    assert_eq!(text(all(&page, "h1")[0]), told[told.len() - 1]);
    assert_eq!(text(all(&page, "head > title")[0]), told[told.len() - 1]);
    let hidden = |c: char| c.is_control() && c != '\n' || matches!(c, '\u{202e}' | '\u{2066}');
    assert!(!sent.text().contains(hidden));
}

#[test]
fn the_page_runs_nothing_and_asks_nobody() {
    let sent = plain(&Desk::demo().unwrap(), "html");
    let page = page(&sent.bytes);
    for selector in [
        "script", "link", "img", "iframe", "object", "form", "a", "base", "[href]", "[src]",
        "[style]",
    ] {
        assert!(all(&page, selector).is_empty(), "{selector}");
    }
    let policy = all(&page, "meta[http-equiv='Content-Security-Policy']");
    let policy = policy[0].value().attr("content").unwrap();
    assert!(policy.contains("default-src 'none'"), "{policy}");
    let style = text(all(&page, "style")[0]);
    for word in ["url(", "@import", "expression"] {
        assert!(!style.contains(word), "{word}");
    }
    for word in [
        "@media print",
        "prefers-color-scheme: dark",
        "table-header-group",
        "size: landscape",
    ] {
        assert!(style.contains(word), "{word}");
    }
    assert_eq!(
        sent.text().matches("http").count(),
        1 + all(&page, "svg").len(),
        "policy and names of pictures alone"
    );
}

#[test]
fn findings_stand_in_front_worst_first_seven_at_most() {
    let desk = Desk::demo().unwrap();
    let page = page(&plain(&desk, "html").bytes);
    let front = all(&page, "ol.found li");
    assert_eq!(front.len(), 7);
    for (told, finding) in front.into_iter().zip(&desk.findings().list) {
        let told = text(told);
        assert!(
            told.contains(finding.severity.word()) && told.contains(&finding.sentence),
            "{told}"
        );
        assert!(told.contains(&finding.advice), "{told}");
    }
    let rest: usize = desk.findings().counts.iter().sum::<usize>() - 7;
    let whole = text(all(&page, "main")[0]);
    assert!(whole.contains(&format!("And {rest} more")), "{rest}");
    for finding in &desk.findings().list {
        assert!(whole.contains(&finding.sentence), "{}", finding.sentence);
    }
    for wanted in [
        "not priced",
        "Never look into a fibre",
        "IEC 62305-4",
        "campus standard: slack",
    ] {
        assert!(whole.contains(wanted), "{wanted}");
    }
}

#[test]
fn pictures_say_in_words_what_they_show() {
    let desk = Desk::demo().unwrap();
    let page = page(&plain(&desk, "html").bytes);
    let pictures = all(&page, "svg");
    assert_eq!(pictures.len(), 2);
    for (picture, words) in pictures.into_iter().zip([
        [
            "acc-pump: as planned 2.18 to 1; with one uplink out 24 to 1, above the limit",
            "acc-desk",
        ],
        [
            "Q103: margin -0.64 dB, over the loss limit",
            "M104: margin 0.12 dB, below the reserve",
        ],
    ]) {
        assert_eq!(picture.value().attr("role"), Some("img"));
        for id in picture.value().attr("aria-labelledby").unwrap().split(' ') {
            assert_eq!(all(&page, &format!("#{id}")).len(), 1, "{id}");
        }
        let desc = picture
            .select(&Selector::parse("desc").unwrap())
            .next()
            .unwrap();
        for wanted in words {
            assert!(text(desc).contains(wanted), "{}", text(desc));
        }
        // Bars begin and end within the picture.
        for bar in picture.select(&Selector::parse("rect").unwrap()) {
            let number = |name: &str| bar.value().attr(name).unwrap().parse::<f64>().unwrap();
            assert!(number("x") >= 119.0 && number("x") + number("width") <= 531.0);
        }
    }
}

#[test]
fn tables_have_heads_for_columns_and_rows() {
    let desk = Desk::demo().unwrap();
    let page = page(&plain(&desk, "html").bytes);
    let tables = all(&page, "table");
    assert_eq!(tables.len(), 4);
    let row_heads = all(&page, "tbody th[scope=row]");
    let ids: BTreeSet<String> = row_heads.into_iter().map(text).collect();
    for sheet in ["links", "switches"] {
        let sheet = desk.plan().sheet(sheet).unwrap();
        for row in desk.plan().rows(sheet).order() {
            assert!(ids.contains(&desk.plan().id(sheet, *row)));
        }
    }
    for table in tables {
        let heads = Selector::parse("thead th[scope=col]").unwrap();
        let n_heads = table.select(&heads).count();
        for row in table.select(&Selector::parse("tbody tr").unwrap()) {
            assert_eq!(row.child_elements().count(), n_heads);
        }
        assert_eq!(
            table.select(&Selector::parse("caption").unwrap()).count(),
            1
        );
    }
    let verdicts: BTreeSet<String> = all(&page, "span.verdict").into_iter().map(text).collect();
    let wanted = ["■ fails", "▲ tight", "○ unknown", "● fits"].map(str::to_owned);
    assert_eq!(verdicts, BTreeSet::from(wanted));
}
