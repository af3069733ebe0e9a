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

/// The distinct readings of a column and how often each came.
///
/// Both tables are filled up to the next power of two, so that an index of so many bits always hits an entry and the hottest loop asks nothing;
/// who hits one of those added is found afterwards by its count.
#[derive(Debug, Clone, Default)]
struct Dictionary {
    values: Vec<f64>,
    counts: Vec<u32>,
    /// How many are there indeed.
    known: usize,
}

impl Dictionary {
    fn of(mut values: Vec<f64>) -> Self {
        let known = values.len();
        values.resize(known.next_power_of_two(), f64::NAN);
        Self { counts: vec![0; values.len()], values, known }
    }

    /// Makes indices of so many bits hit an entry.
    fn widen(&mut self, width: u32) {
        let entries = 1usize << width;
        if self.values.len() < entries {
            self.values.resize(entries, f64::NAN);
            self.counts.resize(entries, 0);
        }
    }

    fn count_into(&mut self, counter: &mut Counter) {
        for (value, count) in self.values.iter().zip(&mut self.counts) {
            if value.is_finite() {
                counter.add_many(*value, u64::from(std::mem::take(count)));
            }
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
            dictionary: Dictionary::default(),
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
                    if self.dictionary.known > 0 {
                        return Err("two dictionaries".to_owned());
                    }
                    self.dictionary = Dictionary::of(values);
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
                    look_up(&mut self.dictionary, bytes, width, some, out)?;
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
    /// Groups of eight, bit-packed, and what may follow them: their first `values`.
    fn packed<const W: usize, const ENTRIES: usize>(&mut self, packed: Packed<'_>);
    fn repeat(&mut self, index: u32, times: usize);
}

/// Raw indices.
struct Raw<'a>(&'a mut Vec<u32>);

impl Sink for Raw<'_> {
    fn packed<const W: usize, const ENTRIES: usize>(&mut self, mut packed: Packed<'_>) {
        while let Some((indices, n)) = packed.next::<W>() {
            self.0.extend_from_slice(&indices[..n]);
        }
    }

    fn repeat(&mut self, index: u32, times: usize) {
        self.0.resize(self.0.len() + times, index);
    }
}

/// Appends the readings that a page's indices stand for.
fn look_up(
    dictionary: &mut Dictionary,
    bytes: &[u8],
    width: u32,
    n: usize,
    out: &mut Vec<f64>,
) -> Result<(), String> {
    if width <= NARROW {
        dictionary.widen(width);
    }
    let known = dictionary.known;
    let mut lookup = Lookup { dictionary, out, beyond: false };
    hybrid(bytes, width, n, &mut lookup)?;
    let beyond = lookup.beyond
        || lookup.dictionary.counts[known..].iter().fold(0, |all, count| all | count) > 0;
    if beyond { Err("an index beyond the dictionary".to_owned()) } else { Ok(()) }
}

/// Indices of up to so many bits always hit an entry.
const NARROW: u32 = 16;

struct Lookup<'a> {
    dictionary: &'a mut Dictionary,
    out: &'a mut Vec<f64>,
    beyond: bool,
}

impl Lookup<'_> {
    fn one(&mut self, index: u32, times: u32) -> f64 {
        let d = &mut *self.dictionary;
        match (d.values.get(index as usize), d.counts.get_mut(index as usize)) {
            (Some(value), Some(count)) => {
                // A column chunk that is counted holds far fewer than 2³² values.
                *count = count.wrapping_add(times);
                *value
            }
            _ => {
                self.beyond = true;
                f64::NAN
            }
        }
    }
}

impl Sink for Lookup<'_> {
    fn packed<const W: usize, const ENTRIES: usize>(&mut self, mut packed: Packed<'_>) {
        let d = &mut *self.dictionary;
        if let (Some(values), Some(counts)) =
            (d.values.first_chunk::<ENTRIES>(), d.counts.first_chunk_mut::<ENTRIES>())
        {
            while let Some(indices) = packed.next_whole::<W>() {
                let mut eight = [0.0f64; 8];
                for (value, index) in eight.iter_mut().zip(indices) {
                    // No question is asked here: W bits make no index beyond ENTRIES.
                    *value = values[index as usize];
                    counts[index as usize] = counts[index as usize].wrapping_add(1);
                }
                self.out.extend_from_slice(&eight);
            }
        }
        while let Some((indices, n)) = packed.next::<W>() {
            for &index in &indices[..n] {
                let value = self.one(index, 1);
                self.out.push(value);
            }
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
        let values = (groups * 8).min(left);
        if size * 8 < values * width as usize {
            return Err(CUT.to_owned());
        }
        packed_groups(Packed { bytes, left: values }, width, sink);
        bytes = &bytes[size..];
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

/// Bit-packed groups of eight values.
struct Packed<'a> {
    /// From the next group to the end of the page, which may lie behind the last group.
    bytes: &'a [u8],
    left: usize,
}

impl Packed<'_> {
    /// The next eight, where all are asked for and whole words can be read.
    #[inline]
    fn next_whole<const W: usize>(&mut self) -> Option<[u32; 8]> {
        if self.left < 8 {
            return None;
        }
        let found = eight::<W>(self.bytes.first_chunk()?);
        self.left -= 8;
        self.bytes = &self.bytes[W..];
        Some(found)
    }

    /// The next ones and how many of them are asked for.
    fn next<const W: usize>(&mut self) -> Option<([u32; 8], usize)> {
        if self.left == 0 {
            return None;
        }
        let mut window = [0u8; WINDOW];
        let n = self.bytes.len().min(WINDOW);
        window[..n].copy_from_slice(&self.bytes[..n]);
        let take = self.left.min(8);
        self.left -= take;
        self.bytes = self.bytes.get(W..).unwrap_or(&[]);
        Some((eight::<W>(&window), take))
    }
}

fn packed_groups<S: Sink>(packed: Packed<'_>, width: u32, sink: &mut S) {
    // A loop for each width, so that all shifts are constants.
    macro_rules! each {
        ($($w:literal)*; $($wide:literal)*) => {
            match width {
                $($w => sink.packed::<$w, { 1 << $w }>(packed),)*
                // No dictionary is as large.
                $($wide => sink.packed::<$wide, { 2 * MOST_VALUES }>(packed),)*
                _ => sink.repeat(0, packed.left),
            }
        };
    }
    each!(1 2 3 4 5 6 7 8 9 10 11 12 13 14 15 16; 17 18 19 20 21 22 23 24 25 26 27 28 29 30 31 32);
}

#[inline]
fn eight<const W: usize>(window: &[u8; WINDOW]) -> [u32; 8] {
    // One word holds four indices of up to 16 bits.
    let in_a_word = if W <= 16 { 4 } else { 1 };
    std::array::from_fn(|k| {
        let byte = k / in_a_word * in_a_word * W / 8;
        let word = window[byte..].first_chunk().map_or(0, |w| u64::from_le_bytes(*w));
        (word >> (k * W - 8 * byte) & ((1u64 << W) - 1)) as u32
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
