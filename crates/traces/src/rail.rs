//! A capture of the supply rail while the source is removed or attached: does the processor live through it?
//!
//! The steady level before is the median of the capture's first part, the event the first lasting departure from it; the dip's depth and
//! the time under the reset threshold decide. The threshold's tolerance and the noise decide whether the verdict is safe.
//!
//! # The filter
//! The lowest of n samples of a noisy level lies below it by up to σ√(2 ln n) (the expected extreme of n Gaussians is no larger; S. Boucheron, G. Lugosi,
//! P. Massart, *Concentration Inequalities* (2013), section 2.5): with σ = 20 mV and 10⁶ samples 105 mV, which no processor ever saw.
//! So the rail is judged by its running mean over a filter. Where the filter is not stated it is as long as the noise asks for: so many samples w that
//! what is left, σ√(2 ln n)/√w, is half the tolerance; but never longer than a tenth of the dip itself, which it would fill in. What then is
//! left above half the tolerance is added to the tolerance. A noiseless capture is judged sample by sample. White noise is assumed.

use crate::segment::{median, noise_of};
use serde::{Deserialize, Serialize};

/// What is known of the processor's reset.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RailOptions {
    /// The rail below which the processor resets (V).
    pub reset_threshold_v: f64,
    /// ± tolerance of that threshold and of the probe together (V).
    pub tolerance_v: f64,
    /// The rail is averaged over this before it is judged, and shorter than this under the threshold does no harm (s): the reset circuit's own
    /// filter, where it is known. 0 judges every sample; `None` derives it from the noise.
    pub filter_s: Option<f64>,
}

/// The answer.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum RailVerdict {
    /// The rail stays above the threshold by more than the tolerance.
    RidesThrough,
    /// Within the tolerance of the threshold, or under it for less than the filter: cannot be told.
    Marginal,
    /// Under the threshold by more than the tolerance, for longer than the filter.
    Resets,
    /// The capture shows no dip.
    NoEvent,
}

/// What a capture shows.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct RailReport {
    /// Median before the event (V).
    pub before_v: f64,
    /// Median at the end of the capture (V).
    pub after_v: f64,
    /// Lowest, filtered (V).
    pub lowest_v: f64,
    /// Lowest single sample (V).
    pub lowest_sample_v: f64,
    /// The filter in use (s).
    pub filter_s: f64,
    /// It was derived from the noise, not stated.
    pub filter_derived: bool,
    /// What noise may still add or take at the lowest point (V), filtered.
    pub noise_left_v: f64,
    /// When (s).
    pub lowest_at_s: f64,
    /// Before less lowest (V).
    pub dip_v: f64,
    /// Highest (V): an attach overshoot matters for the processor's maximum rating.
    pub highest_v: f64,
    /// Start of the event (s).
    pub start_s: Option<f64>,
    /// Time below a tenth of the dip under the lower of both levels (s).
    pub dip_duration_s: f64,
    /// Time under the threshold (s), crossings interpolated.
    pub under_threshold_s: f64,
    /// How often it went under.
    pub times_under: u64,
    /// Lowest less threshold (V): the margin, negative under it.
    pub margin_v: f64,
    /// Standard deviation of the noise before the event (V).
    pub noise_v: f64,
    /// The answer.
    pub verdict: RailVerdict,
    /// Why it might not be trusted.
    pub cautions: Vec<String>,
}

