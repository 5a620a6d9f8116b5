package api

import (
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"net/url"
	"reflect"
	"regexp"
	"strings"
	"time"

	"dryslot/internal/accounts"
	"dryslot/internal/fault"
	"dryslot/internal/message"
	"dryslot/internal/place"
	"dryslot/internal/pour"
	"dryslot/internal/projects"
	"dryslot/internal/say"
	"dryslot/internal/takeoff"
	"dryslot/internal/web"
)

// InProject names a project in a path. It is exported because huma passes over
// what is embedded otherwise.
type InProject struct {
	ID string `path:"id" doc:"The project's id"`
}

// projectView is a project as answered: what the builder gave, and what
// follows from it.
type projectView struct {
	ID          string `json:"id" readOnly:"true"`
	Revision    int64  `json:"revision" readOnly:"true"`
	CalendarURL string `json:"calendar_url" readOnly:"true" doc:"The pours as an iCalendar feed; its key is a secret"`
	pour.Spec
	Pads []padView `json:"pads"`
}

// padView is a pad with what the log says of it.
type padView struct {
	pour.Pad
	State       pour.State       `json:"state" readOnly:"true"`
	Bags        int              `json:"bags" readOnly:"true" doc:"Bags to mix for it, waste included"`
	PlacedAt    *time.Time       `json:"placed_at" readOnly:"true"`
	FinishedAt  *time.Time       `json:"finished_at" readOnly:"true"`
	StrippedAt  *time.Time       `json:"stripped_at" readOnly:"true"`
	CuredAt     *time.Time       `json:"cured_at" readOnly:"true"`
	LostAt      *time.Time       `json:"lost_at" readOnly:"true"`
	Losses      int              `json:"losses" readOnly:"true"`
	Inspect     *string          `json:"inspect" readOnly:"true" doc:"Why to look at it again; null: no reason"`
	InspectData *message.Message `json:"inspect_data" readOnly:"true" doc:"The same as a code with its figures"`
}

func (s *server) projectRoutes() {
	handle(s, route{method: http.MethodPost, path: "/v1/projects", id: "create-project", summary: "Set a project up",
		status: http.StatusCreated, body: reflect.TypeFor[pour.Spec](), headers: []string{"ETag", "Location"},
		secret: true}, s.createProject)
	handle(s, route{method: http.MethodGet, path: "/v1/projects", id: "list-projects",
		summary: "The account's projects", tagged: true, secret: true}, s.listProjects)
	handle(s, route{method: http.MethodGet, path: "/v1/projects/{id}", id: "get-project", summary: "One project",
		tagged: true, secret: true}, s.getProject)
	handle(s, route{method: http.MethodPatch, path: "/v1/projects/{id}", id: "change-project",
		summary: "Change a project (RFC 7396; lists whole)", body: reflect.TypeFor[projectView](),
		headers: []string{"ETag"}, secret: true}, s.changeProject)
	handle(s, route{method: http.MethodDelete, path: "/v1/projects/{id}", id: "delete-project",
		summary: "Remove a project with everything of it", status: http.StatusNoContent, role: accounts.RoleAccount},
		s.deleteProject)
}

func (s *server) createProject(ctx context.Context, c *call, _ *struct{}) (*reply[projectView], error) {
	doc, err := pour.Parse(c.body)
	if err != nil {
		return nil, err
	}
	spec, err := pour.ReadSpec(doc)
	if err != nil {
		return nil, err
	}
	return once(ctx, s, c, func(ctx context.Context, tx web.Tx) (*reply[projectView], error) {
		p, err := s.services.Projects.CreateProject(ctx, c.account, spec)
		if err != nil {
			return nil, err
		}
		out, err := s.project(ctx, c, p)
		if err != nil {
			return nil, err
		}
		out.Status, out.Location = http.StatusCreated, "/v1/projects/"+url.PathEscape(p.ID)
		return out, nil
	})
}

