package pages

import (
	"context"
	"errors"
	"fmt"
	"mime"
	"net/http"
	"net/url"
	"strings"
	"time"

	"github.com/labstack/echo/v4"

	"dryslot/internal/accounts"
	"dryslot/internal/fault"
	"dryslot/internal/message"
	"dryslot/internal/paging"
	"dryslot/internal/place"
	"dryslot/internal/planner/job"
	"dryslot/internal/pour"
	"dryslot/internal/say"
	"dryslot/internal/takeoff"
	"dryslot/internal/today"
	"dryslot/internal/unit"
	"dryslot/internal/web"
	"dryslot/internal/web/look"
	"dryslot/internal/web/pages/view"
)

// pages serves what a builder sees: server-rendered HTML that works without
// JavaScript.
type pages struct {
	s        *web.Server
	services Services
	store    Store
	views    *view.Pages
	origin   *http.CrossOriginProtection
}

// Routes returns the routes of the pages.
func Routes(services Services, store Store, views *view.Pages) web.Routes {
	return func(s *web.Server, e *echo.Echo) {
		p := &pages{s: s, services: services, store: store, views: views, origin: http.NewCrossOriginProtection()}
		p.register(e)
	}
}

func (p *pages) register(e *echo.Echo) {
	p.s.ShowErrorsBy(func(c echo.Context, problem *web.Problem) error {
		setHeaders(c.Response().Header())
		return p.trouble(c, problem)
	})
	// Not a group with middleware: echo would answer 404 where a method is wrong.
	get := func(path string, h echo.HandlerFunc) { e.GET(path, h, p.manners) }
	post := func(path string, h echo.HandlerFunc) { e.POST(path, h, p.manners) }
	e.GET(look.Read().Address, sheet)
	p.phone(e)
	if p.s.Sample {
		get("/states", p.allStates)
		get("/states/:state/:page", p.oneState)
	}
	p.registerAccount(get, post)
	get("/r/:key", p.reach)
	post("/r/:key", p.changeReach)
	p.s.TakesLong(http.MethodGet, "/archive/:key")
	for _, packed := range []string{"/archive/:key", "/p/:id/photos/:photo"} {
		p.s.PacksItself(http.MethodGet, packed)
	}
	get("/", p.signedIn(p.projects))
	get("/projects", p.signedIn(p.allProjects))
	get("/new", p.signedIn(p.askSetup))
	post("/new", p.signedIn(p.setup))
	get("/join/:key", p.askJoin)
	post("/join/:key", p.signedIn(p.join))
	get("/p/:id/crew", p.signedInAs(accounts.RoleAccount, p.crew))
	post("/p/:id/crew", p.signedInAs(accounts.RoleAccount, p.changeCrew))
	get("/p/:id/alerts", p.signedInAs(accounts.RoleOwner, p.alerts))
	post("/p/:id/alerts", p.signedIn(p.changeAlerts))
	get(p.ready("/p/:id", p.next))
	get(p.ready("/p/:id/day/:date", p.day))
	get(p.ready("/p/:id/pads", p.allPads))
	get("/p/:id/pad/:pad", p.signedIn(p.onePad))
	get("/p/:id/log", p.signedIn(p.log))
	post("/p/:id/log", p.signedInAs(accounts.RoleCrew, p.tapTime(p.record)))
	e.POST("/p/:id/photos", p.signedInAs(accounts.RoleCrew, p.addPhotos), p.uploads)
	get("/p/:id/photos/:photo", p.signedIn(p.onePhoto))
	get("/p/:id/confirm", p.signedIn(p.askConfirm))
	post("/p/:id/confirm", p.signedInAs(accounts.RoleCrew, p.confirm))
	get("/p/:id/carry", p.signedIn(p.carry))
	get("/p/:id/sources", p.signedIn(p.sources))
	get("/p/:id/change", p.signedIn(p.askChange))
	post("/p/:id/change", p.signedIn(p.change))
	get("/p/:id/pad/:pad/change", p.signedIn(p.askPad))
	post("/p/:id/pad/:pad/change", p.signedIn(p.changePad))
	get("/p/:id/try", p.signedIn(p.askTry))
	post("/p/:id/try", p.signedIn(p.try))
	get("/p/:id/proved", p.signedIn(p.proved))
}

// contentPolicy lets a page load nothing but itself.
// Where a pad lies on a plan stands in attributes.
const contentPolicy = "default-src 'none'; style-src 'self'; style-src-attr 'unsafe-inline'; font-src data:; " +
	"img-src 'self' data:; script-src 'self'; connect-src 'self'; worker-src 'self'; manifest-src 'self'; " +
	"form-action 'self'; base-uri 'none'; frame-ancestors 'none'"

// maxForm is the longest form taken, in bytes: a note of a log entry is the
// longest that one holds.
const maxForm = 64 << 10

