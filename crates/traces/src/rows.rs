//! Rows of text to samples: any layout, field by field.

use crate::error::counted;
use crate::layout::{DateOrder, Delimiter, Layout, TextFormat, TimeSource};
use crate::number::{general, is_not_a_number};
use crate::reduce::{BLOCK, CELL, CellSums};

/// Refused rows kept with their place, per chunk.
const ISSUES: u64 = 16;
/// Readings at or beyond this stand for "over range" (SCPI-1999 vol. 1: ±9.9E37 infinity, 9.91E37 not a number).
const OVER_RANGE: f64 = 9.0e37;

/// A row that gave no sample.
#[derive(Debug, Clone)]
pub(crate) struct RowIssue {
    pub(crate) line_in_chunk: u64,
    /// Samples of the chunk in front of it.
    pub(crate) samples_before: usize,
    pub(crate) byte: u64,
    pub(crate) not_a_number: bool,
    pub(crate) reason: String,
}

/// How far a chunk has come.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(crate) enum State {
    #[default]
    Parsed,
    /// Its samples are in the histogram already.
    Counted,
    /// It could not be read; no chunk behind it is part of the result.
    Unreadable,
}

/// Samples of one chunk.
#[derive(Debug, Default)]
pub(crate) struct Parsed {
    pub(crate) time: Vec<f64>,
    pub(crate) current: Vec<f64>,
    pub(crate) voltage: Vec<f64>,
    /// No stamps: the sample's number times the stated interval. Refused rows then stand as NaN.
    pub(crate) regular: bool,
    pub(crate) has_nan: bool,
    /// Lines, blank ones and remarks included.
    pub(crate) lines: u64,
    /// Lines that should hold a sample.
    pub(crate) rows: u64,
    /// Rows without a usable sample, and those of them that say NaN, Inf or overload.
    pub(crate) refused: u64,
    pub(crate) not_numbers: u64,
    pub(crate) bytes: u64,
    pub(crate) issues: Vec<RowIssue>,
    pub(crate) state: State,
    /// Number of the first sample, where the input tells it: none missing before.
    pub(crate) first_sample: Option<u64>,
    /// Sums of the cells that lie wholly in this piece, as far as they were taken.
    sums: Vec<CellSums>,
}

impl Parsed {
    /// Takes the sums of whole cells, as far as samples go; in steps, while the samples are still in cache.
    pub(crate) fn take_sums(&mut self) {
        let Some(first) = self.first_sample else { return };
        let lead = (first.next_multiple_of(CELL as u64) - first) as usize;
        let done = lead + self.sums.len() * CELL;
        let rest = self.current.get(done..).unwrap_or(&[]);
        self.sums.extend(rest.chunks_exact(CELL).map(CellSums::of));
    }

    /// The sums of the block that starts at this sample (a whole number of cells).
    pub(crate) fn sums_at(&self, sample: u64) -> Option<&[CellSums]> {
        let first = self.first_sample?.next_multiple_of(CELL as u64);
        let at = usize::try_from(sample.checked_sub(first)? / CELL as u64).ok()?;
        self.sums.get(at..at + BLOCK / CELL)
    }

    pub(crate) fn clear(&mut self, regular: bool) {
        self.time.clear();
        self.current.clear();
        self.voltage.clear();
        self.issues.clear();
        self.sums.clear();
        self.first_sample = None;
        self.state = State::Parsed;
        self.regular = regular;
        self.has_nan = false;
        (self.lines, self.rows, self.refused, self.not_numbers, self.bytes) = (0, 0, 0, 0, 0);
    }

