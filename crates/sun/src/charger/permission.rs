//! May this board's charger charge this cell? Yes, no, or not known, with every reason.

use super::Charger;

/// What is known about a cell's charging; what is not known is `None`.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct ChargeLimits {
    /// Is it a rechargeable cell?
    pub rechargeable: Option<bool>,
    /// Its full charging voltage, V (4.20 lithium-ion; 3.60…3.65 lithium iron phosphate).
    pub charge_voltage_v: Option<f64>,
    /// Highest charge current its data sheet allows, A.
    pub highest_charge_a: Option<f64>,
    /// Capacity, C.
    pub capacity_c: Option<f64>,
    /// Temperatures at which it may be charged, °C.
    pub charge_window_c: Option<(f64, f64)>,
}

/// A reason for the verdict.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
pub enum Reason {
    /// A primary cell: never charge it; keep it apart from any charger input or panel.
    PrimaryCell,
    /// Nobody has said whether the cell is rechargeable.
    RechargeableUnknown,
    /// The charger's voltage is above the cell's by more than 1 %: V of the charger, V of the cell.
    VoltageTooHigh {
        /// The charger's constant voltage.
        charger_v: f64,
        /// The cell's.
        cell_v: f64,
    },
    /// The charger's voltage is below the cell's by more than 1 %: it does not fill it, which is harmless.
    VoltageLow {
        /// The charger's constant voltage.
        charger_v: f64,
        /// The cell's.
        cell_v: f64,
    },
    /// The cell's charging voltage is not known.
    VoltageUnknown,
    /// The set current is above what the cell allows.
    CurrentTooHigh {
        /// The charger's set current.
        set_a: f64,
        /// The cell's limit.
        limit_a: f64,
    },
    /// The cell's limit is not known; taken as half its capacity in an hour (common practice, no source), the set current is above it.
    CurrentAboveUsual {
        /// The charger's set current.
        set_a: f64,
        /// Half the capacity in an hour.
        usual_a: f64,
    },
    /// Neither the cell's charge current limit nor its capacity is known.
    CurrentUnknown,
    /// The charger has no temperature input; the cell may not be charged below its window.
    NothingPreventsFrost {
        /// The window's lower end, °C (0 where the cell's data do not say).
        below_c: f64,
    },
}

/// May it?
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize)]
pub enum Verdict {
    /// Yes, with the cautions listed.
    Yes,
    /// No.
    No,
    /// Something that decides it is not known.
    Unknown,
}

/// The verdict with every reason and caution.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
pub struct Permission {
    /// May it?
    pub verdict: Verdict,
    /// Why, or what to mind.
    pub reasons: Vec<Reason>,
}

/// Compares a charger with a cell's limits. The data sheet of the cell wins over every figure here.
pub fn may_charge(charger: &Charger, cell: &ChargeLimits) -> Permission {
    let mut reasons = Vec::new();
    let (mut no, mut unknown) = (false, false);
    match cell.rechargeable {
        Some(true) => {}
        Some(false) => {
            no = true;
            reasons.push(Reason::PrimaryCell);
        }
        None => {
            unknown = true;
            reasons.push(Reason::RechargeableUnknown);
        }
    }
    match cell.charge_voltage_v {
        Some(cell_v) if charger.hold_v > cell_v * 1.01 => {
            no = true;
            reasons.push(Reason::VoltageTooHigh { charger_v: charger.hold_v, cell_v });
        }
        Some(cell_v) if charger.hold_v < cell_v * 0.99 => {
            reasons.push(Reason::VoltageLow { charger_v: charger.hold_v, cell_v });
        }
        Some(_) => {}
        None => {
            unknown = true;
            reasons.push(Reason::VoltageUnknown);
        }
    }
    let set_a = charger.set_current_a;
    match (cell.highest_charge_a, cell.capacity_c) {
        (Some(limit_a), _) => {
            if set_a > limit_a {
                no = true;
                reasons.push(Reason::CurrentTooHigh { set_a, limit_a });
            }
        }
        (None, Some(capacity_c)) => {
            let usual_a = 0.5 * capacity_c / 3600.0;
            if set_a > usual_a {
                // Above 1 C no ordinary pouch cell allows it; between half and one C the data sheet decides.
                if set_a > 2.0 * usual_a {
                    no = true;
                } else {
                    unknown = true;
                }
                reasons.push(Reason::CurrentAboveUsual { set_a, usual_a });
            }
        }
        (None, None) => {
            unknown = true;
            reasons.push(Reason::CurrentUnknown);
        }
    }
    if charger.temperature_window_c.is_none() {
        reasons.push(Reason::NothingPreventsFrost {
            below_c: cell.charge_window_c.map_or(0.0, |w| w.0),
        });
    }
    let verdict = if no {
        Verdict::No
    } else if unknown {
        Verdict::Unknown
    } else {
        Verdict::Yes
    };
    Permission { verdict, reasons }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn verdicts() {
        let charger = Charger::usual(1.0);
        let pouch = ChargeLimits {
            rechargeable: Some(true),
            charge_voltage_v: Some(4.2),
            capacity_c: Some(0.4 * 3600.0),
            ..ChargeLimits::default()
        };
        // A 1 A charger on 400 mAh is 2.5 C: blocked.
        assert_eq!(may_charge(&charger, &pouch).verdict, Verdict::No);
        assert_eq!(may_charge(&Charger::usual(0.3), &pouch).verdict, Verdict::Unknown);
        let gentle = may_charge(&Charger::usual(0.1), &pouch);
        assert_eq!(gentle.verdict, Verdict::Yes);
        assert!(matches!(gentle.reasons[..], [Reason::NothingPreventsFrost { .. }]));
        let iron = ChargeLimits { charge_voltage_v: Some(3.6), ..pouch };
        assert!(
            may_charge(&Charger::usual(0.1), &iron)
                .reasons
                .iter()
                .any(|r| matches!(r, Reason::VoltageTooHigh { .. }))
        );
        let primary = ChargeLimits { rechargeable: Some(false), ..pouch };
        assert_eq!(may_charge(&Charger::usual(0.1), &primary).verdict, Verdict::No);
        assert_eq!(may_charge(&charger, &ChargeLimits::default()).verdict, Verdict::Unknown);
    }
}
