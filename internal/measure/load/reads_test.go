package load_test

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"os"
	"os/exec"
	"os/signal"
	"regexp"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"
	"github.com/labstack/echo/v4"

	"dryslot/internal/app"
	"dryslot/internal/config"
	"dryslot/internal/postgres/postgrestest"
)

// The benchmark of reads starts the service and what it is compared with as
// this binary again, so that the work of each can be told apart.
const role = "DRYSLOT_READS_ROLE"

func TestMain(m *testing.M) {
	ctx, stop := signal.NotifyContext(context.Background(), syscall.SIGTERM)
	var err error
	switch os.Getenv(role) {
	case "service":
		var cfg config.Config
		if cfg, err = config.Load(os.Getenv); err == nil {
			err = app.Run(ctx, cfg, app.Options{Serve: true, Out: os.Stdout,
				Log: slog.New(slog.NewTextHandler(os.Stderr, nil))})
		}
	case "bare":
		err = bare(ctx)
	default:
		os.Exit(m.Run())
	}
	stop()
	if err != nil {
		fmt.Fprintln(os.Stderr, "reads:", err)
		os.Exit(1)
	}
}

// bare is the least that can answer a row: echo without middleware, one query
// by the primary key, no token and no row-level security.
func bare(ctx context.Context) error {
	cfg, err := pgxpool.ParseConfig(os.Getenv("DATABASE_URL"))
	if err != nil {
		return err
	}
	cfg.MaxConns = atOnce
	pool, err := pgxpool.NewWithConfig(ctx, cfg)
	if err != nil {
		return err
	}
	defer pool.Close()
	e := echo.New()
	e.HideBanner, e.HidePort = true, true
	e.GET("/:id", func(c echo.Context) error {
		var body []byte
		if err := pool.QueryRow(c.Request().Context(), "select body from bare where id = $1",
			c.Param("id")).Scan(&body); err != nil {
			return err
		}
		return c.Blob(http.StatusOK, "application/json", body)
	})
	go func() {
		<-ctx.Done()
		_ = e.Close()
	}()
	if e.Listener, err = listen(ctx); err != nil {
		return err
	}
	fmt.Println("listening on http://" + e.Listener.Addr().String())
	if err = e.Start(""); ctx.Err() != nil {
		return nil
	}
	return err
}

// start runs this binary in a role, and returns its address.
func start(b *testing.B, as string, env ...string) (address string, pid int) {
	b.Helper()
	self, err := os.Executable()
	if err != nil {
		b.Fatal(err)
	}
	cmd := exec.CommandContext(context.Background(), self)
	cmd.Env = append(append(os.Environ(), env...), role+"="+as)
	var said strings.Builder
	cmd.Stderr = &said
	out, err := cmd.StdoutPipe()
	if err == nil {
		err = cmd.Start()
	}
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() {
		_ = cmd.Process.Signal(syscall.SIGTERM)
		if err := cmd.Wait(); err != nil {
			b.Errorf("%s: %v\n%s", as, err, said.String())
		}
	})
	r := bufio.NewReader(out)
	for {
		line, err := r.ReadString('\n')
		if err != nil {
			b.Fatalf("%s gives no address: %v\n%s", as, err, said.String())
		}
		if _, found, ok := strings.Cut(strings.TrimSpace(line), "listening on http://"); ok {
			go func() { _, _ = io.Copy(io.Discard, r) }()
			return found, cmd.Process.Pid
		}
	}
}

const readsToken = "the-token-of-the-benchmark-of-reads-made-up-for-it"

// rows are the bare handler's: the body that is compared with, among those of
// 1,000 others.
func rows(b *testing.B, admin string, bodies map[string]string) {
	b.Helper()
	conn, err := pgx.Connect(b.Context(), admin)
	if err != nil {
		b.Fatal(err)
	}
	defer conn.Close(context.Background())
	do := func(sql string, args ...any) {
		if _, err := conn.Exec(b.Context(), sql, args...); err != nil {
			b.Fatalf("%s: %v", sql, err)
		}
	}
	for id, body := range bodies {
		do("insert into bare values ($1, $2)", id, []byte(body))
		do("insert into bare select gen_random_uuid(), $1 from generate_series(1, 1000)", []byte(body))
	}
	// As many others' answers stand beside the one that is read.
	do("insert into accounts (id) select gen_random_uuid() from generate_series(1, 1000)")
	do(`insert into ready_answers (account, project, name, language, basis, tag, since, made_at, until, plain, packed)
		select a.id, gen_random_uuid(), name, language, basis, tag, since, made_at, until, plain, packed
		from ready_answers, accounts a
		where a.id <> account`)
	do("analyze")
}

