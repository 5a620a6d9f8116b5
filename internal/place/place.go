// Package place owns what follows from coordinates alone: the IANA time zone,
// and the cell of the forecast grid that a place shares with its neighbours.
//
//	cell := place.CellOf(47.25, -122.44)
package place

import (
	"fmt"
	"math"
)

// Cell is a square of the forecast grid, known by its centre. Projects in one
// cell share one fetched forecast.
type Cell struct {
	Latitude  float64 // degrees, north positive, to 2 decimals
	Longitude float64 // degrees, east positive, to 2 decimals
}

// CellSide is the side of a cell in degrees: no coarser than the grids that
// the feeds interpolate to (about 0.1 degree), and few enough to share.
const CellSide = 0.05

// CellOf returns the cell of a place.
func CellOf(latitude, longitude float64) Cell {
	snap := func(v float64) float64 { return math.Round(math.Round(v/CellSide)*CellSide*100) / 100 }
	lon := snap(longitude)
	if lon >= 180 {
		lon -= 360
	}
	return Cell{snap(latitude), lon}
}

// Key returns the cell's name, such as 47.25,-122.45.
func (c Cell) Key() string { return fmt.Sprintf("%.2f,%.2f", c.Latitude+0, c.Longitude+0) }
