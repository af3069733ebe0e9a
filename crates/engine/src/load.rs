//! What the board draws: activities on their own intervals, sleep in between.
//!
//! **Order of coincident activities.** Every activity is a periodic train of its own. Without an
//! explicit [`Activity::first_s`], the first activity starts at time 0, the second when the first has
//! ended, and so on in the listed order; so activities with nested intervals follow each other and
//! never overlap. With intervals that are not nested two activities can meet: then their currents
//! above sleep add, and the result carries the flag `ActivitiesOverlap`. Times are kept in whole
//! nanoseconds, so phases are exact over any life.

use crate::curve::Curve;

/// The load of a project on a board.
#[derive(Debug, Clone, PartialEq)]
pub struct Load {
    /// What is drawn whenever no activity runs.
    pub sleep: Sleep,
    /// The activities, in the order in which coincident ones run.
    pub activities: Vec<Activity>,
}

/// The sleep current and what it depends on.
#[derive(Debug, Clone, PartialEq)]
pub struct Sleep {
    /// The current, and where it was read.
    pub current: SleepCurrent,
    /// How it grows with temperature; `None` when it was not measured at two temperatures, in which
    /// case a forecast away from the reference is flagged.
    pub temperature: Option<ExponentialTemperature>,
}

/// A sleep current as it was read.
#[derive(Debug, Clone, PartialEq)]
pub enum SleepCurrent {
    /// At the supply rail (a data sheet's module figure); the regulator's ground current and the
    /// always-on drains come on top.
    Rail {
        /// Amperes at the rail.
        current_a: f64,
    },
    /// At the battery contacts: holds the regulator's ground current already, and those always-on
    /// drains that are marked [`AlwaysOn::in_sleep_reading`](crate::path::AlwaysOn).
    Battery {
        /// Amperes at the battery contacts.
        current_a: f64,
    },
    /// At the battery contacts at several supply voltages (x: volts, y: amperes); else as `Battery`.
    BatteryByVoltage(Curve),
}

/// `I(T) = I(reference)·exp(per_kelvin·(T − reference))`; ln 2/10 K doubles every 10 K.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ExponentialTemperature {
    /// Exponential coefficient, 1/K.
    pub per_kelvin: f64,
    /// Temperature of the reading.
    pub reference_celsius: f64,
}

/// Something the board does again and again.
#[derive(Debug, Clone, PartialEq)]
pub struct Activity {
    /// Its name.
    pub name: String,
    /// From one start to the next.
    pub interval_s: f64,
    /// When it starts first; `None`: right after the activities listed before it.
    pub first_s: Option<f64>,
    /// Its parts, one after another.
    pub segments: Vec<Segment>,
}

impl Activity {
    /// The sum of the segments' durations.
    pub fn duration_s(&self) -> f64 {
        self.segments.iter().map(|s| s.duration_s).sum()
    }
}

/// A part of an activity with one demand.
#[derive(Debug, Clone, PartialEq)]
pub struct Segment {
    /// Its name.
    pub name: String,
    /// How long it lasts.
    pub duration_s: f64,
    /// What it draws at the rail.
    pub demand: Demand,
    /// A short peak that matters for the rail and not for the charge (its charge is inside the
    /// segment's mean). It is checked at the end of its segment, the worst place for it.
    pub peak: Option<Peak>,
}

/// What a segment draws.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Demand {
    /// A current at the supply rail.
    Current {
        /// Amperes.
        current_a: f64,
    },
    /// A power at the supply rail.
    Power {
        /// Watts.
        power_w: f64,
    },
}

/// A short peak of rail current.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Peak {
    /// Rail current during the peak (total, not above the mean).
    pub current_a: f64,
    /// Its length.
    pub duration_s: f64,
}
