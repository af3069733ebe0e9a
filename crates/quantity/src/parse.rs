//! Reading a quantity's text, with the place of every fault.

use std::ops::Range;

use crate::dimension::{ALL_DIMENSIONS, DimensionInfo};
use crate::error::{ParseError, ParseErrorKind};
use crate::quantity::Spread;
use crate::units::{Conversion, find, normalise, spellings};

/// Value and spread in SI.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Parsed {
    pub(crate) si: f64,
    pub(crate) spread: Spread,
}

/// A number as written.
struct Number {
    value: f64,
    decimals: i32,
    span: Range<usize>,
}

/// Reads `text` as a quantity of the dimension `info`.
pub(crate) fn parse(text: &str, info: &'static DimensionInfo) -> Result<Parsed, ParseError> {
    Reader { text, at: 0, info }.quantity()
}

struct Reader<'a> {
    text: &'a str,
    at: usize,
    info: &'static DimensionInfo,
}

enum Link {
    PlusMinus,
    To,
}

impl<'a> Reader<'a> {
    fn quantity(mut self) -> Result<Parsed, ParseError> {
        self.skip_space();
        if self.rest().is_empty() {
            return Err(
                self.error(ParseErrorKind::Empty { needed: self.info.name }, 0..self.text.len())
            );
        }
        if self.rest().trim_end().eq_ignore_ascii_case("unknown") {
            return Err(self.error(ParseErrorKind::Unknown, self.at..self.text.trim_end().len()));
        }
        if let Some(bound) = self.bound() {
            return self.bounded(bound);
        }
        let start = self.at;
        let bracketed = self.eat("(");
        let number = self.number()?;
        let digits = if bracketed { None } else { self.digits(&number)? };
        let mut unit = if bracketed { None } else { self.unit()? };
        let mut spread = Spread::Unstated;
        let mut value = number.value;
        if let Some(link) = self.link() {
            self.skip_space();
            let second = self.number()?;
            self.skip_space();
            let mut relative = false;
            let mut second_unit = None;
            if bracketed {
                self.close_bracket(start)?;
                unit = self.unit()?;
            } else {
                relative = self.relative();
                if !relative {
                    second_unit = self.unit()?;
                }
            }
            if unit.is_none() {
                unit.clone_from(&second_unit);
            }
            let conversion = self.conversion(unit, number.span.end)?;
            let second_conversion = match second_unit {
                Some(written) => self.conversion(Some(written), second.span.end)?,
                None => conversion,
            };
            if digits.is_some() {
                return Err(self.spread_error(start));
            }
            match link {
                Link::PlusMinus => {
                    if second.value < 0.0 {
                        return Err(self.error(ParseErrorKind::NegativeSpread, second.span));
                    }
                    let half_width = if relative {
                        (self.si(conversion, value, start)? * second.value / 100.0).abs()
                    } else {
                        self.width(second_conversion, value, second.value)
                    };
                    spread = self.coverage(half_width)?;
                }
                Link::To => {
                    let low = self.si(conversion, number.value, start)?;
                    let high = self.si(second_conversion, second.value, start)?;
                    if relative || low > high {
                        let kind = if relative {
                            ParseErrorKind::Spread { found: self.text[start..].to_owned() }
                        } else {
                            ParseErrorKind::RangeReversed
                        };
                        return Err(self.error(kind, start..self.at));
                    }
                    self.finish()?;
                    let spread = Spread::Limits { half_width: (high - low) / 2.0 };
                    return Ok(Parsed { si: low + (high - low) / 2.0, spread });
                }
            }
            self.finish()?;
            let si = self.si(conversion, value, start)?;
            return Ok(Parsed { si, spread });
        }
        if bracketed {
            return Err(self.spread_error(start));
        }
        let conversion = self.conversion(unit, number.span.end)?;
        if let Some(standard) = digits {
            spread = Spread::Standard { u: self.width(conversion, value, standard) };
        }
        self.finish()?;
        value = self.si(conversion, value, start)?;
        Ok(Parsed { si: value, spread })
    }

