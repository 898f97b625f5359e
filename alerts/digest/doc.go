// Package digest sums up a squad's week or month.
//
// In: what history holds of the squad in those days and of those before, and
// the club file. Out: a [Digest], which gives itself as a few lines for a phone
// or as JSON.
//
// It promises:
//   - [Sum] is pure: the same rows give the same digest;
//   - movers stand in both directions with how sure their change is, those
//     recorded without a message among them; a lower HRex or a faster recovery
//     is never called good (FACTS 3.5);
//   - athletes are called what the club's privacy setting says;
//   - whatever speaks of an athlete's heart ends with the caution.
//
// Start reading at [Sum] (sum.go); text.go finds the words, read.go reads the
// history.
package digest
