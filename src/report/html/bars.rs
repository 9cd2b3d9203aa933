//! Bars as pictures within the page: ratios as planned and with an uplink out, and margins.
//!
//! A picture needs no colour to be read: series differ by their filling, every bar has its number and,
//! where it breaks a limit, a word. It has a title and a text that says the same.

use super::clean;
use crate::plan::Entry;
use crate::report::Request;
use crate::report::fields::{Field, shown};
use crate::report::stored::Datum;
use crate::table::{RowId, SheetId};
use crate::units::significant;
use maud::Markup;
use maud::html;

/// So many rows a picture has; the worst come first.
const MOST: usize = 16;

/// The parts of a picture, in its own units of which a line of text is about 12 high.
const WIDTH: f64 = 720.0;
const NAMES: f64 = 120.0;
const WORDS: f64 = 190.0;
const BAR: f64 = 13.0;
const GAP: f64 = 9.0;
const HEAD: f64 = 24.0;

/// The longest name beside a bar, in characters.
const LONGEST_NAME: usize = 16;

/// A picture of bars.
pub struct Picture {
    /// What it shows, as a finding.
    pub title: String,
    key: &'static str,
    /// What the bars are, in the order in which they stand in a row.
    series: Vec<&'static str>,
    /// What the lines are.
    lines: Vec<(f64, String)>,
    /// What a mark on a bar is, where bars have one.
    mark: Option<&'static str>,
    rows: Vec<Bars>,
    /// How many rows are not shown.
    n_more: usize,
}

struct Bars {
    name: String,
    bars: Vec<Bar>,
    mark: Option<f64>,
}

/// One bar.
#[derive(Debug, Clone, PartialEq)]
pub struct Bar {
    value: f64,
    /// What stands beside it.
    words: String,
    /// Whether a limit is broken.
    breaks: bool,
}

/// How the greatest ratios stand to their limits; none where no switch has a ratio.
pub fn ratios(request: &Request<'_>) -> Option<Picture> {
    let sheet = request.plan.sheet("switches")?;
    let column = |name: &str| numbers(request, sheet, name);
    let (normal, worst, limit) = (
        column("ratio")?,
        column("worst_ratio")?,
        column("ratio_limit")?,
    );
    let rows = request.plan.rows(sheet).order();
    let mut order: Vec<usize> = (0..rows.len()).filter(|at| normal[*at].is_some()).collect();
    let most = |at: usize| {
        [normal[at], worst[at]]
            .into_iter()
            .flatten()
            .fold(0.0, f64::max)
    };
    order.sort_by(|a, b| most(*b).total_cmp(&most(*a)).then(a.cmp(b)));
    let above = order
        .iter()
        .filter(|at| limit[**at].is_some_and(|limit| most(**at) > limit + 1e-9))
        .count();
    let first = *order.first()?;
    let title = format!(
        "{above} of {} switches with uplinks {} above the ratio limit; the greatest is {} to 1, of {}.",
        order.len(),
        is_or_are(above),
        significant(most(first), 3),
        request.plan.id(sheet, rows[first])
    );
    let bar = |at: usize, value: f64| {
        let breaks = limit[at].is_some_and(|limit| value > limit + 1e-9);
        let word = if breaks { ", above the limit" } else { "" };
        Bar {
            value,
            words: format!("{} to 1{word}", significant(value, 3)),
            breaks,
        }
    };
    let row = |at: &usize| Bars {
        name: request.plan.id(sheet, rows[*at]),
        bars: [normal[*at], worst[*at]]
            .into_iter()
            .flatten()
            .map(|value| bar(*at, value))
            .collect(),
        mark: limit[*at],
    };
    let n_more = order.len().saturating_sub(MOST);
    Some(Picture {
        title,
        key: "ratios",
        series: vec!["as planned", "with one uplink out"],
        lines: Vec::new(),
        mark: Some("limit of the switch"),
        rows: order.iter().take(MOST).map(row).collect(),
        n_more,
    })
}

