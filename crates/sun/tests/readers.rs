//! Readers: the public layouts, layouts of any hand, and bad input told clearly.
#![allow(
    clippy::print_stdout,
    clippy::disallowed_methods,
    clippy::format_push_string,
    clippy::format_collect,
    reason = "checks print their figures, write small tables and may use the standard elementary functions"
)]

mod common;

use overwinter_sun::plane::Site;
use overwinter_sun::position::Observer;
use overwinter_sun::resource::csv::{Column, Layout, LightUnit, Stamp, TimeColumns, Zone, read};
use overwinter_sun::resource::on_plane::{GapFill, OnPlaneError, complete_global, panel_weather};
use overwinter_sun::resource::text_time::DateOrder;
use overwinter_sun::resource::tmy::{read_tmy2, read_tmy3};
use overwinter_sun::resource::{Resource, ResourceError, ResourceNote};
use overwinter_sun::synthetic::climate::{
    Climate, ClimateError, ClimateInput, ClimateNote, Season, Temperature,
};
use overwinter_sun::time::{Civil, days_from_civil};
use overwinter_sun::transposition::{Plane, PlaneError};

const GREENSBORO: &str = include_str!("data/weather_greensboro.csv");

fn greensboro_layout() -> Layout {
    Layout {
        time: TimeColumns::Counted {
            start: Civil { year: 2001, month: 1, day: 1, second_of_day: 3600 },
            step_s: 3600,
        },
        zone: Zone::Fixed { offset_s: -5.0 * 3600.0 },
        stamp: Stamp::End,
        beam_normal: Some(Column::Named("DNI".into())),
        diffuse: Some(Column::Named("DHI".into())),
        air: Some(Column::Named("air_c".into())),
        ..Layout::plain("", "ghi")
    }
}

fn observer() -> Observer {
    Observer::at(36.1, -79.95, 273.0).unwrap()
}

/// Values read by eye from the first lines of the files.
#[test]
fn tmy3_layout() {
    let r = read_tmy3(include_str!("data/tmy3_head.csv")).unwrap();
    let place = r.place.unwrap();
    assert_eq!((place.latitude_deg, place.longitude_deg, place.height_m), (36.1, -79.95, 273.0));
    assert_eq!((r.records.len(), r.step_s, r.clock_offset_s), (72, 3600.0, -18000.0));
    // Hour 1 ends at 01:00 local: its middle is 00:30 local, 05:30 universal time.
    assert_eq!(r.first_middle, days_from_civil(2001, 1, 1) as f64 * 86400.0 + 5.5 * 3600.0);
    assert_eq!(r.records[0].air_c, Some(10.0));
    // The compact year holds the same first three days.
    let year = read(GREENSBORO, &greensboro_layout()).unwrap();
    assert_eq!(year.first_middle, r.first_middle);
    assert_eq!(year.records[..72], r.records[..]);
    assert!(r.notes.contains(&ResourceNote::TypicalYear { set_into: 2001 }));
}

#[test]
fn tmy2_layout() {
    let r = read_tmy2(include_str!("data/tmy2_head.tm2")).unwrap();
    let place = r.place.unwrap();
    assert!(
        (place.latitude_deg - 25.8).abs() < 1e-9
            && (place.longitude_deg + 80.0 + 16.0 / 60.0).abs() < 1e-9
    );
    assert_eq!((r.records.len(), place.height_m), (72, 2.0));
    assert_eq!(r.records[0].air_c, Some(20.0));
    assert_eq!(r.records[1].air_c, Some(20.6));
    assert_eq!(r.records[0].global_w_m2, Some(0.0));
    // Noon of the first day: light, and beam·cos z + diffuse within rounding of global.
    let noon = r.records[12];
    assert!(noon.global_w_m2.unwrap() > 100.0);
    let mut checked = r.clone();
    let notes = checked.check(&Observer::at(place.latitude_deg, place.longitude_deg, 2.0).unwrap());
    assert!(
        !notes.iter().any(|n| matches!(
            n,
            ResourceNote::ClockOff { .. } | ResourceNote::LightAtNight { .. }
        )),
        "{notes:?}"
    );
}

