//! The measurement side on small folders and on the demo: from documents to defended numbers.

use overwinter_documents::types::session::What;
use overwinter_workbench::bench::Bench;
use overwinter_workbench::measure::figure::{Standing, figure};
use overwinter_workbench::measure::{burden, dispute, lost, next, ride, settle, specimens, sweep};
use overwinter_workbench::sampling::SampleOptions;
use overwinter_workbench::spread::StatedPrior;

fn demo() -> Bench {
    let files = overwinter_workbench::demo::FILES.iter().copied();
    let (bench, found) = Bench::read(files.filter(|(path, _)| *path != "README.md"));
    assert!(found.iter().all(|d| !d.is_error()), "{found:#?}");
    bench
}

const METER: &str = "[instrument]\nname = \"meter\"\nclass = \"hand-held, 6000 counts\"\n";
const BOARD: &str = "[board]\nname = \"B\"\nkind = \"measured\"\nsource = \"here\"\n[board.traits]\ncharger = \"yes\"\npins = 24\n[[board.specimens]]\nid = \"B-1\"\nbought = 2026-05-01\n";

/// A folder of one board, one meter and the sessions given; a document that is objected to is in it all the same.
fn folder(board: &str, sessions: &[&str]) -> Bench {
    let mut files = vec![
        ("boards/b.toml".to_owned(), board.to_owned()),
        ("instruments/meter.toml".to_owned(), METER.to_owned()),
    ];
    for (k, session) in sessions.iter().enumerate() {
        files.push((format!("sessions/s{k}.toml"), (*session).to_owned()));
    }
    Bench::read(files).0
}

fn session(name: &str, rest: &str) -> String {
    format!("[session]\nname = \"{name}\"\nspecimen = \"B-1\"\ndate = 2026-05-02\n{rest}")
}

fn reading(rest: &str) -> String {
    let head = "supply = \"3.80 V\"\nsource = \"battery contacts\"\n[[session.readings]]\nwhat = \"sleep current\"\n";
    session("s", &format!("{head}{rest}"))
}

/// The faults told of a single reading, and whether a figure was made of it all the same.
fn told(text: &str) -> (Vec<String>, bool, Vec<String>) {
    let report = figure(&folder(BOARD, &[text]), &["B-1".to_owned()], None).unwrap();
    assert_eq!(report.readings.len(), 1, "a bad reading is kept");
    let r = &report.readings[0];
    (r.faults.iter().map(|f| f.message.clone()).collect(), r.figure.is_some(), r.typed.clone())
}

#[test]
fn bad_readings_are_told_kept_and_only_the_impossible_give_no_figure() {
    let on = |value: &str, range: &str| {
        reading(&format!("{value}\ninstrument = \"meter\"\nrange = \"{range}\"\n"))
    };
    let said = |faults: &[String], what: &str| {
        assert!(faults.iter().any(|f| f.contains(what)), "{what}: {faults:?}");
    };
    // Beyond the end of the range.
    let (faults, figure, typed) = told(&on("value = \"900 µA\"", "600 µA"));
    said(&faults, "beyond the end of the range");
    assert_eq!((figure, typed.as_slice()), (false, &["900 µA".to_owned()][..]));
    // Units of two kinds.
    let (faults, figure, _) = told(&on("repeats = [\"12.6 µA\", \"3.8 V\"]", "600 µA"));
    said(&faults, "a value is a voltage");
    assert!(!figure);
    // A range of volts beside a current gives no accuracy.
    let (faults, figure, _) = told(&on("value = \"12.6 µA\"", "6 V"));
    said(&faults, "no instrument and range");
    assert!(figure);
    // Equal repeats are not exact.
    let (faults, figure, _) = told(&on("repeats = [\"120.0 µA\", \"120.0 µA\"]", "600 µA"));
    said(&faults, "equal repeats");
    assert!(figure);
    // No instrument.
    let (faults, figure, _) = told(&reading("value = \"12.6 µA\"\n"));
    said(&faults, "the uncertainty shown is an assumption");
    assert!(figure);
    // Before the board came in.
    let early = on("value = \"120.0 µA\"", "600 µA").replace("2026-05-02", "2026-04-01");
    let (faults, figure, _) = told(&early);
    said(&faults, "before the board came in");
    assert!(figure);
    // A negative resistance cannot be.
    let ohms = "[[session.readings]]\nwhat = \"resistance\"\nvalue = \"-3 Ω\"\ninstrument = \"meter\"\nrange = \"600 Ω\"\n";
    let (faults, figure, _) = told(&session("s", ohms));
    said(&faults, "cannot be");
    assert!(!figure);
    // Nothing at all.
    let (faults, figure, _) = told(&on("", "600 µA"));
    said(&faults, "no value");
    assert!(!figure);
}

