// Package bench is what happens at the bench while a procedure is gone through: which
// step comes next, what a reading says against its limits, what follows for the
// diagnosis, and what is still in place when the bench is left.
//
// It is pure: a procedure, a unit profile and the events so far give a state, by the
// same events always the same one. No clock, no terminal, no file is in it, so that
// a terminal, a page or a script are skins, and a run that was killed goes on from
// its events.
package bench
