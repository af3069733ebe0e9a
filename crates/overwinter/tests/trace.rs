//! The trace commands through the real binary: from a generated trace to a forecast, files that grow, work that is stopped.

mod common;

use std::fmt::Write as _;
use std::io::Write as _;
use std::process::{Command, Output, Stdio};
use std::time::{Duration, Instant};

use common::{Folder, command, error, json, run, text};
use overwinter_recordings::demo::{Invented, build};

/// A trace of 40 wakes in another layout than the demo's: seconds, milliamperes, tabs.
fn invented() -> (String, f64, f64) {
    let trace = Invented { period_s: 4.0, length_s: 161.0, seed: 77, spread: 0.03, ..build(false) };
    let (samples, charges) = trace.samples();
    let mut text = String::from("Time [s]\tCurrent [mA]\n");
    for (n, a) in samples.iter().enumerate() {
        let _ = writeln!(text, "{:.3}\t{:.5}", n as f64 / trace.rate_hz, a * 1e3);
    }
    let n = charges.len() as f64;
    let mean = charges.iter().sum::<f64>() / n;
    let variance = charges.iter().map(|q| (q - mean) * (q - mean)).sum::<f64>() / (n - 1.0);
    (text, mean, (variance / n).sqrt())
}

/// Source of the truth: the generator's own closed form, Σ current · step of every whole wake.
#[test]
fn a_trace_s_charge_per_wake_reaches_the_forecast_with_its_uncertainty() {
    let folder = Folder::demo("trace-forecast");
    let (trace, charge, u) = invented();
    std::fs::write(folder.0.join("traces/new.csv"), trace).unwrap();
    let project = folder.0.join("projects/footbridges.toml");
    let before = std::fs::read_to_string(&project).unwrap();
    let loaded = run(
        &folder.0,
        &["trace", "load", "traces/new.csv", "-p", "footbridges", "--format", "json"],
    );
    assert_eq!(loaded.status.code(), Some(0), "{}", error(&loaded));
    let report = json(&loaded);
    assert_eq!(report["activity"], "report");
    let value = report["charge_c"]["value"].as_f64().unwrap();
    let stated = report["charge_c"]["standard_uncertainty"].as_f64().unwrap();
    // The edges of a wake are trapezoids: half a sample of 340 mA at most, 0.17 mC of 190.
    assert!((value - charge).abs() < 0.2e-3, "{value} for {charge}");
    assert!((stated / u - 1.0).abs() < 0.02, "{stated} for {u}");
    let after = std::fs::read_to_string(&project).unwrap();
    for line in before.lines().filter(|line| line.starts_with('#')) {
        assert!(after.contains(line), "{line}");
    }
    assert!(after.contains("every = \"15 min\""), "the project's own interval stays");

    let forecast = |folder: &Folder| {
        let output = run(
            &folder.0,
            &["forecast", "BOWLINE", "-p", "footbridges", "--draws", "256", "--format", "json"],
        );
        assert_eq!(output.status.code(), Some(0), "{}", error(&output));
        json(&output)
    };
    let by_trace = forecast(&folder);
    let line = by_trace["sensitivities"]
        .as_array()
        .unwrap()
        .iter()
        .find(|line| line["input"] == "charge per “report”")
        .expect("the charge is an input")
        .clone();
    assert_eq!(line["origin"]["kind"], "measured");
    assert_eq!(line["origin"]["source"], "recording traces/new.csv, 40 wakes");
    assert_eq!(line["value"], report["charge_c"]["text"]);
    // One standard uncertainty is worth its share of the life.
    let per_unit = line["days_per_unit"].as_f64().unwrap();
    let per_u = line["days_per_standard_uncertainty"].as_f64().unwrap();
    assert!((per_u.abs() / (per_unit.abs() * u * 1e3) - 1.0).abs() < 0.05, "{per_u} {per_unit}");
    // The same life as with the true charge typed in by hand.
    let typed = format!("charge = \"{:.6} ± {:.6} mC (k = 1)\"", charge * 1e3, u * 1e3);
    let by_hand = after
        .lines()
        .map(|line| if line.starts_with("charge = {") { typed.as_str() } else { line })
        .collect::<Vec<_>>()
        .join("\n");
    assert!(by_hand.contains(&typed));
    std::fs::write(&project, by_hand).unwrap();
    let truth = forecast(&folder)["life_s"].as_f64().unwrap();
    let life = by_trace["life_s"].as_f64().unwrap();
    assert!((life / truth - 1.0).abs() < 1e-3, "{life} for {truth}");
}

