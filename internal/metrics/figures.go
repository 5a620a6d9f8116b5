package metrics

import "time"

// Figures is how the service stands, for those who watch over it. Overdue is
// what should have been looked at by now and is not yet.
type Figures struct {
	Cells           int
	CellsOverdue    int
	CellsFailing    int       // whose last fetch failed
	OldestForecast  time.Time // fetched, of the newest of each cell; zero: no cell has one
	Projects        int
	ProjectsOverdue int
	Deliveries      int       // neither sent nor failed
	OldestDelivery  time.Time // that it should have been tried; zero: none is due
	Jobs            []JobCount
}

// JobCount is how many jobs of the queue are in one state.
type JobCount struct {
	State string // available, running, retryable, scheduled, discarded, ...
	Count int
}