    fn bounded(&mut self, spread: Spread) -> Result<Parsed, ParseError> {
        self.skip_space();
        let start = self.at;
        let number = self.number()?;
        let unit = self.unit()?;
        let conversion = self.conversion(unit, number.span.end)?;
        self.finish()?;
        Ok(Parsed { si: self.si(conversion, number.value, start)?, spread })
    }

    fn bound(&mut self) -> Option<Spread> {
        for sign in ["<=", "≤", "<"] {
            if self.eat(sign) {
                return Some(Spread::AtMost);
            }
        }
        for sign in [">=", "≥", ">"] {
            if self.eat(sign) {
                return Some(Spread::AtLeast);
            }
        }
        None
    }

    /// `(k = 2)` after a half width; without it the half width is a limit.
    fn coverage(&mut self, half_width: f64) -> Result<Spread, ParseError> {
        self.skip_space();
        let start = self.at;
        if !self.eat("(") {
            return Ok(Spread::Limits { half_width });
        }
        self.skip_space();
        if !self.eat("k") {
            return Err(self.spread_error(start));
        }
        self.skip_space();
        if !self.eat("=") {
            return Err(self.spread_error(start));
        }
        self.skip_space();
        let k = self.number()?;
        self.skip_space();
        if !self.eat(")") {
            return Err(self.spread_error(start));
        }
        if k.value <= 0.0 {
            return Err(self.error(ParseErrorKind::CoverageFactor, k.span));
        }
        Ok(Spread::Expanded { half_width, k: k.value })
    }

    /// The `(4)` of `12.6(4)`, in units of the value as written.
    fn digits(&mut self, number: &Number) -> Result<Option<f64>, ParseError> {
        if !self.rest().starts_with('(') {
            return Ok(None);
        }
        let start = self.at;
        self.at += 1;
        let inner = self.number()?;
        if !self.eat(")") || inner.value < 0.0 {
            return Err(self.spread_error(start));
        }
        let scale =
            if inner.decimals > 0 { 1.0 } else { libm::pow(10.0, f64::from(number.decimals)) };
        Ok(Some(inner.value / scale))
    }

    fn close_bracket(&mut self, start: usize) -> Result<(), ParseError> {
        self.skip_space();
        if self.eat(")") { Ok(()) } else { Err(self.spread_error(start)) }
    }

    fn link(&mut self) -> Option<Link> {
        self.skip_space();
        for sign in ["±", "+/-", "+-", "+/−"] {
            if self.eat(sign) {
                return Some(Link::PlusMinus);
            }
        }
        for sign in ["to ", "...", "..", "…", "–"] {
            if self.eat(sign) {
                return Some(Link::To);
            }
        }
        None
    }

    /// A `%` after a spread where `%` is no unit of the dimension itself.
    fn relative(&mut self) -> bool {
        if find(self.info.units, "%").is_some() {
            return false;
        }
        let after = self.rest();
        let alone = after.strip_prefix('%').is_some_and(|rest| !rest.starts_with('/'));
        if alone {
            self.at += 1;
        }
        alone
    }

    /// The text of a unit and its place; `None` where none stands.
    fn unit(&mut self) -> Result<Option<(String, Range<usize>)>, ParseError> {
        self.skip_space();
        let rest = self.rest();
        let mut end = rest.len();
        for (index, c) in rest.char_indices() {
            let tail = &rest[index..];
            if matches!(c, '±' | '(' | ')' | '…' | '–')
                || tail.starts_with("+/")
                || tail.starts_with("+-")
                || tail.starts_with("..")
                || tail.starts_with(" to ")
            {
                end = index;
                break;
            }
        }
        let written = rest[..end].trim_end();
        if written.is_empty() || rest.starts_with("to ") {
            return Ok(None);
        }
        if let Some(after) = written.strip_prefix(',')
            && after.starts_with(|c: char| c.is_ascii_digit())
        {
            let start = self.number_start();
            let digits = after.chars().take_while(|c| c.is_ascii_digit() || *c == ',').count();
            let span = start..self.at + 1 + digits;
            let found = self.text[span.clone()].to_owned();
            return Err(self.error(ParseErrorKind::Comma { found }, span));
        }
        let span = self.at..self.at + written.len();
        self.at += end;
        Ok(Some((written.to_owned(), span)))
    }

