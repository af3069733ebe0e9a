//! Somebody else's figure: does it disagree, and why would it.
//!
//! Normalised error `E_n = |a − b|/√(U_a² + U_b²)` with `U = 2u`; up to 1 the two agree
//! (ISO/IEC 17043:2010, B.4.1). Reasons are computed from the two sets of conditions and from what is
//! known of the board; each says how much of the gap it explains.

use overwinter_statistics::special::normal_cdf;

/// What fed the board.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Feed {
    /// Battery contacts only.
    Battery,
    /// USB, with or without a cell.
    Usb,
}

/// Conditions of a figure; `None` is unknown, not "the usual".
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Conditions {
    /// Supply voltage at the board, V.
    pub voltage_v: Option<f64>,
    /// Board temperature, °C.
    pub temperature_c: Option<f64>,
    /// What fed it.
    pub feed: Option<Feed>,
    /// Light-emitting diode lit.
    pub led_lit: Option<bool>,
    /// Time waited before the reading, s.
    pub settled_for_s: Option<f64>,
    /// Series resistance of the meter, Ω.
    pub meter_ohm: Option<f64>,
    /// Revision of the board.
    pub revision: Option<String>,
    /// Firmware and sleep mode.
    pub firmware: Option<String>,
    /// Specimen.
    pub specimen: Option<String>,
}

/// A figure with its conditions.
#[derive(Clone, Debug, PartialEq)]
pub struct Claim {
    /// Value, A.
    pub value_a: f64,
    /// Standard uncertainty, A.
    pub standard_uncertainty_a: f64,
    /// Conditions.
    pub conditions: Conditions,
}

/// An estimate with its standard uncertainty.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Estimate {
    /// Value.
    pub value: f64,
    /// Standard uncertainty.
    pub u: f64,
}

/// What is known of the board and bears on a disagreement.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct BoardKnowledge {
    /// Slope of the current with the supply voltage, A/V (from the sweep).
    pub slope_a_per_v: Option<Estimate>,
    /// Part of the current that is semiconductor leakage at the first figure's temperature, A.
    pub leakage_a: Option<Estimate>,
    /// Temperature over which leakage doubles, K; 10 when not given.
    pub doubling_k: Option<f64>,
    /// Current of parts that only run (or only stop) when USB feeds the board: what the battery
    /// reading shows more than the USB reading, A.
    pub battery_more_than_usb_a: Option<Estimate>,
    /// Current of the light-emitting diode, A.
    pub led_a: Option<Estimate>,
    /// Settling transient: amplitude at zero, A, and time constant, s.
    pub transient: Option<(f64, f64)>,
    /// Coefficient of variation between specimens.
    pub specimen_cv: f64,
    /// Currents of always-on parts that the first board has. Where the revisions differ, or one is not
    /// told, the second board may lack one of them or feed it from elsewhere.
    pub parts_a: Vec<Estimate>,
}

/// A cause of a difference.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Cause {
    /// Supply voltage.
    Voltage,
    /// Temperature of the leakage.
    Temperature,
    /// Battery against USB: bridge suspended or fed from elsewhere.
    Feed,
    /// Light-emitting diode.
    Led,
    /// Not settled.
    Settling,
    /// Voltage lost in the meter.
    Burden,
    /// Spread between specimens.
    Specimen,
    /// A part of the first board that the second may lack or feed from elsewhere, by its place in
    /// [`BoardKnowledge::parts_a`].
    Part(usize),
    /// Another revision: no number can be put on it.
    Revision,
    /// Another firmware or sleep mode: no number can be put on it.
    Firmware,
}

/// How firm a reason is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Standing {
    /// Both conditions are known and differ.
    Differs,
    /// A condition is unknown on one side: the reason holds if it differs. Ask.
    IfDifferent,
    /// The conditions differ but the effect cannot be computed.
    NotQuantified,
}

/// A computed reason.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Reason {
    /// What.
    pub cause: Cause,
    /// How firm.
    pub standing: Standing,
    /// What it adds to `second − first`, A; `None` where it cannot be computed.
    pub effect_a: Option<Estimate>,
    /// Share of the gap it explains (1 all of it, negative: makes it worse).
    pub share: Option<f64>,
}

/// The verdict.
#[derive(Clone, Debug, PartialEq)]
pub enum Verdict {
    /// `E_n ≤ 1` as they stand.
    Agree,
    /// They differ because conditions differ, and each is right under its own.
    BothRight {
        /// The causes that close the gap.
        causes: Vec<Cause>,
        /// `E_n` after allowing for them.
        remaining: f64,
    },
    /// They would both be right if these unknown conditions differ: ask.
    BothRightIf {
        /// The causes to ask about, with those already known.
        causes: Vec<Cause>,
        /// `E_n` after allowing for them.
        remaining: f64,
    },
    /// No computed reason closes the gap.
    Unexplained {
        /// `E_n` after allowing for all known differences.
        remaining: f64,
    },
}

