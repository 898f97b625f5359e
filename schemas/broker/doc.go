// Package broker carries canter's events over NATS JetStream: the embedded
// server or one that the club already runs.
//
// In: files and events of package schemas. Out: the same, delivered at least
// once to each durable consumer, in the order of one stream's sequence.
//
// Promises:
//   - A file is in the archive at most once, for as long as the archive keeps
//     it: its subject is its hash, and the broker refuses a second message on it.
//   - A delivery is acknowledged only after its handler returned nil. An error
//     gives it back with a growing delay; [Permanent] errors end it.
//   - While a handler works, the broker is told so, however long it takes.
//   - On shutdown, deliveries that no handler has started are given back at
//     once, so that nobody waits for an acknowledgement to time out.
//
// Start at [Open] (broker.go), then [Broker.PublishFile] (file.go) and
// [Broker.Consume] (consume.go). The embedded server is in embedded.go.
package broker
