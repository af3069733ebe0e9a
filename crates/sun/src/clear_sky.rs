//! Air mass and irradiance under a sky without clouds.

use crate::maths::{cos_deg, exp, pow};

/// Pressure of the standard atmosphere at a height, pascals: `100·((44331.514 − h)/11880.516)^(1/0.1902632)`, troposphere only.
///
/// Source: Portland State Aerospace Society, "A quick derivation relating altitude to air pressure", 2004 (1976 standard atmosphere).
pub fn standard_pressure_pa(height_m: f64) -> f64 {
    100.0 * pow((44331.514 - height_m) / 11880.516, 1.0 / 0.1902632)
}

/// Relative optical air mass from the apparent zenith angle; `None` for a sun below the horizon.
///
/// `m = 1/(cos z + 0.50572·(96.07995° − z)^−1.6364)`. Source: F. Kasten and A. T. Young, Applied Optics 28(22), 4735-4738, 1989.
pub fn relative_air_mass(apparent_zenith_deg: f64) -> Option<f64> {
    (apparent_zenith_deg <= 90.0).then(|| {
        1.0 / (cos_deg(apparent_zenith_deg)
            + 0.50572 * exp(-1.6364 * libm::log(96.07995 - apparent_zenith_deg)))
    })
}

/// Irradiance at one moment, W/m².
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Irradiance {
    /// On the horizontal, all of it.
    pub global_w_m2: f64,
    /// From the sun's disc, on a plane that faces it.
    pub beam_normal_w_m2: f64,
    /// From the sky, on the horizontal.
    pub diffuse_w_m2: f64,
}

/// Clear-sky irradiance by Ineichen & Perez, with its height-dependent constants worked out once.
///
/// Validity: Linke turbidity 1…10 or so; global within about 5 % where the turbidity is right. Zenith angles are apparent ones.
/// Source: P. Ineichen and R. Perez, Solar Energy 73(3), 151-157, 2002 (without the later enhancement factor).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ineichen {
    air_mass_factor: f64,
    global_factor: f64,
    global_exponent: f64,
    beam_factor: f64,
    beam_exponent: f64,
    beam_limit: f64,
}

impl Ineichen {
    /// Constants for a height, a pressure and a Linke turbidity.
    pub fn new(linke_turbidity: f64, height_m: f64, pressure_pa: f64) -> Self {
        let fh1 = exp(-height_m / 8000.0);
        let fh2 = exp(-height_m / 1250.0);
        Self {
            air_mass_factor: pressure_pa / 101325.0,
            global_factor: 5.09e-5 * height_m + 0.868,
            global_exponent: -(3.92e-5 * height_m + 0.0387) * (fh1 + fh2 * (linke_turbidity - 1.0)),
            beam_factor: 0.664 + 0.163 / fh1,
            beam_exponent: -0.09 * (linke_turbidity - 1.0),
            beam_limit: 1.0 - (0.1 - 0.2 * exp(-linke_turbidity)) / (0.1 + 0.882 / fh1),
        }
    }

    /// Irradiance at an apparent zenith angle, with `extraterrestrial_w_m2` the normal irradiance outside the atmosphere. Zero at night.
    pub fn irradiance(&self, apparent_zenith_deg: f64, extraterrestrial_w_m2: f64) -> Irradiance {
        let cos_zenith = cos_deg(apparent_zenith_deg);
        match relative_air_mass(apparent_zenith_deg) {
            Some(relative) if cos_zenith > 0.0 => {
                self.from_air_mass(relative, cos_zenith, extraterrestrial_w_m2)
            }
            _ => Irradiance::default(),
        }
    }

    /// The same where the relative air mass and the cosine of the apparent zenith angle are already known.
    #[inline]
    pub fn from_air_mass(
        &self,
        relative_air_mass: f64,
        cos_zenith: f64,
        extraterrestrial_w_m2: f64,
    ) -> Irradiance {
        let air_mass = relative_air_mass * self.air_mass_factor;
        let global = self.global_factor
            * extraterrestrial_w_m2
            * cos_zenith
            * exp(self.global_exponent * air_mass);
        let beam = extraterrestrial_w_m2 * self.beam_factor * exp(self.beam_exponent * air_mass);
        let limit = global * self.beam_limit.max(0.0) / cos_zenith;
        let beam_normal = beam.min(limit);
        Irradiance {
            global_w_m2: global,
            beam_normal_w_m2: beam_normal,
            diffuse_w_m2: global - beam_normal * cos_zenith,
        }
    }
}

/// Clear-sky global irradiance from the zenith angle alone, W/m²: `1098·cos z·exp(−0.059/cos z)`; zero at night.
///
/// Some texts print 0.057. Source: B. Haurwitz, Journal of Meteorology 2, 154-166, 1945 and 3, 123-124, 1946, in the form common since.
pub fn haurwitz_w_m2(apparent_zenith_deg: f64) -> f64 {
    let c = cos_deg(apparent_zenith_deg);
    if c > 0.0 { 1098.0 * c * exp(-0.059 / c) } else { 0.0 }
}