/// Judges a capture. `None` with fewer than 8 samples, non-finite values or times that do not advance.
pub fn analyse_rail(time_s: &[f64], rail_v: &[f64], options: &RailOptions) -> Option<RailReport> {
    let n = rail_v.len();
    if n < 8 || time_s.len() != n || rail_v.iter().chain(time_s).any(|x| !x.is_finite()) {
        return None;
    }
    if time_s.windows(2).any(|w| w[1] < w[0]) {
        return None;
    }
    let head = (n / 20).clamp(4, 100_000);
    let before_v = median(&mut rail_v[..head].to_vec())?;
    let after_v = median(&mut rail_v[n - head..].to_vec())?;
    let noise_v = noise_of(&rail_v[..head]);
    let interval = (time_s[n - 1] - time_s[0]) / (n - 1) as f64;
    let tolerance = options.tolerance_v.max(0.0);
    let lowest_sample_v = rail_v.iter().copied().fold(f64::INFINITY, f64::min);
    let extreme = noise_v * libm::sqrt(2.0 * libm::log(n as f64));
    let width = match options.filter_s {
        Some(s) if interval > 0.0 => ((s / interval).round() as usize).clamp(1, n),
        Some(_) => 1,
        None => derived_width(rail_v, before_v, extreme, tolerance),
    };
    let filter_s = options.filter_s.unwrap_or((width - 1) as f64 * interval).max(0.0);
    let noise_left_v = extreme / libm::sqrt(width as f64);
    // Half the tolerance is there for it; the rest widens what cannot be told.
    let tolerance =
        tolerance + (noise_left_v - 0.5 * tolerance).max(0.0) * f64::from(noise_v > 0.0);
    let smooth = running_mean(rail_v, width);
    let rail = smooth.as_slice();
    let (k, lowest_v) = rail.iter().copied().enumerate().min_by(|a, b| a.1.total_cmp(&b.1))?;
    let highest_v = rail_v.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let dip_v = before_v - lowest_v;
    // A departure of six standard deviations (or 1 % of the level, for a noiseless capture) is an event.
    let event = (6.0 * noise_v).max(0.01 * before_v.abs());
    let start = rail.iter().position(|v| before_v - v > event);
    let base = before_v.min(after_v);
    let (dip_duration_s, _) = time_under(time_s, rail, base - 0.1 * (base - lowest_v));
    let (under_threshold_s, times_under) = time_under(time_s, rail, options.reset_threshold_v);
    let margin_v = lowest_v - options.reset_threshold_v;
    // A derived filter is no reset circuit's: it says nothing of how long does harm.
    let harmless_s = options.filter_s.unwrap_or(0.0).max(0.0);
    let verdict = if start.is_none() && margin_v > tolerance {
        RailVerdict::NoEvent
    } else if margin_v > tolerance {
        RailVerdict::RidesThrough
    } else if margin_v < -tolerance
        && under_threshold_s > harmless_s
        && time_under(time_s, rail, options.reset_threshold_v - tolerance).0 > harmless_s
    {
        RailVerdict::Resets
    } else {
        RailVerdict::Marginal
    };
    let mut cautions = Vec::new();
    if before_v < options.reset_threshold_v + tolerance {
        cautions.push(format!(
            "the rail stands at {before_v:.3} V before the event, at or under the threshold"
        ));
    }
    if k == 0 || k + 1 == n {
        cautions.push(
            "the lowest point is at the end of the capture: the dip may go on outside it"
                .to_owned(),
        );
    }
    if start.is_some() && dip_duration_s < 5.0 * interval {
        cautions.push(
            "the dip holds fewer than five samples: it may be deeper between them; sample faster"
                .to_owned(),
        );
    }
    if noise_left_v > 0.5 * options.tolerance_v.max(0.0) && noise_left_v > 0.0 {
        cautions.push(format!(
            "noise may still move the lowest point by {:.1} mV: the verdict allows for it; a quieter probe or a stated filter tells more",
            1e3 * noise_left_v
        ));
    }
    if start.is_some() && after_v < base - event && after_v < 0.9 * before_v {
        cautions.push("the rail has not come back by the end of the capture".to_owned());
    }
    Some(RailReport {
        before_v,
        after_v,
        lowest_v,
        lowest_sample_v,
        filter_s,
        filter_derived: options.filter_s.is_none(),
        noise_left_v,
        lowest_at_s: time_s[k],
        dip_v,
        highest_v,
        start_s: start.map(|k| time_s[k]),
        dip_duration_s: if start.is_some() { dip_duration_s } else { 0.0 },
        under_threshold_s,
        times_under,
        margin_v,
        noise_v,
        verdict,
        cautions,
    })
}

/// Samples to average, from the noise's extreme and the tolerance; at most a tenth of those in the dip below half its depth.
fn derived_width(rail_v: &[f64], before_v: f64, extreme: f64, tolerance: f64) -> usize {
    if extreme <= 0.5 * tolerance || extreme == 0.0 {
        return 1;
    }
    // The dip's own length from levels that single samples do not decide: its lowest hundredth.
    let mut sorted = rail_v.to_vec();
    let low = *sorted.select_nth_unstable_by(rail_v.len() / 100, f64::total_cmp).1;
    let half = 0.5 * (before_v + low);
    let deep = before_v - low > extreme;
    let dip = if deep { rail_v.iter().filter(|v| **v < half).count() } else { rail_v.len() };
    let times = 2.0 * extreme / tolerance.max(1e-9);
    let asked = times * times;
    (asked.ceil().min(1e9) as usize).clamp(1, (dip / 10).max(1))
}

/// Mean over `width` samples around each; fewer at the ends.
fn running_mean(v: &[f64], width: usize) -> Vec<f64> {
    if width <= 1 {
        return v.to_vec();
    }
    let (left, right) = ((width - 1) / 2, width / 2);
    let mut sums = Vec::with_capacity(v.len() + 1);
    // From the first value on: the sums of a long record stay small against their digits.
    let zero = v[0];
    sums.push(0.0);
    let mut sum = 0.0;
    for x in v {
        sum += x - zero;
        sums.push(sum);
    }
    (0..v.len())
        .map(|k| {
            let (a, b) = (k.saturating_sub(left), (k + right + 1).min(v.len()));
            zero + (sums[b] - sums[a]) / (b - a) as f64
        })
        .collect()
}

