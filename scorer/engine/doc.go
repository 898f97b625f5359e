// Package engine is the pure core of the scorer: one athlete's trace and a
// protocol go in, the tests found in it and their numbers come out. It reads
// no file, no clock and no network, keeps nothing between calls, never panics
// and returns the same answer for the same arguments, so the live service,
// replay, the demo and `canter score` all agree.
//
// The way from trace to outcome, and where to start reading:
//
//	Score (score.go)          the whole way in one function
//	clean (clean.go)          samples in time order, each with why it does not count
//	  rr.go                   heart rate from beat intervals, where there is no other
//	  artefacts.go            stuck values, lock on the step rate
//	  segments.go             spikes, halving, doubling, strap slip: cut at jumps
//	grid (grid.go)            one value a second with running sums, for searching only
//	kinetics.go               the response of heart rate to the protocol's load
//	  factors.go              the normal equations of its fits
//	find (find.go)            where the test may start: candidates and rivals
//	  coarse.go               the quick search of the whole trace
//	  candidate.go            what is known of one place, and what it shows
//	  refine.go               each place to the second, with both edges
//	  before.go               the start, where heart rate turned down shortly before it
//	  weigh.go                what the fits at a place are evidence of
//	  smoothing.go            how late the device's averaging makes both
//	  evidence.go             lap marks, planned time, team-mates
//	  speed.go                the speed channel against the protocol's speeds
//	choose (decide.go)        which places are tests, two, or none; a start by hand
//	  short.go                runs that were stopped early
//	measure (measure.go)      HRex, band, speed; what history keeps of the trace
//	  windows.go              the exact averages that become numbers
//	  recovery.go             HRR at each delay, and why there is none
//	  rebound.go              whether heart rate falls as it does in a recovery
//	  leap.go                 sudden changes of level before the run, at its start
//	                          and in the recovery, seen from near
//	  tau.go                  recovery constant
//	judge (quality.go)        good, check or reject, with reasons in words
//	  quality_start.go        is this the place, could another be?
//	  quality_trace.go        what cleaning dropped
//	  quality_shape.go        the test against the response it should show
//	  quality_level.go        speed, band, HRmax
//	  shape.go                the response fitted to the whole test
//	  change.go               one change of level that it would swallow
//	  early.go                and one that the rise itself would hide
//	  stop.go                 heart rate that rises as the run stops
//	  restless.go             readings less calm in the run than at rest
//	  damage.go               files that end early or were altered
//
// Beside that way: a Recording (recording.go) answers all that is asked of one trace,
// cleaned once; MatesStarts (mates.go) says which starts the tests of one session
// share; Load (load.go) gives the training load of any trace; Explanation
// (explain.go) says how a result came about.
//
// Three words for what is sudden: a step is a jump that cleaning found and could
// not undo, a leap one that shows between two lines through the samples on either
// side of it, a change one that shows against the response of the whole test.
//
// FACTS and a number name a line of the project's list of published values; the
// source stands beside it, and MEMORY says that the value was recalled, not looked
// up. Limits without a source are choices of this package. How well they do on
// invented sessions is in testdata/reliability.txt, and on those of a generator
// that they were not made with in testdata/holdout.txt; the package simulate/trial
// makes both.
//
// What it promises: a number is given only when the trace supports it; what is
// doubtful is said, in words, and is not called good. Numbers come from
// samples that were recorded, never from bridged gaps or from the fitted curve.
package engine
