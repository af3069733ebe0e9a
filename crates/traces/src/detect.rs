//! What is this file? The delimiter is the one under which most fields of the last lines are numbers; columns are told by name, unit and
//! behaviour. What had to be guessed stands in [`Layout::doubts`]; what cannot be guessed is asked for.

use crate::columnar::{self, guarded};
use crate::error::TraceError;
use crate::layout::{
    CurrentSource, DateOrder, Delimiter, Format, Layout, TextFormat, TimeSource, VoltageSource,
    short,
};
use crate::number::general;
use crate::rows::{days, split, split_stamp, time_of_day};
use crate::source::{HEAD, LONGEST_LINE, Source};

/// Lines at the end of the head that the delimiter is judged by.
const BODY: usize = 60;

/// Finds the layout of what was opened.
///
/// # Errors
/// [`TraceError::NoNumbers`], [`TraceError::NotText`], [`TraceError::EndlessLine`] where there is no table;
/// [`TraceError::Undecided`] where the interval or the shunt must be stated; [`TraceError::Parquet`].
pub fn detect(source: &mut Source) -> Result<Layout, TraceError> {
    detect_stated(source, None, None)
}

/// The same where a person states the interval (s) or the shunt (Ω) that the file itself may not tell.
///
/// # Errors
/// As [`detect`].
pub fn detect_stated(
    source: &mut Source,
    interval_s: Option<f64>,
    shunt_ohm: Option<f64>,
) -> Result<Layout, TraceError> {
    let stated = Preamble { interval_s, shunt_ohm };
    if let Some(path) = source.parquet.clone() {
        let (names, first_rows) = columnar::look(&path)?;
        return roles(&names, &first_rows, &stated, Format::Parquet);
    }
    let name = source.name.clone();
    if source.is_arrow() {
        let failed = |reason| TraceError::Arrow { name: name.clone(), reason };
        let arrow = source.arrow()?;
        let (names, first_rows) = guarded(|| arrow.look()).map_err(failed)?;
        return roles(&names, &first_rows, &stated, Format::Arrow);
    }
    source.check_head()?;
    let head = source.fill_head();
    detect_text(&name, head, &stated)
}

fn detect_text(name: &str, head: &[u8], stated: &Preamble) -> Result<Layout, TraceError> {
    if let Some((byte, value)) = binary_byte(head) {
        // Below rows it is damage, which costs the rows it lies in.
        let sound = memchr::memrchr(b'\n', &head[..byte as usize]).map_or(0, |k| k + 1);
        let few = memchr::memchr_iter(b'\n', &head[..sound]).count() < SOUND_LINES;
        let found = if few { None } else { detect_lines(name, &head[..sound], stated).ok() };
        return found.ok_or_else(|| TraceError::NotText { name: name.to_owned(), byte, value });
    }
    let found = detect_lines(name, head, stated);
    // A last line that may be cut must not decide over the few before it.
    match (&found, memchr::memrchr(b'\n', head)) {
        (Err(TraceError::NoNumbers { .. }), Some(k)) if k + 1 < head.len() => {
            detect_lines(name, &head[..=k], stated).or(found)
        }
        _ => found,
    }
}

