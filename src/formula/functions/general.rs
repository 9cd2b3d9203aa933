//! Functions of any trade: smallest and greatest, roots and logarithms, rounding, choices, texts,
//! and values made of many rows.

use super::super::Ty;
use super::super::program::{Binary, Gather, TextKernel, Unary};
use super::{ARITHMETIC, Body, Function, More, Param, Special, any, param};
use std::sync::Arc;

/// The functions in the order of the manual.
pub(super) fn functions() -> Vec<Function> {
    [numbers(), choices(), texts(), rows()].concat()
}

/// A function with a type rule of its own.
fn special(
    name: &'static str,
    doc: &'static str,
    params: Vec<Param>,
    special: Special,
    example: (&'static str, &'static str),
    workbook: &'static str,
) -> Function {
    Function {
        name,
        doc,
        params,
        more: More::No,
        source: ARITHMETIC,
        example,
        workbook,
        body: Body::Special(special),
    }
}

fn repeated(function: Function) -> Function {
    Function {
        more: More::Repeated,
        ..function
    }
}

fn optional(function: Function) -> Function {
    Function {
        more: More::Optional,
        ..function
    }
}

fn numbers() -> Vec<Function> {
    let x = || any("x", "a plain number");
    let pair = || vec![any("a", "a number"), any("b", "a number of the same unit")];
    let rounding = || {
        vec![
            any("x", "an amount"),
            any("step", "an amount of the same unit"),
        ]
    };
    vec![
        repeated(special(
            "least",
            "The smallest of two or more values",
            pair(),
            Special::Fold(Binary::Least),
            ("least(3 dB, 2 dB, 2.5 dB)", "2 dB"),
            "MIN({*})",
        )),
        repeated(special(
            "most",
            "The greatest of two or more values",
            pair(),
            Special::Fold(Binary::Most),
            ("most(0 dB, 1.5 dB)", "1.5 dB"),
            "MAX({*})",
        )),
        special(
            "abs",
            "The amount without its sign",
            vec![any("x", "an amount")],
            Special::Same(Unary::Abs),
            ("abs(-2 m)", "2 m"),
            "ABS({1})",
        ),
        special(
            "sqrt",
            "The square root; the unit is rooted too",
            vec![any("x", "an amount with a unit that has a root")],
            Special::Sqrt,
            ("sqrt(16)", "4"),
            "SQRT({1})",
        ),
        special(
            "ln",
            "The natural logarithm",
            vec![x()],
            Special::Plain(Unary::Ln),
            ("ln(1)", "0"),
            "LN({1})",
        ),
        special(
            "log10",
            "The decimal logarithm",
            vec![x()],
            Special::Plain(Unary::Log10),
            ("log10(1000)", "3"),
            "LOG10({1})",
        ),
        special(
            "exp",
            "The exponential, e to the power of x",
            vec![x()],
            Special::Plain(Unary::Exp),
            ("exp(1)", "2.71828"),
            "EXP({1})",
        ),
        special(
            "nearest",
            "The nearest multiple of a step",
            rounding(),
            Special::Step(Binary::Nearest),
            ("nearest(7.4 m, 0.5 m)", "7.5 m"),
            "ROUND({1}/{2},0)*{2}",
        ),
        special(
            "next_up",
            "The next multiple of a step at or above",
            rounding(),
            Special::Step(Binary::NextUp),
            ("next_up(7.1 m, 1 m)", "8 m"),
            "ROUND({1}/{2}-0.000000001+0.5,0)*{2}",
        ),
        special(
            "next_down",
            "The next multiple of a step at or below",
            rounding(),
            Special::Step(Binary::NextDown),
            ("next_down(7.9 m, 1 m)", "7 m"),
            "ROUND({1}/{2}+0.000000001-0.5,0)*{2}",
        ),
    ]
}

