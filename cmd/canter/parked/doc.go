// Package parked is what people do about files that could not be handled: list
// and show them, put them through again, say whose they are, let go of them.
// The command line and the web page call the same functions.
//
// In: the history, the broker, and who does what and why. Out: files with what
// was said of them, and events for the scorer. What changes something is kept
// in the audit (the corrections table); the scorer does it, so a returned nil
// means published, not done. Start reading at [Desk].
package parked
