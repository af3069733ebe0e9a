//! The demo's traces: invented, generated the same on every machine, with their truth in closed form.

use std::fmt::Write as _;
use std::path::Path;

use overwinter_store::write_file;
use overwinter_traces::Control;

use crate::RecordingError;
use crate::keep::{New, keep};
use crate::subject::{Stated, Subject};

/// One phase of a wake: duration (s), current (A), and for a radio the share of time at the peak and the peak (A).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Part {
    /// Duration (s).
    pub duration_s: f64,
    /// Current (A), the floor not included.
    pub current_a: f64,
    /// Bursts of this current (A), in place of `current_a`.
    pub burst_a: f64,
    /// Length of a burst (s).
    pub burst_s: f64,
    /// From burst to burst (s); 0: no bursts.
    pub every_s: f64,
}

/// A recording made of equal wakes.
#[derive(Debug, Clone, PartialEq)]
pub struct Invented {
    /// Sleep floor (A).
    pub floor_a: f64,
    /// Standard deviation of the noise (A).
    pub noise_a: f64,
    /// Standard deviation of the charge from wake to wake, as a share: the last part's length varies.
    pub spread: f64,
    /// From wake to wake (s).
    pub period_s: f64,
    /// First wake (s).
    pub first_s: f64,
    /// Length (s).
    pub length_s: f64,
    /// Samples a second.
    pub rate_hz: f64,
    /// The wake.
    pub parts: Vec<Part>,
    /// Seed of noise and spread.
    pub seed: u64,
}

impl Part {
    const fn steady(duration_s: f64, current_a: f64) -> Self {
        Self { duration_s, current_a, burst_a: 0.0, burst_s: 0.0, every_s: 0.0 }
    }

    /// Mean current (A).
    pub fn mean_a(&self) -> f64 {
        if self.every_s > 0.0 {
            self.current_a + (self.burst_a - self.current_a) * self.burst_s / self.every_s
        } else {
            self.current_a
        }
    }

    fn at(&self, t: f64) -> f64 {
        if self.every_s > 0.0 && t % self.every_s < self.burst_s {
            self.burst_a
        } else {
            self.current_a
        }
    }
}

/// Numbers that are the same everywhere: xorshift64* (Vigna 2016), normals as the sum of twelve uniforms less six.
struct Random(u64);

impl Random {
    fn uniform(&mut self) -> f64 {
        self.0 ^= self.0 >> 12;
        self.0 ^= self.0 << 25;
        self.0 ^= self.0 >> 27;
        (self.0.wrapping_mul(0x2545_F491_4F6C_DD1D) >> 11) as f64 / (1_u64 << 53) as f64
    }

    fn normal(&mut self) -> f64 {
        (0..12).map(|_| self.uniform()).sum::<f64>() - 6.0
    }
}

impl Invented {
    /// Charge of a wake above the floor without spread (C): Σ duration · mean current.
    pub fn charge_c(&self) -> f64 {
        self.parts.iter().map(|p| p.duration_s * p.mean_a()).sum()
    }

    /// The samples, and the true charge above the floor of every whole wake (C).
    pub fn samples(&self) -> (Vec<f64>, Vec<f64>) {
        let mut random = Random(self.seed);
        let count = (self.length_s * self.rate_hz).round() as usize;
        let step = 1.0 / self.rate_hz;
        let mut current = vec![0.0; count];
        for x in &mut current {
            *x = self.floor_a + self.noise_a * random.normal();
        }
        let mut truth = Vec::new();
        let mut start_s = self.first_s;
        while start_s < self.length_s {
            let mut charge_c = 0.0;
            let mut t = start_s + 2.0e-3 * random.normal();
            t = (t * self.rate_hz).round() / self.rate_hz;
            for (k, part) in self.parts.iter().enumerate() {
                let mut lasts = part.duration_s;
                if k + 1 == self.parts.len() {
                    // Whole samples, so that the truth is what was sampled.
                    let share = self.spread * self.charge_c() / (part.duration_s * part.mean_a());
                    lasts *= 1.0 + share * random.normal();
                    lasts = (lasts * self.rate_hz).round() / self.rate_hz;
                }
                let from = (t * self.rate_hz).round() as usize;
                let to = ((t + lasts) * self.rate_hz).round() as usize;
                for (n, x) in current.iter_mut().enumerate().take(to.min(count)).skip(from) {
                    let here = part.at((n - from) as f64 * step);
                    // An active board's current is not flat: 0.4 % of its level.
                    *x += here * (1.0 + 0.004 * random.normal());
                    charge_c += here * step;
                }
                t += lasts;
            }
            if t + 0.1 < self.length_s {
                truth.push(charge_c);
            }
            start_s += self.period_s;
        }
        (current, truth)
    }
}

