package api

import (
	"context"
	"encoding/json"
	"flag"
	"fmt"
	"math"
	"net/http"
	"slices"
	"strings"
	"testing"
	"time"

	"dryslot/internal/alerts"
	"dryslot/internal/alerts/alertstest"
	"dryslot/internal/fault"
	"dryslot/internal/fetching"
	"dryslot/internal/forecast/skytest"
	"dryslot/internal/notify"
	"dryslot/internal/paging"
	"dryslot/internal/place"
	"dryslot/internal/postgres"
	"dryslot/internal/unit"
	"dryslot/internal/web/webtest"
)

// site is where and when a day is played.
type site struct {
	lat, lon float64
	zone     string
	date     unit.Date
	pads     int
	more     string // of the project, as JSON members
}

// evora is a crew of one with seven pads and plastic for four, in June.
var evora = site{38.55, -7.90, "Europe/Lisbon", unit.Date{Year: 2026, Month: time.June, Day: 10}, 7,
	`"stock":{"covers":[{"kind":"plastic","pads":4},{"kind":"blanket","pads":4}]}`}

// played is a day that is played through by the API: the clock moves on, the
// feeds are asked when they are due, a builder taps, and a diary notes what is
// advised and what is sent.
type played struct {
	t       *testing.T
	h       *webtest.Service
	site    site
	zone    *time.Location
	sky     *skytest.Sky
	mail    *alertstest.Letters
	id      string
	account string
	cell    place.Cell
	last    string   // what was advised last
	noted   int      // messages noted
	kinds   []string // of what was sent, in order
	taps    bool     // the builder taps what is planned, when it is done
	placed  map[string]bool
	next    time.Time
}

// spoken is the language of the days that are played, to be read by those who speak it.
var spoken = flag.String("played.language", "en", "language of the played days' texts")

// play sets the project up at half past six on the evening before.
func play(t *testing.T, s site, sky *skytest.Sky) *played {
	t.Helper()
	zone, err := time.LoadLocation(s.zone)
	if err != nil {
		t.Fatal(err)
	}
	d := &played{t: t, h: newService(t), site: s, zone: zone, sky: sky, mail: &alertstest.Letters{},
		cell: place.CellOf(s.lat, s.lon), placed: map[string]bool{}}
	sky.Named, sky.Days = "sky", 4 // of a few pads no plan looks further
	d.h.Alerts.Channels = map[string]alerts.Channel{notify.Webhook: d.mail}
	d.h.Fetching.Feeds = []fetching.Feed{sky}
	d.h.Now = s.date.AddDays(-1).At(18*60+30, zone)
	pads := make([]string, s.pads)
	for i := range pads {
		pads[i] = fmt.Sprintf(`{"name":"H%d","length_m":0.9,"width_m":0.9,"thickness_m":0.075}`, i+1)
	}
	d.id = d.h.Create(t, d.h.Token, fmt.Sprintf(`{"name":"Garden path","latitude":%g,"longitude":%g,"language":%q,%s,
		"pads":[%s]}`,
		s.lat, s.lon, *spoken, s.more, strings.Join(pads, ",")))
	d.h.Must(t, http.StatusCreated, "POST", "/v1/projects/"+d.id+"/recipients",
		`{"kind":"webhook","address":"https://hooks.example.org/builder"}`)
	if d.account, err = d.h.Store.AccountByToken(context.Background(), d.h.Token); err != nil {
		t.Fatal(err)
	}
	d.work()
	return d
}

func (d *played) note(format string, args ...any) {
	d.t.Logf("%s  %s", d.h.Now.In(d.zone).Format("15:04"), fmt.Sprintf(format, args...))
}

// at is a clock's reading on the date.
func (d *played) at(hour, min int) time.Time { return d.site.date.At(unit.Clock(hour*60+min), d.zone) }

