// Package rules decides what staff are told.
//
// What comes in: an assessed test, or a planned slot with the tests that came,
// or a parked file. What goes out: the rules that fired, each with what was
// compared with what, and the alerts that follow, without their wording.
//
// What it promises:
//
//   - pure: no clock, no I/O;
//   - every rule answers with a typed [Why], also when it stays silent;
//   - an alert's id is made from the fact it is about, so that a number
//     corrected later, or the same file read twice, never makes a second alert;
//   - HRex and HRR of one test make one alert, not two.
//
// Start reading at [Decide] (decide.go); alerts.go turns decisions into alerts,
// missing.go looks at planned tests nobody has seen a file of.
package rules
