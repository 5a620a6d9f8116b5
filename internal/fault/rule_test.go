package fault

import (
	"encoding/json"
	"errors"
	"strings"
	"testing"
)

func TestARuleIsData(t *testing.T) {
	var l List
	l.Break("pads[2].thickness_m", strings.Repeat("9", 100), Range(0.04, 0.5, "m"))
	l.Add("DRYSLOT_LISTEN", "x", "must be host:port")
	err := l.Broken("project_breaks_rule")
	var f *Error
	if !errors.As(err, &f) || !errors.Is(err, Invalid) || f.Message.Code != "project_breaks_rule" || !f.Worded() {
		t.Fatal(err)
	}
	if low, ok := f.Fields[0].Rule.Figures.Number("min"); !ok || low != 0.04 {
		t.Error(f.Fields[0].Rule)
	}
	b, _ := json.Marshal(f.Fields[0].Rule)
	if want := `{"code":"quantity_range","figures":{"max":0.5,"min":0.04,"unit":"m"}}`; string(b) != want {
		t.Errorf("%s, want %s", b, want)
	}
	want := "invalid: project_breaks_rule; pads[2].thickness_m = " + strings.Repeat("9", 80) +
		"...: quantity_range min=0.04 max=0.5 unit=m; DRYSLOT_LISTEN = x: must be host:port"
	if got := err.Error(); got != want {
		t.Errorf("%s\nwant %s", got, want)
	}
	if List(nil).Broken("x") != nil {
		t.Error("nothing at fault is an error")
	}
}
