//! What a simulated year says.

/// Where the charge came from and went, C. Adds up: [`Ledger::residual_c`].
#[derive(Debug, Clone, Copy, PartialEq, Default, serde::Serialize)]
pub struct Ledger {
    /// In the cell at the start.
    pub start_c: f64,
    /// From the source into the node of cell and load.
    pub charged_c: f64,
    /// Drawn by the board while it ran.
    pub load_c: f64,
    /// Drawn by battery-side drains while the board was dark.
    pub dark_drain_c: f64,
    /// Self-discharge.
    pub self_discharge_c: f64,
    /// Leaked back through charger and dark panel.
    pub night_leak_c: f64,
    /// Drawn by the converter itself.
    pub converter_c: f64,
    /// In the cell at the end.
    pub end_c: f64,
    /// What the board would have drawn while it was dark (not part of the sum).
    pub unserved_c: f64,
    /// What the panel could have given at the working voltage while it was lit (not part of the sum).
    pub offered_c: f64,
    /// Of that, refused: cell full or at constant voltage.
    pub refused_full_c: f64,
    /// Of that, refused: set current or fold-back.
    pub refused_limit_c: f64,
    /// Of that, refused: outside the charger's temperature window.
    pub refused_temperature_c: f64,
    /// Of that, refused: safety timer.
    pub refused_timer_c: f64,
    /// Of that, lost in chatter.
    pub refused_chatter_c: f64,
}

impl Ledger {
    /// start + charged − everything drawn − end: zero but for rounding.
    pub fn residual_c(&self) -> f64 {
        self.start_c + self.charged_c
            - self.load_c
            - self.dark_drain_c
            - self.self_discharge_c
            - self.night_leak_c
            - self.converter_c
            - self.end_c
    }

    /// offered − charged − everything refused: zero but for rounding.
    pub fn offer_residual_c(&self) -> f64 {
        self.offered_c
            - self.charged_c
            - self.refused_full_c
            - self.refused_limit_c
            - self.refused_temperature_c
            - self.refused_timer_c
            - self.refused_chatter_c
    }

    /// Adds another year's flows; start stays, end moves on.
    pub fn add(&mut self, other: &Ledger) {
        self.charged_c += other.charged_c;
        self.load_c += other.load_c;
        self.dark_drain_c += other.dark_drain_c;
        self.self_discharge_c += other.self_discharge_c;
        self.night_leak_c += other.night_leak_c;
        self.converter_c += other.converter_c;
        self.unserved_c += other.unserved_c;
        self.offered_c += other.offered_c;
        self.refused_full_c += other.refused_full_c;
        self.refused_limit_c += other.refused_limit_c;
        self.refused_temperature_c += other.refused_temperature_c;
        self.refused_timer_c += other.refused_timer_c;
        self.refused_chatter_c += other.refused_chatter_c;
        self.start_c += other.start_c;
        self.end_c += other.end_c;
    }
}

/// What flowed in a calendar month, C.
#[derive(Debug, Clone, Copy, PartialEq, Default, serde::Serialize)]
pub struct MonthFlow {
    /// Days that belong to it.
    pub days: u32,
    /// Charge taken from the source.
    pub charged_c: f64,
    /// Charge that panel and charger could have given as well, refused because the cell was full or at constant voltage.
    pub refused_full_c: f64,
    /// Charge that the board drew while it ran, and would have drawn while it was dark.
    pub asked_c: f64,
}

impl MonthFlow {
    /// Adds another year's month.
    pub fn add(&mut self, other: &MonthFlow) {
        self.days += other.days;
        self.charged_c += other.charged_c;
        self.refused_full_c += other.refused_full_c;
        self.asked_c += other.asked_c;
    }
}

/// One year (or one run) of a node.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct YearResult {
    /// Hours run.
    pub hours: f64,
    /// Hours dark.
    pub dark_h: f64,
    /// Days on which the board was dark at any time.
    pub outage_days: u32,
    /// The same by calendar month.
    pub outage_days_by_month: [u32; 12],
    /// Flows by calendar month (only with [`super::step::Detail::Full`]).
    pub by_month: [MonthFlow; 12],
    /// Longest stretch without a break, h.
    pub longest_dark_h: f64,
    /// Lowest state of charge.
    pub lowest_state: f64,
    /// Least distance from the state of charge to the lowest usable one at the moment's temperature (0…1); below 0 when it was dark.
    pub least_margin: f64,
    /// Hours with the cell full.
    pub full_h: f64,
    /// Of those, hours with the cell above 30 °C.
    pub hot_full_h: f64,
    /// Hours in which charge went into a cell outside its maker's window.
    pub frost_charge_h: f64,
    /// Times the input went away.
    pub inputs_lost: f64,
    /// Of those in chatter.
    pub chatter_events: f64,
    /// Lost inputs that the board survives for certain are not in it: least resets.
    pub resets_least: f64,
    /// Most resets (differs from the least only where ride-through is unknown).
    pub resets_most: f64,
    /// Charges ended by the safety timer.
    pub timer_ends: u32,
    /// Hours outside the table's −50…90 °C, computed with its edge.
    pub outside_table_h: f64,
    /// Charge ledger.
    pub ledger: Ledger,
    /// State of charge at the end of each day, if asked for.
    pub daily_state: Vec<f32>,
}
