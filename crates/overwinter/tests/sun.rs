//! Sun and charging from the command line: real binary, demo folder and folders made here, figures and diagnostics.
#![allow(clippy::disallowed_methods, reason = "checks may use the standard elementary functions")]

mod common;

use std::f64::consts::PI;

use common::sun::{Bench, MAST, board, number};

#[test]
fn the_mast_is_balanced_board_by_board() {
    let bench = Bench::demo("mast");
    let output = bench.run(&["sun", MAST, "--years", "60", "--format", "json"]);
    assert_eq!(output.status.code(), Some(0), "SLIPKNOT meets the need");
    let report: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
    assert_eq!((report["schema_version"].as_u64(), report["years"].as_u64()), (Some(1), Some(60)));
    for b in report["boards"].as_array().unwrap() {
        let Some(outcome) = b["outcome"].as_object() else { continue };
        for ledger in ["ledger", "offered"] {
            let lines = outcome[ledger].as_array().unwrap();
            let sum: f64 = lines.iter().map(|l| number(&l["charge_c"])).sum();
            let all: f64 = lines.iter().map(|l| number(&l["charge_c"]).abs()).sum();
            assert!(sum.abs() < 1e-9 * all.max(1.0), "{} {ledger}: {sum} of {all}", b["board"]);
        }
        assert_eq!(
            (outcome["months"].as_array().unwrap().len(), outcome["fan"].as_array().unwrap().len()),
            (12, 73)
        );
        // The months' load is the year's: 365 days of it.
        let days = [31.0, 28.0, 31.0, 30.0, 31.0, 30.0, 31.0, 31.0, 30.0, 31.0, 30.0, 31.0];
        let asked: f64 = outcome["months"]
            .as_array()
            .unwrap()
            .iter()
            .zip(days)
            .map(|(m, d)| number(&m["load_c"]) * d)
            .sum();
        let served: f64 = outcome["ledger"]
            .as_array()
            .unwrap()
            .iter()
            .filter(|l| l["name"] == "the board while it runs")
            .map(|l| -number(&l["charge_c"]))
            .sum();
        assert!(asked >= served * (1.0 - 1e-9), "{}", b["board"]);
    }
    let need = |name: &str| board(&report, name)["need"].as_str().unwrap().to_owned();
    assert_eq!(need("SLIPKNOT"), "fits", "0 of 60 years: at most 4.9 %");
    assert_eq!(need("MONKEYFIST"), "does_not");
    assert_eq!(need("GRANNY"), "undecided", "a dead specimen is not a no");
    assert_eq!(need("SHEEPSHANK"), "does_not", "no charger");
    // Nobody tried TURKSHEAD on a low cell: resets lie between none and one for each time the sun goes.
    let turkshead = &board(&report, "TURKSHEAD")["outcome"];
    assert_eq!(number(&turkshead["resets_per_year_least"]), 0.0);
    assert!(number(&turkshead["resets_per_year_most"]) > 300.0);
    // Its charger is hardly known: what was taken is told with its kind.
    let taken = board(&report, "TURKSHEAD")["assumptions"].as_array().unwrap();
    assert!(taken.iter().any(|a| a["unknown"] == "the charger's input thresholds" && a["kind"] == "from memory"));
    // REEF resets whenever the source comes.
    assert!(number(&board(&report, "REEF")["outcome"]["resets_per_year_least"]) > 300.0);
    // Its 500 mA must not meet this cell, whatever the panel gives.
    assert_eq!(board(&report, "REEF")["charge"]["allowed"], "does_not");
}

