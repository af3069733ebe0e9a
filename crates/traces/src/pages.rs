//! Pages of Parquet number columns, plain or with a dictionary, straight to f64.
//!
//! The two encodings that every writer uses for measured numbers. With a dictionary the unit, the check for missing values and the histogram
//! are the dictionary's business: each is done once per distinct reading, not once per sample.
//! Source of the formats: the Apache Parquet format's "Encodings" (PLAIN = 0, RLE/bit-packing hybrid = 3, RLE_DICTIONARY = 8).

use crate::histogram::Counter;
use parquet::basic::{Encoding, Type};
use parquet::column::page::{Page, PageReader};

/// A page of more values than this is not believed: writers keep to some ten thousand.
const MOST_VALUES: usize = 1 << 24;

/// What turns a stored number into seconds, amperes or volts: `(x − origin)·scale − offset`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Convert {
    /// Taken off integers before they lose digits.
    pub(crate) origin: i64,
    pub(crate) scale: f64,
    pub(crate) offset: f64,
}

impl Convert {
    pub(crate) const NONE: Self = Self { origin: 0, scale: 1.0, offset: 0.0 };

    #[inline]
    pub(crate) fn real(&self, x: f64) -> f64 {
        (x - self.origin as f64) * self.scale - self.offset
    }

    #[inline]
    pub(crate) fn whole(&self, x: i64) -> f64 {
        x.wrapping_sub(self.origin) as f64 * self.scale - self.offset
    }
}

/// One distinct reading and how often it came. Few bytes, so that a dictionary's busy part stays in the nearest cache.
#[derive(Debug, Clone, Copy)]
struct Entry<T> {
    value: T,
    count: u32,
}

/// The readings of a column, in 32 bits where that is exact.
#[derive(Debug, Clone)]
enum Dictionary {
    Narrow(Vec<Entry<f32>>),
    Wide(Vec<Entry<f64>>),
}

impl Dictionary {
    fn of(values: &[f64]) -> Self {
        if values.iter().all(|v| f64::from(*v as f32) == *v || v.is_nan()) {
            return Self::Narrow(
                values.iter().map(|v| Entry { value: *v as f32, count: 0 }).collect(),
            );
        }
        Self::Wide(values.iter().map(|v| Entry { value: *v, count: 0 }).collect())
    }

    fn is_empty(&self) -> bool {
        match self {
            Self::Narrow(all) => all.is_empty(),
            Self::Wide(all) => all.is_empty(),
        }
    }

    fn count_into(&mut self, counter: &mut Counter) {
        let mut add = |value: f64, count: &mut u32| {
            if value.is_finite() {
                counter.add_many(value, u64::from(std::mem::take(count)));
            }
        };
        match self {
            Self::Narrow(all) => all.iter_mut().for_each(|e| add(f64::from(e.value), &mut e.count)),
            Self::Wide(all) => all.iter_mut().for_each(|e| add(e.value, &mut e.count)),
        }
    }
}

/// The pages of one column of one row group.
pub(crate) struct Pages {
    reader: Box<dyn PageReader>,
    kind: Type,
    optional: bool,
    convert: Convert,
    dictionary: Dictionary,
    /// Values of the last page that were not asked for yet.
    rest: Vec<f64>,
    taken: usize,
    /// Scratch: definition levels.
    levels: Vec<u32>,
    /// Nulls, NaN or infinities were met, or stand in the dictionary.
    pub(crate) missing: bool,
}

/// What a page held.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Held {
    /// The column is at its end.
    Nothing,
    /// Values as they are.
    Plain,
    /// Readings of the dictionary, which counts them.
    Counted,
}

/// Can all pages of a column be read here? Those of the deeper nesting and of other encodings are left to the library.
pub(crate) fn readable(
    kind: Type,
    deepest_definition: i16,
    encodings: impl Iterator<Item = Encoding>,
) -> bool {
    let known = |e| {
        matches!(
            e,
            Encoding::PLAIN | Encoding::RLE | Encoding::RLE_DICTIONARY | Encoding::PLAIN_DICTIONARY
        )
    };
    deepest_definition <= 1
        && matches!(kind, Type::FLOAT | Type::DOUBLE | Type::INT32 | Type::INT64)
        && encodings.into_iter().all(known)
}

