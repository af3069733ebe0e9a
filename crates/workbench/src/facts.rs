//! The figures of a board that the table shows and needs and wishes ask for.

use overwinter_documents::types::board::{Board, Specimen};
use overwinter_documents::types::session::{Source as Fed, What};
use overwinter_figures::bill::{Conversion, Resolution, Waste, waste};
use overwinter_statistics::Figure;

use crate::bench::Bench;
use crate::priors::SPECIMEN_SPREAD;
use crate::readings::{self, Measured};
use crate::report::{FigureValue, Origin};
use crate::resolve::input::Fallback;
use crate::resolve::{module_of, reference, specimen_of};
use crate::text::Kind;

/// A figure with its origin.
#[derive(Debug, Clone, PartialEq)]
pub struct Fact {
    /// Value with sources, SI.
    pub figure: Figure,
    /// Where it comes from.
    pub origin: Origin,
}

impl Fact {
    /// For the table.
    pub fn value(&self, kind: Kind) -> FigureValue {
        let u = self.figure.standard_uncertainty();
        FigureValue {
            value: self.figure.value(),
            standard_uncertainty: (u > 0.0).then_some(u),
            text: kind.figure(&self.figure),
            origin: self.origin.clone(),
        }
    }
}

/// A board with the specimen that stands for it.
#[derive(Clone, Copy)]
pub struct Shown<'a> {
    /// The bench.
    pub bench: &'a Bench,
    /// The board.
    pub board: &'a Board,
    /// The specimen; a dead one only where no other exists.
    pub specimen: Option<&'a Specimen>,
}

impl<'a> Shown<'a> {
    /// The board with its usual specimen.
    pub fn new(bench: &'a Bench, board: &'a Board, wanted: Option<&str>) -> Self {
        let specimen = specimen_of(bench, board, wanted).or_else(|| board.specimens.first());
        Self { bench, board, specimen }
    }

    /// Whether the specimen is dead: its electrical fields stay empty.
    pub fn is_dead(&self) -> bool {
        self.specimen.is_some_and(|s| s.dead.is_some())
    }

    /// The reading of `what` that stands for the specimen, fed from one of `fed` (or not stated).
    pub fn reading(&self, what: What, fed: &[Fed]) -> Option<Fact> {
        let specimen = self.specimen.filter(|s| s.dead.is_none())?;
        let read: Vec<Measured<'_>> = readings::of_specimen(self.bench, &specimen.id, what)
            .into_iter()
            .filter(|m| m.figure.is_some())
            .filter(|m| m.fed.map_or(fed.contains(&Fed::Battery), |f| fed.contains(&f)))
            .collect();
        let found = reference(&read)?;
        Some(Fact { figure: found.figure.clone()?, origin: found.origin() })
    }

    /// Sleep current at the battery contacts at about 3.8 V.
    pub fn sleep(&self) -> Option<Fact> {
        self.reading(What::SleepCurrent, &[Fed::Battery])
    }

    /// What the board draws beyond its bare module asleep: [`overwinter_figures::bill::waste`], with the module-to-module
    /// spread; for a switching regulator the module's share is scaled by the voltage ratio.
    pub fn beyond_module(&self) -> Option<Fact> {
        let (whole, bare, waste) = self.waste()?;
        Some(Fact {
            figure: waste.figure,
            origin: Origin {
                kind: whole.origin.kind,
                source: format!("{}; bare module: {}", whole.origin.source, bare.origin.source),
            },
        })
    }

    /// The same as it may be printed: a figure, or "not resolved, below …" where it does not stand out.
    pub fn beyond_module_text(&self) -> Option<String> {
        let (_, _, waste) = self.waste()?;
        Some(match waste.resolution {
            Resolution::Resolved { .. } => Kind::SmallCurrent.figure(&waste.figure),
            Resolution::BelowLimit { limit } => {
                format!("not resolved, below {}", crate::text::current(limit))
            }
        })
    }