#[test]
fn board_minus_module_is_6_2_and_not_better_than_1_4() {
    // Job check, trap 2: 12.6(35) − 6.4(30), module-to-module 8 % of 6.4 = 0.512: 6.2 ± 1.4 (k = 2), u = 0.689.
    let board = BOARD.replace("kind = \"measured\"", "module = \"bare\"\nkind = \"measured\"");
    let module = "[module]\nname = \"bare\"\nkind = \"measured\"\nsleep_current = \"6.40(30) µA\"\nspecimen_spread = \"8 %\"\n";
    let (bench, found) = Bench::read([
        ("boards/b.toml", board),
        ("modules/bare.toml", module.to_owned()),
        ("sessions/s.toml", reading("value = \"12.60(35) µA\"\n")),
    ]);
    assert!(found.iter().all(|d| !d.is_error()), "{found:#?}");
    let board = bench.board("B").unwrap();
    let bill = overwinter_workbench::bill::bill(&bench, board, None).unwrap();
    assert_eq!(plain(&bill.beyond_module.unwrap()), "6.2 ± 1.4 µA (k = 2)");
    let shown = overwinter_workbench::facts::Shown::new(&bench, board, None);
    let u = shown.beyond_module().unwrap().figure.standard_uncertainty();
    assert!((u - 0.689e-6).abs() < 0.5e-9, "{u}");
    // A reading minus itself.
    let same = figure(&bench, &["s#1".into(), "s#1".into()], None).unwrap().difference.unwrap();
    assert_eq!((same.figure.value, same.figure.standard_uncertainty), (0.0, None));
}

fn plain(text: &str) -> String {
    text.replace('\u{a0}', " ")
}

#[test]
fn a_board_that_wastes_next_to_nothing_is_below_a_limit() {
    // 6.6 − 6.4 with u = √(0.1² + 0.1² + 0.512²) = 0.531: below 0.2 + 1.65·0.531 = 1.08 µA, in bill and table.
    let board = BOARD.replace("kind = \"measured\"", "module = \"bare\"\nkind = \"measured\"");
    let module = "[module]\nname = \"bare\"\nkind = \"measured\"\nsleep_current = \"6.40(10) µA\"\nspecimen_spread = \"8 %\"\n";
    let (bench, _) = Bench::read([
        ("boards/b.toml", board),
        ("modules/bare.toml", module.to_owned()),
        ("sessions/s.toml", reading("value = \"6.60(10) µA\"\n")),
    ]);
    let bill = overwinter_workbench::bill::bill(&bench, bench.board("B").unwrap(), None).unwrap();
    assert_eq!(plain(&bill.beyond_module.unwrap()), "not resolved, below 1.08 µA");
}

#[test]
fn two_readings_on_one_range_differ_more_sharply_than_each_is_known() {
    let bench = demo();
    let names = ["REEF-1".to_owned(), "TURKSHEAD-1".to_owned()];
    let d = figure(&bench, &names, Some(What::SleepCurrent)).unwrap().difference.unwrap();
    assert!(d.shared.is_empty(), "1 mA and 100 µA ranges share nothing: {:?}", d.shared);
    let names = ["2026-05-03 REEF-1 sleep#2".to_owned(), "2026-05-03 REEF-1 sleep#3".to_owned()];
    let d = figure(&bench, &names, None).unwrap().difference.unwrap();
    for shared in ["/ gain", "/ offset", "sleep / temperature", "/ series resistance"] {
        assert!(d.shared.iter().any(|s| s.ends_with(shared)), "{shared}: {:?}", d.shared);
    }
    assert!(d.correlation.unwrap() > 0.9, "{:?}", d.correlation);
    let ratio = d.figure.standard_uncertainty.unwrap() / d.if_independent;
    assert!(ratio < 0.3, "{ratio}");
}

#[test]
fn history_says_what_was_superseded_and_why() {
    let report = figure(&demo(), &["BOWLINE-1".into()], Some(What::SleepCurrent)).unwrap();
    let standing = report.history.iter().filter(|h| h.became == "stands").count();
    assert_eq!(standing, 1, "{:#?}", report.history);
    assert!(report.history.iter().any(|h| h.became.contains("one count is 10 µA")));
    assert!(report.history.iter().any(|h| h.became == "counts, under other conditions"));
    let gone = report.readings.iter().find(|r| matches!(r.standing, Standing::Superseded { .. }));
    assert!(gone.is_some_and(|r| r.figure.is_some() && !r.stands), "kept, but it does not stand");
}

