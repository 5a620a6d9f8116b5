#!/usr/bin/env python3
"""Writes sun_ephem.csv: sun heights and light events by PyEphem (VSOP87).

Needs Debian's python3-ephem. Run by hand when the table is to be made again;
the tests read the table only.
"""
import csv
import math
import sys

import ephem

PLACES = [(-60, -150), (-35, 139), (0, 0), (20, -74), (40, -105), (52, 13), (60, 25), (65, -147), (69.65, 18.96)]
FIRST = ephem.Date("2025/1/3 00:00")
DEG = 180 / math.pi


def observer(lat, lon, when, horizon):
    o = ephem.Observer()
    o.lat, o.lon = math.radians(lat), math.radians(lon)
    o.pressure = 0  # no refraction: the horizon below carries it
    o.elevation = 0
    o.horizon = horizon
    o.date = when
    return o


def iso(d):
    return ephem.Date(d + 0.5 * ephem.second).datetime().strftime("%Y-%m-%dT%H:%M:%SZ")


def main():
    out = csv.writer(sys.stdout, lineterminator="\n")
    out.writerow(["latitude", "longitude", "time", "event", "height_deg"])
    for i, (lat, lon) in enumerate(PLACES):
        for k in range(24):
            when = ephem.Date(FIRST + 30.437 * k + (5 * k + 3 * i) % 24 / 24)
            when = ephem.Date(round(when * 86400) / 86400)
            sun = ephem.Sun(observer(lat, lon, when, "0"))
            o = observer(lat, lon, ephem.Date(iso(when).replace("-", "/").replace("T", " ").rstrip("Z")), "0")
            sun.compute(o)
            out.writerow([lat, lon, iso(o.date), "height", f"{sun.alt * DEG:.4f}"])
        for k in range(12):
            day = ephem.Date(FIRST + 30.437 * k)
            for horizon, rising, setting in (("-6", "first_light", "last_light"), ("-0:50", "sunrise", "sunset")):
                o = observer(lat, lon, day, horizon)
                for name, find in ((rising, o.next_rising), (setting, o.next_setting)):
                    try:
                        out.writerow([lat, lon, iso(find(ephem.Sun(), use_center=True)), name, ""])
                    except (ephem.AlwaysUpError, ephem.NeverUpError):
                        pass


main()
