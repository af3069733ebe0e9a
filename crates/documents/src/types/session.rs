//! Sessions at the bench with their readings, and other people's figures.

use overwinter_quantity::{
    AnyQuantity, CurrentDimension, Dimension, DimensionInfo, Duration, DurationDimension,
    ResistanceDimension, Temperature, Voltage, VoltageDimension,
};

use crate::choice::{Kind, choices};
use crate::date::Date;
use crate::layer::record;
use crate::types::board::ContactSide;

choices! {
    /// What a reading is of.
    pub enum What: "what a reading is of" {
        /// Whole board asleep.
        SleepCurrent = "sleep current",
        /// Awake, radio off.
        IdleCurrent = "idle current",
        /// Highest current of a radio burst.
        RadioPeak = "radio peak current",
        /// Charge of one wake, sleep baseline taken off.
        ChargePerWake = "charge per wake",
        /// How long a wake lasts.
        WakeDuration = "wake duration",
        /// Regulator input minus output at the current of the note.
        Dropout = "dropout",
        /// Lowest supply voltage that survives a radio burst.
        LowestSurviving = "lowest surviving voltage",
        /// Current of the charger into the cell.
        ChargeCurrent = "charge current",
        /// Charge current with the charger hot.
        ChargeCurrentHot = "hot charge current",
        /// Voltage the charger ends at.
        FloatVoltage = "float voltage",
        /// Current at which the charger ends.
        TerminationCurrent = "termination current",
        /// Voltage at which the cell's protection cuts off.
        ProtectionCutOff = "protection cut-off",
        /// Current of a part taken alone.
        PartCurrent = "part current",
        /// Regulator ground current.
        GroundCurrent = "ground current",
        /// Current out of the cell at night, source input open or dark.
        BackLeakage = "back-leakage",
        /// A voltage, the note says where.
        Voltage = "voltage",
        /// A resistance, the note says of what.
        Resistance = "resistance",
        /// Internal resistance of a cell.
        CellResistance = "cell resistance",
        /// Capacity of a cell.
        Capacity = "capacity",
    }

    /// What fed the board.
    pub enum Source: "a source" {
        /// The battery contacts, USB out.
        Battery = "battery contacts",
        /// USB, no cell.
        Usb = "USB",
        /// USB with a full cell.
        UsbFullCell = "USB and full cell",
        /// A panel.
        Panel = "panel",
        /// The rail, past the regulator.
        Rail = "rail",
    }

    /// Where the supply voltage was read.
    pub enum SupplyAt: "where the supply voltage was read" {
        /// At the board's own contacts, past a meter in series.
        Board = "board",
        /// At the source, before a meter in series: its drop is missing at the board.
        Source = "source",
    }

    /// What happened to the source in a ride-through trial.
    pub enum SourceEvent: "an event" {
        /// USB or panel removed.
        Removed = "removed",
        /// USB or panel attached.
        Attached = "attached",
    }

    /// What the board was doing.
    pub enum Doing: "what the board was doing" {
        /// Asleep.
        Asleep = "asleep",
        /// Awake with the radio on.
        RadioOn = "radio on",
        /// Awake with the radio off.
        Awake = "awake",
    }

    /// How the source came and went.
    pub enum Edge: "an edge" {
        /// A plug.
        Plug = "plug",
        /// A slow ramp, as from a panel at dawn.
        SlowRamp = "slow ramp",
    }
}

impl What {
    /// The dimension that a value must have.
    pub fn dimension(self) -> &'static DimensionInfo {
        match self {
            Self::ChargePerWake | Self::Capacity => overwinter_quantity::ChargeDimension::INFO,
            Self::WakeDuration => DurationDimension::INFO,
            Self::Dropout
            | Self::LowestSurviving
            | Self::FloatVoltage
            | Self::ProtectionCutOff
            | Self::Voltage => VoltageDimension::INFO,
            Self::Resistance | Self::CellResistance => ResistanceDimension::INFO,
            Self::SleepCurrent
            | Self::IdleCurrent
            | Self::RadioPeak
            | Self::ChargeCurrent
            | Self::ChargeCurrentHot
            | Self::TerminationCurrent
            | Self::PartCurrent
            | Self::GroundCurrent
            | Self::BackLeakage => CurrentDimension::INFO,
        }
    }
}

