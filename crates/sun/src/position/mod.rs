//! Where the sun stands: the full algorithm of Reda & Andreas, step by step, and in [`fast`] the same from daily knots.
//!
//! Source: I. Reda and A. Andreas, "Solar Position Algorithm for Solar Radiation Applications",
//! NREL/TP-560-34302, revised January 2008; stated uncertainty ±0.0003° for the years −2000 to 6000.

pub mod fast;
mod tables;

use crate::maths::{asin, atan, atan2, cos_deg, polynomial, sin_deg, tan, wrap_deg};
use crate::time::{Instant, julian_day};

/// Half the sun's apparent diameter plus nothing else, degrees: the disc's upper edge shows while the centre is this far below the horizon.
pub const SUN_SEMIDIAMETER_DEG: f64 = 0.26667;

/// Where one looks from, and the air one looks through.
///
/// Latitude −90…90 °N, longitude −180…180 °E (both degrees), height above sea level in metres, annual mean pressure in pascals and
/// temperature in degrees Celsius (both only for refraction), refraction at the horizon in degrees.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Observer {
    /// Degrees north.
    pub latitude_deg: f64,
    /// Degrees east.
    pub longitude_deg: f64,
    /// Metres above sea level.
    pub height_m: f64,
    /// Air pressure, pascals.
    pub pressure_pa: f64,
    /// Air temperature, degrees Celsius.
    pub temperature_c: f64,
    /// Refraction at sunrise and sunset, degrees (0.5667 is the report's typical value).
    pub horizon_refraction_deg: f64,
}

/// An observer that stands nowhere on Earth.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum ObserverError {
    /// Latitude outside −90…90.
    #[error("latitude {got} is outside -90 to 90 degrees")]
    Latitude {
        /// The latitude given, degrees.
        got: f64,
    },
    /// Longitude outside −180…180 (0…360 is taken too and folded).
    #[error("longitude {got} is outside -180 to 360 degrees (east is positive)")]
    Longitude {
        /// The longitude given, degrees.
        got: f64,
    },
    /// Height outside −500…9000 m, where the pressure formula holds.
    #[error("height {got} m is outside -500 to 9000 m")]
    Height {
        /// The height given, metres.
        got: f64,
    },
}

impl Observer {
    /// An observer at a place, with the standard atmosphere's pressure at that height and 12 °C.
    ///
    /// # Errors
    /// [`ObserverError`] when the place is not on Earth.
    pub fn at(latitude_deg: f64, longitude_deg: f64, height_m: f64) -> Result<Self, ObserverError> {
        if !(-90.0..=90.0).contains(&latitude_deg) {
            return Err(ObserverError::Latitude { got: latitude_deg });
        }
        if !(-180.0..=360.0).contains(&longitude_deg) {
            return Err(ObserverError::Longitude { got: longitude_deg });
        }
        if !(-500.0..=9000.0).contains(&height_m) {
            return Err(ObserverError::Height { got: height_m });
        }
        Ok(Self {
            latitude_deg,
            longitude_deg: if longitude_deg > 180.0 {
                longitude_deg - 360.0
            } else {
                longitude_deg
            },
            height_m,
            pressure_pa: crate::clear_sky::standard_pressure_pa(height_m),
            temperature_c: 12.0,
            horizon_refraction_deg: 0.5667,
        })
    }
}

/// Where the sun stands for an observer.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SunPosition {
    /// Zenith angle of the disc's centre without refraction, degrees.
    pub zenith_deg: f64,
    /// Zenith angle with refraction, degrees.
    pub apparent_zenith_deg: f64,
    /// Degrees clockwise from north.
    pub azimuth_deg: f64,
    /// Distance to the sun, astronomical units.
    pub distance_au: f64,
}

