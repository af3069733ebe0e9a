//! A board: model → revision → specimen, with its traits.

use overwinter_quantity::{Duration, Length, Mass, Money};

use crate::choice::{Kind, choices};
use crate::date::Date;
use crate::figure::{CurrentFigure, ResistanceFigure};
use crate::layer::{Layer, layered, record};
use crate::reader::read_variants;
use crate::seen::{Seen, Trait};
use crate::types::cell::Lead;
use crate::types::supply::{Bulk, Charger, Supply};
use crate::walk::walk_variants;

choices! {
    /// The radio part of a board.
    pub enum RadioPart: "a radio part" {
        /// A shielded module with a certification of its own.
        ShieldedModule = "shielded certified module",
        /// A bare chip with its parts round it.
        BareChip = "bare chip",
        /// A bare chip with the flash memory in its package.
        FlashInPackage = "flash in package",
    }

    /// A face of the board.
    pub enum LabelSide: "a label side" {
        /// Pin labels on top, readable when the board is plugged in.
        Top = "top",
        /// Pin labels underneath.
        Bottom = "bottom",
        /// Both.
        Both = "both",
        /// No pin labels.
        None = "none",
    }

    /// How a cell is connected.
    pub enum BatteryConnector: "a battery connector" {
        /// A two-pin socket, its pitch in `battery_pitch`.
        TwoPinSocket = "two-pin socket",
        /// Pads to solder to.
        SolderPads = "solder pads",
        /// Pins of the header only.
        HeaderPins = "header pins",
        /// A screw terminal.
        ScrewTerminal = "screw terminal",
        /// A holder for the cell itself.
        CellHolder = "cell holder",
        /// None.
        None = "none",
    }

    /// A contact of a two-pin connector, seen looking into the socket's mouth with the board's component side up (for a
    /// plug: looking at its contacts with the latch or key on the same side).
    pub enum ContactSide: "a contact side" {
        /// The left contact.
        Left = "left",
        /// The right contact.
        Right = "right",
    }

    /// What feeds a part.
    pub enum Feed: "a feed" {
        /// The battery contacts, before the regulator.
        Battery = "battery",
        /// The regulated rail.
        Rail = "rail",
        /// USB only: nothing on battery.
        Usb = "USB",
    }

    /// Risk of a rework to the board.
    pub enum Risk: "a risk" {
        /// A steady hand is enough.
        Low = "low",
        /// Needs practice.
        Medium = "medium",
        /// Expect to lose one board in a few.
        High = "high",
    }
}

layered! {
    /// Traits by eye, caliper and trial. Everything left out is unknown.
    pub struct Traits {
        /// The radio part.
        pub radio_part: Seen<RadioPart>,
        /// A certification mark is printed on the radio part.
        pub certification_mark: Trait,
        /// Pins brought out.
        pub pins: Option<u32>,
        /// There is a connector for an external antenna.
        pub external_antenna: Trait,
        /// Distance between the two rows of pins.
        pub row_spacing: Option<Length>,
        /// Where the pin labels are.
        pub label_side: Seen<LabelSide>,
        /// Buttons by name; an empty list means none.
        pub buttons: Option<Vec<String>>,
        /// There is a switch that cuts the battery.
        pub battery_switch: Trait,
        /// How the cell is connected.
        pub battery_connector: Seen<BatteryConnector>,
        /// Pitch of the battery connector; 2.54 mm and 1.25 mm are the two most met.
        pub battery_pitch: Option<Length>,
        /// The contact that is +. Belongs to a specimen: a model's is only what the listing claims.
        pub positive_side: Seen<ContactSide>,
        /// There is a separate USB-serial bridge.
        pub usb_bridge: Trait,
        /// What feeds the bridge.
        pub usb_bridge_feed: Seen<Feed>,
        /// There is a charger.
        pub charger: Trait,
        /// The charger's marking, as far as it can be read.
        pub charger_marking: Option<String>,
        /// The regulator's marking, as far as it can be read.
        pub regulator_marking: Option<String>,
        /// The board itself cuts off before the cell is discharged too deeply.
        pub deep_discharge_protection: Trait,
        /// The processor resets when USB or panel is removed.
        pub resets_on_source_removed: Trait,
        /// The processor resets when USB or panel is attached.
        pub resets_on_source_attached: Trait,
        /// An LED stays lit in sleep.
        pub led_in_sleep: Trait,
        /// Length of the board.
        pub length: Option<Length>,
        /// Width of the board.
        pub width: Option<Length>,
        /// Mass of the board.
        pub mass: Option<Mass>,
    }
}

