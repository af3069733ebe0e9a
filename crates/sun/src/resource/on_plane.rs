//! Measured weather on the panel: position at each interval's middle, split where needed, transposition, skyline, snow, soiling.

use super::{Resource, ResourceNote};
use crate::clear_sky::{Irradiance, relative_air_mass};
use crate::diffuse::split_hour;
use crate::extraterrestrial::{SOLAR_CONSTANT_W_M2, spencer_w_m2};
use crate::maths::{cos_deg, sin_deg};
use crate::plane::Site;
use crate::position::fast::{Direction, Ephemeris, Station};
use crate::time::USUAL_DELTA_T_S;
use crate::transposition::{Moment, Plane, Sky, on_plane};

/// How gaps are filled. Whatever is chosen, the count is in the result.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum GapFill {
    /// Not at all: a gap is an error.
    #[default]
    Refuse,
    /// With the same time of the nearest day that has it.
    SameTimeNearestDay,
}

/// Weather that cannot be put on the panel.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum OnPlaneError {
    /// Gaps, and no filling was asked for.
    #[error(
        "{intervals} intervals have no {what} (longest run {longest}); ask for filling or cut the data"
    )]
    Gaps {
        /// How many.
        intervals: usize,
        /// Longest run.
        longest: usize,
        /// Of what.
        what: &'static str,
    },
    /// Nothing to fill from.
    #[error("no interval at all has {what}")]
    Nothing {
        /// Of what.
        what: &'static str,
    },
    /// A step that does not divide a day.
    #[error("a step of {step_s} s does not divide a day")]
    Step {
        /// The step.
        step_s: f64,
    },
}

/// Light and temperature on the panel, ready for the balance.
#[derive(Debug, Clone, PartialEq)]
pub struct PanelWeather {
    /// Length of a step, s.
    pub step_s: f64,
    /// Day of the year of the first step, 1…365 (day 366 counts as 365).
    pub first_day: u16,
    /// On the panel, W/m².
    pub irradiance_w_m2: Vec<f32>,
    /// Of the air, °C.
    pub air_c: Vec<f32>,
    /// Intervals filled: irradiance, temperature.
    pub filled: (usize, usize),
}

/// Puts measured weather on a panel.
///
/// Beam and diffuse of the file are used where both are there, else global is split by Erbs' hourly correlation. The sun is taken at the interval's
/// middle; if it is below the horizon there, all light counts as diffuse. Snow days cannot be known for a given year: each month's light is
/// lessened by the share of its snow days.
///
/// # Errors
/// [`OnPlaneError`].
pub fn panel_weather(
    resource: &Resource,
    site: &Site,
    plane: &Plane,
    fill: GapFill,
) -> Result<PanelWeather, OnPlaneError> {
    let per_day = 86400.0 / resource.step_s;
    if (per_day - libm::round(per_day)).abs() > 1e-9 || per_day < 1.0 {
        return Err(OnPlaneError::Step { step_s: resource.step_s });
    }
    let per_day = per_day as usize;
    let known = |i: usize| {
        let r = &resource.records[i];
        r.global_w_m2.is_some() || (r.beam_normal_w_m2.is_some() && r.diffuse_w_m2.is_some())
    };
    let n = resource.records.len();
    let (light_from, light_filled) = sources(n, per_day, fill, "irradiance", known)?;
    let (air_from, air_filled) =
        sources(n, per_day, fill, "air temperature", |i| resource.records[i].air_c.is_some())?;
    let plan = Plan::new(site, plane);
    let half = resource.step_s;
    let ephemeris =
        Ephemeris::new(resource.first_middle - half, resource.middle(n) + half, USUAL_DELTA_T_S);
    let station = Station::new(&site.observer);
    let mut irradiance_w_m2 = Vec::with_capacity(n);
    let mut air_c = Vec::with_capacity(n);
    let mut day = Day::default();
    let visited =
        ephemeris.for_each(resource.first_middle, resource.step_s, n, &station, |i, direction| {
            day.advance(resource.middle(i) + resource.clock_offset_s);
            let record = &resource.records[light_from[i]];
            let lit = record.global_w_m2.is_none_or(|g| g > 0.0);
            let light = if lit {
                let cos_zenith = direction.up;
                let light = match (record.beam_normal_w_m2, record.diffuse_w_m2, record.global_w_m2)
                {
                    (Some(beam), Some(diffuse), global) => Irradiance {
                        global_w_m2: global.unwrap_or(diffuse + beam * cos_zenith.max(0.0)),
                        beam_normal_w_m2: if cos_zenith > 0.0 { beam } else { 0.0 },
                        diffuse_w_m2: diffuse,
                    },
                    (_, _, global) => {
                        split_hour(global.unwrap_or(0.0), cos_zenith, day.extraterrestrial_w_m2)
                    }
                };
                plan.light(direction, &light, day.extraterrestrial_w_m2, day.month)
            } else {
                0.0
            };
            irradiance_w_m2.push(light as f32);
            air_c.push(resource.records[air_from[i]].air_c.unwrap_or(0.0) as f32);
        });
    debug_assert!(visited.is_ok(), "the ephemeris spans the data with a step to spare");
    Ok(PanelWeather {
        step_s: resource.step_s,
        first_day: resource.civil(0).day_of_year().min(365),
        irradiance_w_m2,
        air_c,
        filled: (light_filled, air_filled),
    })
}

/// The calendar of the running day: worked out once a day, not once an hour.
#[derive(Debug, Default)]
struct Day {
    ends: f64,
    month: usize,
    extraterrestrial_w_m2: f64,
}

