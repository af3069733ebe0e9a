//! Before measuring: what each range of a meter does to the board, and what to use instead.

use overwinter_statistics::{Figure, Source};

/// One current range of a meter class.
#[derive(Clone, Debug, PartialEq)]
pub struct MeterRange {
    /// Name of the range.
    pub name: String,
    /// Largest current it shows, A.
    pub full_scale_a: f64,
    /// Shunt and fuse, Ω.
    pub shunt_ohm: f64,
    /// Leads and contacts, Ω.
    pub leads_ohm: f64,
    /// Limit of the gain error, fraction of reading.
    pub gain_limit: f64,
    /// Limit of the offset error, A.
    pub offset_limit_a: f64,
}

/// What feeds the board through the meter, and what the board needs.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BoardUnderTest {
    /// Source voltage without load, V.
    pub source_v: f64,
    /// Resistance of source and path without the meter, Ω.
    pub source_ohm: f64,
    /// Dropout of the regulator at the peak, V.
    pub dropout_v: f64,
    /// The processor resets below this rail voltage, V.
    pub brown_out_v: f64,
    /// Expected sleep current, A.
    pub sleep_a: f64,
    /// Largest current while starting without the radio, A.
    pub boot_a: f64,
    /// Current at the radio peak, A.
    pub peak_a: f64,
}

/// What a range does to the board.
#[derive(Clone, Debug, PartialEq)]
pub struct RangeVerdict {
    /// Name of the range.
    pub range: String,
    /// Drop across meter and leads asleep, V.
    pub drop_asleep_v: f64,
    /// Drop at the radio peak, V.
    pub drop_peak_v: f64,
    /// Rail while starting, V.
    pub rail_boot_v: f64,
    /// Rail at the radio peak, V.
    pub rail_peak_v: f64,
    /// The board starts behind this range.
    pub boots: bool,
    /// The board survives the radio peak behind this range.
    pub transmits: bool,
    /// The peak is within the range (no overload, no blown fuse).
    pub peak_in_range: bool,
    /// Relative standard uncertainty of the expected sleep current on this range.
    pub relative_u_asleep: f64,
}

/// How to connect.
#[derive(Clone, Debug, PartialEq)]
pub enum HookUp {
    /// One range does for sleep and for the peak.
    Range {
        /// The range.
        range: String,
    },
    /// A low range for sleep, with a switch across the meter that is closed while the board starts
    /// and transmits and opened asleep.
    BypassSwitch {
        /// The range that reads the sleep current.
        range: String,
    },
    /// No range reads the sleep current well: disconnect the source and let a capacitor feed the
    /// board, `I = C·ΔV/Δt`.
    CapacitorDroop,
    /// The board does not survive its peak even without a meter: feed it from a stiffer source and
    /// sense the voltage at the board.
    StifferSourceSensedAtBoard,
}

/// Advice for one meter and one board.
#[derive(Clone, Debug, PartialEq)]
pub struct BurdenAdvice {
    /// Largest meter and lead resistance that survives the radio peak, Ω (negative: none does).
    pub largest_meter_ohm: f64,
    /// One verdict per range, in the order given.
    pub ranges: Vec<RangeVerdict>,
    /// How to read the sleep current.
    pub sleep: HookUp,
    /// The range for the radio peak; `None` when no range survives it.
    pub peak_range: Option<String>,
}

/// Largest total series resistance for a burst, `R_max = (V_src − V_do − V_bo)/I_pk`, Ω.
///
/// Infinite without a peak current. Common practice (Ohm's law), no source.
pub fn largest_series_resistance(board: &BoardUnderTest) -> f64 {
    let headroom_v = board.source_v - board.dropout_v - board.brown_out_v;
    if board.peak_a > 0.0 { headroom_v / board.peak_a } else { f64::INFINITY }
}

/// A sleep reading worse than this relative standard uncertainty calls for another method.
/// Common practice, no source.
const GOOD_ENOUGH: f64 = 0.05;

/// A range that takes more than this share of the source's voltage asleep is not used for it.
/// Common practice, no source.
const DROP_ASLEEP_SHARE: f64 = 0.02;

