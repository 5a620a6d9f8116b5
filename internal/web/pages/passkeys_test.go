package pages

import (
	"bytes"
	"crypto/sha256"
	"encoding/base64"
	"errors"
	"fmt"
	"net/http"
	"net/http/cookiejar"
	"net/http/httptest"
	"net/netip"
	"net/url"
	"regexp"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"dryslot/internal/accounts"
	"dryslot/internal/fault"
	"dryslot/internal/message"
	"dryslot/internal/web/browsertest"
	"dryslot/internal/web/webtest"
)

// keySite is a site at localhost, where browsers make passkeys, with a browser that
// has a device for them.
type keySite struct {
	*visitor
	h       *webtest.Service
	b       *browsertest.Browser
	device  *browsertest.Authenticator
	account string
	tries   byte         // so far, each from an address of its own
	ahead   atomic.Int64 // of the clock that accounts go by, in nanoseconds
}

func newKeySite(t *testing.T) *keySite {
	t.Helper()
	h := newService(t)
	srv := httptest.NewUnstartedServer(nil)
	base := strings.Replace("http://"+srv.Listener.Addr().String(), "127.0.0.1", "localhost", 1)
	party, err := accounts.NewRelyingParty(base)
	if err != nil || party == nil {
		t.Fatal(party, err)
	}
	s := &keySite{h: h}
	h.People.Keys, h.People.BaseURL = party, base
	h.People.Wall = func() time.Time { return time.Now().Add(time.Duration(s.ahead.Load())) }
	srv.Config.Handler = siteHandler(t, h, base)
	srv.Start()
	t.Cleanup(srv.Close)
	jar, err := cookiejar.New(nil)
	if err != nil {
		t.Fatal(err)
	}
	account, err := h.Store.AccountByToken(t.Context(), webtest.FirstToken)
	if err != nil {
		t.Fatal(err)
	}
	s.visitor, s.account, s.b = &visitor{t, base, &http.Client{Jar: jar}}, account, browsertest.Start(t)
	s.b.Size(t, 390, 844)
	s.device = s.b.AddAuthenticator(t)
	return s
}

// answer has the browser answer options of the service, as the page's script does,
// on whichever page is open. Change is JavaScript that changes the options o.
func (s *keySite) answer(t *testing.T, method, options, change string) string {
	t.Helper()
	kind := map[string]string{"create": "Creation", "get": "Request"}[method]
	return browsertest.Eval[string](t, s.b, fmt.Sprintf(`(async () => { const o = %s; %s;
		const publicKey = PublicKeyCredential.parse%sOptionsFromJSON(o);
		return JSON.stringify(await navigator.credentials.%s({publicKey})); })()`, options, change, kind, method))
}

// options asks the service what has to be signed to sign in.
func (s *keySite) options(t *testing.T) string {
	t.Helper()
	status, _, body := s.post("/sign-in/passkey", nil)
	if status != http.StatusOK {
		t.Fatalf("options: %d %s", status, body)
	}
	return body
}

// refused tries to sign in, which has to be refused with a code.
func (s *keySite) refused(t *testing.T, what, answer string, want message.Code) {
	t.Helper()
	s.tries++
	_, err := s.h.People.SignInByPasskey(t.Context(), answer,
		accounts.Browser{Address: netip.AddrFrom4([4]byte{192, 0, 2, s.tries})})
	var f *fault.Error
	if !errors.As(err, &f) || f.Kind != fault.Forbidden || f.Message.Code != want {
		t.Errorf("%s: %v, want %s", what, err, want)
	}
}

func (s *keySite) keys(t *testing.T, account string) []accounts.Passkey {
	t.Helper()
	all, err := s.h.People.Passkeys(t.Context(), account)
	if err != nil {
		t.Fatal(err)
	}
	return all
}

// openSignedIn opens the account's page in the browser, signed in by a link.
func (s *keySite) openSignedIn(t *testing.T) {
	t.Helper()
	s.b.Open(t, s.base+"/sign-in?link="+newLink(t, s.h, webtest.FirstToken))
	s.b.Do(t, chromedp.Submit(chromedp.CSS(`input[name="link"]`)),
		chromedp.WaitVisible(chromedp.CSS(`a[href="/account"]`)))
	s.b.Open(t, s.base+"/account")
}

