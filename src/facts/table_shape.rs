//! What a table and a column are, and the arrow schema and the documentation page made from them.

use std::fmt::Write as _;
use std::sync::Arc;

use arrow::datatypes::{DataType, Field, Schema, TimeUnit};

use crate::facts::schema::{TABLES, VEHICLE};

/// The type of a column.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// UTF-8 text.
    Text,
    /// A word of a fixed set, in kebab-case, or a name that recurs. The store keeps it as text; written
    /// tables have it dictionary-encoded, so that notebooks take it for a category.
    Word,
    /// A list of texts.
    Texts,
    /// Nanoseconds since 1970-01-01, UTC.
    Time,
    /// A 64-bit float.
    Number,
    /// A 64-bit count.
    Count,
    /// A 32-bit count or a 32-bit pattern.
    Small,
    /// Yes or no.
    Flag,
}

impl Kind {
    /// The arrow type.
    #[must_use]
    pub fn arrow(self) -> DataType {
        match self {
            Kind::Text | Kind::Word => DataType::Utf8,
            Kind::Texts => DataType::List(Arc::new(Field::new_list_field(DataType::Utf8, true))),
            Kind::Time => DataType::Timestamp(TimeUnit::Nanosecond, Some("UTC".into())),
            Kind::Number => DataType::Float64,
            Kind::Count => DataType::UInt64,
            Kind::Small => DataType::UInt32,
            Kind::Flag => DataType::Boolean,
        }
    }

    /// The arrow type in a written table.
    #[must_use]
    pub fn written(self) -> DataType {
        match self {
            Kind::Word => DataType::Dictionary(Box::new(DataType::Int32), Box::new(DataType::Utf8)),
            other => other.arrow(),
        }
    }

    /// The type's name in the documentation.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Kind::Text => "text",
            Kind::Word => "word",
            Kind::Texts => "list of text",
            Kind::Time => "timestamp (ns, UTC)",
            Kind::Number => "float64",
            Kind::Count => "uint64",
            Kind::Small => "uint32",
            Kind::Flag => "boolean",
        }
    }
}

/// One column.
#[derive(Debug, Clone, Copy)]
pub struct Column {
    /// Its name.
    pub name: &'static str,
    /// Its type.
    pub kind: Kind,
    /// The unit of its values; empty when they have none.
    pub unit: &'static str,
    /// Whether a cell may be empty.
    pub nullable: bool,
    /// What it means, and what an empty cell means.
    pub meaning: &'static str,
}

/// Where a table is kept. The tables of a fleet's parts are read only and stand in no list of tables; they
/// are laid out as those of the store.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kept {
    /// In the facts store, one file a log.
    Store,
    /// In the facts store, and among the outputs with a column `vehicle` in front.
    StoreAndOutput,
    /// Among the outputs only.
    Output,
}

/// One table.
#[derive(Debug, Clone, Copy)]
pub struct Table {
    /// Its name; its file is `<name>.parquet`.
    pub name: &'static str,
    /// Where it is kept.
    pub kept: Kept,
    /// What one row is.
    pub meaning: &'static str,
    /// Its columns, in file order.
    pub columns: &'static [Column],
}

impl Table {
    /// The arrow schema of the table itself.
    #[must_use]
    pub fn arrow(&self) -> Schema {
        Schema::new(self.columns.iter().map(Column::field).collect::<Vec<_>>())
    }

    /// The arrow schema with a column `vehicle` in front: a table of many logs.
    #[must_use]
    pub fn arrow_with_vehicle(&self) -> Schema {
        let all = std::iter::once(&VEHICLE).chain(self.columns);
        Schema::new(all.map(Column::field).collect::<Vec<_>>())
    }
}

impl Column {
    fn field(&self) -> Field {
        Field::new(self.name, self.kind.arrow(), self.nullable)
    }
}

/// A column whose cells are never empty.
pub(super) const fn must(
    name: &'static str,
    kind: Kind,
    unit: &'static str,
    meaning: &'static str,
) -> Column {
    Column { name, kind, unit, nullable: false, meaning }
}

/// A column whose cells may be empty.
pub(super) const fn may(
    name: &'static str,
    kind: Kind,
    unit: &'static str,
    meaning: &'static str,
) -> Column {
    Column { name, kind, unit, nullable: true, meaning }
}

/// Names, types and nullability of all stored columns: two versions with the same shape can read
/// each other's entries, whatever the wording of the documentation.
pub(super) fn stored_shape() -> String {
    let mut text = String::new();
    for table in TABLES.iter().filter(|table| table.kept != Kept::Output) {
        let _ = writeln!(text, "{}", table.name);
        for c in table.columns {
            // The store keeps words as text.
            let kind = if c.kind == Kind::Word { Kind::Text } else { c.kind };
            let _ = writeln!(text, " {} {} {}", c.name, kind.name(), c.nullable);
        }
    }
    text
}

/// All tables as markdown, for the documentation.
#[must_use]
pub fn schema_markdown() -> String {
    let mut text = String::new();
    for table in TABLES {
        let kept = match table.kept {
            Kept::Store => "Kept in the facts store, one file a log.",
            Kept::StoreAndOutput => {
                "Kept in the facts store, one file a log; among the outputs with a column \
                 `vehicle` (text) in front."
            }
            Kept::Output => "Among the outputs.",
        };
        let _ = write!(text, "### `{}`\n\nA row: {}. {kept}\n\n", table.name, table.meaning);
        text.push_str("| column | type | unit | may be empty | meaning |\n|---|---|---|---|---|\n");
        for c in table.columns {
            let (kind, empty) = (c.kind.name(), if c.nullable { "yes" } else { "no" });
            let _ =
                writeln!(text, "| `{}` | {kind} | {} | {empty} | {} |", c.name, c.unit, c.meaning);
        }
        text.push('\n');
    }
    text
}
