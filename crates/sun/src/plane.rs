//! The site, and a month's mean day on a tilted panel: the classical design figures.

use crate::diffuse::monthly_fraction;
use crate::extraterrestrial::{
    SOLAR_CONSTANT_W_M2, cooper_declination_deg, daily_kwh_m2, sunset_hour_angle_deg,
};
use crate::maths::{acos, cos_deg, sin_deg, tan};
use crate::position::Observer;
use crate::skyline::{Skyline, for_each_sun};
use crate::time::REPRESENTATIVE_DAY;
use crate::transposition::{Plane, Sky};

/// Where the panel stands and what lessens its light.
#[derive(Debug, Clone, PartialEq)]
pub struct Site {
    /// Place and air.
    pub observer: Observer,
    /// What stands round it.
    pub skyline: Skyline,
    /// Share of the beam that reaches the panel, January to December, on top of the skyline (leaves, a wall not drawn): 0…1.
    pub beam_share: [f64; 12],
    /// Sky view on top of nothing: `None` computes it from the skyline.
    pub sky_view: Option<f64>,
    /// Ground reflectance: 0.2 grass, 0.6…0.8 snow (common practice).
    pub albedo: f64,
    /// What dirt lets through, 0…1 (0.85…0.97 is usual).
    pub soiling: f64,
    /// Days a month on which snow covers the panel.
    pub snow_days: [f64; 12],
    /// Month by month, how much of one cell of the string a fixed thing shades (0…1): the string carries no more than its weakest cell, so the
    /// beam counts as lost in this proportion. Small panels have no bypass diodes; what the shaded cell takes in reverse is not in it.
    pub one_cell_shade: [f64; 12],
    /// How the sky shines.
    pub sky: Sky,
}

/// A site's figure out of its range.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
#[error("{what} is {got}, outside {low} to {high}")]
pub struct SiteError {
    /// Which figure.
    pub what: &'static str,
    /// Its value.
    pub got: f64,
    /// Least.
    pub low: f64,
    /// Greatest.
    pub high: f64,
}

impl Site {
    /// An open site with clean glass on grass.
    pub fn open(observer: Observer) -> Self {
        Self {
            observer,
            skyline: Skyline::open(),
            beam_share: [1.0; 12],
            sky_view: None,
            albedo: 0.2,
            soiling: 1.0,
            snow_days: [0.0; 12],
            one_cell_shade: [0.0; 12],
            sky: Sky::HayDavies,
        }
    }

    /// Checks every figure.
    ///
    /// # Errors
    /// [`SiteError`] names the first that is out of range.
    pub fn check(&self) -> Result<(), SiteError> {
        let unit = |what, got: f64| {
            if (0.0..=1.0).contains(&got) {
                Ok(())
            } else {
                Err(SiteError { what, got, low: 0.0, high: 1.0 })
            }
        };
        unit("albedo", self.albedo)?;
        unit("soiling", self.soiling)?;
        if let Some(view) = self.sky_view {
            unit("sky view", view)?;
        }
        for m in 0..12 {
            unit("beam share", self.beam_share[m])?;
            unit("shade on one cell", self.one_cell_shade[m])?;
            if !(0.0..=31.0).contains(&self.snow_days[m]) {
                return Err(SiteError {
                    what: "snow days",
                    got: self.snow_days[m],
                    low: 0.0,
                    high: 31.0,
                });
            }
        }
        Ok(())
    }

    /// For each month the share of the beam on a plane that reaches it: skyline × beam share × one-cell shade. `None` where no beam falls on it.
    pub fn monthly_beam_share(&self, plane: &Plane) -> [Option<f64>; 12] {
        let skyline = self.skyline.monthly_beam_share(self.observer.latitude_deg, plane);
        core::array::from_fn(|m| {
            skyline[m].map(|s| s * self.beam_share[m] * (1.0 - self.one_cell_shade[m]))
        })
    }

    /// Sky view: the figure given, or that of the skyline.
    pub fn sky_view_on(&self, plane: &Plane) -> f64 {
        self.sky_view.unwrap_or_else(|| self.skyline.sky_view(plane))
    }
}

/// Ratio of a day's beam on a plane towards the equator to that on the horizontal, by Klein's closed form with one sunset angle.
///
/// `R_b = [cos(φ−β) cos δ sin ω' + ω' sin(φ−β) sin δ]/[cos φ cos δ sin ωs + ωs sin φ sin δ]`, `ω' = min(ωs, acos(−tan(φ−β) tan δ))`; in the
/// southern hemisphere `φ + β`. `None` in the polar night. Source: S. A. Klein, Solar Energy 19(4), 325-329, 1977.
pub fn klein_beam_ratio(latitude_deg: f64, declination_deg: f64, tilt_deg: f64) -> Option<f64> {
    let ws = sunset_hour_angle_deg(latitude_deg, declination_deg);
    let below = day_integral(latitude_deg, declination_deg, ws);
    if ws <= 0.0 || below <= 1e-9 {
        return None;
    }
    let turned =
        if latitude_deg >= 0.0 { latitude_deg - tilt_deg } else { latitude_deg + tilt_deg };
    let c = -tan(turned.to_radians()) * tan(declination_deg.to_radians());
    let own = if c <= -1.0 {
        180.0
    } else if c >= 1.0 {
        0.0
    } else {
        acos(c).to_degrees()
    };
    Some((day_integral(turned, declination_deg, ws.min(own)) / below).max(0.0))
}

