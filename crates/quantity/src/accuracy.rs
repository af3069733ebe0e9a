//! A meter's accuracy as its manual writes it: a share of the reading and a floor.

use std::borrow::Cow;
use std::fmt;
use std::str::FromStr;

use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::de::{self, Deserialize, Deserializer, Visitor};
use serde::{Serialize, Serializer};

use crate::any::AnyQuantity;

/// The part of an accuracy that does not grow with the reading.
#[derive(Clone, Debug, PartialEq)]
pub enum Floor {
    /// Counts of the last digit: `3 counts`.
    Counts(f64),
    /// A share of the range: `0.05 % of range`.
    OfRange(f64),
    /// An absolute value in the reading's unit: `0.2 µA`.
    Absolute(AnyQuantity),
}

/// Limits `±(share · reading + floor)`: `1.0 % + 3 counts`, `1.0 % + 0.2 µA`, `0.05 % + 0.005 % of range`.
#[derive(Clone, Debug, PartialEq)]
pub struct Accuracy {
    /// Share of the reading, as a fraction of one.
    pub of_reading: f64,
    /// What is added whatever the reading.
    pub floor: Option<Floor>,
    text: Box<str>,
}

/// A text that is no accuracy.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("`{found}` is not a meter's accuracy [bytes 0..{length}] help: write share of the reading and floor, such as \"1.0 % + 3 counts\", \"1.0 % + 0.2 µA\" or \"0.05 % + 0.005 % of range\"", length = found.len())]
pub struct AccuracyError {
    /// The text.
    pub found: String,
}

impl Accuracy {
    /// What stands where an accuracy is about to be read: not a number, without a text.
    pub fn blank() -> Self {
        Self { of_reading: f64::NAN, floor: None, text: Box::default() }
    }

    /// The text it was read from.
    pub fn text(&self) -> &str {
        &self.text
    }

    /// The limit for a reading, in the reading's SI unit: `share · |reading| + floor`.
    ///
    /// `resolution` is the value of one count and `range` the full scale, both in the same unit. `None` where the
    /// floor needs one of them and it is not known.
    pub fn limit(&self, reading: f64, resolution: Option<f64>, range: Option<f64>) -> Option<f64> {
        let floor = match &self.floor {
            None => 0.0,
            Some(Floor::Counts(counts)) => counts * resolution?,
            Some(Floor::OfRange(share)) => share * range?,
            Some(Floor::Absolute(value)) => value.si(),
        };
        Some(self.of_reading * reading.abs() + floor)
    }
}

impl FromStr for Accuracy {
    type Err = AccuracyError;

    fn from_str(text: &str) -> Result<Self, AccuracyError> {
        let error = || AccuracyError { found: text.to_owned() };
        let inner = text.trim().trim_start_matches('±').trim().trim_matches(['(', ')']);
        let (share, floor) = match inner.split_once('+') {
            Some((share, floor)) => (share.trim(), Some(floor.trim())),
            None => (inner.trim(), None),
        };
        let percent = |part: &str| -> Option<f64> {
            let number =
                part.strip_suffix("of reading").unwrap_or(part).trim().strip_suffix('%')?;
            let value: f64 = number.trim().parse().ok()?;
            (value.is_finite() && value >= 0.0).then_some(value / 100.0)
        };
        let of_reading = percent(share).ok_or_else(error)?;
        let floor = floor.map(|floor| read_floor(floor).ok_or_else(error)).transpose()?;
        Ok(Self { of_reading, floor, text: text.into() })
    }
}

fn read_floor(text: &str) -> Option<Floor> {
    for suffix in ["counts", "count", "digits", "digit", "dgt"] {
        if let Some(number) = text.strip_suffix(suffix) {
            let counts: f64 = number.trim().parse().ok()?;
            return (counts.is_finite() && counts >= 0.0).then_some(Floor::Counts(counts));
        }
    }
    if let Some(share) = text.strip_suffix("of range") {
        let share: f64 = share.trim().strip_suffix('%')?.trim().parse().ok()?;
        return (share.is_finite() && share >= 0.0).then_some(Floor::OfRange(share / 100.0));
    }
    let value = AnyQuantity::parse(text).ok()?;
    (value.si() >= 0.0).then_some(Floor::Absolute(value))
}

impl fmt::Display for Accuracy {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.text)
    }
}

impl Serialize for Accuracy {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_str(&self.text)
    }
}

impl<'de> Deserialize<'de> for Accuracy {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct TextVisitor;
        impl Visitor<'_> for TextVisitor {
            type Value = Accuracy;

            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("a meter's accuracy, such as \"1.0 % + 3 counts\"")
            }

            fn visit_str<E: de::Error>(self, text: &str) -> Result<Accuracy, E> {
                text.parse().map_err(E::custom)
            }
        }
        deserializer.deserialize_any(TextVisitor)
    }
}

impl JsonSchema for Accuracy {
    fn schema_name() -> Cow<'static, str> {
        "accuracy".into()
    }

    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        json_schema!({
            "type": "string", "description": "a meter's accuracy: share of the reading and floor",
            "examples": ["1.0 % + 3 counts", "1.0 % + 0.2 µA", "0.05 % + 0.005 % of range"],
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn counts_range_and_absolute() {
        let meter: Accuracy = "±(1.0 % + 3 counts)".parse().unwrap();
        // 1 % of 12.6 µA and three counts of 0.1 µA.
        assert!((meter.limit(12.6e-6, Some(1e-7), None).unwrap() - 0.426e-6).abs() < 1e-15);
        assert_eq!(meter.limit(12.6e-6, None, None), None, "resolution unknown: no limit");
        let bench: Accuracy = "0.05 % + 0.005 % of range".parse().unwrap();
        assert!((bench.limit(1.0, None, Some(10.0)).unwrap() - 0.001).abs() < 1e-15);
        let floor: Accuracy = "1 % + 0.2 µA".parse().unwrap();
        assert!((floor.limit(10e-6, None, None).unwrap() - 0.3e-6).abs() < 1e-15);
    }

    #[test]
    fn refuses_nonsense() {
        for text in ["", "3 counts", "1 %  + three counts", "-1 %", "nan %", "1 % + 2 quux"] {
            assert!(text.parse::<Accuracy>().is_err(), "{text}");
        }
    }
}