    pub(crate) fn refuse(
        &mut self,
        byte: u64,
        not_a_number: bool,
        reason: impl FnOnce() -> String,
    ) {
        self.refused += 1;
        self.not_numbers += u64::from(not_a_number);
        // A limit for each kind, so that what is listed does not depend on where chunks end.
        let of_kind = if not_a_number { self.not_numbers } else { self.refused - self.not_numbers };
        if of_kind <= ISSUES {
            let line_in_chunk = self.lines;
            let samples_before = self.current.len();
            self.issues.push(RowIssue {
                line_in_chunk,
                samples_before,
                byte,
                not_a_number,
                reason: reason(),
            });
        }
        if self.regular {
            self.current.push(f64::NAN);
            self.has_nan = true;
        }
    }
}

/// Reads rows by a layout.
#[derive(Debug, Clone)]
pub(crate) struct RowReader {
    pub(crate) text: TextFormat,
    pub(crate) time: TimeSource,
    pub(crate) first: usize,
    pub(crate) second: Option<usize>,
    pub(crate) scale: f64,
    pub(crate) offset_a: f64,
    pub(crate) voltage: Option<(usize, f64)>,
    /// Taken off every time, in the column's unit; whole days (as seconds) for stamps.
    pub(crate) origin: i64,
    pub(crate) last_column: usize,
    /// Longest last number among the first rows: a last row without a line end whose number is shorter may have been cut inside it.
    longest_last: usize,
}

/// Why a row gave no sample.
enum Refusal {
    NotANumber(String),
    Other(String),
}

impl RowReader {
    pub(crate) fn new(layout: &Layout, text: TextFormat) -> Self {
        let (first, second, scale) = layout.current.columns();
        Self {
            text,
            time: layout.time.clone(),
            first,
            second,
            scale,
            offset_a: layout.offset_a,
            voltage: layout.voltage.map(|v| (v.column, v.volts_per_unit)),
            origin: 0,
            last_column: layout.last_column(),
            longest_last: 0,
        }
    }

    pub(crate) fn regular(&self) -> bool {
        matches!(self.time, TimeSource::Interval { .. })
    }

    /// Looks at the first rows, whole lines, for what [`RowReader::may_be_cut`] compares with.
    pub(crate) fn learn(&mut self, lines: &[u8]) {
        let rows =
            lines.split(|b| *b == b'\n' || *b == b'\r').filter(|l| !l.trim_ascii().is_empty());
        let longest = rows.take(256).filter_map(|row| self.last_number(row)).max();
        self.longest_last = longest.unwrap_or(0);
    }

    /// Length of the last number of a row, where it is read and nothing stands behind it.
    fn last_number(&self, row: &[u8]) -> Option<usize> {
        let mut fields: Vec<&[u8]> = vec![&[]; self.last_column + 2];
        let n = split(row.trim_ascii_end(), self.text.delimiter, &mut fields);
        (n == self.last_column + 1).then(|| fields[n - 1].trim_ascii().len())
    }

    /// A last line without a line end: does it end in a number that is read and shorter than those of other rows? It may be the first digits
    /// of a longer one (1.2 of 1.2e-05), and nothing in it tells.
    pub(crate) fn may_be_cut(&self, row: &[u8]) -> bool {
        self.last_number(row).is_some_and(|length| length < self.longest_last)
    }

    /// What is taken off every time (s).
    pub(crate) fn origin_s(&self) -> f64 {
        match self.time {
            TimeSource::Column { seconds_per_unit, .. } => self.origin as f64 * seconds_per_unit,
            _ => self.origin as f64,
        }
    }

    /// Times that start over at midnight.
    pub(crate) fn wraps_daily(&self) -> bool {
        matches!(self.time, TimeSource::Split { date: None, .. })
    }

