// Package holdout is a second generator of heart-rate traces with known truth,
// quite another one than package simulate: the scorer was not made with it, it
// only judges the scorer. No limit of the scorer may be set by looking at
// single sessions of it.
//
//	Make (holdout.go)  scenario + severity + seed → simulate.Session
//	heart.go           two-component rise with drift, overshoot after stopping,
//	                   double-exponential recovery, breathing and slow waves
//	habits.go          what athletes do before, between and after tests
//	watch.go           straps, optical watches, averaging, lag, sampling, faults
//
// What differs on purpose: responses are sums of two components in each
// direction instead of one equation of motion; noise is made of waves besides
// chance; devices average over up to 12 s and are late; warm-ups are jog, walk
// and stretching; tests of 3 to 6 min come at the start, in the middle or at
// the end of a session; recordings may end 20 s after the minute.
package holdout
