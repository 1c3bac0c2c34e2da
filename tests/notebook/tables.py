"""Every Parquet table below reports/ opens in polars, pandas and DuckDB with sensible types and the same rows.

What each column should be is read from reports/guide/columns.md, which the program prints.
"""

import re
import sys
from pathlib import Path

import duckdb
import pandas
import polars

GUIDE = Path("reports/guide/columns.md")
# The documented type, and what it is in polars, pandas and DuckDB.
POLARS = {
    "word": lambda t: t == polars.Categorical or isinstance(t, polars.Enum),
    "text": lambda t: t == polars.String,
    "list of text": lambda t: t == polars.List(polars.String),
    "timestamp (ns, UTC)": lambda t: t == polars.Datetime("ns", "UTC"),
    "float64": lambda t: t == polars.Float64,
    "uint64": lambda t: t == polars.UInt64,
    "uint32": lambda t: t == polars.UInt32,
    "boolean": lambda t: t == polars.Boolean,
}
PANDAS = {
    "word": lambda t: isinstance(t, pandas.CategoricalDtype),
    "timestamp (ns, UTC)": lambda t: str(t) == "datetime64[ns, UTC]",
    "float64": lambda t: str(t) == "float64",
    # A column with unknown cells becomes float64 or object in pandas.
    "uint64": lambda t: str(t) in ("uint64", "float64"),
    "uint32": lambda t: str(t) in ("uint32", "float64"),
    "boolean": lambda t: str(t) in ("bool", "object"),
}
DUCKDB = {
    "word": lambda t: t == "VARCHAR" or t.startswith("ENUM"),
    "text": lambda t: t == "VARCHAR",
    "list of text": lambda t: t == "VARCHAR[]",
    "timestamp (ns, UTC)": lambda t: t in ("TIMESTAMP WITH TIME ZONE", "TIMESTAMPTZ_NS"),
    "float64": lambda t: t == "DOUBLE",
    "uint64": lambda t: t == "UBIGINT",
    "uint32": lambda t: t == "UINTEGER",
    "boolean": lambda t: t == "BOOLEAN",
}


def documented():
    """Table -> column -> (type, whether a cell may be empty), from the guide's part on Parquet."""
    tables, table = {}, None
    text = GUIDE.read_text().split("## Parquet")[1].split("## JSON")[0]
    for line in text.splitlines():
        if head := re.match(r"### `(\w+)`", line):
            table = tables.setdefault(head[1], {})
        elif cells := re.match(r"\| `(\w+)` \| ([^|]+) \| [^|]* \| (yes|no) \|", line):
            table[cells[1]] = (cells[2], cells[3] == "yes")
    return tables


def main():
    tables = documented()
    wrong, seen = [], 0
    for path in sorted(Path("reports").glob("*/*.parquet")):
        columns = tables[path.stem] | {"vehicle": ("word", False)}
        of_polars = polars.read_parquet(path)
        of_pandas = pandas.read_parquet(path)
        link = duckdb.connect()
        described = link.execute(f"describe select * from read_parquet('{path}')").fetchall()
        rows = link.execute(f"select count(*) from read_parquet('{path}')").fetchone()[0]
        if not of_polars.height == len(of_pandas) == rows:
            wrong.append(f"{path}: {of_polars.height}, {len(of_pandas)} and {rows} rows")
        if set(of_polars.columns) != set(columns):
            wrong.append(f"{path}: columns {set(of_polars.columns) ^ set(columns)} on one side only")
            continue
        for name, (kind, may_be_empty) in columns.items():
            if not POLARS[kind](of_polars.schema[name]):
                wrong.append(f"{path}: {name}: {kind} is {of_polars.schema[name]} in polars")
            if kind in PANDAS and rows and not PANDAS[kind](of_pandas.dtypes[name]):
                wrong.append(f"{path}: {name}: {kind} is {of_pandas.dtypes[name]} in pandas")
            if of_polars[name].null_count() and not may_be_empty:
                wrong.append(f"{path}: {name}: has empty cells")
        for name, kind, *_ in described:
            if not DUCKDB[columns[name][0]](kind):
                wrong.append(f"{path}: {name}: {columns[name][0]} is {kind} in DuckDB")
        # The three agree on the first time and on a sum, so that units and zones are the same.
        time = next((n for n, (k, _) in columns.items() if k.startswith("timestamp")), None)
        if time and rows:
            first = [
                of_polars[time].min().isoformat()[:19],
                of_pandas[time].min().isoformat()[:19],
                link.execute(
                    f"select strftime(min({time}) at time zone 'UTC', '%Y-%m-%dT%H:%M:%S') from read_parquet('{path}')"
                ).fetchone()[0],
            ]
            if len(set(first)) != 1:
                wrong.append(f"{path}: the first {time} is {first}")
        seen += 1
    assert seen >= 14, f"only {seen} tables were seen"
    sys.exit("\n".join(wrong) if wrong else print(f"notebook: {seen} tables open alike in three libraries"))


main()
