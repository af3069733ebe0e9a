//! What can be wrong with a trace, and how it is told: counted, located, with what to do next.

use crate::analysis::Located;
use serde::{Deserialize, Serialize};

/// Most places kept for one kind of defect; the count goes on.
pub(crate) const PLACES: usize = 16;

/// A kind of defect.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum DefectKind {
    /// An interval much longer than nominal. `value` is its length (s).
    Gap,
    /// Time does not advance. `value` is the step (s).
    ClockBackwards,
    /// Many samples at exactly the highest value. `value` is that value (A).
    Clipping,
    /// Samples below zero. `value` is the sample (A).
    Negative,
    /// A sample outside both levels at a change of level: a meter's range switch, or an inrush. `value` in A.
    RangeSwitch,
    /// The floor is only a few steps of the instrument's resolution high. `value` is the step (A).
    Quantisation,
    /// Currents that no such board draws. `value` is the current that says so (A).
    WrongUnit,
    /// Intervals that vary. `value` is the widest deviation (s).
    UnevenStamps,
    /// Rows that hold no usable numbers. `value` is the file's row; `sample` is the byte.
    RefusedRow,
    /// "NaN", "Inf" or an overload mark in place of a number. `value` is the file's row; `sample` is the byte.
    NotANumber,
}

/// One defect of a trace.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Defect {
    /// Which.
    pub kind: DefectKind,
    /// How many samples, intervals or rows.
    pub count: u64,
    /// The first places (at most 16).
    pub places: Vec<Located>,
    /// The worst place, where one can be worst.
    pub worst: Option<Located>,
    /// Seconds concerned, where that has a meaning.
    pub seconds: f64,
    /// What it means, with the number, and what to do next.
    pub message: String,
}

/// Collects one kind.
#[derive(Debug, Clone)]
pub(crate) struct Tally {
    pub(crate) kind: DefectKind,
    pub(crate) count: u64,
    pub(crate) seconds: f64,
    pub(crate) places: Vec<Located>,
    pub(crate) worst: Option<Located>,
}

impl Tally {
    pub(crate) fn new(kind: DefectKind) -> Self {
        Self { kind, count: 0, seconds: 0.0, places: Vec::new(), worst: None }
    }

    /// Another one; `worse` says whether the first is worse than the second.
    pub(crate) fn add(&mut self, place: Located, seconds: f64, worse: fn(f64, f64) -> bool) {
        self.count += 1;
        self.seconds += seconds;
        if self.places.len() < PLACES {
            self.places.push(place);
        }
        if self.worst.is_none_or(|w| worse(place.value, w.value)) {
            self.worst = Some(place);
        }
    }

    /// The finished defect; `None` where nothing was found.
    pub(crate) fn finish(self, message: impl FnOnce(&Self) -> String) -> Option<Defect> {
        if self.count == 0 {
            return None;
        }
        let message = message(&self);
        let Self { kind, count, seconds, places, worst } = self;
        Some(Defect { kind, count, places, worst, seconds, message })
    }
}

