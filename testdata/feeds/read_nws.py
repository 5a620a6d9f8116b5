#!/usr/bin/env python3
"""An independent reading of the recorded documents of the US NWS.

    python3 testdata/feeds/read_nws.py OUT.json DOCUMENT.json

It shares no code with the service: the tests compare the two value by value.
A raw layer's interval holds one value for each of its hours, but for amounts,
which are the interval's totals. The hourly product has a period for each hour.
"""
import collections
import datetime as dt
import json
import re
import sys

HOUR = dt.timedelta(hours=1)
LAYERS = {"temperature": "air_c", "dewpoint": "dew_point_c", "relativeHumidity": "humidity_pct", "skyCover": "cloud_pct", "windSpeed": "wind_m_s",
          "windGust": "gust_m_s", "probabilityOfPrecipitation": "rain_chance", "quantitativePrecipitation": "rain_mm", "snowfallAmount": "snow_mm"}
TERMS = {"isolated": 0.2, "slight_chance": 0.2, "scattered": 0.5, "chance": 0.5, "numerous": 0.7, "likely": 0.7}


def span(text):
    at, length = text.split("/")
    m = re.fullmatch(r"P(?:(\d+)D)?(?:T(?:(\d+)H)?)?", length)
    return dt.datetime.fromisoformat(at).astimezone(dt.timezone.utc), 24 * int(m[1] or 0) + int(m[2] or 0)


def convert(v, unit):
    return {"degC": v, "percent": v, "mm": v, "km_h-1": v / 3.6, "": v}[unit.split(":")[-1]]


def grid(p):
    hours = collections.defaultdict(dict)
    spans = collections.Counter()
    for theirs, ours in LAYERS.items():
        layer = p.get(theirs, {})
        for item in layer.get("values", []):
            start, n = span(item["validTime"])
            if theirs == "probabilityOfPrecipitation":
                spans[min(n, 12)] += 1
            for k in range(n):
                row = hours[start + k * HOUR]
                if item["value"] is None:
                    continue
                v = convert(item["value"], layer["uom"])
                row[ours] = v / n if ours == "rain_mm" else v / n / 10 if ours == "snow_mm" else v / 100 if ours == "rain_chance" else v
    for item in p["weather"]["values"]:
        start, n = span(item["validTime"])
        storms = [TERMS.get(w["coverage"], 1) for w in item["value"] if w["weather"] == "thunderstorms"]
        for k in range(n):
            hours[start + k * HOUR]["thunder_chance"] = max(storms, default=0)
    for row in hours.values():
        if "snow_mm" in row and "rain_mm" in row:
            row["snow_mm"] = min(row["snow_mm"], row["rain_mm"])
    top = max(spans.values())
    return hours, min(n for n, c in spans.items() if c == top)


def hourly(p):
    hours = collections.defaultdict(dict)
    for q in p["periods"]:
        row = hours[dt.datetime.fromisoformat(q["startTime"]).astimezone(dt.timezone.utc)]
        t = q["temperature"]
        row["air_c"] = t if q["temperatureUnit"] == "C" else (t - 32) / 1.8
        row["dew_point_c"] = convert(q["dewpoint"]["value"], q["dewpoint"]["unitCode"])
        row["humidity_pct"] = convert(q["relativeHumidity"]["value"], q["relativeHumidity"]["unitCode"])
        row["rain_chance"] = q["probabilityOfPrecipitation"]["value"] / 100
        number, unit = q["windSpeed"].split()[-2:]
        row["wind_m_s"] = float(number) * {"mph": 0.44704, "km/h": 1 / 3.6}[unit]
        row["thunder_chance"] = 1 if "hunder" in q["shortForecast"] else 0
    return hours, 1


def main(out, path):
    with open(path, encoding="utf-8") as f:
        doc = json.load(f)
    p = doc.get("properties", doc)
    hours, period = hourly(p) if "periods" in p else grid(p)
    reading = {"issued": p["updateTime"], "period_h": period, "hours": []}
    t = min(hours)
    while t <= max(hours):
        reading["hours"].append({"time": t.strftime("%Y-%m-%dT%H:%M:%SZ"), **hours.get(t, {})})
        t += HOUR
    with open(out, "w", encoding="utf-8") as f:
        json.dump(reading, f, indent=0)
        f.write("\n")


if __name__ == "__main__":
    main(*sys.argv[1:])
