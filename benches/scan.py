"""The floor: a bare scan and group-by of a telemetry file, in seconds inside the process, by polars' streaming engine.

    python3 benches/scan.py setting_log.csv

Reads three columns and adds them up by strip; checks, keeps and watches nothing.
"""

import sys
import time

import polars as pl

path = sys.argv[1]
start = time.perf_counter()
rows = pl.scan_parquet(path) if path.endswith(".parquet") else pl.scan_csv(path)
strips = (
    rows.filter(pl.col("speed_m_s") >= 1.0)
    .group_by("field_id", "season", "strip_id")
    .agg(pl.col("set_pressure_kpa").mean(), pl.col("actual_pressure_kpa").mean(), pl.len())
    .collect(engine="streaming")
)
print(f"{time.perf_counter() - start:.3f}")
print(f"{strips.height} strips", file=sys.stderr)
