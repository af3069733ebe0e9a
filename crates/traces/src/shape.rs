//! Rows that look like the row before: same places of separator, point and line end.
//!
//! Most loggers print a fixed number of decimals, so consecutive rows of `time,current` have the same shape for thousands of rows. Then no
//! separator has to be searched: the expected places are checked together with the digits (one comparison for both fields), and
//! both numbers go through the conversion of [`crate::number`] side by side. A row of another shape is left to the caller.

use safe_arch::{
    add_i16_m128i, add_m128d, bitand_m128i, bitor_m128i, bitxor_m128i, byte_shl_imm_u128_m128i,
    cmp_eq_mask_i8_m128i, convert_to_m128d_from_lower2_i32_m128i, div_m128d, load_unaligned_m128i,
    m128d, m128i, max_u8_m128i, move_mask_i8_m128i, mul_i16_horizontal_add_m128i,
    mul_i16_keep_low_m128i, mul_m128d, pack_i32_to_i16_m128i, set_m128d, set_splat_i8_m128i,
    set_splat_i16_m128i, set_splat_i32_m128i, set_splat_m128d, shr_imm_u16_m128i,
    shuffle_ai_f32_all_m128i, sub_i8_m128i, sub_m128d, unpack_high_m128d, unpack_low_m128d,
};

/// How a field's text becomes digits in place.
#[derive(Clone, Copy)]
struct Field {
    /// Bytes that belong to the field.
    keep: m128i,
    /// Makes the point a zero.
    point: m128i,
    /// Bytes in front of the point.
    before: m128i,
    decimals: usize,
}

impl Field {
    /// The field `buffer[start..end]`; `None` where it is not `digits[.digits]` of at most 15 digits.
    fn of(buffer: &[u8], start: usize, end: usize) -> Option<Self> {
        let text = buffer.get(start..end)?;
        let length = text.len();
        if length == 0 || length > 16 {
            return None;
        }
        let (mut keep, mut point, mut before) = ([0u8; 16], [0u8; 16], [0u8; 16]);
        let mut decimals = None;
        for (k, &b) in text.iter().enumerate() {
            let lane = 16 - length + k;
            keep[lane] = 0xff;
            match b {
                b'0'..=b'9' => {}
                b'.' if decimals.is_none() => {
                    decimals = Some(length - k - 1);
                    point[lane] = b'.'.wrapping_sub(b'0');
                    before[16 - length..lane].fill(0xff);
                }
                _ => return None,
            }
        }
        // Fifteen digits stay below 2⁵³.
        if length - usize::from(decimals.is_some()) > 15
            || length == usize::from(decimals.is_some())
        {
            return None;
        }
        Some(Self {
            keep: load_unaligned_m128i(&keep),
            point: load_unaligned_m128i(&point),
            before: load_unaligned_m128i(&before),
            decimals: decimals.unwrap_or(0),
        })
    }

    /// Values 0–9 where there are digits, 0 elsewhere, anything above 9 where the text has another shape.
    #[inline]
    fn digits(&self, bytes: &[u8; 16]) -> m128i {
        let v = sub_i8_m128i(load_unaligned_m128i(bytes), set_splat_i8_m128i(b'0'.cast_signed()));
        bitxor_m128i(bitand_m128i(v, self.keep), self.point)
    }

    /// Four-digit groups, the gap of the point closed.
    #[inline]
    fn fours(&self, v: m128i) -> m128i {
        let before = bitand_m128i(v, self.before);
        let joined = bitor_m128i(bitxor_m128i(v, before), byte_shl_imm_u128_m128i::<1>(before));
        let tens = mul_i16_keep_low_m128i(
            bitand_m128i(joined, set_splat_i16_m128i(0xff)),
            set_splat_i16_m128i(10),
        );
        let pairs = add_i16_m128i(tens, shr_imm_u16_m128i::<8>(joined));
        mul_i16_horizontal_add_m128i(pairs, set_splat_i32_m128i(0x0001_0064))
    }
}

/// The shape of a row of two numbers.
#[derive(Clone, Copy)]
pub(crate) struct Shape {
    /// Offsets from the row's start.
    delimiter_at: usize,
    end_at: usize,
    carriage_return: bool,
    time: Field,
    current: Field,
    powers: m128d,
    origin: m128d,
    unit: m128d,
    offset: m128d,
}

