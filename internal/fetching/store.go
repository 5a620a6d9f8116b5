package fetching

import (
	"context"
	"time"

	"dryslot/internal/forecast"
	"dryslot/internal/place"
	"dryslot/internal/work"
)

// Store is what fetching needs of the database.
type Store interface {
	// InSystem runs fn in one transaction that sees no account's rows.
	InSystem(ctx context.Context, fn func(context.Context, SystemTx) error) error
	// InAccount runs fn in one transaction that sees one account's rows only, or
	// joins the one that ctx carries.
	InAccount(ctx context.Context, account string, fn func(context.Context, Tx) error) error
}

// SystemTx is a transaction over the forecasts of all cells.
type SystemTx interface {
	Cells
	Feeds
	Forecasts
	Verifications
	ShortRanges
	// ProjectsOfCell lists the projects that plan from a cell and have something
	// left to pour.
	ProjectsOfCell(ctx context.Context, cell place.Cell) ([]work.ProjectRef, error)
	// Enqueue adds work to be done after this transaction commits.
	Enqueue(ctx context.Context, w ...work.Work) error
}

// Cells keeps when each cell is fetched.
type Cells interface {
	// DueCells holds up to limit cells whose next fetch is due, so that no other
	// worker lists them before the hold ends.
	DueCells(ctx context.Context, now, hold time.Time, limit int) ([]CellState, error)
	// LeaseCell takes a cell for one fetch until a time; false when another
	// fetch has it or when its next fetch is not due. It is not the hold of
	// DueCells, which only keeps a cell from being listed again. KeepForecast,
	// FetchFailed and PostponeFetch end it.
	LeaseCell(ctx context.Context, cell place.Cell, now, until time.Time) (CellState, bool, error)
	// PostponeFetch moves a cell's next fetch without counting a failure.
	PostponeFetch(ctx context.Context, cell place.Cell, next time.Time, why Trouble) error
	// FetchFailed records why, and when to try again.
	FetchFailed(ctx context.Context, cell place.Cell, at, next time.Time, why Trouble) error
	// NoteTrouble records why a feed gave nothing, though another's forecast is kept.
	NoteTrouble(ctx context.Context, cell place.Cell, why Trouble) error
	// CellsWatched counts the cells that are fetched: those whose next fetch is
	// to come, or came due within a day.
	CellsWatched(ctx context.Context, now time.Time) (int, error)
}

// Feeds keeps the state of each feed.
type Feeds interface {
	// FeedState returns the state of a feed, locked for this transaction; with
	// nothing but its name the first time.
	FeedState(ctx context.Context, feed string) (FeedState, error)
	// SetFeedState keeps the state of a feed.
	SetFeedState(ctx context.Context, s FeedState) error
}

// Forecasts keeps the forecasts of each cell.
type Forecasts interface {
	// Forecast returns the newest forecast of a cell, else fault.NotFound.
	Forecast(ctx context.Context, cell place.Cell) (forecast.Kept, error)
	// KeepForecast adds a forecast and sets when the cell is next fetched.
	KeepForecast(ctx context.Context, f forecast.Forecast, next time.Time) (forecast.Kept, error)
	// ConfirmForecast notes that the newest forecast of a cell was the newest
	// still at an instant, from which its age counts then, and sets when the cell
	// is next fetched.
	ConfirmForecast(ctx context.Context, cell place.Cell, at, next time.Time, validator string) error
}

