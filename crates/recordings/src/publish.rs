//! What a published page carries of the recordings: overviews, overlays and verdicts, a few tens of kilobytes each.

use std::path::Path;

use overwinter_documents::Origin;
use overwinter_documents::types::recording::Shows;
use overwinter_workbench::bench::Bench;
use overwinter_workbench::trace_report::{PublishedTrace, TraceOverlay, TraceWindow};

use crate::answer::Recordings;
use crate::rail::{Threshold, judge};
use crate::subject::{Stated, Subject, rules};
use crate::view;

/// Columns of an overview.
const COLUMNS: usize = 1200;
/// Wakes and points of an overlay.
const OVERLAY: (usize, usize) = (10, 200);
/// Phases and wakes of an overview.
const MOST_IN_VIEW: usize = 200;
/// Significant figures that a drawing needs: half a percent is a tenth of a pixel on a logarithmic axis of six decades.
const FIGURES: usize = 3;

/// All kept recordings and rail captures of a folder; what cannot be read is left out of the page with its reason.
pub fn published(bench: &Bench, root: &Path) -> Vec<PublishedTrace> {
    let recordings = Recordings::new(root);
    let own = bench.folder().recordings.iter().filter(|e| e.origin == Origin::Folder);
    own.map(|entry| {
        let name = entry.document.name.as_str();
        let mut one = PublishedTrace {
            recording: recordings.line(bench, entry, &|| true),
            overview: None,
            overlay: None,
            rail: None,
        };
        if entry.document.shows == Some(Shows::Rail) {
            let found = Subject::find(bench.folder(), root, name).and_then(|subject| {
                judge(bench, &subject, &Stated::default(), &Threshold::default())
            });
            match found {
                Ok(mut rail) => {
                    for list in [
                        &mut rail.columns.start_s,
                        &mut rail.columns.min_v,
                        &mut rail.columns.max_v,
                    ] {
                        shorten(list, FIGURES + 2);
                    }
                    one.rail = Some(rail);
                }
                Err(error) => one.recording.problem = Some(error.to_string()),
            }
            return one;
        }
        let Ok((subject, mut trace, analysis)) = recordings.kept(bench, name, &|| true) else {
            return one;
        };
        let naming = subject.document().map_or_else(Vec::new, rules);
        let window = view::window(name, &mut trace, &analysis, &naming, None, None, COLUMNS);
        one.overview = window.map(short_window).ok();
        let (most, points) = OVERLAY;
        one.overlay =
            view::overlay(name, &mut trace, &analysis, 0, most, points).map(short_overlay).ok();
        one
    })
    .collect()
}

fn short_window(mut window: TraceWindow) -> TraceWindow {
    let columns = &mut window.columns;
    // Starts are counted from the beginning; as many figures as tell two columns apart.
    shorten(&mut columns.start_s, FIGURES + 4);
    for list in [&mut columns.min_a, &mut columns.mean_a, &mut columns.max_a] {
        shorten(list, FIGURES);
    }
    window.phases.truncate(MOST_IN_VIEW);
    window.wakes.truncate(MOST_IN_VIEW);
    window
}

fn short_overlay(mut overlay: TraceOverlay) -> TraceOverlay {
    shorten(&mut overlay.time_s, FIGURES + 2);
    let lists = overlay.wakes.iter_mut().map(|w| &mut w.mean_a).chain([&mut overlay.median_a]);
    for value in lists.flatten().flatten() {
        *value = short(*value, FIGURES);
    }
    overlay
}

fn shorten(list: &mut [f64], figures: usize) {
    for value in list {
        *value = short(*value, figures);
    }
}

/// The nearest number of so many significant figures: fewer digits in the page.
fn short(value: f64, figures: usize) -> f64 {
    format!("{value:.*e}", figures - 1).parse().unwrap_or(value)
}
