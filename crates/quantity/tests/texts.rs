//! Texts of the trade, right and wrong.

use overwinter_quantity::{
    Angle, AnyQuantity, Capacitance, Charge, Current, Duration, Irradiation, Notation, ParseError,
    Ratio, Resistance, SelfDischarge, Spread, Temperature, TemperatureDifference, Voltage,
};

fn near(a: f64, b: f64) -> bool {
    (a - b).abs() <= 1e-12 * a.abs().max(b.abs())
}

#[test]
fn values_reach_si() {
    let current = |text: &str| text.parse::<Current>().unwrap().si();
    for text in [
        "12.6 µA",
        "12.6 μA",
        "12.6uA",
        " 12.6\u{2009}µA ",
        "0.0126 mA",
        "12600 nA",
        "12 600 nA",
        "1.26e-5 A",
    ] {
        assert!(near(current(text), 12.6e-6), "{text}");
    }
    assert_eq!(current("15\u{202f}000 µA"), 15e-3);
    assert!(near("2.5 Ah".parse::<Charge>().unwrap().si(), 9000.0));
    assert!(near("2500 mAh".parse::<Charge>().unwrap().si(), 9000.0));
    assert!(near("190 mC".parse::<Charge>().unwrap().si(), 0.19));
    assert!(near("15 min".parse::<Duration>().unwrap().si(), 900.0));
    assert!(near("-10 °C".parse::<Temperature>().unwrap().si(), 263.15));
    assert!(near("−10 °C".parse::<Temperature>().unwrap().celsius(), -10.0));
    assert!(near("0.17 V".parse::<Voltage>().unwrap().si(), 0.17));
    assert!(near("470 uF".parse::<Capacitance>().unwrap().si(), 470e-6));
    assert!(near("100 µV/µA".parse::<Resistance>().unwrap().si(), 100.0));
    assert!(near("100 kohm".parse::<Resistance>().unwrap().si(), 1e5));
    assert!(near("80 %".parse::<Ratio>().unwrap().si(), 0.8));
    assert!(near("0.8".parse::<Ratio>().unwrap().si(), 0.8));
    assert!(near("2500 K".parse::<TemperatureDifference>().unwrap().si(), 2500.0));
    assert!(near("47.5° S".parse::<Angle>().unwrap().degrees(), -47.5));
    for text in ["1.15 kWh/m²/d", "1.15 kWh/m2 per day", "4.14 MJ/m²/d"] {
        let value = text.parse::<Irradiation>().unwrap();
        assert!(near(value.kilowatt_hours_per_square_metre_day(), 1.15), "{text}");
    }
}

/// Reference arithmetic (outside check values, group E): 2 %/month leaves 78.47 % after twelve months.
#[test]
fn self_discharge_is_exponential() {
    let rate = "2 %/month".parse::<SelfDischarge>().unwrap();
    assert!((libm::exp(-12.0 * rate.per_month()) - 0.98_f64.powi_test(12)).abs() < 1e-12);
    assert!((libm::exp(-12.0 * rate.per_month()) - 0.7847).abs() < 5e-5);
    assert_eq!(rate.to_string(), "2 %/month");
    assert_eq!("1 %/yr".parse::<SelfDischarge>().unwrap().to_string(), "1 %/yr");
}

trait PowiTest {
    fn powi_test(self, n: u32) -> f64;
}

impl PowiTest for f64 {
    fn powi_test(self, n: u32) -> f64 {
        (0..n).fold(1.0, |product, _| product * self)
    }
}

#[test]
fn spreads() {
    let read = |text: &str| text.parse::<Current>().unwrap();
    let u = |text: &str| read(text).standard_uncertainty().unwrap();
    assert!(near(u("12.6(4) uA"), 0.4e-6));
    assert!(near(u("12.60(35) µA"), 0.35e-6));
    assert!(near(u("54.6(1.8) µA"), 1.8e-6));
    assert!(near(u("12.6 ± 0.7 µA (k = 2)"), 0.35e-6));
    assert!(near(u("(12.6 ± 0.7) µA (k=2)"), 0.35e-6));
    assert!(near(u("12.6 µA ± 700 nA (k = 2)"), 0.35e-6));
    assert!(near(u("53 mA ± 2 %"), 0.02 * 53e-3 / 3.0_f64.sqrt()));
    assert!(near(u("53 mA +/- 2%"), 0.02 * 53e-3 / 3.0_f64.sqrt()));
    assert!(near(u("80 to 300 µA"), 110e-6 / 3.0_f64.sqrt()));
    assert!(near(read("80..300 µA").si(), 190e-6));
    assert_eq!(read("< 3 µA").spread(), Spread::AtMost);
    assert_eq!("> 1 MΩ".parse::<Resistance>().unwrap().spread(), Spread::AtLeast);
    assert_eq!(read("< 3 µA").standard_uncertainty(), None);
    assert_eq!(read("12.6 µA").standard_uncertainty(), None);
    assert!(near(
        "80 % ± 5 %".parse::<Ratio>().unwrap().standard_uncertainty().unwrap(),
        0.05 / 3.0_f64.sqrt()
    ));
    let loss = "2 %/month ± 20 %".parse::<SelfDischarge>().unwrap();
    assert!(near(loss.standard_uncertainty().unwrap(), loss.si() * 0.2 / 3.0_f64.sqrt()));
}

