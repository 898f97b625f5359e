// Package engine is the pure core of the scorer: one athlete's trace and a
// protocol go in, the tests found in it and their numbers come out. It reads
// no file, no clock and no network, keeps nothing between calls, never panics
// and returns the same answer for the same arguments, so the live service,
// replay, the demo and `canter score` all agree.
//
// The way from trace to outcome, and where to start reading:
//
//	Score (score.go)       the whole way in one function
//	clean (clean.go)       samples in time order, each with why it does not count
//	grid (grid.go)         one value a second with running sums, for searching only
//	kinetics.go            the response of heart rate to the protocol's load
//	find (find.go)         where in the trace the test starts, and how sure that is
//	evidence.go            laps, planned time, speed, team-mates
//	windows.go             the exact averages that become numbers
//	measure (measure.go)   HRex, HRR, recovery constant, band, speed
//	judge (quality.go)     good, check or reject, with reasons in words
//
// Beside that way: SessionStarts (session.go) aligns the traces of one session,
// Load (load.go) gives the training load of any trace, Explanation (explain.go)
// says how a result came about.
//
// What it promises: a number is given only when the trace supports it; what is
// doubtful is said, in words, and is not called good. Numbers come from
// samples that were recorded, never from bridged gaps or from the fitted curve.
package engine