/// Two builds of the footbridges' firmware on BOWLINE-1: the second sends less.
pub fn build(second: bool) -> Invented {
    // 0.30 s · 42 mA + 0.80 s · 21 mA + radio: 190 mC in all with the first build, 171 mC with the second.
    let radio = Part {
        duration_s: if second { 0.877 } else { 0.995 },
        current_a: 130.0e-3,
        burst_a: 340.0e-3,
        burst_s: 3.0e-3,
        every_s: 20.0e-3,
    };
    Invented {
        floor_a: 9.4e-6,
        noise_a: 0.35e-6,
        spread: 0.012,
        period_s: 6.0,
        first_s: 1.5,
        length_s: 60.0,
        rate_hz: 1000.0,
        parts: vec![Part::steady(0.30, 42.0e-3), Part::steady(0.80, 20.9e-3), radio],
        seed: if second { 0x5EED_0002 } else { 0x5EED_0001 },
    }
}

/// As the club's logger writes it: a preamble, commas, microamperes.
fn logger(recording: &Invented) -> String {
    let mut text = String::from(
        "current logger, invented for the demo\nsupply 3.80 V\ntime [s],current [µA]\n",
    );
    for (n, x) in recording.samples().0.iter().enumerate() {
        let _ = writeln!(text, "{:.3},{:.2}", n as f64 / recording.rate_hz, x * 1e6);
    }
    text
}

/// As the club's oscilloscope writes it: semicolons, decimal commas, milliseconds. USB is pulled at 20 ms; the rail falls by the body
/// diode's drop and the radio's, until the transistor takes over at 26 ms.
fn oscilloscope() -> String {
    let mut random = Random(0x5EED_0003);
    let mut text = String::from("oscilloscope, invented for the demo\nTime (ms);Rail (V)\n");
    for n in 0..2000 {
        let t = f64::from(n) * 0.05;
        let level = match t {
            t if t < 20.0 => 3.300,
            // The bulk capacitor empties into the radio.
            t if t < 21.0 => 3.300 - 0.65 * (t - 20.0),
            t if t < 26.0 => 2.650,
            t if t < 27.0 => 2.650 + 0.65 * (t - 26.0),
            _ => 3.300,
        };
        let v = format!("{:.3}", level + 0.006 * random.normal());
        let _ = writeln!(text, "{};{}", format!("{t:.2}").replace('.', ","), v.replace('.', ","));
    }
    text
}

/// Path and text of the demo's traces.
pub fn traces() -> Vec<(&'static str, String)> {
    vec![
        ("traces/bowline-1-build-1.4.csv", logger(&build(false))),
        ("traces/bowline-1-build-1.5.csv", logger(&build(true))),
        ("traces/slipknot-1-usb-removed.csv", oscilloscope()),
    ]
}

/// Writes the demo's traces into a demo folder whose documents are there, and keeps them.
///
/// # Errors
/// The folder refuses.
pub fn write(root: &Path) -> Result<usize, RecordingError> {
    let traces = traces();
    for (path, text) in &traces {
        write_file(root, path, text)?;
    }
    let (folder, _) = overwinter_store::read_folder(root)?;
    let names: Vec<String> = folder.recordings.names().map(str::to_owned).collect();
    for name in names {
        let subject = Subject::find(&folder, root, &name)?;
        if subject.document().is_some_and(|d| d.kept.is_some()) {
            let progress = &mut |_: &_| Control::Continue;
            keep(&folder, root, &subject, &Stated::default(), &New::default(), progress)?;
        }
    }
    Ok(traces.len())
}
