package accounts

import (
	"fmt"
	"net/netip"
	"net/url"
	"strings"

	"github.com/go-webauthn/webauthn/protocol"
	"github.com/go-webauthn/webauthn/webauthn"

	"dryslot/internal/fault"
	"dryslot/internal/message"
)

// RelyingParty is this service as browsers make passkeys for it: under its domain
// name, and for its own pages alone.
type RelyingParty struct{ web *webauthn.WebAuthn }

// NewRelyingParty makes the relying party of the address that the pages are reached
// at. It is nil where browsers make no passkeys: unless the address is https with a
// domain name, or localhost (Web Authentication, 5.1.3 and 13.4.9).
func NewRelyingParty(publicURL string) (*RelyingParty, error) {
	u, err := url.Parse(publicURL)
	if err != nil || !namesDomain(u) {
		return nil, nil //nolint:nilnil // without passkeys there is nothing to use, and nothing is wrong
	}
	limit := webauthn.TimeoutConfig{Timeout: ChallengeLife, TimeoutUVD: ChallengeLife}
	web, err := webauthn.New(&webauthn.Config{
		RPID: u.Hostname(), RPDisplayName: "dryslot", RPOrigins: []string{u.Scheme + "://" + u.Host},
		AttestationPreference: protocol.PreferNoAttestation,
		AuthenticatorSelection: protocol.AuthenticatorSelection{ResidentKey: protocol.ResidentKeyRequirementRequired,
			RequireResidentKey: protocol.ResidentKeyRequired(), UserVerification: protocol.VerificationRequired},
		Timeouts: webauthn.TimeoutsConfig{Login: limit, Registration: limit},
		// None is asked for, and keepers of passwords add some of their own.
		ExtensionsUnsolicitedOutputPolicy: protocol.UnsolicitedOutputPolicyIgnore,
	})
	if err != nil {
		return nil, fmt.Errorf("accounts: passkeys at %s: %w", publicURL, err)
	}
	return &RelyingParty{web}, nil
}

func namesDomain(u *url.URL) bool {
	host := u.Hostname()
	if _, err := netip.ParseAddr(host); err == nil || host == "" {
		return false
	}
	local := host == "localhost" || strings.HasSuffix(host, ".localhost")
	return u.Scheme == "https" || u.Scheme == "http" && local
}

// keysOff says why there are no passkeys.
func (s *Service) keysOff() error {
	return fault.Of(fault.Conflict, PasskeysOff, message.Name("address", s.BaseURL))
}