fn day_integral(latitude_deg: f64, declination_deg: f64, ws: f64) -> f64 {
    cos_deg(latitude_deg) * cos_deg(declination_deg) * sin_deg(ws)
        + ws.to_radians() * sin_deg(latitude_deg) * sin_deg(declination_deg)
}

/// The same for a plane that looks anywhere, by integration over the day; with the plane towards the equator it equals Klein's form.
///
/// `None` in the polar night.
pub fn daily_beam_ratio(latitude_deg: f64, day_of_year: u16, plane: &Plane) -> Option<f64> {
    let normal = plane.normal();
    let (mut on_plane, mut flat) = (0.0, 0.0);
    for_each_sun(latitude_deg, day_of_year, 720, |zenith, azimuth, _| {
        let (sin_z, cos_z) = libm::sincos(zenith.to_radians());
        let (sin_a, cos_a) = libm::sincos(azimuth.to_radians());
        on_plane +=
            (sin_z * sin_a * normal[0] + sin_z * cos_a * normal[1] + cos_z * normal[2]).max(0.0);
        flat += cos_z;
    });
    (flat > 1e-9).then_some(on_plane / flat)
}

/// A month's mean day.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
pub struct MonthOnPlane {
    /// 1…12.
    pub month: u8,
    /// Horizontal irradiation outside the atmosphere on the representative day, kWh/m².
    pub extraterrestrial_kwh_m2: f64,
    /// Clearness of the month; `None` in the polar night.
    pub clearness: Option<f64>,
    /// Diffuse share; `None` where the correlation does not hold (clearness outside 0.3…0.8): then taken at the nearer end and flagged here.
    pub diffuse_fraction: Option<f64>,
    /// On the panel, kWh/m² a day.
    pub on_plane_kwh_m2: f64,
}

/// The classical monthly method: isotropic sky, monthly diffuse share, a month's representative day.
///
/// `H_T = (H − H_d) R_b s + H_d v (1 + cos β)/2 + H ρ (1 − cos β)/2`, times soiling, times the share of days without snow; `s` the beam's
/// share, `v` the sky view. Source: Duffie & Beckman section 2.19 (B. Y. H. Liu and R. C. Jordan 1963; Klein 1977; Erbs et al. 1982).
pub fn monthly_on_plane(
    site: &Site,
    plane: &Plane,
    irradiation_kwh_m2: &[f64; 12],
) -> [MonthOnPlane; 12] {
    let latitude = site.observer.latitude_deg;
    let shares = site.monthly_beam_share(plane);
    let view = site.sky_view_on(plane);
    let cos_tilt = cos_deg(plane.tilt_deg);
    core::array::from_fn(|m| {
        let day = REPRESENTATIVE_DAY[m];
        let h = irradiation_kwh_m2[m];
        let h0 = daily_kwh_m2(day, latitude, SOLAR_CONSTANT_W_M2);
        let ws = sunset_hour_angle_deg(latitude, cooper_declination_deg(day));
        let clearness = (h0 > 0.02).then(|| h / h0);
        let fraction = clearness.and_then(|k| monthly_fraction(k, ws));
        let used = fraction
            .or_else(|| clearness.and_then(|k| monthly_fraction(k.clamp(0.3, 0.8), ws)))
            .unwrap_or(1.0);
        let diffuse = used.clamp(0.0, 1.0) * h;
        let ratio = daily_beam_ratio(latitude, day, plane).unwrap_or(0.0);
        let clear_days = 1.0 - site.snow_days[m] / f64::from(crate::time::DAYS_IN_MONTH[m]);
        let light = (h - diffuse) * ratio * shares[m].unwrap_or(0.0)
            + diffuse * view * 0.5 * (1.0 + cos_tilt)
            + h * site.albedo * 0.5 * (1.0 - cos_tilt);
        MonthOnPlane {
            month: m as u8 + 1,
            extraterrestrial_kwh_m2: h0,
            clearness,
            diffuse_fraction: fraction,
            on_plane_kwh_m2: light * site.soiling * clear_days.max(0.0),
        }
    })
}

/// The tilt that is best in the worst month.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
pub struct BestTilt {
    /// Degrees.
    pub tilt_deg: f64,
    /// The worst month at that tilt, 1…12.
    pub worst_month: u8,
    /// On the panel in that month, kWh/m² a day.
    pub worst_kwh_m2: f64,
}

/// Tries every whole degree from 0 to 90 on a bearing and keeps the tilt whose worst month is best.
///
/// `need` weighs the months (a load that is larger in winter); with all ones it is the plain worst month. Steeper than this sheds snow.
pub fn best_tilt(
    site: &Site,
    azimuth_deg: f64,
    irradiation_kwh_m2: &[f64; 12],
    need: &[f64; 12],
) -> BestTilt {
    let mut best = BestTilt { tilt_deg: 0.0, worst_month: 0, worst_kwh_m2: f64::NEG_INFINITY };
    let mut best_score = f64::NEG_INFINITY;
    for tilt in 0..=90 {
        let plane = Plane { tilt_deg: f64::from(tilt), azimuth_deg };
        let months = monthly_on_plane(site, &plane, irradiation_kwh_m2);
        let mut worst = (0, f64::INFINITY);
        for (m, month) in months.iter().enumerate() {
            let score = month.on_plane_kwh_m2 / need[m].max(1e-12);
            if score < worst.1 {
                worst = (m, score);
            }
        }
        if worst.1 > best_score {
            best_score = worst.1;
            best = BestTilt {
                tilt_deg: f64::from(tilt),
                worst_month: worst.0 as u8 + 1,
                worst_kwh_m2: months[worst.0].on_plane_kwh_m2,
            };
        }
    }
    best
}
