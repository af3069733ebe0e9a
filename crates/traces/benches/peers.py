"""One peer, one run: peers.py polars|duckdb FILE -> "seconds charge mean min max rms" on one line.

Charge by the trapezoid, mean, minimum, maximum, RMS; nothing else. The types are given, so that no peer spends time on finding them.
"""
import sys
import time

which, path = sys.argv[1], sys.argv[2]
if which == "polars":
    import polars as pl

    t, i = pl.col("time_s"), pl.col("current_a")
    start = time.perf_counter()
    r = (
        pl.scan_csv(path, schema={"time_s": pl.Float64, "current_a": pl.Float64})
        .select(
            q=((i + i.shift(1)) * 0.5 * (t - t.shift(1))).sum(),
            mean=i.mean(),
            low=i.min(),
            high=i.max(),
            rms=(i * i).mean().sqrt(),
        )
        .collect()
    )
    seconds = time.perf_counter() - start
    row = r.row(0)
else:
    import duckdb

    # Without an order of its own, the window follows the file; the row order is kept by default.
    start = time.perf_counter()
    row = duckdb.sql(
        f"""select sum(0.5 * (current_a + i0) * (time_s - t0)), avg(current_a), min(current_a), max(current_a),
        sqrt(avg(current_a * current_a)) from (select time_s, current_a, lag(time_s) over () t0, lag(current_a) over () i0
        from read_csv('{path}', header = true, columns = {{'time_s': 'DOUBLE', 'current_a': 'DOUBLE'}}))"""
    ).fetchall()[0]
    seconds = time.perf_counter() - start
print(seconds, *row)