// work does what the workers do at this minute.
func (d *played) work() {
	d.t.Helper()
	ctx := context.Background()
	var due []fetching.CellState
	var short []place.Cell
	err := d.h.Store.InSystem(ctx, func(ctx context.Context, tx *postgres.SystemTx) (err error) {
		if due, err = tx.DueCells(ctx, d.h.Now, d.h.Now, 10); err != nil {
			return err
		}
		short, err = tx.DueShort(ctx, d.h.Now, d.h.Now, 10)
		return err
	})
	for _, c := range due {
		d.try(d.h.Fetching.Refresh(ctx, c.Cell))
	}
	for _, c := range short {
		d.try(d.h.Fetching.RefreshShort(ctx, c))
	}
	d.try(err)
	d.try(d.h.Projects.RaiseAlerts(ctx, d.account, d.id))
	if len(due) > 0 || d.h.Now.In(d.zone).Hour() == 0 {
		d.try(d.h.Projects.MakeNext(ctx))
	}
	d.deliver()
}

func (d *played) try(err error) {
	d.t.Helper()
	if err != nil && fault.KindOf(err) != fault.Unavailable {
		d.t.Fatal(err)
	}
}

// deliver sends what is due, and notes it.
func (d *played) deliver() {
	d.t.Helper()
	ctx := context.Background()
	var all []alerts.Delivery
	d.try(d.h.Store.InAccount(ctx, d.account, func(ctx context.Context, tx *postgres.AccountTx) (err error) {
		all, _, err = tx.Alerts(ctx, d.id, paging.Page{Limit: 200})
		return err
	}))
	for _, a := range slices.Backward(all) {
		if a.State == alerts.DeliveryDue || a.State == alerts.DeliveryRetrying {
			d.try(d.h.Alerts.Deliver(ctx, d.account, a.Key))
		}
	}
	for _, m := range d.mail.Sent()[d.noted:] {
		d.noted++
		var p struct {
			Data struct {
				Kind  string   `json:"kind"`
				Kinds []string `json:"kinds"`
			} `json:"data"`
		}
		if err := json.Unmarshal(m.Payload, &p); err != nil {
			d.t.Fatal(err)
		}
		d.kinds = append(d.kinds, p.Data.Kind)
		text := strings.Join(strings.Fields(strings.SplitN(m.Text, "\nGarden path\n", 2)[0]), " ")
		d.note("-> %s [%s %v]\n           %s", m.Subject, p.Data.Kind, p.Data.Kinds, text)
	}
}

// now is the answer of /now, as far as a day is played by it.
type answered struct {
	Day    string
	Advice struct {
		Do   string
		Pads []string
		Why  struct{ Code, Text string }
	}
	Next []struct {
		Do          string
		Pads        []string
		From, Until time.Time
		Why         struct{ Code, Text string }
	}
	Rain      struct{ Seen bool }
	Hazards   []struct{ Threat string }
	Questions []struct {
		Ask  string
		Pads []string
		Text string
	}
	Pads []struct {
		Pad, Phase                string
		Covered, Inspect, Assumed bool
	}
}

// see asks what to do now, and notes what is new.
func (d *played) see() (n answered) {
	d.t.Helper()
	a := d.h.Must(d.t, http.StatusOK, "GET", "/v1/projects/"+d.id+"/now", "")
	if err := json.Unmarshal([]byte(a.Body), &n); err != nil {
		d.t.Fatal(err)
	}
	if said := n.Day + ": " + n.Advice.Why.Text; said != d.last {
		d.last = said
		d.note("%s", said)
	}
	return n
}

// until lets the day go on, looking at it every five minutes.
func (d *played) until(end time.Time) {
	d.t.Helper()
	for d.h.Now.Before(end) {
		step := 5 * time.Minute
		switch {
		case d.h.Now.Before(d.at(0, 0)):
			step = 15 * time.Minute // the evening before
		case d.h.Now.Before(d.at(3, 0)) && !d.h.Now.Before(d.at(0, 5)):
			step = 30 * time.Minute // nothing is told at night
		}
		if left := end.Sub(d.h.Now); left < step {
			step = left
		}
		d.h.Now = d.h.Now.Add(step)
		d.work()
		n := d.see()
		if d.taps {
			d.tapWhatIsDone(n)
		}
	}
}

