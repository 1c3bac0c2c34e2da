"""Every schema is a schema, and every sample and output fits its own: by an independent validator."""

import csv
import json
import subprocess
import sys
import tomllib
from pathlib import Path

import polars as pl
from jsonschema import Draft202012Validator, FormatChecker

KINDS = {"integer": int, "number": float, "boolean": lambda text: {"true": True, "false": False}[text]}


def value(schema, name, text):
    """A cell of a table as its schema has it."""
    kind = schema["properties"].get(name, {}).get("type", "string")
    kind = kind[0] if isinstance(kind, list) else kind
    try:
        return KINDS.get(kind, str)(text)
    except (ValueError, KeyError):
        return text


def main(program):
    schemas = {}
    for path in sorted(Path("reports/guide/schemas").glob("*.schema.json")):
        schema = json.loads(path.read_text())
        Draft202012Validator.check_schema(schema)
        schemas[path.name.removesuffix(".schema.json")] = schema
    wrong, seen = [], 0

    def check(name, instance, what):
        nonlocal seen
        seen += 1
        validator = Draft202012Validator(schemas[name], format_checker=FormatChecker())
        for error in list(validator.iter_errors(instance))[:5]:
            wrong.append(f"{what}: {error.json_path}: {error.message[:300]}")

    for path in sorted(Path("reports").glob("*/*.csv")):
        with path.open(newline="") as table:
            for row in csv.DictReader(table):
                cells = {k: None if v == "" else value(schemas[path.name], k, v) for k, v in row.items()}
                check(path.name, cells, path)
    for path in sorted(Path("reports").glob("*/*.json")):
        if path.name in schemas:
            check(path.name, json.loads(path.read_text()), path)
    plain = lambda cell: cell.isoformat() if hasattr(cell, "isoformat") else cell
    tables = 0
    for path in sorted(Path("reports").glob("*/*.parquet")):
        tables += 1
        for row in pl.read_parquet(path).to_dicts():
            check(path.name, {name: plain(cell) for name, cell in row.items()}, path)
    assert tables >= 7, f"only {tables} Parquet tables were seen"
    check("tests", tomllib.loads(Path("src/read/test_terms/default.toml").read_text()), "the shipped tests")
    for language in ("english", "german"):
        path = Path(f"src/read/scan_reports/free_form/{language}.toml")
        check("report_words", tomllib.loads(path.read_text()), path)
    for path in Path("pipelines").glob("*.toml"):
        check("pipeline", tomllib.loads(path.read_text()), path)
    for path in Path("sample-logs/networks").glob("*.toml"):
        check("network", tomllib.loads(path.read_text()), path)
    for path in Path("sample-logs/scans").glob("**/*.json"):
        check("scan-report", json.loads(path.read_text()), path)
    for name in ("vehicles", "modules", "weather", "service"):
        with Path(f"sample-logs/{name}.csv").open(newline="") as table:
            for row in csv.DictReader(table):
                check(name, {k: value(schemas[name], k, v) for k, v in row.items() if v}, name)
    printed = subprocess.run(
        [program, "check", "--json", "pipelines/session.toml"], check=True, capture_output=True
    )
    check("check", json.loads(printed.stdout), "check --json")
    assert seen > 500, f"only {seen} values were seen"
    sys.exit("\n".join(wrong[:40]) if wrong else print(f"schemas: {len(schemas)} schemas, {seen} values fit"))


main(sys.argv[1])
