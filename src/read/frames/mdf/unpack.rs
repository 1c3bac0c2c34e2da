//! Packed data blocks (DZ): deflate, or deflate of bytes that were transposed before.
//!
//! ```text
//! org block type 2 bytes · kind u8 (0 deflate, 1 transposed) · 0 · columns u32 · unpacked u64 · packed u64
//! ```
//! Transposing lays the records of a block out by columns: all first bytes, then all second bytes, …;
//! what does not fill a record stands behind, as it was.

use std::io::Read;

use flate2::read::ZlibDecoder;

use super::Fault;
use super::blocks::{u32_at, u64_at};

/// The largest unpacked block that is read; writers make 4 MiB.
pub(super) const LARGEST_UNPACKED: u64 = 64 << 20;
/// Deflate packs at most 1032 to 1; what claims more is false.
const BEST_RATIO: u64 = 1032;

/// How a block is packed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Packing {
    /// Packed bytes.
    pub size: u64,
    /// Columns, when the bytes were transposed.
    columns: Option<u32>,
}

impl Packing {
    /// Reads the head of a packed block; also gives the unpacked length.
    ///
    /// # Errors
    /// When it is packed in another way, or claims what its bytes cannot hold.
    pub(super) fn of_head(head: &[u8], at: u64, room: u64) -> Result<(Packing, u64), Fault> {
        let fault = |reason: String| Fault::new(at, reason);
        let fields = (head.get(2), u32_at(head, 4), u64_at(head, 8), u64_at(head, 16));
        let (Some(kind), Some(columns), Some(length), Some(size)) = fields else {
            return Err(fault("a packed MDF block cut short".to_owned()));
        };
        let columns = match kind {
            0 => None,
            1 => Some(columns),
            other => {
                return Err(fault(format!(
                    "an MDF block packed in way {other}; 0 (deflate) and 1 (transposed) are read"
                )));
            }
        };
        if size > room.saturating_sub(head.len() as u64) {
            return Err(fault("a packed MDF block longer than itself".to_owned()));
        }
        if length > LARGEST_UNPACKED || length > size.saturating_mul(BEST_RATIO) {
            return Err(fault(format!("a packed MDF block of {size} bytes that claims {length}")));
        }
        Ok((Packing { size, columns }, length))
    }

    /// Unpacks; `length` is what the head said.
    ///
    /// # Errors
    /// When the bytes are damaged, or are more or fewer than said.
    pub(super) fn unpack(self, packed: &[u8], length: u64) -> Result<Vec<u8>, String> {
        let mut bytes = Vec::new();
        ZlibDecoder::new(packed)
            .take(length.saturating_add(1))
            .read_to_end(&mut bytes)
            .map_err(|e| format!("a packed MDF block is damaged: {e}"))?;
        if bytes.len() as u64 != length {
            return Err("a packed MDF block unpacks to another length than it says".to_owned());
        }
        let columns = self.columns.and_then(|columns| usize::try_from(columns).ok()).unwrap_or(0);
        Ok(if columns > 1 { rows_of_columns(&bytes, columns) } else { bytes })
    }
}

fn rows_of_columns(bytes: &[u8], columns: usize) -> Vec<u8> {
    let rows = bytes.len() / columns;
    let (matrix, behind) = bytes.split_at(rows * columns);
    let mut found = vec![0; matrix.len()];
    if rows > 0 {
        for (column, values) in matrix.chunks_exact(rows).enumerate() {
            for (value, row) in values.iter().zip(found.chunks_exact_mut(columns)) {
                row[column] = *value;
            }
        }
    }
    found.extend_from_slice(behind);
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn columns_become_rows() {
        assert_eq!(rows_of_columns(b"adbecfXY", 3), b"abcdefXY");
        assert_eq!(rows_of_columns(b"ab", 3), b"ab");
        assert_eq!(rows_of_columns(b"", 3), b"");
    }

    #[test]
    fn a_bomb_is_refused_before_it_is_unpacked() {
        let head = |kind: u8, length: u64, size: u64| {
            [&b"DT"[..], &[kind, 0], &[0; 4], &length.to_le_bytes(), &size.to_le_bytes()].concat()
        };
        let reason = |head: &[u8]| Packing::of_head(head, 0, 124).err().map(|f| f.reason);
        assert!(reason(&head(0, 4 << 30, 100)).unwrap().contains("claims 4294967296"));
        assert!(reason(&head(0, 1 << 20, 100)).unwrap().contains("claims"));
        assert!(reason(&head(0, 100, 101)).unwrap().contains("longer than itself"));
        assert!(reason(&head(2, 100, 50)).unwrap().contains("way 2"));
        assert_eq!(reason(&head(1, 100, 50)), None);
    }
}
