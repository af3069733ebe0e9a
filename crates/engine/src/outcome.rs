//! What a forecast says.

/// What ended the life.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Ending {
    /// The rail fell below the processor's reset threshold under load.
    RailBelowReset,
    /// The input fell below what the regulator needs, or a step-up converter collapsed.
    RegulatorOutOfReach,
    /// The cell fell to its own lowest discharge voltage.
    CellCutoff,
    /// The protection circuit opened.
    ProtectionCutoff,
    /// The available charge was used up.
    ChargeExhausted,
    /// The cell's shelf life was over.
    ShelfLife,
    /// Still alive at the horizon.
    AliveAtHorizon,
}

/// Where in the load something happens.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Place {
    /// Between activities.
    Sleep,
    /// In a segment, at its own current.
    Segment {
        /// Index into the load's activities.
        activity: usize,
        /// Index into that activity's segments.
        segment: usize,
    },
    /// At the peak of a segment.
    Peak {
        /// Index into the load's activities.
        activity: usize,
        /// Index into that activity's segments.
        segment: usize,
    },
}

/// The life alone: what thousands of draws need.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Life {
    /// The instant of the end, inside its cycle. A peak counts when it is complete.
    pub life_s: f64,
    /// What ended it.
    pub ending: Ending,
    /// Where in the load.
    pub place: Place,
    /// How far below its limit the failing voltage lies when the failing peak or segment is complete
    /// (at time 0: how much is missing), volts; 0 for endings that are no voltage.
    pub shortfall_v: f64,
    /// Whether the very first occurrence of this place already fails: the board never works on this cell.
    pub at_once: bool,
    /// State of charge `s` at the end.
    pub state_of_charge: f64,
    /// What has to be said beside the figure.
    pub flags: Flags,
}

/// How far each limit still was from being met when the life ended.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Margin {
    /// The limit.
    pub limit: Ending,
    /// Where it is closest.
    pub place: Place,
    /// Distance in volts (voltage limits), seconds (shelf life) or coulombs (charge); negative when
    /// the limit would fail too.
    pub margin: f64,
}

/// One entry of the ledger.
#[derive(Debug, Clone, PartialEq)]
pub struct LedgerEntry {
    /// Where the charge went.
    pub account: Account,
    /// How much, coulombs.
    pub charge_c: f64,
}

/// Where charge goes.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub enum Account {
    /// An activity's rail charge (index into the load's activities), as it is drawn at the rail.
    Activity(usize),
    /// Sleep, without what is named elsewhere.
    Sleep,
    /// An always-on drain (index into the path's list).
    AlwaysOn(usize),
    /// The protection circuit's own current.
    Protection,
    /// The bulk capacitor's leakage.
    BulkLeakage,
    /// The regulator: ground current and conversion. A step-down converter draws less charge than it
    /// delivers, so this entry is negative there.
    Regulator,
    /// Self-discharge.
    SelfDischarge,
    /// Calendar ageing.
    Ageing,
    /// Left in the cell at the end.
    Stranded,
}

/// A point of the life for a chart.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sample {
    /// Time since the start.
    pub time_s: f64,
    /// State of charge of the available well.
    pub state_of_charge: f64,
    /// Lowest rail voltage over the activities' segments and peaks there; `None` when the rail collapses.
    pub lowest_rail_v: Option<f64>,
    /// Lowest cell voltage there.
    pub lowest_cell_v: f64,
}

/// The full forecast.
#[derive(Debug, Clone, PartialEq)]
pub struct Forecast {
    /// How long, what ended it, where.
    pub life: Life,
    /// Every other limit's distance then.
    pub margins: Vec<Margin>,
    /// Where the charge went; adds up to `initial_charge_c`.
    pub ledger: Vec<LedgerEntry>,
    /// Charge in the cell at the start.
    pub initial_charge_c: f64,
    /// Charge left at the end.
    pub stranded_c: f64,
    /// Average current over the life, drains and regulator included, self-discharge not.
    pub mean_current_a: f64,
    /// Points over time, as many as were asked for.
    pub samples: Vec<Sample>,
    /// `life.flags`, spelled out.
    pub warnings: Vec<Flag>,
}

