package schemas

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"strings"
	"time"
)

// Regimen is whether the run is unbroken or made of bouts.
type Regimen string

// Regimens (Shushan et al. 2022; FACTS 1.1).
const (
	Continuous   Regimen = "continuous"
	Intermittent Regimen = "intermittent"
)

// Progression is how the load moves through the test.
type Progression string

// Progressions (Shushan et al. 2022; FACTS 1.1).
const (
	Fixed       Progression = "fixed"
	Incremental Progression = "incremental"
	Variable    Progression = "variable"
)

// HRexMethod is how exercise heart rate is averaged.
type HRexMethod string

// HRex methods (FACTS 1.3, 1.7).
const (
	// FinalMean is the mean over the last Window of the test.
	FinalMean HRexMethod = "final-mean"
	// PeakMean is the highest mean over any Window inside the test.
	PeakMean HRexMethod = "peak-mean"
	// StageMean is the mean over the last Window of each work stage.
	StageMean HRexMethod = "stage-mean"
)

// Posture is what the athlete does in the recovery.
type Posture string

// Postures of recovery.
const (
	Standing Posture = "standing"
	Seated   Posture = "seated"
	Walking  Posture = "walking"
	Supine   Posture = "supine"
)

// Stage is one piece of the load: a stage of an incremental test, a work
// bout or a rest bout of an intermittent one.
type Stage struct {
	Duration time.Duration `json:"duration"`
	// SpeedKMH is the running speed in km/h; absent when the club did not say.
	SpeedKMH Number `json:"speed_kmh"`
	// Rest marks a bout without work.
	Rest bool `json:"rest,omitempty"`
}

// Protocol describes one submaximal fitness test: the external load that is
// the same each week, and how its outcomes are measured.
type Protocol struct {
	// ID is the club's short identifier.
	ID   string `json:"id"`
	Name string `json:"name"`
	// Version is a digest of everything that makes results comparable; see
	// [Protocol.Digest]. Tests of different versions are never compared.
	Version string `json:"version"`
	// SameAs are earlier versions that the club takes to be comparable with
	// this one; not part of the digest.
	SameAs      []string    `json:"same_as,omitempty"`
	Regimen     Regimen     `json:"regimen"`
	Progression Progression `json:"progression"`
	// Stages in order; a continuous-fixed test has one.
	Stages []Stage `json:"stages"`
	// HRex is the averaging method and its window.
	HRex       HRexMethod    `json:"hrex"`
	HRexWindow time.Duration `json:"hrex_window"`
	// Recovery holds the delays after the end at which HRR is read, ascending.
	Recovery []time.Duration `json:"recovery"`
	Posture  Posture         `json:"posture"`
	// EndWindow and RecoveryWindow are the averaging windows of HRR: the last
	// EndWindow of the test, and RecoveryWindow centred on each delay. No
	// source fixes them (FACTS 1.8); the defaults are 5 s.
	EndWindow      time.Duration `json:"end_window"`
	RecoveryWindow time.Duration `json:"recovery_window"`
	// BandLow and BandHigh are the intended intensity as fractions of HRmax
	// (0.75 to 0.85 is common practice; FACTS 1.7).
	BandLow  float64 `json:"band_low"`
	BandHigh float64 `json:"band_high"`
	// MinCoverage is the least share of valid seconds a window needs, 0 to 1.
	MinCoverage float64 `json:"min_coverage"`
}

// Duration returns the length of the test from start to end, recovery not counted.
func (p *Protocol) Duration() time.Duration {
	var d time.Duration
	for _, s := range p.Stages {
		d += s.Duration
	}
	return d
}

// Kind returns "continuous-fixed" and the like.
func (p *Protocol) Kind() string { return string(p.Regimen) + "-" + string(p.Progression) }

// MaxRecovery returns the longest recovery delay, 0 when there is none.
func (p *Protocol) MaxRecovery() time.Duration {
	if len(p.Recovery) == 0 {
		return 0
	}
	return p.Recovery[len(p.Recovery)-1]
}

// Digest returns twelve hexadecimal digits over the fields that decide
// whether two results can be compared: load, averaging and recovery. Name,
// intensity band and minimum coverage are left out, as they change no number.
func (p *Protocol) Digest() string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s|%s|%s|%s|%s|%s|%s|", p.Regimen, p.Progression, p.HRex,
		p.HRexWindow, p.Posture, p.EndWindow, p.RecoveryWindow)
	for _, s := range p.Stages {
		fmt.Fprintf(&b, "%s/%s/%t;", s.Duration, s.SpeedKMH.Text(3), s.Rest)
	}
	for _, r := range p.Recovery {
		fmt.Fprintf(&b, "r%s;", r)
	}
	sum := sha256.Sum256([]byte(b.String()))
	return hex.EncodeToString(sum[:6])
}
