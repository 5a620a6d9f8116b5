package postgres_test

import (
	"context"
	"reflect"
	"testing"
	"time"

	"dryslot/internal/notify"
	"dryslot/internal/planner/job"
	"dryslot/internal/postgres"
)

// What an alert told is kept beside its message. A row that a version without
// these columns wrote is filled from the message, and one whose message can't
// be read tells nothing.
func TestWhatAnAlertToldIsKept(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	p := w.newProject(t)
	r := w.newRecipient(t, p.ID)
	want := notify.Told{Kind: notify.Evening, At: noon, Verdict: job.VerdictCare, Start: noon.Add(18 * time.Hour),
		Latest: noon.Add(20 * time.Hour), Pads: []string{"P1", "P2"}}
	read := func(key string) (told notify.Told) {
		w.in(t, func(ctx context.Context, tx *postgres.AccountTx) error {
			d, err := tx.Alert(ctx, key)
			told = d.Told
			return err
		})
		return told
	}
	a := alertFor(p.ID, r.ID, "new")
	a.Kind, a.Told = notify.Evening, want
	w.in(t, func(ctx context.Context, tx *postgres.AccountTx) error { _, err := tx.AddAlert(ctx, a); return err })
	if got := read("new"); !reflect.DeepEqual(got, want) {
		t.Errorf("told %+v, want %+v", got, want)
	}
	for key, payload := range map[string]string{
		"before": `{"type":"alert.evening","timestamp":"` + noon.Format(time.RFC3339) +
			`","data":{"verdict":"care","pads":["P1","P2"],` +
			`"start":"` + want.Start.Format(time.RFC3339) + `","latest_start":"` + want.Latest.Format(time.RFC3339) +
			`"}}`,
		"torn": "{",
	} {
		fill(t, w,
			`insert into deliveries (account, key, project, recipient, kind, date, message_id, subject, body, payload,
				due_at)
			values ('`+w.account+`', '`+key+`', '`+p.ID+`', '`+r.ID+
				`', 'evening', '2026-06-09', 'm', 's', 'b', convert_to('`+payload+`', 'UTF8'), now())`)
	}
	if got := read("before"); !reflect.DeepEqual(got, want) {
		t.Errorf("a row of a version before told %+v, want %+v", got, want)
	}
	if got := read("torn"); !got.At.IsZero() {
		t.Errorf("a torn message told %+v", got)
	}
	// Rows that were there before the columns are written once more as they are.
	fill(t, w,
		"alter table deliveries disable trigger told; update deliveries set told_at = null, "+
			"told_pads = null where key = 'before';"+"alter table deliveries enable trigger told; "+
			"update deliveries set payload = payload")
	if got := read("before"); !reflect.DeepEqual(got, want) {
		t.Errorf("after the upgrade a row told %+v, want %+v", got, want)
	}
}