/// The least margins, sorted; none where no link has one.
pub fn margins(request: &Request<'_>) -> Option<Picture> {
    let sheet = request.plan.sheet("links")?;
    let margin = numbers(request, sheet, "margin")?;
    let rows = request.plan.rows(sheet).order();
    let mut order: Vec<(usize, f64)> = margin
        .iter()
        .enumerate()
        .filter_map(|(at, value)| Some((at, (*value)?)))
        .collect();
    order.sort_by(|a, b| a.1.total_cmp(&b.1).then(a.0.cmp(&b.0)));
    let below = order.iter().filter(|(_, value)| *value < -1e-9).count();
    let (first, least) = *order.first()?;
    let title = format!(
        "{below} of {} links with a margin {} over the loss limit; the least margin is {} dB, of {}.",
        order.len(),
        is_or_are(below),
        significant(least, 3),
        request.plan.id(sheet, rows[first])
    );
    let reserve = reserve(request);
    let row = |(at, value): &(usize, f64)| {
        let word = match (value, reserve) {
            (value, _) if *value < -1e-9 => over(request, sheet, rows[*at]),
            (value, Some(reserve)) if *value < reserve - 1e-9 => ", below the reserve",
            _ => "",
        };
        Bars {
            name: request.plan.id(sheet, rows[*at]),
            bars: vec![Bar {
                value: *value,
                words: format!("{} dB{word}", significant(*value, 3)),
                breaks: !word.is_empty(),
            }],
            mark: None,
        }
    };
    let mut lines = vec![(0.0, "loss limit".to_owned())];
    lines.extend(
        reserve
            .filter(|value| *value > 0.0)
            .map(|value| (value, format!("reserve, {} dB", significant(value, 3)))),
    );
    let n_more = order.len().saturating_sub(MOST);
    Some(Picture {
        title,
        key: "margins",
        series: vec!["margin"],
        lines,
        mark: None,
        rows: order.iter().take(MOST).map(row).collect(),
        n_more,
    })
}

/// A margin below 0 that is a rounding of the printed limit is told as the verdict tells it.
fn over(request: &Request<'_>, sheet: SheetId, row: RowId) -> &'static str {
    match shown(request, sheet, "verdict", row).as_str() {
        "tight" => ", at the loss limit",
        _ => ", over the loss limit",
    }
}

fn reserve(request: &Request<'_>) -> Option<f64> {
    let known = request
        .plan
        .assumptions()
        .iter()
        .find(|one| one.def.name == "reserve")?;
    match known.entry {
        Entry::Number(base) => Some(known.unit.from_base(base)),
        Entry::Empty | Entry::Text(_) | Entry::Wrong(_) => None,
    }
}

fn numbers(request: &Request<'_>, sheet: SheetId, name: &str) -> Option<Vec<Option<f64>>> {
    let field = Field::new(request, sheet, request.engine.find_column(sheet, name)?)?;
    let number = |at| match field.at(at) {
        Datum::Number(value) => Some(value),
        Datum::Empty | Datum::Text(_) | Datum::Flag(_) => None,
    };
    Some(
        (0..request.plan.rows(sheet).order().len())
            .map(number)
            .collect(),
    )
}

impl Picture {
    /// The picture with its title above it.
    pub fn drawn(&self) -> Markup {
        let scale = Scale::new(self);
        let height = HEAD + self.rows.iter().map(self::height).sum::<f64>() + 4.0;
        let (title, text) = (format!("{}-title", self.key), format!("{}-text", self.key));
        let tops = self.rows.iter().scan(HEAD, |top, row| {
            let this = *top;
            *top += self::height(row);
            Some(this)
        });
        html! {
            figure {
                figcaption { (super::said(&self.title)) }
                (self.legend())
                svg xmlns="http://www.w3.org/2000/svg" role="img" viewBox=(format!("0 0 {WIDTH} {height}"))
                    aria-labelledby=(format!("{title} {text}")) {
                    title id=(title) { (clean(&self.title)) }
                    desc id=(text) { (self.told()) }
                    @for (at, words) in &self.lines {
                        @let x = scale.x(*at);
                        line.limit x1=(n(x)) x2=(n(x)) y1=(n(HEAD - 6.0)) y2=(n(height)) {}
                        text.axis x=(n(x)) y=(n(HEAD - 11.0)) text-anchor=(if *at > 0.0 { "start" } else { "end" }) { (words) }
                    }
                    @if self.lines.is_empty() {
                        line.base x1=(n(scale.x(0.0))) x2=(n(scale.x(0.0))) y1=(n(HEAD - 6.0)) y2=(n(height)) {}
                    }
                    @for (row, top) in self.rows.iter().zip(tops) { (drawn(row, top, &scale)) }
                }
                @if self.n_more > 0 { p.quiet { (self.n_more) " more that stand better are not drawn." } }
            }
        }
    }

    /// What each filling and mark is.
    fn legend(&self) -> Markup {
        html! {
            @if self.series.len() > 1 || self.mark.is_some() {
                p.legend {
                    @for (at, name) in self.series.iter().enumerate() {
                        span { span.key.(format!("series-{at}")) {} " " (name) } " "
                    }
                    @if let Some(mark) = self.mark { span { span.key.mark {} " " (mark) } }
                }
            }
        }
    }

    /// The same in words.
    fn told(&self) -> String {
        let row = |row: &Bars| {
            let bars = row
                .bars
                .iter()
                .zip(&self.series)
                .map(|(bar, series)| format!("{series} {}", bar.words));
            format!("{}: {}", row.name, bars.collect::<Vec<_>>().join("; "))
        };
        let rows: Vec<String> = self.rows.iter().map(row).collect();
        clean(&format!("{}.", rows.join(". "))).into_owned()
    }
}

fn height(row: &Bars) -> f64 {
    BAR * row.bars.len() as f64 + GAP
}

fn drawn(row: &Bars, top: f64, scale: &Scale) -> Markup {
    let zero = scale.x(0.0);
    let middle = top + BAR * row.bars.len() as f64 / 2.0;
    html! {
        text.name x=(n(NAMES - 8.0)) y=(n(middle + 4.0)) text-anchor="end" { (short(&row.name)) }
        @for (at, bar) in row.bars.iter().enumerate() {
            @let y = top + BAR * at as f64;
            @let (from, to) = (zero.min(scale.x(bar.value)), zero.max(scale.x(bar.value)));
            rect.(format!("series-{at}")).broken[bar.breaks] x=(n(from)) y=(n(y + 1.0)) width=(n((to - from).max(1.0))) height=(n(BAR - 2.0)) {}
            text.value.broken[bar.breaks] x=(n(to.max(scale.behind(row)) + 5.0)) y=(n(y + 10.5)) { (bar.words) }
        }
        @if let Some(mark) = row.mark {
            @let x = scale.x(mark);
            line.mark x1=(n(x)) x2=(n(x)) y1=(n(top - 2.0)) y2=(n(top + BAR * row.bars.len() as f64 + 2.0)) {}
        }
    }
}

fn is_or_are(count: usize) -> &'static str {
    match count {
        1 => "is",
        _ => "are",
    }
}

