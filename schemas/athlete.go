package schemas

import "time"

// Athlete is a member of a club's squads. Everything here comes from the club
// file (or the athletes' CSV it names) and is changed there only.
type Athlete struct {
	// ID is the club's own short identifier, unique in the club, never reused.
	ID string `json:"id"`
	// Name is the display name. Privacy settings decide whether it leaves canter.
	Name string `json:"name"`
	// Initials stand for the name where privacy asks for it.
	Initials string `json:"initials"`
	// Aliases are other spellings a team export may use for this athlete.
	Aliases []string `json:"aliases,omitempty"`
	// BirthYear is 0 when unknown. It is used to estimate HRmax, nothing else.
	BirthYear int `json:"birth_year,omitempty"`
	// Sex picks a published set of TRIMP constants; empty when not given.
	Sex Sex `json:"sex,omitempty"`
	// HRmax as measured, or estimated from age and labelled so.
	HRmax HRmax `json:"hrmax"`
	// HRrest in bpm; absent when not given. TRIMP needs it.
	HRrest Number `json:"hrrest"`
	// Sensors are straps and watches by serial, each with the days it was this athlete's.
	Sensors []Sensor `json:"sensors,omitempty"`
	// Squads are the athlete's memberships, each with its days.
	Squads []Membership `json:"squads,omitempty"`
	// Returns are marked returns from injury: a baseline may start anew at each.
	Returns []time.Time `json:"returns,omitempty"`
}

// Sex selects between published constants; it has no other use in canter.
type Sex string

// The two sets of constants that were published.
const (
	Female Sex = "female"
	Male   Sex = "male"
)

// HRmaxSource says where a maximal heart rate comes from.
type HRmaxSource string

// Sources of HRmax.
const (
	HRmaxUnknown   HRmaxSource = "unknown"
	HRmaxMeasured  HRmaxSource = "measured"
	HRmaxEstimated HRmaxSource = "estimated"
)

// HRmax is a maximal heart rate with its origin. An estimate carries its
// standard error and is labelled as an estimate wherever it is shown.
type HRmax struct {
	BPM    Number      `json:"bpm"`
	Source HRmaxSource `json:"source"`
	// SEE is the standard error of the estimate in bpm; absent when measured.
	SEE Number `json:"see"`
}

// EstimateHRmax returns 211 - 0.64 age with its standard error of 10.8 bpm
// (Nes et al. 2013, Scand J Med Sci Sports 23:697-704; FACTS 4.1). Age is in
// whole years in the year of the test. Ages outside 10 to 90 give an unknown
// HRmax: the regression was not made for them.
func EstimateHRmax(birthYear, year int) HRmax {
	age := year - birthYear
	if birthYear == 0 || age < 10 || age > 90 {
		return HRmax{Source: HRmaxUnknown}
	}
	return HRmax{BPM: Num(211 - 0.64*float64(age)), Source: HRmaxEstimated, SEE: Num(10.8)}
}

// HRmaxAt returns the athlete's HRmax for a test in the given year: the
// measured value where there is one, else the estimate from age, else unknown.
func (a *Athlete) HRmaxAt(year int) HRmax {
	if a.HRmax.Source == HRmaxMeasured && a.HRmax.BPM.Present() {
		return a.HRmax
	}
	return EstimateHRmax(a.BirthYear, year)
}

// Period is a range of days, half-open: From ≤ t < To. A zero From or To is
// open on that side.
type Period struct {
	From time.Time `json:"from,omitzero"`
	To   time.Time `json:"to,omitzero"`
}

// Contains reports whether t lies in the period.
func (p Period) Contains(t time.Time) bool {
	return (p.From.IsZero() || !t.Before(p.From)) && (p.To.IsZero() || t.Before(p.To))
}

// Overlaps reports whether the two periods share an instant.
func (p Period) Overlaps(q Period) bool {
	return (p.To.IsZero() || q.From.IsZero() || q.From.Before(p.To)) &&
		(q.To.IsZero() || p.From.IsZero() || p.From.Before(q.To))
}

// Sensor is a strap or watch that belonged to an athlete for a period.
type Sensor struct {
	Serial string `json:"serial"`
	Period
}

// Membership is an athlete's time in a squad.
type Membership struct {
	Squad string `json:"squad"`
	Period
}

// In reports whether the athlete was in the squad at t.
func (a *Athlete) In(squad string, t time.Time) bool {
	for _, m := range a.Squads {
		if m.Squad == squad && m.Contains(t) {
			return true
		}
	}
	return false
}

// SquadAt returns the first squad the athlete was in at t, "" when in none.
func (a *Athlete) SquadAt(t time.Time) string {
	for _, m := range a.Squads {
		if m.Contains(t) {
			return m.Squad
		}
	}
	return ""
}
