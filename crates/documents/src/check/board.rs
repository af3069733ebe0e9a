//! Boards, regulators, modules: names within, references, traits against figures.

use std::collections::BTreeMap;

use crate::check::Checker;
use crate::choice::YesNo;
use crate::diagnostic::Diagnostic;
use crate::document::DocumentKind;
use crate::folder::{Entry, Origin};
use crate::locate::KeyPath;
use crate::seen::Seen;
use crate::types::board::{BatteryConnector, Board, Change, Rework, Traits};
use crate::types::parts::{ChargerClass, Module, Regulator};
use crate::types::supply::{RegulatorFigures, Supply};

pub(super) fn board(checker: &mut Checker<'_>, entry: &Entry<Board>) {
    let root = KeyPath::root().key("board");
    let board = &entry.document;
    checker.reference(entry, &root.key("module"), DocumentKind::Module, board.module.as_deref());
    traits(checker, entry, &root.key("traits"), &board.traits);
    supply(checker, entry, &root.key("supply"), &board.supply);
    let names =
        |names: &mut dyn Iterator<Item = &'_ String>| -> Vec<String> { names.cloned().collect() };
    let parts = names(&mut board.always_on.iter().map(|part| &part.name));
    let parts: Vec<&str> = parts.iter().map(String::as_str).collect();
    checker.unique(entry, &root.key("always_on"), "name", "always-on parts", &parts);
    for (index, part) in board.always_on.iter().enumerate() {
        let place = root.key("always_on").index(index);
        checker.reference(entry, &place.key("class"), DocumentKind::Part, part.class.as_deref());
        if part.class.is_none() && part.current.is_none() && part.resistance.is_none() {
            checker.warning(
                entry,
                &place.key("name"),
                "part-without-figure",
                format!(
                    "\"{}\" has neither class nor current nor resistance: its draw is unknown",
                    part.name
                ),
                "name its class (a name of parts/), or write its `current`",
            );
        }
    }
    let reworks: Vec<&str> = board.reworks.iter().map(|rework| rework.name.as_str()).collect();
    checker.unique(entry, &root.key("reworks"), "name", "reworks", &reworks);
    for (index, work) in board.reworks.iter().enumerate() {
        rework(checker, entry, &root.key("reworks").index(index), work, &parts);
    }
    let revisions: Vec<&str> =
        board.revisions.iter().map(|revision| revision.name.as_str()).collect();
    checker.unique(entry, &root.key("revisions"), "name", "revisions", &revisions);
    for (index, revision) in board.revisions.iter().enumerate() {
        let place = root.key("revisions").index(index);
        traits(checker, entry, &place.key("traits"), &revision.traits);
        supply(checker, entry, &place.key("supply"), &revision.supply);
    }
    for (index, specimen) in board.specimens.iter().enumerate() {
        let place = root.key("specimens").index(index);
        if let Some(revision) = &specimen.revision {
            checker.inner_reference(
                entry,
                &place.key("revision"),
                "revision of this board",
                revision,
                &revisions,
            );
        }
        traits(checker, entry, &place.key("traits"), &specimen.traits);
        if let (Some(bought), Some(dead)) = (specimen.bought, &specimen.dead)
            && dead.since < bought
        {
            checker.error(
                entry,
                &place.key("dead").key("since"),
                "date-order",
                format!("{} died on {} but was bought on {bought}", specimen.id, dead.since),
                "correct one of the two dates",
            );
        }
    }
    charger_against_trait(checker, entry, &root);
}

fn charger_against_trait(checker: &mut Checker<'_>, entry: &Entry<Board>, root: &KeyPath) {
    let board = &entry.document;
    let no_charger = board.traits.charger == Seen::Known(YesNo::No);
    if no_charger && board.charger.is_some() {
        checker.error(
            entry,
            &root.key("charger"),
            "trait-contradiction",
            "the board has figures of a charger, but its trait says charger = \"no\"",
            "remove the table [board.charger], or correct the trait",
        );
    }
    if no_charger && board.traits.charger_marking.is_some() {
        checker.error(
            entry,
            &root.key("traits").key("charger_marking"),
            "trait-contradiction",
            "a charger's marking was read, but the trait says charger = \"no\"",
            "remove the marking, or correct the trait",
        );
    }
    let lit = board.always_on.iter().position(|part| part.class.as_deref() == Some("power LED"));
    if let (Some(index), Seen::Known(YesNo::No)) = (lit, board.traits.led_in_sleep) {
        checker.error(
            entry,
            &root.key("always_on").index(index).key("class"),
            "trait-contradiction",
            "a power LED is among the always-on parts, but the trait says led_in_sleep = \"no\"",
            "remove the part, or correct the trait",
        );
    }
}

fn rework(
    checker: &mut Checker<'_>,
    entry: &Entry<Board>,
    place: &KeyPath,
    rework: &Rework,
    parts: &[&str],
) {
    if rework.changes.is_empty() {
        checker.error(
            entry,
            &place.key("changes"),
            "rework-without-change",
            format!("the rework \"{}\" changes nothing", rework.name),
            "write for example `changes = [{ remove = \"power LED\" }]`",
        );
    }
    for (index, change) in rework.changes.iter().enumerate() {
        let place = place.key("changes").index(index);
        let what = "always-on part of this board";
        match change {
            Change::Remove(part) => {
                checker.inner_reference(entry, &place.key("remove"), what, part, parts);
            }
            Change::SetCurrent(set) => {
                checker.inner_reference(
                    entry,
                    &place.key("set_current").key("part"),
                    what,
                    &set.part,
                    parts,
                );
            }
            Change::ReplaceRegulator(class) => {
                checker.reference(
                    entry,
                    &place.key("replace_regulator"),
                    DocumentKind::Regulator,
                    Some(class),
                );
            }
            Change::SetChargeCurrent(_) => {
                if entry.document.traits.charger == Seen::Known(YesNo::No) {
                    checker.error(
                        entry,
                        &place.key("set_charge_current"),
                        "trait-contradiction",
                        "the rework sets a charge current on a board without a charger",
                        "remove the change, or correct the trait `charger`",
                    );
                }
            }
            Change::SetBulk(_) => {}
        }
    }
}

