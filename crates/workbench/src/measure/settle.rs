//! While measuring: readings come in one by one, and each time the answer is wait or take it.

use overwinter_documents::types::session::What;
use overwinter_figures::settling::{Advice, Settling};
use overwinter_quantity::{AnyQuantity, Duration};
use overwinter_statistics::univariate::summary;
use overwinter_statistics::{Figure, Source};
use serde::Serialize;

use super::printed::{Printed, printed, value};
use crate::report::SCHEMA_VERSION;
use crate::text::duration;

/// How the readings are taken.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Taking {
    /// Time between readings that come without a time, s.
    pub every_s: f64,
    /// Standard uncertainty of a settled reading, in its unit; `None`: half a per cent of the first value, which is said.
    pub standard_uncertainty: Option<f64>,
    /// Slowest transient allowed for, s.
    pub slowest_s: f64,
}

/// A line that was taken.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct TakenLine {
    /// Time, s.
    pub time_s: f64,
    /// Value, SI.
    pub value: f64,
    /// As printed.
    pub text: String,
    /// What to do after it.
    pub advice: String,
}

/// A line that was not taken; it is told and kept here.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct RefusedLine {
    /// Its number, from 1.
    pub line: usize,
    /// As typed.
    pub typed: String,
    /// Why.
    pub why: String,
}

/// Where it stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Outcome {
    /// Too few readings.
    MoreReadings,
    /// Wait.
    Wait,
    /// It still runs away.
    NoEndInSight,
    /// Take it.
    Take,
}

/// The whole record.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SettleReport {
    /// See [`SCHEMA_VERSION`].
    pub schema_version: u32,
    /// Where it stands.
    pub outcome: Outcome,
    /// In words.
    pub advice: String,
    /// Time still to wait, s.
    pub wait_s: Option<f64>,
    /// Where it is going, SI, where a fit tells.
    pub limit: Option<f64>,
    /// The figure, once settled.
    pub figure: Option<Printed>,
    /// What its uncertainty is made of.
    pub basis: Vec<String>,
    /// Every reading taken.
    pub readings: Vec<TakenLine>,
    /// Every line refused.
    pub refused: Vec<RefusedLine>,
}

/// A live record.
#[derive(Debug, Clone)]
pub struct Live {
    taking: Taking,
    settling: Option<Settling>,
    what: Option<What>,
    last: Option<Advice>,
    assumed: bool,
    u: f64,
    lines: usize,
    readings: Vec<TakenLine>,
    refused: Vec<RefusedLine>,
}

impl Live {
    /// Nothing read yet.
    pub fn new(taking: Taking) -> Self {
        Self {
            taking,
            settling: None,
            what: None,
            last: None,
            assumed: false,
            u: 0.0,
            lines: 0,
            readings: Vec::new(),
            refused: Vec::new(),
        }
    }

    /// One line: a value with its unit, or a time and a value separated by blanks, comma, semicolon or tabulator. Empty
    /// lines and lines that begin with `#` say nothing. Gives what to say after it.
    pub fn line(&mut self, text: &str) -> Option<String> {
        self.lines += 1;
        let text = text.trim();
        if text.is_empty() || text.starts_with('#') {
            return None;
        }
        match self.take(text) {
            Ok(said) => Some(said),
            Err(why) => {
                let said = format!("line {} not taken: {why}", self.lines);
                self.refused.push(RefusedLine { line: self.lines, typed: text.to_owned(), why });
                Some(said)
            }
        }
    }

    fn take(&mut self, text: &str) -> Result<String, String> {
        let next = self.readings.last().map_or(0.0, |r| r.time_s + self.taking.every_s);
        let (time_s, quantity) = split(text, next)?;
        let what = kind(&quantity)?;
        if let Some(known) = self.what
            && known.dimension() != what.dimension()
        {
            return Err(format!(
                "this is {}, the readings before are {}",
                what.dimension().name,
                known.dimension().name
            ));
        }
        let si = quantity.si();
        if self.settling.is_none() {
            // Half a per cent: what a settled reading of a hand-held meter repeats to. Common practice, no source.
            self.assumed = self.taking.standard_uncertainty.is_none();
            self.u =
                self.taking.standard_uncertainty.unwrap_or(0.005 * si.abs()).max(f64::MIN_POSITIVE);
            self.settling =
                Some(Settling::new(self.u).with_slowest_time_constant_s(self.taking.slowest_s));
        }
        let Some(settling) = &mut self.settling else { return Err("nothing to settle".into()) };
        let advice = settling.push(time_s, si).map_err(|e| e.to_string())?;
        self.what = Some(what);
        self.last = Some(advice);
        let said = words(what, advice);
        self.readings.push(TakenLine {
            time_s,
            value: si,
            text: value(what, si),
            advice: said.clone(),
        });
        Ok(said)
    }

