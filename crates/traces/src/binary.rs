//! Raw f32 and f64 samples.

use crate::layout::{Layout, RawFormat, RawKind};
use crate::rows::Parsed;

/// Bytes of one sample of all channels.
pub(crate) fn frame_bytes(raw: RawFormat) -> usize {
    raw.channels
        * match raw.kind {
            RawKind::F32 => 4,
            RawKind::F64 => 8,
        }
}

/// Whole frames to samples.
pub(crate) fn parse_frames(
    layout: &Layout,
    raw: RawFormat,
    bytes: &[u8],
    offset: u64,
    out: &mut Parsed,
) {
    let (first, second, scale) = layout.current.columns();
    let frame = frame_bytes(raw);
    out.bytes += bytes.len() as u64;
    if let (1, None, RawKind::F32, false, None) =
        (raw.channels, second, raw.kind, raw.big_endian, layout.voltage)
    {
        let before = out.current.len();
        out.current.extend(bytes.chunks_exact(4).map(|b| {
            f64::from(f32::from_le_bytes([b[0], b[1], b[2], b[3]])) * scale - layout.offset_a
        }));
        let n = (out.current.len() - before) as u64;
        out.rows += n;
        let bad = out.current[before..].iter().any(|x| !x.is_finite());
        if bad {
            note_bad(out, before, offset, 4);
        } else {
            out.lines += n;
        }
        return;
    }
    let value = |f: &[u8], channel: usize| -> f64 {
        match raw.kind {
            RawKind::F32 => {
                let b: [u8; 4] =
                    f[4 * channel..4 * channel + 4].try_into().expect("inside the frame");
                f64::from(if raw.big_endian {
                    f32::from_be_bytes(b)
                } else {
                    f32::from_le_bytes(b)
                })
            }
            RawKind::F64 => {
                let b: [u8; 8] =
                    f[8 * channel..8 * channel + 8].try_into().expect("inside the frame");
                if raw.big_endian { f64::from_be_bytes(b) } else { f64::from_le_bytes(b) }
            }
        }
    };
    let before = out.current.len();
    for f in bytes.chunks_exact(frame) {
        let mut x = value(f, first);
        if let Some(s) = second {
            x -= value(f, s);
        }
        out.current.push(x * scale - layout.offset_a);
        if let Some(v) = layout.voltage {
            out.voltage.push(value(f, v.column) * v.volts_per_unit);
        }
    }
    out.rows += (out.current.len() - before) as u64;
    if out.current[before..].iter().any(|x| !x.is_finite()) {
        note_bad(out, before, offset, frame);
    } else {
        out.lines += (out.current.len() - before) as u64;
    }
}

/// Counts what is not finite; the reduction leaves it out but keeps its time.
fn note_bad(out: &mut Parsed, from: usize, offset: u64, frame: usize) {
    for k in from..out.current.len() {
        if !out.current[k].is_finite() {
            let byte = offset + ((k - from) * frame) as u64;
            out.current[k] = f64::NAN;
            // `refuse` pads with another NaN; the sample stands already.
            let kept = out.current.len();
            out.refuse(byte, true, || "the sample is not a finite number".to_owned());
            out.current.truncate(kept);
            if let Some(issue) = out.issues.last_mut().filter(|i| i.byte == byte) {
                issue.samples_before = k;
            }
        }
        out.lines += 1;
    }
    out.has_nan = true;
}