/// Two claims held against each other.
#[derive(Clone, Debug, PartialEq)]
pub struct Disagreement {
    /// `second − first`, A.
    pub gap_a: f64,
    /// Normalised error; `None` when neither has an uncertainty.
    pub normalised_error: Option<f64>,
    /// Reasons, best explanation first.
    pub reasons: Vec<Reason>,
    /// What follows.
    pub verdict: Verdict,
}

/// `E_n` of a gap with the two standard uncertainties (and more in quadrature).
pub fn normalised_error(gap: f64, standard_uncertainties: &[f64]) -> Option<f64> {
    let expanded = 2.0 * standard_uncertainties.iter().map(|u| u * u).sum::<f64>().sqrt();
    (expanded > 0.0).then(|| gap.abs() / expanded)
}

/// Compares two figures and ranks what could have made the difference.
pub fn compare(first: &Claim, second: &Claim, board: &BoardKnowledge) -> Disagreement {
    let gap_a = second.value_a - first.value_a;
    let own = [first.standard_uncertainty_a, second.standard_uncertainty_a];
    let normalised = normalised_error(gap_a, &own);
    let mut reasons = reasons(first, second, board, gap_a);
    for r in &mut reasons {
        r.share = r.effect_a.filter(|_| gap_a != 0.0).map(|e| match r.cause {
            // A spread has no sign: it explains what two of its standard deviations cover.
            Cause::Specimen => (2.0 * e.u / gap_a.abs()).min(1.0),
            _ => e.value / gap_a,
        });
    }
    // A spread explains a gap as far as gaps of that size or larger are usual for it: two of its
    // standard deviations cover all of the gap, and yet only one pair in twenty lies so far apart.
    let miss = |r: &Reason| match (r.cause, r.effect_a) {
        (Cause::Specimen, Some(e)) if e.u > 0.0 => 1.0 - 2.0 * normal_cdf(-gap_a.abs() / e.u),
        _ => r.share.map_or(2.0, |s| (1.0 - s).abs()),
    };
    let order = |r: &Reason| match r.standing {
        Standing::Differs => 0.0,
        Standing::IfDifferent => 0.1,
        Standing::NotQuantified => 0.5,
    };
    reasons.sort_by(|a, b| (miss(a) + order(a)).total_cmp(&(miss(b) + order(b))));
    let verdict = verdict(gap_a, own, normalised, &reasons);
    Disagreement { gap_a, normalised_error: normalised, reasons, verdict }
}

/// Both known and different, one unknown, or the same.
fn standing<T: PartialEq>(a: Option<&T>, b: Option<&T>) -> Option<Standing> {
    match (a, b) {
        (Some(a), Some(b)) if a == b => None,
        (Some(_), Some(_)) => Some(Standing::Differs),
        _ => Some(Standing::IfDifferent),
    }
}

