//! The embedded library: documents of exactly the same form as the person's, who may override each by its name.

/// One embedded file.
#[derive(Clone, Copy, Debug)]
pub struct LibraryFile {
    /// Its path, as it would be in a folder.
    pub path: &'static str,
    /// Its text.
    pub text: &'static str,
}

macro_rules! files {
    ($($path:literal),* $(,)?) => {
        &[$(LibraryFile { path: $path, text: include_str!(concat!("../library/", $path)) }),*]
    };
}

static FILES: &[LibraryFile] = files![
    "chargers/lithium-ion-4.10-linear.toml",
    "chargers/lithium-ion-4.20-linear.toml",
    "chargers/lithium-ion-4.35-linear.toml",
    "chargers/lithium-iron-phosphate-3.60-linear.toml",
    "chemistries/alkaline.toml",
    "chemistries/lfp-prada-2013.toml",
    "chemistries/lithium-ion-capacitor.toml",
    "chemistries/lithium-ion.toml",
    "chemistries/lithium-iron-phosphate.toml",
    "chemistries/lithium-manganese-dioxide-coin.toml",
    "chemistries/lithium-manganese-dioxide-cylinder.toml",
    "chemistries/lithium-thionyl-chloride.toml",
    "chemistries/nickel-metal-hydride.toml",
    "chemistries/nmc-chen-2020.toml",
    "chemistries/supercapacitor.toml",
    "meters/bench.toml",
    "meters/capacitor-droop.toml",
    "meters/hand-held.toml",
    "meters/shunt.toml",
    "parts/addressable-led.toml",
    "parts/charge-status-led.toml",
    "parts/charger-leakage.toml",
    "parts/clock-chip.toml",
    "parts/large-voltage-divider.toml",
    "parts/memory-card.toml",
    "parts/motion-sensor.toml",
    "parts/power-led.toml",
    "parts/pull-up-held-low.toml",
    "parts/reverse-diode-leakage.toml",
    "parts/sensor-board.toml",
    "parts/serial-flash.toml",
    "parts/usb-serial-bridge.toml",
    "parts/voltage-divider.toml",
    "regulators/buck-boost.toml",
    "regulators/burst-step-down.toml",
    "regulators/direct.toml",
    "regulators/forced-step-down.toml",
    "regulators/micropower-bipolar-linear.toml",
    "regulators/nano-power-linear.toml",
    "regulators/old-bipolar-linear.toml",
    "regulators/ordinary-linear.toml",
    "regulators/step-up.toml",
];

/// Every embedded file.
pub fn library() -> &'static [LibraryFile] {
    FILES
}

#[cfg(test)]
mod tests {
    use std::path::Path;

    use super::*;
    use crate::document::{Document, DocumentKind};
    use crate::folder::{Folder, Origin};

    #[test]
    fn every_file_of_the_library_is_embedded() {
        let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("library");
        let mut on_disk = Vec::new();
        for kind in DocumentKind::ALL {
            let Ok(entries) = std::fs::read_dir(root.join(kind.folder())) else { continue };
            for entry in entries {
                let name = entry.unwrap().file_name().into_string().unwrap();
                on_disk.push(format!("{}/{name}", kind.folder()));
            }
        }
        on_disk.sort();
        let mut embedded: Vec<String> = library().iter().map(|file| file.path.to_owned()).collect();
        embedded.sort();
        assert_eq!(embedded, on_disk);
    }

    #[test]
    fn the_library_is_sound_and_every_value_has_kind_and_source() {
        let files = library().iter().map(|file| (file.path, file.text));
        // Read as a folder of its own, so that every check runs on it.
        let (folder, diagnostics) = Folder::read(files);
        assert!(diagnostics.is_empty(), "{diagnostics:#?}");
        assert!(folder.chemistries.iter().all(|entry| entry.origin == Origin::Folder));
        for file in library() {
            let document = crate::parse_document(file.path, file.text).unwrap();
            let value = serde_json::to_value(&document).unwrap();
            let mut without = Vec::new();
            unsourced(&value, file.path, &mut without);
            assert!(without.is_empty(), "{without:?}");
            let (kind, source) = match &document {
                Document::Chemistry(document) => (document.kind, &document.source),
                Document::Regulator(document) => (document.kind, &document.source),
                Document::Charger(document) => (document.kind, &document.source),
                Document::Part(document) => (document.kind, &document.source),
                Document::Meter(document) => (document.kind, &document.source),
                other => panic!("{} is no class", other.name()),
            };
            assert!(kind.is_some() && source.is_some(), "{}", file.path);
        }
    }

    /// A figure without kind or source: a bare text that reads as a quantity, or a table that lacks one of the two.
    fn unsourced(value: &serde_json::Value, path: &str, found: &mut Vec<String>) {
        match value {
            serde_json::Value::Object(map) => {
                if map.contains_key("value")
                    && !(map.contains_key("kind") && map.contains_key("source"))
                {
                    found.push(path.to_owned());
                }
                for (key, inner) in map {
                    unsourced(inner, &format!("{path}.{key}"), found);
                }
            }
            serde_json::Value::Array(list) => {
                for (index, inner) in list.iter().enumerate() {
                    unsourced(inner, &format!("{path}[{index}]"), found);
                }
            }
            _ => {}
        }
    }
}
