//! When ports, cages, access and uplinks of each switch are full, and what the next step up gives.

use super::lay::Lay;
use super::lay::piece;
use super::row::Row;
use crate::desk::Desk;
use crate::screen::page::Page;
use crate::screen::page::Target;
use crate::screen::theme::Glyph;
use crate::screen::theme::Theme;
use crate::screen::theme::Tone;
use crate::study::growth::Filling;
use crate::study::growth::Growth;
use crate::study::growth::Step;
use crate::study::growth::growth as study;
use crate::units::significant;

/// Fewer years than this stand out.
const SOON: f64 = 3.0;

/// How switches fill, those first that are full first.
pub fn growth(desk: &Desk, width: usize, theme: Theme) -> Page {
    let mut lay = Lay::new("Growth", width, theme);
    let told = "Years until each thing is full, at the growth that is entered; below, what the next \
                step up would give.";
    lay.say(0, told, Tone::Quiet);
    let Some(sheet) = desk.plan().sheet("switches") else {
        return lay.page();
    };
    match study(desk.plan(), desk.engine()) {
        Ok(all) if all.is_empty() => lay.say(0, "The plan has no switches.", Tone::Plain),
        Ok(all) => {
            for growth in &all {
                tell(&mut lay, Row::new(desk, sheet, growth.switch), growth);
            }
        }
        Err(problem) => lay.say(0, &problem.message, Tone::Wrong),
    }
    lay.page()
}

fn tell(lay: &mut Lay, switch: Row, growth: &Growth) {
    lay.gap();
    lay.item(
        0,
        2,
        &[piece(switch.id(), Tone::Heading)],
        switch.target("id"),
    );
    for one in &growth.fillings {
        filling(lay, switch, one);
    }
    for step in &growth.steps {
        step_up(lay, step);
    }
}

fn filling(lay: &mut Lay, switch: Row, filling: &Filling) {
    let (mark, years, tone) = match filling.years {
        Some(years) if years < SOON => {
            let mark = lay.theme.glyph(Glyph::Tight);
            (mark, format!("full in {years:.1} yr"), Tone::Tight)
        }
        Some(years) => (" ", format!("full in {years:.1} yr"), Tone::Computed),
        None => (" ", "year not known".to_owned(), Tone::Unknown),
    };
    let mut rest = vec![piece(
        format!("{} of {}", filling.used, filling.of),
        Tone::Plain,
    )];
    if let Some(growth) = &filling.growth {
        rest.push(piece(format!(", {growth} a year"), Tone::Plain));
    }
    if !filling.missing.is_empty() {
        let missing = filling.missing.join(", ");
        rest.push(piece(format!("; not known: {missing}"), Tone::Quiet));
    }
    let cells = [
        (piece(mark, tone), 1),
        (piece(filling.thing.word(), Tone::Plain), 7),
        (piece(years, tone), 15),
    ];
    // To what has to be entered, else to the years themselves.
    let column = filling.missing.first().copied();
    let column = column.unwrap_or_else(|| filling.thing.column());
    lay.row(&cells, &rest, switch.target(column));
}

fn step_up(lay: &mut Lay, step: &Step) {
    let mut pieces = vec![piece(format!("{}: ", step.what), Tone::Plain)];
    match &step.hurdle {
        Some(hurdle) => pieces.push(piece(hurdle.clone(), Tone::Tight)),
        None => {
            let ratio = |value: Option<f64>| match value {
                Some(value) => format!("{} to 1", significant(value, 4)),
                None => "unknown".to_owned(),
            };
            let worst = match step.worst_ratio {
                Some(_) => format!("{} with one cable out", ratio(step.worst_ratio)),
                None => "one cable out leaves none".to_owned(),
            };
            let years = match step.years {
                Some(years) => format!("uplinks full in {years:.1} yr"),
                None => "year not known".to_owned(),
            };
            let text = format!("ratio {}, {worst}; {years}", ratio(step.ratio));
            pieces.push(piece(text, Tone::Computed));
        }
    }
    lay.item(2, 4, &pieces, Target::None);
}
