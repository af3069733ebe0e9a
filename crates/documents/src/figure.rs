//! A figure: a quantity with where it comes from, written as a text or as a small table.

use std::borrow::Cow;
use std::fmt;

use overwinter_quantity::{
    self as quantity, Dimension, DimensionInfo, OfDimension, Quantity, Untyped,
};
use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::de::Expected;
use serde::{Serialize, Serializer};

use crate::choice::Kind;
use crate::reader::{Faulty, Read, Reader};

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

/// A figure before its dimension becomes a type: figures of every dimension are read by the same code.
struct UntypedFigure {
    value: Untyped,
    kind: Option<Kind>,
    source: Option<String>,
    note: Option<String>,
}

/// What a figure of a dimension may be written as.
struct Wanted(&'static DimensionInfo);

impl Expected for Wanted {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "{} with its unit, such as \"{example}\" or {{ value = \"{example}\", kind = \"measured\", source = \"…\" }}",
            self.0.name,
            example = self.0.examples[0]
        )
    }
}

impl UntypedFigure {
    fn read(info: &'static DimensionInfo, from: Reader<'_>) -> Result<Self, Faulty> {
        if from.is_table() {
            let fields = from.fields("a table", &["value", "kind", "source", "note"])?;
            let value = fields.leaf("value", OfDimension(info))?;
            let mut figure = Self { value, kind: None, source: None, note: None };
            fields.fill("kind", &mut figure.kind)?;
            fields.fill("source", &mut figure.source)?;
            fields.fill("note", &mut figure.note)?;
            return Ok(figure);
        }
        if !from.is_leaf() {
            return Err(from.wrong(&Wanted(info)).or_at(from.span()));
        }
        let value = from.leaf(OfDimension(info))?;
        Ok(Self { value, kind: None, source: None, note: None })
    }
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

impl<D: Dimension> Read for Figure<D> {
    fn blank() -> Self {
        Self::new(Quantity::blank())
    }

    fn fill(&mut self, from: Reader<'_>) -> Result<(), Faulty> {
        let UntypedFigure { value, kind, source, note } = UntypedFigure::read(D::INFO, from)?;
        *self = Self { value: value.into(), kind, source, note };
        Ok(())
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
