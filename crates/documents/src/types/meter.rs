//! Meters: classes and the instruments on the bench.

use overwinter_quantity::{Accuracy, AnyQuantity, Duration, Frequency, Temperature};

use crate::choice::Kind;
use crate::date::Date;
use crate::figure::{ResistanceFigure, VoltageFigure};
use crate::layer::record;

record! {
    /// A class of meters.
    pub struct Meter {
        /// Name, unique among meter classes.
        pub name: String,
        /// What it is, in words.
        pub about: Option<String>,
        /// Kind of the figures that state none of their own.
        pub kind: Option<Kind>,
        /// Source of the figures that state none of their own.
        pub source: Option<String>,
        /// Its ranges.
        pub ranges: Vec<MeterRange>,
    }

    /// A meter on the bench.
    pub struct Instrument {
        /// Name, unique among instruments.
        pub name: String,
        /// What it is, in words.
        pub about: Option<String>,
        /// Kind of the figures that state none of their own.
        pub kind: Option<Kind>,
        /// Source of the figures that state none of their own.
        pub source: Option<String>,
        /// Its class: a name of `meters/`.
        pub class: Option<String>,
        /// Number on it.
        pub serial: Option<String>,
        /// When it was last calibrated or checked.
        pub checked: Option<Date>,
        /// Ranges of its own; where given, they replace those of the class.
        #[serde(default)]
        pub ranges: Vec<MeterRange>,
    }

    /// One range of a meter.
    pub struct MeterRange {
        /// Name, unique within the meter, as on its dial: `600 µA`.
        pub name: String,
        /// Full scale; its unit tells what the range measures.
        pub limit: AnyQuantity,
        /// Accuracy of the range.
        pub accuracy: Option<Accuracy>,
        /// Value of one count.
        pub resolution: Option<AnyQuantity>,
        /// Series resistance on a current range, fuse and leads included.
        pub burden: Option<ResistanceFigure>,
        /// Voltage lost at full scale, where that is what the manual states.
        pub burden_voltage: Option<VoltageFigure>,
        /// Input resistance on a voltage range.
        pub input_resistance: Option<ResistanceFigure>,
        /// Bandwidth.
        pub bandwidth: Option<Frequency>,
        /// How long an automatic range waits before it switches.
        pub hold_off: Option<Duration>,
        /// Temperatures for which the accuracy holds: lowest and highest.
        pub accurate_from: Option<Temperature>,
        /// The upper end.
        pub accurate_to: Option<Temperature>,
        /// What the accuracy loses for each kelvin outside those temperatures: `0.1 % + 0.3 counts`.
        pub accuracy_per_kelvin: Option<Accuracy>,
        /// Kind of this range's figures.
        pub kind: Option<Kind>,
        /// Source of this range's figures.
        pub source: Option<String>,
    }
}