#[test]
fn every_format_of_every_command() {
    let folder = Folder::demo("trace-formats");
    let first = "BOWLINE-1 build 1.4";
    let commands: &[(&[&str], i32)] = &[
        (&["read", first], 0),
        (&["compare", first, "BOWLINE-1 build 1.5", "-p", "footbridges"], 0),
        (&["rail", "SLIPKNOT-1 USB removed"], 1),
        (&["load", first, "-p", "footbridges", "--dry-run"], 0),
        (&["floor", first, "--dry-run"], 0),
        (&["list"], 0),
        (&["plot", first, "--from", "7 s", "--to", "10 s"], 0),
        (&["keep", first], 0),
    ];
    for (arguments, status) in commands {
        let all = [&["trace"], *arguments].concat();
        let human = run(&folder.0, &all);
        assert_eq!(human.status.code(), Some(*status), "{all:?}: {}", error(&human));
        let wide = text(&human);
        // The document's own lines of a dry run are shown as they are.
        let own = |line: &&str| !line.starts_with("+ ") && !line.starts_with("- ");
        for line in wide.lines().filter(own) {
            assert!(line.chars().count() <= 100, "{all:?}: {line}");
        }
        let value = json(&run(&folder.0, &[&all[..], &["--format", "json"]].concat()));
        assert_eq!(value["schema_version"], 1, "{all:?}");
        let csv = text(&run(&folder.0, &[&all[..], &["--format", "csv"]].concat()));
        let mut rows = csv.lines().map(|line| line.matches(',').count());
        let head = rows.next().unwrap();
        assert!(head >= 3 && rows.clone().count() >= 1, "{all:?}: {csv}");
        let help = text(&run(&folder.0, &["trace", arguments[0], "--help"]));
        assert!(help.contains("Example"), "{help}");
    }
}

#[test]
fn a_trial_is_counted_once() {
    let folder = Folder::demo("trace-rail");
    let tried = |folder: &Folder| {
        let report = json(&run(&folder.0, &["ride", "SLIPKNOT", "--format", "json"]));
        report["trials"]
            .as_array()
            .unwrap()
            .iter()
            .map(|t| t["tried"].as_u64().unwrap())
            .sum::<u64>()
    };
    let before = tried(&folder);
    for _ in 0..2 {
        let wrote = run(&folder.0, &["trace", "rail", "SLIPKNOT-1 USB removed", "--write"]);
        assert_eq!(wrote.status.code(), Some(1), "{}", error(&wrote));
        assert_eq!(tried(&folder), before + 1);
    }
    let undecided = run(
        &folder.0,
        &["trace", "rail", "SLIPKNOT-1 USB removed", "--write", "--threshold", "2.64 V"],
    );
    assert_eq!(undecided.status.code(), Some(2));
    assert!(error(&undecided).contains("decides nothing"), "{}", error(&undecided));
}

#[test]
fn keeping_makes_a_document_that_reads_the_same() {
    let folder = Folder::demo("trace-keep");
    let (trace, charge, _) = invented();
    std::fs::write(folder.0.join("traces/new one.csv"), trace).unwrap();
    let kept = run(
        &folder.0,
        &[
            "trace",
            "keep",
            "traces/new one.csv",
            "--name",
            "new \"one\"",
            "--specimen",
            "BOWLINE-2",
            "--instrument",
            "current logger",
            "--range",
            "0.5 A",
            "--supply",
            "3.70 V",
            "--format",
            "json",
        ],
    );
    assert_eq!(kept.status.code(), Some(0), "{}", error(&kept));
    let report = json(&kept);
    let document = folder.0.join(report["document"].as_str().unwrap());
    let text_of = std::fs::read_to_string(&document).unwrap();
    assert!(text_of.contains("between = \"tab\"") && text_of.contains("sha256"), "{text_of}");
    // From the source by its document, then from the kept form alone.
    let charge_of =
        |output: &Output| json(output)["activities"][0]["charge_c"]["value"].as_f64().unwrap();
    let by_source =
        charge_of(&run(&folder.0, &["trace", "read", "new \"one\"", "--format", "json"]));
    std::fs::remove_file(folder.0.join("traces/new one.csv")).unwrap();
    let by_kept = charge_of(&run(&folder.0, &["trace", "read", "new \"one\"", "--format", "json"]));
    assert!((by_source - charge).abs() < 0.2e-3);
    assert!((by_kept / by_source - 1.0).abs() < 1e-6, "{by_kept} for {by_source}");
    let again = run(&folder.0, &["trace", "keep", "new \"one\""]);
    assert_eq!(again.status.code(), Some(2), "its source is gone");
    let check = run(&folder.0, &["check"]);
    assert!(text(&check).contains("is not there"), "{}", text(&check));
}

