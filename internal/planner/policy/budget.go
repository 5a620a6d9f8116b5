package policy

import (
	"context"
	"fmt"
)

// lookAfter is how many units of work are done between two looks at the context.
const lookAfter = 256

// budget counts the work of one call of Make and watches its context. One unit
// is one action weighed, or one member counted for one start of a day.
type budget struct {
	ctx   context.Context
	spent int
	next  int // the count at which the context is looked at again
}

// stopped is what leaves a computation whose context is done. It is caught by
// whoever began the computation and never leaves the package.
type stopped struct{ err error }

// do counts units of work, and stops the computation when the context is done.
func (e *budget) do(units int) {
	e.spent += units
	if e.spent < e.next {
		return
	}
	e.next = e.spent + lookAfter
	if err := e.ctx.Err(); err != nil {
		panic(stopped{err})
	}
}

// Caught turns a stopped computation into its error; other panics go on.
func Caught(err *error) {
	switch p := recover().(type) {
	case nil:
	case stopped:
		*err = fmt.Errorf("planner: stopped before the plan was made: %w", p.err)
	default:
		panic(p)
	}
}
