//! Text to number, fast for the plain forms that loggers write, correctly rounded for all.
//!
//! A field of at most 16 characters, `digits[.digits]`, is converted 16 characters at a time: subtract '0', close the gap of the
//! decimal point by one shift, then three pairwise multiply-adds. The integer is exact below 2⁵³ and the division by a power of
//! ten up to 10²² rounds once, so the result is correctly rounded (W. D. Clinger, *PLDI* 1990). Anything else goes to the `fast-float2` library.

/// Bytes that must stand before the first field of a buffer, so that 16 bytes can be read backwards from any field's end.
pub(crate) const PAD: usize = 32;

const POWERS: [f64; 23] = [
    1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15, 1e16,
    1e17, 1e18, 1e19, 1e20, 1e21, 1e22,
];

/// Powers of ten as integers, for an origin taken off before the division.
const WHOLE: [i64; 16] = [
    1,
    10,
    100,
    1_000,
    10_000,
    100_000,
    1_000_000,
    10_000_000,
    100_000_000,
    1_000_000_000,
    10_000_000_000,
    100_000_000_000,
    1_000_000_000_000,
    10_000_000_000_000,
    100_000_000_000_000,
    1_000_000_000_000_000,
];

/// Largest integer below which every integer is an f64.
const EXACT: i64 = 1 << 53;

/// The number in `buffer[start..end]`, less `origin`; `None` where the text is not of the plain form.
#[inline]
pub(crate) fn plain(buffer: &[u8], start: usize, end: usize, origin: i64) -> Option<f64> {
    let negative = *buffer.get(start)? == b'-';
    let mut digits_end = end;
    let mut exponent = 0i32;
    if end >= start + 5 && (buffer[end - 4] | 0x20) == b'e' {
        let (tens, ones) = (buffer[end - 2].wrapping_sub(b'0'), buffer[end - 1].wrapping_sub(b'0'));
        if tens > 9 || ones > 9 {
            return None;
        }
        exponent = i32::from(tens) * 10 + i32::from(ones);
        match buffer[end - 3] {
            b'-' => exponent = -exponent,
            b'+' => {}
            _ => return None,
        }
        digits_end = end - 4;
    }
    let (whole, decimals) = digits(buffer, start + usize::from(negative), digits_end)?;
    if whole >= EXACT {
        return None;
    }
    let mut signed = if negative { -whole } else { whole };
    if origin != 0 {
        if exponent != 0 {
            return None;
        }
        signed -= origin.checked_mul(*WHOLE.get(decimals)?)?;
        if signed.abs() >= EXACT {
            return None;
        }
    }
    // At most 16 characters.
    let power = exponent - i32::try_from(decimals).ok()?;
    let x = signed as f64;
    let value = if power <= 0 {
        x / *POWERS.get((-power) as usize)?
    } else {
        x * *POWERS.get(power as usize)?
    };
    // Minus zero keeps its sign in text; the integer lost it.
    Some(if signed == 0 && negative && origin == 0 { -0.0 } else { value })
}

/// Any number: plain, exponent of any form, decimal comma; surrounding blanks are allowed. `None`: not a finite number.
pub(crate) fn general(field: &[u8], decimal_comma: bool) -> Option<f64> {
    let field = field.trim_ascii();
    let field = match field {
        [b'"', inner @ .., b'"'] => inner.trim_ascii(),
        [b'+', rest @ ..] if rest.first().is_some_and(u8::is_ascii_digit) => rest,
        other => other,
    };
    if field.is_empty() || field.len() > 64 {
        return None;
    }
    let value: f64 = if decimal_comma && field.contains(&b',') {
        let mut copy = [0u8; 64];
        for (to, from) in copy.iter_mut().zip(field) {
            *to = if *from == b',' { b'.' } else { *from };
        }
        fast_float2::parse(&copy[..field.len()]).ok()?
    } else {
        fast_float2::parse(field).ok()?
    };
    value.is_finite().then_some(value)
}

/// Does the field stand for "no reading": NaN, infinity, an overload mark?
pub(crate) fn is_not_a_number(field: &[u8]) -> bool {
    let f = field.trim_ascii();
    let f = f.strip_prefix(b"-").or_else(|| f.strip_prefix(b"+")).unwrap_or(f);
    [
        &b"nan"[..],
        b"inf",
        b"infinity",
        b"ovld",
        b"ovl",
        b"ol",
        b"overload",
        b"overflow",
        b"null",
        b"none",
        b"n/a",
        b"--",
    ]
    .iter()
    .any(|w| f.eq_ignore_ascii_case(w))
        || fast_float2::parse::<f64, _>(f).is_ok_and(|x| !x.is_finite())
}

