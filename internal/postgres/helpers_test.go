package postgres_test

import (
	"context"
	"errors"
	"math"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"

	"dryslot/internal/accounts"
	"dryslot/internal/fault"
	"dryslot/internal/forecast"
	"dryslot/internal/message"
	"dryslot/internal/notify"
	"dryslot/internal/place"
	"dryslot/internal/planner/job"
	"dryslot/internal/postgres"
	"dryslot/internal/postgres/postgrestest"
	"dryslot/internal/pour"
	"dryslot/internal/projects"
	"dryslot/internal/unit"
)

// noon is the instant that the tests stand at.
var noon = time.Date(2026, 4, 14, 12, 0, 0, 0, time.UTC)

var quayCell = place.CellOf(52.41, 4.83)

// world is a database with one account in it.
type world struct {
	*postgres.Store
	db      postgrestest.Database
	account string
}

func newWorld(t testing.TB) *world {
	t.Helper()
	db := postgrestest.URLs(t)
	w := &world{Store: postgrestest.Open(t, db), db: db}
	w.account = w.newAccount(t, "a")
	return w
}

func (w *world) newAccount(t testing.TB, letter string) string {
	t.Helper()
	account, err := w.EnsureToken(context.Background(), strings.Repeat(letter, 40))
	must(t, err)
	return account
}

// in runs fn in the account's transaction and fails the test on any error.
func (w *world) in(t testing.TB, fn func(ctx context.Context, tx *postgres.AccountTx) error) {
	t.Helper()
	must(t, w.InAccount(context.Background(), w.account, fn))
}

func (w *world) system(t testing.TB, fn func(ctx context.Context, tx *postgres.SystemTx) error) {
	t.Helper()
	must(t, w.InSystem(context.Background(), fn))
}

// query asks the database as a superuser, whom no rule binds.
func query[T any](t testing.TB, w *world, sql string, args ...any) T {
	t.Helper()
	conn, err := pgx.Connect(context.Background(), w.db.AdminURL)
	must(t, err)
	defer conn.Close(context.Background())
	var v T
	must(t, conn.QueryRow(context.Background(), sql, args...).Scan(&v))
	return v
}

// fill puts rows in as a superuser; each statement takes the arguments that it
// names, from the first on.
func fill(t testing.TB, w *world, statements string, args ...any) {
	t.Helper()
	conn, err := pgx.Connect(context.Background(), w.db.AdminURL)
	must(t, err)
	defer conn.Close(context.Background())
	for sql := range strings.SplitSeq(statements, ";\n") {
		n := len(args)
		for n > 0 && !strings.Contains(sql, "$"+strconv.Itoa(n)) {
			n--
		}
		_, err := conn.Exec(context.Background(), sql, args[:n]...)
		must(t, err)
	}
}

