//! The light of a link on a scale of dBm: what its receivers stand, what is planned, what was read.

use super::jacket::jacket;
use super::scale::Scale;
use crate::desk::Desk;
use crate::screen::page::Page;
use crate::screen::page::Target;
use crate::screen::pages::care::BESIDE_LIGHT;
use crate::screen::pages::lay::Lay;
use crate::screen::pages::lay::Piece;
use crate::screen::pages::lay::piece;
use crate::screen::pages::row::Row;
use crate::screen::theme::Glyph;
use crate::screen::theme::Theme;
use crate::screen::theme::Tone;
use crate::table::Cell;
use crate::table::{RowId, SheetId};

/// The most cells of a scale; a longer one is no easier to read.
const LONGEST: usize = 100;

/// What is drawn beyond the lowest and the highest level, as a share of what lies between.
const BEYOND: f64 = 0.18;

/// Levels that are told apart by less are the same, as in the checks.
const SAME: f64 = 1e-9;

/// Two levels in dBm; each may be unknown.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Span {
    low: Option<f64>,
    high: Option<f64>,
}

/// One end of a link: its receiver, and what it reads.
#[derive(Debug)]
struct Receiver<'a> {
    /// The device, and which end it is.
    name: String,
    stands: Span,
    /// The row of the tables that says so.
    channel: Option<Row<'a>>,
    reads: Option<f64>,
    /// The column of the reading.
    column: &'static str,
}

/// The picture of the light of a link.
pub fn light(desk: &Desk, sheet: SheetId, row: RowId, width: usize, theme: Theme) -> Page {
    let link = Row::new(desk, sheet, row);
    let mut lay = Lay::new(&format!("Light of {}", link.name()), width, theme);
    if link.column("rx_low").is_none() {
        lay.say(0, "Only a link has light to show.", Tone::Plain);
        return lay.page();
    }
    about(&mut lay, link);
    let missing = missing(link);
    for text in &missing {
        lay.gap();
        lay.say(0, text, Tone::Unknown);
    }
    let planned = Span {
        low: link.number("rx_low"),
        high: link.number("rx_high"),
    };
    let ends = [
        receiver(link, "from", "near", "channel", "measured_rx"),
        receiver(link, "to", "far", "far_channel", "far_measured_rx"),
    ];
    if let Some(scale) = scale_of(&planned, &ends, lay.width) {
        picture(&mut lay, link, &planned, &ends, scale);
    }
    lay.gap();
    lay.say(0, BESIDE_LIGHT, Tone::Care);
    lay.page()
}

/// What the link is made of.
fn about(lay: &mut Lay, link: Row) {
    let ends = ["from", "to"].map(|end| link.shown(end).unwrap_or_else(|| "unknown".to_owned()));
    let made = ["interface", "length", "medium"];
    let made = made.map(|name| link.shown(name).unwrap_or_else(|| format!("no {name}")));
    let mut pieces = vec![
        piece(format!("{}: ", ends.join(" to ")), Tone::Heading),
        piece(made.join(", "), Tone::Plain),
    ];
    pieces.extend(jacket(link, lay.theme));
    lay.item(0, 2, &pieces, Target::None);
}

/// What has to be known before all of the picture can be drawn.
fn missing(link: Row) -> Vec<String> {
    let Some(name) = link.shown("medium") else {
        return vec!["The medium is not entered, so nothing is known of its light.".to_owned()];
    };
    let Some(medium) = link.through("medium", "media") else {
        return vec![format!("The medium `{name}` is not in the tables.")];
    };
    if link.cell("is_fibre") != Cell::Flag(true) {
        let kind = medium.shown("kind").filter(|kind| *kind != name);
        let kind = kind.map_or_else(String::new, |kind| format!(" ({kind})"));
        return vec![format!(
            "On {name}{kind} there is no light to plan or to measure."
        )];
    }
    let Some(interface) = link.shown("interface") else {
        return vec!["The interface is not entered, so its light is unknown.".to_owned()];
    };
    let mut missing = Vec::new();
    let channels = [("interface", "channel"), ("far", "far_channel")]
        .map(|(interface, channel)| (link.shown(interface), link.through(channel, "channels")));
    match channels {
        [(_, None), _] => {
            missing.push(format!("The tables know nothing of {interface} on {name}."))
        }
        [_, (far, None)] => {
            let far = far.unwrap_or(interface);
            missing.push(format!("The tables know nothing of {far} on {name}."));
        }
        [(_, Some(near)), (_, Some(far))] => {
            let has = |row: Row| row.number("rx_min").is_some() && row.number("rx_max").is_some();
            if !has(near) || !has(far) {
                let text = format!("The tables lack a receive level of {}.", near.id());
                missing.push(text);
            }
        }
    }
    match (link.cell("length"), link.cell("rx_low")) {
        (Cell::Missing, _) => {
            missing.push("The length is not entered, so the planned light is unknown.".to_owned())
        }
        (_, Cell::Missing) if missing.is_empty() => {
            missing.push("The planned light is unknown; `rx_low` has the reason.".to_owned());
        }
        _ => {}
    }
    missing
}

