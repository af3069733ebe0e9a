//! Nothing panics on what a person may type, and gates stay shut unless everything agrees.
#![allow(missing_docs)] // a test program has no public items to document

use overwinter_figures::burden::{BoardUnderTest, MeterRange, advise};
use overwinter_figures::polarity::{Contact, PolarityCheck, may_connect};
use overwinter_figures::reading::{
    BurdenPolicy, Influence, InstrumentRange, QuantityKind, Reading, evaluate,
};
use overwinter_figures::sampling::{Bursts, point_sampling};
use overwinter_figures::settling::Settling;
use overwinter_figures::specimens::{SpreadPrior, type_figure};
use overwinter_figures::sweep::{PartKind, SweepPoint, take_apart};
use overwinter_statistics::Figure;
use proptest::prelude::*;

fn any() -> impl Strategy<Value = f64> {
    prop_oneof![prop::num::f64::ANY, -1e-3_f64..1e-3, Just(0.0), Just(f64::NAN)]
}

/// Mostly a plausible size, now and then anything.
fn mostly_good() -> impl Strategy<Value = f64> {
    prop_oneof![12 => 0.0_f64..1.0, 1 => any()]
}

proptest! {
    #[test]
    fn readings_never_panic_and_figures_are_finite(
        repeats in prop::collection::vec(mostly_good(), 0..6),
        limits in prop::array::uniform5(mostly_good()),
        zeros in (prop::option::of(any()), prop::option::of(any())),
        slope in any(), residual in any(),
    ) {
        let mut reading = Reading::new("r", "s", QuantityKind::Current, repeats);
        reading.instrument = Some(InstrumentRange {
            instrument: "m".to_owned(),
            range: "x".to_owned(),
            full_scale: limits[0],
            resolution: limits[1],
            gain_limit: limits[2],
            offset_limit: limits[3],
            series_resistance_ohm: limits[4],
        });
        (reading.zero_before, reading.zero_after) = zeros;
        reading.burden = BurdenPolicy::Correct { slope_a_per_v: slope, u_a_per_v: 0.0 };
        reading.influences.push(Influence::settling(residual));
        let e = evaluate(&reading);
        prop_assert!(e.figure.is_some() || e.faults.iter().any(overwinter_figures::reading::ReadingFault::is_fatal));
        if let Some(f) = e.figure {
            prop_assert!(f.value().is_finite() && !f.standard_uncertainty().is_nan(), "{:?} {:?}", f, e.faults);
        }
    }

    #[test]
    fn the_rest_never_panics(
        x in prop::collection::vec((any(), any(), any()), 0..6),
        y in prop::array::uniform7(any()),
    ) {
        let points: Vec<SweepPoint> = x
            .iter()
            .map(|p| SweepPoint { voltage_v: p.0, current_a: p.1, standard_uncertainty_a: p.2 })
            .collect();
        let _ = take_apart(&points, y[0], &PartKind::ALL);
        let mut settling = Settling::new(y[1]);
        for p in &x {
            let _ = settling.push(p.0, p.1);
        }
        let _ = settling.advice();
        let board = BoardUnderTest {
            source_v: y[0], source_ohm: y[1], dropout_v: y[2], brown_out_v: y[3],
            sleep_a: y[4], boot_a: y[5], peak_a: y[6],
        };
        let range = MeterRange {
            name: "x".to_owned(), full_scale_a: y[0], shunt_ohm: y[1], leads_ohm: y[2],
            gain_limit: y[3], offset_limit_a: y[4],
        };
        let _ = advise(&board, &[range]);
        let bursts = Bursts { floor_a: y[0], burst_a: y[1], width_s: y[2], period_s: y[3] };
        let _ = point_sampling(&bursts, y[4], y[5]);
        let figures: Vec<Figure> = x.iter().map(|p| Figure::exact(p.0)).collect();
        let _ = type_figure(&figures, SpreadPrior { coefficient_of_variation: y[6] });
    }

    #[test]
    fn the_gate_opens_only_for_agreeing_observations(
        ohms in (prop::option::of(any()), prop::option::of(any())),
        volts in (prop::option::of(0.0_f64..5.0), prop::option::of(0.0_f64..5.0)),
        lead in (prop::option::of(-4.2_f64..4.2), prop::option::of(-4.2_f64..4.2)),
    ) {
        let check = PolarityCheck {
            shield_to_a_ohm: ohms.0,
            shield_to_b_ohm: ohms.1,
            usb_in_a_v: volts.0,
            usb_in_b_v: volts.1,
            has_charger: Some(true),
            regulator_input_at: None,
            lead_at_a_v: lead.0,
            lead_at_b_v: lead.1,
        };
        if let Ok(positive) = may_connect(&check) {
            let (plus_v, minus_ohm, plus_lead) = match positive {
                Contact::A => (volts.0, ohms.1, lead.0),
                Contact::B => (volts.1, ohms.0, lead.1),
            };
            prop_assert!(plus_v.unwrap() > 3.7 && minus_ohm.unwrap() < 5.0 && plus_lead.unwrap() > 0.0);
        }
    }
}