#[test]
fn the_dead_are_told_with_what_they_cost() {
    let bench = demo();
    let ledger = lost::lost(&bench, None).unwrap();
    assert_eq!((ledger.lost.len(), ledger.cost.as_slice()), (1, &["5.60 EUR".to_owned()][..]));
    assert_eq!(ledger.lost[0].step_number, Some(3));
    let read = figure(&bench, &["GRANNY-1".into()], Some(What::SleepCurrent)).unwrap();
    assert!(read.readings.is_empty(), "nothing is filled in");
    assert!(lost::lost(&bench, Some("REEF-1")).is_err());
}

#[test]
fn slipknot_is_safe_above_3_65_and_turkshead_proves_nothing() {
    // Job check, trap R.
    let bench = demo();
    let report = ride::ride(&bench, "SLIPKNOT", None, Some(400.0)).unwrap();
    let radio = report.predictions.iter().find(|p| p.doing == "radio on").unwrap();
    assert!((radio.lowest_safe.value - 3.65).abs() < 1e-9);
    assert!(!report.contradiction, "{:#?}", report.trials);
    // 7 of 20 asleep at 3.5 V, where the margin is nil: a coin, as predicted.
    let coin = report.trials.iter().find(|t| t.resets == 7).unwrap();
    assert!((coin.predicted.unwrap() - 0.5).abs() < 0.01);
    let worst = report.trials.iter().find(|t| t.resets == 20).unwrap();
    assert!((worst.resets_a_year.unwrap()[0] - 400.0).abs() < 1e-9);
    let unknown = ride::ride(&bench, "TURKSHEAD", None, None).unwrap();
    assert!(unknown.predictions.is_empty(), "load sharing is unknown: no prediction");
    assert!(unknown.verdict.iter().any(|v| v.contains("proves nothing")), "{:?}", unknown.verdict);
}

#[test]
fn trials_that_contradict_the_path_are_told() {
    let board = BOARD.replace(
        "[[board.specimens]]",
        "[board.supply]\nreset_threshold = \"2.80 V\"\nhand_over_drop = \"0.70 V\"\nseries_resistance = \"0 Ω\"\n[board.supply.regulator]\nkind = \"linear\"\n[board.supply.regulator.figures]\ndropout = [{ current = \"340 mA\", drop = \"0.15 V\" }]\n[[board.specimens]]",
    );
    let trial = |resets: u32| {
        let trial = format!(
            "[[session.ride_through]]\nevent = \"removed\"\ndoing = \"radio on\"\ncell_voltage = \"3.4 V\"\nresets = {resets}\ntrials = 20\n"
        );
        ride::ride(&folder(&board, &[&session("t", &trial)]), "B", None, None).unwrap()
    };
    // At 3.4 V the rail is 2.55 V: every event should reset it.
    let report = trial(0);
    assert!(report.contradiction && report.trials[0].agrees.unwrap().starts_with("better"));
    assert!(!trial(20).contradiction);
}

#[test]
fn the_burden_limit_of_trap_3() {
    // Job check, trap 3: (3.70 − 0.28 − 2.80)/0.340 − 0.15 = 1.67 Ω; 1.8 Ω resets it with the rail at 2.757 V, 0.03 Ω does not.
    let board = BOARD.replace(
        "[[board.specimens]]",
        "[board.supply]\nreset_threshold = \"2.80 V\"\n[board.supply.regulator]\nkind = \"linear\"\n[board.supply.regulator.figures]\ndropout = [{ current = \"340 mA\", drop = \"0.28 V\" }]\n[[board.specimens]]",
    );
    let peak = session(
        "s",
        "source = \"battery contacts\"\n[[session.readings]]\nwhat = \"radio peak current\"\nvalue = \"340 mA\"\n[[session.readings]]\nwhat = \"sleep current\"\nvalue = \"12.6 µA\"\n",
    );
    let bench = folder(&board, &[&peak]);
    let feeding = burden::Feeding { source_v: Some(3.70), source_ohm: Some(0.15), leads_ohm: 0.0 };
    let report = burden::burden(&bench, "meter", "B", None, feeding).unwrap();
    assert!((report.largest_meter_ohm - 1.6735).abs() < 1e-3, "{}", report.largest_meter_ohm);
    let range = |name: &str| report.ranges.iter().find(|r| r.range == name).unwrap();
    let milliampere = range("60 mA");
    assert_eq!((milliampere.boots, milliampere.transmits), (Some(true), Some(false)));
    assert!((milliampere.rail_peak_v.unwrap() - 2.757).abs() < 1e-3);
    assert_eq!(range("10 A").transmits, Some(true));
    assert!(report.hook_up.contains("switch across the meter"), "{}", report.hook_up);
    assert_eq!(report.peak_range.as_deref(), Some("10 A"));
    assert!(burden::burden(&bench, "no such", "B", None, feeding).is_err());
}