/// What depends on the instant only, with every intermediate value of the report (its section 3, its table A5.1).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Geocentric {
    /// Julian day (universal time).
    pub julian_day: f64,
    /// Earth heliocentric longitude `L`, degrees.
    pub heliocentric_longitude_deg: f64,
    /// Earth heliocentric latitude `B`, degrees.
    pub heliocentric_latitude_deg: f64,
    /// Distance `R`, astronomical units.
    pub radius_au: f64,
    /// Geocentric longitude `Θ`, degrees.
    pub geocentric_longitude_deg: f64,
    /// Geocentric latitude `β`, degrees.
    pub geocentric_latitude_deg: f64,
    /// Nutation in longitude `Δψ`, degrees.
    pub nutation_longitude_deg: f64,
    /// Nutation in obliquity `Δε`, degrees.
    pub nutation_obliquity_deg: f64,
    /// True obliquity of the ecliptic `ε`, degrees.
    pub obliquity_deg: f64,
    /// Apparent longitude of the sun `λ`, degrees.
    pub apparent_longitude_deg: f64,
    /// Apparent sidereal time at Greenwich `ν`, degrees.
    pub sidereal_time_deg: f64,
    /// Geocentric right ascension `α`, degrees.
    pub right_ascension_deg: f64,
    /// Geocentric declination `δ`, degrees.
    pub declination_deg: f64,
    /// Equation of time, minutes (apparent minus mean solar time).
    pub equation_of_time_min: f64,
}

/// What depends on the observer too.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Topocentric {
    /// Local hour angle `H`, degrees, positive westward.
    pub hour_angle_deg: f64,
    /// Topocentric right ascension `α'`, degrees.
    pub right_ascension_deg: f64,
    /// Topocentric declination `δ'`, degrees.
    pub declination_deg: f64,
    /// Topocentric local hour angle `H'`, degrees.
    pub topocentric_hour_angle_deg: f64,
    /// The position.
    pub position: SunPosition,
}

fn series(terms: &[tables::Term], t: f64) -> f64 {
    terms.iter().map(|&(a, b, c)| a * libm::cos(b + c * t)).sum()
}

/// Geocentric position of the sun at an instant, with `delta_t_s` = terrestrial time minus universal time, seconds.
///
/// Valid for the years −2000 to 6000 (stated uncertainty of zenith and azimuth 0.0003°); see [`crate::time::delta_t_s`] for `ΔT`.
/// Source: NREL/TP-560-34302, sections 3.1 to 3.10 and appendix A.1.
pub fn geocentric(instant: Instant, delta_t_s: f64) -> Geocentric {
    let julian_day = julian_day(instant);
    let jme = millennium(julian_day, delta_t_s);
    let sums = FAMILIES.map(|terms| series(terms, jme));
    from_sums(julian_day, delta_t_s, &sums)
}

fn millennium(julian_day: f64, delta_t_s: f64) -> f64 {
    (julian_day + delta_t_s / 86400.0 - 2451545.0) / 365250.0
}

/// [`geocentric`] at equally spaced instants: each periodic term is turned by a constant angle from one to the next, which costs four products
/// instead of a cosine. Restarted every 256 instants, so that rounding stays below 1e-13.
pub(crate) fn geocentric_series(
    first: Instant,
    step_s: f64,
    count: usize,
    delta_t_s: f64,
) -> Vec<Geocentric> {
    let step_jme = step_s / 86400.0 / 365250.0;
    let mut terms: Vec<[f64; 4]> = Vec::new();
    let mut out = Vec::with_capacity(count);
    for i in 0..count {
        let julian_day = julian_day(first + step_s * i as f64);
        if i % 256 == 0 {
            let jme = millennium(julian_day, delta_t_s);
            terms.clear();
            for &(a, b, c) in FAMILIES.into_iter().flatten() {
                let (sin, cos) = libm::sincos(b + c * jme);
                let (turn_sin, turn_cos) = libm::sincos(c * step_jme);
                terms.push([a * cos, a * sin, turn_cos, turn_sin]);
            }
        }
        let mut sums = [0.0; 13];
        let mut at = 0;
        for (sum, family) in sums.iter_mut().zip(FAMILIES) {
            for term in &mut terms[at..at + family.len()] {
                let [x, y, c, s] = *term;
                *sum += x;
                term[0] = x * c - y * s;
                term[1] = y * c + x * s;
            }
            at += family.len();
        }
        out.push(from_sums(julian_day, delta_t_s, &sums));
    }
    out
}

