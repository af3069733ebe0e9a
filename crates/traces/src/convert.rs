//! Stored numbers in their unit.

/// What turns a stored number into seconds, amperes or volts: `(x − origin)·scale − offset`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Convert {
    /// Taken off integers before they lose digits.
    pub(crate) origin: i64,
    pub(crate) scale: f64,
    pub(crate) offset: f64,
}

impl Convert {
    pub(crate) const NONE: Self = Self { origin: 0, scale: 1.0, offset: 0.0 };

    #[inline]
    pub(crate) fn real(&self, x: f64) -> f64 {
        (x - self.origin as f64) * self.scale - self.offset
    }

    #[inline]
    pub(crate) fn whole(&self, x: i64) -> f64 {
        x.wrapping_sub(self.origin) as f64 * self.scale - self.offset
    }
}
