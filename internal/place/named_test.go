package place

import (
	"slices"
	"testing"
)

func TestWithin(t *testing.T) {
	found := []Named{
		{Name: "Portland", District: "Multnomah", Region: "Oregon", Country: "United States", Code: "US"},
		{Name: "Portland", District: "Cumberland", Region: "Maine", Country: "United States", Code: "US"},
		{Name: "Portland", Region: "Victoria", Country: "Australia", Code: "AU"},
		{Name: "Montréal", Region: "Québec", Country: "Canada", Code: "CA"},
	}
	for _, c := range []struct {
		typed, name string
		want        []int
	}{
		{"Portland", "Portland", []int{0, 1, 2, 3}},
		{" Portland , OR", "Portland", []int{0}},
		{"Portland, me", "Portland", []int{1}},
		{"Portland, Ore.", "Portland", []int{0}},
		{"Portland, Oregon, USA", "Portland", []int{0}},
		{"Portland, OR, ME", "Portland", nil},
		{"Portland,, au", "Portland", []int{2}},
		{"Portland, Cumberland", "Portland", []int{1}},
		{"Montreal, quebec", "Montreal", []int{3}},
		{"Montreal, QC, CA", "Montreal", []int{3}},
		{"Portland, Vi", "Portland", nil}, // two letters are an abbreviation
	} {
		name, within := SplitName(c.typed)
		var got []int
		for _, n := range Within(found, within) {
			got = append(got, slices.Index(found, n))
		}
		if name != c.name || !slices.Equal(got, c.want) {
			t.Errorf("%q: %q in %v, want %q in %v", c.typed, name, got, c.name, c.want)
		}
	}
	if got := found[0].String(); got != "Portland, Oregon, United States" {
		t.Errorf("called %q", got)
	}
	for _, regions := range abbreviations {
		for short, long := range regions {
			if folded(short) != short || folded(long) != long || len(short) != 2 {
				t.Errorf("%s, %s: not folded", short, long)
			}
		}
	}
}
