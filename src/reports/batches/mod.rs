//! The batch view on files and terminal: `batches.json`, `batches.csv`, `batch_units.csv`,
//! `build_weeks.csv`, `swaps.csv`, and the page.

mod json;
mod tables;
mod terminal;
pub(super) mod wording;

pub(super) use json::Batches;
pub use terminal::batch_lines;

use super::whole_file::Output;
use super::{Formats, Heading, ReportError, pages};
use crate::batches::BatchView;
use crate::read::Tally;

/// The batch view as files that are still to be written, the page first.
///
/// # Errors
/// When an output cannot be put together.
pub fn render_batches(
    heading: &Heading,
    formats: Formats,
    view: &BatchView,
    tally: &Tally,
) -> Result<Vec<Output<'static>>, ReportError> {
    let mut outputs = Vec::new();
    if formats.html {
        outputs.push(Output::new("report.html", pages::batches_page(heading, view, tally)?));
    }
    if formats.json {
        outputs.push(Output::new("batches.json", json::batches_json(heading, view)?));
    }
    if formats.csv {
        outputs.push(tables::groups(view)?);
        outputs.push(tables::units(view)?);
        outputs.push(tables::build_weeks(view)?);
        outputs.push(tables::swaps(view)?);
    }
    Ok(outputs)
}
