//! Weather files through the real binary: every layout, what is wrong with them, and what `check` tells of the sun.
#![allow(clippy::disallowed_methods, reason = "checks may use the standard elementary functions")]

mod common;

use common::sun::{Bench, MAST, ONE, board, clear_hours, csv_of, date, number, with_file};

#[test]
fn an_hourly_file_replaces_the_monthly_figures() {
    let hours = clear_hours(47.0, 8.0, 365, 0.0);
    let bench = with_file("file", &csv_of(&hours, false), "clock = \"UTC\", stamp = \"start\"");
    let report = bench.json(&ONE);
    assert_eq!(report["years"], 1);
    let setting = &report["setting"];
    assert!(
        setting["weather"]
            .as_str()
            .unwrap()
            .contains("weather/hut.csv from 2023-01-01 to 2023-12-31"),
        "{setting}"
    );
    // The file's own monthly means stand in the report: June by hand.
    let june: f64 =
        hours[151 * 24..181 * 24].iter().map(|h| (h.2 * 10.0).round() / 10.0).sum::<f64>()
            / 30.0
            / 1000.0;
    let told = number(&setting["months"][5]["horizontal_kwh_m2"]);
    assert!((told - june).abs() < 1e-9, "{told} {june}");
    let notes = setting["notes"].to_string();
    assert!(!notes.contains("noon") && !notes.contains("extraterrestrial"), "{notes}");
    assert!(board(&report, "SLIPKNOT")["outcome"]["daily_bank"].is_null());
    // One year says little, and the interval says so.
    assert!(number(&board(&report, "SLIPKNOT")["outcome"]["years_with_outage"]["high"]) > 0.9);
    // The years that go on from it do say something, and stand beside it.
    let outcome =
        &board(&bench.json(&[&ONE[..], &["--years", "30"]].concat()), "SLIPKNOT")["outcome"]
            .clone();
    assert_eq!(outcome["continued"]["years_with_outage"]["years"], 30);
    assert_eq!(outcome["uncertain"]["years_with_outage"]["years"], 30);
    let monthly = bench.json(&[&ONE[..], &["--monthly", "--years", "5"]].concat());
    assert_eq!(monthly["years"], 5);
    assert!(board(&monthly, "SLIPKNOT")["outcome"]["continued"].is_null());
}

#[test]
fn map_tilt_and_choice_use_the_weather_file_too() {
    let hours = clear_hours(47.0, 8.0, 365, 0.0);
    let bench =
        with_file("everywhere", &csv_of(&hours, false), "clock = \"UTC\", stamp = \"start\"");
    // An open horizon and no snow: a flat panel sees the file's own light, less the dirt.
    let site = std::fs::read_to_string(bench.0.0.join("sites/gorge.toml")).unwrap();
    let (start, end) = (site.find("skyline = [").unwrap(), site.find("ground_reflection").unwrap());
    let open =
        format!("{}hourly{}", &site[..start], &site[start..end].split_once("hourly").unwrap().1)
            + &site[end..];
    bench.write(
        "sites/gorge.toml",
        &open.replace("snow_days = [10, 8, 3,", "snow_days = [0, 0, 0,"),
    );
    let tilt = bench.json(&["tilt", MAST]);
    let flat = &tilt["tilts"][0];
    let june: f64 =
        hours[151 * 24..181 * 24].iter().map(|h| (h.2 * 10.0).round() / 10.0).sum::<f64>() / 30e3;
    let told = number(&flat["months_kwh_m2"][5]);
    assert_eq!(number(&flat["tilt_deg"]), 0.0);
    assert!((told / (0.92 * june) - 1.0).abs() < 1e-5, "{told} {june}");
    assert!(tilt["notes"].to_string().contains("hour by hour from weather/hut.csv"), "{tilt}");
    let best = number(&tilt["best"]["worst_kwh_m2"]);
    for line in tilt["tilts"].as_array().unwrap() {
        assert!(number(&line["worst_kwh_m2"]) <= best);
    }
    // A sky without clouds has more beam than the months' means tell: the best tilt brings more.
    let monthly = bench.json(&["tilt", MAST, "--monthly"]);
    assert!(best > 1.1 * number(&monthly["best"]["worst_kwh_m2"]), "{best} {monthly}");
    assert!(monthly["notes"].to_string().contains("weather/hut.csv is not used here"));
    // The map: shares of synthetic years with the file's figures, the file's own year counted apart.
    let sizes = ["--panels", "0.05 W,0.3 W", "--cells", "50 mAh,400 mAh", "--years", "30"];
    let words = [&["sun-map", MAST, "--board", "SLIPKNOT"], &sizes[..]].concat();
    let map = bench.json(&words);
    assert_eq!(map["measured_years"], 1);
    assert_eq!(map["counts"]["measured"].as_array().unwrap().len(), 4);
    assert!(map["setting"]["weather"].as_str().unwrap().contains("weather/hut.csv from"));
    assert!(
        map["flags"].to_string().contains("never dark in them is still up to 95 % of years"),
        "{}",
        map["flags"]
    );
    let without = bench.json(&[&words[..], &["--monthly"]].concat());
    assert_eq!(without["measured_years"], 0);
    assert_ne!(map["counts"]["outage_days"], without["counts"]["outage_days"]);
    // The choice says on how much its verdict rests.
    let choice = bench.json(&["choose", MAST, "--draws", "64"]);
    let need = |name: &str| {
        let needs = board(&choice, name)["needs"].as_array().unwrap().clone();
        needs.into_iter().find(|n| n["need"].as_str().unwrap().starts_with("dark in")).unwrap()
    };
    assert_eq!(need("SLIPKNOT")["verdict"], "fits");
    assert!(
        need("SLIPKNOT")["reason"]
            .as_str()
            .unwrap()
            .contains("synthetic with the file's figures; its own 1 year: dark in 0"),
        "{}",
        need("SLIPKNOT")
    );
    // A file that is named but not there is told by the choice as well.
    std::fs::remove_file(bench.0.0.join("weather/hut.csv")).unwrap();
    assert_eq!(bench.run(&["choose", MAST]).status.code(), Some(2));
    assert!(bench.text(&["sun-map", MAST]).contains("cannot be read"));
}

