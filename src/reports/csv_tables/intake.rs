//! What was refused at the door.

use super::{Cell, Sheet, plain, text};
use crate::read::Tally;
use crate::reports::ReportError;
use crate::reports::whole_file::Output;
use crate::vocabulary::Spot;

/// A row per rejected record or run of records; the header alone when nothing was rejected.
pub(super) fn rejects(tally: &Tally) -> Result<Output<'static>, ReportError> {
    let mut sheet = Sheet::new("rejects.csv", "file place records reason")?;
    for reject in &tally.rejects {
        let place = match reject.place.spot {
            Spot::Whole => Cell("whole file".to_owned()),
            Spot::Line(line) => Cell(format!("line {line}")),
            Spot::Byte(offset) => Cell(format!("byte {offset}")),
            Spot::Page(page, line) => Cell(format!("page {page} line {line}")),
        };
        sheet.row([
            text(&reject.place.file),
            place,
            plain(reject.records),
            text(&reject.reason),
        ])?;
    }
    sheet.done()
}
