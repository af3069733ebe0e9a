//! Drawings of a trace: logarithmic current axis, the envelope (every sample lies inside it, none is skipped), phases shaded.
//!
//! One [`Plot`], three renderers: [`Plot::svg`], [`Plot::png`], [`Plot::terminal`].

mod raster;
mod svg;
mod terminal;

use crate::analysis::{Analysis, Phase};
use crate::cells::Cell;
use crate::load::prefixed;

/// What is drawn.
#[derive(Debug, Clone, PartialEq)]
pub struct Plot {
    /// Above the drawing.
    pub title: String,
    /// The envelope.
    pub cells: Vec<Cell>,
    /// Shaded alternately.
    pub phases: Vec<Phase>,
    /// Drawn as a line, with its value (A).
    pub floor_a: Option<f64>,
}

/// More phases than this are not told apart by the eye and are not shaded.
const MOST_SHADED: usize = 200;

impl Plot {
    /// The whole trace.
    pub fn of(analysis: &Analysis) -> Self {
        Self {
            title: analysis.name.clone(),
            cells: analysis.envelope.cells.clone(),
            phases: if analysis.phases.len() <= MOST_SHADED {
                analysis.phases.clone()
            } else {
                Vec::new()
            },
            floor_a: analysis.floor.as_ref().map(|f| f.mean_a),
        }
    }

    /// A zoomed window.
    pub fn of_cells(title: &str, cells: Vec<Cell>) -> Self {
        Self { title: title.to_owned(), cells, phases: Vec::new(), floor_a: None }
    }

    fn frame(&self) -> Frame {
        Frame::around(&self.cells)
    }

    /// At most one cell to a column: a cell that spans several columns stays whole.
    fn columns(&self, columns: usize) -> Vec<Cell> {
        let every = self.cells.len().div_ceil(columns.max(1)).max(1);
        self.cells
            .chunks(every)
            .map(|g| {
                let mut c = g[0];
                for next in &g[1..] {
                    c.merge(next);
                }
                c
            })
            .collect()
    }
}

/// Limits of the axes: time in seconds, current in decades.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Frame {
    from_s: f64,
    to_s: f64,
    low: i32,
    high: i32,
    /// Currents at or below this stand on the lower edge: zero and negative ones have no logarithm.
    least_a: f64,
}

impl Frame {
    fn around(cells: &[Cell]) -> Self {
        let positive = |x: f64| (x > 0.0 && x.is_finite()).then_some(x);
        let high = cells.iter().filter_map(|c| positive(c.max_a)).fold(1e-12, f64::max);
        let low = cells
            .iter()
            .filter_map(|c| positive(c.min_a).or_else(|| positive(c.mean_a())))
            .fold(high, f64::min);
        // Seven decades hold every board; a stray sample near zero shall not squeeze the rest.
        let top = libm::ceil(libm::log10(high)) as i32;
        let bottom = (libm::floor(libm::log10(low)) as i32).max(top - 8).min(top - 1);
        let from_s = cells.first().map_or(0.0, |c| c.start_s);
        let to_s = cells.last().map_or(1.0, |c| c.end_s);
        Self {
            from_s,
            to_s: if to_s > from_s { to_s } else { from_s + 1.0 },
            low: bottom,
            high: top,
            least_a: libm::pow(10.0, f64::from(bottom)),
        }
    }

    /// 0 at the left, 1 at the right.
    fn x(&self, time_s: f64) -> f64 {
        ((time_s - self.from_s) / (self.to_s - self.from_s)).clamp(0.0, 1.0)
    }

    /// 0 at the bottom, 1 at the top.
    fn y(&self, current_a: f64) -> f64 {
        let decades = libm::log10(current_a.max(self.least_a)) - f64::from(self.low);
        (decades / f64::from(self.high - self.low)).clamp(0.0, 1.0)
    }

    /// Decades and their labels.
    fn current_ticks(&self) -> Vec<(f64, String)> {
        (self.low..=self.high)
            .map(|d| {
                let a = libm::pow(10.0, f64::from(d));
                let text = prefixed(a * 1.000_001, "A");
                let (number, unit) = text.split_once(' ').unwrap_or((&text, ""));
                let number = if number.contains('.') {
                    number.trim_end_matches('0').trim_end_matches('.')
                } else {
                    number
                };
                (self.y(a), format!("{number} {unit}"))
            })
            .collect()
    }

    /// Round times and their labels, about `want` of them.
    fn time_ticks(&self, want: usize) -> Vec<(f64, String)> {
        let span = self.to_s - self.from_s;
        let raw = span / want.max(1) as f64;
        let power = libm::pow(10.0, libm::floor(libm::log10(raw)));
        let step =
            [1.0, 2.0, 5.0, 10.0].into_iter().map(|m| m * power).find(|s| *s >= raw).unwrap_or(raw);
        let mut out = Vec::new();
        let mut k = (self.from_s / step).ceil();
        while k * step <= self.to_s + 1e-9 * span && out.len() < 64 {
            let t = k * step;
            out.push((self.x(t), time_text(t, step)));
            k += 1.0;
        }
        out
    }
}

/// A time in the unit of the step between ticks.
fn time_text(t: f64, step: f64) -> String {
    let (scale, unit) = if step >= 3600.0 {
        (3600.0, "h")
    } else if step >= 0.5 {
        (1.0, "s")
    } else if step >= 0.5e-3 {
        (1e-3, "ms")
    } else {
        (1e-6, "µs")
    };
    let v = t / scale;
    if v.abs() >= 1e7 {
        // Stamps that no clock gives; a label must not be longer than the plot.
        format!("{v:.2e} {unit}")
    } else if (v - v.round()).abs() < 1e-6 * v.abs().max(1.0) {
        format!("{} {unit}", v.round())
    } else {
        format!("{v:.1} {unit}")
    }
}

#[cfg(test)]
pub(super) fn sample_plot() -> Plot {
    let cells = (0..100u64)
        .map(|k| {
            let a = if (40..60).contains(&k) { 0.08 } else { 12e-6 };
            Cell {
                first_sample: k * 10,
                samples: 10,
                start_s: k as f64 * 0.01,
                end_s: k as f64 * 0.01 + 0.009,
                min_a: a * 0.9,
                max_a: a * 1.1,
                sum_a: a * 10.0,
                charge_c: a * 0.01,
                covered_s: 0.01,
            }
        })
        .collect::<Vec<_>>();
    let phases = crate::segment::segment_log_current(&cells);
    Plot { title: "a <test> & more".to_owned(), cells, phases, floor_a: Some(12e-6) }
}
