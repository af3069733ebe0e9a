//! Sites and panels.

use overwinter_quantity::{
    Angle, Duration, Irradiation, Length, Ratio, TemperatureCoefficient, TemperatureDifference,
};

use crate::choice::{Kind, YesNo, choices};
use crate::date::Date;
use crate::figure::{
    CurrentFigure, PowerFigure, RatioFigure, ResistanceFigure, TemperatureFigure, VoltageFigure,
};
use crate::layer::{record, sparse};
use crate::reader::read_variants;
use crate::seen::Trait;
use crate::types::project::MonthlyTemperature;
use crate::types::supply::Diode;
use crate::walk::walk_variants;

choices! {
    /// The form of a weather file.
    pub enum WeatherForm: "a form of a weather file" {
        /// A table with a separator between its columns.
        Table = "table",
        /// The fixed-column layout of typical years of 1995.
        Tmy2 = "TMY2",
        /// The comma-separated layout of typical years of 2008.
        Tmy3 = "TMY3",
    }

    /// How dates are written in a weather file.
    pub enum DateOrder: "an order of dates" {
        /// 2025-06-21.
        YearMonthDay = "year month day",
        /// 21.06.2025.
        DayMonthYear = "day month year",
        /// 06/21/2025.
        MonthDayYear = "month day year",
    }

    /// Which instant of its interval a stamp names.
    pub enum StampAt: "an instant of the interval" {
        /// Its start.
        Start = "start",
        /// Its middle.
        Middle = "middle",
        /// Its end.
        End = "end",
    }

    /// Unit of the light in a weather file.
    pub enum LightUnit: "a unit of light" {
        /// Mean power.
        WattPerSquareMetre = "W/m²",
        /// In the interval.
        WattHourPerSquareMetre = "Wh/m²",
        /// In the interval.
        KilowattHourPerSquareMetre = "kWh/m²",
        /// In the interval.
        JoulePerSquareCentimetre = "J/cm²",
        /// In the interval.
        KilojoulePerSquareMetre = "kJ/m²",
        /// In the interval.
        MegajoulePerSquareMetre = "MJ/m²",
    }
}

sparse! {
    /// How the weather file is laid out. Whatever is left out is read off the file where it can be, and told.
    pub struct WeatherLayout {
        /// Its form; told from its first lines if left out.
        pub form: Option<WeatherForm>,
        /// Between the columns: `,`, `;` or a tab.
        pub separator: Option<String>,
        /// Numbers have a decimal comma.
        pub decimal_comma: Option<YesNo>,
        /// Lines before the header.
        pub skip_lines: Option<u32>,
        /// Column of the time, or of the time of day where `date` names the other.
        pub time: Option<String>,
        /// Column of the date, where it stands apart.
        pub date: Option<String>,
        /// No column tells the time: the records follow each other in equal steps from midnight of this day.
        pub counted_from: Option<Date>,
        /// Those steps, an hour if left out.
        pub step: Option<Duration>,
        /// How dates are written.
        pub date_order: Option<DateOrder>,
        /// The clock's hours ahead of universal time in winter, such as "+01:00".
        pub clock: Option<String>,
        /// The clock goes an hour ahead in summer.
        pub daylight_saving: Option<YesNo>,
        /// Which instant of its interval a stamp names.
        pub stamp: Option<StampAt>,
        /// Unit of the light.
        pub unit: Option<LightUnit>,
        /// Column of the light on the horizontal.
        pub global: Option<String>,
        /// Column of the beam at normal incidence.
        pub beam: Option<String>,
        /// Column of the diffuse light.
        pub diffuse: Option<String>,
        /// Column of the air's temperature, in °C.
        pub air: Option<String>,
        /// Marks of a missing value, besides the usual ones.
        pub missing: Vec<String>,
        /// Gaps are filled with the same hour of the nearest day.
        pub fill_gaps: Option<YesNo>,
    }
}

