//! What the conditions of a reading put into its budget, from documents to closed forms; blanks, priors and unknowns that stay.

use overwinter_documents::types::session::What;
use overwinter_workbench::answers;
use overwinter_workbench::bench::Bench;
use overwinter_workbench::measure::figure::{FigureReport, figure};
use overwinter_workbench::measure::printed::BudgetLine;
use overwinter_workbench::measure::{specimens, sweep};
use overwinter_workbench::report::{CellValue, NeedVerdict};
use overwinter_workbench::sampling::SampleOptions;
use overwinter_workbench::spread::StatedPrior;

const BOARD: &str = "[board]\nname = \"B\"\nkind = \"measured\"\nsource = \"here\"\n[board.traits]\ncharger = \"no\"\n[[board.specimens]]\nid = \"B-1\"\n";
const METER: &str = "[instrument]\nname = \"meter\"\n[[instrument.ranges]]\nname = \"A\"\nlimit = \"3 A\"\naccuracy = \"1 %\"\nburden = \"0.5 Ω ± 0 Ω\"\n[[instrument.ranges]]\nname = \"µA\"\nlimit = \"200 µA\"\naccuracy = \"1 %\"\nburden = \"1 kΩ\"\naccurate_from = \"18 °C\"\naccurate_to = \"28 °C\"\naccuracy_per_kelvin = \"0.1 %\"\n";

fn folder(files: &[(&str, &str)]) -> Bench {
    let (bench, found) = Bench::read(files.iter().copied());
    assert!(found.iter().all(|d| !d.is_error()), "{found:#?}");
    bench
}

fn read(session: &str) -> Bench {
    let head = "[session]\nname = \"s\"\nspecimen = \"B-1\"\ndate = 2026-05-02\ninstrument = \"meter\"\nsource = \"battery contacts\"\n";
    let text = format!("{head}{session}");
    folder(&[("boards/b.toml", BOARD), ("instruments/m.toml", METER), ("sessions/s.toml", &text)])
}

fn reading(range: &str, value: &str, rest: &str) -> String {
    format!(
        "[[session.readings]]\nwhat = \"sleep current\"\nvalue = \"{value}\"\nrange = \"{range}\"\nsettled_for = \"1 h\"\n{rest}"
    )
}

fn of(bench: &Bench, name: &str) -> FigureReport {
    figure(bench, &[name.to_owned()], None).unwrap()
}

fn line<'a>(report: &'a FigureReport, ends: &str) -> &'a BudgetLine {
    let budget = &report.readings[0].budget;
    budget
        .iter()
        .find(|l| l.source.ends_with(ends))
        .unwrap_or_else(|| panic!("no line {ends}: {budget:#?}"))
}

/// The bench meter's manual example of the reference notes, group F: 10 V, 10 Ω, 0.5 Ω in the meter reads 0.952381 A. With a
/// second reading at 8 V the board's own slope gives back 1 A; without one the budget reaches as far as 1 A and no farther.
#[test]
fn the_burden_is_corrected_by_the_boards_own_sweep_or_bounded() {
    let (high, low) = (10.0 / 10.5, 8.0 / 10.5);
    let swept = read(&format!(
        "supply = \"10 V\"\n{}{}",
        reading("A", &format!("{high:.12} A"), ""),
        reading("A", &format!("{low:.12} A"), "supply = \"8 V\"\n")
    ));
    let report = of(&swept, "s#1");
    let value = report.readings[0].figure.as_ref().unwrap().value;
    assert!((value - 1.0).abs() < 1e-10, "{value}");
    assert!(report.readings[0].faults.iter().all(|f| !f.message.contains("the meter took")));
    // Two points tell no bend: half the slope either way, rectangular (JCGM 100:2008, 4.3.7), times I·R.
    let bend = line(&report, "bend of the sweep").contribution;
    assert!((bend - 0.05 / 3.0_f64.sqrt() * high * 0.5).abs() < 1e-9, "{bend}");

    let alone = read(&format!("supply = \"10 V\"\n{}", reading("A", &format!("{high:.12} A"), "")));
    let report = of(&alone, "s#1");
    assert!((report.readings[0].figure.as_ref().unwrap().value - high).abs() < 1e-10);
    let burden = line(&report, "/ burden");
    assert!((burden.contribution * 3.0_f64.sqrt() - (1.0 - high)).abs() < 1e-9);
    assert!(burden.kind.contains("assumed"), "{}", burden.kind);
    assert!(report.readings[0].faults.iter().any(|f| f.message.contains("the meter took")));

    // Read past the meter: nothing to correct.
    let sensed = read(&format!(
        "supply = \"10 V\"\nsupply_at = \"board\"\n{}",
        reading("A", &format!("{high:.12} A"), "")
    ));
    let report = of(&sensed, "s#1");
    assert!((report.readings[0].figure.as_ref().unwrap().value - high).abs() < 1e-10);
    assert!(report.readings[0].budget.iter().all(|l| !l.source.ends_with("/ burden")));
}

