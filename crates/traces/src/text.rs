//! Chunks of text: the straight road for rows of plain numbers, and the careful one for everything else.

use crate::layout::{Delimiter, TimeSource};
use crate::number::{find_two, plain};
use crate::rows::{Parsed, RowReader};

/// Beyond this a plain number is left to the careful road, which knows the over-range marks.
const PLAUSIBLE: f64 = 1.0e30;

/// Parses whole lines `buffer[from..to]`; `offset` is the input's byte at `from`. Positions are scratch.
pub(crate) fn parse_lines(
    reader: &RowReader,
    buffer: &[u8],
    from: usize,
    to: usize,
    offset: u64,
    positions: &mut Vec<u32>,
    out: &mut Parsed,
) {
    out.bytes += (to - from) as u64;
    if let (Delimiter::Comma | Delimiter::Semicolon | Delimiter::Tab | Delimiter::Pipe, false, None) =
        (reader.text.delimiter, reader.text.decimal_comma, reader.second)
        && reader.last_column < 64
        && from >= crate::number::PAD
    {
        match reader.time {
            TimeSource::Column { column, seconds_per_unit } => {
                straight(
                    reader,
                    Some((column, seconds_per_unit)),
                    buffer,
                    from,
                    to,
                    offset,
                    positions,
                    out,
                );
                return;
            }
            TimeSource::Index { column, interval_s } => {
                straight(
                    reader,
                    Some((column, interval_s)),
                    buffer,
                    from,
                    to,
                    offset,
                    positions,
                    out,
                );
                return;
            }
            TimeSource::Interval { .. } => {
                straight(reader, None, buffer, from, to, offset, positions, out);
                return;
            }
            _ => {}
        }
    }
    careful(reader, buffer, from, to, offset, out);
}

fn careful(
    reader: &RowReader,
    buffer: &[u8],
    from: usize,
    to: usize,
    offset: u64,
    out: &mut Parsed,
) {
    let mut start = from;
    while start < to {
        let end = memchr::memchr(b'\n', &buffer[start..to]).map_or(to, |k| start + k);
        let line = &buffer[start..end];
        reader.line(line.strip_suffix(b"\r").unwrap_or(line), offset + (start - from) as u64, out);
        start = end + 1;
    }
}

