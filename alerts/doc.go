// Package alerts decides what staff are told, and tells them once.
//
// In: [schemas.StreamTests], what the scorer did and what staff wrote. Out:
// assessments and alerts in history, and messages in chat.
//
//	test event ──> CANTER_SQUADS ──> review ──> CANTER_CHAT ──> outbox ──> chat
//	(tested.go)    one waiting       (squad.go)  one session    (tell.go,
//	               message a squad               at a time       outbox.go)
//
// A test changes more than its own assessment: its session's squad effect and
// with it the team-mates' verdicts, and every later baseline and pooled spread
// of the squad. So the unit of work is a squad and protocol from an instant
// on. A waiting message on CANTER_SQUADS is replaced by the next, which takes
// over its earliest instant: however many files come, a squad is gone through
// once when it has been quiet for the club's hold time. The hold needs no
// clock and no memory: the first delivery is given back for that long, and a
// newer message ends it.
//
// Promises:
//   - What is stored in the end depends on the tests alone, not on the order in
//     which their files came, nor on what came twice or was left out meanwhile.
//     Review is pure, and looks back a fixed time; nothing that it derives is
//     read back, except what staff were told and wrote.
//   - Assessments and alerts carry the version of the squad event that caused
//     them. A scorer stores before it publishes, and a squad event is published
//     after that: the newest squad event sees every test stored before it, and
//     what it writes outranks what older events wrote: no lock is needed
//     between processes.
//   - A squad event in work when it is replaced leaves its instant to the new
//     one, so a crash loses nothing; done twice, it writes the same.
//   - Staff hear of a fact once. What was said of each alert stands in the
//     outbox, a message one row; messages are made one session at a time among
//     all processes (WorkChat), so nobody says it a second time. A session is
//     at most two messages: what all share, and who stands out. Files that come
//     after it was told make a short one of their own.
//   - A message that may have been sent by a process that died is looked for in
//     the chat before it is sent again.
//
// The way through the code: service.go receives, tested.go finds the squads,
// squad.go goes through them, tell.go finds words for what is new, outbox.go
// sends, beside.go reads what stands beside a test, life.go is about files and notes,
// due.go looks for missing tests and lapsed alerts. The
// pure part: review has the sessions in order, assess the statistics, rules
// the decisions, message the words; simulate asks how often all that is wrong.
package alerts
