package api

import (
	_ "embed"
	"encoding/json"
)

// examples.json holds a body and an answer of each operation, as the contract
// test got them; lists are cut to two items.
//
//go:embed examples.json
var examplesJSON []byte

// example is one operation's.
type example struct {
	Body   json.RawMessage `json:"body,omitempty"`
	Answer json.RawMessage `json:"answer,omitempty"`
}

func (e example) body() any   { return present(e.Body) }
func (e example) answer() any { return present(e.Answer) }

func present(v json.RawMessage) any {
	if v == nil {
		return nil
	}
	return v
}

func readExamples() map[string]example {
	var out map[string]example
	if err := json.Unmarshal(examplesJSON, &out); err != nil {
		panic("api: the examples can't be read: " + err.Error()) // a mistake of ours, at start
	}
	return out
}
