package phone

import (
	"bytes"
	"compress/gzip"
	"encoding/json"
	"strings"
	"testing"

	"dryslot/internal/web/look"
)

// mostPacked is how long the script may be, in bytes, as it is sent.
const mostPacked = 15_000

func TestTheScriptIsSmallAndKnowsWhatToKeep(t *testing.T) {
	s := Read()
	var packed bytes.Buffer
	w, err := gzip.NewWriterLevel(&packed, gzip.BestCompression)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := w.Write(s.JS); err != nil {
		t.Fatal(err)
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	t.Logf("the script has %d bytes, %d packed", len(s.JS), packed.Len())
	if packed.Len() > mostPacked {
		t.Errorf("%d bytes packed", packed.Len())
	}
	for _, want := range []string{s.Address, look.Read().Address} {
		if !strings.Contains(string(s.JS), `"`+want+`"`) {
			t.Errorf("the worker does not keep %s", want)
		}
	}
	for _, hole := range []string{`"VERSION"`, `"LOOK"`, `"APP"`, "http://", "https://", "eval(", "innerHTML"} {
		if strings.Contains(string(s.JS), hole) {
			t.Errorf("it holds %s", hole)
		}
	}
}

func TestTheManifestCanBeInstalledBy(t *testing.T) {
	b, err := Manifest("es-419")
	if err != nil {
		t.Fatal(err)
	}
	var m struct {
		Lang, Name, Display, Start_URL, Scope string
		Icons                                 []struct{ Src, Sizes, Purpose string }
	}
	if err := json.Unmarshal(b, &m); err != nil {
		t.Fatal(err)
	}
	sizes := map[string]bool{}
	for _, i := range m.Icons {
		sizes[i.Sizes+" "+i.Purpose] = true
	}
	if m.Lang != "es-419" || m.Display != "standalone" || m.Start_URL != "/" || m.Scope != "/" ||
		!sizes["192x192 any"] || !sizes["512x512 maskable"] {
		t.Errorf("%s", b)
	}
}