#[test]
fn a_wrong_clock_gaps_and_leap_years_are_told() {
    // An hour and a half late: daylight saving left in, or the wrong zone.
    let late = with_file(
        "clock",
        &csv_of(&clear_hours(47.0, 8.0, 365, 1.5), false),
        "clock = \"UTC\", stamp = \"start\"",
    );
    let notes = late.json(&ONE)["setting"]["notes"].to_string();
    assert!(notes.contains("the light's noon comes 89 min later than the sun's"), "{notes}");
    // 8784 hours.
    let leap = with_file(
        "leap",
        &csv_of(&clear_hours(47.0, 8.0, 366, 0.0), true),
        "clock = \"UTC\", stamp = \"start\"",
    );
    let report = leap.json(&ONE);
    assert!(
        report["setting"]["notes"].to_string().contains("2024 is a leap year of 8784 hours"),
        "{report}"
    );
    // A week is missing: refused until filling is asked for.
    let mut hours = clear_hours(47.0, 8.0, 365, 0.0);
    hours.drain(40 * 24..47 * 24);
    let gaps = with_file("gaps", &csv_of(&hours, false), "clock = \"UTC\", stamp = \"start\"");
    let output = gaps.run(&ONE);
    assert_eq!(output.status.code(), Some(2));
    let told = gaps.text(&ONE);
    assert!(
        told.contains("168 intervals have no irradiance") && told.contains("fill_gaps"),
        "{told}"
    );
    gaps.change("sites/gorge.toml", "stamp = \"start\"", "stamp = \"start\", fill_gaps = \"yes\"");
    let notes = gaps.json(&ONE)["setting"]["notes"].to_string();
    assert!(
        notes.contains("filled with the same hour of the nearest day: 168 intervals of light"),
        "{notes}"
    );
    assert!(notes.contains("February holds only 75 % of its hours"), "{notes}");
}

#[test]
fn daylight_saving_is_taken_out_where_it_is_declared() {
    // A wall clock of UTC+1: an hour ahead from 26 March 02:00 to 29 October 03:00 (2023).
    let mut text = "time;light;temp\n".to_owned();
    for (day, hour, light, air) in clear_hours(47.0, 8.0, 365, 1.0) {
        let at = day * 24 + hour;
        let summer = (84 * 24 + 2..301 * 24 + 2).contains(&at);
        let wall = at + u32::from(summer);
        text.push_str(&format!(
            "{} {:02}:00;{light:.1};{air:.1}\n",
            date(false, wall / 24),
            wall % 24
        ));
    }
    let layout = "clock = \"+01:00\", stamp = \"start\", daylight_saving = \"yes\"";
    let notes = with_file("saving", &text, layout).json(&ONE)["setting"]["notes"].to_string();
    assert!(
        notes.contains("daylight saving taken out, spring 2023-03-26")
            && notes.contains("autumn 2023-10-29"),
        "{notes}"
    );
    assert!(!notes.contains("noon"), "the clock is right afterwards: {notes}");
}

