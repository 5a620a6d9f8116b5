package browsertest

import (
	"testing"

	"github.com/chromedp/cdproto/webauthn"
	"github.com/chromedp/chromedp"
)

// Authenticator is a device that keeps passkeys for the tab, and is touched at once
// whenever it asks.
type Authenticator struct {
	b  *Browser
	id webauthn.AuthenticatorID
}

// AddAuthenticator gives the tab a device whose passkeys may be copied, and are not.
func (b *Browser) AddAuthenticator(t testing.TB) *Authenticator {
	t.Helper()
	if _, err := chromedp.Call(b.ctx, webauthn.Enable, webauthn.EnableParams{}); err != nil {
		t.Fatalf("browser: %v", err)
	}
	got, err := chromedp.Call(b.ctx, webauthn.AddVirtualAuthenticator, webauthn.AddVirtualAuthenticatorParams{
		Options: &webauthn.VirtualAuthenticatorOptions{Protocol: webauthn.AuthenticatorProtocolCtap2,
			Transport: webauthn.AuthenticatorTransportInternal, HasResidentKey: true, HasUserVerification: true,
			AutomaticPresenceSimulation: true, IsUserVerified: true, DefaultBackupEligibility: true}})
	if err != nil {
		t.Fatalf("browser: %v", err)
	}
	return &Authenticator{b, got.AuthenticatorID}
}

// Verifies says whether the device recognises its owner.
func (a *Authenticator) Verifies(t testing.TB, yes bool) {
	t.Helper()
	params := webauthn.SetUserVerifiedParams{AuthenticatorID: a.id, IsUserVerified: yes}
	if _, err := chromedp.Call(a.b.ctx, webauthn.SetUserVerified, params); err != nil {
		t.Fatalf("browser: %v", err)
	}
}
