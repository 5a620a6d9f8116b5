// Package accounts owns who may sign in and how: by a link that works once, by a
// passkey or by a token, how failed tries are slowed, and which sessions, passkeys
// and tokens an account has. Keys of links and sessions, and tokens, are kept as
// digests; each is in clear once, when it is made.
//
//	s := &accounts.Service{Store: store, Wall: time.Now}
//	key, err := s.NewLink(ctx, account)          // for an address /sign-in?link=key
//	session, err := s.SignInByLink(ctx, key, browser)
package accounts
