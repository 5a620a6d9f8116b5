package api

import (
	"context"
	"net/http"
	"reflect"
	"slices"
	"strings"
	"time"

	"dryslot/internal/accounts"
	"dryslot/internal/history"
	"dryslot/internal/message"
	"dryslot/internal/pour"
	"dryslot/internal/projects"
	"dryslot/internal/say"
	"dryslot/internal/web"
)

// logOrder is a log entry as sent.
type logOrder struct {
	ID      string         `json:"id" doc:"A UUID of the sender's; sent again with the same body: the same answer"`
	Kind    pour.EntryKind `json:"kind" required:"true"`
	Pads    []string       `json:"pads" doc:"Empty: all that it can be true of; of started, undone and rain: none"`
	Pad     string         `json:"pad" doc:"The only one, in place of pads"`
	At      time.Time      `json:"at" required:"true" doc:"With an offset; up to 5 minutes ahead is taken as now"`
	Bags    *float64       `json:"bags" doc:"Of all pads together"`
	WaterL  *float64       `json:"water_l" doc:"Of all the bags together"`
	Minutes *float64       `json:"minutes" doc:"That it took; of rained_on, how long it rained"`
	RainMM  *float64       `json:"rain_mm" doc:"That fell in all; null: not known"`
	Cover   string         `json:"cover" doc:"plastic, burlap or blanket; empty: not told"`
	Covered *bool          `json:"covered" doc:"Of rained_on: whether the pads lay covered; null: not known"`
	Result  string         `json:"result" doc:"Of inspected: sound, blemished or lost"`
	Entry   string         `json:"entry" doc:"Of undone: the id of the entry that it voids, which may come later"`
	Ratings *pour.Ratings  `json:"ratings" doc:"Of rated: each none, some or bad; empty: not told"`
	Text    string         `json:"text"`
	Photos  []string       `json:"photos" doc:"Ids of photos"`
}

func (o logOrder) entry() pour.LogEntry {
	return pour.LogEntry{ID: strings.ToLower(o.ID), Kind: o.Kind, Pads: o.Pads, Pad: o.Pad, At: o.At, Bags: o.Bags,
		WaterL: o.WaterL, Minutes: o.Minutes, RainMM: o.RainMM, Cover: o.Cover, Covered: o.Covered, Result: o.Result,
		Entry: strings.ToLower(o.Entry), Ratings: o.Ratings, Text: o.Text, Photos: o.Photos}
}

// logAnswer is a recorded entry with the plan that follows.
type logAnswer struct {
	Entry   pour.LogEntry `json:"entry"`
	Plan    pour.Plan     `json:"plan"`
	Changes []string      `json:"changes" doc:"What the entry meant, then what changed in the plan"`

	ChangesData []message.Message `json:"changes_data" doc:"The same as codes with their figures"`

	Assumed []assumedStep `json:"assumed"`
	Asked   []question    `json:"questions"`
}

// assumedStep is a step that was not logged and that an entry implies.
type assumedStep struct {
	Pad  string         `json:"pad"`
	Kind pour.EntryKind `json:"kind"`
	At   time.Time      `json:"at"`
}

// question is something that the log leaves open; the codes are those of
// package history.
type question struct {
	Ask  message.Code `json:"ask"`
	Text string       `json:"text"`

	Data message.Message `json:"text_data" doc:"The same as a code, which is ask, with its figures"`

	Pads      []string   `json:"pads"`
	Entries   []string   `json:"entries"`
	Undone    string     `json:"undone"`
	AssumedAt *time.Time `json:"assumed_at"`
}

func questions(asked []history.Question, r say.Reader) []question {
	out := make([]question, len(asked))
	for i, q := range asked {
		m := q.Message()
		out[i] = question{Ask: q.Ask, Text: r.Say(m), Data: m, Pads: listed(q.Pads),
			Entries: listed(q.Entries), Undone: q.Undone}
		if !q.At.IsZero() {
			out[i].AssumedAt = &q.At
		}
	}
	return out
}

