package api

import (
	"context"
	"errors"
	"fmt"
	"math"
	"net/http"
	"reflect"
	"strconv"
	"time"

	"dryslot/internal/accounts"
	"dryslot/internal/fault"
	"dryslot/internal/message"
	"dryslot/internal/planner/advise"
	"dryslot/internal/planner/job"
	"dryslot/internal/pour"
	"dryslot/internal/projects"
	"dryslot/internal/say"
	"dryslot/internal/unit"
	"dryslot/internal/web"
)

// planOrder asks for a plan to be made now.
type planOrder struct {
	WhatIf *job.WhatIf `json:"what_if" doc:"A change to try; the answer is not kept"`
}

// planAnswer is a plan made on request; what a question would do to the
// mornings comes with its answer.
type planAnswer struct {
	pour.Plan
	Changes []string `json:"changes" doc:"Against the plan before, in words"`

	ChangesData []message.Message `json:"changes_data" doc:"The same as codes with their figures"`

	Mornings []job.Morning `json:"mornings" doc:"Of a what_if: each coming date, scored under the change; else none"`
}

// planCompared is a plan of the history.
type planCompared struct {
	pour.Plan
	Against *int     `json:"against" doc:"The version that it is compared with; null: none is before it"`
	Changes []string `json:"changes" doc:"From that version to this one, in words"`

	ChangesData []message.Message `json:"changes_data" doc:"The same as codes with their figures"`
}

type planIn struct {
	InProject
	N       whole `path:"n" doc:"The plan's version"`
	Against whole `query:"against" doc:"The version to compare with; the one before when absent"`
}

// mostVersion is the highest version that the store can hold.
const mostVersion = math.MaxInt32

func (s *server) planRoutes() {
	handle(s, route{method: http.MethodGet, path: "/v1/projects/{id}/plan", id: "get-plan", summary: "The current plan",
		tagged: true, ready: true}, s.getPlan)
	handle(s, route{method: http.MethodPost, path: "/v1/projects/{id}/plan", id: "make-plan",
		summary: "Plan again now, or try a change", status: http.StatusCreated, body: reflect.TypeFor[planOrder](),
		bodyOptional: true, headers: []string{"Location"},
		also: map[int]string{http.StatusOK: "The answer to a what_if, which is not kept"}, role: accounts.RoleCrew},
		s.makePlan)
	handle(s, route{method: http.MethodGet, path: "/v1/projects/{id}/plans", id: "list-plans",
		summary: "Every plan so far, the newest first", tagged: true}, s.listPlans)
	handle(s, route{method: http.MethodGet, path: "/v1/projects/{id}/plans/{n}", id: "compare-plans",
		summary: "One plan, and what changed", tagged: true}, s.comparePlans)
}

func (s *server) getPlan(ctx context.Context, c *call, in *InProject) (*reply[pour.Plan], error) {
	var out pour.Plan
	var holds holding
	err := s.inProject(ctx, c, in.ID, func(ctx context.Context, tx web.Tx, p pour.Project, zone *time.Location) error {
		// Its sentences say today and tomorrow.
		holds.until = unit.DateOf(s.Clock(), zone).AddDays(1).At(0, zone)
		current, err := s.services.Projects.Current(ctx, p)
		if err != nil {
			return err
		}
		out = wholePlan(current.Plan, s.reader(c, p, zone))
		return nil
	})
	return &reply[pour.Plan]{Body: &out, holds: holds}, err
}

// wholePlan words a plan for a reader, and gives its lists their empty form and
// its times their zone.
func wholePlan(p pour.Plan, r say.Reader) pour.Plan {
	p = p.Worded(r.Say)
	inZone(&p, r.Zone)
	if p.Pours == nil {
		p.Pours = []pour.Pour{}
	}
	if p.Unplaced == nil {
		p.Unplaced = []pour.Unplaced{}
	}
	return p
}

func (s *server) makePlan(ctx context.Context, c *call, in *InProject) (*reply[planAnswer], error) {
	var order planOrder
	if len(c.body) > 0 {
		if err := pour.Read(c.body, &order); err != nil {
			return nil, err
		}
	}
	if err := projectID(in.ID); err != nil {
		return nil, err
	}
	return once(ctx, s, c, func(ctx context.Context, tx web.Tx) (*reply[planAnswer], error) {
		p, zone, err := s.find(ctx, tx, in.ID)
		if err != nil {
			return nil, err
		}
		if order.WhatIf != nil {
			return s.whatIf(ctx, c, tx, p, zone, *order.WhatIf)
		}
		kept, err := s.services.Projects.Replan(ctx, c.account, p.ID, "asked for")
		if err != nil {
			return nil, err
		}
		r := s.reader(c, p, zone)
		body := &planAnswer{Plan: wholePlan(kept.Plan, r), Mornings: []job.Morning{},
			Changes: sayEach(r, kept.ChangesData), ChangesData: listed(kept.ChangesData)}
		return &reply[planAnswer]{Status: http.StatusCreated, Body: body,
			Location: fmt.Sprintf("/v1/projects/%s/plans/%d", p.ID, version(kept.Plan))}, nil
	})
}

