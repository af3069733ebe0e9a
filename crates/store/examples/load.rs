//! Measures reading a folder: `cargo run --release -p overwinter-store --example load [FOLDER]`.
//!
//! Without a folder it makes one of 5 000 boards in the system's temporary folder.

use std::path::{Path, PathBuf};
use std::time::Instant;

use overwinter_documents::sheet::{Dialect, boards_sheet, write_csv};
use overwinter_store::{read_folder, write_file};

/// A folder of 5 000 boards.
fn make(root: &Path) -> Result<(), Box<dyn std::error::Error>> {
    for index in 0..5000 {
        let text = format!(
            "[board]\nname = \"B{index}\"\nkind = \"invented for the demo\"\nprice = \"7.90 EUR\"\n[board.traits]\nradio_part = \"bare chip\"\npins = {pins}\n\
             row_spacing = \"22.86 mm\"\nusb_bridge = \"no\"\ncharger = \"yes\"\nlength = \"51 mm\"\nwidth = \"25.5 mm\"\n[board.supply]\n\
             series_resistance = \"0.05 Ω\"\n[board.supply.regulator]\nclass = \"nano-power linear\"\n[board.charger]\ncurrent = \"100 mA ± 10 %\"\n\
             [[board.always_on]]\nname = \"LED\"\nclass = \"power LED\"\ncurrent = \"933 µA\"\n[[board.specimens]]\nid = \"B{index}-1\"\nbought = 2026-02-20\n",
            pins = 20 + index % 20
        );
        let path = root.join("boards");
        std::fs::create_dir_all(&path)?;
        std::fs::write(path.join(format!("b{index}.toml")), text)?;
    }
    write_file(
        root,
        "cells/c.toml",
        "[cell]\nname = \"c\"\nchemistry = \"lithium-ion\"\ncapacity = \"2500 mAh\"\n",
    )?;
    Ok(())
}

#[expect(clippy::print_stdout, reason = "an example tells its figures")]
fn main() -> Result<(), Box<dyn std::error::Error>> {
    let made = tempfile::tempdir()?;
    let given = std::env::args_os().nth(1);
    let root = given.map_or_else(|| made.path().to_owned(), PathBuf::from);
    if root == made.path() {
        make(&root)?;
    }
    for _ in 0..5 {
        let start = Instant::now();
        let (folder, diagnostics) = read_folder(&root)?;
        let read_ms = start.elapsed().as_secs_f64() * 1e3;
        let table = write_csv(&boards_sheet(&folder), Dialect::PLAIN);
        let all_ms = start.elapsed().as_secs_f64() * 1e3;
        println!(
            "boards={} diagnostics={} read_ms={read_ms:.2} with_table_ms={all_ms:.2} table_bytes={}",
            folder.boards.len(),
            diagnostics.len(),
            table.len()
        );
    }
    Ok(())
}