/// `u = I·α·a/√3` (JCGM 100:2008, 4.3.7 and 5.1.3), α measured as ln(I₂/I₁)/ΔT or assumed at 2 %/K.
#[test]
fn temperature_is_measured_or_a_stated_prior() {
    let cold = |rest: &str| {
        read(&format!(
            "supply = \"3.80 V\"\ntemperature = \"22 °C\"\n{}{rest}",
            reading("µA", "12 µA", "")
        ))
    };
    let alone = of(&cold(""), "s#1");
    let t = line(&alone, "/ temperature");
    assert!((t.contribution - 12e-6 * 0.02 / 3.0_f64.sqrt()).abs() < 1e-12);
    assert!(t.kind.contains("2 %/K assumed"), "{}", t.kind);
    let warm = reading("µA", "24 µA", "temperature = \"45 °C\"\n");
    let both = of(&cold(&warm), "s#1");
    let t = line(&both, "/ temperature");
    let alpha = libm::log(2.0) / 23.0;
    assert!((t.contribution - 12e-6 * alpha / 3.0_f64.sqrt()).abs() < 1e-12);
    assert!(t.kind.contains("two temperatures"), "{}", t.kind);
    // 17 K above the meter's temperatures, 0.1 % of the reading each.
    let hot = of(&cold(&warm), "s#2");
    let meter = line(&hot, "outside its temperatures");
    assert!((meter.contribution - 24e-6 * 0.001 * 17.0 / 3.0_f64.sqrt()).abs() < 1e-12);
    let unknown = of(&read(&format!("supply = \"3.80 V\"\n{}", reading("µA", "12 µA", ""))), "s#1");
    assert!(
        (line(&unknown, "/ temperature").contribution - 12e-6 * 0.1 / 3.0_f64.sqrt()).abs() < 1e-12
    );
}

#[test]
fn settling_is_a_fit_a_bound_or_a_prior() {
    let record = |n: usize| -> String {
        let point = |k: usize| {
            let t = 5.0 * k as f64;
            let noise = 0.02 * ((k % 3) as f64 - 1.0);
            format!(
                "{{ after = \"{t} s\", value = \"{:.5} µA\" }}",
                12.0 + 20.0 * libm::exp(-t / 20.0) + noise
            )
        };
        let points: Vec<String> = (0..n).map(point).collect();
        format!(
            "supply = \"3.80 V\"\n[[session.readings]]\nwhat = \"sleep current\"\nrange = \"µA\"\nsettling = [{}]\n",
            points.join(", ")
        )
    };
    let settled = of(&read(&record(40)), "s#1");
    let s = line(&settled, "/ settling");
    // u(I∞) of the fit with n − 3 degrees of freedom (JCGM 100:2008, 4.2 and H.3); noise of 0.02·√(2/3) µA over the tail.
    assert_eq!(s.degrees_of_freedom, Some(37.0));
    assert!(s.contribution > 1e-9 && s.contribution < 5e-9, "{}", s.contribution);
    assert!(settled.readings[0].faults.iter().all(|f| !f.message.contains("settled")));
    let early = of(&read(&record(11)), "s#1");
    // 20·e^−2.5 = 1.64 µA still to go, and it is told.
    let s = line(&early, "/ settling");
    assert!((s.contribution * 3.0_f64.sqrt() - 1.64e-6).abs() < 0.25e-6, "{}", s.contribution);
    assert!(early.readings[0].faults.iter().any(|f| f.message.contains("before it settled")));
    let timed = "supply = \"3.80 V\"\n[[session.readings]]\nwhat = \"sleep current\"\nrange = \"µA\"\nvalue = \"12 µA\"\n";
    let unwritten = of(&read(timed), "s#1");
    let s = line(&unwritten, "/ settling");
    assert!((s.contribution - 0.2 * 12e-6 * libm::exp(-1.0) / 3.0_f64.sqrt()).abs() < 1e-12);
    assert!(s.kind.contains("not written down"), "{}", s.kind);
}

