//! The demo bench folder: invented boards, sessions and projects, embedded so that a first look needs no parcel.

/// The files of the demo folder: path relative to its root with `/`, and text. In the order of paths.
pub const FILES: &[(&str, &str)] = &[
    ("README.md", include_str!("../demo/README.md")),
    ("boards/bowline.toml", include_str!("../demo/boards/bowline.toml")),
    ("boards/carrick.toml", include_str!("../demo/boards/carrick.toml")),
    ("boards/granny.toml", include_str!("../demo/boards/granny.toml")),
    ("boards/marlin.toml", include_str!("../demo/boards/marlin.toml")),
    ("boards/monkeyfist.toml", include_str!("../demo/boards/monkeyfist.toml")),
    ("boards/reef.toml", include_str!("../demo/boards/reef.toml")),
    ("boards/sheepshank.toml", include_str!("../demo/boards/sheepshank.toml")),
    ("boards/sheetbend.toml", include_str!("../demo/boards/sheetbend.toml")),
    ("boards/slipknot.toml", include_str!("../demo/boards/slipknot.toml")),
    ("boards/strand.toml", include_str!("../demo/boards/strand.toml")),
    ("boards/turkshead.toml", include_str!("../demo/boards/turkshead.toml")),
    ("cells/alkaline-aa-3.toml", include_str!("../demo/cells/alkaline-aa-3.toml")),
    ("cells/coin-220.toml", include_str!("../demo/cells/coin-220.toml")),
    ("cells/pouch-2500.toml", include_str!("../demo/cells/pouch-2500.toml")),
    ("cells/pouch-400.toml", include_str!("../demo/cells/pouch-400.toml")),
    ("cells/thionyl-aa.toml", include_str!("../demo/cells/thionyl-aa.toml")),
    (
        "claims/other-bench-on-bowline.toml",
        include_str!("../demo/claims/other-bench-on-bowline.toml"),
    ),
    ("claims/reader-on-reef.toml", include_str!("../demo/claims/reader-on-reef.toml")),
    ("instruments/bench-meter.toml", include_str!("../demo/instruments/bench-meter.toml")),
    ("instruments/current-logger.toml", include_str!("../demo/instruments/current-logger.toml")),
    ("instruments/hand-held-meter.toml", include_str!("../demo/instruments/hand-held-meter.toml")),
    ("modules/bare-chip.toml", include_str!("../demo/modules/bare-chip.toml")),
    ("modules/sanded.toml", include_str!("../demo/modules/sanded.toml")),
    ("modules/strand.toml", include_str!("../demo/modules/strand.toml")),
    ("panels/panel-0.3-w.toml", include_str!("../demo/panels/panel-0.3-w.toml")),
    ("panels/panel-1-w.toml", include_str!("../demo/panels/panel-1-w.toml")),
    ("projects/beacon.toml", include_str!("../demo/projects/beacon.toml")),
    ("projects/footbridges.toml", include_str!("../demo/projects/footbridges.toml")),
    ("projects/ford-gauge.toml", include_str!("../demo/projects/ford-gauge.toml")),
    ("projects/weather-mast.toml", include_str!("../demo/projects/weather-mast.toml")),
    (
        "recordings/bowline-1-build-1.4.toml",
        include_str!("../demo/recordings/bowline-1-build-1.4.toml"),
    ),
    (
        "recordings/bowline-1-build-1.5.toml",
        include_str!("../demo/recordings/bowline-1-build-1.5.toml"),
    ),
    (
        "recordings/slipknot-1-usb-removed.toml",
        include_str!("../demo/recordings/slipknot-1-usb-removed.toml"),
    ),
    (
        "sessions/2026-04-11-bowline-1-first-power.toml",
        include_str!("../demo/sessions/2026-04-11-bowline-1-first-power.toml"),
    ),
    (
        "sessions/2026-04-11-bowline-1-sleep-range-too-high.toml",
        include_str!("../demo/sessions/2026-04-11-bowline-1-sleep-range-too-high.toml"),
    ),
    (
        "sessions/2026-04-11-bowline-1-warm.toml",
        include_str!("../demo/sessions/2026-04-11-bowline-1-warm.toml"),
    ),
    (
        "sessions/2026-04-11-sheetbend-1-first-power.toml",
        include_str!("../demo/sessions/2026-04-11-sheetbend-1-first-power.toml"),
    ),
    (
        "sessions/2026-04-11-strand-1-sleep.toml",
        include_str!("../demo/sessions/2026-04-11-strand-1-sleep.toml"),
    ),
    (
        "sessions/2026-04-11-strand-bare.toml",
        include_str!("../demo/sessions/2026-04-11-strand-bare.toml"),
    ),
    (
        "sessions/2026-04-12-bowline-1-sleep.toml",
        include_str!("../demo/sessions/2026-04-12-bowline-1-sleep.toml"),
    ),
    (
        "sessions/2026-04-13-sheetbend-1-sleep.toml",
        include_str!("../demo/sessions/2026-04-13-sheetbend-1-sleep.toml"),
    ),
    (
        "sessions/2026-04-18-bowline-1-limits.toml",
        include_str!("../demo/sessions/2026-04-18-bowline-1-limits.toml"),
    ),
    (
        "sessions/2026-04-18-granny-1-post-mortem.toml",
        include_str!("../demo/sessions/2026-04-18-granny-1-post-mortem.toml"),
    ),
    (
        "sessions/2026-04-18-sheepshank-1-first-power.toml",
        include_str!("../demo/sessions/2026-04-18-sheepshank-1-first-power.toml"),
    ),
    (
        "sessions/2026-04-18-slipknot-1-first-power.toml",
        include_str!("../demo/sessions/2026-04-18-slipknot-1-first-power.toml"),
    ),
    (
        "sessions/2026-04-19-sheetbend-1-limits.toml",
        include_str!("../demo/sessions/2026-04-19-sheetbend-1-limits.toml"),
    ),
    (
        "sessions/2026-04-19-slipknot-1-sleep.toml",
        include_str!("../demo/sessions/2026-04-19-slipknot-1-sleep.toml"),
    ),
    (
        "sessions/2026-04-20-sheepshank-1-sleep.toml",
        include_str!("../demo/sessions/2026-04-20-sheepshank-1-sleep.toml"),
    ),
    (
        "sessions/2026-04-25-carrick-1-first-power.toml",
        include_str!("../demo/sessions/2026-04-25-carrick-1-first-power.toml"),
    ),
    (
        "sessions/2026-04-25-slipknot-1-limits.toml",
        include_str!("../demo/sessions/2026-04-25-slipknot-1-limits.toml"),
    ),
    (
        "sessions/2026-04-26-carrick-1-sleep.toml",
        include_str!("../demo/sessions/2026-04-26-carrick-1-sleep.toml"),
    ),
    (
        "sessions/2026-04-26-sheepshank-1-limits.toml",
        include_str!("../demo/sessions/2026-04-26-sheepshank-1-limits.toml"),
    ),
    (
        "sessions/2026-05-02-carrick-1-limits.toml",
        include_str!("../demo/sessions/2026-05-02-carrick-1-limits.toml"),
    ),
    (
        "sessions/2026-05-02-reef-1-first-power.toml",
        include_str!("../demo/sessions/2026-05-02-reef-1-first-power.toml"),
    ),
    (
        "sessions/2026-05-02-turkshead-1-first-power.toml",
        include_str!("../demo/sessions/2026-05-02-turkshead-1-first-power.toml"),
    ),
    (
        "sessions/2026-05-03-reef-1-sleep.toml",
        include_str!("../demo/sessions/2026-05-03-reef-1-sleep.toml"),
    ),
    (
        "sessions/2026-05-03-turkshead-1-sleep.toml",
        include_str!("../demo/sessions/2026-05-03-turkshead-1-sleep.toml"),
    ),
    (
        "sessions/2026-05-09-marlin-1-first-power.toml",
        include_str!("../demo/sessions/2026-05-09-marlin-1-first-power.toml"),
    ),
    (
        "sessions/2026-05-09-monkeyfist-1-first-power.toml",
        include_str!("../demo/sessions/2026-05-09-monkeyfist-1-first-power.toml"),
    ),
    (
        "sessions/2026-05-09-turkshead-1-limits.toml",
        include_str!("../demo/sessions/2026-05-09-turkshead-1-limits.toml"),
    ),
    (
        "sessions/2026-05-10-marlin-1-sleep.toml",
        include_str!("../demo/sessions/2026-05-10-marlin-1-sleep.toml"),
    ),
    (
        "sessions/2026-05-10-monkeyfist-1-sleep.toml",
        include_str!("../demo/sessions/2026-05-10-monkeyfist-1-sleep.toml"),
    ),
    (
        "sessions/2026-05-10-reef-1-limits.toml",
        include_str!("../demo/sessions/2026-05-10-reef-1-limits.toml"),
    ),
    (
        "sessions/2026-05-16-bowline-2-first-power.toml",
        include_str!("../demo/sessions/2026-05-16-bowline-2-first-power.toml"),
    ),
    (
        "sessions/2026-05-16-marlin-1-limits.toml",
        include_str!("../demo/sessions/2026-05-16-marlin-1-limits.toml"),
    ),
    (
        "sessions/2026-05-17-bowline-2-sleep.toml",
        include_str!("../demo/sessions/2026-05-17-bowline-2-sleep.toml"),
    ),
    (
        "sessions/2026-05-17-monkeyfist-1-limits.toml",
        include_str!("../demo/sessions/2026-05-17-monkeyfist-1-limits.toml"),
    ),
    ("sessions/2026-05-23-pouch.toml", include_str!("../demo/sessions/2026-05-23-pouch.toml")),
    (
        "sessions/2026-05-30-bowline-3-first-power.toml",
        include_str!("../demo/sessions/2026-05-30-bowline-3-first-power.toml"),
    ),
    (
        "sessions/2026-05-30-carrick-2-first-power.toml",
        include_str!("../demo/sessions/2026-05-30-carrick-2-first-power.toml"),
    ),
    (
        "sessions/2026-05-31-bowline-3-sleep.toml",
        include_str!("../demo/sessions/2026-05-31-bowline-3-sleep.toml"),
    ),
    (
        "sessions/2026-05-31-carrick-2-sleep.toml",
        include_str!("../demo/sessions/2026-05-31-carrick-2-sleep.toml"),
    ),
    ("sites/gorge-by-shares.toml", include_str!("../demo/sites/gorge-by-shares.toml")),
    ("sites/gorge.toml", include_str!("../demo/sites/gorge.toml")),
];

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;
    use std::path::Path;

    use overwinter_documents::types::board::{Board, ContactSide};
    use overwinter_documents::types::session::{PolarityVerdict, What};
    use overwinter_documents::{Folder, Seen, Severity};

    use super::FILES;
    use crate::report::NeedVerdict;

    fn read() -> (Folder, Vec<overwinter_documents::Diagnostic>) {
        Folder::read(FILES.iter().copied().filter(|(path, _)| *path != "README.md"))
    }

    fn amperes(text: &str) -> f64 {
        overwinter_quantity::AnyQuantity::parse(text).unwrap().si()
    }

    #[test]
    fn the_folder_is_read_without_error_or_warning() {
        let (folder, diagnostics) = read();
        let told: Vec<_> =
            diagnostics.iter().filter(|told| told.severity != Severity::Note).collect();
        assert!(told.is_empty(), "{told:#?}");
        assert_eq!(folder.boards.len(), 11);
    }

    #[test]
    fn every_file_of_the_folder_is_embedded() {
        let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("demo");
        let mut found = BTreeSet::new();
        let mut folders = vec![root.clone()];
        while let Some(folder) = folders.pop() {
            for entry in std::fs::read_dir(folder).unwrap() {
                let path = entry.unwrap().path();
                if path.is_dir() {
                    folders.push(path);
                } else {
                    let relative = path.strip_prefix(&root).unwrap();
                    let parts: Vec<_> =
                        relative.iter().map(|part| part.to_str().unwrap()).collect();
                    found.insert(parts.join("/"));
                }
            }
        }
        let embedded: BTreeSet<String> = FILES.iter().map(|(path, _)| (*path).to_owned()).collect();
        assert_eq!(embedded, found);
        assert!(FILES.is_sorted_by(|a, b| a.0 < b.0));
    }

    /// What the file says a board takes asleep at 3.80 V, in A: module and regulator, charger, always-on parts.
    fn bill(folder: &Folder, board: &Board) -> Option<f64> {
        const SUPPLY_V: f64 = 3.80;
        let module =
            folder.modules.get(board.module.as_ref()?)?.document.sleep_current.as_ref()?.si();
        let (_, regulator) = folder.regulator(&board.supply)?;
        // A switching regulator draws the module's charge at its own voltage: r = V_out / V_in, plus its proportional loss.
        let ratio = match (&regulator.loss_share, &regulator.output) {
            (Some(share), Some(output)) => (1.0 + share.si()) * output.si() / SUPPLY_V,
            _ => 1.0,
        };
        let ground = regulator.ground_current.as_ref()?.si();
        let charger = board.charger.as_ref().and_then(|charger| charger.back_leakage.as_ref());
        let mut sum =
            module * ratio + ground + charger.map_or(0.0, overwinter_documents::Figure::si);
        for part in &board.always_on {
            sum += match (&part.current, &part.resistance) {
                (Some(current), _) => current.si(),
                (None, Some(resistance)) => SUPPLY_V / resistance.si(),
                (None, None) => return None,
            };
        }
        Some(sum)
    }

    #[test]
    fn bills_close_within_the_uncertainty_of_reading_and_parts() {
        // The bills of the scenario at 3.80 V, and the largest residual: twice the standard uncertainty that module
        // spread (8 %), parts and range leave, worked out by hand from the files and rounded down.
        for (name, scenario, residual) in [
            ("BOWLINE", "9.3 µA", "1.1 µA"),
            ("SHEETBEND", "20.95 µA", "1.5 µA"),
            ("SLIPKNOT", "15.4 µA", "1.2 µA"),
            ("SHEEPSHANK", "34.3 µA", "2.5 µA"),
            ("CARRICK", "63.4 µA", "3.5 µA"),
            ("REEF", "174.4 µA", "28 µA"),
            ("MARLIN", "998.4 µA", "46 µA"),
            ("MONKEYFIST", "12008.4 µA", "400 µA"),
        ] {
            let (folder, _) = read();
            let board = &folder.boards.get(name).unwrap().document;
            let sum = bill(&folder, board).unwrap();
            let scenario = amperes(scenario);
            assert!((sum / scenario - 1.0).abs() < 2e-3, "{name}: {sum} against {scenario}");
            let label = format!("{name}-1");
            let repeats: Vec<f64> = folder
                .sessions_of(&label)
                .filter(|entry| entry.document.name.ends_with(" sleep"))
                .flat_map(|entry| &entry.document.readings)
                .find(|reading| reading.what == What::SleepCurrent && reading.repeats.len() == 5)
                .unwrap_or_else(|| panic!("{name} has five repeats at 3.80 V"))
                .repeats
                .iter()
                .map(overwinter_quantity::AnyQuantity::si)
                .collect();
            let reading = repeats.iter().sum::<f64>() / 5.0;
            assert!((reading - sum).abs() < amperes(residual), "{name}: {reading} against {sum}");
        }
        let (folder, _) = read();
        let turkshead = &folder.boards.get("TURKSHEAD").unwrap().document;
        assert_eq!(bill(&folder, turkshead), None, "sanded chips leave the bill open");
    }

    #[test]
    fn polarity_was_observed_twice_before_every_first_power() {
        let (folder, _) = read();
        let lead = &folder.cells.get("2500 mAh pouch").unwrap().document.lead;
        assert_eq!(lead.as_ref().unwrap().positive_side, Seen::Known(ContactSide::Right));
        let mut incomplete = Vec::new();
        for (entry, specimen) in
            folder.specimens().filter(|(_, specimen)| specimen.id != "STRAND-1")
        {
            let verdicts: Vec<_> = folder
                .sessions_of(&specimen.id)
                .filter_map(|session| session.document.polarity.as_ref())
                .map(overwinter_documents::types::session::Polarity::verdict)
                .collect();
            assert_eq!(verdicts.len(), 1, "{}", specimen.id);
            let side = entry.document.traits_of(specimen).positive_side;
            match verdicts[0] {
                PolarityVerdict::Positive(seen) => {
                    assert_eq!(side, Seen::Known(seen), "{}", specimen.id);
                    let mirrored = seen != ContactSide::Right;
                    let expected = ["CARRICK-1", "CARRICK-2", "MARLIN-1"];
                    assert_eq!(
                        mirrored,
                        expected.contains(&specimen.id.as_str()),
                        "{}",
                        specimen.id
                    );
                }
                other => {
                    assert_eq!(other, PolarityVerdict::Incomplete, "{}", specimen.id);
                    incomplete.push(specimen.id.as_str());
                }
            }
        }
        assert_eq!(incomplete, ["GRANNY-1", "SHEEPSHANK-1"], "dead, and without a charger");
    }

    #[test]
    fn carrick_triples_and_free_holes_cover_none_to_five() {
        let (folder, _) = read();
        let session = &folder.sessions.get("2026-04-26 CARRICK-1 sleep").unwrap().document;
        let at = |volts: f64| {
            let reading = session.readings.iter().find(|reading| {
                let supply = reading.supply.as_ref().map(overwinter_quantity::Voltage::volts);
                supply.is_some_and(|supply| (supply - volts).abs() < 1e-9)
            });
            reading.unwrap().value.as_ref().unwrap().si()
        };
        assert!((at(3.25) / at(3.50) - 3.0).abs() < 0.1);
        let holes: BTreeSet<u32> = folder
            .boards
            .documents()
            .filter_map(|board| board.traits.free_breadboard_holes())
            .collect();
        assert_eq!(holes, BTreeSet::from([0, 1, 2, 3, 4, 5]));
    }

    #[test]
    fn the_footbridges_have_fitting_failing_and_undecided_boards() {
        let (folder, _) = read();
        let bench = crate::bench::Bench::new(folder);
        let project = bench.project("footbridges").unwrap();
        let options = crate::sampling::SampleOptions { draws: 128, seed: 1 };
        let report = crate::answers::choice(&bench, project, options).unwrap();
        let of = |verdict| -> BTreeSet<&str> {
            let boards = report.boards.iter().filter(|board| board.verdict == verdict);
            boards.map(|board| board.board.as_str()).collect()
        };
        let fits = ["BOWLINE", "SHEETBEND", "SLIPKNOT", "CARRICK"];
        assert_eq!(of(NeedVerdict::Fits), BTreeSet::from(fits));
        assert_eq!(of(NeedVerdict::Undecided), BTreeSet::from(["TURKSHEAD", "GRANNY"]));
        let fails = ["STRAND", "SHEEPSHANK", "REEF", "MARLIN", "MONKEYFIST"];
        assert_eq!(of(NeedVerdict::DoesNot), BTreeSet::from(fails));
        let marlin = report.boards.iter().find(|board| board.board == "MARLIN").unwrap();
        assert_eq!(marlin.rework.as_ref().unwrap().rework, "remove LED");
    }
}
