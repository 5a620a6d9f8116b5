package fetching

import (
	"slices"
	"time"

	"dryslot/internal/forecast"
	"dryslot/internal/message"
)

// The circuit of a feed. Judgement: five failures in a row, over all cells,
// are the feed's and not a cell's; a pause starts at half a minute and doubles
// up to half an hour, after which one request tries whether it is back.
const (
	circuitAfter = 5
	circuitPause = 30 * time.Second
	circuitMost  = 30 * time.Minute
	// crowded is how soon to look again while as many requests are under way
	// as the provider bears.
	crowded = 200 * time.Millisecond
)

// Take asks for one request to the feed at now, given up for lost at giveUp.
// It returns 0 and counts the request, or how long to wait, and why.
func (s *FeedState) Take(l forecast.Limits, p purpose, now, giveUp time.Time) (wait time.Duration, why message.
	Message) {
	s.forget(now)
	feed := message.Name("feed", s.Feed)
	probing := s.Failures >= circuitAfter
	switch {
	case now.Before(s.OpenUntil):
		return s.OpenUntil.Sub(now), message.New(FeedPaused, feed, message.Count("failures", s.Failures),
			message.At("until", s.OpenUntil.UTC()))
	case probing && len(s.InFlight) > 0:
		return crowded, message.New(FeedProbed, feed)
	case l.AtOnce > 0 && len(s.InFlight) >= l.AtOnce:
		return crowded, message.New(FeedBusy, feed)
	}
	weight := l.Weight
	if weight <= 0 {
		weight = 1
	}
	var r reserve
	if !p.short {
		r = reserveOf(l, p.live)
	}
	for _, w := range [...]struct {
		most   int
		length time.Duration
		free   float64
		name   string
	}{{l.PerMinute, time.Minute, r.minute, "each minute"}, {l.PerHour, time.Hour, r.hour, "each hour"},
		{l.PerDay, 24 * time.Hour, r.day, "each day"}} {
		unused := max(0, w.free-s.shortIn(w.length, now))
		if d := s.full(w.most, w.length, weight+unused, now); d > wait {
			wait, why = d, message.New(FeedUsedUp, feed, message.Count("max", w.most), message.Term("period", w.name))
		}
	}
	if wait > 0 {
		return wait, why
	}
	s.InFlight = append(s.InFlight, giveUp.UTC())
	taken := Taken{At: now.Unix() + 1, Weight: weight} // rounded up: never forgotten too early
	if p.short {
		taken.Short = weight
	}
	s.Taken = append(s.Taken, taken)
	s.gather(now)
	return 0, message.Message{}
}

// Done records what became of a request that was taken with giveUp.
func (s *FeedState) Done(giveUp, now time.Time, o FeedOutcome) {
	if i := slices.IndexFunc(s.InFlight, giveUp.Equal); i >= 0 {
		s.InFlight = slices.Delete(s.InFlight, i, i+1)
	}
	if !o.Failed {
		s.Failures, s.OpenUntil, s.Trouble = 0, time.Time{}, ""
		return
	}
	s.Failures++
	s.Trouble = o.Why
	if o.RetryAfter > 0 {
		s.OpenUntil = later(s.OpenUntil, now.Add(min(o.RetryAfter, 24*time.Hour)).UTC())
	}
	if n := s.Failures - circuitAfter; n >= 0 {
		pause := circuitMost
		if n < 6 {
			pause = min(circuitMost, circuitPause<<n)
		}
		s.OpenUntil = later(s.OpenUntil, now.Add(pause).UTC())
	}
}

// FeedOutcome is what became of one request, as far as it says something of the feed.
type FeedOutcome struct {
	Failed     bool // the feed's own failure; a refusal of one cell is none
	Why        string
	RetryAfter time.Duration // the provider's wish for all requests; 0: none
}

// forget drops what no limit looks at any more.
func (s *FeedState) forget(now time.Time) {
	s.InFlight = slices.DeleteFunc(s.InFlight, func(t time.Time) bool { return !t.After(now) })
	s.Taken = slices.DeleteFunc(s.Taken, func(t Taken) bool { return t.At <= now.Add(-24*time.Hour).Unix() })
}

// gather joins what was asked shortly after one another, more coarsely the
// longer ago it was, so that the state stays small. What is joined counts as
// asked at its last moment: it is never forgotten too early.
func (s *FeedState) gather(now time.Time) {
	span := func(at int64) int64 {
		switch age := now.Unix() - at; {
		case age < 120:
			return at / 5
		case age < 2*3600:
			return at / 60 * 12
		}
		return at / 3600 * 720
	}
	kept := s.Taken[:0]
	for _, t := range s.Taken {
		if n := len(kept); n > 0 && span(kept[n-1].At) == span(t.At) {
			kept[n-1].At = max(kept[n-1].At, t.At)
			kept[n-1].Weight += t.Weight
			kept[n-1].Short += t.Short
			continue
		}
		kept = append(kept, t)
	}
	s.Taken = kept
}

// shortIn is what short-range products took in the last length of time.
func (s *FeedState) shortIn(length time.Duration, now time.Time) (sum float64) {
	for _, t := range s.Taken {
		if t.At > now.Unix()-int64(length/time.Second) {
			sum += t.Short
		}
	}
	return sum
}

// full returns how long until a request of the weight fits into the last
// length of time; 0: it fits now. One that is heavier than the whole limit
// fits when nothing else was asked.
func (s *FeedState) full(most int, length time.Duration, weight float64, now time.Time) time.Duration {
	if most <= 0 {
		return 0
	}
	seconds := int64(length / time.Second)
	sum := 0.0
	for _, t := range s.Taken {
		if t.At > now.Unix()-seconds {
			sum += t.Weight
		}
	}
	free := now
	for _, t := range s.Taken {
		if sum+weight <= float64(most) || sum <= 0 {
			break
		}
		if t.At > now.Unix()-seconds {
			sum -= t.Weight
			free = time.Unix(t.At+seconds, 0)
		}
	}
	return max(0, free.Sub(now))
}

func later(a, b time.Time) time.Time {
	if a.After(b) {
		return a
	}
	return b
}
