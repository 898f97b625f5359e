package rules

import (
	"slices"

	"canter.example/alerts/assess"
	"canter.example/schemas"
)

// unusableRun returns the unbroken run of unusable traces that ends with o,
// oldest first; empty when o's own trace is usable. A strap that fails for good
// leaves no test to be found, so such a trace goes on with a run, but begins
// none: by itself it may as well be an athlete who did not run. Tests that staff
// left out and other files of the same run say nothing either way.
func unusableRun(o schemas.Outcome, history []schemas.Outcome) []schemas.Outcome {
	if _, better := assess.BetterFile(o, history); better || !unusable(&o) && !foundNone(&o) {
		return nil
	}
	before := assess.Runs(o, history)
	run := []schemas.Outcome{o}
	for _, t := range slices.Backward(before) {
		if !unusable(&t) && !foundNone(&t) {
			break
		}
		run = append(run, t)
	}
	slices.Reverse(run)
	for len(run) > 0 && !unusable(&run[0]) {
		run = run[1:]
	}
	return run
}

// foundNone reports whether a trace of a planned time holds no test.
func foundNone(o *schemas.Outcome) bool {
	return o.Quality == schemas.Reject && slices.ContainsFunc(o.Reasons, func(r schemas.Reason) bool { return r.Code == schemas.ReasonNoTest })
}
