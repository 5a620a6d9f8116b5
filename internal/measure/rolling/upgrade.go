package main

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"reflect"
	"slices"
	"time"
)

// waitFor is how long one thing that a worker has to do is waited for: a plan of
// the few pads here takes well under a second.
const waitFor = time.Minute

// upgrade is the course of one upgrade, and what was counted on the way.
type upgrade struct {
	before, now *version
	outside     *outside
	projects    []string // ids
	hooks       int      // webhooks added

	plans, entries, tests int // written by either
	evenings              int // alerts of the evening sent
	reads                 int // of what the other wrote, equal in both
	asked, refused        int // requests to the version before while the database was migrated
}

// project is what both versions show of one.
type project struct {
	ID       string   `json:"id"`
	Name     string   `json:"name"`
	Revision int      `json:"revision"`
	TimeZone string   `json:"time_zone"`
	Pads     []padOf  `json:"pads"`
	Stock    stockOf  `json:"stock"`
	Crew     crewOf   `json:"crew"`
	Mix      mixOf    `json:"mix"`
	Sets     []formOf `json:"form_sets"`
}

type (
	padOf struct {
		Name       string  `json:"name"`
		LengthM    float64 `json:"length_m"`
		WidthM     float64 `json:"width_m"`
		ThicknessM float64 `json:"thickness_m"`
		State      string  `json:"state,omitempty"`
		Bags       int     `json:"bags,omitempty"`
	}
	stockOf struct {
		BagsOnHand *int `json:"bags_on_hand"`
	}
	crewOf struct {
		People        int    `json:"people"`
		EarliestStart string `json:"earliest_start"`
	}
	mixOf struct {
		BagKG        float64 `json:"bag_kg"`
		YieldLPerBag float64 `json:"yield_l_per_bag"`
	}
	formOf struct {
		Name  string `json:"name"`
		Count int    `json:"count"`
	}
)

// plan is what both versions show of one.
type plan struct {
	Version int    `json:"version"`
	State   string `json:"state"`
	MadeAt  string `json:"made_at"`
	Pours   []struct {
		Date           string   `json:"date"`
		Pads           []string `json:"pads"`
		Start          string   `json:"start"`
		End            string   `json:"end"`
		Bags           int      `json:"bags"`
		ChanceUnharmed float64  `json:"chance_unharmed"`
		Why            string   `json:"why"`
	} `json:"pours"`
}

// entry is what both versions show of an entry of the log.
type entry struct {
	ID   string   `json:"id,omitempty"`
	Kind string   `json:"kind"`
	Pads []string `json:"pads,omitempty"`
	At   string   `json:"at"`
	Text string   `json:"text"`
}

// alert is what both versions show of a message.
type alert struct {
	Key   string `json:"key"`
	Kind  string `json:"kind"`
	State string `json:"state"`
	Text  string `json:"text"`
}

// play lets the versions work: the one before alone, then on the migrated
// database, then both, then both with the one before started anew, then this one
// alone.
func (u *upgrade) play(ctx context.Context) error {
	for _, step := range []func(context.Context) error{
		u.before.migrate,
		u.before.start,
		func(ctx context.Context) error { return u.create(ctx, u.before, 0) },
		u.migrateBelow,
		func(ctx context.Context) error { return u.work(ctx, u.before, 0) },
		u.now.start,
		func(ctx context.Context) error { return u.create(ctx, u.now, 1) },
		u.both,
		func(ctx context.Context) error { return errors.Join(u.before.stop(), u.before.start(ctx)) },
		u.both,
		u.evening,
		func(context.Context) error { return u.before.stop() },
		func(ctx context.Context) error { return u.work(ctx, u.now, 0) },
		func(ctx context.Context) error { return u.settled(ctx, u.now) },
		u.counted,
	} {
		if err := step(ctx); err != nil {
			return err
		}
	}
	return nil
}

// create makes the i-th project in a version, with a webhook, and waits for its
// first plan.
func (u *upgrade) create(ctx context.Context, v *version, i int) error {
	body := struct {
		Name      string  `json:"name"`
		Latitude  float64 `json:"latitude"`
		Longitude float64 `json:"longitude"`
		TimeZone  string  `json:"time_zone"`
		Pads      []padOf `json:"pads"`
	}{fmt.Sprintf("Sheepfold gate pads %d", i), 38 + float64(i)/10, -7.9, "Europe/Lisbon", nil}
	for j := range 12 { // more than a few mornings' work
		body.Pads = append(body.Pads, padOf{Name: padName(j), LengthM: 1.5, WidthM: 1.5, ThicknessM: 0.1})
	}
	var made project
	if err := v.ask(ctx, http.MethodPost, "/v1/projects", body, &made); err != nil {
		return err
	}
	u.projects = append(u.projects, made.ID)
	if _, err := u.hook(ctx, v, i); err != nil {
		return err
	}
	return u.planned(ctx, v, i, 1)
}