#[test]
fn text_fits_a_hundred_columns_and_says_what_it_must() {
    let bench = Bench::demo("columns");
    for arguments in [
        vec!["sun", MAST, "--years", "12"],
        vec!["sun", MAST, "--board", "BOWLINE", "--years", "12"],
        vec!["sun-map", MAST, "--years", "4"],
        vec!["tilt", MAST],
        vec!["charge", "--project", MAST],
    ] {
        let output = bench.run(&arguments);
        let text = String::from_utf8(output.stdout).unwrap();
        assert!(!text.is_empty(), "{arguments:?}");
        for line in text.lines() {
            assert!(line.chars().count() <= 100, "{arguments:?}: {line}");
        }
        let csv = bench.run(&[arguments.as_slice(), &["--format", "csv"]].concat());
        let csv = String::from_utf8(csv.stdout).unwrap();
        assert!(csv.lines().count() > 4 && csv.lines().next().unwrap().contains(','), "{csv}");
    }
    let full = bench.text(&["sun", MAST, "--board", "BOWLINE", "--years", "12"]);
    for wanted in [
        "Harvest against load",
        "State of charge over the year",
        "rule of thumb: December",
        "daily bank",
        "a ruined cell",
        "nothing prevents charging in the frost",
        "permission, and someone competent with you",
        "not a safety function",
        "12 years, seed 1",
    ] {
        assert!(full.contains(wanted), "“{wanted}” is missing: {full}");
    }
    let help = bench.text(&["sun", "--help"]);
    assert!(help.contains("overwinter sun \"weather mast\""), "{help}");
}

#[test]
fn the_same_seed_is_the_same_weather_on_any_number_of_threads() {
    let bench = Bench::demo("seed");
    let with = |seed: &str, threads: &str| {
        let words = ["sun", MAST, "--board", "SHEETBEND", "--years", "20", "--format", "json"];
        common::command(&bench.0.0, &[words.as_slice(), &["--seed", seed]].concat())
            .env("RAYON_NUM_THREADS", threads)
            .output()
            .unwrap()
            .stdout
    };
    let first = with("3", "2");
    assert!(!first.is_empty());
    assert_eq!(first, with("3", "2"));
    assert_ne!(first, with("4", "2"));
    assert_eq!(first, with("3", "1"));
}

#[test]
fn the_map_grows_with_its_sizes_and_names_the_smallest_pair() {
    let bench = Bench::demo("map");
    let map = bench.json(&[
        "sun-map",
        MAST,
        "--board",
        "SLIPKNOT",
        "--panels",
        "0.1 W,0.3 W,1 W",
        "--cells",
        "100 mAh,400 mAh,1.6 Ah",
        "--years",
        "60",
    ]);
    let share =
        |p: usize, c: usize| number(&map["points"][p * 3 + c]["years_with_outage"]["share"]);
    for p in 0..3 {
        for c in 0..3 {
            assert!(p == 0 || share(p, c) <= share(p - 1, c), "a larger panel is not worse");
            assert!(c == 0 || share(p, c) <= share(p, c - 1), "a larger cell is not worse");
        }
    }
    assert_eq!(map["counts"]["years"], 60);
    let choice = &map["smallest"]["choice"];
    assert!(number(&choice["years_with_outage"]["high"]) <= 0.05, "{choice}");
    assert!(!map["smallest"]["one_panel_up"].is_null());
    // The map's pair of the project's own sizes is the year's own answer.
    let own = bench.json(&[
        "sun-map",
        MAST,
        "--board",
        "SHEETBEND",
        "--panels",
        "0.3 W",
        "--cells",
        "400 mAh",
        "--years",
        "40",
    ]);
    let year = bench.json(&["sun", MAST, "--board", "SHEETBEND", "--years", "40"]);
    let of_year = &board(&year, "SHEETBEND")["outcome"];
    assert_eq!(own["points"][0]["years_with_outage"], of_year["years_with_outage"]);
    let (a, b) = (
        number(&own["points"][0]["outage_days_per_year"]),
        number(&of_year["outage_days_per_year"]),
    );
    assert!((a - b).abs() < 1e-9, "{a} {b}");
    let refused = bench.run(&["sun-map", MAST, "--panels", "1 W,0.3 W"]);
    assert_eq!(refused.status.code(), Some(2), "sizes must rise");
}

