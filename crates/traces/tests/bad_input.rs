//! Bad input: a clear message with row and byte, and what could be read is kept with its extent stated.

#![allow(
    clippy::format_collect,
    clippy::vec_init_then_push,
    reason = "a list of cases reads best one by one"
)]

mod common;

use overwinter_traces::{Analysis, Control, Layout, Options, RawKind, Source, TraceError, analyse};
use std::fmt::Write as _;
use std::io::{Cursor, Read};
use std::path::Path;

/// One short paragraph of what came of it.
fn told(result: &Result<Analysis, TraceError>) -> String {
    match result {
        Err(e) => format!("error: {e}"),
        Ok(a) => {
            let mut s = format!("{} samples of {} rows", a.extent.samples, a.extent.rows);
            if let Some(stop) = &a.extent.stopped {
                let _ =
                    write!(s, "; stopped at row {}, byte {}: {}", stop.row, stop.byte, stop.reason);
            }
            for d in &a.defects {
                let _ = write!(s, "\n  {:?}: {}", d.kind, d.message);
                for p in d.places.iter().take(3) {
                    let _ = write!(
                        s,
                        "\n    {} (sample or byte {}, {:.3} s)",
                        p.value, p.sample, p.time_s
                    );
                }
            }
            s
        }
    }
}

fn good(rows: usize) -> String {
    let mut s = String::from("time_s,current_a\n");
    for k in 0..rows {
        let _ = writeln!(s, "{:.3},{:.7}", k as f64 * 1e-3, 1e-5 + 1e-7 * ((k * 7919) % 13) as f64);
    }
    s
}

#[test]
fn messages() {
    let mut cases: Vec<(&str, Vec<u8>)> = Vec::new();
    cases.push(("empty", Vec::new()));
    cases.push(("header only", b"time_s,current_a\n".to_vec()));
    cases.push(("one sample", b"time_s,current_a\n0.5,0.01\n".to_vec()));
    cases.push(("words", b"this is a letter\nnot a table\n".to_vec()));
    cases.push(("binary", vec![0x7f, b'E', b'L', b'F', 0, 1, 2, 3]));
    let mut cut = good(50).into_bytes();
    cut.truncate(cut.len() - 12);
    cases.push(("truncated last row", cut));
    cases.push(("two rows and one cut", b"time_s,current_a\n0,1e-5\n0.001,1e-5\n0.002".to_vec()));
    let mut early = good(200).into_bytes();
    early.splice(700..700, (0..=255u8).cycle().take(600));
    cases.push(("binary among the first rows", early));
    let mut headed = b"rate,1000\nrange,1\n".to_vec();
    headed.extend((0..=255u8).cycle().take(600));
    cases.push(("binary below two lines", headed));
    let mut middle = good(6000).into_bytes();
    let at = middle.len() * 3 / 4;
    middle.splice(at..at + 10, (0u8..=255).collect::<Vec<u8>>());
    cases.push(("binary in the middle", middle));
    cases.push(("mixed line ends", good(40).replacen('\n', "\r\n", 9).into_bytes()));
    cases.push((
        "short rows",
        good(30).replace("0.010,", "0.010;").replace("0.020,0", "0.020\n0").into_bytes(),
    ));
    cases.push((
        "text numbers",
        good(30)
            .replace("0.015,0.0", "0.015,NaN0")
            .replace("0.016,", "0.016,Inf\n0.0165,")
            .into_bytes(),
    ));
    let mut long = good(6000).into_bytes();
    let at = long.len() / 2;
    let at = at + long[at..].iter().position(|b| *b == b'\n').unwrap() + 1;
    long.splice(at..at, std::iter::repeat_n(b'9', 10 << 20).chain(*b"\n"));
    cases.push(("a line of ten megabytes", long));
    cases.push(("endless line", vec![b'x'; 3 << 20]));
    let all: String = cases
        .into_iter()
        .map(|(n, t)| format!("{n}: {}\n", told(&common::read(t, None, &Options::default()))))
        .collect();
    insta::assert_snapshot!(all);
}

#[test]
fn a_directory_and_a_missing_file() {
    let folder = std::env::temp_dir();
    assert!(matches!(Source::open(&folder), Err(TraceError::Directory { .. })));
    assert!(matches!(Source::open(Path::new("no-such-file.csv")), Err(TraceError::Io { .. })));
    let empty = tempfile::NamedTempFile::new().unwrap();
    assert!(matches!(Source::open(empty.path()), Err(TraceError::Empty { .. })));
}

struct Dies(Cursor<Vec<u8>>);

impl Read for Dies {
    fn read(&mut self, out: &mut [u8]) -> std::io::Result<usize> {
        match self.0.read(out)? {
            0 => {
                Err(std::io::Error::new(std::io::ErrorKind::BrokenPipe, "the other end went away"))
            }
            n => Ok(n),
        }
    }
}

#[test]
fn a_pipe_that_dies_leaves_what_came_before() {
    // Beyond the head that detection reads, cut inside a row.
    for rows in [100usize, 20_000] {
        let mut bytes = good(rows).into_bytes();
        bytes.truncate(bytes.len() - 3);
        let source = Source::from_reader("pipe", Box::new(Dies(Cursor::new(bytes)))).unwrap();
        let a = analyse(source, None, &Options::default(), &mut |_| Control::Continue).unwrap();
        // The unfinished row is not believed.
        assert_eq!(a.extent.samples, rows as u64 - 1);
        let stop = a.extent.stopped.unwrap();
        assert!(stop.reason.contains("went away"), "{stop:?}");
        assert_eq!(stop.row, rows as u64);
    }
}