#[test]
fn broken_typical_years_are_told() {
    assert!(matches!(read_tmy3(""), Err(ResourceError::Empty { .. })));
    assert!(matches!(read_tmy3("1,x,NC,-5\n"), Err(ResourceError::Malformed { line: 1, .. })));
    let text = include_str!("data/tmy3_head.csv");
    assert!(matches!(
        read_tmy3(&text.replace("GHI (W", "GXI (W")),
        Err(ResourceError::NoColumn { line: 2, .. })
    ));
    assert!(matches!(
        read_tmy3(&text.replacen("01/01/1988,02:00", "02/30/1988,02:00", 1)),
        Err(ResourceError::NotATime { line: 4, .. })
    ));
    let text = include_str!("data/tmy2_head.tm2");
    assert!(read_tmy2(&text.replacen(" 62010102", " 6201", 1)).is_err());
    assert!(matches!(read_tmy2("12839 MIAMI FL"), Err(ResourceError::Malformed { line: 1, .. })));
    // Cut anywhere, no reader panics.
    for cut in (0..text.len()).step_by(97) {
        let _ = read_tmy2(&text[..cut]);
    }
}

/// The same three days written in four ways give the same resource.
#[test]
fn one_weather_many_hands() {
    let year = read(GREENSBORO, &greensboro_layout()).unwrap();
    let days = &year.records[..72];
    let plain: Vec<f64> = days.iter().map(|r| r.global_w_m2.unwrap()).collect();
    let same = |r: &Resource| {
        assert_eq!(r.first_middle, year.first_middle);
        assert_eq!(r.step_s, 3600.0);
        for (a, b) in r.records.iter().zip(&plain) {
            assert!((a.global_w_m2.unwrap() - b).abs() < 1e-9);
        }
    };
    // Semicolons, decimal comma, day first, hour's start, kWh.
    let mut text = String::from("Some station\n\nDatum;Zeit;Global\n");
    for (i, g) in plain.iter().enumerate() {
        text += &format!(
            "{:02}.01.2001;{:02}:00;{}\n",
            1 + i / 24,
            i % 24,
            format!("{:.5}", g / 1000.0).replace('.', ",")
        );
    }
    let layout = Layout {
        skip_lines: 1,
        decimal_comma: true,
        time: TimeColumns::DateAndTime(Column::Named("datum".into()), Column::Named("zeit".into())),
        date_order: DateOrder::DayMonthYear,
        zone: Zone::Fixed { offset_s: -18000.0 },
        unit: LightUnit::KilowattHourPerSquareMetre,
        ..Layout::plain("", "Global")
    };
    same(&read(&text, &layout).unwrap());
    // Offsets in the stamps, tabs, no header.
    let mut text = String::new();
    for (i, g) in plain.iter().enumerate() {
        text += &format!("2001-01-{:02}T{:02}:30:00-05:00\t{g}\n", 1 + i / 24, i % 24);
    }
    let layout = Layout {
        header: false,
        time: TimeColumns::One(Column::Number(0)),
        global: Some(Column::Number(1)),
        stamp: Stamp::Middle,
        ..Layout::plain("", "")
    };
    same(&read(&text, &layout).unwrap());
    // Numbers for year, month, day, hour 1 to 24.
    let mut text = String::from("y,m,d,h,g\n");
    for (i, g) in plain.iter().enumerate() {
        text += &format!("2001,1,{},{},{g}\n", 1 + i / 24, i % 24 + 1);
    }
    let layout = Layout {
        time: TimeColumns::Parts {
            of: ["y", "m", "d", "h"].map(|n| Column::Named(n.into())),
            minute: None,
        },
        zone: Zone::Fixed { offset_s: -18000.0 },
        stamp: Stamp::End,
        ..Layout::plain("", "g")
    };
    same(&read(&text, &layout).unwrap());
}

#[test]
fn bad_tables_are_told() {
    let layout = Layout::plain("time", "ghi");
    let error = |text: &str| read(text, &layout).unwrap_err();
    assert!(matches!(error(""), ResourceError::Empty { .. }));
    assert!(matches!(error("time,ghi\n"), ResourceError::Empty { .. }));
    assert!(matches!(
        error("zeit,ghi\n2001-01-01 00:00,1\n"),
        ResourceError::NoColumn { line: 1, .. }
    ));
    assert!(matches!(
        error("time,ghi\n2001-01-01 00:00,abc\n"),
        ResourceError::NotANumber { line: 2, .. }
    ));
    assert!(matches!(error("time,ghi\nyesterday,1\n"), ResourceError::NotATime { line: 2, .. }));
    assert!(matches!(
        error("time,ghi\n2001-01-01 00:00,1\n2001-01-01 01:00,5000\n"),
        ResourceError::NotLight { line: 3, .. }
    ));
    assert!(matches!(
        error(
            "time,ghi\n2001-01-01 00:00,1\n2001-01-01 01:00,1\n2001-01-01 02:00,1\n2001-01-01 03:25,1\n"
        ),
        ResourceError::UnequalSteps { line: 5, .. }
    ));
    assert!(matches!(
        error(
            "time,ghi\n2001-01-01 00:00,1\n2001-01-01 01:00,1\n2001-01-01 02:00,1\n2001-01-01 01:00,1\n"
        ),
        ResourceError::ClockGoesBack { line: 5, .. }
    ));
    assert!(matches!(
        error("time,ghi\n0001-01-01 00:00,1\n0001-01-01 00:01,1\n9999-01-01 00:00,1\n"),
        ResourceError::TooLong { .. }
    ));
}

