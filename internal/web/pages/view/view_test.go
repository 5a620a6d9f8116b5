package view_test

import (
	"bytes"
	"compress/gzip"
	"fmt"
	"io"
	"strings"
	"testing"
	"time"

	"dryslot/internal/message"
	"dryslot/internal/notify"
	"dryslot/internal/photo"
	"dryslot/internal/place"
	"dryslot/internal/planner/job"
	"dryslot/internal/pour"
	"dryslot/internal/say"
	"dryslot/internal/takeoff"
	"dryslot/internal/web/form"
	"dryslot/internal/web/look"
	"dryslot/internal/web/pages/states"
	"dryslot/internal/web/pages/view"
)

// pagesOf gives every page of a project in a state, by name.
func pagesOf(t *testing.T, state string) map[string]view.Page {
	t.Helper()
	return pagesFor(t, states.Setting(state), state)
}

// pagesFor gives every page of a setting, by name.
func pagesFor(t testing.TB, s view.Setting, state string) map[string]view.Page {
	t.Helper()
	plain := func(title string) view.Frame { return view.Plain(s.Reader, title, true, true) }
	of := takeoff.Of(takeoff.Job{Spec: s.Project.Spec, Records: s.Records, Pours: s.Plan.Pours})
	day, ok := view.NewDay(s, states.Date(), of)
	if !ok {
		t.Fatalf("%s: no morning of %s", state, states.Date())
	}
	one, ok := view.NewOne(s, s.Project.Pads[0].Name, states.Bags)
	if !ok {
		t.Fatal("no pad H1")
	}
	mm := 4.0
	s.Photos = []photo.Photo{{ID: "p1", Width: 1600, Height: 1200}, {ID: "p2", Width: 1200, Height: 1600}}
	entry := pour.LogEntry{Photos: []string{"p1", "p2", "gone"}, Kind: pour.EntryRainedOn, Pad: "H1", At: s.Now,
		RainMM: &mm, Effects: []pour.Effect{{Pad: "H1", State: pour.Lost, Why: "4 mm fell 2 h before it set"}}}
	live := view.NewLive(s)
	return map[string]view.Page{
		"day": day, "live": live, "pads": view.NewPads(s, states.Bags), "pad": one,
		"log":      view.Answered(s, entry, []string{"H1 moves to Friday"}, []pour.LogEntry{entry}),
		"proved":   view.NewProved(s, states.Proof(40)),
		"unproved": view.NewProved(s, states.Proof(2)),
		"sources":  view.NewSources(s),
		"projects": view.NewProjects(plain("-"), s.Reader, []pour.Project{s.Project},
			[]view.SharedProject{{Project: s.Project, Role: "crew"}}),
		"carry":   view.NewCarry(s, of),
		"confirm": view.NewConfirm(s),
		"setup":   view.NewJob(plain("-"), s.Reader, newJob(s)),
		"change":  view.ChangedJob(s, changedJob(s)),
		"padform": padForm(s),
		"try":     view.NewTry(s, changedJob(s), &job.Result{Plan: s.Plan, Mornings: s.Mornings}),
		"alerts":  people(s),
		"crew":    crew(s),
		"join":    view.Join{Frame: plain("-"), What: "-", Known: true},
		"signin":  view.SignIn{Frame: plain("-"), Link: "k", ByLink: "-", Leaves: true},
		"token":   view.SignIn{Frame: plain("-")},
		"account": account(s.Reader),
		"error":   view.Trouble{Frame: plain("-"), Headline: "-"},
	}
}

// people is the page of who is alerted, with a recipient of each kind and state.
func people(s view.Setting) view.Alerts {
	var to []view.RecipientLine
	for i, r := range []notify.Recipient{{Kind: notify.Email, Address: "yard@example.org", ConfirmedAt: s.Now},
		{Kind: notify.Email, Address: "ana@example.org"},
		{Kind: notify.Webhook, Address: "hooks.example.org/pads", Alerts: []notify.Kind{notify.Rain}},
		{Kind: notify.Email, Address: "lou@example.org", StoppedAt: s.Now},
		{Kind: notify.Push, Address: "push.example.org/a-long-address"}} {
		r.ID = fmt.Sprint(i)
		to = append(to, s.Recipient(r))
	}
	p := view.NewAlerts(s, to, []view.SentLine{s.Sent(s.Now, "sent", "-", message.Message{}, "-"),
		s.Sent(s.Now, "failed", "-", message.Stored("-"), "-")})
	p.Push, p.Calendar, p.Wrong, p.Secret = "key", "/calendar.ics?key=k", []string{"-"}, "secret"
	return p
}

