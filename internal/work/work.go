package work

import "dryslot/internal/place"

// Work is something to be done once the transaction that asked for it has
// committed. Kinds that are slow for different reasons have different queues,
// so that a slow feed never delays an alert. A new kind has a queue of its own:
// workers of the version before take no work that they do not know. Within a
// queue the priority orders the kinds.
type Work interface {
	Kind() string
	Queue() string
	Priority() int // 1 comes first, 4 last
}

// The queues of work.
const (
	QueueFetch = "fetch" // waits for providers of weather
	QueueTurns = "turns" // plans; accounts take turns
	QueuePlan  = "plan"  // plans, as versions before this one enqueued them
	QueueAlert = "alert" // somebody waits for the result
	QueueShort = "short" // waits for providers while a crew is at work
	QueueMail  = "mail"  // somebody waits for a link
	QueueTold  = "told"  // accounts are told what was added to them
)

// FetchCell fetches the forecast of one grid cell.
type FetchCell struct {
	Cell place.Cell `json:"cell"`
}

// FetchShort fetches the short-range product of one grid cell.
type FetchShort struct {
	Cell place.Cell `json:"cell"`
}

// NextPlan makes the plan whose turn is next.
type NextPlan struct{}

// Replan makes the plan of one project again. It waits as a row of the queue of
// turns; versions before this one made a job of it.
type Replan struct {
	Account string `json:"account"`
	Project string `json:"project"`
	Because string `json:"because"`
}

// RaiseAlerts raises the alerts of one project that have come due.
type RaiseAlerts struct {
	Account string `json:"account"`
	Project string `json:"project"`
}

// Deliver makes one try to deliver an alert.
type Deliver struct {
	Account string `json:"account"`
	Key     string `json:"key"`
}

// MailLink mails a link to sign in by.
type MailLink struct {
	Order string `json:"order"`
}

// MailNotice mails an account what was added to it.
type MailNotice struct {
	Order string `json:"order"`
}

// Kind names the work.
func (FetchCell) Kind() string   { return "fetch_cell" }
func (FetchShort) Kind() string  { return "fetch_short" }
func (NextPlan) Kind() string    { return "next_plan" }
func (Replan) Kind() string      { return "replan" }
func (RaiseAlerts) Kind() string { return "raise_alerts" }
func (Deliver) Kind() string     { return "deliver" }
func (MailLink) Kind() string    { return "mail_link" }
func (MailNotice) Kind() string  { return "mail_notice" }

// Queue names where the work waits.
func (FetchCell) Queue() string   { return QueueFetch }
func (FetchShort) Queue() string  { return QueueShort }
func (NextPlan) Queue() string    { return QueueTurns }
func (Replan) Queue() string      { return QueuePlan }
func (RaiseAlerts) Queue() string { return QueueAlert }
func (Deliver) Queue() string     { return QueueAlert }
func (MailLink) Queue() string    { return QueueMail }
func (MailNotice) Queue() string  { return QueueTold }

// Priority orders the work of a queue: alerts that were raised are delivered
// before more are raised, and both come before planning and fetching.
func (Deliver) Priority() int     { return 1 }
func (MailLink) Priority() int    { return 1 }
func (MailNotice) Priority() int  { return 1 }
func (RaiseAlerts) Priority() int { return 2 }
func (NextPlan) Priority() int    { return 3 }
func (Replan) Priority() int      { return 3 }
func (FetchShort) Priority() int  { return 2 }
func (FetchCell) Priority() int   { return 4 }

// ProjectRef names a project whose rows only its account may read.
type ProjectRef struct{ Account, Project string }

// DeliveryRef names a delivery whose row only its account may read.
type DeliveryRef struct{ Account, Key string }
