//! Calls of functions: how many arguments, of which types, and the type of the result.
//!
//! Aggregates and `row_of` are in `gather.rs`.

use super::check::{Checker, Site, typed, unary_type};
use super::functions::{Body, Function, Param, Special};
use super::lex::tokens;
use super::program::{Binary, TextKernel, Unary};
use super::tree::{Expr, tree};
use super::typed::{Form, Node, Typed};
use super::{Span, Ty};
use crate::problem::Problem;

/// How deep texts of functions may call further ones; a function that calls itself ends here.
const MAX_INSIDE: usize = 16;

impl Checker<'_> {
    /// The typed part of a call.
    pub fn call(
        &mut self,
        name: &str,
        at: &Span,
        args: &[Expr],
        span: &Span,
        site: Site<'_>,
    ) -> Option<Typed> {
        let library = self.library;
        let Some(function) = library.get(name) else {
            let problem = self.unknown_function(name, at);
            args.iter().for_each(|arg| drop(self.check(arg, site)));
            return self.refuse(problem);
        };
        self.arity(function, at, args.len())?;
        match function.body {
            Body::Special(Special::Gather(gather)) => {
                self.gather(function, gather, args, span, site)
            }
            Body::Special(Special::RowOf) => self.row_of(args, span, site),
            Body::Special(_) | Body::Formula(_) | Body::Numbers { .. } | Body::Texts { .. } => {
                let args: Vec<Option<Typed>> =
                    args.iter().map(|arg| self.check(arg, site)).collect();
                let args = args.into_iter().collect::<Option<Vec<_>>>()?;
                self.apply(function, args, span)
            }
        }
    }

    fn unknown_function(&self, name: &str, at: &Span) -> Problem {
        Problem::new("function-unknown", format!("unknown function `{name}`"))
            .at(at.clone(), "")
            .did_you_mean(name, self.library.names())
    }

    fn arity(&mut self, function: &Function, at: &Span, n: usize) -> Option<()> {
        let (least, most) = function.arity();
        if n >= least && most.is_none_or(|most| n <= most) {
            return Some(());
        }
        let wanted = match most {
            Some(most) if most == least => format!("{least}"),
            Some(most) => format!("{least} or {most}"),
            None => format!("at least {least}"),
        };
        let plural = if wanted.ends_with('1') { "" } else { "s" };
        let name = function.name;
        let message = format!("`{name}` takes {wanted} argument{plural}, {n} given");
        self.refuse(
            Problem::new("argument-count", message)
                .at(at.clone(), "")
                .help(format!("{}: {}", function.signature(), function.doc)),
        )
    }

    /// A call whose arguments are checked.
    fn apply(&mut self, function: &Function, args: Vec<Typed>, span: &Span) -> Option<Typed> {
        match &function.body {
            Body::Special(special) => self.special(function, *special, args, span),
            Body::Formula(text) => {
                let args = self.arguments(function, args)?;
                self.inline(function, text, args, span)
            }
            Body::Numbers { kernel, result } => {
                let args = self.arguments(function, args)?;
                Some(self.form(function, Form::Numbers(*kernel), args, span, *result))
            }
            Body::Texts { kernel } => {
                let args = self.arguments(function, args)?;
                let ty = match kernel {
                    TextKernel::Flag(_) => Ty::Flag,
                    TextKernel::Number { result, .. } => Ty::Number(*result),
                    TextKernel::Text(_) => Ty::Text,
                };
                Some(self.form(function, Form::Texts(kernel.clone()), args, span, ty))
            }
        }
    }

    /// Arguments brought to the types of their parameters.
    fn arguments(&mut self, function: &Function, args: Vec<Typed>) -> Option<Vec<Typed>> {
        let fitted: Vec<Option<Typed>> = args
            .into_iter()
            .enumerate()
            .map(|(at, arg)| {
                let param = function.param(at)?;
                let who = format!("`{}` of `{}`", param.name, function.name);
                match param.ty {
                    Some(ty) => self.coerced(arg, ty, &who).or_else(|| self.told_of(param)),
                    None => Some(arg),
                }
            })
            .collect();
        fitted.into_iter().collect()
    }

    /// Says what a parameter is, where a problem with it has no better help.
    fn told_of(&mut self, param: &Param) -> Option<Typed> {
        let problem = self.problems.last_mut()?;
        if problem.help.is_empty() {
            problem
                .help
                .push(format!("`{}` is {}", param.name, param.doc));
        }
        None
    }

    /// A function that is itself a formula.
    fn inline(
        &mut self,
        function: &Function,
        text: &'static str,
        args: Vec<Typed>,
        span: &Span,
    ) -> Option<Typed> {
        let types: Vec<Ty> = args.iter().map(|arg| arg.ty).collect();
        match self.body(function, text, &types) {
            Ok(body) => {
                let ty = body.ty;
                let body = Box::new(body);
                Some(self.form(function, Form::Inline { text, body }, args, span, ty))
            }
            Err(problem) => self.refuse(broken(function, problem).at(span.clone(), "")),
        }
    }

    fn body(&self, function: &Function, text: &str, types: &[Ty]) -> Result<Typed, Problem> {
        let first = |mut problems: Vec<Problem>| problems.swap_remove(0);
        if self.n_inside >= MAX_INSIDE {
            let message = format!("`{}` calls itself", function.name);
            return Err(Problem::new("function-broken", message));
        }
        let expr = tree(text, &tokens(text).map_err(first)?)?;
        let mut checker = Checker::new(self.scope, self.library, text);
        checker.n_inside = self.n_inside + 1;
        let body = checker.check(&expr, Site::Body(function, types));
        match body {
            Some(body) if checker.problems.is_empty() => Ok(body),
            _ => Err(first(checker.problems)),
        }
    }

    fn special(
        &mut self,
        function: &Function,
        special: Special,
        args: Vec<Typed>,
        span: &Span,
    ) -> Option<Typed> {
        match special {
            Special::Fold(op) => self.fold(function, op, args, span),
            Special::Step(op) => self.rounding(function, op, args, span),
            Special::Same(op) | Special::Plain(op) => self.unary(function, op, args, span),
            Special::Sqrt => self.unary(function, Unary::Sqrt, args, span),
            Special::Pick => self.pick(function, args, span),
            Special::FirstGiven => {
                let (args, ty) = self.one_type(args)?;
                Some(self.chosen(function, Form::FirstGiven, args, span, ty))
            }
            Special::IsGiven => Some(self.form(function, Form::IsGiven, args, span, Ty::Flag)),
            Special::OneOf => self.one_of(function, args, span),
            // These never come with checked arguments.
            Special::Gather(_) | Special::RowOf => None,
        }
    }

    fn fold(
        &mut self,
        function: &Function,
        op: Binary,
        args: Vec<Typed>,
        span: &Span,
    ) -> Option<Typed> {
        let who = format!("`{}`", function.name);
        let numbers = args.iter().map(|arg| self.number(arg, &who).is_some());
        if numbers.filter(|is| !is).count() > 0 {
            return None;
        }
        let (args, ty) = self.one_type(args)?;
        Some(self.form(function, Form::Fold(op), args, span, ty))
    }

    fn rounding(
        &mut self,
        function: &Function,
        op: Binary,
        args: Vec<Typed>,
        span: &Span,
    ) -> Option<Typed> {
        let who = format!("`{}`", function.name);
        for arg in &args {
            let measure = self.number(arg, &who)?;
            if measure.is_level() {
                return self.refuse(no_level(&who, arg));
            }
        }
        let (args, ty) = self.one_type(args)?;
        Some(self.form(function, Form::Fold(op), args, span, ty))
    }

    fn unary(
        &mut self,
        function: &Function,
        op: Unary,
        args: Vec<Typed>,
        span: &Span,
    ) -> Option<Typed> {
        let who = format!("`{}`", function.name);
        let x = args.first()?;
        let measure = self.number(x, &who)?;
        match unary_type(op, measure) {
            Some(result) => {
                Some(self.form(function, Form::Unary(op), args, span, Ty::Number(result)))
            }
            None if measure.is_level() => self.refuse(no_level(&who, x)),
            None => {
                let needs = match op {
                    Unary::Sqrt => "an amount whose unit has a root",
                    _ => "a plain number",
                };
                let is = self.word(x.ty);
                self.refuse(
                    Problem::new("type-differs", format!("{who} needs {needs}"))
                        .at(x.span.clone(), format!("this is {is}"))
                        .help("divide it by a quantity of its unit first"),
                )
            }
        }
    }

    fn pick(&mut self, function: &Function, mut args: Vec<Typed>, span: &Span) -> Option<Typed> {
        let values = args.split_off(1);
        let condition = self.flag(args.pop()?, "the condition of `pick`");
        let (values, ty) = self.one_type(values)?;
        let mut args = vec![condition?];
        args.extend(values);
        Some(self.chosen(function, Form::Pick, args, span, ty))
    }

    /// A choice among values; nothing but missing values is itself missing.
    fn chosen(
        &self,
        function: &Function,
        form: Form,
        args: Vec<Typed>,
        span: &Span,
        ty: Ty,
    ) -> Typed {
        let n_flags = usize::from(matches!(form, Form::Pick));
        if args.iter().skip(n_flags).all(Typed::is_missing) {
            return typed(span, ty, Node::Missing);
        }
        self.form(function, form, args, span, ty)
    }

    fn one_of(&mut self, function: &Function, args: Vec<Typed>, span: &Span) -> Option<Typed> {
        let (x, others) = args.split_first()?;
        if x.ty == Ty::Flag {
            return self.refuse(
                Problem::new("type-differs", "`one_of` needs a text or a number")
                    .at(x.span.clone(), "this is yes or no"),
            );
        }
        for other in others {
            self.same_kind(x.clone(), other.clone())?;
        }
        Some(self.form(function, Form::OneOf, args, span, Ty::Flag))
    }
}

/// A function of the library whose own text is wrong; the innermost one is named.
fn broken(function: &Function, problem: Problem) -> Problem {
    const CODE: &str = "function-broken";
    let problem = if problem.code == CODE {
        Problem::new(CODE, problem.message)
    } else {
        let message = format!("`{}` is wrong itself: {problem}", function.name);
        Problem::new(CODE, message)
    };
    problem.help("this is no fault of the formula; write the function's text out instead")
}

fn no_level(who: &str, x: &Typed) -> Problem {
    Problem::new("level-in-product", format!("{who} needs an amount"))
        .at(x.span.clone(), "this is a level")
        .help("take the difference to another level first")
}
