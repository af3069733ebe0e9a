//! Damages a file in the ways that files are damaged, and in the ways that readers are broken. The same numbers everywhere.

/// A pseudo-random stream that is the same everywhere (xorshift, G. Marsaglia, *J. Stat. Softw.* 8 (2003) 14).
pub(crate) struct Dice(pub(crate) u64);

impl Dice {
    pub(crate) fn next(&mut self) -> u64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        self.0
    }

    /// Below `n` (at least 1).
    pub(crate) fn below(&mut self, n: usize) -> usize {
        (self.next() >> 11) as usize % n.max(1)
    }
}

const BYTES: [u8; 24] = *b"\0\xff\x80\x7f\n\r,;\t.-+e\"#:/ 09x\xc2\xb5\x1a";
const WORDS: [&[u8]; 14] = [
    b"NaN",
    b"-inf",
    b"1e999",
    b"9.91E37",
    b"-0",
    b"1e-320",
    b"\r\n\r\n",
    b"\"\"",
    b"99999999999999999999",
    b"0x10",
    b"1,5",
    b"2026-13-45 25:61:61",
    b"\xef\xbb\xbf",
    b"PAR1",
];

/// One to eight damages; `other` lends its parts.
pub(crate) fn damage(bytes: &mut Vec<u8>, other: &[u8], dice: &mut Dice) {
    for _ in 0..=dice.below(8) {
        if bytes.is_empty() {
            return;
        }
        // Numbers that rule a file stand at its ends: half of the damage goes there.
        let at = match dice.below(4) {
            0 => dice.below(bytes.len().min(80)),
            1 => bytes.len() - 1 - dice.below(bytes.len().min(700)),
            _ => dice.below(bytes.len()),
        };
        let reach = (bytes.len() - at).min(1 + dice.below(40));
        match dice.below(11) {
            0 => bytes[at] ^= 1 << dice.below(8),
            1 => bytes[at] = BYTES[dice.below(BYTES.len())],
            2 => bytes[at] = dice.next() as u8,
            3 => {
                bytes.drain(at..at + reach);
            }
            4 => {
                let part = bytes[at..at + reach].to_vec();
                let times = 1 + dice.below(5);
                for _ in 0..times {
                    bytes.splice(at..at, part.iter().copied());
                }
            }
            5 => bytes.truncate(at),
            6 => {
                let word = WORDS[dice.below(WORDS.len())];
                bytes.splice(at..at, word.iter().copied());
            }
            7 => {
                let from = dice.below(other.len());
                let to = (from + 1 + dice.below(60)).min(other.len());
                bytes.splice(at..at, other[from..to].iter().copied());
            }
            8 => {
                let n = [0u64, 1, u64::MAX, 1 << 31, (1 << 31) - 1, 1 << 63, 1 << 32, 255, 65_536];
                let value = n[dice.below(n.len())].to_le_bytes();
                let size = [1, 2, 4, 8][dice.below(4)];
                for (b, v) in bytes[at..].iter_mut().zip(&value[..size]) {
                    *b = *v;
                }
            }
            9 => {
                // A number in seven-bit groups, as Parquet's own metadata are written.
                let groups = 1 + dice.below(10);
                for (k, b) in bytes[at..].iter_mut().take(groups).enumerate() {
                    *b = if k + 1 < groups {
                        0x80 | dice.next() as u8
                    } else {
                        dice.next() as u8 & 0x7f
                    };
                }
            }
            _ => bytes[at..at + reach].rotate_left(reach / 2),
        }
    }
}