/// A number of a picture, short.
fn n(value: f64) -> String {
    significant((value * 10.0).round() / 10.0, 6)
}

/// A name that has room beside its bar.
fn short(name: &str) -> String {
    let name = clean(name);
    match name.chars().count() > LONGEST_NAME {
        true => name.chars().take(LONGEST_NAME - 1).chain(['…']).collect(),
        false => name.into_owned(),
    }
}

/// From values to places.
struct Scale {
    least: f64,
    most: f64,
    /// The greatest value with a line through the whole picture.
    last_line: f64,
}

impl Scale {
    fn new(picture: &Picture) -> Self {
        let values = picture
            .rows
            .iter()
            .flat_map(|row| row.bars.iter().map(|bar| bar.value));
        let marks = picture.rows.iter().filter_map(|row| row.mark);
        let lines = picture.lines.iter().map(|(at, _)| *at).chain(marks);
        let all: Vec<f64> = values.chain(lines).chain([0.0]).collect();
        let least = all.iter().copied().fold(0.0, f64::min);
        let most = all.iter().copied().fold(0.0, f64::max);
        Self {
            least,
            most: if most > least { most } else { least + 1.0 },
            last_line: picture
                .lines
                .iter()
                .map(|(at, _)| *at)
                .fold(least, f64::max),
        }
    }

    fn x(&self, value: f64) -> f64 {
        NAMES + (value - self.least) / (self.most - self.least) * (WIDTH - NAMES - WORDS)
    }

    /// Where the last line through a row stands, so that no word stands on it.
    fn behind(&self, row: &Bars) -> f64 {
        row.mark.map_or(self.x(self.last_line), |mark| self.x(mark))
    }
}
