package web

import (
	"archive/zip"
	"context"
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"maps"
	"slices"
	"strconv"
	"strings"
	"time"

	"dryslot/internal/accounts"
	"dryslot/internal/alerts"
	"dryslot/internal/fault"
	"dryslot/internal/notify"
	"dryslot/internal/paging"
	"dryslot/internal/pour"
)

// ArchiveType is the media type of an archive.
const ArchiveType = "application/zip"

// ArchiveName is what a browser names an archive's file.
func ArchiveName(account string) string { return "dryslot-" + accounts.Short(account) + ".zip" }

// archivedAtOnce is how many items of a list are read at a time.
const archivedAtOnce = 200

// archive writes the files of an archive.
type archive struct {
	*zip.Writer
	made time.Time // the time that each file carries
}

// Archive writes what is kept of an account, but for photos and the plans that
// were followed by another, as a ZIP file (APPNOTE 6.3): of each project a folder with the project, its plan in force, its
// recipients and alerts as JSON, and its log as JSON and as CSV (RFC 4180). Secrets
// are left out. The transaction has to be the account's.
func Archive(ctx context.Context, w io.Writer, tx Tx, made time.Time) error {
	a := archive{zip.NewWriter(w), made}
	cursor, n := "", 0
	for {
		items, next, err := tx.Projects(ctx, paging.Page{Limit: archivedAtOnce, Cursor: cursor})
		if err != nil {
			return err
		}
		for _, p := range items {
			n++
			if err := a.project(ctx, tx, p, fmt.Sprintf("project-%03d/", n)); err != nil {
				return fmt.Errorf("web: archive of project %s: %w", p.ID, err)
			}
		}
		if cursor = next; cursor == "" {
			break
		}
	}
	if err := a.Close(); err != nil {
		return fmt.Errorf("web: archive: %w", err)
	}
	return nil
}

func (a archive) project(ctx context.Context, tx Tx, p pour.Project, folder string) error {
	log, err := tx.WholeLog(ctx, p.ID)
	if err != nil {
		return err
	}
	recipients, err := tx.Recipients(ctx, p.ID)
	if err != nil {
		return err
	}
	sent, err := allAlerts(ctx, tx, p.ID)
	if err != nil {
		return err
	}
	kept, err := tx.CurrentPlan(ctx, p.ID)
	if err != nil && !errors.Is(err, fault.NotFound) {
		return err
	}
	parts := map[string]any{"project.json": p, "log.json": log, "recipients.json": archivedRecipients(recipients),
		"alerts.json": archivedAlerts(sent)}
	if err == nil {
		parts["plan.json"] = kept.Plan
	}
	for _, name := range slices.Sorted(maps.Keys(parts)) {
		if err := a.json(folder+name, parts[name]); err != nil {
			return err
		}
	}
	return a.csv(folder+"log.csv", log)
}

func allAlerts(ctx context.Context, tx Tx, project string) (all []alerts.Delivery, err error) {
	for cursor := ""; ; {
		items, next, err := tx.Alerts(ctx, project, paging.Page{Limit: archivedAtOnce, Cursor: cursor})
		if err != nil {
			return nil, err
		}
		all = append(all, items...)
		if cursor = next; cursor == "" {
			return all, nil
		}
	}
}

// archivedRecipient is a recipient as it is archived.
type archivedRecipient struct {
	ID        string        `json:"id"`
	Kind      string        `json:"kind"`
	Address   string        `json:"address"`
	Alerts    []notify.Kind `json:"alerts"` // that are wanted; null: all
	CreatedAt time.Time     `json:"created_at"`
}

func archivedRecipients(all []notify.Recipient) []archivedRecipient {
	out := make([]archivedRecipient, len(all))
	for i, r := range all {
		out[i] = archivedRecipient{r.ID, r.Kind, r.Address, r.Alerts, r.CreatedAt}
	}
	return out
}

// archivedAlert is an alert to one recipient as it is archived.
type archivedAlert struct {
	Kind      notify.Kind          `json:"kind"`
	Recipient string               `json:"recipient"`
	State     alerts.DeliveryState `json:"state"`
	Subject   string               `json:"subject"`
	Text      string               `json:"text"`
	SettledAt *time.Time           `json:"settled_at"` // null: it is still to be sent
}

func archivedAlerts(all []alerts.Delivery) []archivedAlert {
	out := make([]archivedAlert, len(all))
	for i, d := range all {
		out[i] = archivedAlert{d.Kind, d.Recipient, d.State, d.Message.Subject, d.Message.Text, nil}
		if !d.SettledAt.IsZero() {
			out[i].SettledAt = &d.SettledAt
		}
	}
	return out
}

func (a archive) file(name string) (io.Writer, error) {
	return a.CreateHeader(&zip.FileHeader{Name: name, Method: zip.Deflate, Modified: a.made})
}

func (a archive) json(name string, data any) error {
	w, err := a.file(name)
	if err != nil {
		return err
	}
	e := json.NewEncoder(w)
	e.SetEscapeHTML(false)
	e.SetIndent("", "  ")
	return e.Encode(data)
}

// csv writes a log as a table; what an entry does not tell is empty.
func (a archive) csv(name string, log []pour.LogEntry) error {
	f, err := a.file(name)
	if err != nil {
		return err
	}
	w := csv.NewWriter(f)
	rows := [][]string{{"at", "recorded_at", "kind", "pads", "bags", "water_l", "minutes", "rain_mm", "cover",
		"covered", "result", "cracks", "chipped_edges", "scaling", "colour", "text", "by", "id", "undoes"}}
	for _, e := range log {
		ratings := pour.Ratings{}
		if e.Ratings != nil {
			ratings = *e.Ratings
		}
		covered := ""
		if e.Covered != nil {
			covered = strconv.FormatBool(*e.Covered)
		}
		pads := e.Pads
		if len(pads) == 0 && e.Pad != "" {
			pads = []string{e.Pad}
		}
		rows = append(rows, []string{e.At.Format(time.RFC3339), e.RecordedAt.Format(time.RFC3339), string(e.Kind),
			strings.Join(pads, " "), cell(e.Bags), cell(e.WaterL), cell(e.Minutes), cell(e.RainMM), e.Cover, covered,
			e.Result, ratings.Cracks, ratings.ChippedEdges, ratings.Scaling, ratings.Colour, typed(e.Text), typed(e.By),
			e.ID, e.Entry})
	}
	return w.WriteAll(rows)
}

func cell(v *float64) string {
	if v == nil {
		return ""
	}
	return strconv.FormatFloat(*v, 'f', -1, 64)
}

// typed is what somebody typed, so that no spreadsheet takes it for a formula
// (OWASP, CSV injection).
func typed(s string) string {
	if s != "" && strings.ContainsRune("=+-@\t\r", rune(s[0])) {
		return "'" + s
	}
	return s
}
