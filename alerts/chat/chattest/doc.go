// Package chattest is a chat server for tests: it speaks the parts of the Web
// API that canter uses, remembers what was posted as the real one does, and
// goes wrong on request.
//
// What comes in: requests of a real slack-go client, over loopback ([Start])
// or without a network at all ([Server.Client], for use inside a
// testing/synctest bubble). What goes out: answers, and [Server.Posted].
//
// It is strict: what the real one would refuse (a section over 3,000
// characters, an unknown channel, a channel's name where an id is wanted), it
// refuses with the same code. Start reading at server.go.
package chattest
