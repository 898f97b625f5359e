// Package scorer turns files into outcomes: it pulls files from the broker's
// archive, asks whose they are, finds and scores the test inside, writes the
// result into history and tells the alerts stage.
//
// In: [schemas.StreamInput] (files, further places of a file, requests to
// score again, staff's corrections). Out: history rows and
// [schemas.TestEvent] or [schemas.ParkedEvent].
//
// Promises:
//   - An event is acknowledged only after its effect is in history.
//   - Everything is idempotent: rows have keys derived from the file and
//     versions from the event's place in the stream, so a second handling
//     writes the same and a late one can't overwrite a newer truth.
//   - A correction is first written to the audit table, then asks for its file
//     to be scored again by a new event. So the newest event of a file always
//     sees every correction before it, whichever of many scorers handles it.
//   - Every recording of a known athlete leaves its training load, with a test
//     or without; daily series (RPE, sleep, ...) are stored beside it.
//   - A file that can't be handled is parked with its reason in words.
//
// The way of a file through the code, and where to start reading:
//
//	Handle (suspect.go)        one event; those that end the process again and again
//	handle (service.go)        what each kind of event asks for
//	file (file.go)             bytes to stored and told outcomes, in one function
//	  whose (whose.go)         whose each trace is: package scorer/identify
//	  load (context.go)        training load, daily series
//	  trace (file.go)          one trace: the planned tests it may hold, or any
//	    Score                  cleaning, finding, scoring, all pure: package scorer/engine
//	    byPlan (session.go)    with what team-mates' tests say of the start
//	    planned (choose.go)    which of the efforts found are tests to the club
//
// Staff's word on a file or test goes through correction.go; preview.go tries one
// that is not yet given.
package scorer
