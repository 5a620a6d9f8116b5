package api

import (
	"context"
	"math"
	"net/http"
	"time"

	"dryslot/internal/history"
	"dryslot/internal/message"
	"dryslot/internal/pour"
	"dryslot/internal/say"
	"dryslot/internal/today"
	"dryslot/internal/web"
)

// nowView is the answer for this minute.
type nowView struct {
	At        time.Time    `json:"at" doc:"The minute that this is the answer for"`
	Day       string       `json:"day" enum:"off,planned,under_way,done" doc:"How far the day has come"`
	Advice    adviceView   `json:"advice" doc:"What to do at this minute"`
	Next      []nextView   `json:"next" doc:"All that is to be done within 36 hours, in the order of from"`
	Rain      rainView     `json:"rain" doc:"What rain was seen, and is to be expected"`
	Hazards   []hazardView `json:"hazards" doc:"What else threatens in the next hours, or asks for haste"`
	Questions []question   `json:"questions" doc:"What the log leaves open"`
	Pads      []nowPad     `json:"pads" doc:"In the order of the project's pads"`
}

// reason is a sentence with the code and the figures that it was made of.
type reason struct {
	Code    message.Code    `json:"code"`
	Figures message.Figures `json:"figures" doc:"The figures in the text"`
	Text    string          `json:"text"`
}

func reasonOf(m message.Message, r say.Reader) reason {
	if m.Figures == nil {
		m.Figures = message.Figures{}
	}
	return reason{m.Code, m.Figures, r.Say(m)}
}

type adviceView struct {
	Do        string     `json:"do" enum:"go_on,start_later,wait,cover,stop,none" doc:"What to do now"`
	Pads      []string   `json:"pads" doc:"That it is about"`
	Until     *time.Time `json:"until" doc:"null: until something happens"`
	Why       reason     `json:"why"`
	RecheckAt *time.Time `json:"recheck_at" doc:"When to ask again"`
}

type nextView struct {
	Do    string     `json:"do" enum:"set_up,form,place,finish,cover,uncover,damp,strip,clean_up" doc:"What to do"`
	Pads  []string   `json:"pads"`
	From  time.Time  `json:"from" doc:"Not before"`
	Until *time.Time `json:"until" doc:"null: no end"`
	Late  bool       `json:"late" doc:"until has passed"`
	Why   reason     `json:"why"`
}

type hazardView struct {
	Threat string     `json:"threat" enum:"drying,gusts,thunder,earlier" doc:"earlier: finished sooner than planned"`
	Pads   []string   `json:"pads"`
	From   time.Time  `json:"from"`
	Until  *time.Time `json:"until" doc:"null: not known"`
	Why    reason     `json:"why"`
}

type rainView struct {
	Seen      bool        `json:"seen" doc:"It rains at the place, as was last logged"`
	NextHours []hourRain  `json:"next_hours" doc:"The chance of 0.25 mm or more in the hour, and the mean amount"`
	Reaches   []reachView `json:"reaches" doc:"Soft pads: the chance that rain comes before initial set"`
}

type hourRain struct {
	Time   time.Time `json:"time"`
	Chance float64   `json:"chance" doc:"Of 0.25 mm or more, 0 to 1"`
	MM     float64   `json:"mm" doc:"Mean depth of rain in mm"`
}

// thousandths rounds a figure to what it can be trusted to.
func thousandths(v float64) float64 { return math.Round(v*1000) / 1000 }

type reachView struct {
	Pad    string  `json:"pad"`
	Chance float64 `json:"chance" doc:"0 to 1"`
}

type nowPad struct {
	Pad        string     `json:"pad"`
	Phase      string     `json:"phase" enum:"waiting,formed,placing,soft,setting,hard,stripped,cured,lost"`
	Covered    bool       `json:"covered" doc:"A cover lies over it"`
	Inspect    bool       `json:"inspect" doc:"It is to be looked over"`
	Assumed    bool       `json:"assumed" doc:"Not logged: taken to have been done as planned"`
	InitialSet *time.Time `json:"initial_set" doc:"When it is no longer soft; null: not placed, or not known"`
	FinalSet   *time.Time `json:"final_set" doc:"When it is hard; null: not placed, or not known"`
}

func (s *server) nowRoutes() {
	handle(s, route{method: http.MethodGet, path: "/v1/projects/{id}/now", id: "get-now",
		summary: "The day as it stands, and what to do next"}, s.getNow)
}

func (s *server) getNow(ctx context.Context, c *call, in *InProject) (*reply[nowView], error) {
	var out *nowView
	err := s.inProject(ctx, c, in.ID, func(ctx context.Context, tx web.Tx, p pour.Project, zone *time.Location) error {
		now, err := s.services.Projects.Today(ctx, p)
		if err != nil {
			return err
		}
		out = viewOfNow(now, s.reader(c, p, zone))
		inZone(out, zone)
		return nil
	})
	return &reply[nowView]{Body: out}, err
}

func viewOfNow(n today.Now, r say.Reader) *nowView {
	a := n.Advice
	out := &nowView{At: n.At, Day: string(n.Day), Next: make([]nextView, len(n.Next)),
		Questions: questions(n.Questions, r), Pads: make([]nowPad, len(n.Pads)),
		Advice: adviceView{string(a.Do), listed(a.Pads), some(a.Until), reasonOf(a.Why, r), some(a.RecheckAt)},
		Rain: rainView{Seen: n.Rain.Seen, NextHours: make([]hourRain, len(n.Rain.Hours)),
			Reaches: make([]reachView, len(n.Rain.Reaches))}}
	for i, x := range n.Rain.Hours {
		out.Rain.NextHours[i] = hourRain{x.Time, thousandths(x.Chance), thousandths(x.MM)}
	}
	for i, x := range n.Rain.Reaches {
		out.Rain.Reaches[i] = reachView{x.Pad, thousandths(x.Chance)}
	}
	for i, x := range n.Next {
		out.Next[i] = nextView{string(x.Do), listed(x.Pads), x.From, some(x.Until), x.Late, reasonOf(x.Why, r)}
	}
	out.Hazards = make([]hazardView, len(n.Hazards))
	for i, x := range n.Hazards {
		out.Hazards[i] = hazardView{string(x.Threat), listed(x.Pads), x.From, some(x.Until), reasonOf(x.Why, r)}
	}
	for i, p := range n.Pads {
		out.Pads[i] = padOfNow(p)
	}
	return out
}

func padOfNow(p history.Pad) nowPad {
	return nowPad{p.Pad, string(p.Phase), p.Covered, p.Inspect != nil, p.Assumed, p.InitialSet, p.FinalSet}
}
