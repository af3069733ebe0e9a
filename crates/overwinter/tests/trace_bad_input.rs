//! Bad traces through the real binary: each either refused with status 2, or read as far as it goes with its extent stated.

mod common;

use std::fmt::Write as _;
use std::io::Write as _;
use std::path::Path;
use std::process::{Command, Output, Stdio};

use common::Folder;

fn run(folder: &Path, arguments: &[&str], input: Option<&[u8]>) -> Output {
    let mut child = Command::new(env!("CARGO_BIN_EXE_overwinter"))
        .args(arguments)
        .current_dir(folder)
        .env("NO_COLOR", "1")
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    let mut pipe = child.stdin.take().unwrap();
    let _ = pipe.write_all(input.unwrap_or_default());
    drop(pipe);
    child.wait_with_output().unwrap()
}

/// Rows of a quiet board, `time,current` with this line end.
fn rows(count: usize, end: &str) -> String {
    let mut text = format!("time_s,current_a{end}");
    for n in 0..count {
        let _ = write!(text, "{:.3},{:.8}{end}", n as f64 * 1e-3, 1e-5 + (n % 7) as f64 * 1e-8);
    }
    text
}

#[test]
fn each_says_what_happened_and_how_far_it_got() {
    let folder = Folder::empty("bad-traces");
    std::fs::create_dir_all(folder.0.join("a folder.csv")).unwrap();
    let good = rows(2000, "\n");
    let mut truncated = good.clone().into_bytes();
    truncated.truncate(good.len() - 7);
    truncated.extend(b"\n2.000\n2.001,\n2.002,0.00001\n");
    let mut binary = good.clone().into_bytes();
    let middle = binary.len() / 2;
    binary.splice(middle..middle, (0..600_u32).map(|k| (k.wrapping_mul(37) % 256) as u8));
    let mixed =
        format!("{}{}", rows(1000, "\r\n"), "1.000,0.00001\n1.001,0.00001\r\n1.002,0.00001\n");
    let mut bom = b"\xef\xbb\xbf".to_vec();
    bom.extend(good.bytes());
    let mut long = good.clone().into_bytes();
    long.extend(std::iter::repeat_n(b'7', 10 << 20));
    let not_numbers =
        good.replace("0.100,0.00001002", "0.100,NaN").replace("0.200,0.00001004", "0.200,Inf");
    assert!(not_numbers.contains("NaN") && not_numbers.contains("Inf"));
    let cases: &[(&str, Vec<u8>)] = &[
        ("truncated rows", truncated),
        ("binary in the middle", binary),
        ("mixed line ends", mixed.into_bytes()),
        ("byte order mark", bom),
        ("a line of 10 MB", long),
        ("NaN and Inf", not_numbers.into_bytes()),
        ("empty", Vec::new()),
        ("header only", b"time_s,current_a\n".to_vec()),
        ("binary", (0..4096_u32).map(|k| (k.wrapping_mul(151) % 251) as u8).collect()),
        ("no time", b"current_a\n0.1\n0.2\n0.1\n0.2\n0.1\n0.2\n0.1\n0.2\n".to_vec()),
        ("cut gzip", b"\x1f\x8b\x08\x00\x00\x00\x00\x00\x00\x03\x4b\x4c".to_vec()),
    ];
    let mut told = String::new();
    let mut tell = |name: &str, output: &Output| {
        let status = output.status.code();
        let out = String::from_utf8_lossy(&output.stdout).replace('\u{a0}', " ");
        let err = String::from_utf8_lossy(&output.stderr);
        assert!(!err.contains("panicked"), "{name}: {err}");
        let _ = writeln!(told, "== {name}: status {status:?}");
        told.push_str(&err);
        match status {
            // The head with its extent, and what is said of defects.
            Some(0) => {
                let mut defects = false;
                for line in out.lines().skip(1) {
                    defects = (defects || line == "Defects") && line != "Mind";
                    let extent = line.contains("samples over")
                        || line.contains("gave no sample")
                        || line.contains("Ends early");
                    if (defects || extent) && !line.is_empty() {
                        let _ = writeln!(told, "{line}");
                    }
                }
                assert!(out.contains("samples over"), "{name}: {out}");
            }
            Some(2) => assert!(out.is_empty() && !err.is_empty(), "{name}: {out}{err}"),
            other => panic!("{name}: {other:?}"),
        }
        told.push('\n');
    };
    for (name, bytes) in cases {
        std::fs::write(folder.0.join("trace.csv"), bytes).unwrap();
        tell(name, &run(&folder.0, &["trace", "read", "trace.csv"], None));
    }
    tell("a directory", &run(&folder.0, &["trace", "read", "a folder.csv"], None));
    tell("not there", &run(&folder.0, &["trace", "read", "nowhere.csv"], None));
    let cut = &good.as_bytes()[..good.len() / 2 + 3];
    tell("a pipe that dies", &run(&folder.0, &["trace", "read", "-"], Some(cut)));
    tell("a pipe that says nothing", &run(&folder.0, &["trace", "read", "-"], Some(b"")));
    tell("no such drawing", &run(&folder.0, &["trace", "plot", "trace.csv", "-o", "x.gif"], None));
    insta::assert_snapshot!(told);
}