/// Time under a level, crossings interpolated, and the number of falls below it.
fn time_under(time_s: &[f64], v: &[f64], level: f64) -> (f64, u64) {
    let mut sum = 0.0;
    let mut falls = u64::from(v[0] < level);
    for k in 1..v.len() {
        let dt = time_s[k] - time_s[k - 1];
        let (a, b) = (v[k - 1] - level, v[k] - level);
        sum += match (a < 0.0, b < 0.0) {
            (true, true) => dt,
            (false, false) => 0.0,
            (true, false) => dt * (a / (a - b)),
            (false, true) => {
                falls += 1;
                dt * (b / (b - a))
            }
        };
    }
    (sum, falls)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A triangular dip from 3.3 V: 1 ms down to `low`, 1 ms up.
    fn triangle(low: f64) -> (Vec<f64>, Vec<f64>) {
        let t: Vec<f64> = (0..10_000).map(|k| f64::from(k) * 1e-6).collect();
        let v = t
            .iter()
            .map(|t| {
                let x = (t - 5e-3).abs();
                if x < 1e-3 { 3.3 - (3.3 - low) * (1.0 - x / 1e-3) } else { 3.3 }
            })
            .collect();
        (t, v)
    }

    fn options() -> RailOptions {
        RailOptions { reset_threshold_v: 2.8, tolerance_v: 0.05, filter_s: None }
    }

    #[test]
    fn a_triangle_has_its_geometry() {
        let (t, v) = triangle(2.3);
        let r = analyse_rail(&t, &v, &options()).unwrap();
        // 1.0 V deep, 2 ms at the base: 1 ms wide at half depth (2.8 V), 1.8 ms wide at a tenth.
        assert!((r.dip_v - 1.0).abs() < 1e-9);
        assert!((r.under_threshold_s - 1e-3).abs() < 1e-9, "{}", r.under_threshold_s);
        assert!((r.dip_duration_s - 1.8e-3).abs() < 1e-9, "{}", r.dip_duration_s);
        assert_eq!((r.verdict, r.times_under), (RailVerdict::Resets, 1));
    }

    #[test]
    fn verdicts_follow_margin_and_tolerance() {
        let verdict = |low: f64| {
            let (t, v) = triangle(low);
            analyse_rail(&t, &v, &options()).unwrap().verdict
        };
        assert_eq!(verdict(2.9), RailVerdict::RidesThrough);
        assert_eq!(verdict(2.82), RailVerdict::Marginal);
        assert_eq!(verdict(2.78), RailVerdict::Marginal);
        assert_eq!(verdict(3.3), RailVerdict::NoEvent);
    }

    /// The same with Gaussian noise (sums of twelve uniforms of a xorshift).
    fn noisy(low: f64, sigma: f64) -> (Vec<f64>, Vec<f64>) {
        let (t, mut v) = triangle(low);
        let mut state = 0x2545_f491_4f6c_dd1d_u64;
        for x in &mut v {
            let mut sum = -6.0;
            for _ in 0..12 {
                state ^= state << 13;
                state ^= state >> 7;
                state ^= state << 17;
                sum += (state >> 11) as f64 / (1u64 << 53) as f64;
            }
            *x += sigma * sum;
        }
        (t, v)
    }

    #[test]
    fn noise_alone_resets_nothing() {
        // 150 mV above the threshold, noise of 40 mV: single samples lie under it, the rail never did.
        let (t, v) = noisy(2.95, 0.04);
        let raw = analyse_rail(&t, &v, &RailOptions { filter_s: Some(0.0), ..options() }).unwrap();
        assert!(raw.lowest_v < 2.87 && raw.verdict != RailVerdict::RidesThrough, "{raw:?}");
        let r = analyse_rail(&t, &v, &options()).unwrap();
        assert!(r.filter_derived && (20e-6..110e-6).contains(&r.filter_s), "{}", r.filter_s);
        assert!((r.lowest_v - 2.95).abs() < 0.03, "{}", r.lowest_v);
        assert_eq!(r.verdict, RailVerdict::RidesThrough);
        assert_eq!(r.lowest_sample_v, raw.lowest_v);
        // As far under it: it resets, for as long as the geometry says (0.15 of 0.65 V of 2 ms).
        let (t, v) = noisy(2.65, 0.04);
        let r = analyse_rail(&t, &v, &options()).unwrap();
        assert_eq!(r.verdict, RailVerdict::Resets);
        assert!((r.under_threshold_s - 0.15 / 0.65 * 2e-3).abs() < 5e-5, "{}", r.under_threshold_s);
        assert!((r.lowest_v - 2.65).abs() < 0.04, "{}", r.lowest_v);
    }

    #[test]
    fn without_noise_every_sample_counts() {
        let (t, v) = triangle(2.9);
        let r = analyse_rail(&t, &v, &options()).unwrap();
        assert_eq!((r.filter_s, r.noise_left_v, r.lowest_v), (0.0, 0.0, r.lowest_sample_v));
    }

    #[test]
    fn nothing_is_said_of_nonsense() {
        assert_eq!(analyse_rail(&[0.0; 3], &[1.0; 3], &options()), None);
        assert_eq!(analyse_rail(&[0.0; 9], &[f64::NAN; 9], &options()), None);
        let back: Vec<f64> = (0..9).rev().map(f64::from).collect();
        assert_eq!(analyse_rail(&back, &[1.0; 9], &options()), None);
    }
}
