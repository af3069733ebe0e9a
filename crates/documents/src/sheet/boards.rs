//! The table of boards, one row a specimen (or a model of which there is none yet), every cell with its place.

use crate::choice::{Choice, YesNo};
use crate::folder::{Entry, Folder, Origin};
use crate::locate::KeyPath;
use crate::seen::Seen;
use crate::sheet::{Address, Column, Content, Form, Sheet, SheetCell};
use crate::types::board::{BatteryConnector, Board, Specimen, Traits};

/// One trait as a column: its header, unit, key, form and what it shows.
struct TraitColumn {
    name: &'static str,
    unit: Option<&'static str>,
    key: &'static str,
    form: Form,
    show: fn(&Traits) -> Content,
    /// Whether it can be so at all, given the other traits.
    applies: fn(&Traits) -> bool,
}

fn word<T: Choice>(seen: Seen<T>) -> Content {
    if seen.is_unknown() { Content::Unknown } else { Content::Text(seen.to_string()) }
}

fn text(text: Option<&String>) -> Content {
    text.map_or(Content::Unknown, |text| Content::Text(text.clone()))
}

fn number(number: Option<f64>) -> Content {
    number.map_or(Content::Unknown, Content::Number)
}

const fn always(_: &Traits) -> bool {
    true
}

fn has_charger(traits: &Traits) -> bool {
    traits.charger != Seen::Known(YesNo::No)
}

fn has_bridge(traits: &Traits) -> bool {
    traits.usb_bridge != Seen::Known(YesNo::No)
}

fn has_plug(traits: &Traits) -> bool {
    !matches!(
        traits.battery_connector,
        Seen::Known(
            BatteryConnector::None | BatteryConnector::SolderPads | BatteryConnector::ScrewTerminal
        )
    )
}

macro_rules! words {
    ($name:literal, $field:ident, $applies:path) => {
        TraitColumn {
            name: $name,
            unit: None,
            key: stringify!($field),
            form: Form::Text,
            show: |traits| word(traits.$field),
            applies: $applies,
        }
    };
}

macro_rules! texts {
    ($name:literal, $field:ident, $applies:path) => {
        TraitColumn {
            name: $name,
            unit: None,
            key: stringify!($field),
            form: Form::Text,
            show: |traits| text(traits.$field.as_ref()),
            applies: $applies,
        }
    };
}

macro_rules! millimetres {
    ($name:literal, $field:ident, $applies:path) => {
        TraitColumn {
            name: $name,
            unit: Some("mm"),
            key: stringify!($field),
            form: Form::Quantity,
            show: |traits| number(traits.$field.as_ref().map(|length| length.millimetres())),
            applies: $applies,
        }
    };
}

static TRAITS: &[TraitColumn] = &[
    words!("radio part", radio_part, always),
    words!("certification mark", certification_mark, always),
    TraitColumn {
        name: "pins",
        unit: None,
        key: "pins",
        form: Form::Whole,
        show: |traits| number(traits.pins.map(f64::from)),
        applies: always,
    },
    words!("external antenna", external_antenna, always),
    millimetres!("row spacing", row_spacing, always),
    words!("label side", label_side, always),
    TraitColumn {
        name: "buttons",
        unit: None,
        key: "buttons",
        form: Form::List,
        show: |traits| match &traits.buttons {
            None => Content::Unknown,
            Some(buttons) if buttons.is_empty() => Content::Text("none".to_owned()),
            Some(buttons) => Content::Text(buttons.join(" | ")),
        },
        applies: always,
    },
    words!("battery switch", battery_switch, always),
    words!("battery connector", battery_connector, always),
    millimetres!("battery pitch", battery_pitch, has_plug),
    words!("+ side", positive_side, has_plug),
    words!("USB-serial bridge", usb_bridge, always),
    words!("bridge fed from", usb_bridge_feed, has_bridge),
    words!("charger", charger, always),
    texts!("charger marking", charger_marking, has_charger),
    texts!("regulator marking", regulator_marking, always),
    words!("deep-discharge protection", deep_discharge_protection, always),
    words!("resets on source removed", resets_on_source_removed, always),
    words!("resets on source attached", resets_on_source_attached, always),
    words!("LED in sleep", led_in_sleep, always),
    millimetres!("length", length, always),
    millimetres!("width", width, always),
];