/// BOWLINE's charger asks for 100 mA and switches off below 4.2 V; the 0.3 W panel has 54 mA. Once the cell is below about 4.05 V the input sags to it, and
/// the charger starts and stops (the trade's "dawn oscillation", common practice, no source). What decides how much gets through is the wait between two tries.
#[test]
fn a_charger_that_starts_and_stops_is_told_in_one_line_with_what_mends_it() {
    let bench = Bench::demo("hiccup");
    let words = ["sun", MAST, "--board", "BOWLINE", "--years", "20"];
    let report = bench.json(&words);
    let bowline = board(&report, "BOWLINE");
    let line = bowline["cautions"][0].as_str().unwrap().to_owned();
    for part in [
        "it wants 98.6 mA, in full sun the panel gives 54 mA",
        "below 4.2 V it switches off, and tries again after 0.1 s, from memory",
        "of what the panel offers is lost so",
        "With a charger that holds its input, or a converter, it is dark in",
    ] {
        assert!(line.replace('\u{a0}', " ").contains(part), "“{part}”: {line}");
    }
    let of =
        |report: &serde_json::Value, key: &str| number(&board(report, "BOWLINE")["outcome"][key]);
    // Ten tries a second in the light of which it starves: 0.1 s of waiting, the input's 10 µF swings in 0.08 ms.
    let per_second = of(&report, "chatter_per_year") / (365.0 * 12.0 * 3600.0);
    assert!((1.0..10.0).contains(&per_second), "{per_second}");
    assert!(of(&report, "outage_days_per_year") > 100.0);
    let shown = bench.text(&["sun", MAST, "--years", "4"]);
    assert!(shown.contains("BOWLINE: Its charger starts and stops"), "{shown}");
    // The line keeps its word: with the input held the dark years are those it told.
    let told: f64 =
        line.split("it is dark in ").nth(1).unwrap().split(' ').next().unwrap().parse().unwrap();
    bench.change(
        "boards/bowline.toml",
        "input_falling = \"4.2 V\"",
        "input_falling = \"4.2 V\"\ninput_held = \"4.25 V\"",
    );
    let held = bench.json(&words);
    let dark = number(&board(&held, "BOWLINE")["outcome"]["years_with_outage"]["share"]) * 20.0;
    assert!((dark - told).abs() < 1e-9, "{dark} {told}");
    assert_eq!(of(&held, "chatter_per_year"), 0.0);
    assert!(!held["boards"][0]["cautions"].to_string().contains("starts and stops"));
    // And without any wait between two tries nearly all of the light gets through as well.
    bench.change("boards/bowline.toml", "\ninput_held = \"4.25 V\"", "\nretry = \"0 s\"");
    let quick = bench.json(&words);
    assert!(of(&quick, "outage_days_per_year") < 0.1 * of(&report, "outage_days_per_year"));
}

#[test]
fn the_best_tilt_looks_at_the_low_winter_sun() {
    let bench = Bench::demo("tilt");
    let tilt = bench.json(&["tilt", MAST]);
    let best = &tilt["best"];
    assert_eq!(best["worst_month"], 12);
    let degrees = number(&best["tilt_deg"]);
    assert!((47.0..75.0).contains(&degrees), "{degrees}");
    assert!(number(&best["worst_kwh_m2"]) >= number(&tilt["now"]["worst_kwh_m2"]));
    for line in tilt["tilts"].as_array().unwrap() {
        assert!(number(&line["worst_kwh_m2"]) <= number(&best["worst_kwh_m2"]) + 1e-12);
    }
}