    /// What became of it.
    pub fn report(&self) -> SettleReport {
        let what = self.what.unwrap_or(What::SleepCurrent);
        let (outcome, wait_s, limit) = match self.last {
            None | Some(Advice::MoreReadings { .. }) => (Outcome::MoreReadings, None, None),
            Some(Advice::Wait { seconds, limit, .. }) => {
                (Outcome::Wait, Some(seconds), Some(limit))
            }
            Some(Advice::NoEndInSight { .. }) => (Outcome::NoEndInSight, None, None),
            Some(Advice::Take { value, .. }) => (Outcome::Take, None, Some(value)),
        };
        let mut basis = Vec::new();
        let figure = match self.last {
            Some(Advice::Take { value: settled, residual }) => {
                let tail = self.settled_values(settled);
                let mut figure = Figure::exact(settled);
                if let Some(s) = summary(&tail)
                    && let Some(u) = s.standard_error().filter(|u| *u > 0.0)
                {
                    let dof = (s.n - 1) as f64;
                    figure = figure.plus_source(Source::type_a("repeats", u, dof), 1.0);
                    basis.push(format!("{} settled readings: {}", s.n, value(what, u)));
                }
                if residual != 0.0 {
                    figure =
                        figure.plus_source(Source::rectangular("settling", residual.abs()), 1.0);
                    basis.push(format!(
                        "what is left of the transient, at most {}",
                        value(what, residual.abs())
                    ));
                }
                figure = figure.plus_source(Source::normal("reading", self.u), 1.0);
                basis.push(format!(
                    "the meter: {}{}",
                    value(what, self.u),
                    if self.assumed {
                        ", assumed (half a per cent); say --instrument and --range, or --u"
                    } else {
                        ""
                    }
                ));
                Some(printed(what, &figure))
            }
            _ => None,
        };
        SettleReport {
            schema_version: SCHEMA_VERSION,
            outcome,
            advice: self
                .last
                .map_or_else(|| "no reading yet".to_owned(), |advice| words(what, advice)),
            wait_s,
            limit,
            figure,
            basis,
            readings: self.readings.clone(),
            refused: self.refused.clone(),
        }
    }

    /// The readings at the end whose mean is the settled value.
    fn settled_values(&self, settled: f64) -> Vec<f64> {
        let values: Vec<f64> = self.readings.iter().map(|r| r.value).collect();
        let mean = |from: usize| values[from..].iter().sum::<f64>() / (values.len() - from) as f64;
        let from = (0..values.len())
            .min_by(|a, b| (mean(*a) - settled).abs().total_cmp(&(mean(*b) - settled).abs()))
            .unwrap_or(0);
        values[from..].to_vec()
    }
}

/// A time and a value, or a value alone.
fn split(text: &str, next_s: f64) -> Result<(f64, AnyQuantity), String> {
    let whole = AnyQuantity::parse(text);
    if let Ok(quantity) = whole {
        return Ok((next_s, quantity));
    }
    let parts = text
        .char_indices()
        .filter(|(_, c)| matches!(c, ' ' | ',' | ';' | '\t'))
        .map(|(at, c)| (text[..at].trim(), text[at + c.len_utf8()..].trim()));
    for (left, right) in parts {
        let time =
            left.parse::<f64>().ok().or_else(|| left.parse::<Duration>().ok().map(|d| d.si()));
        if let (Some(time), Ok(quantity)) = (time, AnyQuantity::parse(right)) {
            return Ok((time, quantity));
        }
    }
    let why = whole.err().map_or_else(String::new, |e| format!(" ({e})"));
    Err(format!("“{text}” is neither a value with its unit nor a time and a value{why}"))
}

/// Any reading of that dimension, for printing.
fn kind(quantity: &AnyQuantity) -> Result<What, String> {
    match quantity.dimension().name {
        "a current" => Ok(What::SleepCurrent),
        "a voltage" => Ok(What::Voltage),
        "a charge" => Ok(What::ChargePerWake),
        "a resistance" => Ok(What::Resistance),
        other => Err(format!("{other} is nothing a meter settles to; write for example 12.6 µA")),
    }
}

fn words(what: What, advice: Advice) -> String {
    match advice {
        Advice::MoreReadings { have, need } => {
            format!("{have} of at least {need} readings: go on")
        }
        Advice::Wait { seconds, limit, u_limit } => format!(
            "wait {} more; it is going to about {}",
            duration(seconds.max(1.0).ceil()),
            super::printed::text(
                what,
                limit,
                u_limit,
                overwinter_quantity::Notation::Expanded { k: 2.0 }
            )
        ),
        Advice::NoEndInSight { change } => format!(
            "still moving ({} over the record), no end can be told yet: go on",
            value(what, change)
        ),
        Advice::Take { value: settled, .. } => {
            format!("settled at {}: take it", value(what, settled))
        }
    }
}
