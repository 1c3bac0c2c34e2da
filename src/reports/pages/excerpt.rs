//! The frames around an onset as a table: who sent what, and where the sender is missed.

use serde::Serialize;

use super::NAME;
use crate::observe::{ExcerptFrame, ExcerptRow};
use crate::protocol::error_frames;
use crate::read::frames::FrameKind;
use crate::reports::OnsetExcerpt;
use crate::reports::wording::{grouped, number, shown, span};

#[derive(Serialize)]
pub(super) struct Shown {
    what: String,
    place: String,
    said: String,
    /// Whether a frame has more data than is shown.
    long: bool,
    rows: Vec<Row>,
}

#[derive(Default, Serialize)]
struct Row {
    /// Set where frames were passed over or a frame was due; the other fields are then empty.
    skipped: Option<String>,
    offset: String,
    sender: String,
    id: String,
    data: String,
    mark: &'static str,
    own: bool,
}

pub(super) fn excerpt(onset: &OnsetExcerpt) -> Shown {
    let mut rows = Vec::new();
    let mut due = onset.due_s;
    let silence = onset.node.is_some();
    for (row, sender) in onset.frames.rows.iter().zip(&onset.senders) {
        // Where the next frame of the silent node was due stands between those that came.
        let until = match row {
            ExcerptRow::Frame(frame) => frame.offset_s,
            ExcerptRow::Skipped(..) => f64::INFINITY,
        };
        if let Some(missed) = due.filter(|due| *due <= until) {
            rows.push(Row {
                skipped: Some(format!("at {} ms its next frame was due", milliseconds(missed))),
                ..Row::default()
            });
            due = None;
        }
        rows.push(match row {
            ExcerptRow::Frame(frame) => self::row(frame, sender, silence),
            ExcerptRow::Skipped(frames, seconds) => Row {
                skipped: Some(match (silence, onset.frames.returned) {
                    (true, true) => format!(
                        "{} frames of others in {}, none from it",
                        grouped(*frames),
                        span(*seconds)
                    ),
                    (true, false) => format!(
                        "{} frames of others in the next {}, none from it: not looked further",
                        grouped(*frames),
                        span(*seconds)
                    ),
                    _ => format!("{} frames in {}", grouped(*frames), span(*seconds)),
                }),
                ..Row::default()
            },
        });
    }
    let long = |row: &ExcerptRow| matches!(row, ExcerptRow::Frame(frame) if frame.length > 8);
    let all: u64 = onset.frames.rows.iter().map(counted).sum();
    Shown {
        what: shown(&onset.what, NAME + 40),
        place: shown(&onset.place.to_string(), 120),
        said: format!("Rests on {} frames read.", grouped(all)),
        long: onset.frames.rows.iter().any(long),
        rows,
    }
}

fn counted(row: &ExcerptRow) -> u64 {
    match row {
        ExcerptRow::Frame(_) => 1,
        ExcerptRow::Skipped(frames, _) => *frames,
    }
}

fn milliseconds(seconds: f64) -> String {
    let sign = if seconds > 0.0 { "+" } else { "" };
    format!("{sign}{}", number(seconds * 1000.0, 1))
}

fn row(frame: &ExcerptFrame, sender: &str, silence: bool) -> Row {
    let error = frame.kind == FrameKind::Error;
    let bytes = (0..usize::from(frame.length).min(8)).map(|at| frame.data.to_be_bytes()[at]);
    let data: Vec<String> = bytes.map(|byte| format!("{byte:02X}")).collect();
    let mark = match (frame.own, silence) {
        (true, false) => "first of it",
        (true, true) if frame.offset_s > 0.0 => "heard again",
        (true, true) if frame.offset_s < 0.0 => "heard",
        (true, true) => "last heard",
        _ if frame.kind == FrameKind::Remote => "request",
        _ => "",
    };
    let what = match error {
        true => format!("error frame: {}", error_frames::classes(frame.id.value())),
        false => sender.to_owned(),
    };
    Row {
        skipped: None,
        offset: milliseconds(frame.offset_s),
        sender: shown(&what, NAME),
        id: if error { "–".to_owned() } else { frame.id.to_string() },
        data: if frame.length > 8 { format!("{} …", data.join(" ")) } else { data.join(" ") },
        mark,
        own: frame.own,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::observe::Excerpt;
    use crate::vocabulary::{Identifier, Place};

    fn frame(offset_s: f64, id: u32, own: bool) -> ExcerptRow {
        ExcerptRow::Frame(ExcerptFrame {
            line: 1,
            offset_s,
            id: Identifier::base(id),
            length: 2,
            data: 0x0A0B_0000_0000_0000,
            kind: FrameKind::Data,
            own,
        })
    }

    #[test]
    fn the_missed_frame_stands_where_it_was_due() {
        let rows = vec![
            frame(-0.01, 0x1B0, false),
            frame(0.0, 0x1A0, true),
            frame(0.005, 0x1B0, false),
            frame(0.03, 0x1B0, false),
            ExcerptRow::Skipped(1234, 2.0),
            frame(2.1, 0x1A0, true),
        ];
        let shown = excerpt(&OnsetExcerpt {
            node: Some("brake".to_owned()),
            what: "brake falls silent".to_owned(),
            place: Place::line(&"a.log".into(), 7),
            due_s: Some(0.02),
            senders: vec!["x".to_owned(); rows.len()],
            frames: Excerpt { rows, returned: true },
        });
        let marks: Vec<&str> = shown.rows.iter().map(|r| r.mark).collect();
        assert_eq!(marks, ["", "last heard", "", "", "", "", "heard again"]);
        assert_eq!(shown.rows[3].skipped.as_deref(), Some("at +20.0 ms its next frame was due"));
        assert_eq!(shown.rows[0].offset, "\u{2212}10.0");
        assert_eq!(shown.rows[1].data, "0A 0B");
        assert!(shown.rows[5].skipped.as_deref().unwrap().starts_with("1\u{202f}234 frames"));
    }
}