/// A made-up clear year: GHI = 800·cos z, in 10-minute or hourly steps from `start` on, in universal time.
fn clear(start: f64, steps: usize, step_s: f64) -> Vec<f64> {
    use overwinter_sun::position::fast::{Ephemeris, Station};
    let station = Station::new(&observer());
    let e = Ephemeris::new(start, start + steps as f64 * step_s, 67.0);
    (0..steps)
        .map(|i| {
            800.0 * e.direction(start + (i as f64 + 0.5) * step_s, &station).unwrap().up.max(0.0)
        })
        .collect()
}

fn written(start: f64, values: &[f64], step_s: f64, clock: impl Fn(f64) -> f64) -> String {
    let mut text = String::from("time,ghi\n");
    for (i, g) in values.iter().enumerate() {
        let c = Civil::at(clock(start + i as f64 * step_s), 0.0);
        let (h, m) = (c.second_of_day / 3600, c.second_of_day / 60 % 60);
        text += &format!("{}-{:02}-{:02} {h:02}:{m:02},{g:.3}\n", c.year, c.month, c.day);
    }
    text
}

#[test]
fn leap_years_zones_and_summer_time() {
    let start = days_from_civil(2024, 1, 1) as f64 * 86400.0 + 5.0 * 3600.0;
    let values = clear(start, 8784, 3600.0);
    let zone = |z| Layout { zone: z, ..Layout::plain("time", "ghi") };
    // Right zone: 8 784 hours, nothing but the leap day noted.
    let text = written(start, &values, 3600.0, |t| t - 18000.0);
    let mut right = read(&text, &zone(Zone::Fixed { offset_s: -18000.0 })).unwrap();
    assert_eq!(right.records.len(), 8784);
    assert_eq!(right.notes, [ResourceNote::LeapYear { year: 2024 }]);
    assert!(right.check(&observer()).is_empty());
    // Wrong zone: the light comes five hours off.
    let mut wrong = read(&text, &zone(Zone::Fixed { offset_s: 0.0 })).unwrap();
    let notes = wrong.check(&observer());
    let late = notes.iter().find_map(|n| match n {
        ResourceNote::ClockOff { late_min } => Some(*late_min),
        _ => None,
    });
    assert!((late.unwrap() + 300.0).abs() < 90.0, "{notes:?}");
    assert!(notes.iter().any(|n| matches!(n, ResourceNote::LightAtNight { .. })));
    // A wall clock with summer time from 10 March to 3 November (2:00), as written.
    let spring = days_from_civil(2024, 3, 10) as f64 * 86400.0 + 7.0 * 3600.0;
    let autumn = days_from_civil(2024, 11, 3) as f64 * 86400.0 + 6.0 * 3600.0;
    let wall = move |t: f64| t - 18000.0 + if (spring..autumn).contains(&t) { 3600.0 } else { 0.0 };
    let text = written(start, &values, 3600.0, wall);
    let summer = read(&text, &zone(Zone::WallClock { standard_offset_s: -18000.0 })).unwrap();
    assert_eq!(summer.records.len(), 8784);
    for (a, b) in summer.records.iter().zip(&right.records) {
        assert_eq!(a.global_w_m2, b.global_w_m2);
    }
    assert!(summer.notes.iter().any(|n| matches!(n,
        ResourceNote::DaylightSavingRemoved { spring: Some(s), autumn: Some(a) } if *s == spring && *a == autumn)), "{:?}", summer.notes);
    // The same stamps without being told: the repeated hour goes back, which is refused.
    assert!(
        matches!(
            read(&text, &zone(Zone::Fixed { offset_s: -18000.0 })),
            Err(ResourceError::ClockGoesBack { .. } | ResourceError::UnequalSteps { .. })
        ) || read(&text, &zone(Zone::Fixed { offset_s: -18000.0 }))
            .unwrap()
            .notes
            .iter()
            .any(|n| matches!(n, ResourceNote::Repeated { .. }))
    );
    // Ten-minute steps that start in July on a wall clock.
    let start = days_from_civil(2024, 7, 1) as f64 * 86400.0;
    let values = clear(start, 6 * 24 * 180, 600.0);
    let summer = read(
        &written(start, &values, 600.0, wall),
        &zone(Zone::WallClock { standard_offset_s: -18000.0 }),
    )
    .unwrap();
    assert_eq!(summer.records.len(), values.len());
    assert_eq!(summer.first_middle, start + 300.0);
}

