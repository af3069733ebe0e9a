//! What can be wrong with a quantity's text, where, and how to mend it.

use std::ops::Range;

use crate::dimension::DimensionInfo;

/// A quantity's text that cannot be read; the span is in bytes of that text.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{kind}")]
pub struct ParseError {
    /// What is wrong.
    pub kind: ParseErrorKind,
    /// Where, in bytes of the text.
    pub span: Range<usize>,
    /// What was needed.
    pub(crate) needed: &'static DimensionInfo,
}

/// The kinds of error in a quantity's text.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum ParseErrorKind {
    /// Nothing stands there.
    #[error("the text is empty where {needed} is needed")]
    Empty {
        /// The dimension needed.
        needed: &'static str,
    },
    /// `unknown` was written as a value.
    #[error("`unknown` is not a value")]
    Unknown,
    /// No number where one is needed.
    #[error("a number is needed here, not `{found}`")]
    NotANumber {
        /// What stands there instead.
        found: String,
    },
    /// A comma inside a number.
    #[error("a comma stands inside the number `{found}`")]
    Comma {
        /// The number as written.
        found: String,
    },
    /// The number is beyond what a 64-bit float holds.
    #[error("the number `{found}` is too large")]
    TooLarge {
        /// The number as written.
        found: String,
    },
    /// A number without its unit.
    #[error("the unit is missing: {needed} is needed")]
    MissingUnit {
        /// The dimension needed.
        needed: &'static str,
    },
    /// A unit of another dimension.
    #[error("`{unit}` makes this {found}, but {needed} is needed")]
    WrongDimension {
        /// The unit as written.
        unit: String,
        /// The dimension it has.
        found: &'static str,
        /// The dimension needed.
        needed: &'static str,
    },
    /// A unit nobody knows.
    #[error("`{unit}` is not a unit of {needed}")]
    UnknownUnit {
        /// The unit as written.
        unit: String,
        /// The dimension needed, without its article.
        needed: &'static str,
        /// A unit that looks like it.
        similar: Option<String>,
    },
    /// A spread that cannot be read.
    #[error("the spread `{found}` cannot be read")]
    Spread {
        /// The spread as written.
        found: String,
    },
    /// A negative spread.
    #[error("a spread cannot be negative")]
    NegativeSpread,
    /// A coverage factor that is not positive.
    #[error("the coverage factor k must be greater than zero")]
    CoverageFactor,
    /// A range whose ends are the wrong way round.
    #[error("the range runs downwards: its first end is greater than its second")]
    RangeReversed,
    /// A share lost of 100 % or more in a period.
    #[error("a cell cannot lose 100 % or more of its charge in a period")]
    LossTooLarge,
    /// Text after the quantity's end.
    #[error("`{found}` stands after the end of the value")]
    Trailing {
        /// The text.
        found: String,
    },
    /// A temperature below absolute zero.
    #[error("this is below absolute zero (−273.15 °C)")]
    BelowAbsoluteZero,
}

impl ParseError {
    /// What to do about it, in one sentence.
    pub fn help(&self) -> String {
        let needed = self.needed;
        let example = needed.examples[0];
        let fits =
            format!("write it as for example \"{example}\"; units that fit: {}", needed.fits);
        match &self.kind {
            ParseErrorKind::Unknown => "leave the key out: what is not written is unknown".to_owned(),
            ParseErrorKind::Comma { .. } => {
                "write the decimal point as `.` and leave out thousands separators (12.6, 12600)".to_owned()
            }
            ParseErrorKind::TooLarge { .. } => "check the exponent".to_owned(),
            ParseErrorKind::UnknownUnit { similar: Some(similar), .. } => {
                format!("did you mean `{similar}`? Units that fit: {}", needed.fits)
            }
            ParseErrorKind::Spread { .. } => {
                "write `12.6(4) µA`, `53 mA ± 2 %`, `12.6 ± 0.7 µA (k = 2)`, `80 to 300 µA` or `< 3 µA`".to_owned()
            }
            ParseErrorKind::NegativeSpread => "write the spread as a positive number".to_owned(),
            ParseErrorKind::CoverageFactor => "write for example `± 0.7 µA (k = 2)`".to_owned(),
            ParseErrorKind::RangeReversed => "write the smaller end first: `80 to 300 µA`".to_owned(),
            ParseErrorKind::LossTooLarge => "write the share lost in each period, such as \"2 %/month\"".to_owned(),
            ParseErrorKind::Trailing { .. } => format!("remove it; {fits}"),
            ParseErrorKind::BelowAbsoluteZero => "check the sign and the unit".to_owned(),
            ParseErrorKind::Empty { .. }
            | ParseErrorKind::NotANumber { .. }
            | ParseErrorKind::MissingUnit { .. }
            | ParseErrorKind::WrongDimension { .. }
            | ParseErrorKind::UnknownUnit { .. } => fits,
        }
    }

    /// One line that holds message, place and help, so that it survives a pass through `serde`:
    /// `message [bytes 5..7] help: …`. [`ParseError::split_line`] takes it apart again.
    pub fn to_line(&self) -> String {
        format!(
            "{} [bytes {}..{}] help: {}",
            self.kind,
            self.span.start,
            self.span.end,
            self.help()
        )
    }

    /// Message, byte span and help of a line made by [`ParseError::to_line`]; `None` for any other text.
    pub fn split_line(line: &str) -> Option<(&str, Range<usize>, &str)> {
        let (message, rest) = line.split_once(" [bytes ")?;
        let (span, help) = rest.split_once("] help: ")?;
        let (start, end) = span.split_once("..")?;
        Some((message, start.parse().ok()?..end.parse().ok()?, help))
    }
}
