//! A quantity whose dimension its own text tells: the value of a reading.

use std::borrow::Cow;
use std::str::FromStr;

use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::de::{self, Deserialize, Deserializer, Visitor};
use serde::{Serialize, Serializer};

use crate::dimension::{ALL_DIMENSIONS, Dimension, DimensionInfo};
use crate::error::{ParseError, ParseErrorKind};
use crate::parse::parse;
use crate::quantity::{Quantity, Spread};

/// A quantity of any dimension, told by its unit; a temperature difference in kelvin reads as a temperature.
#[derive(Clone, Debug, PartialEq)]
pub struct AnyQuantity {
    info: &'static DimensionInfo,
    si: f64,
    spread: Spread,
    text: Box<str>,
}

impl AnyQuantity {
    /// What stands where a value is about to be read: not a number, without a text.
    pub fn blank() -> Self {
        Self {
            info: ALL_DIMENSIONS[0],
            si: f64::NAN,
            spread: Spread::Unstated,
            text: Box::default(),
        }
    }

    /// Reads a text with any unit.
    ///
    /// # Errors
    /// What is wrong with the text; where no dimension fits, the error of the current, the most met.
    pub fn parse(text: &str) -> Result<Self, ParseError> {
        let mut first = None;
        for &info in ALL_DIMENSIONS {
            match parse(text, info) {
                Ok(parsed) => {
                    return Ok(Self {
                        info,
                        si: parsed.si,
                        spread: parsed.spread,
                        text: text.into(),
                    });
                }
                Err(error) => {
                    let fatal = !matches!(
                        error.kind,
                        ParseErrorKind::WrongDimension { .. }
                            | ParseErrorKind::UnknownUnit { .. }
                            | ParseErrorKind::MissingUnit { .. }
                            | ParseErrorKind::Trailing { .. }
                    );
                    if fatal {
                        return Err(error);
                    }
                    first.get_or_insert(error);
                }
            }
        }
        Err(first.expect("there is at least one dimension"))
    }

    /// The dimension its unit tells.
    pub fn dimension(&self) -> &'static DimensionInfo {
        self.info
    }

    /// The value in SI.
    pub fn si(&self) -> f64 {
        self.si
    }

    /// The spread, in SI.
    pub fn spread(&self) -> Spread {
        self.spread
    }

    /// The text it was read from.
    pub fn text(&self) -> &str {
        &self.text
    }

    /// The same as a quantity of dimension `D`.
    ///
    /// # Errors
    /// The unit does not fit `D`.
    pub fn to<D: Dimension>(&self) -> Result<Quantity<D>, ParseError> {
        Quantity::parse(&self.text)
    }
}

impl FromStr for AnyQuantity {
    type Err = ParseError;

    fn from_str(text: &str) -> Result<Self, ParseError> {
        Self::parse(text)
    }
}

impl Serialize for AnyQuantity {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_str(&self.text)
    }
}

impl<'de> Deserialize<'de> for AnyQuantity {
    fn deserialize<De: Deserializer<'de>>(deserializer: De) -> Result<Self, De::Error> {
        struct TextVisitor;
        impl TextVisitor {
            fn bare<E: de::Error>() -> E {
                E::custom(
                    "a bare number where a value with its unit is needed [bytes 0..0] help: write it in quotes with its unit, such as \"12.6 µA\" or \"3.80 V\"",
                )
            }
        }
        impl Visitor<'_> for TextVisitor {
            type Value = AnyQuantity;

            fn expecting(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
                f.write_str("a value with its unit, such as \"12.6 µA\"")
            }

            fn visit_str<E: de::Error>(self, text: &str) -> Result<AnyQuantity, E> {
                AnyQuantity::parse(text).map_err(|error| E::custom(error.to_line()))
            }

            fn visit_i64<E: de::Error>(self, _: i64) -> Result<AnyQuantity, E> {
                Err(Self::bare())
            }

            fn visit_f64<E: de::Error>(self, _: f64) -> Result<AnyQuantity, E> {
                Err(Self::bare())
            }
        }
        deserializer.deserialize_any(TextVisitor)
    }
}

impl JsonSchema for AnyQuantity {
    fn schema_name() -> Cow<'static, str> {
        "value_with_unit".into()
    }

    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        json_schema!({ "type": "string", "description": "a value with its unit", "examples": ["12.6 µA", "3.80 V", "0.18 Ω"] })
    }
}