#[test]
fn charging_is_permitted_forbidden_or_unknown_with_its_reason() {
    let bench = Bench::demo("charge");
    let report = bench.json(&[
        "charge",
        "--board",
        "BOWLINE",
        "--board",
        "REEF",
        "--board",
        "SHEEPSHANK",
        "--board",
        "TURKSHEAD",
        "--cell",
        "400 mAh pouch",
        "--cell",
        "three alkaline AA",
    ]);
    let line = |board: &str, cell: &str| {
        let lines = report["lines"].as_array().unwrap();
        lines.iter().find(|l| l["board"] == board && l["cell"] == cell).unwrap().clone()
    };
    let bowline = line("BOWLINE", "400 mAh pouch");
    assert_eq!(bowline["verdict"]["allowed"], "fits");
    // 400 mAh at 98.6 mA: a little over four hours, and not less than the charge itself takes.
    let hours = number(&bowline["span"]["total_s"]) / 3600.0;
    assert!((400.0 / 98.6..5.5).contains(&hours), "{hours}");
    let reef = line("REEF", "400 mAh pouch");
    assert_eq!(reef["verdict"]["allowed"], "does_not");
    assert!(
        reef["span"].is_null()
            && reef["verdict"]["reasons"][0].as_str().unwrap().contains("at most 200")
    );
    assert_eq!(line("BOWLINE", "three alkaline AA")["verdict"]["allowed"], "does_not");
    assert!(
        line("SHEEPSHANK", "400 mAh pouch")["verdict"]["reasons"][0]
            .as_str()
            .unwrap()
            .contains("no charger")
    );
    assert!(line("TURKSHEAD", "400 mAh pouch")["assumptions"].as_array().unwrap().len() > 4);
    assert_eq!(bench.run(&["charge", "--from", "120 %"]).status.code(), Some(2));
    let nothing = bench.run(&["charge", "--board", "REEF", "--cell", "400 mAh pouch"]);
    assert_eq!(nothing.status.code(), Some(1), "the answer is no");
}

#[test]
fn choosing_asks_the_sun_where_a_need_says_so() {
    let bench = Bench::demo("choose");
    let choice = bench.json(&["choose", MAST, "--draws", "64"]);
    let needs = |name: &str| board(&choice, name)["needs"].as_array().unwrap().clone();
    let outage = |name: &str| {
        needs(name)
            .into_iter()
            .find(|n| n["need"].as_str().unwrap().starts_with("dark in at most"))
            .unwrap()
    };
    assert_eq!(outage("SLIPKNOT")["verdict"], "fits");
    assert_eq!(outage("MARLIN")["verdict"], "does_not");
    assert!(
        outage("BOWLINE")["reason"].as_str().unwrap().contains("overwinter sun \"weather mast\"")
    );
    assert_eq!(outage("GRANNY")["verdict"], "undecided");
    let text = bench.text(&["choose", MAST, "--draws", "64"]);
    assert!(text.contains("these lives are without sun"), "{text}");
    let bridges = bench.text(&["choose", "footbridges", "--draws", "64"]);
    assert!(!bridges.contains("without sun"), "a project without a panel is left alone");
}

