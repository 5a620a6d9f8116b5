package view_test

import (
	"strings"
	"testing"

	"dryslot/internal/pour"
	"dryslot/internal/takeoff"
	"dryslot/internal/web/view"
	"dryslot/internal/web/view/viewtest"
)

// pagesOf gives every page of a project in a state, by name.
func pagesOf(t *testing.T, state string) map[string]view.Page {
	t.Helper()
	s := viewtest.Setting(state)
	day, ok := view.NewDay(s, viewtest.Date(), "11 bags and 31 L of water.")
	if !ok {
		t.Fatalf("%s: no morning of %s", state, viewtest.Date())
	}
	one, ok := view.NewOne(s, "H1", viewtest.Bags)
	if !ok {
		t.Fatal("no pad H1")
	}
	mm := 4.0
	entry := pour.LogEntry{Kind: pour.EntryRainedOn, Pad: "H1", At: s.Now, RainMM: &mm, Effects: []pour.Effect{{Pad: "H1", State: pour.Lost, Why: "4 mm fell 2 h before it set"}}}
	return map[string]view.Page{
		"day": day, "pads": view.NewPads(s, viewtest.Bags), "pad": one,
		"log":      view.Answered(s, entry, []string{"H1 moves to Friday"}, []pour.LogEntry{entry}),
		"sources":  view.NewSources(s),
		"projects": view.Projects{Frame: view.Plain("Projects", true, true), Headline: "One project", Items: []view.ProjectLine{{Name: s.Project.Name, Href: "/p/1", Words: "x"}}},
		"carry":    view.NewCarry(s, takeoff.Of(takeoff.Job{Spec: s.Project.Spec, Records: s.Records, Pours: s.Plan.Pours})),
		"setup":    view.NewSetup(view.Plain("New", true, true), state == "us", func(string) (string, bool) { return "", false }, []string{"Rows, given as “x”: must be a whole number."}),
		"word":     view.NewWord(s, []view.RecipientLine{{ID: "1", Words: "yard@example.org, by mail"}}, []string{"Tue 19:00: evening, sent"}),
		"signin":   view.SignIn{Frame: view.Plain("Sign in", false, false)},
		"error":    view.Trouble{Frame: view.Plain("Not found", false, false), Headline: "No such page."},
	}
}

func TestEveryPageRendersInEveryStateAndStaysSmall(t *testing.T) {
	pages, err := view.Parse()
	if err != nil {
		t.Fatal(err)
	}
	for _, state := range viewtest.States() {
		for name, page := range pagesOf(t, state) {
			var b strings.Builder
			if err := pages.Render(&b, page); err != nil {
				t.Errorf("%s, %s: %v", state, name, err)
				continue
			}
			html := b.String()
			if len(html) > 60_000 {
				t.Errorf("%s, %s: %d bytes, over 60 kB", state, name, len(html))
			}
			for _, bad := range []string{"<no value>", "%!", "NaN", "0001-01-01", "<script", "http://", "https://", "ZgotmplZ"} {
				if strings.Contains(strings.ReplaceAll(html, `xmlns="http://www.w3.org/2000/svg"`, ""), bad) {
					t.Errorf("%s, %s: contains %q", state, name, bad)
				}
			}
			if strings.Count(html, "<h1>") != 1 {
				t.Errorf("%s, %s: %d first headings", state, name, strings.Count(html, "<h1>"))
			}
		}
	}
}

func TestAHoldNeverSaysPour(t *testing.T) {
	day, _ := view.NewDay(viewtest.Setting("hold"), viewtest.Date(), "")
	if !strings.HasPrefix(day.Headline, "Don't pour tomorrow") {
		t.Errorf("headline of a hold: %q", day.Headline)
	}
}

func TestWordsInAPageAreEscaped(t *testing.T) {
	s := viewtest.Setting("pour")
	s.Project.Name = `<img src=x onerror=alert(1)>`
	s.Project.Pads[0].Name = `"><svg onload=alert(1)>`
	s.Mornings[1].Pads[0].Pad = s.Project.Pads[0].Name
	pages, err := view.Parse()
	if err != nil {
		t.Fatal(err)
	}
	day, _ := view.NewDay(s, viewtest.Date(), "")
	for _, page := range []view.Page{day, view.NewPads(s, viewtest.Bags)} {
		var b strings.Builder
		if err := pages.Render(&b, page); err != nil {
			t.Fatal(err)
		}
		for _, bad := range []string{"<img src=x", "<svg onload"} {
			if strings.Contains(b.String(), bad) {
				t.Errorf("unescaped %q", bad)
			}
		}
	}
}
