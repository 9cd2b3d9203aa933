//! A sweep as a drawing: SVG, one field a watched number, with the turns marked.
//!
//! Makes a text; where it goes is decided above. Everything that comes from a plan is escaped.

use super::sweep::Swept;
use std::fmt::Write;

const WIDTH: f64 = 720.0;
const FIELD: f64 = 220.0;
const LEFT: f64 = 84.0;
const RIGHT: f64 = 20.0;
const TOP: f64 = 44.0;
const GAP: f64 = 46.0;

/// The most curves that are drawn in one field: one for each value of the second axis.
const MOST_CURVES: usize = 12;

/// How lines are told apart without colour.
const DASHES: [&str; 4] = ["", "6 3", "2 3", "9 3 2 3"];

/// A line through points; a value that is missing breaks it.
#[derive(Debug, Clone, PartialEq)]
pub struct Curve {
    /// The value of the second axis, in words; empty where there is none.
    pub name: String,
    /// The points, in the units of the first axis and the watch.
    pub points: Vec<(f64, Option<f64>)>,
}

/// The curves of a watch, one for each value of the second axis; none where it is no number.
pub fn curves(swept: &Swept, watch: usize) -> Vec<Curve> {
    let n = swept.axes.first().map_or(1, |axis| axis.n_steps + 1);
    let values = swept.values.chunks(n).zip(swept.points.chunks(n));
    let curve = |(values, points): (&[Vec<crate::table::Cell>], &[Vec<f64>])| {
        let second = points.first().and_then(|point| point.get(1));
        let of_point = |(value, point): (&Vec<crate::table::Cell>, &Vec<f64>)| {
            (point[0], swept.watches[watch].number(&value[watch]))
        };
        Curve {
            name: second.map_or_else(String::new, |value| swept.said(1, *value)),
            points: values.iter().zip(points).map(of_point).collect(),
        }
    };
    let curves: Vec<Curve> = values.map(curve).collect();
    let has_number = |curve: &Curve| curve.points.iter().any(|(_, value)| value.is_some());
    match curves.iter().any(has_number) {
        true => curves,
        false => Vec::new(),
    }
}

/// The least and the greatest number; a little room around where all are the same.
pub fn bounds(values: impl Iterator<Item = f64>) -> Option<(f64, f64)> {
    let (low, high) = values.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), value| {
        (low.min(value), high.max(value))
    });
    if !low.is_finite() || !high.is_finite() {
        return None;
    }
    let room = (high.abs() * 0.05).max(1e-12);
    Some(match high > low {
        true => (low, high),
        false => (low - room, high + room),
    })
}

/// Round numbers between two: steps of 1, 2 or 5 with zeros, about so many.
pub fn ticks(low: f64, high: f64, about: usize) -> Vec<f64> {
    let wanted = (high - low) / about.max(1) as f64;
    if !wanted.is_finite() || wanted <= 0.0 {
        return Vec::new();
    }
    let tens = 10_f64.powf(wanted.log10().floor());
    let steps = [1.0, 2.0, 5.0, 10.0].map(|times| times * tens);
    let step = steps.into_iter().find(|step| *step >= wanted * 0.999);
    let step = step.unwrap_or(wanted);
    let first = (low / step).ceil();
    let values = (0..=2 * about + 2).map(|n| (first + n as f64) * step);
    values
        .take_while(|value| *value <= high + step * 1e-9)
        .collect()
}

/// A sweep as an SVG drawing.
pub fn svg(title: &str, swept: &Swept) -> String {
    let fields: Vec<(usize, Vec<Curve>)> = (0..swept.watches.len())
        .map(|watch| (watch, curves(swept, watch)))
        .filter(|(_, curves)| !curves.is_empty())
        .collect();
    let n_turns = swept.turns.len().min(8);
    let foot = 30.0 + 16.0 * n_turns as f64;
    let height = TOP + fields.len().max(1) as f64 * (FIELD + GAP) + foot;
    let mut out = String::new();
    // Writing to a string cannot fail.
    let _ = write!(
        out,
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {WIDTH} {height}\" width=\"{WIDTH}\" \
         height=\"{height}\" font-family=\"sans-serif\" font-size=\"12\">\n\
         <title>{0}</title>\n\
         <rect width=\"100%\" height=\"100%\" fill=\"white\"/>\n\
         <text x=\"{LEFT}\" y=\"24\" font-size=\"15\" font-weight=\"bold\">{0}</text>\n",
        escaped(title)
    );
    for (at, (watch, curves)) in fields.iter().enumerate() {
        let top = TOP + at as f64 * (FIELD + GAP);
        field(&mut out, swept, *watch, curves, top);
    }
    for (at, turn) in swept.turns.iter().take(n_turns).enumerate() {
        let y = height - foot + 16.0 + 16.0 * at as f64;
        let said = escaped(&swept.say(turn));
        let _ = writeln!(out, "<text x=\"{LEFT}\" y=\"{y:.1}\">{said}</text>");
    }
    out.push_str("</svg>\n");
    out
}

