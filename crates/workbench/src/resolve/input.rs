//! Document figures as uncertain inputs.

use overwinter_documents::{Figure as Documented, Kind as Origins};
use overwinter_quantity::{Dimension, Spread as Stated};
use overwinter_statistics::{Figure, Source};

use crate::case::{Input, Spread, Target};
use crate::readings::spread_source;
use crate::report::Origin;
use crate::text::Kind;

/// Kind and source that hold where a figure states none of its own.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Fallback<'a> {
    pub(crate) kind: Option<Origins>,
    pub(crate) source: Option<&'a str>,
    /// The document in words, for figures without any source.
    pub(crate) document: &'a str,
}

impl Fallback<'_> {
    pub(crate) fn origin<D: Dimension>(&self, figure: &Documented<D>) -> Origin {
        Origin {
            kind: figure
                .kind
                .or(self.kind)
                .map_or_else(|| "kind not stated".to_owned(), |k| k.to_string()),
            source: figure.source.as_deref().or(self.source).unwrap_or(self.document).to_owned(),
        }
    }
}

/// How an input is told and printed.
pub(crate) struct Face {
    pub(crate) label: String,
    pub(crate) kind: Kind,
    pub(crate) less_is_better: bool,
}

/// An input from a document's figure. `key` names its own source of uncertainty: the same key in two cases is the same
/// quantity. Where no spread is stated, `prior` (relative) is taken and the origin says so.
pub(crate) fn input<D: Dimension>(
    key: &str,
    target: Target,
    figure: &Documented<D>,
    prior: f64,
    fallback: &Fallback<'_>,
    face: Face,
) -> Input {
    let mut origin = fallback.origin(figure);
    let value = figure.si();
    let source = match figure.value.spread() {
        Stated::Unstated | Stated::AtMost | Stated::AtLeast => {
            origin.source = format!("{}; spread assumed, {} %", origin.source, prior * 100.0);
            Source::normal(key, prior * value.abs())
        }
        stated => spread_source(key, stated).unwrap_or_else(|| Source::normal(key, 0.0)),
    };
    Input {
        key: key.to_owned(),
        label: face.label,
        target,
        figure: with_source(value, source),
        spread: None,
        kind: face.kind,
        less_is_better: face.less_is_better,
        origin,
    }
}

/// An input without a document: an assumption of the workbench's own.
pub(crate) fn assumed(
    key: &str,
    target: Target,
    value: f64,
    u: f64,
    why: &str,
    face: Face,
) -> Input {
    Input {
        key: key.to_owned(),
        label: face.label,
        target,
        figure: with_source(value, Source::normal(key, u)),
        spread: None,
        kind: face.kind,
        less_is_better: face.less_is_better,
        origin: Origin { kind: "assumed".to_owned(), source: why.to_owned() },
    }
}

/// An input from a measured figure with its own sources.
pub(crate) fn measured(
    key: &str,
    target: Target,
    figure: Figure,
    spread: Option<Spread>,
    origin: Origin,
    face: Face,
) -> Input {
    Input {
        key: key.to_owned(),
        label: face.label,
        target,
        figure,
        spread,
        kind: face.kind,
        less_is_better: face.less_is_better,
        origin,
    }
}

fn with_source(value: f64, source: Source) -> Figure {
    if source.standard_uncertainty > 0.0 {
        Figure::with_source(value, source)
    } else {
        Figure::exact(value)
    }
}
