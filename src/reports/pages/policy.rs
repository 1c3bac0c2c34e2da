//! What a page lets its browser do: nothing but its own style and its own script, each named by its hash.
//!
//! The hash is over the text between the tags, so the templates put nothing else there. A style
//! attribute, a second script or anything from outside is refused by the browser, whoever wrote it.

use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use sha2::{Digest, Sha256};

/// The style of every page.
pub(super) const STYLE: &str =
    concat!(include_str!("../templates/style.css"), include_str!("../templates/weekly.css"));
/// The script of every page: sorts tables from their headings.
pub(super) const SCRIPT: &str = include_str!("../templates/sort.js");

/// The policy, as it stands in the page's head (Content Security Policy Level 3, W3C).
pub(super) fn policy() -> String {
    let hash = |text: &str| STANDARD.encode(Sha256::digest(text.as_bytes()));
    format!(
        "default-src 'none'; style-src 'sha256-{}'; script-src 'sha256-{}'; img-src data:; \
         base-uri 'none'; form-action 'none'",
        hash(STYLE),
        hash(SCRIPT)
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_inside_style_or_script_could_end_its_element() {
        for text in [STYLE, SCRIPT] {
            assert!(!text.contains("</") && !text.contains("<!--"));
        }
    }

    #[test]
    fn the_hash_is_the_standards_own() {
        // FIPS 180-4, the digest of the empty message.
        assert_eq!(
            STANDARD.encode(Sha256::digest(b"")),
            "47DEQpj8HBSa+/TImW+5JCeuQeRkm5NMpJWZG3hSuFU="
        );
    }

    /// The colours of a block of custom properties: name and relative luminance.
    fn palette(block: &str) -> std::collections::BTreeMap<String, f64> {
        block
            .split(';')
            .filter_map(|line| line.trim().split_once(": #"))
            .filter_map(|(name, hex)| {
                let name = name.rsplit_once("--")?.1.trim().to_owned();
                let hex = match hex.len() {
                    3 => hex.chars().flat_map(|c| [c, c]).collect(),
                    _ => hex.to_owned(),
                };
                let part = |at: usize| u8::from_str_radix(hex.get(at..at + 2)?, 16).ok();
                Some((name, luminance([part(0)?, part(2)?, part(4)?])))
            })
            .collect()
    }

    /// Relative luminance (WCAG 2.2, definition "relative luminance").
    fn luminance(rgb: [u8; 3]) -> f64 {
        let [r, g, b] = rgb.map(|part| {
            let part = f64::from(part) / 255.0;
            if part <= 0.04045 { part / 12.92 } else { ((part + 0.055) / 1.055).powf(2.4) }
        });
        0.2126 * r + 0.7152 * g + 0.0722 * b
    }

    fn contrast(a: f64, b: f64) -> f64 {
        (a.max(b) + 0.05) / (a.min(b) + 0.05)
    }

    #[test]
    fn contrast_is_enough_in_light_dark_and_print() {
        // Outside values: black on white is 21, #777 on white 4.48 (WCAG 2.2 techniques G18).
        let white = luminance([255; 3]);
        assert!((contrast(white, luminance([0; 3])) - 21.0).abs() < 1e-9);
        assert!((contrast(white, luminance([0x77; 3])) - 4.48).abs() < 0.005);
        let blocks: Vec<_> = STYLE
            .split(":root {")
            .skip(1)
            .filter_map(|rest| rest.split('}').next())
            .map(palette)
            .collect();
        assert_eq!(blocks.len(), 3, "light, dark and print");
        for block in &blocks {
            for ground in ["paper", "card"] {
                // Text, at 4.5 to 1 (criterion 1.4.3).
                for text in ["ink", "soft", "for", "against", "mark", "link"] {
                    let found = contrast(block[text], block[ground]);
                    assert!(found >= 4.5, "{text} on {ground}: {found:.2}");
                }
                // Shapes that carry meaning, at 3 to 1 (criterion 1.4.11).
                let found = contrast(block["block"], block[ground]);
                assert!(found >= 3.0, "block on {ground}: {found:.2}");
            }
        }
    }
}