fn detect_lines(name: &str, head: &[u8], stated: &Preamble) -> Result<Layout, TraceError> {
    let whole = head.len() < HEAD;
    let head = head.strip_prefix(b"\xef\xbb\xbf").unwrap_or(head);
    let old = !head.contains(&b'\n');
    let mut lines: Vec<&[u8]> = head
        .split(|b| *b == b'\n' || (old && *b == b'\r'))
        .map(|l| l.strip_suffix(b"\r").unwrap_or(l))
        .collect();
    if !whole && lines.len() > 1 {
        lines.pop();
    }
    if lines.len() == 1 && head.len() >= HEAD {
        return Err(TraceError::EndlessLine {
            name: name.to_owned(),
            byte: 0,
            limit_bytes: LONGEST_LINE as u64,
        });
    }
    let none = || TraceError::NoNumbers {
        name: name.to_owned(),
        lines: lines.iter().filter(|l| !l.trim_ascii().is_empty()).count() as u64,
        looked_at_bytes: head.len() as u64,
    };
    let body: Vec<&[u8]> = {
        let filled: Vec<&[u8]> = lines.iter().copied().filter(|l| is_data(l)).collect();
        filled[filled.len().saturating_sub(BODY)..].to_vec()
    };
    let (delimiter, decimal_comma, fields) = best_cut(&body, &lines).ok_or_else(none)?;
    let row = |l: &[u8]| -> Option<Vec<String>> {
        let mut out: Vec<&[u8]> = vec![&[]; fields + 1];
        let n = split(l, delimiter, &mut out);
        let numbers = out[..n].iter().filter(|f| is_value(f, decimal_comma)).count();
        (n == fields && numbers * 2 >= fields && numbers > 0).then(|| {
            out[..n].iter().map(|f| text_of(f).trim().trim_matches('"').to_owned()).collect()
        })
    };
    // The first row of a run of rows; a number inside the preamble stands alone.
    let first = (0..lines.len())
        .find(|&k| {
            row(lines[k]).is_some()
                && lines[k + 1..].iter().filter(|l| is_data(l)).take(2).all(|l| row(l).is_some())
        })
        .ok_or_else(none)?;
    let rows: Vec<Vec<String>> = lines[first..].iter().filter_map(|l| row(l)).take(200).collect();
    let names = header(&lines[..first], delimiter, fields);
    // The names are no statement about the interval or the shunt.
    let mut above = &lines[..first];
    while !names.is_empty() && above.last().is_some_and(|l| l.trim_ascii().is_empty()) {
        above = &above[..above.len() - 1];
    }
    let above = if names.is_empty() { above } else { &above[..above.len().saturating_sub(1)] };
    let mut preamble = Preamble::read(above, decimal_comma);
    preamble.interval_s = stated.interval_s.or(preamble.interval_s);
    preamble.shunt_ohm = stated.shunt_ohm.or(preamble.shunt_ohm);
    let cells: Vec<Vec<Cell>> =
        rows.iter().map(|r| r.iter().map(|f| Cell::of(f, decimal_comma)).collect()).collect();
    let text = TextFormat { delimiter, decimal_comma, skip_lines: first as u64 };
    roles(&names, &cells, &preamble, Format::Text(text))
}

/// Lines of text above a byte that is none, if it is to be damage.
const SOUND_LINES: usize = 4;

fn binary_byte(head: &[u8]) -> Option<(u64, u8)> {
    let look = &head[..head.len().min(4096)];
    look.iter()
        .position(|b| {
            *b < 9 || (14..27).contains(b) || (28..32).contains(b) || *b == 0xff || *b == 0xfe
        })
        .map(|k| (k as u64, look[k]))
}

fn is_data(line: &[u8]) -> bool {
    let t = line.trim_ascii();
    !t.is_empty() && t[0] != b'#'
}

fn is_value(field: &[u8], decimal_comma: bool) -> bool {
    general(field, decimal_comma).is_some()
        || crate::number::is_not_a_number(field)
        || !matches!(Cell::of(&text_of(field), decimal_comma), Cell::Text)
}

/// UTF-8, or Latin-1 where it is not.
fn text_of(bytes: &[u8]) -> String {
    std::str::from_utf8(bytes)
        .map_or_else(|_| bytes.iter().map(|b| char::from(*b)).collect(), str::to_owned)
}

