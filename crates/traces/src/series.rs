//! A whole capture in memory, for what needs it at once: a rail's dip is short, its capture small.

use crate::error::TraceError;
use crate::layout::Layout;
use crate::options::{Control, Options};
use crate::pipeline::analyse_with;
use crate::reduce::Tap;
use crate::source::Source;

/// Samples in memory.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Series {
    /// Times (s).
    pub time_s: Vec<f64>,
    /// Currents (A); of a voltage-only capture read through a layout whose "current" column is the voltage: volts.
    pub current_a: Vec<f64>,
    /// Voltages (V), where the layout has a voltage column.
    pub voltage_v: Vec<f64>,
    /// More samples followed than were kept.
    pub cut: bool,
}

struct Keep {
    series: Series,
    most: usize,
}

impl Tap for Keep {
    fn block(&mut self, _: u64, time_s: &[f64], current_a: &[f64], voltage_v: &[f64]) {
        let room = self.most - self.series.time_s.len();
        let n = time_s.len().min(room);
        self.series.cut |= n < time_s.len();
        self.series.time_s.extend_from_slice(&time_s[..n]);
        self.series.current_a.extend_from_slice(&current_a[..n]);
        self.series.voltage_v.extend_from_slice(&voltage_v[..n.min(voltage_v.len())]);
    }
}

/// Reads at most `most` samples into memory.
///
/// # Errors
/// As [`crate::analyse`].
pub fn read_series(
    source: Source,
    layout: Option<Layout>,
    most: usize,
) -> Result<Series, TraceError> {
    let mut keep = Keep { series: Series::default(), most };
    analyse_with(source, layout, &Options::default(), &mut |_| Control::Continue, Some(&mut keep))?;
    Ok(keep.series)
}
