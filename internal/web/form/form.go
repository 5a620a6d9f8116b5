// Package form owns what a builder types of a job: it writes a spec as the
// values of a form and reads them back, as sizes, weights, times and places are
// typed. An error names the field that it stands in.
//
//	values := form.Example(reader)
//	got := form.Read(values, pour.DefaultSpec(), reader, zero)
//	err := got.Spec.Validate()
package form

import (
	"net/url"
	"slices"
	"strconv"
	"strings"

	"dryslot/internal/pour"
)

// List is a part of the form that is there several times: rows of pads, forms,
// deliveries. The fields of the one at index i end in i.
type List struct {
	Name   string // of the button that adds one
	First  string // the field that each has
	Fields []string
	Most   int
}

// The lists of the form.
var (
	Rows = List{"row", "letter", []string{"letter", "across", "rows", "gap", "length", "width", "thick", "edge",
		"x", "y", "order", "was", "from"}, 60}
	Forms      = List{"form", "set", []string{"set", "count", "cells", "for", "set_was"}, 40}
	Deliveries = List{"delivery", "date", []string{"date", "bags"}, pour.MaxDeliveries}
)

// At is the name of a list's field.
func At(field string, i int) string { return field + strconv.Itoa(i) }

// Count is how many of a list there are.
func (l List) Count(v url.Values) int {
	n := 0
	for n < l.Most && v.Has(At(l.First, n)) {
		n++
	}
	return n
}

// Drop takes one out; those after it move up.
func (l List) Drop(v url.Values, at int) {
	n := l.Count(v)
	if at < 0 || at >= n {
		return
	}
	for i := at; i < n; i++ {
		for _, f := range l.Fields {
			if next, ok := v[At(f, i+1)]; ok && i+1 < n {
				v[At(f, i)] = next
			} else {
				v.Del(At(f, i))
			}
		}
	}
}

// Add puts one more at the end, made like the last: a row of pads gets the next
// free letter.
func (l List) Add(v url.Values) {
	n := l.Count(v)
	if n >= l.Most {
		return
	}
	for _, f := range l.Fields {
		v.Set(At(f, n), v.Get(At(f, n-1)))
	}
	set := func(field, value string) { v.Set(At(field, n), value) }
	switch l.Name {
	case Rows.Name:
		for _, f := range []string{"was", "from", "x", "y"} {
			set(f, "")
		}
		set("letter", freeLetter(v, n))
	case Forms.Name:
		for f, value := range map[string]string{"set": "F" + strconv.Itoa(n+1), "count": "1", "cells": "1", "for": "",
			"set_was": ""} {
			set(f, value)
		}
		if r := Rows.Count(v); r > 0 {
			set("for", v.Get(At("letter", r-1)))
		}
	default:
		set("date", "")
	}
}

// freeLetter is the first letter that no row has.
func freeLetter(v url.Values, rows int) string {
	var taken []string
	for i := range rows {
		taken = append(taken, strings.TrimSpace(v.Get(At("letter", i))))
	}
	for r := range 26 * 27 {
		if name := rowName(r); !slices.Contains(taken, name) {
			return name
		}
	}
	return ""
}

// rowName gives A to Z, then AA and on.
func rowName(r int) string {
	if r < 26 {
		return string(rune('A' + r))
	}
	return rowName(r/26-1) + rowName(r%26)
}

// Press does what a button asks that changes the form and keeps nothing: "add
// row", or "drop row 2". It reports whether the button was one of these.
func Press(v url.Values, button string) bool {
	words := strings.Fields(button)
	for _, l := range []List{Rows, Forms, Deliveries} {
		switch {
		case len(words) == 2 && words[0] == "add" && words[1] == l.Name:
			l.Add(v)
			return true
		case len(words) == 3 && words[0] == "drop" && words[1] == l.Name:
			if i, err := strconv.Atoi(words[2]); err == nil {
				l.Drop(v, i)
			}
			return true
		}
	}
	return false
}
