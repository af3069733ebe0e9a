"""The benchmark's text as one writer writes Parquet when it is told nothing: foreign.py NAME TEXT PARQUET.

`stamps`: the time as a stamp of nanoseconds, as loggers' exports have it.
"""
import sys

name, text, target = sys.argv[1:]
if name == "pyarrow":
    import pyarrow.csv
    import pyarrow.parquet

    pyarrow.parquet.write_table(pyarrow.csv.read_csv(text), target)
elif name in ("polars", "stamps"):
    import polars as pl

    frame = pl.read_csv(text, schema={"time_s": pl.Float64, "current_a": pl.Float64})
    if name == "stamps":
        ns = (pl.col("time_s") * 1e9).round().cast(pl.Int64) + 1_772_323_200_000_000_000
        frame = frame.select(ns.cast(pl.Datetime("ns")).alias("time"), "current_a")
    frame.write_parquet(target)
else:
    import duckdb

    types = "{'time_s': 'DOUBLE', 'current_a': 'DOUBLE'}"
    duckdb.sql(f"copy (from read_csv('{text}', header = true, columns = {types})) to '{target}' (format parquet)")
