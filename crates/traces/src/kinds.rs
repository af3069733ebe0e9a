//! Which wakes are alike, and which phase of one is which phase of another.
//!
//! A wake's phases are aligned with a kind's by least cost (Needleman & Wunsch 1970): two phases may stand for
//! each other when their levels lie within 40 % and their durations within a factor of 30; what stays alone costs its share of the charge.

use crate::analysis::{WakeKind, WakeReport, WakeSegment, WakeSummary};
use crate::cells::Spread;
use crate::load::{Activity, ActivitySegment, LoadProfile, NamingRule, name_phase};
use crate::options::Options;
use crate::segment::median;

const MOST_KINDS: usize = 16;
const MOST_PHASES: usize = 64;
/// Levels further apart than this many decades are different phases.
const LEVEL_REACH: f64 = 0.15;
const DURATION_REACH: f64 = 1.5;
/// Share of the charge that must be recognised on both sides.
const ALIKE: f64 = 0.6;

#[derive(Debug, Clone, Default)]
struct PhaseTemplate {
    level: Spread,
    log_duration: Spread,
    duration: Spread,
    current: Spread,
    charge: Spread,
    peak_a: f64,
    peak_s: f64,
    bursts: u64,
}

impl PhaseTemplate {
    fn add(&mut self, s: &WakeSegment) {
        self.level.add(log(s.mean_a));
        self.log_duration.add(log(s.duration_s));
        self.duration.add(s.duration_s);
        self.current.add(s.mean_a);
        self.charge.add(s.charge_c);
        self.peak_a = self.peak_a.max(s.peak_a);
        self.peak_s = self.peak_s.max(s.peak_s);
        self.bursts += u64::from(s.bursts);
    }
}

#[derive(Debug, Clone, Default)]
struct Kind {
    phases: Vec<PhaseTemplate>,
    count: u64,
    period: Spread,
    last_start_s: Option<f64>,
    duration: Spread,
    charge: Spread,
    charge_min: f64,
    charge_max: f64,
    peak_a: f64,
}

/// Wakes so far.
pub(crate) struct Kinds {
    found: Vec<Kind>,
    count: u64,
    cut: u64,
    listed: Vec<WakeSummary>,
    listed_every: u64,
    most_listed: usize,
    naming: Vec<NamingRule>,
}

fn log(x: f64) -> f64 {
    libm::log10(x.max(1e-12))
}

impl Kinds {
    pub(crate) fn new(options: &Options) -> Self {
        Self {
            found: Vec::new(),
            count: 0,
            cut: 0,
            listed: Vec::new(),
            listed_every: 1,
            most_listed: options.listed_wakes.max(2),
            naming: options.naming.clone(),
        }
    }

    pub(crate) fn restart(&mut self) {
        self.found.clear();
        self.count = 0;
        self.cut = 0;
        self.listed.clear();
        self.listed_every = 1;
    }

    /// A gap: the time to the next wake is no period.
    pub(crate) fn interrupt(&mut self) {
        for k in &mut self.found {
            k.last_start_s = None;
        }
    }

    pub(crate) fn add(&mut self, mut wake: WakeSummary) {
        wake.number = self.count;
        self.count += 1;
        let best = self
            .found
            .iter()
            .enumerate()
            .map(|(k, kind)| (k, align(&kind.phases, &wake.segments)))
            .max_by(|a, b| a.1.share.total_cmp(&b.1.share));
        if wake.cut {
            self.cut += 1;
            if let Some((k, alignment)) = best
                && alignment.share_of_wake >= ALIKE
            {
                wake.kind = Some(k);
                mark(&mut wake, &alignment);
            }
        } else {
            let (k, alignment) = match best {
                Some((k, a)) if a.share >= ALIKE => (k, a),
                _ if self.found.len() < MOST_KINDS => {
                    self.found.push(Kind::default());
                    (self.found.len() - 1, Alignment::default())
                }
                _ => {
                    self.list(wake);
                    return;
                }
            };
            wake.kind = Some(k);
            self.found[k].add(&mut wake, &alignment);
        }
        self.list(wake);
    }

    fn list(&mut self, wake: WakeSummary) {
        if !wake.number.is_multiple_of(self.listed_every) {
            return;
        }
        if self.listed.len() >= self.most_listed {
            self.listed_every *= 2;
            let every = self.listed_every;
            self.listed.retain(|w| w.number.is_multiple_of(every));
            if !wake.number.is_multiple_of(every) {
                return;
            }
        }
        self.listed.push(wake);
    }

    /// Kinds by frequency: old index to new.
    fn order(&self) -> Vec<usize> {
        let mut by: Vec<usize> = (0..self.found.len()).collect();
        by.sort_by_key(|&k| std::cmp::Reverse(self.found[k].count));
        let mut new = vec![0; by.len()];
        for (rank, k) in by.into_iter().enumerate() {
            new[k] = rank;
        }
        new
    }

