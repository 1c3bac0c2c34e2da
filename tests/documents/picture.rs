//! The picture in the README: what the first command prints, drawn as text; renewed with the reports.

use std::fmt::Write as _;
use std::fs;

use super::GUIDE;
use crate::program::{RENEW, project, renewing, said, sample};

/// Lines shown; what was read and rejected stands below them.
const LINES: usize = 30;
/// One character and one line, in units of the picture.
const CHARACTER: f64 = 7.23;
const LINE: usize = 17;

fn picture(text: &str) -> String {
    let lines: Vec<&str> = text.lines().take(LINES).map(str::trim_end).collect();
    let lines =
        &lines[..lines.iter().rposition(|line| !line.is_empty()).map_or(0, |last| last + 1)];
    let columns = lines.iter().map(|line| line.chars().count()).max().unwrap_or(0);
    let columns = f64::from(u32::try_from(columns).expect("a line of a terminal"));
    let (width, height) = ((columns * CHARACTER).ceil() + 24.0, lines.len() * LINE + 24);
    let mut out = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {width} {height}\" width=\"{width}\" \
         height=\"{height}\" role=\"img\">\n\
         <title>What the first command prints on the sample logs</title>\n\
         <style>rect{{fill:#fbfaf7;stroke:#8a8577}}text{{fill:#22211d;font:12px ui-monospace,Menlo,Consolas,\
         monospace;white-space:pre}}.h{{font-weight:bold}}@media(prefers-color-scheme:dark){{rect{{fill:#1d1f21}}\
         text{{fill:#e6e3da}}}}</style>\n\
         <rect x=\".5\" y=\".5\" width=\"{}\" height=\"{}\" rx=\"6\"/>\n",
        width - 1.0,
        height - 1
    );
    for (at, line) in lines.iter().enumerate().filter(|(_, line)| !line.is_empty()) {
        let escaped = line.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;");
        let class = if at == 0 { " class=\"h\"" } else { "" };
        let y = 12 + (at + 1) * LINE - 5;
        let _ = writeln!(
            out,
            "<text x=\"12\" y=\"{y}\" xml:space=\"preserve\"{class}>{escaped}</text>"
        );
    }
    out + "</svg>\n"
}

#[test]
fn committed_picture_shows_what_the_program_prints() {
    let work = sample();
    let made = picture(&said(work.path(), &["run", "pipelines/weekly.toml"]));
    let path = project().join(GUIDE).join("weekly.svg");
    if renewing() {
        fs::write(&path, made).expect("the picture");
        return;
    }
    assert!(
        fs::read_to_string(&path).is_ok_and(|found| found == made),
        "{GUIDE}/weekly.svg is not what is printed; {RENEW}"
    );
}