impl Pages {
    pub(crate) fn new(
        reader: Box<dyn PageReader>,
        kind: Type,
        optional: bool,
        convert: Convert,
    ) -> Self {
        Self {
            reader,
            kind,
            optional,
            convert,
            dictionary: Dictionary::Narrow(Vec::new()),
            rest: Vec::new(),
            taken: 0,
            levels: Vec::new(),
            missing: false,
        }
    }

    /// Passes over values; whole pages unread.
    pub(crate) fn skip(&mut self, mut values: usize) -> Result<(), String> {
        while values > 0 {
            let held = self.rest.len() - self.taken;
            if held > 0 {
                let n = held.min(values);
                self.taken += n;
                values -= n;
                continue;
            }
            let next = self.reader.peek_next_page().map_err(|e| e.to_string())?;
            let Some(next) = next else { return Ok(()) };
            match next.num_rows.or(next.num_levels) {
                Some(n) if !next.is_dict && n <= values => {
                    self.reader.skip_next_page().map_err(|e| e.to_string())?;
                    values -= n;
                }
                _ => {
                    self.refill()?;
                }
            }
        }
        Ok(())
    }

    /// Appends up to `most` values (NaN where there is none); returns how many.
    pub(crate) fn read(&mut self, most: usize, out: &mut Vec<f64>) -> Result<usize, String> {
        let before = out.len();
        let held = (self.rest.len() - self.taken).min(most);
        out.extend_from_slice(&self.rest[self.taken..self.taken + held]);
        self.taken += held;
        while out.len() - before < most {
            if self.page(out)? == Held::Nothing {
                break;
            }
        }
        if out.len() - before > most {
            self.rest.clear();
            self.rest.extend_from_slice(&out[before + most..]);
            self.taken = 0;
            out.truncate(before + most);
        }
        Ok(out.len() - before)
    }

    fn refill(&mut self) -> Result<bool, String> {
        let mut rest = std::mem::take(&mut self.rest);
        rest.clear();
        let held = self.page(&mut rest);
        self.rest = rest;
        self.taken = 0;
        Ok(held? != Held::Nothing)
    }

    /// The dictionary's counts go to the histogram: once, at the end of the column.
    pub(crate) fn finish_counts(&mut self, counter: &mut Counter) {
        self.dictionary.count_into(counter);
    }

    /// Appends the next whole page.
    pub(crate) fn page(&mut self, out: &mut Vec<f64>) -> Result<Held, String> {
        loop {
            let Some(page) = self.reader.get_next_page().map_err(|e| e.to_string())? else {
                return Ok(Held::Nothing);
            };
            match page {
                Page::DictionaryPage { buf, num_values, .. } => {
                    let mut values = Vec::new();
                    self.plain(&buf, num_values as usize, &mut values)?;
                    self.missing |= values.iter().any(|x| !x.is_finite());
                    if !self.dictionary.is_empty() {
                        return Err("two dictionaries".to_owned());
                    }
                    self.dictionary = Dictionary::of(&values);
                }
                Page::DataPage { buf, num_values, encoding, .. } => {
                    let mut bytes: &[u8] = &buf;
                    let n = believed(num_values)?;
                    let mut some = n;
                    if self.optional {
                        let length = bytes
                            .split_off(..4)
                            .and_then(|l| l.try_into().ok())
                            .map(u32::from_le_bytes)
                            .ok_or("no definition levels")?;
                        let levels =
                            bytes.split_off(..length as usize).ok_or("cut definition levels")?;
                        some = self.defined(levels, n)?;
                    }
                    return self.values(bytes, encoding, n, some, out);
                }
                Page::DataPageV2 {
                    buf,
                    num_values,
                    encoding,
                    def_levels_byte_len,
                    rep_levels_byte_len,
                    ..
                } => {
                    let mut bytes: &[u8] = &buf;
                    let n = believed(num_values)?;
                    bytes.split_off(..rep_levels_byte_len as usize).ok_or("cut levels")?;
                    let levels =
                        bytes.split_off(..def_levels_byte_len as usize).ok_or("cut levels")?;
                    let some = if self.optional { self.defined(levels, n)? } else { n };
                    return self.values(bytes, encoding, n, some, out);
                }
            }
        }
    }