// make makes a passkey on the account's page.
func (s *keySite) make(t *testing.T, name string) {
	t.Helper()
	s.openSignedIn(t)
	s.b.Do(t, chromedp.WaitVisible(chromedp.CSS("#key_name")), chromedp.SendKeys(chromedp.CSS("#key_name"), name),
		chromedp.Click(chromedp.CSS(`button[value="new-passkey"]`)), chromedp.WaitVisible(chromedp.CSS(`[id^=k-]`)))
}

func TestAPasskeyIsMadeNamedUsedAndRemovedInABrowser(t *testing.T) {
	s := newKeySite(t)
	look := func(name string) {
		for _, x := range s.b.Axe(t) {
			t.Errorf("%s: %s", name, x)
		}
	}
	s.make(t, "My phone")
	look("account with a passkey")
	made := s.keys(t, s.account)
	if len(made) != 1 || made[0].Name != "My phone" || !made[0].BackupEligible || made[0].BackedUp ||
		made[0].UsedAt != nil || len(made[0].PublicKey) == 0 {
		t.Fatalf("kept is %+v", made)
	}
	s.b.Do(t, chromedp.Submit(chromedp.CSS(`form[action="/sign-out"] button`)),
		chromedp.WaitVisible(chromedp.CSS(`#token`)), chromedp.WaitVisible(chromedp.CSS(`form[data-passkey]`)))
	look("sign-in with passkeys")
	s.b.Do(t, chromedp.Click(chromedp.CSS(`form[data-passkey] button`)),
		chromedp.WaitVisible(chromedp.CSS(`a[href="/account"]`)))
	used := s.keys(t, s.account)[0]
	if used.UsedAt == nil || used.SignCount <= made[0].SignCount {
		t.Errorf("its use is not counted: %+v", used)
	}
	s.b.Open(t, s.base+"/account")
	field := "#n-" + used.Shown()
	s.b.Do(t, chromedp.SetValue(chromedp.CSS(field), "Old phone"),
		chromedp.Click(chromedp.CSS(`button[value="name-passkey"]`)),
		chromedp.WaitVisible(chromedp.CSS(`input[value="Old phone"]`)))
	if all := s.keys(t, s.account); all[0].Name != "Old phone" {
		t.Errorf("renamed to %q", all[0].Name)
	}
	// A device that does not recognise its owner signs nobody in, and the page says so.
	s.device.Verifies(t, false)
	s.b.Open(t, s.base+"/sign-in")
	s.b.Do(t, chromedp.Click(chromedp.CSS(`form[data-passkey] button`)),
		chromedp.WaitVisible(chromedp.CSS(`form[data-passkey] [role=alert]`)))
	// With the passkey goes the session that it began.
	s.b.Open(t, s.base+"/account")
	s.b.Do(t, chromedp.Click(chromedp.CSS(`button[value="remove-passkey"]`)),
		chromedp.WaitVisible(chromedp.CSS(`#token`)))
	if at := browsertest.Eval[string](t, s.b, "location.pathname"); at != "/sign-in" || len(s.keys(t, s.account)) != 0 {
		t.Errorf("after it was removed: at %s, %d are left", at, len(s.keys(t, s.account)))
	}
}

