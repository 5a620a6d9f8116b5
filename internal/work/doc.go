// Package work owns the kinds of queued work: the arguments of each, which are
// ids only, the queue that it waits in and its priority, and how long to wait
// before a further try. What enqueues work and what does it need not know each
// other.
package work