    /// How many of a page's values are there; which ones stays in `levels`.
    fn defined(&mut self, bytes: &[u8], n: usize) -> Result<usize, String> {
        // One run of ones, as all writers say that nothing is missing.
        let mut run = bytes;
        if varint(&mut run).is_some_and(|h| h & 1 == 0 && h >> 1 >= n as u64)
            && run.first() == Some(&1)
        {
            return Ok(n);
        }
        self.levels.clear();
        let mut levels = std::mem::take(&mut self.levels);
        hybrid(bytes, 1, n, &mut Raw(&mut levels))?;
        let some = levels.iter().filter(|l| **l == 1).count();
        self.levels = levels;
        Ok(some)
    }

    /// A page's `n` values of which `some` are there.
    fn values(
        &mut self,
        bytes: &[u8],
        encoding: Encoding,
        n: usize,
        some: usize,
        out: &mut Vec<f64>,
    ) -> Result<Held, String> {
        let before = out.len();
        let held = match encoding {
            Encoding::PLAIN => {
                self.plain(bytes, some, out)?;
                self.missing |= !all_finite(&out[before..]);
                Held::Plain
            }
            Encoding::RLE_DICTIONARY | Encoding::PLAIN_DICTIONARY => {
                if let Some((width, bytes)) = bytes.split_first() {
                    out.reserve(some);
                    let width = u32::from(*width);
                    match &mut self.dictionary {
                        Dictionary::Narrow(d) => look_up(d, bytes, width, some, out)?,
                        Dictionary::Wide(d) => look_up(d, bytes, width, some, out)?,
                    }
                } else if some > 0 {
                    return Err("an empty page".to_owned());
                }
                Held::Counted
            }
            other => return Err(format!("encoding {other} was not announced")),
        };
        if some < n {
            self.missing = true;
            // Values move back to their places, the rest is missing.
            out.resize(before + n, f64::NAN);
            let mut from = before + some;
            for k in (0..n).rev() {
                out[before + k] = if self.levels[k] == 1 {
                    from -= 1;
                    out[from]
                } else {
                    f64::NAN
                };
            }
        }
        Ok(held)
    }

    fn plain(&self, bytes: &[u8], n: usize, out: &mut Vec<f64>) -> Result<(), String> {
        let size = match self.kind {
            Type::FLOAT | Type::INT32 => 4,
            _ => 8,
        };
        let bytes = n
            .checked_mul(size)
            .and_then(|b| bytes.get(..b))
            .ok_or_else(|| format!("{n} values announced, {} bytes there", bytes.len()))?;
        let (four, eight) = (bytes.as_chunks::<4>().0, bytes.as_chunks::<8>().0);
        let c = self.convert;
        match self.kind {
            Type::FLOAT => out.extend(four.iter().map(|b| c.real(f32::from_le_bytes(*b).into()))),
            Type::DOUBLE => out.extend(eight.iter().map(|b| c.real(f64::from_le_bytes(*b)))),
            Type::INT32 => out.extend(four.iter().map(|b| c.whole(i32::from_le_bytes(*b).into()))),
            _ => out.extend(eight.iter().map(|b| c.whole(i64::from_le_bytes(*b)))),
        }
        Ok(())
    }
}

/// In groups without a branch, so that they are looked at side by side.
fn all_finite(values: &[f64]) -> bool {
    values.chunks(64).all(|c| c.iter().fold(true, |sound, x| sound & x.is_finite()))
}

/// Takes decoded indices.
trait Sink {
    fn eight(&mut self, indices: [u32; 8]);
    fn some(&mut self, indices: &[u32]);
    fn repeat(&mut self, index: u32, times: usize);
}

struct Raw<'a>(&'a mut Vec<u32>);

impl Sink for Raw<'_> {
    fn eight(&mut self, indices: [u32; 8]) {
        self.0.extend_from_slice(&indices);
    }

    fn some(&mut self, indices: &[u32]) {
        self.0.extend_from_slice(indices);
    }

    fn repeat(&mut self, index: u32, times: usize) {
        self.0.resize(self.0.len() + times, index);
    }
}

