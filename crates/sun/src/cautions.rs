//! What belongs on the screen beside every solar figure.

use crate::balance::summary::Summary;
use crate::charger::{ChargerCaution, Reach, Source};
use core::fmt;

/// A caution, with the number that called for it.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
pub enum Caution {
    /// Every forecast.
    Estimate,
    /// From the charger.
    Charger(ChargerCaution),
    /// Charge went into a cell outside its window.
    FrostCharging {
        /// Hours in a mean year.
        hours_per_year: f64,
    },
    /// The cell is full and warm for long: it ages fast.
    FullAndHot {
        /// Hours in a mean year, full and above 30 °C.
        hours_per_year: f64,
    },
    /// The cell floats full for most of the year.
    FloatsFull {
        /// Share of the time.
        share: f64,
    },
    /// The panel cannot do its work at this charger.
    Reach(Reach),
    /// Temperatures outside the tables were met.
    OutsideTables {
        /// Hours in a mean year.
        hours_per_year: f64,
    },
    /// Lost inputs were counted on weather of an hour or longer.
    InputsLostLowerBound,
    /// The enclosure.
    Enclosure,
    /// Where one has to climb or stand over water.
    HeightsAndWater,
    /// Local rules.
    LocalRules,
}

impl fmt::Display for Caution {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Caution::Estimate => f.write_str(
                "An estimate, not a safety function. Where it differs from the cell's data sheet, a local code or a licensed person, they win.",
            ),
            Caution::Charger(ChargerCaution::NothingPreventsFrostCharging) => f.write_str(
                "The charger has no temperature input: nothing prevents charging in the frost. A lithium-ion cell must not be charged below 0 °C; the forecast is no protection.",
            ),
            Caution::Charger(ChargerCaution::LoadPreventsTermination) => f.write_str(
                "The load draws more than the charger's termination current: the charge never ends and the cell is held at full voltage.",
            ),
            Caution::Charger(ChargerCaution::TimerMayEndEarly) => {
                f.write_str("The safety timer can end the charge before the cell is full.")
            }
            Caution::Charger(ChargerCaution::EmptyCellMayNotRecover) => f.write_str(
                "An emptied cell may not come back: the panel gives less than the charger's set current, its voltage falls to the cell's, and that is below the charger's threshold. Lower the set current, or take a charger that holds its input voltage.",
            ),
            Caution::Charger(ChargerCaution::Chatters) => f.write_str(
                "At dawn and dusk the panel sags below the charger's threshold: it starts and stops again and again.",
            ),
            Caution::FrostCharging { hours_per_year } => write!(
                f,
                "In a mean year charge flows into the cell outside its temperature window for {hours_per_year:.0} h: a ruined cell."
            ),
            Caution::FullAndHot { hours_per_year } => write!(
                f,
                "The cell is full and above 30 °C for {hours_per_year:.0} h a year, where it ages fastest: shade it, or charge to a lower voltage."
            ),
            Caution::FloatsFull { share } => write!(
                f,
                "The cell is full {:.0} % of the time; floating at 4.0 to 4.1 V ages it less.",
                100.0 * share
            ),
            Caution::Reach(Reach::Never { have_v, need_v }) => write!(
                f,
                "The panel never reaches the charger's minimum: {have_v:.2} V open-circuit in full sun, {need_v:.2} V needed. It will not charge."
            ),
            Caution::Reach(Reach::NotFullWhenHot { have_v, need_v }) => write!(
                f,
                "Hot, the panel has {have_v:.2} V at maximum power and {need_v:.2} V are needed: it cannot fill the cell in summer sun."
            ),
            Caution::Reach(Reach::Fills) => f.write_str("The panel reaches the cell's full voltage, cold and hot."),
            Caution::OutsideTables { hours_per_year } => write!(
                f,
                "{hours_per_year:.0} h a year lie outside −50 to 90 °C and were computed at the table's edge."
            ),
            Caution::InputsLostLowerBound => f.write_str(
                "Inputs lost are counted on hourly weather: clouds within the hour add to them.",
            ),
            Caution::Enclosure => f.write_str(
                "A sealed enclosure needs pressure relief; keep the cell out of the sun, strain-relieve the leads, fuse near the cell, no loose cell with metal.",
            ),
            Caution::HeightsAndWater => {
                f.write_str("Climbing, water, road and bridge sites: permission, and someone competent with you.")
            }
            Caution::LocalRules => f.write_str(
                "Local rules on batteries, fixed wiring and transport hold; ask the carrier before shipping, recycle old cells.",
            ),
        }
    }
}

/// Every caution that a source and its balance call for, the most pressing first.
pub fn cautions(source: &Source, mean_load_a: f64, summary: &Summary) -> Vec<Caution> {
    let mut list = Vec::new();
    match source.reach(-10.0, 60.0) {
        Reach::Fills => {}
        other => list.push(Caution::Reach(other)),
    }
    if summary.frost_charge_hours_per_year > 0.0 {
        list.push(Caution::FrostCharging { hours_per_year: summary.frost_charge_hours_per_year });
    }
    list.extend(source.charger.cautions(mean_load_a).into_iter().map(Caution::Charger));
    if !source.recovers_empty_cell() {
        list.push(Caution::Charger(ChargerCaution::EmptyCellMayNotRecover));
    }
    // Two a day would be dusk and one cloud: more than that is chatter.
    if summary.chatter_events_per_year > 730.0 {
        list.push(Caution::Charger(ChargerCaution::Chatters));
    }
    if summary.hot_full_hours_per_year > 100.0 {
        list.push(Caution::FullAndHot { hours_per_year: summary.hot_full_hours_per_year });
    }
    if summary.share_full > 0.6 {
        list.push(Caution::FloatsFull { share: summary.share_full });
    }
    if summary.outside_table_hours_per_year > 0.0 {
        list.push(Caution::OutsideTables { hours_per_year: summary.outside_table_hours_per_year });
    }
    list.extend([
        Caution::InputsLostLowerBound,
        Caution::Enclosure,
        Caution::HeightsAndWater,
        Caution::LocalRules,
        Caution::Estimate,
    ]);
    list
}
