package api

import (
	"encoding/base64"
	"slices"
	"strings"

	"dryslot/internal/fault"
	"dryslot/internal/paging"
	"dryslot/internal/web"
)

// list is one part of a list.
type list[T any] struct {
	Items      []T     `json:"items"`
	NextCursor *string `json:"next_cursor"` // null: this is the last part
}

// next returns the cursor of the part after this one; empty: this is the last.
func (l *list[T]) next() string {
	if l.NextCursor == nil {
		return ""
	}
	return *l.NextCursor
}

func newList[T any](items []T, next string) *list[T] {
	if items == nil {
		items = []T{}
	}
	l := &list[T]{Items: items}
	if next != "" {
		l.NextCursor = &next
	}
	return l
}

// InPage asks for a part of a list.
type InPage struct {
	Cursor string `query:"cursor" doc:"next_cursor of the part before"`
	Limit  whole  `query:"limit" minimum:"1" maximum:"200" doc:"How many items at most; 50 when absent"`
}

// listIn asks for a part of one of a project's lists.
type listIn struct {
	InProject
	InPage
}

// page reads what part of a list is wanted. The store knows its own cursors;
// what can't be one is refused here.
func (p InPage) page() (paging.Page, error) {
	var l fault.List
	out := paging.Page{Cursor: p.Cursor, Limit: p.Limit.within(&l, "limit", 50, 1, 200)}
	if len(p.Cursor) > 500 || strings.ContainsFunc(p.Cursor, web.NotPrintableASCII) {
		l.Break("cursor", web.Cut(p.Cursor), fault.RuleOf(fault.CursorUnknown))
	}
	return out, l.Broken(QueryBreaksRule)
}

// part returns the part of a whole list that is wanted. An item's key is its
// place in the list for a cursor; what is added or gone between two parts
// moves no other item.
func part[T any](items []T, page paging.Page, key func(T) string) (*list[T], error) {
	if page.Cursor != "" {
		last, err := base64.RawURLEncoding.DecodeString(page.Cursor)
		i := slices.IndexFunc(items, func(v T) bool { return key(v) == string(last) })
		if err != nil || i < 0 {
			var l fault.List
			l.Break("cursor", web.Cut(page.Cursor), fault.RuleOf(fault.CursorUnknown))
			return nil, l.Broken(QueryBreaksRule)
		}
		items = items[i+1:]
	}
	if len(items) <= page.Limit {
		return newList(items, ""), nil
	}
	items = items[:page.Limit]
	return newList(items, base64.RawURLEncoding.EncodeToString([]byte(key(items[page.Limit-1])))), nil
}
