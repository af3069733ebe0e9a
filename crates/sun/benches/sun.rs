//! Speed beside the reference library, in one run: `cargo bench -p overwinter-sun --features parallel`.
//!
//! The peer is pvlib in a Python environment of its own under `target/sun-peer` (made with `python3 -m venv` and `pip` on first use). Every figure is
//! the least of several runs, the order of the two peers alternates. The last line is for machines.

use overwinter_sun::balance::map::{Years, hourly_year, midsummer, outage_map};
use overwinter_sun::balance::step::{Detail, Weather, run};
use overwinter_sun::balance::tables::{SteadyDemand, TableBank};
use overwinter_sun::balance::{Node, NodeTables, for_each_year};
use overwinter_sun::charger::{Charger, Coupling, NightLeak, Source};
use overwinter_sun::clear_sky::{Ineichen, standard_pressure_pa};
use overwinter_sun::extraterrestrial::{SOLAR_CONSTANT_W_M2, spencer_w_m2};
use overwinter_sun::panel::label::{Label, from_label};
use overwinter_sun::plane::Site;
use overwinter_sun::position::Observer;
use overwinter_sun::position::fast::{Ephemeris, Station};
use overwinter_sun::position::sun_position;
use overwinter_sun::resource::on_plane::{GapFill, panel_weather};
use overwinter_sun::resource::{Record, Resource};
use overwinter_sun::synthetic::climate::{Climate, ClimateInput, Season, Temperature};
use overwinter_sun::synthetic::geometry::YearGeometry;
use overwinter_sun::time::{Civil, USUAL_DELTA_T_S, days_from_civil};
use overwinter_sun::transposition::{Moment, Plane, Sky, on_plane};
use std::hint::black_box;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::time::Instant;

const HOURS: usize = 175_320;

fn start() -> f64 {
    days_from_civil(2005, 1, 1) as f64 * 86400.0 + 1800.0
}

fn place() -> Observer {
    Observer::at(47.0, 8.0, 500.0).expect("a place on Earth")
}

/// Position, clear sky (Linke 3) and Hay-Davies on 60° south for twenty years of hours: fills zenith, azimuth and plane-of-array.
fn twenty_years(zenith: &mut [f64], azimuth: &mut [f64], global: &mut [f64], on_panel: &mut [f64]) {
    let observer = place();
    let station = Station::new(&observer);
    let plane = Plane::new(60.0, 180.0).expect("a plane");
    let n = plane.normal();
    let (sin_tilt, cos_tilt) = libm::sincos(plane.tilt_deg.to_radians());
    let sky = Ineichen::new(3.0, observer.height_m, standard_pressure_pa(observer.height_m));
    let ephemeris = Ephemeris::new(start(), start() + 3600.0 * HOURS as f64, USUAL_DELTA_T_S);
    let mut e0 = 0.0;
    let run = ephemeris.for_each(start(), 3600.0, HOURS, &station, |i, direction| {
        if i % 24 == 0 {
            let at = start() + 3600.0 * i as f64;
            e0 = spencer_w_m2(Civil::at(at, 0.0).day_of_year(), SOLAR_CONSTANT_W_M2);
        }
        let p = direction.position(&observer);
        zenith[i] = p.apparent_zenith_deg;
        azimuth[i] = p.azimuth_deg;
        if p.apparent_zenith_deg >= 90.0 {
            global[i] = 0.0;
            on_panel[i] = 0.0;
            return;
        }
        let clear = sky.irradiance(p.apparent_zenith_deg, e0);
        let moment = Moment {
            cos_zenith: direction.up,
            cos_incidence: direction.east * n[0] + direction.north * n[1] + direction.up * n[2],
            extraterrestrial_w_m2: e0,
            relative_air_mass: 0.0,
        };
        global[i] = clear.global_w_m2;
        on_panel[i] =
            on_plane(Sky::HayDavies, &clear, &moment, cos_tilt, sin_tilt, 0.2).total_w_m2();
    });
    run.expect("the ephemeris spans the twenty years");
}

