package pour

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strconv"
	"unicode/utf8"

	"dryslot/internal/fault"
	"dryslot/internal/message"
)

// maxDepth is how deep a document may nest; a project needs five.
const maxDepth = 32

// Node is one value of a JSON document as it was sent: nothing rounded, no
// name lost. Exactly one of the fields below Kind is set, by the kind.
type Node struct {
	Kind   NodeKind
	Object []NamedNode // in the order sent
	Array  []*Node
	Text   string // of a string, or the digits of a number
	Bool   bool
}

// NamedNode is one member of an object.
type NamedNode struct {
	Name  string
	Value *Node
}

// NodeKind is the type of a JSON value.
type NodeKind uint8

// The types of JSON value.
const (
	NullNode NodeKind = iota
	ObjectNode
	ArrayNode
	StringNode
	NumberNode
	BoolNode
)

// Get returns an object's member, or nil.
func (n *Node) Get(name string) *Node {
	for _, m := range n.Object {
		if m.Name == name {
			return m.Value
		}
	}
	return nil
}

// Parse reads one JSON document. It returns fault.Unreadable for what is not
// JSON, is not UTF-8, goes on after its end, nests too deep, or gives an
// object's member twice, so that no reader need guess which one was meant.
func Parse(body []byte) (*Node, error) {
	if len(bytes.TrimSpace(body)) == 0 {
		return nil, fault.Of(fault.Unreadable, DocumentEmpty)
	}
	if !utf8.Valid(body) {
		return nil, fault.Of(fault.Unreadable, DocumentEncoding)
	}
	dec := json.NewDecoder(bytes.NewReader(body))
	dec.UseNumber()
	n, err := parse(dec, "", 0)
	if err == nil {
		if _, err = dec.Token(); errors.Is(err, io.EOF) {
			return n, nil
		}
		err = unreadable(DocumentGoesOn, dec, err)
	}
	var kept *fault.Error
	if errors.As(err, &kept) {
		return nil, err
	}
	return nil, unreadable(DocumentNotJSON, dec, err)
}

func unreadable(code message.Code, dec *json.Decoder, cause error) error {
	return fault.Of(fault.Unreadable, code, message.Count("byte", int(dec.InputOffset()))).By(cause)
}

func parse(dec *json.Decoder, path string, depth int) (*Node, error) {
	if depth > maxDepth {
		return nil, fault.Of(fault.Unreadable, DocumentDeep, message.Count("max", maxDepth))
	}
	token, err := dec.Token()
	if err != nil {
		if errors.Is(err, io.EOF) {
			err = io.ErrUnexpectedEOF
		}
		return nil, err
	}
	switch t := token.(type) {
	case json.Delim:
		if t == '[' {
			return parseArray(dec, path, depth)
		}
		return parseObject(dec, path, depth)
	case string:
		return &Node{Kind: StringNode, Text: t}, nil
	case json.Number:
		return &Node{Kind: NumberNode, Text: t.String()}, nil
	case bool:
		return &Node{Kind: BoolNode, Bool: t}, nil
	default:
		return &Node{Kind: NullNode}, nil
	}
}

func parseArray(dec *json.Decoder, path string, depth int) (*Node, error) {
	n := &Node{Kind: ArrayNode}
	for dec.More() {
		v, err := parse(dec, fmt.Sprintf("%s[%d]", path, len(n.Array)), depth+1)
		if err != nil {
			return nil, err
		}
		n.Array = append(n.Array, v)
	}
	_, err := dec.Token()
	return n, err
}

func parseObject(dec *json.Decoder, path string, depth int) (*Node, error) {
	n := &Node{Kind: ObjectNode}
	seen := map[string]bool{}
	for dec.More() {
		token, err := dec.Token()
		if err != nil {
			return nil, err
		}
		name, _ := token.(string) // the decoder lets nothing else stand here
		at := join(path, name)
		if seen[name] {
			return nil, fault.Of(fault.Unreadable, DocumentTwice).At(printable(at), "given twice",
				fault.RuleOf(fault.GivenTwice))
		}
		seen[name] = true
		v, err := parse(dec, at, depth+1)
		if err != nil {
			return nil, err
		}
		n.Object = append(n.Object, NamedNode{name, v})
	}
	_, err := dec.Token()
	return n, err
}

// MarshalJSON writes the value as it was sent, but for white space.
func (n *Node) MarshalJSON() ([]byte, error) {
	switch n.Kind {
	case ObjectNode:
		out := []byte{'{'}
		for i, m := range n.Object {
			if i > 0 {
				out = append(out, ',')
			}
			name, err := json.Marshal(m.Name)
			if err != nil {
				return nil, err
			}
			value, err := m.Value.MarshalJSON()
			if err != nil {
				return nil, err
			}
			out = append(append(append(out, name...), ':'), value...)
		}
		return append(out, '}'), nil
	case ArrayNode:
		if n.Array == nil {
			return []byte("[]"), nil
		}
		return json.Marshal(n.Array)
	case StringNode:
		return json.Marshal(n.Text)
	case NumberNode:
		return []byte(n.Text), nil
	case BoolNode:
		return strconv.AppendBool(nil, n.Bool), nil
	}
	return []byte("null"), nil
}

// Brief shows a value in few words.
func (n *Node) Brief() string {
	if n == nil {
		return "absent"
	}
	switch n.Kind {
	case ObjectNode:
		return "an object"
	case ArrayNode:
		return fmt.Sprintf("a list of %d", len(n.Array))
	case StringNode:
		return printable(n.Text)
	case NumberNode:
		return n.Text
	case BoolNode:
		return strconv.FormatBool(n.Bool)
	default:
		return "null"
	}
}

// whole returns a number without a fraction: 2, 2.0 and 2e0 are all 2.
func (n *Node) whole() (int64, bool) {
	if n.Kind != NumberNode {
		return 0, false
	}
	if i, err := strconv.ParseInt(n.Text, 10, 64); err == nil {
		return i, true
	}
	const exact = 1 << 53
	f, err := strconv.ParseFloat(n.Text, 64)
	if err != nil || f < -exact || f > exact || f != float64(int64(f)) {
		return 0, false
	}
	return int64(f), true
}

func join(path, name string) string {
	if name == "" {
		name = `""`
	}
	if path == "" {
		return name
	}
	return path + "." + name
}
