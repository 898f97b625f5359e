// Package ingest notices finished heart-rate files in the club's folders and
// publishes each, once, into the broker's archive.
//
// In: folders. Out: file messages on [schemas.SubjectFile], and an
// [schemas.OriginEvent] when a file that the archive has already turns up at
// another place.
//
// Promises:
//   - A source file is only read: never moved, changed or removed.
//   - The periodic scan is the truth; the filesystem's events only make it
//     come sooner. Network shares, which send none, work the same, later.
//   - A file is read when its size and time have been quiet for the settle
//     time and, where its format tells, it is complete.
//   - Only regular files below the folder are read; no link is followed.
//   - What could not be published is tried again until it is.
//
// The way through the code: [Watcher.Run] (watch.go) lists folders (scan.go),
// asks the tracker which files are finished (settle.go), and hands those to
// publish.go. Bytes become traces in package ingest/formats, which the scorer
// is given as its decoder.
package ingest