#[cfg(unix)]
fn signal(child: &std::process::Child) {
    let done = Command::new("kill").args(["-INT", &child.id().to_string()]).status().unwrap();
    assert!(done.success());
}

#[cfg(unix)]
#[test]
fn a_growing_file_is_followed_until_it_is_stopped() {
    let folder = Folder::demo("trace-follow");
    let path = folder.0.join("growing.csv");
    let mut file = std::fs::File::create(&path).unwrap();
    writeln!(file, "time_s,current_a").unwrap();
    for n in 0..500 {
        writeln!(file, "{:.3},{:.9}", f64::from(n) * 1e-3, 1e-5).unwrap();
    }
    file.flush().unwrap();
    let child = command(
        &folder.0,
        &["trace", "read", "growing.csv", "--follow", "--progress", "--format", "json"],
    )
    .stdout(Stdio::piped())
    .stderr(Stdio::piped())
    .spawn()
    .unwrap();
    std::thread::sleep(Duration::from_millis(600));
    for n in 500..900 {
        writeln!(file, "{:.3},{:.9}", f64::from(n) * 1e-3, 1e-5).unwrap();
    }
    file.flush().unwrap();
    std::thread::sleep(Duration::from_millis(900));
    signal(&child);
    let output = child.wait_with_output().unwrap();
    assert_eq!(output.status.code(), Some(0), "{}", error(&output));
    assert_eq!(json(&output)["samples"], 900);
}

#[cfg(unix)]
#[test]
fn a_stopped_keep_leaves_nothing() {
    let folder = Folder::demo("trace-stopped");
    let list = |folder: &Folder| {
        let mut names: Vec<String> = ["traces", "recordings"]
            .iter()
            .flat_map(|sub| std::fs::read_dir(folder.0.join(sub)).unwrap())
            .map(|entry| entry.unwrap().file_name().into_string().unwrap())
            .collect();
        names.sort();
        names
    };
    let before = list(&folder);
    let mut child = command(&folder.0, &["trace", "keep", "-", "--name", "live"])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    let mut input = child.stdin.take().unwrap();
    let mut text = String::from("time_s,current_a\n");
    for n in 0..200_000 {
        let _ = writeln!(text, "{:.3},0.00001", f64::from(n) * 1e-3);
    }
    input.write_all(text.as_bytes()).unwrap();
    let until = Instant::now() + Duration::from_secs(20);
    while list(&folder) == before && Instant::now() < until {
        std::thread::sleep(Duration::from_millis(20));
    }
    assert_ne!(list(&folder), before, "the work has begun: its temporary file is there");
    signal(&child);
    let output = child.wait_with_output().unwrap();
    drop(input);
    assert_eq!(output.status.code(), Some(2), "{}", error(&output));
    assert!(error(&output).contains("nothing was written"), "{}", error(&output));
    assert_eq!(list(&folder), before);
}

