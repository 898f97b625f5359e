// Package chat carries messages to where staff read them.
//
// What comes in: messages of the outbox, one at a time. What goes out: posts
// in a terminal, in Slack or through webhooks, and the chat's own reference of each.
//
// What it promises:
//
//   - a message that may have gone out before (Attempts > 0) is looked for in
//     the channel first and not posted twice; one crash can cost a duplicate
//     only where the app may not read the channel, never a loss. A webhook can't
//     be asked: the club file says whether it is sent again or dropped then;
//   - one message a second and channel, and no sooner than the server says;
//   - an error says what to do next by its kind: [ErrTemporary] try again,
//     [ErrRefused] tell somebody; the token is in no error and no log line;
//   - names can't mention a channel, make a link or move the cursor.
//
// Start reading at [Poster] (poster.go). slack.go posts, look.go looks before
// posting again, text.go turns plain text into blocks, pictures.go shows files,
// interact.go hears buttons, errors.go sorts what can go wrong; terminal.go and
// webhook.go are the other chats, transcript.go writes one down as a page. Package chattest is a local server to try it against.
package chat