// hook adds a webhook to the i-th project and returns its id.
func (u *upgrade) hook(ctx context.Context, v *version, i int) (string, error) {
	u.hooks++
	body := struct {
		Kind    string `json:"kind"`
		Address string `json:"address"`
	}{"webhook", fmt.Sprintf("%s/%d", u.outside.hook, u.hooks)}
	var made struct {
		ID string `json:"id"`
	}
	err := v.ask(ctx, http.MethodPost, "/v1/projects/"+u.projects[i]+"/recipients", body, &made)
	return made.ID, err
}

func padName(i int) string { return fmt.Sprintf("G%d", i) }

// planned waits until a version shows a plan of the i-th project of at least a
// number.
func (u *upgrade) planned(ctx context.Context, v *version, i, number int) error {
	wait, cancel := context.WithTimeout(ctx, waitFor)
	defer cancel()
	return until(wait, "a plan", func() (bool, error) {
		var p plan
		err := v.ask(wait, http.MethodGet, "/v1/projects/"+u.projects[i]+"/plan", nil, &p)
		return err == nil && p.Version >= number && len(p.Pours) > 0, err
	})
}

// migrateBelow migrates the database below the version before, which goes on
// answering.
func (u *upgrade) migrateBelow(ctx context.Context) error {
	done := make(chan error, 1)
	go func() { done <- u.now.migrate(ctx) }()
	path := "/v1/projects/" + u.projects[0]
	for {
		select {
		case err := <-done:
			return err
		default:
		}
		for _, p := range []string{path, path + "/plan", path + "/log", path + "/mornings"} {
			u.asked++
			if err := u.before.ask(ctx, http.MethodGet, p, nil, nil); err != nil {
				u.refused++
				fmt.Println("while the database was migrated:", err)
			}
		}
	}
}

// both lets each version work on each project, and the other read it.
func (u *upgrade) both(ctx context.Context) error {
	for i := range u.projects {
		for _, v := range []*version{u.before, u.now} {
			if err := u.work(ctx, v, i); err != nil {
				return err
			}
			if err := u.same(ctx, i); err != nil {
				return err
			}
		}
	}
	return nil
}

// work lets a version do with the i-th project what a builder does: log, change
// the project, plan, test an alert.
func (u *upgrade) work(ctx context.Context, v *version, i int) error {
	path := "/v1/projects/" + u.projects[i]
	var was plan
	if err := v.ask(ctx, http.MethodGet, path+"/plan", nil, &was); err != nil {
		return err
	}
	u.entries++
	at := u.outside.now().Add(-time.Hour).Format(time.RFC3339)
	e := entry{Kind: "formed", Pads: []string{padName(u.entries % 12)}, At: at, Text: "by the version " + v.name}
	if err := v.ask(ctx, http.MethodPost, path+"/log", e, nil); err != nil {
		return err
	}
	name := struct {
		Name string `json:"name"`
	}{fmt.Sprintf("Sheepfold gate pads %d, %d", i, u.entries)}
	if err := v.ask(ctx, http.MethodPatch, path, name, nil); err != nil {
		return err
	}
	var is plan
	if err := v.ask(ctx, http.MethodPost, path+"/plan", struct{}{}, &is); err != nil {
		return err
	}
	if is.Version <= was.Version {
		return fmt.Errorf("the version %s planned again and its plan is number %d after %d", v.name, is.Version,
			was.Version)
	}
	u.plans++
	// Tests to one recipient within a minute are one: each goes to a new one.
	hook, err := u.hook(ctx, v, i)
	if err != nil {
		return err
	}
	u.tests++
	if err := v.ask(ctx, http.MethodPost, path+"/recipients/"+hook+"/test", nil, nil); err != nil {
		return err
	}
	return u.settled(ctx, v)
}