    pub(crate) fn load(&self) -> LoadProfile {
        let order = self.order();
        let mut activities: Vec<(usize, Activity)> = self
            .found
            .iter()
            .enumerate()
            .map(|(k, kind)| {
                let rank = order[k];
                let letter = char::from(b'A' + (rank as u8 % 26));
                (
                    rank,
                    Activity {
                        name: format!("wake {letter}"),
                        interval_s: (kind.period.count > 0).then(|| kind.period.estimate()),
                        charge_c: kind.charge.estimate(),
                        segments: kind.segments(&self.naming),
                    },
                )
            })
            .collect();
        activities.sort_by_key(|(rank, _)| *rank);
        LoadProfile { sleep_a: None, activities: activities.into_iter().map(|(_, a)| a).collect() }
    }

    pub(crate) fn report(mut self) -> WakeReport {
        let order = self.order();
        for w in &mut self.listed {
            w.kind = w.kind.map(|k| order[k]);
        }
        let mut kinds: Vec<(usize, WakeKind)> =
            self.found.iter().enumerate().map(|(k, kind)| (order[k], kind.summary())).collect();
        kinds.sort_by_key(|(rank, _)| *rank);
        let outliers = outliers(&self.listed, kinds.len());
        WakeReport {
            count: self.count,
            cut: self.cut,
            kinds: kinds.into_iter().map(|(_, k)| k).collect(),
            listed: self.listed,
            listed_every: self.listed_every,
            outliers,
        }
    }
}

/// Charge further than 5 robust standard deviations and 10 % from the median of its kind (at least 5 wakes).
fn outliers(listed: &[WakeSummary], kinds: usize) -> Vec<WakeSummary> {
    let mut out = Vec::new();
    for k in 0..kinds {
        let group: Vec<&WakeSummary> =
            listed.iter().filter(|w| w.kind == Some(k) && !w.cut).collect();
        if group.len() < 5 {
            continue;
        }
        let mut charge: Vec<f64> = group.iter().map(|w| w.charge_c).collect();
        let Some(middle) = median(&mut charge) else { continue };
        let mut apart: Vec<f64> = charge.iter().map(|q| (q - middle).abs()).collect();
        let spread = 1.4826 * median(&mut apart).unwrap_or(0.0);
        let limit = (5.0 * spread).max(0.1 * middle.abs());
        out.extend(
            group.into_iter().filter(|w| (w.charge_c - middle).abs() > limit).take(256).cloned(),
        );
    }
    out.sort_by_key(|w| w.number);
    out
}

impl Kind {
    fn add(&mut self, wake: &mut WakeSummary, alignment: &Alignment) {
        if let Some(last) = self.last_start_s {
            self.period.add(wake.start_s - last);
        }
        self.last_start_s = Some(wake.start_s);
        if self.count == 0 {
            (self.charge_min, self.charge_max) = (wake.charge_c, wake.charge_c);
        }
        self.count += 1;
        self.duration.add(wake.duration_s);
        self.charge.add(wake.charge_c);
        self.charge_min = self.charge_min.min(wake.charge_c);
        self.charge_max = self.charge_max.max(wake.charge_c);
        self.peak_a = self.peak_a.max(wake.peak_a);
        if self.count == 1 {
            for (j, s) in wake.segments.iter_mut().take(MOST_PHASES).enumerate() {
                let mut p = PhaseTemplate::default();
                p.add(s);
                self.phases.push(p);
                s.recognised = Some(j);
            }
            return;
        }
        mark(wake, alignment);
        for s in &wake.segments {
            if let Some(j) = s.recognised {
                self.phases[j].add(s);
            }
        }
        // What the others do not have is kept too, behind the phase it follows, so that it is recognised when it comes again.
        // Only at the end of the list would indices stay valid; so insert at the end alone, in order of appearance.
        if self.count <= 64 {
            let new: Vec<WakeSegment> = wake
                .segments
                .iter()
                .filter(|s| {
                    s.recognised.is_none() && s.charge_c.abs() >= 0.02 * wake.charge_c.abs()
                })
                .cloned()
                .collect();
            for s in new {
                if self.extras() < 8 && self.phases.len() < MOST_PHASES {
                    let mut p = PhaseTemplate::default();
                    p.add(&s);
                    self.phases.push(p);
                }
            }
        }
    }

    /// Phases seen less often than half of the wakes.
    fn extras(&self) -> usize {
        self.phases.iter().filter(|p| 2 * p.duration.count < self.count).count()
    }

    fn segments(&self, naming: &[NamingRule]) -> Vec<ActivitySegment> {
        self.phases
            .iter()
            .enumerate()
            .map(|(j, p)| ActivitySegment {
                name: name_phase(naming, j, p.current.mean, p.duration.mean),
                duration_s: p.duration.estimate(),
                current_a: p.current.estimate(),
                peak_a: p.peak_a,
                peak_s: p.peak_s,
                seen_in: p.duration.count as f64 / self.count.max(1) as f64,
                bursts: 2 * p.bursts > p.duration.count,
            })
            .collect()
    }

