//! The functions a formula may call: one record each, with name, doc, example and rule.
//!
//! General functions and those of light, its estimates, copper, time and load are here; rooms above add their
//! own with [`Library::with`].

mod copper;
mod estimate;
mod general;
mod light;
mod load;
mod time;

use super::Ty;
use super::program::{Binary, Gather, NumberKernel, TextKernel, Unary};
use indexmap::IndexMap;

/// The source of a function that is plain arithmetic.
pub const ARITHMETIC: &str = "arithmetic";

/// Everything about one function.
#[derive(Debug, Clone)]
pub struct Function {
    /// The name a formula calls it by.
    pub name: &'static str,
    /// What it gives, in one line.
    pub doc: &'static str,
    /// Its arguments in order.
    pub params: Vec<Param>,
    /// Whether the last argument may be left out or repeated.
    pub more: More,
    /// Where its rule comes from.
    pub source: &'static str,
    /// A formula and the text of its result; the text is empty where rows of a plan are needed.
    pub example: (&'static str, &'static str),
    /// The function as a workbook formula over values in base units.
    ///
    /// `{1}` is the first argument, `{*}` all of them with commas between. A part in square
    /// brackets is written once for each argument from the second on, `{n}`, with commas
    /// between. A function with repeated arguments and neither of these is applied to two at a
    /// time, from the left. Empty where a workbook has no such formula.
    pub workbook: &'static str,
    /// How its value is made.
    pub body: Body,
}

/// An argument of a function.
#[derive(Debug, Clone)]
pub struct Param {
    /// Its name, for help and inside [`Body::Formula`].
    pub name: &'static str,
    /// What it is.
    pub doc: &'static str,
    /// Its type; none where the function has a rule of its own.
    pub ty: Option<Ty>,
}

/// Whether the last argument of a function may be left out or repeated.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum More {
    /// Every argument exactly once.
    No,
    /// The last one may stand any number of times more.
    Repeated,
    /// The last one may be left out.
    Optional,
}

/// How the value of a function is made.
#[derive(Debug, Clone)]
pub enum Body {
    /// A formula over the arguments by name; it may fetch from an argument that is a row.
    Formula(&'static str),
    /// A function of numbers; the last argument is repeated as often as it is given.
    Numbers {
        /// The function, over base units.
        kernel: NumberKernel,
        /// The type of its result.
        result: Ty,
    },
    /// A function of texts.
    Texts {
        /// The function.
        kernel: TextKernel,
    },
    /// A rule of types that no list of arguments can say.
    Special(Special),
}

/// The functions with rules of their own.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Special {
    /// Two or more numbers of one measure, folded to one of the same.
    Fold(Binary),
    /// An amount and a step of the same measure.
    Step(Binary),
    /// An amount to one of the same measure.
    Same(Unary),
    /// A plain number to a plain number.
    Plain(Unary),
    /// An amount to the root of it.
    Sqrt,
    /// A flag and two values of one type.
    Pick,
    /// Values of one type.
    FirstGiven,
    /// Any value to a flag.
    IsGiven,
    /// A value and others of its type to a flag.
    OneOf,
    /// A value and a condition over the rows of a sheet.
    Gather(Gather),
    /// A sheet and keys to a row of it.
    RowOf,
}

impl Function {
    /// How few and how many arguments it takes.
    pub fn arity(&self) -> (usize, Option<usize>) {
        let n = self.params.len();
        match self.more {
            More::No => (n, Some(n)),
            More::Repeated => (n, None),
            More::Optional => (n - 1, Some(n)),
        }
    }

    /// The parameter that takes an argument by its position.
    pub fn param(&self, at: usize) -> Option<&Param> {
        match self.more {
            More::Repeated => self.params.get(at).or(self.params.last()),
            More::No | More::Optional => self.params.get(at),
        }
    }

    /// The name with its arguments, e.g. `least(a, b, ...)`.
    pub fn signature(&self) -> String {
        let names: Vec<&str> = self.params.iter().map(|param| param.name).collect();
        let dots = match self.more {
            More::Repeated => ", ...",
            More::No | More::Optional => "",
        };
        format!("{}({}{dots})", self.name, names.join(", "))
    }

