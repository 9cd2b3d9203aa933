//! Parts of a workbook formula while it is put together: numbers, flags and texts as A1 text.
//!
//! A missing value is an error inside a formula, which carries itself along, and an empty text in
//! a cell. Nothing here knows columns; where a part comes from is in `translate.rs`.

/// A value that is an error on purpose, which stands for a missing one inside a formula.
pub const MISSING: &str = "1/0";

/// How tightly the outermost operator of a text binds.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Binds {
    /// A comparison.
    Compare,
    /// Texts joined.
    Join,
    /// A sum or difference.
    Sum,
    /// A product or quotient.
    Product,
    /// A power.
    Power,
    /// A cell, a call, a number.
    Whole,
}

/// A number: an amount of base units is `text` times `scale`.
#[derive(Debug, Clone, PartialEq)]
pub struct Number {
    /// The text, or the value in base units of a constant.
    pub what: What,
    /// What one of the text is in base units.
    pub scale: f64,
    /// Whether it may give an empty text instead of an error where it is missing.
    pub soft: bool,
    /// Whether it is always given.
    pub sure: bool,
}

/// What a number is made of.
#[derive(Debug, Clone, PartialEq)]
pub enum What {
    /// A constant in base units.
    Constant(f64),
    /// A text and how it binds.
    Text(String, Binds),
}

impl Number {
    /// A constant in base units.
    pub fn constant(value: f64) -> Self {
        Self {
            what: What::Constant(value),
            scale: 1.0,
            soft: false,
            sure: true,
        }
    }

    /// The missing number.
    pub fn missing() -> Self {
        Self::of(MISSING.to_owned(), Binds::Product, 1.0)
    }

    /// A text that gives a number or an error.
    pub fn of(text: String, binds: Binds, scale: f64) -> Self {
        Self {
            what: What::Text(text, binds),
            scale,
            soft: false,
            sure: false,
        }
    }

    /// The same, which may give an empty text where it is missing.
    #[must_use]
    pub fn soft(self) -> Self {
        Self { soft: true, ..self }
    }

    /// The same, always given where `sure`.
    #[must_use]
    pub fn sure_if(self, sure: bool) -> Self {
        Self {
            sure,
            soft: self.soft && !sure,
            ..self
        }
    }

    /// Whether it is a constant, which has no scale of its own.
    pub fn is_constant(&self) -> bool {
        matches!(self.what, What::Constant(_))
    }

    /// The text and how it binds, in its own scale.
    fn written(&self) -> (String, Binds) {
        match &self.what {
            What::Constant(value) => literal(*value / self.scale),
            What::Text(text, binds) => (text.clone(), *binds),
        }
    }

    /// The text, in parentheses where it binds less than asked for.
    pub fn text(&self, least: Binds) -> String {
        let (text, binds) = self.written();
        parenthesised(text, binds, least)
    }

    /// The text that gives a number or an error and nothing else.
    pub fn hard(&self, least: Binds) -> String {
        match self.soft {
            false => self.text(least),
            true => parenthesised(format!("{}+0", self.text(Binds::Sum)), Binds::Sum, least),
        }
    }

    /// The same value in another scale.
    #[must_use]
    pub fn in_scale(self, scale: f64) -> Self {
        if self.is_constant() {
            return Self { scale, ..self };
        }
        let Some((sign, factor)) = ratio(self.scale, scale) else {
            return Self { scale, ..self };
        };
        let text = format!("{}{sign}{}", self.text(Binds::Product), literal(factor).0);
        Self {
            what: What::Text(text, Binds::Product),
            scale,
            soft: false,
            sure: self.sure,
        }
    }
}

/// Two numbers in one scale: that of the first that is no constant.
pub fn alike(a: Number, b: Number) -> (Number, Number) {
    match (a.is_constant(), b.is_constant()) {
        (true, false) => (a.in_scale(b.scale), b),
        (false, _) => {
            let scale = a.scale;
            (a, b.in_scale(scale))
        }
        (true, true) => (a.in_scale(1.0), b.in_scale(1.0)),
    }
}

/// Numbers in one scale: that of the first that is no constant.
pub fn all_alike(all: Vec<Number>) -> Vec<Number> {
    let scale = all.iter().find(|one| !one.is_constant());
    let scale = scale.map_or(1.0, |one| one.scale);
    all.into_iter().map(|one| one.in_scale(scale)).collect()
}

/// The sign and factor that turn one scale into another; none where they are the same.
fn ratio(from: f64, to: f64) -> Option<(char, f64)> {
    let up = from / to;
    let down = to / from;
    let whole = |x: f64| {
        let near = x.round();
        (near >= 1.0 && near < 1e18 && (x / near - 1.0).abs() < 1e-12).then_some(near)
    };
    match (whole(up), whole(down)) {
        (Some(1.0), _) => None,
        (Some(times), _) => Some(('*', times)),
        (None, Some(per)) => Some(('/', per)),
        (None, None) => Some(('*', up)),
    }
}

