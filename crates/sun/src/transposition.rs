//! From the horizontal to the panel: beam, sky and ground on a tilted plane.

use crate::clear_sky::Irradiance;
use crate::maths::{cos_deg, sin_deg};

/// How the panel is mounted.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Plane {
    /// Tilt from the horizontal, 0 (face up) … 180 (face down), degrees.
    pub tilt_deg: f64,
    /// The way the face looks, degrees clockwise from north.
    pub azimuth_deg: f64,
}

/// A plane that cannot be.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum PlaneError {
    /// Tilt outside 0…180.
    #[error(
        "tilt {got} is outside 0 to 180 degrees (0 looks up, 90 stands upright, more looks at the ground)"
    )]
    Tilt {
        /// The tilt given, degrees.
        got: f64,
    },
    /// Azimuth outside 0…360.
    #[error("azimuth {got} is outside 0 to 360 degrees (clockwise from north: 90 east, 180 south)")]
    Azimuth {
        /// The azimuth given, degrees.
        got: f64,
    },
}

impl Plane {
    /// Checks and builds a plane. A tilt over 90° is allowed: such a panel looks at the ground.
    ///
    /// # Errors
    /// [`PlaneError`].
    pub fn new(tilt_deg: f64, azimuth_deg: f64) -> Result<Self, PlaneError> {
        if !(0.0..=180.0).contains(&tilt_deg) {
            return Err(PlaneError::Tilt { got: tilt_deg });
        }
        if !(0.0..=360.0).contains(&azimuth_deg) {
            return Err(PlaneError::Azimuth { got: azimuth_deg });
        }
        Ok(Self { tilt_deg, azimuth_deg })
    }

    /// A plane that looks towards the equator: south in the northern hemisphere, north in the southern.
    ///
    /// # Errors
    /// [`PlaneError`].
    pub fn towards_equator(tilt_deg: f64, latitude_deg: f64) -> Result<Self, PlaneError> {
        Self::new(tilt_deg, if latitude_deg >= 0.0 { 180.0 } else { 0.0 })
    }

    /// The unit vector out of the face: east, north, up.
    pub fn normal(&self) -> [f64; 3] {
        let s = sin_deg(self.tilt_deg);
        [s * sin_deg(self.azimuth_deg), s * cos_deg(self.azimuth_deg), cos_deg(self.tilt_deg)]
    }
}

/// Which part of the sky shines how much.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Sky {
    /// The whole sky alike. Too low for a plane that faces the sun. B. Y. H. Liu and R. C. Jordan, Solar Energy 7(2), 53-74, 1963.
    Isotropic,
    /// Alike, but a part that grows with the beam comes from around the sun. J. E. Hay and J. A. Davies, 1980 (Canadian solar radiation data workshop).
    #[default]
    HayDavies,
    /// Around the sun, and a band at the horizon, by the clearness of the sky. R. Perez et al., Solar Energy 44(5), 271-289, 1990.
    Perez,
}

/// Irradiance on the plane, by where it comes from, W/m².
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct OnPlane {
    /// From the sun's disc.
    pub beam_w_m2: f64,
    /// From the sky around the sun, which a skyline hides together with the disc.
    pub around_sun_w_m2: f64,
    /// From the rest of the sky.
    pub sky_w_m2: f64,
    /// Reflected by the ground.
    pub ground_w_m2: f64,
}

impl OnPlane {
    /// All of it, W/m².
    pub fn total_w_m2(&self) -> f64 {
        self.beam_w_m2 + self.around_sun_w_m2 + self.sky_w_m2 + self.ground_w_m2
    }
}

/// The geometry of one moment.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Moment {
    /// Cosine of the zenith angle.
    pub cos_zenith: f64,
    /// Cosine of the angle between the sun and the plane's normal (negative: the sun is behind).
    pub cos_incidence: f64,
    /// Normal irradiance outside the atmosphere, W/m².
    pub extraterrestrial_w_m2: f64,
    /// Relative air mass (only [`Sky::Perez`] uses it).
    pub relative_air_mass: f64,
}

/// Least cosine of the zenith angle in the quotient of the projections (89°, common practice).
const LEAST_COS_ZENITH: f64 = 0.01745;