record! {
    /// A sitting at the bench: one specimen, bare module or cell, one set-up.
    pub struct Session {
        /// Name, unique among sessions.
        pub name: String,
        /// The specimen measured.
        pub specimen: Option<String>,
        /// The bare module measured, instead of a specimen.
        pub module: Option<String>,
        /// The cell measured, instead of a specimen.
        pub cell: Option<String>,
        /// When.
        pub date: Date,
        /// Who.
        pub who: Option<String>,
        /// The firmware that ran.
        pub firmware: Option<Firmware>,
        /// Temperature of the board.
        pub temperature: Option<Temperature>,
        /// The instrument of readings that name none: a name of `instruments/`.
        pub instrument: Option<String>,
        /// Supply voltage of readings that state none.
        pub supply: Option<Voltage>,
        /// Where that voltage was read; left out, at the source: a meter in series takes its drop off it, and the reading is
        /// corrected for that.
        pub supply_at: Option<SupplyAt>,
        /// Source of readings that state none.
        pub source: Option<Source>,
        /// Kind of the figures: measured, unless they are invented for the demo.
        pub kind: Option<Kind>,
        /// A remark.
        pub note: Option<String>,
        /// The readings.
        #[serde(default)]
        pub readings: Vec<Reading>,
        /// Observations of polarity before first power.
        pub polarity: Option<Polarity>,
        /// Trials of attaching and removing the source.
        #[serde(default)]
        pub ride_through: Vec<RideThrough>,
        /// The whole session no longer counts.
        pub retracted: Option<Retraction>,
    }

    /// Firmware and its state.
    pub struct Firmware {
        /// Name or version.
        pub version: Option<String>,
        /// Hash of the build.
        pub hash: Option<String>,
        /// State it was in, in words: the sleep mode, peripherals.
        pub state: Option<String>,
    }

    /// One reading.
    pub struct Reading {
        /// What it is of.
        pub what: What,
        /// The value; with `repeats` it may be left out, their mean holds.
        pub value: Option<AnyQuantity>,
        /// Repeated values.
        #[serde(default)]
        pub repeats: Vec<AnyQuantity>,
        /// The instrument, if not the session's.
        pub instrument: Option<String>,
        /// The range in use, by its name.
        pub range: Option<String>,
        /// Standard uncertainty of the value by the scatter inside its own record (Type A), where it is no mean of `repeats`.
        pub type_a: Option<AnyQuantity>,
        /// Open-input zero before.
        pub zero_before: Option<AnyQuantity>,
        /// Open-input zero after.
        pub zero_after: Option<AnyQuantity>,
        /// Supply voltage.
        pub supply: Option<Voltage>,
        /// Where that voltage was read, if not as the session says.
        pub supply_at: Option<SupplyAt>,
        /// What fed it.
        pub source: Option<Source>,
        /// Temperature, if not the session's.
        pub temperature: Option<Temperature>,
        /// How long it was left to settle.
        pub settled_for: Option<Duration>,
        /// What the meter showed while it settled, in order of time: what is left of the transient follows from a fit.
        #[serde(default)]
        pub settling: Vec<SettlingPoint>,
        /// Length of the averaging window.
        pub window: Option<Duration>,
        /// The part, for a part's current.
        pub part: Option<String>,
        /// The load current, for dropout and ground current.
        pub load: Option<AnyQuantity>,
        /// A photograph, as a path in the folder.
        pub photo: Option<String>,
        /// The recording it was found in: a name of `recordings/`.
        pub recording: Option<String>,
        /// A remark.
        pub note: Option<String>,
        /// It no longer counts.
        pub retracted: Option<Retraction>,
    }

    /// One value on the way to the settled one.
    pub struct SettlingPoint {
        /// Time since the board went to sleep, or since the first point.
        pub after: Duration,
        /// What the meter showed.
        pub value: AnyQuantity,
    }

    /// Why a figure no longer counts.
    pub struct Retraction {
        /// Since when.
        pub date: Date,
        /// Why.
        pub why: String,
        /// The session that replaces it.
        pub superseded_by: Option<String>,
    }

    /// The two polarity observations of one specimen, per contact.
    pub struct Polarity {
        /// USB out, no cell: resistance from the left contact to the metal shield of the USB socket.
        pub ohms_left: Option<AnyQuantity>,
        /// The same from the right contact.
        pub ohms_right: Option<AnyQuantity>,
        /// USB in, no cell: voltage of the left contact against the shield.
        pub volts_left: Option<Voltage>,
        /// The same of the right contact.
        pub volts_right: Option<Voltage>,
        /// A drawing or photograph, as a path in the folder.
        pub photo: Option<String>,
    }

    /// Trials of one kind at one cell voltage.
    pub struct RideThrough {
        /// What happened to the source.
        pub event: SourceEvent,
        /// What the board was doing.
        pub doing: Option<Doing>,
        /// How the source came or went.
        pub edge: Option<Edge>,
        /// Voltage of the cell.
        pub cell_voltage: Voltage,
        /// Resets seen.
        pub resets: u32,
        /// Trials made.
        pub trials: u32,
        /// The recording of the rail that shows it: a name of `recordings/`.
        pub recording: Option<String>,
        /// A remark.
        pub note: Option<String>,
    }