/// A number as it stands in a formula.
pub fn literal(value: f64) -> (String, Binds) {
    let size = value.abs();
    let text = match size == 0.0 || (1e-5..1e15).contains(&size) {
        true => format!("{value}"),
        false => format!("{value:E}"),
    };
    match value < 0.0 {
        true => (text, Binds::Sum),
        false => (text, Binds::Whole),
    }
}

/// A text in quotes, as a formula has it.
pub fn quoted(text: &str) -> String {
    format!("\"{}\"", text.replace('"', "\"\""))
}

fn parenthesised(text: String, binds: Binds, least: Binds) -> String {
    match binds < least {
        true => format!("({text})"),
        false => text,
    }
}

/// Yes, no, or missing, not yet written out: what is written depends on who asks.
#[derive(Debug, Clone, PartialEq)]
pub enum Flag {
    /// Known.
    Constant(bool),
    /// Always missing.
    Missing,
    /// A text that gives yes or no.
    Sure(String),
    /// A text that gives yes, no or an error.
    Strict(String),
    /// A cell with yes, no or an empty text.
    Cell(String),
    /// A comparison of texts: when one of them is empty, and whether they are the same.
    Same {
        /// Texts that must not be empty.
        given: Vec<String>,
        /// Gives yes or no; no where a text is empty if `closed`.
        same: String,
        /// Whether `same` is no where a text is empty.
        closed: bool,
    },
    /// The opposite.
    Not(Box<Flag>),
    /// All of them.
    And(Vec<Flag>),
    /// Any of them.
    Or(Vec<Flag>),
}

impl Flag {
    /// Whether it is never missing.
    pub fn is_sure(&self) -> bool {
        match self {
            Self::Constant(_) | Self::Sure(_) => true,
            Self::Missing | Self::Strict(_) | Self::Cell(_) => false,
            Self::Same { given, .. } => given.is_empty(),
            Self::Not(x) => x.is_sure(),
            Self::And(all) | Self::Or(all) => all.iter().all(Self::is_sure),
        }
    }

    /// A text that gives yes where it is known to be yes, else no.
    pub fn yes(&self) -> String {
        match self {
            Self::Constant(true) => "TRUE".to_owned(),
            Self::Constant(false) | Self::Missing => "FALSE".to_owned(),
            Self::Sure(text) => text.clone(),
            Self::Strict(text) => format!("IFERROR({text},FALSE)"),
            Self::Cell(cell) => format!("{cell}=TRUE"),
            Self::Same {
                given,
                same,
                closed,
            } => match *closed || given.is_empty() {
                true => same.clone(),
                false => call("AND", with(all_given(given), same.clone())),
            },
            Self::Not(x) => x.no(),
            Self::And(all) => call("AND", all.iter().map(Self::yes).collect()),
            Self::Or(all) => call("OR", all.iter().map(Self::yes).collect()),
        }
    }

    /// A text that gives yes where it is known to be no, else no.
    pub fn no(&self) -> String {
        match self {
            Self::Constant(false) => "TRUE".to_owned(),
            Self::Constant(true) | Self::Missing => "FALSE".to_owned(),
            Self::Sure(text) => not(text),
            Self::Strict(text) => format!("NOT(IFERROR({text},TRUE))"),
            Self::Cell(cell) => format!("{cell}=FALSE"),
            Self::Same { given, same, .. } => {
                call("AND", with(all_given(given), format!("NOT({same})")))
            }
            Self::Not(x) => x.yes(),
            Self::And(all) => call("OR", all.iter().map(Self::no).collect()),
            Self::Or(all) => call("AND", all.iter().map(Self::no).collect()),
        }
    }

    /// A text that gives yes, no, or an error where it is missing.
    pub fn strict(&self) -> String {
        if self.is_sure() {
            return self.yes();
        }
        match self {
            Self::Constant(_) | Self::Sure(_) => self.yes(),
            Self::Missing => MISSING.to_owned(),
            Self::Strict(text) => text.clone(),
            Self::Cell(cell) => format!("IF({cell}=\"\",{MISSING},{cell})"),
            Self::Same { given, same, .. } => {
                let empty = given.iter().map(|text| format!("{text}=\"\""));
                format!("IF({},{MISSING},{same})", call("OR", empty.collect()))
            }
            Self::Not(x) => format!("NOT({})", x.strict()),
            Self::And(all) => self.joined(all, "AND", Self::no, "FALSE"),
            Self::Or(all) => self.joined(all, "OR", Self::yes, "TRUE"),
        }
    }