impl Day {
    fn advance(&mut self, local: f64) {
        if local >= self.ends || self.ends == 0.0 {
            let civil = crate::time::Civil::at(local, 0.0);
            self.ends = local - f64::from(civil.second_of_day) + 86400.0;
            self.month = usize::from(civil.month - 1);
            self.extraterrestrial_w_m2 = spencer_w_m2(civil.day_of_year(), SOLAR_CONSTANT_W_M2);
        }
    }
}

/// What site and plane are for every interval.
#[derive(Debug, Clone)]
pub struct Plan<'a> {
    site: &'a Site,
    normal: [f64; 3],
    cos_tilt: f64,
    sin_tilt: f64,
    sky_view: f64,
    open: bool,
    factor: [f64; 12],
    beam_share: [f64; 12],
}

impl<'a> Plan<'a> {
    /// Works out what does not change.
    pub fn new(site: &'a Site, plane: &Plane) -> Self {
        Self {
            site,
            normal: plane.normal(),
            cos_tilt: cos_deg(plane.tilt_deg),
            sin_tilt: sin_deg(plane.tilt_deg),
            sky_view: site.sky_view_on(plane),
            open: site.skyline.is_open(),
            factor: core::array::from_fn(|m| {
                let days = f64::from(crate::time::DAYS_IN_MONTH[m]);
                site.soiling * (1.0 - site.snow_days[m] / days).max(0.0)
            }),
            beam_share: core::array::from_fn(|m| {
                site.beam_share[m] * (1.0 - site.one_cell_shade[m])
            }),
        }
    }

    /// Light on the panel, W/m², in a month (0…11).
    #[inline]
    pub fn light(
        &self,
        direction: &Direction,
        light: &Irradiance,
        extraterrestrial_w_m2: f64,
        month: usize,
    ) -> f64 {
        let n = &self.normal;
        let moment = Moment {
            cos_zenith: direction.up,
            cos_incidence: direction.east * n[0] + direction.north * n[1] + direction.up * n[2],
            extraterrestrial_w_m2,
            relative_air_mass: if self.site.sky == Sky::Perez {
                relative_air_mass(90.0 - direction.elevation_deg()).unwrap_or(38.0)
            } else {
                0.0
            },
        };
        let parts =
            on_plane(self.site.sky, light, &moment, self.cos_tilt, self.sin_tilt, self.site.albedo);
        let clear = self.open
            || self.site.skyline.shows(direction.azimuth_deg(), direction.elevation_deg());
        let share = if clear { self.beam_share[month] } else { 0.0 };
        let sum = (parts.beam_w_m2 + parts.around_sun_w_m2) * share
            + parts.sky_w_m2 * self.sky_view
            + parts.ground_w_m2;
        (sum * self.factor[month]).max(0.0)
    }
}

/// For each interval the interval its value comes from, and how many are not their own.
fn sources(
    n: usize,
    per_day: usize,
    fill: GapFill,
    what: &'static str,
    known: impl Fn(usize) -> bool,
) -> Result<(Vec<usize>, usize), OnPlaneError> {
    let mut from: Vec<usize> = (0..n).collect();
    let (mut gaps, mut run, mut longest) = (0, 0, 0);
    for i in 0..n {
        if known(i) {
            run = 0;
        } else {
            gaps += 1;
            run += 1;
            longest = longest.max(run);
        }
    }
    if gaps == 0 {
        return Ok((from, 0));
    }
    if fill == GapFill::Refuse {
        return Err(OnPlaneError::Gaps { intervals: gaps, longest, what });
    }
    let nearest = |i: usize| {
        (1..=n.div_ceil(per_day)).find_map(|d| {
            let back = i.checked_sub(d * per_day).filter(|&j| known(j));
            back.or_else(|| Some(i + d * per_day).filter(|&j| j < n && known(j)))
        })
    };
    for (i, from) in from.iter_mut().enumerate() {
        if !known(i) {
            *from = nearest(i).ok_or(OnPlaneError::Nothing { what })?;
        }
    }
    Ok((from, gaps))
}

impl PanelWeather {
    /// The balance's view of it.
    pub fn steps(&self) -> crate::balance::step::Weather<'_> {
        crate::balance::step::Weather {
            step_s: self.step_s,
            first_day: self.first_day,
            irradiance_w_m2: &self.irradiance_w_m2,
            air_c: &self.air_c,
            thermal: None,
        }
    }
}

/// Makes global irradiance from beam and diffuse where the file has none; returns how many intervals, noted in the resource.
pub fn complete_global(resource: &mut Resource, site: &Site) -> usize {
    let station = Station::new(&site.observer);
    let n = resource.records.len();
    let ephemeris =
        Ephemeris::new(resource.first_middle - 1.0, resource.middle(n) + 1.0, USUAL_DELTA_T_S);
    let mut count = 0;
    for i in 0..n {
        let at = resource.middle(i);
        let record = &mut resource.records[i];
        if record.global_w_m2.is_none()
            && let (Some(beam), Some(diffuse)) = (record.beam_normal_w_m2, record.diffuse_w_m2)
            && let Ok(direction) = ephemeris.direction(at, &station)
        {
            record.global_w_m2 = Some(diffuse + beam * direction.up.max(0.0));
            count += 1;
        }
    }
    if count > 0 {
        resource.notes.push(ResourceNote::GlobalFromComponents { count });
    }
    count
}
