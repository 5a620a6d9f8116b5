package api

import (
	"context"
	"net/http"
	"time"

	"dryslot/internal/pour"
	"dryslot/internal/takeoff"
	"dryslot/internal/web"
)

func (s *server) takeoffRoutes() {
	handle(s, route{method: http.MethodGet, path: "/v1/projects/{id}/takeoff", id: "get-takeoff",
		summary: "What to buy and carry: whole project, per pour, per pad"}, s.getTakeoff)
}

func (s *server) getTakeoff(ctx context.Context, c *call, in *InProject) (*reply[takeoff.Takeoff], error) {
	var out takeoff.Takeoff
	err := s.inProject(ctx, c, in.ID, func(ctx context.Context, tx web.Tx, p pour.Project, zone *time.Location) error {
		known, err := s.services.Projects.Snapshot(ctx, p)
		if err != nil {
			return err
		}
		out = takeoff.Of(takeoff.Job{Spec: p.Spec, Records: known.Records(), Pours: known.Plan().Plan.Pours,
			Zone: zone}).Worded(s.reader(c, p, zone).Say)
		return nil
	})
	return &reply[takeoff.Takeoff]{Body: &out}, err
}
