//! Projects: references, activities that fit their intervals, needs that can be decided.

use crate::check::Checker;
use crate::choice::Choice;
use crate::document::DocumentKind;
use crate::folder::Entry;
use crate::locate::KeyPath;
use crate::seen::Seen;
use crate::types::board::Traits;
use crate::types::project::{Activity, Climate, MonthlyTemperature, Project};
use crate::types::sun::Mounting;

pub(super) fn project(checker: &mut Checker<'_>, entry: &Entry<Project>) {
    let root = KeyPath::root().key("project");
    let project = &entry.document;
    checker.reference(entry, &root.key("cell"), DocumentKind::Cell, Some(&project.cell));
    for (index, cell) in project.other_cells.iter().enumerate() {
        let key = root.key("other_cells").index(index);
        checker.reference(entry, &key, DocumentKind::Cell, Some(cell));
    }
    for (index, board) in project.boards.iter().flatten().enumerate() {
        let key = root.key("boards").index(index);
        checker.reference(entry, &key, DocumentKind::Board, Some(board));
    }
    checker.reference(entry, &root.key("site"), DocumentKind::Site, project.site.as_deref());
    checker.reference(entry, &root.key("panel"), DocumentKind::Panel, project.panel.as_deref());
    if project.start.is_some() && project.start_month.is_some() {
        let help = "keep `start`; `start_month` is for a start whose day is not known";
        checker.error(
            entry,
            &root.key("start_month"),
            "start-twice",
            "the start is given twice",
            help,
        );
    }
    if let Some(prior) = &project.prior {
        let key = root.key("prior");
        let spread = prior.specimen_spread.si();
        if !(spread > 0.0 && spread <= 2.0) {
            checker.error(
                entry,
                &key.key("specimen_spread"),
                "prior",
                "a prior spread lies above nothing and at most at 200 %",
                "10 % to 30 % is common practice for sleep currents; the program takes 20 % without one",
            );
        }
        if prior.reason.trim().is_empty() {
            checker.warning(
                entry,
                &key.key("reason"),
                "prior",
                "a prior without a reason convinces nobody",
                "write why: how many boards of which kind you have compared",
            );
        }
    }
    if let Some(Climate::Monthly(monthly)) = &project.temperature {
        self::monthly(checker, entry, &root.key("temperature").key("monthly"), monthly);
    }
    if project.activities.is_empty() {
        let help = "write [[project.activities]] with name, every, charge and duration; a node that only sleeps needs none of this program";
        checker.warning(
            entry,
            &root.key("activities"),
            "no-activity",
            "the project does nothing but sleep",
            help,
        );
    }
    let names: Vec<&str> =
        project.activities.iter().map(|activity| activity.name.as_str()).collect();
    checker.unique(entry, &root.key("activities"), "name", "activities", &names);
    for (index, activity) in project.activities.iter().enumerate() {
        self::activity(checker, entry, &root.key("activities").index(index), activity);
    }
    for (value, key) in [
        (&project.target_life, "target_life"),
        (&project.smallest_difference, "smallest_difference"),
        (&project.visit_every, "visit_every"),
    ] {
        if value.as_ref().is_some_and(|value| value.si() == 0.0) {
            let help = "write for example \"9 months\", or leave it out";
            checker.error(
                entry,
                &root.key(key),
                "zero",
                "a duration of zero says nothing here",
                help,
            );
        }
    }
    if let Some(life) = &project.needs.life {
        let probability = life.probability.fraction();
        if !(probability > 0.0 && probability < 1.0) {
            let key = root.key("needs").key("life").key("probability");
            let message = "the probability lies above 0 % and below 100 %: nothing is certain";
            checker.error(entry, &key, "share", message, "write for example \"90 %\"");
        }
    }
    if let Some(outage) = &project.needs.outage
        && !(outage.years_at_most.fraction() > 0.0 && outage.years_at_most.fraction() < 1.0)
    {
        let key = root.key("needs").key("outage").key("years_at_most");
        let message = "the share of years lies above 0 % and below 100 %: never is no answer of a finite number of years";
        checker.error(entry, &key, "share", message, "write for example \"5 %\"");
    }
    if let Some(mounting) = &project.mounting {
        self::mounting(checker, entry, &root.key("mounting"), mounting);
    }
    needed_traits(checker, entry, &root.key("needs").key("traits"), &project.needs.traits);
    for (index, wish) in project.wishes.iter().enumerate() {
        if project.wishes[..index].contains(wish) {
            let key = root.key("wishes").index(index);
            checker.error(
                entry,
                &key,
                "duplicate-name",
                "this wish stands twice",
                "keep one of the two",
            );
        }
    }
}

/// Angles that exist, shares of a whole, twelve months.
fn mounting(
    checker: &mut Checker<'_>,
    entry: &Entry<Project>,
    place: &KeyPath,
    mounting: &Mounting,
) {
    if !(0.0..=180.0).contains(&mounting.tilt.degrees()) {
        let message = "a tilt lies between 0° (flat) and 180° (face down); 90° is upright";
        checker.error(entry, &place.key("tilt"), "angle", message, "write for example \"60°\"");
    }
    if mounting.azimuth.as_ref().is_some_and(|a| !(0.0..=360.0).contains(&a.degrees())) {
        let message = "a bearing lies between 0° and 360°, clockwise from north";
        checker.error(entry, &place.key("azimuth"), "angle", message, "write south as \"180°\"");
    }
    let shares = mounting.soiling.iter().map(|share| (place.key("soiling"), share));
    let shades = mounting.one_cell_shade.iter().flatten().enumerate();
    let shades = shades.map(|(month, share)| (place.key("one_cell_shade").index(month), share));
    for (key, share) in shares.chain(shades) {
        if !(0.0..=1.0).contains(&share.fraction()) {
            let message = "this lies between 0 % and 100 %";
            checker.error(entry, &key, "share", message, "write for example \"92 %\"");
        }
    }
    if mounting.one_cell_shade.as_ref().is_some_and(|months| months.len() != 12) {
        let count = mounting.one_cell_shade.as_ref().map_or(0, Vec::len);
        checker.error(
            entry,
            &place.key("one_cell_shade"),
            "months",
            format!("{count} months stand here"),
            "write twelve, January first",
        );
    }
}

