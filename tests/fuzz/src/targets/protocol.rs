//! What single frames mean: error frames, J1939 identifiers, live values.

use crate::protocol::{error_frames, frame_timing, j1939, live_values};
use crate::vocabulary::Identifier;

/// Four bytes of identifier, eight of data, one of length.
pub fn frames(data: &[u8]) {
    let Some((id, rest)) = data.split_first_chunk::<4>() else { return };
    let Some((bytes, rest)) = rest.split_first_chunk::<8>() else { return };
    let (id, bytes) = (u32::from_be_bytes(*id), u64::from_be_bytes(*bytes));
    let length = rest.first().copied().unwrap_or(8);
    let _ = error_frames::meaning(id, bytes);
    let _ = error_frames::wire_fault(id, bytes);
    assert!(error_frames::classes(id).len() < 1000);
    for id in [Identifier(id), Identifier::base(id), Identifier::extended(id)] {
        assert!(j1939::header(id).is_none() || id.is_extended());
        if let Some((quantity, value)) = live_values::value(id, bytes, length) {
            assert!(value.is_finite(), "{} of {id} is {value}", quantity.name());
        }
        let least = frame_timing::bits_without_stuffing(id.is_extended(), length);
        assert!(least <= frame_timing::bits_at_worst(id.is_extended(), length));
    }
}
