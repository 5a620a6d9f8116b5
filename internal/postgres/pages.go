package postgres

import (
	"encoding/base64"
	"fmt"
	"strconv"
	"time"

	"dryslot/internal/fault"
	"dryslot/internal/paging"
)

// longestPage is how many items a page has at most.
const longestPage = 200

// cursor is where the next page begins: after the row with this number, of
// this list, and in lists ordered by time, this time.
type cursor struct {
	list  string
	micro int64 // since 1970, of the row's time; 0 in lists ordered by number alone
	seq   int64
	first bool // nothing before it
}

// readPage checks a page and reads its cursor.
func readPage(list string, p paging.Page) (cursor, error) {
	var bad fault.List
	if p.Limit < 1 || p.Limit > longestPage {
		bad.Break("limit", strconv.Itoa(p.Limit), fault.Whole(1, longestPage))
	}
	c := cursor{list: list, first: p.Cursor == ""}
	if !c.first {
		b, err := base64.RawURLEncoding.DecodeString(p.Cursor)
		var of string
		if err == nil {
			_, err = fmt.Sscanf(string(b), "%s %d %d", &of, &c.micro, &c.seq)
		}
		if err != nil || of != list {
			bad.Break("cursor", p.Cursor, fault.RuleOf(fault.CursorUnknown))
		}
	}
	return c, bad.Err("there is no such page")
}

// at returns the time of the row before the page.
func (c cursor) at() time.Time { return time.UnixMicro(c.micro) }

// after returns the cursor of the page that begins after a row.
func (c cursor) after(at time.Time, seq int64) string {
	micro := int64(0)
	if !at.IsZero() {
		micro = at.UnixMicro()
	}
	return base64.RawURLEncoding.EncodeToString(fmt.Appendf(nil, "%s %d %d", c.list, micro, seq))
}

// row is an item with its place in the list.
type row[T any] struct {
	item T
	at   time.Time
	seq  int64
}

// cut returns the items of a page from the rows read, of which there is one
// too many when another page follows.
func cut[T any](c cursor, rows []row[T], limit int) (items []T, next string) {
	if len(rows) > limit {
		rows = rows[:limit]
		last := rows[limit-1]
		next = c.after(last.at, last.seq)
	}
	items = make([]T, len(rows))
	for i, r := range rows {
		items[i] = r.item
	}
	return items, next
}
