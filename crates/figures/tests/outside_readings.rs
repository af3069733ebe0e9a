//! Readings, differences and bills against the worked values of the trade (the job's own check values,
//! common practice) and of the guides named beside each check.
#![allow(missing_docs)] // a test program has no public items to document

use overwinter_figures::bill::{
    Closure, Conversion, Part, PartBasis, Resolution, diode_a, divider_a, reconcile, waste,
};
use overwinter_figures::reading::{
    BurdenPolicy, Evaluated, Influence, InstrumentRange, QuantityKind, Reading, ReadingFault,
    ZeroPolicy, evaluate,
};
use overwinter_statistics::propagate::monte_carlo;
use overwinter_statistics::{Distribution, Figure, Source};

fn near(got: f64, want: f64, tolerance: f64, what: &str) {
    assert!((got - want).abs() <= tolerance, "{what}: {got} against {want} ± {tolerance}");
}

fn microamp_range() -> InstrumentRange {
    InstrumentRange {
        instrument: "meter A".to_owned(),
        range: "200 µA".to_owned(),
        full_scale: 200e-6,
        resolution: 0.0,
        gain_limit: 0.01,
        offset_limit: 0.2e-6,
        series_resistance_ohm: 0.0,
    }
}

fn current(id: &str, repeats: Vec<f64>, range: InstrumentRange) -> Reading {
    Reading {
        instrument: Some(range),
        ..Reading::new(id, "session 1", QuantityKind::Current, repeats)
    }
}

fn figure(e: &Evaluated) -> &Figure {
    e.figure.as_ref().expect("a figure")
}

#[test]
fn twelve_point_six_microamps_has_u_0_35() {
    // Repeat 0.12, gain ±1 % 0.07, offset ±0.2 0.12, temperature 0.12, settling 0.28: u 0.35, U 0.7 µA.
    let a = 0.12e-6 * 5.0_f64.sqrt() * 2.0_f64.sqrt();
    let mut reading = current(
        "sleep",
        vec![12.6e-6 - a, 12.6e-6, 12.6e-6, 12.6e-6, 12.6e-6 + a],
        microamp_range(),
    );
    reading.influences =
        vec![Influence::standard("temperature", 0.12e-6), Influence::standard("settling", 0.28e-6)];
    let e = evaluate(&reading);
    assert!(e.uncertainty_known);
    assert_eq!(e.faults.len(), 0, "{:?}", e.faults);
    let f = figure(&e);
    near(f.value(), 12.6e-6, 1e-12, "value");
    near(f.standard_uncertainty(), 0.35e-6, 0.005e-6, "u");
    near(2.0 * f.standard_uncertainty(), 0.7e-6, 0.01e-6, "U");
    let budget = f.budget();
    assert_eq!(budget.rows[0].source.name(), "sleep / settling");
    let part = |name: &str| {
        budget.rows.iter().find(|r| r.source.name() == name).map(|r| r.contribution.abs()).unwrap()
    };
    near(part("sleep / repeats"), 0.12e-6, 1e-12, "repeats");
    near(part("meter A / 200 µA / gain"), 0.0727e-6, 1e-10, "gain");
    near(part("meter A / 200 µA / offset"), 0.1155e-6, 1e-10, "offset");
    near(
        f.degrees_of_freedom(),
        4.0 * libm::pow(0.3547 / 0.12, 4.0),
        3.0,
        "ν of the repeats alone",
    );
}

