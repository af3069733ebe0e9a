//! The part of a synthetic year that is the same every year: for each hour of each day, the sun, the panel's plane and the skyline.
//!
//! Hours are hours of apparent solar time. A day's irradiation is spread over its hours by M. Collares-Pereira and A. Rabl (Solar Energy
//! 22(2), 155-164, 1979), renormalised so that the hours add up to the day (the printed formula's sum is off by −0.6 to +0.8 %).

use super::climate::{DAYS, Day};
use crate::diffuse::hourly_fraction;
use crate::extraterrestrial::{
    SOLAR_CONSTANT_W_M2, daily_kwh_m2, spencer_w_m2, sunset_hour_angle_deg, zenith_and_azimuth_deg,
};
use crate::maths::{cos_deg, sin_deg, sincos};
use crate::plane::Site;
use crate::position::geocentric;
use crate::time::{USUAL_DELTA_T_S, days_from_civil, month_of_day};
use crate::transposition::{Plane, Sky};
use core::f64::consts::PI;

/// Share of the day's global irradiation in the hour round a solar hour angle, 1/h; zero beyond sunset.
///
/// `r_t = (π/24)(a + b cos ω)(cos ω − cos ωs)/(sin ωs − ωs cos ωs)`, `a = 0.409 + 0.5016 sin(ωs − 60°)`,
/// `b = 0.6609 − 0.4767 sin(ωs − 60°)`. Source: Collares-Pereira & Rabl 1979; Duffie & Beckman equation 2.13.2.
pub fn hourly_share(hour_angle_deg: f64, sunset_hour_angle_deg: f64) -> f64 {
    let ws = sunset_hour_angle_deg;
    if hour_angle_deg.abs() >= ws || ws <= 0.0 {
        return 0.0;
    }
    let s = sin_deg(ws - 60.0);
    let (a, b) = (0.409 + 0.5016 * s, 0.6609 - 0.4767 * s);
    let c = cos_deg(hour_angle_deg);
    (PI / 24.0 * (a + b * c) * (c - cos_deg(ws)) / (sin_deg(ws) - ws.to_radians() * cos_deg(ws)))
        .max(0.0)
}

/// Share of the day's diffuse irradiation in the hour round a solar hour angle, 1/h. B. Y. H. Liu and R. C. Jordan, Solar Energy 4(3), 1-19, 1960.
pub fn hourly_diffuse_share(hour_angle_deg: f64, sunset_hour_angle_deg: f64) -> f64 {
    let ws = sunset_hour_angle_deg;
    if hour_angle_deg.abs() >= ws || ws <= 0.0 {
        return 0.0;
    }
    PI / 24.0 * (cos_deg(hour_angle_deg) - cos_deg(ws))
        / (sin_deg(ws) - ws.to_radians() * cos_deg(ws))
}

/// What one hour of one day of the year is, whatever the weather.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct HourGeometry {
    /// Share of the day's global irradiation; the day's hours add up to 1.
    pub share: f32,
    /// Mean horizontal irradiance outside the atmosphere in the hour, W/m².
    pub extraterrestrial_w_m2: f32,
    /// Beam on the plane that clears skyline and shade, per horizontal beam.
    pub beam_ratio: f32,
}

/// A year of hours on one plane at one site.
#[derive(Debug, Clone, PartialEq)]
pub struct YearGeometry {
    hours: Vec<HourGeometry>,
    day_kwh_m2: Vec<f64>,
    sky_factor: f64,
    ground_factor: f64,
    soiling: f64,
    snow_chance: [f64; 12],
    isotropic: bool,
}

/// Parts of an hour over which the plane and the skyline are averaged.
const PARTS: u32 = 6;

