//! A vehicle's name as the name of a folder.
//!
//! Vehicle names come from inputs and may hold anything: separators, dots, control characters,
//! words that a file system reserves. All but letters, digits, `-` and `_` of ASCII is written as
//! `%XX`, and a name that gets too long is cut and marked with a hash of the whole.

use xxhash_rust::xxh3::xxh3_128;

/// Bytes of an escaped name before it is cut.
const LONGEST: usize = 120;

/// The folder's name for a vehicle; different vehicles get different names.
pub(super) fn vehicle_folder(vehicle: &str) -> String {
    let mut name = "vehicle=".to_owned();
    let escaped_from = name.len();
    for &byte in vehicle.as_bytes() {
        let before = name.len();
        if byte.is_ascii_alphanumeric() || matches!(byte, b'-' | b'_') {
            name.push(char::from(byte));
        } else {
            name.push_str(&format!("%{byte:02X}"));
        }
        if name.len() - escaped_from > LONGEST {
            // `~` is never left unescaped above, so no whole name can look like a cut one.
            name.truncate(before);
            name.push_str(&format!("~{:032x}", xxh3_128(vehicle.as_bytes())));
            break;
        }
    }
    name
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn hostile_names_stay_inside_one_folder() {
        assert_eq!(vehicle_folder("LH-01"), "vehicle=LH-01");
        assert_eq!(vehicle_folder("../../etc"), "vehicle=%2E%2E%2F%2E%2E%2Fetc");
        assert_eq!(vehicle_folder("a\\b\0c."), "vehicle=a%5Cb%00c%2E");
        assert_eq!(vehicle_folder(""), "vehicle=");
        assert_eq!(vehicle_folder("%2E"), "vehicle=%252E");
    }

    #[test]
    fn long_names_are_cut_and_stay_apart() {
        let one = vehicle_folder(&"é".repeat(5_000));
        let other = vehicle_folder(&"é".repeat(5_001));
        assert!(one.len() < 200, "{one}");
        assert_ne!(one, other);
        assert!(!one.contains("%~"), "an escape must not be cut in two: {one}");
    }
}
