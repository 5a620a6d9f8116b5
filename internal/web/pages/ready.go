package pages

import (
	"fmt"
	"net/http"
	"regexp"
	"strings"
	"time"

	"github.com/labstack/echo/v4"

	"dryslot/internal/ready"
	"dryslot/internal/say"
	"dryslot/internal/web"
)

// readyHolds is how long a page is kept ready at most, if nothing is written
// meanwhile: it counts whole minutes down.
const readyHolds = time.Minute

// readyTag marks a page that is kept ready; browsers never ask for one by it.
const readyTag = "page"

// wantedKey is where what a page is kept as stands in echo's context.
const wantedKey = "wanted"

// wanted is a page that may be kept ready, as one request asks for it.
type wanted struct {
	query   ready.Query
	account string // that the browser is signed in to
	basis   string // of what the page is made; empty: it can't be kept
}

var (
	projectID = regexp.MustCompile(`^[0-9a-f]{8}-([0-9a-f]{4}-){3}[0-9a-f]{12}$`)
	readyName = regexp.MustCompile(`^[a-z0-9/-]{0,40}$`)
)

// ready sends a page of a project of the account's own as it was made for who
// asked before in the same minute, or has it made by next.
func (p *pages) ready(path string, next echo.HandlerFunc) (string, echo.HandlerFunc) {
	p.s.PacksItself(http.MethodGet, path)
	makes := p.signedIn(next)
	return path, func(c echo.Context) error {
		w := wanted{query: ready.Query{Now: p.s.Clock(), Packed: web.TakesGzip(c.Request())}}
		cookie, err := c.Cookie(p.cookieName())
		if err != nil || !p.keyOf(c.Request(), &w.query.Key) {
			return p.makeAnew(c, w, makes)
		}
		found, err := p.store.ReadyPage(c.Request().Context(), cookie.Value, w.query)
		w.account, w.basis = found.Account, found.Basis
		if err != nil || found.Tag == "" {
			return p.makeAnew(c, w, makes) // which says what is wrong
		}
		if err := p.s.LimitAccount(c, found.Account); err != nil {
			return p.trouble(c, err)
		}
		return p.sendReady(c, found, w.query)
	}
}

func (p *pages) makeAnew(c echo.Context, w wanted, makes echo.HandlerFunc) error {
	c.Set(wantedKey, w)
	return makes(c)
}

func (p *pages) sendReady(c echo.Context, found ready.Found, q ready.Query) error {
	body, packed, err := found.Sent(q)
	if err != nil {
		return p.trouble(c, err)
	}
	if packed {
		c.Response().Header().Set(echo.HeaderContentEncoding, "gzip")
	}
	return c.HTMLBlob(http.StatusOK, body)
}

// keyOf names the page of a request; false: it is not one of those that are kept.
func (p *pages) keyOf(r *http.Request, key *ready.Key) bool {
	project, name, _ := strings.Cut(strings.TrimPrefix(r.URL.Path, "/p/"), "/")
	if r.URL.RawQuery != "" || !projectID.MatchString(project) || !readyName.MatchString(name) {
		return false
	}
	// The head of a page says whether weather and clock are real.
	by := fmt.Sprintf("%s page %t %t /%s", p.s.Build, p.s.Sample, p.s.ClockSet, name)
	*key = ready.Key{Project: project, Name: by, Language: say.LanguageOf(r.Header.Get("Accept-Language"), "")}
	return true
}

// showReady sends a page, and keeps it for the next who asks if it shows what the
// account itself sees, not what it sees as somebody's crew. That it can't be kept
// is no reason not to send it.
func (p *pages) showReady(c echo.Context, w wanted, page string) error {
	kept, err := ready.New([][]byte{[]byte(page)})
	if err != nil {
		return err
	}
	if w.basis != "" && w.account == account(c) {
		kept.Tag, kept.From, kept.Until = readyTag, w.query.Now, w.query.Now.Truncate(readyHolds).Add(readyHolds)
		if err := p.store.KeepReady(c.Request().Context(), w.account, w.query.Key, w.basis, kept); err != nil {
			p.s.Log.WarnContext(c.Request().Context(), "a page was not kept ready", "route", c.Path(), "error", err)
		}
	}
	found := ready.Found{Body: kept.Plain}
	if w.query.Packed {
		found.Body = kept.Packed
	}
	return p.sendReady(c, found, w.query)
}