// settled waits until a version sees no message that is still to be sent.
func (u *upgrade) settled(ctx context.Context, v *version) error {
	wait, cancel := context.WithTimeout(ctx, waitFor)
	defer cancel()
	return until(wait, "messages to be sent", func() (bool, error) {
		for _, id := range u.projects {
			all, err := alerts(wait, v, id)
			if err != nil {
				return false, err
			}
			if i := slices.IndexFunc(all, func(a alert) bool { return a.Kind == "test" && a.State != "sent" }); i >= 0 {
				return false, fmt.Errorf("%s is %s", all[i].Key, all[i].State)
			}
		}
		return true, nil
	})
}

// evening waits until both projects' alerts of the evening have gone out while
// the workers of both versions looked for what is due.
func (u *upgrade) evening(ctx context.Context) error {
	wait, cancel := context.WithTimeout(ctx, 3*waitFor)
	defer cancel()
	return until(wait, "the evening's alerts", func() (bool, error) {
		u.evenings = 0
		for i, id := range u.projects {
			all, err := alerts(wait, u.now, id)
			if err != nil {
				return false, err
			}
			for _, a := range all {
				if a.Kind == "evening" && a.State == "sent" {
					u.evenings++
				}
			}
			if !slices.ContainsFunc(all, func(a alert) bool { return a.Kind == "evening" && a.State == "sent" }) {
				return false, fmt.Errorf("project %d has %d alerts, none of the evening that was sent", i, len(all))
			}
		}
		return true, u.same(wait, 0)
	})
}

func alerts(ctx context.Context, v *version, id string) ([]alert, error) {
	var out struct {
		Items []alert `json:"items"`
	}
	err := v.ask(ctx, http.MethodGet, "/v1/projects/"+id+"/alerts?limit=200", nil, &out)
	return out.Items, err
}

// same compares what both versions show of the i-th project.
func (u *upgrade) same(ctx context.Context, i int) error {
	path := "/v1/projects/" + u.projects[i]
	type list[T any] struct {
		Items []T `json:"items"`
	}
	return errors.Join(
		compare[project](ctx, u, path),
		compare[plan](ctx, u, path+"/plan"),
		compare[list[plan]](ctx, u, path+"/plans"),
		compare[list[entry]](ctx, u, path+"/log"),
		compare[list[alert]](ctx, u, path+"/alerts"),
	)
}

// compare asks both versions for the same and reports what differs.
func compare[T any](ctx context.Context, u *upgrade, path string) error {
	var older, newer T
	if err := errors.Join(u.before.ask(ctx, http.MethodGet, path, nil, &older),
		u.now.ask(ctx, http.MethodGet, path, nil, &newer)); err != nil {
		return err
	}
	if !reflect.DeepEqual(older, newer) {
		return fmt.Errorf("%s: the version before shows\n%+v\nand this one\n%+v", path, older, newer)
	}
	u.reads++
	return nil
}

// counted checks that every message came, and came once.
func (u *upgrade) counted(context.Context) error {
	taken, again := u.outside.taken()
	var err error
	if taken < u.tests {
		err = fmt.Errorf("%d messages came, and %d tests were asked for", taken, u.tests)
	}
	if again > 0 {
		err = errors.Join(err, fmt.Errorf("%d messages came twice", again))
	}
	if n := u.before.errorsLogged() + u.now.errorsLogged(); n > 0 {
		err = errors.Join(err, fmt.Errorf("%d errors were logged", n))
	}
	if u.refused > 0 {
		err = errors.Join(err, fmt.Errorf("%d requests failed while the database was migrated", u.refused))
	}
	return err
}

// print prints the figures.
func (u *upgrade) print() {
	taken, again := u.outside.taken()
	for _, f := range []struct {
		name string
		n    int
		unit string
	}{
		{"asked_while_migrating", u.asked, "requests"}, {"failed_while_migrating", u.refused, "requests"},
		{"projects", len(u.projects), "projects"}, {"entries_logged", u.entries, "entries"},
		{"plans_asked_for", u.plans, "plans"}, {"read_the_same_by_both", u.reads, "answers"},
		{"tests_asked_for", u.tests, "alerts"}, {"evening_alerts", u.evenings, "alerts"},
		{"messages_taken", taken, "messages"}, {"messages_taken_again", again, "messages"},
		{"errors_logged_before", u.before.errorsLogged(), "lines"}, {"errors_logged_now", u.now.errorsLogged(),
			"lines"},
	} {
		fmt.Printf("%s: %d %s\n", f.name, f.n, f.unit)
	}
}
