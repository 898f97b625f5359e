package schemas

// SeriesValue is one day's value of a series that the club keeps beside the
// tests: session RPE, sleep, wellness, temperature. Context beside a test,
// never a verdict.
type SeriesValue struct {
	// Athlete is the club's id, "" for a value of the whole squad, such as the
	// temperature.
	Athlete string `json:"athlete,omitempty"`
	// Squad is the one the athlete was in on that day, or whose the value is;
	// "" for a value of the whole club.
	Squad string `json:"squad,omitempty"`
	// Date in the club's time zone, "2006-01-02".
	Date string `json:"date"`
	// Series names what was measured, as the file's heading does, folded:
	// "session-rpe", "sleep", "wellness".
	Series string  `json:"series"`
	Value  float64 `json:"value"`
	// Unit as the file's heading gives it, "" when it has none.
	Unit string `json:"unit,omitempty"`
	// FileID is where the value came from, Version that of the file.
	FileID  FileID  `json:"file_id"`
	Version Version `json:"version"`
}

// SeriesRow is a value as a file gives it: the athlete and the squad are the
// file's own words, and nobody has looked yet whom they name.
type SeriesRow struct {
	// Athlete and Squad as written, "" when the file does not say.
	Athlete string
	Squad   string
	// Date is the local date, "2006-01-02".
	Date   string
	Series string
	Value  float64
	Unit   string
	// Part is the entry of an archive, "" in a file of its own; Line is where
	// the value stands, from 1.
	Part string
	Line int
}

// Series that are summed over a day's sessions; of all others the last value
// of a day stands.
const (
	// SessionRPE is RPE × minutes (Foster et al. 2001, J Strength Cond Res
	// 15:109-15; from memory), in arbitrary units.
	SessionRPE = "session-rpe"
	// SessionMinutes is how long the sessions were, in minutes.
	SessionMinutes = "minutes"
)

// SummedSeries reports whether a day's values of a series add up.
func SummedSeries(series string) bool { return series == SessionRPE || series == SessionMinutes }