// crew is the page of members with one of everything.
func crew(s view.Setting) view.Crew {
	p := view.NewCrew(s)
	p.AddMember(s, "1", "Ana", "crew", s.Now)
	p.AddInvitation(s, "2", "viewer", s.Now)
	p.Link = "dryslot.example/join/k"
	return p
}

// newJob is the example with faults, places to choose from and one of everything.
func newJob(s view.Setting) view.JobInput {
	v := form.Example(s.Reader, "-")
	for _, press := range []string{"add row", "add form", "add delivery"} {
		form.Press(v, press)
	}
	v.Set("place", "Portland")
	return view.JobInput{Values: v, Got: form.Read(v, s.Project.Spec, s.Reader), Search: true,
		Spots: []place.Named{{Name: "Portland", Region: "Oregon", Country: "United States"},
			{Name: "Portland", Region: "Maine", District: "Cumberland"}},
		Wrong: []view.Fault{{Field: "rows0", Words: "must be a whole number."},
			{Field: "waste", Words: "must be a number."}, {Words: "The whole."}},
		Take: view.Take{Lacks: "-"}}
}

func padForm(s view.Setting) view.PadForm {
	v := form.OfPad(s.Project.Spec, 1, s.Reader)
	return view.NewPadForm(s, s.Project.Pads[1].Name,
		view.JobInput{Values: v, Got: form.ReadPad(v, s.Project.Spec, 1, s.Reader),
			Wrong: []view.Fault{{Field: "thick0", Words: "-"}}})
}

func changedJob(s view.Setting) view.JobInput {
	v := form.Of(s.Project.Spec, s.Reader)
	return view.JobInput{Values: v, Got: form.Read(v, s.Project.Spec, s.Reader),
		Take: view.NewTake(s.Reader, s.Project.Spec)}
}

