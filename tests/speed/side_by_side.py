#!/usr/bin/env python3
"""The same log through general engines and through buswitness, side by side in one run.

The general engines only split the lines and compute, for each identifier, count, first, last, median
gap and longest gap. buswitness reads every field and runs all its detectors. Also measured: `wc -l`,
and a loop that only parses. This is a measurement, never a timed test: nothing fails on a figure.

    python3 -m venv /tmp/venv && /tmp/venv/bin/pip install duckdb polars
    cargo build --release && cargo bench --no-run --bench ingest
    target/release/buswitness rehearse --load 10000000 --out /tmp/load.log
    /tmp/venv/bin/python tests/speed/side_by_side.py /tmp/load.log --bench target/release/deps/ingest-HASH

Each is run several times, by turns, so that other work on the machine hits all alike; the best of
each counts. Processor seconds are printed too: they are steadier on a shared machine.
"""

import argparse
import os
import platform
import resource
import statistics
import subprocess
import sys
import time

DUCKDB = """
    SELECT id, count(*), min(t), max(t), median(gap), max(gap) FROM (
        SELECT id, t, t - lag(t) OVER (PARTITION BY id ORDER BY t) AS gap FROM (
            SELECT split_part(frame, '#', 1) AS id, CAST(substr(stamp, 2, 17) AS DOUBLE) AS t
            FROM read_csv('{log}', delim=' ', header=false, quote='', escape='', auto_detect=false,
                          columns={{'stamp': 'VARCHAR', 'bus': 'VARCHAR', 'frame': 'VARCHAR'}})))
    GROUP BY id ORDER BY id
"""


def with_duckdb(log):
    import duckdb

    rows = duckdb.sql(DUCKDB.format(log=log.replace("'", "''"))).fetchall()
    return sum(row[1] for row in rows), len(rows)


def with_polars(log):
    import polars as pl

    table = (
        pl.scan_csv(log, separator=" ", has_header=False, quote_char=None, infer_schema=False,
                    new_columns=["stamp", "bus", "frame"])
        .select(id=pl.col("frame").str.head(pl.col("frame").str.find("#", literal=True)),
                t=pl.col("stamp").str.slice(1, 17).cast(pl.Float64))
        .group_by("id")
        .agg(count=pl.len(), first=pl.col("t").min(), last=pl.col("t").max(),
             median=pl.col("t").diff().median(), longest=pl.col("t").diff().max())
        .collect()
    )
    return int(table["count"].sum()), table.height


def child(engine, log):
    """Runs one engine in a process of its own, so that none warms another; prints frames, identifiers, s."""
    begin = time.perf_counter()
    frames, identifiers = {"duckdb": with_duckdb, "polars": with_polars}[engine](log)
    print(frames, identifiers, time.perf_counter() - begin)


def processor_seconds():
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def run(command, **more):
    before, begin = processor_seconds(), time.perf_counter()
    done = subprocess.run(command, check=True, capture_output=True, text=True, **more)
    return done.stdout, time.perf_counter() - begin, processor_seconds() - before


def engine(name, log):
    out, _, cpu = run([sys.executable, __file__, "--child", name, log])
    frames, _, seconds = out.split()
    return int(frames), float(seconds), cpu  # start-up and imports are left out of the clock


def own(bench, log):
    """Figures of the benchmark, by what was measured: seconds of the clock, of processors."""
    out, _, _ = run([bench], env={**os.environ, "LOG": log, "REPEATS": "1"})
    found = {}
    for line in out.splitlines():
        for what in ["line ends only", "parsing only", "1 hand(s)", "2 hand(s)"]:
            if what in line and "peak" not in line:
                rate, _, of_cpu = line.split(what)[1].split()[:3]
                found[what] = (1 / (float(rate) * 1e6), 1 / (float(of_cpu) * 1e6))
    return found


def version(module):
    try:
        return __import__(module).__version__
    except ImportError:
        sys.exit(f"{module} is not installed: pip install duckdb polars (in a venv)")


def main():
    if sys.argv[1:2] == ["--child"]:
        return child(sys.argv[2], sys.argv[3])
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("log")
    parser.add_argument("--bench", required=True, help="the built benchmark `ingest`")
    parser.add_argument("--repeats", type=int, default=5)
    asked = parser.parse_args()
    if sys.version_info < (3, 9):
        sys.exit("needs Python 3.9 or newer")
    print(f"Python {platform.python_version()}, duckdb {version('duckdb')}, polars {version('polars')}, "
          f"{os.cpu_count()} processors, load {os.getloadavg()[0]:.1f}")
    size = os.path.getsize(asked.log)
    frames = int(run(["wc", "-l", asked.log])[0].split()[0])
    print(f"{asked.log}: {frames} lines, {size / 1e9:.2f} GB; best of {asked.repeats}")

    tries = {}

    def note(what, seconds, cpu):
        tries.setdefault(what, []).append((seconds, cpu))

    for _ in range(asked.repeats):
        _, seconds, cpu = run(["wc", "-l", asked.log])
        note("wc -l", seconds, cpu)
        for what, (seconds, cpu) in own(asked.bench, asked.log).items():
            note("buswitness, " + what, seconds * frames, cpu * frames)
        for name in ["duckdb", "polars"]:
            counted, seconds, cpu = engine(name, asked.log)
            if counted != frames:
                print(f"{name} counted {counted} frames, not {frames}")
            note(name, seconds, cpu)

    best = {what: min(t for t, _ in runs) for what, runs in tries.items()}
    least = {what: min(c for _, c in runs) for what, runs in tries.items()}
    print(f"\n{'what':30} {'best s':>8} {'median s':>9} {'CPU s':>8} {'M lines/s':>10} {'GB/s':>6}")
    for what, runs in tries.items():
        middle = statistics.median(t for t, _ in runs)
        print(f"{what:30} {best[what]:8.3f} {middle:9.3f} {least[what]:8.2f} "
              f"{frames / best[what] / 1e6:10.1f} {size / best[what] / 1e9:6.2f}")
    print()
    for name in ["duckdb", "polars"]:
        for hands in ["1 hand(s)", "2 hand(s)"]:
            whole = "buswitness, " + hands
            if whole in best:
                print(f"all detectors with {hands}: {best[name] / best[whole]:.1f} times as fast as {name} "
                      f"splitting lines, {least[name] / least[whole]:.1f} times by processor seconds")


if __name__ == "__main__":
    main()
