//! The columns of a sheet: which are shown, in which order, and what each holds.

use super::lay::Lay;
use super::lay::piece;
use crate::desk::Desk;
use crate::screen::page::Page;
use crate::screen::page::Target;
use crate::screen::theme::Glyph;
use crate::screen::theme::Theme;
use crate::screen::theme::Tone;
use crate::table::SheetId;

/// The columns shown, in their order, then the hidden ones, by position among all of the sheet.
pub fn columns(
    desk: &Desk,
    sheet: SheetId,
    shown: &[usize],
    hidden: &[usize],
    width: usize,
    theme: Theme,
) -> Page {
    let title = format!("Columns of {}", desk.plan().def(sheet).name);
    let mut lay = Lay::new(&title, width, theme);
    for (heading, list) in [("Shown", shown), ("Hidden", hidden)] {
        lay.heading(&format!("{heading}: {}", list.len()));
        for at in list {
            tell(&mut lay, desk, sheet, *at);
        }
    }
    lay.page()
}

fn tell(lay: &mut Lay, desk: &Desk, sheet: SheetId, at: usize) {
    let Some(def) = desk.engine().schema()[sheet.at()].columns.get(at) else {
        return;
    };
    let in_plan = at < desk.plan().def(sheet).columns.len();
    let (glyph, kind) = match (def.entered(), in_plan) {
        (true, true) if desk.plan().is_own(sheet, at) => (Glyph::RuleEntered, "yours, entered"),
        (true, _) => (Glyph::RuleEntered, "entered"),
        (false, true) if desk.plan().is_own(sheet, at) => (Glyph::RuleOwn, "your formula"),
        (false, true) if desk.plan().overridden(sheet, at).is_some() => {
            (Glyph::RuleOwn, "your formula")
        }
        (false, _) => (Glyph::RuleComputed, "computed"),
    };
    let mark = lay.theme.glyph(glyph);
    let cells = [
        (piece(&def.name, Tone::Heading), 20),
        (piece(&def.unit, Tone::Quiet), 6),
        (piece(format!("{mark} {kind}"), Tone::Plain), 14),
    ];
    lay.row(
        &cells,
        &[piece(&def.doc, Tone::Quiet)],
        Target::Column(sheet, at),
    );
}