/// Trap 8 of the trade, "annual mean sun": a folder with exactly its assumptions. Expected (design notes, 5 runs × 2000 years of an independent
/// model): 94.5 ± 0.7 % of years with an outage and 5.8 ± 0.1 % of days; 20 % of years if charging in the frost were permitted; none of 6000 at the
/// smaller load. Five runs of 2000 years here too: a run of 1000 alone has a standard deviation of 0.7 points of years, 0.1 of days, 1.3 with frost
/// charging, so that one of them (seed 1: 94.2, 5.5 and 17.4 %) cannot be held against those figures. The documents hold the cosine's monthly means.
#[test]
fn trap_8_annual_mean_sun() {
    let bench = Bench::empty("trap");
    let lengths = [31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31];
    let mut day = 0;
    let means: Vec<String> = lengths
        .iter()
        .map(|length| {
            let days = day + 1..=day + length;
            day += length;
            let sum: f64 =
                days.map(|d| 7.0 - 9.0 * (2.0 * PI * (f64::from(d) - 15.0) / 365.0).cos()).sum();
            format!("\"{:.4} °C\"", sum / f64::from(*length))
        })
        .collect();
    bench.write(
        "sites/trap.toml",
        &format!(
            "[site]\nname = \"trap\"\nkind = \"assumed\"\nsource = \"the trap's assumptions\"\nlatitude = \"47° N\"\nlongitude = \"8° E\"\naltitude = \"500 m\"\n\
irradiation = [\"1.15 kWh/m²/d\", \"2.0 kWh/m²/d\", \"3.2 kWh/m²/d\", \"4.3 kWh/m²/d\", \"5.0 kWh/m²/d\", \"5.5 kWh/m²/d\", \"5.7 kWh/m²/d\", \"4.9 kWh/m²/d\", \"3.6 kWh/m²/d\", \"2.2 kWh/m²/d\", \"1.25 kWh/m²/d\", \"0.90 kWh/m²/d\"]\n\
between_years = \"0 %\"\nday_to_day = 0.3\nbeam_share = [\"30 %\", \"30 %\", \"70 %\", \"70 %\", \"70 %\", \"70 %\", \"70 %\", \"70 %\", \"70 %\", \"70 %\", \"30 %\", \"30 %\"]\n\
sky_view = \"60 %\"\nground_reflection = \"0 %\"\nsnow_days = [0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0]\n\
temperature = {{ mean = [{}], daily_swing = \"0 K\", day_spread = \"4 K\", day_to_day = 0.7 }}\n",
            means.join(", ")
        ),
    );
    bench.write("panels/trap.toml", "[panel]\nname = \"0.3 W\"\nkind = \"assumed\"\nsource = \"trap\"\nmaximum_power_voltage = \"6 V\"\nmaximum_power_current = \"50 mA\"\n");
    bench.write("chemistries/trap.toml", "[chemistry]\nname = \"flat\"\nkind = \"assumed\"\nsource = \"trap\"\nrechargeable = \"yes\"\n");
    bench.write("cells/trap.toml", "[cell]\nname = \"400 mAh\"\nkind = \"assumed\"\nsource = \"trap\"\nchemistry = \"flat\"\ncapacity = \"400 mAh\"\n[cell.figures]\nself_discharge = \"2 %/month\"\nocv = { charge = [0, 1], voltage = [\"3.6 V\", \"4.18 V\"] }\ncharge_temperature = { from = \"0 °C\", to = \"45 °C\" }\n");
    let write_board = |name: &str, load: &str| {
        bench.write(&format!("modules/{name}.toml"), &format!("[module]\nname = \"{name} module\"\nkind = \"assumed\"\nsource = \"trap\"\nsleep_current = \"{load}\"\n"));
        bench.write(
            &format!("boards/{name}.toml"),
            &format!("[board]\nname = \"{name}\"\nkind = \"assumed\"\nsource = \"trap\"\nmodule = \"{name} module\"\n[board.traits]\ncharger = \"yes\"\n[board.supply.regulator]\nkind = \"direct\"\n[board.charger]\nkind = \"linear\"\ncurrent = \"100 mA\"\nsenses_temperature = \"yes\"\ninput_rising = \"3.0 V\"\ninput_falling = \"2.8 V\"\n"),
        );
    };
    write_board("LARGE", "1225 µA");
    write_board("SMALL", "283.33 µA");
    bench.write(
        "projects/trap.toml",
        "[project]\nname = \"trap\"\nkind = \"assumed\"\nsource = \"trap\"\ncell = \"400 mAh\"\nsite = \"trap\"\npanel = \"0.3 W\"\nactivities = []\nmounting = { tilt = \"75°\", azimuth = \"180°\", soiling = \"92 %\", cell_above_air = \"3 K\", through = \"nothing\" }\n",
    );
    // 2 % a month of 30.44 days: 6.637e-4 a day where the notes take 6.6456e-4 (30.4 days), 0.2 mAh less in a winter month.
    let runs: Vec<[f64; 5]> = ["1", "2", "3", "4", "5"]
        .iter()
        .map(|seed| {
            let words = ["sun", "trap", "--board", "LARGE", "--years", "2000", "--seed", seed];
            let report = bench.json(&words);
            let outcome = &board(&report, "LARGE")["outcome"];
            let daily = &outcome["daily_bank"];
            [
                number(&daily["frost_kept_out"]["share"]),
                number(&daily["days_frost_kept_out"]),
                number(&daily["frost_charged"]["share"]),
                number(&outcome["years_with_outage"]["share"]),
                number(&outcome["outage_days_per_year"]) / 365.0,
            ]
        })
        .collect();
    let mean = |k: usize| runs.iter().map(|run| run[k]).sum::<f64>() / 5.0;
    let spread = |k: usize| {
        let of = mean(k);
        (runs.iter().map(|run| (run[k] - of) * (run[k] - of)).sum::<f64>() / 4.0).sqrt()
    };
    for (k, name) in ["years", "days", "years with frost charging", "hourly: years", "hourly: days"]
        .iter()
        .enumerate()
    {
        println!("trap 8, {name}: {:.4} ± {:.4} between runs", mean(k), spread(k));
    }
    assert!((mean(0) - 0.945).abs() < 0.007, "{}", mean(0));
    assert!((mean(1) - 0.058).abs() < 0.001, "{}", mean(1));
    // The notes print 20 % without a spread. Ours between runs is 1.3 points; the mean of five of theirs against five of ours: 1.3·√(2/5) = 0.9.
    assert!((mean(2) - 0.20).abs() < 0.009, "{}", mean(2));
    // The runs scatter as the notes' did: one of 2000 years is good to 0.7 and 0.1 points, no better.
    assert!(spread(0) < 0.012 && spread(1) < 0.0015, "{} {}", spread(0), spread(1));
    // The hourly balance knows voltages and hours the daily bank does not: within a point of years, a quarter of a point of days.
    assert!((mean(3) - mean(0)).abs() < 0.01, "{}", mean(3));
    assert!((mean(4) - mean(1)).abs() < 0.0025, "{}", mean(4));
    let report =
        bench.json(&["sun", "trap", "--board", "LARGE", "--board", "SMALL", "--years", "1000"]);
    let daily = |name: &str| board(&report, name)["outcome"]["daily_bank"].clone();
    let small = daily("SMALL");
    assert_eq!(number(&small["frost_kept_out"]["share"]), 0.0);
    // The rule of thumb beside it looks at December and is not met; the hourly balance, which knows the voltages, tells the same story.
    let outcome = |name: &str| board(&report, name)["outcome"].clone();
    assert_eq!(outcome("LARGE")["rule_of_thumb"]["met"], false);
    assert!(number(&outcome("LARGE")["years_with_outage"]["share"]) > 0.85);
    assert_eq!(number(&outcome("SMALL")["years_with_outage"]["share"]), 0.0);
    // The load is the trap's: 29.4 mAh a day.
    assert!((number(&outcome("LARGE")["mean_load_a"]) * 24.0 - 0.0294).abs() < 1e-6);
}