func TestAPasskeyThatDoesNotHoldIsRefused(t *testing.T) {
	s := newKeySite(t)
	s.make(t, "My phone")
	s.b.Open(t, s.base+"/sign-in")

	good := s.answer(t, "get", s.options(t), "")
	status, at, _ := s.post("/sign-in", url.Values{"passkey": {good}, "next": {"/account"}})
	if status != http.StatusOK || at != "/account" {
		t.Fatalf("signing in: %d at %s", status, at)
	}
	if status, _, body := s.post("/sign-in", url.Values{"passkey": {good}}); status != http.StatusForbidden ||
		!strings.Contains(body, "or used already") {
		t.Errorf("the same answer again: %d", status)
	}
	s.refused(t, "a challenge of its own", s.answer(t, "get", s.options(t),
		`o.challenge = "AAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA"`), accounts.PasskeyLate)
	s.device.Verifies(t, false)
	unseen := s.answer(t, "get", s.options(t), `o.userVerification = "discouraged"`)
	s.device.Verifies(t, true)
	s.refused(t, "an owner who was not recognised", unseen, accounts.PasskeyUnknown)
	s.refused(t, "what was refused once", unseen, accounts.PasskeyLate)

	stranger, err := s.h.Store.AccountByToken(t.Context(), webtest.SecondToken)
	if err != nil {
		t.Fatal(err)
	}
	handle := func(account string) string {
		id := uuid.MustParse(account)
		return base64.RawURLEncoding.EncodeToString(id[:])
	}
	s.refused(t, "as another account", strings.Replace(s.answer(t, "get", s.options(t), ""), handle(s.account),
		handle(stranger), 1), accounts.PasskeyUnknown)
	s.refused(t, "a changed signature", regexp.MustCompile(`"signature":"[^"]{20}`).ReplaceAllString(
		s.answer(t, "get", s.options(t), ""), `"signature":"AAAAAAAAAAAAAAAAAAAA`), accounts.PasskeyUnknown)
	s.refused(t, "no answer", "{}", accounts.PasskeyUnknown)

	elsewhere := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Content-Type", "text/html")
		_, _ = w.Write([]byte("<title>elsewhere</title>"))
	}))
	defer elsewhere.Close()
	s.b.Open(t, strings.Replace(elsewhere.URL, "127.0.0.1", "localhost", 1))
	s.refused(t, "signed on another site", s.answer(t, "get", s.options(t), ""), accounts.PasskeyUnknown)
	s.b.Open(t, s.base+"/sign-in")

	late := s.answer(t, "get", s.options(t), "")
	s.ahead.Store(int64(accounts.ChallengeLife))
	s.refused(t, "after five minutes", late, accounts.PasskeyLate)
	s.ahead.Store(0)

	// A counter that went back.
	admin, err := pgx.Connect(t.Context(), s.h.Database.AdminURL)
	if err != nil {
		t.Fatal(err)
	}
	defer admin.Close(t.Context())
	if _, err := admin.Exec(t.Context(), `update passkeys set sign_count = 1000`); err != nil {
		t.Fatal(err)
	}
	s.refused(t, "a copy", s.answer(t, "get", s.options(t), ""), accounts.PasskeyCopied)
	if got := s.keys(t, s.account)[0].SignCount; got != 1000 {
		t.Errorf("a refused use was counted: %d", got)
	}
	removed := s.answer(t, "get", s.options(t), "")
	s.post("/account", url.Values{"do": {"remove-passkey"}, "key": {s.keys(t, s.account)[0].Shown()}})
	s.refused(t, "a passkey that was removed", removed, accounts.PasskeyUnknown)
	if _, at, _ := s.get("/account"); at != "/sign-in" {
		t.Errorf("the session that it began goes on, at %s", at)
	}
}

