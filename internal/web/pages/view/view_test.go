package view_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"dryslot/internal/message"
	"dryslot/internal/place"
	"dryslot/internal/planner/job"
	"dryslot/internal/pour"
	"dryslot/internal/say"
	"dryslot/internal/takeoff"
	"dryslot/internal/web/form"
	"dryslot/internal/web/pages/view"
	"dryslot/internal/web/pages/view/viewtest"
)

// pagesOf gives every page of a project in a state, by name.
func pagesOf(t *testing.T, state string) map[string]view.Page {
	t.Helper()
	return pagesFor(t, viewtest.Setting(state), state)
}

// pagesFor gives every page of a setting, by name.
func pagesFor(t *testing.T, s view.Setting, state string) map[string]view.Page {
	t.Helper()
	plain := func(title string) view.Frame { return view.Plain(s.Reader, title, true, true) }
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
		"proved":   view.NewProved(s, viewtest.Proof(40)),
		"unproved": view.NewProved(s, viewtest.Proof(2)),
		"sources":  view.NewSources(s),
		"projects": view.NewProjects(plain("-"), s.Reader, []pour.Project{s.Project}),
		"carry":    view.NewCarry(s, takeoff.Of(takeoff.Job{Spec: s.Project.Spec, Records: s.Records, Pours: s.Plan.Pours})),
		"setup":    view.NewJob(plain("-"), s.Reader, newJob(s)),
		"change":   view.ChangedJob(s, changedJob(s)),
		"padform":  padForm(s),
		"try":      view.NewTry(s, changedJob(s), &job.Result{Plan: s.Plan, Mornings: s.Mornings}),
		"alerts": view.NewAlerts(s, []view.RecipientLine{s.Recipient("1", "yard@example.org", false)},
			[]view.SentLine{s.Sent(s.Now, "sent", "-", message.Message{}, "-")}),
		"signin":  view.SignIn{Frame: plain("-"), Link: "k", ByLink: "-", Leaves: true},
		"token":   view.SignIn{Frame: plain("-")},
		"account": account(s.Reader),
		"error":   view.Trouble{Frame: plain("-"), Headline: "-"},
	}
}

// newJob is the example with faults, places to choose from and one of everything.
func newJob(s view.Setting) view.JobInput {
	v := form.Example(s.Reader, "-")
	for _, press := range []string{"add row", "add form", "add delivery"} {
		form.Press(v, press)
	}
	v.Set("place", "Portland")
	return view.JobInput{Values: v, Got: form.Read(v, s.Project.Spec, s.Reader), Search: true,
		Spots: []place.Named{{Name: "Portland", Region: "Oregon", Country: "United States"}, {Name: "Portland", Region: "Maine", District: "Cumberland"}},
		Wrong: []view.Fault{{Field: "rows0", Words: "must be a whole number."}, {Field: "waste", Words: "must be a number."}, {Words: "The whole."}},
		Take:  view.Take{Lacks: "-"}}
}

func padForm(s view.Setting) view.PadForm {
	v := form.OfPad(s.Project.Spec, 1, s.Reader)
	return view.NewPadForm(s, s.Project.Pads[1].Name, view.JobInput{Values: v, Got: form.ReadPad(v, s.Project.Spec, 1, s.Reader),
		Wrong: []view.Fault{{Field: "thick0", Words: "-"}}})
}