    fn waste(&self) -> Option<(Fact, Fact, Waste)> {
        let whole = self.sleep()?;
        let module = module_of(self.bench, self.board)?;
        let bare = self.module_sleep()?;
        let spread = module.specimen_spread.as_ref().map_or(SPECIMEN_SPREAD, |s| s.si());
        let owner = self.specimen.map_or(self.board.name.as_str(), |s| s.id.as_str());
        let ratio = self.current_ratio();
        let conversion = if ratio == 1.0 {
            Conversion::Linear
        } else {
            Conversion::Switching {
                output_v: Figure::exact(ratio * crate::resolve::path::REFERENCE_V),
                battery_v: Figure::exact(crate::resolve::path::REFERENCE_V),
            }
        };
        let waste = waste(owner, &whole.figure, &bare.figure, &conversion, spread)?;
        Some((whole, bare, waste))
    }

    /// The bare module's sleep current: read in a session, else its document's.
    pub fn module_sleep(&self) -> Option<Fact> {
        let module = module_of(self.bench, self.board)?;
        let read: Vec<Measured<'_>> =
            readings::of_module(self.bench, &module.name, What::SleepCurrent)
                .into_iter()
                .filter(|m| m.figure.is_some())
                .collect();
        if let Some(found) = reference(&read) {
            return Some(Fact { figure: found.figure.clone()?, origin: found.origin() });
        }
        let stated = module.sleep_current.as_ref()?;
        let document = format!("module {}", module.name);
        let fallback =
            Fallback { kind: module.kind, source: module.source.as_deref(), document: &document };
        let key = format!("module {} / sleep current", module.name);
        Some(Fact { figure: stated_figure(&key, stated), origin: fallback.origin(stated) })
    }

    /// Battery-side over rail-side current: 1 behind a linear regulator, V_out/V_bat behind a switching one.
    pub fn current_ratio(&self) -> f64 {
        use overwinter_documents::types::supply::RegulatorKind;
        let supply =
            self.specimen.map_or_else(|| self.board.supply.clone(), |s| self.board.supply_of(s));
        let Some((kind, figures)) = self.bench.folder().regulator(&supply) else { return 1.0 };
        match kind {
            Some(RegulatorKind::StepDown | RegulatorKind::StepUp | RegulatorKind::BuckBoost) => {
                figures.output.as_ref().map_or(1.0, |v| v.si() / crate::resolve::path::REFERENCE_V)
            }
            _ => 1.0,
        }
    }

    /// Charge current: read, else as set.
    pub fn charge_current(&self) -> Option<Fact> {
        if let Some(read) = self
            .reading(What::ChargeCurrent, &[Fed::Battery, Fed::Usb, Fed::UsbFullCell, Fed::Panel])
        {
            return Some(read);
        }
        let charger = self.board.charger.as_ref()?;
        let stated = charger.current.as_ref()?;
        Some(self.stated("charge current", stated))
    }

    /// A figure of the board's own document.
    pub fn stated<D: overwinter_quantity::Dimension>(
        &self,
        what: &str,
        figure: &overwinter_documents::Figure<D>,
    ) -> Fact {
        let fallback = Fallback {
            kind: self.board.kind,
            source: self.board.source.as_deref(),
            document: &self.board.name,
        };
        Fact {
            figure: stated_figure(&format!("board {} / {what}", self.board.name), figure),
            origin: fallback.origin(figure),
        }
    }

    /// Lowest supply voltage that survives a radio burst: read, else stated.
    pub fn lowest_surviving(&self) -> Option<Fact> {
        if self.is_dead() {
            return None;
        }
        self.reading(What::LowestSurviving, &[Fed::Battery]).or_else(|| {
            let supply = self
                .specimen
                .map_or_else(|| self.board.supply.clone(), |s| self.board.supply_of(s));
            supply
                .lowest_surviving_voltage
                .as_ref()
                .map(|v| self.stated("lowest surviving voltage", v))
        })
    }
}

/// A documented figure with its stated spread, without one as exact: the table shows what is stated, no more.
fn stated_figure<D: overwinter_quantity::Dimension>(
    key: &str,
    figure: &overwinter_documents::Figure<D>,
) -> Figure {
    match readings::spread_source(key, figure.value.spread()) {
        Some(source) => Figure::with_source(figure.si(), source),
        None => Figure::exact(figure.si()),
    }
}
