package view

import (
	"dryslot/internal/message"
	"dryslot/internal/notify"
	"dryslot/internal/say"
)

// Codes of the page of a mail address's reader.
const (
	ReachPage        message.Code = "reach_title"
	reachUnconfirmed message.Code = "reach_unconfirmed" // address, project
	reachActive      message.Code = "reach_active"      // address, project
	reachStopped     message.Code = "reach_stopped"     // address, project
)

// Reach asks the reader of a mail address whether alerts go to it.
type Reach struct {
	Frame
	Words     string
	Action    string
	Confirmed bool
	Stopped   bool
}

func (Reach) template() string { return "reach" }

// NewReach makes the page on which the reader of a mail address confirms or stops
// alerts, by the address's state.
func NewReach(f Frame, r say.Reader, state notify.RecipientState, address, project, action string) Reach {
	code := map[notify.RecipientState]message.Code{notify.Unconfirmed: reachUnconfirmed, notify.Active: reachActive,
		notify.Stopped: reachStopped}[state]
	return Reach{Frame: f, Action: action, Confirmed: state == notify.Active, Stopped: state == notify.Stopped,
		Words: r.Say(message.New(code, message.Name("address", address), message.Name("project", project)))}
}