impl Traits {
    /// Free holes beside the board on a breadboard with rows of 5 + 5 holes and a gap of 7.62 mm:
    /// `(27.94 mm − row spacing) / 2.54 mm`, both sides together; `None` where the spacing is unknown.
    /// Zero where the board is as wide as the breadboard or wider.
    pub fn free_breadboard_holes(&self) -> Option<u32> {
        let spacing_mm = self.row_spacing.as_ref()?.millimetres();
        let holes = (27.94 - spacing_mm) / 2.54;
        Some((holes + 1e-6).floor().max(0.0) as u32)
    }

    /// Area of the board in mm²; `None` where a side is unknown.
    pub fn area_mm2(&self) -> Option<f64> {
        Some(self.length.as_ref()?.millimetres() * self.width.as_ref()?.millimetres())
    }
}

record! {
    /// A board model with its revisions and specimens.
    pub struct Board {
        /// Name of the model, unique among boards.
        pub name: String,
        /// What it is, in words.
        pub about: Option<String>,
        /// Kind of the figures that state none of their own.
        pub kind: Option<Kind>,
        /// Source of the figures that state none of their own.
        pub source: Option<String>,
        /// Price of one board.
        pub price: Option<Money>,
        /// The bare radio module on it: a name of `modules/`.
        pub module: Option<String>,
        /// Traits of the model.
        #[serde(default)]
        pub traits: Traits,
        /// The way from the cell to the rail.
        #[serde(default)]
        pub supply: Supply,
        /// The charger, where there is one.
        pub charger: Option<Charger>,
        /// Parts that draw current also in sleep.
        #[serde(default)]
        pub always_on: Vec<AlwaysOnPart>,
        /// Reworks that are possible.
        #[serde(default)]
        pub reworks: Vec<Rework>,
        /// Revisions, where they differ.
        #[serde(default)]
        pub revisions: Vec<Revision>,
        /// The specimens in the drawer.
        #[serde(default)]
        pub specimens: Vec<Specimen>,
    }

    /// A revision of a model; it says only what differs.
    pub struct Revision {
        /// The mark on the board, unique within the model.
        pub name: String,
        /// What differs, in words.
        pub about: Option<String>,
        /// Traits that differ.
        #[serde(default)]
        pub traits: Traits,
        /// Supply figures that differ.
        #[serde(default)]
        pub supply: Supply,
    }

    /// One board in the hand.
    pub struct Specimen {
        /// The label on it, unique in the folder.
        pub id: String,
        /// Its revision.
        pub revision: Option<String>,
        /// When it was bought.
        pub bought: Option<Date>,
        /// What it cost.
        pub price: Option<Money>,
        /// A photograph, as a path in the folder.
        pub photo: Option<String>,
        /// Traits of this specimen alone, the + side above all.
        #[serde(default)]
        pub traits: Traits,
        /// The lead kept for this specimen, where it is not the cell's own: an adapter, or a plug whose contacts were swapped.
        /// Measured at the end that goes into this specimen.
        pub lead: Option<Lead>,
        /// Its end, if it is dead.
        pub dead: Option<Death>,
        /// A remark.
        pub note: Option<String>,
    }

    /// The end of a specimen. Its electrical fields stay empty for ever, its traits stay valid.
    pub struct Death {
        /// Since when.
        pub since: Date,
        /// At which step of the protocol, in words.
        pub step: Option<String>,
        /// Why.
        pub cause: String,
        /// What it cost.
        pub cost: Option<Money>,
        /// What was learnt.
        pub lesson: Option<String>,
    }