/// The table of boards as the documents tell it; add computed columns with [`Sheet::push_computed`]. The first column is
/// the specimen's label, or the model's name where there is no specimen.
pub fn boards_sheet(folder: &Folder) -> Sheet {
    let mut columns = vec![
        Column::plain("specimen"),
        Column::plain("board"),
        Column::plain("revision"),
        Column::plain("price"),
    ];
    columns.extend(TRAITS.iter().map(|column| Column {
        name: column.name.to_owned(),
        unit: column.unit.map(str::to_owned),
    }));
    columns.push(Column::plain("free breadboard holes"));
    let mut rows = Vec::new();
    for entry in folder.boards.iter().filter(|entry| entry.origin == Origin::Folder) {
        if entry.document.specimens.is_empty() {
            rows.push(row(entry, None));
        }
        for (index, specimen) in entry.document.specimens.iter().enumerate() {
            rows.push(row(entry, Some((index, specimen))));
        }
    }
    Sheet { columns, rows }
}

fn row(entry: &Entry<Board>, specimen: Option<(usize, &Specimen)>) -> Vec<SheetCell> {
    let board = &entry.document;
    let traits =
        specimen.map_or_else(|| board.traits.clone(), |(_, specimen)| board.traits_of(specimen));
    let label = specimen.map_or(&board.name, |(_, specimen)| &specimen.id);
    let revision = specimen.and_then(|(_, specimen)| specimen.revision.as_ref());
    let root = KeyPath::root().key("board");
    let price = Address {
        file: entry.path.clone(),
        key: root.key("price"),
        form: Form::Text,
        removable: true,
    };
    let mut cells = vec![
        SheetCell::computed(Content::Text(label.clone())),
        SheetCell::computed(Content::Text(board.name.clone())),
        SheetCell::computed(text(revision)),
        SheetCell {
            content: board
                .price
                .as_ref()
                .map_or(Content::Unknown, |price| Content::Text(price.to_string())),
            address: Some(price),
        },
    ];
    for column in TRAITS {
        if !(column.applies)(&traits) {
            cells.push(SheetCell::computed(Content::Empty));
            continue;
        }
        let content = (column.show)(&traits);
        cells.push(SheetCell { content, address: Some(address(entry, specimen, column)) });
    }
    cells.push(SheetCell::computed(number(traits.free_breadboard_holes().map(f64::from))));
    cells
}

/// Where an edit of a trait goes: to the layer that tells it where the board has one specimen, to the specimen where it
/// has several, so that the row of one does not change the others. The + side belongs to the specimen always.
fn address(
    entry: &Entry<Board>,
    specimen: Option<(usize, &Specimen)>,
    column: &TraitColumn,
) -> Address {
    let board = &entry.document;
    let root = KeyPath::root().key("board");
    let told = |traits: &Traits| (column.show)(traits) != Content::Unknown;
    let of = |layer: KeyPath, removable: bool| Address {
        file: entry.path.clone(),
        key: layer.key("traits").key(column.key),
        form: column.form,
        removable,
    };
    let model = told(&board.traits);
    let Some((index, specimen)) = specimen else { return of(root, true) };
    let own = root.key("specimens").index(index);
    let revision = board.revision_of(specimen).filter(|revision| told(&revision.traits));
    let below = model || revision.is_some();
    if told(&specimen.traits) || board.specimens.len() > 1 || column.key == "positive_side" {
        return of(own, !below);
    }
    match revision {
        Some(revision) => {
            let place =
                board.revisions.iter().position(|other| other.name == revision.name).unwrap_or(0);
            of(root.key("revisions").index(place), !model)
        }
        None => of(root, true),
    }
}