    /// Start of the number that ends at the reading place.
    fn number_start(&self) -> usize {
        let before = &self.text[..self.at];
        before
            .rfind(|c: char| !(c.is_ascii_digit() || c == '.' || c == '-'))
            .map_or(0, |place| place + before[place..].chars().next().map_or(1, char::len_utf8))
    }

    fn conversion(
        &self,
        unit: Option<(String, Range<usize>)>,
        number_end: usize,
    ) -> Result<Conversion, ParseError> {
        let Some((written, span)) = unit else {
            if self.info.bare_number {
                return Ok(Conversion::Scale(1.0));
            }
            let kind = ParseErrorKind::MissingUnit { needed: self.info.name };
            return Err(self.error(kind, number_end.saturating_sub(1)..number_end));
        };
        let token = normalise(&written);
        if let Some(conversion) = find(self.info.units, &token) {
            return Ok(conversion);
        }
        let other = ALL_DIMENSIONS.iter().find(|other| find(other.units, &token).is_some());
        let kind = if let Some(other) = other {
            ParseErrorKind::WrongDimension {
                unit: written,
                found: other.name,
                needed: self.info.name,
            }
        } else {
            let similar = similar_unit(self.info, &token);
            ParseErrorKind::UnknownUnit { unit: written, needed: self.info.name, similar }
        };
        Err(self.error(kind, span))
    }

    fn si(&self, conversion: Conversion, number: f64, start: usize) -> Result<f64, ParseError> {
        let si = match conversion {
            Conversion::Scale(factor) => scale(number, factor),
            Conversion::Offset(zero) => number + zero,
            Conversion::LossPercentPer(period_s) => {
                if number >= 100.0 {
                    return Err(self.error(ParseErrorKind::LossTooLarge, start..self.at));
                }
                -libm::log1p(-number / 100.0) / period_s
            }
        };
        if self.info.si_unit == "K" && self.info.name == "a temperature" && si < 0.0 {
            return Err(self.error(ParseErrorKind::BelowAbsoluteZero, start..self.at));
        }
        if si.is_finite() {
            Ok(si)
        } else {
            let found = self.text[start..self.at].to_owned();
            Err(self.error(ParseErrorKind::TooLarge { found }, start..self.at))
        }
    }

    /// A width in SI: the conversion's slope at `value` times the width as written.
    #[expect(clippy::unused_self, reason = "reads as one of the reader's steps")]
    fn width(&self, conversion: Conversion, value: f64, width: f64) -> f64 {
        match conversion {
            Conversion::Scale(factor) => scale(width, factor).abs(),
            Conversion::Offset(_) => width,
            Conversion::LossPercentPer(period_s) => {
                width / 100.0 / (1.0 - value / 100.0) / period_s
            }
        }
    }