#[test]
fn faults_are_placed_and_mendable() {
    let error = |text: &str| -> (String, String, String) {
        let error: ParseError = text.parse::<Current>().unwrap_err();
        (error.to_string(), text[error.span.clone()].to_owned(), error.help())
    };
    let cases: &[(&str, &str, &str, &str)] = &[
        ("12.6", "the unit is missing: a current is needed", "6", "nA, µA, mA, A"),
        ("12.6 V", "`V` makes this a voltage, but a current is needed", "V", "nA, µA, mA, A"),
        ("12.6 µQ", "`µQ` is not a unit of a current", "µQ", "nA, µA, mA, A"),
        ("12.6 ma", "`ma` is not a unit of a current", "ma", "did you mean `mA`?"),
        ("12,6 µA", "a comma stands inside the number `12,6`", "12,6", "12.6"),
        ("abc", "a number is needed here, not `abc`", "abc", "12.6 µA"),
        ("unknown", "`unknown` is not a value", "unknown", "leave the key out"),
        ("12.6 µA ± -1 µA", "a spread cannot be negative", "-1", "positive"),
        ("12.6 ± 0.7 µA (k = 0)", "the coverage factor k must be greater than zero", "0", "k = 2"),
        (
            "300 to 80 µA",
            "the range runs downwards: its first end is greater than its second",
            "300 to 80 µA",
            "80 to 300",
        ),
        ("12.6 µA (about)", "the spread `(about)` cannot be read", "(about)", "12.6(4) µA"),
        ("1e999 A", "the number `1e999` is too large", "1e999", "exponent"),
        ("NaN A", "a number is needed here, not `NaN`", "NaN", "12.6 µA"),
        ("", "the text is empty where a current is needed", "", "12.6 µA"),
    ];
    for (text, message, underlined, help) in cases {
        let found = error(text);
        assert_eq!(&found.0, message, "{text}");
        assert_eq!(&found.1, underlined, "{text}");
        assert!(found.2.contains(help), "{text}: {}", found.2);
    }
    assert!("-300 °C".parse::<Temperature>().is_err());
    assert!("100 %/month".parse::<SelfDischarge>().is_err());
}

#[test]
fn printing_by_rule() {
    // (value, standard uncertainty, expanded, concise with two figures); the expanded forms are those the trade prints.
    let cases = [
        (12.6e-6, 0.35e-6, "12.6 ± 0.7 µA (k = 2)", "12.60(35) µA"),
        (54.6e-6, 0.9e-6, "54.6 ± 1.8 µA (k = 2)", "54.60(90) µA"),
        (157.2e-6, 22.0e-6, "157 ± 44 µA (k = 2)", "157(22) µA"),
        // The unit follows the printed value, not the one before rounding.
        (0.9996e-3, 0.02e-3, "1.00 ± 0.04 mA (k = 2)", "1.000(20) mA"),
        (0.9996, 0.004, "999.6 ± 8.0 mA (k = 2)", "999.6(4.0) mA"),
        (-0.9956, 0.05, "-1.0 ± 0.1 A (k = 2)", "-996(50) mA"),
        (2.0e-6, 14.5e-6, "2 ± 29 µA (k = 2)", "2(15) µA"),
    ];
    for (si, u, expanded, concise) in cases {
        let value = Current::from_si(si).with_spread(Spread::Standard { u });
        assert_eq!(value.in_notation(Notation::Expanded { k: 2.0 }), expanded);
        assert_eq!(value.in_notation(Notation::Concise { figures: 2 }), concise);
    }
    assert_eq!(Duration::from_si(195.8 * 86_400.0).to_string(), "195.8 d");
    assert_eq!(Duration::from_si(2.64 * 365.25 * 86_400.0).to_string(), "2.64 yr");
    assert_eq!(Duration::from_si(900.0).to_string(), "15 min");
    assert_eq!(Charge::from_si(9000.0).to_string(), "2500 mAh");
    assert_eq!(Charge::from_si(0.19).to_string(), "190 mC");
    assert_eq!(Temperature::from_si(263.15).to_string(), "-10 °C");
    assert_eq!("< 3 µA".parse::<Current>().unwrap().to_string(), "< 3 µA");
    assert_eq!(Current::from_si(0.0).to_string(), "0 A");
    assert_eq!(Current::from_si(0.9996).value_text(3), "1 A");
    assert_eq!(Current::from_si(0.9996).value_text(4), "999.6 mA");
    assert_eq!(Current::from_si(0.999_999_96e-3).to_string(), "1 mA");
    assert_eq!(Current::from_si(f64::NAN).value_text(3), "unknown pA");
}

#[test]
fn a_reading_tells_its_own_dimension() {
    let value = AnyQuantity::parse("12.6(4) µA").unwrap();
    assert_eq!(value.dimension().name, "a current");
    assert!(value.to::<overwinter_quantity::VoltageDimension>().is_err());
    assert!(AnyQuantity::parse("12.6 quux").is_err());
    assert_eq!(AnyQuantity::parse("3.80 V").unwrap().dimension().name, "a voltage");
}

#[test]
fn through_serde() {
    let value: Current = serde_json::from_str("\"12.6(4) µA\"").unwrap();
    assert_eq!(serde_json::to_string(&value).unwrap(), "\"12.6(4) µA\"");
    let error = serde_json::from_str::<Current>("12.6").unwrap_err().to_string();
    assert!(error.contains("units that fit: nA, µA, mA, A"), "{error}");
    assert!(serde_json::from_str::<Ratio>("0.8").is_ok());
    let line = "12.6 V".parse::<Current>().unwrap_err().to_line();
    let (message, span, help) = ParseError::split_line(&line).unwrap();
    assert_eq!((message, span), ("`V` makes this a voltage, but a current is needed", 5..6));
    assert!(help.contains("12.6 µA"));
}

#[test]
fn a_plain_zero_is_told_in_the_si_unit() {
    use overwinter_quantity::{Resistance, Voltage};
    assert_eq!(Voltage::from_si(0.0).to_string(), "0 V");
    assert_eq!(Resistance::from_si(0.0).value_text(3), "0 Ω");
}
