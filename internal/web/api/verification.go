package api

import (
	"context"

	"dryslot/internal/forecast"
	"dryslot/internal/web"
)

// verificationView is how earlier chances of rain proved in a project's
// cell and everywhere.
type verificationView struct {
	Of      string      `json:"of" doc:"Whose chances of what"`
	Against string      `json:"against" doc:"What they were held against"`
	Leads   []proofView `json:"leads" doc:"By lead time, each row from the end of the one before"`
}

// proofView is one band of leads; a figure without anything to be had from is
// null. The chances are those stated, before any recalibration.
type proofView struct {
	LeadH        int       `json:"lead_h" doc:"The end of the band, in hours from the forecast"`
	Pairs        int       `json:"pairs" doc:"Hours whose chance and outcome are known, in this cell"`
	Brier        *float64  `json:"brier" doc:"0 best, 1 worst"`
	Skill        *float64  `json:"skill" doc:"Against always stating how often it was wet: 1 best, 0 no better"`
	Bias         *float64  `json:"bias" doc:"Mean stated chance less share of wet hours"`
	Gap          *float64  `json:"gap" doc:"Reliability: mean distance of stated chance and share of wet hours"`
	Everywhere   scoreView `json:"everywhere" doc:"The same over all cells"`
	Recalibrated bool      `json:"recalibrated" doc:"A correction is in use that does better on unseen weeks"`
	LearnedFrom  *string   `json:"learned_from" enum:"here,everywhere"`
	HeldBack     *heldView `json:"held_back" doc:"What that decision rests on; null: too little is known yet"`
}

type scoreView struct {
	Pairs int      `json:"pairs"`
	Brier *float64 `json:"brier"`
	Skill *float64 `json:"skill"`
	Bias  *float64 `json:"bias"`
	Gap   *float64 `json:"gap"`
}

type heldView struct {
	Pairs       int     `json:"pairs"`
	BrierBefore float64 `json:"brier_before"`
	BrierAfter  float64 `json:"brier_after"`
}

// verification returns how forecasts like the kept one proved; nil where it
// states no chances.
func (s *server) verification(ctx context.Context, account string, kept forecast.Kept) (*verificationView, error) {
	of, reports, ok, err := s.services.Forecasts.Proved(ctx, account, kept)
	if err != nil || !ok {
		return nil, err
	}
	v := &verificationView{Of: of, Against: web.HeldAgainst}
	for i, r := range reports {
		here := scoreViewOf(r.Here)
		p := proofView{LeadH: int(forecast.Leads[i].Hours()), Pairs: here.Pairs, Brier: here.Brier, Skill: here.Skill,
			Bias: here.Bias, Gap: here.Gap, Everywhere: scoreViewOf(r.Everywhere), Recalibrated: r.Recalibrated}
		if r.Recalibrated {
			from := "here"
			if r.Pooled {
				from = "everywhere"
			}
			p.LearnedFrom = &from
		}
		if r.Held > 0 {
			p.HeldBack = &heldView{r.Held, r.Before, r.After}
		}
		v.Leads = append(v.Leads, p)
	}
	return v, nil
}

func scoreViewOf(s forecast.Score) scoreView {
	v := scoreView{Pairs: s.Pairs}
	if s.Pairs > 0 {
		v.Brier, v.Bias, v.Gap = &s.Brier, &s.Bias, &s.Gap
	}
	if s.Climate > 0 {
		v.Skill = &s.Skill
	}
	return v
}
