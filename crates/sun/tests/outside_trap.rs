//! Trap 8 of the design notes, "annual mean sun", reproduced with the assumptions printed there.
//!
//! Source of the expected figures: the design notes (5 runs × 2000 years of an independent model): 94.5 ± 0.7 % of years with an outage, 5.8 ± 0.1 % of
//! days; 20 % if charging in the frost were permitted; 0 of 6000 at the smaller load. Here 2000 years each, five seeds.
#![allow(
    clippy::print_stdout,
    clippy::disallowed_methods,
    clippy::format_push_string,
    clippy::format_collect,
    reason = "checks print their figures, write small tables and may use the standard elementary functions"
)]

use overwinter_sun::balance::daily::{DailyBank, DailyGeometry, daily_year};
use overwinter_sun::balance::for_each_year;
use overwinter_sun::interval::share_with_interval;
use overwinter_sun::plane::Site;
use overwinter_sun::position::Observer;
use overwinter_sun::synthetic::climate::{Climate, ClimateInput, Season, Temperature};
use overwinter_sun::time::DAYS_IN_MONTH;

const IRRADIATION: [f64; 12] = [1.15, 2.0, 3.2, 4.3, 5.0, 5.5, 5.7, 4.9, 3.6, 2.2, 1.25, 0.90];
/// 1 mAh in coulombs.
const MAH: f64 = 3.6;

fn gorge() -> Climate {
    Climate::new(ClimateInput {
        latitude_deg: 47.0,
        irradiation_kwh_m2: IRRADIATION.map(Some),
        day_correlation: 0.3,
        between_year_cv: 0.0,
        temperature: Temperature {
            season: Season::Cosine { mean_c: 7.0, amplitude_k: 9.0, coldest_day: 15.0 },
            spread_k: 4.0,
            day_correlation: 0.7,
            weather_correlation: [0.0, 0.0],
            daily_range_k: 0.0,
        },
    })
    .unwrap()
}

fn geometry() -> DailyGeometry {
    let mut site = Site::open(Observer::at(47.0, 8.0, 500.0).unwrap());
    site.beam_share = core::array::from_fn(|m| if m <= 1 || m >= 10 { 0.3 } else { 0.7 });
    site.sky_view = Some(0.6);
    site.albedo = 0.0;
    site.soiling = 0.92;
    DailyGeometry::new(&site, 75.0)
}

fn bank(load_mah: f64, frost: bool) -> DailyBank {
    DailyBank {
        panel_current_a: 0.050,
        usable_c: 400.0 * MAH,
        load_c_per_day: load_mah * MAH,
        self_discharge_per_day: 6.6456e-4,
        least_charge_c: if frost { None } else { Some(0.0) },
        cell_above_air_k: 3.0,
    }
}

struct Outcome {
    share_of_years: f64,
    share_of_days: f64,
    on_plane_kwh_m2_a_day: f64,
    december_kwh_m2_a_day: f64,
    with_outage: u32,
}

fn simulate(load_mah: f64, frost: bool, seed: u64, years: usize) -> Outcome {
    let (climate, geometry, bank) = (gorge(), geometry(), bank(load_mah, frost));
    let runs = for_each_year(years, |year| daily_year(&bank, &geometry, &climate, seed, year, 182));
    let with_outage = runs.iter().filter(|y| y.outage_days > 0).count() as u32;
    let days: u32 = runs.iter().map(|y| y.outage_days).sum();
    let n = years as f64;
    Outcome {
        share_of_years: f64::from(with_outage) / n,
        share_of_days: f64::from(days) / (365.0 * n),
        on_plane_kwh_m2_a_day: runs.iter().map(|y| y.on_plane_kwh_m2).sum::<f64>() / (365.0 * n),
        december_kwh_m2_a_day: runs.iter().map(|y| y.by_month_kwh_m2[11]).sum::<f64>() / (31.0 * n),
        with_outage,
    }
}

#[test]
fn the_naive_figures() {
    // 3.31 kWh/m² a day (mean of the twelve by days) → 165 mAh/d, "5.6 times" the load of 29.4.
    let mean: f64 =
        IRRADIATION.iter().zip(DAYS_IN_MONTH).map(|(h, d)| h * f64::from(d)).sum::<f64>() / 365.0;
    assert!((mean - 3.31).abs() < 0.02, "{mean}");
    assert!((mean * 50.0 / 29.4 - 5.6).abs() < 0.05);
}

/// Mean and standard deviation over five runs of 2000 years, as the notes made theirs.
fn five_runs(frost: bool, f: fn(&Outcome) -> f64) -> (f64, f64) {
    let values: Vec<f64> = (1..=5).map(|seed| f(&simulate(29.4, frost, seed, 2000))).collect();
    let mean = values.iter().sum::<f64>() / 5.0;
    let variance = values.iter().map(|v| (v - mean) * (v - mean)).sum::<f64>() / 4.0;
    (mean, variance.sqrt())
}

#[test]
fn the_light_on_the_panel() {
    let o = simulate(29.4, false, 1, 2000);
    // The notes' 1.655 and 0.60 kWh/m² a day are before the soiling of 0.92, their 27.5 mAh/d after it: 27.5/50/0.92 = 0.598.
    // Ours lie 0.6 and 2 % higher: Klein's ratio of every day here, probably of the month's representative day there.
    assert!((o.on_plane_kwh_m2_a_day / 0.92 - 1.655).abs() < 0.02, "{}", o.on_plane_kwh_m2_a_day);
    assert!((o.december_kwh_m2_a_day / 0.92 - 0.60).abs() < 0.015, "{}", o.december_kwh_m2_a_day);
}

