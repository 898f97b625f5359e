// Package formats turns the bytes of a heart-rate file into traces.
//
// In: the content of a FIT, TCX, GPX or CSV file, or a ZIP of such. Out: one
// [schemas.Trace] an athlete or session, with samples in the order of the
// file, not cleaned and not resampled. Start reading at [Decode]; then one
// file a format: fit.go (fit_messages.go, fit_collect.go, fit_finish.go),
// tcx.go and gpx.go over xml.go and xml_tokens.go, csv.go and its companions,
// zip.go. Who is done with traces may give their memory back with [Free].
//
// What holds for every format:
//
//   - The format is told by content, never by the file's name.
//   - A heart rate of 0, 254, 255, or none, is "no reading": HR 0.
//   - Duplicate and backward times stay as they are. Times outside the years
//     2000 to 2099 are left out with a note: the device's clock was not set.
//   - Cadence is in steps a minute, both feet; formats that count one foot
//     (FIT, TCX, GPX) are doubled, and a bicycle's cadence is dropped.
//   - Sessions more than 6 h apart in one file become traces of their own.
//   - A damaged file gives what can be read, in traces with their Damage and a
//     note that says where; with nothing left it is an error.
//   - Everything the reader had to decide is in the trace's Notes.
//   - Every error is an [*Error]: file, place, what is wrong, what to do.
//   - No input costs more than [Limits] allow, and none panics.
package formats