/// The delimiter and decimal sign under which most fields are values and most lines alike.
fn best_cut(body: &[&[u8]], all: &[&[u8]]) -> Option<(Delimiter, bool, usize)> {
    let mut best: Option<(f64, Delimiter, bool, usize)> = None;
    for delimiter in
        [Delimiter::Tab, Delimiter::Semicolon, Delimiter::Comma, Delimiter::Pipe, Delimiter::Spaces]
    {
        for decimal_comma in [false, true] {
            if decimal_comma && delimiter == Delimiter::Comma {
                continue;
            }
            let mut counts: Vec<usize> = Vec::new();
            let mut values = 0usize;
            let mut cells = 0usize;
            let mut commas = 0usize;
            for line in body {
                let mut out: Vec<&[u8]> = vec![&[]; 64];
                let n = split(line, delimiter, &mut out);
                let here = out[..n].iter().filter(|f| is_value(f, decimal_comma)).count();
                if here == 0 {
                    continue;
                }
                counts.push(n);
                cells += n;
                values += here;
                commas += out[..n].iter().filter(|f| f.contains(&b',')).count();
            }
            if decimal_comma && commas == 0 {
                continue;
            }
            counts.sort_unstable();
            let usual = counts.get(counts.len() / 2).copied().unwrap_or(0);
            let alike =
                counts.iter().filter(|c| **c == usual).count() as f64 / counts.len().max(1) as f64;
            if usual == 0 || values == 0 || alike < 0.6 {
                continue;
            }
            let per_line = counts.len() as f64;
            let mut score = alike * (values as f64 - 2.0 * (cells - values) as f64) / per_line;
            let header_fits = all.iter().take(64).any(|l| {
                let mut out: Vec<&[u8]> = vec![&[]; 64];
                let n = split(l, delimiter, &mut out);
                n == usual && out[..n].iter().all(|f| f.iter().any(u8::is_ascii_alphabetic))
            });
            if header_fits {
                score += 0.6;
            }
            if best.as_ref().is_none_or(|b| score > b.0 + 1e-9) {
                best = Some((score, delimiter, decimal_comma, usual));
            }
        }
    }
    best.filter(|b| b.0 > 0.0).map(|(_, d, c, n)| (d, c, n))
}

/// Names of the columns: the last line above the rows that has a name for each, a row of units below it added in brackets.
fn header(above: &[&[u8]], delimiter: Delimiter, fields: usize) -> Vec<String> {
    let mut found: Vec<Vec<String>> = Vec::new();
    for line in above.iter().rev().filter(|l| !l.trim_ascii().is_empty()).take(3) {
        let line = line.strip_prefix(b"#").unwrap_or(line);
        let mut out: Vec<&[u8]> = vec![&[]; fields + 1];
        let n = split(line, delimiter, &mut out);
        let texts: Vec<String> =
            out[..n].iter().map(|f| text_of(f).trim().trim_matches('"').to_owned()).collect();
        let words =
            texts.iter().filter(|t| t.chars().any(char::is_alphabetic) || *t == "#").count();
        if n != fields || words * 2 < fields {
            break;
        }
        found.push(texts);
    }
    match found.as_slice() {
        [] => Vec::new(),
        [units, names, ..] if units.iter().all(|u| u.is_empty() || is_unit(u)) => names
            .iter()
            .zip(units)
            .map(|(n, u)| {
                let u = u.trim_matches(['(', ')', '[', ']']);
                if u.is_empty() { n.clone() } else { format!("{n} [{u}]") }
            })
            .collect(),
        [names, ..] => names.clone(),
    }
}

fn is_unit(text: &str) -> bool {
    let t = text.trim().trim_matches(['(', ')', '[', ']']);
    Unit::of(t).is_some()
}

/// Tried in this order; a date that fits the first is read so.
const ORDERS: [DateOrder; 3] =
    [DateOrder::YearMonthDay, DateOrder::DayMonthYear, DateOrder::MonthDayYear];

/// A field of the first rows.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Cell {
    Number(f64),
    /// The orders under which it is a date, one bit each.
    Date(u8),
    Clock,
    Stamp(u8),
    Text,
}

impl Cell {
    fn of(text: &str, decimal_comma: bool) -> Self {
        let t = text.trim().trim_matches('"').as_bytes();
        if let Some(x) = general(t, decimal_comma) {
            return Self::Number(x);
        }
        if crate::number::is_not_a_number(t) {
            return Self::Number(f64::NAN);
        }
        let orders = |d: &[u8]| {
            ORDERS
                .iter()
                .enumerate()
                .filter(|(_, o)| days(d, **o).is_some())
                .fold(0u8, |m, (k, _)| m | 1 << k)
        };
        if time_of_day(t).is_some() && t.contains(&b':') {
            return Self::Clock;
        }
        if orders(t) != 0 {
            return Self::Date(orders(t));
        }
        match split_stamp(t) {
            Some((d, c)) if orders(d) != 0 && time_of_day(c).is_some() => Self::Stamp(orders(d)),
            _ => Self::Text,
        }
    }
}

