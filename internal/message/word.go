package message

import "strings"

// OrStored returns a message, or that of the text where there is none: what was
// stored before there were codes.
func OrStored(m Message, text string) Message {
	if m.IsZero() && text != "" {
		return Stored(text)
	}
	return m
}

// Word words the message beside a text. Where there is none, the text is its
// own message.
func Word(text *string, m *Message, say func(Message) string) {
	*m = OrStored(*m, *text)
	*text = say(*m)
}

// WordAll words the sentences of one text.
func WordAll(text *string, ms *[]Message, say func(Message) string) {
	if len(*ms) == 0 && *text != "" {
		*ms = []Message{Stored(*text)}
	}
	said := make([]string, len(*ms))
	for i, m := range *ms {
		said[i] = say(m)
	}
	*text = strings.Join(said, " ")
}

// WordEach words the messages beside several texts.
func WordEach(texts *[]string, ms *[]Message, say func(Message) string) {
	*ms = append([]Message{}, *ms...)
	if len(*ms) == 0 {
		for _, t := range *texts {
			*ms = append(*ms, Stored(t))
		}
	}
	*texts = make([]string, len(*ms))
	for i, m := range *ms {
		(*texts)[i] = say(m)
	}
}