    /// Somebody else's figures with their conditions.
    pub struct Claim {
        /// Name, unique among claims.
        pub name: String,
        /// The board model.
        pub board: String,
        /// Its revision, where told.
        pub revision: Option<String>,
        /// Who says so, in words.
        pub who: Option<String>,
        /// When.
        pub date: Option<Date>,
        /// Where it was read, in words.
        pub found: Option<String>,
        /// Kind: a data sheet's figure, a measurement.
        pub kind: Option<Kind>,
        /// The instrument or its class, in words or by name.
        pub instrument: Option<String>,
        /// The firmware, where told.
        pub firmware: Option<Firmware>,
        /// Temperature, where told.
        pub temperature: Option<Temperature>,
        /// A remark.
        pub note: Option<String>,
        /// The figures.
        pub readings: Vec<Reading>,
    }
}

/// What the polarity observations say together.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum PolarityVerdict {
    /// Both observations agree: this contact is +.
    Positive(ContactSide),
    /// An observation is missing.
    Incomplete,
    /// Both contacts read near zero ohms: USB was left in, or they are shorted.
    BothNearZero,
    /// Neither contact reads near zero ohms: the negative lead may be switched; trace the board.
    NoneNearZero,
    /// The two observations contradict each other.
    Contradict,
}

impl Polarity {
    /// Below this resistance a contact counts as joined to the shield. Common practice, no source.
    pub const NEAR_ZERO_OHM: f64 = 5.0;
    /// Above this voltage a contact counts as fed by the charger (about 4.2 V is expected). Common practice, no source.
    pub const FED_V: f64 = 3.0;

    /// The verdict of the observations: near zero ohms on one contact names −, charger voltage on the other names +.
    pub fn verdict(&self) -> PolarityVerdict {
        let near_zero = |ohms: &Option<AnyQuantity>| {
            ohms.as_ref().map(|ohms| {
                ohms.si() < Self::NEAR_ZERO_OHM
                    && !matches!(ohms.spread(), overwinter_quantity::Spread::AtLeast)
            })
        };
        let (Some(left), Some(right)) = (near_zero(&self.ohms_left), near_zero(&self.ohms_right))
        else {
            return PolarityVerdict::Incomplete;
        };
        let positive = match (left, right) {
            (true, true) => return PolarityVerdict::BothNearZero,
            (false, false) => return PolarityVerdict::NoneNearZero,
            (true, false) => ContactSide::Right,
            (false, true) => ContactSide::Left,
        };
        let fed = |volts: &Option<Voltage>| volts.as_ref().map(|volts| volts.volts() > Self::FED_V);
        let (same, other) = match positive {
            ContactSide::Left => (fed(&self.volts_left), fed(&self.volts_right)),
            ContactSide::Right => (fed(&self.volts_right), fed(&self.volts_left)),
        };
        match (same, other) {
            (None, _) => PolarityVerdict::Incomplete,
            (Some(true), Some(false) | None) => PolarityVerdict::Positive(positive),
            (Some(_), _) => PolarityVerdict::Contradict,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn observed(
        left: &str,
        right: &str,
        volts_left: Option<&str>,
        volts_right: Option<&str>,
    ) -> PolarityVerdict {
        let volts = |text: Option<&str>| text.map(|text| text.parse().unwrap());
        Polarity {
            ohms_left: Some(left.parse().unwrap()),
            ohms_right: Some(right.parse().unwrap()),
            volts_left: volts(volts_left),
            volts_right: volts(volts_right),
            photo: None,
        }
        .verdict()
    }

    #[test]
    fn both_observations_must_agree() {
        assert_eq!(
            observed("0.3 Ω", "> 1 MΩ", Some("0 V"), Some("4.19 V")),
            PolarityVerdict::Positive(ContactSide::Right)
        );
        assert_eq!(observed("0.3 Ω", "> 1 MΩ", None, None), PolarityVerdict::Incomplete);
        assert_eq!(observed("0.3 Ω", "0.4 Ω", None, None), PolarityVerdict::BothNearZero);
        assert_eq!(observed("2 MΩ", "1 MΩ", None, None), PolarityVerdict::NoneNearZero);
        assert_eq!(
            observed("0.3 Ω", "1 MΩ", Some("4.2 V"), Some("0 V")),
            PolarityVerdict::Contradict
        );
    }
}
