package schemas

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"strings"
	"time"
)

// ScorerVersion is raised when a change to reading, finding, cleaning or
// scoring can change a number.
const ScorerVersion = 1

// Quality is what a test's numbers may be used for.
type Quality string

// Qualities. Only good tests, and check tests that staff accepted, enter baselines.
const (
	Good   Quality = "good"
	Check  Quality = "check"
	Reject Quality = "reject"
)

// StartSource is how a test's start was found, most trusted first.
type StartSource string

// Sources of a start.
const (
	StartByHand    StartSource = "by hand"
	StartByLap     StartSource = "lap mark"
	StartByPlan    StartSource = "planned time"
	StartByTrace   StartSource = "found on the trace"
	StartBySession StartSource = "team-mates' start"
)

// ReasonCode is a short name for why a number is doubtful or absent. Codes
// are stable: queries and rules may use them.
type ReasonCode string

// Reason is why a test is not good, a number is absent, or something was
// worth noting. Text is a sentence for people.
type Reason struct {
	Code ReasonCode `json:"code"`
	Text string     `json:"text"`
}

// Reason codes.
const (
	ReasonNoTest          ReasonCode = "no-test"
	ReasonStartUncertain  ReasonCode = "start-uncertain"
	ReasonCutShort        ReasonCode = "cut-short"
	ReasonLowCoverage     ReasonCode = "low-coverage"
	ReasonNoRecovery      ReasonCode = "no-recovery"
	ReasonNotSteady       ReasonCode = "not-steady"
	ReasonArtefacts       ReasonCode = "artefacts"
	ReasonStrapSlip       ReasonCode = "strap-slip"
	ReasonStuck           ReasonCode = "stuck"
	ReasonCadenceLock     ReasonCode = "cadence-lock"
	ReasonHRmaxExceeded   ReasonCode = "hrmax-exceeded"
	ReasonHRmaxEstimated  ReasonCode = "hrmax-estimated"
	ReasonHRmaxUnknown    ReasonCode = "hrmax-unknown"
	ReasonLoadNotKept     ReasonCode = "load-not-kept"
	ReasonRecoveryBroken  ReasonCode = "recovery-broken"
	ReasonHighAtStart     ReasonCode = "high-at-start"
	ReasonSensorMismatch  ReasonCode = "sensor-mismatch"
	ReasonSecondTest      ReasonCode = "second-test"
	ReasonClock           ReasonCode = "clock"
	ReasonFileDamaged     ReasonCode = "file-damaged"
	ReasonStageMissing    ReasonCode = "stage-missing"
	ReasonOutsideBand     ReasonCode = "outside-band"
	ReasonHighUncertainty ReasonCode = "high-uncertainty"
	// ReasonIdentity: something worth knowing about how the athlete was found.
	ReasonIdentity ReasonCode = "identity"
)

// Recovery is heart-rate recovery at one delay after the end of the test.
type Recovery struct {
	// Seconds after the end of the test.
	Seconds int `json:"seconds"`
	// BPM is end HR minus the HR around Seconds; positive when HR fell.
	BPM Number `json:"bpm"`
	// PctEnd is BPM as a percentage of end HR.
	PctEnd Number `json:"pct_end"`
	// SE is the standard error of BPM in bpm, from the trace itself.
	SE Number `json:"se"`
	// Coverage of the recovery window, 0 to 1.
	Coverage float64 `json:"coverage"`
}

// StageHR is the heart rate of one stage of a test with several.
type StageHR struct {
	Stage    int     `json:"stage"` // from 1, rest bouts not counted
	BPM      Number  `json:"bpm"`
	Pct      Number  `json:"pct"` // %HRmax
	Coverage float64 `json:"coverage"`
}

// StaffVerdict is what staff said of a test.
type StaffVerdict string

// Verdicts; NoVerdict after a restore or when nobody said anything.
const (
	NoVerdict StaffVerdict = ""
	Excluded  StaffVerdict = "excluded"
	Accepted  StaffVerdict = "accepted"
)

// TestID names a test for good: it survives rescoring and a moved start.
type TestID string

// NewTestID derives the id from what can't change: the file, the part of the
// file, the protocol and the test's ordinal (from 0) within the trace.
func NewTestID(file FileID, part, protocol string, ordinal int) TestID {
	sum := sha256.Sum256(fmt.Appendf(nil, "%s\x00%s\x00%s\x00%d", file, part, protocol, ordinal))
	return TestID("t" + hex.EncodeToString(sum[:8]))
}

