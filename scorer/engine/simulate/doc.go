// Package simulate invents heart-rate traces with known truth, to find out how
// far the scorer can be trusted. It is a small model of an athlete (an
// equation of motion for heart rate under changing demand), a script of what
// the athlete does, and a recorder with its faults. It knows nothing of the
// scorer: it imports only the domain types and shares no constant with it.
//
//	Make (simulate.go)  scenario + severity + seed → Session: trace, protocol, Truth
//	body.go             demand → heart rate
//	script.go           what is done when, for each scenario
//	recorder.go         heart rate → samples, with noise and rounding
//	faults.go           artefacts at three severities
//
// The same seed gives the same session. The packages beside it: holdout is a
// second, quite different generator; trial puts both through the scorer.
package simulate
