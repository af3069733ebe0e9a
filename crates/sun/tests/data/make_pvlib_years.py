"""Makes the whole-year check tables from the weather years that ship in the pvlib wheel.

Needs pvlib 0.16.1 (pip install pvlib==0.16.1). Usage: python make_pvlib_years.py OUTPUT_FOLDER
Weather: TMY3 and TMY2, public data of the US Department of Energy / NREL, as shipped in the pvlib wheel (BSD-3-Clause).
"""
import os
import sys

import numpy as np
import pandas as pd
import pvlib
from pvlib import clearsky, irradiance, pvsystem, solarposition

OUT = sys.argv[1]
DATA = os.path.join(os.path.dirname(pvlib.__file__), "data")
HEAD = "# Made by make_pvlib_years.py with pvlib %s\n" % pvlib.__version__


def year(name, file, tilt, azimuth):
    raw, meta = pvlib.iotools.read_tmy3(os.path.join(DATA, file), coerce_year=2001, map_variables=True)
    lat, lon, alt, tz = meta["latitude"], meta["longitude"], meta["altitude"], meta["TZ"]
    start = pd.Timestamp("2001-01-01 00:30", tz="UTC") - pd.Timedelta(hours=tz)
    times = pd.DatetimeIndex([start + pd.Timedelta(hours=i) for i in range(8760)])
    ghi, dni, dhi = (raw[c].to_numpy(float) for c in ("ghi", "dni", "dhi"))
    air = raw["temp_air"].to_numpy(float)
    with open(f"{OUT}/weather_{name}.csv", "w") as f:
        f.write(HEAD + f"# {file}: hours of a typical year, local standard time, hour ending\n")
        f.write(f"# latitude {lat} longitude {lon} height_m {alt} zone_h {tz}\n")
        f.write("ghi,dni,dhi,air_c\n")
        for g, b, d, t in zip(ghi, dni, dhi, air):
            f.write(f"{g:.0f},{b:.0f},{d:.0f},{t:g}\n")
    pos = solarposition.get_solarposition(times, lat, lon, alt, method="nrel_numpy", delta_t=67.0)
    z, az, app = pos["zenith"].to_numpy(), pos["azimuth"].to_numpy(), pos["apparent_zenith"].to_numpy()
    # Day of the year on the data's own clock.
    doy = pd.DatetimeIndex(times + pd.Timedelta(hours=tz)).dayofyear.to_numpy()
    e0 = irradiance.get_extra_radiation(doy, solar_constant=1367.0)
    am = pvlib.atmosphere.get_relative_airmass(app, "kastenyoung1989")
    ama = pvlib.atmosphere.get_absolute_airmass(am, pvlib.atmosphere.alt2pres(alt))
    cs = clearsky.ineichen(app, ama, 3.0, altitude=alt, dni_extra=e0)
    aoi = irradiance.aoi(tilt, azimuth, z, az)
    beam = np.maximum(dni * np.cos(np.radians(aoi)), 0)
    iso = irradiance.isotropic(tilt, dhi)
    hay = irradiance.haydavies(tilt, azimuth, dhi, dni, e0, z, az)
    per = irradiance.perez(tilt, azimuth, dhi, dni, e0, z, az, pvlib.atmosphere.get_relative_airmass(z, "kastenyoung1989"))
    ground = irradiance.get_ground_diffuse(tilt, ghi, 0.2)
    total = beam + hay + ground
    cell = air + 0.03125 * total
    il, i0, rs, rsh, nv = pvsystem.calcparams_desoto(
        np.maximum(total, 1e-9), cell, 0.0005 * 0.36, 0.339, 0.36, 5e-10, 2500.0, 0.9)
    sd = pvsystem.singlediode(il, i0, rs, rsh, nv)
    i4 = pvsystem.i_from_v(4.0, il, i0, rs, rsh, nv)
    with open(f"{OUT}/pvlib_year_{name}.csv", "w") as f:
        f.write(HEAD + f"# every 7th hour of weather_{name}.csv with true zenith below 89 degrees; tilt {tilt}, azimuth {azimuth}, albedo 0.2,\n")
        f.write("# E0 Spencer with 1367 W/m2, Linke turbidity 3, Kasten-Young on the true zenith for Perez; panel as in pvlib_singlediode_small_panel.csv\n")
        f.write("hour,zenith,app_zenith,azimuth,clear_ghi,clear_dni,clear_dhi,beam,iso,hay,perez,ground,pmp,i_at_4v\n")
        for i in range(3, 8760, 7):
            if z[i] < 89.0:
                row = [z[i], app[i], az[i], cs["ghi"][i], cs["dni"][i], cs["dhi"][i], beam[i], iso[i], hay[i],
                       per[i], ground[i], sd["p_mp"][i] if isinstance(sd, dict) else sd["p_mp"].iloc[i], i4[i]]
                f.write(str(i) + "," + ",".join(f"{v:.9g}" for v in row[:3]) + "," + ",".join(f"{v:.8g}" for v in row[3:]) + "\n")


year("greensboro", "723170TYA.CSV", 50.0, 200.0)
year("sand_point", "703165TY.csv", 70.0, 170.0)
# The first three days in the original layouts, for the readers.
for name, file, rows in (("tmy3_head.csv", "723170TYA.CSV", 2 + 72), ("tmy2_head.tm2", "12839.tm2", 1 + 72)):
    with open(os.path.join(DATA, file)) as f, open(f"{OUT}/{name}", "w") as g:
        for _, line in zip(range(rows), f):
            g.write(line)
