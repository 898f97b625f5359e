// Package identify says whose trace it is. In go the club file, where the file
// was found and the trace; out comes the athlete with the squad, or an
// [Unidentified] that says why not and what to do. Pure: no clock, no disk.
//
// A file names its athlete in up to four ways, and what is called a clue here
// is one of them:
//
//   - staff said so,
//   - the path, where the folder's pattern has {athlete},
//   - the label inside the file: a team export's column or cell, a name in a
//     ZIP, the owner's name on a watch,
//   - the serial number of a strap or watch.
//
// Staff's word is final. Otherwise all clues that name somebody must agree on
// one athlete: a number under the wrong name is the worst that canter could
// do, so a doubt parks the file. A path's {athlete} and a team export's label
// are firm: when they name nobody in the club file, the file is parked
// although a strap might be known, since straps are lent. The label of a watch
// and a file's name within a ZIP are not: watches are called all sorts of things.
//
// Start reading at [Who].
package identify
