package api

import (
	"context"
	"math"
	"net/http"
	"time"

	"dryslot/internal/fault"
	"dryslot/internal/fetching"
	"dryslot/internal/forecast"
	"dryslot/internal/message"
	"dryslot/internal/place"
	"dryslot/internal/planner/job"
	"dryslot/internal/pour"
	"dryslot/internal/say"
	"dryslot/internal/unit"
	"dryslot/internal/web"
)

// forecastView is a forecast as answered; before the first one everything but
// the hours, which are none, and the next try is null.
type forecastView struct {
	Feed        *string           `json:"feed"`
	IssuedAt    *time.Time        `json:"issued_at"`
	FetchedAt   *time.Time        `json:"fetched_at"`
	AgeMin      *int              `json:"age_min" doc:"Minutes since it was issued, if known, else fetched"`
	Members     *int              `json:"members" doc:"Equally likely weathers that plans draw from it"`
	Attribution *string           `json:"attribution"`
	LastTry     *time.Time        `json:"last_try" doc:"When the feed was last asked for this cell; null: never"`
	NextTry     *time.Time        `json:"next_try"`
	Trouble     *string           `json:"trouble" doc:"Why the last try failed or a feed was passed over, or null"`
	TroubleData []message.Message `json:"trouble_data" doc:"The same as codes with figures, one a feed, or empty"`
	LeftOut     []string          `json:"left_out" doc:"Fields that the feed gave in an odd unit or form: unknown"`
	Hours       []hourView        `json:"hours"`

	ShortRange *shortView `json:"short_range" doc:"Of the next minutes and hours; null: no day was under way yet"`

	Verification *verificationView `json:"verification" doc:"How earlier chances of rain proved, or null"`
}

// shortView is what is known of a cell's short-range product; before the first
// one, what it holds is null.
type shortView struct {
	Feed        *string           `json:"feed"`
	IssuedAt    *time.Time        `json:"issued_at"`
	FetchedAt   *time.Time        `json:"fetched_at"`
	Until       *time.Time        `json:"until" doc:"The end of its last step"`
	Attribution *string           `json:"attribution"`
	LastTry     *time.Time        `json:"last_try"`
	NextTry     *time.Time        `json:"next_try" doc:"Every 15 minutes while at work, later at the feed's limits"`
	Trouble     *string           `json:"trouble" doc:"Why the last try failed or a feed was passed over, or null"`
	TroubleData []message.Message `json:"trouble_data" doc:"The same as codes with figures, one a feed, or empty"`
}

func viewShort(s fetching.ShortState, r say.Reader) *shortView {
	v := &shortView{LastTry: some(s.LastTriedAt), NextTry: some(s.NextFetchAt),
		Trouble: someText(r.SayAll(s.Trouble.Data)), TroubleData: listed(s.Trouble.Data)}
	if p := s.Product; p != nil && len(p.Steps) > 0 {
		last := p.Steps[len(p.Steps)-1]
		v.Feed, v.IssuedAt, v.Attribution = &p.Source.Feed, p.Source.IssuedAt, &p.Source.Attribution
		v.FetchedAt, v.Until = some(p.Source.FetchedAt), some(last.Start.Add(last.Length))
	}
	return v
}

// hourView is one hour; null is unknown.
type hourView struct {
	Time          time.Time         `json:"time"`
	AirC          *float64          `json:"air_c"`
	HumidityPct   *float64          `json:"humidity_pct"`
	DewPointC     *float64          `json:"dew_point_c"`
	WindMS        *float64          `json:"wind_m_s"`
	GustMS        *float64          `json:"gust_m_s"`
	CloudPct      *float64          `json:"cloud_pct"`
	ShortwaveWM2  *float64          `json:"shortwave_w_m2"`
	RainMM        *float64          `json:"rain_mm"`
	RainChance    *float64          `json:"rain_chance"`
	ThunderChance *float64          `json:"thunder_chance"`
	SnowMM        *float64          `json:"snow_mm"`
	Sources       map[string]string `json:"sources" doc:"The feed of each figure that is known"`
}

type morningsIn struct {
	InProject
	InPage
	Days whole `query:"days" minimum:"1" maximum:"10" doc:"How many coming dates; 10 when absent"`
}

type morningIn struct {
	InProject
	Date string `path:"date" doc:"YYYY-MM-DD, today or tomorrow"`
}

func (s *server) weatherRoutes() {
	handle(s, route{method: http.MethodGet, path: "/v1/projects/{id}/forecast", id: "get-forecast",
		summary: "The hours that the plan was made from"}, s.getForecast)
	handle(s, route{method: http.MethodGet, path: "/v1/projects/{id}/mornings", id: "list-mornings",
		summary: "Each coming date, scored", tagged: true, ready: true}, s.listMornings)
	handle(s, route{method: http.MethodGet, path: "/v1/projects/{id}/mornings/{date}", id: "get-morning",
		summary: "One date, whole", tagged: true, ready: true}, s.getMorning)
}

func (s *server) getForecast(ctx context.Context, c *call, in *InProject) (*reply[forecastView], error) {
	v := &forecastView{Hours: []hourView{}, LeftOut: []string{}, TroubleData: []message.Message{}}
	err := s.inProject(ctx, c, in.ID, func(ctx context.Context, tx web.Tx, p pour.Project, zone *time.Location) error {
		cell := place.CellOf(p.Latitude, p.Longitude)
		state, err := tx.CellState(ctx, cell)
		if err == nil {
			v.LastTry, v.NextTry = some(state.LastTriedAt), some(state.NextFetchAt)
			v.Trouble, v.TroubleData = someText(s.reader(c, p, zone).SayAll(state.Trouble.Data)),
				listed(state.Trouble.Data)
		} else if fault.KindOf(err) != fault.NotFound {
			return err
		}
		short, err := tx.ShortState(ctx, cell)
		if err == nil {
			v.ShortRange = viewShort(short, s.reader(c, p, zone))
		} else if fault.KindOf(err) != fault.NotFound {
			return err
		}
		kept, members, err := web.Planned(ctx, tx, p.ID, cell)
		if fault.KindOf(err) == fault.NotFound {
			inZone(v, zone)
			return nil
		}
		if err != nil {
			return err
		}
		v.fill(kept.Forecast, members, s.Clock())
		if v.Verification, err = s.verification(ctx, c.account, kept); err != nil {
			return err
		}
		inZone(v, zone)
		return nil
	})
	return &reply[forecastView]{Body: v}, err
}

