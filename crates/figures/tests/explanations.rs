//! Sweep, identification, disagreement, polarity gate, guide and next test on made-up boards whose
//! truth is known.
#![allow(missing_docs)] // a test program has no public items to document

use overwinter_figures::disagreement::{
    self, BoardKnowledge, Cause, Claim, Conditions, Estimate, Feed, Standing, Verdict,
    normalised_error,
};
use overwinter_figures::identify::{Behaviour, ChipClass, IdentifyError, Observation, identify};
use overwinter_figures::next_test::{Candidate, next_test};
use overwinter_figures::polarity::{
    Contact, Missing, PolarityCheck, PolarityFault, may_connect, positive_contact,
};
use overwinter_figures::protocol::{Need, Record, State, StepId, guide, printable};
use overwinter_figures::sweep::{
    PartKind, SweepError, SweepPoint, chance_that_it_rose, take_apart,
};
use overwinter_statistics::special::normal_quantile;
use overwinter_statistics::{Distribution, Draws, Figure, Source};

fn near(got: f64, want: f64, tolerance: f64, what: &str) {
    assert!((got - want).abs() <= tolerance, "{what}: {got} against {want} ± {tolerance}");
}

const ALL: [PartKind; 5] = PartKind::ALL;
const VOLTAGES: [f64; 4] = [4.15, 3.80, 3.50, 3.25];

fn points(voltages: &[f64], u: f64, current: impl Fn(f64) -> f64) -> Vec<SweepPoint> {
    voltages
        .iter()
        .map(|v| SweepPoint { voltage_v: *v, current_a: current(*v), standard_uncertainty_a: u })
        .collect()
}

#[test]
fn four_points_find_dropout_and_say_what_they_cannot_tell() {
    // 63.4 µA of constant parts, three times that at 3.25 V.
    let sweep =
        take_apart(&points(&VOLTAGES, 0.5, |v| if v < 3.4 { 190.2 } else { 63.4 }), 3.80, &ALL)
            .unwrap();
    let presence = |k| sweep.presence.iter().find(|p| p.0 == k).map_or(0.0, |p| p.1);
    assert!(presence(PartKind::Dropout) > 0.95, "{:?}", sweep.presence);
    // Which part makes up the flat rest is not settled beyond all doubt; the constant one leads.
    assert!(presence(PartKind::Constant) > 0.5, "{:?}", sweep.presence);
    // Constant against ohmic at four points of 5 % uncertainty: not told apart.
    let blunt = take_apart(&points(&VOLTAGES, 3.0, |v| 20.0 * v / 3.80 + 5.0), 3.80, &ALL).unwrap();
    assert!(
        blunt.cannot_separate.contains(&(PartKind::Constant, PartKind::Ohmic)),
        "{:?}",
        blunt.cannot_separate
    );
}

#[test]
fn a_dense_sweep_is_taken_apart_with_honest_uncertainties() {
    let voltages: Vec<f64> = (0..24).map(|i| 3.1 + 0.045 * f64::from(i)).collect();
    let truth = |v: f64| 8.0 + 19.0 * v / 3.80 + 60.0 * (3.4 - v).max(0.0) / 0.3;
    let column = |seed| Draws::new(seed).column(0);
    let (mut inside, mut cases) = (0, 0);
    for seed in 0..20 {
        let noise = column(seed);
        let mut p = points(&voltages, 0.2, truth);
        for (i, point) in p.iter_mut().enumerate() {
            point.current_a += 0.2 * normal_quantile(noise.unit(i as u32 + 1));
        }
        let sweep = take_apart(&p, 3.80, &ALL).unwrap();
        for (kind, want) in [(PartKind::Constant, 8.0), (PartKind::Ohmic, 19.0)] {
            let Some((_, value, u)) = sweep.averaged.iter().find(|a| a.0 == kind) else {
                cases += 1;
                continue;
            };
            cases += 1;
            inside += u32::from((value - want).abs() <= 2.0 * u);
        }
        assert!(sweep.presence.iter().any(|p| p.0 == PartKind::Dropout && p.1 > 0.99));
    }
    assert!(inside >= cases * 8 / 10, "{inside} of {cases} within 2u");
    // Told that the board is linear and dark, the same sweep resolves both parts well.
    let linear = [PartKind::Constant, PartKind::Ohmic, PartKind::Dropout];
    let sweep = take_apart(&points(&voltages, 0.2, truth), 3.80, &linear).unwrap();
    for (kind, want) in [(PartKind::Constant, 8.0), (PartKind::Ohmic, 19.0)] {
        let (_, value, u) = sweep.averaged.iter().find(|a| a.0 == kind).unwrap();
        near(*value, want, 0.3, "part");
        assert!(*u < 2.0, "{kind:?} ± {u}");
    }
}

