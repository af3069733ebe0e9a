//! Facts of the trade (common practice, no source), held against the whole chain from documents to answers.

use overwinter_documents::types::board::ContactSide;
use overwinter_documents::types::session::{Polarity, PolarityVerdict};
use overwinter_workbench::bench::Bench;
use overwinter_workbench::bill::bill;
use overwinter_workbench::facts::Shown;

const MODULE: &str = "[module]\nname = \"bare\"\nkind = \"measured\"\nsleep_current = \"8.0(1) µA\"\nspecimen_spread = \"8 %\"\n";

fn bench(regulator: &str, sleep: &str) -> Bench {
    let board = format!(
        "[board]\nname = \"B\"\nkind = \"assumed\"\nmodule = \"bare\"\n[board.supply.regulator]\nclass = \"{regulator}\"\n[board.supply.regulator.figures]\noutput = \"3.3 V\"\n[[board.specimens]]\nid = \"B-1\"\n"
    );
    let session = format!(
        "[session]\nname = \"s\"\nspecimen = \"B-1\"\ndate = 2026-05-01\nsupply = \"3.80 V\"\nsource = \"battery contacts\"\ntemperature = \"22 °C\"\n[[session.readings]]\nwhat = \"sleep current\"\nvalue = \"{sleep}\"\n"
    );
    let files = [
        ("modules/bare.toml".to_owned(), MODULE.to_owned()),
        ("boards/b.toml".to_owned(), board),
        ("sessions/s.toml".to_owned(), session),
    ];
    let (bench, diagnostics) = Bench::read(files);
    assert!(diagnostics.iter().all(|d| !d.is_error()), "{diagnostics:#?}");
    bench
}

#[test]
fn a_board_at_53_spends_45_on_itself() {
    let bench = bench("ordinary MOS linear", "53.0(3) µA");
    let fact = Shown::new(&bench, bench.board("B").unwrap(), None).beyond_module().unwrap();
    assert!((fact.figure.value() - 45e-6).abs() < 1e-12, "{}", fact.figure.value());
    // 0.3 (reading), 0.1 (bare module), 8 % of 8 µA from module to module, in quadrature.
    let u = (0.3_f64 * 0.3 + 0.1 * 0.1 + 0.64 * 0.64).sqrt() * 1e-6;
    assert!(
        (fact.figure.standard_uncertainty() - u).abs() < 1e-9,
        "{}",
        fact.figure.standard_uncertainty()
    );
}

#[test]
fn an_old_bipolar_regulator_takes_most_of_15_milliamperes() {
    let bench = bench("old bipolar linear", "15 mA ± 2 %");
    let report = bill(&bench, bench.board("B").unwrap(), None).unwrap();
    let regulator = report.lines.iter().find(|l| l.name == "regulator").expect("a regulator line");
    assert_eq!(report.lines[0].name, "regulator", "the largest part comes first");
    assert!(regulator.current_a > 4e-3, "4 mA and more typically: {}", regulator.current_a);
    assert!((report.total.current_a * 1e6 - 15_000.0).abs() < 1e-6, "15 mA are 15 000 µA");
}

#[test]
fn about_4_2_volts_stand_at_the_contacts_with_usb_in() {
    let polarity = Polarity {
        ohms_left: Some("0.2 Ω".parse().unwrap()),
        ohms_right: Some("> 1 MΩ".parse().unwrap()),
        volts_left: Some("0.00 V".parse().unwrap()),
        volts_right: Some("4.2 V".parse().unwrap()),
        photo: None,
    };
    assert_eq!(polarity.verdict(), PolarityVerdict::Positive(ContactSide::Right));
}
