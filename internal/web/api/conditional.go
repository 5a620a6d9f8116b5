package api

import (
	"crypto/sha256"
	"encoding/hex"
	"net/http"
	"net/url"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"github.com/danielgtaylor/huma/v2"
)

// secretRoute marks an operation whose answer holds a secret.
const secretRoute = "secret"

// keeping is the Cache-Control of an operation's answers: whoever keeps one
// asks whether it still holds, and one with a secret is kept by nobody.
func keeping(op *huma.Operation) string {
	if secret, _ := op.Metadata[secretRoute].(bool); secret {
		return "no-store"
	}
	return "private, no-cache"
}

// etag is the entity tag of a project's revision. Answers add what else they
// hold, see conditional; a change may name either.
func etag(revision int64) string { return `"` + strconv.FormatInt(revision, 10) + `"` }

// matches compares strongly (RFC 9110, 13.1.1): a weak tag never matches. What
// the log says of a pad changes the tag of an answer and not the revision,
// which alone a change is held against.
func matches(given []string, revision int64) bool {
	want := strings.Trim(etag(revision), `"`)
	return slices.ContainsFunc(given, func(tag string) bool {
		inner, quoted := strings.CutPrefix(tag, `"`)
		inner, closed := strings.CutSuffix(inner, `"`)
		of, _, _ := strings.Cut(inner, "-")
		return tag == "*" || quoted && closed && of == want
	})
}

// tags reads the entity tags of a header.
func tags(values []string) []string {
	var out []string
	for _, v := range values {
		for tag := range strings.SplitSeq(v, ",") {
			if tag = strings.TrimSpace(tag); tag != "" {
				out = append(out, tag)
			}
		}
	}
	return out
}

// ages are what differs between two answers that say the same: a quote in a
// text is escaped, so that no text looks like one.
var ages = regexp.MustCompile(`"age_min":-?[0-9]+`)

// tag gives an answer its entity tag and its link to the next part of a list.
// The tag is made of the body, in its language, without its ages; that of a
// project begins with its revision and is strong, the others are weak, since
// their ages may differ.
func (a *sent) tag(r route, c *call) {
	if a.Link != "" {
		next := url.URL{Path: c.address.Path}
		query := c.address.Query()
		query.Set("cursor", a.Link)
		next.RawQuery = query.Encode()
		a.Link = "<" + next.String() + `>; rel="next"`
	}
	if !r.tagged && a.ETag == "" {
		return
	}
	sum := sha256.Sum256(ages.ReplaceAll(a.Body, nil))
	digest := hex.EncodeToString(sum[:12])
	if a.ETag == "" {
		a.ETag = `W/"` + digest + `"`
	} else {
		a.ETag = strings.TrimSuffix(a.ETag, `"`) + "-" + digest + `"`
	}
}

// conditional leaves the body out where the client has it already (RFC 9110,
// 13.1.2).
func (a *sent) conditional(r route, c *call) *sent {
	held := slices.ContainsFunc(c.held, func(tag string) bool {
		return tag == "*" || strings.TrimPrefix(tag, "W/") == strings.TrimPrefix(a.ETag, "W/")
	})
	if r.tagged && held {
		return &sent{Status: http.StatusNotModified, ETag: a.ETag}
	}
	return a
}
