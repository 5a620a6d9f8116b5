package accounts

import (
	"cmp"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"github.com/go-webauthn/webauthn/protocol"
	"github.com/go-webauthn/webauthn/webauthn"
	"github.com/google/uuid"

	"dryslot/internal/fault"
)

// Bounds of passkeys (judgement).
const (
	ChallengeLife = 5 * time.Minute // of what a device is asked to sign
	MostPasskeys  = 20              // of an account
)

// Passkey is a public key whose private key a person's device holds.
type Passkey struct {
	ID             []byte // that the device gave it
	Name           string // that the account gave it
	PublicKey      []byte // COSE (RFC 9052)
	SignCount      uint32 // of the device, at its last use; 0 for ever where it counts nothing
	BackupEligible bool   // it may be copied to other devices of its owner
	BackedUp       bool   // it is
	Transports     []string
	CreatedAt      time.Time
	UsedAt         *time.Time // nil: never yet
}

// Shown is what names a passkey on a page: 16 hexadecimal digits of its id's digest.
func (k Passkey) Shown() string {
	sum := sha256.Sum256(k.ID)
	return hex.EncodeToString(sum[:8])
}

// HasPasskeys reports whether passkeys can be made and used.
func (s *Service) HasPasskeys() bool { return s.Keys != nil }

// Passkeys lists the passkeys of an account, the oldest first.
func (s *Service) Passkeys(ctx context.Context, account string) ([]Passkey, error) {
	return s.Store.Passkeys(ctx, account)
}

// NamePasskey gives a passkey another name; fault.Invalid for the name,
// fault.NotFound if the account has none of that id.
func (s *Service) NamePasskey(ctx context.Context, account, id, name string) error {
	name, err := checkName(name, PasskeyRefused)
	if err != nil {
		return err
	}
	return s.Store.NamePasskey(ctx, account, id, name)
}

// RemovePasskey makes a passkey open nothing any more and signs out the browsers
// that signed in with it; fault.NotFound if the account has none of that id.
func (s *Service) RemovePasskey(ctx context.Context, account, id string) error {
	return s.Store.DeletePasskey(ctx, account, id)
}

// AskPasskey returns what a browser needs to make a passkey of an account, as JSON
// (PublicKeyCredentialCreationOptionsJSON of Web Authentication, level 3).
func (s *Service) AskPasskey(ctx context.Context, account string) (options []byte, err error) {
	creation, session, err := s.creation(ctx, account)
	if err != nil {
		return nil, err
	}
	return s.challenge(ctx, session.Challenge, account, creation.Response)
}

func (s *Service) creation(ctx context.Context, account string) (*protocol.CredentialCreation, *webauthn.SessionData,
	error) {
	if s.Keys == nil {
		return nil, nil, s.keysOff()
	}
	owner, err := s.keyOwner(ctx, account)
	if err != nil {
		return nil, nil, err
	}
	creation, session, err := s.Keys.web.BeginRegistration(owner,
		webauthn.WithExclusions(webauthn.Credentials(owner.keys).CredentialDescriptors()))
	if err != nil {
		return nil, nil, fmt.Errorf("accounts: asking for a passkey: %w", err)
	}
	return creation, session, nil
}

// challenge keeps a challenge and returns the options that hold it.
func (s *Service) challenge(ctx context.Context, challenge, account string, options any) ([]byte, error) {
	out, err := json.Marshal(options)
	if err != nil {
		return nil, fmt.Errorf("accounts: options of a passkey: %w", err)
	}
	return out, s.Store.CreateChallenge(ctx, challenge, account, s.Wall().Add(ChallengeLife))
}

// AddPasskey keeps the passkey that a browser made for what AskPasskey returned,
// under a name, and tells the account's mail address in a language. Its answer is
// JSON (RegistrationResponseJSON). A wrong name or an
// answer that does not hold is fault.Invalid, a late or repeated one
// fault.Forbidden, and a passkey too many or known already fault.Conflict.
func (s *Service) AddPasskey(ctx context.Context, account, name, answer, language string) error {
	name, err := checkName(name, PasskeyRefused)
	if err != nil {
		return err
	}
	_, session, err := s.creation(ctx, account)
	if err != nil {
		return err
	}
	refused := func(err error) error { return fault.Of(fault.Invalid, PasskeyRefused).By(err) }
	parsed, err := protocol.ParseCredentialCreationResponseBytes([]byte(answer))
	if err != nil {
		return refused(err)
	}
	session.Challenge = parsed.Response.CollectedClientData.Challenge
	if err := s.Store.UseChallenge(ctx, session.Challenge, account, s.Wall()); err != nil {
		return err
	}
	owner, err := s.keyOwner(ctx, account)
	if err != nil {
		return err
	}
	made, err := s.Keys.web.CreateCredential(owner, *session, parsed)
	if err != nil {
		return refused(err)
	}
	k := Passkey{ID: made.ID, Name: name, PublicKey: made.PublicKey, CreatedAt: s.Wall(),
		SignCount: made.Authenticator.SignCount, BackupEligible: made.Flags.BackupEligible,
		BackedUp: made.Flags.BackupState, Transports: []string{}}
	for _, t := range made.Transport {
		k.Transports = append(k.Transports, printable(string(t), longestUA))
	}
	return s.Store.CreatePasskey(ctx, account, k, MostPasskeys, s.notice(noticePasskey, language))
}

