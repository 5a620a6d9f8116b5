package pages

import (
	"context"
	"errors"
	"net/http"
	"net/url"
	"strings"

	"github.com/labstack/echo/v4"

	"dryslot/internal/fault"
	"dryslot/internal/notify"
	"dryslot/internal/place"
	"dryslot/internal/pour"
	"dryslot/internal/say"
	"dryslot/internal/web/form"
	"dryslot/internal/web/pages/view"
)

// Places finds places by name.
type Places interface {
	// Find returns the places of a name as it is typed, best first, named in a language;
	// fault.Invalid, fault.Unavailable.
	Find(ctx context.Context, typed, language string) ([]place.Named, error)
}

// setupReader is who the form is for: the units are those asked for, else those
// usual where the language is spoken.
func (p *pages) setupReader(c echo.Context, units string) say.Reader {
	r := p.reader(c)
	if units != "" {
		r.US = units == place.UnitsUS
	}
	return r
}

// askSetup opens with an example that can be changed.
func (p *pages) askSetup(c echo.Context) error {
	r := p.setupReader(c, c.QueryParam("units"))
	in := p.readJob(c.Request().Context(), form.Example(r, r.Label(view.JobExample)), newJob(), r, false)
	in.Wrong = nil // nothing was given yet
	return p.show(c, http.StatusOK, view.NewJob(p.plain(c, view.SetupPage), r, in))
}

// newJob is what a job is made over: its price is not taken for another bag's.
func newJob() pour.Spec {
	s := pour.DefaultSpec()
	s.Mix.PricePerBag = nil
	return s
}

// posted are the values of a form that was posted, with the button's.
func posted(c echo.Context) (v url.Values, button string) {
	v = c.Request().PostForm
	return v, v.Get("do")
}

// setup makes a project from the form; all that is wrong is said at once, with
// what was given still in it. Other buttons than the last change the form, or
// work it out, and keep nothing.
func (p *pages) setup(c echo.Context) error {
	ctx := c.Request().Context()
	v, button := posted(c)
	r := p.setupReader(c, v.Get("units"))
	pressed := form.Press(v, button)
	keep := !pressed && button != lookOnly
	in := p.readJob(ctx, v, newJob(), r, keep)
	mail := notify.Recipient{Kind: notify.Email, Address: strings.TrimSpace(v.Get("email"))}
	if mail.Address != "" && !pressed {
		in.Wrong = formFaults(in.Wrong, mail.Check(), in.Got, r)
	}
	if !keep || len(in.Wrong) > 0 {
		return p.show(c, status(keep), view.NewJob(p.plain(c, view.SetupPage), r, in))
	}
	kept, err := p.services.Projects.CreateProject(ctx, account(c), in.Got.Spec)
	if err == nil && mail.Address != "" {
		mail.Project = kept.ID
		_, err = p.services.Alerts.AddRecipient(ctx, account(c), mail)
	}
	switch {
	case err == nil:
		return c.Redirect(http.StatusSeeOther, "/p/"+kept.ID)
	case fault.KindOf(err) != fault.Invalid:
		return p.trouble(c, err)
	}
	in.Wrong = formFaults(nil, err, in.Got, r)
	return p.show(c, http.StatusUnprocessableEntity, view.NewJob(p.plain(c, view.SetupPage), r, in))
}

// lookOnly is the button that reads the form back and works the takeoff out.
const lookOnly = "look"

// status is that of a form shown again: one that could not be kept, or one that
// was not to be.
func status(keep bool) int {
	if keep {
		return http.StatusUnprocessableEntity
	}
	return http.StatusOK
}

// readJob reads the form over a spec, finds its place, and works the takeoff out
// where nothing is wrong with what it goes by. An empty field is wrong only
// where the job is to be kept.
func (p *pages) readJob(ctx context.Context, v url.Values, base pour.Spec, r say.Reader, keep bool) view.JobInput {
	in := view.JobInput{Values: v, Got: form.Read(v, base, r), Search: p.services.Places != nil}
	var place fault.List
	if keep || strings.TrimSpace(v.Get("place")) != "" {
		place = p.findPlace(ctx, &in, base, r)
	}
	in.Wrong = formFaults(nil, append(in.Got.Wrong, place...).Broken(FormUnread), in.Got, r)
	in.Wrong = formFaults(in.Wrong, in.Got.Spec.Validate(), in.Got, r)
	in.Take = view.Take{Lacks: r.Label(view.TakeLacks)}
	sound := true
	for _, w := range in.Wrong {
		sound = sound && besideTakeoff[w.Field]
	}
	if sound {
		in.Take = view.NewTake(r, in.Got.Spec)
	}
	return in
}

// besideTakeoff are the fields that the takeoff does not go by.
var besideTakeoff = map[string]bool{"name": true, "place": true, "email": true, "earliest": true, "latest": true,
	"day": true, "evening": true, "quiet": true, "lead": true, "risk": true, "shade": true, "water_temp": true,
	"bag_temp": true, "shade_hours": true, "admixture": true, "label_set": true, "label_walk": true, "base_cover": true,
	"guard": true, "curing": true, "curing_days": true}

// findPlace looks the place up where it is no coordinates: a single one is
// taken, of several one has to be chosen.
func (p *pages) findPlace(ctx context.Context, in *view.JobInput, base pour.Spec, r say.Reader) (wrong fault.List) {
	typed := strings.TrimSpace(in.Values.Get("place"))
	spec := &in.Got.Spec
	if _, _, ok := form.Coordinates(typed); ok {
		return nil
	}
	if p.services.Places == nil || typed == "" {
		wrong.Break("place", typed, fault.RuleOf(view.PlaceDegrees))
		return wrong
	}
	language, _, _ := strings.Cut(r.Language, "-")
	found, err := p.services.Places.Find(ctx, typed, language)
	var f *fault.Error
	switch {
	case errors.Is(err, fault.Invalid) && errors.As(err, &f) && len(f.Fields) == 1 && f.Fields[0].Path == "place":
		wrong.Break("place", typed, f.Fields[0].Rule)
		return wrong
	case err != nil:
		p.s.Log.WarnContext(ctx, "a place could not be looked up", "error", err)
		wrong.Break("place", typed, fault.RuleOf(view.PlaceSearchDown))
		return wrong
	case len(found) == 0:
		wrong.Break("place", typed, fault.RuleOf(view.PlaceNone))
		return wrong
	}
	chosen := 0
	if len(found) > 1 {
		in.Spots = found[:min(len(found), mostSpots)]
		chosen = -1
		for i, n := range in.Spots {
			if in.Values.Get("spot_of") == in.Values.Get("place") &&
				form.Degrees(n.Latitude, n.Longitude) == in.Values.Get("spot") {
				chosen = i
			}
		}
	}
	if chosen < 0 {
		wrong.Break("place", typed, fault.RuleOf(view.PlaceMany))
		return wrong
	}
	in.Found = &found[chosen]
	if at := form.Degrees(in.Found.Latitude, in.Found.Longitude); at != form.Degrees(base.Latitude, base.Longitude) ||
		base.TimeZone == "" {
		spec.Move(in.Found.Latitude, in.Found.Longitude, in.Found.ElevationM)
	}
	return nil
}

// mostSpots is how many places of one name there are to choose from.
const mostSpots = 8
