//! The page, read back by a parser of web pages: nothing that was entered becomes part of the page, and
//! all of it is there to be read.

use super::sharing::{Sent, plain, send_with};
use html5ever::tendril::TendrilSink;
use markup5ever_rcdom::{Handle, NodeData, RcDom};
use portledger::desk::Desk;
use portledger::problem::clean;
use portledger::report::{Choice, OrderPage, ProposalPage};
use portledger::study::order::order_list;
use std::collections::{BTreeMap, BTreeSet};

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

/// A page as its parser sees it: all elements in order.
struct Page {
    elements: Vec<Element>,
    n_comments: usize,
}

struct Element {
    name: String,
    attributes: BTreeMap<String, String>,
    /// All text within.
    text: String,
    /// Elements right within.
    n_children: usize,
    /// The places of the elements around it, outermost first.
    around: Vec<usize>,
}

fn page(bytes: &[u8]) -> Page {
    let dom = html5ever::parse_document(RcDom::default(), html5ever::ParseOpts::default());
    let dom = dom.from_utf8().one(bytes);
    let mut page = Page {
        elements: Vec::new(),
        n_comments: 0,
    };
    page.add(&dom.document, &mut Vec::new());
    page
}

impl Page {
    fn add(&mut self, node: &Handle, around: &mut Vec<usize>) {
        match &node.data {
            NodeData::Comment { .. } => self.n_comments += 1,
            NodeData::Text { contents } => {
                for at in around.iter() {
                    self.elements[*at].text.push_str(&contents.borrow());
                }
            }
            NodeData::Element { name, attrs, .. } => {
                if let Some(parent) = around.last() {
                    self.elements[*parent].n_children += 1;
                }
                let attributes = attrs.borrow();
                let attributes = attributes.iter();
                self.elements.push(Element {
                    name: name.local.to_string(),
                    attributes: attributes
                        .map(|one| (one.name.local.to_string(), one.value.to_string()))
                        .collect(),
                    text: String::new(),
                    n_children: 0,
                    around: around.clone(),
                });
                around.push(self.elements.len() - 1);
                self.children(node, around);
                around.pop();
            }
            NodeData::Document
            | NodeData::Doctype { .. }
            | NodeData::ProcessingInstruction { .. } => self.children(node, around),
        }
    }

    fn children(&mut self, node: &Handle, around: &mut Vec<usize>) {
        for child in node.children.borrow().iter() {
            self.add(child, around);
        }
    }

    /// All elements of a name within those of other names, outermost first: `tbody tr`.
    fn all(&self, path: &str) -> Vec<&Element> {
        let within = |element: &Element, names: &[&str]| {
            let mut around = element.around.iter();
            names
                .iter()
                .all(|name| around.any(|at| self.elements[*at].name == *name))
        };
        let names: Vec<&str> = path.split(' ').collect();
        let (last, before) = names.split_last().unwrap();
        let found = self.elements.iter().filter(|one| one.name == *last);
        found.filter(|one| within(one, before)).collect()
    }

    /// The same within one element.
    fn inside(&self, element: &Element, path: &str) -> Vec<&Element> {
        let at = self
            .elements
            .iter()
            .position(|one| std::ptr::eq(one, element))
            .unwrap();
        let mut found = self.all(path);
        found.retain(|one| one.around.contains(&at));
        found
    }
}

impl Element {
    fn attribute(&self, name: &str) -> &str {
        self.attributes.get(name).map_or("", String::as_str)
    }
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

fn with_studies(desk: &Desk, proposal: ProposalPage, order: OrderPage) -> Sent {
    send_with(desk, "html", Choice::default(), Some(proposal), Some(order))
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
        ..OrderPage::default()
    };
    (proposal, order)
}

#[test]
fn what_is_long_stands_behind_the_front_and_nothing_is_lost() {
    let desk = Desk::demo().unwrap();
    let proposal = ProposalPage::of(&desk.compare(&[]).unwrap()).unwrap();
    let list = order_list(desk.plan(), desk.engine()).unwrap();
    let order = OrderPage::of(desk.plan(), &list).unwrap();
    let (totals, changes) = (proposal.totals().to_vec(), proposal.changes().to_vec());
    assert!(totals.len() < 30 && changes.len() > 50);
    let parts = order.rows.clone();
    let sent = with_studies(&desk, proposal, order);
    let page = page(&sent.bytes);
    let rows_below = |caption: &str| {
        let sections = page.all("section");
        let of_it: Vec<_> = sections
            .into_iter()
            .filter(|one| one.text.contains(caption))
            .collect();
        assert_eq!(of_it.len(), 1, "{caption}");
        let class = of_it[0]
            .attributes
            .get("class")
            .cloned()
            .unwrap_or_default();
        (class, of_it[0].text.clone())
    };
    for (caption, rows, is_wide) in [
        ("What the proposal comes to", &totals, false),
        ("Row by row", &changes, true),
        ("Part by part", &parts, true),
    ] {
        let (class, text) = rows_below(caption);
        assert_eq!(class == "wide", is_wide, "{caption}");
        for cell in rows.iter().flatten() {
            assert!(text.contains(&*clean(cell)), "{caption}: {cell}");
        }
    }
}

