package pour

import (
	"encoding/json"
	"testing"
	"time"

	"dryslot/internal/unit"
)

// A form set that was kept before there were cells has one, as one has that names
// none; a set of no cells is refused.
func TestCellsOfAFormSet(t *testing.T) {
	var kept FormSet
	if err := json.Unmarshal([]byte(`{"name":"F1",
		"count":3}`), &kept); err != nil || kept.Cells != 1 || kept.Holds() != 3 {
		t.Errorf("%+v, %v", kept, err)
	}
	read := func(set string) (Spec, error) {
		n, err := Parse([]byte(`{"name":"a","latitude":1,"longitude":1,"form_sets":[` + set + `],
			"pads":[{"name":"A1","length_m":1,"width_m":1,"thickness_m":0.1}]}`))
		if err != nil {
			t.Fatal(err)
		}
		return ReadSpec(n)
	}
	if s, err := read(`{"name":"F1","count":2}`); err != nil || s.FormSets[0].Cells != 1 {
		t.Errorf("%+v, %v", s.FormSets, err)
	}
	if s, err := read(`{"name":"F1","count":2,"cells":4}`); err != nil || s.FormSets[0].Holds() != 8 {
		t.Errorf("%+v, %v", s.FormSets, err)
	}
	for _, cells := range []string{"0", "-1", "501", "null", `"2"`, "1.5"} {
		if _, err := read(`{"name":"F1","count":2,"cells":` + cells + `}`); err == nil {
			t.Errorf("cells %s are taken", cells)
		}
	}
}

func TestTakenCellsAreWholeForms(t *testing.T) {
	gang := FormSet{Count: 2, Cells: 3}
	for _, c := range []struct{ pads, days, taken int }{
		{0, 1, 0}, {1, 1, 3}, {3, 1, 3}, {4, 1, 6}, {2, 2, 6}, {6, 2, 9},
		{1, 2, 3}} {
		if got := gang.Taken(c.pads, c.days); got != c.taken {
			t.Errorf("%d pads of %d days take %d cells, want %d", c.pads, c.days, got, c.taken)
		}
	}
	if got := (FormSet{Count: 9, Cells: 1}).Taken(5, 3); got != 5 {
		t.Errorf("5 pads in forms of their own take %d", got)
	}
}

func TestPadsOfAGangAreStrippedTogether(t *testing.T) {
	gang, single := "gang", "single"
	s := Spec{FormSets: []FormSet{{gang, 2, 2}, {single, 4, 1}}, Pads: []Pad{{Name: "A", FormSet: &gang},
		{Name: "B", FormSet: &gang}, {Name: "C", FormSet: &gang}, {Name: "D", FormSet: &single},
		{Name: "E", FormSet: &single},
		{Name: "F"}}}
	at := func(h int) time.Time { return time.Date(2026, 4, 2, h, 0, 0, 0, time.UTC) }
	first, second := unit.Date{Year: 2026, Month: 4, Day: 1}, unit.Date{Year: 2026, Month: 4, Day: 2}
	all := []Stripping{{"A", first, at(5)}, {"B", first, at(7)}, {"C", second, at(9)}, {"D", first, at(1)},
		{"E", first, at(2)}, {"F", first, at(3)}}
	s.StripTogether(all)
	for i, want := range []int{7, 7, 9, 1, 2, 3} {
		if !all[i].From.Equal(at(want)) {
			t.Errorf("%s is stripped at %s, want %d", all[i].Pad, all[i].From, want)
		}
	}
	all = []Stripping{{"A", first, at(5)}, {"B", first, time.Time{}}}
	s.StripTogether(all)
	if !all[0].From.IsZero() {
		t.Errorf("A is stripped at %s, before B", all[0].From)
	}
}