func (v *forecastView) fill(f forecast.Forecast, members int, now time.Time) {
	first := f.Sources[0] // a kept forecast has a source
	fetched, age := first.FetchedAt, int(now.Sub(f.AgedFrom()).Minutes())
	v.Feed, v.IssuedAt, v.FetchedAt, v.AgeMin, v.Members, v.Attribution = &first.Feed, first.IssuedAt, &fetched, &age,
		&members, &first.Attribution
	for i := range f.Sources {
		v.LeftOut = append(v.LeftOut, f.Sources[i].LeftOut...)
	}
	for i := range f.Hours {
		h := &f.Hours[i]
		get := func(n forecast.Variable) *float64 {
			o := h.Get(n)
			if !o.Known {
				return nil
			}
			v := math.Round(o.V*1000) / 1000 // conversions leave crumbs
			return &v
		}
		hv := hourView{Time: h.Start, AirC: get(forecast.AirC), HumidityPct: get(forecast.HumidityPct),
			DewPointC: get(forecast.DewPointC), WindMS: get(forecast.WindMS), GustMS: get(forecast.GustMS),
			CloudPct: get(forecast.CloudPct), ShortwaveWM2: get(forecast.ShortwaveWM2),
			RainMM: get(forecast.RainMM), RainChance: get(forecast.RainChance),
			ThunderChance: get(forecast.ThunderChance),
			SnowMM:        get(forecast.SnowMM), Sources: map[string]string{}}
		for n, name := range forecast.Names {
			if h.Values[n].Known {
				hv.Sources[name] = f.Sources[h.From[n]].Feed
			}
		}
		v.Hours = append(v.Hours, hv)
	}
}

func (s *server) listMornings(ctx context.Context, c *call, in *morningsIn) (*reply[list[job.Morning]], error) {
	var l fault.List
	days := in.Days.within(&l, "days", 10, 1, 10)
	page, err := in.page()
	if err := pour.Together(l.Broken(QueryBreaksRule), err); err != nil {
		return nil, err
	}
	var out *list[job.Morning]
	var holds holding
	err = s.inProject(ctx, c, in.ID, func(ctx context.Context, tx web.Tx, p pour.Project, zone *time.Location) error {
		var mornings []job.Morning
		mornings, holds, err = s.mornings(ctx, c, p, zone)
		if err != nil {
			return err
		}
		out, err = part(mornings[:min(days, len(mornings))], page,
			func(m job.Morning) string { return m.Date.String() })
		if err != nil {
			return err
		}
		for i := range out.Items {
			out.Items[i].Chart = nil // each date by itself has it
		}
		return nil
	})
	return &reply[list[job.Morning]]{Body: out, holds: holds}, err
}

func (s *server) mornings(
	ctx context.Context, c *call, p pour.Project, zone *time.Location,
) ([]job.Morning, holding, error) {
	now := s.Clock()
	current, err := s.services.Projects.Current(ctx, p)
	if err != nil {
		return nil, holding{}, err
	}
	var holds holding
	holds.since, holds.until = current.Holds(zone, now)
	mornings := job.WordedMornings(current.Mornings, s.reader(c, p, zone).Say)
	inZone(&mornings, zone)
	return mornings, holds, nil
}

func (s *server) getMorning(ctx context.Context, c *call, in *morningIn) (*reply[job.Morning], error) {
	var out *job.Morning
	var holds holding
	err := s.inProject(ctx, c, in.ID, func(ctx context.Context, tx web.Tx, p pour.Project, zone *time.Location) error {
		date, err := readDate(in.Date, unit.DateOf(s.Clock(), zone))
		if err != nil {
			return err
		}
		var mornings []job.Morning
		if mornings, holds, err = s.mornings(ctx, c, p, zone); err != nil {
			return err
		}
		for i := range mornings {
			if mornings[i].Date == date {
				out = &mornings[i]
				return nil
			}
		}
		rule := fault.RuleOf(DateComing)
		if n := len(mornings); n > 0 {
			rule = fault.RuleOf(DateRange, message.Date("first", mornings[0].Date),
				message.Date("last", mornings[n-1].Date))
		}
		return fault.Of(fault.NotFound, MorningUnknown).At("date", date.String(), rule)
	})
	return &reply[job.Morning]{Body: out, holds: holds}, err
}

// readDate reads a date as a path gives it.
func readDate(given string, today unit.Date) (unit.Date, error) {
	switch given {
	case "today":
		return today, nil
	case "tomorrow":
		return today.AddDays(1), nil
	}
	date, err := unit.ParseDate(given)
	if err != nil {
		var l fault.List
		l.Break("date", web.Cut(given), fault.RuleOf(DateForm))
		return date, l.Broken(MorningUnknown)
	}
	return date, nil
}

// some returns nil for the zero time.
func some(t time.Time) *time.Time {
	if t.IsZero() {
		return nil
	}
	return &t
}

// someText returns nil for no text.
func someText(t string) *string {
	if t == "" {
		return nil
	}
	return &t
}
