//! What the tests of the real binary share: folders of their own, running the tool, reading what it said.
#![allow(dead_code, reason = "each test program takes the part it needs")]

pub(crate) mod sun;

use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};

/// A folder of its own for each test, removed when dropped.
pub(crate) struct Folder(pub(crate) PathBuf);

impl Folder {
    /// An empty one; the name is unique among all tests.
    pub(crate) fn empty(name: &str) -> Self {
        let path = std::env::temp_dir().join(format!("overwinter-{name}-{}", std::process::id()));
        let _ = std::fs::remove_dir_all(&path);
        std::fs::create_dir_all(&path).unwrap();
        Self(path)
    }

    /// One that is the demo.
    pub(crate) fn demo(name: &str) -> Self {
        let folder = Self::empty(name);
        let made = folder.run(&["demo", "."]);
        assert!(made.status.success(), "{}", error(&made));
        folder
    }

    /// Runs the tool in it.
    pub(crate) fn run(&self, arguments: &[&str]) -> Output {
        run(&self.0, arguments)
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        let _ = std::fs::remove_dir_all(&self.0);
    }
}

/// The tool, about to run in a folder, without colours and input.
pub(crate) fn command(folder: &Path, arguments: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_overwinter"));
    command.args(arguments).current_dir(folder).env("NO_COLOR", "1").stdin(Stdio::null());
    command
}

/// Runs the tool in a folder.
pub(crate) fn run(folder: &Path, arguments: &[&str]) -> Output {
    command(folder, arguments).output().expect("the binary starts")
}

/// What it answered; blanks that do not break, between a number and its unit, read as plain ones.
pub(crate) fn text(output: &Output) -> String {
    String::from_utf8(output.stdout.clone()).unwrap().replace('\u{a0}', " ")
}

/// What it complained of.
pub(crate) fn error(output: &Output) -> String {
    String::from_utf8_lossy(&output.stderr).into_owned()
}

/// Its answer as JSON.
pub(crate) fn json(output: &Output) -> serde_json::Value {
    serde_json::from_slice(&output.stdout)
        .unwrap_or_else(|e| panic!("{e}: {}{}", text(output), error(output)))
}
