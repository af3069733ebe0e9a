//! Pages of Parquet number columns, plain, with a dictionary or as differences, straight to f64.
//!
//! The encodings that writers use for measured numbers and for their stamps. With a dictionary the unit, the check for missing values and the histogram
//! are the dictionary's business: each is done once per distinct reading, not once per sample.
//! Source of the formats: the Apache Parquet format's "Encodings" (PLAIN = 0, RLE/bit-packing hybrid = 3, RLE_DICTIONARY = 8); packed numbers are [`crate::packed`]'s.

use crate::convert::Convert;
use crate::histogram::Counter;
use crate::packed::{MOST_VALUES, Packed, Raw, Sink, deltas, hybrid, varint};
use parquet::basic::{Encoding, Type};
use parquet::column::page::{Page, PageReader};

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
    let whole = matches!(kind, Type::INT32 | Type::INT64);
    let known = |e| match e {
        Encoding::PLAIN | Encoding::RLE | Encoding::RLE_DICTIONARY | Encoding::PLAIN_DICTIONARY => {
            true
        }
        Encoding::DELTA_BINARY_PACKED => whole,
        _ => false,
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
            Encoding::DELTA_BINARY_PACKED => {
                match self.kind {
                    Type::INT32 => deltas::<true>(bytes, some, self.convert, out)?,
                    Type::INT64 => deltas::<false>(bytes, some, self.convert, out)?,
                    _ => return Err("differences of no whole numbers".to_owned()),
                }
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

fn believed(values: u32) -> Result<usize, String> {
    let n = values as usize;
    if n <= MOST_VALUES { Ok(n) } else { Err(format!("a page of {n} values")) }
}