func assumedSteps(steps []history.Assumed) []assumedStep {
	out := make([]assumedStep, len(steps))
	for i, a := range steps {
		out[i] = assumedStep(a)
	}
	return out
}

func (s *server) logRoutes() {
	handle(s, route{method: http.MethodPost, path: "/v1/projects/{id}/log", id: "log", summary: "Tell what happened",
		status: http.StatusCreated, body: reflect.TypeFor[logOrder](), role: accounts.RoleCrew}, s.record)
	handle(s, route{method: http.MethodGet, path: "/v1/projects/{id}/log", id: "list-log",
		summary: "What happened, in the order that it did"}, s.listLog)
}

func (s *server) record(ctx context.Context, c *call, in *InProject) (*reply[logAnswer], error) {
	doc, err := pour.Parse(c.body)
	if err != nil {
		return nil, err
	}
	// A null pad is no pad, and a null text no text: answers carry them as "".
	var order logOrder
	form := withoutNulls(doc, "id", "pad", "pads", "cover", "result", "entry", "text", "photos").Read(&order)
	if err := projectID(in.ID); err != nil {
		return nil, err
	}
	return once(ctx, s, c, func(ctx context.Context, tx web.Tx) (*reply[logAnswer], error) {
		p, zone, err := s.find(ctx, tx, in.ID)
		if err != nil {
			return nil, err
		}
		entry := order.entry()
		if form != nil {
			entry.TakeAsNow(s.Clock())
			return nil, pour.Together(form, pour.CheckEntry(p.Spec, entry, s.Clock()))
		}
		entry.By = c.acts.Name
		told, err := s.services.Projects.Record(ctx, c.account, p.ID, entry)
		if err != nil {
			return nil, err
		}
		return &reply[logAnswer]{Status: http.StatusCreated,
			Body: answerTo(told, s.reader(c, p, zone), zone)}, nil
	})
}

// withoutNulls takes members that are null out of an object.
func withoutNulls(n *pour.Node, names ...string) *pour.Node {
	out := *n
	out.Object = slices.DeleteFunc(slices.Clone(n.Object), func(m pour.NamedNode) bool {
		return m.Value.Kind == pour.NullNode && slices.Contains(names, m.Name)
	})
	return &out
}

func answerTo(told projects.Recorded, r say.Reader, zone *time.Location) *logAnswer {
	a := &logAnswer{Entry: wholeEntry(told.Entry, r, zone), Plan: wholePlan(told.Plan, r),
		Changes: sayEach(r, told.Changes), ChangesData: told.Changes, Assumed: assumedSteps(told.Assumed),
		Asked: questions(told.Questions, r)}
	inZone(&a.Assumed, zone)
	inZone(&a.Asked, zone)
	return a
}

func wholeEntry(e pour.LogEntry, r say.Reader, zone *time.Location) pour.LogEntry {
	inZone(&e, zone)
	e.Effects = slices.Clone(e.Effects)
	e.Normalize()
	for i, f := range e.Effects {
		e.Effects[i].Why = r.SayAll(f.Data)
		if f.Inspect != "" && f.Code != "" {
			e.Effects[i].Inspect = r.Say(f.Data[0])
		}
	}
	return e
}

func (s *server) listLog(ctx context.Context, c *call, in *listIn) (*reply[list[pour.LogEntry]], error) {
	page, err := in.page()
	if err != nil {
		return nil, err
	}
	var out *list[pour.LogEntry]
	err = s.inProject(ctx, c, in.ID, func(ctx context.Context, tx web.Tx, p pour.Project, zone *time.Location) error {
		entries, next, err := tx.Log(ctx, p.ID, page)
		if err != nil {
			return err
		}
		whole := make([]pour.LogEntry, len(entries))
		for i := range entries {
			whole[i] = wholeEntry(entries[i], s.reader(c, p, zone), zone)
		}
		out = newList(whole, next)
		return nil
	})
	return &reply[list[pour.LogEntry]]{Body: out}, err
}
