package forecast

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"time"

	"dryslot/internal/fault"
	"dryslot/internal/place"
	"dryslot/internal/unit"
)

// MaxHours is the most hours that one document may span: no feed reaches
// beyond 16 days, and a wrong date must not fill the memory.
const MaxHours = 45 * 24

// Computed names the source of values that were derived from a feed's values
// rather than given by it.
const Computed = "computed"

// Draft is a forecast while its document is read. Nothing of it is believed
// before Done has found every value within its range.
type Draft struct {
	f   Forecast
	bad fault.List
}

// NewDraft starts a forecast of consecutive hours from the whole hour first.
// It refuses a start that is not a whole hour of UTC, and none or more than
// MaxHours hours.
func NewDraft(cell place.Cell, src Source, wet WetEvent, first time.Time, hours int) (*Draft, error) {
	var bad fault.List
	if !first.Equal(first.Truncate(time.Hour)) {
		bad.Add("time", first.Format(time.RFC3339), "must be a whole hour of UTC")
	}
	if hours < 1 || hours > MaxHours {
		bad.Add("hours", strconv.Itoa(hours), fmt.Sprintf("must be 1 to %d from first to last", MaxHours))
	}
	if err := bad.Err(src.Feed + ": the document's hours make no sense"); err != nil {
		return nil, err
	}
	d := &Draft{f: Forecast{Cell: cell, Sources: []Source{src}, Wet: wet, Hours: make([]Hour, hours)}}
	first = first.UTC()
	for i := range d.f.Hours {
		d.f.Hours[i].Start = first.Add(time.Duration(i) * time.Hour)
	}
	return d, nil
}

// Len returns how many hours the draft has.
func (d *Draft) Len() int { return len(d.f.Hours) }

// Index returns which hour starts at t or holds t, and whether there is one.
func (d *Draft) Index(t time.Time) (int, bool) {
	since := t.Sub(d.f.Hours[0].Start)
	if since < 0 || since >= time.Duration(len(d.f.Hours))*time.Hour {
		return 0, false
	}
	return int(since / time.Hour), true
}

// Put sets one value of hour i in the variable's own unit, as the feed gave
// it in field, at that index of the document. NaN is unknown, and leaves the
// hour as it is. Hours outside the draft are left out, once the value is seen
// to be possible.
func (d *Draft) Put(i int, v Variable, x float64, field string, index int) {
	d.put(i, v, x, 0, field, index)
}

// PutComputed does the same with a value that was derived from the feed's.
func (d *Draft) PutComputed(i int, v Variable, x float64, field string, index int) {
	if len(d.f.Sources) == 1 {
		d.f.Sources = append(d.f.Sources, Source{Feed: Computed, FetchedAt: d.f.Sources[0].FetchedAt})
	}
	d.put(i, v, x, 1, field, index)
}

func (d *Draft) put(i int, v Variable, x float64, from uint8, field string, index int) {
	if math.IsNaN(x) {
		return
	}
	if r := ranges[v]; x < r.lo || x > r.hi {
		d.Fault(field, index, x, fmt.Sprintf("%s must be between %g and %g", v, r.lo, r.hi))
		return
	}
	if i < 0 || i >= len(d.f.Hours) {
		return
	}
	d.f.Hours[i].Values[v] = unit.Some(x)
	d.f.Hours[i].From[v] = from
}

// Get returns a value put before, unknown outside the draft.
func (d *Draft) Get(i int, v Variable) unit.Opt {
	if i < 0 || i >= len(d.f.Hours) {
		return unit.Opt{}
	}
	return d.f.Hours[i].Values[v]
}

// ChanceOver says that the chance of rain of hour i is that of a longer
// period than Wet.Period, in whole hours.
func (d *Draft) ChanceOver(i int, hours int) {
	if i >= 0 && i < len(d.f.Hours) && hours > 0 && hours <= math.MaxUint8 {
		d.f.Hours[i].ChanceHours = uint8(hours)
	}
}

// LeaveOut notes a field whose unit or form is not the stated one. The rest of the
// document is believed: who states a wind in another unit still knows the rain.
func (d *Draft) LeaveOut(field string) {
	src := &d.f.Sources[0]
	const most = 20 // a feed that changes its form may do so in every hour
	if len(src.LeftOut) < most && !slices.Contains(src.LeftOut, field) {
		src.LeftOut = append(src.LeftOut, field)
	}
}

// Essential reports whether no pour is planned without a variable, so that a document
// that gives it in an odd unit or form is refused: the air's temperature, and rain.
func (v Variable) Essential() bool { return v == AirC || v == RainMM || v == RainChance }

// Fault notes one value at fault; the document is refused by Done.
func (d *Draft) Fault(field string, index int, x float64, rule string) {
	const most = 20 // a shifted column breaks a rule in every hour
	if len(d.bad) < most {
		d.bad.Add(field+"["+strconv.Itoa(index)+"]", strconv.FormatFloat(x, 'g', -1, 64), rule)
	}
}

// Done returns the forecast, or fault.Invalid naming each value at fault: one
// value out of range means that the document was misread or is broken, so
// that none of it is believed.
func (d *Draft) Done() (Forecast, error) {
	if err := d.bad.Err(d.f.Sources[0].Feed + ": the document holds values that can't be"); err != nil {
		return Forecast{}, err
	}
	return d.f, nil
}

// Usable refuses a forecast from which no pour could be planned: one without
// any air temperature, or without any amount or chance of rain.
func (f *Forecast) Usable() error {
	var air, rain bool
	for i := range f.Hours {
		v := &f.Hours[i].Values
		air = air || v[AirC].Known
		rain = rain || v[RainMM].Known || v[RainChance].Known
	}
	var bad fault.List
	if !air {
		bad.Add(AirC.String(), "unknown in every hour", "must be known")
	}
	if !rain {
		bad.Add(RainMM.String()+" and "+RainChance.String(), "unknown in every hour", "one must be known")
	}
	feed := "forecast"
	if len(f.Sources) > 0 {
		feed = f.Sources[0].Feed
	}
	return bad.Err(feed + ": the document lacks what planning needs")
}