#[cfg(target_arch = "x86_64")]
mod wide {
    use safe_arch::{
        add_i16_m128i, bitand_m128i, bitor_m128i, byte_shl_imm_u128_m128i, cmp_eq_mask_i8_m128i,
        get_i64_from_m128i_s, load_unaligned_m128i as load, max_u8_m128i, move_mask_i8_m128i,
        mul_i16_horizontal_add_m128i, mul_i16_keep_low_m128i, pack_i32_to_i16_m128i,
        set_splat_i8_m128i, set_splat_i16_m128i, set_splat_i32_m128i, shr_imm_u16_m128i,
        sub_i8_m128i,
    };

    /// `AFTER[p]`: bytes behind position p. `BEFORE[p]`: bytes in front of it.
    static AFTER: [[u8; 16]; 17] = masks(false);
    static BEFORE: [[u8; 16]; 17] = masks(true);

    const fn masks(before: bool) -> [[u8; 16]; 17] {
        let mut t = [[0u8; 16]; 17];
        let mut p = 0;
        while p < 17 {
            let mut b = 0;
            while b < 16 {
                if (before && b < p) || (!before && b > p) {
                    t[p][b] = 0xff;
                }
                b += 1;
            }
            p += 1;
        }
        t
    }

    /// The digits as an integer, and how many stand behind the point.
    #[inline]
    pub(crate) fn digits(buffer: &[u8], start: usize, end: usize) -> Option<(i64, usize)> {
        let length = end.wrapping_sub(start);
        if length == 0 || length > 16 || end < 16 {
            return None;
        }
        let bytes: &[u8; 16] = buffer.get(end - 16..end)?.try_into().ok()?;
        let value = sub_i8_m128i(load(bytes), set_splat_i8_m128i(b'0'.cast_signed()));
        let nine = set_splat_i8_m128i(9);
        let is_digit =
            move_mask_i8_m128i(cmp_eq_mask_i8_m128i(max_u8_m128i(value, nine), nine)) as u32;
        let other = !is_digit & 0xffff & (0xffff << (16 - length));
        let first = 16 - length;
        // What stands before the field is masked off: position `first - 1` and lower.
        let (joined, decimals) = if other == 0 {
            let keep =
                if first == 0 { value } else { bitand_m128i(value, load(&AFTER[first - 1])) };
            (keep, 0)
        } else {
            let point = other.trailing_zeros() as usize;
            if other & (other - 1) != 0 || bytes[point] != b'.' || length == 1 {
                return None;
            }
            let field =
                if first == 0 { value } else { bitand_m128i(value, load(&AFTER[first - 1])) };
            let after = bitand_m128i(field, load(&AFTER[point]));
            let before = byte_shl_imm_u128_m128i::<1>(bitand_m128i(field, load(&BEFORE[point])));
            (bitor_m128i(after, before), 15 - point)
        };
        let tens = mul_i16_keep_low_m128i(
            bitand_m128i(joined, set_splat_i16_m128i(0xff)),
            set_splat_i16_m128i(10),
        );
        let pairs = add_i16_m128i(tens, shr_imm_u16_m128i::<8>(joined));
        let fours = mul_i16_horizontal_add_m128i(pairs, set_splat_i32_m128i(0x0001_0064));
        let eights = mul_i16_horizontal_add_m128i(
            pack_i32_to_i16_m128i(fours, fours),
            set_splat_i32_m128i(0x0001_2710),
        );
        let both = get_i64_from_m128i_s(eights) as u64;
        let whole = (both & 0xffff_ffff) * 100_000_000 + (both >> 32);
        Some((whole.cast_signed(), decimals))
    }

    /// Positions of `a` and `b` in `buffer[from..to]`, in order.
    pub(crate) fn find_two(
        buffer: &[u8],
        from: usize,
        to: usize,
        a: u8,
        b: u8,
        out: &mut Vec<u32>,
    ) {
        let (va, vb) = (set_splat_i8_m128i(a.cast_signed()), set_splat_i8_m128i(b.cast_signed()));
        let mut chunks = buffer[from..to].chunks_exact(64);
        let mut base = from;
        for chunk in &mut chunks {
            let mut mask = 0u64;
            for q in 0..4 {
                let bytes: &[u8; 16] = chunk[16 * q..16 * q + 16].try_into().expect("16 bytes");
                let v = load(bytes);
                let hit = bitor_m128i(cmp_eq_mask_i8_m128i(v, va), cmp_eq_mask_i8_m128i(v, vb));
                mask |= u64::from(move_mask_i8_m128i(hit) as u16) << (16 * q);
            }
            while mask != 0 {
                out.push((base + mask.trailing_zeros() as usize) as u32);
                mask &= mask - 1;
            }
            base += 64;
        }
        for (k, &byte) in chunks.remainder().iter().enumerate() {
            if byte == a || byte == b {
                out.push((base + k) as u32);
            }
        }
    }
}