/// Source of the truth: the generator's floor. The reading's budget holds the record's scatter and the instrument's limits.
#[test]
fn a_floor_becomes_a_reading_that_figure_and_bill_count() {
    let folder = Folder::demo("trace-floor");
    let name = "BOWLINE-1 build 1.4";
    let session = folder.0.join("sessions/2026-06-06-bowline-1-traces.toml");
    let dry = folder.run(&["trace", "floor", name, "--dry-run"]);
    assert_eq!(dry.status.code(), Some(0), "{}", error(&dry));
    assert!(text(&dry).contains("+ recording = \"BOWLINE-1 build 1.4\"") && !session.exists());
    let wrote = ["trace", "floor", name, "--settled-for", "10 min", "--format", "json"];
    let report = json(&folder.run(&wrote));
    let floor = report["current_a"]["value"].as_f64().unwrap();
    let scatter = report["current_a"]["standard_uncertainty"].as_f64().unwrap();
    assert!((floor - build(false).floor_a).abs() < 4.0 * scatter, "{floor}");
    let counted = |folder: &Folder| {
        let all =
            folder.run(&["figure", "BOWLINE-1", "--what", "sleep current", "--format", "json"]);
        let readings = json(&all)["readings"].as_array().unwrap().clone();
        let of = |r: &&serde_json::Value| r["key"].as_str().unwrap().contains("traces#");
        (readings.iter().filter(of).count(), readings.iter().find(of).cloned().unwrap())
    };
    let (count, reading) = counted(&folder);
    assert_eq!((count, &reading["stands"]), (1, &true.into()));
    let value = reading["figure"]["value"].as_f64().unwrap();
    assert!((value - floor).abs() < 1e-11, "{value} for {floor}");
    let budget = reading["budget"].as_array().unwrap();
    let line = |what: &str| budget.iter().find(|b| b["source"].as_str().unwrap().contains(what));
    let own = line("scatter within the record").unwrap();
    assert!((own["standard_uncertainty"].as_f64().unwrap() / scatter - 1.0).abs() < 5e-3);
    // ± 0.1 µA of offset, rectangular, as the instrument's document says.
    assert!(line("current logger / 0.5 A / offset").is_some());
    let bill = json(&folder.run(&["bill", "BOWLINE", "--format", "json"]));
    assert_eq!(
        bill["total"]["origin"]["source"],
        "session 2026-06-06 BOWLINE-1 traces, 2026-06-06"
    );
    assert!((bill["total"]["current_a"].as_f64().unwrap() / value - 1.0).abs() < 1e-9);
    // Written again after an edit: one reading, the person's comments stay; the folder checks.
    let before = std::fs::read_to_string(&session).unwrap();
    let edited = before.replace("note = ", "# the logger had warmed up\nnote = ");
    std::fs::write(&session, format!("# mine\n{edited}")).unwrap();
    assert_eq!(json(&folder.run(&wrote))["new"], false);
    let after = std::fs::read_to_string(&session).unwrap();
    assert!(
        after.starts_with("# mine\n") && after.contains("# the logger had warmed up"),
        "{after}"
    );
    assert_eq!(counted(&folder).0, 1);
    let check = text(&folder.run(&["check"]));
    assert!(!check.contains("traces.toml"), "{check}");
    // A zero that was taken off stands beside the raw value, and is taken off once.
    let document = folder.0.join("recordings/bowline-1-build-1.4.toml");
    let with = std::fs::read_to_string(&document)
        .unwrap()
        .replace("[recording.layout]", "[recording.layout]\n# zero");
    let with = with.replace("range = \"0.5 A\"", "range = \"0.5 A\"\noffset = \"0.4 µA\"");
    std::fs::write(&document, with).unwrap();
    folder.run(&wrote);
    let text = std::fs::read_to_string(&session).unwrap();
    assert!(
        text.contains("zero_before = \"400 nA\"") || text.contains("zero_before = \"0.4 µA\""),
        "{text}"
    );
    let less = counted(&folder).1["figure"]["value"].as_f64().unwrap();
    assert!((value - less - 0.4e-6).abs() < 1e-11, "{less}");
    // What has no specimen, or shows a rail, is none.
    for (what, told) in [
        ("SLIPKNOT-1 USB removed", "only a recording of a current"),
        ("traces/none.csv", "none.csv"),
    ] {
        let refused = folder.run(&["trace", "floor", what]);
        assert_eq!(refused.status.code(), Some(2));
        assert!(error(&refused).contains(told), "{}", error(&refused));
    }
}