// tapWhatIsDone taps a pad when its placing has ended as planned, and its finish
// a quarter of an hour into its window.
func (d *played) tapWhatIsDone(n answered) {
	d.t.Helper()
	for _, p := range n.Pads {
		if p.Assumed && !d.placed[p.Pad] && (p.Phase == "soft" || p.Phase == "setting") {
			d.tap("placed", p.Pad)
		}
	}
	for _, x := range n.Next {
		if x.Do == "finish" && !x.From.Add(15*time.Minute).After(d.h.Now) && placedIn(n, x.Pads[0]) {
			d.tap("finished", x.Pads...)
		}
	}
}

func placedIn(n answered, pad string) bool {
	for _, p := range n.Pads {
		if p.Pad == pad {
			return p.Phase == "soft" || p.Phase == "setting" || p.Phase == "hard"
		}
	}
	return false
}

// tap logs an entry of this minute and returns what is advised after it.
func (d *played) tap(kind string, pads ...string) (id string, n answered) {
	d.t.Helper()
	return d.enter(fmt.Sprintf(`{"kind":%q,"pads":%s,"at":%q}`, kind, quoted(pads), d.h.Now.Format(time.RFC3339)))
}

func quoted(pads []string) string {
	if len(pads) == 0 {
		return "[]"
	}
	return `["` + strings.Join(pads, `","`) + `"]`
}

func (d *played) enter(entry string) (id string, n answered) {
	d.t.Helper()
	a := d.h.Must(d.t, http.StatusCreated, "POST", "/v1/projects/"+d.id+"/log", entry)
	var got struct {
		Entry struct {
			ID, Kind string
			Pads     []string
		}
		Changes []string
	}
	if err := json.Unmarshal([]byte(a.Body), &got); err != nil {
		d.t.Fatal(err)
	}
	for _, p := range got.Entry.Pads {
		d.placed[p] = d.placed[p] || got.Entry.Kind == "placed"
	}
	d.note("builder: %s %s", got.Entry.Kind, strings.Join(got.Entry.Pads, ", "))
	for _, c := range got.Changes {
		d.note("         %s", c)
	}
	n = d.see()
	d.deliver()
	return got.Entry.ID, n
}

// places are the placings planned of the date.
func (d *played) places(n answered) (out []time.Time, pads []string) {
	for _, x := range n.Next {
		if x.Do == "place" && unit.DateOf(x.From, d.zone) == d.site.date {
			out, pads = append(out, x.Until), append(pads, x.Pads[0])
		}
	}
	return out, pads
}

// morning lets the night pass until setting up, and taps that the crew has
// begun. It returns when each pad is to be placed.
func (d *played) morning() (until []time.Time, pads []string) {
	d.t.Helper()
	d.until(d.at(0, 30))
	until, pads = d.places(d.see())
	if len(until) == 0 {
		d.t.Fatalf("nothing is planned: %+v", d.see())
	}
	for _, x := range d.see().Next {
		if x.Do == "set_up" {
			d.next = x.From
		}
	}
	for i := range until {
		d.note("planned: %s placed by %s", pads[i], until[i].In(d.zone).Format("15:04"))
	}
	d.until(d.next)
	d.tap("started")
	return until, pads
}

// end checks how many messages the day brought.
func (d *played) end(most int, want ...string) {
	d.t.Helper()
	d.note("%d messages: %v", len(d.kinds), d.kinds)
	if n := len(d.kinds); n > most {
		d.t.Errorf("%d messages, at most %d are wanted", n, most)
	}
	for _, k := range want {
		if !slices.Contains(d.kinds, k) {
			d.t.Errorf("no message of %s: %v", k, d.kinds)
		}
	}
}

// hoursOf is rain of a rate within some hours of the date.
func (d *played) hoursOf(from, until int, mm float64) func(time.Time) float64 {
	return func(t time.Time) float64 {
		if !t.Before(d.at(from, 0)) && t.Before(d.at(until, 0)) {
			return mm
		}
		return 0
	}
}

// course is air that swings about a mean, warmest at three in the afternoon.
func course(zone *time.Location, mean, swing float64) func(time.Time) float64 {
	return func(t time.Time) float64 {
		l := t.In(zone)
		return mean + swing*math.Cos((float64(l.Hour())+float64(l.Minute())/60-15)/24*2*math.Pi)
	}
}
