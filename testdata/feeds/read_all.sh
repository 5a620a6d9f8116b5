#!/bin/sh
# Reads every recorded document that has hours once more with the scripts beside
# this one, into readings/, which the tests compare the service's own reading with.
set -eu
cd "$(dirname "$0")"
for f in open-meteo/*.json; do
	case $f in *seasonal*) continue ;; esac # it has days only, and is refused
	python3 read_openmeteo.py "readings/$(basename "$f")" "$f"
done
for f in met-norway/*.json; do python3 read_metnorway.py "readings/$(basename "$f")" "$f"; done
for f in nws/TAE*.json nws/*_hourly.json; do python3 read_nws.py "readings/$(basename "$f")" "$f"; done
