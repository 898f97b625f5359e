// Package staff sends off what staff say of tests and alerts, whichever way
// they say it: on the command line or on the page.
//
// In: a test or an alert, and what somebody says of it with name and reason.
// Out: a [schemas.Correction] or [schemas.Note] on the broker, which the scorer
// or the alerts stage writes down and works in. What is said of parked files
// goes through package parked.
//
// It promises that nothing goes off without a name and, where something is
// changed, a reason: both are kept in the audit for good.
package staff
