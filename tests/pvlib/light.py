"""Light by pvlib: the witness's side of tests/pvlib.

Reads a question as JSON from standard input, writes the answer to standard output.
Question {"sky": {latitude_deg, longitude_deg, start, step_s, count}}: instants from `start` (UTC) on.
    Answer {zenith_deg, irradiance_w_m2}: geometric zenith distance of the sun, by the algorithm of Reda and Andreas, and
    the clear sky of Haurwitz for it.
Question {"weather": name}: one of the typical years that come with pvlib.
    Answer {path, irradiance_w_m2}: where it is, and its global horizontal irradiance hour by hour.
"""

import json
import pathlib
import sys

import pandas
import pvlib


def sky(latitude_deg, longitude_deg, start, step_s, count):
    times = pandas.date_range(start, periods=count, freq=pandas.Timedelta(seconds=step_s), tz="UTC")
    sun = pvlib.solarposition.get_solarposition(times, latitude_deg, longitude_deg, altitude=0)
    clear = pvlib.clearsky.haurwitz(sun["zenith"])
    return {"zenith_deg": sun["zenith"].tolist(), "irradiance_w_m2": clear["ghi"].tolist()}


def weather(name):
    path = pathlib.Path(pvlib.__file__).parent / "data" / name
    hours, _ = pvlib.iotools.read_tmy3(path, map_variables=True)
    return {"path": str(path), "irradiance_w_m2": hours["ghi"].astype(float).tolist()}


question = json.load(sys.stdin)
if "sky" in question:
    answer = sky(**question["sky"])
else:
    answer = weather(question["weather"])
json.dump(answer, sys.stdout)
