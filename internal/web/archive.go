package web

import (
	"archive/zip"
	"bytes"
	"context"
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"maps"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"

	"dryslot/internal/accounts"
	"dryslot/internal/alerts"
	"dryslot/internal/fault"
	"dryslot/internal/notify"
	"dryslot/internal/paging"
	"dryslot/internal/photo"
	"dryslot/internal/pour"
)

// ArchiveType is the media type of an archive.
const ArchiveType = "application/zip"

// ArchiveName is what a browser names an archive's file.
func ArchiveName(account string) string { return "dryslot-" + accounts.Short(account) + ".zip" }

// archivedAtOnce is how many items of a list are read at a time.
const archivedAtOnce = 200

// Reading runs fn in one transaction of the account whose archive is made.
type Reading func(ctx context.Context, fn func(context.Context, Tx) error) error

// Archive is what is kept of an account, but for the plans that were followed by
// another, as a ZIP file (APPNOTE 6.3): of each project a folder with the project,
// its plan in force, its recipients and alerts as JSON, its log as JSON and as CSV
// (RFC 4180), and its photos. Secrets are left out.
type Archive struct {
	zip    *zip.Writer
	ready  bytes.Buffer // written, and not handed on
	made   time.Time    // the time that each file carries
	in     Reading
	photos []archivedPhoto
}

// archivedPhoto is a photo that is to be read yet, which may be deleted before.
type archivedPhoto struct{ project, id, file string }

// NewArchive reads all but the photos, in one transaction.
func NewArchive(ctx context.Context, in Reading, made time.Time) (*Archive, error) {
	a := &Archive{made: made, in: in}
	a.zip = zip.NewWriter(&a.ready)
	err := in(ctx, func(ctx context.Context, tx Tx) error {
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
				return nil
			}
		}
	})
	return a, err
}

// Send writes the archive. It reads the photos one by one, each in a transaction of
// its own, so that a slow reader holds no connection to the database and an archive
// of many photos needs the memory of one. After an error the file is not whole.
func (a *Archive) Send(ctx context.Context, w io.Writer) error {
	for _, p := range a.photos {
		if err := a.photo(ctx, p); err != nil {
			return fmt.Errorf("web: archive of photo %s: %w", p.id, err)
		}
		if _, err := a.ready.WriteTo(w); err != nil {
			return fmt.Errorf("web: archive: %w", err)
		}
	}
	if err := a.zip.Close(); err != nil {
		return fmt.Errorf("web: archive: %w", err)
	}
	_, err := a.ready.WriteTo(w)
	return err
}

// SendArchive answers with an archive. Where it can't be made to its end, the
// connection is broken off, so that nobody takes half of it for the whole.
func (s *Server) SendArchive(ctx context.Context, w http.ResponseWriter, a *Archive) {
	w.Header().Set("Content-Type", ArchiveType)
	// The server's own limit is made for short answers; a test's recorder has none.
	err := http.NewResponseController(w).SetWriteDeadline(s.Wall().Add(longestSending))
	if err == nil || errors.Is(err, http.ErrNotSupported) {
		err = a.Send(ctx, w)
	}
	if err != nil {
		s.Log.ErrorContext(ctx, "an archive was not sent to its end", "error", err)
		panic(http.ErrAbortHandler)
	}
}

// photo adds a photo, unless it was deleted meanwhile.
func (a *Archive) photo(ctx context.Context, p archivedPhoto) error {
	var kept photo.Photo
	err := a.in(ctx, func(ctx context.Context, tx Tx) (err error) {
		kept, err = tx.Photo(ctx, p.project, p.id)
		return err
	})
	if errors.Is(err, fault.NotFound) {
		return nil
	}
	if err != nil {
		return err
	}
	f, err := a.file(p.file, zip.Store) // JPEG is compressed already
	if err == nil {
		_, err = f.Write(kept.JPEG)
	}
	return err
}

func (a *Archive) project(ctx context.Context, tx Tx, p pour.Project, folder string) error {
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
	photos, err := tx.Photos(ctx, p.ID)
	if err != nil {
		return err
	}
	for _, x := range photos {
		a.photos = append(a.photos, archivedPhoto{p.ID, x.ID, folder + "photos/" + x.ID + ".jpg"})
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

func (a *Archive) file(name string, method uint16) (io.Writer, error) {
	return a.zip.CreateHeader(&zip.FileHeader{Name: name, Method: method, Modified: a.made})
}

func (a *Archive) json(name string, data any) error {
	w, err := a.file(name, zip.Deflate)
	if err != nil {
		return err
	}
	e := json.NewEncoder(w)
	e.SetEscapeHTML(false)
	e.SetIndent("", "  ")
	return e.Encode(data)
}

// csv writes a log as a table; what an entry does not give is empty.
func (a *Archive) csv(name string, log []pour.LogEntry) error {
	f, err := a.file(name, zip.Deflate)
	if err != nil {
		return err
	}
	w := csv.NewWriter(f)
	rows := [][]string{{"at", "recorded_at", "kind", "pads", "bags", "water_l", "minutes", "rain_mm", "cover",
		"covered", "result", "cracks", "chipped_edges", "scaling", "colour", "text", "by", "id", "undoes", "photos"}}
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
			e.ID, e.Entry, strings.Join(e.Photos, " ")})
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
