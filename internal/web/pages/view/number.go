package view

import (
	"math"
	"strconv"
)

// thousands writes a whole number with thin gaps between groups of three.
func thousands(v float64) string {
	s := strconv.FormatInt(int64(math.Round(v)), 10)
	neg := ""
	if s[0] == '-' {
		neg, s = "-", s[1:]
	}
	for i := len(s) - 3; i > 0; i -= 3 {
		s = s[:i] + "\u202f" + s[i:]
	}
	return neg + s
}

func oneDecimal(v float64) string { return strconv.FormatFloat(v, 'f', 1, 64) }