#[test]
fn a_public_typical_year_is_read_from_its_own_layout_and_as_a_table() {
    // The check data of the sun: three days in the layout of 2008, and the whole year without a column of time.
    let head = include_str!("../../sun/tests/data/tmy3_head.csv");
    let three_days = with_file("tmy3", head, "");
    let report = three_days.json(&ONE);
    let notes = report["setting"]["notes"].to_string();
    assert!(
        notes.contains("a typical year") && notes.contains("the file holds 3 days only"),
        "{notes}"
    );
    assert!(notes.contains("measured at latitude 36.1"), "the gorge is elsewhere: {notes}");
    let year = include_str!("../../sun/tests/data/weather_greensboro.csv");
    let layout = "counted_from = 2001-01-01, clock = \"-05:00\", stamp = \"start\", beam = \"dni\", diffuse = \"dhi\"";
    let whole = with_file("table", year, layout);
    whole.change("sites/gorge.toml", "latitude = \"47° N\"", "latitude = \"36.1° N\"");
    whole.change("sites/gorge.toml", "longitude = \"8° E\"", "longitude = \"79.95° W\"");
    let report = whole.json(&ONE);
    let months = report["setting"]["months"].as_array().unwrap();
    // Mean of the file's own column: 4.12 kWh/m² a day, computed here from the text.
    let light: Vec<f64> = year
        .lines()
        .filter(|l| !l.starts_with('#'))
        .skip(1)
        .map(|l| l.split(',').next().unwrap().parse().unwrap())
        .collect();
    let lengths = [31.0, 28.0, 31.0, 30.0, 31.0, 30.0, 31.0, 31.0, 30.0, 31.0, 30.0, 31.0];
    let mean: f64 =
        months.iter().zip(lengths).map(|(m, d)| number(&m["horizontal_kwh_m2"]) * d).sum::<f64>()
            / 365.0;
    assert!((mean - light.iter().sum::<f64>() / 365.0 / 1000.0).abs() < 1e-9, "{mean}");
    assert!(!report["setting"]["notes"].to_string().contains("noon"), "{report}");
}

#[test]
fn files_outside_the_folder_or_of_no_use_are_refused() {
    let bench = with_file("outside", "time,ghi\n", "");
    let empty = bench.text(&ONE);
    assert!(empty.contains("there is a header but no data"), "{empty}");
    for (file, wanted) in [
        ("../secret.csv", "leads out of the folder"),
        ("/etc/hostname", "leads out of the folder"),
        ("weather/none.csv", "cannot be read"),
        ("weather", "not a plain file"),
    ] {
        let site = std::fs::read_to_string(bench.0.0.join("sites/gorge.toml")).unwrap();
        let now = site.lines().map(|l| {
            if l.starts_with("hourly = ") { format!("hourly = \"{file}\"") } else { l.to_owned() }
        });
        bench.write("sites/gorge.toml", &now.collect::<Vec<_>>().join("\n"));
        assert_eq!(bench.run(&ONE).status.code(), Some(2), "{file}");
        let told = bench.text(&ONE);
        assert!(told.contains(wanted), "{file}: {told}");
    }
    let strange = with_file("strange", "when,how much\n2023-01-01,5\n", "");
    let told = strange.text(&ONE);
    assert!(
        told.contains("no column of the time is recognised; the file has: when, how much"),
        "{told}"
    );
    let unit = with_file("unit", "time,ghi\n2023-01-01 00:00,0\n2023-01-01 01:00,3500\n", "");
    let told = unit.text(&ONE);
    assert!(told.contains("line 3") && told.contains("unit = \"kJ/m²\""), "{told}");
}