// AskPasskeySignIn returns what a browser needs to sign in by a passkey, whichever
// account has it, as JSON (PublicKeyCredentialRequestOptionsJSON).
func (s *Service) AskPasskeySignIn(ctx context.Context) (options []byte, err error) {
	if s.Keys == nil {
		return nil, s.keysOff()
	}
	asked, session, err := s.Keys.web.BeginDiscoverableLogin()
	if err != nil {
		return nil, fmt.Errorf("accounts: asking for a passkey: %w", err)
	}
	return s.challenge(ctx, session.Challenge, "", asked.Response)
}

// SignInByPasskey begins a session of the account whose passkey a browser used for
// what AskPasskeySignIn returned. Its answer is JSON (AuthenticationResponseJSON).
// One that does not hold, is late or repeated is fault.Forbidden; after several
// such tries the error is fault.TooMany with the time to wait.
func (s *Service) SignInByPasskey(ctx context.Context, answer string, from Browser) (SignedIn, error) {
	if s.Keys == nil {
		return SignedIn{}, s.keysOff()
	}
	return s.slowed(ctx, from, func() (SignedIn, error) {
		parsed, err := protocol.ParseCredentialRequestResponseBytes([]byte(answer))
		if err != nil {
			return SignedIn{}, unknown(err)
		}
		_, session, err := s.Keys.web.BeginDiscoverableLogin()
		if err != nil {
			return SignedIn{}, fmt.Errorf("accounts: signing in by a passkey: %w", err)
		}
		session.Challenge = parsed.Response.CollectedClientData.Challenge
		if err := s.Store.UseChallenge(ctx, session.Challenge, "", s.Wall()); err != nil {
			return SignedIn{}, err
		}
		account, err := uuid.FromBytes(parsed.Response.UserHandle)
		if err != nil {
			return SignedIn{}, unknown(err)
		}
		err = s.Store.UsePasskey(ctx, account.String(), parsed.RawID, s.Wall(), func(k Passkey) (Passkey, error) {
			return s.Keys.check(account, k, *session, parsed)
		})
		if err != nil {
			return SignedIn{}, err
		}
		return s.begin(ctx, NewSession{Account: account.String(), Browser: from.Name, Passkey: parsed.RawID})
	})
}

func unknown(err error) error { return fault.Of(fault.Forbidden, PasskeyUnknown).By(err) }

// check returns a passkey as it is after an answer that holds.
func (r *RelyingParty) check(account uuid.UUID, k Passkey, session webauthn.SessionData,
	answer *protocol.ParsedCredentialAssertionData) (Passkey, error) {
	owner := &keyOwner{id: account, keys: []webauthn.Credential{k.credential()}}
	used, err := r.web.ValidateDiscoverableLogin(func(_, _ []byte) (webauthn.User, error) { return owner, nil },
		session, answer)
	if err != nil {
		return k, unknown(err)
	}
	if used.Authenticator.CloneWarning {
		return k, fault.Of(fault.Forbidden, PasskeyCopied)
	}
	k.SignCount, k.BackedUp = used.Authenticator.SignCount, used.Flags.BackupState
	return k, nil
}

// credential is a passkey as the library has it. Only such as verified their owner
// are kept.
func (k Passkey) credential() webauthn.Credential {
	c := webauthn.Credential{ID: k.ID, PublicKey: k.PublicKey,
		Flags: webauthn.CredentialFlags{UserPresent: true, UserVerified: true, BackupEligible: k.BackupEligible,
			BackupState: k.BackedUp},
		Authenticator: webauthn.Authenticator{SignCount: k.SignCount}}
	for _, t := range k.Transports {
		c.Transport = append(c.Transport, protocol.AuthenticatorTransport(t))
	}
	return c
}

// keyOwner is an account as the library has it.
type keyOwner struct {
	id   uuid.UUID
	name string
	keys []webauthn.Credential
}

func (o *keyOwner) WebAuthnID() []byte                         { return o.id[:] }
func (o *keyOwner) WebAuthnName() string                       { return o.name }
func (o *keyOwner) WebAuthnDisplayName() string                { return o.name }
func (o *keyOwner) WebAuthnCredentials() []webauthn.Credential { return o.keys }

func (s *Service) keyOwner(ctx context.Context, account string) (*keyOwner, error) {
	id, err := uuid.Parse(account)
	if err != nil {
		return nil, errors.Join(fault.New(fault.NotFound, "there is no such account"), err)
	}
	mail, err := s.Store.MailOf(ctx, account)
	if err != nil {
		return nil, err
	}
	all, err := s.Store.Passkeys(ctx, account)
	if err != nil {
		return nil, err
	}
	o := &keyOwner{id: id, name: cmp.Or(mail, "dryslot "+Short(account))}
	for _, k := range all {
		o.keys = append(o.keys, k.credential())
	}
	return o, nil
}
