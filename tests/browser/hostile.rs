//! Inputs whose every text tries to be more than text, and a page with every fault.

use std::path::Path;

use crate::program::write;

/// What the pages must say, as text.
pub(crate) const SAID: [&str; 4] = [
    "<script>document.title='owned'</script>",
    "<img src=x onerror=alert(1)>",
    "\"><b>bold</b>",
    "{{ 7*7 }}",
];

/// Writes a pipeline, a log, a report, notes and a network in which names, codes, notes and file names
/// carry markup, quotes, marks that turn the direction of writing, and ten thousand characters.
pub(crate) fn inputs(folder: &Path) {
    let long = "W".repeat(10_000);
    let [script, image, bold, template] = SAID;
    let vehicle = format!("{script}\u{202e}'\"&\u{200f}{long}");
    let pipeline = format!(
        "title = {}\n[inputs]\nbus_logs = [\"*.log\"]\nscan_reports = [\"*.json\"]\nservice = \
         [\"*.csv\"]\n[output]\nfolder = \"out\"\n",
        toml(&format!("{bold}\u{2066}{image}{template}"))
    );
    write(&folder.join("p.toml"), pipeline.as_bytes());
    // A file's name has no slash and at most 255 bytes.
    let file = format!("a{}\u{202e}'\"&{}.log", image.replace('/', ""), "w".repeat(120));
    let mut log = String::new();
    for tick in 0..2000 {
        let seconds = 1_768_197_600.0 + f64::from(tick) * 0.02;
        log.push_str(&format!("({seconds:.6}) can0 1A0#0102030405060708\n"));
        if !(400..600).contains(&tick) {
            log.push_str(&format!("({:.6}) can0 1B0#AABBCCDD\n", seconds + 0.003));
        }
    }
    log.push_str(&format!("(not a line {script}{long}\n"));
    write(&folder.join(file), log.as_bytes());
    let report = serde_json::json!({
        "vehicle": vehicle, "taken_at": "2026-01-12T06:01:00Z",
        "nodes": [
            {"node": format!("{image}{long}"), "answered": true, "codes": [
                {"code": "U0126"}, {"code": format!("{script}{template}")},
            ]},
            {"node": format!("{template}\u{202e}"), "answered": false, "codes": []},
        ],
    });
    write(&folder.join("one.json"), report.to_string().as_bytes());
    let mut notes = csv::Writer::from_writer(Vec::new());
    let target = format!("node:{image}");
    let note = format!("{bold}{script}\u{2066}{long}");
    for row in [
        ["time", "vehicle", "action", "target", "note"],
        ["2026-01-12T05:00:00Z", &vehicle, "inspect", &target, &note],
        ["2026-01-13T05:00:00Z", &vehicle, "replace", &target, &note],
    ] {
        notes.write_record(row).expect("a row");
    }
    write(&folder.join("notes.csv"), &notes.into_inner().expect("a table"));
}

/// A text as a TOML string.
fn toml(text: &str) -> String {
    // A JSON string is a TOML basic string.
    serde_json::json!(text).to_string()
}

/// A page with a fault of every kind.
pub(crate) fn broken_page() -> String {
    let rows: String = ["3", "1", "2"].map(|n| format!("<tr><td>{n}</td></tr>")).concat();
    let table = |class: &str, head: &str| {
        format!(
            "<table class=\"{class}\"><thead><tr><th aria-sort=\"none\">{head}</th></tr></thead>\
             <tbody>{rows}</tbody></table>"
        )
    };
    format!(
        "<!doctype html><html><head><meta charset=\"utf-8\"><title>broken</title></head><body>\
         <h1>One</h1><h3>Three</h3><img src=\"http://127.0.0.1:9/x.png\" alt=\"\">\
         <p style=\"color:#999;background:#fff\">pale</p>\
         <div style=\"width:2000px\">wide</div>\
         <button tabindex=\"-1\" style=\"padding:0;border:0;font-size:8px;height:9px\">small</button>\
         {}\
         <figure><div style=\"height:3000px\"></div></figure>{}\
         <script>console.error('told');</script><!--{}--></body></html>",
        table("sorts", "<button tabindex=\"-1\">does not sort</button>"),
        "<div style=\"height:90px\"></div><h2 style=\"break-after:auto\">alone</h2>\
         <p style=\"height:600px;break-inside:avoid\">what follows</p>"
            .repeat(12),
        "x".repeat(1_600_000),
    )
}
