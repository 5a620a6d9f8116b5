// The protocol of alerts
//
// An alert is one for its project, date, kind and occasion (OccasionKey). The
// occasion is the id of the log entry that began it, or the number of the event:
// a new number needs RestMin minutes in which the cause did not hold (Number), so
// that a chance that swings about its limit makes one alert. For each occasion
// and recipient there are three inputs, and Decide answers from them alone.
//
//	cause          sent before?               answer
//	holds          no, too early or quiet     wait until then
//	holds          no                         send
//	holds          no, past its use           expire
//	holds          once or twice, urgent,
//	               unanswered, 3 min ago      send again, under the same id
//	holds          three times, urgent,
//	               unanswered, 3 min ago      send to the next of the crew, once
//	holds          otherwise                  nothing
//	               (resume, dusk, gust and drying leave an hour to act: 20 min)
//	holds no more  no                         expire
//	holds no more  yes                        nothing; a stop is followed by its resume
//
//	kind         cause                                                     urgent        of use until
//	evening      evening_at of the day before                              no            the planned start
//	morning      lead_min before the planned start, or the earliest one    no            the planned start
//	changed      what to do on a day has changed since its alert           no            its latest start
//	not_started  the start has passed without an entry                     no            its latest start
//	rain         the advice turns to cover, or rain was seen               yes           the last pad has set
//	stop         the advice turns to stop or wait                          yes           the advice turns back
//	resume       it turns back after a stop was sent                       yes           the latest start
//	ready        the first pad of the day can be finished; later ones      in its last   its window closes
//	             only when it is urgent                                    15 minutes
//	earlier      windows have moved forward by more than 20 minutes        no            the window closes
//	drying       evaporation above its limit on open concrete              yes           initial set
//	gust         gusts at which sheets lift                                yes           the sheets are off
//	thunder      thunder within the hour, people at work                   yes           30 minutes after it
//	dusk         a pad that is not frost-safe lies open, the night freezes yes           last light
//	strip, damp, uncover   forms, curing water and covers are due, in one  no            the end of the day
//	             message a day
//
// Quiet is from midnight to quiet_until. An urgent alert passes it only while
// soft concrete lies or frost threatens, and what is about a planned start within
// it always does. An alert that has lost its use is never sent: it expires.
package notify