fn choices() -> Vec<Function> {
    vec![
        special(
            "pick",
            "The second value where the condition is yes, the third where it is no",
            vec![
                any("condition", "yes or no"),
                any("then", "the value where yes"),
                any("otherwise", "the value where no, of the same kind"),
            ],
            Special::Pick,
            ("pick(2 m < 3 m, 1 dB, 5 dB)", "1 dB"),
            "IF({1},{2},{3})",
        ),
        repeated(special(
            "first_given",
            "The first value that is not missing",
            vec![
                any("a", "a value"),
                any("b", "what is taken where the one before is missing"),
            ],
            Special::FirstGiven,
            ("first_given(missing, 2 m)", "2 m"),
            "IF(LEN({1})>0,{1},{2})",
        )),
        special(
            "is_given",
            "Whether a value is not missing",
            vec![any("x", "any value")],
            Special::IsGiven,
            ("is_given(2 m)", "yes"),
            "(LEN({1})>0)",
        ),
        repeated(special(
            "one_of",
            "Whether the first value is the same as any of the others",
            vec![
                any("x", "a text or a number"),
                any("a", "a value to compare with; case does not count"),
            ],
            Special::OneOf,
            ("one_of(\"os2\", \"OS1\", \"OS2\")", "yes"),
            "OR([{1}={n}])",
        )),
    ]
}

fn texts() -> Vec<Function> {
    let pair = |part| {
        vec![
            param("text", "the text that is looked at", Ty::Text),
            param("part", part, Ty::Text),
        ]
    };
    let text = |name, doc, params, kernel, example, workbook| Function {
        name,
        doc,
        params,
        more: More::No,
        source: ARITHMETIC,
        example,
        workbook,
        body: Body::Texts { kernel },
    };
    vec![
        repeated(text(
            "joined",
            "Texts one after the other",
            vec![param("a", "a text", Ty::Text)],
            TextKernel::Text(Arc::new(|texts| Some(texts.concat()))),
            ("joined(\"hall\", \"-\", \"2\")", "hall-2"),
            "CONCATENATE({*})",
        )),
        text(
            "has",
            "Whether a text holds another; case does not count",
            pair("the text that is looked for"),
            TextKernel::Flag(has),
            ("has(\"pump house\", \"House\")", "yes"),
            "(COUNTIFS({1}:{1},\"*\"&{2}&\"*\")>0)",
        ),
        text(
            "begins",
            "Whether a text begins with another; case does not count",
            pair("the beginning"),
            TextKernel::Flag(begins),
            ("begins(\"pump house\", \"House\")", "no"),
            "(COUNTIFS({1}:{1},{2}&\"*\")>0)",
        ),
    ]
}

fn has(texts: &[&str]) -> bool {
    match texts {
        [text, part] => text.to_lowercase().contains(&part.to_lowercase()),
        _ => false,
    }
}

fn begins(texts: &[&str]) -> bool {
    match texts {
        [text, part] => text.to_lowercase().starts_with(&part.to_lowercase()),
        _ => false,
    }
}

fn rows() -> Vec<Function> {
    let gather = |name, doc, gather, example| {
        optional(special(
            name,
            doc,
            vec![
                any("value", "an amount of each row, e.g. `links.capacity`"),
                any("condition", "which rows count; all when left out"),
            ],
            Special::Gather(gather),
            (example, ""),
            "",
        ))
    };
    vec![
        gather(
            "total",
            "The sum over the rows of a sheet; 0 of no rows",
            Gather::Total,
            "total(links.capacity, links.from == this)",
        ),
        gather(
            "largest",
            "The greatest value among the rows of a sheet",
            Gather::Largest,
            "largest(links.length, links.from == this)",
        ),
        gather(
            "smallest",
            "The smallest value among the rows of a sheet",
            Gather::Smallest,
            "smallest(links.margin, links.from == this)",
        ),
        gather(
            "mean",
            "The mean over the rows of a sheet",
            Gather::Mean,
            "mean(links.length, links.from == this)",
        ),
        special(
            "tally",
            "How many rows of a sheet meet a condition",
            vec![any("condition", "which rows count")],
            Special::Gather(Gather::Tally),
            ("tally(links.from == this)", ""),
            "",
        ),
        special(
            "row_of",
            "The row of a sheet whose keys point to given rows",
            vec![
                any("sheet", "the name of the sheet"),
                any("keys", "one `sheet.key == row`, or two joined by `and`"),
            ],
            Special::RowOf,
            ("row_of(reaches, reaches.medium == medium)", ""),
            "",
        ),
    ]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn texts_are_searched_without_regard_to_case() {
        assert!(has(&["Pump House", "house"]));
        assert!(begins(&["Pump House", "PUMP"]));
        assert!(!begins(&["Pump House", "house"]));
    }
}
