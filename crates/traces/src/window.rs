//! Samples of a short window of a stored trace, from the few pages that hold them: the file's footer is not read.
//!
//! The footer of a long trace lists every page's column chunk with its statistics and is megabytes long; the index of the pyramid
//! carries the little of it that reading needs.

use crate::columnar::Column;
use crate::convert::Convert;
use crate::pages::Pages;
use parquet::basic::{Compression, Type, ZstdLevel};
use parquet::column::page::PageReader;
use parquet::column::reader::get_column_reader;
use parquet::errors::ParquetError;
use parquet::file::metadata::{ColumnChunkMetaData, RowGroupMetaData};
use parquet::file::serialized_reader::SerializedPageReader;
use parquet::schema::parser::parse_message_type;
use parquet::schema::types::SchemaDescriptor;
use std::fs::File;
use std::sync::Arc;

/// Where the time and the current of one row group lie.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(crate) struct GroupPlace {
    pub(crate) rows: u32,
    pub(crate) time: ColumnPlace,
    pub(crate) current: ColumnPlace,
}

/// Where one column of a row group lies.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(crate) struct ColumnPlace {
    pub(crate) start: u64,
    pub(crate) length: u32,
    /// Bytes of the dictionary in front of the values; 0: none.
    pub(crate) dictionary: u32,
    pub(crate) zstandard: bool,
}

/// The columns of a stored trace, in Parquet's own words.
pub(crate) fn schema(has_voltage: bool) -> Result<parquet::schema::types::Type, ParquetError> {
    let voltage = if has_voltage { "REQUIRED FLOAT voltage_v;" } else { "" };
    parse_message_type(&format!(
        "message trace {{ REQUIRED INT64 time_ns; REQUIRED FLOAT current_a; {voltage} }}"
    ))
}

impl ColumnPlace {
    /// `None`: not as this crate writes it.
    fn of(meta: &ColumnChunkMetaData) -> Option<Self> {
        let data = u64::try_from(meta.data_page_offset()).ok()?;
        let start = match meta.dictionary_page_offset() {
            Some(at) => u64::try_from(at).ok()?,
            None => data,
        };
        Some(Self {
            start,
            length: u32::try_from(meta.compressed_size()).ok()?,
            dictionary: u32::try_from(data.checked_sub(start)?).ok()?,
            zstandard: match meta.compression() {
                Compression::UNCOMPRESSED => false,
                Compression::ZSTD(_) => true,
                _ => return None,
            },
        })
    }

    fn pages(
        &self,
        file: &Arc<File>,
        schema: &SchemaDescriptor,
        column: usize,
        rows: u32,
    ) -> Result<Box<dyn PageReader>, ParquetError> {
        let at = |offset: u64| {
            i64::try_from(offset).map_err(|e| ParquetError::General(format!("byte {offset}: {e}")))
        };
        let codec = if self.zstandard {
            Compression::ZSTD(ZstdLevel::default())
        } else {
            Compression::UNCOMPRESSED
        };
        let meta = ColumnChunkMetaData::builder(schema.column(column))
            .set_num_values(rows.into())
            .set_compression(codec)
            .set_total_compressed_size(self.length.into())
            .set_data_page_offset(at(self.start.saturating_add(self.dictionary.into()))?)
            .set_dictionary_page_offset(match self.dictionary {
                0 => None,
                _ => Some(at(self.start)?),
            })
            .build()?;
        Ok(Box::new(SerializedPageReader::new(Arc::clone(file), &meta, rows as usize, None)?))
    }

    /// About what reading this share of the values takes from disk: the dictionary and the pages touched.
    fn bytes_for(&self, values: u64, rows: u32) -> u64 {
        let pages = f64::from(self.length.saturating_sub(self.dictionary));
        let share = (values as f64 + crate::stored::PAGE_ROWS as f64) / f64::from(rows.max(1));
        u64::from(self.dictionary) + (pages * share.min(1.0)) as u64
    }
}

impl GroupPlace {
    pub(crate) fn of(meta: &RowGroupMetaData) -> Option<Self> {
        Some(Self {
            rows: u32::try_from(meta.num_rows()).ok()?,
            time: ColumnPlace::of(meta.columns().first()?)?,
            current: ColumnPlace::of(meta.columns().get(1)?)?,
        })
    }
}

/// What was read of a window.
#[derive(Debug, Default)]
pub(crate) struct Window {
    pub(crate) time_s: Vec<f64>,
    pub(crate) current_a: Vec<f64>,
    /// Bytes of the pages that hold it (an estimate from above).
    pub(crate) bytes: u64,
}

/// Samples `first..end` of a stored trace.
pub(crate) fn read_window(
    file: &File,
    groups: &[GroupPlace],
    first: u64,
    end: u64,
    even: Option<(f64, f64)>,
) -> Result<Window, String> {
    let text = |e: ParquetError| e.to_string();
    let file = Arc::new(file.try_clone().map_err(|e| e.to_string())?);
    let schema = SchemaDescriptor::new(Arc::new(schema(false).map_err(text)?));
    let mut w = Window::default();
    let mut before = 0u64;
    for g in groups {
        let rows = u64::from(g.rows);
        if before + rows > first && before < end {
            let skip = first.saturating_sub(before) as usize;
            let take = ((end - before).min(rows) as usize).saturating_sub(skip);
            let pages = g.current.pages(&file, &schema, 1, g.rows).map_err(text)?;
            let mut column = Pages::new(pages, Type::FLOAT, false, Convert::NONE);
            column.skip(skip)?;
            let mut found = column.read(take, &mut w.current_a)?;
            w.bytes += g.current.bytes_for(take as u64, g.rows);
            if even.is_none() {
                let pages = g.time.pages(&file, &schema, 0, g.rows).map_err(text)?;
                let scale = Convert { scale: 1e-9, ..Convert::NONE };
                let mut column = Column::new(get_column_reader(schema.column(0), pages), scale);
                column.skip(skip)?;
                found = found.min(column.read(take, &mut w.time_s)?);
                w.bytes += g.time.bytes_for(take as u64, g.rows);
            }
            if found < take {
                return Err(format!("{found} of {take} samples found"));
            }
        }
        before += rows;
    }
    if let Some((zero, step)) = even {
        w.time_s = (first..end).map(|k| zero + k as f64 * step).collect();
    }
    Ok(w)
}