#[test]
fn sweeps_that_cannot_be_are_refused() {
    assert!(matches!(
        take_apart(&points(&[3.8, 3.8], 0.5, |_| 10.0), 3.8, &ALL),
        Err(SweepError::TooFew { got: 1 })
    ));
    assert!(matches!(
        take_apart(&points(&VOLTAGES, 0.0, |_| 10.0), 3.8, &ALL),
        Err(SweepError::Point { point: 0 })
    ));
    assert_eq!(
        take_apart(&points(&VOLTAGES, 0.5, |_| -10.0), 3.8, &ALL),
        Err(SweepError::NothingFits)
    );
    let at = |v: f64, id: &str| Figure::with_source(v, Source::normal(id, 1.0));
    near(chance_that_it_rose(&at(10.0, "a"), &at(10.0, "b")).unwrap(), 0.5, 1e-12, "no rise");
    assert_eq!(chance_that_it_rose(&Figure::exact(1.0), &Figure::exact(2.0)), None);
}

fn classes() -> Vec<ChipClass> {
    let class = |name: &str, prior: f64, current: f64, dropout: f64| ChipClass {
        name: name.to_owned(),
        prior,
        behaviours: vec![
            Behaviour {
                quantity: "ground_current_a".to_owned(),
                distribution: Distribution::LogNormal { median: current, factor: 1.8 },
            },
            Behaviour {
                quantity: "dropout_v".to_owned(),
                distribution: Distribution::LogNormal { median: dropout, factor: 1.3 },
            },
        ],
    };
    vec![
        class("nano-power linear", 1.0, 1.0e-6, 0.2),
        class("ordinary MOS linear", 2.0, 45e-6, 0.25),
        class("old bipolar linear", 1.0, 6e-3, 1.15),
    ]
}

fn observed(quantity: &str, value: f64, u: f64) -> Observation {
    Observation { quantity: quantity.to_owned(), value, standard_uncertainty: u }
}

#[test]
fn a_chip_is_known_by_its_behaviour() {
    let id = identify(
        &classes(),
        &[observed("ground_current_a", 52e-6, 3e-6), observed("dropout_v", 0.28, 0.03)],
    )
    .unwrap();
    assert_eq!(id.candidates[0].class, "ordinary MOS linear");
    assert!(id.candidates[0].probability > 0.99 && !id.perhaps_none);
    let total: f64 = id.candidates.iter().map(|c| c.probability).sum();
    near(total, 1.0, 1e-12, "probabilities");
    // Dropout alone cannot tell the two MOS classes apart; the prior speaks.
    let id = identify(&classes(), &[observed("dropout_v", 0.22, 0.05)]).unwrap();
    assert!(id.candidates[0].probability < 0.8);
    // Something else entirely.
    let id = identify(&classes(), &[observed("dropout_v", 3.0, 0.05)]).unwrap();
    assert!(id.perhaps_none);
    // A quantity no class speaks of changes nothing.
    let id = identify(&classes(), &[observed("float_voltage_v", 4.2, 0.01)]).unwrap();
    near(id.candidates[0].probability, 0.5, 1e-12, "prior");
    assert_eq!(id.candidates[0].silent_about, ["float_voltage_v"]);
    assert!(identify(&[], &[]).is_err());
    assert!(matches!(
        identify(&classes(), &[observed("dropout_v", 0.2, 0.0)]),
        Err(IdentifyError::Observation { .. })
    ));
}

fn claim(value_a: f64, u: f64, feed: Option<Feed>, voltage_v: f64) -> Claim {
    Claim {
        value_a,
        standard_uncertainty_a: u,
        conditions: Conditions { feed, voltage_v: Some(voltage_v), ..Conditions::default() },
    }
}

#[test]
fn normalised_error_of_the_reader() {
    // 178 and 76 with U 9.8 and 6.2: E_n = 8.8 (form of the answer; the U are made up).
    near(normalised_error(102.0, &[4.9, 3.1]).unwrap(), 8.8, 0.05, "E_n");
    assert_eq!(normalised_error(1.0, &[0.0, 0.0]), None);
}

