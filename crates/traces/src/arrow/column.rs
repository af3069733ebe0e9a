//! A column's values, as they lie in a batch's buffers, to f64.

use super::body::{self, Body};
use super::message::{Batch, Kind};
use crate::convert::Convert;
use std::io::Read;
use std::sync::Arc;

/// Values of a dictionary; nulls among them are NaN, so integers with nulls are kept as real numbers.
#[derive(Debug, Clone)]
pub(super) enum Entries {
    Whole(Vec<i64>),
    Real(Vec<f64>),
}

impl Entries {
    pub(super) fn len(&self) -> usize {
        match self {
            Self::Whole(all) => all.len(),
            Self::Real(all) => all.len(),
        }
    }

    pub(super) fn reals(self) -> Vec<f64> {
        match self {
            Self::Whole(all) => all.into_iter().map(|x| x as f64).collect(),
            Self::Real(all) => all,
        }
    }
}

/// A column of the open batch, read on and on.
pub(super) struct Cursor {
    validity: Option<Box<dyn Read + Send>>,
    data: Box<dyn Read + Send>,
    kind: Kind,
    entries: Option<Arc<Entries>>,
    bytes: Vec<u8>,
}

impl Cursor {
    pub(super) fn open(
        body: &Arc<Body>,
        batch: &Batch,
        (node, buffer): (usize, usize),
        kind: Kind,
        entries: Option<Arc<Entries>>,
    ) -> Result<Self, String> {
        let (length, nulls) = *batch.nodes.get(node).ok_or("a column is missing in it")?;
        if usize::try_from(length) != Ok(batch.rows) {
            return Err(format!("a column of {length} rows among {}", batch.rows));
        }
        let [validity, data] = batch
            .buffers
            .get(buffer..)
            .and_then(|b| b.first_chunk::<2>())
            .ok_or("a column's buffers are missing in it")?;
        let rows = batch.rows as u64;
        let needed = rows.checked_mul(kind.width() as u64).ok_or("a batch without end")?;
        let validity = if nulls == 0 || validity.1 == 0 {
            None
        } else {
            Some(body::buffer(body, *validity, batch.codec, rows.div_ceil(8))?)
        };
        let data = body::buffer(body, *data, batch.codec, needed)?;
        Ok(Self { validity, data, kind, entries, bytes: Vec::new() })
    }

    fn fill(&mut self, n: usize) -> Result<(), String> {
        self.bytes.resize(n * self.kind.width(), 0);
        self.data.read_exact(&mut self.bytes).map_err(|e| format!("a column's values: {e}"))
    }

    /// All values, integers as such.
    pub(super) fn entries(&mut self, n: usize) -> Result<Entries, String> {
        if self.validity.is_none()
            && let Kind::Whole { bytes, signed: true } = self.kind
        {
            self.fill(n)?;
            let whole = |b: &[u8]| integer(b, true) as i64;
            return Ok(Entries::Whole(self.bytes.chunks_exact(bytes).map(whole).collect()));
        }
        let mut out = Vec::new();
        self.read(n, Convert::NONE, &mut out)?;
        Ok(Entries::Real(out))
    }