    /// One line, its end taken off. Blank lines and remarks are passed over.
    pub(crate) fn line(&self, line: &[u8], byte: u64, out: &mut Parsed) {
        let trimmed = line.trim_ascii();
        if trimmed.is_empty() || trimmed[0] == b'#' || trimmed == b"\x1a" {
            out.lines += 1;
            return;
        }
        out.rows += 1;
        match self.row(line) {
            Ok((time, current, voltage)) => {
                if !self.regular() {
                    out.time.push(time);
                }
                out.current.push(current);
                if let Some(v) = voltage {
                    out.voltage.push(v);
                }
            }
            Err(Refusal::NotANumber(reason)) => {
                out.refuse(byte, true, || reason);
                self.pad_voltage(out);
            }
            Err(Refusal::Other(reason)) => {
                out.refuse(byte, false, || reason);
                self.pad_voltage(out);
            }
        }
        out.lines += 1;
    }

    pub(crate) fn pad_voltage(&self, out: &mut Parsed) {
        if self.voltage.is_some() && out.regular {
            out.voltage.push(f64::NAN);
        }
    }

    fn row(&self, line: &[u8]) -> Result<(f64, f64, Option<f64>), Refusal> {
        let mut fields: [&[u8]; 32] = [&[]; 32];
        let mut many: Vec<&[u8]> = Vec::new();
        let fields: &[&[u8]] = if self.last_column < 32 {
            let n = split(line, self.text.delimiter, &mut fields);
            &fields[..n]
        } else {
            many.resize(self.last_column + 1, &[]);
            let n = split(line, self.text.delimiter, &mut many);
            &many[..n]
        };
        let number = |column: usize, what: &str| -> Result<f64, Refusal> {
            let field = fields.get(column).ok_or_else(|| {
                let there = counted(fields.len() as u64, "field");
                Refusal::Other(format!("{there}, {what} is field {}", column + 1))
            })?;
            match general(field, self.text.decimal_comma) {
                Some(x) if x.abs() < OVER_RANGE => Ok(x),
                Some(x) => Err(Refusal::NotANumber(format!("{what} is the over-range mark {x:e}"))),
                None if is_not_a_number(field) => {
                    Err(Refusal::NotANumber(format!("{what} is \"{}\"", show(field))))
                }
                None => Err(Refusal::Other(format!("{what} \"{}\" is not a number", show(field)))),
            }
        };
        let time = self.time(fields, &number)?;
        let mut raw = number(self.first, "current")?;
        if let Some(second) = self.second {
            raw -= number(second, "second channel")?;
        }
        let voltage = self
            .voltage
            .map(|(column, unit)| number(column, "voltage").map_or(f64::NAN, |v| v * unit));
        Ok((time, raw * self.scale - self.offset_a, voltage))
    }

    fn time(
        &self,
        fields: &[&[u8]],
        number: &dyn Fn(usize, &str) -> Result<f64, Refusal>,
    ) -> Result<f64, Refusal> {
        let text = |column: usize| -> Result<&[u8], Refusal> {
            fields.get(column).map(|f| unquote(f)).ok_or_else(|| {
                let there = counted(fields.len() as u64, "field");
                Refusal::Other(format!("{there}, the time is field {}", column + 1))
            })
        };
        let bad = |f: &[u8]| Refusal::Other(format!("time \"{}\" is not understood", show(f)));
        match self.time {
            TimeSource::Column { column, seconds_per_unit } => {
                Ok((number(column, "time")? - self.origin as f64) * seconds_per_unit)
            }
            TimeSource::Index { column, interval_s } => {
                Ok((number(column, "running number")? - self.origin as f64) * interval_s)
            }
            TimeSource::Interval { .. } => Ok(0.0),
            TimeSource::Stamp { column, order } => {
                let f = text(column)?;
                stamp(f, order, self.origin).ok_or_else(|| bad(f))
            }
            TimeSource::Split { date, time, fraction, fraction_seconds_per_unit, order } => {
                let day = match date {
                    Some(c) => {
                        let f = text(c)?;
                        (days(f, order).ok_or_else(|| bad(f))? * 86_400 - self.origin) as f64
                    }
                    None => 0.0,
                };
                let f = text(time)?;
                let clock = time_of_day(f).ok_or_else(|| bad(f))?;
                let part = match fraction {
                    Some(c) => number(c, "fraction of a second")? * fraction_seconds_per_unit,
                    None => 0.0,
                };
                Ok(day + clock + part)
            }
        }
    }

