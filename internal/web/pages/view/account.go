package view

import (
	"cmp"
	"strings"
	"time"

	"dryslot/internal/accounts"
	"dryslot/internal/message"
	"dryslot/internal/say"
	"dryslot/internal/unit"
)

// Codes of what the pages of signing in by a link and of an account say.
const (
	signInByLink    message.Code = "sign_in_by_link" // account
	signInByMail    message.Code = "sign_in_by_mail" // address
	signUpByMail    message.Code = "sign_up_by_mail" // address
	attachByMail    message.Code = "attach_by_mail"  // address
	MailSent        message.Code = "sign_in_mail_sent"
	AccountPage     message.Code = "account_title"
	accountBrowser  message.Code = "account_browser"         // browser, since_date
	accountUnknown  message.Code = "account_browser_unknown" // since_date
	accountToken    message.Code = "account_token"           // name, made_date
	accountNameless message.Code = "account_token_nameless"  // made_date
	accountKey      message.Code = "account_key"             // name, made_date
	accountKeyUsed  message.Code = "account_key_used"        // name, made_date, used_date
	keysHere        message.Code = "account_keys_off"        // address
	PasskeyMade     message.Code = "account_key_made"
	accountHolds    message.Code = "account_holds"   // projects, entries, photos, alerts, members: counts
	accountDeletes  message.Code = "account_deletes" // account
)

// SignIn asks for a mail address or a token, or, behind a link, whether to sign
// in by it.
type SignIn struct {
	Frame
	Wrong   string
	Next    string
	Link    string // the key of a link that can be used; empty: a token is asked for
	Mail    string // that the link was mailed to; empty: it was not mailed
	ByLink  string // what the link does
	Mails   bool   // links can be mailed
	Sent    bool   // one was, if the address may sign in
	Address string // typed, where no link could be mailed to it
	Leaves  bool   // the browser is signed in to another account

	Passkeys bool // can be used
}

func (SignIn) template() string { return "signin" }

// ByLink says which account a link opens.
func ByLink(r say.Reader, account string) string {
	return r.Say(message.New(signInByLink, message.Text("account", account)))
}

// ByMail says what a mailed link does: it makes an account, gives one its
// address, or signs in.
func ByMail(r say.Reader, address string, makes, attaches bool) string {
	code := signInByMail
	switch {
	case makes:
		code = signUpByMail
	case attaches:
		code = attachByMail
	}
	return r.Say(message.New(code, message.Name("address", address)))
}

// Account lists what opens an account.
type Account struct {
	Frame
	Browsers []AccountLine
	Tokens   []AccountLine
	Passkeys []PasskeyLine
	KeysOff  string // why there are no passkeys; empty: there are
	Mail     string // that links to sign in are mailed to; empty: none
	Mails    bool   // links can be mailed
	Told     string // what became of the last form
	Address  string // typed for a mail that was not sent
	Secret   string // a token that was made just now, shown this once
	Archive  string // address of an archive that was made just now
	Kept     string // what is kept of the account
	Deletes  string // what has to be typed to delete it
	Wrong    []string
	Name     string // typed for a token that was not made
	KeyName  string // typed for a passkey that was not made
	reader   say.Reader
}

func (Account) template() string { return "account" }

// AccountLine is one browser or token.
type AccountLine struct{ ID, Words string }

// PasskeyLine is one passkey.
type PasskeyLine struct{ ID, Words, Name string }

// NewAccount makes the page without its lists.
func NewAccount(f Frame, r say.Reader) Account { return Account{Frame: f, reader: r} }

// Holds says what is kept of the account, which is known by a short name.
func (p *Account) Holds(name string, h accounts.Holdings) {
	p.Kept = p.reader.Say(message.New(accountHolds, message.Count("projects", h.Projects),
		message.Count("entries", h.Entries), message.Count("photos", h.Photos), message.Count("alerts", h.Alerts),
		message.Count("members", h.Members)))
	p.Deletes = p.reader.Say(message.New(accountDeletes, message.Text("account", name)))
}

// AddBrowser adds a signed-in browser. Since is given as a date of UTC: an
// account has no zone of its own.
func (p *Account) AddBrowser(id, agent string, since time.Time) {
	date := message.Date("since", unit.DateOf(since, time.UTC))
	m := message.New(accountUnknown, date)
	if name := browserName(agent); name != "" {
		m = message.New(accountBrowser, message.Text("browser", name), date)
	}
	p.Browsers = append(p.Browsers, AccountLine{id, p.reader.Say(m)})
}

// AddToken adds a token.
func (p *Account) AddToken(id, name string, made time.Time) {
	date := message.Date("made", unit.DateOf(made, time.UTC))
	m := message.New(accountNameless, date)
	if name != "" {
		m = message.New(accountToken, message.Text("name", name), date)
	}
	p.Tokens = append(p.Tokens, AccountLine{id, p.reader.Say(m)})
}

// AddPasskey adds a passkey.
func (p *Account) AddPasskey(k accounts.Passkey) {
	name, made := message.Text("name", k.Name), message.Date("made", unit.DateOf(k.CreatedAt, time.UTC))
	m := message.New(accountKey, name, made)
	if k.UsedAt != nil {
		m = message.New(accountKeyUsed, name, made, message.Date("used", unit.DateOf(*k.UsedAt, time.UTC)))
	}
	p.Passkeys = append(p.Passkeys, PasskeyLine{k.Shown(), p.reader.Say(m), k.Name})
}

// NoPasskeys says why there are none: the address that the service is reached at.
func (p *Account) NoPasskeys(address string) {
	p.KeysOff = p.reader.Say(message.New(keysHere, message.Name("address", address)))
}

// browserName shortens what a browser says that it is to its name and its
// system, such as Firefox, Android. Others name themselves by their first word.
func browserName(agent string) string {
	first := func(marks ...[2]string) string {
		for _, m := range marks {
			if strings.Contains(agent, m[0]) {
				return m[1]
			}
		}
		return ""
	}
	name := first([2]string{"Edg", "Edge"}, [2]string{"OPR/", "Opera"}, [2]string{"Firefox/", "Firefox"},
		[2]string{"FxiOS/", "Firefox"}, [2]string{"Chrome/", "Chrome"}, [2]string{"CriOS/", "Chrome"},
		[2]string{"Safari/", "Safari"})
	system := first([2]string{"Android", "Android"}, [2]string{"iPhone", "iPhone"}, [2]string{"iPad", "iPad"},
		[2]string{"Windows", "Windows"}, [2]string{"Mac OS X", "macOS"}, [2]string{"CrOS", "ChromeOS"},
		[2]string{"Linux", "Linux"})
	word, _, _ := strings.Cut(agent, " ")
	name = cmp.Or(name, word)
	if name != "" && system != "" {
		name += ", " + system
	}
	return name
}
