//! What is looked at on a page. A fault is a line that begins with the kind of check that found it.

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;

use serde_json::{Value, json};

use super::control::Browser;

/// The kinds of checks; `every_check_can_fail` has a page with a fault of each kind.
pub(crate) const KINDS: [&str; 12] = [
    "console",
    "request",
    "weight",
    "structure",
    "width",
    "contrast",
    "targets",
    "keyboard",
    "sorting",
    "print",
    "print width",
    "print heading",
];

/// The heaviest page allowed, bytes.
const HEAVIEST: u64 = 1_500_000;
/// Widths without a scroll bar below the page: a small phone, the width that WCAG 1.4.10 asks for, a
/// tablet, a wide screen.
const WIDTHS: [u32; 4] = [320, 360, 768, 1600];
/// A4 and Letter, inches, and the pixels (96 an inch) that lie between the margins that `print` asks for.
const PAPERS: [(&str, f64, f64, u32); 2] = [("A4", 8.268, 11.693, 688), ("Letter", 8.5, 11.0, 710)];
/// Most presses of the tab key to reach the first heading that sorts.
const MOST_TABS: usize = 400;

/// All faults of one page.
pub(crate) fn faults(browser: &mut Browser, file: &Path) -> Vec<String> {
    let mut faults = Vec::new();
    let weight = fs::metadata(file).expect("the page").len();
    if weight > HEAVIEST {
        faults.push(format!("weight: {weight} bytes, at most {HEAVIEST}"));
    }
    browser.resize(1200, 900);
    browser.show_as("screen", "light");
    browser.open(file);
    // Whatever the page does by itself, it does soon.
    browser.ask("new Promise(done => setTimeout(done, 100))");
    faults.extend(events(browser));
    keyboard(browser, &mut faults);
    browser.ask(include_str!("checks.js"));
    // What a reader can open is looked at too.
    browser.ask("document.querySelectorAll('details').forEach(one => { one.open = true; })");
    told(browser, "structure", "structure", "", &mut faults);
    for scheme in ["light", "dark"] {
        browser.show_as("screen", scheme);
        told(browser, "contrast", "contrast", scheme, &mut faults);
    }
    browser.show_as("screen", "light");
    for width in WIDTHS {
        browser.resize(width, 900);
        told(browser, "width", "width", &format!("at {width} px"), &mut faults);
        told(browser, "targets", "targets", &format!("at {width} px"), &mut faults);
    }
    browser.resize(1200, 900);
    sorting(browser, &mut faults);
    printing(browser, &mut faults);
    // Nothing of the above may have made it ask for something.
    faults.extend(events(browser));
    faults
}

fn told(browser: &mut Browser, check: &str, kind: &str, when: &str, faults: &mut Vec<String>) {
    let wrong = browser.ask(&format!("checks.{check}()"));
    for line in wrong.as_array().expect("a list of faults") {
        faults.push(format!("{kind}: {when} {}", line.as_str().unwrap_or_default()));
    }
}

/// What the browser told: messages on the console, violations of the policy, requests.
fn events(browser: &mut Browser) -> Vec<String> {
    let mut faults = Vec::new();
    let mut documents = 0;
    for event in std::mem::take(&mut browser.events) {
        let about = &event["params"];
        match event["method"].as_str().unwrap_or_default() {
            "Runtime.consoleAPICalled" | "Runtime.exceptionThrown" | "Log.entryAdded" => {
                faults.push(format!("console: {about}"));
            }
            "Network.requestWillBeSent" => {
                let address = about["request"]["url"].as_str().unwrap_or_default();
                let own = about["type"] == "Document" && address.starts_with("file:");
                documents += usize::from(own);
                if documents > 1 || !(own || address.starts_with("data:")) {
                    faults.push(format!("request: {address}"));
                }
            }
            _ => {}
        }
    }
    faults
}

/// Sorts every column of every table by the enter key: the same rows, in the order that is announced.
fn sorting(browser: &mut Browser, faults: &mut Vec<String>) {
    let headings = browser.ask(
        "Array.from(document.querySelectorAll('table.sorts'), (t, i) => Array.from(t.tHead.rows[0].cells, \
         (c, j) => c.querySelector('button') ? [i, j] : null).filter(Boolean)).flat()",
    );
    let unsorted = browser.ask(
        "Array.from(document.querySelectorAll('table:not(.sorts):not(.fixed)')).filter(t => t.tHead && \
         t.tHead.rows.length === 1 && t.tBodies[0].rows.length > 2).length",
    );
    if unsorted != json!(0) {
        faults.push(format!("sorting: {unsorted} tables cannot be sorted"));
    }
    for at in headings.as_array().expect("a list of headings") {
        let (table, heading) = (&at[0], &at[1]);
        let column =
            |browser: &mut Browser| browser.ask(&format!("checks.column({table}, {heading})"));
        let first = column(browser);
        let mut orders = Vec::new();
        for _ in 0..2 {
            browser.ask(&format!(
                "document.querySelectorAll('table.sorts')[{table}].tHead.rows[0].cells[{heading}]\
                 .querySelector('button').focus()"
            ));
            browser.press("Enter");
            let now = column(browser);
            if now["rows"] != first["rows"] {
                faults.push(format!("sorting: table {table} lost or gained rows"));
            }
            orders.push(now["sort"].as_str().unwrap_or_default().to_owned());
            if let Some(wrong) = out_of_order(&now) {
                faults.push(format!("sorting: table {table}, column {heading}: {wrong}"));
            }
        }
        orders.sort();
        if orders != ["ascending", "descending"] {
            faults.push(format!("sorting: table {table}, column {heading} announced {orders:?}"));
        }
    }
}

