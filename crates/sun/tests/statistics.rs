//! The figures of a file's days, against the climate that made it and against real years.
#![allow(
    clippy::print_stdout,
    clippy::disallowed_methods,
    reason = "checks print their figures and may use the standard elementary functions"
)]

use overwinter_sun::balance::map::hourly_year;
use overwinter_sun::plane::Site;
use overwinter_sun::position::Observer;
use overwinter_sun::resource::csv::{Column, Layout, TimeColumns, Zone, read};
use overwinter_sun::resource::{Record, Resource};
use overwinter_sun::synthetic::climate::{Climate, ClimateInput, ClimateNote, Season, Temperature};
use overwinter_sun::synthetic::geometry::YearGeometry;
use overwinter_sun::time::{Civil, is_leap_year};
use overwinter_sun::transposition::{Plane, Sky};

const LIGHT: [f64; 12] = [1.15, 2.0, 3.2, 4.3, 5.0, 5.5, 5.7, 4.9, 3.6, 2.2, 1.25, 0.90];

fn input(day_correlation: f64, between_year_cv: f64, with_light: [f64; 2]) -> ClimateInput {
    ClimateInput {
        latitude_deg: 47.0,
        irradiation_kwh_m2: LIGHT.map(Some),
        day_correlation,
        between_year_cv,
        temperature: Temperature {
            season: Season::Cosine { mean_c: 7.0, amplitude_k: 9.0, coldest_day: 15.0 },
            spread_k: 4.0,
            day_correlation: 0.7,
            weather_correlation: with_light,
            daily_range_k: 8.0,
        },
    }
}

/// Synthetic years on the horizontal as a file that begins on 1 January 2001; 29 Februaries repeat the day before.
fn as_file(climate: &Climate, years: u64) -> Resource {
    let mut site = Site::open(Observer::at(47.0, 0.0, 100.0).unwrap());
    site.sky = Sky::Isotropic;
    site.albedo = 0.0;
    let flat = YearGeometry::new(&site, &Plane::new(0.0, 180.0).unwrap());
    let mut records = Vec::new();
    for year in 0..years {
        let made = hourly_year(climate, &flat, 3, year, 1);
        let of = |i: usize| Record {
            global_w_m2: Some(f64::from(made.irradiance_w_m2[i])),
            air_c: Some(f64::from(made.air_c[i])),
            ..Record::default()
        };
        for i in 0..8760 {
            if i == 59 * 24 && is_leap_year(2001 + year as i32) {
                records.extend((58 * 24..59 * 24).map(of));
            }
            records.push(of(i));
        }
    }
    let first = Civil { year: 2001, month: 1, day: 1, second_of_day: 1800 };
    Resource {
        first_middle: first.instant(0.0),
        step_s: 3600.0,
        clock_offset_s: 0.0,
        records,
        place: None,
        notes: Vec::new(),
    }
}

/// A climate makes a file, the file gives the climate back. Thirty years: the standard error of a correlation of days is 0.01, of the spread
/// between years (12 × 30 months) 4 % of it, of winter's and summer's correlation 0.02.
#[test]
fn a_climate_comes_back_out_of_its_own_years() {
    for (phi, cv, with_light) in
        [(0.3, 0.15, [-0.4, 0.5]), (0.15, 0.0, [0.0, 0.0]), (0.5, 0.1, [0.3, 0.3])]
    {
        let climate = Climate::new(input(phi, cv, with_light)).unwrap();
        let found = as_file(&climate, 30).day_statistics(47.0);
        println!("{found:?}");
        assert_eq!(found.days, 30 * 365 + 7);
        assert!((found.day_correlation.unwrap() - phi).abs() < 0.05, "{:?}", found.day_correlation);
        assert!((found.between_year_cv.unwrap() - cv).abs() < 0.04, "{:?}", found.between_year_cv);
        for (got, want) in found.irradiation_kwh_m2.iter().zip(LIGHT) {
            assert!((got.unwrap() / want - 1.0).abs() < 0.12, "{got:?} {want}");
        }
        let t = found.temperature.unwrap();
        assert!((t.spread_k - 4.0).abs() < 0.1, "{}", t.spread_k);
        assert!((t.day_correlation - 0.7).abs() < 0.02, "{}", t.day_correlation);
        assert!((t.daily_range_k - 8.0).abs() < 0.5, "{}", t.daily_range_k);
        for (got, want) in t.weather_correlation.iter().zip(with_light) {
            assert!((got - want).abs() < 0.06, "{got} {want}");
        }
    }
    // One year: the same figures with a year's errors (0.05), and no spread between years.
    let climate = Climate::new(input(0.3, 0.0, [-0.4, 0.5])).unwrap();
    let one = as_file(&climate, 1).day_statistics(47.0);
    assert!(one.between_year_cv.is_none());
    assert!((one.day_correlation.unwrap() - 0.3).abs() < 0.15, "{one:?}");
}

/// More correlation than the two series can have is told, and run at the limit: (1 − 0.21)/√(0.91·0.51) = 1.160 times as much for the innovations.
#[test]
fn a_correlation_out_of_reach_is_told() {
    let climate = Climate::new(input(0.3, 0.0, [-0.95, 0.2])).unwrap();
    let told = climate.notes().iter().find_map(|n| match n {
        ClimateNote::CorrelationOutOfReach { got, limit } => Some((*got, *limit)),
        _ => None,
    });
    let (got, limit) = told.unwrap();
    assert!(got == -0.95 && (limit - 0.8623).abs() < 1e-3, "{got} {limit}");
    let found = as_file(&climate, 20).day_statistics(47.0).temperature.unwrap();
    assert!((found.weather_correlation[0] + 0.86).abs() < 0.06, "{found:?}");
}

/// Two real typical years: the correlation of days lies where `outside_weather` finds it by plain departures (0.30 and 0.23), but for the mean of
/// thirty days taken out, (30·0.30 + 1)/27 = 0.37 and 0.29; clear days are colder in the subarctic winter than in its summer.
#[test]
fn two_real_years() {
    let layout = Layout {
        time: TimeColumns::Counted {
            start: Civil { year: 2001, month: 1, day: 1, second_of_day: 0 },
            step_s: 3600,
        },
        zone: Zone::Fixed { offset_s: -18000.0 },
        air: Some(Column::Named("air_c".into())),
        ..Layout::plain("", "ghi")
    };
    for (text, latitude, expected) in [
        (include_str!("data/weather_greensboro.csv"), 36.1, 0.37),
        (include_str!("data/weather_sand_point.csv"), 55.317, 0.29),
    ] {
        let found = read(text, &layout).unwrap().day_statistics(latitude);
        println!("{latitude}: {found:?}");
        assert_eq!(found.days, 365);
        assert!(
            (found.day_correlation.unwrap() - expected).abs() < 0.06,
            "{:?}",
            found.day_correlation
        );
        let t = found.temperature.unwrap();
        assert!(
            (2.0..7.0).contains(&t.spread_k) && (0.4..0.94).contains(&t.day_correlation),
            "{t:?}"
        );
        assert!(t.weather_correlation[0] < t.weather_correlation[1], "{t:?}");
        assert!(found.between_year_cv.is_none());
    }
}