// readWholeForm reads a posted form before anything asks for its values, which
// would take a broken or endless one for an empty one, and files to the disk.
func readWholeForm(c echo.Context) error {
	r := c.Request()
	if r.Method != http.MethodPost {
		return nil
	}
	const wanted = "application/x-www-form-urlencoded"
	kind, _, err := mime.ParseMediaType(r.Header.Get("Content-Type"))
	if r.ContentLength != 0 && (err != nil || kind != wanted) {
		return web.NewProblem(http.StatusUnsupportedMediaType, message.New(FormUnread),
			web.AtFault("Content-Type", web.Cut(r.Header.Get("Content-Type")), web.MediaType,
				message.Names("allowed", []string{wanted})))
	}
	r.Body = http.MaxBytesReader(c.Response(), r.Body, maxForm)
	err = r.ParseForm()
	var long *http.MaxBytesError
	switch {
	case errors.As(err, &long):
		return web.NewProblem(http.StatusRequestEntityTooLarge, message.New(FormTooLong, message.Count("max", maxForm)))
	case err != nil:
		return fault.Of(fault.Unreadable, FormUnread).By(err)
	}
	return nil
}

// manners sets the headers that every page carries, and refuses a form that
// another site sent.
func (p *pages) manners(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		setHeaders(c.Response().Header())
		if err := p.origin.Check(c.Request()); err != nil {
			p.s.Log.WarnContext(c.Request().Context(), "a form from another site was refused",
				"route", c.Path(), "error", err)
			return p.trouble(c, web.NewProblem(http.StatusForbidden, message.New(FormFromElsewhere)))
		}
		if err := readWholeForm(c); err != nil {
			return p.trouble(c, err)
		}
		return next(c)
	}
}

// sheet serves the style sheet, which never changes under its address.
func sheet(c echo.Context) error {
	c.Response().Header().Set("Cache-Control", "public, max-age=31536000, immutable")
	return c.Blob(http.StatusOK, "text/css; charset=utf-8", look.Read().CSS)
}

func setHeaders(h http.Header) {
	h.Set("Content-Security-Policy", contentPolicy)
	h.Set("Referrer-Policy", "no-referrer")
	h.Set("Cache-Control", "no-store")
	h.Set(echo.HeaderVary, "Accept-Language")
}

func (p *pages) show(c echo.Context, status int, page view.Page) error {
	if status >= http.StatusBadRequest && asScript(c) {
		return showScript(c, status, page)
	}
	var b strings.Builder
	if err := p.views.Render(&b, page); err != nil {
		return err
	}
	if w, ok := c.Get(wantedKey).(wanted); ok && status == http.StatusOK {
		return p.showReady(c, w, b.String())
	}
	return c.HTML(status, b.String())
}

// reader is who a page that belongs to no project is for. It is English where the
// browser asks for none of the languages here.
func (p *pages) reader(c echo.Context) say.Reader {
	return say.HabitsOf(say.LanguageOf(c.Request().Header.Get("Accept-Language"), "en"))
}

// plain returns the surroundings of a page that belongs to no project.
func (p *pages) plain(c echo.Context, title message.Code) view.Frame {
	r := p.reader(c)
	return view.Plain(r, r.Label(title), p.s.Sample, account(c) != "")
}

// read gathers what the pages of one project are made from, in one transaction; the
// answer for this minute, which is worked out, only where it is asked for.
func (p *pages) read(ctx context.Context, account, id, accept string, live bool) (board, error) {
	b := board{Setting: view.Setting{Now: p.s.Clock(), Sample: p.s.Sample, ClockSet: p.s.ClockSet}}
	err := p.store.InAccount(ctx, account, func(ctx context.Context, tx web.Tx) error {
		var err error
		if b.Project, err = tx.Project(ctx, id); err != nil {
			return err
		}
		if b.Zone, err = time.LoadLocation(b.Project.TimeZone); err != nil {
			return fmt.Errorf("web: time zone of a project: %w", err)
		}
		known, err := p.services.Projects.Snapshot(ctx, b.Project)
		if err != nil {
			return err
		}
		if b.Standing, err = known.PadTimes(ctx); err != nil {
			return err
		}
		b.Learned = known.Learned(ctx)
		if live {
			if b.Live, err = known.Now(ctx); err != nil {
				return err
			}
		}
		b.Records = known.Records()
		current := known.Plan()
		b.Reader = say.Asked(accept, b.Project.Language, b.Project.Units == place.UnitsUS)
		b.Reader.Zone, b.Reader.Today = b.Zone, b.Today()
		r := b.Reader
		b.Plan, b.Mornings = current.Plan.Worded(r.Say), job.WordedMornings(current.Mornings, r.Say)
		message.WordEach(&b.changes, &current.ChangesData, r.Say)
		if b.Log, err = tx.WholeLog(ctx, id); err != nil {
			return err
		}
		if b.Photos, err = tx.Photos(ctx, id); err != nil {
			return err
		}
		state, err := tx.CellState(ctx, place.CellOf(b.Project.Latitude, b.Project.Longitude))
		if err != nil && !errors.Is(err, fault.NotFound) {
			return err
		}
		b.Trouble = state.Trouble.Data
		return nil
	})
	return b, err
}

