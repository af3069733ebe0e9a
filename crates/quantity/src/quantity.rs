//! The quantity type: a value in SI, its spread, the text it came from.

use std::borrow::Cow;
use std::fmt;
use std::marker::PhantomData;
use std::str::FromStr;

use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::de::{self, Deserialize, Deserializer, Visitor};
use serde::{Serialize, Serializer};

use crate::dimension as dim;
use crate::dimension::{Dimension, DimensionInfo};
use crate::error::ParseError;
use crate::parse::parse;
use crate::units::{HOUR_S, MONTH_S, YEAR_S};

/// What is known of how far a value may be off; widths in SI.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub enum Spread {
    /// Nothing was stated.
    #[default]
    Unstated,
    /// A standard uncertainty: `12.6(4) µA`.
    Standard {
        /// The standard uncertainty.
        u: f64,
    },
    /// An expanded uncertainty: `12.6 ± 0.7 µA (k = 2)`.
    Expanded {
        /// The half width, `U = k · u`.
        half_width: f64,
        /// The coverage factor.
        k: f64,
    },
    /// The limits of a rectangular distribution: `53 mA ± 2 %`.
    Limits {
        /// The half width `a`; `u = a / √3`.
        half_width: f64,
    },
    /// The value is an upper bound: `< 3 µA`.
    AtMost,
    /// The value is a lower bound: `> 1 MΩ`.
    AtLeast,
}

/// A quantity of dimension `D`: its value in SI, its spread, and the text it was read from.
///
/// Two quantities are equal when value and spread are; the text does not count.
#[derive(Clone, Debug)]
pub struct Quantity<D: Dimension> {
    si: f64,
    spread: Spread,
    text: Option<Box<str>>,
    dimension: PhantomData<D>,
}

impl<D: Dimension> PartialEq for Quantity<D> {
    fn eq(&self, other: &Self) -> bool {
        self.si == other.si && self.spread == other.spread
    }
}

impl<D: Dimension> Quantity<D> {
    /// A value in SI without a stated spread.
    pub fn from_si(si: f64) -> Self {
        Self { si, spread: Spread::Unstated, text: None, dimension: PhantomData }
    }

    /// The same value with another spread (widths in SI); the text is dropped, for it no longer fits.
    #[must_use]
    pub fn with_spread(self, spread: Spread) -> Self {
        Self { spread, text: None, ..self }
    }

    /// The value in SI. For [`Spread::AtMost`] and [`Spread::AtLeast`] it is the bound.
    pub fn si(&self) -> f64 {
        self.si
    }

    /// The spread, in SI.
    pub fn spread(&self) -> Spread {
        self.spread
    }

    /// The text it was read from.
    pub fn text(&self) -> Option<&str> {
        self.text.as_deref()
    }

    /// The standard uncertainty in SI: as stated, `U / k`, or `a / √3` of rectangular limits (JCGM 100:2008, 4.3.7);
    /// `None` where nothing was stated and for bounds.
    pub fn standard_uncertainty(&self) -> Option<f64> {
        match self.spread {
            Spread::Standard { u } => Some(u),
            Spread::Expanded { half_width, k } => Some(half_width / k),
            Spread::Limits { half_width } => Some(half_width / 3.0_f64.sqrt()),
            Spread::Unstated | Spread::AtMost | Spread::AtLeast => None,
        }
    }

    /// Whether only a bound is known.
    pub fn is_bound(&self) -> bool {
        matches!(self.spread, Spread::AtMost | Spread::AtLeast)
    }

    /// Reads a text.
    ///
    /// # Errors
    /// What is wrong with the text, where, and how to mend it.
    pub fn parse(text: &str) -> Result<Self, ParseError> {
        let parsed = parse(text, D::INFO)?;
        Ok(Self {
            si: parsed.si,
            spread: parsed.spread,
            text: Some(text.into()),
            dimension: PhantomData,
        })
    }
}

impl<D: Dimension> FromStr for Quantity<D> {
    type Err = ParseError;

