//! Many synthetic years of one node: the summary's parts agree, the fan is ordered, the map finds the smallest pair, the cautions speak.
#![allow(clippy::print_stdout, reason = "checks print their figures")]

use overwinter_sun::balance::map::{Years, midsummer, outage_map};
use overwinter_sun::balance::summary::{rule_of_thumb, simulate};
use overwinter_sun::balance::tables::{SteadyDemand, TableBank};
use overwinter_sun::balance::{Node, NodeTables, RideThrough};
use overwinter_sun::cautions::{Caution, cautions};
use overwinter_sun::charger::{Charger, ChargerCaution, Coupling, NightLeak, Source};
use overwinter_sun::panel::label::{Label, from_label};
use overwinter_sun::plane::{Site, best_tilt, monthly_on_plane};
use overwinter_sun::position::Observer;
use overwinter_sun::skyline::Skyline;
use overwinter_sun::synthetic::climate::{Climate, ClimateInput, Season, Temperature};
use overwinter_sun::synthetic::geometry::YearGeometry;
use overwinter_sun::transposition::Plane;

const IRRADIATION: [f64; 12] = [1.15, 2.0, 3.2, 4.3, 5.0, 5.5, 5.7, 4.9, 3.6, 2.2, 1.25, 0.90];

fn climate(latitude: f64) -> Climate {
    let shift = if latitude < 0.0 { 6 } else { 0 };
    Climate::new(ClimateInput {
        latitude_deg: latitude,
        irradiation_kwh_m2: std::array::from_fn(|m| Some(IRRADIATION[(m + shift) % 12])),
        day_correlation: 0.3,
        between_year_cv: 0.15,
        temperature: Temperature {
            season: Season::Cosine {
                mean_c: 7.0,
                amplitude_k: 9.0,
                coldest_day: if latitude < 0.0 { 197.0 } else { 15.0 },
            },
            spread_k: 4.0,
            day_correlation: 0.7,
            weather_correlation: [-0.2, 0.3],
            daily_range_k: 8.0,
        },
    })
    .unwrap()
}

fn gorge(latitude: f64) -> Site {
    let mut site = Site::open(Observer::at(latitude, 8.0, 500.0).unwrap());
    site.skyline =
        Skyline::from_points(&[(0.0, 30.0), (90.0, 25.0), (180.0, 12.0), (270.0, 25.0)]).unwrap();
    site.soiling = 0.92;
    site.snow_days[0] = 6.0;
    site
}

fn source(power_w: f64) -> Source {
    let label = Label { power_w: Some(power_w), maximum_power_v: Some(6.0), ..Label::default() };
    Source {
        panel: from_label(&label).unwrap().panel,
        heating_k_m2_per_w: 0.03125,
        coupling: Coupling::Straight,
        charger: Charger::usual(0.1),
        night_leak: NightLeak { at_25_a: 1e-6, doubling_k: 10.0 },
    }
}

fn tables(mah: f64) -> NodeTables {
    let demand = SteadyDemand { current_a: 1.2e-3, dark_a: 4e-6, lowest_state: 0.05 };
    NodeTables::new(&TableBank::lithium_ion(mah * 3.6), &demand).unwrap()
}

