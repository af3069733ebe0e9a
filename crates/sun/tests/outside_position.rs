//! The sun's position against the published worked example, against an open reference library, and the fast path against the full one.
#![allow(
    clippy::print_stdout,
    clippy::disallowed_methods,
    clippy::format_push_string,
    clippy::format_collect,
    reason = "checks print their figures, write small tables and may use the standard elementary functions"
)]

mod common;

use common::{bearing_difference, instant, number, table};
use overwinter_sun::position::fast::{Ephemeris, Station};
use overwinter_sun::position::{Observer, SunDay, geocentric, sun_day, sun_position, topocentric};
use overwinter_sun::time::days_from_civil;

fn close(what: &str, got: f64, expected: f64, tolerance: f64) {
    assert!((got - expected).abs() <= tolerance, "{what}: got {got}, expected {expected}");
}

/// NREL/TP-560-34302 (revised 2008), table A5.1: 2003-10-17 12:30:30 at UTC−7. Tolerance: half a unit of the last digit printed, except where a
/// note says otherwise.
#[test]
fn worked_example_with_every_intermediate() {
    let observer = Observer {
        latitude_deg: 39.742476,
        longitude_deg: -105.1786,
        height_m: 1830.14,
        pressure_pa: 82000.0,
        temperature_c: 11.0,
        horizon_refraction_deg: 0.5667,
    };
    let at = instant("2003-10-17 19:30:30");
    let sun = geocentric(at, 67.0);
    close("JD", sun.julian_day, 2452930.312847, 5e-7);
    close("L", sun.heliocentric_longitude_deg, 24.0182616917, 1e-8);
    close("B", sun.heliocentric_latitude_deg, -0.0001011219, 5e-11);
    close("R", sun.radius_au, 0.9965422974, 5e-11);
    close("Theta", sun.geocentric_longitude_deg, 204.0182616917, 1e-8);
    close("beta", sun.geocentric_latitude_deg, 0.0001011219, 5e-11);
    close("dpsi", sun.nutation_longitude_deg, -0.00399840, 5e-9);
    close("deps", sun.nutation_obliquity_deg, 0.00166657, 5e-9);
    close("eps", sun.obliquity_deg, 23.440465, 5e-7);
    close("lambda", sun.apparent_longitude_deg, 204.0085519281, 1e-8);
    close("alpha", sun.right_ascension_deg, 202.227408, 5e-7);
    close("delta", sun.declination_deg, -9.31434, 5e-6);
    let seen = topocentric(&sun, &observer);
    close("H", seen.hour_angle_deg, 11.105900, 5e-6);
    close("H'", seen.topocentric_hour_angle_deg, 11.106270, 2e-5);
    close("alpha'", seen.right_ascension_deg, 202.22704, 5e-6);
    close("delta'", seen.declination_deg, -9.316179, 5e-7);
    close("zenith", seen.position.apparent_zenith_deg, 50.11162, 5e-6);
    close("azimuth", seen.position.azimuth_deg, 194.34024, 5e-6);
    // Not in the table: the reference library pvlib 0.16.1 gives these.
    close("zenith, more digits", seen.position.apparent_zenith_deg, 50.1116220240, 1e-9);
    close("azimuth, more digits", seen.position.azimuth_deg, 194.3402405102, 1e-9);
    close("equation of time", sun.equation_of_time_min, 14.6415107708, 1e-6);
    // Incidence on slope 30°, azimuth rotation −10° from south: 25.18700.
    let plane = overwinter_sun::transposition::Plane::new(30.0, 170.0).unwrap();
    let n = plane.normal();
    let (sz, cz) = seen.position.apparent_zenith_deg.to_radians().sin_cos();
    let (sa, ca) = seen.position.azimuth_deg.to_radians().sin_cos();
    let incidence = (sz * sa * n[0] + sz * ca * n[1] + cz * n[2]).acos().to_degrees();
    close("incidence", incidence, 25.18700, 5e-6);
    // The printed sunrise 06:12:43 and sunset 17:20:19 are those of the *universal-time* day: the sunset is the one of the local day before
    // (87 s later than that of the 17th).
    let day = |text: &str| match sun_day(instant(text), &observer, 67.0) {
        SunDay::RisesAndSets { sunrise, sunset, .. } => (sunrise, sunset),
        other => panic!("the sun rises at 39.7° N in October: {other:?}"),
    };
    close("sunrise", day("2003-10-17 00:00:00").0, instant("2003-10-17 13:12:43"), 1.0);
    close("sunset", day("2003-10-16 00:00:00").1, instant("2003-10-17 00:20:19"), 1.0);
}

