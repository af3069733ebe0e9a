//! What stands round the panel: trees, slopes, house walls, as a line of bearings and elevations.

use crate::extraterrestrial::{cooper_declination_deg, sunset_hour_angle_deg};
use crate::maths::{atan2, sincos};
use crate::time::REPRESENTATIVE_DAY;
use crate::transposition::Plane;
use core::f64::consts::{FRAC_PI_2, PI};

/// Steps round the compass, one per degree: finer than any photo of a skyline is read.
const STEPS: usize = 360;

/// A skyline: the elevation below which the sky is hidden, for every degree of the compass.
#[derive(Debug, Clone, PartialEq)]
pub struct Skyline {
    elevation_deg: Vec<f64>,
}

/// A list of bearings and elevations that is no skyline.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum SkylineError {
    /// A bearing outside 0…360.
    #[error("bearing {got} is outside 0 to 360 degrees (clockwise from north)")]
    Bearing {
        /// The bearing given.
        got: f64,
    },
    /// An elevation outside −10…90.
    #[error("elevation {got} at bearing {bearing} is outside -10 to 90 degrees")]
    Elevation {
        /// The elevation given.
        got: f64,
        /// Its bearing.
        bearing: f64,
    },
    /// The same bearing twice with different elevations is allowed only as a pair (a wall's edge).
    #[error("bearing {bearing} is given more than twice")]
    Repeated {
        /// The bearing.
        bearing: f64,
    },
}

impl Default for Skyline {
    fn default() -> Self {
        Self::open()
    }
}

impl Skyline {
    /// Nothing in the way.
    pub fn open() -> Self {
        Self { elevation_deg: vec![0.0; STEPS] }
    }

    /// A skyline through `(bearing, elevation)` points in degrees, straight lines between them, closed round the compass.
    ///
    /// Two points on one bearing make a vertical edge, in the order given. No points: an open sky; one point: the same elevation all round.
    ///
    /// # Errors
    /// [`SkylineError`] names the point that is wrong.
    pub fn from_points(points: &[(f64, f64)]) -> Result<Self, SkylineError> {
        for &(bearing, elevation) in points {
            if !(0.0..=360.0).contains(&bearing) {
                return Err(SkylineError::Bearing { got: bearing });
            }
            if !(-10.0..=90.0).contains(&elevation) {
                return Err(SkylineError::Elevation { got: elevation, bearing });
            }
        }
        if points.is_empty() {
            return Ok(Self::open());
        }
        let mut sorted = points.to_vec();
        sorted.sort_by(|a, b| a.0.total_cmp(&b.0));
        if let Some(w) = sorted.windows(3).find(|w| w[0].0 == w[2].0) {
            return Err(SkylineError::Repeated { bearing: w[0].0 });
        }
        let last = sorted[sorted.len() - 1];
        let first = sorted[0];
        let mut ring = Vec::with_capacity(sorted.len() + 2);
        ring.push((last.0 - 360.0, last.1));
        ring.extend_from_slice(&sorted);
        ring.push((first.0 + 360.0, first.1));
        let elevation_deg = (0..STEPS)
            .map(|i| {
                let at = i as f64 + 0.5;
                let k =
                    ring.windows(2).position(|w| w[0].0 <= at && at <= w[1].0 && w[1].0 > w[0].0);
                let k = k.unwrap_or(0);
                let (a, b) = (ring[k], ring[k + 1]);
                a.1 + (b.1 - a.1) * (at - a.0) / (b.0 - a.0)
            })
            .collect();
        Ok(Self { elevation_deg })
    }

    /// Elevation of the skyline at a bearing, degrees (steps of one degree).
    pub fn elevation_deg(&self, bearing_deg: f64) -> f64 {
        self.elevation_deg[(crate::maths::wrap_deg(bearing_deg) as usize).min(STEPS - 1)]
    }

    /// Is anything in the way at all?
    pub fn is_open(&self) -> bool {
        self.elevation_deg.iter().all(|&e| e <= 0.0)
    }

    /// Does the sun's centre clear the skyline?
    pub fn shows(&self, azimuth_deg: f64, elevation_deg: f64) -> bool {
        elevation_deg > self.elevation_deg(azimuth_deg)
    }

    /// The sky that a plane sees, of the sky it would see without the skyline: 0…1, for a sky that shines alike everywhere.
    ///
    /// `∫ max(n·s, 0) dΩ` over the sky above the skyline, divided by the same over the whole upper half, each slice of azimuth integrated in
    /// closed form over elevation. 1 for a plane that faces straight down (it sees no sky to lose).
    pub fn sky_view(&self, plane: &Plane) -> f64 {
        let [east, north, up] = plane.normal();
        let (mut seen, mut whole) = (0.0, 0.0);
        for (i, &h) in self.elevation_deg.iter().enumerate() {
            let (sin_az, cos_az) = sincos((i as f64 + 0.5).to_radians());
            let along = east * sin_az + north * cos_az;
            seen += slice(along, up, h.max(0.0).to_radians());
            whole += slice(along, up, 0.0);
        }
        if whole > 1e-12 { seen / whole } else { 1.0 }
    }