#[cfg(not(target_arch = "x86_64"))]
mod wide {
    /// The digits as an integer, and how many stand behind the point.
    pub(crate) fn digits(buffer: &[u8], start: usize, end: usize) -> Option<(i64, usize)> {
        if end <= start || end - start > 16 {
            return None;
        }
        let mut whole = 0i64;
        let mut decimals = None;
        for (k, &b) in buffer.get(start..end)?.iter().enumerate() {
            match b {
                b'0'..=b'9' => whole = whole * 10 + i64::from(b - b'0'),
                b'.' if decimals.is_none() && end - start > 1 => {
                    decimals = Some(end - start - k - 1)
                }
                _ => return None,
            }
        }
        Some((whole, decimals.unwrap_or(0)))
    }

    /// Positions of `a` and `b` in `buffer[from..to]`, in order.
    pub(crate) fn find_two(
        buffer: &[u8],
        from: usize,
        to: usize,
        a: u8,
        b: u8,
        out: &mut Vec<u32>,
    ) {
        out.extend(memchr::memchr2_iter(a, b, &buffer[from..to]).map(|k| (from + k) as u32));
    }
}

pub(crate) use wide::{digits, find_two};

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn parse(text: &str) -> Option<f64> {
        let mut buffer = vec![b'7'; PAD];
        buffer.extend_from_slice(text.as_bytes());
        let end = buffer.len();
        buffer.extend_from_slice(b"9,");
        plain(&buffer, PAD, end, 0)
    }

    #[test]
    fn plain_forms_equal_the_standard_library() {
        for text in [
            "0",
            "-0",
            "1",
            "0.5",
            ".5",
            "5.",
            "-12.25",
            "0.000012345",
            "1234567.1234567",
            "1e-05",
            "1.234e-05",
            "-9.99E+03",
        ] {
            let want: f64 = text.parse().unwrap();
            assert_eq!(parse(text).map(f64::to_bits), Some(want.to_bits()), "{text}");
        }
    }

    #[test]
    fn what_is_not_plain_is_left_to_others() {
        for text in [
            "",
            "-",
            ".",
            "1.2.3",
            "1,5",
            "abc",
            "1e5",
            "--1",
            "99999999999999999",
            "0x10",
            "1 2",
            "+1",
        ] {
            assert_eq!(parse(text), None, "{text}");
        }
    }

    #[test]
    fn an_origin_is_taken_off_before_rounding() {
        let mut buffer = vec![b' '; PAD];
        buffer.extend_from_slice(b"1764076800.12345");
        let end = buffer.len();
        assert_eq!(plain(&buffer, PAD, end, 1_764_076_800), Some(0.12345));
    }

    proptest! {
        #[test]
        fn agrees_with_the_standard_library(text in "-?[0-9]{0,9}\\.?[0-9]{0,9}(e[-+][0-9]{2})?") {
            if let Some(x) = parse(&text) {
                prop_assert_eq!(x.to_bits(), text.parse::<f64>().unwrap().to_bits());
            }
        }

        #[test]
        fn never_panics(bytes in proptest::collection::vec(any::<u8>(), 0..40)) {
            let mut buffer = vec![0u8; PAD];
            buffer.extend_from_slice(&bytes);
            let _ = plain(&buffer, PAD, buffer.len(), 3);
            let _ = general(&bytes, true);
            let _ = is_not_a_number(&bytes);
        }

        #[test]
        fn separators_are_all_found(bytes in proptest::collection::vec(prop_oneof![Just(b','), Just(b'\n'), any::<u8>()], 0..300)) {
            let mut found = Vec::new();
            find_two(&bytes, 0, bytes.len(), b',', b'\n', &mut found);
            let want: Vec<u32> = (0..bytes.len()).filter(|&k| bytes[k] == b',' || bytes[k] == b'\n').map(|k| k as u32).collect();
            prop_assert_eq!(found, want);
        }
    }
}
