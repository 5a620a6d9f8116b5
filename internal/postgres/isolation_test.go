package postgres_test

import (
	"context"
	"errors"
	"reflect"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"

	"dryslot/internal/accounts"
	"dryslot/internal/alerts"
	"dryslot/internal/fault"
	"dryslot/internal/idempotency"
	"dryslot/internal/notify"
	"dryslot/internal/paging"
	"dryslot/internal/photo"
	"dryslot/internal/postgres"
	"dryslot/internal/pour"
	"dryslot/internal/projects"
	"dryslot/internal/ready"
	"dryslot/internal/today"
)

// One account's things do not exist for another, whichever method asks.
func TestAnotherAccountsRowsAreInvisible(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	p := w.newProject(t)
	r := w.newRecipient(t, p.ID)
	w.newAlert(t, p.ID, r.ID, "k1")
	w.newMail(t, "yard@example.org")
	var entry pour.LogEntry
	var picture string
	w.in(t, func(ctx context.Context, tx *postgres.AccountTx) error {
		mine, logged := tx.AppendLog(ctx, p.ID, pour.LogEntry{Kind: pour.EntryPlaced, Pad: "P1", At: noon,
			RecordedAt: noon, Text: "mine"})
		entry = mine
		_, planned := tx.AddPlan(ctx, p.ID, aPlan("first"))
		_, told := tx.AddAlert(ctx, toldOf(p.ID, r.ID, "k0"))
		caused := tx.KeepCauseStates(ctx, p.ID, alertFor(p.ID, r.ID, "").Date,
			map[notify.Kind]notify.CauseState{notify.Rain: {Number: 1, HeldUntil: noon}})
		id, shown := tx.AddPhoto(ctx, p.ID, aPhoto)
		picture = id
		return errors.Join(logged, planned, told, caused, shown, tx.KeepDaySteps(ctx, p.ID,
			[]today.Step{{Pad: "P1", PlaceFrom: noon}}), tx.Remember(ctx, "POST /x", "key",
			idempotency.Answer{Status: 201, Body: []byte("mine")}, noon))
	})

	page, day := paging.Page{Limit: 50}, alertFor(p.ID, r.ID, "").Date
	// What each method answers another account: an error of this kind, or
	// nothing at all.
	methods := map[string]func(ctx context.Context, tx *postgres.AccountTx) (found int, err error){
		"Project": func(ctx context.Context, tx *postgres.AccountTx) (int, error) {
			_, err := tx.Project(ctx, p.ID)
			return 1, err
		},
		"LockProject": func(ctx context.Context, tx *postgres.AccountTx) (int, error) {
			_, err := tx.LockProject(ctx, p.ID)
			return 1, err
		},
		"Projects": func(ctx context.Context, tx *postgres.AccountTx) (int, error) {
			all, _, err := tx.Projects(ctx, page)
			return len(all), err
		},
		"CountProjects": func(ctx context.Context, tx *postgres.AccountTx) (int, error) {
			return tx.CountProjects(ctx)
		},
		"UpdateProject": func(ctx context.Context, tx *postgres.AccountTx) (int, error) {
			_, err := tx.UpdateProject(ctx, p, p.Revision)
			return 1, err
		},
		"DeleteProject": func(ctx context.Context, tx *postgres.AccountTx) (int, error) {
			return 1, tx.DeleteProject(ctx, p.ID)
		},
		"AppendLog": func(ctx context.Context, tx *postgres.AccountTx) (int, error) {
			_, err := tx.AppendLog(ctx, p.ID, pour.LogEntry{Kind: pour.EntryNote, At: noon, RecordedAt: noon})
			return 1, err
		},
		"Entry": func(ctx context.Context, tx *postgres.AccountTx) (int, error) {
			_, err := tx.Entry(ctx, p.ID, entry.ID)
			return 1, err
		},
		"Log": func(ctx context.Context, tx *postgres.AccountTx) (int, error) {
			all, _, err := tx.Log(ctx, p.ID, page)
			return len(all), err
		},
		"WholeLog": func(ctx context.Context, tx *postgres.AccountTx) (int, error) {
			all, err := tx.WholeLog(ctx, p.ID)
			return len(all), err
		},
		"LogsForPlans": func(ctx context.Context, tx *postgres.AccountTx) (int, error) {
			all, err := tx.LogsForPlans(ctx, []string{p.ID})
			return len(all), err
		},
		"AddPlan": func(ctx context.Context, tx *postgres.AccountTx) (int, error) {
			_, err := tx.AddPlan(ctx, p.ID, aPlan("theirs"))
			return 1, err
		},
		"KeepMornings": func(ctx context.Context, tx *postgres.AccountTx) (int, error) {
			k, err := tx.CurrentPlan(ctx, p.ID)
			if err != nil {
				k = aPlan("theirs")
				k.Plan.Version = new(int)
			}
			return 1, tx.KeepMornings(ctx, p.ID, k)
		},
		"CurrentPlan": func(ctx context.Context, tx *postgres.AccountTx) (int, error) {
			_, err := tx.CurrentPlan(ctx, p.ID)
			return 1, err
		},
		"PlanVersion": func(ctx context.Context, tx *postgres.AccountTx) (int, error) {
			_, err := tx.PlanVersion(ctx, p.ID, 1)
			return 1, err
		},
		"Plans": func(ctx context.Context, tx *postgres.AccountTx) (int, error) {
			all, _, err := tx.Plans(ctx, p.ID, page)
			return len(all), err
		},
		"AddRecipient": func(ctx context.Context, tx *postgres.AccountTx) (int, error) {
			_, err := tx.AddRecipient(ctx, notify.Recipient{Project: p.ID, Kind: "email", Address: "x@example.org",
				CreatedAt: noon})
			return 1, err
		},
		"AddPhoto": func(ctx context.Context, tx *postgres.AccountTx) (int, error) {
			_, err := tx.AddPhoto(ctx, p.ID, aPhoto)
			return 1, err
		},
		"Photos": func(ctx context.Context, tx *postgres.AccountTx) (int, error) {
			all, err := tx.Photos(ctx, p.ID)
			return len(all), err
		},
		"Photo": func(ctx context.Context, tx *postgres.AccountTx) (int, error) {
			_, err := tx.Photo(ctx, p.ID, picture)
			return 1, err
		},
		"DeletePhoto": func(ctx context.Context, tx *postgres.AccountTx) (int, error) {
			return 1, tx.DeletePhoto(ctx, p.ID, picture)
		},
		"Recipients": func(ctx context.Context, tx *postgres.AccountTx) (int, error) {
			all, err := tx.Recipients(ctx, p.ID)
			return len(all), err
		},
		"DeleteRecipient": func(ctx context.Context, tx *postgres.AccountTx) (int, error) {
			return 1, tx.DeleteRecipient(ctx, p.ID, r.ID)
		},
		"ProjectOfRecipient": func(ctx context.Context, tx *postgres.AccountTx) (int, error) {
			_, err := tx.ProjectOfRecipient(ctx, r.ID)
			return 1, err
		},
		"ConfirmRecipient": func(ctx context.Context, tx *postgres.AccountTx) (int, error) {
			return 1, tx.ConfirmRecipient(ctx, p.ID, r.ID, noon)
		},
		"ChooseAlerts": func(ctx context.Context, tx *postgres.AccountTx) (int, error) {
			return 1, tx.ChooseAlerts(ctx, p.ID, r.ID, []notify.Kind{notify.Rain})
		},
		"StopRecipient": func(ctx context.Context, tx *postgres.AccountTx) (int, error) {
			return 1, tx.StopRecipient(ctx, p.ID, r.ID, noon)
		},
		"RenewCalendarKey": func(ctx context.Context, tx *postgres.AccountTx) (int, error) {
			return 1, tx.RenewCalendarKey(ctx, p.ID)
		},
		"MailOfAccount": func(ctx context.Context, tx *postgres.AccountTx) (int, error) {
			mail, err := tx.MailOfAccount(ctx)
			return len(mail), err
		},
		"KeepDaySteps": func(ctx context.Context, tx *postgres.AccountTx) (int, error) {
			return 1, tx.KeepDaySteps(ctx, p.ID, []today.Step{{Pad: "P1", PlaceFrom: noon}})
		},
		"DaySteps": func(ctx context.Context, tx *postgres.AccountTx) (int, error) {
			all, err := tx.DaySteps(ctx, []string{p.ID})
			return len(all[p.ID]), err
		},
		"DayAlerts": func(ctx context.Context, tx *postgres.AccountTx) (int, error) {
			all, err := tx.DayAlerts(ctx, p.ID, day)
			return len(all), err
		},
		"KeepCauseStates": func(ctx context.Context, tx *postgres.AccountTx) (int, error) {
			return 1, tx.KeepCauseStates(ctx, p.ID, day, map[notify.Kind]notify.CauseState{notify.Rain: {Number: 1,
				Holds: true, HeldUntil: noon}})
		},
		"CauseStates": func(ctx context.Context, tx *postgres.AccountTx) (int, error) {
			all, err := tx.CauseStates(ctx, p.ID, day)
			return len(all), err
		},
		"AddAlert": func(ctx context.Context, tx *postgres.AccountTx) (int, error) {
			_, err := tx.AddAlert(ctx, alertFor(p.ID, r.ID, "k2"))
			return 1, err
		},
		"Alerts": func(ctx context.Context, tx *postgres.AccountTx) (int, error) {
			all, _, err := tx.Alerts(ctx, p.ID, page)
			return len(all), err
		},
		"Alert": func(ctx context.Context, tx *postgres.AccountTx) (int, error) {
			_, err := tx.Alert(ctx, "k1")
			return 1, err
		},
		"LeaseAlert": func(ctx context.Context, tx *postgres.AccountTx) (int, error) {
			_, err := tx.LeaseAlert(ctx, "k1", noon, noon.Add(time.Hour))
			return 1, err
		},
		"SettleAlert": func(ctx context.Context, tx *postgres.AccountTx) (int, error) {
			return 1, tx.SettleAlert(ctx, "k1", alerts.Outcome{State: alerts.DeliverySent, At: noon})
		},
		"Remembered": func(ctx context.Context, tx *postgres.AccountTx) (int, error) {
			_, err := tx.Remembered(ctx, "POST /x", "key", noon)
			return 1, err
		},
		"SetDue": func(ctx context.Context, tx *postgres.AccountTx) (int, error) {
			return 1, tx.SetDue(ctx, p.ID, projects.Due{})
		},
		"WatchCell": func(ctx context.Context, tx *postgres.AccountTx) (int, error) {
			return 1, tx.WatchCell(ctx, quayCell, p.ID, noon)
		},
	}
	// These belong to no account, or only ever add to one's own or forget it.
	public := map[string]bool{"CreateProject": true, "Remember": true, "ForgetAnswers": true, "Forecast": true,
		"ForecastByID": true, "CellState": true, "Enqueue": true, "ShortRange": true, "ShortState": true,
		"KeepSeenRain": true, "Counted": true}
	for m := range reflect.TypeFor[*postgres.AccountTx]().Methods() {
		if methods[m.Name] == nil && !public[m.Name] {
			t.Errorf("Tx.%s is not tried", m.Name)
		}
	}
	other := w.newAccount(t, "b")
	for name, ask := range methods {
		found := 0
		err := w.InAccount(t.Context(), other, func(ctx context.Context, tx *postgres.AccountTx) (err error) {
			found, err = ask(ctx, tx)
			return err
		})
		if err == nil && found != 0 {
			t.Errorf("Tx.%s reached another account's rows", name)
		}
		if err != nil && !errors.Is(err, fault.NotFound) {
			t.Errorf("Tx.%s on another account's things gave %v, want not found", name, err)
		}
		// And its own account does find them, or the refusal above shows nothing.
		err = w.InAccount(t.Context(), w.account, func(ctx context.Context, tx *postgres.AccountTx) error {
			n, err := ask(ctx, tx)
			if err != nil || n == 0 {
				t.Errorf("Tx.%s on its own account found %d: %v", name, n, err)
			}
			return errUndo
		})
		if !errors.Is(err, errUndo) {
			t.Error(err)
		}
	}
}