    /// For each month, the share of the beam on a plane that clears the skyline: weighted by `max(cos θ, 0)` over the representative day.
    ///
    /// `None` for a month in which the sun does not reach the plane at all (polar night, or always behind it).
    pub fn monthly_beam_share(&self, latitude_deg: f64, plane: &Plane) -> [Option<f64>; 12] {
        core::array::from_fn(|month| {
            let (mut seen, mut whole) = (0.0, 0.0);
            for_each_sun(latitude_deg, REPRESENTATIVE_DAY[month], 288, |zenith, azimuth, _| {
                let (sin_z, cos_z) = sincos(zenith.to_radians());
                let (sin_a, cos_a) = sincos(azimuth.to_radians());
                let [east, north, up] = plane.normal();
                let weight = (sin_z * sin_a * east + sin_z * cos_a * north + cos_z * up).max(0.0);
                whole += weight;
                if self.shows(azimuth, 90.0 - zenith) {
                    seen += weight;
                }
            });
            (whole > 1e-9).then_some(seen / whole)
        })
    }
}

/// Runs over the daylight of a day in equal steps of the hour angle: zenith, azimuth, hour angle (degrees).
pub(crate) fn for_each_sun(
    latitude_deg: f64,
    day: u16,
    steps: usize,
    mut f: impl FnMut(f64, f64, f64),
) {
    let declination = cooper_declination_deg(day);
    let ws = sunset_hour_angle_deg(latitude_deg, declination);
    if ws <= 0.0 {
        return;
    }
    for k in 0..steps {
        let hour_angle = ws * (2.0 * (k as f64 + 0.5) / steps as f64 - 1.0);
        let (zenith, azimuth) =
            crate::extraterrestrial::zenith_and_azimuth_deg(latitude_deg, declination, hour_angle);
        f(zenith, azimuth, hour_angle);
    }
}

/// `∫ max(a cos e + b sin e, 0)·cos e de` from `from` to 90°.
fn slice(a: f64, b: f64, from: f64) -> f64 {
    // Positive where e lies within 90° of the plane's own direction in this slice.
    let direction = atan2(b, a);
    let low = from.max(direction - FRAC_PI_2);
    let high = FRAC_PI_2.min(direction + FRAC_PI_2);
    if high <= low || a.hypot(b) < 1e-15 {
        return 0.0;
    }
    let antiderivative = |e: f64| {
        let (s, c) = sincos(e);
        0.5 * a * (e + s * c) + 0.5 * b * s * s
    };
    antiderivative(high) - antiderivative(low)
}

/// Sky view of a horizontal plane in a canyon or clearing whose edge has the same elevation all round: `cos² h`.
///
/// Common closed form; serves as a check of [`Skyline::sky_view`].
pub fn sky_view_of_uniform_edge(elevation_deg: f64) -> f64 {
    let c = libm::cos(elevation_deg.min(90.0) * PI / 180.0);
    c * c
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_uniform_edge_has_the_closed_form() {
        let flat = Plane { tilt_deg: 0.0, azimuth_deg: 180.0 };
        for h in [0.0, 10.0, 30.0, 60.0, 89.0] {
            let skyline = Skyline::from_points(&[(0.0, h)]).unwrap();
            assert!((skyline.sky_view(&flat) - sky_view_of_uniform_edge(h)).abs() < 1e-12);
        }
    }

    #[test]
    fn the_whole_sky_is_the_view_factor() {
        // ∫ over the upper half of the sky of a tilted plane is π(1 + cos β)/2.
        for tilt in [0.0, 30.0, 75.0, 90.0, 120.0, 170.0_f64] {
            let plane = Plane { tilt_deg: tilt, azimuth_deg: 200.0 };
            let [east, north, up] = plane.normal();
            let whole: f64 = (0..360)
                .map(|i| {
                    let (s, c) = sincos((f64::from(i) + 0.5).to_radians());
                    slice(east * s + north * c, up, 0.0)
                })
                .sum::<f64>()
                * 2.0
                * PI
                / 360.0;
            let expected = PI * (1.0 + libm::cos(tilt.to_radians())) / 2.0;
            assert!((whole - expected).abs() < 2e-4, "{tilt}: {whole} {expected}");
        }
    }

    #[test]
    fn a_southern_ridge_takes_the_winter_beam() {
        let plane = Plane { tilt_deg: 75.0, azimuth_deg: 180.0 };
        let ridge =
            Skyline::from_points(&[(90.0, 0.0), (120.0, 30.0), (240.0, 30.0), (270.0, 0.0)])
                .unwrap();
        let share = ridge.monthly_beam_share(47.0, &plane);
        assert!(share[11].unwrap() < 0.01);
        assert!(share[5].unwrap() > 0.8);
        assert!(Skyline::open().monthly_beam_share(47.0, &plane).iter().all(|s| *s == Some(1.0)));
        assert_eq!(Skyline::open().monthly_beam_share(75.0, &plane)[11], None, "polar night");
    }

    #[test]
    fn bad_points_are_named() {
        assert!(matches!(Skyline::from_points(&[(400.0, 1.0)]), Err(SkylineError::Bearing { .. })));
        assert!(matches!(
            Skyline::from_points(&[(40.0, 95.0)]),
            Err(SkylineError::Elevation { .. })
        ));
        assert!(matches!(
            Skyline::from_points(&[(40.0, 5.0), (40.0, 6.0), (40.0, 7.0)]),
            Err(SkylineError::Repeated { .. })
        ));
    }
}