fn receiver<'a>(
    link: Row<'a>,
    end: &str,
    word: &str,
    channel: &str,
    column: &'static str,
) -> Receiver<'a> {
    let channel = match link.is("is_fibre") {
        true => link.through(channel, "channels"),
        false => None,
    };
    let level = |name: &str| channel.and_then(|channel| channel.number(name));
    Receiver {
        name: match link.shown(end) {
            Some(device) => format!("{device}, the {word} end"),
            None => format!("the {word} end"),
        },
        stands: Span {
            low: level("rx_min"),
            high: level("rx_max"),
        },
        channel,
        reads: link.number(column),
        column,
    }
}

/// A scale with room for all levels; none where there are none.
fn scale_of(planned: &Span, ends: &[Receiver; 2], width: usize) -> Option<Scale> {
    let of_end = |end: &Receiver| [end.stands.low, end.stands.high, end.reads];
    let levels = ends
        .iter()
        .flat_map(of_end)
        .chain([planned.low, planned.high]);
    let levels: Vec<f64> = levels.flatten().collect();
    let low = levels.iter().copied().reduce(f64::min)?;
    let high = levels.iter().copied().reduce(f64::max)?;
    let cells = width.saturating_sub(2).min(LONGEST);
    let beyond = ((high - low) * BEYOND).max(2.0);
    Some(Scale::new(
        (low - beyond).floor(),
        (high + beyond).ceil(),
        cells,
    ))
}

fn picture(lay: &mut Lay, link: Row, planned: &Span, ends: &[Receiver; 2], scale: Scale) {
    let [near, far] = ends;
    match near.stands == far.stands {
        true => stands(lay, "Both receivers", near, scale),
        false => {
            stands(lay, &format!("The receiver of {}", near.name), near, scale);
            stands(lay, &format!("The receiver of {}", far.name), far, scale);
        }
    }
    plan(lay, link, planned, ends, scale);
    for end in ends {
        reading(lay, link, end, planned, scale);
    }
    lay.gap();
    let numbers = scale.numbers();
    lay.line(
        vec![piece(format!("  {numbers}"), Tone::Quiet)],
        Target::None,
    );
    let glyphs = [Glyph::Limit, Glyph::Empty, Glyph::Full, Glyph::Reading];
    let [limit, outside, full, here] = glyphs.map(|glyph| lay.theme.glyph(glyph));
    let legend = format!(
        "All in dBm. {limit} limit of a receiver  {outside} too dark at the left, too much at the \
         right  {full} planned  {here} measured"
    );
    lay.say(0, &legend, Tone::Quiet);
}

/// What a receiver needs and stands.
fn stands(lay: &mut Lay, who: &str, end: &Receiver, scale: Scale) {
    let (Span { low, high }, Some(channel)) = (end.stands, end.channel) else {
        return;
    };
    if low.is_none() && high.is_none() {
        return;
    }
    lay.gap();
    let text = format!(": at least {}, at most {}", level(low), level(high));
    let pieces = [piece(who, Tone::Heading), piece(text, Tone::Plain)];
    lay.item(0, 2, &pieces, channel.target("rx_min"));
    let (low, high) = (
        low.map(|low| scale.at(low)),
        high.map(|high| scale.at(high)),
    );
    let strip = scale.strip(lay.theme, |at| {
        let is_limit = Some(at) == low || Some(at) == high;
        let is_outside = low.is_some_and(|low| at < low) || high.is_some_and(|high| at > high);
        Some(match (is_limit, is_outside) {
            (true, _) => (Glyph::Limit, Tone::Heading),
            (false, true) => (Glyph::Empty, Tone::Fails),
            (false, false) => (Glyph::Line, Tone::Fits),
        })
    });
    indented(lay, strip);
    let end = usize::MAX;
    let words = [
        (0, low.unwrap_or(0), "too dark"),
        (low.map_or(0, |low| low + 1), high.unwrap_or(end), "enough"),
        (high.map_or(end, |high| high + 1), end, "too much"),
    ];
    let words = words.map(|(from, to, word)| (from, to.min(scale.cells()), word));
    indented(lay, vec![piece(scale.words(&words), Tone::Quiet)]);
}