    /// The origin for a trace whose first row is this: so that small intervals keep their digits on large stamps.
    pub(crate) fn find_origin(&mut self, line: &[u8]) {
        let mut fields: [&[u8]; 32] = [&[]; 32];
        let n = split(line, self.text.delimiter, &mut fields);
        let fields = &fields[..n];
        self.origin = match self.time {
            TimeSource::Column { column, seconds_per_unit } => fields
                .get(column)
                .and_then(|f| general(f, self.text.decimal_comma))
                .filter(|x| (x * seconds_per_unit).abs() >= 1.0e6 && x.abs() < 9.0e18)
                .map_or(0, |x| x.floor() as i64),
            TimeSource::Stamp { column, order } => fields
                .get(column)
                .and_then(|f| split_stamp(unquote(f)))
                .and_then(|(d, _)| days(d, order))
                .map_or(0, |d| d * 86_400),
            TimeSource::Split { date: Some(column), order, .. } => {
                fields.get(column).and_then(|f| days(unquote(f), order)).map_or(0, |d| d * 86_400)
            }
            _ => 0,
        };
    }
}

fn unquote(field: &[u8]) -> &[u8] {
    let f = field.trim_ascii();
    match f {
        [b'"', inner @ .., b'"'] => inner.trim_ascii(),
        other => other,
    }
}

/// At most 24 characters of a field, for a message.
pub(crate) fn show(field: &[u8]) -> String {
    let text: String = String::from_utf8_lossy(field.trim_ascii())
        .chars()
        .take(24)
        .map(|c| if c.is_control() { '\u{fffd}' } else { c })
        .collect();
    if field.trim_ascii().len() > 24 { format!("{text}…") } else { text }
}

/// Fields of a line, as many as `out` holds; returns how many.
pub(crate) fn split<'a>(line: &'a [u8], delimiter: Delimiter, out: &mut [&'a [u8]]) -> usize {
    let mut n = 0;
    if delimiter == Delimiter::Spaces {
        for f in line.split(|b| *b == b' ' || *b == b'\t').filter(|f| !f.is_empty()) {
            if n == out.len() {
                break;
            }
            out[n] = f;
            n += 1;
        }
        return n;
    }
    let d = delimiter.byte();
    let mut start = 0;
    let mut quoted = false;
    for (k, &b) in line.iter().enumerate() {
        if b == b'"' {
            quoted = !quoted;
        } else if b == d && !quoted {
            if n == out.len() {
                return n;
            }
            out[n] = &line[start..k];
            n += 1;
            start = k + 1;
        }
    }
    if n < out.len() {
        out[n] = &line[start..];
        n += 1;
    }
    n
}

/// Date and time of day of a stamp: apart at `T`, or at the first blank that is followed by a digit.
pub(crate) fn split_stamp(text: &[u8]) -> Option<(&[u8], &[u8])> {
    let at = text.iter().position(|b| *b == b'T' || *b == b' ' || *b == b't')?;
    Some((&text[..at], text[at + 1..].trim_ascii()))
}

/// Seconds since the origin.
pub(crate) fn stamp(text: &[u8], order: DateOrder, origin: i64) -> Option<f64> {
    match split_stamp(text) {
        Some((date, clock)) => {
            Some((days(date, order)? * 86_400 - origin) as f64 + time_of_day(clock)?)
        }
        None => time_of_day(text),
    }
}

