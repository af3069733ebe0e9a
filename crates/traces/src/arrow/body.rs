//! A message's body: in memory, or where it lies on the disk; and its buffers, unpacked as they are read.

use super::message::Codec;
use std::fs::File;
use std::io::{self, Read, Seek, SeekFrom};
use std::sync::Arc;

/// A body that came through a pipe and is longer than this waits in an unnamed temporary file: memory stays constant.
const IN_MEMORY: u64 = 8 << 20;

/// The bytes behind a message's metadata.
#[derive(Debug)]
pub(super) enum Body {
    Memory(Vec<u8>),
    Disk { file: Arc<File>, from: u64, length: u64 },
}

impl Body {
    /// The next `length` bytes of a stream.
    pub(super) fn take(input: &mut dyn Read, length: u64) -> io::Result<Self> {
        let mut part = input.take(length);
        if length <= IN_MEMORY {
            let mut bytes = Vec::new();
            part.read_to_end(&mut bytes)?;
            return Ok(Self::Memory(bytes));
        }
        let mut file = tempfile::tempfile()?;
        let length = io::copy(&mut part, &mut file)?;
        Ok(Self::Disk { file: Arc::new(file), from: 0, length })
    }

    pub(super) fn len(&self) -> u64 {
        match self {
            Self::Memory(bytes) => bytes.len() as u64,
            Self::Disk { length, .. } => *length,
        }
    }

    fn read_at(&self, at: u64, out: &mut [u8]) -> io::Result<usize> {
        match self {
            Self::Memory(bytes) => {
                let from = usize::try_from(at).unwrap_or(usize::MAX).min(bytes.len());
                (&bytes[from..]).read(out)
            }
            Self::Disk { file, from, .. } => {
                let mut file: &File = file;
                file.seek(SeekFrom::Start(from + at))?;
                file.read(out)
            }
        }
    }
}

/// A buffer of a body.
struct Part {
    body: Arc<Body>,
    at: u64,
    end: u64,
}

impl Read for Part {
    fn read(&mut self, out: &mut [u8]) -> io::Result<usize> {
        let most = usize::try_from(self.end - self.at).unwrap_or(usize::MAX).min(out.len());
        let n = self.body.read_at(self.at, &mut out[..most])?;
        self.at += n as u64;
        Ok(n)
    }
}

/// Opens a buffer that must hold at least `needed` bytes, unpacked.
pub(super) fn buffer(
    body: &Arc<Body>,
    (offset, length): (i64, i64),
    codec: Codec,
    needed: u64,
) -> Result<Box<dyn Read + Send>, String> {
    let (at, end) = u64::try_from(offset)
        .ok()
        .zip(u64::try_from(length).ok())
        .and_then(|(at, length)| Some((at, at.checked_add(length)?)))
        .filter(|(_, end)| *end <= body.len())
        .ok_or("a buffer does not lie in its batch")?;
    let mut part = Part { body: Arc::clone(body), at, end };
    let short = |there: u64| format!("a buffer of {there} bytes where {needed} are needed");
    if codec == Codec::None {
        return if end - at < needed { Err(short(end - at)) } else { Ok(Box::new(part)) };
    }
    // The unpacked length stands before the packed bytes; -1 says that they are not packed.
    let mut head = [0u8; 8];
    part.read_exact(&mut head).ok().ok_or_else(|| short(end - at))?;
    let unpacked = i64::from_le_bytes(head);
    if unpacked == -1 {
        return if end - at - 8 < needed { Err(short(end - at - 8)) } else { Ok(Box::new(part)) };
    }
    let unpacked = u64::try_from(unpacked).ok().ok_or_else(|| short(0))?;
    if unpacked < needed {
        return Err(short(unpacked));
    }
    Ok(match codec {
        Codec::Zstandard => {
            Box::new(zstd::stream::read::Decoder::new(part).map_err(|e| e.to_string())?)
        }
        _ => Box::new(lz4_flex::frame::FrameDecoder::new(part)),
    })
}
