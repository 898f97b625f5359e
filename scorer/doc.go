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
// The way through the code: service.go receives, file.go takes one file from
// bytes to outcomes, context.go makes what stands beside them, correction.go
// handles staff's word. Whose file it is: package scorer/identify. Cleaning,
// finding and scoring, all pure: package scorer/engine.
package scorer