fn source(power_w: f64) -> Source {
    let label = Label { power_w: Some(power_w), maximum_power_v: Some(6.0), ..Label::default() };
    Source {
        panel: from_label(&label).expect("a label").panel,
        heating_k_m2_per_w: 0.03125,
        coupling: Coupling::Straight,
        charger: Charger::usual(0.1),
        night_leak: NightLeak { at_25_a: 1e-6, doubling_k: 10.0 },
    }
}

fn tables(mah: f64) -> NodeTables {
    let demand = SteadyDemand { current_a: 211e-6, dark_a: 4e-6, lowest_state: 0.05 };
    NodeTables::new(&TableBank::lithium_ion(mah * 3.6), &demand).expect("a bank")
}

fn climate() -> Climate {
    Climate::new(ClimateInput {
        latitude_deg: 47.0,
        irradiation_kwh_m2: [1.15, 2.0, 3.2, 4.3, 5.0, 5.5, 5.7, 4.9, 3.6, 2.2, 1.25, 0.90]
            .map(Some),
        day_correlation: 0.3,
        between_year_cv: 0.15,
        temperature: Temperature {
            season: Season::Cosine { mean_c: 7.0, amplitude_k: 9.0, coldest_day: 15.0 },
            spread_k: 4.0,
            day_correlation: 0.7,
            weather_correlation: [-0.2, 0.3],
            daily_range_k: 8.0,
        },
    })
    .expect("a climate")
}

/// Twenty years of hours as a file would give them: clear sky times a wave of weather.
fn measured() -> Resource {
    let (mut z, mut a, mut g, mut p) =
        (vec![0.0; HOURS], vec![0.0; HOURS], vec![0.0; HOURS], vec![0.0; HOURS]);
    twenty_years(&mut z, &mut a, &mut g, &mut p);
    let records = g
        .iter()
        .enumerate()
        .map(|(i, g)| Record {
            global_w_m2: Some(g * (0.55 + 0.4 * libm::sin(i as f64 / 61.0))),
            air_c: Some(7.0 - 9.0 * libm::cos(i as f64 / 1395.0)),
            ..Record::default()
        })
        .collect();
    Resource {
        first_middle: start(),
        step_s: 3600.0,
        clock_offset_s: 3600.0,
        records,
        place: None,
        notes: Vec::new(),
    }
}

fn least<T>(runs: usize, mut f: impl FnMut() -> T) -> f64 {
    (0..runs)
        .map(|_| {
            let begin = Instant::now();
            black_box(f());
            begin.elapsed().as_secs_f64()
        })
        .fold(f64::INFINITY, f64::min)
}

/// The peer's environment, made on first use; `None` if Python or the packages cannot be had.
fn peer() -> Option<PathBuf> {
    let target = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../target/sun-peer");
    let python = target.join("bin/python");
    let has =
        |p: &Path| Command::new(p).args(["-c", "import pvlib"]).status().is_ok_and(|s| s.success());
    if python.exists() && has(&python) {
        return Some(python);
    }
    eprintln!("making the peer's environment in {}", target.display());
    let made = Command::new("python3")
        .args(["-m", "venv"])
        .arg(&target)
        .status()
        .is_ok_and(|s| s.success())
        && Command::new(&python)
            .args(["-m", "pip", "install", "-q", "pvlib==0.16.1"])
            .status()
            .is_ok_and(|s| s.success());
    (made && has(&python)).then_some(python)
}

fn run_peer(python: &Path) -> Option<f64> {
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("benches/peer.py");
    let out = Command::new(python).arg(script).output().ok()?;
    String::from_utf8_lossy(&out.stdout).trim().parse().ok()
}

