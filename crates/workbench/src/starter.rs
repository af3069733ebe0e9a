//! The folder that `new` writes: one commented example of each document a person begins with.

/// Path and text of every file.
pub const FILES: &[(&str, &str)] = &[
    ("README.md", include_str!("../starter/README.md")),
    ("boards/my-board.toml", include_str!("../starter/boards/my-board.toml")),
    ("cells/my-cell.toml", include_str!("../starter/cells/my-cell.toml")),
    ("instruments/my-meter.toml", include_str!("../starter/instruments/my-meter.toml")),
    ("projects/my-project.toml", include_str!("../starter/projects/my-project.toml")),
    ("recordings/my-board-1.toml", include_str!("../starter/recordings/my-board-1.toml")),
    (
        "sessions/my-board-1-polarity.toml",
        include_str!("../starter/sessions/my-board-1-polarity.toml"),
    ),
];

#[cfg(test)]
mod tests {
    use crate::bench::Bench;

    #[test]
    fn the_examples_read_and_answer() {
        let documents = super::FILES.iter().copied().filter(|(path, _)| *path != "README.md");
        let (bench, diagnostics) = Bench::read(documents);
        assert!(diagnostics.iter().all(|d| !d.is_error()), "{diagnostics:#?}");
        let project = bench.project("my project").unwrap();
        let choice = crate::answers::choice(
            &bench,
            project,
            crate::sampling::SampleOptions { draws: 64, seed: 1 },
        );
        assert_eq!(choice.unwrap().boards.len(), 1);
    }
}
