// Package judge tries the scorer from outside. It invents sessions whose truth
// is known, writes them as the files a device would write, has the real
// program score them (`canter score --format json`), and counts how far the
// answers are from the truth.
//
// In: a seed and a number of sessions. Out: a [Table]. The same seed gives the
// same sessions, whatever the order they are made in.
//
// The way: [Plan] says what the athlete does, second by second (plan.go,
// plan_trap.go, plan_none.go); [Body] turns it into heart rate (body.go,
// variability.go); a device sees that (device.go), goes wrong (artefact.go,
// artefact_time.go) and writes a file (record.go, write_fit.go,
// write_text.go); the program scores it (run.go); the answers are held against
// [Truth] (compare.go, table.go). Start reading at [Make].
//
// It promises to know nothing of the scorer: it imports none of canter's
// packages, and its constants come from published values where they are named
// and from the judgement of this package's author where they are not.
//
// What it can't try: athletes of one session share nothing here, so what
// team-mates' traces add to each other is not judged.
package judge
