//go:build ignore

// Command generate_library writes days.bin.gz from the station records of a
// folder, testdata/weather unless one is named (sources in its SOURCES.md).
package main

import (
	"log"
	"os"
	"time"

	"dryslot/internal/forecast/belief"
	"dryslot/internal/measure/emulate"
)

func main() {
	folder := "../../../testdata/weather"
	if len(os.Args) > 1 {
		folder = os.Args[1]
	}
	regions, err := emulate.Load(os.DirFS(folder), emulate.SolarZone)
	if err != nil {
		log.Fatal(err)
	}
	var records []belief.Record
	for _, r := range regions {
		for _, s := range r.Stations {
			x := belief.Record{Region: r.Name, Latitude: s.Latitude, Longitude: s.Longitude, Start: s.Start.UTC().Truncate(time.Hour)}
			for _, mm := range s.RainMM {
				x.Codes = append(x.Codes, belief.Code(mm))
			}
			records = append(records, x)
		}
	}
	f, err := os.Create("days.bin.gz")
	if err != nil {
		log.Fatal(err)
	}
	if err := belief.NewLibrary(records).Encode(f); err != nil {
		log.Fatal(err)
	}
	if err := f.Close(); err != nil {
		log.Fatal(err)
	}
}