/// Date, time of day and fraction: found, stated over what was found, kept, and read the same from the document.
#[test]
fn a_time_in_three_columns_is_stated_and_remembered() {
    let folder = Folder::demo("trace-split");
    let mut text_of = String::from("d;c;f;q\n");
    for k in 0..400_u32 {
        // Tenths of milliseconds, which nothing in the file tells; the last column is no part of it.
        let level = if k % 100 < 5 { 20.0 } else { 0.012 };
        let (s, f) = (k / 100, k % 100 * 100);
        let _ = writeln!(text_of, "03.04.2026;10:00:{s:02};{f};{level}");
    }
    std::fs::write(folder.0.join("traces/split.txt"), text_of).unwrap();
    let stated = [
        "--clock-column",
        "2",
        "--date-column",
        "1",
        "--fraction-column",
        "3",
        "--fraction-unit",
        "0.1 ms",
        "--date-order",
        "month, day, year",
        "--current-column",
        "4",
        "--current-unit",
        "1 mA",
    ];
    let read = |extra: &[&str], what: &str| {
        let output = folder.run(&[&["trace", "read", what, "--format", "json"], extra].concat());
        assert_eq!(output.status.code(), Some(0), "{}", error(&output));
        json(&output)
    };
    let first = read(&stated, "traces/split.txt");
    assert!((first["interval_s"].as_f64().unwrap() - 0.01).abs() < 1e-6, "{first}");
    let told = first["read_as"].as_str().unwrap();
    assert!(
        told.contains("date in column 1 \"d\" (month, day, year), time of day in column 2 \"c\""),
        "{told}"
    );
    let kept = folder.run(&[&["trace", "keep", "traces/split.txt"], &stated[..]].concat());
    assert_eq!(kept.status.code(), Some(0), "{}", error(&kept));
    let document = std::fs::read_to_string(folder.0.join("recordings/split.toml")).unwrap();
    for line in [
        "clock_column = 2",
        "date_column = 1",
        "fraction_column = 3",
        "date = \"month, day, year\"",
    ] {
        assert!(document.lines().any(|l| l == line), "{line}: {document}");
    }
    let again = read(&[], "split");
    assert_eq!(again["read_as"], first["read_as"]);
    assert_eq!(again["charge_c"], first["charge_c"]);
    // No fraction: a hundred samples a second at the same time.
    let without = read(&["--fraction-column", "0"], "split");
    assert!(!without["read_as"].as_str().unwrap().contains("fraction"));
    let both = folder.run(&["trace", "read", "split", "--clock-column", "2", "--time-column", "3"]);
    assert_eq!(both.status.code(), Some(2));
}

/// Arrow by name, through a pipe, kept: the same charge.
#[test]
fn an_arrow_file_is_read_like_any_other() {
    let folder = Folder::demo("trace-arrow");
    let sample = std::path::Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("../traces/tests/data/arrow_zstd.arrow");
    let bytes = std::fs::read(sample).unwrap();
    std::fs::write(folder.0.join("traces/a.arrow"), &bytes).unwrap();
    let by_name = json(&folder.run(&["trace", "read", "traces/a.arrow", "--format", "json"]));
    assert!(by_name["read_as"].as_str().unwrap().starts_with("I read this as Arrow"));
    let mut child = command(&folder.0, &["trace", "read", "-", "--format", "json"])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    child.stdin.take().unwrap().write_all(&bytes).unwrap();
    let piped = json(&child.wait_with_output().unwrap());
    assert_eq!(piped["charge_c"], by_name["charge_c"]);
    let kept = folder.run(&["trace", "keep", "traces/a.arrow", "--name", "a"]);
    assert_eq!(kept.status.code(), Some(0), "{}", error(&kept));
    let document = std::fs::read_to_string(folder.0.join("recordings/a.toml")).unwrap();
    assert!(
        document.contains("samples = \"Arrow\"") && document.contains("sha256 = "),
        "{document}"
    );
    let again = json(&folder.run(&["trace", "read", "a", "--format", "json"]));
    assert_eq!(again["charge_c"], by_name["charge_c"]);
    // Cut: what came before, with its extent, and the library says nothing of its own.
    std::fs::write(folder.0.join("traces/cut.arrow"), &bytes[..bytes.len() * 2 / 3]).unwrap();
    let cut = folder.run(&["trace", "read", "traces/cut.arrow"]);
    assert_eq!(cut.status.code(), Some(0));
    assert!(
        error(&cut).contains("ends early at row") && !error(&cut).contains("panicked"),
        "{}",
        error(&cut)
    );
}