    fn summary(&self) -> WakeKind {
        WakeKind {
            count: self.count,
            period_s: (self.period.count > 0).then_some(self.period.mean),
            jitter_s: self.period.deviation(),
            duration_mean_s: self.duration.mean,
            duration_deviation_s: self.duration.deviation(),
            charge_mean_c: self.charge.mean,
            charge_deviation_c: self.charge.deviation(),
            charge_min_c: self.charge_min,
            charge_max_c: self.charge_max,
            peak_a: self.peak_a,
        }
    }
}

fn mark(wake: &mut WakeSummary, alignment: &Alignment) {
    for (s, to) in wake.segments.iter_mut().zip(&alignment.to) {
        s.recognised = *to;
    }
}

#[derive(Debug, Clone, Default)]
struct Alignment {
    to: Vec<Option<usize>>,
    /// The lower of the two shares of charge recognised.
    share: f64,
    share_of_wake: f64,
}

/// Least-cost alignment of a wake's segments with a kind's phases, in order; then what is left over, out of order.
fn align(phases: &[PhaseTemplate], segments: &[WakeSegment]) -> Alignment {
    let segments = &segments[..segments.len().min(4 * MOST_PHASES)];
    let (n, m) = (segments.len(), phases.len());
    let charge_of_wake: f64 = segments.iter().map(|s| s.charge_c.abs()).sum::<f64>().max(1e-30);
    let charge_of_kind: f64 = phases
        .iter()
        .map(|p| p.charge.mean.abs() * p.duration.count as f64)
        .sum::<f64>()
        .max(1e-30)
        / phases.first().map_or(1.0, |p| p.duration.count as f64).max(1.0);
    let alone_s = |i: usize| 0.02 + segments[i].charge_c.abs() / charge_of_wake;
    let alone_p = |j: usize| 0.02 + phases[j].charge.mean.abs() / charge_of_kind;
    let pair = |i: usize, j: usize| {
        let level = (log(segments[i].mean_a) - phases[j].level.mean).abs();
        let duration = (log(segments[i].duration_s) - phases[j].log_duration.mean).abs();
        (level <= LEVEL_REACH && duration <= DURATION_REACH).then(|| {
            (alone_s(i) + alone_p(j))
                * (0.5 * level / LEVEL_REACH + 0.4 * duration / DURATION_REACH)
        })
    };
    let width = m + 1;
    let mut cost = vec![0.0f64; (n + 1) * width];
    for i in 0..=n {
        for j in 0..=m {
            if i + j == 0 {
                continue;
            }
            let mut best = f64::INFINITY;
            if i > 0 {
                best = best.min(cost[(i - 1) * width + j] + alone_s(i - 1));
            }
            if j > 0 {
                best = best.min(cost[i * width + j - 1] + alone_p(j - 1));
            }
            if i > 0
                && j > 0
                && let Some(p) = pair(i - 1, j - 1)
            {
                best = best.min(cost[(i - 1) * width + j - 1] + p);
            }
            cost[i * width + j] = best;
        }
    }
    let mut to = vec![None; n];
    let (mut i, mut j) = (n, m);
    while i > 0 && j > 0 {
        let here = cost[i * width + j];
        if let Some(p) = pair(i - 1, j - 1)
            && here >= cost[(i - 1) * width + j - 1] + p - 1e-12
        {
            to[i - 1] = Some(j - 1);
            i -= 1;
            j -= 1;
        } else if here >= cost[(i - 1) * width + j] + alone_s(i - 1) - 1e-12 {
            i -= 1;
        } else {
            j -= 1;
        }
    }
    let mut used: Vec<bool> = vec![false; m];
    for t in to.iter().flatten() {
        used[*t] = true;
    }
    for (i, found) in to.iter_mut().enumerate() {
        if found.is_none()
            && let Some(j) = (0..m).filter(|&j| !used[j]).find(|&j| pair(i, j).is_some())
        {
            *found = Some(j);
            used[j] = true;
        }
    }
    let wake_part: f64 =
        segments.iter().zip(&to).filter(|(_, t)| t.is_some()).map(|(s, _)| s.charge_c.abs()).sum();
    let kind_part: f64 = phases
        .iter()
        .zip(&used)
        .filter(|(_, u)| **u)
        .map(|(p, _)| p.charge.mean.abs() * p.duration.count as f64)
        .sum::<f64>()
        / phases.first().map_or(1.0, |p| p.duration.count as f64).max(1.0);
    let share_of_wake = wake_part / charge_of_wake;
    Alignment { to, share: share_of_wake.min(kind_part / charge_of_kind), share_of_wake }
}