/// pvlib 0.16.1 on twelve places and times; see tests/data/README.md. The table is printed to six digits.
#[test]
fn twelve_places() {
    for row in table(include_str!("data/pvlib_solar_cases.csv")) {
        let mut observer =
            Observer::at(number(&row, "lat"), number(&row, "lon"), number(&row, "alt_m")).unwrap();
        close("pressure", observer.pressure_pa, number(&row, "pressure_Pa"), 1e-3);
        observer.pressure_pa = number(&row, "pressure_Pa");
        let at = instant(&row["utc"]);
        let p = sun_position(at, &observer, 67.0);
        close(&row["place"], p.zenith_deg, number(&row, "zenith"), 1e-6);
        close(&row["place"], p.apparent_zenith_deg, number(&row, "app_zenith"), 1e-6);
        // Near the zenith the azimuth magnifies the last digit.
        let magnified = 1e-6 / p.zenith_deg.to_radians().sin().min(1.0);
        assert!(
            bearing_difference(p.azimuth_deg, number(&row, "azimuth")) < magnified.max(1e-6),
            "{}",
            row["place"]
        );
        close("eot", geocentric(at, 67.0).equation_of_time_min, number(&row, "eot_min"), 1e-6);
    }
}

/// The fast path, over forty years at odd instants and several latitudes: the error that its documentation states.
#[test]
fn fast_path_error() {
    let start = days_from_civil(1995, 1, 1) as f64 * 86400.0;
    let end = days_from_civil(2035, 1, 1) as f64 * 86400.0;
    let ephemeris = Ephemeris::new(start, end, 67.0);
    let mut worst_zenith: f64 = 0.0;
    let mut worst_azimuth: f64 = 0.0;
    let stations = [-78.0, -33.0, 0.0, 47.0, 89.0]
        .map(|lat| Station::new(&Observer::at(lat, 7.0 * lat % 180.0, 300.0).unwrap()));
    let mut at = start + 1234.5;
    let mut count = 0;
    while at < end {
        let station = &stations[count % stations.len()];
        let full = sun_position(at, station.observer(), 67.0);
        let fast = ephemeris.position(at, station).unwrap();
        worst_zenith = worst_zenith.max((full.zenith_deg - fast.zenith_deg).abs());
        worst_zenith =
            worst_zenith.max((full.apparent_zenith_deg - fast.apparent_zenith_deg).abs());
        // On the sphere: near the zenith the azimuth itself means little.
        let sin_zenith = full.zenith_deg.to_radians().sin();
        let across = bearing_difference(full.azimuth_deg, fast.azimuth_deg) * sin_zenith;
        worst_azimuth = worst_azimuth.max(across);
        assert!((full.distance_au - fast.distance_au).abs() < 1e-8);
        at += 40_009.7;
        count += 1;
    }
    println!("{count} instants: zenith {worst_zenith:.2e}, azimuth {worst_azimuth:.2e} degree");
    assert!(worst_zenith < 6e-7 && worst_azimuth < 6e-7);
}

/// Right ascension wraps at the March equinox: every ten minutes across it, in five years.
#[test]
fn nothing_wraps_at_the_equinox() {
    let station = Station::new(&Observer::at(47.0, 8.0, 500.0).unwrap());
    for year in [2003, 2011, 2020, 2024, 2026] {
        let start = days_from_civil(year, 3, 18) as f64 * 86400.0;
        let ephemeris = Ephemeris::new(start, start + 5.0 * 86400.0, 67.0);
        let mut wrapped = false;
        let mut before = 0.0;
        for k in 0..720 {
            let at = start + 600.0 * f64::from(k);
            let alpha = geocentric(at, 67.0).right_ascension_deg;
            wrapped |= alpha < before;
            before = alpha;
            let full = sun_position(at, station.observer(), 67.0);
            let fast = ephemeris.position(at, &station).unwrap();
            assert!((full.zenith_deg - fast.zenith_deg).abs() < 1e-6);
            assert!(bearing_difference(full.azimuth_deg, fast.azimuth_deg) < 1e-6);
        }
        assert!(wrapped, "the test must cross the wrap");
    }
}

#[test]
fn polar_night_polar_day_and_the_south() {
    let north = Observer::at(78.0, 15.0, 10.0).unwrap();
    let midwinter = instant("2024-12-21 00:00:00");
    let midsummer = instant("2024-06-21 00:00:00");
    assert_eq!(sun_day(midwinter, &north, 69.0), SunDay::PolarNight);
    assert_eq!(sun_day(midsummer, &north, 69.0), SunDay::PolarDay);
    let south = Observer::at(-78.0, 15.0, 10.0).unwrap();
    assert_eq!(sun_day(midwinter, &south, 69.0), SunDay::PolarDay);
    assert_eq!(sun_day(midsummer, &south, 69.0), SunDay::PolarNight);
    // At noon in the south the sun stands in the north.
    let p = sun_position(
        instant("2024-06-21 11:00:00"),
        &Observer::at(-34.0, 15.0, 10.0).unwrap(),
        69.0,
    );
    assert!(p.azimuth_deg < 5.0 || p.azimuth_deg > 355.0, "{p:?}");
    assert!(Observer::at(91.0, 0.0, 0.0).is_err());
}
