//! What formulas may call: a list, and all about one function.

use super::lay::Lay;
use super::lay::piece;
use super::rank::ranked;
use crate::formula::Function;
use crate::formula::Library;
use crate::formula::Ty;
use crate::formula::functions::Param;
use crate::screen::page::Page;
use crate::screen::page::Target;
use crate::screen::theme::Theme;
use crate::screen::theme::Tone;
use crate::units::Units;

/// The functions that a few letters mean, best first, each leading to all about it.
pub fn functions(needle: &str, library: &Library, width: usize, theme: Theme) -> Page {
    let mut lay = Lay::new("Functions", width, theme);
    let all: Vec<&Function> = library.iter().collect();
    let things: Vec<(&str, &str)> = all.iter().map(|known| (known.name, known.doc)).collect();
    let meant = ranked(needle, &things);
    if meant.is_empty() {
        let text = format!("No function is called `{needle}` or does that.");
        lay.say(0, &text, Tone::Plain);
    }
    for at in meant {
        let name = piece(all[at].signature(), Tone::Heading);
        lay.item(0, 4, &[name], Target::Function(at));
        lay.say(4, all[at].doc, Tone::Quiet);
    }
    lay.page()
}

/// All about one function.
pub fn function(known: &Function, width: usize, theme: Theme) -> Page {
    let mut lay = Lay::new(&known.signature(), width, theme);
    lay.say(0, known.doc, Tone::Plain);
    if !known.params.is_empty() {
        lay.heading("Arguments");
    }
    for param in &known.params {
        let mut pieces = vec![
            piece(format!("{}: ", param.name), Tone::Key),
            piece(param.doc, Tone::Plain),
        ];
        pieces.extend(measure(param).map(|text| piece(format!(" ({text})"), Tone::Quiet)));
        lay.item(2, 4, &pieces, Target::None);
    }
    lay.heading("Example");
    lay.say(2, known.example.0, Tone::Plain);
    if !known.example.1.is_empty() {
        lay.say(2, &format!("gives {}", known.example.1), Tone::Plain);
    }
    if !known.workbook.is_empty() {
        lay.heading("In a workbook");
        lay.say(2, known.workbook, Tone::Quiet);
    }
    lay.heading("Source");
    lay.say(2, known.source, Tone::Quiet);
    lay.page()
}

/// What an argument measures, with its usual unit; none where the function has a rule of its own.
fn measure(param: &Param) -> Option<String> {
    Some(match param.ty? {
        Ty::Number(measure) => {
            let unit = Units::builtin().default_for(measure).symbol;
            match (measure.is_level(), measure.dim.word()) {
                (true, _) => format!("a level in {unit}"),
                (false, Some(word)) if unit.is_empty() || word.ends_with(&unit) => word.to_owned(),
                (false, Some(word)) => format!("{word}, e.g. in {unit}"),
                (false, None) => format!("in {unit}"),
            }
        }
        Ty::Text => "a text".to_owned(),
        Ty::Flag => "yes or no".to_owned(),
        Ty::Row(_) => "a row".to_owned(),
    })
}
