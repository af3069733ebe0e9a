"""Small Arrow files and streams as other programs write them: pyarrow 26.0.1, polars 2.1.0. Run in this folder."""

import decimal

import polars as pl
import pyarrow as pa
import pyarrow.ipc as ipc

n = 1000
t = [k / 1000 for k in range(n)]
i = [None if k % 101 == 7 else (0.02 if k % 97 < 6 else 0.000012 + 0.000001 * (k % 7)) for k in range(n)]
v = [3.0 + (k % 9) / 8 for k in range(n)]
note = [("asleep" if k % 97 >= 6 else "a wake that has a longer name than twelve bytes") for k in range(n)]
plain = {"time_s": pa.array(t), "note": pa.array(note), "current_a": pa.array(i), "vbat_v": pa.array(v, pa.float32())}


def write(name, columns, stream=False, rows=300, **options):
    table = pa.table(columns)
    new = ipc.new_stream if stream else ipc.new_file
    with new(name, table.schema, options=ipc.IpcWriteOptions(**options)) as writer:
        writer.write_table(table, max_chunksize=rows)


write("arrow_plain.arrow", plain)
write("arrow_stream.arrows", plain, stream=True)
write("arrow_lz4.arrow", plain, compression="lz4")
write("arrow_zstd.arrow", plain, compression="zstd")
# Other types: ns stamps, a decimal, 16-bit codes with lists and structures in between, a dictionary whose values grow from batch to batch.
micro = [None if x is None else round(x * 1e6) for x in i]
stamps = pa.array([1772323200000000000 + 1000000 * k for k in range(n)], pa.timestamp("ns"))
decimals = pa.array([None if m is None else decimal.Decimal(m) / 1000 for m in micro], pa.decimal128(12, 3))
lists = pa.array([[k, k + 1] if k % 3 else None for k in range(n)])
structures = pa.array([{"a": k, "b": "x" * (k % 5)} for k in range(n)])
write("arrow_types.arrow", {"time": stamps, "lists": lists, "structures": structures, "current_ma": decimals, "vbat_v": pa.array(v, pa.float16())})
codes = pa.array(micro, pa.uint32()).dictionary_encode()
write(
    "arrow_dictionary.arrows",
    {"t_ms": pa.array(range(n), pa.uint16()), "current_ua": codes, "vbat_mv": pa.array([round(x * 1000) for x in v], pa.int16())},
    stream=True,
)
parts = [codes.dictionary.slice(0, k) for k in (3, len(codes.dictionary))]
with ipc.new_stream("arrow_delta.arrows", pa.schema([("t_ms", pa.int64()), ("current_ua", pa.dictionary(pa.int8(), pa.uint32()))]), options=ipc.IpcWriteOptions(emit_dictionary_deltas=True)) as writer:
    for part, (a, b) in zip(parts, ((0, 9), (9, n))):
        known = part.to_pylist()
        index = pa.array([None if m is None else known.index(m) if m in known else None for m in micro[a:b]], pa.int8())
        arrays = [pa.array(range(a, b)), pa.DictionaryArray.from_arrays(index, part)]
        writer.write_batch(pa.record_batch(arrays, names=["t_ms", "current_ua"]))
frame = pl.DataFrame(
    {"time_s": t, "note": note, "current_a": i, "vbat_v": v},
    schema={"time_s": pl.Float64, "note": pl.String, "current_a": pl.Float64, "vbat_v": pl.Float32},
)
frame.write_ipc("arrow_polars.arrow", compression="zstd")
frame.write_ipc_stream("arrow_polars.arrows")
