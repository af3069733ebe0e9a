//! A small file of every form that is read.

use overwinter_traces::{Control, Layout, Options, Provenance, RawFormat, RawKind, store};
use parquet::basic::{Compression, Encoding, GzipLevel, ZstdLevel};
use parquet::data_type::{DoubleType, FloatType, Int32Type, Int64Type};
use parquet::file::properties::{WriterProperties, WriterVersion};
use parquet::file::writer::SerializedFileWriter;
use parquet::schema::parser::parse_message_type;
use std::io::Write as _;
use std::sync::Arc;

/// How a file is handed over.
pub(crate) enum Way {
    /// As a stream, layout found.
    Stream,
    /// As a stream with this layout.
    As(Layout),
    /// As a file on disk (Parquet, the stored form).
    File,
    /// The same; its index, if there is one, gets a fitting checksum again after damage.
    Stored,
}

pub(crate) struct Seed {
    pub(crate) name: &'static str,
    pub(crate) bytes: Vec<u8>,
    pub(crate) way: Way,
}

fn text(name: &'static str, text: &str) -> Seed {
    Seed { name, bytes: text.as_bytes().to_vec(), way: Way::Stream }
}

fn rows(n: u32, row: impl Fn(u32) -> String) -> String {
    (0..n).map(row).collect()
}

pub(crate) fn level(k: u32) -> f64 {
    match k % 97 {
        0..=5 => 0.02,
        6..=9 => 0.11,
        50 => 0.0009,
        _ => 1.2e-5 * (1.0 + 0.01 * f64::from(k % 7)),
    }
}

fn plain(n: u32) -> String {
    let body = rows(n, |k| format!("{:.4},{:.9}\n", f64::from(k) * 1e-3, level(k)));
    format!("time_s,current_a\n{body}")
}

pub(crate) fn all() -> Vec<Seed> {
    let mut seeds = vec![
        text("plain", &plain(300)),
        text("one row", "time_s,current_a\n0.5,0.01\n"),
        text(
            "decimal comma",
            &rows(60, |k| format!("{},{:03};0,{:06}\r\n", k / 1000, k % 1000, 12 + k % 5)),
        ),
        text(
            "tabs, a unit row",
            &format!(
                "time\tI\ns\tmA\n{}",
                rows(50, |k| format!("{}.{:02}\t1.{k}\n", k / 100, k % 100))
            ),
        ),
        text(
            "preamble and index",
            &format!(
                "Instrument: bench meter\nSample interval: 20 us\n\nIndex,Current [mA]\n{}",
                rows(80, |k| format!("{k},1.{k}\n"))
            ),
        ),
        text(
            "rate only",
            &format!("# sampling rate 10 kHz\ncurrent_ua\n{}", rows(99, |k| format!("12.{k}\n"))),
        ),
        text(
            "three columns of time",
            &format!(
                "Date,Time,Milliseconds,Current (A)\n{}",
                rows(40, |k| format!(
                    "2026-03-01,23:59:{:02},{:03},0.01{k}\n",
                    20 + k,
                    k * 7 % 1000
                ))
            ),
        ),
        text(
            "stamps over midnight",
            &format!(
                "time,current_ma,vbat_v\n{}",
                rows(40, |k| format!("{}:59:{:02}.900,1{k},3.3\n", (23 + k / 20) % 24, k % 60))
            ),
        ),
        text(
            "shunt, epoch milliseconds",
            &format!(
                "shunt 0.5 ohm\nt_ms,drop_mv\n{}",
                rows(40, |k| format!("17640768{k:05},{k}\n"))
            ),
        ),
        text(
            "difference",
            &format!(
                "sense resistor 2.2 ohm\nt (s),a (V),b (V)\n{}",
                rows(40, |k| format!("{k}.5,3.31,3.{k}\n"))
            ),
        ),
        text("blanks", &rows(40, |k| format!("0.{k:03}   1.{k}e-05\n"))),
        text("old line ends", &plain(60).replace('\n', "\r")),
        text("byte order mark", &format!("\u{feff}{}", plain(40))),
        text(
            "marks",
            &plain(60)
                .replace("0.010", "NaN")
                .replace("0.020,", "0.020,OL;")
                .replace("0.03", "9.9E37,"),
        ),
    ];
    let mut gz = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::fast());
    gz.write_all(plain(200).as_bytes()).expect("memory");
    seeds.push(Seed { name: "gzip", bytes: gz.finish().expect("memory"), way: Way::Stream });
    let packed = zstd::bulk::compress(plain(200).as_bytes(), 1).expect("memory");
    seeds.push(Seed { name: "zstandard", bytes: packed, way: Way::Stream });
    let raw: Vec<u8> = (0..700).flat_map(|k| (level(k) as f32).to_le_bytes()).collect();
    seeds.push(Seed { name: "raw", bytes: raw, way: Way::As(Layout::raw(RawKind::F32, 1000.0)) });
    let raw: Vec<u8> = (0..300).flat_map(|k| level(k).to_be_bytes()).collect();
    let mut layout = Layout::raw(RawKind::F64, 1000.0);
    layout.format = overwinter_traces::Format::Raw(RawFormat {
        kind: RawKind::F64,
        big_endian: true,
        channels: 2,
        skip_bytes: 3,
    });
    seeds.push(Seed { name: "raw, two channels", bytes: raw, way: Way::As(layout) });
    seeds.push(Seed { name: "stored", bytes: stored(&plain(3000)), way: Way::Stored });
    let uneven =
        rows(2000, |k| format!("{:.4},{:.9}\n", f64::from(k * k % 3 + k * 5) * 1e-3, level(k)));
    seeds.push(Seed {
        name: "stored, uneven",
        bytes: stored(&format!("time_s,current_a\n{uneven}")),
        way: Way::Stored,
    });
    let volts = rows(500, |k| format!("{:.3},{:.9},3.{}\n", f64::from(k) * 1e-3, level(k), k % 10));
    seeds.push(Seed {
        name: "stored, with voltage",
        bytes: stored(&format!("time_s,current_a,vbat_v\n{volts}")),
        way: Way::Stored,
    });
    for (name, version, compression, dictionary) in [
        ("parquet 1", WriterVersion::PARQUET_1_0, Compression::UNCOMPRESSED, true),
        ("parquet 2", WriterVersion::PARQUET_2_0, Compression::ZSTD(ZstdLevel::default()), false),
        ("parquet 1, snappy", WriterVersion::PARQUET_1_0, Compression::SNAPPY, false),
        ("parquet 2, lz4", WriterVersion::PARQUET_2_0, Compression::LZ4_RAW, true),
        (
            "parquet 1, gzip",
            WriterVersion::PARQUET_1_0,
            Compression::GZIP(GzipLevel::default()),
            true,
        ),
    ] {
        let bytes = foreign(version, compression, dictionary);
        seeds.push(Seed { name, bytes, way: Way::File });
    }
    arrow(&mut seeds);
    seeds
}