// ShortRanges keeps the newest short-range product of each cell, and where a day
// is under way.
type ShortRanges interface {
	// DueShort holds up to limit cells with a day under way whose short-range
	// product is due, so that no other worker lists them before the hold ends.
	DueShort(ctx context.Context, now, hold time.Time, limit int) ([]place.Cell, error)
	// LeaseShort takes a cell's short-range product for one fetch until a time;
	// false when another fetch has it, when it is not due, or when nobody wants it.
	LeaseShort(ctx context.Context, cell place.Cell, now, until time.Time) (ShortState, bool, error)
	// ReleaseShort ends the lease of a cell's short-range product; it stays due.
	ReleaseShort(ctx context.Context, cell place.Cell) error
	// KeepShort keeps a product in place of the one before, and why feeds of a
	// higher preference gave none.
	KeepShort(ctx context.Context, s forecast.ShortRange, at, next time.Time, trouble Trouble) error
	// ShortFailed records why no product came, and when to try again.
	ShortFailed(ctx context.Context, cell place.Cell, at, next time.Time, why Trouble) error
	// CellsLive counts the cells with a day under way.
	CellsLive(ctx context.Context, now time.Time) (int, error)
	// LiveProjects lists the projects of a cell with a day under way.
	LiveProjects(ctx context.Context, cell place.Cell, now time.Time) ([]work.ProjectRef, error)
}

// Verifications keeps chances that forecasts stated and what came of them.
type Verifications interface {
	// KeepStated keeps the chances that a forecast stated, and the correction
	// that is to be used with it; nil: none.
	KeepStated(ctx context.Context, forecastID int64, cell place.Cell, s forecast.Stated,
		cal *forecast.Recalibration) error
	// Stated lists the chances of the same event that forecasts of the cell
	// stated from a time on.
	Stated(ctx context.Context, cell place.Cell, of string, since time.Time) ([]forecast.Stated, error)
	// SeenRain adds to r the rain that builders saw in the cell since a time: in an
	// hour the median of the accounts that saw any, each with the most it logged.
	SeenRain(ctx context.Context, cell place.Cell, since time.Time, r *forecast.Rain) error
	// LockVerification returns what was counted of a cell, locked for this
	// transaction; with nothing but Of the first time.
	LockVerification(ctx context.Context, cell place.Cell, of string) (Verification, error)
	// KeepVerification keeps it.
	KeepVerification(ctx context.Context, cell place.Cell, v Verification) error
	// CountEverywhere adds to what was counted at all places, and returns that.
	// An empty addition only reads.
	CountEverywhere(ctx context.Context, of string, add *forecast.Counts) (forecast.Counts, error)
}

// Tx is one account's transaction.
type Tx interface {
	// Counted returns what was counted of a cell's forecasts, and of all
	// cells'; empty where nothing was.
	Counted(ctx context.Context, cell place.Cell, of string) (here, everywhere forecast.Counts, err error)
}

// CellState is the state of the fetching of one cell.
type CellState struct {
	Cell        place.Cell
	ForecastID  int64 // newest; 0: none yet
	NextFetchAt time.Time
	LastTriedAt time.Time // zero: never
	Failures    int       // in a row
	Trouble     Trouble   // why the last try failed; empty: it did not
	Validator   string    // to send back with the next request
}

// ShortState is the state of the fetching of one cell's short-range product.
type ShortState struct {
	Cell        place.Cell
	Product     *forecast.ShortRange // nil: none yet
	NextFetchAt time.Time
	LastTriedAt time.Time // zero: never
	Failures    int       // in a row
	Trouble     Trouble   // why the last try failed, or why a feed was passed over
}

// FeedState is the state of one feed for all workers: its limits and its
// circuit are kept in one row, as JSON.
type FeedState struct {
	Feed      string      `json:"feed"`
	Taken     []Taken     `json:"taken"`      // request weights of the last day, oldest first
	InFlight  []time.Time `json:"in_flight"`  // when each request under way is given up for lost
	Failures  int         `json:"failures"`   // in a row, over all cells
	OpenUntil time.Time   `json:"open_until"` // the circuit: nothing is asked before; zero: closed
	Trouble   string      `json:"trouble"`
}

// Taken is what was asked of a feed in a short time.
type Taken struct {
	At     int64   `json:"t"` // of the last request in it, seconds since 1970
	Weight float64 `json:"w"`
	Short  float64 `json:"s,omitempty"` // of it, for short-range products
}

// Verification is what was counted of one cell's forecasts.
type Verification struct {
	Of     string          // whose chances of what
	Until  time.Time       // hours that begin before it are counted; zero: none yet
	Rain   forecast.Rain   // that fell lately, for what is not counted yet
	Counts forecast.Counts // so far
}