#[test]
fn a_damaged_gzip_keeps_what_came_before() {
    let mut gz = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::fast());
    std::io::Write::write_all(&mut gz, good(50_000).as_bytes()).unwrap();
    let mut bytes = gz.finish().unwrap();
    bytes.truncate(bytes.len() / 2);
    let a = common::read(bytes, None, &Options::default()).unwrap();
    assert!(a.extent.samples > 10_000 && a.extent.samples < 40_000 && a.extent.stopped.is_some());
}

#[test]
fn the_person_can_stop() {
    struct Slow(u64);
    impl Read for Slow {
        fn read(&mut self, out: &mut [u8]) -> std::io::Result<usize> {
            std::thread::sleep(std::time::Duration::from_millis(2));
            // Sixteen bytes to a row, cut anywhere.
            for (k, b) in out.iter_mut().enumerate().take(20) {
                let at = self.0 + k as u64;
                let row = format!("{:07.3},0.00012\n", (at / 16) as f64 * 1e-3);
                *b = row.as_bytes()[(at % 16) as usize];
            }
            let n = out.len().min(20);
            self.0 += n as u64;
            Ok(n)
        }
    }
    let source = Source::from_reader("endless", Box::new(Slow(0))).unwrap();
    let a = analyse(source, None, &Options::default(), &mut |_| Control::Stop).unwrap();
    assert_eq!(a.extent.stopped.unwrap().reason, "stopped on request");
}

#[test]
fn a_growing_file_is_followed() {
    let file = tempfile::NamedTempFile::new().unwrap();
    std::fs::write(file.path(), good(200)).unwrap();
    let path = file.path().to_owned();
    let writer = std::thread::spawn(move || {
        for k in 200..230 {
            let mut f = std::fs::OpenOptions::new().append(true).open(&path).unwrap();
            // In two pieces: a row must not be read before it is whole.
            std::io::Write::write_all(
                &mut f,
                format!("{:.3},0.00", f64::from(k) * 1e-3).as_bytes(),
            )
            .unwrap();
            std::thread::sleep(std::time::Duration::from_millis(2));
            std::io::Write::write_all(&mut f, b"00100\n").unwrap();
        }
    });
    let cancel = std::sync::Arc::new(std::sync::atomic::AtomicBool::new(false));
    let source =
        Source::follow(file.path(), cancel, Some(std::time::Duration::from_millis(600))).unwrap();
    let a = analyse(source, None, &Options::default(), &mut |_| Control::Continue).unwrap();
    writer.join().unwrap();
    assert_eq!((a.extent.samples, a.extent.refused_rows), (230, 0));
}

#[test]
fn layouts_that_cannot_be() {
    let mut l = Layout::raw(RawKind::F32, 1000.0);
    l.offset_a = f64::NAN;
    assert!(matches!(l.check(), Err(TraceError::Layout { .. })));
    assert!(matches!(Layout::raw(RawKind::F64, 0.0).check(), Err(TraceError::Layout { .. })));
    // Five bytes are one f32 and a rest.
    let a = common::read(
        vec![0, 0, 128, 63, 9],
        Some(Layout::raw(RawKind::F32, 10.0)),
        &Options::default(),
    )
    .unwrap();
    assert_eq!((a.extent.samples, a.extent.refused_rows), (1, 1));
}

/// A last row without a line end: 1.2 of 1.2e-05 is a number too, and the highest of the whole trace.
#[test]
fn a_last_number_that_may_be_cut_is_left_out() {
    let rows: String = (0..9).map(|k| format!("0.{k},1.{}e-05\n", k % 3)).collect();
    let whole = format!("time_s,current_a\n{rows}0.9,1.2e-05");
    let read = |text: &str, chunk_bytes: usize| {
        let o = Options { chunk_bytes, ..Options::default() };
        let source = Source::from_reader("t", Box::new(Cursor::new(text.as_bytes().to_vec())));
        let a = analyse(source.unwrap(), None, &o, &mut |_| Control::Continue).unwrap();
        (a.extent.samples, a.extent.refused_rows, a.current.max.value < 1.4e-5)
    };
    for chunk in [64, 1 << 18] {
        assert_eq!(read(&whole, chunk), (10, 0, true), "a row as long as the others");
        for cut in 1..7 {
            let found = read(&whole[..whole.len() - cut], chunk);
            assert_eq!(found, (9, 1, true), "{cut} bytes cut");
        }
        // Where the last field is none that is read, its cut does no harm.
        let with_state: String = whole.replace("e-05", "e-05,1").replace("_a", "_a,state");
        assert_eq!(read(&with_state[..with_state.len() - 1], chunk), (10, 0, true));
    }
}

#[test]
fn a_packed_file_cut_at_its_start() {
    let mut gz = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::fast());
    std::io::Write::write_all(&mut gz, b"time_s,current_a\n0,1\n1,2\n").unwrap();
    let gz = gz.finish().unwrap();
    for end in [4, 9, 12, 14] {
        let source =
            Source::from_reader("t.gz", Box::new(Cursor::new(gz[..end].to_vec()))).unwrap();
        let told = analyse(source, None, &Options::default(), &mut |_| Control::Continue)
            .unwrap_err()
            .to_string();
        assert!(told.starts_with("t.gz is compressed with gzip, and only "), "{told}");
        assert!(told.contains("cut or damaged at its start"), "{told}");
    }
}
