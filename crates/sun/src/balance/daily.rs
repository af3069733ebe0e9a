//! The daily bank: the classical sizing model, one step a day.
//!
//! `Q ← min(Q_max, Q·(1 − k) + charge − load)`; an outage day is a day on which the bank would go below zero. Charge = panel current at full sun
//! × irradiation on the plane in kWh/m². Good for banks of three days and more and for a quick look; the hourly balance ([`super::step`])
//! knows voltage, charger and temperature. Common practice, no source.

use crate::diffuse::daily_fraction;
use crate::extraterrestrial::{
    SOLAR_CONSTANT_W_M2, cooper_declination_deg, daily_kwh_m2, sunset_hour_angle_deg,
};
use crate::plane::{Site, klein_beam_ratio};
use crate::synthetic::climate::Climate;
use crate::time::{DAYS_IN_MONTH, month_of_day};
use crate::transposition::Plane;

/// The daily bank's figures.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DailyBank {
    /// Current in full sun (1000 W/m²) into the bank, A.
    pub panel_current_a: f64,
    /// Usable capacity, C.
    pub usable_c: f64,
    /// Load, C a day.
    pub load_c_per_day: f64,
    /// Share lost a day by self-discharge.
    pub self_discharge_per_day: f64,
    /// No charge on days whose mean air temperature plus `cell_above_air_k` is below this, °C; `None`: charges in the frost.
    pub least_charge_c: Option<f64>,
    /// How much warmer the cell is than the day's mean air, K.
    pub cell_above_air_k: f64,
}

/// A year of the daily bank.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct DailyYear {
    /// Days on which the bank would go below zero.
    pub outage_days: u32,
    /// Longest run of such days.
    pub longest_run: u32,
    /// Light on the plane, kWh/m² in the year.
    pub on_plane_kwh_m2: f64,
    /// Light on the plane in each month, kWh/m².
    pub by_month_kwh_m2: [f64; 12],
}

/// The constant part of each day for a plane towards the equator: beam ratio, sunset angle, extraterrestrial irradiation, sky and ground factors.
#[derive(Debug, Clone)]
pub struct DailyGeometry {
    days: Vec<(f64, f64, f64)>,
    sky: f64,
    ground: f64,
    soiling: f64,
    snow_chance: [f64; 12],
}

impl DailyGeometry {
    /// For a site and a tilt towards the equator: isotropic sky, Klein's beam ratio of every day, the monthly beam shares of skyline and site, sky view,
    /// snow days (drawn with the day's chance).
    pub fn new(site: &Site, tilt_deg: f64) -> Self {
        let latitude = site.observer.latitude_deg;
        let plane = Plane { tilt_deg, azimuth_deg: if latitude >= 0.0 { 180.0 } else { 0.0 } };
        let shares = site.monthly_beam_share(&plane);
        let days = (1..=365u16)
            .map(|n| {
                let declination = cooper_declination_deg(n);
                let share = shares[month_of_day(n)].unwrap_or(0.0);
                (
                    klein_beam_ratio(latitude, declination, tilt_deg).unwrap_or(0.0) * share,
                    sunset_hour_angle_deg(latitude, declination),
                    daily_kwh_m2(n, latitude, SOLAR_CONSTANT_W_M2),
                )
            })
            .collect();
        let c = libm::cos(tilt_deg.to_radians());
        Self {
            days,
            sky: 0.5 * (1.0 + c) * site.sky_view_on(&plane),
            ground: 0.5 * (1.0 - c) * site.albedo,
            soiling: site.soiling,
            snow_chance: core::array::from_fn(|m| site.snow_days[m] / f64::from(DAYS_IN_MONTH[m])),
        }
    }

    /// Irradiation on the plane on a day (1…365) of a clearness, kWh/m².
    pub fn on_plane_kwh_m2(&self, day_of_year: u16, clearness: f64) -> f64 {
        let (ratio, ws, outside) = self.days[usize::from(day_of_year) - 1];
        let h = clearness * outside;
        let diffuse = daily_fraction(clearness, ws) * h;
        ((h - diffuse) * ratio + diffuse * self.sky + h * self.ground) * self.soiling
    }
}

/// Runs a synthetic year from a full bank on `first_day`.
pub fn daily_year(
    bank: &DailyBank,
    geometry: &DailyGeometry,
    climate: &Climate,
    seed: u64,
    year: u64,
    first_day: u16,
) -> DailyYear {
    let mut result = DailyYear::default();
    let mut charge = bank.usable_c;
    let mut run = 0;
    for (i, weather) in climate.year(seed, year, first_day).iter().enumerate() {
        let day = ((usize::from(first_day) - 1 + i) % 365) as u16 + 1;
        let snow = weather.chance < geometry.snow_chance[month_of_day(day)];
        let light = if snow { 0.0 } else { geometry.on_plane_kwh_m2(day, weather.clearness) };
        result.on_plane_kwh_m2 += light;
        result.by_month_kwh_m2[month_of_day(day)] += light;
        let frozen =
            bank.least_charge_c.is_some_and(|least| weather.mean_c + bank.cell_above_air_k < least);
        // 1 kWh/m² is an hour of full sun.
        let harvest = if frozen { 0.0 } else { bank.panel_current_a * light * 3600.0 };
        charge = charge * (1.0 - bank.self_discharge_per_day) + harvest - bank.load_c_per_day;
        if charge < 0.0 {
            charge = 0.0;
            run += 1;
            result.outage_days += 1;
            result.longest_run = result.longest_run.max(run);
        } else {
            run = 0;
        }
        charge = charge.min(bank.usable_c);
    }
    result
}
