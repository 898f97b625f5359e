// Package report writes the session report: one HTML page that opens without
// a network and prints on A4.
//
// What comes in: a session's tests with their traces, assessments and history,
// and what people are to be called. What goes out: the page, with everything
// it needs inside.
//
// What it promises: the same data give the same page; whatever comes from
// files or people is escaped; the caution stands at its end; what a page says
// in grey or bold it says in words too.
//
// Start reading at [Write] (page.go); page.html is the page.
package report
