package pages

import (
	"net/http"
	"net/url"
	"slices"

	"github.com/labstack/echo/v4"

	"dryslot/internal/fault"
	"dryslot/internal/planner/job"
	"dryslot/internal/web/form"
	"dryslot/internal/web/pages/view"
)

// tried are the fields of the form that tries a change, as the job has them.
func tried(all url.Values) url.Values {
	v := url.Values{}
	for _, name := range []string{"people", "earliest", "water_temp", "day"} {
		v[name] = all[name]
	}
	return v
}

func (p *pages) askTry(c echo.Context) error {
	return p.onProject(c, func(b board) error {
		v := tried(form.Of(b.Project.Spec, b.Reader))
		in := view.JobInput{Values: v, Got: form.Read(v, b.Project.Spec, b.Reader)}
		return p.show(c, http.StatusOK, view.NewTry(b.Setting, in, nil))
	})
}

// try plans under a change and keeps nothing.
func (p *pages) try(c echo.Context) error {
	return p.onProject(c, func(b board) error {
		v, _ := posted(c)
		v["day"] = b.Project.Crew.Days // not asked
		r := b.Reader
		in := view.JobInput{Values: v, Got: form.Read(v, b.Project.Spec, r)}
		in.Wrong = formFaults(nil, in.Got.Wrong.Broken(FormUnread), in.Got, r)
		in.Wrong = formFaults(in.Wrong, in.Got.Spec.Validate(), in.Got, r)
		if len(in.Wrong) > 0 {
			return p.show(c, http.StatusUnprocessableEntity, view.NewTry(b.Setting, in, nil))
		}
		res, err := p.services.Projects.WhatIf(c.Request().Context(), account(c), b.Project.ID, whatIf(b, v, in.Got))
		if fault.KindOf(err) == fault.Invalid {
			in.Wrong = formFaults(nil, err, in.Got, r)
			return p.show(c, http.StatusUnprocessableEntity, view.NewTry(b.Setting, in, nil))
		}
		if err != nil {
			return p.trouble(c, err)
		}
		return p.show(c, http.StatusOK, view.NewTry(b.Setting, in, &res))
	})
}

// whatIf is the change: what is as the job has it is left out.
func whatIf(b board, v url.Values, got form.Got) job.WhatIf {
	var w job.WhatIf
	was, now := b.Project.Spec, got.Spec
	if now.Crew.People != was.Crew.People {
		w.People = &now.Crew.People
	}
	if now.Crew.EarliestStart != was.Crew.EarliestStart {
		w.EarliestStart = &now.Crew.EarliestStart
	}
	if t := now.Mix.WaterTemperatureC; t != nil && (was.Mix.WaterTemperatureC == nil ||
		*t != *was.Mix.WaterTemperatureC) {
		w.WaterTemperatureC = t
	}
	if cover := v.Get("cover"); slices.Contains(view.TriedCovers(), cover) {
		w.Cover = &cover
	}
	for _, pad := range was.Pads {
		if slices.Contains(v["pads"], pad.Name) {
			w.Pads = append(w.Pads, pad.Name)
		}
	}
	return w
}
