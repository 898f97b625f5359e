// Package message puts alerts into words.
//
// What comes in: the club file and an alert with what it is about. What goes
// out: plain text, short enough for a phone, the first line a headline.
//
// What it promises:
//
//   - people are called what the club's privacy setting says, in every line;
//   - an estimated HRmax is labelled as one;
//   - nothing is diagnosed, and a lower HRex or a faster recovery is never
//     called good: overload does the same (FACTS 3.5);
//   - whatever speaks of an athlete's heart ends with [Caution];
//   - words and positions only, no colour codes.
//
// Start reading at [About] (change.go). The golden files in testdata are the
// wording; run the tests with -update after changing it, and read the diff.
package message