func changedJob(s view.Setting) view.JobInput {
	v := form.Of(s.Project.Spec, s.Reader)
	return view.JobInput{Values: v, Got: form.Read(v, s.Project.Spec, s.Reader), Take: view.NewTake(s.Reader, s.Project.Spec)}
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
			html := strings.Replace(b.String(), `<script src="/app-`, "", 1) // the one script
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

func TestHowForecastsProvedIsSaidPlainly(t *testing.T) {
	s := viewtest.Setting("pour")
	for days, want := range map[int]string{0: "no hour counted yet", 2: "48 hours counted"} {
		p := view.NewProved(s, viewtest.Proof(days))
		if !strings.HasPrefix(p.Headline, "Too early to say") || !strings.Contains(p.Headline, want) || len(p.Groups) != 0 {
			t.Errorf("%d days: %q, %d drawings", days, p.Headline, len(p.Groups))
		}
	}
	if p := view.NewProved(s, view.Proof{}); !strings.HasPrefix(p.Headline, "No track record yet") {
		t.Errorf("without a forecast: %q", p.Headline)
	}
	proof := viewtest.Proof(40)
	p := view.NewProved(s, proof)
	evening := proof.Reports[2]
	if len(p.Groups) != 3 || len(p.Groups[0].Table.Rows) != len(evening.HereBins) {
		t.Fatalf("%d drawings, the first of %d rows for %d bins", len(p.Groups), len(p.Groups[0].Table.Rows), len(evening.HereBins))
	}
	found := false
	for _, b := range evening.HereBins {
		found = found || p.Headline == fmt.Sprintf("When the forecast said %.0f%%, rain came in %.0f%% of the hours.", b.Chance*100, b.Frequency()*100)
	}
	if !found {
		t.Errorf("%q is not of any bin of %v", p.Headline, evening.HereBins)
	}
	few := viewtest.Proof(2)
	few.Reports[2].Everywhere, few.Reports[2].AllBins = evening.Here, evening.HereBins
	if p := view.NewProved(s, few); len(p.Groups) != 1 || !strings.Contains(p.Groups[0].Lines[0], "all places together") {
		t.Errorf("where all places know more: %+v", p.Groups)
	}
}

func TestADayUnderWaySaysWhatIsSoftAndLostAndDrawsIt(t *testing.T) {
	s := viewtest.Setting("under-way")
	day, _ := view.NewDay(s, viewtest.Date(), "")
	if len(day.Underway) != 1 || !strings.HasPrefix(day.Underway[0], "H1 is soft: finish it between") || !day.LogFirst {
		t.Errorf("under way: %q, log first %v", day.Underway, day.LogFirst)
	}
	if day.Break != "Break out H2 soon, while it is weak: its place is to be poured again." || len(day.Breaking) != 1 {
		t.Errorf("lost: %q with %d cautions", day.Break, len(day.Breaking))
	}
	if n := strings.Count(string(day.StripWide), ">H1<"); n != 2 { // as logged, and as this canned morning still plans it
		t.Errorf("the soft pad is drawn %d times", n)
	}
	if tomorrow, _ := view.NewDay(s, viewtest.Date().AddDays(1), ""); tomorrow.LogFirst && len(tomorrow.Underway) == 0 {
		t.Error("another day asks first for what happened")
	}
}

func TestDaysWithNothingLeftStandInOneLine(t *testing.T) {
	day, _ := view.NewDay(viewtest.Setting("finished"), viewtest.Date(), "")
	if len(day.Days) != 1 || day.Days[0].Href != "" || !strings.HasPrefix(day.Days[0].Date, "From ") {
		t.Errorf("%+v", day.Days)
	}
	if day, _ := view.NewDay(viewtest.Setting("no-forecast"), viewtest.Date(), ""); len(day.Days) != 0 || day.Again == "" {
		t.Errorf("before the first forecast: %d days, look again at %q", len(day.Days), day.Again)
	}
}

func TestALongNameFitsItsPad(t *testing.T) {
	s := viewtest.Setting("pour")
	long := strings.Repeat("W", 80)
	s.Project.Pads[0].Name, s.Plan.Pours[0].Pads[0], s.Mornings[1].Pads[0].Pad = long, long, long
	day, _ := view.NewDay(s, viewtest.Date(), "")
	page := view.NewPads(s, viewtest.Bags)
	for name, drawing := range map[string]string{"sketch": string(page.SketchNarrow), "wide sketch": string(page.SketchWide), "strip": string(day.StripNarrow)} {
		if strings.Contains(drawing, ">"+long+"<") || !strings.Contains(drawing, "W…<") {
			t.Errorf("the %s does not cut the name", name)
		}
	}
	if page.Rows[0].Name != long {
		t.Error("the list cuts the name")
	}
}

// A browser sends a form on Enter with its first button: what is typed must
// not be logged as the first kind of entry.
func TestEnterLogsNothing(t *testing.T) {
	pages, err := view.Parse()
	if err != nil {
		t.Fatal(err)
	}
	all := pagesOf(t, "pour")
	for _, name := range []string{"day", "log", "pad"} {
		var b strings.Builder
		if err := pages.Render(&b, all[name]); err != nil {
			t.Fatal(err)
		}
		_, form, ok := strings.Cut(b.String(), `<form class="plain"`)
		first := strings.Index(form, "<button")
		if !ok || first < 0 || !strings.HasPrefix(form[first:], "<button disabled hidden>") || !strings.Contains(form, `name="kind" value="placed"`) {
			t.Errorf("%s: Enter logs something", name)
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

func account(r say.Reader) view.Account {
	p := view.NewAccount(view.Plain(r, "-", false, true), r)
	p.AddBrowser("0123456789abcdef", "Mozilla/5.0 (Android 15; Mobile; rv:140.0) Gecko/140.0 Firefox/140.0", time.Date(2026, 11, 3, 4, 5, 6, 0, time.UTC))
	p.AddBrowser("0123456789abcdee", "", time.Date(2026, 11, 2, 4, 5, 6, 0, time.UTC))
	p.AddToken("fedcba9876543210", "Yard screen", time.Date(2026, 11, 1, 4, 5, 6, 0, time.UTC))
	p.Secret, p.Wrong = "t0ken-in-clear", []string{"name: must have at most 60 characters."}
	return p
}

func TestTheAccountSaysWhatOpensIt(t *testing.T) {
	p := account(say.HabitsOf("en"))
	for i, want := range []string{"Firefox, Android, signed in on Tue 3 Nov", "A browser, signed in on Mon 2 Nov"} {
		if got := strings.ReplaceAll(p.Browsers[i].Words, "\u00a0", " "); !strings.HasPrefix(got, want) {
			t.Errorf("%q, want %q", got, want)
		}
	}
	if got := strings.ReplaceAll(p.Tokens[0].Words, "\u00a0", " "); !strings.HasPrefix(got, "Yard screen, made on Sun 1 Nov") {
		t.Errorf("a token is called %q", got)
	}
}