/// What a unit measures, and its size in SI.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Unit {
    Time(f64),
    Current(f64),
    Voltage(f64),
}

impl Unit {
    fn of(text: &str) -> Option<Self> {
        Some(match text.trim() {
            "s" | "sec" | "secs" | "second" | "seconds" | "S" => Self::Time(1.0),
            "ms" | "msec" | "milliseconds" | "millis" => Self::Time(1e-3),
            "us" | "µs" | "μs" | "usec" | "microseconds" | "micros" => Self::Time(1e-6),
            "ns" | "nsec" | "nanoseconds" | "nanos" => Self::Time(1e-9),
            "min" | "minutes" => Self::Time(60.0),
            "h" | "hours" => Self::Time(3600.0),
            "A" | "a" | "amp" | "amps" | "ampere" | "amperes" | "Ampere" | "Amps" => {
                Self::Current(1.0)
            }
            "mA" | "ma" | "milliamps" | "milliamperes" => Self::Current(1e-3),
            "uA" | "µA" | "μA" | "ua" | "µa" | "μa" | "microamps" | "microamperes" => {
                Self::Current(1e-6)
            }
            "nA" | "na" | "nanoamps" => Self::Current(1e-9),
            "pA" | "pa" => Self::Current(1e-12),
            "V" | "v" | "volt" | "volts" | "Volt" | "Volts" => Self::Voltage(1.0),
            "mV" | "mv" | "millivolts" => Self::Voltage(1e-3),
            "uV" | "µV" | "μV" | "uv" => Self::Voltage(1e-6),
            _ => return None,
        })
    }

    /// The unit in a column's name: in brackets, or after a slash, an underscore, a blank.
    fn in_name(name: &str) -> Option<Self> {
        if let Some(open) = name.find(['[', '(', '{']) {
            let inner = name[open + 1..].trim_end_matches([']', ')', '}', ' ']);
            if let Some(u) = Self::of(inner.split([']', ')', '}']).next().unwrap_or(inner)) {
                return Some(u);
            }
        }
        let mut parts = name.rsplit(['/', '_', ' ']);
        let last = parts.next()?;
        parts.next()?;
        Self::of(last)
    }
}

/// What the lines above the table say.
#[derive(Debug, Clone, Default)]
pub(crate) struct Preamble {
    interval_s: Option<f64>,
    shunt_ohm: Option<f64>,
}

impl Preamble {
    fn read(lines: &[&[u8]], decimal_comma: bool) -> Self {
        let mut p = Self::default();
        for line in lines.iter().rev() {
            let text = text_of(line);
            let low = text.to_lowercase();
            let Some((number, unit)) = number_and_unit(&text, decimal_comma) else { continue };
            let has = |words: &[&str]| words.iter().any(|w| low.contains(w));
            if p.interval_s.is_none() && has(&["rate", "frequency", "samples/s", "samplerate"]) {
                let scale = match unit.to_lowercase().as_str() {
                    u if u.starts_with('k') => 1e3,
                    u if u.starts_with("mhz") || u.starts_with("ms/s") || u.starts_with("msa") => {
                        1e6
                    }
                    _ => 1.0,
                };
                p.interval_s = (number > 0.0).then(|| 1.0 / (number * scale));
            } else if p.interval_s.is_none()
                && has(&[
                    "interval",
                    "period",
                    "increment",
                    "delta t",
                    "dt",
                    "time step",
                    "timestep",
                    "sample time",
                    "resolution",
                ])
            {
                if let Some(Unit::Time(s)) =
                    Unit::of(&unit).or_else(|| Unit::in_name(before_number(&text)))
                {
                    p.interval_s = Some(number * s);
                } else if unit.is_empty() {
                    p.interval_s = Some(number);
                }
            } else if p.shunt_ohm.is_none()
                && has(&["shunt", "resistor", "sense", "burden"])
                && has(&["ohm", "ω"])
            {
                let scale = match unit.chars().next() {
                    Some('m') => 1e-3,
                    Some('k' | 'K') => 1e3,
                    _ => 1.0,
                };
                p.shunt_ohm = Some(number * scale);
            }
        }
        p.interval_s = p.interval_s.filter(|x| x.is_finite() && *x > 0.0);
        p.shunt_ohm = p.shunt_ohm.filter(|x| x.is_finite() && *x > 0.0);
        p
    }
}

