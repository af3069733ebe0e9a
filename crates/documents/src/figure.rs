//! A figure: a quantity with where it comes from, written as a text or as a small table.

use std::borrow::Cow;
use std::fmt;

use overwinter_quantity::{self as quantity, Dimension, OfDimension, Quantity, Untyped};
use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::de::{self, Deserialize, Deserializer, MapAccess, Visitor};
use serde::{Serialize, Serializer};

use crate::choice::Kind;

/// A quantity with its kind and source: `"12.6 µA"` or `{ value = "12.6 µA", kind = "measured", source = "…" }`.
///
/// Where kind or source is left out, the document's own `kind` and `source` hold.
#[derive(Clone, Debug, PartialEq)]
pub struct Figure<D: Dimension> {
    /// The quantity.
    pub value: Quantity<D>,
    /// Where it comes from.
    pub kind: Option<Kind>,
    /// Its source in words.
    pub source: Option<String>,
    /// A remark.
    pub note: Option<String>,
}

impl<D: Dimension> Figure<D> {
    /// A figure without kind and source.
    pub fn new(value: Quantity<D>) -> Self {
        Self { value, kind: None, source: None, note: None }
    }

    /// The value in SI.
    pub fn si(&self) -> f64 {
        self.value.si()
    }
}

/// Keys of the table form.
#[derive(serde::Deserialize)]
#[serde(field_identifier, rename_all = "snake_case")]
enum Key {
    Value,
    Kind,
    Source,
    Note,
}

/// A figure before its dimension becomes a type.
struct UntypedFigure {
    value: Untyped,
    kind: Option<Kind>,
    source: Option<String>,
    note: Option<String>,
}

/// Reads the figures of every dimension by the same code.
struct FigureVisitor(OfDimension);

impl<'de> Visitor<'de> for FigureVisitor {
    type Value = UntypedFigure;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let info = self.0.0;
        write!(
            f,
            "{} with its unit, such as \"{example}\" or {{ value = \"{example}\", kind = \"measured\", source = \"…\" }}",
            info.name,
            example = info.examples[0]
        )
    }

    fn visit_str<E: de::Error>(self, text: &str) -> Result<UntypedFigure, E> {
        self.0.visit_str(text).map(alone)
    }

    fn visit_i64<E: de::Error>(self, number: i64) -> Result<UntypedFigure, E> {
        self.0.visit_i64(number).map(alone)
    }

    fn visit_u64<E: de::Error>(self, number: u64) -> Result<UntypedFigure, E> {
        self.0.visit_u64(number).map(alone)
    }

    fn visit_f64<E: de::Error>(self, number: f64) -> Result<UntypedFigure, E> {
        self.0.visit_f64(number).map(alone)
    }

    fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<UntypedFigure, A::Error> {
        let (mut value, mut kind, mut source, mut note) = (None, None, None, None);
        while let Some(key) = map.next_key::<Key>()? {
            match key {
                Key::Value => value = Some(map.next_value_seed(self.0)?),
                Key::Kind => kind = map.next_value()?,
                Key::Source => source = map.next_value()?,
                Key::Note => note = map.next_value()?,
            }
        }
        let value = value.ok_or_else(|| <A::Error as de::Error>::missing_field("value"))?;
        Ok(UntypedFigure { value, kind, source, note })
    }
}

fn alone(value: Untyped) -> UntypedFigure {
    UntypedFigure { value, kind: None, source: None, note: None }
}

#[derive(Serialize)]
#[serde(bound(serialize = ""))]
struct FigureTableOut<'a, D: Dimension> {
    value: &'a Quantity<D>,
    #[serde(skip_serializing_if = "Option::is_none")]
    kind: Option<Kind>,
    #[serde(skip_serializing_if = "Option::is_none")]
    source: Option<&'a str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    note: Option<&'a str>,
}

impl<D: Dimension> Serialize for Figure<D> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        if self.kind.is_none() && self.source.is_none() && self.note.is_none() {
            return self.value.serialize(serializer);
        }
        FigureTableOut {
            value: &self.value,
            kind: self.kind,
            source: self.source.as_deref(),
            note: self.note.as_deref(),
        }
        .serialize(serializer)
    }
}

impl<'de, D: Dimension> Deserialize<'de> for Figure<D> {
    fn deserialize<De: Deserializer<'de>>(deserializer: De) -> Result<Self, De::Error> {
        let UntypedFigure { value, kind, source, note } =
            deserializer.deserialize_any(FigureVisitor(OfDimension(D::INFO)))?;
        Ok(Self { value: value.into(), kind, source, note })
    }
}

impl<D: Dimension> JsonSchema for Figure<D> {
    fn schema_name() -> Cow<'static, str> {
        format!("figure_{}", Quantity::<D>::schema_name()).into()
    }

    fn json_schema(generator: &mut SchemaGenerator) -> Schema {
        let value = generator.subschema_for::<Quantity<D>>();
        let kind = generator.subschema_for::<Kind>();
        json_schema!({
            "description": format!("{} with its unit, alone or with kind and source", D::INFO.name),
            "anyOf": [
                value,
                {
                    "type": "object", "additionalProperties": false, "required": ["value"],
                    "properties": {
                        "value": value, "kind": kind,
                        "source": { "type": "string", "description": "where it comes from, in words" },
                        "note": { "type": "string", "description": "a remark" },
                    },
                },
            ],
        })
    }
}

macro_rules! figure_aliases {
    ($($(#[$doc:meta])* $alias:ident = $marker:ident;)*) => {$(
        $(#[$doc])*
        pub type $alias = Figure<quantity::$marker>;
    )*};
}

figure_aliases! {
    /// A current with its source.
    CurrentFigure = CurrentDimension;
    /// A voltage with its source.
    VoltageFigure = VoltageDimension;
    /// A charge with its source.
    ChargeFigure = ChargeDimension;
    /// A duration with its source.
    DurationFigure = DurationDimension;
    /// A resistance with its source.
    ResistanceFigure = ResistanceDimension;
    /// A capacitance with its source.
    CapacitanceFigure = CapacitanceDimension;
    /// A temperature with its source.
    TemperatureFigure = TemperatureDimension;
    /// A temperature difference with its source.
    TemperatureDifferenceFigure = TemperatureDifferenceDimension;
    /// A length with its source.
    LengthFigure = LengthDimension;
    /// A mass with its source.
    MassFigure = MassDimension;
    /// A ratio with its source.
    RatioFigure = RatioDimension;
    /// A rate of self-discharge with its source.
    SelfDischargeFigure = SelfDischargeDimension;
    /// A temperature coefficient with its source.
    TemperatureCoefficientFigure = TemperatureCoefficientDimension;
    /// A thermal resistance with its source.
    ThermalResistanceFigure = ThermalResistanceDimension;
    /// An activation energy with its source.
    MolarEnergyFigure = MolarEnergyDimension;
    /// A power with its source.
    PowerFigure = PowerDimension;
}