func TestAPasskeyIsKeptOnceAndByWhoAskedForIt(t *testing.T) {
	s := newKeySite(t)
	s.signIn(webtest.FirstToken)
	s.b.Open(t, s.base+"/sign-in")
	ask := func() string {
		t.Helper()
		status, _, body := s.post("/account/passkey", nil)
		if status != http.StatusOK {
			t.Fatalf("options: %d", status)
		}
		return body
	}
	add := func(account, answer string) error {
		return s.h.People.AddPasskey(t.Context(), account, "Phone", answer, "en")
	}
	stranger, err := s.h.Store.AccountByToken(t.Context(), webtest.SecondToken)
	if err != nil {
		t.Fatal(err)
	}
	if err := add(stranger, s.answer(t, "create", ask(), "")); fault.KindOf(err) != fault.Forbidden {
		t.Errorf("another account keeps it: %v", err)
	}
	good := s.answer(t, "create", ask(), "")
	if status, _, body := s.post("/account", url.Values{"do": {"new-passkey"}, "passkey": {good},
		"key_name": {"<Phone>"}}); status != http.StatusOK || !strings.Contains(body, "&lt;Phone&gt;, made on") {
		t.Fatalf("keeping it: %d", status)
	}
	if err := add(s.account, good); fault.KindOf(err) != fault.Forbidden {
		t.Errorf("the same answer again: %v", err)
	}
	if status, _, _ := s.post("/account", url.Values{"do": {"new-passkey"}, "passkey": {"{"},
		"key_name": {"Phone"}}); status != http.StatusUnprocessableEntity {
		t.Errorf("an answer that is none: %d", status)
	}
	unseen := notVerified(t, s.answer(t, "create", ask(), `o.excludeCredentials = []`))
	if err := add(s.account, unseen); fault.KindOf(err) != fault.Invalid {
		t.Errorf("of an owner who was not recognised: %v", err)
	}
	// An account keeps so many.
	for i := len(s.keys(t, s.account)); i <= accounts.MostPasskeys; i++ {
		err := s.h.Store.CreatePasskey(t.Context(), s.account, accounts.Passkey{ID: []byte{byte(i)}, Name: "x",
			PublicKey: []byte{1}, Transports: []string{}, CreatedAt: time.Now()}, accounts.MostPasskeys,
			accounts.Notice{})
		if full := i == accounts.MostPasskeys; full != (fault.KindOf(err) == fault.Conflict) {
			t.Errorf("passkey %d: %v", i+1, err)
		}
	}
	mine := s.keys(t, s.account)[0]
	if err := s.h.Store.CreatePasskey(t.Context(), stranger, mine, accounts.MostPasskeys,
		accounts.Notice{}); fault.KindOf(err) != fault.Conflict {
		t.Errorf("two accounts keep the same: %v", err)
	}
	for what, err := range map[string]error{
		"names":   s.h.People.NamePasskey(t.Context(), stranger, mine.Shown(), "mine"),
		"removes": s.h.People.RemovePasskey(t.Context(), stranger, mine.Shown())} {
		if fault.KindOf(err) != fault.NotFound {
			t.Errorf("another account %s it: %v", what, err)
		}
	}
}

// notVerified changes a browser's answer to one of a device that did not recognise its
// owner: nothing signs what it says of that where it does not say who made it. The
// flags follow SHA-256 of the relying party's id (Web Authentication, 6.1).
func notVerified(t *testing.T, answer string) string {
	t.Helper()
	const verified = 4
	party := sha256.Sum256([]byte("localhost"))
	changed := regexp.MustCompile(`"(attestationObject|authenticatorData)":"[^"]*"`).ReplaceAllStringFunc(answer,
		func(field string) string {
			name, text, _ := strings.Cut(strings.Trim(field, `"`), `":"`)
			b, err := base64.RawURLEncoding.DecodeString(text)
			at := bytes.Index(b, party[:]) + len(party)
			if err != nil || at < len(party) || b[at]&verified == 0 {
				t.Fatalf("%s: %v", field, err)
			}
			b[at] &^= verified
			return fmt.Sprintf("%q:%q", name, base64.RawURLEncoding.EncodeToString(b))
		})
	if changed == answer {
		t.Fatal("nothing was changed in " + answer)
	}
	return changed
}

func TestWherePasskeysAreOffThePageSaysWhy(t *testing.T) {
	for address, want := range map[string]bool{"https://pours.example": true, "https://pours.example:8443": true,
		"http://localhost:8080": true, "http://yard.localhost": true, "http://pours.example": false,
		"http://127.0.0.1:8080": false, "https://192.0.2.7": false, "https://[2001:db8::1]": false, "": false} {
		if party, err := accounts.NewRelyingParty(address); err != nil || (party != nil) != want {
			t.Errorf("%s: %v, %v", address, party, err)
		}
	}
	h := newService(t)
	v := newSite(t, h)
	v.signIn(webtest.FirstToken)
	if _, _, body := v.get("/account"); !strings.Contains(body, "Passkeys are off here") ||
		!strings.Contains(body, "http://dryslot.example") || strings.Contains(body, "data-passkey") {
		t.Error("the account's page does not say why")
	}
	if _, _, body := v.get("/sign-in"); strings.Contains(body, "data-passkey") {
		t.Error("the page to sign in offers them")
	}
	for _, path := range []string{"/account/passkey", "/sign-in/passkey"} {
		if status, _, _ := v.post(path, nil); status != http.StatusConflict {
			t.Errorf("%s: %d", path, status)
		}
	}
	if status, _, _ := v.post("/sign-in", url.Values{"passkey": {"{}"}}); status != http.StatusConflict {
		t.Errorf("signing in: %d", status)
	}
}
