//! A problem as text: message, the marked source, help lines.
//!
//! Only text out; who prints it and in which colours is decided above.

use super::{Label, Place, Problem, clean};
use annotate_snippets::{AnnotationKind, Level, Renderer, Snippet};

/// The longest source shown whole; longer ones are cut around the main mark.
const WHOLE: usize = 240;

/// The whole report of a problem, several lines, without a line break at the end.
pub fn render(problem: &Problem, coloured: bool) -> String {
    let title = clean(&problem.message).into_owned();
    let help: Vec<String> = problem
        .help
        .iter()
        .map(|step| clean(step).into_owned())
        .collect();
    let shown = problem.place.as_ref().map(Shown::of);
    let mut group = Level::ERROR
        .primary_title(title.as_str())
        .elements(Vec::<Snippet<'_, annotate_snippets::Annotation<'_>>>::new());
    if let Some(shown) = &shown {
        let mut snippet = Snippet::source(shown.source.as_str()).path(shown.origin.as_str());
        for (at, label) in shown.labels.iter().enumerate() {
            let kind = if at == 0 {
                AnnotationKind::Primary
            } else {
                AnnotationKind::Context
            };
            snippet = snippet.annotation(kind.span(label.span.clone()).label(label.text.as_str()));
        }
        group = group.element(snippet);
    }
    for step in &help {
        group = group.element(Level::HELP.message(step.as_str()));
    }
    let renderer = if coloured {
        Renderer::styled()
    } else {
        Renderer::plain()
    };
    renderer.render(&[group]).trim_end().to_owned()
}

/// A place made safe to show: cleaned, cut to a window, spans moved along.
struct Shown {
    origin: String,
    source: String,
    labels: Vec<Label>,
}

impl Shown {
    fn of(place: &Place) -> Self {
        let window = window(place);
        let text = &place.source[window.clone()];
        let source = clean(text).into_owned();
        let labels = place
            .labels
            .iter()
            .map(|label| Label {
                span: moved(text, &label.span, window.start),
                text: clean(&label.text).into_owned(),
            })
            .collect();
        Self {
            origin: clean(&place.origin).into_owned(),
            source,
            labels,
        }
    }
}

/// The part of the source worth showing, on character boundaries.
fn window(place: &Place) -> std::ops::Range<usize> {
    let source = &place.source;
    if source.len() <= WHOLE {
        return 0..source.len();
    }
    let main = place
        .labels
        .first()
        .map_or(0, |label| label.span.start.min(source.len()));
    let start = floor_boundary(source, main.saturating_sub(WHOLE / 3));
    let end = floor_boundary(source, (start + WHOLE).min(source.len()));
    start..end
}

/// The nearest character boundary at or before a byte.
fn floor_boundary(text: &str, mut at: usize) -> usize {
    at = at.min(text.len());
    while !text.is_char_boundary(at) {
        at -= 1;
    }
    at
}

/// A span of the source as a span of the cleaned window.
fn moved(text: &str, span: &std::ops::Range<usize>, offset: usize) -> std::ops::Range<usize> {
    let place = |byte: usize| {
        let inside = floor_boundary(text, byte.saturating_sub(offset));
        clean(&text[..inside]).len()
    };
    let (start, end) = (place(span.start), place(span.end));
    start..end.max(start)
}