/// Judges every range of a meter for a board and says how to connect.
///
/// Static: no bulk capacitance is credited, so a range said to fail may pass short peaks.
pub fn advise(board: &BoardUnderTest, ranges: &[MeterRange]) -> BurdenAdvice {
    let rail = |current_a: f64, meter_ohm: f64| {
        board.source_v - current_a * (board.source_ohm + meter_ohm)
    };
    let verdicts: Vec<RangeVerdict> = ranges
        .iter()
        .map(|r| {
            let meter_ohm = r.shunt_ohm + r.leads_ohm;
            // Without the radio the regulator drops less: in proportion to its current.
            let boot_share =
                if board.peak_a > 0.0 { (board.boot_a / board.peak_a).min(1.0) } else { 1.0 };
            let rail_boot_v = rail(board.boot_a, meter_ohm) - board.dropout_v * boot_share;
            let rail_peak_v = rail(board.peak_a, meter_ohm) - board.dropout_v;
            let gain = r.gain_limit / 3.0_f64.sqrt();
            let offset = r.offset_limit_a / 3.0_f64.sqrt() / board.sleep_a.abs();
            RangeVerdict {
                range: r.name.clone(),
                drop_asleep_v: board.sleep_a * meter_ohm,
                drop_peak_v: board.peak_a * meter_ohm,
                rail_boot_v,
                rail_peak_v,
                boots: rail_boot_v >= board.brown_out_v,
                transmits: rail_peak_v >= board.brown_out_v,
                peak_in_range: board.peak_a <= r.full_scale_a,
                relative_u_asleep: if board.sleep_a.abs() <= r.full_scale_a {
                    libm::hypot(gain, offset)
                } else {
                    f64::INFINITY
                },
            }
        })
        .collect();
    let whole = |v: &&RangeVerdict| v.boots && v.transmits && v.peak_in_range;
    let sharpest = |candidates: &mut dyn Iterator<Item = &RangeVerdict>| {
        candidates
            .filter(|v| v.drop_asleep_v <= DROP_ASLEEP_SHARE * board.source_v)
            .min_by(|a, b| a.relative_u_asleep.total_cmp(&b.relative_u_asleep))
            .filter(|v| v.relative_u_asleep <= GOOD_ENOUGH)
            .map(|v| v.range.clone())
    };
    let largest = largest_series_resistance(board) - board.source_ohm;
    let sleep = if largest < 0.0 {
        HookUp::StifferSourceSensedAtBoard
    } else if let Some(range) = sharpest(&mut verdicts.iter().filter(whole)) {
        HookUp::Range { range }
    } else if let Some(range) = sharpest(&mut verdicts.iter()) {
        HookUp::BypassSwitch { range }
    } else {
        HookUp::CapacitorDroop
    };
    let peak_range = verdicts
        .iter()
        .filter(whole)
        .max_by(|a, b| a.drop_peak_v.total_cmp(&b.drop_peak_v))
        .map(|v| v.range.clone());
    BurdenAdvice { largest_meter_ohm: largest, ranges: verdicts, sleep, peak_range }
}

/// Sleep current from the fall of a capacitor's voltage, `I = C·(V₁ − V₂)/Δt − I_leak`.
///
/// Voltages are given as two figures so that a meter's shared gain and offset act on the difference.
/// The current belongs to the mean of the two voltages; keep their difference below a tenth of it.
/// `None` when the duration is not positive.
pub fn capacitor_droop(
    capacitance_f: &Figure,
    start_v: &Figure,
    end_v: &Figure,
    duration_s: &Figure,
    leakage_a: &Figure,
) -> Option<Figure> {
    (duration_s.value() > 0.0)
        .then(|| &(&(capacitance_f * &(start_v - end_v)) / duration_s) - leakage_a)
}

/// Capacitance calibrated by a known resistor across the capacitor alone:
/// `C = Δt/(R·ln(V₁/V₂))` (exact discharge), leakage included in it as a parallel resistance.
///
/// `None` unless both voltages are positive and fall.
pub fn calibrated_capacitance(
    resistance_ohm: &Figure,
    start_v: &Figure,
    end_v: &Figure,
    duration_s: &Figure,
) -> Option<Figure> {
    (start_v.value() > end_v.value() && end_v.value() > 0.0)
        .then(|| duration_s / &(resistance_ohm * &(start_v / end_v).ln()))
}

/// Current that a burden turns a true one into, for a resistive load: `V/(R_load + R_meter)`.
pub fn loaded_current_a(source_v: f64, load_ohm: f64, meter_ohm: f64) -> f64 {
    source_v / (load_ohm + meter_ohm)
}

/// True when a clamp diode across the shunt may stay: its leakage at the burden is below 1 % of the
/// reading. Common practice, no source.
pub fn clamp_is_harmless(leakage_at_burden_a: f64, reading_a: f64) -> bool {
    leakage_at_burden_a.abs() < 0.01 * reading_a.abs()
}

/// A nominal value with a rectangular tolerance, for the figures above.
pub fn with_tolerance(name: &str, nominal: f64, relative_limit: f64) -> Figure {
    Figure::with_source(nominal, Source::rectangular(name, (nominal * relative_limit).abs()))
}