/// Irradiance on a plane of tilt `cos_tilt` (its sine `sin_tilt`), with the ground's albedo.
///
/// Beam `DNI·max(cos θ, 0)`; ground `GHI·albedo·(1 − cos β)/2`; sky by the model chosen, never below zero.
/// Nothing here knows of a skyline: see [`crate::skyline`].
pub fn on_plane(
    sky: Sky,
    light: &Irradiance,
    moment: &Moment,
    cos_tilt: f64,
    sin_tilt: f64,
    albedo: f64,
) -> OnPlane {
    let incidence = moment.cos_incidence.max(0.0);
    let view = 0.5 * (1.0 + cos_tilt);
    let beam_w_m2 = light.beam_normal_w_m2 * incidence;
    let ground_w_m2 = light.global_w_m2 * albedo * 0.5 * (1.0 - cos_tilt);
    let (around_sun_w_m2, sky_w_m2) = match sky {
        Sky::Isotropic => (0.0, light.diffuse_w_m2 * view),
        Sky::HayDavies => {
            let anisotropy = light.beam_normal_w_m2 / moment.extraterrestrial_w_m2;
            let ratio = incidence / moment.cos_zenith.max(LEAST_COS_ZENITH);
            (
                (light.diffuse_w_m2 * anisotropy * ratio).max(0.0),
                (light.diffuse_w_m2 * (1.0 - anisotropy) * view).max(0.0),
            )
        }
        Sky::Perez => perez(light, moment, incidence, view, sin_tilt),
    };
    OnPlane { beam_w_m2, around_sun_w_m2, sky_w_m2, ground_w_m2 }
}

/// Upper edges of the clearness bins.
const CLEARNESS_BINS: [f64; 7] = [1.065, 1.23, 1.5, 1.95, 2.8, 4.5, 6.2];
/// F11, F12, F13, F21, F22, F23 of each bin: all sites composite, Perez et al. 1990, table 6.
const BRIGHTNESS: [[f64; 6]; 8] = [
    [-0.008, 0.588, -0.062, -0.060, 0.072, -0.022],
    [0.130, 0.683, -0.151, -0.019, 0.066, -0.029],
    [0.330, 0.487, -0.221, 0.055, -0.064, -0.026],
    [0.568, 0.187, -0.295, 0.109, -0.152, -0.014],
    [0.873, -0.392, -0.362, 0.226, -0.462, 0.001],
    [1.132, -1.237, -0.412, 0.288, -0.823, 0.056],
    [1.060, -1.600, -0.359, 0.264, -1.127, 0.131],
    [0.678, -0.327, -0.250, 0.156, -1.377, 0.251],
];

fn perez(
    light: &Irradiance,
    moment: &Moment,
    incidence: f64,
    view: f64,
    sin_tilt: f64,
) -> (f64, f64) {
    let diffuse = light.diffuse_w_m2;
    if diffuse <= 0.0 || moment.cos_zenith < 0.0 {
        return (0.0, 0.0);
    }
    let zenith = libm::acos(moment.cos_zenith.min(1.0));
    let cubed = 1.041 * zenith * zenith * zenith;
    let clearness = ((diffuse + light.beam_normal_w_m2) / diffuse + cubed) / (1.0 + cubed);
    let brightness = diffuse * moment.relative_air_mass / moment.extraterrestrial_w_m2;
    let bin = CLEARNESS_BINS.iter().take_while(|&&edge| clearness >= edge).count();
    let [f11, f12, f13, f21, f22, f23] = BRIGHTNESS[bin];
    let around = (f11 + f12 * brightness + f13 * zenith).max(0.0);
    let horizon = f21 + f22 * brightness + f23 * zenith;
    // cos 85°
    let ratio = incidence / moment.cos_zenith.max(0.08715574274765817);
    let around_sun = diffuse * around * ratio;
    let rest = diffuse * ((1.0 - around) * view + horizon * sin_tilt);
    // The model's sum may dip below zero; it is cut there as a whole, as its authors' code does.
    if around_sun + rest <= 0.0 { (0.0, 0.0) } else { (around_sun, rest) }
}
