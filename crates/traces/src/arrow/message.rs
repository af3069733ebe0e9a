//! Arrow's messages: the schema, and where a record batch's buffers lie.
//!
//! Source: the Apache Arrow columnar format, "Serialization and Interprocess Communication", and its `Schema.fbs` and `Message.fbs` (the numbers of
//! the fields and types below).

use super::flat::Table;

/// More fields than this, nested ones counted, are not believed.
const MOST_FIELDS: usize = 65_536;
/// Nesting deeper than this neither.
const DEEPEST: usize = 64;

/// How a column's values lie in its data buffer.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Kind {
    /// Integers, time stamps, times of day, durations.
    Whole { bytes: usize, signed: bool },
    /// IEEE 754.
    Real { bytes: usize },
    /// Integers of this many bytes, divided by ten to the scale.
    Decimal { bytes: usize, scale: i32 },
    /// No number: text, truth values, lists and the like.
    Other,
}

impl Kind {
    /// Bytes of one value.
    pub(super) fn width(self) -> usize {
        match self {
            Self::Whole { bytes, .. } | Self::Real { bytes } | Self::Decimal { bytes, .. } => bytes,
            Self::Other => 0,
        }
    }
}

/// A column.
#[derive(Debug, Clone)]
pub(super) struct Field {
    /// The unit of a time in brackets behind it.
    pub(super) name: String,
    /// Of the values; of a dictionary's values where there is one.
    pub(super) kind: Kind,
    /// Number of the dictionary, and the kind of the indices.
    pub(super) dictionary: Option<(i64, Kind)>,
    /// What it takes of a batch's lists: nodes, buffers, and views with a number of buffers of their own.
    takes: Takes,
}

#[derive(Debug, Clone, Copy, Default)]
struct Takes {
    nodes: usize,
    buffers: usize,
    views: usize,
}

