// Package fetching owns the forecasts of grid cells: which cell is fetched when
// and from which feed, within the limits that a feed's provider states; the
// pause of a feed that fails; the lease of a cell, so that two workers never
// fetch it at once; and the verification of earlier forecasts by what came true.
//
//	svc := &fetching.Service{Store: store.Fetching(), Feeds: feeds, Now: time.Now}
//	err := svc.Refresh(ctx, cell)
package fetching
