// Package season makes the season of an invented club: the club file, the
// athletes' spreadsheet, and the heart-rate files of every training day as
// watches, straps and a team receiver would leave them, in FIT, TCX, GPX, CSV
// and ZIP, beside a weekly sheet of wellness and session RPE. `canter demo` plays it through the real pipeline.
//
// In: a seed, a number of weeks and of athletes ([Options]). Out: a [Season],
// whose files each carry their [Truth]: whose they are, when the test began
// and which heart rates the body really had, before any strap saw them.
//
// The same options give the same bytes: no clock is read, every random number
// comes from the seed and the name of what it is for, and no map is ranged
// over. So an athlete's season does not change when another is added.
//
// Nothing here is shared with the scorer, on purpose: the physiology, its
// constants and the definitions of the true values are written a second time,
// so that the two can disagree. Nobody in the roster exists, and no club,
// product or place bears these names.
//
// Start reading at [New] (season.go), then story.go (what happens to whom),
// workout.go (what a session asks of the legs), body.go (what the heart does),
// strap.go (what the device makes of it), and one file for each format.
// [Broken] (broken.go) makes the files that must be refused.
package season
