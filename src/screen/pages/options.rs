//! Every interface and medium that could carry links, ranked, each to be taken.

use super::lay::Lay;
use super::lay::Piece;
use super::lay::piece;
use crate::desk::Desk;
use crate::screen::page::Page;
use crate::screen::page::Target;
use crate::screen::theme::Theme;
use crate::screen::theme::Tone;
use crate::study::options::Choice;
use crate::study::options::Criterion;
use crate::study::options::Options;
use crate::study::options::Standing;
use crate::study::options::options as study;
use crate::study::options::said_order;
use crate::study::order::currency;
use crate::study::order::money;
use crate::table::RowId;

/// What the page ranks by.
pub const OPTIONS_ORDER: [Criterion; 4] = Criterion::ALL;

/// So many links are named in the title.
const MOST_NAMED: usize = 4;

/// The choices for some links; those that carry them lead to being taken.
pub fn options(desk: &Desk, links: &[RowId], width: usize, theme: Theme) -> Page {
    let sheet = desk.plan().sheet("links");
    let id = |row: &RowId| sheet.map_or_else(String::new, |sheet| desk.plan().id(sheet, *row));
    let named: Vec<String> = links.iter().take(MOST_NAMED).map(id).collect();
    let more = match links.len().saturating_sub(MOST_NAMED) {
        0 => String::new(),
        n => format!(" and {n} more"),
    };
    let title = format!("Options for {}{more}", named.join(", "));
    let mut lay = Lay::new(&title, width, theme);
    match study(desk.plan(), desk.engine(), links, &OPTIONS_ORDER) {
        Ok(found) => tell(&mut lay, desk, &found),
        Err(problem) => {
            lay.say(0, &problem.message, Tone::Wrong);
            for help in &problem.help {
                lay.say(2, help, Tone::Quiet);
            }
        }
    }
    lay.page()
}

fn tell(lay: &mut Lay, desk: &Desk, found: &Options) {
    let told = format!("Ranked: {}. Enter takes one.", said_order(&found.order));
    lay.say(0, &told, Tone::Quiet);
    if found.of(Standing::Carries).next().is_none() {
        lay.gap();
        lay.say(0, "Nothing in the tables carries it.", Tone::Plain);
    }
    let currency = currency(desk.plan());
    for (standing, title) in [
        (Standing::Carries, ""),
        (Standing::Unknown, "Cannot be told"),
        (Standing::Refused, "Refused"),
    ] {
        let choices = found.choices.iter().enumerate();
        let mut own = choices
            .filter(|(_, choice)| choice.standing == standing)
            .peekable();
        if own.peek().is_some() && !title.is_empty() {
            lay.heading(title);
        }
        for (at, choice) in own {
            match standing {
                Standing::Carries => carries(lay, at, choice, currency.as_deref()),
                Standing::Unknown | Standing::Refused => refused(lay, choice),
            }
        }
    }
}

fn carries(lay: &mut Lay, at: usize, choice: &Choice, currency: Option<&str>) {
    lay.gap();
    let (mark, tone) = lay.theme.verdict(&choice.verdict);
    let now = if choice.is_now { "  as it is now" } else { "" };
    let pieces = [
        piece(format!("{mark} "), tone),
        piece(choice.name(), Tone::Heading),
        piece(now, Tone::Quiet),
    ];
    lay.item(0, 2, &pieces, Target::Take(at));
    let mut told: Vec<Piece> = vec![match choice.price {
        Some(price) => piece(money(price, currency), Tone::Computed),
        None => piece("not priced", Tone::Unknown),
    }];
    let values = [
        choice.watts.map(|watts| format!("{watts:.1} W")),
        choice
            .latency
            .map(|seconds| format!("{:.3} µs", seconds * 1e6)),
        choice.margin.map(|margin| format!("margin {margin:.2} dB")),
    ];
    let names = ["power", "latency", "margin"];
    for (value, name) in values.into_iter().zip(names) {
        told.push(piece(", ", Tone::Plain));
        told.push(match value {
            Some(value) => piece(value, Tone::Computed),
            None => piece(format!("no {name} known"), Tone::Unknown),
        });
    }
    lay.item(2, 2, &told, Target::None);
    if let Some(why) = &choice.why {
        lay.say(2, why, Tone::Tight);
    }
}

fn refused(lay: &mut Lay, choice: &Choice) {
    let why = choice.why.as_deref().unwrap_or("no reason is told");
    let (mark, tone) = lay.theme.verdict(&choice.verdict);
    let pieces = [
        piece(format!("{mark} "), tone),
        piece(format!("{}: ", choice.name()), Tone::Plain),
        piece(why, Tone::Quiet),
    ];
    lay.item(0, 2, &pieces, Target::None);
}
