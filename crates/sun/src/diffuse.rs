//! How much of the light comes from the sky: the splits of Erbs, Klein and Duffie for an hour, a day and a month.
//!
//! Source: D. G. Erbs, S. A. Klein and J. A. Duffie, Solar Energy 28(4), 293-302, 1982; Duffie & Beckman sections 2.10 to 2.12.

use crate::clear_sky::Irradiance;
use crate::maths::polynomial;

/// Diffuse share of an hour's global irradiation from the hour's clearness index (0…1).
pub fn hourly_fraction(clearness: f64) -> f64 {
    if clearness <= 0.22 {
        1.0 - 0.09 * clearness
    } else if clearness <= 0.8 {
        polynomial(clearness, &[0.9511, -0.1604, 4.388, -16.638, 12.336])
    } else {
        0.165
    }
}

/// Diffuse share of a day's global irradiation from the day's clearness index; the season enters by the sunset hour angle (degrees).
pub fn daily_fraction(clearness: f64, sunset_hour_angle_deg: f64) -> f64 {
    if sunset_hour_angle_deg <= 81.4 {
        if clearness < 0.715 {
            polynomial(clearness, &[1.0, -0.2727, 2.4495, -11.9514, 9.3879])
        } else {
            0.143
        }
    } else if clearness < 0.722 {
        polynomial(clearness, &[1.0, 0.2832, -2.5557, 0.8448])
    } else {
        0.175
    }
}

/// Diffuse share of a month's mean day. Fitted for monthly clearness 0.3…0.8; `None` outside.
pub fn monthly_fraction(clearness: f64, sunset_hour_angle_deg: f64) -> Option<f64> {
    (0.3..=0.8).contains(&clearness).then(|| {
        if sunset_hour_angle_deg <= 81.4 {
            polynomial(clearness, &[1.391, -3.560, 4.189, -2.137])
        } else {
            polynomial(clearness, &[1.311, -3.022, 3.427, -1.821])
        }
    })
}

/// Lowest cosine of the zenith angle used for the clearness index, and highest zenith angle at which a beam is split off (common practice:
/// near the horizon the quotients explode).
const LEAST_COS_ZENITH: f64 = 0.065;
/// Cosine of 87°.
const LEAST_BEAM_COS: f64 = 0.052335956242943835;

/// Beam and diffuse from the global irradiance of an hour, with the true zenith angle's cosine and the extraterrestrial normal irradiance.
pub fn split_hour(global_w_m2: f64, cos_zenith: f64, extraterrestrial_w_m2: f64) -> Irradiance {
    let clearness =
        (global_w_m2 / (extraterrestrial_w_m2 * cos_zenith.max(LEAST_COS_ZENITH))).clamp(0.0, 1.0);
    let diffuse = hourly_fraction(clearness) * global_w_m2;
    let beam = (global_w_m2 - diffuse) / cos_zenith;
    if cos_zenith < LEAST_BEAM_COS || global_w_m2 < 0.0 || beam < 0.0 {
        return Irradiance { global_w_m2, beam_normal_w_m2: 0.0, diffuse_w_m2: global_w_m2 };
    }
    Irradiance { global_w_m2, beam_normal_w_m2: beam, diffuse_w_m2: diffuse }
}