/// All defects in words.
#[allow(clippy::too_many_arguments, reason = "each is one part of the result, looked at once")]
pub(crate) fn judge(
    t: crate::reduce::Tallies,
    range_switch: Option<Tally>,
    histogram: &crate::histogram::LogHistogram,
    current: &crate::analysis::CurrentFigures,
    sampling: &crate::analysis::Sampling,
    floor: Option<&crate::analysis::Floor>,
    options: &crate::options::Options,
    extent: &crate::analysis::Extent,
) -> Vec<Defect> {
    use crate::error::counted;
    use crate::load::prefixed;
    let ampere = |a: f64| prefixed(a, "A");
    let second = |s: f64| prefixed(s, "s");
    let mut out: Vec<Defect> = Vec::new();
    out.extend(t.gaps.clone().finish(|g| {
        format!(
            "{}, {} in all, the longest {}; there is no charge of them in the result: what the board drew meanwhile is unknown",
            counted(g.count, "gap"),
            second(g.seconds),
            second(g.worst.map_or(0.0, |w| w.value))
        )
    }));
    out.extend(t.backwards.clone().finish(|b| {
        format!(
            "the clock runs backwards {}, by up to {}; there is no charge of those intervals; record again with a steady clock",
            if b.count == 1 { "once".to_owned() } else { format!("{} times", b.count) },
            second(b.worst.map_or(0.0, |w| -w.value))
        )
    }));
    out.extend(clipping(&t, histogram, current, options));
    out.extend(t.negative.clone().finish(|n| {
        format!(
            "{} below zero ({:.2} %), down to {}; read the zero with the input open and take it off as the offset",
            counted(n.count, "sample"),
            100.0 * n.count as f64 / extent.samples.max(1) as f64,
            ampere(n.worst.map_or(0.0, |w| w.value))
        )
    }));
    out.extend(range_switch.and_then(|r| {
        r.finish(|r| {
            format!(
                "{} outside both levels where the current changes fivefold or more: a range switch of the instrument or an inrush; lock the range to tell them apart",
                counted(r.count, "sample")
            )
        })
    }));
    let step_a = t.step_a;
    if let Some(f) = floor
        && t.equal_share > 0.2
        && step_a.is_finite()
        && step_a > 0.05 * f.mean_a.abs()
    {
        out.push(Defect {
            kind: DefectKind::Quantisation,
            count: 1,
            places: Vec::new(),
            worst: Some(Located { value: step_a, sample: 0, time_s: extent.first_s }),
            seconds: 0.0,
            message: format!(
                "the instrument's step is {}, {:.0} % of the floor ({}); use a lower range for the floor",
                ampere(step_a),
                100.0 * step_a / f.mean_a.abs().max(1e-15),
                ampere(f.mean_a)
            ),
        });
    }
    out.extend(wrong_unit(current, floor));
    if !sampling.even {
        let spread = (sampling.longest_s - sampling.interval_s)
            .max(sampling.interval_s - sampling.shortest_s);
        let repeated = if t.repeated > 0 {
            format!(
                "; {}: the stamps are coarser than the samples",
                match t.repeated {
                    1 => "1 stamp repeats the one before".to_owned(),
                    n => format!("{n} stamps repeat the one before"),
                }
            )
        } else {
            String::new()
        };
        out.push(Defect {
            kind: DefectKind::UnevenStamps,
            count: t.repeated.max(1),
            places: Vec::new(),
            worst: Some(Located { value: spread, sample: 0, time_s: extent.first_s }),
            seconds: 0.0,
            message: format!(
                "intervals between {} and {} around {}; charge follows the stamps{repeated}",
                second(sampling.shortest_s),
                second(sampling.longest_s),
                second(sampling.interval_s)
            ),
        });
    }
    out.extend(t.refused_rows.finish(|r| {
        let why = match &t.refusals {
            None => String::new(),
            Some((first, _)) if r.count == 1 => format!(": {first}"),
            Some((first, last)) if first == last => format!(", such as: {first}"),
            Some((first, last)) => format!(", the first: {first}; the last: {last}"),
        };
        format!("{} without a sample, left out{why}", counted(r.count, "row"))
    }));
    out.extend(t.not_numbers.finish(|r| {
        format!(
            "{} of NaN, infinity or overload, left out; overload means a higher range is needed",
            counted(r.count, "row")
        )
    }));
    out
}

/// Samples pile up at the very highest value.
fn clipping(
    t: &crate::reduce::Tallies,
    histogram: &crate::histogram::LogHistogram,
    current: &crate::analysis::CurrentFigures,
    options: &crate::options::Options,
) -> Option<Defect> {
    let max = current.max.value;
    let at_scale = options.full_scale_a.is_some_and(|f| max >= 0.999 * f);
    // Samples within 2 % below the top, the top itself not counted.
    let near: u64 = histogram
        .bins
        .iter()
        .filter(|b| b.high_a > 0.98 * max && b.low_a > 0.0)
        .map(|b| b.count)
        .sum();
    let near = near.saturating_sub(t.top_count);
    // Where neighbours are equal all over the trace, a flat top proves nothing.
    let piles_up =
        t.top_count >= 8 && t.top_longest >= 4 && t.top_count >= 2 * near && t.equal_share < 0.2;
    if max <= 0.0
        || !(piles_up || (at_scale && t.top_count > 0))
        || max <= 1.5 * current.sample_mean_a
    {
        return None;
    }
    Some(Defect {
        kind: DefectKind::Clipping,
        count: t.top_count,
        places: vec![t.top],
        worst: Some(t.top),
        seconds: 0.0,
        message: format!(
            "{} samples stand at exactly {}, up to {} in a row: the range is too low, the peaks and the charge are underestimated; record again on a higher range",
            t.top_count,
            crate::load::ampere_text(max),
            t.top_longest
        ),
    })
}

fn wrong_unit(
    current: &crate::analysis::CurrentFigures,
    floor: Option<&crate::analysis::Floor>,
) -> Option<Defect> {
    // Boards of this trade draw between nanoamperes asleep and a few amperes at the peak. Common practice, no source.
    let (peak, mean) = (current.max.value, current.mean_a);
    let asleep = floor.map_or(mean, |f| f.mode_a);
    let (value, guess) = if asleep > 1.0 || mean > 20.0 || peak > 100.0 {
        let guess = if peak > 10_000.0 || asleep > 1000.0 { "µA or nA" } else { "mA or µA" };
        (if asleep > 1.0 { asleep } else { peak }, format!("were the numbers in {guess}?"))
    } else if peak > 0.0 && peak < 1.0e-6 {
        (peak, "were the numbers in mA or A, or is the shunt's value wrong?".to_owned())
    } else {
        return None;
    };
    Some(Defect {
        kind: DefectKind::WrongUnit,
        count: 1,
        places: Vec::new(),
        worst: Some(Located { value, sample: 0, time_s: 0.0 }),
        seconds: 0.0,
        message: format!(
            "{} is no current of such a board; {guess}",
            crate::load::ampere_text(value)
        ),
    })
}
