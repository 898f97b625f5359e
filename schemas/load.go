package schemas

import (
	"cmp"
	"slices"
	"time"
)

// Load is the training load of one trace, test or not: context beside a test's
// result, never a verdict (Scott et al. 2022 tie HRex to the load of the days
// before; FACTS 2.9). Recorded time without valid heart rate adds nothing to
// it, so read it with its coverage.
type Load struct {
	// Start and Duration of the trace, from its first to its last sample.
	Start    time.Time     `json:"start"`
	Duration time.Duration `json:"duration"`
	// Minutes of valid heart rate, and their share of Duration (0 to 1).
	Minutes  float64 `json:"minutes"`
	Coverage float64 `json:"coverage"`
	// MeanHR and PeakHR in bpm over the valid time.
	MeanHR Number `json:"mean_hr"`
	PeakHR Number `json:"peak_hr"`
	// TRIMP (Banister 1991) with the athlete's set of constants; absent when
	// sex, HRrest or HRmax is not known. TRIMPMale and TRIMPFemale are the same
	// trace with either published set.
	TRIMP       Number `json:"trimp"`
	TRIMPMale   Number `json:"trimp_male"`
	TRIMPFemale Number `json:"trimp_female"`
	// Edwards (1993): minutes in five zones of %HRmax times 1 to 5; absent when
	// HRmax is not known. Zones holds the minutes.
	Edwards Number     `json:"edwards"`
	Zones   [5]float64 `json:"zones_min"`
	// HRmax that was used, and where it came from.
	HRmax HRmax `json:"hrmax"`
	// Reasons for absent numbers, and remarks.
	Reasons []Reason `json:"reasons,omitempty"`
}

// ReasonHRrestUnknown says that TRIMP needs a resting heart rate.
const ReasonHRrestUnknown ReasonCode = "hrrest-unknown"

// TraceLoad is the load of one trace of a file, with whose it is and when.
type TraceLoad struct {
	FileID FileID `json:"file_id"`
	// Part of the file the trace came from; see [Trace].
	Part    string `json:"part,omitempty"`
	Athlete string `json:"athlete"`
	Squad   string `json:"squad"`
	// Date of the start in the club's time zone, "2006-01-02".
	Date string `json:"date"`
	Load
	Version Version `json:"version"`
}

// CountedLoads returns the loads of one athlete that count: of two recordings
// of one local date that share more than half of the shorter one's time, as
// when watch and strap recorded one session, the one with more valid minutes
// does (with as many, the first by file and part). The view loads of the
// history decides the same way. Recordings that begin on either side of
// midnight are never taken for one.
func CountedLoads(loads []TraceLoad) []TraceLoad {
	var counted []TraceLoad
	for i := range loads {
		l := &loads[i]
		stood := slices.ContainsFunc(loads, func(o TraceLoad) bool { return o.standsFor(l) })
		if !stood {
			counted = append(counted, *l)
		}
	}
	return counted
}

// standsFor reports whether o recorded the same session as l, and better.
func (o *TraceLoad) standsFor(l *TraceLoad) bool {
	if o.Athlete != l.Athlete || o.Date != l.Date {
		return false
	}
	ms := func(d time.Duration) float64 { return d.Seconds() * 1000 }
	oStart, lStart := float64(o.Start.UnixMilli()), float64(l.Start.UnixMilli())
	shared := min(oStart+ms(o.Duration), lStart+ms(l.Duration)) - max(oStart, lStart)
	if shared <= ms(min(o.Duration, l.Duration))/2 {
		return false
	}
	if o.Minutes != l.Minutes {
		return o.Minutes > l.Minutes
	}
	return cmp.Or(cmp.Compare(o.FileID, l.FileID), cmp.Compare(o.Part, l.Part)) < 0
}

// LoadSum is the load of some days. It holds what was recorded, which need not
// be all that was done: read it with Sessions and Coverage.
type LoadSum struct {
	// Days that were looked at, and recordings that count within them.
	Days     int `json:"days"`
	Sessions int `json:"sessions"`
	// Minutes of valid heart rate, and their share of the time recorded.
	Minutes  Number `json:"minutes"`
	Coverage Number `json:"coverage"`
	// TRIMP and Edwards are absent when nothing was recorded, or when one of
	// the recordings has no such number: a part would pass for the whole.
	TRIMP   Number `json:"trimp"`
	Edwards Number `json:"edwards"`
}

// LoadBefore sums the loads that count in the given number of local dates
// before date ("2006-01-02"), which is not among them: its own session holds
// the test. Scott et al. 2022 (J Sports Sci 40(8); FACTS 2.9) tie HRex to the
// TRIMP of three days. loads are one athlete's; a date that is none gives an
// empty sum.
func LoadBefore(loads []TraceLoad, date string, days int) LoadSum {
	sum := LoadSum{Days: days}
	day, err := time.Parse(time.DateOnly, date)
	if err != nil {
		return sum
	}
	first := day.AddDate(0, 0, -days).Format(time.DateOnly)
	var minutes, recorded, trimp, edwards float64
	whole, wholeEdwards := true, true
	for _, l := range CountedLoads(loads) {
		if l.Date < first || l.Date >= date {
			continue
		}
		sum.Sessions++
		minutes += l.Minutes
		recorded += l.Duration.Minutes()
		t, ok := l.TRIMP.Get()
		trimp, whole = trimp+t, whole && ok
		e, ok := l.Edwards.Get()
		edwards, wholeEdwards = edwards+e, wholeEdwards && ok
	}
	if sum.Sessions == 0 {
		return sum
	}
	sum.Minutes, sum.Coverage = Num(minutes), Num(minutes/recorded)
	if whole {
		sum.TRIMP = Num(trimp)
	}
	if wholeEdwards {
		sum.Edwards = Num(edwards)
	}
	return sum
}