#[test]
fn a_summary_agrees_with_itself() {
    let (climate, site, plane) = (climate(47.0), gorge(47.0), Plane::new(70.0, 180.0).unwrap());
    let geometry = YearGeometry::new(&site, &plane);
    let years = Years {
        climate: &climate,
        geometry: &geometry,
        seed: 3,
        first_year: 0,
        years: 60,
        first_day: midsummer(47.0),
    };
    let (t, s) = (tables(400.0), source(0.3));
    let mut node = Node::new(&t, &s);
    node.ride_through = RideThrough::Never;
    let y = simulate(&node, &years).unwrap();
    println!(
        "{:?} {} days, longest {:.0} h",
        y.years_with_outage, y.outage_days_per_year, y.longest_dark_h
    );
    assert!((y.ledger.residual_c() / y.ledger.load_c).abs() < 1e-9);
    assert!((y.ledger.offer_residual_c() / y.ledger.offered_c).abs() < 1e-9);
    assert!((y.outage_days_by_month.iter().sum::<f64>() - y.outage_days_per_year).abs() < 1e-9);
    assert!(
        y.years_with_outage.low <= y.years_with_outage.share
            && y.years_with_outage.share <= y.years_with_outage.high
    );
    assert!((y.share_full * 8760.0 - y.full_hours_per_year).abs() < 1e-6);
    assert!((y.share_of_days_out * 365.0 - y.outage_days_per_year).abs() < 1e-9);
    // Once a day at dusk; on top of it chatter, when the cell is so empty that the input sags below the charger's threshold.
    let dusks = y.inputs_lost_per_year - y.chatter_events_per_year;
    assert!((340.0..=400.0).contains(&dusks), "{dusks}");
    assert!(y.resets_per_year_least <= y.inputs_lost_per_year && y.resets_per_year_least > 250.0);
    assert!(y.outage_days_per_year > 0.0, "this node is meant to be too small");
    assert!(matches!(y.worst_month, Some(12 | 1 | 2)), "{:?}", y.worst_month);
    assert_eq!(y.fan.len(), 365);
    for d in &y.fan {
        assert!(
            d.lowest <= d.p05
                && d.p05 <= d.p25
                && d.p25 <= d.p50
                && d.p50 <= d.p75
                && d.p75 <= d.p95
        );
    }
    let winter = y.fan.iter().find(|d| d.day_of_year == 5).unwrap();
    let summer = y.fan.iter().find(|d| d.day_of_year == 200).unwrap();
    assert!(winter.p50 < summer.p50);
    assert!(y.frost_charge_hours_per_year > 10.0);
    let said = cautions(&s, t.load_a(0.0), &y);
    assert!(said.contains(&Caution::Charger(ChargerCaution::NothingPreventsFrostCharging)));
    assert!(said.iter().any(|c| matches!(c, Caution::FrostCharging { .. })));
    assert!(said.iter().all(|c| !c.to_string().is_empty()));
    // A charger with a temperature input takes the frost charging away and costs light.
    let mut guarded = s.clone();
    guarded.charger.temperature_window_c = Some((0.0, 45.0));
    let g = simulate(&Node { source: &guarded, ..node.clone() }, &years).unwrap();
    assert_eq!(g.frost_charge_hours_per_year, 0.0);
    assert!(g.outage_days_per_year >= y.outage_days_per_year);
    assert!(g.ledger.refused_temperature_c > 0.0);
    // The same seed gives the same years.
    assert_eq!(simulate(&node, &years).unwrap(), y);
}

#[test]
fn the_south_is_the_north_half_a_year_on() {
    let node_days = |latitude: f64| {
        let (climate, mut site) =
            (climate(latitude), Site::open(Observer::at(latitude, 8.0, 500.0).unwrap()));
        site.albedo = 0.2;
        let plane = Plane::towards_equator(65.0, latitude).unwrap();
        let geometry = YearGeometry::new(&site, &plane);
        let years = Years {
            climate: &climate,
            geometry: &geometry,
            seed: 3,
            first_year: 0,
            years: 150,
            first_day: midsummer(latitude),
        };
        let (t, s) = (tables(300.0), source(0.12));
        simulate(&Node::new(&t, &s), &years).unwrap()
    };
    let (north, south) = (node_days(47.0), node_days(-47.0));
    println!(
        "north {:.2} south {:.2} days a year",
        north.outage_days_per_year, south.outage_days_per_year
    );
    assert!(matches!(north.worst_month, Some(12 | 1)) && matches!(south.worst_month, Some(6 | 7)));
    // June is 30 days and the Earth farther out than in December: not the same, but alike.
    let spread =
        north.outage_days_standard_error.unwrap() + south.outage_days_standard_error.unwrap();
    assert!((north.outage_days_per_year - south.outage_days_per_year).abs() < 4.0 * spread + 3.0);
    // Polar night: months without light, and nothing panics.
    let polar = Climate::new(ClimateInput {
        irradiation_kwh_m2: std::array::from_fn(|m| {
            Some(0.5 * overwinter_sun::extraterrestrial::monthly_mean_kwh_m2(m, 75.0, 1367.0))
        }),
        latitude_deg: 75.0,
        ..climate(47.0).input().clone()
    })
    .unwrap();
    let site = Site::open(Observer::at(75.0, 20.0, 10.0).unwrap());
    let geometry = YearGeometry::new(&site, &Plane::new(80.0, 180.0).unwrap());
    let (t, s) = (tables(300.0), source(1.0));
    let years = Years {
        climate: &polar,
        geometry: &geometry,
        seed: 1,
        first_year: 0,
        years: 5,
        first_day: 182,
    };
    let y = simulate(&Node::new(&t, &s), &years).unwrap();
    assert_eq!(y.years_with_outage.share, 1.0);
    assert!(y.longest_dark_h > 30.0 * 24.0);
}