/// A message's own part.
pub(super) enum Header<'a> {
    Schema(Table<'a>),
    Dictionary(Table<'a>),
    Batch(Table<'a>),
    /// Tensors and what may come.
    Other,
}

/// The message in these metadata, and the length of the body behind it.
pub(super) fn message(bytes: &[u8]) -> Result<(Header<'_>, u64), String> {
    let table = Table::root(bytes).ok_or("its metadata are damaged")?;
    let body = table.i64(3).unwrap_or(0);
    let body = u64::try_from(body).map_err(|e| format!("a body of {body} bytes: {e}"))?;
    let part = || table.table(2).ok_or_else(|| "its metadata are damaged".to_owned());
    let header = match table.byte(1) {
        Some(1) => Header::Schema(part()?),
        Some(2) => Header::Dictionary(part()?),
        Some(3) => Header::Batch(part()?),
        _ => Header::Other,
    };
    Ok((header, body))
}

/// The columns of a schema.
pub(super) fn columns(schema: Table<'_>) -> Result<Vec<Field>, String> {
    if schema.i16(0).unwrap_or(0) != 0 {
        return Err(
            "its numbers have the most significant byte first, which is not read".to_owned()
        );
    }
    let mut left = MOST_FIELDS;
    schema.tables(1).map(|f| field(f, DEEPEST, &mut left)).collect()
}

fn field(table: Table<'_>, depth: usize, left: &mut usize) -> Result<Field, String> {
    if depth == 0 || *left == 0 {
        return Err("its columns are nested without end".to_owned());
    }
    *left -= 1;
    let number = table.byte(2).unwrap_or(0);
    let of_type = table.table(3);
    let whole = |bits: i32, signed: bool| match bits {
        8 | 16 | 32 | 64 => Kind::Whole { bytes: bits as usize / 8, signed },
        _ => Kind::Other,
    };
    let small = |field: usize, default: i16| of_type.and_then(|t| t.i16(field)).unwrap_or(default);
    let int = |field: usize, default: i32| of_type.and_then(|t| t.i32(field)).unwrap_or(default);
    let (mut kind, mut unit) = (Kind::Other, None);
    match number {
        2 => kind = whole(int(0, 0), of_type.and_then(|t| t.byte(1)).unwrap_or(0) != 0),
        3 => {
            kind = match small(0, 0) {
                0 => Kind::Real { bytes: 2 },
                1 => Kind::Real { bytes: 4 },
                2 => Kind::Real { bytes: 8 },
                _ => Kind::Other,
            }
        }
        7 => {
            let scale = int(1, 0);
            kind = match int(2, 128) {
                bits @ (32 | 64 | 128 | 256) if (-60..=80).contains(&scale) => {
                    Kind::Decimal { bytes: bits as usize / 8, scale }
                }
                _ => Kind::Other,
            }
        }
        // Time of day, time stamp, duration.
        9 => (kind, unit) = (whole(int(1, 32), true), Some(small(0, 1))),
        10 => (kind, unit) = (whole(64, true), Some(small(0, 0))),
        18 => (kind, unit) = (whole(64, true), Some(small(0, 1))),
        _ => {}
    }
    let mut name = table.text(0).unwrap_or("").to_owned();
    if let Some(unit) = unit {
        let word = match unit {
            0 => "s",
            1 => "ms",
            2 => "us",
            3 => "ns",
            _ => return Err(format!("column \"{name}\" has an unknown unit of time")),
        };
        name = format!("{name} [{word}]");
    }
    let mut takes = Takes { nodes: 1, ..Takes::default() };
    // A dictionary's values lie elsewhere: here are its indices only.
    let dictionary = table.table(4).map(|d| {
        let index = d
            .table(1)
            .map_or(whole(32, true), |i| whole(i.i32(0).unwrap_or(0), i.byte(1).unwrap_or(0) != 0));
        (d.i64(0).unwrap_or(0), index)
    });
    if dictionary.is_some() {
        takes.buffers = 2;
    } else {
        takes.buffers = match number {
            // Null, run ends.
            1 | 22 => 0,
            // Structure, list of fixed size, sparse union.
            13 | 16 => 1,
            14 => 1 + usize::from(small(0, 0) == 1),
            // Text and bytes, views of lists.
            4 | 5 | 19 | 20 | 25 | 26 => 3,
            23 | 24 => {
                takes.views = 1;
                2
            }
            _ => 2,
        };
        for child in table.tables(5) {
            let inner = field(child, depth - 1, left)?.takes;
            takes.nodes += inner.nodes;
            takes.buffers += inner.buffers;
            takes.views += inner.views;
        }
    }
    Ok(Field { name, kind, dictionary, takes })
}

/// How a batch's buffers are compressed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Codec {
    None,
    Lz4Frame,
    Zstandard,
}

/// Where a batch's parts lie in its body.
#[derive(Debug)]
pub(super) struct Batch {
    pub(super) rows: usize,
    pub(super) codec: Codec,
    /// Length and number of nulls of each column, nested ones too.
    pub(super) nodes: Vec<(i64, i64)>,
    /// Offset and length of each buffer.
    pub(super) buffers: Vec<(i64, i64)>,
    /// Number of the first node and the first buffer of each column.
    pub(super) places: Vec<(usize, usize)>,
}

/// Reads a record batch's metadata by the columns of its schema.
pub(super) fn batch(table: Table<'_>, fields: &[Field]) -> Result<Batch, String> {
    let rows = table.i64(0).unwrap_or(0);
    let rows = usize::try_from(rows).map_err(|e| format!("a batch of {rows} rows: {e}"))?;
    let codec = match table.table(3) {
        None => Codec::None,
        Some(c) => match (c.byte(0).unwrap_or(0), c.byte(1).unwrap_or(0)) {
            (0, 0) => Codec::Lz4Frame,
            (1, 0) => Codec::Zstandard,
            _ => return Err("its buffers are compressed in an unknown way".to_owned()),
        },
    };
    let mut views = table.longs(4).into_iter();
    let (mut node, mut buffer) = (0usize, 0usize);
    let mut places = Vec::with_capacity(fields.len());
    for f in fields {
        places.push((node, buffer));
        node += f.takes.nodes;
        buffer += f.takes.buffers;
        for _ in 0..f.takes.views {
            let own = views.next().and_then(|n| usize::try_from(n).ok());
            buffer = buffer.saturating_add(own.ok_or("a column of views without its buffers")?);
        }
    }
    Ok(Batch { rows, codec, nodes: table.pairs(1), buffers: table.pairs(2), places })
}