fn traits(checker: &mut Checker<'_>, entry: &Entry<Board>, place: &KeyPath, traits: &Traits) {
    if traits.battery_pitch.is_some()
        && matches!(
            traits.battery_connector,
            Seen::Known(
                BatteryConnector::None
                    | BatteryConnector::SolderPads
                    | BatteryConnector::ScrewTerminal
            )
        )
    {
        checker.error(
            entry,
            &place.key("battery_pitch"),
            "trait-contradiction",
            format!("a pitch is given for a battery connector \"{}\"", traits.battery_connector),
            "remove `battery_pitch`, or correct `battery_connector`",
        );
    }
    if traits.usb_bridge == Seen::Known(YesNo::No) && !traits.usb_bridge_feed.is_unknown() {
        checker.error(
            entry,
            &place.key("usb_bridge_feed"),
            "trait-contradiction",
            "the feed of a USB-serial bridge is given, but the trait says usb_bridge = \"no\"",
            "remove `usb_bridge_feed`, or correct `usb_bridge`",
        );
    }
}

fn supply(checker: &mut Checker<'_>, entry: &Entry<Board>, place: &KeyPath, supply: &Supply) {
    let Some(regulator) = &supply.regulator else { return };
    let place = place.key("regulator");
    checker.reference(
        entry,
        &place.key("class"),
        DocumentKind::Regulator,
        regulator.class.as_deref(),
    );
    if regulator.class.is_none() && regulator.kind.is_none() {
        checker.warning(
            entry,
            &place,
            "regulator-without-kind",
            "the regulator has neither class nor kind: no forecast can be made from it",
            "write `class` (a name of regulators/) or `kind = \"linear\"`",
        );
    }
    figures(checker, entry, &place.key("figures"), &regulator.figures);
}

fn figures<T>(
    checker: &mut Checker<'_>,
    entry: &Entry<T>,
    place: &KeyPath,
    figures: &RegulatorFigures,
) {
    for (index, point) in figures.efficiency.iter().enumerate() {
        let efficiency = point.efficiency.fraction();
        if !(efficiency > 0.0 && efficiency <= 1.0) {
            checker.error(
                entry,
                &place.key("efficiency").index(index).key("efficiency"),
                "efficiency",
                "an efficiency lies above 0 % and at most at 100 %",
                "write output power over input power, such as \"92 %\"",
            );
        }
    }
    if let (Some(low), Some(high)) = (&figures.minimum_input, &figures.maximum_input)
        && low.si() >= high.si()
    {
        checker.error(
            entry,
            &place.key("minimum_input"),
            "order",
            "the lowest input voltage is not below the highest",
            "correct `minimum_input` or `maximum_input`",
        );
    }
    for (index, pair) in figures.dropout.windows(2).enumerate() {
        if pair[0].current.si() >= pair[1].current.si() {
            checker.error(
                entry,
                &place.key("dropout").index(index + 1).key("current"),
                "order",
                "the dropout points must stand in the order of rising load current",
                "sort them, each current once",
            );
        }
    }
}

pub(super) fn regulator(checker: &mut Checker<'_>, entry: &Entry<Regulator>) {
    figures(checker, entry, &KeyPath::parse("regulator.figures"), &entry.document.figures);
}

/// A charger ends at the voltage of some cell; one without says nothing that could identify it.
pub(super) fn charger_class(checker: &mut Checker<'_>, entry: &Entry<ChargerClass>) {
    if entry.document.figures.float_voltage.is_none() {
        checker.warning(
            entry,
            &KeyPath::parse("charger.name"),
            "charger-without-float-voltage",
            "the class does not say at which voltage it ends",
            "write figures.float_voltage, such as \"4.20 V ± 1 %\"",
        );
    }
}

pub(super) fn module(checker: &mut Checker<'_>, entry: &Entry<Module>) {
    let module = &entry.document;
    if let (Some(sleep), Some(peak)) = (&module.sleep_current, &module.radio_peak)
        && sleep.si() > peak.si()
    {
        checker.warning(
            entry,
            &KeyPath::parse("module.sleep_current"),
            "order",
            "the module draws more asleep than at the radio peak",
            "check the units of both",
        );
    }
}

/// Labels of specimens are unique in the whole folder.
pub(super) fn specimen_labels(checker: &mut Checker<'_>) {
    let folder = checker.folder;
    let mut seen: BTreeMap<&str, &str> = BTreeMap::new();
    for entry in folder.boards.iter().filter(|entry| entry.origin == Origin::Folder) {
        for (index, specimen) in entry.document.specimens.iter().enumerate() {
            let key = KeyPath::parse("board.specimens").index(index).key("id");
            if specimen.id.trim().is_empty() {
                checker.error(
                    entry,
                    &key,
                    "name",
                    "a specimen's label must not be empty",
                    "write a label such as \"BOWLINE-1\"",
                );
            }
            if let Some(first) = seen.insert(&specimen.id, &entry.path) {
                let diagnostic = Diagnostic::error(
                    "duplicate-name",
                    format!("there are two specimens labelled \"{}\"", specimen.id),
                )
                .help(format!(
                    "the first is in {first}; every board in the drawer needs a label of its own"
                ));
                checker.tell(entry, &key, diagnostic);
            }
        }
    }
}