/// The map leaves out pairs beyond a safe one; every count must be that of running them all.
#[test]
fn the_map_counts_as_if_every_pair_were_run() {
    let plane = Plane::new(70.0, 180.0).unwrap();
    let mut compared = 0;
    for (seed, latitude, restart_drop_v, input_v) in
        [(5, 47.0, 0.12, (3.6, 3.4)), (6, 45.0, 0.15, (4.4, 4.2)), (7, -47.0, 0.05, (3.0, 2.8))]
    {
        let (climate, site) = (climate(latitude), gorge(latitude));
        let geometry = YearGeometry::new(&site, &plane);
        let years = Years {
            climate: &climate,
            geometry: &geometry,
            seed,
            first_year: 3,
            years: 12,
            first_day: overwinter_sun::balance::map::midsummer(latitude),
        };
        let sources: Vec<Source> = [0.15, 0.3, 0.6, 1.2, 2.4]
            .map(|w| {
                let mut source = source(w);
                source.charger.restart_drop_v = restart_drop_v;
                (source.charger.input_rise_v, source.charger.input_fall_v) = input_v;
                source
            })
            .into();
        let cells: Vec<NodeTables> = [150.0, 300.0, 600.0, 1200.0, 2400.0].map(tables).into();
        let habits = Node::new(&cells[0], &sources[0]);
        let counts = overwinter_sun::balance::map::outage_counts(&years, &sources, &cells, &habits);
        for (at, count) in counts.iter().enumerate() {
            let node = Node { tables: &cells[at % 5], source: &sources[at / 5], ..habits.clone() };
            let full = simulate(&node, &years).unwrap();
            let days = (full.outage_days_per_year * 12.0).round() as u32;
            let with = (full.years_with_outage.share * 12.0).round() as u32;
            assert_eq!((count.years_with_outage, count.outage_days), (with, days), "pair {at}");
            compared += 1;
        }
        let safe = counts.iter().filter(|c| c.years_with_outage == 0).count();
        println!("latitude {latitude}: {safe} of 25 pairs never dark");
    }
    assert_eq!(compared, 75);
}

/// Of later years the map asks only whether they are dark: a run ends with the first dark day, and a pair that even its panel's short-circuit current
/// cannot keep alive is not run. The counts must be those of whole years.
#[test]
fn later_years_of_the_map_are_asked_only_whether_they_are_dark() {
    use overwinter_sun::balance::map::{DAYS_YEARS, outage_counts};
    let (climate, site, plane) = (climate(47.0), gorge(47.0), Plane::new(70.0, 180.0).unwrap());
    let geometry = YearGeometry::new(&site, &plane);
    let first_year = u64::from(DAYS_YEARS) - 2;
    let years = Years {
        climate: &climate,
        geometry: &geometry,
        seed: 11,
        first_year,
        years: 12,
        first_day: 182,
    };
    // From hopeless to ample, with a few in between.
    let sources: Vec<Source> = [0.002, 0.01, 0.03, 0.1, 0.3, 1.0].map(source).into();
    let cells: Vec<NodeTables> = [20.0, 100.0, 400.0, 1200.0].map(tables).into();
    let habits = Node::new(&cells[0], &sources[0]);
    let counts = outage_counts(&years, &sources, &cells, &habits);
    for (at, count) in counts.iter().enumerate() {
        let node = Node { tables: &cells[at % 4], source: &sources[at / 4], ..habits.clone() };
        let (mut with, mut days) = (0, 0);
        for year in first_year..first_year + 12 {
            let one = simulate(&node, &Years { first_year: year, years: 1, ..years }).unwrap();
            let dark = one.outage_days_per_year as u32;
            with += u32::from(dark > 0);
            days += if year < u64::from(DAYS_YEARS) { dark } else { 0 };
        }
        assert_eq!((count.years_with_outage, count.outage_days), (with, days), "pair {at}");
    }
    let between = counts.iter().filter(|c| (1..12).contains(&c.years_with_outage)).count();
    let always = counts.iter().filter(|c| c.years_with_outage == 12).count();
    assert!(between >= 2 && (6..20).contains(&always), "{counts:?}");
}