macro_rules! flags {
    ($($(#[$doc:meta])* $name:ident = $bit:literal),+ $(,)?) => {
        /// Something that has to be said beside a figure.
        #[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
        pub enum Flag { $($(#[$doc])* $name),+ }
        impl Flag {
            /// All flags there are.
            pub const ALL: &'static [Flag] = &[$(Flag::$name),+];
            const fn bit(self) -> u32 { match self { $(Flag::$name => 1 << $bit),+ } }
        }
    };
}

flags! {
    /// The series resistance is unknown and was taken as nothing: voltages are too high, the life too long.
    ResistanceUnknown = 0,
    /// The temperature law of the resistance is unknown: cold peaks look better than they are.
    ResistanceTemperatureUnknown = 1,
    /// Capacity over temperature is unknown and was taken as nominal.
    CapacityTemperatureUnknown = 2,
    /// Self-discharge is unknown and was taken as nothing.
    SelfDischargeUnknown = 3,
    /// Calendar ageing is unknown and was taken as nothing on a life above one year.
    AgeingUnknown = 4,
    /// The protection's own current is unknown and was taken as nothing.
    ProtectionCurrentUnknown = 5,
    /// Neither a cut-off of the cell nor of a protection is known: the voltage end of the cell was not checked.
    CutoffUnknown = 6,
    /// The regulator's ground current is unknown and was taken as nothing.
    GroundCurrentUnknown = 7,
    /// The dropout is unknown and was taken as nothing.
    DropoutUnknown = 8,
    /// The regulator was in dropout and its ground current there is unknown.
    GroundInDropoutUnknown = 9,
    /// The processor's reset threshold is unknown: the rail was not checked.
    ResetThresholdUnknown = 10,
    /// The capacitor's leakage is unknown and was taken as nothing.
    BulkLeakageUnknown = 11,
    /// The sleep current was not measured at two temperatures and was used as read.
    SleepTemperatureUnknown = 12,
    /// The capacitor is not recharged before the next burst (5 time constants do not fit).
    BulkNotRecharged = 13,
    /// Activities can overlap; their currents then add.
    ActivitiesOverlap = 14,
    /// The temperature lies outside the capacity table.
    OutsideCapacityTable = 15,
    /// The temperature lies outside what the cell is specified for.
    OutsideDischargeTemperature = 16,
    /// A current above what the cell is specified for.
    AboveCellCurrent = 17,
    /// A cell voltage outside the table of sleep or drain currents; the end value was used.
    OutsideCurrentTable = 18,
    /// An operating point outside the efficiency table; the edge value was used.
    OutsideEfficiencyTable = 19,
    /// The cell builds a passivation film; the dip of the first peaks is not computed.
    Passivation = 20,
    /// The always-on drains together exceed the sleep reading that is said to hold them.
    BillExceedsReading = 21,
    /// The wells relax too slowly for the averaging of a voltage-dependent load (life below 50 relaxation times).
    SlowWells = 22,
    /// The state of charge began or ran outside the open-circuit or resistance table.
    OutsideChargeTable = 23,
    /// A life of fewer than 200 cycles with a voltage-dependent load: the averaging may be off by a part of a cycle.
    FewCycles = 24,
    /// Calendar ageing took more than half of the capacity: far outside the square-root law.
    AgeingBeyondHalf = 25,
}

/// A set of [`Flag`]s without allocation.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Hash)]
pub struct Flags(u32);

impl Flags {
    /// No flag.
    pub const NONE: Self = Self(0);

    /// Adds a flag.
    pub fn insert(&mut self, flag: Flag) {
        self.0 |= flag.bit();
    }

    /// Adds all flags of another set.
    pub fn extend(&mut self, other: Flags) {
        self.0 |= other.0;
    }

    /// Whether a flag is set.
    pub fn contains(self, flag: Flag) -> bool {
        self.0 & flag.bit() != 0
    }

    /// Whether none is set.
    pub fn is_empty(self) -> bool {
        self.0 == 0
    }

    /// The flags that are set, in order.
    pub fn iter(self) -> impl Iterator<Item = Flag> {
        Flag::ALL.iter().copied().filter(move |f| self.contains(*f))
    }
}