fn before_number(text: &str) -> &str {
    let at = text.find(|c: char| c.is_ascii_digit()).unwrap_or(text.len());
    text[..at].trim_end_matches([' ', ':', '=', ',', ';', '\t', '"'])
}

/// The last number of a line and the word behind it (or in brackets before it).
fn number_and_unit(text: &str, decimal_comma: bool) -> Option<(f64, String)> {
    let start = text.find(|c: char| c.is_ascii_digit())?;
    let rest = &text[start..];
    let mut end = 0;
    let chars: Vec<(usize, char)> = rest.char_indices().collect();
    for (k, (at, c)) in chars.iter().enumerate() {
        let exponent_sign =
            (*c == '-' || *c == '+') && k > 0 && matches!(chars[k - 1].1, 'e' | 'E');
        let exponent = (*c == 'e' || *c == 'E')
            && chars.get(k + 1).is_some_and(|(_, n)| n.is_ascii_digit() || *n == '-' || *n == '+');
        if c.is_ascii_digit()
            || *c == '.'
            || (decimal_comma && *c == ',')
            || exponent
            || exponent_sign
        {
            end = at + c.len_utf8();
        } else {
            break;
        }
    }
    let number = general(&rest.as_bytes()[..end], decimal_comma)?;
    let unit: String = rest[end..]
        .trim_start_matches([' ', '\t', ',', ';', '"', '[', '('])
        .chars()
        .take_while(|c| c.is_alphabetic() || *c == '/' || *c == 'Ω')
        .collect();
    Some((number, unit))
}