#[test]
fn both_are_right_when_the_bridge_is_fed_from_usb() {
    let board = BoardKnowledge {
        slope_a_per_v: Some(Estimate { value: 5.0, u: 1.0 }),
        battery_more_than_usb_a: Some(Estimate { value: 105.0, u: 5.0 }),
        led_a: Some(Estimate { value: 933.0, u: 30.0 }),
        ..BoardKnowledge::default()
    };
    let mine = claim(178.0, 4.9, Some(Feed::Battery), 3.8);
    let asked = disagreement::compare(&mine, &claim(76.0, 3.1, None, 3.8), &board);
    near(asked.normalised_error.unwrap(), 8.8, 0.05, "E_n");
    assert_eq!(asked.reasons[0].cause, Cause::Feed);
    assert_eq!(asked.reasons[0].standing, Standing::IfDifferent);
    near(asked.reasons[0].share.unwrap(), 105.0 / 102.0, 1e-12, "share");
    assert!(
        matches!(&asked.verdict, Verdict::BothRightIf { causes, .. } if *causes == [Cause::Feed])
    );
    let known = disagreement::compare(&mine, &claim(76.0, 3.1, Some(Feed::Usb), 3.8), &board);
    assert!(matches!(known.verdict, Verdict::BothRight { .. }), "{known:?}");
    let same = disagreement::compare(
        &mine,
        &claim(76.0, 3.1, Some(Feed::Battery), 3.8),
        &BoardKnowledge::default(),
    );
    assert!(matches!(same.verdict, Verdict::Unexplained { .. }));
    let close = disagreement::compare(&mine, &claim(180.0, 4.9, Some(Feed::Battery), 3.8), &board);
    assert_eq!(close.verdict, Verdict::Agree);
}

#[test]
fn temperature_doubles_the_leakage_per_ten_kelvin() {
    let board = BoardKnowledge {
        leakage_a: Some(Estimate { value: 8.0, u: 0.5 }),
        ..BoardKnowledge::default()
    };
    let at = |value: f64, t: f64| Claim {
        value_a: value,
        standard_uncertainty_a: 0.5,
        conditions: Conditions { temperature_c: Some(t), ..Conditions::default() },
    };
    // 8 µA of leakage at 22 °C become 32 at 42 °C ("4× worse in a sunlit box").
    let d = disagreement::compare(&at(12.6, 22.0), &at(36.6, 42.0), &board);
    near(d.reasons[0].effect_a.unwrap().value, 24.0, 1e-12, "effect");
    assert!(matches!(d.verdict, Verdict::BothRight { .. }), "{d:?}");
}

fn good_polarity() -> PolarityCheck {
    PolarityCheck {
        shield_to_a_ohm: Some(f64::INFINITY),
        shield_to_b_ohm: Some(0.4),
        usb_in_a_v: Some(4.19),
        usb_in_b_v: Some(0.0),
        has_charger: Some(true),
        lead_at_a_v: Some(3.81),
        lead_at_b_v: Some(-3.81),
        ..PolarityCheck::default()
    }
}

#[test]
fn no_cell_before_two_observations_agree() {
    let good = good_polarity();
    assert_eq!(may_connect(&good), Ok(Contact::A));
    let with = |change: &dyn Fn(&mut PolarityCheck)| {
        let mut c = good_polarity();
        change(&mut c);
        may_connect(&c)
    };
    assert_eq!(with(&|c| c.shield_to_a_ohm = Some(0.3)), Err(PolarityFault::UsbWasLeftIn));
    assert_eq!(with(&|c| c.shield_to_b_ohm = Some(1e6)), Err(PolarityFault::NegativeSwitched));
    assert_eq!(
        with(&|c| {
            c.usb_in_a_v = Some(0.0);
            c.usb_in_b_v = Some(4.2);
        }),
        Err(PolarityFault::Contradiction)
    );
    assert_eq!(
        with(&|c| c.usb_in_a_v = Some(2.0)),
        Err(PolarityFault::NoChargingVoltage { got: 2.0 })
    );
    assert_eq!(
        with(&|c| {
            c.lead_at_a_v = Some(-3.8);
            c.lead_at_b_v = Some(3.8);
        }),
        Err(PolarityFault::LeadMirrored)
    );
    assert_eq!(with(&|c| c.lead_at_b_v = Some(3.8)), Err(PolarityFault::LeadUnclear));
    assert_eq!(
        with(&|c| c.lead_at_b_v = None),
        Err(PolarityFault::Incomplete { missing: vec![Missing::BothWiresOfTheLead] })
    );
    assert_eq!(
        with(&|c| c.usb_in_a_v = None),
        Err(PolarityFault::Incomplete { missing: vec![Missing::VoltsWithUsbIn] })
    );
    assert!(with(&|c| c.shield_to_a_ohm = Some(-1.0)).is_err());
    // USB left in is told even before the second observation.
    let early = PolarityCheck {
        shield_to_a_ohm: Some(0.2),
        shield_to_b_ohm: Some(0.2),
        ..PolarityCheck::default()
    };
    assert_eq!(positive_contact(&early), Err(PolarityFault::UsbWasLeftIn));
    // Without a charger the trace to the regulator is the second observation.
    let bare = PolarityCheck {
        has_charger: Some(false),
        regulator_input_at: Some(Contact::A),
        usb_in_a_v: None,
        usb_in_b_v: None,
        ..good_polarity()
    };
    assert_eq!(may_connect(&bare), Ok(Contact::A));
    let wrong = PolarityCheck { regulator_input_at: Some(Contact::B), ..bare };
    assert_eq!(may_connect(&wrong), Err(PolarityFault::Contradiction));
}

