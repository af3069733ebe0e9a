//! The gate before the first cell: which contact is + on this specimen.
//!
//! Two independent observations must agree: USB out, near-zero ohms from the metal shield to one
//! contact (the negative); USB in and no cell, about 4.2 V on the other. Common practice, no source.

/// One of the two battery contacts, as the person marked them.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Contact {
    /// The contact marked A.
    A,
    /// The contact marked B.
    B,
}

impl Contact {
    /// The other one.
    #[must_use]
    pub fn other(self) -> Self {
        match self {
            Self::A => Self::B,
            Self::B => Self::A,
        }
    }
}

/// What was observed on this specimen and on the lead of the cell meant for it.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct PolarityCheck {
    /// USB out, no cell: shield to contact A, Ω (an open circuit is infinite).
    pub shield_to_a_ohm: Option<f64>,
    /// USB out, no cell: shield to contact B, Ω.
    pub shield_to_b_ohm: Option<f64>,
    /// USB in, no cell: contact A against shield, V.
    pub usb_in_a_v: Option<f64>,
    /// USB in, no cell: contact B against shield, V.
    pub usb_in_b_v: Option<f64>,
    /// The board has a charger; `Some(false)` asks for the trace to the regulator instead of the 4.2 V.
    pub has_charger: Option<bool>,
    /// Board without charger: contact that the regulator's input is connected to, traced by ohmmeter.
    pub regulator_input_at: Option<Contact>,
    /// Voltage of the cell's wire that would meet contact A, against its other wire, V.
    pub lead_at_a_v: Option<f64>,
    /// Voltage of the cell's wire that would meet contact B, against its other wire, V.
    pub lead_at_b_v: Option<f64>,
}

/// An observation that is missing.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Missing {
    /// USB out: ohms from the shield to both contacts.
    OhmsWithUsbOut,
    /// USB in, no cell: volts of both contacts.
    VoltsWithUsbIn,
    /// Board without charger: trace from a contact to the regulator's input.
    TraceToRegulator,
    /// Both wires of the cell's lead.
    BothWiresOfTheLead,
}

/// What stands in the way of connecting a cell.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum PolarityFault {
    /// Observations missing.
    #[error("not all observations are there")]
    Incomplete {
        /// Which.
        missing: Vec<Missing>,
    },
    /// A value that cannot be read on an ohmmeter or voltmeter here.
    #[error("impossible value: {got}")]
    Impossible {
        /// The value.
        got: f64,
    },
    /// Near zero on both contacts.
    #[error(
        "near zero on both contacts: USB was left in, or the contacts are shorted; repeat with USB out"
    )]
    UsbWasLeftIn,
    /// Near zero on neither contact.
    #[error("near zero on neither contact: the negative lead is switched; stop and trace")]
    NegativeSwitched,
    /// The positive contact does not show the charging voltage.
    #[error("{got} V where about 4.2 V were expected: stop and trace")]
    NoChargingVoltage {
        /// The voltage.
        got: f64,
    },
    /// The two observations name different contacts.
    #[error("the two observations contradict each other: stop and repeat both")]
    Contradiction,
    /// The lead does not fit the board.
    #[error(
        "+ of the board is on the other side than + of the lead: swap the contacts, measure again"
    )]
    LeadMirrored,
    /// The two wires of the lead do not show one voltage of opposite sign.
    #[error(
        "the two wires of the lead do not show the same voltage with opposite signs: measure again"
    )]
    LeadUnclear,
}

/// Ohms that count as near zero (leads and contacts included).
const NEAR_ZERO_OHM: f64 = 5.0;
/// Volts that count as about 4.2 V; a charger without a cell may hunt.
const CHARGING_V: core::ops::RangeInclusive<f64> = 3.8..=4.4;

/// Where + is on this specimen, by two observations that agree.
///
/// # Errors
/// What is missing or contradicts.
pub fn positive_contact(check: &PolarityCheck) -> Result<Contact, PolarityFault> {
    let mut missing = Vec::new();
    let ohms = check.shield_to_a_ohm.zip(check.shield_to_b_ohm);
    let volts = check.usb_in_a_v.zip(check.usb_in_b_v);
    let charger = check.has_charger != Some(false);
    if ohms.is_none() {
        missing.push(Missing::OhmsWithUsbOut);
    }
    if charger && volts.is_none() {
        missing.push(Missing::VoltsWithUsbIn);
    }
    if !charger && check.regulator_input_at.is_none() {
        missing.push(Missing::TraceToRegulator);
    }
    // What is there is judged first: a board with USB left in must be told at once.
    let mut negative = None;
    if let Some((a, b)) = ohms {
        if let Some(got) = [a, b].into_iter().find(|r| r.is_nan() || *r < 0.0) {
            return Err(PolarityFault::Impossible { got });
        }
        negative = Some(match (a < NEAR_ZERO_OHM, b < NEAR_ZERO_OHM) {
            (true, true) => return Err(PolarityFault::UsbWasLeftIn),
            (false, false) => return Err(PolarityFault::NegativeSwitched),
            (true, false) => Contact::A,
            (false, true) => Contact::B,
        });
    }
    let (Some(negative), true) = (negative, missing.is_empty()) else {
        return Err(PolarityFault::Incomplete { missing });
    };
    let positive = negative.other();
    if charger {
        let (a, b) = volts.unwrap_or((f64::NAN, f64::NAN));
        if let Some(got) = [a, b].into_iter().find(|v| !v.is_finite()) {
            return Err(PolarityFault::Impossible { got });
        }
        let (at_positive, at_negative) = if positive == Contact::A { (a, b) } else { (b, a) };
        if CHARGING_V.contains(&at_negative) || at_positive < -0.1 {
            return Err(PolarityFault::Contradiction);
        }
        if !CHARGING_V.contains(&at_positive) {
            return Err(PolarityFault::NoChargingVoltage { got: at_positive });
        }
    } else if check.regulator_input_at != Some(positive) {
        return Err(PolarityFault::Contradiction);
    }
    Ok(positive)
}

/// May a cell be entered as connected? Needs [`positive_contact`] and both wires of the lead.
///
/// # Errors
/// What stands in the way.
pub fn may_connect(check: &PolarityCheck) -> Result<Contact, PolarityFault> {
    let positive = positive_contact(check)?;
    let Some((a, b)) = check.lead_at_a_v.zip(check.lead_at_b_v) else {
        return Err(PolarityFault::Incomplete { missing: vec![Missing::BothWiresOfTheLead] });
    };
    // The same cell both ways round: equal and opposite within 0.1 V, and a cell at all.
    if !(a.is_finite() && b.is_finite()) || (a + b).abs() > 0.1 || a.abs() < 0.5 {
        return Err(PolarityFault::LeadUnclear);
    }
    let lead_positive = if a > 0.0 { Contact::A } else { Contact::B };
    if lead_positive == positive { Ok(positive) } else { Err(PolarityFault::LeadMirrored) }
}
