//! Bytes of one column chunk, read from the file in large steps.
//!
//! The library asks for a page's header and for its values one by one, each time with a handle, a seek and a buffer of its own. Here a step
//! is one seek and one read into a buffer that serves again for the next, and what the library is given are slices of it.

use bytes::buf::Reader;
use bytes::{Buf, Bytes};
use parquet::errors::ParquetError;
use parquet::file::reader::{ChunkReader, Length};
use std::fs::File;
use std::io::{Read, Seek, SeekFrom};
use std::ops::Range;
use std::sync::{Arc, Mutex, PoisonError};

/// Bytes of a step: a column chunk of a stored trace is read at once and lies in the nearer caches while it is unpacked.
const STEP: u64 = 512 << 10;
/// Room for the longest header of a page that is believed.
const HEADER: u64 = 16 << 10;

/// Buffers that wait for their next use.
pub(crate) type Spare = Arc<Mutex<Vec<Bytes>>>;

/// A column chunk.
pub(crate) struct Steps {
    file: Arc<File>,
    chunk: Range<u64>,
    held: Mutex<Held>,
    spare: Spare,
}

/// The step that is in memory.
struct Held {
    start: u64,
    bytes: Bytes,
}

impl Steps {
    pub(crate) fn new(file: Arc<File>, chunk: Range<u64>, spare: Spare) -> Self {
        let bytes = lock(&spare).pop().unwrap_or_default();
        // Nothing of the buffer is this chunk's: no byte of it is asked for there.
        Self { file, held: Mutex::new(Held { start: u64::MAX, bytes }), chunk, spare }
    }

    /// From this byte to the end of the step, at least so many of them.
    fn at_least(&self, start: u64, wanted: u64) -> Result<Bytes, ParquetError> {
        if start < self.chunk.start || self.chunk.end.saturating_sub(start) < wanted {
            return Err(ParquetError::EOF(format!(
                "{wanted} bytes at {start} asked for, the column's end at {}",
                self.chunk.end
            )));
        }
        let mut held = lock(&self.held);
        if let Some(at) = start.checked_sub(held.start)
            && held.bytes.len() as u64 >= at + wanted
        {
            return Ok(held.bytes.slice(at as usize..));
        }
        let length = STEP.max(wanted).min(self.chunk.end - start) as usize;
        // Whoever still holds a slice keeps the old buffer alive; then a new one is taken.
        let mut buffer = std::mem::take(&mut held.bytes).try_into_mut().unwrap_or_default();
        buffer.resize(length, 0);
        let mut file = &*self.file;
        file.seek(SeekFrom::Start(start))?;
        file.read_exact(&mut buffer)?;
        *held = Held { start, bytes: buffer.freeze() };
        Ok(held.bytes.clone())
    }
}

impl Drop for Steps {
    fn drop(&mut self) {
        let bytes = std::mem::take(&mut lock(&self.held).bytes);
        lock(&self.spare).push(bytes);
    }
}

fn lock<T>(m: &Mutex<T>) -> std::sync::MutexGuard<'_, T> {
    // A step is exchanged whole.
    m.lock().unwrap_or_else(PoisonError::into_inner)
}

impl Length for Steps {
    fn len(&self) -> u64 {
        self.chunk.end
    }
}

impl ChunkReader for Steps {
    type T = Reader<Bytes>;

    fn get_read(&self, start: u64) -> Result<Self::T, ParquetError> {
        let wanted = HEADER.min(self.chunk.end.saturating_sub(start));
        self.at_least(start, wanted).map(Buf::reader)
    }

    fn get_bytes(&self, start: u64, length: usize) -> Result<Bytes, ParquetError> {
        let mut found = self.at_least(start, length as u64)?;
        found.truncate(length);
        Ok(found)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::io::Write;

    #[test]
    fn slices_are_the_files_bytes_and_the_buffer_serves_again() {
        let all: Vec<u8> =
            (0..3 * STEP as u32).map(|k| (k.wrapping_mul(2_654_435_761) >> 24) as u8).collect();
        let mut file = tempfile::tempfile().unwrap();
        file.write_all(&all).unwrap();
        let spare = Spare::default();
        let chunk = 1000..all.len() as u64 - 77;
        let steps = Steps::new(Arc::new(file), chunk.clone(), Arc::clone(&spare));
        let mut at = chunk.start;
        let mut size = 1;
        while at < chunk.end {
            let length = size.min(chunk.end - at);
            let found = steps.get_bytes(at, length as usize).unwrap();
            assert_eq!(found, all[at as usize..(at + length) as usize]);
            let mut header = Vec::new();
            steps.get_read(at).unwrap().take(99).read_to_end(&mut header).unwrap();
            let end = (at + 99).min(chunk.end);
            assert_eq!(header, all[at as usize..end as usize]);
            at += length;
            size = (size * 3) % (STEP * 2) + 1;
        }
        drop(steps);
        assert_eq!(lock(&spare).len(), 1);
        assert!(lock(&spare)[0].is_unique());
    }

    #[test]
    fn what_lies_outside_the_chunk_is_not_given() {
        let mut file = tempfile::tempfile().unwrap();
        file.write_all(&[7; 100]).unwrap();
        let steps = Steps::new(Arc::new(file), 10..90, Spare::default());
        assert!(steps.get_bytes(9, 1).is_err());
        assert!(steps.get_bytes(80, 11).is_err());
        assert!(steps.get_bytes(u64::MAX, 1).is_err());
        assert_eq!(steps.get_bytes(80, 10).unwrap(), [7u8; 10][..]);
        assert_eq!(steps.get_bytes(90, 0).unwrap(), [0u8; 0][..]);
    }

    #[test]
    fn a_buffer_that_served_elsewhere_shows_nothing_of_it() {
        let mut file = tempfile::tempfile().unwrap();
        file.write_all(&[7; 100]).unwrap();
        let (file, spare) = (Arc::new(file), Spare::default());
        let first = Steps::new(Arc::clone(&file), 0..90, Arc::clone(&spare));
        first.get_bytes(0, 90).unwrap();
        drop(first);
        let second = Steps::new(file, 10..40, spare);
        let mut behind = Vec::new();
        second.get_read(40).unwrap().read_to_end(&mut behind).unwrap();
        assert_eq!(behind, [0u8; 0]);
    }
}