/// Appends the readings that a page's indices stand for.
fn look_up<T: Copy + Into<f64>>(
    dictionary: &mut [Entry<T>],
    bytes: &[u8],
    width: u32,
    n: usize,
    out: &mut Vec<f64>,
) -> Result<(), String> {
    let mut lookup = Lookup { dictionary, out, bad: false };
    hybrid(bytes, width, n, &mut lookup)?;
    if lookup.bad { Err("an index beyond the dictionary".to_owned()) } else { Ok(()) }
}

struct Lookup<'a, T> {
    dictionary: &'a mut [Entry<T>],
    out: &'a mut Vec<f64>,
    bad: bool,
}

impl<T: Copy + Into<f64>> Lookup<'_, T> {
    #[inline]
    fn one(&mut self, index: u32, times: u32) -> f64 {
        match self.dictionary.get_mut(index as usize) {
            Some(e) => {
                // A column chunk that is counted holds far fewer than 2³² values.
                e.count = e.count.wrapping_add(times);
                e.value.into()
            }
            None => {
                self.bad = true;
                f64::NAN
            }
        }
    }
}

impl<T: Copy + Into<f64>> Sink for Lookup<'_, T> {
    #[inline(always)]
    #[allow(
        clippy::inline_always,
        reason = "the body of the hottest loop; called out of line it costs as much again"
    )]
    fn eight(&mut self, indices: [u32; 8]) {
        let mut values = [0.0f64; 8];
        for (v, i) in values.iter_mut().zip(indices) {
            *v = self.one(i, 1);
        }
        self.out.extend_from_slice(&values);
    }

    fn some(&mut self, indices: &[u32]) {
        for &i in indices {
            let v = self.one(i, 1);
            self.out.push(v);
        }
    }

    fn repeat(&mut self, index: u32, times: usize) {
        let v = self.one(index, times as u32);
        self.out.resize(self.out.len() + times, v);
    }
}

/// Runs and bit-packed groups of eight, `n` values in all, each `width` bits wide.
fn hybrid<S: Sink>(mut bytes: &[u8], width: u32, n: usize, sink: &mut S) -> Result<(), String> {
    const CUT: &str = "a page ends before its values do";
    if width > 32 {
        return Err(format!("indices of {width} bits"));
    }
    let mut left = n;
    while left > 0 {
        let header = varint(&mut bytes).ok_or(CUT)?;
        if header & 1 == 0 {
            let times = usize::try_from(header >> 1).unwrap_or(usize::MAX).min(left);
            let value = bytes.split_off(..width.div_ceil(8) as usize).ok_or(CUT)?;
            let index = value.iter().rev().fold(0u32, |a, b| a << 8 | u32::from(*b));
            if times == 0 {
                return Err("an empty run".to_owned());
            }
            sink.repeat(index, times);
            left -= times;
            continue;
        }
        let groups = usize::try_from(header >> 1).unwrap_or(usize::MAX).min(left.div_ceil(8));
        if groups == 0 {
            return Err("an empty run".to_owned());
        }
        // The last group of a page may lack its unused bytes.
        let size = groups.saturating_mul(width as usize).min(bytes.len());
        let packed = bytes.split_off(..size).ok_or(CUT)?;
        let values = (groups * 8).min(left);
        if packed.len() * 8 < values * width as usize {
            return Err(CUT.to_owned());
        }
        packed_groups(packed, width, values, sink);
        left -= values;
    }
    Ok(())
}

fn believed(values: u32) -> Result<usize, String> {
    let n = values as usize;
    if n <= MOST_VALUES { Ok(n) } else { Err(format!("a page of {n} values")) }
}

fn varint(bytes: &mut &[u8]) -> Option<u64> {
    let mut x = 0u64;
    for shift in (0..63).step_by(7) {
        let b = *bytes.split_off_first()?;
        x |= u64::from(b & 0x7f) << shift;
        if b & 0x80 == 0 {
            return Some(x);
        }
    }
    None
}

/// Bytes looked at for one group: 32 of the widest and the rest of the last word.
const WINDOW: usize = 40;