/// The families of periodic terms in the order of longitude, latitude, radius, each by rising power of `t`.
const FAMILIES: [&[tables::Term]; 13] = [
    tables::L0,
    tables::L1,
    tables::L2,
    tables::L3,
    tables::L4,
    tables::L5,
    tables::B0,
    tables::B1,
    tables::R0,
    tables::R1,
    tables::R2,
    tables::R3,
    tables::R4,
];

/// The rest of the algorithm from the sums of the thirteen families.
fn from_sums(julian_day: f64, delta_t_s: f64, sums: &[f64; 13]) -> Geocentric {
    let ephemeris_day = julian_day + delta_t_s / 86400.0;
    let century = (julian_day - 2451545.0) / 36525.0;
    let ephemeris_century = (ephemeris_day - 2451545.0) / 36525.0;
    let jme = ephemeris_century / 10.0;
    let l = wrap_deg((polynomial(jme, &sums[0..6]) / 1e8).to_degrees());
    let b = (polynomial(jme, &sums[6..8]) / 1e8).to_degrees();
    let radius_au = polynomial(jme, &sums[8..13]) / 1e8;
    let theta = wrap_deg(l + 180.0);
    let beta = -b;
    let (nutation_longitude_deg, nutation_obliquity_deg) = nutation_deg(ephemeris_century);
    let obliquity_deg = mean_obliquity_arcsec(jme) / 3600.0 + nutation_obliquity_deg;
    let aberration_deg = -20.4898 / (3600.0 * radius_au);
    let lambda = theta + nutation_longitude_deg + aberration_deg;
    let sidereal_time_deg = mean_sidereal_time_deg(julian_day, century)
        + nutation_longitude_deg * cos_deg(obliquity_deg);
    let (sin_lambda, cos_lambda) = libm::sincos(lambda.to_radians());
    let (sin_eps, cos_eps) = libm::sincos(obliquity_deg.to_radians());
    let (sin_beta, cos_beta) = libm::sincos(beta.to_radians());
    let alpha = wrap_deg(
        atan2(sin_lambda * cos_eps - sin_beta / cos_beta * sin_eps, cos_lambda).to_degrees(),
    );
    let delta = asin(sin_beta * cos_eps + cos_beta * sin_eps * sin_lambda).to_degrees();
    let mean_longitude = polynomial(
        jme,
        &[280.4664567, 360007.6982779, 0.03032028, 1.0 / 49931.0, -1.0 / 15300.0, -1.0 / 2000000.0],
    );
    let mut equation =
        4.0 * wrap_deg(mean_longitude - 0.0057183 - alpha + nutation_longitude_deg * cos_eps);
    if equation > 20.0 {
        equation -= 1440.0;
    }
    Geocentric {
        julian_day,
        heliocentric_longitude_deg: l,
        heliocentric_latitude_deg: b,
        radius_au,
        geocentric_longitude_deg: theta,
        geocentric_latitude_deg: beta,
        nutation_longitude_deg,
        nutation_obliquity_deg,
        obliquity_deg,
        apparent_longitude_deg: lambda,
        sidereal_time_deg,
        right_ascension_deg: alpha,
        declination_deg: delta,
        equation_of_time_min: equation,
    }
}