func must(t testing.TB, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

func wantKind(t testing.TB, what string, err error, kind fault.Kind) {
	t.Helper()
	if !errors.Is(err, kind) {
		t.Errorf("%s gave %v, want %s", what, err, kind)
	}
}

// wharf is a project with three pads.
func wharf() pour.Project {
	soft, bag := 0.35, 6.5
	p := pour.Project{Spec: pour.Spec{
		Name: "Crane pads at the wharf", Latitude: 52.41, Longitude: 4.83, TimeZone: "Europe/Amsterdam",
		Units: "metric", Mix: pour.Mix{BagKg: 25, YieldLPerBag: 12.1, WaterLPerBag: 2.1, WaterLPerBagMax: 2.6,
			Cement: "general", Strength28dMPa: 30, PricePerBag: &bag},
		Crew: pour.Crew{People: 2, BagsPerHour: 7.3, EarliestStart: 390, LatestFinish: 1140,
			Days: []string{"mon", "sat"}},
		Stock: pour.Stock{Deliveries: []pour.Delivery{{Date: unit.Date{Year: 2026, Month: 4, Day: 20}, Bags: 40}},
			Covers: []pour.Cover{{Kind: "blanket", Pads: 2, ResistanceM2KW: &soft}}},
		Pads: []pour.Pad{
			{Name: "P1", LengthM: 1.1, WidthM: 0.85, ThicknessM: 0.09},
			{Name: "P2", LengthM: 1.1, WidthM: 0.85, ThicknessM: 0.09,
				After: []pour.After{{Pad: "P1", Until: pour.Stripped}}},
			{Name: "P3", LengthM: 2.3, WidthM: 0.85, ThicknessM: 0.12},
		},
		WasteFraction: 0.1,
	}}
	p.Spec.Normalize() // as every project is that is kept
	return p
}

func (w *world) newProject(t testing.TB) pour.Project {
	t.Helper()
	var p pour.Project
	w.in(t, func(ctx context.Context, tx *postgres.AccountTx) (err error) {
		p, err = tx.CreateProject(ctx, wharf(), noon)
		return err
	})
	return p
}

func (w *world) newRecipient(t testing.TB, project string) notify.Recipient {
	t.Helper()
	var r notify.Recipient
	w.in(t, func(ctx context.Context, tx *postgres.AccountTx) (err error) {
		r, err = tx.AddRecipient(ctx, notify.Recipient{Project: project, Kind: "webhook",
			Address: "https://hooks.example/x",
			Secret:  "whsec_c2VjcmV0", CreatedAt: noon})
		return err
	})
	return r
}

// newMail gives the account an address.
func (w *world) newMail(t testing.TB, address string) {
	t.Helper()
	key, err := w.CreateMailLink(t.Context(), w.account, address, noon.Add(time.Hour))
	must(t, err)
	_, err = w.UseMailLink(t.Context(), accounts.MailedLink{Key: key, Address: address}, noon)
	must(t, err)
}

func alertFor(project, recipient, key string) notify.Alert {
	return notify.Alert{
		Key: key, Project: project, Kind: notify.Evening, Date: unit.Date{Year: 2026, Month: 4, Day: 15},
		Recipient: recipient, DueAt: noon,
		Message: notify.Message{ID: "id-" + key, Subject: "Pour tomorrow", Text: "Start at 07:05.\n",
			Payload: []byte(`{"verdict": "pour"}`)},
	}
}

// toldOf is an alert that tells of an occasion of its date.
func toldOf(project, recipient, key string) notify.Alert {
	a := alertFor(project, recipient, key)
	a.Kind, a.Occasions = notify.Rain, []string{"rain/1"}
	return a
}

func (w *world) newAlert(t testing.TB, project, recipient, key string) {
	t.Helper()
	w.in(t, func(ctx context.Context, tx *postgres.AccountTx) error {
		added, err := tx.AddAlert(ctx, alertFor(project, recipient, key))
		if err == nil && !added {
			t.Errorf("the alert %s was there already", key)
		}
		return err
	})
}

// aPlan is a plan with a morning, without a version yet.
func aPlan(because string) projects.KeptPlan {
	score, chance := 82, 0.93
	day := unit.Date{Year: 2026, Month: 4, Day: 15}
	return projects.KeptPlan{
		Plan: pour.Plan{MadeAt: noon, Because: because, State: pour.Open,
			Pours: []pour.Pour{{Date: day, Start: noon.Add(18 * time.Hour), End: noon.Add(24 * time.Hour),
				Pads: []string{"P1", "P3"}, ChanceUnharmed: chance, Bags: 11, WaterL: 23.1, Covers: []string{},
				Why: "driest"}},
			Unplaced: []pour.Unplaced{{Pad: "P2", Why: "waits for P1"}}, Finish: pour.Finish{Likely: &day},
			Solver: pour.Solver{Method: "greedy", Gap: 0.02}},
		Mornings: []job.Morning{{Date: day, Verdict: job.VerdictPour, Score: &score, Reason: "dry until noon",
			Parts: job.Parts{Rain: job.RainPart{ChanceUnharmed: &chance}}}},
		Changes:     []string{"P1 moves to Wednesday"},
		ChangesData: []message.Message{message.New("change_moved", message.Names("pads", []string{"P1"}))},
	}
}

func aForecast(at time.Time) forecast.Forecast {
	f := forecast.Forecast{
		Cell: quayCell, Wet: forecast.WetEvent{OverMM: 0.1, Period: time.Hour}, Validator: `W/"17"`,
		Sources: []forecast.Source{{Feed: "open-meteo", FetchedAt: at, Attribution: "Weather data by Open-Meteo.com"}},
		Hours:   make([]forecast.Hour, 48),
	}
	for i := range f.Hours {
		f.Hours[i].Start = at.Truncate(time.Hour).Add(time.Duration(i) * time.Hour)
		f.Hours[i].Values[forecast.AirC] = unit.Some(11.5 + float64(i%24)/3)
		f.Hours[i].Values[forecast.RainChance] = unit.Some(0.1)
	}
	return f
}

func appendText(ctx context.Context, tx *postgres.AccountTx, project, text string) error {
	_, err := tx.AppendLog(ctx, project, pour.LogEntry{Kind: pour.EntryNote, At: noon, RecordedAt: noon, Text: text})
	return err
}

func notifyTo(project, address string) notify.Recipient {
	return notify.Recipient{Project: project, Kind: "email", Address: address, CreatedAt: noon}
}

func inf() float64 { return math.Inf(1) }
