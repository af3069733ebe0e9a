//! Sites and panels: twelve months, angles that exist, labels that agree with themselves.

use overwinter_quantity::Ratio;

use crate::check::Checker;
use crate::check::project::monthly;
use crate::folder::Entry;
use crate::locate::KeyPath;
use crate::types::sun::{Panel, Site};

/// Mean power of the sun above the atmosphere at normal incidence, W/m²; no horizontal daily mean can exceed it.
const SOLAR_CONSTANT_W_M2: f64 = 1367.0;

pub(super) fn site(checker: &mut Checker<'_>, entry: &Entry<Site>) {
    let root = KeyPath::root().key("site");
    let site = &entry.document;
    if site.latitude.degrees().abs() > 90.0 {
        let message = "a latitude lies between 90° S and 90° N";
        checker.error(
            entry,
            &root.key("latitude"),
            "angle",
            message,
            "write for example \"47.1° N\"",
        );
    }
    if site.longitude.as_ref().is_some_and(|longitude| longitude.degrees().abs() > 180.0) {
        let message = "a longitude lies between 180° W and 180° E";
        checker.error(
            entry,
            &root.key("longitude"),
            "angle",
            message,
            "write for example \"8.5° E\"",
        );
    }
    let months = [
        (Some(site.irradiation.len()).filter(|count| *count > 0), "irradiation"),
        (site.beam_share.as_ref().map(Vec::len), "beam_share"),
        (site.snow_days.as_ref().map(Vec::len), "snow_days"),
    ];
    for (count, key) in months {
        if let Some(count) = count.filter(|count| *count != 12) {
            let message = format!("{count} months stand here");
            checker.error(entry, &root.key(key), "months", message, "write twelve, January first");
        }
    }
    for (index, mean) in site.irradiation.iter().enumerate() {
        if mean.si() > SOLAR_CONSTANT_W_M2 / std::f64::consts::PI * 1.4 {
            let key = root.key("irradiation").index(index);
            let message = "this is more than the sun gives above the atmosphere on any day";
            checker.error(
                entry,
                &key,
                "irradiation",
                message,
                "check the unit: kWh/m² a day, not a month",
            );
        }
    }
    for (index, days) in site.snow_days.iter().flatten().enumerate() {
        if *days > 31 {
            let key = root.key("snow_days").index(index);
            checker.error(
                entry,
                &key,
                "months",
                "a month has at most 31 days",
                "write days a month",
            );
        }
    }
    for (index, point) in site.skyline.iter().enumerate() {
        let place = root.key("skyline").index(index);
        if !(0.0..=360.0).contains(&point.bearing.degrees()) {
            let message = "a bearing lies between 0° and 360°, clockwise from north";
            checker.error(
                entry,
                &place.key("bearing"),
                "angle",
                message,
                "write south as \"180°\"",
            );
        }
        if !(-90.0..=90.0).contains(&point.elevation.degrees()) {
            let message = "an elevation lies between -90° and 90°";
            checker.error(
                entry,
                &place.key("elevation"),
                "angle",
                message,
                "write the angle above the horizon",
            );
        }
    }
    if let Some(temperature) = &site.temperature {
        monthly(checker, entry, &root.key("temperature"), temperature);
    }
    share(checker, entry, &root.key("sky_view"), site.sky_view.as_ref());
    share(checker, entry, &root.key("ground_reflection"), site.ground_reflection.as_ref());
    share(checker, entry, &root.key("day_to_day"), site.day_to_day.as_ref());
    for (index, month) in site.beam_share.iter().flatten().enumerate() {
        share(checker, entry, &root.key("beam_share").index(index), Some(month));
    }
}

fn share<T>(checker: &mut Checker<'_>, entry: &Entry<T>, key: &KeyPath, share: Option<&Ratio>) {
    if share.is_some_and(|share| !(0.0..=1.0).contains(&share.fraction())) {
        checker.error(
            entry,
            key,
            "share",
            "this lies between 0 % and 100 %",
            "write for example \"60 %\"",
        );
    }
}

pub(super) fn panel(checker: &mut Checker<'_>, entry: &Entry<Panel>) {
    let root = KeyPath::root().key("panel");
    let panel = &entry.document;
    if let Some(open) = &panel.open_circuit_voltage
        && open.si() <= panel.maximum_power_voltage.si()
    {
        let message = "the open-circuit voltage is not above that at maximum power";
        checker.error(
            entry,
            &root.key("open_circuit_voltage"),
            "order",
            message,
            "check the panel's label",
        );
    }
    if let Some(short) = &panel.short_circuit_current
        && short.si() < panel.maximum_power_current.si()
    {
        let message = "the short-circuit current is below that at maximum power";
        checker.error(
            entry,
            &root.key("short_circuit_current"),
            "order",
            message,
            "check the panel's label",
        );
    }
    if panel.cells_in_series == Some(0) {
        let message = "there is at least one cell in series";
        checker.error(
            entry,
            &root.key("cells_in_series"),
            "zero",
            message,
            "count the cells, or leave it out",
        );
    }
    for (coefficient, key) in [
        (&panel.voltage_coefficient, "voltage_coefficient"),
        (&panel.power_coefficient, "power_coefficient"),
    ] {
        if coefficient.as_ref().is_some_and(|coefficient| coefficient.si() > 0.0) {
            let message = "this coefficient is negative on every panel";
            checker.warning(
                entry,
                &root.key(key),
                "sign",
                message,
                "write for example \"-0.35 %/K\"",
            );
        }
    }
}
