//! Layouts that loggers write, and what is made of them.

#![allow(clippy::format_collect, clippy::format_push_string, reason = "short strings, once")]

mod common;

use overwinter_traces::{Layout, Options, Source, detect};
use std::io::{Cursor, Write as _};

fn detected(text: &[u8]) -> String {
    let made = Source::from_reader("t", Box::new(Cursor::new(text.to_vec())))
        .and_then(|mut s| detect(&mut s));
    match made {
        Ok(l) => l.describe(),
        Err(e) => format!("error: {e}"),
    }
}

const CASES: [(&str, &str); 16] = [
    ("plain", "time_s,current_a\n0.000,1e-5\n0.001,2e-5\n0.002,3e-5\n"),
    ("units in brackets", "Timestamp [ms];Current [µA]\n0.0;12.5\n0.1;12.7\n0.2;13.1\n"),
    ("decimal comma", "Zeit (s);Strom (mA)\n0,000;0,0125\n0,001;0,0126\n0,002;0,0127\n"),
    ("tabs and a unit row", "time\tI\ns\tmA\n0.000\t1.5\n0.010\t1.6\n0.020\t1.5\n"),
    (
        "preamble and index",
        "Instrument: bench meter\nSample interval: 20 us\n\nIndex,Current [mA]\n0,1.5\n1,1.6\n2,1.7\n",
    ),
    ("rate only", "# sampling rate 10 kHz\ncurrent_ua\n12.1\n12.2\n12.3\n12.1\n"),
    (
        "three columns of time",
        "Date,Time,Milliseconds,Current (A)\n2026-03-01,12:00:00,125,0.01\n2026-03-01,12:00:00,250,0.02\n2026-03-01,12:00:00,375,0.01\n",
    ),
    (
        "one stamp",
        "stamp;I [A]\n31.03.2026 23:59:59,900;0.01\n31.03.2026 23:59:59,950;0.01\n01.04.2026 00:00:00,000;0.02\n",
    ),
    ("shunt", "Shunt = 10 ohm\nt (s),ch1 shunt (mV)\n0.0,0.1\n0.1,0.2\n0.2,0.1\n"),
    (
        "difference",
        "sense resistor 2.2 ohm\nt (s),a (V),b (V)\n0.0,3.31,3.30\n0.1,3.31,3.29\n0.2,3.31,3.30\n",
    ),
    ("voltage beside", "t_s,i_ma,vbat_v\n0,1.0,3.80\n0.5,1.1,3.79\n1.0,1.0,3.80\n"),
    ("several channels", "t (s),board (uA),module (uA)\n0.0,12,6\n0.1,12,6\n0.2,13,6\n"),
    ("no header", "0.0 0.010\n0.1 0.011\n0.25 0.012\n0.3 0.010\n"),
    ("no interval", "current_ma\n1.0\n1.1\n1.2\n"),
    ("volts alone", "t_s,ch1_v\n0.0,0.1\n0.1,0.2\n0.2,0.1\n"),
    (
        "epoch milliseconds",
        "timestamp,current_ma\n1764076800000,1\n1764076800100,2\n1764076800200,1\n",
    ),
];

#[test]
fn described() {
    let all: String =
        CASES.iter().map(|(n, t)| format!("{n}: {}\n", detected(t.as_bytes()))).collect();
    insta::assert_snapshot!(all);
}

#[test]
fn a_cut_arrow_file_is_told() {
    let told = detected(b"ARROW1\0\0\xff\xff\xff\xff\x78\0\0\0");
    assert!(told.contains("not readable as Arrow") && told.contains("ends inside"), "{told}");
}

/// The same four samples in many dresses: the charge is the same.
#[test]
fn the_same_trace_in_many_dresses() {
    let dresses: [&[u8]; 9] = [
        b"time_s,current_a\n10.0,0.010\n10.1,0.020\n10.2,0.030\n10.3,0.010\n",
        b"\xef\xbb\xbftime_s,current_a\r\n10.0,0.010\r\n10.1,0.020\n10.2,0.030\r\n10.3,0.010",
        b"t [ms];I [mA]\n10000;10\n10100;20\n10200;30\n10300;10\n",
        b"Zeit [s]\tStrom [mA]\n10,0\t10,0\n10,1\t20,0\n10,2\t30,0\n10,3\t10,0\n",
        b"interval 0.1 s\ncurrent_ma\n10\n20\n30\n10\n",
        b"Date;Time;ms;I (uA)\n2026-01-31;23:59:59;900;10000\n2026-02-01;00:00:00;000;20000\n2026-02-01;00:00:00;100;30000\n2026-02-01;00:00:00;200;10000\n",
        b"time,current_ma\n23:59:59.900,10\n00:00:00.000,20\n00:00:00.100,30\n00:00:00.200,10\n",
        b"shunt 0.5 ohm\nt_s,drop_mv\n1764076800.0,5\n1764076800.1,10\n1764076800.2,15\n1764076800.3,5\n",
        b"time_s,current_a\r10.0,0.010\r10.1,0.020\r10.2,0.030\r10.3,0.010\r",
    ];
    for d in dresses {
        let a = common::read(d, None, &Options::default())
            .unwrap_or_else(|e| panic!("{}: {e}", String::from_utf8_lossy(d)));
        assert_eq!(a.extent.samples, 4, "{}", a.read_as);
        assert!((a.current.charge_c - 6e-3).abs() < 1e-12, "{}: {}", a.read_as, a.current.charge_c);
    }
}

#[test]
fn compressed_files_read_like_plain_ones() {
    let text = b"time_s,current_a\n0.0,0.010\n0.1,0.020\n0.2,0.030\n0.3,0.010\n";
    let mut gz = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::fast());
    gz.write_all(text).unwrap();
    for packed in [gz.finish().unwrap(), zstd::bulk::compress(text, 1).unwrap()] {
        let a = common::read(packed, None, &Options::default()).unwrap();
        assert!((a.current.charge_c - 6e-3).abs() < 1e-15);
    }
}

#[test]
fn a_layout_survives_being_remembered() {
    for (name, text) in CASES {
        if let Ok(l) = Source::from_reader("t", Box::new(Cursor::new(text.as_bytes().to_vec())))
            .and_then(|mut s| detect(&mut s))
        {
            let kept = serde_json::to_string(&l).unwrap();
            assert_eq!(serde_json::from_str::<Layout>(&kept).unwrap(), l, "{name}");
            assert!(
                serde_json::from_str::<Layout>(&kept.replacen('{', "{\"unknown\":1,", 1)).is_err(),
                "{name}"
            );
        }
    }
}

#[test]
fn wide_files_and_voltages() {
    let mut text = String::from("n,t_s,x,vbat_v,i_ma\n");
    for k in 0..3000 {
        text.push_str(&format!("{k},{:.3},7,3.{},{}.5\n", f64::from(k) * 1e-3, k % 10, 1 + k % 3));
    }
    let a = common::read(text, None, &Options::default()).unwrap();
    let v = a.voltage.unwrap();
    assert_eq!(a.extent.samples, 3000);
    assert!((v.mean_v - 3.45).abs() < 1e-9 && v.min_v == 3.0 && v.max_v == 3.9);
    assert!((a.current.sample_mean_a - 2.5e-3).abs() < 1e-12);
    assert!((v.energy_j / (2.5e-3 * 3.45 * 2.999) - 1.0).abs() < 0.01, "{}", v.energy_j);
}
