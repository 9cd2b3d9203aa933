//! The trail of a path, hop by hop: devices, the links between them, and where the time goes.

use crate::desk::Desk;
use crate::screen::page::Page;
use crate::screen::page::Target;
use crate::screen::pages::lay::Lay;
use crate::screen::pages::lay::piece;
use crate::screen::pages::row::Row;
use crate::screen::theme::Glyph;
use crate::screen::theme::Theme;
use crate::screen::theme::Tone;
use crate::table::RowId;
use crate::trade::Hop;
use crate::trade::trails;

/// The most cells of a bar.
const LONGEST: usize = 40;

/// Cells left of a bar: the line, the number and a blank.
const BEFORE: usize = 16;

/// The picture of a path, which is a row of `paths`.
pub fn trail(desk: &Desk, row: RowId, width: usize, theme: Theme) -> Page {
    let Some(sheet) = desk.plan().sheet("paths") else {
        return Lay::new("Trail", width, theme).page();
    };
    let path = Row::new(desk, sheet, row);
    let mut lay = Lay::new(&format!("Trail of {}", path.name()), width, theme);
    let trails = trails(desk.plan(), desk.engine());
    match trails.into_iter().find(|trail| trail.row == row) {
        None => lay.say(0, "The path has no beginning or no end yet.", Tone::Unknown),
        Some(trail) => match trail.hops {
            Ok(hops) => tell(&mut lay, path, &hops),
            Err(why) => {
                let mark = theme.glyph(Glyph::Fails);
                lay.say(0, &format!("{mark} No way: {why}"), Tone::Fails);
            }
        },
    }
    lay.page()
}

fn tell(lay: &mut Lay, path: Row, hops: &[Hop]) {
    let sum = |name: &str| path.shown(name).unwrap_or_else(|| "unknown".to_owned());
    let told = format!(
        "{} hops, {} one way without queues, the narrowest link carries {}",
        hops.len(),
        sum("latency"),
        sum("capacity")
    );
    lay.item(0, 2, &[piece(told, Tone::Plain)], path.target("latency"));
    lay.gap();
    let total: f64 = hops.iter().map(time).sum();
    let begin = path.shown("from").unwrap_or_default();
    lay.item(0, 2, &[piece(begin, Tone::Heading)], path.target("from"));
    for hop in hops {
        link(lay, path, hop, total);
    }
    lay.gap();
    let parts = [
        "propagation",
        "conversion",
        "correction",
        "serialization",
        "forwarding",
    ];
    for name in parts {
        let cells = [
            (piece(name, Tone::Plain), 14),
            (piece(sum(name), Tone::Computed), 12),
        ];
        lay.row(&cells, &[], path.target(name));
    }
}

/// The time of a hop in seconds; not a number where a part is missing.
fn time(hop: &Hop) -> f64 {
    hop.propagation + hop.conversion + hop.correction + hop.serialization + hop.forwarding
}

/// A link with its time, then the device at its end.
fn link(lay: &mut Lay, path: Row, hop: &Hop, total: f64) {
    let Some(sheet) = path.desk.plan().sheet("links") else {
        return;
    };
    let link = Row::new(path.desk, sheet, hop.row);
    let upright = lay.theme.glyph(Glyph::Upright);
    let made = ["interface", "used_length", "used_medium", "line_speed"];
    let made: Vec<String> = made.iter().filter_map(|name| link.shown(name)).collect();
    let pieces = [
        piece(format!("{upright} "), Tone::Quiet),
        piece(link.id(), Tone::Entered),
        piece(format!("  {}", made.join(", ")), Tone::Plain),
    ];
    lay.item(2, 4, &pieces, link.target("hop_latency"));
    let micro = |seconds: f64| match seconds.is_nan() {
        true => "unknown".to_owned(),
        false => format!("{:.3}", seconds * 1e6),
    };
    let own = time(hop);
    let room = lay.width.saturating_sub(BEFORE + 2).min(LONGEST);
    let share = own / total * room as f64;
    // A share of what is not known has no bar.
    let n = (share.round().max(0.0) as usize).min(room);
    let bar = lay.theme.glyph(Glyph::Full).repeat(n);
    let number = format!("{:>9} µs ", micro(own));
    lay.line(
        vec![
            piece(format!("  {upright} "), Tone::Quiet),
            piece(number, Tone::Computed),
            piece(bar, Tone::Computed),
        ],
        Target::None,
    );
    let mut parts = vec![
        ("line", hop.propagation),
        ("modules", hop.conversion),
        ("FEC", hop.correction),
        ("frame", hop.serialization),
    ];
    if hop.behind.is_some() {
        parts.push(("switch before it", hop.forwarding));
    }
    let parts = parts.into_iter().filter(|(_, seconds)| *seconds != 0.0);
    let parts: Vec<String> = parts
        .map(|(name, seconds)| format!("{name} {}", micro(seconds)))
        .collect();
    let through = match hop.flows_through {
        true => "; the switch before it sends on while the frame comes in",
        false => "",
    };
    lay.item(
        2,
        4,
        &[
            piece(format!("{upright} "), Tone::Quiet),
            piece(format!("{}{through}", parts.join(", ")), Tone::Quiet),
        ],
        Target::None,
    );
    let end = if hop.backward { "from" } else { "to" };
    let name = link.shown(end).unwrap_or_default();
    lay.item(0, 2, &[piece(name, Tone::Heading)], link.target(end));
}
