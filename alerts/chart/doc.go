// Package chart draws what staff look at: a test's trace, all traces of a
// session, an athlete's history and a squad on one day.
//
// What comes in: outcomes, trace seconds and assessments as history keeps
// them, and what people are to be called. What goes out: a [Picture], which
// gives itself as PNG for chat or as SVG for a page, with a text that says the
// same in words.
//
// What it promises:
//
//   - pure: the same data give the same bytes, nothing is read or asked for;
//   - black ink and greys on opaque white, so that paper, photocopies, light
//     and dark chat and every kind of colour vision see the same; what matters
//     differs in shape, line or words;
//   - type that can be read on a phone when the picture fills its width;
//   - whatever comes in, absent, single, endless or not a number, gives a
//     picture and never a panic;
//   - no verdict of its own: numbers, windows and words are those of the
//     outcome and its assessment.
//
// Start reading at [Trace] (trace.go); picture.go has what all pictures share.
package chart