// BenchmarkReads compares what clients read most with the bare handler, at
// sixteen connections, in rounds that take turns: medians of ratios.
func BenchmarkReads(b *testing.B) {
	length, rounds := 1500*time.Millisecond, 9
	if b.N == 1 && testing.Short() {
		length, rounds = 50*time.Millisecond, 1
	}
	db := postgrestest.URLs(b)
	conn, err := pgx.Connect(b.Context(), db.AdminURL)
	if err != nil {
		b.Fatal(err)
	}
	if _, err = conn.Exec(b.Context(),
		"create table bare (id uuid primary key, body bytea not null); grant select on bare to "+
			db.ServiceRole); err != nil {
		b.Fatal(err)
	}
	var postmaster int
	if err = conn.QueryRow(b.Context(), "select pg_backend_pid()").Scan(&postmaster); err != nil {
		b.Fatal(err)
	}
	postmaster = parentOf(b, postmaster)
	conn.Close(context.Background())

	service, servicePID := start(b, "service", "DATABASE_URL="+db.ServiceURL, "DATABASE_MIGRATE_URL="+db.OwnerURL,
		"DRYSLOT_LISTEN=127.0.0.1:0", "DRYSLOT_WORKER=inline", "DRYSLOT_TOKEN="+readsToken, "DRYSLOT_FEEDS=replay",
		"DRYSLOT_REQUESTS_A_MINUTE=0")
	tomorrow, page, cookie := prepared(b, "http://"+service)
	settled(b, db.AdminURL)
	const bareTomorrow, barePage = "00000000-0000-4000-8000-000000000001", "00000000-0000-4000-8000-000000000002"
	get := func(host, path, header string) string {
		return "GET " + path + " HTTP/1.1\r\nHost: " + host + "\r\n" + header + "\r\n"
	}
	authorized := "Authorization: Bearer " + readsToken + "\r\n"
	first := one(b, service, get(service, tomorrow, authorized))
	one(b, service, get(service, page, cookie))
	shown := one(b, service, get(service, page, cookie))
	rows(b, db.AdminURL, map[string]string{bareTomorrow: first.body, barePage: shown.body})
	plain, plainPID := start(b, "bare", "DATABASE_URL="+db.ServiceURL)

	baseline := func(row string) reading {
		return reading{"", plain, get(plain, "/"+row, ""), 200, plainPID, postmaster}
	}
	loads := []reading{
		baseline(bareTomorrow),
		{"tomorrow", service, get(service, tomorrow, authorized), 200, servicePID, postmaster},
		{"not_modified", service, get(service, tomorrow, authorized+"If-None-Match: "+first.tag+"\r\n"), 304,
			servicePID, postmaster},
		baseline(barePage),
		{"page", service, get(service, page, cookie), 200, servicePID, postmaster},
	}
	for _, l := range loads { // warm
		l.run(b, length/3)
	}
	var against taken
	rates, cpus, tails := map[string][]float64{}, map[string][]float64{}, map[string][]float64{}
	for range rounds {
		for _, l := range loads {
			got := l.run(b, length)
			if l.name == "" {
				against = got
				continue
			}
			rates[l.name] = append(rates[l.name], got.rate/against.rate)
			cpus[l.name] = append(cpus[l.name], got.cpu()/against.cpu())
			tails[l.name] = append(tails[l.name], got.p99/against.p99)
		}
	}
	b.StopTimer()
	fmt.Printf("\nreads_body: %d bytes\nreads_page_body: %d bytes\n", len(first.body), len(shown.body))
	for _, l := range loads {
		if l.name != "" {
			fmt.Printf("reads_%s_rate: %.2f of_bare\nreads_%s_cpu: %.2f of_bare\nreads_%s_p99: %.2f of_bare\n",
				l.name, median(rates[l.name]), l.name, median(cpus[l.name]), l.name, median(tails[l.name]))
		}
	}
}

func median(v []float64) float64 {
	slices.Sort(v)
	return v[len(v)/2]
}

// settled waits until the worker has nothing to do, whose work would be taken for
// that of the reads.
func settled(b *testing.B, admin string) {
	b.Helper()
	conn, err := pgx.Connect(b.Context(), admin)
	if err != nil {
		b.Fatal(err)
	}
	defer conn.Close(context.Background())
	until := time.Now().Add(5 * time.Minute)
	for busy := true; busy; {
		if time.Now().After(until) {
			b.Fatal("the worker is busy after five minutes")
		}
		if err := conn.QueryRow(b.Context(), `select pg_sleep(0.1) is null or exists (select from plan_queue)
			or exists (select from river_job where state in ('available', 'running'))`).Scan(&busy); err != nil {
			b.Fatal(err)
		}
	}
}

var idForm = regexp.MustCompile(`"id":"([0-9a-f-]{36})"`)

// prepared sets a project up, waits for its plan, and signs a browser in.
func prepared(b *testing.B, base string) (tomorrow, page, cookie string) {
	b.Helper()
	ask := func(method, path, body string) string {
		req, err := http.NewRequest(method, base+path, strings.NewReader(body))
		if err != nil {
			b.Fatal(err)
		}
		req.Header.Set("Authorization", "Bearer "+readsToken)
		resp, err := http.DefaultClient.Do(req)
		if err != nil {
			b.Fatal(err)
		}
		defer resp.Body.Close()
		got, err := io.ReadAll(resp.Body)
		if err != nil || resp.StatusCode >= 300 {
			b.Fatalf("%s %s: %d %s %v", method, path, resp.StatusCode, got, err)
		}
		return string(got)
	}
	project, err := os.ReadFile("../../app/demo/project.json")
	if err != nil {
		b.Fatal(err)
	}
	id := idForm.FindStringSubmatch(ask("POST", "/v1/projects", string(project)))[1]
	tomorrow = "/v1/projects/" + id + "/mornings/tomorrow"
	for until := time.Now().Add(5 * time.Minute); strings.Contains(ask("GET", tomorrow, ""), `"forecast":null`); {
		if time.Now().After(until) {
			b.Fatal("there is no plan after five minutes")
		}
	}
	jar, err := cookiejar.New(nil)
	if err != nil {
		b.Fatal(err)
	}
	resp, err := (&http.Client{Jar: jar}).PostForm(base+"/sign-in", url.Values{"token": {readsToken}})
	if err != nil {
		b.Fatal(err)
	}
	resp.Body.Close()
	at, err := url.Parse(base)
	if err != nil {
		b.Fatal(err)
	}
	for _, c := range jar.Cookies(at) {
		cookie += "Cookie: " + c.Name + "=" + c.Value + "\r\n"
	}
	return tomorrow, "/p/" + id, cookie
}
