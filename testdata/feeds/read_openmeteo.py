#!/usr/bin/env python3
"""An independent reading of the recorded Open-Meteo documents.

    python3 testdata/feeds/read_openmeteo.py OUT.json DOCUMENT.json

It shares no code with the service, and was written from the provider's
documentation: the tests compare the two value by value. An hour is
[time, time + 1 h) in UTC; sums, maxima, means and chances are labelled with
the hour's end in the document. Unknown is null.
"""
import datetime as dt
import json
import re
import sys

OLD = {"relativehumidity_2m": "relative_humidity_2m", "windspeed_10m": "wind_speed_10m", "windgusts_10m": "wind_gusts_10m",
       "dewpoint_2m": "dew_point_2m", "cloudcover": "cloud_cover", "weathercode": "weather_code"}
OURS = {"temperature_2m": "air_c", "relative_humidity_2m": "humidity_pct", "dew_point_2m": "dew_point_c", "precipitation": "rain_mm",
        "precipitation_probability": "rain_chance", "snowfall": "snow_mm", "cloud_cover": "cloud_pct", "wind_speed_10m": "wind_m_s",
        "wind_gusts_10m": "gust_m_s", "shortwave_radiation": "shortwave_w_m2"}
ENDS = {"rain_mm", "rain_chance", "snow_mm", "gust_m_s", "shortwave_w_m2"}
TO_OURS = {"°C": lambda v: v, "°F": lambda v: (v - 32) / 1.8, "km/h": lambda v: v / 3.6, "m/s": lambda v: v, "mp/h": lambda v: v * 1609.344 / 3600,
           "kn": lambda v: v * 1852 / 3600, "mm": lambda v: v, "inch": lambda v: v * 25.4, "W/m²": lambda v: v}


def convert(name, unit, v):
    if v is None:
        return None
    if name == "snow_mm":  # 7 cm of snow are 10 mm of water
        return v * {"cm": 1, "inch": 2.54}[unit] / 0.7
    if name == "rain_chance":
        assert unit == "%"
        return v / 100
    if unit == "%":
        return v
    return TO_OURS[unit](v)


def instants(doc):
    labels = doc["hourly"]["time"]
    if doc["hourly_units"]["time"] == "unixtime":
        return [dt.datetime.fromtimestamp(t, dt.timezone.utc) for t in labels]
    # The server labels whole hours of UTC, moved by the whole hours of the offset.
    whole = dt.timedelta(hours=int(doc["utc_offset_seconds"] / 3600))
    return [dt.datetime.fromisoformat(t).replace(tzinfo=dt.timezone.utc) - whole for t in labels]


def iso(t):
    return t.strftime("%Y-%m-%dT%H:%M:%SZ")


def single(doc):
    times = instants(doc)
    hours = {t: {} for t in times}
    hour = dt.timedelta(hours=1)
    codes = {}
    for key, values in doc["hourly"].items():
        key = OLD.get(key, key)
        unit = {OLD.get(k, k): u for k, u in doc["hourly_units"].items()}.get(key)
        for t, v in zip(times, values):
            if key == "weather_code":
                codes[t] = v
            elif key in OURS:
                name = OURS[key]
                at = t - hour if name in ENDS else t
                if at in hours and v is not None:
                    hours[at][name] = convert(name, unit, v)
    for t, h in hours.items():
        ends = [c for c in (codes.get(t), codes.get(t + hour)) if c is not None]
        if any(c in (95, 96, 99) for c in ends):
            h["thunder_chance"] = 1
        elif codes.get(t) is not None:
            h["thunder_chance"] = 0
        if "snow_mm" in h and "rain_mm" in h:
            h["snow_mm"] = min(h["snow_mm"], h["rain_mm"])
    return {"hours": [{"time": iso(t), **hours[t]} for t in times]}


def ensemble(doc):
    times = instants(doc)
    members = {}
    for key, values in doc["hourly"].items():
        m = re.fullmatch(r"(.+?)(?:_(member\d+))?", key)
        name = OURS.get(OLD.get(m[1], m[1]))
        if name is None:
            continue
        assert name not in ENDS
        members.setdefault(m[2] or "control", {})[name] = [convert(name, doc["hourly_units"][key], v) for v in values]
    return {"first": iso(times[0]), "members": members}


def main(out, path):
    with open(path, encoding="utf-8") as f:
        doc = json.load(f)
    reading = ensemble(doc) if any("_member" in k for k in doc["hourly"]) else single(doc)
    with open(out, "w", encoding="utf-8") as f:
        json.dump(reading, f, indent=0)
        f.write("\n")


if __name__ == "__main__":
    main(*sys.argv[1:])
