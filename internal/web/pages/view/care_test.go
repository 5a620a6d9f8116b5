package view_test

import (
	"slices"
	"testing"

	"dryslot/internal/web/browsertest"
	"dryslot/internal/web/pages/states"
	"dryslot/internal/web/pages/view"
)

// While a pad is being placed, the cover that is to come off another has its button on
// the page where the crew is.
func TestWhatIsDueBesidesHasItsButtonWhereTheCrewIs(t *testing.T) {
	p := view.NewLive(states.Setting("placing"))
	if p.Hands[0].Kind != "placed" {
		t.Errorf("the slab logs %+v", p.Hands[0])
	}
	if len(p.Care) != 1 || p.Care[0].Kind != "uncovered" || !slices.Equal(p.Care[0].Pads, []string{"H1"}) {
		t.Errorf("besides: %+v", p.Care)
	}
	s := states.Setting("placing")
	s.Barred.Log = true
	if p = view.NewLive(s); p.Care != nil {
		t.Errorf("a viewer is offered %+v", p.Care)
	}
	if p = view.NewLive(states.Setting("both")); p.Care != nil {
		t.Errorf("a finish stands in the head alone: %+v", p.Care)
	}
}

// Tapped without signal, such a button goes, and its entry is shown to wait. The head
// still says what comes next.
func TestWhatWasDoneBesidesWaitsForSignal(t *testing.T) {
	srv := served(t)
	b := browsertest.Start(t)
	b.Size(t, 390, 844)
	b.Open(t, srv.URL+"/placing/live/en")
	head := browsertest.Eval[string](t, b, `Object.defineProperty(navigator, "onLine", {get: () => false}) &&
		document.querySelector("h1").firstChild.data`)
	waits := browsertest.Eval[string](t, b, `(document.querySelector(".care button").click(), new Promise(done => {
		const wait = () => document.querySelector("#waits li") ?
			done(document.querySelector("#waits li").textContent) : setTimeout(wait, 20); wait() }))`)
	if waits == "" {
		t.Error("no entry is shown to wait")
	}
	if n := browsertest.Eval[int](t, b, `document.querySelectorAll(".care, [data-kind=uncovered]").length`); n > 0 {
		t.Errorf("%d times it is still asked for", n)
	}
	if now := browsertest.Eval[string](t, b, `document.querySelector("h1").firstChild.data`); now != head {
		t.Errorf("the head was %q and is %q", head, now)
	}
}
