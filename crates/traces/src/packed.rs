//! Whole numbers as Parquet packs them: runs and bit-packed groups of eight, and differences of neighbours.
//!
//! Source of the formats: the Apache Parquet format's "Encodings" (RLE/bit-packing hybrid = 3, DELTA_BINARY_PACKED = 5).

use crate::convert::Convert;

/// A page of more values than this is not believed: writers keep to some ten thousand.
pub(crate) const MOST_VALUES: usize = 1 << 24;
/// No table is as long.
const TOO_MANY: usize = 2 * MOST_VALUES;

/// Takes decoded indices.
pub(crate) trait Sink {
    /// Bit-packed groups of eight; a number of `W` bits lies below `ENTRIES`.
    fn packed<const W: usize, const ENTRIES: usize>(&mut self, packed: Packed<'_>);
    fn repeat(&mut self, index: u32, times: usize);
}

/// Raw indices.
pub(crate) struct Raw<'a>(pub(crate) &'a mut Vec<u32>);

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

/// Runs and bit-packed groups of eight, `n` values in all, each `width` bits wide.
pub(crate) fn hybrid<S: Sink>(
    mut bytes: &[u8],
    width: u32,
    n: usize,
    sink: &mut S,
) -> Result<(), String> {
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

pub(crate) fn varint(bytes: &mut &[u8]) -> Option<u64> {
    let mut x = 0u64;
    for shift in (0..64).step_by(7) {
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
pub(crate) struct Packed<'a> {
    /// From the next group to the end of the page, which may lie behind the last group.
    bytes: &'a [u8],
    left: usize,
}

impl Packed<'_> {
    /// The next eight, where all are asked for and whole words can be read.
    #[inline]
    pub(crate) fn next_whole<const W: usize>(&mut self) -> Option<[u32; 8]> {
        if self.left < 8 {
            return None;
        }
        let found = eight::<W>(self.bytes.first_chunk()?);
        self.left -= 8;
        self.bytes = &self.bytes[W..];
        Some(found)
    }

    /// The next ones and how many of them are asked for.
    pub(crate) fn next<const W: usize>(&mut self) -> Option<([u32; 8], usize)> {
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
                // Those are looked up one by one.
                $($wide => sink.packed::<$wide, { TOO_MANY }>(packed),)*
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

/// Differences of neighbours, packed in blocks of some ranges of widths each: the first `n` numbers. `I32`: they count modulo 2³².
pub(crate) fn deltas<const I32: bool>(
    mut bytes: &[u8],
    n: usize,
    convert: Convert,
    out: &mut Vec<f64>,
) -> Result<(), String> {
    const CUT: &str = "a page ends before its differences do";
    if n == 0 {
        return Ok(());
    }
    let mut head = || varint(&mut bytes).ok_or(CUT);
    let (block, ranges, total, first) = (head()?, head()?, head()?, head()?);
    if total < n as u64 {
        return Err(format!("{n} values announced, {total} differences there"));
    }
    // The format's own limits; a block is kept to what is believed of a page.
    let believed = block > 0 && block <= TOO_MANY as u64 && block.is_multiple_of(128);
    if !believed || ranges == 0 || !block.is_multiple_of(32 * ranges) {
        return Err(format!("blocks of {block} differences in {ranges} ranges"));
    }
    let (ranges, in_range) = (ranges as usize, (block / ranges) as usize);
    let mut row = Deltas::<I32> { last: zigzag(first), least: 0, convert, out };
    row.out.reserve(n);
    row.next(0);
    let mut left = n - 1;
    while left > 0 {
        row.least = zigzag(varint(&mut bytes).ok_or(CUT)?);
        let widths = bytes.split_off(..ranges).ok_or(CUT)?;
        for &width in widths {
            let values = in_range.min(left);
            let size = (in_range / 8 * usize::from(width)).min(bytes.len());
            if size * 8 < values * usize::from(width) {
                return Err(CUT.to_owned());
            }
            match width {
                0..=32 => packed_groups(Packed { bytes, left: values }, width.into(), &mut row),
                33..=64 => row.wide(bytes, width.into(), values),
                _ => return Err(format!("differences of {width} bits")),
            }
            bytes = &bytes[size..];
            left -= values;
            if left == 0 {
                break;
            }
        }
    }
    Ok(())
}

/// Whole numbers of either sign, those near zero the smallest: 0, −1, 1, −2, …
fn zigzag(x: u64) -> i64 {
    (x >> 1).cast_signed() ^ -(x & 1).cast_signed()
}

/// A row of numbers of which the differences to the next are known, less the least of them.
struct Deltas<'a, const I32: bool> {
    last: i64,
    least: i64,
    convert: Convert,
    out: &'a mut Vec<f64>,
}

impl<const I32: bool> Deltas<'_, I32> {
    #[inline]
    fn step(&mut self, above: u64) -> f64 {
        let next = self.last.wrapping_add(self.least).wrapping_add(above.cast_signed());
        self.last = if I32 { i64::from(next as i32) } else { next };
        self.convert.whole(self.last)
    }

    fn next(&mut self, above: u64) {
        let value = self.step(above);
        self.out.push(value);
    }

    fn wide(&mut self, bytes: &[u8], width: usize, values: usize) {
        for k in 0..values {
            let (byte, bit) = (k * width / 8, k * width % 8);
            let mut window = [0u8; 16];
            let there = bytes.get(byte..).unwrap_or(&[]);
            let n = there.len().min(16);
            window[..n].copy_from_slice(&there[..n]);
            let above = (u128::from_le_bytes(window) >> bit) as u64 & (u64::MAX >> (64 - width));
            self.next(above);
        }
    }
}

impl<const I32: bool> Sink for Deltas<'_, I32> {
    fn packed<const W: usize, const ENTRIES: usize>(&mut self, mut packed: Packed<'_>) {
        while let Some(above) = packed.next_whole::<W>() {
            let mut eight = [0.0f64; 8];
            for (value, above) in eight.iter_mut().zip(above) {
                *value = self.step(above.into());
            }
            self.out.extend_from_slice(&eight);
        }
        while let Some((above, n)) = packed.next::<W>() {
            for &above in &above[..n] {
                self.next(above.into());
            }
        }
    }

    fn repeat(&mut self, index: u32, times: usize) {
        for _ in 0..times {
            self.next(index.into());
        }
    }
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

    /// What the library writes as differences, page by page.
    fn written<T: parquet::data_type::DataType>(
        values: &[T::T],
        kind: &str,
    ) -> Vec<(Vec<u8>, usize)> {
        use parquet::basic::Encoding;
        use parquet::column::page::Page;
        use parquet::file::properties::WriterProperties;
        use parquet::file::reader::{FileReader, SerializedFileReader};
        use parquet::file::writer::SerializedFileWriter;
        use std::sync::Arc;
        let schema = parquet::schema::parser::parse_message_type(&format!(
            "message m {{ REQUIRED {kind} n; }}"
        ))
        .unwrap();
        let properties = WriterProperties::builder()
            .set_dictionary_enabled(false)
            .set_encoding(Encoding::DELTA_BINARY_PACKED)
            .build();
        let mut writer =
            SerializedFileWriter::new(Vec::new(), Arc::new(schema), Arc::new(properties)).unwrap();
        let mut group = writer.next_row_group().unwrap();
        let mut column = group.next_column().unwrap().unwrap();
        column.typed::<T>().write_batch(values, None, None).unwrap();
        column.close().unwrap();
        group.close().unwrap();
        let file = bytes::Bytes::from(writer.into_inner().unwrap());
        let reader = SerializedFileReader::new(file).unwrap();
        let mut pages = reader.get_row_group(0).unwrap().get_column_page_reader(0).unwrap();
        let mut found = Vec::new();
        while let Some(page) = pages.get_next_page().unwrap() {
            let Page::DataPage { buf, num_values, encoding, .. } = page else {
                panic!("another page")
            };
            assert_eq!(encoding, Encoding::DELTA_BINARY_PACKED);
            found.push((buf.to_vec(), num_values as usize));
        }
        found
    }

    fn read_back<const I32: bool>(pages: &[(Vec<u8>, usize)]) -> Vec<f64> {
        let mut found = Vec::new();
        for (bytes, n) in pages {
            deltas::<I32>(bytes, *n, Convert::NONE, &mut found).unwrap();
        }
        found
    }

    #[test]
    fn the_formats_own_differences() {
        // "Encodings", delta: example 2, the numbers 7, 5, 3, 1, 2, 3, 4, 5. Its block of 8 is, as it says, too short to be valid: 128 in 4 ranges here.
        let mut bytes = vec![0x80, 0x01, 4, 8, 14, 3, 2, 0, 0, 0];
        bytes.extend(pack(&[0, 0, 0, 3, 3, 3, 3], 2));
        bytes.resize(bytes.len() + 6, 0);
        let mut found = Vec::new();
        deltas::<false>(&bytes, 8, Convert::NONE, &mut found).unwrap();
        assert_eq!(found, [7.0, 5.0, 3.0, 1.0, 2.0, 3.0, 4.0, 5.0]);
    }

    proptest! {
        /// Outside check: the reference is the `parquet` library's own writer.
        #[test]
        fn the_librarys_differences_come_back(start in any::<i64>(), steps in prop::collection::vec(prop_oneof![-3i64..3, -5000i64..5000, any::<i64>()], 0..700), narrow in any::<bool>()) {
            let steps = steps.iter().map(|s| if narrow { s % 1000 } else { *s });
            let wide: Vec<i64> = std::iter::once(start).chain(steps.scan(start, |x, s| { *x = x.wrapping_add(s); Some(*x) })).collect();
            let half: Vec<i32> = wide.iter().map(|x| *x as i32).collect();
            let of_wide: Vec<f64> = wide.iter().map(|x| *x as f64).collect();
            let of_half: Vec<f64> = half.iter().map(|x| f64::from(*x)).collect();
            prop_assert_eq!(read_back::<false>(&written::<parquet::data_type::Int64Type>(&wide, "INT64")), of_wide);
            prop_assert_eq!(read_back::<true>(&written::<parquet::data_type::Int32Type>(&half, "INT32")), of_half);
        }

        #[test]
        fn noise_gives_no_differences_or_as_many_as_asked(bytes in prop::collection::vec(any::<u8>(), 0..200), sound in any::<bool>(), n in 0usize..500) {
            // Half of them behind a head that is believed.
            let mut all = if sound { vec![0x80, 0x01, 4, 0xf4, 0x03] } else { Vec::new() };
            all.extend(bytes);
            let mut found = Vec::new();
            if deltas::<false>(&all, n, Convert::NONE, &mut found).is_ok() {
                prop_assert_eq!(found.len(), n);
            }
        }
    }
}