func (s *server) listProjects(ctx context.Context, c *call, in *InPage) (*reply[list[projectView]], error) {
	page, err := in.page()
	if err != nil {
		return nil, err
	}
	var out *list[projectView]
	err = s.in(ctx, c, func(ctx context.Context, tx web.Tx) error {
		projects, next, err := tx.Projects(ctx, page)
		if err != nil {
			return err
		}
		records, err := s.services.Projects.RecordsOf(ctx, c.account, projects)
		if err != nil {
			return err
		}
		var views []projectView
		for i, p := range projects {
			v, err := s.view(c, p, records[i])
			if err != nil {
				return err
			}
			views = append(views, *v)
		}
		out = newList(views, next)
		return nil
	})
	return &reply[list[projectView]]{Body: out}, err
}

func (s *server) getProject(ctx context.Context, c *call, in *InProject) (*reply[projectView], error) {
	var out *reply[projectView]
	err := s.inProject(ctx, c, in.ID, func(ctx context.Context, tx web.Tx, p pour.Project,
		_ *time.Location) (err error) {
		out, err = s.project(ctx, c, p)
		return err
	})
	return out, err
}

func (s *server) changeProject(ctx context.Context, c *call, in *InProject) (*reply[projectView], error) {
	if len(c.ifMatch) == 0 {
		return nil, web.NewProblem(http.StatusPreconditionRequired, message.New(ETagNeeded),
			web.AtFault("If-Match", "absent", ETagRequired))
	}
	patch, err := pour.Parse(c.body)
	if err != nil {
		return nil, err
	}
	if err := projectID(in.ID); err != nil {
		return nil, err
	}
	var out *reply[projectView]
	err = s.in(ctx, c, func(ctx context.Context, tx web.Tx) error {
		p, err := tx.LockProject(ctx, in.ID)
		if err != nil {
			return err
		}
		if !matches(c.ifMatch, p.Revision) {
			return changedSince(c, p)
		}
		current, err := s.project(ctx, c, p)
		if err != nil {
			return err
		}
		spec, err := patched(p.Spec, current.Body, patch)
		if err != nil {
			return err
		}
		changed, err := s.services.Projects.ChangeProject(ctx, c.account, p.ID, p.Revision, spec)
		if err != nil {
			return err
		}
		out, err = s.project(ctx, c, changed)
		return err
	})
	return out, err
}

// patched returns a spec with a merge patch applied.
func patched(old pour.Spec, answered *projectView, patch *pour.Node) (pour.Spec, error) {
	before, err := node(old)
	if err != nil {
		return old, err
	}
	view, err := node(answered)
	if err != nil {
		return old, err
	}
	patch, readOnly := withoutWorkedOut(patch, view)
	merged, err := merge(before, patch)
	if err != nil {
		return old, err
	}
	spec, err := pour.ReadChanged(merged)
	if err := pour.Together(readOnly, err); err != nil {
		return old, err
	}
	// A project that moves takes the zone and the units of where it moves to,
	// unless they had been set otherwise than its old place has them; the
	// service finds what is left empty here.
	if moved := spec.Latitude != old.Latitude || spec.Longitude != old.Longitude; moved {
		zone, err := place.Zone(old.Latitude, old.Longitude)
		if err == nil && old.TimeZone == zone && patch.Get("time_zone") == nil {
			spec.TimeZone = ""
		}
		if old.Units == place.UnitsOf(old.TimeZone) && patch.Get("units") == nil && spec.TimeZone == "" {
			spec.Units = ""
		}
	}
	return spec, nil
}

// node returns the document that v is written as.
func node(v any) (*pour.Node, error) {
	body, err := json.Marshal(v)
	if err != nil {
		return nil, fmt.Errorf("web: write a project: %w", err)
	}
	return pour.Parse(body)
}