/// Days since 1970-01-01 in the Gregorian calendar.
pub(crate) fn days(text: &[u8], order: DateOrder) -> Option<i64> {
    let mut parts = [0i64; 3];
    let mut n = 0;
    for part in text.trim_ascii().split(|b| matches!(b, b'-' | b'/' | b'.')) {
        let part = part.trim_ascii();
        if part.is_empty() || part.len() > 4 || !part.iter().all(u8::is_ascii_digit) || n == 3 {
            return None;
        }
        parts[n] = part.iter().fold(0, |a, b| a * 10 + i64::from(b - b'0'));
        n += 1;
    }
    if n != 3 {
        return None;
    }
    let (mut y, m, d) = match order {
        DateOrder::YearMonthDay => (parts[0], parts[1], parts[2]),
        DateOrder::DayMonthYear => (parts[2], parts[1], parts[0]),
        DateOrder::MonthDayYear => (parts[2], parts[0], parts[1]),
    };
    if !(1..=12).contains(&m) || !(1..=31).contains(&d) {
        return None;
    }
    if y < 100 {
        y += 2000;
    }
    // Days from the civil date, years from March (the algorithm of common calendar libraries; from memory, tested below).
    let y2 = if m <= 2 { y - 1 } else { y };
    let era = y2.div_euclid(400);
    let year_of_era = y2.rem_euclid(400);
    let day_of_year = (153 * ((m + 9) % 12) + 2) / 5 + d - 1;
    Some(
        era * 146_097 + year_of_era * 365 + year_of_era / 4 - year_of_era / 100 + day_of_year
            - 719_468,
    )
}

/// Seconds since midnight of `h:mm[:ss[.fff]]`, a comma or a third colon before the fraction also allowed; `Z` or an offset is ignored.
pub(crate) fn time_of_day(text: &[u8]) -> Option<f64> {
    let text = text.trim_ascii();
    let text = text.strip_suffix(b"Z").unwrap_or(text);
    let text = match text.iter().position(|b| *b == b'+') {
        Some(k) => &text[..k],
        None => text,
    };
    let mut parts = text.splitn(3, |b| *b == b':');
    let whole = |p: &[u8], most: u32| -> Option<f64> {
        if p.is_empty() || p.len() > 2 || !p.iter().all(u8::is_ascii_digit) {
            return None;
        }
        let v = p.iter().fold(0u32, |a, b| a * 10 + u32::from(b - b'0'));
        (v <= most).then(|| f64::from(v))
    };
    let hours = whole(parts.next()?, 47)?;
    let minutes = whole(parts.next()?, 59)?;
    let seconds = match parts.next() {
        None => 0.0,
        Some(s) => {
            let mut copy = [0u8; 24];
            if s.is_empty() || s.len() > copy.len() {
                return None;
            }
            for (to, from) in copy.iter_mut().zip(s) {
                *to = if *from == b',' || *from == b':' { b'.' } else { *from };
            }
            let v: f64 = fast_float2::parse(&copy[..s.len()]).ok()?;
            if !(0.0..62.0).contains(&v) {
                return None;
            }
            v
        }
    };
    Some(hours * 3600.0 + minutes * 60.0 + seconds)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn calendar_days() {
        let d = |t: &str, o| days(t.as_bytes(), o);
        assert_eq!(d("1970-01-01", DateOrder::YearMonthDay), Some(0));
        assert_eq!(d("2000-03-01", DateOrder::YearMonthDay), Some(11_017));
        assert_eq!(d("31.12.2026", DateOrder::DayMonthYear), Some(20_818));
        assert_eq!(d("12/31/2026", DateOrder::MonthDayYear), Some(20_818));
        assert_eq!(d("2026-13-01", DateOrder::YearMonthDay), None);
    }

    #[test]
    fn times_of_day() {
        assert_eq!(time_of_day(b"01:02:03.250"), Some(3723.25));
        assert_eq!(time_of_day(b"01:02:03,250"), Some(3723.25));
        assert_eq!(time_of_day(b"01:02:03:250"), Some(3723.25));
        assert_eq!(time_of_day(b"1:02"), Some(3720.0));
        assert_eq!(time_of_day(b"25:61:00"), None);
        assert_eq!(time_of_day(b"noon"), None);
    }
}
