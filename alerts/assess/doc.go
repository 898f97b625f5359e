// Package assess sets a test beside what was known before it.
//
// What comes in: the outcome of one test, the same athlete's other outcomes,
// the squad's pooled spread, and settings. What goes out: a
// [schemas.Assessment] with one comparison for HRex and one for each HRR.
//
// What it promises:
//
//   - pure: no clock, no I/O, no order of arguments matters;
//   - the new test is never in its own baseline: with it inside, |z| could not
//     pass (n-1)/sqrt(n), 1.79 at n 5 (FACTS 5j);
//   - only valid, strictly earlier tests of the same protocol version count,
//     and two files of one run count once;
//   - a number that can't be had is absent, never zero.
//
// It states how far a number moved and how unusual that is. It never says
// what the movement means: overload lowers submaximal heart rate and speeds
// recovery just as better fitness does (Bosquet et al. 2008; Aubry et al.
// 2015; FACTS 3.5), so "higher" and "lower" are the only verdicts.
//
// Start reading at [Test] (test.go), then spread.go for the SD it uses and
// interval.go for what follows from it. squad.go and polish.go hold what a
// whole session shares, chart.go the slow-drift charts.
package assess
