//! Irradiance outside the atmosphere and the day's simple geometry.

use crate::maths::{acos, asin, cos_deg, sin_deg, sincos, tan};
use core::f64::consts::PI;

/// Solar constant of the World Radiation Centre that the textbook correlations were made with, W/m² (Duffie & Beckman, section 1.2).
///
/// Satellites since 2003 find 1361 W/m²; correlations in the clearness index belong to this value.
pub const SOLAR_CONSTANT_W_M2: f64 = 1367.0;

/// Normal irradiance outside the atmosphere, W/m², by Spencer's series: error 0.01 %.
///
/// `E0 = Gsc·(1.00011 + 0.034221 cos B + 0.00128 sin B + 0.000719 cos 2B + 0.000077 sin 2B)`, `B = 2π(n − 1)/365`.
/// Source: J. W. Spencer, Search 2(5), 172, 1971; Duffie & Beckman equation 1.4.1b.
pub fn spencer_w_m2(day_of_year: u16, solar_constant_w_m2: f64) -> f64 {
    let b = 2.0 * PI * (f64::from(day_of_year) - 1.0) / 365.0;
    let (s, c) = sincos(b);
    let (s2, c2) = (2.0 * s * c, c * c - s * s);
    solar_constant_w_m2 * (1.00011 + 0.034221 * c + 0.00128 * s + 0.000719 * c2 + 0.000077 * s2)
}

/// Normal irradiance outside the atmosphere, W/m², by the simple formula `Gsc·(1 + 0.033 cos(360n/365))`: error below 0.4 %.
///
/// Source: Duffie & Beckman equation 1.4.1a.
pub fn simple_w_m2(day_of_year: u16, solar_constant_w_m2: f64) -> f64 {
    solar_constant_w_m2 * (1.0 + 0.033 * cos_deg(360.0 * f64::from(day_of_year) / 365.0))
}

/// Declination, degrees, by Cooper's formula `23.45° sin(360(284 + n)/365)`: error up to 1.5° near the equinoxes.
///
/// Source: P. I. Cooper, Solar Energy 12(3), 333-346, 1969; Duffie & Beckman equation 1.6.1a.
pub fn cooper_declination_deg(day_of_year: u16) -> f64 {
    23.45 * sin_deg(360.0 * (284.0 + f64::from(day_of_year)) / 365.0)
}

/// Sunset hour angle, degrees: `acos(−tan φ tan δ)`; 0 in the polar night, 180 in the polar day.
pub fn sunset_hour_angle_deg(latitude_deg: f64, declination_deg: f64) -> f64 {
    let c = -tan(latitude_deg.to_radians()) * tan(declination_deg.to_radians());
    if c >= 1.0 {
        0.0
    } else if c <= -1.0 {
        180.0
    } else {
        acos(c).to_degrees()
    }
}

/// Daily horizontal irradiation outside the atmosphere, kWh/m².
///
/// `H0 = (24/π)·E0·(cos φ cos δ sin ωs + ωs sin φ sin δ)`. Zero in the polar night. Source: Duffie & Beckman equation 1.10.3.
pub fn daily_kwh_m2(day_of_year: u16, latitude_deg: f64, solar_constant_w_m2: f64) -> f64 {
    let delta = cooper_declination_deg(day_of_year);
    let ws = sunset_hour_angle_deg(latitude_deg, delta);
    let geometry = cos_deg(latitude_deg) * cos_deg(delta) * sin_deg(ws)
        + ws.to_radians() * sin_deg(latitude_deg) * sin_deg(delta);
    (24.0 / PI * simple_w_m2(day_of_year, solar_constant_w_m2) * geometry / 1000.0).max(0.0)
}

/// Mean of [`daily_kwh_m2`] over the days of a month (0…11) of a common year, kWh/m².
pub fn monthly_mean_kwh_m2(month: usize, latitude_deg: f64, solar_constant_w_m2: f64) -> f64 {
    let first = crate::time::DAYS_BEFORE_MONTH[month] + 1;
    let days = u16::from(crate::time::DAYS_IN_MONTH[month]);
    (first..first + days).map(|n| daily_kwh_m2(n, latitude_deg, solar_constant_w_m2)).sum::<f64>()
        / f64::from(days)
}

/// Horizontal irradiation outside the atmosphere between two hour angles (degrees), kWh/m². Both must lie between sunrise and sunset.
///
/// Source: Duffie & Beckman equation 1.10.4.
pub fn between_hour_angles_kwh_m2(
    day_of_year: u16,
    latitude_deg: f64,
    from_deg: f64,
    to_deg: f64,
    solar_constant_w_m2: f64,
) -> f64 {
    let delta = cooper_declination_deg(day_of_year);
    12.0 / PI
        * simple_w_m2(day_of_year, solar_constant_w_m2)
        * (cos_deg(latitude_deg) * cos_deg(delta) * (sin_deg(to_deg) - sin_deg(from_deg))
            + (to_deg - from_deg).to_radians() * sin_deg(latitude_deg) * sin_deg(delta))
        / 1000.0
}

/// Equation of time, minutes, by Spencer's series: error about half a minute.
///
/// Source: J. W. Spencer 1971; Duffie & Beckman equation 1.5.3.
pub fn equation_of_time_min(day_of_year: u16) -> f64 {
    let b = 2.0 * PI * (f64::from(day_of_year) - 1.0) / 365.0;
    let (s, c) = sincos(b);
    let (s2, c2) = (2.0 * s * c, c * c - s * s);
    229.2 * (0.000075 + 0.001868 * c - 0.032077 * s - 0.014615 * c2 - 0.04089 * s2)
}

/// Zenith angle and azimuth (clockwise from north) of the sun from declination and hour angle, degrees.
///
/// Source: Duffie & Beckman equations 1.6.5 and 1.6.6.
pub fn zenith_and_azimuth_deg(
    latitude_deg: f64,
    declination_deg: f64,
    hour_angle_deg: f64,
) -> (f64, f64) {
    let (sin_lat, cos_lat) = sincos(latitude_deg.to_radians());
    let (sin_d, cos_d) = sincos(declination_deg.to_radians());
    let (sin_h, cos_h) = sincos(hour_angle_deg.to_radians());
    let up = sin_lat * sin_d + cos_lat * cos_d * cos_h;
    let north = cos_lat * sin_d - sin_lat * cos_d * cos_h;
    let east = -cos_d * sin_h;
    (
        90.0 - asin(up.clamp(-1.0, 1.0)).to_degrees(),
        crate::maths::wrap_deg(libm::atan2(east, north).to_degrees()),
    )
}
