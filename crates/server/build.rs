//! Takes the built front end into the library, or notes that it is missing: the tool builds without Node.

use std::path::{Path, PathBuf};

fn main() {
    let own = PathBuf::from(std::env::var_os("CARGO_MANIFEST_DIR").expect("cargo sets it"));
    let out = PathBuf::from(std::env::var_os("OUT_DIR").expect("cargo sets it"));
    // In the repository the front end is built into app/dist; the published crate carries it as assets/.
    let places = [own.join("../../app/dist"), own.join("assets")];
    for name in ["template.html", "engine.b64"] {
        let found = places.iter().map(|place| place.join(name)).find(|file| file.is_file());
        let text = found.map(|file| std::fs::read(file).expect("a built file can be read"));
        std::fs::write(out.join(name), text.unwrap_or_default()).expect("OUT_DIR can be written");
    }
    for place in &places {
        watch(place);
    }
}

/// Watches the nearest folder that exists: a path that does not would make every build run this again.
fn watch(place: &Path) {
    let Some(existing) = place.ancestors().find(|path| path.is_dir()) else { return };
    if existing == place {
        for name in ["template.html", "engine.b64"] {
            let file = place.join(name);
            if file.is_file() {
                println!("cargo::rerun-if-changed={}", file.display());
            }
        }
    }
    println!("cargo::rerun-if-changed={}", existing.display());
}
