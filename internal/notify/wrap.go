package notify

import (
	"regexp"
	"strings"
	"unicode"
	"unicode/utf8"
)

// width is the longest line of a message, in characters: every mail reader
// shows it unbroken, a telephone's included after one turn.
const width = 71

// nbsp holds a number and its unit on one line. It is sent as a plain space.
const nbsp = "\u00a0"

// quantity is a number with its unit.
var quantity = regexp.MustCompile(`\d (°?[CF]|mm|in|m|ft|kg|lb|l|gal|h|min|days|m/s|mph|kg/m2/h|lb/ft2/h)\b|\d %`)

// together keeps each number of a sentence on one line with its unit.
func together(s string) string {
	return quantity.ReplaceAllStringFunc(s, func(q string) string { return strings.Replace(q, " ", nbsp, 1) })
}

// clean makes what a builder typed fit for one line: no control characters,
// no runs of blanks.
func clean(s string) string {
	return strings.Join(strings.FieldsFunc(s, func(r rune) bool {
		return unicode.IsSpace(r) || unicode.IsControl(r)
	}), " ")
}

// wrap breaks s into lines of at most width characters. The first line begins
// with lead, the others are indented by as many blanks. A word longer than a
// line is cut, unless it is an address: a cut address opens nothing.
func wrap(lead, s string) string {
	var out strings.Builder
	indent := strings.Repeat(" ", utf8.RuneCountInString(lead))
	line, room := lead, width-len(indent)
	empty := true
	flush := func() {
		out.WriteString(strings.TrimRight(line, " ") + "\n")
		line, empty = indent, true
	}
	for _, word := range strings.FieldsFunc(s, func(r rune) bool { return r == ' ' }) {
		for {
			used := utf8.RuneCountInString(line)
			n := utf8.RuneCountInString(word)
			gap := 1
			if empty {
				gap = 0
			}
			if used+gap+n <= width {
				if gap == 1 {
					line += " "
				}
				line += word
				empty = false
				break
			}
			if !empty {
				flush()
				continue
			}
			if strings.Contains(word, "://") {
				line += word
				empty = false
				break
			}
			r := []rune(word)
			line += string(r[:room])
			word = string(r[room:])
			flush()
		}
	}
	if !empty {
		flush()
	}
	return strings.ReplaceAll(out.String(), nbsp, " ")
}