/// What is planned to arrive.
fn plan(lay: &mut Lay, link: Row, planned: &Span, ends: &[Receiver; 2], scale: Scale) {
    let Span {
        low: Some(low),
        high: Some(high),
    } = *planned
    else {
        return;
    };
    lay.gap();
    let text = format!(": {} to {}", level(Some(low)), level(Some(high)));
    let pieces = [piece("Planned", Tone::Heading), piece(text, Tone::Plain)];
    lay.item(0, 2, &pieces, link.target("rx_low"));
    let (from, to) = (scale.at(low.min(high)), scale.at(low.max(high)));
    let strip = scale.strip(lay.theme, |at| {
        (from..=to)
            .contains(&at)
            .then_some((Glyph::Full, Tone::Plain))
    });
    indented(lay, strip);
    if let Some(pad) = link.shown("pad").filter(|_| link.number("pad") > Some(0.0)) {
        let text = format!(
            "This counts on a pad of {pad} at each receiver, which is not entered as fitted."
        );
        lay.say(2, &text, Tone::Tight);
    }
    let dark = ends
        .iter()
        .any(|end| end.stands.low.is_some_and(|least| low < least - SAME));
    let much = ends
        .iter()
        .any(|end| end.stands.high.is_some_and(|most| high > most + SAME));
    for (is_so, text) in [(dark, "may be too dark"), (much, "may be too much light")] {
        if is_so {
            let mark = lay.theme.glyph(Glyph::Fails);
            lay.say(2, &format!("{mark} {text} for a receiver"), Tone::Fails);
        }
    }
}

/// What one end reads, or that nothing was entered.
fn reading(lay: &mut Lay, link: Row, end: &Receiver, planned: &Span, scale: Scale) {
    lay.gap();
    let who = piece(format!("Measured at {}", end.name), Tone::Heading);
    let Some(reads) = end.reads else {
        let pieces = [who, piece(": not entered", Tone::Unknown)];
        return lay.item(0, 2, &pieces, link.target(end.column));
    };
    let (glyph, tone, word) = judged(reads, end.stands, planned);
    let pieces = [
        who,
        piece(format!(": {}  ", level(Some(reads))), Tone::Plain),
        piece(format!("{} {word}", lay.theme.glyph(glyph)), tone),
    ];
    lay.item(0, 2, &pieces, link.target(end.column));
    let here = scale.at(reads);
    let strip = scale.strip(lay.theme, |at| {
        (at == here).then_some((Glyph::Reading, tone))
    });
    indented(lay, strip);
}

/// A reading against the receiver first, then against the plan.
fn judged(reads: f64, stands: Span, planned: &Span) -> (Glyph, Tone, String) {
    let below = |limit: Option<f64>| limit.map(|limit| limit - reads).filter(|by| *by > SAME);
    let above = |limit: Option<f64>| limit.map(|limit| reads - limit).filter(|by| *by > SAME);
    if let Some(by) = below(stands.low) {
        return (Glyph::Fails, Tone::Fails, format!("too dark by {by:.1} dB"));
    }
    if let Some(by) = above(stands.high) {
        return (
            Glyph::Fails,
            Tone::Fails,
            format!("too much light by {by:.1} dB"),
        );
    }
    if let Some(by) = below(planned.low) {
        let text = format!("{by:.1} dB less than planned: clean and inspect both ends");
        return (Glyph::Tight, Tone::Tight, text);
    }
    if let Some(by) = above(planned.high) {
        return (
            Glyph::Note,
            Tone::Plain,
            format!("{by:.1} dB more than planned"),
        );
    }
    match (planned.low, planned.high) {
        (Some(_), Some(_)) => (Glyph::Fits, Tone::Fits, "as planned".to_owned()),
        _ => (
            Glyph::Unknown,
            Tone::Unknown,
            "nothing to compare it with".to_owned(),
        ),
    }
}

fn level(value: Option<f64>) -> String {
    match value {
        Some(value) => format!("{} dBm", (value * 10.0).round() / 10.0 + 0.0),
        None => "unknown".to_owned(),
    }
}

fn indented(lay: &mut Lay, strip: Vec<Piece>) {
    let mut pieces = vec![piece("  ", Tone::Plain)];
    pieces.extend(strip);
    lay.line(pieces, Target::None);
}