fn reasons(first: &Claim, second: &Claim, board: &BoardKnowledge, gap_a: f64) -> Vec<Reason> {
    let (a, b) = (&first.conditions, &second.conditions);
    let mut out = Vec::new();
    let mut add = |cause, standing, effect_a| {
        out.push(Reason { cause, standing, effect_a, share: None });
    };
    if let Some((va, vb)) = a.voltage_v.zip(b.voltage_v)
        && va != vb
    {
        let effect = board
            .slope_a_per_v
            .map(|s| Estimate { value: s.value * (vb - va), u: s.u * (vb - va).abs() });
        let standing = if effect.is_some() { Standing::Differs } else { Standing::NotQuantified };
        add(Cause::Voltage, standing, effect);
    }
    if let Some((ta, tb)) = a.temperature_c.zip(b.temperature_c)
        && ta != tb
    {
        let growth = libm::exp2((tb - ta) / board.doubling_k.unwrap_or(10.0)) - 1.0;
        let effect =
            board.leakage_a.map(|l| Estimate { value: l.value * growth, u: (l.u * growth).abs() });
        let standing = if effect.is_some() { Standing::Differs } else { Standing::NotQuantified };
        add(Cause::Temperature, standing, effect);
    }
    // Switches: a part that draws `extra` in one state. Unknown states are taken the way that helps.
    let switch = |on_a: Option<bool>, on_b: Option<bool>, extra: Option<Estimate>| {
        let sign = match (on_a, on_b) {
            (Some(x), Some(y)) if x == y => return None,
            (Some(true), _) | (_, Some(false)) => -1.0,
            (Some(false), _) | (_, Some(true)) => 1.0,
            (None, None) => gap_a.signum(),
        };
        let standing = match (on_a, on_b, extra) {
            (_, _, None) => Standing::NotQuantified,
            (Some(_), Some(_), _) => Standing::Differs,
            _ => Standing::IfDifferent,
        };
        Some((standing, extra.map(|e| Estimate { value: sign * e.value, u: e.u })))
    };
    let on_battery = |c: &Conditions| c.feed.map(|f| f == Feed::Battery);
    if let Some((s, e)) = switch(on_battery(a), on_battery(b), board.battery_more_than_usb_a)
        && (s != Standing::NotQuantified || a.feed.is_some() && b.feed.is_some())
    {
        add(Cause::Feed, s, e);
    }
    if let Some((s, e)) = switch(a.led_lit, b.led_lit, board.led_a)
        && (s != Standing::NotQuantified || a.led_lit.is_some() && b.led_lit.is_some())
    {
        add(Cause::Led, s, e);
    }
    if let Some((amplitude, tau)) = board.transient
        && tau > 0.0
    {
        let left = |t: f64| amplitude * libm::exp(-t / tau);
        match (a.settled_for_s, b.settled_for_s) {
            (Some(ta), Some(tb)) => {
                let value = left(tb) - left(ta);
                add(
                    Cause::Settling,
                    Standing::Differs,
                    Some(Estimate { value, u: 0.1 * value.abs() }),
                );
            }
            (Some(ta), None) => {
                let value = left(0.0) - left(ta);
                add(
                    Cause::Settling,
                    Standing::IfDifferent,
                    Some(Estimate { value, u: 0.5 * value.abs() }),
                );
            }
            (None, Some(tb)) => {
                let value = left(tb) - left(0.0);
                add(
                    Cause::Settling,
                    Standing::IfDifferent,
                    Some(Estimate { value, u: 0.5 * value.abs() }),
                );
            }
            (None, None) => {}
        }
    }
    if let (Some(ra), Some(rb), Some(slope)) = (a.meter_ohm, b.meter_ohm, board.slope_a_per_v)
        && ra != rb
    {
        // The board behind the larger resistance sees less voltage.
        let lost = second.value_a * rb - first.value_a * ra;
        add(
            Cause::Burden,
            Standing::Differs,
            Some(Estimate { value: -slope.value * lost, u: (slope.u * lost).abs() }),
        );
    }
    if let Some(s) = standing(a.specimen.as_ref(), b.specimen.as_ref())
        && board.specimen_cv > 0.0
    {
        // Two specimens: √2 times the spread of one.
        let u = 2.0_f64.sqrt() * board.specimen_cv * first.value_a.abs();
        add(Cause::Specimen, s, Some(Estimate { value: 0.0, u }));
    }
    if standing(a.revision.as_ref(), b.revision.as_ref()).is_some() && gap_a < 0.0 {
        for (index, part) in board.parts_a.iter().enumerate() {
            let effect = Estimate { value: -part.value, u: part.u };
            add(Cause::Part(index), Standing::IfDifferent, Some(effect));
        }
    }
    if standing(a.revision.as_ref(), b.revision.as_ref()) == Some(Standing::Differs) {
        add(Cause::Revision, Standing::NotQuantified, None);
    }
    if standing(a.firmware.as_ref(), b.firmware.as_ref()) == Some(Standing::Differs) {
        add(Cause::Firmware, Standing::NotQuantified, None);
    }
    out
}

/// `E_n` after allowing for some reasons.
fn remaining_error(gap_a: f64, own: [f64; 2], used: &[&Reason]) -> f64 {
    let effects: Vec<Estimate> = used.iter().filter_map(|r| r.effect_a).collect();
    let left = gap_a - effects.iter().map(|e| e.value).sum::<f64>();
    let u: Vec<f64> = own.into_iter().chain(effects.iter().map(|e| e.u)).collect();
    normalised_error(left, &u).unwrap_or(if left == 0.0 { 0.0 } else { f64::INFINITY })
}

fn verdict(gap_a: f64, own: [f64; 2], normalised: Option<f64>, reasons: &[Reason]) -> Verdict {
    if normalised.is_some_and(|e| e <= 1.0) || gap_a == 0.0 {
        return Verdict::Agree;
    }
    let with = |standing| -> Vec<&Reason> {
        reasons.iter().filter(|r| r.standing == standing && r.effect_a.is_some()).collect()
    };
    let known = with(Standing::Differs);
    let causes = |used: &[&Reason]| used.iter().map(|r| r.cause).collect::<Vec<_>>();
    let remaining = remaining_error(gap_a, own, &known);
    if !known.is_empty() && remaining <= 1.0 {
        return Verdict::BothRight { causes: causes(&known), remaining };
    }
    // The fewest unknown conditions that close the gap; at most a handful, so all subsets.
    let open = with(Standing::IfDifferent);
    let mut best: Option<(u32, f64, Vec<Cause>)> = None;
    for mask in 1_u32..(1 << open.len().min(8)) {
        let mut used = known.clone();
        used.extend(open.iter().enumerate().filter(|(i, _)| mask >> i & 1 == 1).map(|(_, r)| *r));
        let left = remaining_error(gap_a, own, &used);
        let better = best.as_ref().is_none_or(|b| (mask.count_ones(), left) < (b.0, b.1));
        if left <= 1.0 && better {
            best = Some((mask.count_ones(), left, causes(&used)));
        }
    }
    match best {
        Some((_, remaining, causes)) => Verdict::BothRightIf { causes, remaining },
        None => Verdict::Unexplained { remaining },
    }
}