/// Two neighbours that stand the wrong way round.
fn out_of_order(column: &Value) -> Option<String> {
    let cells: Vec<&str> =
        column["cells"].as_array()?.iter().map(|c| c.as_str().unwrap_or_default()).collect();
    // Only columns of plain numbers are judged here: their order needs no rule of a language.
    let numbers: Vec<f64> = cells.iter().map_while(|cell| cell.parse().ok()).collect();
    if numbers.len() != cells.len() {
        return None;
    }
    let down = column["sort"] == "descending";
    numbers
        .windows(2)
        .find(|pair| if down { pair[0] < pair[1] } else { pair[0] > pair[1] })
        .map(|pair| format!("{} before {}, {}", pair[0], pair[1], column["sort"]))
}

/// The first heading that sorts is reached with the tab key, and the first stop is the way to the answer.
fn keyboard(browser: &mut Browser, faults: &mut Vec<String>) {
    browser.press("Tab");
    let first = browser.ask("document.activeElement.className");
    if first != json!("skip") {
        faults.push(format!("keyboard: the first stop is {first}, expected the way to the answer"));
    }
    // A heading inside closed details is reached when they are opened.
    let shown =
        "[...document.querySelectorAll('thead button')].filter(b => b.checkVisibility()).length";
    if browser.ask(shown) == json!(0) {
        return;
    }
    let reached = (0..MOST_TABS).any(|_| {
        browser.press("Tab");
        browser.ask("document.activeElement.closest('thead') !== null") == json!(true)
    });
    if !reached {
        faults.push("keyboard: no heading of a table is reached with the tab key".to_owned());
    }
}

/// No picture is cut by the end of a printed page, no heading stands alone at its foot, and nothing is
/// wider than the paper.
fn printing(browser: &mut Browser, faults: &mut Vec<String>) {
    let figures = browser.ask("checks.marks()");
    browser.show_as("print", "light");
    let headings = browser.ask("checks.headings()");
    for (paper, width, height, room) in PAPERS {
        // While a medium is set, a browser prints as that one.
        browser.show_as("print", "light");
        let pdf = browser.print(width, height);
        let sides = sides(&pdf);
        for figure in 0..figures.as_u64().expect("a number of figures") {
            match (sides.get(&("begin".to_owned(), figure)), sides.get(&("end".to_owned(), figure)))
            {
                (Some(begin), Some(end)) if begin == end => {}
                places => {
                    faults.push(format!("print: {paper}: picture {figure} is cut: {places:?}"))
                }
            }
        }
        for (at, heading) in (0..).zip(headings.as_array().expect("a list of headings")) {
            let on = |side: &str| sides.get(&(side.to_owned(), at));
            match (on("label"), on("labelled")) {
                (Some(heading), Some(follows)) if heading == follows => {}
                (own, follows) => faults.push(format!(
                    "print heading: {paper}: {heading} stands on {own:?}, what follows on {follows:?}"
                )),
            }
        }
        browser.resize(room, 900);
        told(browser, "width", "print width", paper, faults);
        browser.resize(1200, 900);
        browser.show_as("screen", "light");
    }
}

/// On which page of the PDF the marks before and after each picture stand.
fn sides(pdf: &[u8]) -> BTreeMap<(String, u64), u32> {
    let document = lopdf::Document::load_mem(pdf).expect("a PDF");
    let mut found = BTreeMap::new();
    for (number, page) in document.get_pages() {
        let Ok(links) = document.get_page_annotations(page) else { continue };
        for link in links {
            let action = link.get(b"A").and_then(|a| document.dereference(a));
            let address = action.and_then(|(_, a)| a.as_dict()?.get(b"URI")?.as_str());
            let Ok(address) = address.map(String::from_utf8_lossy) else { continue };
            let parts = address.strip_prefix("https://").and_then(|a| a.split_once(".invalid/"));
            if let Some((side, figure)) = parts
                && let Ok(figure) = figure.parse()
            {
                found.insert((side.to_owned(), figure), number);
            }
        }
    }
    found
}
