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
//     one message, with a line for each who stands out; numbers and pictures
//     answer it in its thread. In a chat that allows it, the message is kept up
//     to date: more files, what staff did. Who stands out after it was told
//     makes a short one of their own.
//   - What is scheduled is told once, whoever looks: digests and reminders have
//     ids of their subject and time, and a slot table says what was done.
//   - A message that may have been sent by a process that died is looked for in
//     the chat before it is sent again.
//
// The way through the code: service.go receives, tested.go finds the squads,
// squad.go goes through them, tell.go finds what is new, board.go gathers the
// session, compose.go makes messages of it, outbox.go sends them with buttons
// (parts.go) and pictures (pictures.go); beside.go reads what stands beside a
// test, life.go is about files and notes, due.go looks for missing tests and
// lapsed alerts, scheduled.go does what has its hour. The pure part: review has the sessions in order, assess the statistics, rules the
// decisions, message the words, digest the week and month, schedule the hours;
// simulate asks how often all that is wrong.
package alerts
