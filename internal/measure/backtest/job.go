package backtest

import (
	"fmt"

	"dryslot/internal/pour"
)

// The reference job J12 (invented): 2 x 6 pads of 1.2 x 0.9 m x 75 mm in
// alternate bays, infill pads only after all their neighbours are stripped;
// one person, who mixes and places 7 bags of 36.3 kg an hour; 2 form sets of 6.
const (
	columns  = 6
	padCount = 2 * columns
)

// Pads are numbered so that the bays poured first come first: pad c is the
// first bay of column c, pad columns+c the infill of column c.
func firstBay(pad int) bool { return pad < columns }

// waitsFor returns the columns whose first bays touch an infill pad.
func waitsFor(pad int) (from, to int) {
	c := pad - columns
	return max(0, c-1), min(columns-1, c+1)
}

// padName names a pad by row and column: first bays lie in row A in even
// columns and in row B in odd ones.
func padName(pad int) string {
	c := pad % columns
	row := c % 2
	if !firstBay(pad) {
		row = 1 - row
	}
	return fmt.Sprintf("%c%d", 'A'+row, c+1)
}

// padNumber is padName's inverse, -1 for a name of no pad.
func padNumber(name string) int {
	for p := range padCount {
		if padName(p) == name {
			return p
		}
	}
	return -1
}

// jobSpec returns the job at a place.
func jobSpec(name string, latitude, longitude, elevM float64, zone string) pour.Spec {
	s := pour.DefaultSpec()
	s.Name, s.Latitude, s.Longitude, s.ElevationM, s.TimeZone, s.Units = name, latitude, longitude, &elevM, zone,
		"metric"
	s.FormSets = []pour.FormSet{{Name: "first bays", Count: columns, Cells: 1},
		{Name: "infill", Count: columns, Cells: 1}}
	const length, width, thickness = 1.2, 0.9, 0.075
	for pad := range padCount {
		p := pour.Pad{Name: padName(pad), LengthM: length, WidthM: width, ThicknessM: thickness,
			XM: float64(pad%columns) * length, YM: float64(padName(pad)[0]-'A') * width, After: []pour.After{}}
		set := 0
		if !firstBay(pad) {
			set = 1
			from, to := waitsFor(pad)
			for c := from; c <= to; c++ {
				p.After = append(p.After, pour.After{Pad: padName(c), Until: pour.Stripped})
			}
		}
		p.FormSet = &s.FormSets[set].Name
		s.Pads = append(s.Pads, p)
	}
	return s
}