/// Where values stand in a field.
struct Place {
    x: (f64, f64),
    y: (f64, f64),
    top: f64,
}

impl Place {
    fn x(&self, value: f64) -> f64 {
        let share = (value - self.x.0) / (self.x.1 - self.x.0);
        LEFT + share * (WIDTH - LEFT - RIGHT)
    }

    fn y(&self, value: f64) -> f64 {
        let share = (value - self.y.0) / (self.y.1 - self.y.0);
        self.top + FIELD - share * FIELD
    }
}

fn field(out: &mut String, swept: &Swept, watch: usize, curves: &[Curve], top: f64) {
    let points = || curves.iter().flat_map(|curve| &curve.points);
    let (Some(x), Some(y)) = (
        bounds(points().map(|(x, _)| *x)),
        bounds(points().filter_map(|(_, y)| *y)),
    ) else {
        return;
    };
    let place = Place { x, y, top };
    grid(out, swept, watch, &place);
    for turn in &swept.turns {
        let x = place.x(turn.last);
        let _ = writeln!(
            out,
            "<line x1=\"{x:.1}\" y1=\"{top:.1}\" x2=\"{x:.1}\" y2=\"{:.1}\" stroke=\"#b00\" \
             stroke-dasharray=\"4 3\"/>",
            top + FIELD
        );
    }
    for (at, curve) in curves.iter().take(MOST_CURVES).enumerate() {
        line(out, curve, &place, DASHES[at % DASHES.len()]);
        if !curve.name.is_empty()
            && let Some((x, Some(y))) = curve.points.iter().rev().find(|(_, y)| y.is_some())
        {
            let _ = writeln!(
                out,
                "<text x=\"{:.1}\" y=\"{:.1}\" text-anchor=\"end\" font-size=\"10\">{}</text>",
                place.x(*x),
                place.y(*y) - 3.0,
                escaped(&curve.name)
            );
        }
    }
}

fn grid(out: &mut String, swept: &Swept, watch: usize, place: &Place) {
    let (axis, watch) = (&swept.axes[0], &swept.watches[watch]);
    let with_unit = |name: &str, unit: &str| match unit.is_empty() {
        true => escaped(name),
        false => format!("{}, {}", escaped(name), escaped(unit)),
    };
    let (top, end, low) = (place.top, WIDTH - RIGHT, place.top + FIELD);
    let _ = writeln!(
        out,
        "<rect x=\"{LEFT}\" y=\"{top:.1}\" width=\"{:.1}\" height=\"{FIELD}\" fill=\"none\" \
         stroke=\"#888\"/>\n\
         <text x=\"{LEFT}\" y=\"{:.1}\">{}</text>\n\
         <text x=\"{end}\" y=\"{:.1}\" text-anchor=\"end\">{}</text>",
        end - LEFT,
        top - 5.0,
        with_unit(&watch.name, &watch.unit.symbol),
        low + 30.0,
        with_unit(&axis.name, &axis.unit.symbol),
    );
    for value in ticks(place.y.0, place.y.1, 5) {
        let y = place.y(value);
        let number = crate::units::significant(value, 6);
        let _ = writeln!(
            out,
            "<line x1=\"{LEFT}\" y1=\"{y:.1}\" x2=\"{end}\" y2=\"{y:.1}\" stroke=\"#ddd\"/>\
             <text x=\"{:.1}\" y=\"{:.1}\" text-anchor=\"end\">{number}</text>",
            LEFT - 6.0,
            y + 4.0,
        );
    }
    for value in ticks(place.x.0, place.x.1, 8) {
        let x = place.x(value);
        let number = crate::units::significant(value, 6);
        let _ = writeln!(
            out,
            "<line x1=\"{x:.1}\" y1=\"{low:.1}\" x2=\"{x:.1}\" y2=\"{:.1}\" stroke=\"#888\"/>\
             <text x=\"{x:.1}\" y=\"{:.1}\" text-anchor=\"middle\">{number}</text>",
            low + 4.0,
            low + 16.0,
        );
    }
}

/// A curve in pieces, broken where a value is missing.
fn line(out: &mut String, curve: &Curve, place: &Place, dash: &str) {
    for piece in curve.points.split(|(_, y)| y.is_none()) {
        if piece.is_empty() {
            continue;
        }
        let points = piece.iter().filter_map(|(x, y)| Some((*x, (*y)?)));
        let points: Vec<String> = points
            .map(|(x, y)| format!("{:.1},{:.1}", place.x(x), place.y(y)))
            .collect();
        let _ = writeln!(
            out,
            "<polyline points=\"{}\" fill=\"none\" stroke=\"black\" stroke-width=\"1.5\" \
             stroke-dasharray=\"{dash}\"/>",
            points.join(" ")
        );
    }
}

/// A text that cannot be taken for marks, without what no XML may hold.
fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            '\u{fffe}' | '\u{ffff}' => out.push('\u{fffd}'),
            c if c.is_control() => out.push(' '),
            c => out.push(c),
        }
    }
    out
}
