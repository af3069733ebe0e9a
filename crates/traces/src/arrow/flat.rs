//! FlatBuffers tables, read where they lie: every step is checked, and what is not there is `None`.
//!
//! Source of the format: the FlatBuffers documentation, "FlatBuffer Internals". Arrow's metadata need a small part of it: tables with scalars, strings, lists.

/// A table inside a message's metadata.
#[derive(Debug, Clone, Copy)]
pub(super) struct Table<'a> {
    bytes: &'a [u8],
    at: usize,
}

fn take<const N: usize>(bytes: &[u8], at: usize) -> Option<[u8; N]> {
    bytes.get(at..at.checked_add(N)?)?.try_into().ok()
}

/// The position that an offset at `at` points to.
fn follow(bytes: &[u8], at: usize) -> Option<usize> {
    at.checked_add(u32::from_le_bytes(take(bytes, at)?) as usize)
}

impl<'a> Table<'a> {
    /// The table that a buffer starts with.
    pub(super) fn root(bytes: &'a [u8]) -> Option<Self> {
        Some(Self { bytes, at: follow(bytes, 0)? })
    }

    /// Where a field lies; `None`: left out, so its default holds.
    fn slot(&self, field: usize) -> Option<usize> {
        let back = i32::from_le_bytes(take(self.bytes, self.at)?);
        let vtable = usize::try_from(i64::try_from(self.at).ok()? - i64::from(back)).ok()?;
        let size = u16::from_le_bytes(take(self.bytes, vtable)?);
        let slot = 4 + 2 * field;
        if slot + 2 > usize::from(size) {
            return None;
        }
        let offset = u16::from_le_bytes(take(self.bytes, vtable.checked_add(slot)?)?);
        (offset != 0).then(|| self.at + usize::from(offset))
    }

    fn scalar<const N: usize>(&self, field: usize) -> Option<[u8; N]> {
        take(self.bytes, self.slot(field)?)
    }

    pub(super) fn byte(&self, field: usize) -> Option<u8> {
        self.scalar::<1>(field).map(|b| b[0])
    }

    pub(super) fn i16(&self, field: usize) -> Option<i16> {
        self.scalar(field).map(i16::from_le_bytes)
    }

    pub(super) fn i32(&self, field: usize) -> Option<i32> {
        self.scalar(field).map(i32::from_le_bytes)
    }

    pub(super) fn i64(&self, field: usize) -> Option<i64> {
        self.scalar(field).map(i64::from_le_bytes)
    }

    pub(super) fn table(&self, field: usize) -> Option<Self> {
        Some(Self { bytes: self.bytes, at: follow(self.bytes, self.slot(field)?)? })
    }

    pub(super) fn text(&self, field: usize) -> Option<&'a str> {
        std::str::from_utf8(self.list(field, 1)?.1).ok()
    }

    /// Where a list's elements of this size lie, and their bytes.
    fn list(&self, field: usize, size: usize) -> Option<(usize, &'a [u8])> {
        let at = follow(self.bytes, self.slot(field)?)?;
        let count = u32::from_le_bytes(take(self.bytes, at)?) as usize;
        let first = at + 4;
        Some((first, self.bytes.get(first..first.checked_add(count.checked_mul(size)?)?)?))
    }

    fn eights(&self, field: usize, size: usize) -> &'a [[u8; 8]] {
        self.list(field, size).map_or(&[], |(_, bytes)| bytes.as_chunks().0)
    }

    /// A list of tables; those that do not lie in the buffer are left out.
    pub(super) fn tables(&self, field: usize) -> impl Iterator<Item = Self> + use<'a> {
        let bytes = self.bytes;
        let (first, list) = self.list(field, 4).unwrap_or((0, &[]));
        let places = (0..list.len() / 4).map(move |k| first + 4 * k);
        places.filter_map(move |at| Some(Self { bytes, at: follow(bytes, at)? }))
    }

    /// A list of structures of two 64-bit numbers.
    pub(super) fn pairs(&self, field: usize) -> Vec<(i64, i64)> {
        let pairs = self.eights(field, 16).as_chunks::<2>().0;
        pairs.iter().map(|[a, b]| (i64::from_le_bytes(*a), i64::from_le_bytes(*b))).collect()
    }

    /// A list of 64-bit numbers.
    pub(super) fn longs(&self, field: usize) -> Vec<i64> {
        self.eights(field, 8).iter().map(|b| i64::from_le_bytes(*b)).collect()
    }
}