    /// The function as a workbook formula with these texts for its arguments.
    ///
    /// `None` where a workbook has no such formula.
    pub fn in_workbook(&self, args: &[String]) -> Option<String> {
        if self.workbook.is_empty() {
            return None;
        }
        let by_pairs = self.more == More::Repeated
            && !self.workbook.contains("{*}")
            && !self.workbook.contains('[');
        let (first, rest) = args.split_first()?;
        if !by_pairs {
            return Some(filled(self.workbook, args));
        }
        Some(rest.iter().fold(first.clone(), |left, right| {
            filled(self.workbook, &[left, right.clone()])
        }))
    }
}

/// A workbook template with its arguments in place.
fn filled(template: &str, args: &[String]) -> String {
    let mut out = String::new();
    let mut rest = template;
    while let Some(at) = rest.find(['{', '[']) {
        out += &rest[..at];
        let closing = if rest[at..].starts_with('{') {
            '}'
        } else {
            ']'
        };
        let Some(length) = rest[at..].find(closing) else {
            break;
        };
        let inside = &rest[at + 1..at + length];
        out += &if closing == '}' {
            argument(inside, args)
        } else {
            repeated(inside, args)
        };
        rest = &rest[at + length + 1..];
    }
    out + rest
}

fn argument(number: &str, args: &[String]) -> String {
    if number == "*" {
        return args.join(",");
    }
    let at = number.parse::<usize>().ok().and_then(|n| n.checked_sub(1));
    at.and_then(|at| args.get(at)).cloned().unwrap_or_default()
}

fn repeated(part: &str, args: &[String]) -> String {
    let one = |arg: &String| filled(&part.replace("{n}", arg), args);
    args.iter().skip(1).map(one).collect::<Vec<_>>().join(",")
}

/// All functions by name, in the order of the manual.
#[derive(Debug, Clone)]
pub struct Library {
    functions: IndexMap<&'static str, Function>,
}

impl Default for Library {
    fn default() -> Self {
        Self::builtin()
    }
}

impl Library {
    /// The functions of this room.
    pub fn builtin() -> Self {
        let empty = Self {
            functions: IndexMap::new(),
        };
        empty
            .with(general::functions())
            .with(light::functions())
            .with(estimate::functions())
            .with(copper::functions())
            .with(time::functions())
            .with(load::functions())
    }

    /// The same with more functions; one of a known name takes the place of the old one.
    #[must_use]
    pub fn with(mut self, functions: Vec<Function>) -> Self {
        for function in functions {
            self.functions.insert(function.name, function);
        }
        self
    }

    /// The function of a name.
    pub fn get(&self, name: &str) -> Option<&Function> {
        self.functions.get(name)
    }

    /// All functions in order.
    pub fn iter(&self) -> impl Iterator<Item = &Function> {
        self.functions.values()
    }

    /// All names in order.
    pub fn names(&self) -> impl Iterator<Item = &str> {
        self.functions.keys().copied()
    }
}

/// A parameter of one type.
pub fn param(name: &'static str, doc: &'static str, ty: Ty) -> Param {
    Param {
        name,
        doc,
        ty: Some(ty),
    }
}

/// A parameter for which the function has a rule of its own.
fn any(name: &'static str, doc: &'static str) -> Param {
    Param {
        name,
        doc,
        ty: None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn workbook(name: &str, args: &[&str]) -> String {
        let args: Vec<String> = args.iter().map(|arg| (*arg).to_owned()).collect();
        let library = Library::builtin();
        library.get(name).unwrap().in_workbook(&args).unwrap()
    }

    #[test]
    fn workbook_texts_take_their_arguments() {
        assert_eq!(workbook("least", &["A1", "B1", "C1"]), "MIN(A1,B1,C1)");
        assert_eq!(workbook("pick", &["A1", "1", "2"]), "IF(A1,1,2)");
        assert_eq!(workbook("one_of", &["A1", "1", "2"]), "OR(A1=1,A1=2)");
        assert_eq!(
            workbook("first_given", &["A1", "B1", "C1"]),
            "IF(LEN(IF(LEN(A1)>0,A1,B1))>0,IF(LEN(A1)>0,A1,B1),C1)"
        );
    }

    #[test]
    fn every_function_is_told_whole() {
        for function in Library::builtin().iter() {
            let name = function.name;
            assert!(function.doc.starts_with(char::is_uppercase), "{name}");
            assert!(!function.source.is_empty(), "{name}");
            assert!(function.example.0.contains(name), "{name}");
            assert!(function.params.iter().all(|p| !p.doc.is_empty()), "{name}");
        }
    }
}
