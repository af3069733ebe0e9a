//! Sleep current explained: the board's own waste, and the bill of always-on parts with its residual.

use overwinter_statistics::{Distribution, Figure, Source};

/// How the module's current shows up at the battery.
#[derive(Clone, Debug, PartialEq)]
pub enum Conversion {
    /// Linear regulator, or direct: `r = 1`.
    Linear,
    /// Switching regulator: `r = V_out/V_bat` (its own losses belong to the board's waste).
    Switching {
        /// Rail voltage, V.
        output_v: Figure,
        /// Battery voltage, V.
        battery_v: Figure,
    },
}

impl Conversion {
    /// The ratio `r`; `None` for a battery voltage that is not positive.
    pub fn ratio(&self) -> Option<Figure> {
        match self {
            Self::Linear => Some(Figure::exact(1.0)),
            Self::Switching { output_v, battery_v } => {
                (battery_v.value() > 0.0).then(|| output_v / battery_v)
            }
        }
    }
}

/// What the difference of two readings says.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Resolution {
    /// The difference stands out: give it with its expanded uncertainty.
    Resolved {
        /// Value.
        value: f64,
        /// Standard uncertainty.
        standard_uncertainty: f64,
    },
    /// Below twice its standard uncertainty: "not resolved, below X".
    BelowLimit {
        /// `X = W + 1.65·u` (one-sided 95 %); never negative.
        limit: f64,
    },
}

/// The board's own waste.
#[derive(Clone, Debug, PartialEq)]
pub struct Waste {
    /// `W = I_board − r·I_module`, with its sources (not clipped at zero).
    pub figure: Figure,
    /// How to print it.
    pub resolution: Resolution,
}

/// Judges a difference: resolved, or below a limit.
pub fn resolution(figure: &Figure) -> Resolution {
    let (value, u) = (figure.value(), figure.standard_uncertainty());
    if value < 2.0 * u {
        Resolution::BelowLimit { limit: (value + 1.65 * u).max(0.0) }
    } else {
        Resolution::Resolved { value, standard_uncertainty: u }
    }
}

/// Board minus module, `W = I_board − r·(I_module + spread)`.
///
/// `module_spread` is the relative standard deviation from module to module (about 0.08): the module
/// on the board is not the bare one that was measured. `board_id` names that source, so that the same
/// board's other differences share it and other boards' do not. Readings on the same range share gain
/// and offset through `board` and `module` themselves. `None` for a ratio that cannot be.
pub fn waste(
    board_id: &str,
    board: &Figure,
    module: &Figure,
    conversion: &Conversion,
    module_spread: f64,
) -> Option<Waste> {
    let spread = Source::normal(&format!("{board_id} / module to module"), module_spread.abs());
    let nominal = module.value();
    let on_board = module.clone().plus_source(spread, nominal);
    let figure = board - &(&on_board * &conversion.ratio()?);
    let resolution = resolution(&figure);
    Some(Waste { figure, resolution })
}

/// Where the current of a part in the bill comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum PartBasis {
    /// Read on this specimen.
    Measured,
    /// Computed from component values.
    Computed,
    /// From a data sheet or a class of parts.
    Typical,
}

/// One always-on part.
#[derive(Clone, Debug, PartialEq)]
pub struct Part {
    /// Name.
    pub name: String,
    /// Current at the battery, A.
    pub current_a: Figure,
    /// Where it comes from.
    pub basis: PartBasis,
}

impl Part {
    /// A part of which only the range `low` to `high` is known: rectangular.
    pub fn from_range(owner: &str, name: &str, low: f64, high: f64, basis: PartBasis) -> Self {
        let (low, high) = (low.min(high), low.max(high));
        let source = Source::from_distribution(
            &format!("{owner} / {name}"),
            Distribution::Uniform { centre: 0.0, half_width: 0.5 * (high - low) },
        );
        let current_a = Figure::with_source(0.5 * (low + high), source);
        Self { name: name.to_owned(), current_a, basis }
    }
}

/// Current of a voltage divider or a bleeding resistor, `V/(R₁ + R₂)`.
pub fn divider_a(voltage_v: &Figure, total_ohm: &Figure) -> Figure {
    voltage_v / total_ohm
}

/// Current of a light-emitting diode behind a resistor, `(V − V_f)/R`, zero below `V_f`.
pub fn diode_a(voltage_v: &Figure, forward_v: &Figure, resistor_ohm: &Figure) -> Figure {
    let drop = voltage_v - forward_v;
    if drop.value() <= 0.0 { Figure::exact(0.0) } else { &drop / resistor_ohm }
}

/// What the residual says.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Closure {
    /// The parts explain the reading within its uncertainty (|residual| ≤ 2u).
    Closes,
    /// Something draws current that is not on the list.
    SomethingMissing,
    /// The list claims more than the board draws: a part is off, or its figure too high.
    ClaimsTooMuch,
}

/// The reconciled bill.
#[derive(Clone, Debug, PartialEq)]
pub struct Bill {
    /// What is to be explained.
    pub total_a: Figure,
    /// The parts, largest first.
    pub parts: Vec<Part>,
    /// Total minus parts, with the uncertainty of all of them.
    pub unexplained_a: Figure,
    /// What that says.
    pub closure: Closure,
}

/// Reconciles a reading with the list of parts.
///
/// The parts may share sources with the total (read on the same range) or with each other.
pub fn reconcile(total_a: Figure, mut parts: Vec<Part>) -> Bill {
    let mut terms: Vec<(&Figure, f64)> = vec![(&total_a, 1.0)];
    terms.extend(parts.iter().map(|p| (&p.current_a, -1.0)));
    let value = terms.iter().map(|(f, sign)| sign * f.value()).sum();
    let unexplained_a = Figure::function_of(value, &terms);
    parts.sort_by(|a, b| {
        b.current_a.value().total_cmp(&a.current_a.value()).then_with(|| a.name.cmp(&b.name))
    });
    // Rounding of the sum is not a missing part.
    let rounding = 1e-12 * total_a.value().abs();
    let limit = (2.0 * unexplained_a.standard_uncertainty()).max(rounding);
    let closure = if value > limit {
        Closure::SomethingMissing
    } else if value < -limit {
        Closure::ClaimsTooMuch
    } else {
        Closure::Closes
    };
    Bill { total_a, parts, unexplained_a, closure }
}
