// Package review goes through a squad's sessions in order of time: what each
// shared, what each test is beside what was known before it, which rules
// fired, and which alerts follow.
//
// What comes in: the tests of a squad by one protocol with enough history
// before them, and the club file. What goes out: [Session]s with assessments
// and alerts, without their words.
//
// What it promises: pure; no clock, no I/O. A session's result depends on the
// tests that started before its end and on later tests of its athletes (which
// close alerts), never on the order in which any of them arrived, nor on how
// far before the session the reviewed span began, as long as that is at least
// [Span].
//
// Start reading at [Review] (review.go); told.go decides what is news.
package review