#[allow(clippy::print_stdout, reason = "a bench prints")]
fn main() {
    // Parts can be named, to measure one alone: peer chain years map.
    let parts: Vec<String> = std::env::args().skip(1).filter(|a| !a.starts_with('-')).collect();
    let wanted = |part: &str| parts.is_empty() || parts.iter().any(|p| p == part);
    let (mut z, mut a, mut g, mut p) =
        (vec![0.0; HOURS], vec![0.0; HOURS], vec![0.0; HOURS], vec![0.0; HOURS]);
    let python = if wanted("peer") { peer() } else { None };
    let mut ours = f64::INFINITY;
    let mut theirs = f64::INFINITY;
    for round in 0..3 {
        if round % 2 == 0 {
            ours = ours.min(least(5, || twenty_years(&mut z, &mut a, &mut g, &mut p)));
        }
        if let Some(s) = python.as_deref().and_then(run_peer) {
            theirs = theirs.min(s);
        }
        if round % 2 == 1 {
            ours = ours.min(least(5, || twenty_years(&mut z, &mut a, &mut g, &mut p)));
        }
    }
    println!(
        "position, clear sky, Hay-Davies, 20 years of hours: {:.1} ms; reference library {:.0} ms",
        1e3 * ours,
        1e3 * theirs
    );
    let observer = place();
    let mut worst: f64 = 0.0;
    for i in (0..HOURS).step_by(17) {
        let full = sun_position(start() + 3600.0 * i as f64, &observer, USUAL_DELTA_T_S);
        worst = worst.max((full.apparent_zenith_deg - z[i]).abs());
    }
    println!("largest zenith error against the full algorithm: {worst:.1e} degree");

    let data = measured();
    let site = Site::open(observer);
    let plane = Plane::new(75.0, 180.0).expect("a plane");
    let (bank, panel) = (tables(400.0), source(0.3));
    let node = Node::new(&bank, &panel);
    let chain = least(if wanted("chain") { 7 } else { 0 }, || {
        let weather = panel_weather(&data, &site, &plane, GapFill::Refuse).expect("no gaps");
        run(&node, &weather.steps(), Detail::Full)
    });
    println!("20 years of hours, position to cell, one core: {:.1} ms", 1e3 * chain);

    let climate = climate();
    let geometry = YearGeometry::new(&site, &plane);
    let first_day = midsummer(47.0);
    let thousand = least(if wanted("years") { 3 } else { 0 }, || {
        for_each_year(1000, |year| {
            let weather = hourly_year(&climate, &geometry, 1, year, first_day);
            let steps = Weather {
                step_s: 3600.0,
                first_day,
                irradiance_w_m2: &weather.irradiance_w_m2,
                air_c: &weather.air_c,
                thermal: None,
            };
            run(&node, &steps, Detail::Full).outage_days
        })
    });
    println!("1 000 synthetic years, daily to hourly, one board: {thousand:.2} s");

    let sources: Vec<Source> = (1..=12).map(|k| source(0.05 * f64::from(k))).collect();
    let cells: Vec<NodeTables> = (1..=12).map(|k| tables(150.0 * f64::from(k))).collect();
    let years = Years {
        climate: &climate,
        geometry: &geometry,
        seed: 1,
        first_year: 0,
        years: 200,
        first_day,
    };
    let map =
        least(if wanted("map") { 2 } else { 0 }, || outage_map(&years, &sources, &cells, &node));
    println!("panel × cell map, 12 × 12 × 200 years of hours: {map:.2} s");
    // Panels too small for the winter: nearly every pair is dark in nearly every year, and none can be left out beyond a safe one.
    let weak: Vec<Source> = (1..=12).map(|k| source(0.0005 * f64::from(k))).collect();
    let small: Vec<NodeTables> = (1..=12).map(|k| tables(100.0 * f64::from(k))).collect();
    let dark =
        least(if wanted("map") { 2 } else { 0 }, || outage_map(&years, &weak, &small, &node));
    let all_dark = outage_map(&Years { years: 20, ..years }, &weak, &small, &node)
        .map_or(0.0, |map| {
            map.points.iter().map(|p| p.years_with_outage.share).sum::<f64>() / 144.0
        });
    println!("the same where {:.0} % of the years are dark: {dark:.2} s", 100.0 * all_dark);
    let threads = std::thread::available_parallelism().map_or(1, usize::from);
    println!("threads {threads}");
    println!(
        "sun: ratio_to_pvlib={:.1} zenith_error_deg={worst:.1e} chain20y_ms={:.1} synth1000y_s={thousand:.2} map_s={map:.2}",
        theirs / ours,
        1e3 * chain
    );
}