#[test]
fn too_much_light_and_gaps_are_told() {
    let start = days_from_civil(2023, 1, 1) as f64 * 86400.0;
    let mut values = clear(start, 8760, 3600.0);
    for v in &mut values {
        *v = (*v * 1.9).min(1999.0);
    }
    let layout = Layout { air: None, ..Layout::plain("time", "ghi") };
    let mut bright = read(&written(start, &values, 3600.0, |t| t), &layout).unwrap();
    let notes = bright.check(&observer());
    assert!(
        notes.iter().any(
            |n| matches!(n, ResourceNote::AboveExtraterrestrial { worst, .. } if *worst > 1.05)
        ),
        "{notes:?}"
    );
    // Gaps: a lost week in February and scattered hours.
    let text = written(start, &clear(start, 8760, 3600.0), 3600.0, |t| t);
    let kept: String = text
        .lines()
        .enumerate()
        .filter(|(i, _)| !(900..900 + 168).contains(i) && i % 500 != 7)
        .map(|(_, l)| format!("{l}\n"))
        .collect();
    let mut gappy = read(&kept, &layout).unwrap();
    assert!(
        gappy.notes.iter().any(|n| matches!(n, ResourceNote::Gaps { longest: 168, .. })),
        "{:?}",
        gappy.notes
    );
    let notes = gappy.check(&observer());
    assert!(
        notes.iter().any(|n| matches!(n, ResourceNote::MonthIncomplete { month: 2, .. })),
        "{notes:?}"
    );
    assert_eq!(gappy.monthly_means()[1].0, None);
    assert!(gappy.monthly_means()[5].0.is_some());
    let site = Site::open(observer());
    let plane = Plane::new(50.0, 180.0).unwrap();
    for r in &mut gappy.records {
        r.air_c = Some(10.0);
    }
    assert!(matches!(
        panel_weather(&gappy, &site, &plane, GapFill::Refuse),
        Err(OnPlaneError::Gaps { longest: 168, .. })
    ));
    let filled = panel_weather(&gappy, &site, &plane, GapFill::SameTimeNearestDay).unwrap();
    assert!(filled.filled.0 > 168);
    assert_eq!(filled.irradiance_w_m2.len(), 8760);
    // No temperature at all cannot be filled.
    for r in &mut gappy.records {
        r.air_c = None;
    }
    assert!(matches!(
        panel_weather(&gappy, &site, &plane, GapFill::SameTimeNearestDay),
        Err(OnPlaneError::Nothing { what: "air temperature" })
    ));
}

#[test]
fn global_is_made_from_components() {
    let mut r = read(GREENSBORO, &greensboro_layout()).unwrap();
    let original: Vec<f64> = r.records.iter().map(|x| x.global_w_m2.unwrap()).collect();
    for x in &mut r.records {
        x.global_w_m2 = None;
    }
    assert_eq!(complete_global(&mut r, &Site::open(observer())), 8760);
    let made: f64 = r.records.iter().map(|x| x.global_w_m2.unwrap()).sum();
    let total: f64 = original.iter().sum();
    assert!((made / total - 1.0).abs() < 0.03, "{}", made / total);
}

fn climate(latitude_deg: f64, irradiation: [Option<f64>; 12]) -> Result<Climate, ClimateError> {
    Climate::new(ClimateInput {
        latitude_deg,
        irradiation_kwh_m2: irradiation,
        day_correlation: 0.3,
        between_year_cv: 0.1,
        temperature: Temperature {
            season: Season::Monthly([
                0.0, 1.0, 5.0, 9.0, 14.0, 17.0, 19.0, 18.0, 14.0, 10.0, 4.0, 1.0,
            ]),
            spread_k: 3.0,
            day_correlation: 0.7,
            weather_correlation: [-0.3, 0.4],
            daily_range_k: 8.0,
        },
    })
}

