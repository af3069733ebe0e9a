//! Sites and panels.

use overwinter_quantity::{Angle, Irradiation, Length, Ratio, TemperatureCoefficient};

use crate::choice::Kind;
use crate::figure::{
    CurrentFigure, RatioFigure, ResistanceFigure, TemperatureFigure, VoltageFigure,
};
use crate::layer::record;
use crate::types::project::MonthlyTemperature;
use crate::types::supply::Diode;

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
        /// An hourly data file, as a path in the folder.
        pub hourly: Option<String>,
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