impl YearGeometry {
    /// The geometry of a site and a plane. [`Sky::Perez`] needs the air's state hour by hour and is taken as Hay & Davies here.
    pub fn new(site: &Site, plane: &Plane) -> Self {
        let latitude = site.observer.latitude_deg;
        let normal = plane.normal();
        let mut hours = Vec::with_capacity(DAYS * 24);
        let mut day_kwh_m2 = Vec::with_capacity(DAYS);
        let start = days_from_civil(2025, 1, 1) as f64 * 86400.0;
        for day in 0..DAYS {
            let number = day as u16 + 1;
            let noon = start + day as f64 * 86400.0 + 43200.0 - site.observer.longitude_deg * 240.0;
            let declination = geocentric(noon, USUAL_DELTA_T_S).declination_deg;
            let ws = sunset_hour_angle_deg(latitude, declination);
            let e0 = spencer_w_m2(number, SOLAR_CONSTANT_W_M2);
            let site_share = site.beam_share[month_of_day(number)]
                * (1.0 - site.one_cell_shade[month_of_day(number)]);
            let first = hours.len();
            let mut total_share = 0.0;
            for hour in 0..24 {
                let (mut share, mut up, mut on_plane) = (0.0, 0.0, 0.0);
                for part in 0..PARTS {
                    let at = f64::from(hour) + (f64::from(part) + 0.5) / f64::from(PARTS);
                    let hour_angle = 15.0 * (at - 12.0);
                    let (zenith, azimuth) =
                        zenith_and_azimuth_deg(latitude, declination, hour_angle);
                    let (sin_z, cos_z) = sincos(zenith.to_radians());
                    if cos_z <= 0.0 {
                        continue;
                    }
                    share += hourly_share(hour_angle, ws);
                    up += cos_z;
                    if site.skyline.shows(azimuth, 90.0 - zenith) {
                        let (sin_a, cos_a) = sincos(azimuth.to_radians());
                        on_plane += (sin_z * sin_a * normal[0]
                            + sin_z * cos_a * normal[1]
                            + cos_z * normal[2])
                            .max(0.0);
                    }
                }
                total_share += share;
                hours.push(HourGeometry {
                    share: share as f32,
                    extraterrestrial_w_m2: (e0 * up / f64::from(PARTS)) as f32,
                    beam_ratio: if up > 0.0 { (on_plane / up * site_share) as f32 } else { 0.0 },
                });
            }
            if total_share > 0.0 {
                for hour in &mut hours[first..] {
                    hour.share = (f64::from(hour.share) / total_share) as f32;
                }
            }
            // The day's clearness was made with the textbook's irradiation (Cooper's declination, up to 4 % off in spring and autumn): hours and
            // day are brought to the same figure, so that monthly means come out as they were typed in.
            let summed: f64 =
                hours[first..].iter().map(|h| f64::from(h.extraterrestrial_w_m2)).sum();
            let day_wh = 1000.0 * daily_kwh_m2(number, latitude, SOLAR_CONSTANT_W_M2);
            if summed > 0.0 {
                for hour in &mut hours[first..] {
                    hour.extraterrestrial_w_m2 =
                        (f64::from(hour.extraterrestrial_w_m2) * day_wh / summed) as f32;
                }
            }
            day_kwh_m2.push(if summed > 0.0 { day_wh / 1000.0 } else { 0.0 });
        }
        let cos_tilt = cos_deg(plane.tilt_deg);
        Self {
            hours,
            day_kwh_m2,
            sky_factor: 0.5
                * (1.0 + cos_tilt)
                * site.sky_view.unwrap_or_else(|| site.skyline.sky_view(plane)),
            ground_factor: 0.5 * (1.0 - cos_tilt) * site.albedo,
            soiling: site.soiling,
            snow_chance: core::array::from_fn(|m| {
                site.snow_days[m] / f64::from(crate::time::DAYS_IN_MONTH[m])
            }),
            isotropic: site.sky == Sky::Isotropic,
        }
    }

    /// Horizontal irradiation outside the atmosphere of a day (0…364), kWh/m².
    pub fn day_kwh_m2(&self, day_index: usize) -> f64 {
        self.day_kwh_m2[day_index]
    }

    /// The hours of a day (0…364).
    pub fn hours(&self, day_index: usize) -> &[HourGeometry] {
        &self.hours[day_index * 24..day_index * 24 + 24]
    }

    /// Mean irradiance on the panel in each hour of a day (0…364), W/m², after skyline, soiling and snow.
    pub fn plane_day(&self, day_index: usize, weather: &Day, out: &mut [f32; 24]) {
        let day_wh = weather.clearness * self.day_kwh_m2[day_index] * 1000.0;
        let month = month_of_day(day_index as u16 + 1);
        if weather.chance < self.snow_chance[month] || day_wh <= 0.0 {
            *out = [0.0; 24];
            return;
        }
        for (hour, out) in self.hours(day_index).iter().zip(out) {
            let global = day_wh * f64::from(hour.share);
            let outside = f64::from(hour.extraterrestrial_w_m2);
            if global <= 0.0 || outside <= 0.0 {
                *out = 0.0;
                continue;
            }
            let diffuse = hourly_fraction((global / outside).min(1.0)) * global;
            let beam = global - diffuse;
            let ratio = f64::from(hour.beam_ratio);
            let sky = if self.isotropic {
                diffuse * self.sky_factor
            } else {
                let anisotropy = (beam / outside).min(1.0);
                diffuse * (anisotropy * ratio + (1.0 - anisotropy) * self.sky_factor)
            };
            *out = ((beam * ratio + sky + global * self.ground_factor) * self.soiling) as f32;
        }
    }

    /// Air temperature in an hour (0…23) of a day, °C: a cosine that peaks at 15 h solar time.
    #[inline]
    pub fn air_c(weather: &Day, hour: usize) -> f64 {
        weather.mean_c + 0.5 * weather.range_k * DAILY_WAVE[hour]
    }
}

/// cos(2π(h + 0.5 − 15)/24), so that no cosine is taken in the inner loop.
const DAILY_WAVE: [f64; 24] = [
    -0.7933533402912352,
    -0.9238795325112867,
    -0.9914448613738104,
    -0.9914448613738104,
    -0.9238795325112867,
    -0.7933533402912352,
    -0.6087614290087207,
    -0.3826834323650898,
    -0.13052619222005157,
    0.13052619222005157,
    0.3826834323650898,
    0.6087614290087207,
    0.7933533402912352,
    0.9238795325112867,
    0.9914448613738104,
    0.9914448613738104,
    0.9238795325112867,
    0.7933533402912352,
    0.6087614290087207,
    0.3826834323650898,
    0.13052619222005157,
    -0.13052619222005157,
    -0.3826834323650898,
    -0.6087614290087207,
];

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_wave_is_the_cosine() {
        for (hour, value) in DAILY_WAVE.iter().enumerate() {
            let exact = libm::cos(core::f64::consts::TAU * (hour as f64 + 0.5 - 15.0) / 24.0);
            assert!((value - exact).abs() < 1e-12, "{hour}");
        }
        assert!(DAILY_WAVE.iter().sum::<f64>().abs() < 1e-12);
    }
}