// packed is how many bytes a page takes on its way: the server packs it.
func packed(t *testing.T, html string) int {
	t.Helper()
	var b bytes.Buffer
	w := gzip.NewWriter(&b)
	if _, err := io.WriteString(w, html); err != nil {
		t.Fatal(err)
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Len()
}

func TestEveryPageRendersInEveryStateAndStaysSmall(t *testing.T) {
	pages, err := view.Parse()
	if err != nil {
		t.Fatal(err)
	}
	largest, which := 0, ""
	for _, state := range states.Names() {
		for name, page := range pagesOf(t, state) {
			var b strings.Builder
			if err := pages.Render(&b, page); err != nil {
				t.Errorf("%s, %s: %v", state, name, err)
				continue
			}
			html := strings.Replace(b.String(), `<script src="/app-`, "", 1) // the one script
			if n := packed(t, html); n > largest {
				largest, which = n, state+", "+name
			}
			for _, bad := range []string{"<no value>", "%!", "NaN", "0001-01-01", "<script", "http://", "https://",
				"ZgotmplZ"} {
				if strings.Contains(strings.ReplaceAll(html, `xmlns="http://www.w3.org/2000/svg"`, ""), bad) {
					t.Errorf("%s, %s: contains %q", state, name, bad)
				}
			}
			if strings.Count(html, "<h1") != 1 {
				t.Errorf("%s, %s: %d first headings", state, name, strings.Count(html, "<h1>"))
			}
		}
	}
	sheet := packed(t, string(look.Read().CSS))
	t.Logf("page_largest: %d bytes packed, of %s", largest, which)
	t.Logf("first_visit: %d bytes packed, with the style sheet and its font", largest+sheet)
	if largest > 40_000 || largest+sheet > 60_000 {
		t.Errorf("%s: %d bytes, and %d with the style sheet", which, largest, largest+sheet)
	}
}

func TestHowForecastsProvedIsSaidPlainly(t *testing.T) {
	s := states.Setting("pour")
	for days, want := range map[int]string{0: "no hour counted yet", 2: "48 hours counted"} {
		p := view.NewProved(s, states.Proof(days))
		if !strings.HasPrefix(p.Headline, "Too early to say") || !strings.Contains(p.Headline, want) ||
			len(p.Groups) != 0 {
			t.Errorf("%d days: %q, %d drawings", days, p.Headline, len(p.Groups))
		}
	}
	if p := view.NewProved(s, view.Proof{}); !strings.HasPrefix(p.Headline, "No track record yet") {
		t.Errorf("without a forecast: %q", p.Headline)
	}
	proof := states.Proof(40)
	p := view.NewProved(s, proof)
	evening := proof.Reports[2]
	if len(p.Groups) != 3 || len(p.Groups[0].Table.Rows) != len(evening.HereBins) {
		t.Fatalf("%d drawings, the first of %d rows for %d bins", len(p.Groups), len(p.Groups[0].Table.Rows),
			len(evening.HereBins))
	}
	found := false
	for _, b := range evening.HereBins {
		found = found || p.Headline == fmt.Sprintf("When the forecast said %.0f%%, rain came in %.0f%% of the hours.",
			b.Chance*100, b.Frequency()*100)
	}
	if !found {
		t.Errorf("%q is not of any bin of %v", p.Headline, evening.HereBins)
	}
	few := states.Proof(2)
	few.Reports[2].Everywhere, few.Reports[2].AllBins = evening.Here, evening.HereBins
	if p := view.NewProved(s, few); len(p.Groups) != 1 ||
		!strings.Contains(p.Groups[0].Lines[0], "all places together") {
		t.Errorf("where all places know more: %+v", p.Groups)
	}
}

func TestADayUnderWaySaysWhatComesNextAndWhatIsLost(t *testing.T) {
	s := states.Setting("under-way")
	p := view.NewLive(s)
	if p.Ask != "Finish H1 in" || p.Big != "23" || len(p.Hands) != 2 || p.Hands[0].Kind != "finished" ||
		p.Hands[1].Kind != "rain_began" {
		t.Errorf("%q %q, %+v", p.Ask, p.Big, p.Hands)
	}
	if p.Undo == nil || p.Undo.Kind != "undone" || p.Undo.Entry != s.Log[0].ID {
		t.Errorf("undo: %+v", p.Undo)
	}
	if n := len(p.Follows.Lines); n != 8 ||
		p.Follows.Lines[6].Gap == "" { // damp and strip once each, and a line before tomorrow
		t.Errorf("%d steps follow: %+v", n, p.Follows)
	}
	day, _ := view.NewDay(s, states.Date(), takeoff.Takeoff{})
	if day.Break != "Break out H2 soon, while it is weak: its place is to be poured again." || len(day.Breaking) != 1 {
		t.Errorf("lost: %q with %d cautions", day.Break, len(day.Breaking))
	}
	if n := strings.Count(string(day.Wide), ">H1<"); n != 1 {
		t.Errorf("the soft pad is drawn %d times", n)
	}
}

// Who may only look is offered nothing to press but to sign out, in any state.
func TestAViewerIsOfferedNothingThatIsRefused(t *testing.T) {
	pages, err := view.Parse()
	if err != nil {
		t.Fatal(err)
	}
	for _, state := range states.Names() {
		s := states.Setting(state)
		s.Barred = view.Barred{Log: true, Change: true, Crew: true}
		for name, page := range pagesFor(t, s, state) {
			switch name {
			case "day", "live", "pads", "pad", "log", "carry", "proved", "sources":
			default:
				continue // no page of a viewer's
			}
			var b strings.Builder
			if err := pages.Render(&b, page); err != nil {
				t.Fatal(err)
			}
			if n := strings.Count(b.String(), "<form"); n != 1 || !strings.Contains(b.String(), `action="/sign-out"`) {
				t.Errorf("%s, %s: %d forms", state, name, n)
			}
			for _, hole := range []string{"/change", "/alerts", "/crew", "<input", "<select"} {
				ticks := name == "carry" && hole == "<input" // of what is in the truck: they are sent nowhere
				if strings.Contains(b.String(), hole) && !ticks {
					t.Errorf("%s, %s offers %s", state, name, hole)
				}
			}
		}
	}
}

// The numeral counts to when a step can be done, then to when it must be, and says
// how late it is.
func TestTheCountdown(t *testing.T) {
	for state, want := range map[string][3]string{"under-way": {"Finish H1 in", "23", "min"},
		"placing": {"Place H3 within", "28", "min"}, "late": {"Finish H1 now. Late by", "12", "min"},
		"after": {"Cover H1 at", "18:30", ""}} {
		p := view.NewLive(states.Setting(state))
		if got := [3]string{p.Ask, p.Big, p.Small}; got != want {
			t.Errorf("%s: %q, want %q", state, got, want)
		}
	}
	p := view.NewLive(states.Setting("cover"))
	if p.Cover == nil || p.Cover.Pads[0].Name != "H3" || p.Hands[0].Kind != "covered" {
		t.Errorf("cover: %+v", p.Cover)
	}
	if p := view.NewLive(states.Setting("undone")); p.Undo.Kind != "placed" || p.Undo.Pads[0] != "H1" {
		t.Errorf("after an undo: %+v", p.Undo)
	}
}

func TestDaysWithNothingLeftStandInOneLine(t *testing.T) {
	day, _ := view.NewDay(states.Setting("finished"), states.Date(), takeoff.Takeoff{})
	if len(day.Days) != 1 || day.Days[0].Href != "" || !strings.HasPrefix(day.Days[0].Date, "From ") {
		t.Errorf("%+v", day.Days)
	}
	if day, _ := view.NewDay(states.Setting("no-forecast"), states.Date(), takeoff.Takeoff{}); len(day.Days) != 0 ||
		day.Again == "" {
		t.Errorf("before the first forecast: %d days, look again at %q", len(day.Days), day.Again)
	}
}

func TestALongNameFitsItsPad(t *testing.T) {
	s := states.Setting("pour")
	long := strings.Repeat("W", 80)
	s.Project.Pads[0].Name, s.Plan.Pours[0].Pads[0], s.Mornings[1].Pads[0].Pad = long, long, long
	day, _ := view.NewDay(s, states.Date(), takeoff.Takeoff{})
	page := view.NewPads(s, states.Bags)
	for name, drawn := range map[string]string{"plan": page.Plans[1].Spots[0].Name, "section": string(day.Narrow)} {
		if strings.Contains(drawn, long) || !strings.Contains(drawn, "W…") {
			t.Errorf("the %s does not cut the name: %.60s", name, drawn)
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
	for _, name := range []string{"log", "pad"} {
		var b strings.Builder
		if err := pages.Render(&b, all[name]); err != nil {
			t.Fatal(err)
		}
		_, form, ok := strings.Cut(b.String(), `<form class="plain"`)
		first := strings.Index(form, "<button")
		if !ok || first < 0 || !strings.HasPrefix(form[first:], "<button disabled hidden>") ||
			!strings.Contains(form, `name="kind" value="placed"`) {
			t.Errorf("%s: Enter logs something", name)
		}
	}
}

func TestAHoldNeverSaysPour(t *testing.T) {
	day, _ := view.NewDay(states.Setting("hold"), states.Date(), takeoff.Takeoff{})
	if day.Ask != "" || day.Big != "Don't pour" || day.Shape != "hold" || len(day.Order)+len(day.Hands) != 0 {
		t.Errorf("a hold: %+v", day.Verdict)
	}
}

func TestWordsInAPageAreEscaped(t *testing.T) {
	s := states.Setting("pour")
	s.Project.Name = `<img src=x onerror=alert(1)>`
	s.Project.Pads[0].Name = `"><svg onload=alert(1)>`
	s.Mornings[1].Pads[0].Pad = s.Project.Pads[0].Name
	pages, err := view.Parse()
	if err != nil {
		t.Fatal(err)
	}
	day, _ := view.NewDay(s, states.Date(), takeoff.Takeoff{})
	for _, page := range []view.Page{day, view.NewPads(s, states.Bags)} {
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
	p.AddBrowser("0123456789abcdef", "Mozilla/5.0 (Android 15; Mobile; rv:140.0) Gecko/140.0 Firefox/140.0",
		time.Date(2026, 11, 3, 4, 5, 6, 0, time.UTC))
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
	if got := strings.ReplaceAll(p.Tokens[0].Words, "\u00a0", " "); !strings.HasPrefix(got,
		"Yard screen, made on Sun 1 Nov") {
		t.Errorf("a token is called %q", got)
	}
}
