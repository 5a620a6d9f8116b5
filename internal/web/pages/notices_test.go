package pages

import (
	"net"
	"strconv"
	"strings"
	"testing"
	"time"

	"dryslot/internal/accounts"
	"dryslot/internal/notify/email"
	"dryslot/internal/notify/smtptest"
	"dryslot/internal/web/webtest"
)

// What was added to an account is told to its address, in the language of who added
// it: ordered with it, so that it is told although nobody mails anything until later.
func TestAnAccountIsToldOfAKeyThatWasAdded(t *testing.T) {
	h := newService(t)
	came := make(chan smtptest.Received, 10)
	server := smtptest.Start(t, smtptest.Options{})
	server.Answer(func(_ int, r smtptest.Received) error { came <- r; return nil })
	host, port, err := net.SplitHostPort(server.Addr)
	if err != nil {
		t.Fatal(err)
	}
	n, err := strconv.Atoi(port)
	if err != nil {
		t.Fatal(err)
	}
	mail, err := email.New(email.Server{Host: host, Port: n}, "Yard <pads@example.org>")
	if err != nil {
		t.Fatal(err)
	}
	people := &accounts.Service{Store: h.Store, Wall: time.Now, Mailer: mail, BaseURL: "http://dryslot.example"}
	account, err := h.Store.AccountByToken(t.Context(), webtest.FirstToken)
	if err != nil {
		t.Fatal(err)
	}
	if _, _, err := people.NewToken(t.Context(), account, "Before", "en"); err != nil {
		t.Fatal(err) // there is no address yet that could be told
	}
	key, err := h.Store.CreateMailLink(t.Context(), account, "yard@example.org", time.Now().Add(time.Hour))
	if err != nil {
		t.Fatal(err)
	}
	if _, err := h.Store.UseMailLink(t.Context(), accounts.MailedLink{Key: key, Address: "yard@example.org"},
		time.Now()); err != nil {
		t.Fatal(err)
	}
	startWorker(t, h, people)
	for _, c := range []struct{ name, language, subject, told, where string }{
		{"Office screen", "en", "Your account has a new way in",
			"An API token was made for your account of dryslot: Office screen.", "http://dryslot.example/account"},
		{"Pantalla", "es-419", "Su cuenta tiene una nueva entrada",
			"Se creó una clave de API para su cuenta de dryslot: Pantalla.", "http://dryslot.example/account"}} {
		if _, _, err := people.NewToken(t.Context(), account, c.name, c.language); err != nil {
			t.Fatal(err)
		}
		var got smtptest.Received
		select {
		case got = <-came:
		case <-time.After(webtest.Patient):
			t.Fatal("no notice came")
		}
		subject, err := smtptest.Decoded(got.Header, "Subject")
		if err != nil {
			t.Fatal(err)
		}
		parts, err := got.Parts()
		if err != nil {
			t.Fatal(err)
		}
		text := strings.Join(strings.Fields(parts["text/plain"]), " ")
		if len(got.To) != 1 || got.To[0] != "yard@example.org" || !strings.Contains(subject, c.subject) ||
			!strings.Contains(text, c.told) || !strings.Contains(text, c.where) {
			t.Errorf("%s to %v: %s", subject, got.To, text)
		}
	}
}
