// Package paging says which part of a long list is asked for.
package paging

// Page asks for a part of a list.
type Page struct {
	Cursor string // opaque, from the page before; empty: from the beginning
	Limit  int    // 1 to 200
}
