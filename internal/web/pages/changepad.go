package pages

import (
	"net/http"
	"net/url"
	"slices"
	"strconv"

	"github.com/labstack/echo/v4"

	"dryslot/internal/fault"
	"dryslot/internal/message"
	"dryslot/internal/pour"
	"dryslot/internal/web/form"
	"dryslot/internal/web/pages/view"
)

// onPad runs a page of one pad's form.
func (p *pages) onPad(c echo.Context, fn func(b board, i int) error) error {
	return p.onProject(c, func(b board) error {
		name, err := url.PathUnescape(c.Param("pad"))
		if err != nil {
			name = c.Param("pad")
		}
		i := slices.IndexFunc(b.Project.Pads, func(x pour.Pad) bool { return x.Name == name })
		if i < 0 {
			return p.trouble(c, fault.Of(fault.NotFound, NoSuchPad, message.Name("pad", name)))
		}
		return fn(b, i)
	})
}

func (p *pages) askPad(c echo.Context) error {
	return p.onPad(c, func(b board, i int) error {
		v := form.OfPad(b.Project.Spec, i, b.Reader)
		in := view.JobInput{Values: v, Got: form.ReadPad(v, b.Project.Spec, i, b.Reader)}
		return p.show(c, http.StatusOK, view.NewPadForm(b.Setting, b.Project.Pads[i].Name, in))
	})
}

// changePad keeps a pad as its form says, or takes it out of the job.
func (p *pages) changePad(c echo.Context) error {
	return p.onPad(c, func(b board, i int) error {
		v, button := posted(c)
		in := view.JobInput{Values: v, Got: form.ReadPad(v, b.Project.Spec, i, b.Reader)}
		spec := in.Got.Spec
		if button == "remove" {
			spec = form.WithoutPad(b.Project.Spec, i)
		} else {
			in.Wrong = formFaults(nil, in.Got.Wrong.Broken(FormUnread), in.Got, b.Reader)
			in.Wrong = formFaults(in.Wrong, spec.Validate(), in.Got, b.Reader)
		}
		if len(in.Wrong) == 0 {
			revision, _ := strconv.ParseInt(v.Get("revision"), 10, 64) // unreadable: no revision, so stale
			_, err := p.services.Projects.ChangeProject(c.Request().Context(), account(c), b.Project.ID, revision, spec)
			switch kind := fault.KindOf(err); {
			case err == nil:
				return c.Redirect(http.StatusSeeOther, "/p/"+b.Project.ID+"/change")
			case kind == fault.Stale:
				in.Wrong = []view.Fault{{Words: b.Reader.Label(view.ChangedMeanwhile)}}
			case kind == fault.Invalid || kind == fault.Conflict:
				in.Wrong = formFaults(nil, err, in.Got, b.Reader)
			default:
				return p.trouble(c, err)
			}
		}
		return p.show(c, http.StatusUnprocessableEntity, view.NewPadForm(b.Setting, b.Project.Pads[i].Name, in))
	})
}
