//! What several tests share.
#![allow(unreachable_pub, reason = "a module of several test crates")]
#![allow(dead_code, reason = "each test file uses its own part")]

use overwinter_traces::{Analysis, Control, Layout, Options, Source, TraceError, analyse};
use std::io::Cursor;

/// Analyses text in memory.
pub fn read(
    text: impl Into<Vec<u8>>,
    layout: Option<Layout>,
    options: &Options,
) -> Result<Analysis, TraceError> {
    let source = Source::from_reader("trace.csv", Box::new(Cursor::new(text.into())))?;
    analyse(source, layout, options, &mut |_| Control::Continue)
}

/// The Lehmer generator of the check data.
pub struct Lehmer(pub u64);

impl Lehmer {
    pub fn u(&mut self) -> f64 {
        self.0 = self.0 * 16807 % 2_147_483_647;
        self.0 as f64 / 2_147_483_647.0
    }

    pub fn z(&mut self) -> f64 {
        let (a, b) = (self.u(), self.u());
        libm::sqrt(-2.0 * libm::log(a)) * libm::cos(2.0 * std::f64::consts::PI * b)
    }

    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.u()
    }
}

/// `p` between 0 and 1 of sorted values, nearest rank.
pub fn quantile(values: &mut [f64], p: f64) -> f64 {
    values.sort_by(f64::total_cmp);
    values[((values.len() - 1) as f64 * p).round() as usize]
}