    fn from_str(text: &str) -> Result<Self, ParseError> {
        Self::parse(text)
    }
}

impl<D: Dimension> Serialize for Quantity<D> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        match self.text() {
            Some(text) => serializer.serialize_str(text),
            None => serializer.collect_str(self),
        }
    }
}

/// What a text says, before its dimension becomes a type.
#[derive(Clone, Debug, PartialEq)]
pub struct Untyped {
    si: f64,
    spread: Spread,
    text: Box<str>,
}

impl<D: Dimension> From<Untyped> for Quantity<D> {
    fn from(Untyped { si, spread, text }: Untyped) -> Self {
        Self { si, spread, text: Some(text), dimension: PhantomData }
    }
}

/// Reads quantities of a dimension that is a value, not a type: one piece of code for all dimensions.
#[derive(Clone, Copy, Debug)]
pub struct OfDimension(pub &'static DimensionInfo);

impl OfDimension {
    fn read<E: de::Error>(self, text: &str) -> Result<Untyped, E> {
        let parsed = parse(text, self.0).map_err(|error| E::custom(error.to_line()))?;
        Ok(Untyped { si: parsed.si, spread: parsed.spread, text: text.into() })
    }

    /// A bare number: right for a ratio, an error that lists the units elsewhere.
    fn bare<E: de::Error>(self, number: &str) -> Result<Untyped, E> {
        let info = self.0;
        if info.bare_number {
            return self.read(number);
        }
        Err(E::custom(format!(
            "a bare number where {} with its unit is needed [bytes 0..0] help: write it in quotes with its unit, such as \"{}\"; units that fit: {}",
            info.name, info.examples[0], info.fits
        )))
    }
}

impl<'de> de::DeserializeSeed<'de> for OfDimension {
    type Value = Untyped;

    fn deserialize<De: Deserializer<'de>>(self, deserializer: De) -> Result<Untyped, De::Error> {
        deserializer.deserialize_any(self)
    }
}

impl Visitor<'_> for OfDimension {
    type Value = Untyped;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} with its unit, such as \"{}\"", self.0.name, self.0.examples[0])
    }

    fn visit_str<E: de::Error>(self, text: &str) -> Result<Untyped, E> {
        self.read(text)
    }

    fn visit_i64<E: de::Error>(self, number: i64) -> Result<Untyped, E> {
        self.bare(&number.to_string())
    }

    fn visit_u64<E: de::Error>(self, number: u64) -> Result<Untyped, E> {
        self.bare(&number.to_string())
    }

    fn visit_f64<E: de::Error>(self, number: f64) -> Result<Untyped, E> {
        self.bare(&number.to_string())
    }
}

impl<'de, D: Dimension> Deserialize<'de> for Quantity<D> {
    fn deserialize<De: Deserializer<'de>>(deserializer: De) -> Result<Self, De::Error> {
        deserializer.deserialize_any(OfDimension(D::INFO)).map(Self::from)
    }
}

impl<D: Dimension> JsonSchema for Quantity<D> {
    fn schema_name() -> Cow<'static, str> {
        let name = D::INFO.name;
        let bare = name.strip_prefix("a ").or_else(|| name.strip_prefix("an ")).unwrap_or(name);
        Cow::Owned(bare.replace([' ', '-'], "_"))
    }

    fn schema_id() -> Cow<'static, str> {
        Cow::Owned(format!("overwinter_quantity::{}", Self::schema_name()))
    }

    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        let info = D::INFO;
        let description = format!("{} with its unit; units that fit: {}", info.name, info.fits);
        if info.bare_number {
            return json_schema!({ "type": ["string", "number"], "description": description, "examples": info.examples });
        }
        json_schema!({
            "type": "string",
            "description": description,
            "pattern": r"^\s*(<=?|>=?|≤|≥)?\s*\(?\s*[+\-−]?[0-9.]",
            "examples": info.examples,
        })
    }
}

