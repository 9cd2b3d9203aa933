//! A table that is about to be imported: where the cells under each heading go, what is read in
//! another way than it stands, and which rows are set aside.
//!
//! Headings lead to their line, to be changed; the first line takes everything.

use super::lay::Lay;
use super::lay::piece;
use crate::files::import::How;
use crate::files::import::Mapped;
use crate::files::import::aside_lines;
use crate::problem::several;
use crate::screen::page::Page;
use crate::screen::page::Target;
use crate::screen::session::Importing;
use crate::screen::theme::Theme;
use crate::screen::theme::Tone;

/// So many notes and rows are listed.
const MOST: usize = 200;

/// What an import would do.
pub fn import(importing: &Importing, width: usize, theme: Theme) -> Page {
    let (read, others) = (importing.read(), importing.others());
    let tells_apart = importing.tells_apart();
    let title = match read.page.as_str() {
        "" => "What an import would read".to_owned(),
        page => format!("What an import would read of page {page}"),
    };
    let mut lay = Lay::new(&title, width, theme);
    let words = [
        several(read.n_links, "link", "links"),
        several(read.n_switches, "new switch", "new switches"),
        several(read.set_aside.len(), "row set aside", "rows set aside"),
    ];
    let take = [
        piece("Take it", Tone::Heading),
        piece(format!(": {}", words.join(", ")), Tone::Plain),
    ];
    lay.item(0, 2, &take, Target::TakeImport);
    lay.say(2, "One step, which undo takes back.", Tone::Quiet);
    if read.n_twins > 0 {
        let ids = several(read.n_twins, "id stands", "ids stand");
        let how = match tells_apart {
            false => "kept as they are; Enter gives each a number: L1, L1-2",
            true => "each further one gets a number; Enter leaves them as they are",
        };
        let line = [
            piece(format!("{ids} more than once"), Tone::Heading),
            piece(format!(": {how}"), Tone::Plain),
        ];
        lay.item(0, 2, &line, Target::TellApart);
    }
    lay.gap();
    lay.heading("Headings; follow one to change where its cells go");
    for (at, mapped) in read.mapped.iter().enumerate() {
        heading(&mut lay, at, mapped);
    }
    if !others.is_empty() {
        lay.gap();
        lay.heading("Other pages of the file; follow one to read it instead");
        for (at, name) in others.iter().enumerate() {
            lay.item(
                0,
                2,
                &[piece(name.as_str(), Tone::Plain)],
                Target::OtherPage(at),
            );
        }
    }
    listed(&mut lay, "Read in another way than it stands", &read.notes);
    listed(&mut lay, "Set aside", &aside_lines(&read.set_aside));
    lay.page()
}

fn heading(lay: &mut Lay, at: usize, mapped: &Mapped) {
    let shown = match mapped.heading.as_str() {
        "" => "(no heading)",
        heading => heading,
    };
    let goes = match (&mapped.unit, mapped.how) {
        (_, How::LeftOut | How::Computed) => "left out".to_owned(),
        (_, How::Unknown) if mapped.n_cells == 0 => "holds nothing".to_owned(),
        (Some(unit), _) => format!("{}, in {unit}", mapped.column),
        (None, _) => mapped.column.clone(),
    };
    let how = match mapped.how {
        How::Said => "as you say",
        How::Kept => "as before",
        How::Known => "",
        How::Unknown => "as text",
        How::LeftOut => "",
        How::Computed => "computed",
    };
    let tone = match mapped.how {
        How::Said | How::Kept => Tone::Changed,
        How::Known => Tone::Plain,
        How::Unknown | How::LeftOut | How::Computed => Tone::Quiet,
    };
    let samples = mapped.samples.join(" | ");
    let cells = [
        (piece(shown, Tone::Heading), 18),
        (piece(goes, tone), 18),
        (piece(how, Tone::Quiet), 10),
    ];
    lay.row(&cells, &[piece(samples, Tone::Quiet)], Target::Heading(at));
}

fn listed(lay: &mut Lay, title: &str, lines: &[String]) {
    if lines.is_empty() {
        return;
    }
    lay.gap();
    lay.heading(title);
    for line in lines.iter().take(MOST) {
        lay.item(0, 2, &[piece(line.as_str(), Tone::Plain)], Target::None);
    }
    if lines.len() > MOST {
        lay.say(
            0,
            &format!("{} more are not listed.", lines.len() - MOST),
            Tone::Quiet,
        );
    }
}