#[test]
fn monthly_figures_that_cannot_be() {
    let good = [1.15, 2.0, 3.2, 4.3, 5.0, 5.5, 5.7, 4.9, 3.6, 2.2, 1.25, 0.90].map(Some);
    assert!(climate(47.0, good).unwrap().notes().is_empty());
    let mut missing = good;
    missing[1] = None;
    missing[6] = None;
    assert_eq!(
        climate(47.0, missing).unwrap_err(),
        ClimateError::MonthsMissing { months: vec![2, 7] }
    );
    // Wrong unit (MJ), or the wrong hemisphere: December at 47° S reads as winter.
    assert!(matches!(
        climate(47.0, good.map(|h| h.map(|h| h * 3.6))),
        Err(ClimateError::AboveExtraterrestrial { month: 1, .. })
    ));
    assert!(matches!(
        climate(-47.0, good),
        Err(ClimateError::AboveExtraterrestrial { month: 4..=7, .. })
    ));
    let mut negative = good;
    negative[0] = Some(-1.0);
    assert!(matches!(climate(47.0, negative), Err(ClimateError::NotLight { month: 1, .. })));
    assert!(matches!(climate(95.0, good), Err(ClimateError::Latitude { .. })));
    // The same figures six months on are a southern climate.
    let south: [Option<f64>; 12] = std::array::from_fn(|m| good[(m + 6) % 12]);
    assert!(climate(-47.0, south).is_ok());
    // Polar night: dark months are zero and told; light there is refused.
    let polar: [Option<f64>; 12] = std::array::from_fn(|m| {
        Some(0.5 * overwinter_sun::extraterrestrial::monthly_mean_kwh_m2(m, 75.0, 1367.0))
    });
    let north = climate(75.0, polar).unwrap();
    assert!(
        north.notes().iter().filter(|n| matches!(n, ClimateNote::PolarNight { .. })).count() >= 2,
        "{:?}",
        north.notes()
    );
    let days = north.year(1, 1, 182);
    assert!(
        days.iter().all(|d| d.clearness.is_finite())
            && days[182..197].iter().all(|d| d.clearness == 0.0)
    );
    let mut lit = polar;
    lit[11] = Some(0.5);
    assert!(matches!(
        climate(75.0, lit),
        Err(ClimateError::AboveExtraterrestrial { month: 12, .. })
    ));
}

#[test]
fn planes_over_the_edge() {
    assert!(Plane::new(120.0, 180.0).is_ok(), "looks at the ground");
    assert!(matches!(Plane::new(181.0, 180.0), Err(PlaneError::Tilt { .. })));
    assert!(matches!(Plane::new(30.0, -10.0), Err(PlaneError::Azimuth { .. })));
    // Face down: ground light only.
    let months = overwinter_sun::plane::monthly_on_plane(
        &Site::open(observer()),
        &Plane::new(180.0, 180.0).unwrap(),
        &[3.0; 12],
    );
    for m in months {
        assert!((m.on_plane_kwh_m2 - 0.2 * 3.0).abs() < 1e-9, "{m:?}");
    }
}

proptest::proptest! {
    /// Whatever the text, a reader answers; it never panics.
    #[test]
    fn readers_never_panic(text in "[0-9a-zA-Z,;:./+\\- \n\t\"#°é]{0,200}", order in 0..3_u8) {
        let order = [DateOrder::YearMonthDay, DateOrder::DayMonthYear, DateOrder::MonthDayYear][usize::from(order)];
        let _ = overwinter_sun::resource::text_time::parse(&text, order);
        let _ = read_tmy2(&text);
        let _ = read_tmy3(&format!("1,x,NC,-5,36,-80,200\nDate (,Time (,GHI (W,DNI (W,DHI (W,Dry-bulb (\n{text}"));
        let _ = read(&text, &Layout::plain("time", "ghi"));
        let body = format!("t,g\n{text}");
        let _ = read(&body, &Layout { date_order: order, ..Layout::plain("t", "g") });
        let numbers = Layout { header: false, time: TimeColumns::One(Column::Number(0)), global: Some(Column::Number(1)), ..Layout::plain("", "") };
        let _ = read(&text, &Layout { zone: Zone::WallClock { standard_offset_s: 3600.0 }, ..numbers });
    }
}