/// A need cannot be inferred: it is the person's own word.
fn needed_traits(
    checker: &mut Checker<'_>,
    entry: &Entry<Project>,
    place: &KeyPath,
    traits: &Traits,
) {
    fn inferred<T: Choice>(seen: Seen<T>) -> bool {
        matches!(seen, Seen::Inferred { .. })
    }
    let found = [
        (inferred(traits.radio_part), "radio_part"),
        (inferred(traits.certification_mark), "certification_mark"),
        (inferred(traits.external_antenna), "external_antenna"),
        (inferred(traits.label_side), "label_side"),
        (inferred(traits.battery_switch), "battery_switch"),
        (inferred(traits.battery_connector), "battery_connector"),
        (inferred(traits.positive_side), "positive_side"),
        (inferred(traits.usb_bridge), "usb_bridge"),
        (inferred(traits.usb_bridge_feed), "usb_bridge_feed"),
        (inferred(traits.charger), "charger"),
        (inferred(traits.deep_discharge_protection), "deep_discharge_protection"),
        (inferred(traits.resets_on_source_removed), "resets_on_source_removed"),
        (inferred(traits.resets_on_source_attached), "resets_on_source_attached"),
        (inferred(traits.led_in_sleep), "led_in_sleep"),
    ];
    for (is_inferred, key) in found {
        if is_inferred {
            let message = "a need cannot be inferred";
            checker.error(
                entry,
                &place.key(key),
                "inferred-need",
                message,
                "write the value that is needed, such as \"yes\"",
            );
        }
    }
}

fn activity(
    checker: &mut Checker<'_>,
    entry: &Entry<Project>,
    place: &KeyPath,
    activity: &Activity,
) {
    if activity.every.si() <= 0.0 {
        let help = "write for example \"15 min\"";
        checker.error(
            entry,
            &place.key("every"),
            "zero",
            "the interval must be greater than zero",
            help,
        );
        return;
    }
    let by_charge = activity.charge.is_some() || activity.duration.is_some();
    let by_segments = !activity.segments.is_empty();
    if by_charge == by_segments
        || (by_charge && (activity.charge.is_none() || activity.duration.is_none()))
    {
        checker.error(
            entry,
            &place.key("name"),
            "activity-load",
            format!("the load of \"{}\" must be told in one of two ways", activity.name),
            "write `charge` and `duration`, or `segments`, not both",
        );
        return;
    }
    let segments: f64 = activity.segments.iter().map(|segment| segment.duration.si()).sum();
    let duration_s = activity.duration.as_ref().map_or(segments, crate::figure::Figure::si);
    if duration_s > activity.every.si() {
        checker.error(
            entry,
            &place.key("every"),
            "activity-too-long",
            format!("\"{}\" takes longer than its interval", activity.name),
            "lengthen `every`, or shorten the activity",
        );
    }
    if let Some(retries) = &activity.retries
        && retries.si() < 1.0
    {
        let help = "write 1 or more, such as 3 for three times the charge; leave it out for none";
        checker.error(
            entry,
            &place.key("retries"),
            "share",
            "retries cannot make a wake cheaper",
            help,
        );
    }
    for (index, segment) in activity.segments.iter().enumerate() {
        if let Some(peak) = &segment.peak
            && peak.current.si() < segment.current.si()
        {
            let key = place.key("segments").index(index).key("peak").key("current");
            let help = "write the highest current of the segment";
            checker.error(
                entry,
                &key,
                "order",
                "the peak is below the segment's own current",
                help,
            );
        }
    }
}

/// Twelve means, January first.
pub(super) fn monthly<T>(
    checker: &mut Checker<'_>,
    entry: &Entry<T>,
    place: &KeyPath,
    monthly: &MonthlyTemperature,
) {
    if monthly.mean.len() != 12 {
        checker.error(
            entry,
            &place.key("mean"),
            "months",
            format!("{} monthly temperatures stand here", monthly.mean.len()),
            "write twelve, January first",
        );
    }
    if monthly.daily_swing.as_ref().is_some_and(|swing| swing.si() < 0.0) {
        let message = "the daily swing cannot be negative";
        checker.error(
            entry,
            &place.key("daily_swing"),
            "negative",
            message,
            "write highest minus lowest of a day",
        );
    }
    if let Some(with) = &monthly.clearness_correlation {
        for (key, value) in [("winter", &with.winter), ("summer", &with.summer)] {
            if !(-1.0..=1.0).contains(&value.si()) {
                checker.error(
                    entry,
                    &place.key("clearness_correlation").key(key),
                    "correlation",
                    "a correlation lies between −1 and 1",
                    "write for example { winter = -0.3, summer = 0.4 }",
                );
            }
        }
    }
}
