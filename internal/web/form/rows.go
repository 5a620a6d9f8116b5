package form

import (
	"math"
	"slices"
	"strconv"
	"strings"

	"dryslot/internal/pour"
)

// row is pads of one size that the form shows together: one pad, or several
// whose names are a letter and the next numbers.
type row struct {
	letter  string // the whole name of a single pad
	from    int    // the first number
	pads    []pour.Pad
	across  int
	regular bool // in lines with the same gap between all
	gap     float64
}

// apart separates names in a field that nobody sees. No name holds it.
const apart = "\t"

func names(pads []pour.Pad) []string {
	out := make([]string, len(pads))
	for i, p := range pads {
		out[i] = p.Name
	}
	return out
}

// numbered splits a name into what stands before its number, and the number.
func numbered(name string) (letter string, number int, ok bool) {
	letter = strings.TrimRight(name, "0123456789")
	digits := name[len(letter):]
	n, err := strconv.Atoi(digits)
	return letter, n, err == nil && letter != "" && !strings.HasPrefix(digits, "0") && len(digits) < 5
}

// rowsOf gathers a project's pads into rows, in their order.
func rowsOf(pads []pour.Pad) []row {
	var out []row
	for i := 0; i < len(pads); {
		letter, from, ok := numbered(pads[i].Name)
		n := 1
		for ok && i+n < len(pads) {
			l, number, _ := numbered(pads[i+n].Name)
			if l != letter || number != from+n || !sameSize(pads[i], pads[i+n]) {
				break
			}
			n++
		}
		r := row{letter: letter, from: from, pads: pads[i : i+n]}
		if n == 1 {
			r.letter, r.from = pads[i].Name, 1
		}
		r.lay()
		out = append(out, r)
		i += n
	}
	return out
}

func sameSize(a, b pour.Pad) bool {
	edge := a.EdgeThicknessM == nil && b.EdgeThicknessM == nil ||
		a.EdgeThicknessM != nil && b.EdgeThicknessM != nil && *a.EdgeThicknessM == *b.EdgeThicknessM
	return edge && a.LengthM == b.LengthM && a.WidthM == b.WidthM && a.ThicknessM == b.ThicknessM
}

// lay finds how the pads lie: across is the number in a line where they lie in
// lines, else all.
func (r *row) lay() {
	first := r.pads[0]
	r.across = len(r.pads)
	if len(r.pads) == 1 {
		r.regular = true
		return
	}
	for n := 1; n <= len(r.pads); n++ {
		if len(r.pads)%n != 0 {
			continue
		}
		gap := r.pads[1].XM - first.XM - first.LengthM
		if n == 1 {
			gap = r.pads[1].YM - first.YM - first.WidthM
		}
		same := gap > -1e-6
		for k, p := range r.pads {
			x, y := at(first, k, n, math.Max(0, gap))
			same = same && math.Abs(p.XM-x) < 1e-4 && math.Abs(p.YM-y) < 1e-4
		}
		if same {
			r.across, r.regular, r.gap = n, true, math.Max(0, gap)
			return
		}
	}
}

// at is where the pad of index k lies in lines that begin at first.
func at(first pour.Pad, k, across int, gap float64) (x, y float64) {
	return first.XM + float64(k%across)*(first.LengthM+gap), first.YM + float64(k/across)*(first.WidthM+gap)
}

// The orders that a row can have.
const (
	orderAny       = "any"       // none waits for another
	orderAlternate = "alternate" // every other one waits until its neighbors are stripped
	orderKeep      = "keep"      // as set pad by pad
)

func (r row) order() string {
	of := alternate(names(r.pads), r.across)
	waits, same := false, true
	for k, p := range r.pads {
		waits = waits || len(p.After) > 0
		same = same && slices.Equal(p.After, of[k])
	}
	switch {
	case !waits:
		return orderAny
	case same:
		return orderAlternate
	}
	return orderKeep
}

// alternate has every other pad wait until those beside it are stripped.
func alternate(names []string, across int) [][]pour.After {
	out := make([][]pour.After, len(names))
	for k := range names {
		i, j := k/across, k%across
		out[k] = []pour.After{}
		if (i+j)%2 == 0 {
			continue
		}
		for _, n := range [][2]int{{i - 1, j}, {i, j - 1}, {i, j + 1}, {i + 1, j}} {
			if other := n[0]*across + n[1]; n[0] >= 0 && n[1] >= 0 && n[1] < across && other < len(names) {
				out[k] = append(out[k], pour.After{Pad: names[other], Until: pour.Stripped})
			}
		}
	}
	return out
}

// formSet is the form set of the row's pads; one is false where they have
// several.
func (r row) formSet() (set *string, one bool) {
	for _, p := range r.pads[1:] {
		a, b := p.FormSet, r.pads[0].FormSet
		if (a == nil) != (b == nil) || a != nil && *a != *b {
			return nil, false
		}
	}
	return r.pads[0].FormSet, true
}
