package api

import (
	"context"
	"fmt"
	"net/http"
	"strings"
	"time"

	ical "github.com/arran4/golang-ical"
	"github.com/danielgtaylor/huma/v2"

	"dryslot/internal/fault"
	"dryslot/internal/message"
	"dryslot/internal/place"
	"dryslot/internal/pour"
	"dryslot/internal/say"
	"dryslot/internal/web"
)

type calendarIn struct {
	InProject
	Key string `query:"key" required:"true" doc:"The secret part of the project's calendar_url"`
}

// openRoute marks an operation that asks for no token.
const openRoute = "open"

// calendarURL is the address of a project's calendar.
func (s *server) calendarURL(p pour.Project) string {
	return web.CalendarAddress(s.PublicURL, p)
}

// calendarRoutes registers the calendar. Calendar programs send no token: the
// key in the address opens this one project's pours and nothing else.
func (s *server) calendarRoutes() {
	op := huma.Operation{Method: http.MethodGet, Path: "/v1/projects/{id}/calendar.ics", OperationID: "calendar",
		Summary: "Pours, strip-from and cover times as an iCalendar feed (RFC 5545)", Security: []map[string][]string{},
		SkipValidateParams: true, Metadata: map[string]any{openRoute: true},
		Responses: map[string]*huma.Response{"200": {Description: "OK",
			Content: map[string]*huma.MediaType{"text/calendar": {Schema: &huma.Schema{Type: huma.TypeString}}}}}}
	huma.Register(s.api, op, func(ctx context.Context, in *calendarIn) (*sent, error) {
		body, err := "", callOf(ctx).faults.Broken(QueryBreaksRule)
		if err == nil {
			body, err = s.calendar(ctx, in)
		}
		if err != nil {
			p := web.ProblemOf(err)
			if p.Status >= http.StatusInternalServerError {
				s.Log.ErrorContext(ctx, "a request failed", "route", "GET "+op.Path, "error", err)
			}
			return nil, p
		}
		return &sent{Status: http.StatusOK, ContentType: "text/calendar; charset=utf-8", Body: []byte(body)}, nil
	})
	op.Responses["200"].Headers = nil // huma takes those of all our answers
	op.Responses["default"] = s.problemResponse()
}

func (s *server) calendar(ctx context.Context, in *calendarIn) (string, error) {
	if in.Key == "" {
		var l fault.List
		l.Break("key", "absent", fault.RuleOf(CalendarKeyNeeded))
		return "", l.Broken(QueryBreaksRule)
	}
	if err := projectID(in.ID); err != nil {
		return "", err
	}
	account, project, err := s.store.ProjectByCalendarKey(ctx, in.Key)
	if fault.KindOf(err) == fault.NotFound || err == nil && project != in.ID {
		return "", fault.Of(fault.NotFound, CalendarUnknown).At("key", "not shown", fault.RuleOf(CalendarKey))
	}
	if err != nil {
		return "", err
	}
	var body string
	err = s.inProject(ctx, &call{account: account}, project, func(ctx context.Context, tx web.Tx, p pour.Project,
		zone *time.Location) error {
		known, err := s.services.Projects.Snapshot(ctx, p)
		if err != nil {
			return err
		}
		tasks, err := s.tasks(ctx, p, known, zone)
		if err != nil {
			return err
		}
		body = s.write(p, wholePlan(known.Plan().Plan, s.reader(&call{}, p, zone)), tasks, zone)
		return nil
	})
	return body, err
}

// Codes of the calendar.
const (
	CalendarName       message.Code = "calendar_name"        // project
	CalendarNameSample message.Code = "calendar_name_sample" // project
	CalendarPour       message.Code = "calendar_pour"        // pads
	CalendarFacts      message.Code = "calendar_facts"       // bags, water_l, chance
	CalendarSample     message.Code = "calendar_sample"
)

// plain gives the blanks that don't break as plain ones: not every calendar
// shows them.
func plain(s string) string { return strings.ReplaceAll(s, "\u00a0", " ") }

// write puts a plan's pours, and what else is to be done, into a calendar. A pour's UID is its date's, so
// that one that moves within its day is the same entry, and one that goes is
// gone at the next look.
func (s *server) write(p pour.Project, plan pour.Plan, tasks []task, zone *time.Location) string {
	cal := ical.NewCalendarFor("dryslot")
	cal.SetProductId("-//dryslot//pours//EN")
	cal.SetMethod(ical.MethodPublish)
	r := say.For(p.Language, p.Units == place.UnitsUS)
	project := message.Name("project", p.Name)
	name := message.New(CalendarName, project)
	if s.Sample {
		name = message.New(CalendarNameSample, project)
	}
	cal.SetXWRCalName(plain(r.Say(name)))
	cal.SetXWRTimezone(p.TimeZone)
	cal.SetRefreshInterval("PT1H")
	for _, x := range plan.Pours {
		e := cal.AddEvent(fmt.Sprintf("%s-%s@dryslot", p.ID, x.Date))
		e.SetDtStampTime(plan.MadeAt)
		e.SetModifiedAt(plan.MadeAt)
		e.SetSequence(version(plan))
		e.SetStartAt(x.Start)
		e.SetEndAt(x.End)
		summary := plain(r.Say(message.New(CalendarPour, message.Names("pads", x.Pads))))
		e.SetSummary(summary)
		alarm(e, time.Duration(p.Alerts.LeadMin)*time.Minute, summary)
		about := []string{x.Why, plain(r.Say(message.New(CalendarFacts, message.Count("bags", x.Bags),
			message.Volume("water", x.WaterL), message.Chance("", x.ChanceUnharmed))))}
		about = append(about, x.Covers...)
		if s.Sample {
			about = append(about, r.Say(message.New(CalendarSample)))
		}
		e.SetDescription(strings.Join(about, "\n"))
		ical.SetGeo(e, p.Latitude, p.Longitude)
	}
	addTasks(cal, p, tasks, r, s.Clock(), zone)
	return cal.Serialize(ical.WithNewLineWindows) // RFC 5545, 3.1: CRLF
}
