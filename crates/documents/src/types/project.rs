//! A project: its load, cell, climate, needs and wishes.

use overwinter_quantity::{
    Current, Duration, Length, Money, Ratio, Temperature, TemperatureDifference,
};

use crate::choice::{Kind, choices};
use crate::date::Date;
use crate::figure::{ChargeFigure, CurrentFigure, DurationFigure, RatioFigure};
use crate::layer::{record, sparse};
use crate::reader::read_variants;
use crate::types::board::Traits;
use crate::types::sun::Mounting;
use crate::walk::walk_variants;

choices! {
    /// Something a board can have more or less of.
    pub enum Aspect: "an aspect" {
        /// Run time on the project's cell.
        Life = "life",
        /// Sleep current.
        SleepCurrent = "sleep current",
        /// Price.
        Price = "price",
        /// Area of the board.
        Size = "size",
        /// Mass of the board.
        Mass = "mass",
        /// Free breadboard holes.
        FreeHoles = "free holes",
        /// Pins brought out.
        Pins = "pins",
        /// Minutes of bench work for reworks.
        Work = "work",
        /// Charger current.
        ChargerCurrent = "charger current",
        /// Resets a year.
        Resets = "resets",
    }

    /// A month.
    pub enum Month: "a month" {
        /// January.
        January = "January",
        /// February.
        February = "February",
        /// March.
        March = "March",
        /// April.
        April = "April",
        /// May.
        May = "May",
        /// June.
        June = "June",
        /// July.
        July = "July",
        /// August.
        August = "August",
        /// September.
        September = "September",
        /// October.
        October = "October",
        /// November.
        November = "November",
        /// December.
        December = "December",
    }
}

record! {
    /// A project.
    pub struct Project {
        /// Name, unique among projects.
        pub name: String,
        /// What it is, in words.
        pub about: Option<String>,
        /// Kind of the figures that state none of their own.
        pub kind: Option<Kind>,
        /// Source of the figures that state none of their own.
        pub source: Option<String>,
        /// Boards in question; every board of the folder if left out.
        pub boards: Option<Vec<String>>,
        /// The cell: a name of `cells/`.
        pub cell: String,
        /// Other cells to compare.
        #[serde(default)]
        pub other_cells: Vec<String>,
        /// When it starts.
        pub start: Option<Date>,
        /// The month it starts, where no date is known.
        pub start_month: Option<Month>,
        /// Temperature of the cell; the site's if left out and a site is named.
        pub temperature: Option<Climate>,
        /// The sleep mode, in words, to match with readings.
        pub sleep_mode: Option<String>,
        /// What the module draws asleep in this project, where it differs from the reading.
        pub sleep_current: Option<CurrentFigure>,
        /// What the nodes do while awake.
        pub activities: Vec<Activity>,
        /// How long it should last.
        pub target_life: Option<Duration>,
        /// The smallest difference in run time the person cares about.
        pub smallest_difference: Option<Duration>,
        /// How often somebody comes by.
        pub visit_every: Option<Duration>,
        /// How many nodes.
        pub nodes: Option<u32>,
        /// What a board must have or do.
        #[serde(default)]
        pub needs: Needs,
        /// What is liked, most important first.
        #[serde(default)]
        pub wishes: Vec<Wish>,
        /// The place: a name of `sites/`.
        pub site: Option<String>,
        /// The panel: a name of `panels/`.
        pub panel: Option<String>,
        /// How the panel is mounted.
        pub mounting: Option<Mounting>,
        /// Age of the cell for which the balance of sun and load must hold: the last winter counts, not the first.
        pub cell_age: Option<Duration>,
        /// What is believed of boards in general before several were compared.
        pub prior: Option<Prior>,
    }

    /// A belief that acts where the folder has too few specimens, with its reason.
    pub struct Prior {
        /// Spread of the sleep current between specimens of a board, as one standard deviation.
        pub specimen_spread: Ratio,
        /// Why so much, in words.
        pub reason: String,
    }

