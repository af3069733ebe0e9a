//! Which test next: what each unknown is worth for the choice at hand, in days per minute at the bench.

use overwinter_statistics::information::{InformationError, value_of_information};

/// A quantity that a test would settle, with its draws.
#[derive(Clone, Copy, Debug)]
pub struct Candidate<'a> {
    /// Name of the quantity: a sleep current, the charge per wake over a bad link, an unknown trait.
    pub name: &'a str,
    /// Minutes of bench work; `None` when nobody said.
    pub minutes: Option<f64>,
    /// Its draws (a trait: 0 or 1).
    pub draws: &'a [f64],
}

/// What a test is worth.
#[derive(Clone, Debug, PartialEq)]
pub struct TestValue {
    /// Name of the quantity.
    pub name: String,
    /// Expected gain in days of run time of the board then chosen: an upper limit, for a test that
    /// settles the quantity completely.
    pub gain_days: f64,
    /// Standard error of the gain from the number of draws.
    pub standard_error_days: f64,
    /// True when the gain is beyond a tenth of a day, twice its standard error and three times the
    /// noise floor of the estimate.
    pub matters: bool,
    /// Chance that the result changes the choice.
    pub flip_chance: f64,
    /// The board most often chosen instead (index); `None` when the choice never flips.
    pub flips_to: Option<usize>,
    /// Minutes of bench work.
    pub minutes: Option<f64>,
    /// Gain per minute, days.
    pub days_per_minute: Option<f64>,
}

/// Tests, the best first.
#[derive(Clone, Debug, PartialEq)]
pub struct NextTest {
    /// Index of the board that would be chosen now.
    pub choice: usize,
    /// Its expected life, days.
    pub expected_days: f64,
    /// Gain if everything were known, days: no test is worth more.
    pub perfect_days: f64,
    /// Gain the estimate gives to numbers that have nothing to do with the choice, days.
    pub noise_floor_days: f64,
    /// The tests: by days per minute, those without minutes after the others by gain.
    pub tests: Vec<TestValue>,
}

/// A gain below this is no reason to go to the bench, days. Common practice, no source.
const SMALLEST_GAIN_DAYS: f64 = 0.1;

/// Ranks the candidates for a choice by expected life. `lives_days[b][i]` is the life of board `b` in
/// draw `i`; the draws of candidates and lives belong together. For a target, pass lives capped at it,
/// and for a hard need that is not met, a life of 0 in that draw.
///
/// # Errors
/// Columns that do not fit, or values that are not finite.
pub fn next_test(
    candidates: &[Candidate<'_>],
    lives_days: &[&[f64]],
) -> Result<NextTest, InformationError> {
    let inputs: Vec<&[f64]> = candidates.iter().map(|c| c.draws).collect();
    let value = value_of_information(&inputs, lives_days)?;
    let mut tests: Vec<TestValue> = candidates
        .iter()
        .zip(&value.inputs)
        .map(|(c, v)| TestValue {
            name: c.name.to_owned(),
            gain_days: v.expected_gain,
            standard_error_days: v.standard_error,
            matters: v.expected_gain
                > SMALLEST_GAIN_DAYS.max(2.0 * v.standard_error).max(3.0 * value.noise_floor),
            flip_chance: v.flip_probability,
            flips_to: v.flips_to,
            minutes: c.minutes,
            days_per_minute: c.minutes.filter(|m| *m > 0.0).map(|m| v.expected_gain / m),
        })
        .collect();
    tests.sort_by(|a, b| {
        let key =
            |t: &TestValue| (t.days_per_minute.is_some(), t.days_per_minute.unwrap_or(t.gain_days));
        let (ka, kb) = (key(a), key(b));
        kb.0.cmp(&ka.0).then(kb.1.total_cmp(&ka.1)).then_with(|| a.name.cmp(&b.name))
    });
    Ok(NextTest {
        choice: value.choice,
        expected_days: value.expected_outcome,
        perfect_days: value.perfect_information,
        noise_floor_days: value.noise_floor,
        tests,
    })
}
