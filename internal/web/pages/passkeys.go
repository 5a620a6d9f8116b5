package pages

import (
	"net/http"

	"github.com/labstack/echo/v4"

	"dryslot/internal/web/pages/view"
)

// askPasskey answers the script with what the browser needs to make a passkey.
func (p *pages) askPasskey(c echo.Context) error {
	options, err := p.services.Accounts.AskPasskey(c.Request().Context(), account(c))
	if err != nil {
		return p.trouble(c, err)
	}
	return c.JSONBlob(http.StatusOK, options)
}

// askPasskeySignIn answers the script with what the browser needs to sign in by a
// passkey. It says nothing of any account.
func (p *pages) askPasskeySignIn(c echo.Context) error {
	options, err := p.services.Accounts.AskPasskeySignIn(c.Request().Context())
	if err != nil {
		return p.trouble(c, err)
	}
	return c.JSONBlob(http.StatusOK, options)
}

// addPasskeys lists an account's passkeys, or says why there are none.
func (p *pages) addPasskeys(c echo.Context, page *view.Account) error {
	all, err := p.services.Accounts.Passkeys(c.Request().Context(), account(c))
	if err != nil {
		return err
	}
	for _, k := range all {
		page.AddPasskey(k)
	}
	if !p.services.Accounts.HasPasskeys() {
		page.NoPasskeys(p.s.PublicURL)
	}
	return nil
}