#[test]
fn trap_2_board_minus_module() {
    // 12.6 − 6.4, u 0.35 and 0.30, 8 % module to module: 6.2 ± 1.4 (k = 2); 61.0 (0.703): 54.6 ± 1.8.
    let module = Figure::with_source(6.4, Source::normal("module reading", 0.30));
    for (name, board, u_board, want, expanded, tolerance) in
        [("a", 12.6, 0.35, 6.2, 1.4, 0.03), ("b", 61.0, 0.703, 54.6, 1.8, 0.05)]
    {
        let board = Figure::with_source(board, Source::normal(&format!("{name} reading"), u_board));
        let w = waste(name, &board, &module, &Conversion::Linear, 0.08).unwrap();
        near(w.figure.value(), want, 1e-12, "waste");
        near(2.0 * w.figure.standard_uncertainty(), expanded, tolerance, "U");
        assert!(matches!(w.resolution, Resolution::Resolved { .. }));
    }
    let board = Figure::with_source(12.6, Source::normal("a reading", 0.35));
    let w = waste("a", &board, &module, &Conversion::Linear, 0.08).unwrap();
    near(w.figure.standard_uncertainty(), 0.689, 5e-4, "u of the first");
    // Two boards compared by their wastes: the bare module's reading cancels.
    let other = Figure::with_source(61.0, Source::normal("b reading", 0.703));
    let w2 = waste("b", &other, &module, &Conversion::Linear, 0.08).unwrap();
    let difference = &w2.figure - &w.figure;
    near(difference.value(), 48.4, 1e-9, "difference");
    let without_module = f64::sqrt(0.35 * 0.35 + 0.703 * 0.703 + 2.0 * 0.512 * 0.512);
    near(difference.standard_uncertainty(), without_module, 1e-12, "module reading cancels");
}

#[test]
fn unresolved_differences_and_switching_regulators() {
    let module = Figure::with_source(6.4, Source::normal("module", 0.30));
    let board = Figure::with_source(6.9, Source::normal("board", 0.35));
    let w = waste("c", &board, &module, &Conversion::Linear, 0.08).unwrap();
    let u = w.figure.standard_uncertainty();
    let Resolution::BelowLimit { limit } = w.resolution else { panic!("{:?}", w.resolution) };
    near(limit, 0.5 + 1.65 * u, 1e-12, "X = W + 1.65 u");
    // A good switcher shows negative waste when r is forgotten: 6.4·3.3/3.8 = 5.56 plus 1 of its own.
    let board = Figure::with_source(6.2, Source::normal("board", 0.2));
    let naive = waste("d", &board, &module, &Conversion::Linear, 0.0).unwrap();
    assert!(naive.figure.value() < 0.0, "not clipped");
    let conversion =
        Conversion::Switching { output_v: Figure::exact(3.3), battery_v: Figure::exact(3.8) };
    let w = waste("d", &board, &module, &conversion, 0.0).unwrap();
    near(w.figure.value(), 6.2 - 6.4 * 3.3 / 3.8, 1e-12, "with r");
}

#[test]
fn readings_on_one_range_share_gain_and_offset() {
    let a = evaluate(&current("a", vec![60.9e-6, 61.0e-6, 61.1e-6], microamp_range()));
    let b = evaluate(&current("b", vec![60.9e-6, 61.0e-6, 61.1e-6], microamp_range()));
    let mut c = current("c", vec![60.9e-6, 61.0e-6, 61.1e-6], microamp_range());
    c.instrument = Some(InstrumentRange { instrument: "meter B".to_owned(), ..microamp_range() });
    let c = evaluate(&c);
    let same = figure(&a) - figure(&b);
    let other = figure(&a) - figure(&c);
    near(same.value(), 0.0, 1e-18, "difference");
    // Only the repeats are left on the same range.
    let repeats = 0.1e-6 / 3.0_f64.sqrt() * 2.0_f64.sqrt();
    near(same.standard_uncertainty(), repeats, 1e-12, "same range");
    assert!(other.standard_uncertainty() > 5.0 * same.standard_uncertainty());
    let zero = figure(&a) - figure(&a);
    assert_eq!((zero.value(), zero.standard_uncertainty()), (0.0, 0.0));
    // Monte Carlo through the same sources sees the same (JCGM 101 against JCGM 100).
    let inputs = [figure(&a).clone(), figure(&b).clone()];
    let mc = monte_carlo(&inputs, |x| x[0] - x[1], 1 << 15, 3);
    // Student t with 2 degrees of freedom has no variance: compare the central half instead.
    let (low, high) = mc.symmetric_interval(0.5).unwrap();
    assert!(high - low < 4.0 * repeats && high > 0.0, "{low} {high}");
}

