package web

import (
	"context"
	"net/http"
	"reflect"
	"slices"
	"time"

	"dryslot/internal/pour"
	"dryslot/internal/watch"
)

// logOrder is a log entry as sent.
type logOrder struct {
	Kind    pour.EntryKind `json:"kind" required:"true" enum:"placed,finished,stripped,rained_on,lost,skipped,note"`
	Pad     string         `json:"pad" doc:"Empty for the whole site: rained_on, skipped and note only"`
	At      time.Time      `json:"at" required:"true" doc:"When it happened, with an offset; not in the future"`
	Bags    *float64       `json:"bags"`
	WaterL  *float64       `json:"water_l" doc:"Of all the bags together"`
	Minutes *float64       `json:"minutes" doc:"That it took"`
	RainMM  *float64       `json:"rain_mm" doc:"That fell in all"`
	Text    string         `json:"text"`
}

// logAnswer is a recorded entry with the plan that follows.
type logAnswer struct {
	Entry   pour.LogEntry `json:"entry"`
	Plan    pour.Plan     `json:"plan"`
	Changes []string      `json:"changes"`
}

func (s *server) logRoutes() {
	handle(s, route{method: http.MethodPost, path: "/v1/projects/{id}/log", id: "log", summary: "Tell what happened",
		status: http.StatusCreated, body: reflect.TypeFor[logOrder]()}, s.record)
	handle(s, route{method: http.MethodGet, path: "/v1/projects/{id}/log", id: "list-log", summary: "What happened, in the order that it did"}, s.listLog)
}

func (s *server) record(ctx context.Context, c *call, in *InProject) (*reply[logAnswer], error) {
	doc, err := pour.Parse(c.body)
	if err != nil {
		return nil, err
	}
	// A null pad is no pad, and a null text no text: answers carry them as "".
	var order logOrder
	form := withoutNulls(doc, "pad", "text").Read(&order)
	if err := projectID(in.ID); err != nil {
		return nil, err
	}
	return once(ctx, s, c, func(ctx context.Context, tx watch.Tx) (*reply[logAnswer], error) {
		p, zone, err := s.find(ctx, tx, in.ID)
		if err != nil {
			return nil, err
		}
		entry := pour.LogEntry{Kind: order.Kind, Pad: order.Pad, At: order.At, Bags: order.Bags, WaterL: order.WaterL,
			Minutes: order.Minutes, RainMM: order.RainMM, Text: order.Text}
		if form != nil {
			records, err := s.Service.Records(ctx, tx, p)
			if err != nil {
				return nil, err
			}
			return nil, pour.Together(form, pour.CheckEntry(p.Spec, records, entry, s.Clock()))
		}
		told, err := s.Service.Record(ctx, c.account, p.ID, entry)
		if err != nil {
			return nil, err
		}
		return &reply[logAnswer]{Status: http.StatusCreated,
			Body: &logAnswer{Entry: wholeEntry(told.Entry, zone), Plan: wholePlan(told.Plan, zone), Changes: words(told.Changes)}}, nil
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

func wholeEntry(e pour.LogEntry, zone *time.Location) pour.LogEntry {
	inZone(&e, zone)
	if e.Effects == nil {
		e.Effects = []pour.Effect{}
	}
	return e
}

func (s *server) listLog(ctx context.Context, c *call, in *listIn) (*reply[list[pour.LogEntry]], error) {
	page, err := in.page()
	if err != nil {
		return nil, err
	}
	var out *list[pour.LogEntry]
	err = s.inProject(ctx, c, in.ID, func(ctx context.Context, tx watch.Tx, p pour.Project, zone *time.Location) error {
		entries, next, err := tx.Log(ctx, p.ID, page)
		if err != nil {
			return err
		}
		whole := make([]pour.LogEntry, len(entries))
		for i := range entries {
			whole[i] = wholeEntry(entries[i], zone)
		}
		out = newList(whole, next)
		return nil
	})
	return &reply[list[pour.LogEntry]]{Body: out}, err
}
