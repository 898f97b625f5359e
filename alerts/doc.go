// Package alerts decides what staff are told, and tells them once.
//
// In: [schemas.StreamTests], what the scorer did. Out: assessments and alerts
// in history, and messages in chat by way of the outbox and
// [schemas.StreamChat].
//
// Promises:
//   - History is read as of the test's time: the order in which files arrive
//     does not matter. A late or corrected test has the athlete's later tests
//     assessed again.
//   - Assessments carry the version of the event that caused them. A scorer
//     stores before it publishes, so the newest event sees every test before
//     it, and its assessment outranks what older events wrote: no lock is
//     needed between processes.
//   - An alert's id is made from what it is about, a message's from its alert:
//     the same fact found twice is told once.
//   - A message that may have been sent by a process that died is looked for in
//     the chat before it is sent again.
//
// The way through the code: service.go receives, tested.go assesses, life.go
// opens and withdraws alerts, outbox.go sends, due.go looks for missing tests.
// The statistics are in package assess, the decisions in rules, the words in
// message, the chats in chat; all but the last are pure.
package alerts