/// A typical year in the fixed columns of W. Marion and K. Urban, "User's Manual for TMY2s", NREL/SP-463-7668, 1995, tables 3-1 and 3-2; every figure
/// is invented here: a sky without clouds at 36.1° N, 79.95° W, hours 1 to 24 in local standard time, each the end of its hour.
fn typical_year(clock_h: f64) -> String {
    let mut text = " 99999 ROPEWALK               ZZ  -5 N 36  6 W  79 57   270\n".to_owned();
    for (day, hour, light, air) in clear_hours(36.1, -79.95, 365, clock_h) {
        let on = date(false, day);
        let light = light.round() as u32;
        // Year, month, day, hour; two extraterrestrial; global, beam, diffuse with their flags (beam and diffuse missing); two sky covers and
        // three illuminances; dry bulb in tenths of a degree at columns 68 to 71.
        let row = format!(
            " 23{}{}{:02}00000000{light:04}A59999?09999?00000I60000I60000I60000I600A700A7{:+04}A7",
            &on[5..7],
            &on[8..10],
            hour + 1,
            (air * 10.0).round() as i32,
        );
        text.push_str(&row.replace('+', "0"));
        text.push('\n');
    }
    text
}

#[test]
fn the_fixed_columns_of_a_typical_year_are_read() {
    let text = typical_year(-5.0);
    assert_eq!(text.lines().nth(1).unwrap().find("A7-").map(|at| at + 3), Some(68), "{text:.200}");
    let bench = with_file("tmy2", &text, "");
    bench.change("sites/gorge.toml", "latitude = \"47° N\"", "latitude = \"36.1° N\"");
    bench.change("sites/gorge.toml", "longitude = \"8° E\"", "longitude = \"79.95° W\"");
    let report = bench.json(&ONE);
    let setting = &report["setting"];
    let notes = setting["notes"].to_string();
    assert!(notes.contains("a typical year: its months come from different years"), "{notes}");
    assert!(!notes.contains("noon") && !notes.contains("extraterrestrial"), "{notes}");
    assert!(setting["weather"].as_str().unwrap().contains("from 2001-01-01 to 2001-12-31"));
    // June's light and January's temperature by hand from the figures that were written.
    let hours = clear_hours(36.1, -79.95, 365, -5.0);
    let june: f64 = hours[151 * 24..181 * 24].iter().map(|h| h.2.round()).sum::<f64>() / 30e3;
    let january: f64 =
        hours[..744].iter().map(|h| (h.3 * 10.0).round() / 10.0).sum::<f64>() / 744.0;
    let told = |month: usize, key: &str| number(&setting["months"][month][key]);
    assert!((told(5, "horizontal_kwh_m2") - june).abs() < 1e-9);
    assert!((told(0, "air_c") - january).abs() < 1e-9, "{january}");
    // Another zone in the header than the stamps were written in shows at noon.
    let late = with_file("tmy2-late", &typical_year(-3.0), "");
    late.change("sites/gorge.toml", "latitude = \"47° N\"", "latitude = \"36.1° N\"");
    late.change("sites/gorge.toml", "longitude = \"8° E\"", "longitude = \"79.95° W\"");
    let notes = late.json(&ONE)["setting"]["notes"].to_string();
    assert!(notes.contains("the light's noon comes 120 min later than the sun's"), "{notes}");
    // A line cut short is told with its line.
    let cut = with_file("tmy2-cut", &text.replacen("\n 2301010300", "\n 230101", 1)[..2000], "");
    let told = cut.text(&ONE);
    assert!(told.contains("weather/hut.csv:") && told.contains("line "), "{told}");
}

