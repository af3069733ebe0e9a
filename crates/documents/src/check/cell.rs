//! Cells, chemistries and part classes: tables that must run one way, windows, shares.

use crate::check::Checker;
use crate::choice::YesNo;
use crate::document::DocumentKind;
use crate::folder::Entry;
use crate::locate::KeyPath;
use crate::types::cell::{Cell, CellFigures, Chemistry, OcvTable, TemperatureWindow};
use crate::types::parts::{Behaviour, Part};

pub(super) fn cell(checker: &mut Checker<'_>, entry: &Entry<Cell>) {
    let root = KeyPath::root().key("cell");
    let cell = &entry.document;
    checker.reference(
        entry,
        &root.key("chemistry"),
        DocumentKind::Chemistry,
        Some(&cell.chemistry),
    );
    if cell.capacity.si() == 0.0 {
        let help = "write for example \"2500 mAh\"";
        checker.error(
            entry,
            &root.key("capacity"),
            "zero",
            "a cell's capacity must be greater than zero",
            help,
        );
    }
    if cell.capacity.value.is_bound() {
        let help = "write a value, with its spread if it is known: \"2500 mAh ± 3 %\"";
        checker.error(
            entry,
            &root.key("capacity"),
            "bound",
            "a bound is no capacity to compute with",
            help,
        );
    }
    for (count, key) in [(cell.in_series, "in_series"), (cell.in_parallel, "in_parallel")] {
        if count == Some(0) {
            checker.error(
                entry,
                &root.key(key),
                "zero",
                "there is at least one cell",
                "write 1 or more, or leave it out",
            );
        }
    }
    if let Some(start) = &cell.start_charge
        && !(start.si() > 0.0 && start.si() <= 1.0)
    {
        let help = "write for example \"100 %\"";
        let message = "the state of charge at the start lies above 0 % and at most at 100 %";
        checker.error(entry, &root.key("start_charge"), "share", message, help);
    }
    figures(checker, entry, &root.key("figures"), &cell.figures);
}

pub(super) fn chemistry(checker: &mut Checker<'_>, entry: &Entry<Chemistry>) {
    let root = KeyPath::root().key("chemistry");
    let chemistry = &entry.document;
    figures(checker, entry, &root.key("figures"), &chemistry.figures);
    let charges = chemistry.figures.charge_current.is_some()
        || chemistry.figures.charge_rate.is_some()
        || chemistry.figures.charge_voltage.is_some();
    if chemistry.rechargeable == YesNo::No && charges {
        checker.error(
            entry,
            &root.key("rechargeable"),
            "primary-with-charge-limits",
            "a primary cell has no charge current, rate or voltage",
            "remove the charge figures, or write rechargeable = \"yes\" if it truly may be charged",
        );
    }
}

fn figures<T>(checker: &mut Checker<'_>, entry: &Entry<T>, place: &KeyPath, figures: &CellFigures) {
    if let Some(table) = &figures.ocv {
        ocv(checker, entry, &place.key("ocv"), table);
    }
    for (window, key) in [
        (&figures.charge_temperature, "charge_temperature"),
        (&figures.discharge_temperature, "discharge_temperature"),
    ] {
        if let Some(window) = window {
            self::window(checker, entry, &place.key(key), window);
        }
    }
    for (index, pair) in figures.capacity_at.windows(2).enumerate() {
        if pair[0].temperature.si() >= pair[1].temperature.si() {
            let key = place.key("capacity_at").index(index + 1).key("temperature");
            let message = "the capacities must stand in the order of rising temperature";
            checker.error(entry, &key, "order", message, "sort them, each temperature once");
        }
    }
    for (index, point) in figures.capacity_at.iter().enumerate() {
        if !(point.share.si() > 0.0 && point.share.si() <= 1.5) {
            let key = place.key("capacity_at").index(index).key("share");
            let message = "a share of the capacity lies above 0 % and at most at 150 %";
            checker.error(
                entry,
                &key,
                "share",
                message,
                "write it as a share of the capacity at 25 °C",
            );
        }
    }
    if let Some(wells) = &figures.two_well
        && !(wells.available_share.si() > 0.0 && wells.available_share.si() <= 1.0)
    {
        let key = place.key("two_well").key("available_share");
        let message = "the share of the available well lies above 0 % and at most at 100 %";
        checker.error(
            entry,
            &key,
            "share",
            message,
            "write for example \"60 %\"; 100 % means one well",
        );
    }
    if let (Some(cut), Some(charge)) = (&figures.cut_off, &figures.charge_voltage)
        && cut.si() >= charge.si()
    {
        let message = "the cut-off voltage is not below the charge voltage";
        checker.error(entry, &place.key("cut_off"), "order", message, "correct one of the two");
    }
}

fn ocv<T>(checker: &mut Checker<'_>, entry: &Entry<T>, place: &KeyPath, table: &OcvTable) {
    let (charges, voltages) = (&table.charge, &table.voltage);
    if charges.len() != voltages.len() || charges.len() < 2 {
        checker.error(
            entry,
            &place.key("charge"),
            "ocv-table",
            format!(
                "{} states of charge and {} voltages stand here",
                charges.len(),
                voltages.len()
            ),
            "write as many voltages as states of charge, two or more",
        );
        return;
    }
    for (index, pair) in charges.windows(2).enumerate() {
        if pair[0].si() >= pair[1].si() {
            let key = place.key("charge").index(index + 1);
            checker.error(
                entry,
                &key,
                "ocv-table",
                "the states of charge must rise",
                "sort them, each once",
            );
        }
    }
    for (index, pair) in voltages.windows(2).enumerate() {
        if pair[0].si() > pair[1].si() {
            let key = place.key("voltage").index(index + 1);
            checker.error(
                entry,
                &key,
                "ocv-table",
                "the voltage falls while the state of charge rises",
                "check the two lists",
            );
        }
    }
    let ends = [(0, 0.0), (charges.len() - 1, 1.0)];
    for (index, wanted) in ends {
        if (charges[index].si() - wanted).abs() > 1e-9 {
            let key = place.key("charge").index(index);
            checker.error(
                entry,
                &key,
                "ocv-table",
                "the table must run from 0 to 1",
                "add the missing end, or scale the states of charge",
            );
        }
    }
}

fn window<T>(
    checker: &mut Checker<'_>,
    entry: &Entry<T>,
    place: &KeyPath,
    window: &TemperatureWindow,
) {
    if window.from.si() >= window.to.si() {
        let message = "the window's lowest temperature is not below its highest";
        checker.error(entry, &place.key("from"), "order", message, "correct `from` or `to`");
    }
}

pub(super) fn part(checker: &mut Checker<'_>, entry: &Entry<Part>) {
    let root = KeyPath::root().key("part");
    let part = &entry.document;
    let missing = match part.behaviour {
        Behaviour::Constant => part.current.is_none().then_some("`current`"),
        Behaviour::Ohmic => (part.current.is_none() && part.resistance.is_none())
            .then_some("`resistance` or `current`"),
        Behaviour::Led => (part.current.is_none()
            && (part.resistance.is_none() || part.forward.is_none()))
        .then_some("`current`, or `forward` and `resistance`"),
    };
    if let Some(missing) = missing {
        checker.warning(
            entry,
            &root.key("behaviour"),
            "part-without-figure",
            format!("the part is {} but its draw is unknown", part.behaviour),
            format!("write {missing}"),
        );
    }
}
