package api

import (
	"encoding/json"
	"fmt"
	"slices"

	jsonpatch "github.com/evanphx/json-patch/v5"

	"dryslot/internal/fault"
	"dryslot/internal/pour"
)

// merge applies an RFC 7396 merge patch: members that are null go, objects are
// merged, everything else, lists too, is put in whole. A member that is null
// within an item of a list counts as not given.
func merge(target, patch *pour.Node) (*pour.Node, error) {
	before, err := json.Marshal(target)
	if err != nil {
		return nil, fmt.Errorf("web: merge patch: %w", err)
	}
	change, err := json.Marshal(patch)
	if err != nil {
		return nil, fmt.Errorf("web: merge patch: %w", err)
	}
	after, err := jsonpatch.MergePatch(before, change)
	if err != nil {
		return nil, fault.Of(fault.Unreadable, PatchUnreadable).By(err)
	}
	return pour.Parse(after)
}

// What the service works out and adds to an answer.
var (
	workedOut    = []string{"id", "revision", "calendar_url"}
	workedOutPad = []string{"state", "bags", "placed_at", "finished_at", "stripped_at", "cured_at", "lost_at", "losses",
		"inspect", "inspect_data"}
)

// withoutWorkedOut takes out of a patch what the service itself had put into
// its answer, so that a project can be read, changed and sent back. A value
// other than the one answered is a fault, not a wish that is passed over.
func withoutWorkedOut(patch, answered *pour.Node) (*pour.Node, error) {
	if patch.Kind != pour.ObjectNode {
		return patch, nil
	}
	var l fault.List
	out := strip(patch, answered, workedOut, "", &l)
	for i, m := range out.Object {
		if m.Name == "stock" {
			out.Object[i].Value = newCount(m.Value)
		}
		if m.Name != "pads" || m.Value.Kind != pour.ArrayNode {
			continue
		}
		pads := &pour.Node{Kind: pour.ArrayNode}
		for j, p := range m.Value.Array {
			if p.Kind == pour.ObjectNode {
				p = strip(p, answeredPad(answered, p, j), workedOutPad, fmt.Sprintf("pads[%d].", j), &l)
			}
			pads.Array = append(pads.Array, p)
		}
		out.Object[i].Value = pads
	}
	return out, l.Broken(PatchReadOnly)
}

// newCount has a patch that gives a number of bags, and not when they were
// counted, take the moment of the last count away: they are counted now, even
// where the number is the same.
func newCount(stock *pour.Node) *pour.Node {
	if stock.Kind != pour.ObjectNode || stock.Get("bags_on_hand") == nil || stock.Get("counted_at") != nil {
		return stock
	}
	out := *stock
	out.Object = append(slices.Clone(stock.Object), pour.NamedNode{Name: "counted_at",
		Value: &pour.Node{Kind: pour.NullNode}})
	return &out
}

// answeredPad finds the pad of an answer that one of a patch came from: of the
// same name, else in the same place.
func answeredPad(answered, p *pour.Node, at int) *pour.Node {
	pads := answered.Get("pads").Array
	name := p.Get("name")
	for _, q := range pads {
		if name != nil && same(q.Get("name"), name) {
			return q
		}
	}
	if at < len(pads) {
		return pads[at]
	}
	return nil
}

func strip(n, answered *pour.Node, names []string, path string, l *fault.List) *pour.Node {
	out := &pour.Node{Kind: pour.ObjectNode}
	for _, m := range n.Object {
		if !slices.Contains(names, m.Name) {
			out.Object = append(out.Object, m)
			continue
		}
		if wordingOf := m.Name + "_data"; answered != nil && n.Get(wordingOf) != nil &&
			same(answered.Get(wordingOf), n.Get(wordingOf)) {
			continue // the same, perhaps read in another language
		}
		if answered == nil || !same(answered.Get(m.Name), m.Value) {
			l.Break(path+m.Name, m.Value.Brief(), fault.RuleOf(ReadOnly))
		}
	}
	return out
}

// same reports whether two values of a document are the same as written.
func same(a, b *pour.Node) bool {
	if a == nil || b == nil || a.Kind != b.Kind || a.Text != b.Text || a.Bool != b.Bool {
		return a == b
	}
	for _, m := range a.Object {
		if !same(m.Value, b.Get(m.Name)) {
			return false
		}
	}
	return len(a.Object) == len(b.Object) && slices.EqualFunc(a.Array, b.Array, same)
}
