package look

import (
	"bytes"
	"compress/gzip"
	"regexp"
	"strings"
	"testing"
)

// The sheet travels once, packed: with its font it must leave room for a page in
// the 60 kB of a first visit.
func TestTheSheetIsSmallAndAsksForNothingElse(t *testing.T) {
	s := Read()
	var packed bytes.Buffer
	w := gzip.NewWriter(&packed)
	if _, err := w.Write(s.CSS); err != nil {
		t.Fatal(err)
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	t.Logf("style_sheet: %d bytes packed, %d bare", packed.Len(), len(s.CSS))
	if packed.Len() > 26_000 {
		t.Errorf("%d bytes packed", packed.Len())
	}
	for _, m := range regexp.MustCompile(`url\([^)]{0,30}`).FindAllString(string(s.CSS), -1) {
		if !strings.HasPrefix(m, "url(data:") {
			t.Errorf("it asks for %s", m)
		}
	}
	if strings.Contains(string(s.CSS), "@import") ||
		!regexp.MustCompile(`^/look-[0-9a-f]{12}\.css$`).MatchString(s.Address) {
		t.Errorf("its address is %s", s.Address)
	}
	if opened, closed := bytes.Count(s.CSS, []byte("{")), bytes.Count(s.CSS, []byte("}")); opened != closed {
		t.Errorf("%d braces open, %d close", opened, closed)
	}
}

// Text is never smaller than 18 px, in drawings too (1rem is 18 px); print has
// sizes of its own.
func TestNoTextIsSmallerThanTheBody(t *testing.T) {
	screen, _, _ := strings.Cut(string(Read().CSS), "@media print")
	for _, m := range regexp.MustCompile(`font-size:(0?\.\d+(?:rem|em)|1?\dpx)`).FindAllStringSubmatch(screen, -1) {
		if m[1] != "18px" {
			t.Errorf("font-size:%s", m[1])
		}
	}
}
