//! What every column of every written table means, and every field of the JSON outputs.
//!
//! The words stand in `columns.csv` and `fields.csv` beside this file: a line a column, in the order of the
//! table; `empty` is what an empty cell means, nothing when there is none. Tests hold them against what is
//! written. The page, the JSON Schemas of rows and `buswitness columns` are made from here.

use std::collections::HashMap;
use std::fmt::Write as _;
use std::sync::LazyLock;

use crate::facts::schema_markdown;

const COLUMNS: &str = include_str!("columns.csv");
const FIELDS: &str = include_str!("fields.csv");

/// A written table.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Defined {
    /// The file, as in `evidence.csv`.
    pub file: String,
    /// What one row is.
    pub row: String,
    /// Its columns, in the order of the file.
    pub columns: Vec<Meaning>,
}

/// A column of a written table.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Meaning {
    /// Its name.
    pub name: String,
    /// `text`, `word` (of a fixed set, or a name), `list` (texts parted by `; `), `time` (RFC 3339, UTC),
    /// `number`, `count` (whole), `flag` (`true` or `false`).
    pub kind: String,
    /// The unit of its values; empty when they have none.
    pub unit: String,
    /// What an empty cell means; empty when no cell is.
    pub empty: String,
    /// What it means.
    pub meaning: String,
}

/// All written CSV tables, in the order of the page.
#[must_use]
pub fn tables() -> Vec<Defined> {
    let mut tables: Vec<Defined> = Vec::new();
    for [file, name, kind, unit, empty, meaning] in rows::<6>(COLUMNS) {
        match tables.iter_mut().find(|table| table.file == file) {
            Some(table) => table.columns.push(Meaning { name, kind, unit, empty, meaning }),
            None => tables.push(Defined { file, row: meaning, columns: Vec::new() }),
        }
    }
    tables
}

/// What a field of an object of a JSON output means.
pub(super) fn field(object: &str, name: &str) -> Option<String> {
    static MEANINGS: LazyLock<HashMap<[String; 2], String>> = LazyLock::new(|| {
        rows(FIELDS).into_iter().map(|[object, name, meaning]| ([object, name], meaning)).collect()
    });
    MEANINGS.get(&[object.to_owned(), name.to_owned()]).cloned()
}

/// The lines of a table of words; one that is no such line is left out, which a test notices.
fn rows<const N: usize>(text: &str) -> Vec<[String; N]> {
    let mut reader = csv::Reader::from_reader(text.as_bytes());
    let records = reader.records().flatten();
    let cells = records.map(|r| r.iter().map(str::to_owned).collect::<Vec<_>>());
    cells.filter_map(|cells| cells.try_into().ok()).collect()
}

/// The page that defines every column of every written table, as Markdown.
#[must_use]
pub fn columns_page() -> String {
    let mut page = String::from(
        "# Every column of every output\n\n\
         Made by `buswitness columns`; a test keeps it so. How each number is computed, and from which source, \
         stands in [DEVELOPERS.md](../../DEVELOPERS.md#numbers).\n\n\
         Times are UTC. Units stand in the names or below. **An empty cell means what the column says under \
         \u{201c}empty\u{201d}; it is never 0.** In CSV a list is parted by `; `, a flag is `true` or `false`, a text \
         that a spreadsheet would take for a formula has a `'` in front. A condition is declared in advance; \
         95 % intervals and p values are about one vehicle unless said otherwise.\n\n\
         ## CSV\n\n",
    );
    for table in tables() {
        page.push_str(&table_page(&table));
    }
    page.push_str(
        "## Parquet\n\n\
         Words and names that recur are dictionary-encoded: categories in polars and pandas, text in DuckDB. \
         Tables that are only kept between runs, below `facts/`, are listed too.\n\n",
    );
    page.push_str(&schema_markdown());
    page.push_str("## JSON\n\n");
    page.push_str(
        "`buswitness schema culprits.json` prints the JSON Schema; its objects and fields, and those of what \
         `run --json` and `check --json` print:\n\n",
    );
    page.push_str("| object | field | meaning |\n|---|---|---|\n");
    for [object, name, meaning] in rows::<3>(FIELDS) {
        let _ = writeln!(page, "| {object} | `{name}` | {meaning} |");
    }
    page
}

/// The definition of one table, as Markdown.
#[must_use]
pub fn table_page(table: &Defined) -> String {
    let mut page = format!("### `{}`\n\nA row: {}.\n\n", table.file, table.row);
    page.push_str("| column | type | unit | empty | meaning |\n|---|---|---|---|---|\n");
    for c in &table.columns {
        let empty = if c.empty.is_empty() { "never" } else { &c.empty };
        let _ =
            writeln!(page, "| `{}` | {} | {} | {empty} | {} |", c.name, c.kind, c.unit, c.meaning);
    }
    page.push('\n');
    page
}
