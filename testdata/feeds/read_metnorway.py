#!/usr/bin/env python3
"""An independent reading of the recorded MET Norway documents.

    python3 testdata/feeds/read_metnorway.py OUT.json DOCUMENT.json

It shares no code with the service: the tests compare the two value by value.
Periods start at their step's time. Between two steps up to six hours apart the
values of an instant lie on a straight line; they are listed as computed.
"""
import datetime as dt
import json
import sys

INSTANT = {"air_temperature": "air_c", "dew_point_temperature": "dew_point_c", "relative_humidity": "humidity_pct",
           "cloud_area_fraction": "cloud_pct", "wind_speed": "wind_m_s", "wind_speed_of_gust": "gust_m_s"}
HOUR = dt.timedelta(hours=1)


def main(out, path):
    with open(path, encoding="utf-8") as f:
        doc = json.load(f)
    doc = doc.get("data", doc)  # the recording keeps the answer beside its headers
    steps = [(dt.datetime.fromisoformat(s["time"].replace("Z", "+00:00")), s["data"]) for s in doc["properties"]["timeseries"]]
    hours, computed = {}, set()

    def hour(t):
        return hours.setdefault(t, {})

    for i, (t, data) in enumerate(steps):
        details = data["instant"]["details"]
        nxt = steps[i + 1] if i + 1 < len(steps) else None
        gap = int((nxt[0] - t) / HOUR) if nxt else 6
        for theirs, ours in INSTANT.items():
            if theirs in details:
                hour(t)[ours] = details[theirs]
            if nxt and 1 < gap <= 6 and theirs != "wind_speed_of_gust" and theirs in details and theirs in nxt[1]["instant"]["details"]:
                a, b = details[theirs], nxt[1]["instant"]["details"][theirs]
                for k in range(1, gap):
                    hour(t + k * HOUR)[ours] = a * (1 - k / gap) + b * k / gap
                    computed.add((t + k * HOUR, ours))
        block, length = data.get("next_1_hours"), 1
        if block is None and gap >= 6:
            block, length = data.get("next_6_hours"), 6
        if block is None:
            continue
        symbol = block["summary"]["symbol_code"]
        for k in range(length):
            h = hour(t + k * HOUR)
            d = block["details"]
            if "precipitation_amount" in d:
                h["rain_mm"] = d["precipitation_amount"] / length
                if "sleet" not in symbol:
                    h["snow_mm"] = h["rain_mm"] if "snow" in symbol else 0
            if "probability_of_precipitation" in d:
                h["rain_chance"] = d["probability_of_precipitation"] / 100
            h["thunder_chance"] = 1 if "thunder" in symbol else d.get("probability_of_thunder", 0) / 100

    times = sorted(hours)
    reading = {"issued": doc["properties"]["meta"]["updated_at"], "hours": []}
    t = times[0]
    while t <= times[-1]:
        row = {"time": t.strftime("%Y-%m-%dT%H:%M:%SZ"), **hours.get(t, {})}
        made = sorted(v for (at, v) in computed if at == t)
        if made:
            row["computed"] = made
        reading["hours"].append(row)
        t += HOUR
    with open(out, "w", encoding="utf-8") as f:
        json.dump(reading, f, indent=0)
        f.write("\n")


if __name__ == "__main__":
    main(*sys.argv[1:])