func (s *server) deleteProject(ctx context.Context, c *call, in *InProject) (*reply[struct{}], error) {
	return &reply[struct{}]{}, s.inProject(ctx, c, in.ID, func(ctx context.Context, tx web.Tx, p pour.Project,
		_ *time.Location) error {
		if len(c.ifMatch) > 0 && !matches(c.ifMatch, p.Revision) {
			return changedSince(c, p)
		}
		return tx.DeleteProject(ctx, p.ID)
	})
}

// changedSince is the problem of a project that is at another revision than
// the one that the request names.
func changedSince(c *call, p pour.Project) error {
	return web.NewProblem(http.StatusPreconditionFailed, message.New(ProjectChanged),
		web.AtFault("If-Match", web.Cut(strings.Join(c.ifMatch, ", ")), ETagNow,
			message.Text("etag", etag(p.Revision))))
}

// uuidForm is the form of every id that the store gives.
var uuidForm = regexp.MustCompile(`^[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}$`)

// projectID refuses what can't be a project's id before the store is asked.
func projectID(id string) error {
	if !uuidForm.MatchString(id) {
		return noProject(id)
	}
	return nil
}

func noProject(id string) error {
	return fault.Of(fault.NotFound, projects.ProjectUnknown).At("id", web.Cut(id), fault.RuleOf(ProjectID))
}

// inProject runs fn in one transaction with one project of the account and
// its time zone.
func (s *server) inProject(ctx context.Context, c *call, id string, fn func(context.Context, web.Tx, pour.Project,
	*time.Location) error) error {
	if err := projectID(id); err != nil {
		return err
	}
	return s.in(ctx, c, func(ctx context.Context, tx web.Tx) error {
		p, zone, err := s.find(ctx, tx, id)
		if err != nil {
			return err
		}
		return fn(ctx, tx, p, zone)
	})
}

func (s *server) find(ctx context.Context, tx web.Tx, id string) (pour.Project, *time.Location, error) {
	p, err := tx.Project(ctx, id)
	if err != nil {
		if fault.KindOf(err) == fault.NotFound {
			err = noProject(id)
		}
		return p, nil, err
	}
	callOf(ctx).language = say.For(p.Language, p.Units == place.UnitsUS).Language
	zone, err := time.LoadLocation(p.TimeZone)
	return p, zone, err
}

// project returns a project as answered.
func (s *server) project(ctx context.Context, c *call, p pour.Project) (*reply[projectView], error) {
	records, err := s.services.Projects.RecordsOf(ctx, p.Account, []pour.Project{p})
	if err != nil {
		return nil, err
	}
	v, err := s.view(c, p, records[0])
	return &reply[projectView]{ETag: etag(p.Revision), Body: v}, err
}

// view puts a project and how far its pads have come together.
func (s *server) view(c *call, p pour.Project, records []pour.PadRecord) (*projectView, error) {
	zone, err := time.LoadLocation(p.TimeZone)
	if err != nil {
		return nil, fmt.Errorf("web: project %s: %w", p.ID, err)
	}
	p.Normalize()
	v := &projectView{ID: p.ID, Revision: p.Revision, CalendarURL: s.calendarURL(p), Spec: p.Spec, Pads: []padView{}}
	for i, r := range records {
		pv := padView{Pad: p.Pads[i], State: r.State, Bags: takeoff.PadBags(p.Spec, p.Pads[i]),
			PlacedAt: r.PlacedAt, FinishedAt: r.FinishedAt, StrippedAt: r.StrippedAt, CuredAt: r.CuredAt,
			LostAt: r.LostAt, Losses: r.Losses}
		if r.Inspect != "" {
			why := message.OrStored(r.InspectData, r.Inspect)
			said := s.reader(c, p, zone).Say(why)
			pv.Inspect, pv.InspectData = &said, &why
		}
		v.Pads = append(v.Pads, pv)
	}
	inZone(v, zone)
	return v, nil
}