#[test]
fn the_gorge_goes_dark_almost_every_winter() {
    let (years, spread) = five_runs(false, |o| o.share_of_years);
    let (days, _) = five_runs(false, |o| o.share_of_days);
    println!("share of years {years:.4} ± {spread:.4}, of days {days:.4}");
    assert!((years - 0.945).abs() < 0.007 + 0.005, "{years}");
    assert!((days - 0.058).abs() < 0.002, "{days}");
}

#[test]
fn charging_in_the_frost_would_hide_it() {
    let (years, spread) = five_runs(true, |o| o.share_of_years);
    println!("with frost charging {years:.4} ± {spread:.4}");
    // The notes print "20 %" without a spread; ours between runs of 2000 years is about one point.
    assert!((years - 0.20).abs() < 0.015, "{years}");
}

#[test]
fn a_quarter_of_the_load_never_goes_dark() {
    let o = simulate(6.8, false, 1, 6000);
    assert_eq!(o.with_outage, 0);
    let share = share_with_interval(o.with_outage, 6000).unwrap();
    assert!(share.high < 3.0 / 6000.0 + 1e-6);
}

/// The hourly balance of the same place and bank: voltage, charger, constant voltage, cold capacity and self-discharge by temperature are now in it, so the
/// figures need not be the daily bank's; the story must be. No outside figure: a check of one model here against the other.
#[test]
fn the_hourly_balance_tells_the_same_story() {
    use overwinter_sun::balance::map::Years;
    use overwinter_sun::balance::summary::simulate;
    use overwinter_sun::balance::tables::{SteadyDemand, TableBank};
    use overwinter_sun::balance::{Node, NodeTables};
    use overwinter_sun::charger::{Charger, Coupling, NightLeak, Source};
    use overwinter_sun::panel::label::{Label, from_label};
    use overwinter_sun::synthetic::geometry::YearGeometry;
    use overwinter_sun::transposition::{Plane, Sky};
    let mut site = Site::open(Observer::at(47.0, 8.0, 500.0).unwrap());
    site.beam_share = core::array::from_fn(|m| if m <= 1 || m >= 10 { 0.3 } else { 0.7 });
    site.sky_view = Some(0.6);
    site.albedo = 0.0;
    site.soiling = 0.92;
    site.sky = Sky::Isotropic;
    let geometry = YearGeometry::new(&site, &Plane::new(75.0, 180.0).unwrap());
    let climate = gorge();
    let years = Years {
        climate: &climate,
        geometry: &geometry,
        seed: 1,
        first_year: 0,
        years: 400,
        first_day: 182,
    };
    let label = Label { power_w: Some(0.3), maximum_power_v: Some(6.0), ..Label::default() };
    let source = |window, rise_v: f64| Source {
        panel: from_label(&label).unwrap().panel,
        heating_k_m2_per_w: 0.0,
        coupling: Coupling::Straight,
        charger: Charger {
            temperature_window_c: window,
            input_rise_v: rise_v,
            input_fall_v: rise_v - 0.2,
            ..Charger::usual(0.1)
        },
        night_leak: NightLeak::default(),
    };
    let bank = TableBank { capacity_share: vec![], ..TableBank::lithium_ion(400.0 * MAH) };
    let run = |load_mah: f64, window, rise_v| {
        let demand =
            SteadyDemand { current_a: load_mah / 24.0 / 1000.0, dark_a: 0.0, lowest_state: 0.0 };
        let tables = NodeTables::new(&bank, &demand).unwrap();
        let source = source(window, rise_v);
        let node = Node { cell_above_air_k: 3.0, ..Node::new(&tables, &source) };
        simulate(&node, &years).unwrap()
    };
    let guarded = run(29.4, Some((0.0, 45.0)), 3.0);
    let permitted = run(29.4, None, 3.0);
    let small = run(6.8, Some((0.0, 45.0)), 3.0);
    println!(
        "hourly: {:.3} of years, {:.4} of days; frost charging permitted {:.3}; at the smaller load {:.3}",
        guarded.years_with_outage.share,
        guarded.share_of_days_out,
        permitted.years_with_outage.share,
        small.years_with_outage.share
    );
    assert!(guarded.years_with_outage.share > 0.85);
    assert!((0.04..0.09).contains(&guarded.share_of_days_out));
    assert!(
        permitted.years_with_outage.share < 0.5 && permitted.frost_charge_hours_per_year > 50.0
    );
    assert_eq!(small.years_with_outage.share, 0.0);
    // What the daily bank cannot know: with the usual input threshold (3.6 V on, 3.4 V off) a panel weaker than the set current sags to an empty cell's
    // voltage and the charger hiccups, so that an emptied bank hardly comes back.
    let locked = run(29.4, Some((0.0, 45.0)), 3.6);
    println!("with the usual threshold {:.4} of days", locked.share_of_days_out);
    assert!(!source(None, 3.6).recovers_empty_cell() && source(None, 3.0).recovers_empty_cell());
    assert!(locked.share_of_days_out > 2.0 * guarded.share_of_days_out);
    assert!(locked.ledger.refused_chatter_c > 0.0 && guarded.ledger.refused_chatter_c == 0.0);
}
