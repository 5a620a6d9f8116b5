package postgres

import (
	"bytes"
	"encoding/json"
	"fmt"
	"slices"

	"dryslot/internal/message"
)

// said is messages as they are stored beside the text that operators and the
// version before read. That version writes the text alone: the messages are
// those of the text only while it is the same.
type said struct {
	Text string            `json:"text"`
	Data []message.Message `json:"data"`
}

// storeSaid returns the text and the messages as they are stored. No text that
// PostgreSQL takes holds a NUL character.
func storeSaid(text string, data ...message.Message) (cleaned string, stored json.RawMessage, err error) {
	cleaned = clean(text)
	data = slices.DeleteFunc(slices.Clone(data), message.Message.IsZero)
	stored, err = jsonb(said{cleaned, data})
	if err != nil {
		return "", nil, fmt.Errorf("postgres: messages: %w", err)
	}
	return cleaned, bytes.ReplaceAll(stored, []byte(`\u0000`), []byte(`\ufffd`)), nil
}

// readSaid returns the messages of a stored text.
func readSaid(text string, stored []byte) ([]message.Message, error) {
	if text == "" {
		return nil, nil
	}
	var s said
	if stored != nil {
		if err := json.Unmarshal(stored, &s); err != nil {
			return nil, fmt.Errorf("postgres: messages: %w", err)
		}
	}
	if len(s.Data) == 0 || s.Text != text {
		return []message.Message{message.Stored(text)}, nil
	}
	return s.Data, nil
}
