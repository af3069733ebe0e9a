//! What is known of a trait: nothing, a fact, or an inference with its degree of belief.

use std::borrow::Cow;
use std::fmt;

use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::de::Expected;
use serde::{Serialize, Serializer};

use crate::choice::{Choice, YesNo, choice_error};
use crate::reader::{Faulty, Read, Reader};

/// A trait of a board: unknown, seen, or inferred with a probability.
///
/// Written `"yes"`, `"unknown"`, `"inferred yes, 80 %"`. A key left out is unknown, unless a lower layer knows; "unknown"
/// written down stays unknown whatever a lower layer says. Unknown is never "no".
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub enum Seen<T> {
    /// Nobody has looked, or it could not be told.
    #[default]
    Unknown,
    /// Written down as "unknown": it holds over what a lower layer (revision, board, module) says.
    SaidUnknown,
    /// Seen or measured.
    Known(T),
    /// Concluded from something else.
    Inferred {
        /// The value concluded.
        value: T,
        /// How sure, as a probability strictly between 0 and 1.
        sure: f64,
    },
}

/// A trait that is yes, no or unknown.
pub type Trait = Seen<YesNo>;

impl<T: Copy> Seen<T> {
    /// The value, known or inferred.
    pub fn value(&self) -> Option<T> {
        match self {
            Self::Unknown | Self::SaidUnknown => None,
            Self::Known(value) | Self::Inferred { value, .. } => Some(*value),
        }
    }

    /// The value if it is known, not merely inferred.
    pub fn known(&self) -> Option<T> {
        match self {
            Self::Known(value) => Some(*value),
            Self::Unknown | Self::SaidUnknown | Self::Inferred { .. } => None,
        }
    }

    /// Whether nothing is known.
    pub fn is_unknown(&self) -> bool {
        matches!(self, Self::Unknown | Self::SaidUnknown)
    }
}

impl Trait {
    /// The probability of "yes"; `None` where unknown.
    pub fn probability_of_yes(&self) -> Option<f64> {
        match self {
            Self::Unknown | Self::SaidUnknown => None,
            Self::Known(YesNo::Yes) => Some(1.0),
            Self::Known(YesNo::No) => Some(0.0),
            Self::Inferred { value: YesNo::Yes, sure } => Some(*sure),
            Self::Inferred { value: YesNo::No, sure } => Some(1.0 - sure),
        }
    }
}

impl<T: Choice> Seen<T> {
    /// Reads a trait's text.
    ///
    /// # Errors
    /// A line with message, place and help.
    pub fn parse(text: &str) -> Result<Self, String> {
        let trimmed = text.trim();
        if trimmed.eq_ignore_ascii_case("unknown") {
            return Ok(Self::SaidUnknown);
        }
        if let Some(rest) = trimmed.strip_prefix("inferred") {
            return Self::inferred(rest).ok_or_else(|| {
                format!(
                    "\"{text}\" does not say what is inferred and how sure [bytes 0..{}] help: write for example \"inferred {}, 80 %\", \
                     with a probability above 0 % and below 100 %; one of {} fits",
                    text.len(),
                    T::WORDS[0].1,
                    T::list()
                )
            });
        }
        T::from_word(trimmed).map(Self::Known).ok_or_else(|| {
            let mut words: Vec<&str> = T::WORDS.iter().map(|(_, word)| *word).collect();
            words.push("unknown");
            let list = format!("{}, \"unknown\" or \"inferred …, 80 %\"", T::list());
            choice_error(text, T::NAME, &words, &list)
        })
    }

    fn inferred(rest: &str) -> Option<Self> {
        let (value, sure) = rest.rsplit_once(',')?;
        let value = T::from_word(value)?;
        let percent: f64 = sure.trim().strip_suffix('%')?.trim().parse().ok()?;
        (percent > 0.0 && percent < 100.0)
            .then_some(Self::Inferred { value, sure: percent / 100.0 })
    }
}

impl<T: Choice> fmt::Display for Seen<T> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Unknown | Self::SaidUnknown => f.write_str("unknown"),
            Self::Known(value) => f.write_str(value.word()),
            Self::Inferred { value, sure } => {
                let percent = (sure * 1e4).round() / 100.0;
                write!(f, "inferred {}, {percent} %", value.word())
            }
        }
    }
}

impl<T: Choice> Serialize for Seen<T> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

impl<T: Choice> Read for Seen<T> {
    fn blank() -> Self {
        Self::Unknown
    }

    fn fill(&mut self, from: Reader<'_>) -> Result<(), Faulty> {
        let text = from.text(&Wanted(T::list))?;
        *self = Self::parse(text).map_err(|line| Faulty::at(line, from.span()))?;
        Ok(())
    }
}

/// What a trait's text may be.
struct Wanted(fn() -> String);

impl Expected for Wanted {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "one of {}, \"unknown\" or \"inferred …, 80 %\" in quotes", self.0())
    }
}

impl<T: Choice> JsonSchema for Seen<T> {
    fn schema_name() -> Cow<'static, str> {
        format!("Seen {}", T::NAME).replace(' ', "_").into()
    }

    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        let mut words: Vec<&str> = T::WORDS.iter().map(|(_, word)| *word).collect();
        words.push("unknown");
        json_schema!({
            "description": format!("{}; unknown if left out", T::NAME),
            "anyOf": [{ "enum": words }, { "type": "string", "pattern": "^inferred .+, [0-9.]+ ?%$" }],
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_four_states() {
        assert_eq!(Trait::parse("yes"), Ok(Seen::Known(YesNo::Yes)));
        assert_eq!(Trait::parse("unknown"), Ok(Seen::SaidUnknown));
        let inferred = Trait::parse("inferred no, 80 %").unwrap();
        assert!((inferred.probability_of_yes().unwrap() - 0.2).abs() < 1e-15);
        assert_eq!(inferred.to_string(), "inferred no, 80 %");
        assert_eq!(Trait::default().probability_of_yes(), None, "unknown is not no");
    }

    #[test]
    fn faults_say_how_to_mend() {
        for text in [
            "maybe",
            "inferred yes",
            "inferred yes, 100 %",
            "inferred maybe, 80 %",
            "inferred yes, NaN %",
        ] {
            let line = Trait::parse(text).unwrap_err();
            assert!(line.contains("] help: "), "{line}");
        }
    }
}
