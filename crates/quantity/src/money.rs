//! Money: an amount with its ISO 4217 code.

use std::borrow::Cow;
use std::fmt;
use std::str::FromStr;

use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::de::{self, Deserialize, Deserializer, Visitor};
use serde::{Serialize, Serializer};

/// An amount of money: `6.90 EUR`.
#[derive(Clone, Debug, PartialEq)]
pub struct Money {
    /// The amount in units of the currency.
    pub amount: f64,
    /// The three-letter code of ISO 4217.
    pub currency: String,
}

/// A text that is no amount of money.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("`{found}` is not an amount of money [bytes 0..{length}] help: write amount and three-letter currency code, such as \"6.90 EUR\"", length = found.len())]
pub struct MoneyError {
    /// The text.
    pub found: String,
}

impl FromStr for Money {
    type Err = MoneyError;

    fn from_str(text: &str) -> Result<Self, MoneyError> {
        let error = || MoneyError { found: text.to_owned() };
        let trimmed = text.trim().replace('€', " EUR ").replace('£', " GBP ");
        let mut parts = trimmed.split_whitespace();
        let (Some(first), Some(second), None) = (parts.next(), parts.next(), parts.next()) else {
            return Err(error());
        };
        let (amount, currency) = if first.starts_with(|c: char| c.is_ascii_digit()) {
            (first, second)
        } else {
            (second, first)
        };
        let is_code = currency.len() == 3 && currency.bytes().all(|b| b.is_ascii_uppercase());
        let is_amount = amount.bytes().all(|b| b.is_ascii_digit() || b == b'.');
        let amount = amount.parse().ok().filter(|amount: &f64| amount.is_finite() && is_amount);
        match amount {
            Some(amount) if is_code => Ok(Self { amount, currency: currency.to_owned() }),
            _ => Err(error()),
        }
    }
}

impl fmt::Display for Money {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:.2} {}", self.amount, self.currency)
    }
}

impl Serialize for Money {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

impl<'de> Deserialize<'de> for Money {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct TextVisitor;
        impl Visitor<'_> for TextVisitor {
            type Value = Money;

            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("an amount of money, such as \"6.90 EUR\"")
            }

            fn visit_str<E: de::Error>(self, text: &str) -> Result<Money, E> {
                text.parse().map_err(E::custom)
            }
        }
        deserializer.deserialize_any(TextVisitor)
    }
}

impl JsonSchema for Money {
    fn schema_name() -> Cow<'static, str> {
        "money".into()
    }

    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        json_schema!({ "type": "string", "description": "an amount with its three-letter currency code", "examples": ["6.90 EUR"] })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn reads_code_before_or_after() {
        let expected = Money { amount: 6.9, currency: "EUR".into() };
        for text in ["6.90 EUR", "EUR 6.90", "€6.90", "6.9 €"] {
            assert_eq!(text.parse(), Ok(expected.clone()), "{text}");
        }
        assert_eq!(expected.to_string(), "6.90 EUR");
    }

    #[test]
    fn refuses_what_is_ambiguous() {
        for text in ["6.90", "$6.90", "6,90 EUR", "-1 EUR", "six EUR", "6 eur", "1e400 EUR", ""] {
            assert!(text.parse::<Money>().is_err(), "{text}");
        }
    }
}