    /// Something done again and again.
    pub struct Activity {
        /// Name, unique within the project.
        pub name: String,
        /// Its interval.
        pub every: Duration,
        /// Charge at the module for each time, with `duration`; or else `segments`.
        pub charge: Option<ChargeFigure>,
        /// How long it takes each time.
        pub duration: Option<DurationFigure>,
        /// Segments in order, instead of `charge` and `duration`.
        #[serde(default)]
        pub segments: Vec<Segment>,
        /// The highest current, which matters for the rail.
        pub peak: Option<Peak>,
        /// Factor on the charge for retries over a bad link, 1 if left out.
        pub retries: Option<RatioFigure>,
    }

    /// A stretch of constant current.
    pub struct Segment {
        /// Name, in words.
        pub name: Option<String>,
        /// How long.
        pub duration: DurationFigure,
        /// Current at the rail.
        pub current: CurrentFigure,
        /// A peak inside it.
        pub peak: Option<Peak>,
    }

    /// A short peak at the rail.
    pub struct Peak {
        /// Its current.
        pub current: CurrentFigure,
        /// How long it lasts; unknown counts as long.
        pub duration: Option<DurationFigure>,
    }

    /// A life with a probability.
    pub struct LifeNeed {
        /// At least this long.
        pub at_least: Duration,
        /// With at least this probability.
        pub probability: Ratio,
    }

    /// How often it may go dark.
    pub struct OutageNeed {
        /// At most this share of years with any outage.
        pub years_at_most: Ratio,
    }

    /// Twelve monthly mean temperatures, January first.
    pub struct MonthlyTemperature {
        /// The means.
        pub mean: Vec<Temperature>,
        /// Highest minus lowest within a day.
        pub daily_swing: Option<TemperatureDifference>,
        /// Standard deviation of a day's mean about the season.
        pub day_spread: Option<TemperatureDifference>,
        /// Correlation of one day's departure from the season with the next day's.
        pub day_to_day: Option<Ratio>,
        /// Correlation of a day's departure from the season with its clearness, −1 to 1.
        pub clearness_correlation: Option<Box<ClearnessCorrelation>>,
    }

    /// How a day's temperature goes with its light; between the two it follows the season.
    pub struct ClearnessCorrelation {
        /// At midwinter: negative where clear days are cold.
        pub winter: Ratio,
        /// At midsummer: positive where clear days are warm.
        pub summer: Ratio,
    }
}

sparse! {
    /// Hard needs. Everything left out is not needed.
    pub struct Needs {
        /// Traits as they must be; only `"yes"`, `"no"` and the like, nothing inferred.
        pub traits: Traits,
        /// How long it must last.
        pub life: Option<LifeNeed>,
        /// How often it may go dark, with the project's site and panel.
        pub outage: Option<OutageNeed>,
        /// The charger's current must not exceed this.
        pub charger_current_at_most: Option<Current>,
        /// Free breadboard holes.
        pub free_holes_at_least: Option<u32>,
        /// Pins brought out.
        pub pins_at_least: Option<u32>,
        /// Price of one board.
        pub price_at_most: Option<Money>,
        /// Length of the board.
        pub length_at_most: Option<Length>,
        /// Width of the board.
        pub width_at_most: Option<Length>,
        /// Sleep current.
        pub sleep_current_at_most: Option<Current>,
    }
}

/// One wish.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize, schemars::JsonSchema)]
#[serde(rename_all = "snake_case")]
#[schemars(deny_unknown_fields)]
pub enum Wish {
    /// As little as possible.
    Minimise(Aspect),
    /// As much as possible.
    Maximise(Aspect),
}

impl crate::walk::Walk for Wish {}

read_variants!(Wish {
    blank: Self::Minimise(Aspect::Life);
    alone:;
    filled: Minimise = "minimise", Maximise = "maximise",
});

/// The temperature over the year.
#[allow(clippy::large_enum_variant, reason = "there is one of it in a project")]
#[derive(Clone, Debug, PartialEq, serde::Serialize, schemars::JsonSchema)]
#[serde(rename_all = "snake_case")]
#[schemars(deny_unknown_fields)]
pub enum Climate {
    /// The same all year.
    Constant(Temperature),
    /// Monthly means with a daily swing.
    Monthly(MonthlyTemperature),
}

read_variants!(Climate {
    blank: Self::Constant(Temperature::from_si(f64::NAN));
    alone:;
    filled: Constant = "constant", Monthly = "monthly",
});
walk_variants!(Climate { Constant Monthly });