func (s *server) whatIf(ctx context.Context, c *call, tx web.Tx, p pour.Project, zone *time.Location,
	w job.WhatIf) (*reply[planAnswer], error) {
	if err := checkWhatIf(w, p.Spec); err != nil {
		return nil, err
	}
	current, err := s.services.Projects.Current(ctx, p)
	if err != nil {
		return nil, err
	}
	res, err := s.services.Projects.WhatIf(ctx, c.account, p.ID, w)
	if err != nil {
		return nil, err
	}
	r := s.reader(c, p, zone)
	changes := advise.Changes(current.Plan, res.Plan)
	res.Plan.Version = nil
	mornings := job.WordedMornings(res.Mornings, r.Say)
	inZone(&mornings, zone)
	if mornings == nil {
		mornings = []job.Morning{}
	}
	return &reply[planAnswer]{Status: http.StatusOK, Body: &planAnswer{Plan: wholePlan(res.Plan, r),
		Changes: sayEach(r, changes), ChangesData: changes, Mornings: mornings}}, nil
}

// triedFields are the fields of a change by those of the project that it stands
// for.
var triedFields = map[string]string{"crew.people": "people", "crew.earliest_start": "earliest_start",
	"crew.latest_finish": "earliest_start", "mix.water_temperature_c": "water_temperature_c",
	"mix.bag_temperature_c": "bag_temperature_c", "mix.admixture": "admixture", "practice.base_cover": "base_cover"}

// checkWhatIf holds a change to the rules of the fields that it stands for.
func checkWhatIf(w job.WhatIf, spec pour.Spec) error {
	var l fault.List
	try := w.Apply(spec)
	var broken *fault.Error
	if errors.As(try.Validate(), &broken) {
		for _, f := range broken.Fields {
			if name, ok := triedFields[f.Path]; ok {
				l.Break("what_if."+name, f.Value, f.Rule)
			}
		}
	}
	if w.Cover != nil {
		switch *w.Cover {
		case pour.Plastic, pour.Burlap, pour.Blanket, pour.NoCover:
		default:
			l.Break("what_if.cover", web.Cut(*w.Cover), fault.OneOf(pour.Plastic, pour.Burlap, pour.Blanket,
				pour.NoCover))
		}
	}
	known := map[string]bool{}
	for _, p := range spec.Pads {
		known[p.Name] = true
	}
	for i, name := range w.Pads {
		if !known[name] {
			l.Break(fmt.Sprintf("what_if.pads[%d]", i), web.Cut(name), fault.RuleOf(pour.PadUnknown))
		}
	}
	if w.LeaveOut != nil {
		for i, name := range w.LeaveOut.Pads {
			if !known[name] {
				l.Break(fmt.Sprintf("what_if.leave_out.pads[%d]", i), web.Cut(name), fault.RuleOf(pour.PadUnknown))
			}
		}
	}
	return l.Broken(WhatIfBreaksRule)
}

func (s *server) listPlans(ctx context.Context, c *call, in *listIn) (*reply[list[pour.Plan]], error) {
	page, err := in.page()
	if err != nil {
		return nil, err
	}
	var out *list[pour.Plan]
	err = s.inProject(ctx, c, in.ID, func(ctx context.Context, tx web.Tx, p pour.Project, zone *time.Location) error {
		plans, next, err := tx.Plans(ctx, p.ID, page)
		if err != nil {
			return err
		}
		whole := make([]pour.Plan, len(plans))
		for i := range plans {
			whole[i] = wholePlan(plans[i], s.reader(c, p, zone))
		}
		out = newList(whole, next)
		return nil
	})
	return &reply[list[pour.Plan]]{Body: out}, err
}

func (s *server) comparePlans(ctx context.Context, c *call, in *planIn) (*reply[planCompared], error) {
	var out *planCompared
	var l fault.List
	n, against := in.N.within(&l, "n", 0, 1, mostVersion), in.Against.within(&l, "against", 0, 1, mostVersion)
	if err := l.Broken(VersionBreaksRule); err != nil {
		return nil, err
	}
	err := s.inProject(ctx, c, in.ID, func(ctx context.Context, tx web.Tx, p pour.Project, zone *time.Location) error {
		kept, err := planVersion(ctx, tx, p.ID, n, "n")
		if err != nil {
			return err
		}
		r := s.reader(c, p, zone)
		out = &planCompared{Plan: wholePlan(kept.Plan, r), Changes: sayEach(r, kept.ChangesData),
			ChangesData: listed(kept.ChangesData)}
		if before := n - 1; against == 0 {
			if before >= 1 {
				out.Against = &before // what was kept with it is against the version before
			}
			return nil
		}
		out.Against = &against
		other, err := planVersion(ctx, tx, p.ID, against, "against")
		if err != nil {
			return err
		}
		out.ChangesData = advise.Changes(other.Plan, kept.Plan)
		out.Changes = sayEach(r, out.ChangesData)
		return nil
	})
	return &reply[planCompared]{Body: out}, err
}

func planVersion(ctx context.Context, tx web.Tx, project string, n int, field string) (projects.KeptPlan, error) {
	kept, err := tx.PlanVersion(ctx, project, n)
	if fault.KindOf(err) != fault.NotFound {
		return kept, err
	}
	return kept, fault.Of(fault.NotFound, PlanUnknown).At(field, strconv.Itoa(n), fault.RuleOf(PlanVersion))
}

func version(p pour.Plan) int {
	if p.Version == nil {
		return 0
	}
	return *p.Version
}

// listed gives a list its empty form.
func listed[T any](w []T) []T {
	if w == nil {
		return []T{}
	}
	return w
}