const POWERS: [f64; 16] =
    [1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15];

/// What turns the two numbers of a row into seconds and amperes.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Scales {
    pub(crate) origin: i64,
    pub(crate) seconds_per_unit: f64,
    pub(crate) amperes_per_unit: f64,
    pub(crate) offset_a: f64,
}

impl Shape {
    /// The shape of the row `buffer[start..]` with its delimiter at `middle` and its line feed at `end`.
    pub(crate) fn learn(
        buffer: &[u8],
        start: usize,
        middle: usize,
        end: usize,
        scales: Scales,
    ) -> Option<Self> {
        let carriage_return = end > start && buffer[end - 1] == b'\r';
        let stop = end - usize::from(carriage_return);
        let time = Field::of(buffer, start, middle)?;
        let current = Field::of(buffer, middle + 1, stop)?;
        let origin = scales.origin as f64 * POWERS[time.decimals];
        // An origin that is no exact integer here would cost digits.
        if origin.abs() >= 9.0e15 || scales.origin.unsigned_abs() >= 1 << 53 {
            return None;
        }
        Some(Self {
            delimiter_at: middle - start,
            end_at: stop - start,
            carriage_return,
            time,
            current,
            powers: set_m128d(POWERS[current.decimals], POWERS[time.decimals]),
            origin: set_m128d(0.0, origin),
            unit: set_m128d(scales.amperes_per_unit, scales.seconds_per_unit),
            offset: set_m128d(scales.offset_a, 0.0),
        })
    }

    /// Reads rows of this shape from `start` on, up to the first of another; returns where that one starts.
    pub(crate) fn rows(
        &self,
        buffer: &[u8],
        mut start: usize,
        to: usize,
        delimiter: u8,
        time: &mut Vec<f64>,
        current: &mut Vec<f64>,
    ) -> usize {
        let width = self.end_at + 1 + usize::from(self.carriage_return);
        let (d, e) = (self.delimiter_at, self.end_at);
        let nine = set_splat_i8_m128i(9);
        let last = width - 1;
        let most = to.saturating_sub(start) / width;
        let before = time.len();
        time.resize(before + most, 0.0);
        current.resize(before + most, 0.0);
        let mut done = 0;
        // The slices are as long as there can be rows, so that storing needs no growth.
        for (t, i) in time[before..].iter_mut().zip(&mut current[before..]) {
            // 16 bytes in front of the row are readable: the buffer is padded.
            let Some(row) = buffer.get(start - 16..start + width) else { break };
            let (Some(a), Some(b)) = (row[d..].first_chunk::<16>(), row[e..].first_chunk::<16>())
            else {
                break;
            };
            let (a, b) = (self.time.digits(a), self.current.digits(b));
            let all = max_u8_m128i(max_u8_m128i(a, b), nine);
            let are_digits = move_mask_i8_m128i(cmp_eq_mask_i8_m128i(all, nine)) == 0xffff;
            if !(are_digits && row[16 + d] == delimiter && row[16 + last] == b'\n')
                || (self.carriage_return && row[16 + e] != b'\r')
            {
                break;
            }
            // [time high, time low, current high, current low], eight digits each.
            let eights = mul_i16_horizontal_add_m128i(
                pack_i32_to_i16_m128i(self.time.fours(a), self.current.fours(b)),
                set_splat_i32_m128i(0x0001_2710),
            );
            let of_time = convert_to_m128d_from_lower2_i32_m128i(eights);
            let of_current = convert_to_m128d_from_lower2_i32_m128i(shuffle_ai_f32_all_m128i::<
                0b11_10_11_10,
            >(eights));
            let high = unpack_low_m128d(of_time, of_current);
            let low = unpack_high_m128d(of_time, of_current);
            let whole = add_m128d(mul_m128d(high, set_splat_m128d(1e8)), low);
            let value = div_m128d(sub_m128d(whole, self.origin), self.powers);
            let [seconds, amperes] = sub_m128d(mul_m128d(value, self.unit), self.offset).to_array();
            *t = seconds;
            *i = amperes;
            start += width;
            done += 1;
        }
        time.truncate(before + done);
        current.truncate(before + done);
        start
    }
}
