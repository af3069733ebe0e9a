mod common;
use common::*;
use overwinter_engine::*;

#[test]
fn smoke() {
    let ocv = Curve::linear(&LI_ION).unwrap();
    let mut cell = plain_cell(9000.0, ocv, 0.18);
    cell.self_discharge = Some(cell::SelfDischarge::from_loss(0.02, 30.4 * 86400.0, 10.0));
    cell.rc = vec![cell::RcPair { resistance_ohm: 0.05, time_constant_s: 20.0 }];
    let sc = scenario(
        load(61e-6, vec![activity("wake", 600.0, vec![segment("tx", 2.2, 0.095)])]),
        linear_path(3.3, 2e-6, 0.5, 2.8),
        cell,
    );
    let f = Engine::new().forecast(&sc, 5).unwrap();
    println!("{f:#?} days {}", f.life.life_s / 86400.0);
    let sum: f64 = f.ledger.iter().map(|e| e.charge_c).sum();
    println!("closure {}", sum / f.initial_charge_c - 1.0);
    let b = brute_force(&sc, 100_000_000);
    println!("{b:?} rel {}", b.unwrap().life_s / f.life.life_s - 1.0);
}
