// Package scale measures the history with years of invented tests of many clubs:
// it loads them through the program's own writers and times what people ask,
// beside what the database does at best.
//
// What comes in: the address of an empty history and a [Plan]. What goes out: a
// report of insert rates, of bytes a test, and of how long each question took,
// beside a bare client's insert of the same rows, the same question on the stored
// tables without the views, and a count of all rows.
package scale