#[test]
fn settling_takes_lines_of_any_shape_and_refuses_what_it_cannot_read() {
    let taking =
        settle::Taking { every_s: 10.0, standard_uncertainty: Some(0.05e-6), slowest_s: 60.0 };
    let mut live = settle::Live::new(taking);
    assert!(live.line("# a remark").is_none());
    for line in ["0 20.6 µA", "10 s, 16.7 µA", "20;14.71 µA"] {
        let said = live.line(line).unwrap();
        assert!(said.contains("go on"), "{line}: {said}");
    }
    for bad in ["3.8 V", "12.6", "5 s 12.7 µA", "hello", "7 %"] {
        assert!(live.line(bad).unwrap().contains("not taken"), "{bad}");
    }
    for k in 3..30 {
        let t = 10.0 * f64::from(k);
        let scatter = [0.01, -0.01, 0.0][k as usize % 3];
        live.line(&format!("{t} {:.3} µA", 12.6 + 8.0 * libm::exp(-t / 15.0) + scatter));
    }
    let report = live.report();
    assert_eq!(report.outcome, settle::Outcome::Take, "{}", report.advice);
    assert_eq!((report.readings.len(), report.refused.len()), (30, 5));
    let figure = report.figure.unwrap();
    assert!((figure.value - 12.6e-6).abs() < 0.05e-6, "{}", figure.text);
    assert!(figure.standard_uncertainty.unwrap() >= 0.05e-6, "the meter's own u is in it");
    assert_eq!(settle::Live::new(taking).report().outcome, settle::Outcome::MoreReadings);
}

#[test]
fn a_sweep_is_taken_apart_and_the_sanded_chip_gets_a_class() {
    let report = sweep::sweep(&demo(), "TURKSHEAD", None).unwrap();
    // At 3.8 V constant and ohmic parts add up to the reading; dropout is quoted at the lowest voltage.
    let sum: f64 = report.parts.iter().filter(|p| p.kind != "dropout").map(|p| p.current_a).sum();
    assert!((sum - 86.1e-6).abs() < 0.3e-6, "{sum}");
    assert!(report.parts.iter().any(|p| p.kind == "dropout" && p.presence > 0.9));
    let chip = report.regulator.unwrap();
    assert_eq!(chip.classes[0].class, "ordinary MOS linear");
    assert!(report.notes.iter().any(|n| n.contains("as many parameters as there are points")));
    // A board with one voltage only is refused with what to do.
    let bench = folder(BOARD, &[&reading("value = \"12.6 µA\"\n")]);
    let error = sweep::sweep(&bench, "B", None).unwrap_err();
    assert!(error.help().contains("3.25 V"), "{}", error.help());
}

#[test]
fn the_prior_is_in_sight_and_can_be_changed() {
    let bench = demo();
    let built_in = StatedPrior::of(None);
    let mut own = built_in.clone();
    own.prior.coefficient_of_variation = 0.05;
    let one = specimens::specimens(&bench, "REEF", What::SleepCurrent, &built_in).unwrap();
    let narrow = specimens::specimens(&bench, "REEF", What::SleepCurrent, &own).unwrap();
    let width = |r: &specimens::SpecimensReport| {
        let next = r.next_pooled.as_ref().unwrap();
        libm::log(next.high / next.low)
    };
    // Log-normal: the interval's logarithmic width is 2·1.96·√ln(1 + cv²).
    let expected = |cv: f64| 2.0 * 1.959_964 * libm::log(1.0 + cv * cv).sqrt();
    assert!((width(&one) - expected(0.20)).abs() < 1e-6, "{}", width(&one));
    assert!((width(&narrow) - expected(0.05)).abs() < 1e-6);
    assert!(one.prior.contains("20 %") && one.standard_deviation.is_none());
    let three = specimens::specimens(&bench, "BOWLINE", What::SleepCurrent, &built_in).unwrap();
    let next = three.next.unwrap();
    // t(0.975, 2)·√(1 + 1/3) = 4.968.
    let half = 0.5 * (next.high - next.low);
    assert!((half / three.standard_deviation.unwrap() - 4.968).abs() < 1e-3, "{half}");
}