// Outcome is the result of one test: a pure function of trace, protocol,
// athlete and staff's corrections.
type Outcome struct {
	TestID TestID `json:"test_id"`
	FileID FileID `json:"file_id"`
	// Part of the file the trace came from; see [Trace].
	Part string `json:"part,omitempty"`

	Athlete         string `json:"athlete"`
	Squad           string `json:"squad"`
	Protocol        string `json:"protocol"`
	ProtocolVersion string `json:"protocol_version"`
	// Session is squad/protocol/local date: the tests that were run together.
	Session string `json:"session"`

	// Start of the test, how it was found, and the probability (0 to 1) that
	// it is within 5 s of the true start.
	Start           time.Time   `json:"start"`
	StartSource     StartSource `json:"start_source"`
	StartConfidence float64     `json:"start_confidence"`
	// Duration of the test as run; shorter than the protocol's when cut short.
	Duration time.Duration `json:"duration"`

	// HRexBPM and HRexPct (%HRmax), with the standard error of HRexBPM.
	HRexBPM Number `json:"hrex_bpm"`
	HRexPct Number `json:"hrex_pct"`
	HRexSE  Number `json:"hrex_se"`
	// HRmax that HRexPct was computed with, and where it came from.
	HRmax HRmax `json:"hrmax"`
	// PeakBPM is the highest valid HR inside the test, EndHR the mean of the last EndWindow.
	PeakBPM  Number     `json:"peak_bpm"`
	EndHR    Number     `json:"end_hr_bpm"`
	Recovery []Recovery `json:"recovery,omitempty"`
	Stages   []StageHR  `json:"stages,omitempty"`
	// RecoveryTau is the time constant of recovery in seconds with its
	// standard error; absent without 3 min of recovery (FACTS 4.9).
	RecoveryTau   Number `json:"recovery_tau"`
	RecoveryTauSE Number `json:"recovery_tau_se"`
	// BandSeconds is the valid time spent inside the intensity band.
	BandSeconds Number `json:"band_seconds"`
	// SpeedKMH and SpeedCV (%) of the work, when speed was recorded.
	SpeedKMH Number `json:"speed_kmh"`
	SpeedCV  Number `json:"speed_cv"`

	// Coverage of the HRex window, 0 to 1.
	Coverage float64 `json:"coverage"`
	Quality  Quality `json:"quality"`
	// Reasons for a quality other than good, for absent numbers, and remarks.
	Reasons []Reason `json:"reasons,omitempty"`

	// Conditions as planned: microcycle day ("MD-2") and surface; empty when unknown.
	MicrocycleDay string `json:"microcycle_day,omitempty"`
	Surface       string `json:"surface,omitempty"`

	// Staff's word on this test, from corrections.
	Staff StaffVerdict `json:"staff,omitempty"`

	ScorerVersion int     `json:"scorer_version"`
	Version       Version `json:"version"`
}

// Valid reports whether the test may enter a baseline.
func (o *Outcome) Valid() bool {
	switch o.Staff {
	case Excluded:
		return false
	case Accepted:
		return o.Quality != Reject && o.HRexBPM.Present()
	case NoVerdict:
	}
	return o.Quality == Good
}

// HRR returns the recovery at the given delay, and whether it is present.
func (o *Outcome) HRR(seconds int) (Recovery, bool) {
	for _, r := range o.Recovery {
		if r.Seconds == seconds && r.BPM.Present() {
			return r, true
		}
	}
	return Recovery{}, false
}

// TraceSecond is one second of a test's window as kept in history: the HR as
// recorded, the HR that counted, and why a reading was dropped.
type TraceSecond struct {
	// Second since the start of the test; negative in the lead-in.
	Second int `json:"second"`
	// Raw is what the device gave in this second, absent when nothing.
	Raw Number `json:"raw"`
	// Clean is what was used, absent when the reading was dropped.
	Clean Number `json:"clean"`
	// Dropped is why, "" when it was not.
	Dropped string `json:"dropped,omitempty"`
	// Speed in m/s.
	Speed Number `json:"speed"`
}

// SessionID returns the identifier of the session of a squad's tests by one
// protocol on one local date ("2006-01-02").
func SessionID(squad, protocol, localDate string) string {
	return squad + "/" + protocol + "/" + localDate
}

// SessionDate returns the local date that a session's id ends with.
func SessionDate(session string) string {
	return session[strings.LastIndexByte(session, '/')+1:]
}
