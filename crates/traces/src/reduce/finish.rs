//! The end of the reduction: what was summed becomes figures.

use super::{ENVELOPE, Reducer};
use crate::analysis::{CurrentFigures, Extent, Located, Sampling, VoltageFigures};
use crate::cells::{Cell, Coalescing};
use crate::defects::Tally;
use crate::reduce::run::{Clock, Run};
use crate::wakes::Machine;

/// Result of the reduction, before it is put into words.
pub(crate) struct Reduced {
    pub(crate) extent: Extent,
    pub(crate) sampling: Sampling,
    pub(crate) current: CurrentFigures,
    pub(crate) voltage: Option<VoltageFigures>,
    pub(crate) cells: Vec<Cell>,
    pub(crate) samples_per_cell: u64,
    pub(crate) machine: Option<Machine>,
    pub(crate) tallies: Tallies,
}

pub(crate) struct Tallies {
    pub(crate) gaps: Tally,
    pub(crate) backwards: Tally,
    pub(crate) negative: Tally,
    pub(crate) refused_rows: Tally,
    pub(crate) not_numbers: Tally,
    pub(crate) refusals: Option<(String, String)>,
    pub(crate) repeated: u64,
    pub(crate) top: Located,
    pub(crate) top_count: u64,
    pub(crate) top_longest: u64,
    pub(crate) equal_share: f64,
    pub(crate) step_a: f64,
}

impl Reducer<'_> {
    /// The end of the input; `None` without a single sample.
    pub(crate) fn finish(mut self) -> Option<Reduced> {
        self.flush();
        if self.samples == 0 {
            return None;
        }
        // A short trace is drawn and cut sample by sample.
        if let Some(lead) = self.lead.as_ref().filter(|l| l.current.len() <= ENVELOPE) {
            let mut fine = Coalescing::new(2 * ENVELOPE);
            let all = Run {
                first_sample: 0,
                before: None,
                clock: Clock::Stamps(&lead.time),
                current: &lead.current,
                gap_s: self.gap_s,
            };
            for s in all.steps() {
                fine.push(Cell::single(s.sample, s.time_s, s.current_a, s.charge_c, s.covered_s));
            }
            self.envelope = fine;
        }
        self.end_of_lead();
        if let Some(machine) = &mut self.machine {
            machine.finish(self.samples - 1, self.last_s);
        }
        let n = self.samples as f64;
        let mean = self.totals.sum.value() / n;
        let square = self.totals.squares.value() / n;
        let covered = self.totals.covered.value();
        let charge = self.totals.charge.value();
        // Σ(x−x̄)² = Σx² − n·x̄²: the spread of a trace is of the order of its mean or larger, so few digits cancel.
        let variance = (square - mean * mean).max(0.0) * n / (n - 1.0).max(1.0);
        let longest = if self.longest_s > 0.0 { self.longest_s } else { self.interval_s };
        let shortest = if self.shortest_s.is_finite() { self.shortest_s } else { self.interval_s };
        let digits = 8.0 * f64::EPSILON * self.last_s.abs().max(self.first_s.abs());
        // Where rows were refused, an interval may span two or three samples; that is told as refused rows, not as uneven stamps.
        let spanned = longest / self.interval_s;
        let whole = self.refused > 0 && (spanned - spanned.round()).abs() < 0.02;
        let longest_step = if whole { longest / spanned.round().max(1.0) } else { longest };
        let even = longest_step - shortest <= 0.02 * self.interval_s + digits && self.repeated == 0;
        Some(Reduced {
            extent: Extent {
                samples: self.samples,
                rows: self.rows,
                refused_rows: self.refused,
                bytes: self.bytes,
                origin_s: 0.0,
                first_s: self.first_s,
                last_s: self.last_s,
                covered_s: covered,
                stopped: None,
            },
            sampling: Sampling {
                interval_s: self.interval_s,
                rate_hz: 1.0 / self.interval_s,
                shortest_s: shortest,
                longest_s: longest,
                even,
            },
            current: CurrentFigures {
                charge_c: charge,
                mean_a: if covered > 0.0 { charge / covered } else { mean },
                sample_mean_a: mean,
                rms_a: square.sqrt(),
                standard_deviation_a: (self.samples > 1).then(|| variance.sqrt()),
                min: self.min,
                max: self.max,
            },
            voltage: self.volts.filter(|v| v.count > 0).map(|v| VoltageFigures {
                mean_v: v.sum.value() / v.count as f64,
                min_v: v.min,
                max_v: v.max,
                energy_j: v.energy.value(),
            }),
            samples_per_cell: self.envelope.width(),
            cells: self.envelope.finished(),
            machine: self.machine,
            tallies: Tallies {
                gaps: self.gaps,
                backwards: self.backwards,
                negative: self.negative,
                refused_rows: self.refused_rows,
                not_numbers: self.not_numbers,
                refusals: self.refusals.take(),
                repeated: self.repeated,
                top: self.top_first,
                top_count: self.top_count,
                top_longest: self.top_longest,
                equal_share: self.equal_seen as f64 / self.equal_looked.max(1) as f64,
                step_a: self.step_a,
            },
        })
    }
}