fn nutation_deg(ephemeris_century: f64) -> (f64, f64) {
    let t = ephemeris_century;
    let arguments = [
        polynomial(t, &[297.85036, 445267.111480, -0.0019142, 1.0 / 189474.0]),
        polynomial(t, &[357.52772, 35999.050340, -0.0001603, -1.0 / 300000.0]),
        polynomial(t, &[134.96298, 477198.867398, 0.0086972, 1.0 / 56250.0]),
        polynomial(t, &[93.27191, 483202.017538, -0.0036825, 1.0 / 327270.0]),
        polynomial(t, &[125.04452, -1934.136261, 0.0020708, 1.0 / 450000.0]),
    ];
    // e^{i·k·X} for k = −4…4 of each argument: a term's sine and cosine are then a product, not a sine.
    let powers = arguments.map(|x| {
        let (sin, cos) = libm::sincos(wrap_deg(x).to_radians());
        let mut p = [(1.0, 0.0); 9];
        for k in 1..=4 {
            let (c, s) = p[4 + k - 1];
            p[4 + k] = (c * cos - s * sin, s * cos + c * sin);
            p[4 - k] = (p[4 + k].0, -p[4 + k].1);
        }
        p
    });
    let mut psi = 0.0;
    let mut epsilon = 0.0;
    for (multiples, [a, b, c, d]) in tables::NUTATION {
        let (mut cos, mut sin) = (1.0, 0.0);
        for (&k, p) in multiples.iter().zip(&powers) {
            if k != 0 {
                let (c2, s2) = p[(k + 4) as usize];
                (cos, sin) = (cos * c2 - sin * s2, sin * c2 + cos * s2);
            }
        }
        psi += (a + b * t) * sin;
        epsilon += (c + d * t) * cos;
    }
    (psi / 36000000.0, epsilon / 36000000.0)
}

fn mean_obliquity_arcsec(jme: f64) -> f64 {
    polynomial(
        jme / 10.0,
        &[84381.448, -4680.93, -1.55, 1999.25, -51.38, -249.67, -39.05, 7.12, 27.87, 5.79, 2.45],
    )
}

fn mean_sidereal_time_deg(julian_day: f64, century: f64) -> f64 {
    wrap_deg(
        280.46061837 + 360.98564736629 * (julian_day - 2451545.0) + 0.000387933 * century * century
            - century * century * century / 38710000.0,
    )
}

/// The observer's place on the flattened Earth: `x = ρ cos φ'`, `y = ρ sin φ'` (section 3.12.2 and 3.12.3).
fn observer_terms(observer: &Observer) -> (f64, f64) {
    let u = atan(0.99664719 * tan(observer.latitude_deg.to_radians()));
    let (sin_u, cos_u) = libm::sincos(u);
    let height = observer.height_m / 6378140.0;
    (
        cos_u + height * cos_deg(observer.latitude_deg),
        0.99664719 * sin_u + height * sin_deg(observer.latitude_deg),
    )
}

/// Refraction to add to a true elevation, degrees (section 3.14.2); zero once the whole disc is below the refracted horizon.
pub fn refraction_deg(elevation_deg: f64, observer: &Observer) -> f64 {
    if elevation_deg < -(SUN_SEMIDIAMETER_DEG + observer.horizon_refraction_deg) {
        return 0.0;
    }
    (observer.pressure_pa / 101000.0) * (283.0 / (273.0 + observer.temperature_c)) * 1.02
        / (60.0 * tan((elevation_deg + 10.3 / (elevation_deg + 5.11)).to_radians()))
}

/// The sun as one observer sees it, from its geocentric position (sections 3.11 to 3.15), with the intermediates.
pub fn topocentric(sun: &Geocentric, observer: &Observer) -> Topocentric {
    let hour_angle_deg =
        wrap_deg(sun.sidereal_time_deg + observer.longitude_deg - sun.right_ascension_deg);
    let parallax = (8.794 / (3600.0 * sun.radius_au)).to_radians();
    let (x, y) = observer_terms(observer);
    let (sin_xi, _) = libm::sincos(parallax);
    let (sin_h, cos_h) = libm::sincos(hour_angle_deg.to_radians());
    let (sin_d, cos_d) = libm::sincos(sun.declination_deg.to_radians());
    let delta_alpha = atan2(-x * sin_xi * sin_h, cos_d - x * sin_xi * cos_h);
    let declination =
        atan2((sin_d - y * sin_xi) * libm::cos(delta_alpha), cos_d - x * sin_xi * cos_h);
    let topocentric_hour_angle_deg = hour_angle_deg - delta_alpha.to_degrees();
    let (sin_lat, cos_lat) = libm::sincos(observer.latitude_deg.to_radians());
    let (sin_hp, cos_hp) = libm::sincos(topocentric_hour_angle_deg.to_radians());
    let (sin_dp, cos_dp) = libm::sincos(declination);
    let elevation =
        asin((sin_lat * sin_dp + cos_lat * cos_dp * cos_hp).clamp(-1.0, 1.0)).to_degrees();
    let azimuth =
        wrap_deg(atan2(sin_hp, cos_hp * sin_lat - sin_dp / cos_dp * cos_lat).to_degrees() + 180.0);
    Topocentric {
        hour_angle_deg,
        right_ascension_deg: sun.right_ascension_deg + delta_alpha.to_degrees(),
        declination_deg: declination.to_degrees(),
        topocentric_hour_angle_deg,
        position: SunPosition {
            zenith_deg: 90.0 - elevation,
            apparent_zenith_deg: 90.0 - elevation - refraction_deg(elevation, observer),
            azimuth_deg: azimuth,
            distance_au: sun.radius_au,
        },
    }
}