#[test]
fn nothing_that_was_entered_becomes_part_of_the_page() {
    let (desk, told) = hostile();
    let (proposal, order) = pages_of_others();
    let sent = with_studies(&desk, proposal, order);
    let page = page(&sent.bytes);
    let mut names = BTreeSet::new();
    for element in &page.elements {
        names.insert(element.name.clone());
        for name in element.attributes.keys() {
            assert!(
                ATTRIBUTES.contains(&name.as_str()),
                "<{} {name}>",
                element.name
            );
        }
    }
    for name in &names {
        assert!(ELEMENTS.contains(&name.as_str()), "<{name}>");
    }
    assert_eq!(page.n_comments, 0);
    let texts: BTreeSet<&str> = page
        .all("bdi")
        .iter()
        .map(|one| one.text.as_str())
        .collect();
    for wanted in &told {
        assert!(texts.contains(wanted.as_str()), "{wanted}");
    }
    assert_eq!(page.all("h1")[0].text, told[told.len() - 1]);
    assert_eq!(page.all("head title")[0].text, told[told.len() - 1]);
    let hidden = |c: char| c.is_control() && c != '\n' || matches!(c, '\u{202e}' | '\u{2066}');
    assert!(!sent.text().contains(hidden));
}

#[test]
fn the_page_runs_nothing_and_asks_nobody() {
    let sent = plain(&Desk::demo().unwrap(), "html");
    let page = page(&sent.bytes);
    for name in [
        "script", "link", "img", "iframe", "object", "form", "a", "base",
    ] {
        assert!(page.all(name).is_empty(), "{name}");
    }
    for element in &page.elements {
        for name in ["href", "src", "style"] {
            assert!(
                !element.attributes.contains_key(name),
                "<{} {name}>",
                element.name
            );
        }
    }
    let policies = page.all("meta");
    let mut policies = policies.iter();
    let policy = policies.find(|one| one.attribute("http-equiv") == "Content-Security-Policy");
    let policy = policy.unwrap().attribute("content");
    assert!(policy.contains("default-src 'none'"), "{policy}");
    let style = &page.all("style")[0].text;
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
        1 + page.all("svg").len(),
        "policy and names of pictures alone"
    );
}

#[test]
fn findings_stand_in_front_worst_first_seven_at_most() {
    let desk = Desk::demo().unwrap();
    let list = order_list(desk.plan(), desk.engine()).unwrap();
    let order = OrderPage::of(desk.plan(), &list);
    let sent = send_with(&desk, "html", Choice::default(), None, order);
    let page = page(&sent.bytes);
    let front = page.all("ol li");
    assert_eq!(front.len(), 7);
    for (told, finding) in front.into_iter().zip(&desk.findings().list) {
        let told = &told.text;
        assert!(
            told.contains(finding.severity.word()) && told.contains(&finding.sentence),
            "{told}"
        );
        assert!(told.contains(&finding.advice), "{told}");
    }
    let rest: usize = desk.findings().counts.iter().sum::<usize>() - 7;
    let whole = &page.all("main")[0].text;
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
    let pictures = page.all("svg");
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
        assert_eq!(picture.attribute("role"), "img");
        for id in picture.attribute("aria-labelledby").split(' ') {
            let named = page.elements.iter().filter(|one| one.attribute("id") == id);
            assert_eq!(named.count(), 1, "{id}");
        }
        let desc = &page.inside(picture, "desc")[0].text;
        for wanted in words {
            assert!(desc.contains(wanted), "{desc}");
        }
        // Bars begin and end within the picture.
        for bar in page.inside(picture, "rect") {
            let number = |name: &str| bar.attribute(name).parse::<f64>().unwrap();
            assert!(number("x") >= 119.0 && number("x") + number("width") <= 531.0);
        }
    }
}

#[test]
fn tables_have_heads_for_columns_and_rows() {
    let desk = Desk::demo().unwrap();
    let page = page(&plain(&desk, "html").bytes);
    let tables = page.all("table");
    assert_eq!(tables.len(), 4);
    let mut row_heads = page.all("tbody th");
    row_heads.retain(|one| one.attribute("scope") == "row");
    let ids: BTreeSet<&str> = row_heads.iter().map(|one| one.text.as_str()).collect();
    for sheet in ["links", "switches"] {
        let sheet = desk.plan().sheet(sheet).unwrap();
        for row in desk.plan().rows(sheet).order() {
            assert!(ids.contains(desk.plan().id(sheet, *row).as_str()));
        }
    }
    for table in tables {
        let mut heads = page.inside(table, "thead th");
        heads.retain(|one| one.attribute("scope") == "col");
        for row in page.inside(table, "tbody tr") {
            assert_eq!(row.n_children, heads.len());
        }
        assert_eq!(page.inside(table, "caption").len(), 1);
    }
    let mut verdicts = page.all("td span");
    verdicts.retain(|one| one.attribute("class").starts_with("verdict"));
    let verdicts: BTreeSet<&str> = verdicts.iter().map(|one| one.text.as_str()).collect();
    let wanted = ["■ fails", "▲ tight", "○ unknown", "● fits"];
    assert_eq!(verdicts, BTreeSet::from(wanted));
}
