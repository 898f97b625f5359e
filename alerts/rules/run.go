package rules

import (
	"slices"

	"canter.example/alerts/assess"
	"canter.example/schemas"
)

// unusableRun returns the unbroken run of unusable traces that ends with o,
// oldest first; empty when o's own trace is usable. Tests that staff left out
// and other files of the same run say nothing either way.
func unusableRun(o schemas.Outcome, history []schemas.Outcome) []schemas.Outcome {
	if _, better := assess.BetterFile(o, history); better || !unusable(&o) {
		return nil
	}
	before := assess.Runs(o, history)
	run := []schemas.Outcome{o}
	for _, t := range slices.Backward(before) {
		if !unusable(&t) {
			break
		}
		run = append(run, t)
	}
	slices.Reverse(run)
	return run
}
