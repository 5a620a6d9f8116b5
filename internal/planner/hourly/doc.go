// Package hourly owns the decision within a day, made again at each step of an
// hour or less: place the next pad or wait for the next hour, start later, stop
// for the day; cover soft pads or leave them. What is minimised is the expected
// loss to the end of the project, given what is known now and that the crew
// will decide again with what it will know then.
//
//	x, err := hourly.Decide(ctx, &day)
//
// It solves a partially observed decision process by rollout (Bertsekas,
// Dynamic Programming and Optimal Control, volume I, chapter 6): the first
// action is chosen so that following it with the best of a family of simple
// rules loses least over the members of the belief. The rules place a pad while
// its chance of harm, as it will be known then, is below a threshold; so the
// decision is never worse in the model than the best of them. What will be
// known then is simulated: each member in turn is taken as the truth, seen and
// foreseen as well as the nowcast's reliability says, and the belief is
// weighted anew by that.
package hourly