#[test]
fn check_tells_what_is_wrong_with_the_sun_and_where() {
    let find = |bench: &Bench, code: &str| -> serde_json::Value {
        let report = bench.json(&["check"]);
        let all = report["findings"].as_array().unwrap().clone();
        let found: Vec<_> = all.iter().filter(|f| f["code"] == code).collect();
        assert_eq!(found.len(), 1, "{code}: {found:?}");
        assert!(!found[0]["help"].as_str().unwrap_or_default().is_empty(), "{code} without help");
        found[0].clone()
    };
    let at = |f: &serde_json::Value| {
        (f["file"].as_str().unwrap().to_owned(), f["span"]["line"].as_u64().unwrap_or(0))
    };
    let line_of = |bench: &Bench, path: &str, part: &str| {
        let text = std::fs::read_to_string(bench.0.0.join(path)).unwrap();
        text.lines().position(|l| l.contains(part)).unwrap() as u64 + 1
    };
    // The demo itself: frost, told once for the project, not for the dead specimen.
    let demo = Bench::demo("check");
    let frost = find(&demo, "charging-in-frost");
    assert!(frost["message"].as_str().unwrap().contains("January has a mean of -5 °C"), "{frost}");
    assert!(!frost["message"].as_str().unwrap().contains("GRANNY"), "{frost}");
    assert_eq!(at(&frost).1, line_of(&demo, "projects/weather-mast.toml", "site = "));
    // More light than there is.
    demo.change("sites/gorge.toml", "latitude = \"47° N\"", "latitude = \"47° S\"");
    let above = find(&demo, "above-extraterrestrial");
    assert_eq!(at(&above), ("sites/gorge.toml".to_owned(), 14));
    assert!(above["help"].as_str().unwrap().contains("southern hemisphere"));
    // A month is missing: told once, though both reading and asking meet it.
    demo.change("sites/gorge.toml", "latitude = \"47° S\"", "latitude = \"47° N\"");
    demo.change("sites/gorge.toml", "\"5.7 kWh/m²/d\", ", "");
    assert!(find(&demo, "months")["message"].as_str().unwrap().starts_with("11 months"));
    // A panel that never reaches the charger.
    let weak = Bench::demo("check-weak");
    for (from, to) in [("\"6.0 V\"", "\"2.0 V\""), ("\"7.2 V\"", "\"2.4 V\""), ("= 12", "= 4")] {
        weak.change("panels/panel-0.3-w.toml", from, to);
    }
    let low = find(&weak, "panel-too-low");
    assert!(low["message"].as_str().unwrap().contains("never reaches the charger's minimum"));
    assert_eq!(at(&low).1, line_of(&weak, "projects/weather-mast.toml", "panel = "));
    // Gaps; a unit that cannot be, with the file's line; a file that is not there.
    let mut hours = clear_hours(47.0, 8.0, 365, 0.0);
    hours.drain(40 * 24..47 * 24);
    let layout = "clock = \"UTC\", stamp = \"start\"";
    let gaps = with_file("check-gaps", &csv_of(&hours, false), layout);
    let found = find(&gaps, "weather-gaps");
    assert!(found["message"].as_str().unwrap().contains("168 intervals have no irradiance"));
    assert!(found["help"].as_str().unwrap().contains("fill_gaps"));
    let unit = "time,ghi\n2023-01-01 00:00,0\n2023-01-01 01:00,3500\n";
    let unit = with_file("check-unit", unit, layout);
    assert_eq!(at(&find(&unit, "weather-file")), ("weather/hut.csv".to_owned(), 3));
    assert_eq!(unit.run(&["check"]).status.code(), Some(2));
    std::fs::remove_file(unit.0.0.join("weather/hut.csv")).unwrap();
    let gone = find(&unit, "cannot-read");
    assert_eq!(
        at(&gone),
        ("sites/gorge.toml".to_owned(), line_of(&unit, "sites/gorge.toml", "hourly = "))
    );
    // A clock that is off is a doubt, not an error.
    let late = with_file("check-late", &csv_of(&clear_hours(47.0, 8.0, 365, 1.5), false), layout);
    let report = late.json(&["check"]);
    let doubts: Vec<&serde_json::Value> = report["findings"]
        .as_array()
        .unwrap()
        .iter()
        .filter(|f| f["code"] == "weather-file")
        .collect();
    assert!(doubts.iter().all(|d| d["severity"] == "warning" && d["file"] == "sites/gorge.toml"));
    for part in ["89 min later", "more light than outside the atmosphere", "well below the horizon"]
    {
        assert!(doubts.iter().any(|d| d["message"].as_str().unwrap().contains(part)), "{part}");
    }
    // Polar night.
    let polar = Bench::demo("check-polar");
    polar.change("sites/gorge.toml", "latitude = \"47° N\"", "latitude = \"75° N\"");
    let site = std::fs::read_to_string(polar.0.0.join("sites/gorge.toml")).unwrap();
    let start = site.find("irradiation = [").unwrap();
    let end = start + site[start..].find("]\n").unwrap();
    let months = ["0", "0.08", "1.2", "3.0", "4.5", "5.0", "4.6", "3.0", "1.5", "0.4", "0", "0"]
        .map(|h| format!("\"{h} kWh/m²/d\""));
    let months = format!("irradiation = [{}", months.join(", "));
    polar.write("sites/gorge.toml", &format!("{}{months}{}", &site[..start], &site[end..]));
    let dark = find(&polar, "polar-night");
    assert!(dark["message"].as_str().unwrap().contains("January, November, December"), "{dark}");
}