    /// Appends `n` values; nulls are NaN. `n` is a multiple of eight, or the rest.
    pub(super) fn read(&mut self, n: usize, c: Convert, out: &mut Vec<f64>) -> Result<(), String> {
        let before = out.len();
        self.fill(n)?;
        let bytes = &self.bytes;
        match (&self.entries, self.kind) {
            (Some(entries), Kind::Whole { bytes: size, signed }) => {
                let index = |b: &[u8]| usize::try_from(integer(b, signed)).unwrap_or(usize::MAX);
                let all = bytes.chunks_exact(size).map(index);
                // A null's index may be anything; beyond the dictionary there is no number.
                match entries.as_ref() {
                    Entries::Whole(e) => {
                        out.extend(all.map(|k| e.get(k).map_or(f64::NAN, |x| c.whole(*x))));
                    }
                    Entries::Real(e) => {
                        out.extend(all.map(|k| e.get(k).map_or(f64::NAN, |x| c.real(*x))));
                    }
                }
            }
            (Some(_), _) | (None, Kind::Other) => {
                return Err("the column holds no numbers".to_owned());
            }
            (None, Kind::Real { bytes: 8 }) => {
                out.extend(bytes.as_chunks().0.iter().map(|b| c.real(f64::from_le_bytes(*b))));
            }
            (None, Kind::Real { bytes: 4 }) => {
                out.extend(
                    bytes.as_chunks().0.iter().map(|b| c.real(f32::from_le_bytes(*b).into())),
                );
            }
            (None, Kind::Real { .. }) => {
                out.extend(
                    bytes.as_chunks().0.iter().map(|b| c.real(half(u16::from_le_bytes(*b)))),
                );
            }
            (None, Kind::Whole { bytes: 8, signed: true }) => {
                out.extend(bytes.as_chunks().0.iter().map(|b| c.whole(i64::from_le_bytes(*b))));
            }
            (None, Kind::Whole { bytes: 8, .. }) => {
                out.extend(bytes.as_chunks().0.iter().map(|b| {
                    let x = u64::from_le_bytes(*b);
                    i64::try_from(x).map_or_else(|_| c.real(x as f64), |x| c.whole(x))
                }));
            }
            (None, Kind::Whole { bytes: size, signed }) => {
                let whole = |b: &[u8]| c.whole(integer(b, signed) as i64);
                out.extend(bytes.chunks_exact(size).map(whole));
            }
            (None, Kind::Decimal { bytes: size, scale }) => {
                let ten = libm::exp10(f64::from(scale.abs()));
                let of = |x: f64| c.real(if scale < 0 { x * ten } else { x / ten });
                if size <= 16 {
                    out.extend(bytes.chunks_exact(size).map(|b| of(integer(b, true) as f64)));
                } else {
                    out.extend(bytes.as_chunks::<32>().0.iter().map(|b| {
                        let (low, high) = b.split_at(16);
                        let low: [u8; 16] = low.try_into().unwrap_or_default();
                        of(libm::ldexp(integer(high, true) as f64, 128)
                            + u128::from_le_bytes(low) as f64)
                    }));
                }
            }
        }
        if let Some(validity) = &mut self.validity {
            self.bytes.resize(n.div_ceil(8), 0);
            validity
                .read_exact(&mut self.bytes)
                .map_err(|e| format!("a column's map of what is missing: {e}"))?;
            for (k, x) in out[before..].iter_mut().enumerate() {
                if self.bytes[k / 8] >> (k % 8) & 1 == 0 {
                    *x = f64::NAN;
                }
            }
        }
        Ok(())
    }
}

/// An integer of up to 16 bytes, the least significant first.
fn integer(bytes: &[u8], signed: bool) -> i128 {
    let fill = if signed && bytes.last().is_some_and(|b| b & 0x80 != 0) { 0xff } else { 0 };
    let mut whole = [fill; 16];
    whole[..bytes.len()].copy_from_slice(bytes);
    i128::from_le_bytes(whole)
}

/// A number of two bytes (IEEE 754-2019, binary16).
fn half(bits: u16) -> f64 {
    let fraction = f64::from(bits & 0x3ff);
    let size = match i32::from(bits >> 10 & 0x1f) {
        0 => libm::ldexp(fraction, -24),
        31 if fraction == 0.0 => f64::INFINITY,
        31 => f64::NAN,
        exponent => libm::ldexp(1024.0 + fraction, exponent - 25),
    };
    if bits & 0x8000 == 0 { size } else { -size }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_of_every_width() {
        assert_eq!(integer(&[0xfe], true), -2);
        assert_eq!(integer(&[0xfe], false), 254);
        assert_eq!(integer(&[0, 0, 0, 0, 0, 0, 0, 0x80], true), i128::from(i64::MIN));
        // IEEE 754-2019, binary16: 1, the largest, the smallest normal and subnormal.
        let known = [
            (0x3c00, 1.0),
            (0x7bff, 65504.0),
            (0x0400, 6.103515625e-5),
            (0x8001, -5.960464477539063e-8),
        ];
        for (bits, value) in known {
            assert_eq!(half(bits), value);
        }
        assert!(half(0x7c00).is_infinite() && half(0x7e00).is_nan());
    }
}