#[test]
fn burden_correction_of_a_resistive_load() {
    // A bench meter's manual: 10 V, 10 Ω, 0.5 Ω inside: 0.952381 A instead of 1, −4.7619 %.
    near(overwinter_figures::burden::loaded_current_a(10.0, 10.0, 0.5), 0.952381, 5e-7, "loaded");
    let range = InstrumentRange {
        full_scale: 3.0,
        gain_limit: 0.0,
        offset_limit: 0.0,
        series_resistance_ohm: 0.5,
        ..microamp_range()
    };
    let mut reading = current("load", vec![10.0 / 10.5], range);
    reading.supply_v = Some(10.0);
    let e = evaluate(&reading);
    assert!(e.faults.iter().any(|f| matches!(f, ReadingFault::BurdenNotCorrected { .. })));
    reading.burden = BurdenPolicy::Correct { slope_a_per_v: 0.1, u_a_per_v: 0.01 };
    let e = evaluate(&reading);
    near(figure(&e).value(), 1.0, 1e-12, "corrected");
    near(figure(&e).standard_uncertainty(), 0.01 * 0.5 * 10.0 / 10.5, 1e-12, "its uncertainty");
}

#[test]
fn parts_by_ohms_law() {
    let x = Figure::exact;
    near(diode_a(&x(5.0), &x(2.0), &x(1000.0)).value(), 3.0e-3, 1e-15, "LED, 1 kΩ");
    near(diode_a(&x(3.3), &x(1.8), &x(330.0)).value(), 4.545e-3, 5e-7, "LED, 330 Ω");
    near(diode_a(&x(1.5), &x(1.8), &x(330.0)).value(), 0.0, 0.0, "LED below its forward voltage");
    near(divider_a(&x(4.2), &x(200e3)).value(), 21.0e-6, 1e-12, "divider");
    near(divider_a(&x(4.2), &x(2e6)).value(), 2.10e-6, 1e-12, "divider");
    near(divider_a(&x(3.3), &x(10e3)).value(), 330e-6, 1e-12, "pull-up");
    near(divider_a(&x(3.3), &x(4.7e3)).value(), 702e-6, 5e-7, "pull-up");
}

#[test]
fn bill_with_a_residual() {
    // "REEF wastes 170: bridge 105, regulator 40, divider 19, charger 4, unexplained 2 ± 29"
    // (reading, bridge and regulator in quadrature): U 4, 25 and 14 µA here.
    let normal = |name: &str, value: f64, expanded: f64| {
        Figure::with_source(value, Source::normal(name, 0.5 * expanded))
    };
    let part = |name: &str, current_a: Figure| Part {
        name: name.to_owned(),
        current_a,
        basis: PartBasis::Typical,
    };
    let parts = vec![
        part("divider", Figure::exact(19.0)),
        part("regulator", normal("regulator", 40.0, 14.0)),
        part("bridge", normal("bridge", 105.0, 25.0)),
        part("charger", Figure::exact(4.0)),
    ];
    let bill = reconcile(normal("reading", 170.0, 4.0), parts);
    near(bill.unexplained_a.value(), 2.0, 1e-12, "unexplained");
    near(2.0 * bill.unexplained_a.standard_uncertainty(), 29.0, 0.15, "± 29");
    assert_eq!(bill.closure, Closure::Closes);
    let names: Vec<&str> = bill.parts.iter().map(|p| p.name.as_str()).collect();
    assert_eq!(names, ["bridge", "regulator", "divider", "charger"]);
    let bill =
        reconcile(normal("reading", 170.0, 4.0), vec![part("bridge", normal("b", 105.0, 25.0))]);
    assert_eq!(bill.closure, Closure::SomethingMissing);
    let wide = Part::from_range("reef", "bridge", 300.0, 80.0, PartBasis::Typical);
    near(wide.current_a.value(), 190.0, 0.0, "middle of the range");
    near(wide.current_a.standard_uncertainty(), 110.0 / 3.0_f64.sqrt(), 1e-12, "rectangular");
}

