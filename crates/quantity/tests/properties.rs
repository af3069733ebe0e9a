//! Properties: printing and reading agree, no text makes the reader panic.

use overwinter_quantity::{
    Accuracy, Charge, Current, Duration, Money, Quantity, Resistance, Spread, Temperature, Voltage,
};
use proptest::prelude::*;

fn spread(kind: u8, width: f64) -> Spread {
    match kind {
        0 => Spread::Unstated,
        1 => Spread::Standard { u: width },
        2 => Spread::Expanded { half_width: width, k: 2.0 },
        3 => Spread::Limits { half_width: width },
        4 => Spread::AtMost,
        _ => Spread::AtLeast,
    }
}

fn round_trip<D: overwinter_quantity::Dimension>(si: f64, kind: u8, relative: f64) {
    let quantity = Quantity::<D>::from_si(si).with_spread(spread(kind, relative * si.abs()));
    let printed = quantity.to_string();
    let read = Quantity::<D>::parse(&printed).unwrap_or_else(|error| panic!("{printed}: {error}"));
    // Printing rounds once; what was printed is read and printed unchanged.
    assert_eq!(read.to_string(), printed);
    // Six figures, or half a place of the uncertainty's second figure.
    let place = if (1..=3).contains(&kind) { relative * si.abs() * 0.5 } else { 0.0 };
    assert!((read.si() - si).abs() <= 1e-5 * si.abs() + place, "{printed} from {si:e}");
}

proptest! {
    #[test]
    fn print_then_read(mantissa in 1.0..10.0_f64, exponent in -11..3_i32, kind in 0..6_u8, relative in 1e-4..0.9_f64, sign in any::<bool>()) {
        let si: f64 = format!("{}{mantissa}e{exponent}", if sign { "" } else { "-" }).parse().unwrap();
        round_trip::<overwinter_quantity::CurrentDimension>(si, kind, relative);
        round_trip::<overwinter_quantity::ChargeDimension>(si * 1e4, kind, relative);
        round_trip::<overwinter_quantity::VoltageDimension>(si, kind, relative);
        round_trip::<overwinter_quantity::DurationDimension>(si.abs() * 1e5, kind, relative);
        round_trip::<overwinter_quantity::ResistanceDimension>(si.abs() * 1e4, kind, relative);
    }

    #[test]
    fn no_text_panics(text in "\\PC{0,40}") {
        let _ = text.parse::<Current>();
        let _ = text.parse::<Temperature>();
        let _ = text.parse::<Money>();
        let _ = text.parse::<Accuracy>();
    }

    #[test]
    fn no_near_miss_panics(text in "[<>(±+\\-]{0,2}[ 0-9.,e]{0,8}[(]?[0-9k= ]{0,4}[)]?[ ]?[µumkΩAhVsC%/²°]{0,5}( ± | to |..)?[0-9.]{0,3}[ %A)µ]{0,4}") {
        for result in [text.parse::<Current>().map(|q| q.si()), text.parse::<Voltage>().map(|q| q.si()),
            text.parse::<Charge>().map(|q| q.si()), text.parse::<Duration>().map(|q| q.si()), text.parse::<Resistance>().map(|q| q.si())] {
            match result {
                Ok(si) => prop_assert!(si.is_finite()),
                Err(error) => {
                    // The place is always a piece of the text.
                    prop_assert!(text.get(error.span.clone()).is_some(), "{text:?} {error:?}");
                    prop_assert!(!error.help().is_empty());
                }
            }
        }
    }
}
