//! Invariants of figures, distributions, draws and summaries for arbitrary input.
#![allow(missing_docs)] // a test program has no public items to document

use overwinter_statistics::allan::{Deviation, stability};
use overwinter_statistics::fit::{linear_fit, weighted_fit};
use overwinter_statistics::information::value_of_information;
use overwinter_statistics::special::{
    beta_quantile, incomplete_beta, normal_quantile, proportion_bounds, t_quantile,
};
use overwinter_statistics::univariate::{quantile_type7, summary};
use overwinter_statistics::{Distribution, Draws, Figure, Sampler, Source};
use proptest::prelude::*;

fn figure() -> impl Strategy<Value = Figure> {
    let source = (0_u8..6, 0.01_f64..2.0, -3.0_f64..3.0);
    (0.5_f64..100.0, prop::collection::vec(source, 0..5)).prop_map(|(value, sources)| {
        sources.into_iter().fold(Figure::exact(value), |f, (id, _, sensitivity)| {
            // One name, one uncertainty.
            f.plus_source(Source::normal(&format!("s{id}"), 0.1 + f64::from(id)), sensitivity)
        })
    })
}

fn any_distribution() -> impl Strategy<Value = Distribution> {
    let x = || prop::num::f64::ANY;
    prop_oneof![
        x().prop_map(Distribution::Exact),
        (x(), x()).prop_map(|(mean, sd)| Distribution::Normal { mean, sd }),
        (x(), x(), x()).prop_map(|(location, scale, degrees_of_freedom)| Distribution::StudentT {
            location,
            scale,
            degrees_of_freedom
        }),
        (x(), x()).prop_map(|(centre, half_width)| Distribution::Uniform { centre, half_width }),
        (x(), x(), x()).prop_map(|(low, mode, high)| Distribution::Triangular { low, mode, high }),
        (x(), x(), x()).prop_map(|(centre, half_width, top)| Distribution::Trapezoid {
            centre,
            half_width,
            top
        }),
        (x(), x(), x()).prop_map(|(centre, half_width, margin)| {
            Distribution::CurvilinearTrapezoid { centre, half_width, margin }
        }),
        (x(), x()).prop_map(|(median, factor)| Distribution::LogNormal { median, factor }),
        x().prop_map(|probability| Distribution::Bernoulli { probability }),
        (x(), x(), x()).prop_map(|(mean, sd, low)| Distribution::TruncatedBelow {
            inner: Box::new(Distribution::Normal { mean, sd }),
            low
        }),
        prop::collection::vec((x(), x()), 0..4).prop_map(Distribution::Empirical),
    ]
}

proptest! {
    #[test]
    fn arithmetic_respects_shared_sources(x in figure(), y in figure()) {
        let zero = &x - &x;
        prop_assert_eq!((zero.value(), zero.standard_uncertainty()), (0.0, 0.0));
        let sum = &x + &y;
        let direct = x.variance() + y.variance() + 2.0 * x.covariance(&y);
        prop_assert!((sum.variance() - direct).abs() <= 1e-9 * (1.0 + direct.abs()));
        prop_assert!((x.covariance(&y) - y.covariance(&x)).abs() <= 1e-12);
        if let Some(r) = x.correlation(&y) {
            prop_assert!(r.abs() <= 1.0 + 1e-12);
        }
        let back = &(&x * &y) / &y;
        prop_assert!((back.variance() - x.variance()).abs() <= 1e-6 * (1.0 + x.variance()));
        let shares: f64 = x.budget().rows.iter().map(|r| r.share).sum();
        prop_assert!(x.variance() == 0.0 || (shares - 1.0).abs() < 1e-12);
    }

    #[test]
    fn distributions_never_panic_and_rise_where_possible(d in any_distribution(), p in 0.0_f64..1.0, q in 0.0_f64..1.0) {
        let (a, b) = (d.quantile(p.min(q)), d.quantile(p.max(q)));
        let _ = (d.cdf(a), d.mean(), d.sd(), Sampler::new(&d).quantile(p));
        if d.check().is_ok() && a.is_finite() && b.is_finite() {
            prop_assert!(a <= b, "{:?}: {} {}", d, a, b);
        }
    }

    #[test]
    fn summaries_do_not_care_for_order_or_shift(mut v in prop::collection::vec(-1e3_f64..1e3, 2..40)) {
        let s = summary(&v).unwrap();
        let shifted: Vec<f64> = v.iter().map(|x| x + 4096.0).collect();
        let t = summary(&shifted).unwrap();
        let sd = s.standard_deviation.unwrap();
        prop_assert!((t.standard_deviation.unwrap() - sd).abs() <= 1e-8 * (1.0 + sd));
        v.sort_by(f64::total_cmp);
        prop_assert!((summary(&v).unwrap().mean - s.mean).abs() <= 1e-12 * 1e3);
        let median = quantile_type7(&v, 0.5).unwrap();
        prop_assert!(v[0] <= median && median <= v[v.len() - 1]);
    }

    #[test]
    fn odd_input_gives_odd_answers_but_no_panic(
        rows in prop::collection::vec(prop::collection::vec(prop::num::f64::ANY, 2), 0..6),
        y in prop::collection::vec(prop::num::f64::ANY, 0..6),
        a in prop::num::f64::ANY, b in prop::num::f64::ANY, p in prop::num::f64::ANY,
        k in 0_u32..30, n in 0_u32..30, m in 0_usize..5,
    ) {
        let _ = linear_fit(&rows, &y);
        let _ = weighted_fit(&rows, &y, &y);
        let _ = (normal_quantile(p), t_quantile(p, a), incomplete_beta(p, a, b), beta_quantile(p, a, b));
        let _ = proportion_bounds(k, n, p);
        let _ = stability(&y, a, m, Deviation::ModifiedAllan);
        let _ = value_of_information(&[&y], &[&y]);
        let u = Draws::new(u64::from(k)).unit(n, m * 1000);
        prop_assert!(u > 0.0 && u < 1.0);
    }
}