    fn number(&mut self) -> Result<Number, ParseError> {
        self.skip_space();
        let start = self.at;
        let mut digits = String::new();
        if self.eat("-") || self.eat("−") {
            digits.push('-');
        } else {
            self.eat("+");
        }
        let mut seen = false;
        let mut decimals = -1;
        loop {
            let rest = self.rest();
            let Some(c) = rest.chars().next() else { break };
            if c.is_ascii_digit() {
                digits.push(c);
                seen = true;
                decimals += i32::from(decimals >= 0);
                self.at += 1;
            } else if c == '.' && decimals < 0 && !rest.starts_with("..") {
                digits.push('.');
                decimals = 0;
                self.at += 1;
            } else if decimals < 0
                && seen
                && is_group_space(c)
                && group_of_three(&rest[c.len_utf8()..])
            {
                self.at += c.len_utf8();
            } else {
                break;
            }
        }
        if !seen {
            self.at = start;
            let found: String = self.rest().split_whitespace().next().unwrap_or("").to_owned();
            let span = start..start + found.len();
            return Err(self.error(ParseErrorKind::NotANumber { found }, span));
        }
        self.exponent(&mut digits);
        let span = start..self.at;
        let Ok(value) = digits.parse::<f64>() else {
            let found = self.text[span.clone()].to_owned();
            return Err(self.error(ParseErrorKind::NotANumber { found }, span));
        };
        if !value.is_finite() {
            let found = self.text[span.clone()].to_owned();
            return Err(self.error(ParseErrorKind::TooLarge { found }, span));
        }
        Ok(Number { value, decimals: decimals.max(0), span })
    }

    fn exponent(&mut self, digits: &mut String) {
        let rest = self.rest();
        let Some(after) = rest.strip_prefix(['e', 'E']) else { return };
        let sign = usize::from(after.starts_with(['-', '+']));
        let count = after[sign..].chars().take_while(char::is_ascii_digit).count();
        if count > 0 {
            digits.push_str(&rest[..1 + sign + count]);
            self.at += 1 + sign + count;
        }
    }

    fn finish(&mut self) -> Result<(), ParseError> {
        self.skip_space();
        let found = self.rest().trim_end();
        if found.is_empty() {
            return Ok(());
        }
        let span = self.at..self.at + found.len();
        let kind = if found.starts_with('(') {
            ParseErrorKind::Spread { found: found.to_owned() }
        } else {
            ParseErrorKind::Trailing { found: found.to_owned() }
        };
        Err(self.error(kind, span))
    }

    fn rest(&self) -> &'a str {
        &self.text[self.at..]
    }

    fn eat(&mut self, what: &str) -> bool {
        let found = self.rest().starts_with(what);
        if found {
            self.at += what.len();
        }
        found
    }

    fn skip_space(&mut self) {
        let rest = self.rest();
        self.at += rest.len() - rest.trim_start().len();
    }

    fn spread_error(&self, start: usize) -> ParseError {
        let end = self.text.trim_end().len().max(start);
        self.error(ParseErrorKind::Spread { found: self.text[start..end].to_owned() }, start..end)
    }

    fn error(&self, kind: ParseErrorKind, span: Range<usize>) -> ParseError {
        ParseError { kind, span, needed: self.info }
    }
}

/// `number · factor`, as a division where the factor is a negative power of ten, so that `12.6 µA` is the float
/// nearest to 12.6e-6.
pub(crate) fn scale(number: f64, factor: f64) -> f64 {
    if factor > 0.0 && factor < 1.0 {
        let inverse = (1.0 / factor).round();
        if 1.0 / inverse == factor {
            return number / inverse;
        }
    }
    number * factor
}

fn is_group_space(c: char) -> bool {
    matches!(c, ' ' | '\u{a0}' | '\u{2009}' | '\u{202f}' | '\u{2007}')
}

fn group_of_three(text: &str) -> bool {
    let count = text.chars().take_while(char::is_ascii_digit).count();
    count == 3
}

fn similar_unit(info: &DimensionInfo, token: &str) -> Option<String> {
    let folded = token.to_lowercase();
    let mut best: Option<(f64, String)> = None;
    for spelling in spellings(info.units) {
        let lower = spelling.to_lowercase();
        let score = if lower == folded { 1.0 } else { strsim::jaro_winkler(&lower, &folded) };
        if score > best.as_ref().map_or(0.8, |(score, _)| *score) {
            best = Some((score, spelling));
        }
    }
    best.map(|(_, spelling)| spelling)
}
