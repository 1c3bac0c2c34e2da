//! A walk over Thrift compact structures: enough to know that a Parquet footer or page header claims
//! nothing that its bytes cannot hold, before the Parquet library allocates by such a claim.
//!
//! Source: the Thrift compact protocol's published description. A list of n elements needs at least n
//! bytes, so a longer one is false. Nesting is bounded.

/// The deepest nesting walked.
const DEEPEST: u8 = 32;

/// The whole numbers among the first fields of a structure, and where it ends.
#[derive(Debug, Default, PartialEq)]
pub(super) struct Walked {
    /// Fields 1 to 7, when they are whole numbers.
    pub numbers: [Option<i64>; 8],
    /// How many bytes the structure took.
    pub length: usize,
}

/// Walks the structure that begins at the first byte; `None` when it is cut short or unsound.
pub(super) fn walk(bytes: &[u8]) -> Option<Walked> {
    let mut reader = Reader { bytes, at: 0 };
    let mut walked = Walked::default();
    reader.structure(0, Some(&mut walked.numbers))?;
    walked.length = reader.at;
    Some(walked)
}

struct Reader<'a> {
    bytes: &'a [u8],
    at: usize,
}

impl Reader<'_> {
    fn byte(&mut self) -> Option<u8> {
        let byte = *self.bytes.get(self.at)?;
        self.at += 1;
        Some(byte)
    }

    fn skip(&mut self, count: u64) -> Option<()> {
        let end = self.at.checked_add(usize::try_from(count).ok()?)?;
        (end <= self.bytes.len()).then(|| self.at = end)
    }

    fn varint(&mut self) -> Option<u64> {
        let mut value = 0u64;
        for shift in (0..64).step_by(7) {
            let byte = self.byte()?;
            value |= u64::from(byte & 0x7F) << shift;
            if byte & 0x80 == 0 {
                return Some(value);
            }
        }
        None
    }

    fn structure(&mut self, depth: u8, mut numbers: Option<&mut [Option<i64>; 8]>) -> Option<()> {
        if depth == DEEPEST {
            return None;
        }
        let mut field = 0i64;
        loop {
            let head = self.byte()?;
            if head == 0 {
                return Some(());
            }
            let step = i64::from(head >> 4);
            field = if step == 0 { zigzag(self.varint()?) } else { field.checked_add(step)? };
            let number = self.value(head & 0x0F, depth, true)?;
            let place = usize::try_from(field).ok();
            if let (Some(numbers), Some(place)) = (&mut numbers, place)
                && let Some(place) = numbers.get_mut(place)
            {
                *place = number;
            }
        }
    }

    /// Steps over a value; `Some(Some(n))` when it is a whole number.
    fn value(&mut self, kind: u8, depth: u8, in_field: bool) -> Option<Option<i64>> {
        match kind {
            // Yes and no stand in the field's head, but take a byte in a list.
            1 | 2 if in_field => {}
            1..=3 => self.skip(1)?,
            4..=6 => return Some(Some(zigzag(self.varint()?))),
            7 => self.skip(8)?,
            8 => {
                let length = self.varint()?;
                self.skip(length)?;
            }
            9 | 10 => {
                let head = self.byte()?;
                let short = u64::from(head >> 4);
                let count = if short == 15 { self.varint()? } else { short };
                self.items(count, &[head & 0x0F], depth)?;
            }
            11 => {
                let count = self.varint()?;
                if count > 0 {
                    let kinds = self.byte()?;
                    self.items(count, &[kinds >> 4, kinds & 0x0F], depth)?;
                }
            }
            12 => self.structure(depth + 1, None)?,
            13 => self.skip(16)?,
            _ => return None,
        }
        Some(None)
    }

    fn items(&mut self, count: u64, kinds: &[u8], depth: u8) -> Option<()> {
        if depth == DEEPEST || count > (self.bytes.len() - self.at) as u64 {
            return None;
        }
        for _ in 0..count {
            for kind in kinds {
                self.value(*kind, depth + 1, false)?;
            }
        }
        Some(())
    }
}

/// The signed number of a zigzag code.
fn zigzag(code: u64) -> i64 {
    (code >> 1).cast_signed() ^ -((code & 1).cast_signed())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn fields_of_a_page_header() {
        // 1: i32 0 (data page), 2: i32 300, 3: i32 150, 5: struct {1: i32 10}, end.
        let bytes = [0x15, 0, 0x15, 0xD8, 0x04, 0x15, 0xAC, 0x02, 0x2C, 0x15, 20, 0, 0, 99];
        let walked = walk(&bytes).unwrap();
        assert_eq!(walked.numbers[1..4], [Some(0), Some(300), Some(150)]);
        assert_eq!(walked.length, bytes.len() - 1);
        for cut in 0..walked.length {
            assert_eq!(walk(&bytes[..cut]), None, "{cut}");
        }
    }

    #[test]
    fn a_list_longer_than_its_bytes_and_deep_nesting_are_unsound() {
        assert_eq!(walk(&[0x19, 0xF5, 0xFF, 0xFF, 0xFF, 0xFF, 0x07, 0, 0]), None);
        assert_eq!(walk(&[0x1C; 200]), None);
        assert_eq!(walk(&[0x19; 200]), None);
    }
}
