// Package look owns the style sheet of the pages: palette, type, lines, and the
// font, which stands in the sheet so that a page needs one request for both. Its
// address changes with its content, so that browsers may keep it.
package look

import (
	"crypto/sha256"
	"embed"
	"encoding/base64"
	"fmt"
	"sync"
)

//go:embed *.css park.woff2
var files embed.FS

// fontFace is the font: National Park, cut down to weights 400 to 800 and to the
// letters of English and Spanish. Its license asks for the notice.
const fontFace = `/* National Park, copyright 2024 The National Park Project Authors, SIL Open Font License 1.1 */` +
	"\n" + `@font-face{font-family:Park;font-weight:400 800;font-display:swap;` +
	`src:url(data:font/woff2;base64,%s) format("woff2")}` + "\n"

// Sheet is the style sheet and its address on the site.
type Sheet struct {
	Address string
	CSS     []byte
}

// Read returns the style sheet. A file that can't be read is a fault of the build,
// which the tests find: it panics.
var Read = sync.OnceValue(func() Sheet {
	read := func(name string) []byte {
		b, err := files.ReadFile(name)
		if err != nil {
			panic(fmt.Errorf("look: %w", err))
		}
		return b
	}
	css := fmt.Appendf(nil, fontFace, base64.StdEncoding.EncodeToString(read("park.woff2")))
	entries, err := files.ReadDir(".")
	if err != nil {
		panic(fmt.Errorf("look: %w", err))
	}
	for _, e := range entries { // in the order of their names
		if name := e.Name(); name[len(name)-4:] == ".css" {
			css = append(css, read(name)...)
		}
	}
	return Sheet{Address: fmt.Sprintf("/look-%x.css", sha256.Sum256(css))[:len("/look-")+12] + ".css", CSS: css}
})

// Paper is the color of the page in its light form, for what surrounds it.
const Paper = "#ecede8"