/// Which column is what.
pub(crate) fn roles(
    names: &[String],
    rows: &[Vec<Cell>],
    preamble: &Preamble,
    format: Format,
) -> Result<Layout, TraceError> {
    let fields = rows.first().map_or(names.len(), Vec::len);
    let column = |c: usize| rows.iter().filter_map(move |r| r.get(c).copied());
    // One row in five may be broken.
    let numeric = |c: usize| {
        let (mut good, mut all) = (0usize, 0usize);
        for x in column(c) {
            all += 1;
            good += usize::from(matches!(x, Cell::Number(_)));
        }
        good > 0 && good * 5 >= all * 4
    };
    let all =
        |c: usize, is: fn(&Cell) -> bool| column(c).next().is_some() && column(c).all(|x| is(&x));
    // The orders that fit every date of a column.
    let order = |c: usize| -> (DateOrder, bool) {
        let fit = column(c)
            .fold(0b111u8, |m, x| if let Cell::Date(o) | Cell::Stamp(o) = x { m & o } else { m });
        let found = ORDERS
            .iter()
            .enumerate()
            .find(|(k, _)| fit & (1 << k) != 0)
            .map_or(ORDERS[0], |(_, o)| *o);
        (found, fit & 0b110 == 0b110 && fit & 1 == 0)
    };
    let numbers = |c: usize| -> Vec<f64> {
        column(c)
            .filter_map(|x| {
                if let Cell::Number(v) = x { Some(v).filter(|v| v.is_finite()) } else { None }
            })
            .collect()
    };
    let low = |c: usize| names.get(c).map(|n| n.to_lowercase()).unwrap_or_default();
    let base = |c: usize| -> String {
        let n = low(c);
        n.split(['[', '(', '{'])
            .next()
            .unwrap_or("")
            .trim()
            .trim_end_matches(['_', '/'])
            .trim()
            .to_owned()
    };
    let unit = |c: usize| names.get(c).and_then(|n| Unit::in_name(n).or_else(|| Unit::of(n)));
    let mut doubts = Vec::new();
    let counts_up = |c: usize| {
        let v = numbers(c);
        v.len() > 1
            && v.iter().all(|x| x.fract() == 0.0)
            && v.windows(2).all(|w| w[1] - w[0] == 1.0)
    };
    let ascends = |c: usize| {
        let v = numbers(c);
        v.len() > 1
            && v.windows(2).filter(|w| w[1] >= w[0]).count() * 20 >= (v.len() - 1) * 19
            && v[v.len() - 1] > v[0]
    };
    let index_name = |c: usize| {
        matches!(
            base(c).as_str(),
            "index"
                | "#"
                | "no"
                | "no."
                | "nr"
                | "nr."
                | "n"
                | "i"
                | "k"
                | "sample"
                | "samples"
                | "sample number"
                | "number"
                | "count"
                | "point"
                | "points"
                | "row"
                | "record"
                | "id"
                | "idx"
        )
    };

    // Currents and voltages by unit, then by name.
    let is_time_name = |c: usize| {
        let b = base(c);
        let n = low(c);
        ["time", "zeit", "elapsed", "timestamp", "temps", "tiempo"].iter().any(|w| n.contains(w))
            || matches!(b.as_str(), "t" | "x" | "sec" | "seconds" | "second" | "date" | "datum")
    };
    let mut currents: Vec<(usize, f64)> = Vec::new();
    let mut voltages: Vec<(usize, f64)> = Vec::new();
    for c in 0..fields {
        if !numeric(c) {
            continue;
        }
        match unit(c) {
            Some(Unit::Current(s)) => currents.push((c, s)),
            Some(Unit::Voltage(s)) => voltages.push((c, s)),
            Some(Unit::Time(_)) => {}
            None => {
                let n = low(c);
                if ["current", "strom", "ampere", "amps", "courant"].iter().any(|w| n.contains(w))
                    || (matches!(base(c).as_str(), "i" | "idd" | "icc" | "ibat" | "i_bat" | "i_in")
                        && !counts_up(c))
                {
                    doubts.push(format!("column {} names no unit; taken as A", c + 1));
                    currents.push((c, 1.0));
                } else if ["volt", "spannung", "vcc", "vdd", "vbat", "v_bat", "tension"]
                    .iter()
                    .any(|w| n.contains(w))
                {
                    voltages.push((c, 1.0));
                }
            }
        }
    }
    let taken = |c: usize, currents: &[(usize, f64)], voltages: &[(usize, f64)]| {
        currents.iter().chain(voltages).any(|(k, _)| *k == c)
    };

    // Time.
    let stamp = (0..fields).find(|&c| all(c, |x| matches!(x, Cell::Stamp(_))));
    let date = (0..fields).find(|&c| all(c, |x| matches!(x, Cell::Date(_))));
    let clock = (0..fields).find(|&c| all(c, |x| matches!(x, Cell::Clock)));
    let mut time_columns: Vec<usize> = Vec::new();
    let time = if let Some(c) = stamp {
        time_columns.push(c);
        let (order, unsure) = order(c);
        doubts.extend(unsure.then(|| "dates read with the day before the month".to_owned()));
        Some(TimeSource::Stamp { column: c, order })
    } else if let Some(c) = clock {
        time_columns.extend(date);
        time_columns.push(c);
        let fraction = (0..fields).find(|&f| {
            numeric(f)
                && !taken(f, &currents, &voltages)
                && (["frac", "milli", "micro", "subsec", "msec"].iter().any(|w| low(f).contains(w))
                    || matches!(unit(f), Some(Unit::Time(_))) && f != c
                    || (f == c + 1 && names.is_empty() && fields > 2 + usize::from(date.is_some())))
        });
        time_columns.extend(fraction);
        let size = fraction.map_or(1.0, |f| match unit(f) {
            Some(Unit::Time(s)) => s,
            _ if low(f).contains("micro") => 1e-6,
            _ if low(f).contains("milli") || low(f).contains("msec") => 1e-3,
            _ => {
                let most = numbers(f).into_iter().fold(0.0, f64::max);
                let guess = if most < 1.0 {
                    1.0
                } else if most < 1000.0 {
                    1e-3
                } else {
                    1e-6
                };
                doubts.push(format!(
                    "the fraction in column {} taken in units of {} s",
                    f + 1,
                    short(guess)
                ));
                guess
            }
        });
        let (order, unsure) = date.map_or((ORDERS[0], false), order);
        doubts.extend(unsure.then(|| "dates read with the day before the month".to_owned()));
        Some(TimeSource::Split { date, time: c, fraction, fraction_seconds_per_unit: size, order })
    } else {
        let by_unit = (0..fields).find(|&c| numeric(c) && matches!(unit(c), Some(Unit::Time(_))));
        let by_name =
            (0..fields).find(|&c| numeric(c) && is_time_name(c) && !taken(c, &currents, &voltages));
        let plain = (0..fields).find(|&c| {
            numeric(c)
                && !taken(c, &currents, &voltages)
                && ascends(c)
                && !index_name(c)
                && !counts_up(c)
        });
        by_unit.or(by_name).or(plain).map(|c| {
            time_columns.push(c);
            let seconds_per_unit = match unit(c) {
                Some(Unit::Time(s)) => s,
                _ => {
                    let first = numbers(c).first().copied().unwrap_or(0.0).abs();
                    let guess = if first > 1e17 {
                        1e-9
                    } else if first > 1e14 {
                        1e-6
                    } else if first > 1e11 {
                        1e-3
                    } else {
                        1.0
                    };
                    doubts.push(format!(
                        "column {} names no unit of time; taken as {} s",
                        c + 1,
                        short(guess)
                    ));
                    guess
                }
            };
            TimeSource::Column { column: c, seconds_per_unit }
        })
    };
    let index = (0..fields).find(|&c| {
        numeric(c) && counts_up(c) && !time_columns.contains(&c) && !taken(c, &currents, &voltages)
    });
    let time = match (time, preamble.interval_s, index) {
        (Some(t), _, _) => t,
        (None, Some(interval_s), Some(column)) => TimeSource::Index { column, interval_s },
        (None, Some(interval_s), None) => TimeSource::Interval { interval_s },
        (None, None, _) => {
            return Err(TraceError::Undecided {
                what: "no column holds a time, and no line above the table states an interval or a rate".to_owned(),
                advice: "state the sampling interval".to_owned(),
            });
        }
    };

    // What is left over, where no name told.
    let free: Vec<usize> = (0..fields)
        .filter(|&c| {
            numeric(c)
                && !time_columns.contains(&c)
                && Some(c) != index
                && !taken(c, &currents, &voltages)
        })
        .collect();
    let current = if let Some(&(c, scale)) = currents.first() {
        if currents.len() > 1 {
            let others: Vec<String> =
                currents[1..].iter().map(|(c, _)| (c + 1).to_string()).collect();
            doubts.push(format!(
                "column(s) {} hold currents too; the first is read",
                others.join(", ")
            ));
        }
        CurrentSource::Column { column: c, amperes_per_unit: scale }
    } else if let (Some(ohm), Some(&(a, unit))) = (preamble.shunt_ohm, voltages.first()) {
        if let Some(&(b, _)) = voltages.get(1)
            && !low(a).contains("shunt")
        {
            doubts.push(format!(
                "column {} less column {} taken as the voltage over the resistor",
                a + 1,
                b + 1
            ));
            voltages.clear();
            CurrentSource::Difference { plus: a, minus: b, volts_per_unit: unit, resistor_ohm: ohm }
        } else {
            voltages.remove(0);
            CurrentSource::Shunt { column: a, volts_per_unit: unit, shunt_ohm: ohm }
        }
    } else if !voltages.is_empty() {
        return Err(TraceError::Undecided {
            what: format!(
                "column {} is a voltage, and nothing says over which resistor",
                voltages[0].0 + 1
            ),
            advice: "state the shunt in ohms, or which column is the current".to_owned(),
        });
    } else if let Some(&c) = free.first() {
        doubts.push(format!("column {} taken as the current in A", c + 1));
        if free.len() > 1 {
            doubts.push(format!("{} more column(s) of numbers are not read", free.len() - 1));
        }
        CurrentSource::Column { column: c, amperes_per_unit: 1.0 }
    } else {
        return Err(TraceError::Undecided {
            what: "no column of numbers is left for the current".to_owned(),
            advice: "state which column holds it".to_owned(),
        });
    };
    let voltage =
        voltages.first().map(|&(column, volts_per_unit)| VoltageSource { column, volts_per_unit });
    Ok(Layout {
        format,
        time,
        current,
        voltage,
        offset_a: 0.0,
        column_names: names.to_vec(),
        doubts,
    })
}
