package schemas

import "time"

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