#[test]
fn the_guide_knows_what_is_missing_and_what_is_in_the_way() {
    let fresh = guide(&Record::default(), &[Need::RunTime]);
    assert_eq!(fresh.next, Some(StepId::Arrival));
    assert_eq!(
        fresh.missing,
        [
            StepId::Arrival,
            StepId::Polarity,
            StepId::FirstPower,
            StepId::IdleCurrent,
            StepId::SleepCurrent,
            StepId::LowestVoltage
        ]
    );
    // First power stays shut until the polarity is settled, whatever was ticked.
    let ticked = Record { done: vec![StepId::Arrival, StepId::Polarity], ..Record::default() };
    let g = guide(&ticked, &[Need::Panel]);
    assert!(matches!(g.steps[StepId::Polarity as usize].state, State::DoneAgainstTheGate(_)));
    assert!(matches!(g.steps[StepId::FirstPower as usize].state, State::Blocked(_)));
    assert!(matches!(g.steps[StepId::RideThrough as usize].state, State::Blocked(_)));
    let ready = Record { polarity: good_polarity(), ..ticked };
    let g = guide(&ready, &[Need::Panel]);
    assert_eq!(g.polarity, Ok(Contact::A));
    assert_eq!(g.next, Some(StepId::FirstPower));
    let all = Record {
        done: vec![StepId::Arrival, StepId::Polarity, StepId::FirstPower],
        polarity: PolarityCheck {
            has_charger: Some(false),
            regulator_input_at: Some(Contact::A),
            ..good_polarity()
        },
        died_at: None,
    };
    let g = guide(&all, &[Need::Panel]);
    assert_eq!(g.steps[StepId::Charger as usize].state, State::DoesNotApply);
    assert!(!g.missing.contains(&StepId::Charger));
    let dead = Record { died_at: Some(StepId::FirstPower), ..Record::default() };
    let g = guide(&dead, &[Need::RunTime]);
    assert!(g.steps[1..].iter().all(|s| s.state == State::Never));
    assert_eq!(g.missing, [StepId::Arrival]);
    let paper = printable("knot-3", &guide(&ready, &[Need::RunTime]));
    assert!(paper.contains("knot-3") && paper.contains("[x] 2. Polarity"), "{paper}");
    assert!(paper.contains("Never trust the colour"));
}

#[test]
fn the_charge_over_a_bad_link_beats_every_sleep_figure() {
    // Two boards; the sleep currents are known to 5 %, the charge per wake only within a factor.
    let n = 1_u32 << 13;
    let draws = Draws::new(5);
    let column = |k: usize, d: &Distribution| -> Vec<f64> {
        let c = draws.column(k);
        (0..n).map(|i| d.quantile(c.unit(i))).collect()
    };
    let sleep_a = column(0, &Distribution::LogNormal { median: 12.0, factor: 1.05 });
    let sleep_b = column(1, &Distribution::LogNormal { median: 25.0, factor: 1.05 });
    let charge_mc = column(2, &Distribution::LogNormal { median: 190.0, factor: 1.5 });
    let resets = column(3, &Distribution::Bernoulli { probability: 0.1 });
    let days = |sleep: f64, charge: f64, efficiency: f64| {
        9000.0e6 / (sleep + charge * 1000.0 / 900.0 * efficiency) / 86400.0
    };
    let life = |f: &dyn Fn(usize) -> f64| -> Vec<f64> { (0..n as usize).map(f).collect() };
    let a = life(&|i| days(sleep_a[i], charge_mc[i], 1.0));
    let b = life(&|i| (1.0 - resets[i]) * days(sleep_b[i], charge_mc[i], 0.93));
    let c = life(&|_| 400.0);
    let test = |name, minutes, draws| Candidate { name, minutes, draws };
    let result = next_test(
        &[
            test("sleep current of A", Some(20.0), &sleep_a),
            test("sleep current of B", Some(20.0), &sleep_b),
            test("charge per wake over the worst link", Some(15.0), &charge_mc),
            test("B resets", None, &resets),
        ],
        &[&a, &b, &c],
    )
    .unwrap();
    assert_eq!(result.tests[0].name, "charge per wake over the worst link");
    assert!(result.tests[0].matters && result.tests[0].flip_chance > 0.05, "{result:?}");
    assert!(!result.tests.iter().any(|t| t.name.starts_with("sleep") && t.matters), "{result:?}");
    assert_eq!(result.tests.last().map(|t| t.minutes), Some(None));
    assert!(result.perfect_days >= result.tests[0].gain_days);
    assert!(next_test(&[], &[]).is_err());
}