#[test]
fn the_map_finds_the_smallest_pair() {
    let (climate, site, plane) = (climate(47.0), gorge(47.0), Plane::new(70.0, 180.0).unwrap());
    let geometry = YearGeometry::new(&site, &plane);
    let years = Years {
        climate: &climate,
        geometry: &geometry,
        seed: 3,
        first_year: 0,
        years: 40,
        first_day: 182,
    };
    let sources: Vec<Source> = [0.2, 0.5, 1.0, 2.0].map(source).into();
    let cells: Vec<NodeTables> = [300.0, 800.0, 2000.0].map(tables).into();
    let habits = Node::new(&cells[0], &sources[0]);
    let map = outage_map(&years, &sources, &cells, &habits).unwrap();
    assert_eq!(map.points.len(), 12);
    // The map's quick run agrees with the full one.
    for (panel, cell) in [(0, 0), (2, 1)] {
        let node = Node { tables: &cells[cell], source: &sources[panel], ..habits.clone() };
        let full = simulate(&node, &years).unwrap();
        let quick = map.point(panel, cell).unwrap();
        assert_eq!(quick.years_with_outage, full.years_with_outage);
        assert!((quick.outage_days_per_year - full.outage_days_per_year).abs() < 1e-9);
    }
    let smallest = map.smallest(0.10);
    println!("{smallest:?}");
    let choice = smallest.choice.expect("2 W and 2 Ah are plenty");
    assert!(choice.years_with_outage.high <= 0.10);
    if choice.panel > 0 {
        assert!(smallest.cell_for_panel[choice.panel - 1].is_none());
    }
    if let Some(up) = smallest.one_panel_up {
        assert!(up.outage_days_per_year <= choice.outage_days_per_year);
    }
    assert!(map.smallest(0.0).choice.is_none(), "forty years promise no zero");
    assert!(outage_map(&years, &[], &cells, &habits).is_none());
}

#[test]
fn tilt_and_rule_of_thumb() {
    let site = Site::open(Observer::at(47.0, 8.0, 500.0).unwrap());
    let best = best_tilt(&site, 180.0, &IRRADIATION, &[1.0; 12]);
    println!("{best:?}");
    assert_eq!(best.worst_month, 12);
    // Design notes: winter tilt is about latitude + 15…25°.
    assert!((60.0..=75.0).contains(&best.tilt_deg));
    let plane = Plane::new(best.tilt_deg, 180.0).unwrap();
    let months = monthly_on_plane(&site, &plane, &IRRADIATION).map(|m| m.on_plane_kwh_m2);
    assert!(months.iter().all(|&m| m >= best.worst_kwh_m2 - 1e-12));
    let rule = rule_of_thumb(0.05, &months, 29.4 / 24.0 / 1000.0, 13.6, true);
    assert_eq!(rule.worst_month, 12);
    // 50 mA × 1.8 kWh/m² = 91 mAh a day against 29.4.
    assert!(
        (rule.worst_month_ratio - 50.0 * best.worst_kwh_m2 / 29.4).abs() < 1e-9 && rule.ratio_ok
    );
    assert!(!rule.autonomy_ok, "13.6 days are too few in a gorge");
}