#[test]
fn a_reader_and_we_are_both_right_if_the_bridge_differs() {
    let bench = demo();
    let report = dispute::dispute(&bench, "a reader on REEF").unwrap();
    let d = &report.figures[0];
    // (176.37 − 76)/√((2·u)² + (2·2/√3)²) with u² = 0.17² (meter) + 0.50² (temperature not measured) µA: 39.6; the job's
    // form "E_n = 8.8" has coarser figures than the demo.
    assert!((d.normalised_error.unwrap() - 39.6).abs() < 1.0, "{:?}", d.normalised_error);
    assert_eq!(d.outcome, dispute::Outcome::BothRightIf);
    assert!(d.verdict.contains("bridge"), "{}", d.verdict);
    assert!(d.reasons[0].cause.contains("bridge"), "{:#?}", d.reasons);
    let agrees = dispute::dispute(&bench, "another bench on BOWLINE").unwrap();
    assert_eq!(agrees.figures[0].outcome, dispute::Outcome::Agree);
}

#[test]
fn the_next_test_finds_the_trait_that_decides() {
    // Two boards alike but for their sleep current; nobody has looked whether the better one is certified, which is needed.
    let board = |name: &str, mark: &str| {
        format!(
            "[board]\nname = \"{name}\"\nkind = \"measured\"\nsource = \"here\"\n[board.traits]\ncharger = \"yes\"\ncertification_mark = \"{mark}\"\n[board.supply]\nreset_threshold = \"2.80 V\"\nseries_resistance = \"0 Ω\"\n[board.supply.regulator]\nclass = \"nano-power linear\"\n[board.charger]\ncurrent = \"200 mA\"\n[[board.specimens]]\nid = \"{name}-1\"\n"
        )
    };
    let sleep = |name: &str, amps: &str| {
        format!(
            "[session]\nname = \"{name}\"\nspecimen = \"{name}-1\"\ndate = 2026-05-02\nsupply = \"3.80 V\"\nsource = \"battery contacts\"\n[[session.readings]]\nwhat = \"sleep current\"\nvalue = \"{amps}\"\n"
        )
    };
    let cell = "[cell]\nname = \"c\"\nchemistry = \"lithium-ion\"\ncapacity = \"2500 mAh\"\n";
    let project = "[project]\nname = \"p\"\ncell = \"c\"\n[[project.activities]]\nname = \"report\"\nevery = \"15 min\"\ncharge = \"190 mC\"\nduration = \"2 s\"\n[project.needs]\ntraits = { certification_mark = \"yes\" }\n";
    let (bench, found) = Bench::read([
        ("boards/x.toml", board("X", "unknown")),
        ("boards/y.toml", board("Y", "yes")),
        ("sessions/x.toml", sleep("X", "10.0 ± 0.5 µA (k = 2)")),
        ("sessions/y.toml", sleep("Y", "200 ± 1 µA (k = 2)")),
        ("cells/c.toml", cell.to_owned()),
        ("projects/p.toml", project.to_owned()),
    ]);
    assert!(found.iter().all(|d| !d.is_error()), "{found:#?}");
    let options = SampleOptions { draws: 1024, seed: 1 };
    let report = next::next(&bench, bench.project("p").unwrap(), options, Some(5.0)).unwrap();
    let best = &report.tests[0];
    assert!(best.name.contains("certification mark") && best.matters, "{best:#?}");
    // A coin: X lasts or does not count; Y is chosen now. Knowing flips the choice in half the cases.
    assert_eq!(report.choice, "Y");
    assert!((best.flip_chance - 0.5).abs() < 0.05, "{}", best.flip_chance);
    assert_eq!(best.minutes, Some(2.0));
    assert!(report.plan.iter().any(|p| p.contains("certification mark")), "{:?}", report.plan);
    // The load's charge is among the candidates, with its minutes.
    let charge = report.tests.iter().find(|t| t.kind == next::TestKind::Load).unwrap();
    assert_eq!((charge.minutes, charge.boards.len()), (Some(15.0), 2));
}