    /// Several flags where one that is known may decide, whether or not others are missing.
    fn joined(
        &self,
        all: &[Self],
        name: &str,
        decides: fn(&Self) -> String,
        decided: &str,
    ) -> String {
        let (sure, open): (Vec<&Self>, Vec<&Self>) = all.iter().partition(|one| one.is_sure());
        if sure.iter().any(|one| decides(one) == "TRUE") {
            return decided.to_owned();
        }
        let rest = match open.as_slice() {
            [one] => one.strict(),
            several => {
                let deciding = several.iter().map(|one| decides(one)).collect();
                let strict: Vec<String> = several.iter().map(|one| one.strict()).collect();
                let strict = match strict.iter().any(|one| one == MISSING) {
                    true => MISSING.to_owned(),
                    false => call(name, strict),
                };
                match call("OR", deciding) {
                    never if never == "FALSE" => strict,
                    deciding => format!("IF({deciding},{decided},{strict})"),
                }
            }
        };
        if sure.is_empty() {
            return rest;
        }
        let known = sure.iter().map(|one| decides(one)).collect();
        match call("OR", known) {
            never if never == "FALSE" => rest,
            known => format!("IF({known},{decided},{rest})"),
        }
    }
}

/// The opposite of a text that gives yes or no.
fn not(text: &str) -> String {
    match text {
        "TRUE" => "FALSE".to_owned(),
        "FALSE" => "TRUE".to_owned(),
        other => format!("NOT({other})"),
    }
}

/// `AND` or `OR` of parts, without those that decide nothing.
fn call(name: &str, mut args: Vec<String>) -> String {
    let (decides, idle) = match name {
        "AND" => ("FALSE", "TRUE"),
        _ => ("TRUE", "FALSE"),
    };
    if args.iter().any(|arg| arg == decides) {
        return decides.to_owned();
    }
    args.retain(|arg| arg != idle);
    match args.as_slice() {
        [] => idle.to_owned(),
        [one] => one.clone(),
        several => format!("{name}({})", several.join(",")),
    }
}

fn with(mut all: Vec<String>, last: String) -> Vec<String> {
    all.push(last);
    all
}

fn all_given(given: &[String]) -> Vec<String> {
    given.iter().map(|text| format!("{text}<>\"\"")).collect()
}

/// A text; an empty text or an error is a missing one.
#[derive(Debug, Clone, PartialEq)]
pub struct Words {
    /// The formula text; binds as a whole.
    pub text: String,
    /// The words, where they are known.
    pub constant: Option<String>,
    /// Whether it is one cell, which may be named twice and is never an error.
    pub is_cell: bool,
    /// Whether it is always given.
    pub sure: bool,
    /// Whether it is a cell that may hold nothing at all.
    pub blank: bool,
}

impl Words {
    /// Known words.
    pub fn constant(words: &str) -> Self {
        Self {
            text: quoted(words),
            constant: Some(words.to_owned()),
            is_cell: true,
            sure: !words.is_empty(),
            blank: false,
        }
    }

    /// The missing text.
    pub fn missing() -> Self {
        Self::constant("")
    }

    /// A cell.
    pub fn cell(text: String) -> Self {
        Self {
            text,
            constant: None,
            is_cell: true,
            sure: false,
            blank: false,
        }
    }

    /// Something that gives a text, an empty one or an error.
    pub fn of(text: String) -> Self {
        Self {
            text,
            constant: None,
            is_cell: false,
            sure: false,
            blank: false,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn cell(name: &str, scale: f64) -> Number {
        Number::of(name.to_owned(), Binds::Whole, scale).soft()
    }

    #[test]
    fn scales_are_turned_by_whole_factors() {
        assert_eq!(cell("A1", 1e9).in_scale(1e9).text(Binds::Sum), "A1");
        assert_eq!(
            cell("A1", 1e9).in_scale(1.0).text(Binds::Sum),
            "A1*1000000000"
        );
        assert_eq!(cell("A1", 1e-3).in_scale(1.0).text(Binds::Sum), "A1/1000");
        assert_eq!(Number::constant(1e3).in_scale(1e9).text(Binds::Sum), "1E-6");
        assert_eq!(Number::constant(-0.3).text(Binds::Product), "(-0.3)");
    }

    #[test]
    fn a_soft_number_is_made_hard_where_an_empty_text_would_compare() {
        assert_eq!(cell("A1", 1.0).hard(Binds::Compare), "A1+0");
        assert_eq!(cell("A1", 1.0).hard(Binds::Product), "(A1+0)");
    }

    #[test]
    fn one_that_is_known_may_decide() {
        let known = Flag::Sure("A1>2".to_owned());
        let open = Flag::Strict("B1<3".to_owned());
        let both = Flag::And(vec![known, open.clone()]);
        assert_eq!(both.strict(), "IF(NOT(A1>2),FALSE,B1<3)");
        assert_eq!(both.yes(), "AND(A1>2,IFERROR(B1<3,FALSE))");
        assert_eq!(Flag::Not(Box::new(open)).yes(), "NOT(IFERROR(B1<3,TRUE))");
    }
}