var errUndo = errors.New("undo this")

// service connects as the service's role, past the store.
func service(t *testing.T, w *world) *pgx.Conn {
	t.Helper()
	conn, err := pgx.Connect(t.Context(), w.db.ServiceURL)
	must(t, err)
	t.Cleanup(func() { conn.Close(context.Background()) })
	return conn
}

var aPhoto = photo.Photo{Width: 4, Height: 3, JPEG: []byte("a picture")}

var protected = []string{"accounts", "projects", "log_entries", "plans", "plan_mornings", "recipients", "deliveries",
	"answers", "day_steps", "alert_events", "session_browsers", "token_names", "ready_answers", "account_mails",
	"members", "invitations", "photos", "passkeys"}

func TestAQueryThatForgotItsAccountSeesNothing(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	p := w.newProject(t)
	r := w.newRecipient(t, p.ID)
	w.newAlert(t, p.ID, r.ID, "k1")
	w.in(t, func(ctx context.Context, tx *postgres.AccountTx) error {
		_, logged := tx.AppendLog(ctx, p.ID, pour.LogEntry{Kind: pour.EntryNote, At: noon, RecordedAt: noon})
		_, planned := tx.AddPlan(ctx, p.ID, aPlan("first"))
		_, shown := tx.AddPhoto(ctx, p.ID, aPhoto)
		return errors.Join(logged, planned, shown,
			tx.KeepDaySteps(ctx, p.ID, []today.Step{{Pad: "P1", PlaceFrom: noon}}),
			tx.Remember(ctx, "r", "k", idempotency.Answer{}, noon))
	})
	must(t, w.KeepReady(t.Context(), w.account, ready.Key{Project: p.ID, Name: "plan"}, "1",
		ready.Answer{Plain: []byte{0}, Packed: []byte{0}, From: noon, Until: noon}))
	_, _, err := w.CreateToken(t.Context(), w.account, "Yard screen", 50, accounts.Notice{})
	must(t, err)
	must(t, w.CreatePasskey(t.Context(), w.account, accounts.Passkey{ID: []byte{1}, PublicKey: []byte{1},
		Transports: []string{"internal"}, CreatedAt: noon}, 1, accounts.Notice{}))
	w.newMail(t, "yard@example.org")
	invited, _, err := w.CreateInvitation(t.Context(), w.account, p.ID, accounts.RoleCrew, noon.Add(time.Hour), 50)
	must(t, err)
	must(t, w.AddMember(t.Context(), invited, accounts.Member{Account: w.account, Project: p.ID,
		Member: w.newAccount(t, "c"), Role: accounts.RoleCrew, Name: "Ana"}, 50, noon))
	_, err = w.CreateSession(t.Context(), accounts.NewSession{Account: w.account, Browser: "Firefox", ExpiresAt: noon})
	must(t, err)
	fill(t, w, `insert into alert_events (account, project, date, kind, number, holds, held_until)
		values ($1, $2, '2026-06-10', 'rain', 1, true, now())`, w.account, p.ID)
	other := w.newAccount(t, "b")
	conn := service(t, w)
	for _, table := range protected {
		if n := query[int](t, w, "select count(*) from "+table); n == 0 {
			t.Errorf("%s is empty, so nothing is shown", table)
		}
		for _, account := range []string{"", other} {
			want := 0
			if table == "accounts" && account == other {
				want = 1 // itself
			}
			_, err := conn.Exec(t.Context(), `select set_config('dryslot.account', $1, false)`, account)
			must(t, err)
			var n int
			must(t, conn.QueryRow(t.Context(), "select count(*) from "+table).Scan(&n))
			if n != want {
				t.Errorf("%s shows %d rows to account %q, want %d", table, n, account, want)
			}
		}
	}
	// Nor can a row be put into another's account.
	_, err = conn.Exec(t.Context(),
		`insert into projects (account, id, calendar_key, created_at, spec) values ($1, gen_random_uuid(), '', now(),
			'{}')`,
		w.account)
	if !denied(err) {
		t.Errorf("a row for another account gave %v, want it refused", err)
	}
}

// A connection goes back to the pool without the account of its last user.
func TestConnectionsForgetTheirAccount(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	w.newProject(t)
	for range 20 {
		w.in(t, func(ctx context.Context, tx *postgres.AccountTx) error { return nil })
		w.system(t, func(ctx context.Context, tx *postgres.SystemTx) error { return nil })
	}
	other := w.newAccount(t, "b")
	err := w.InAccount(t.Context(), other, func(ctx context.Context, tx *postgres.AccountTx) error {
		all, _, err := tx.Projects(ctx, paging.Page{Limit: 10})
		if len(all) != 0 {
			t.Errorf("another account sees %d projects", len(all))
		}
		return err
	})
	must(t, err)
}