#[test]
fn places_that_cannot_be_are_told_at_their_key() {
    let bench = Bench::demo("places");
    // Northern months at a southern latitude: June would hold more light than there is outside the atmosphere.
    bench.change("sites/gorge.toml", "latitude = \"47° N\"", "latitude = \"47° S\"");
    let told = bench.text(&["sun", MAST, "--years", "2"]);
    assert!(
        told.contains("sites/gorge.toml:14")
            && told.contains("month 4: 4.300 kWh/m2 a day is a clearness of"),
        "{told}"
    );
    assert!(told.contains("hemisphere"), "{told}");
    assert_eq!(bench.run(&["tilt", MAST]).status.code(), Some(2));
    // The months turned round make a southern winter in July.
    let site = std::fs::read_to_string(bench.0.0.join("sites/gorge.toml")).unwrap();
    let (first, second) = (
        "\"1.15 kWh/m²/d\", \"2.0 kWh/m²/d\", \"3.2 kWh/m²/d\", \"4.3 kWh/m²/d\", \"5.0 kWh/m²/d\", \"5.5 kWh/m²/d\"",
        "\"5.7 kWh/m²/d\", \"4.9 kWh/m²/d\", \"3.6 kWh/m²/d\", \"2.2 kWh/m²/d\", \"1.25 kWh/m²/d\", \"0.90 kWh/m²/d\"",
    );
    assert!(site.contains(first) && site.contains(second));
    bench.write(
        "sites/gorge.toml",
        &site.replace(first, "@").replace(second, first).replace('@', second),
    );
    bench.change("projects/weather-mast.toml", "azimuth = \"180°\"", "azimuth = \"0°\"");
    let report = bench.json(&["tilt", MAST]);
    assert_eq!(report["best"]["worst_month"], 6);
    // A month is missing.
    bench.change("sites/gorge.toml", "\"5.7 kWh/m²/d\", ", "");
    let told = bench.text(&["sun", MAST, "--years", "2"]);
    assert!(told.contains("11 months stand here"), "{told}");
}