record! {
    /// A place.
    pub struct Site {
        /// Name, unique among sites.
        pub name: String,
        /// What it is, in words.
        pub about: Option<String>,
        /// Kind of the figures that state none of their own.
        pub kind: Option<Kind>,
        /// Source of the figures that state none of their own.
        pub source: Option<String>,
        /// Latitude, north positive: `47.1° N`.
        pub latitude: Angle,
        /// Longitude, east positive: `8.5° E`.
        pub longitude: Option<Angle>,
        /// Height above sea level.
        pub altitude: Option<Length>,
        /// Twelve monthly mean horizontal irradiations, January first.
        #[serde(default)]
        pub irradiation: Vec<Irradiation>,
        /// Standard deviation of a month's mean from year to year, as a share of it.
        pub between_years: Option<RatioFigure>,
        /// Correlation of one day's clearness with the next.
        pub day_to_day: Option<Ratio>,
        /// The skyline; linear between the points, closed round the horizon.
        #[serde(default)]
        pub skyline: Vec<SkylinePoint>,
        /// Share of the beam that gets through in each month, January first, instead of a skyline.
        pub beam_share: Option<Vec<Ratio>>,
        /// Share of the sky seen, instead of a skyline.
        pub sky_view: Option<Ratio>,
        /// Share of light that the ground throws back.
        pub ground_reflection: Option<Ratio>,
        /// Days a month on which snow covers the panel, January first.
        pub snow_days: Option<Vec<u8>>,
        /// Air temperature.
        pub temperature: Option<MonthlyTemperature>,
        /// An hourly data file, as a path in the folder, such as `weather/hut.csv`.
        pub hourly: Option<String>,
        /// How it is laid out.
        pub hourly_layout: Option<WeatherLayout>,
    }

    /// One point of the skyline.
    pub struct SkylinePoint {
        /// Bearing, clockwise from north.
        pub bearing: Angle,
        /// Elevation of the skyline there.
        pub elevation: Angle,
    }

    /// How a panel is mounted.
    pub struct Mounting {
        /// Tilt from the horizontal.
        pub tilt: Angle,
        /// Bearing that it faces, clockwise from north.
        pub azimuth: Option<Angle>,
        /// Share of light that gets through the dirt.
        pub soiling: Option<Ratio>,
        /// How much of one cell of the panel's string a fixed thing shades in each month, January first: the string carries no more than
        /// its weakest cell.
        pub one_cell_shade: Option<Vec<Ratio>>,
        /// What lies between panel and board.
        pub through: Option<Through>,
        /// How much warmer the cell is than the air outside, as a mean.
        pub cell_above_air: Option<TemperatureDifference>,
    }

    /// A converter that holds the panel at its maximum power and charges the cell itself.
    pub struct Converter {
        /// Power out over power in, tracking included.
        pub efficiency: Option<RatioFigure>,
        /// What it draws from the cell, day and night.
        pub own_current: Option<CurrentFigure>,
        /// Least power of the panel at which it works.
        pub least_power: Option<PowerFigure>,
        /// Its charge current.
        pub charge_current: Option<CurrentFigure>,
        /// The voltage it charges to.
        pub charge_voltage: Option<VoltageFigure>,
        /// It has a temperature input for the cell and uses it.
        #[serde(default)]
        pub senses_temperature: Trait,
    }

    /// A panel by its label.
    pub struct Panel {
        /// Name, unique among panels.
        pub name: String,
        /// What it is, in words.
        pub about: Option<String>,
        /// Kind of the figures that state none of their own.
        pub kind: Option<Kind>,
        /// Source of the figures that state none of their own.
        pub source: Option<String>,
        /// Voltage at the maximum-power point, 1000 W/m², 25 °C.
        pub maximum_power_voltage: VoltageFigure,
        /// Current at the maximum-power point.
        pub maximum_power_current: CurrentFigure,
        /// Open-circuit voltage.
        pub open_circuit_voltage: Option<VoltageFigure>,
        /// Short-circuit current.
        pub short_circuit_current: Option<CurrentFigure>,
        /// Cells in series.
        pub cells_in_series: Option<u32>,
        /// Change of the open-circuit voltage with temperature.
        pub voltage_coefficient: Option<TemperatureCoefficient>,
        /// Change of the short-circuit current with temperature.
        pub current_coefficient: Option<TemperatureCoefficient>,
        /// Change of the maximum power with temperature.
        pub power_coefficient: Option<TemperatureCoefficient>,
        /// Cell temperature at 800 W/m² and 20 °C of air.
        pub nominal_temperature: Option<TemperatureFigure>,
        /// A blocking diode built in.
        pub blocking_diode: Option<Diode>,
        /// Resistance of its lead.
        pub lead_resistance: Option<ResistanceFigure>,
        /// Length.
        pub length: Option<Length>,
        /// Width.
        pub width: Option<Length>,
    }
}

/// What lies between panel and board.
#[derive(Clone, Debug, PartialEq, serde::Serialize, schemars::JsonSchema)]
#[serde(rename_all = "snake_case")]
#[schemars(deny_unknown_fields)]
pub enum Through {
    /// Nothing: the panel's lead goes to the charger's input.
    Nothing,
    /// A diode.
    Diode(Diode),
    /// A converter of its own, past the board's charger straight to the cell.
    Converter(Box<Converter>),
}

read_variants!(Through {
    blank: Self::Nothing;
    alone: Nothing = "nothing";
    filled: Diode = "diode", Converter = "converter",
});
walk_variants!(Through { Diode Converter });