/// The sun's position by the full algorithm: [`geocentric`] then [`topocentric`].
pub fn sun_position(instant: Instant, observer: &Observer, delta_t_s: f64) -> SunPosition {
    topocentric(&geocentric(instant, delta_t_s), observer).position
}

/// Sunrise, transit and sunset of one day.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum SunDay {
    /// The sun rises and sets.
    RisesAndSets {
        /// Upper edge appears (refraction 0.5667°, semidiameter 0.26667°).
        sunrise: Instant,
        /// Highest.
        transit: Instant,
        /// Upper edge vanishes.
        sunset: Instant,
    },
    /// The sun does not rise.
    PolarNight,
    /// The sun does not set.
    PolarDay,
}

/// Sunrise, transit and sunset on the day that starts at `midnight_utc` (the universal-time day in which the transit falls).
///
/// Fixed-point search for the instant at which the true elevation of the centre is −(0.26667° + refraction), converged to a millisecond;
/// no refraction law near the horizon is better than about half a minute of time.
pub fn sun_day(midnight_utc: Instant, observer: &Observer, delta_t_s: f64) -> SunDay {
    let target_sin = sin_deg(-(SUN_SEMIDIAMETER_DEG + observer.horizon_refraction_deg));
    let (sin_lat, cos_lat) = libm::sincos(observer.latitude_deg.to_radians());
    let mut transit = midnight_utc + 43200.0 - observer.longitude_deg * 240.0;
    for _ in 0..6 {
        let sun = geocentric(transit, delta_t_s);
        let h = wrap_deg(
            sun.sidereal_time_deg + observer.longitude_deg - sun.right_ascension_deg + 180.0,
        ) - 180.0;
        transit -= h * 239.34;
    }
    let edge = |side: f64| -> Result<Instant, bool> {
        let mut at = transit + side * 21600.0;
        for _ in 0..25 {
            let sun = geocentric(at, delta_t_s);
            let (sin_d, cos_d) = libm::sincos(sun.declination_deg.to_radians());
            let cos_h0 = (target_sin - sin_lat * sin_d) / (cos_lat * cos_d);
            if !(-1.0..=1.0).contains(&cos_h0) {
                return Err(cos_h0 < -1.0);
            }
            let h0 = libm::acos(cos_h0).to_degrees();
            let h = wrap_deg(
                sun.sidereal_time_deg + observer.longitude_deg - sun.right_ascension_deg + 180.0,
            ) - 180.0;
            let step = (side * h0 - h) * 239.34;
            at += step;
            if step.abs() < 1e-3 {
                break;
            }
        }
        Ok(at)
    };
    match (edge(-1.0), edge(1.0)) {
        (Ok(sunrise), Ok(sunset)) => SunDay::RisesAndSets { sunrise, transit, sunset },
        (Err(up), _) | (_, Err(up)) => {
            if up {
                SunDay::PolarDay
            } else {
                SunDay::PolarNight
            }
        }
    }
}