#[test]
fn polar_night_a_panel_face_down_and_a_panel_too_weak_are_told() {
    let bench = Bench::demo("polar");
    bench.change("sites/gorge.toml", "latitude = \"47° N\"", "latitude = \"75° N\"");
    let site = std::fs::read_to_string(bench.0.0.join("sites/gorge.toml")).unwrap();
    let start = site.find("irradiation = [").unwrap();
    let end = start + site[start..].find("]\n").unwrap();
    let polar = "irradiation = [\"0 kWh/m²/d\", \"0.08 kWh/m²/d\", \"1.2 kWh/m²/d\", \"3.0 kWh/m²/d\", \"4.5 kWh/m²/d\", \"5.0 kWh/m²/d\", \"4.6 kWh/m²/d\", \"3.0 kWh/m²/d\", \"1.5 kWh/m²/d\", \"0.4 kWh/m²/d\", \"0 kWh/m²/d\", \"0 kWh/m²/d\"";
    bench.write("sites/gorge.toml", &format!("{}{polar}{}", &site[..start], &site[end..]));
    let report = bench.json(&["sun", MAST, "--board", "SHEETBEND", "--years", "4"]);
    let notes = report["setting"]["notes"].to_string();
    assert!(
        notes.contains("the sun does not rise, or hardly so: January, November, December"),
        "{notes}"
    );
    let polar = &board(&report, "SHEETBEND")["outcome"];
    assert!(number(&polar["longest_dark_s"]) > 30.0 * 86400.0, "{polar}");
    // Over 90° the panel looks at the ground; over 180° there is no tilt.
    bench.change("projects/weather-mast.toml", "tilt = \"75°\"", "tilt = \"120°\"");
    let report = bench.json(&["sun", MAST, "--board", "SHEETBEND", "--years", "2"]);
    assert!(
        report["setting"]["notes"].to_string().contains("a tilt of 120° looks at the ground"),
        "{report}"
    );
    bench.change("projects/weather-mast.toml", "tilt = \"120°\"", "tilt = \"200°\"");
    let told = bench.text(&["sun", MAST, "--years", "2"]);
    assert!(told.contains("a tilt lies between 0° (flat) and 180°"), "{told}");
    // A panel of 2 V never reaches a charger that starts at 3.9 V.
    let weak = Bench::demo("weak");
    weak.change(
        "panels/panel-0.3-w.toml",
        "maximum_power_voltage = \"6.0 V\"",
        "maximum_power_voltage = \"2.0 V\"",
    );
    weak.change(
        "panels/panel-0.3-w.toml",
        "open_circuit_voltage = \"7.2 V\"",
        "open_circuit_voltage = \"2.4 V\"",
    );
    weak.change("panels/panel-0.3-w.toml", "cells_in_series = 12", "cells_in_series = 4");
    let report = weak.json(&["sun", MAST, "--board", "SLIPKNOT", "--years", "3"]);
    let slipknot = board(&report, "SLIPKNOT");
    assert!(
        slipknot["verdict"].as_str().unwrap().contains("never reaches the charger's minimum"),
        "{slipknot}"
    );
    assert!(slipknot["cautions"][0].as_str().unwrap().contains("3.90 V needed"), "{slipknot}");
    assert_eq!(number(&slipknot["outcome"]["years_with_outage"]["share"]), 1.0);
    assert_eq!(slipknot["outcome"]["offered"][1]["charge_c"], -0.0);
}