/// All separators first, then the fields one by one, none waiting for the one before.
#[allow(
    clippy::too_many_arguments,
    reason = "one hot function; a struct would be built once per call only to be taken apart"
)]
fn straight(
    reader: &RowReader,
    time: Option<(usize, f64)>,
    buffer: &[u8],
    from: usize,
    to: usize,
    offset: u64,
    positions: &mut Vec<u32>,
    out: &mut Parsed,
) {
    let delimiter = reader.text.delimiter.byte();
    let (time_column, time_unit) = time.unwrap_or((0, 1.0));
    let origin = reader.origin;
    let (scale, offset_a) = (reader.scale, reader.offset_a);
    let two_columns =
        time_column == 0 && time.is_some() && reader.first == 1 && reader.voltage.is_none();
    let begin = if two_columns {
        like_rows(reader, time_unit, buffer, from, to, offset, out)
    } else {
        from
    };
    positions.clear();
    find_two(buffer, begin, to, delimiter, b'\n', positions);
    if to > begin && buffer[to - 1] != b'\n' {
        positions.push(to as u32);
    }
    let mut k = 0;
    let mut start = begin;
    if two_columns {
        // Two columns, the commonest of all.
        let pairs = positions.len() / 2;
        out.time.reserve(pairs);
        out.current.reserve(pairs);
        while k + 1 < positions.len() {
            let (middle, end) = (positions[k] as usize, positions[k + 1] as usize);
            let is_row = buffer[middle] == delimiter && (end == to || buffer[end] == b'\n');
            if is_row {
                let stop = end - usize::from(buffer[end - 1] == b'\r');
                let t = plain(buffer, start, middle, origin);
                let i = plain(buffer, middle + 1, stop, 0);
                if let (Some(t), Some(i)) = (t, i)
                    && t.abs() < PLAUSIBLE
                    && i.abs() < PLAUSIBLE
                {
                    out.time.push(t * time_unit);
                    out.current.push(i * scale - offset_a);
                    out.rows += 1;
                    out.lines += 1;
                    start = end + 1;
                    k += 2;
                    continue;
                }
            }
            if buffer[middle] == delimiter && end < to && buffer[end] == delimiter {
                // More columns than two: the loop below.
                break;
            }
            // Anything else: this line by the careful road.
            while k < positions.len()
                && (positions[k] as usize) < to
                && buffer[positions[k] as usize] != b'\n'
            {
                k += 1;
            }
            let end = positions.get(k).map_or(to, |p| *p as usize);
            line(reader, buffer, start, end, offset + (start - from) as u64, out);
            start = end + 1;
            k += 1;
        }
    }
    while start < to {
        // Fields of this line lie between `start` and the positions from `k` to the line's end.
        let first = k;
        while k < positions.len()
            && (positions[k] as usize) < to
            && buffer[positions[k] as usize] != b'\n'
        {
            k += 1;
        }
        let end = positions.get(k).map_or(to, |p| *p as usize);
        let fields = k - first + 1;
        let field = |column: usize| -> Option<(usize, usize)> {
            if column >= fields {
                return None;
            }
            let a = if column == 0 { start } else { positions[first + column - 1] as usize + 1 };
            let b = if column + 1 == fields { end } else { positions[first + column] as usize };
            let b = if b > a && b == end && buffer[b - 1] == b'\r' { b - 1 } else { b };
            Some((a, b))
        };
        let number = |column: usize, origin: i64| {
            field(column)
                .and_then(|(a, b)| plain(buffer, a, b, origin))
                .filter(|x| x.abs() < PLAUSIBLE)
        };
        let t = if time.is_some() { number(time_column, origin) } else { Some(0.0) };
        let v = match reader.voltage {
            Some((column, unit)) => number(column, 0).map(|v| Some(v * unit)),
            None => Some(None),
        };
        if let (Some(t), Some(i), Some(v)) = (t, number(reader.first, 0), v) {
            if time.is_some() {
                out.time.push(t * time_unit);
            }
            out.current.push(i * scale - offset_a);
            out.voltage.extend(v);
            out.rows += 1;
            out.lines += 1;
        } else {
            line(reader, buffer, start, end, offset + (start - from) as u64, out);
        }
        start = end + 1;
        k += 1;
    }
}

/// Rows of one shape, as far as they reach; returns where the searching road must take over.
#[cfg(target_arch = "x86_64")]
fn like_rows(
    reader: &RowReader,
    time_unit: f64,
    buffer: &[u8],
    from: usize,
    to: usize,
    offset: u64,
    out: &mut Parsed,
) -> usize {
    use crate::shape::{Scales, Shape};
    let delimiter = reader.text.delimiter.byte();
    let scales = Scales {
        origin: reader.origin,
        seconds_per_unit: time_unit,
        amperes_per_unit: reader.scale,
        offset_a: reader.offset_a,
    };
    let mut start = from;
    // Rows that had to be looked at one by one; where they are many, searching all separators first is faster.
    let mut odd = 0usize;
    let mut rows = 0usize;
    while start < to && (odd < 16 || odd * 16 < rows) {
        let Some(length) = memchr::memchr(b'\n', &buffer[start..to]) else { break };
        let end = start + length;
        let middle = memchr::memchr(delimiter, &buffer[start..end]).map(|k| start + k);
        let shape = middle.and_then(|m| Shape::learn(buffer, start, m, end, scales));
        odd += 1;
        rows += 1;
        if let Some(shape) = shape {
            let before = out.current.len();
            let after = shape.rows(buffer, start, to, delimiter, &mut out.time, &mut out.current);
            let read = (out.current.len() - before) as u64;
            out.rows += read;
            out.lines += read;
            rows += read as usize;
            if after > start {
                start = after;
                continue;
            }
        }
        line(reader, buffer, start, end, offset + (start - from) as u64, out);
        start = end + 1;
    }
    start
}

#[cfg(not(target_arch = "x86_64"))]
#[allow(clippy::too_many_arguments, reason = "the same signature everywhere")]
fn like_rows(
    _: &RowReader,
    _: f64,
    _: &[u8],
    from: usize,
    _: usize,
    _: u64,
    _: &mut Parsed,
) -> usize {
    from
}

#[cold]
fn line(reader: &RowReader, buffer: &[u8], start: usize, end: usize, byte: u64, out: &mut Parsed) {
    let text = &buffer[start.min(end)..end];
    reader.line(text.strip_suffix(b"\r").unwrap_or(text), byte, out);
}
