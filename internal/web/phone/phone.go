// Package phone owns what makes the pages an app on a phone: the one script, which
// is the service worker too, and the manifest. Addresses change with what they
// serve, so that browsers may keep it.
package phone

import (
	"bytes"
	"crypto/sha256"
	_ "embed"
	"encoding/json"
	"fmt"
	"slices"
	"sync"

	"dryslot/internal/web/look"
)

// The script is one function in two files: what waits and the service worker, then
// the page.
var (
	//go:embed 1-worker.js
	worker []byte
	//go:embed 2-page.js
	page []byte
)

// Script is the script with its address on the site. Served at WorkerAddress, it
// is the service worker of the whole site.
type Script struct {
	Address string
	JS      []byte
}

// Addresses that do not change: of the service worker and of the manifest.
const (
	WorkerAddress   = "/worker.js"
	ManifestAddress = "/manifest.webmanifest"
)

// Read returns the script. Its version is that of the script and of the look: the
// pages kept on a phone go with the version that they were kept by.
var Read = sync.OnceValue(func() Script {
	source := slices.Concat(worker, page)
	sheet := look.Read().Address
	sum := fmt.Sprintf("%x", sha256.Sum256(slices.Concat(source, []byte(sheet))))[:12]
	s := Script{Address: "/app-" + sum + ".js", JS: source}
	for hole, with := range map[string]string{`"VERSION"`: sum, `"LOOK"`: sheet, `"APP"`: s.Address} {
		s.JS = bytes.Replace(s.JS, []byte(hole), []byte(`"`+with+`"`), 1)
	}
	return s
})

// IconSizes are the sides of the icons, in pixels: those that browsers ask for
// to install an app, and that of a phone's home screen.
func IconSizes() []int { return []int{180, 192, 512} }

// IconAddress is where an icon is.
func IconAddress(size int) string { return fmt.Sprintf("/icon-%d.png", size) }

type icon struct {
	Src     string `json:"src"`
	Sizes   string `json:"sizes"`
	Type    string `json:"type"`
	Purpose string `json:"purpose"`
}

// Manifest returns the manifest (W3C Web Application Manifest) in a language.
func Manifest(language string) ([]byte, error) {
	m := struct {
		ID         string `json:"id"`
		Name       string `json:"name"`
		ShortName  string `json:"short_name"`
		Lang       string `json:"lang"`
		StartURL   string `json:"start_url"`
		Scope      string `json:"scope"`
		Display    string `json:"display"`
		Background string `json:"background_color"`
		Theme      string `json:"theme_color"`
		Icons      []icon `json:"icons"`
	}{"/", "dryslot", "dryslot", language, "/", "/", "standalone", look.Paper, look.Paper, nil}
	for _, size := range IconSizes() {
		m.Icons = append(m.Icons, icon{IconAddress(size), fmt.Sprintf("%dx%d", size, size), "image/png", "any"})
		if size == 512 {
			m.Icons = append(m.Icons, icon{IconAddress(size), fmt.Sprintf("%dx%d", size, size), "image/png",
				"maskable"})
		}
	}
	b, err := json.Marshal(m)
	if err != nil {
		return nil, fmt.Errorf("phone: manifest: %w", err)
	}
	return b, nil
}