macro_rules! aliases {
    ($($(#[$doc:meta])* $alias:ident = $marker:ident { $($(#[$getter_doc:meta])* $getter:ident = $factor:expr;)* })*) => {$(
        $(#[$doc])*
        pub type $alias = Quantity<dim::$marker>;
        impl $alias {
            $($(#[$getter_doc])*
            pub fn $getter(&self) -> f64 {
                self.si() / $factor
            })*
        }
    )*};
}

aliases! {
    /// A current, amperes.
    Current = CurrentDimension {
        /// The value in amperes.
        amperes = 1.0;
        /// The value in microamperes.
        microamperes = 1e-6;
    }
    /// A voltage, volts.
    Voltage = VoltageDimension {
        /// The value in volts.
        volts = 1.0;
    }
    /// A charge, coulombs.
    Charge = ChargeDimension {
        /// The value in coulombs.
        coulombs = 1.0;
        /// The value in ampere-hours.
        ampere_hours = HOUR_S;
    }
    /// A duration, seconds.
    Duration = DurationDimension {
        /// The value in seconds.
        seconds = 1.0;
        /// The value in days.
        days = crate::units::DAY_S;
        /// The value in years of 365.25 days.
        years = YEAR_S;
    }
    /// A resistance, ohms.
    Resistance = ResistanceDimension {
        /// The value in ohms.
        ohms = 1.0;
    }
    /// A capacitance, farads.
    Capacitance = CapacitanceDimension {
        /// The value in farads.
        farads = 1.0;
    }
    /// A power, watts.
    Power = PowerDimension {
        /// The value in watts.
        watts = 1.0;
    }
    /// An energy, joules.
    Energy = EnergyDimension {
        /// The value in joules.
        joules = 1.0;
    }
    /// A temperature, kelvin inside.
    Temperature = TemperatureDimension {
        /// The value in kelvin.
        kelvin = 1.0;
    }
    /// A temperature difference, kelvin.
    TemperatureDifference = TemperatureDifferenceDimension {
        /// The value in kelvin.
        kelvin = 1.0;
    }
    /// A length, metres.
    Length = LengthDimension {
        /// The value in metres.
        metres = 1.0;
        /// The value in millimetres.
        millimetres = 1e-3;
    }
    /// A mass, kilograms.
    Mass = MassDimension {
        /// The value in grams.
        grams = 1e-3;
    }
    /// A rate of self-discharge `λ`, 1/s, with `dQ/dt = −λ·Q`.
    SelfDischarge = SelfDischargeDimension {
        /// The rate in 1/s.
        per_second = 1.0;
        /// The rate in 1/d.
        per_day = (1.0 / crate::units::DAY_S);
        /// The rate in 1/month (30.4375 d).
        per_month = (1.0 / MONTH_S);
    }
    /// A daily irradiation, W/m² of mean power inside.
    Irradiation = IrradiationDimension {
        /// The value in kWh/m² a day.
        kilowatt_hours_per_square_metre_day = (1e3 / 24.0);
    }
    /// An angle, radians.
    Angle = AngleDimension {
        /// The value in radians.
        radians = 1.0;
        /// The value in degrees.
        degrees = (std::f64::consts::PI / 180.0);
    }
    /// A frequency, hertz.
    Frequency = FrequencyDimension {
        /// The value in hertz.
        hertz = 1.0;
    }
    /// A pure number.
    Ratio = RatioDimension {
        /// The value as a fraction of one.
        fraction = 1.0;
    }
    /// A relative change with temperature, 1/K.
    TemperatureCoefficient = TemperatureCoefficientDimension {
        /// The value in 1/K.
        per_kelvin = 1.0;
    }
    /// A thermal resistance, K/W.
    ThermalResistance = ThermalResistanceDimension {
        /// The value in K/W.
        kelvin_per_watt = 1.0;
    }
    /// An activation energy, J/mol.
    MolarEnergy = MolarEnergyDimension {
        /// The value in J/mol.
        joules_per_mole = 1.0;
    }
}

impl Temperature {
    /// The value in degrees Celsius.
    pub fn celsius(&self) -> f64 {
        self.si() - 273.15
    }
}
