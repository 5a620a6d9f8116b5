package app

import (
	"context"
	"crypto/rand"
	_ "embed"
	"errors"
	"fmt"
	"io/fs"
	"net"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"dryslot/internal/accounts"
	"dryslot/internal/config"
	"dryslot/internal/fault"
	"dryslot/internal/notify"
	"dryslot/internal/paging"
	"dryslot/internal/place"
	"dryslot/internal/planner/job"
	"dryslot/internal/postgres"
	"dryslot/internal/pour"
	"dryslot/internal/projects"
	"dryslot/internal/say"
	"dryslot/internal/unit"
)

// demoProject is an invented job: stands for hives and a cart path in the
// hills inland of Porto.
//
//go:embed demo/project.json
var demoProject []byte

// firstWeather bounds how long a demonstration waits for its first forecast.
const firstWeather = 30 * time.Second

// keptToken returns the demonstration's token, the same at every start.
func keptToken(dir string) (string, error) {
	path := filepath.Join(dir, "token")
	b, err := os.ReadFile(path)
	if err == nil && len(strings.TrimSpace(string(b))) >= config.ShortestToken {
		return strings.TrimSpace(string(b)), nil
	}
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return "", fmt.Errorf("app: token of the demonstration: %w", err)
	}
	token := strings.ToLower(rand.Text() + rand.Text())
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return "", fmt.Errorf("app: DRYSLOT_DATA: %w", err)
	}
	// Written aside and renamed, so that a killed start leaves no half token.
	aside := path + ".new"
	if err := os.WriteFile(aside, []byte(token+"\n"), 0o600); err != nil {
		return "", fmt.Errorf("app: token of the demonstration: %w", err)
	}
	if err := os.Rename(aside, path); err != nil {
		return "", fmt.Errorf("app: token of the demonstration: %w", err)
	}
	return token, nil
}

// demonstrate loads the demonstration's project if the account has none, plans
// it, and prints where to look and what tomorrow brings.
func (in *instance) demonstrate(ctx context.Context, addr net.Addr) error {
	account, err := in.store.AccountByToken(ctx, in.token)
	if err != nil {
		return err
	}
	p, err := in.demoProject(ctx, account)
	if err != nil {
		return err
	}
	line, err := in.tomorrow(ctx, account, p)
	if err != nil {
		return err
	}
	base := "http://" + addr.String()
	if slices.Contains(in.cfg.Feeds, config.Replay) {
		fmt.Fprintln(in.out, "Sample weather, not for real pours.")
	}
	if in.alerts.SetClock {
		fmt.Fprintf(in.out, "The clock was set: it began at %s.\n", in.cfg.StartAt.Format(time.RFC3339))
	}
	fmt.Fprintf(in.out, "%s: %s\n", p.Name, line)
	link, err := in.people.NewLink(ctx, account)
	if err != nil {
		return err
	}
	fmt.Fprintf(in.out, "Pages:  %s\n", signInAddress(base, link))
	fmt.Fprintf(in.out, "        The link signs one browser in, once, within %.0f minutes. "+
		"At %s/sign-in the token does so at any time.\n", accounts.LinkLife.Minutes(), base)
	fmt.Fprintf(in.out, "Token:  %s\n", in.token)
	return nil
}

// demoProject returns the account's first project, made if there is none.
func (in *instance) demoProject(ctx context.Context, account string) (p pour.Project, err error) {
	var have []pour.Project
	err = in.store.InAccount(ctx, account, func(ctx context.Context, tx *postgres.AccountTx) error {
		have, _, err = tx.Projects(ctx, paging.Page{Limit: 1})
		return err
	})
	if err != nil || len(have) > 0 {
		return append(have, pour.Project{})[0], err
	}
	doc, err := pour.Parse(demoProject)
	if err != nil {
		return p, err
	}
	spec, err := pour.ReadSpec(doc)
	if err != nil {
		return p, err
	}
	return in.projects.CreateProject(ctx, account, spec)
}

// tomorrow says in one line what tomorrow brings, with a forecast fetched and
// a plan made if they are due.
func (in *instance) tomorrow(ctx context.Context, account string, p pour.Project) (string, error) {
	wait, cancel := context.WithTimeout(ctx, firstWeather)
	defer cancel()
	if err := in.fetching.Refresh(wait, place.CellOf(p.Latitude, p.Longitude)); err != nil &&
		!errors.Is(err, fault.Unavailable) {
		return "", err
	}
	zone, err := time.LoadLocation(p.TimeZone)
	if err != nil {
		return "", fmt.Errorf("app: %w", err)
	}
	today := unit.DateOf(in.projects.Now(), zone)
	var k projects.KeptPlan
	err = in.store.InAccount(ctx, account, func(ctx context.Context, tx *postgres.AccountTx) error {
		if k, err = in.projects.Current(ctx, p); err != nil {
			return err
		}
		newest, err := tx.Forecast(ctx, place.CellOf(p.Latitude, p.Longitude))
		if errors.Is(err, fault.NotFound) || (err == nil && newest.ID == k.ForecastID && unit.DateOf(k.Plan.MadeAt,
			zone) == today) {
			return nil
		}
		if err != nil {
			return err
		}
		if _, err = in.projects.Replan(ctx, account, p.ID, "new forecast"); err != nil {
			return err
		}
		k, err = in.projects.Current(ctx, p)
		return err
	})
	if err != nil {
		return "", err
	}
	i := slices.IndexFunc(k.Mornings, func(m job.Morning) bool { return m.Date == today.AddDays(1) })
	if i < 0 {
		return "tomorrow is not scored yet.", nil
	}
	r := say.For(p.Language, p.Units == place.UnitsUS)
	r.Zone, r.Today = zone, today
	return r.Say(notify.Headline(k.Mornings[i])), nil
}

// signInAddress is where a link with a key leads.
func signInAddress(base, key string) string { return base + "/sign-in?link=" + url.QueryEscape(key) }
