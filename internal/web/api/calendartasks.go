package api

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	ical "github.com/arran4/golang-ical"

	"dryslot/internal/message"
	"dryslot/internal/planner/job"
	"dryslot/internal/pour"
	"dryslot/internal/projects"
	"dryslot/internal/say"
	"dryslot/internal/today"
	"dryslot/internal/unit"
)

// Codes of what the calendar holds beside pours.
const (
	CalendarStrip   message.Code = "calendar_strip"   // pads
	CalendarCover   message.Code = "calendar_cover"   // pads, cover_term
	CalendarFrost   message.Code = "calendar_frost"   // pads
	CalendarNothing message.Code = "calendar_nothing" // nothing is planned
)

// task is something beside a pour that the calendar reminds of.
type task struct {
	kind    string // strip, cover or frost: part of its UID
	from    time.Time
	until   time.Time
	summary message.Message
	before  time.Duration // of the alarm
}

// How long a task's entry lasts where it has no end, and how long before covering
// it rings (judgement).
const (
	taskLasts   = 30 * time.Minute
	coverBefore = 30 * time.Minute
)

// tasks are when forms can come off and covers go on, of pads placed and planned.
func (s *server) tasks(ctx context.Context, p pour.Project, known *projects.Snapshot,
	zone *time.Location) ([]task, error) {
	placed, err := known.PadTimes(ctx)
	if err != nil {
		return nil, err
	}
	now, err := s.services.Projects.Today(ctx, p)
	if err != nil {
		return nil, err
	}
	var out []task
	strip := map[time.Time][]string{}
	add := func(pad string, at *time.Time) {
		if at != nil && at.After(now.At.AddDate(0, 0, -1)) {
			hour := at.Truncate(time.Hour) // pads of one pour come within the hour
			strip[hour] = append(strip[hour], pad)
		}
	}
	for _, r := range known.Records() {
		i := slices.IndexFunc(placed, func(t job.PadTimes) bool { return t.Pad == r.Pad })
		if i >= 0 && r.StrippedAt == nil {
			add(r.Pad, placed[i].StripFrom)
		}
	}
	k := known.Plan()
	for _, m := range k.Mornings {
		x := k.Plan.On(m.Date)
		if x == nil {
			continue
		}
		covered := map[string][]string{}
		var last time.Time
		for _, t := range m.Pads {
			if !slices.Contains(x.Pads, t.Pad) {
				continue
			}
			add(t.Pad, t.StripFrom)
			if t.Cover != "" {
				covered[t.Cover], last = append(covered[t.Cover], t.Pad), t.FinishEnd
			}
		}
		for cover, pads := range covered {
			out = append(out, task{"cover-" + cover, last, last.Add(taskLasts), message.New(CalendarCover,
				message.Names("pads", pads), message.Term("cover", cover)), coverBefore})
		}
	}
	for at, pads := range strip {
		slices.Sort(pads)
		out = append(out, task{"strip", at, at.Add(taskLasts), message.New(CalendarStrip, message.Names("pads", pads)),
			0})
	}
	if pads, from, until := frostCovers(now); len(pads) > 0 {
		out = append(out, task{"frost", from, until, message.New(CalendarFrost, message.Names("pads", pads)),
			coverBefore})
	}
	slices.SortFunc(out, func(a, b task) int { return cmp.Or(a.from.Compare(b.from), strings.Compare(a.kind, b.kind)) })
	return out, nil
}

// frostCovers are the pads that want a blanket before dark.
func frostCovers(now today.Now) (pads []string, from, until time.Time) {
	for _, x := range now.Next {
		if x.Do != today.Cover || x.Why.Code != today.StepCoverFrost {
			continue
		}
		pads = append(pads, x.Pads...)
		if from.IsZero() || x.From.Before(from) {
			from = x.From
		}
		if x.Until.After(until) {
			until = x.Until
		}
	}
	if until.Before(from.Add(time.Minute)) {
		until = from.Add(taskLasts)
	}
	return pads, from, until
}

// addTasks puts tasks into a calendar. A task's UID is its kind's, its date's and
// its hour's, so that the same one is the same entry at the next look.
func addTasks(cal *ical.Calendar, p pour.Project, tasks []task, r say.Reader, at time.Time, zone *time.Location) {
	for _, x := range tasks {
		e := cal.AddEvent(fmt.Sprintf("%s-%s-%s@dryslot", p.ID, x.kind, x.from.UTC().Format("20060102T15")))
		e.SetDtStampTime(at)
		e.SetStartAt(x.from)
		e.SetEndAt(x.until)
		summary := plain(r.Say(x.summary))
		e.SetSummary(summary)
		alarm(e, x.before, summary)
	}
	if len(cal.Components) == 0 { // RFC 5545, 3.6: a calendar holds one component at least
		j := cal.AddJournal(p.ID + "-nothing@dryslot")
		j.SetDtStampTime(at)
		j.SetProperty(ical.ComponentPropertyDtStart, strings.ReplaceAll(unit.DateOf(at, zone).String(), "-", ""),
			ical.WithValue("DATE"))
		j.SetSummary(plain(r.Say(message.New(CalendarNothing))))
	}
}

// alarm adds an alarm to an entry of the calendar, a time before it begins.
func alarm(e *ical.VEvent, before time.Duration, what string) {
	a := e.AddAlarm()
	a.SetAction(ical.ActionDisplay)
	a.SetTrigger(fmt.Sprintf("-PT%dM", int(before.Minutes())))
	a.SetProperty(ical.ComponentPropertyDescription, what)
}