#[test]
fn a_reading_minus_itself_is_nothing_and_a_sessions_readings_share_its_temperature() {
    let session = format!(
        "supply = \"3.80 V\"\ntemperature = \"23 °C\"\n{}{}",
        reading("µA", "12 µA", ""),
        reading("µA", "12.5 µA", "supply = \"4.15 V\"\n")
    );
    let bench = read(&session);
    let same = figure(&bench, &["s#1".into(), "s#1".into()], None).unwrap().difference.unwrap();
    assert_eq!((same.figure.value, same.figure.standard_uncertainty), (0.0, None));
    let two = figure(&bench, &["s#2".into(), "s#1".into()], None).unwrap().difference.unwrap();
    assert!(two.shared.iter().any(|s| s.ends_with("/ temperature")), "{:?}", two.shared);
    assert!(two.figure.standard_uncertainty.unwrap() < 0.5 * two.if_independent);
}

#[test]
fn a_blank_is_told_with_its_line_and_counts_as_unknown() {
    let text = "[session]\nname = \"s\"\nspecimen = \"B-1\"\ndate = 2026-05-02\n[session.polarity]\nohms_left = \"? Ω\"\nohms_right = \"> 1 MΩ\"\n[[session.readings]]\nwhat = \"sleep current\"\nrepeats = [\"? µA\", \"12 µA\"]\n";
    let (bench, found) = Bench::read([("boards/b.toml", BOARD), ("sessions/s.toml", text)]);
    let told: Vec<&str> =
        found.iter().filter(|d| d.code == "not-filled-in").map(|d| d.message.as_str()).collect();
    assert_eq!(
        told,
        ["not filled in yet: `ohms_left`, line 6", "not filled in yet: `repeats`, line 10"]
    );
    let session = bench.session("s").unwrap();
    assert!(session.polarity.as_ref().unwrap().ohms_left.is_none());
    assert_eq!(session.readings[0].repeats.len(), 1);
    // Where the document cannot do without: an error that says the same, not a missing field.
    let (bench, found) =
        Bench::read([("sessions/s.toml", "[session]\nname = \"s\"\ndate = \"?\"\n")]);
    assert!(bench.session("s").is_none());
    assert_eq!(found[0].message, "not filled in yet: `date`, line 3");
}

const CELL: &str = "[cell]\nname = \"c\"\nchemistry = \"lithium-ion\"\ncapacity = \"2000 mAh\"\n[cell.figures]\nresistance = \"0.1 Ω\"\ncharge_current = \"1 A\"\n";
const PROJECT: &str = "[project]\nname = \"p\"\ncell = \"c\"\ntemperature = { constant = \"15 °C\" }\nwishes = [{ minimise = \"resets\" }]\npanel = \"w\"\n[[project.activities]]\nname = \"report\"\nevery = \"15 min\"\ncharge = \"150 mC\"\nduration = \"2 s\"\n[project.needs]\ntraits = { led_in_sleep = \"no\", external_antenna = \"yes\" }\n";
const PANEL: &str = "[panel]\nname = \"w\"\nkind = \"assumed\"\nsource = \"here\"\npower = \"1 W\"\nvoltage = \"6 V\"\n";

