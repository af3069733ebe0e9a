"""Two small Parquet files as other programs write them: polars 2.1.0, duckdb 2.0.1. Run in this folder."""

import duckdb
import polars as pl

n = 1000
t = [k / 1000 for k in range(n)]
i = [None if k % 101 == 7 else (0.02 if k % 97 < 6 else 0.000012 + 0.000001 * (k % 7)) for k in range(n)]
v = [3.0 + (k % 9) / 8 for k in range(n)]
types = {"time_s": pl.Float64, "current_a": pl.Float64, "vbat_v": pl.Float32}
pl.DataFrame({"time_s": t, "current_a": i, "vbat_v": v}, schema=types).write_parquet("parquet_polars.parquet")
duckdb.sql("copy (from 'parquet_polars.parquet') to 'parquet_duckdb.parquet' (format parquet, parquet_version v1)")
duckdb.sql(
    "copy (select make_timestamp_ns(1772323200000000000 + cast(round(time_s * 1e9) as bigint)) as time, current_a * 1000 as current_ma "
    "from 'parquet_polars.parquet') to 'parquet_stamps.parquet' (format parquet, parquet_version v2, compression zstd)"
)