    /// A part that draws current also in sleep.
    pub struct AlwaysOnPart {
        /// Name on this board, unique within it.
        pub name: String,
        /// Its class: a name of `parts/`.
        pub class: Option<String>,
        /// Its own current, where it was measured or is known better than the class.
        pub current: Option<CurrentFigure>,
        /// Its resistance, for a divider or a pull-up held low.
        pub resistance: Option<ResistanceFigure>,
        /// What feeds it.
        #[serde(default)]
        pub feed: Seen<Feed>,
        /// A remark.
        pub note: Option<String>,
    }

    /// Work that makes another variant of the board.
    pub struct Rework {
        /// Name, unique within the board.
        pub name: String,
        /// How long it takes.
        pub work: Option<Duration>,
        /// Risk to the board.
        pub risk: Option<Risk>,
        /// What changes.
        pub changes: Vec<Change>,
        /// Whether it may void the radio's approval.
        #[serde(default)]
        pub certification_risk: Trait,
        /// What the board can no longer do afterwards.
        pub loses: Option<String>,
        /// Cost of the parts.
        pub cost: Option<Money>,
    }

    /// A new current of an always-on part.
    pub struct PartCurrent {
        /// The part's name on this board.
        pub part: String,
        /// Its current afterwards.
        pub current: CurrentFigure,
    }
}

/// One change that a rework makes.
#[derive(Clone, Debug, PartialEq, serde::Serialize, schemars::JsonSchema)]
#[serde(rename_all = "snake_case")]
#[schemars(deny_unknown_fields)]
pub enum Change {
    /// Takes an always-on part away.
    Remove(String),
    /// Gives an always-on part another current.
    SetCurrent(PartCurrent),
    /// Replaces the regulator by one of another class (a name of `regulators/`).
    ReplaceRegulator(String),
    /// Sets another charge current.
    SetChargeCurrent(CurrentFigure),
    /// Adds or replaces the bulk capacitor.
    SetBulk(Bulk),
}

read_variants!(Change {
    blank: Self::Remove(String::new());
    alone:;
    filled: Remove = "remove", SetCurrent = "set_current", ReplaceRegulator = "replace_regulator", SetChargeCurrent = "set_charge_current", SetBulk = "set_bulk",
});
walk_variants!(Change { Remove SetCurrent ReplaceRegulator SetChargeCurrent SetBulk });

impl Board {
    /// Traits of a specimen: its own over its revision's over the model's.
    pub fn traits_of(&self, specimen: &Specimen) -> Traits {
        match self.revision_of(specimen) {
            Some(revision) => specimen.traits.over(&revision.traits.over(&self.traits)),
            None => specimen.traits.over(&self.traits),
        }
    }

    /// Supply of a specimen: its revision's over the model's.
    pub fn supply_of(&self, specimen: &Specimen) -> Supply {
        match self.revision_of(specimen) {
            Some(revision) => revision.supply.over(&self.supply),
            None => self.supply.clone(),
        }
    }

    /// The revision of a specimen.
    pub fn revision_of(&self, specimen: &Specimen) -> Option<&Revision> {
        let name = specimen.revision.as_ref()?;
        self.revisions.iter().find(|revision| &revision.name == name)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn free_holes_come_from_the_row_spacing() {
        let holes = |text: &str| {
            Traits { row_spacing: Some(text.parse().unwrap()), ..Traits::default() }
                .free_breadboard_holes()
        };
        assert_eq!(holes("22.86 mm"), Some(2));
        assert_eq!(holes("25.4 mm"), Some(1));
        assert_eq!(holes("27.94 mm"), Some(0));
        assert_eq!(holes("15.24 mm"), Some(5));
        assert_eq!(holes("40 mm"), Some(0));
        assert_eq!(Traits::default().free_breadboard_holes(), None);
    }

    #[test]
    fn a_specimen_lies_over_its_model() {
        let model = Traits {
            pins: Some(30),
            positive_side: Seen::Known(ContactSide::Left),
            ..Traits::default()
        };
        let specimen =
            Traits { positive_side: Seen::Known(ContactSide::Right), ..Traits::default() };
        let seen = specimen.over(&model);
        assert_eq!((seen.pins, seen.positive_side), (Some(30), Seen::Known(ContactSide::Right)));
    }
}