/// As other programs write them (tests/data/README.md), from a pipe and from the disk.
fn arrow(seeds: &mut Vec<Seed>) {
    macro_rules! file {
        ($($name:literal)*) => {
            [$(($name, include_bytes!(concat!("../data/", $name)).as_slice()),)*]
        };
    }
    for (name, bytes) in file!(
        "arrow_lz4.arrow" "arrow_zstd.arrow" "arrow_polars.arrow" "arrow_dictionary.arrows" "arrow_delta.arrows" "arrow_types.arrow"
    ) {
        seeds.push(Seed { name, bytes: bytes.to_vec(), way: Way::Stream });
        seeds.push(Seed { name, bytes: bytes.to_vec(), way: Way::File });
    }
}

fn stored(text: &str) -> Vec<u8> {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let (from, to) = (folder.path().join("a.csv"), folder.path().join("a.parquet"));
    std::fs::write(&from, text).expect("room");
    let o = Options::default();
    store(&from, None, &o, Provenance::default(), &to, &mut |_| Control::Continue).expect("sound");
    std::fs::read(&to).expect("just written")
}

/// As other programs write: nulls, integers, other encodings, other compressions.
fn foreign(version: WriterVersion, compression: Compression, dictionary: bool) -> Vec<u8> {
    let schema = parse_message_type(
        "message m { OPTIONAL DOUBLE time_s; OPTIONAL DOUBLE current_a; REQUIRED INT64 n; OPTIONAL INT32 code; REQUIRED FLOAT vbat_v; }",
    )
    .expect("a schema");
    let mut properties = WriterProperties::builder()
        .set_writer_version(version)
        .set_compression(compression)
        .set_dictionary_enabled(dictionary)
        .set_data_page_row_count_limit(64);
    if !dictionary {
        properties = properties.set_column_encoding("n".into(), Encoding::DELTA_BINARY_PACKED);
    }
    let mut out = Vec::new();
    let mut writer =
        SerializedFileWriter::new(&mut out, Arc::new(schema), Arc::new(properties.build()))
            .expect("a writer");
    for g in 0..2u32 {
        let mut group = writer.next_row_group().expect("a group");
        let ks: Vec<u32> = (150 * g..150 * (g + 1)).collect();
        let there: Vec<i16> = ks.iter().map(|k| i16::from(k % 11 != 3)).collect();
        let mut column = group.next_column().expect("sound").expect("time");
        let times: Vec<f64> = ks.iter().map(|k| f64::from(*k) * 1e-3).collect();
        column
            .typed::<DoubleType>()
            .write_batch(&times, Some(&vec![1; times.len()]), None)
            .expect("written");
        column.close().expect("closed");
        let mut column = group.next_column().expect("sound").expect("current");
        let some: Vec<f64> = ks.iter().filter(|k| *k % 11 != 3).map(|k| level(*k)).collect();
        column.typed::<DoubleType>().write_batch(&some, Some(&there), None).expect("written");
        column.close().expect("closed");
        let mut column = group.next_column().expect("sound").expect("number");
        let n: Vec<i64> = ks.iter().map(|k| i64::from(*k)).collect();
        column.typed::<Int64Type>().write_batch(&n, None, None).expect("written");
        column.close().expect("closed");
        let mut column = group.next_column().expect("sound").expect("code");
        let code: Vec<i32> = some.iter().map(|x| (x * 1e6) as i32).collect();
        column.typed::<Int32Type>().write_batch(&code, Some(&there), None).expect("written");
        column.close().expect("closed");
        let mut column = group.next_column().expect("sound").expect("voltage");
        let volts: Vec<f32> = ks.iter().map(|k| 3.0 + (*k % 9) as f32).collect();
        column.typed::<FloatType>().write_batch(&volts, None, None).expect("written");
        column.close().expect("closed");
        group.close().expect("closed");
    }
    writer.close().expect("closed");
    out
}
