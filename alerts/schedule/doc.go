// Package schedule says what is due.
//
// In: jobs with cron expressions in the club's time zone, and an instant. Out:
// the run that each job owes at that instant, with a key that names it for
// good.
//
// It promises:
//   - pure: the time is an argument, nothing is read or kept;
//   - a local time of a date is one run whatever the clocks do: jumped over in
//     spring it is due at the first instant after, twice in autumn at the first
//     ([club.Club.Times]);
//   - who was away when a job was due owes it once on return, the latest run
//     alone, as long as it is worth having;
//   - all processes that ask name the run alike, so that it is done once.
//
// Start reading at [Due].
package schedule