#[test]
fn dead_specimens_unknowns_priors_and_resets() {
    let dead = BOARD.replace(
        "id = \"B-1\"\n",
        "id = \"B-1\"\ndead = { since = 2026-05-01, cause = \"reversed\" }\n",
    );
    let alive = BOARD
        .replace("name = \"B\"", "name = \"C\"")
        .replace(
            "charger = \"no\"",
            "charger = \"no\"\nled_in_sleep = \"no\"\nresets_on_source_attached = \"no\"",
        )
        .replace("id = \"B-1\"", "id = \"C-1\"\ntraits = { led_in_sleep = \"unknown\" }");
    let session = "[session]\nname = \"s\"\nspecimen = \"C-1\"\ndate = 2026-05-02\ninstrument = \"meter\"\nsource = \"battery contacts\"\nsupply = \"3.80 V\"\n[[session.readings]]\nwhat = \"sleep current\"\nvalue = \"12 µA\"\nrange = \"µA\"\n[[session.ride_through]]\nevent = \"removed\"\ncell_voltage = \"3.5 V\"\nresets = 2\ntrials = 20\n";
    let project =
        format!("{PROJECT}[project.prior]\nspecimen_spread = \"10 %\"\nreason = \"told here\"\n");
    let (bench, _) = Bench::read([
        ("boards/b.toml", dead.as_str()),
        ("boards/c.toml", &alive),
        ("cells/c.toml", CELL),
        ("instruments/m.toml", METER),
        ("panels/w.toml", PANEL),
        ("projects/p.toml", &project),
        ("sessions/s.toml", session),
    ]);
    let project = bench.project("p").unwrap();
    let choice = answers::choice(&bench, project, SampleOptions { draws: 64, seed: 1 }).unwrap();
    let board = |name: &str| choice.boards.iter().find(|b| b.board == name).unwrap();
    let need = |b: &str, n: &str| {
        board(b).needs.iter().find(|need| need.need.starts_with(n)).unwrap().clone()
    };
    // The LED cannot be looked at any more; the antenna's connector still can.
    let led = need("B", "LED");
    assert!(led.reason.contains("another specimen is needed"), "{}", led.reason);
    assert_eq!(led.test_minutes, None);
    assert!(need("B", "external antenna").reason.contains("look for an antenna connector"));
    // "unknown" of the specimen holds over the model's "no".
    let led = need("C", "LED");
    assert_eq!(led.verdict, NeedVerdict::Undecided, "{}", led.reason);
    // 2 of 20 removals at 3.5 V, once a day; attaching as entered.
    let CellValue::Number { value, text } = &board("C").wishes[0] else {
        panic!("{:?}", board("C").wishes)
    };
    assert!((value - 36.525).abs() < 1e-9, "{text}");
    assert_eq!(board("B").wishes[0], CellValue::Unknown);
    // The project's prior acts and is shown.
    assert!(choice.spread_prior.contains("10 %") && choice.spread_prior.contains("told here"));
    let one =
        specimens::specimens(&bench, "C", What::SleepCurrent, &StatedPrior::of_folder(&bench));
    assert!((one.unwrap().prior_cv - 0.10).abs() < 1e-12);
    let options = SampleOptions { draws: 64, seed: 1 };
    let forecast = answers::forecast(&bench, project, bench.board("C").unwrap(), None, options);
    assert!(forecast.unwrap().spread_statement.contains("told here"));
}

#[test]
fn a_charger_is_known_by_where_it_ends() {
    let board = BOARD.replace("charger = \"no\"", "charger = \"yes\"");
    let session = "[session]\nname = \"s\"\nspecimen = \"B-1\"\ndate = 2026-05-02\n[[session.readings]]\nwhat = \"float voltage\"\nvalue = \"4.33 ± 0.01 V\"\nsource = \"USB\"\n";
    let sweep_of = "[session]\nname = \"t\"\nspecimen = \"B-1\"\ndate = 2026-05-02\ninstrument = \"meter\"\nsource = \"battery contacts\"\n";
    let points: String = [("4.15", "13"), ("3.80", "12"), ("3.50", "11"), ("3.25", "10")]
        .map(|(v, i)| reading("µA", &format!("{i} µA"), &format!("supply = \"{v} V\"\n")))
        .concat();
    let bench = folder(&[
        ("boards/b.toml", &board),
        ("instruments/m.toml", METER),
        ("sessions/s.toml", session),
        ("sessions/t.toml", &format!("{sweep_of}{points}")),
    ]);
    let report = sweep::sweep(&bench, "B", None).unwrap();
    let charger = report.charger.unwrap();
    assert!(charger.classes[0].class.contains("4.35 V"), "{:?}", charger.classes);
    assert!(charger.classes[0].probability > 0.99 && !charger.perhaps_none);
}
