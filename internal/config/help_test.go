package config

import (
	"strings"
	"testing"
)

func TestHelpNamesEveryKey(t *testing.T) {
	var b strings.Builder
	if err := Help(&b); err != nil {
		t.Fatal(err)
	}
	for _, k := range Keys() {
		if !strings.Contains(b.String(), k.Name+" ") || !strings.Contains(b.String(), k.Meaning) {
			t.Errorf("%s is missing from the help", k.Name)
		}
	}
}