#[test]
fn equal_repeats_are_resolution_limited() {
    // Ten equal repeats of the last digit 0.1 µA: u is that of the resolution, not 0.
    let range = InstrumentRange {
        resolution: 0.1e-6,
        gain_limit: 0.0,
        offset_limit: 0.0,
        ..microamp_range()
    };
    let e = evaluate(&current("a", vec![12.6e-6; 10], range));
    near(figure(&e).standard_uncertainty(), 0.1e-6 / 12.0_f64.sqrt(), 1e-15, "q/√12"); // JCGM 100, F.2.2.1
    assert!(e.faults.iter().any(|f| matches!(f, ReadingFault::ZeroSpread { n: 10 })));
}

#[test]
fn zeros_are_subtracted_and_their_drift_counts() {
    let mut reading = current("a", vec![12.8e-6], microamp_range());
    reading.zero_before = Some(0.1e-6);
    reading.zero_after = Some(0.2e-6);
    let e = evaluate(&reading);
    near(figure(&e).value(), 12.65e-6, 1e-15, "mean zero subtracted");
    let drift =
        figure(&e).budget().rows.into_iter().find(|r| r.source.name() == "a / zero drift").unwrap();
    near(drift.contribution, 0.05e-6 / 3.0_f64.sqrt(), 1e-15, "half the drift, rectangular");
    reading.zero_after = Some(0.5e-6);
    assert!(evaluate(&reading).faults.iter().any(|f| matches!(f, ReadingFault::ZeroDrift { .. })));
    reading.zero_policy = ZeroPolicy::Ignore;
    near(figure(&evaluate(&reading)).value(), 12.8e-6, 1e-15, "ignored");
}

#[test]
fn impossible_readings_are_told_and_kept() {
    let fault = |reading: &Reading| evaluate(reading);
    let above = fault(&current("a", vec![250e-6], microamp_range()));
    assert_eq!(above.figure, None);
    assert!(matches!(above.faults[0], ReadingFault::AboveRange { .. }));
    let ohms = fault(&Reading::new("r", "s", QuantityKind::Resistance, vec![-3.0]));
    assert!(ohms.faults.iter().any(|f| matches!(f, ReadingFault::Impossible { .. })));
    assert_eq!(ohms.figure, None);
    let none = fault(&Reading::new("r", "s", QuantityKind::Current, vec![]));
    assert!(none.faults.contains(&ReadingFault::NoValue));
    let nan = fault(&current("a", vec![1e-6, f64::NAN], microamp_range()));
    assert!(nan.faults.contains(&ReadingFault::NotFinite { repeat: 2 }));
    // Without an instrument the value stays, its uncertainty is unknown.
    let bare = fault(&Reading::new("r", "s", QuantityKind::Current, vec![5e-6]));
    assert!(bare.figure.is_some() && !bare.uncertainty_known);
    assert!(bare.faults.contains(&ReadingFault::NoInstrument));
    let mut early = current("a", vec![50e-6], microamp_range());
    early.taken_on_day = Some(10);
    early.board_since_day = Some(12);
    assert!(evaluate(&early).faults.contains(&ReadingFault::BeforeBoard { taken: 10, since: 12 }));
    let negative = fault(&current("a", vec![-50e-6], microamp_range()));
    assert!(negative.figure.is_some());
    assert!(negative.faults.iter().any(|f| matches!(f, ReadingFault::NegativeCurrent { .. })));
    let mut bad = current("a", vec![50e-6], microamp_range());
    bad.influences.push(Influence {
        name: "odd".to_owned(),
        deviation: Distribution::Normal { mean: 0.0, sd: -1.0 },
        sensitivity: 1.0,
        shared_in_session: false,
    });
    assert!(evaluate(&bad).faults.contains(&ReadingFault::BadInfluence { name: "odd".to_owned() }));
    let range = InstrumentRange { gain_limit: f64::NAN, ..microamp_range() };
    assert!(matches!(
        evaluate(&current("a", vec![50e-6], range)).faults[0],
        ReadingFault::BadRange { parameter: "gain limit", .. }
    ));
}