// onProject runs a page of one project.
func (p *pages) onProject(c echo.Context, fn func(board) error) error {
	return p.withBoard(c, false, fn)
}

// onDay runs a page that shows what to do at this minute.
func (p *pages) onDay(c echo.Context, fn func(board) error) error { return p.withBoard(c, true, fn) }

func (p *pages) withBoard(c echo.Context, live bool, fn func(board) error) error {
	b, err := p.read(c.Request().Context(), account(c), c.Param("id"), c.Request().Header.Get("Accept-Language"), live)
	if err != nil {
		return p.trouble(c, err)
	}
	role := acts(c).Role
	b.Barred = view.Barred{Log: !role.May(accounts.RoleCrew), Change: !role.May(accounts.RoleOwner),
		Crew: !role.May(accounts.RoleAccount)}
	return fn(b)
}

// takeoff works out what the project and its plan take.
func (b board) takeoff() takeoff.Takeoff {
	return takeoff.Of(takeoff.Job{Spec: b.Project.Spec, Records: b.Records, Pours: b.Plan.Pours, Zone: b.Zone})
}

// projects shows the only project, where there is but one, else all.
func (p *pages) projects(c echo.Context) error { return p.listProjects(c, true) }

func (p *pages) allProjects(c echo.Context) error { return p.listProjects(c, false) }

func (p *pages) listProjects(c echo.Context, straight bool) error {
	ctx := c.Request().Context()
	var items []pour.Project
	err := p.store.InAccount(ctx, account(c), func(ctx context.Context, tx web.Tx) error {
		var err error
		items, _, err = tx.Projects(ctx, paging.Page{Limit: 200})
		return err
	})
	if err != nil {
		return p.trouble(c, err)
	}
	others, err := p.shared(ctx, account(c))
	if err != nil {
		return p.trouble(c, err)
	}
	switch {
	case len(items) == 1 && len(others) == 0 && straight:
		return c.Redirect(http.StatusSeeOther, "/p/"+items[0].ID)
	case len(items) == 0 && len(others) == 1 && straight:
		return c.Redirect(http.StatusSeeOther, "/p/"+others[0].Project.ID)
	}
	return p.show(c, http.StatusOK, view.NewProjects(p.plain(c, view.ProjectsPage), p.reader(c), items, others))
}

// next shows the day under way, and what it or the days before leave to do until
// the evening; before it, today's pour, and else tomorrow.
func (p *pages) next(c echo.Context) error {
	return p.onDay(c, func(b board) error {
		evening := b.Today().At(b.Project.Alerts.EveningAt, b.Zone)
		switch day := b.Live.Day; {
		case day == today.UnderWay, b.Live.Advice.Do == today.Cover:
			return p.show(c, http.StatusOK, view.NewLive(b.Setting))
		case day == today.Planned:
			return p.showDay(c, b, b.Today())
		case b.Now.Before(evening) && (day == today.Done || b.CareIsDue()):
			return p.show(c, http.StatusOK, view.NewLive(b.Setting))
		}
		return p.showDay(c, b, b.Today().AddDays(1))
	})
}

func (p *pages) day(c echo.Context) error {
	return p.onDay(c, func(b board) error {
		date, err := unit.ParseDate(c.Param("date"))
		if err != nil {
			return p.trouble(c, fault.Of(fault.NotFound, NoSuchDay).At("date", web.Cut(c.Param("date")),
				fault.RuleOf(fault.DateWanted)))
		}
		return p.showDay(c, b, date)
	})
}

func (p *pages) showDay(c echo.Context, b board, date unit.Date) error {
	page, ok := view.NewDay(b.Setting, date, b.takeoff())
	if !ok {
		return p.trouble(c, fault.Of(fault.NotFound, DayNotPlanned, message.Date("", date)))
	}
	return p.show(c, http.StatusOK, page)
}

func padBags(s view.Setting) func(pour.Pad) int {
	return func(x pour.Pad) int { return takeoff.PadBags(s.Project.Spec, x) }
}

func (p *pages) allPads(c echo.Context) error {
	return p.onDay(c, func(b board) error {
		return p.show(c, http.StatusOK, view.NewPads(b.Setting, padBags(b.Setting)))
	})
}

func (p *pages) onePad(c echo.Context) error {
	return p.onProject(c, func(b board) error {
		name, err := url.PathUnescape(c.Param("pad"))
		if err != nil {
			name = c.Param("pad")
		}
		page, ok := view.NewOne(b.Setting, name, padBags(b.Setting))
		if !ok {
			return p.trouble(c, fault.Of(fault.NotFound, NoSuchPad, message.Name("pad", name)))
		}
		return p.show(c, http.StatusOK, page)
	})
}

func (p *pages) carry(c echo.Context) error {
	return p.onProject(c, func(b board) error {
		return p.show(c, http.StatusOK, view.NewCarry(b.Setting, b.takeoff()))
	})
}

func (p *pages) sources(c echo.Context) error {
	return p.onProject(c, func(b board) error {
		return p.show(c, http.StatusOK, view.NewSources(b.Setting))
	})
}