fn packed_groups<S: Sink>(bytes: &[u8], width: u32, values: usize, sink: &mut S) {
    // A loop for each width, so that all shifts are constants.
    macro_rules! each {
        ($($w:literal)*) => {
            match width {
                $($w => groups_of::<$w, S>(bytes, values, sink),)*
                _ => {
                    sink.repeat(0, values);
                }
            }
        };
    }
    each!(1 2 3 4 5 6 7 8 9 10 11 12 13 14 15 16 17 18 19 20 21 22 23 24 25 26 27 28 29 30 31 32);
}

fn groups_of<const W: usize, S: Sink>(bytes: &[u8], values: usize, sink: &mut S) {
    let (mut at, mut left) = (0, values);
    while left >= 8 {
        let Some(window) = bytes.get(at..).and_then(|b| b.first_chunk::<WINDOW>()) else { break };
        sink.eight(eight::<W>(window));
        at += W;
        left -= 8;
    }
    while left > 0 {
        let mut window = [0u8; WINDOW];
        let rest = bytes.get(at..).unwrap_or(&[]);
        let n = rest.len().min(WINDOW);
        window[..n].copy_from_slice(&rest[..n]);
        let take = left.min(8);
        sink.some(&eight::<W>(&window)[..take]);
        at += W;
        left -= take;
    }
}

#[inline]
fn eight<const W: usize>(window: &[u8; WINDOW]) -> [u32; 8] {
    std::array::from_fn(|k| {
        let (byte, bit) = (k * W / 8, k * W % 8);
        let word = u64::from_le_bytes(std::array::from_fn(|b| window[byte + b]));
        (word >> bit & ((1u64 << W) - 1)) as u32
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// Bit-packs by hand, bit by bit.
    fn pack(values: &[u32], width: usize) -> Vec<u8> {
        let mut out = vec![0u8; (values.len().next_multiple_of(8) * width).div_ceil(8)];
        for (k, v) in values.iter().enumerate() {
            for b in 0..width {
                if v >> b & 1 == 1 {
                    out[(k * width + b) / 8] |= 1 << ((k * width + b) % 8);
                }
            }
        }
        out
    }

    #[test]
    fn the_formats_own_example() {
        // "Encodings", bit-packing: 0 to 7 in three bits are 10001000 11000110 11111010.
        let bytes = [0b11, 0b1000_1000, 0b1100_0110, 0b1111_1010];
        let mut found = Vec::new();
        hybrid(&bytes, 3, 8, &mut Raw(&mut found)).unwrap();
        assert_eq!(found, [0, 1, 2, 3, 4, 5, 6, 7]);
    }

    proptest! {
        #[test]
        fn packed_values_come_back(values in proptest::collection::vec(any::<u32>(), 1..200), width in 1usize..33, times in 1usize..300) {
            let values: Vec<u32> = values.iter().map(|v| (u64::from(*v) & ((1u64 << width) - 1)) as u32).collect();
            let mut bytes = Vec::new();
            let header = (values.len().div_ceil(8) as u64) << 1 | 1;
            let put = |mut h: u64, bytes: &mut Vec<u8>| {
                while h > 127 {
                    bytes.push((h & 127 | 128) as u8);
                    h >>= 7;
                }
                bytes.push(h as u8);
            };
            // A run first, then groups.
            put((times as u64) << 1, &mut bytes);
            bytes.extend_from_slice(&values[0].to_le_bytes()[..width.div_ceil(8)]);
            put(header, &mut bytes);
            bytes.extend(pack(&values, width));
            let mut found = Vec::new();
            hybrid(&bytes, width as u32, times + values.len(), &mut Raw(&mut found)).unwrap();
            let mut want = vec![values[0]; times];
            want.extend(&values);
            prop_assert_eq!(found, want);
        }

        #[test]
        fn noise_is_refused_or_read(bytes in proptest::collection::vec(any::<u8>(), 0..60), width in 0u32..40, n in 0usize..500) {
            let mut found = Vec::new();
            if hybrid(&bytes, width, n, &mut Raw(&mut found)).is_ok() {
                prop_assert_eq!(found.len(), n);
            }
        }
    }
}
