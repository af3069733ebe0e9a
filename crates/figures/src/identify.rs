//! Likely class of an unreadable chip from how it behaves, with probabilities.
//!
//! Bayes: `P(class | data) ∝ prior · Π ∫ p(x | class)·N(observed; x, u) dx`, behaviours taken as
//! independent within a class. The classes come as data.

use overwinter_statistics::Distribution;
use overwinter_statistics::special::normal_density;

/// What a class of chips does in one respect.
#[derive(Clone, Debug, PartialEq)]
pub struct Behaviour {
    /// Name of the quantity with its unit, for instance `ground_current_3v8_a` or `float_voltage_v`.
    pub quantity: String,
    /// What chips of the class show.
    pub distribution: Distribution,
}

/// A class of chips.
#[derive(Clone, Debug, PartialEq)]
pub struct ChipClass {
    /// Name.
    pub name: String,
    /// How common it is among boards of the kind; only ratios matter.
    pub prior: f64,
    /// What it does.
    pub behaviours: Vec<Behaviour>,
}

/// What was seen.
#[derive(Clone, Debug, PartialEq)]
pub struct Observation {
    /// Name of the quantity, as in [`Behaviour`].
    pub quantity: String,
    /// Value.
    pub value: f64,
    /// Standard uncertainty, positive.
    pub standard_uncertainty: f64,
}

/// A class with its probability.
#[derive(Clone, Debug, PartialEq)]
pub struct Candidate {
    /// Name of the class.
    pub class: String,
    /// Posterior probability among the classes given.
    pub probability: f64,
    /// Observed quantities this class says nothing about; they did not count for or against it.
    pub silent_about: Vec<String>,
}

/// The verdict.
#[derive(Clone, Debug, PartialEq)]
pub struct Identification {
    /// Classes, likeliest first.
    pub candidates: Vec<Candidate>,
    /// True when even the best class makes the data very unlikely (some behaviour beyond all but a
    /// thousandth of the class, measurement uncertainty included): perhaps none of them.
    pub perhaps_none: bool,
}

/// Why no verdict is possible.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum IdentifyError {
    /// No classes, or no class with a positive prior.
    #[error("no class with a positive prior was given")]
    NoClass,
    /// An observation that cannot be.
    #[error("observation of \"{quantity}\" must be finite with a positive standard uncertainty")]
    Observation {
        /// The quantity.
        quantity: String,
    },
    /// A class with an impossible distribution.
    #[error("class \"{class}\" has an impossible distribution for \"{quantity}\"")]
    Class {
        /// The class.
        class: String,
        /// The quantity.
        quantity: String,
    },
}

/// Points of the quantile rule behind each likelihood integral.
const POINTS: u32 = 400;

/// Weighs the classes by the observations.
///
/// A class that says nothing about an observed quantity is given the mean likelihood of the classes
/// that do, so that silence is neither held against it nor for it.
///
/// # Errors
/// No usable class, an impossible observation or distribution.
pub fn identify(
    classes: &[ChipClass],
    observations: &[Observation],
) -> Result<Identification, IdentifyError> {
    for o in observations {
        let good = o.value.is_finite()
            && o.standard_uncertainty.is_finite()
            && o.standard_uncertainty > 0.0;
        if !good {
            return Err(IdentifyError::Observation { quantity: o.quantity.clone() });
        }
    }
    for class in classes {
        if let Some(b) = class.behaviours.iter().find(|b| b.distribution.check().is_err()) {
            return Err(IdentifyError::Class {
                class: class.name.clone(),
                quantity: b.quantity.clone(),
            });
        }
    }
    if !classes.iter().any(|c| c.prior > 0.0) {
        return Err(IdentifyError::NoClass);
    }
    let mut logs: Vec<f64> = classes
        .iter()
        .map(|c| if c.prior > 0.0 { libm::log(c.prior) } else { f64::NEG_INFINITY })
        .collect();
    let mut silent: Vec<Vec<String>> = vec![Vec::new(); classes.len()];
    let mut least_tail = vec![1.0_f64; classes.len()];
    for o in observations {
        let likelihoods: Vec<Option<f64>> = classes
            .iter()
            .map(|c| {
                let b = c.behaviours.iter().find(|b| b.quantity == o.quantity)?;
                Some(likelihood(&b.distribution, o))
            })
            .collect();
        let known: Vec<f64> = likelihoods.iter().flatten().copied().collect();
        let neutral = known.iter().sum::<f64>() / known.len().max(1) as f64;
        for (i, l) in likelihoods.iter().enumerate() {
            if let Some(l) = l {
                logs[i] += libm::log(l.max(f64::MIN_POSITIVE));
                let b = classes[i].behaviours.iter().find(|b| b.quantity == o.quantity);
                least_tail[i] = least_tail[i].min(b.map_or(1.0, |b| tail(&b.distribution, o)));
            } else {
                silent[i].push(o.quantity.clone());
                if !known.is_empty() {
                    logs[i] += libm::log(neutral.max(f64::MIN_POSITIVE));
                }
            }
        }
    }
    let top = logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let weights: Vec<f64> = logs.iter().map(|l| libm::exp(l - top)).collect();
    let total: f64 = weights.iter().sum();
    let mut best = 0;
    for (i, w) in weights.iter().enumerate() {
        if *w > weights[best] {
            best = i;
        }
    }
    let perhaps_none = least_tail[best] < 1e-3;
    let mut candidates: Vec<Candidate> = classes
        .iter()
        .zip(weights)
        .zip(silent)
        .map(|((class, w), silent_about)| Candidate {
            class: class.name.clone(),
            probability: w / total,
            silent_about,
        })
        .collect();
    candidates.sort_by(|a, b| {
        b.probability.total_cmp(&a.probability).then_with(|| a.class.cmp(&b.class))
    });
    Ok(Identification { candidates, perhaps_none })
}

/// `∫ p(x)·N(observed; x, u) dx` by the midpoint rule over the quantile.
///
/// A measurement much sharper than the class would fall between the points, so its uncertainty is
/// taken as at least a hundredth of the class's central 80 %.
fn likelihood(distribution: &Distribution, o: &Observation) -> f64 {
    let width = distribution.quantile(0.9) - distribution.quantile(0.1);
    let u = o.standard_uncertainty.max(0.01 * width);
    (0..POINTS)
        .map(|i| {
            let x = distribution.quantile((f64::from(i) + 0.5) / f64::from(POINTS));
            normal_density((o.value - x) / u) / u
        })
        .sum::<f64>()
        / f64::from(POINTS)
}

/// Two-sided tail of the class at the observation, moved three standard uncertainties inwards.
fn tail(distribution: &Distribution, o: &Observation) -> f64 {
    let margin = 3.0 * o.standard_uncertainty;
    let below = distribution.cdf(o.value + margin);
    let above = 1.0 - distribution.cdf(o.value - margin);
    (2.0 * below.min(above)).min(1.0)
}
