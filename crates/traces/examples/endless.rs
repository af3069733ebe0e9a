//! A trace of any length, made byte by byte on the way into the real readers: what does it cost in memory?
//!
//! ```text
//! cargo run --release -p overwinter-traces --example endless -- text 200e6
//! cargo run --release -p overwinter-traces --example endless -- text 20e9
//! cargo run --release -p overwinter-traces --example endless -- raw 100e9
//! ```
//! Prints bytes, samples, seconds and the process's peak resident memory. Nothing is stored; one length to a process, so that each
//! has a peak of its own.
#![allow(clippy::print_stdout, reason = "an example prints")]

use overwinter_traces::{Control, Layout, Options, RawKind, Source, analyse};
use std::io::Read;
use std::time::Instant;

/// Samples per second of the imagined instrument.
const RATE_HZ: u64 = 100_000;
/// A wake of 15 000 samples every 400 000.
const PERIOD: u64 = 400_000;

/// A board's current at sample `k`: asleep at 12 µA, awake in three phases; a little noise that repeats after 4093 samples.
fn current_na(k: u64) -> u64 {
    let level = match k % PERIOD {
        0..=7_999 => 25_000_000,
        8_000..=10_999 => 120_000_000,
        11_000..=14_999 => 18_000_000,
        _ => 12_000,
    };
    let noise = k % 4093 * 2_654_435_761 % 4093;
    level + level * noise / 4093 / 20
}

/// Rows `seconds,amperes` of equal length, counted up in place.
struct Text {
    left: u64,
    k: u64,
    row: [u8; 28],
    at: usize,
}

impl Text {
    fn new(bytes: u64) -> Self {
        let row = *b"0000000000.00000,0.000012000";
        let mut it = Self { left: bytes, k: 0, row, at: 0 };
        it.write_current();
        it
    }

    fn write_current(&mut self) {
        let mut n = current_na(self.k);
        for b in self.row[19..28].iter_mut().rev() {
            *b = b'0' + (n % 10) as u8;
            n /= 10;
        }
    }

    fn next_row(&mut self) {
        self.k += 1;
        self.at = 0;
        for b in self.row[..16].iter_mut().rev().filter(|b| **b != b'.') {
            if *b < b'9' {
                *b += 1;
                break;
            }
            *b = b'0';
        }
        self.write_current();
    }
}

impl Read for Text {
    fn read(&mut self, out: &mut [u8]) -> std::io::Result<usize> {
        let mut done = 0;
        while done < out.len() && self.left > 0 {
            if self.at == self.row.len() {
                out[done] = b'\n';
                self.next_row();
                done += 1;
                self.left -= 1;
                continue;
            }
            let n = (self.row.len() - self.at).min(out.len() - done).min(self.left as usize);
            out[done..done + n].copy_from_slice(&self.row[self.at..self.at + n]);
            self.at += n;
            done += n;
            self.left -= n as u64;
        }
        Ok(done)
    }
}

/// The same as 32-bit numbers.
struct Raw {
    left: u64,
    k: u64,
}

impl Read for Raw {
    fn read(&mut self, out: &mut [u8]) -> std::io::Result<usize> {
        let n = (out.len() / 4).min((self.left / 4) as usize);
        for four in out[..4 * n].as_chunks_mut::<4>().0 {
            *four = (current_na(self.k) as f32 * 1e-9).to_le_bytes();
            self.k += 1;
        }
        self.left -= 4 * n as u64;
        Ok(4 * n)
    }
}

/// Peak resident memory (MiB), where the system tells it.
fn peak_mib() -> Option<f64> {
    let text = std::fs::read_to_string("/proc/self/status").ok()?;
    let line = text.lines().find_map(|l| l.strip_prefix("VmHWM:"))?;
    line.trim().strip_suffix(" kB")?.trim().parse::<f64>().ok().map(|k| k / 1024.0)
}

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let [form, bytes] = arguments.as_slice() else {
        return Err("say the form (text or raw) and the bytes, such as 20e9".into());
    };
    let bytes = bytes.parse::<f64>()? as u64;
    let (reader, layout): (Box<dyn Read + Send>, _) = match form.as_str() {
        "text" => (Box::new(Text::new(bytes)), None),
        "raw" => {
            (Box::new(Raw { left: bytes, k: 0 }), Some(Layout::raw(RawKind::F32, RATE_HZ as f64)))
        }
        other => return Err(format!("no such form: {other}").into()),
    };
    let started = Instant::now();
    let source = Source::from_reader("made on the way", reader)?;
    let a = analyse(source, layout, &Options::default(), &mut |_| Control::Continue)?;
    let seconds = started.elapsed().as_secs_f64();
    let peak = peak_mib().map_or_else(|| "unknown".to_owned(), |m| format!("{m:.1} MiB"));
    println!(
        "{form}: {} bytes, {} samples, {} wakes in {seconds:.1} s; peak resident memory {peak}",
        a.extent.bytes,
        a.extent.samples,
        a.wakes.map_or(0, |w| w.count),
    );
    Ok(())
}
