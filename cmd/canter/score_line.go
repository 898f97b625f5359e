package main

import (
	"fmt"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"

	"canter.example/schemas"
	"canter.example/scorer/engine"
)

// scoreLine is one line of the JSON form: the numbers asked for most, then
// everything.
type scoreLine struct {
	File    string  `json:"file"`
	Athlete *string `json:"athlete"`
	// Unidentified says why the club file names nobody for the file.
	Unidentified    string          `json:"unidentified,omitempty"`
	Protocol        string          `json:"protocol"`
	Start           *time.Time      `json:"start"`
	StartSource     *string         `json:"start_source"`
	StartConfidence schemas.Number  `json:"start_confidence"`
	HRexBPM         schemas.Number  `json:"hrex_bpm"`
	HRexPct         schemas.Number  `json:"hrex_pct"`
	EndHR           schemas.Number  `json:"end_hr_bpm"`
	HRR             schemas.Number  `json:"hrr_bpm"` // at the first delay
	Coverage        schemas.Number  `json:"coverage"`
	Quality         schemas.Quality `json:"quality"`
	Reasons         []string        `json:"reasons"`
	// The rest of the outcome; see [schemas.Outcome]. SE are standard errors in
	// the unit of their number.
	HRexSE        schemas.Number     `json:"hrex_se_bpm"`
	HRmax         *schemas.HRmax     `json:"hrmax"`
	Peak          schemas.Number     `json:"peak_bpm"`
	Recovery      []schemas.Recovery `json:"recovery"`
	RecoveryTau   schemas.Number     `json:"recovery_tau_s"`
	RecoveryTauSE schemas.Number     `json:"recovery_tau_se_s"`
	Stages        []schemas.StageHR  `json:"stages,omitempty"`
	BandSeconds   schemas.Number     `json:"band_s"`
	Speed         schemas.Number     `json:"speed_kmh"`
	SpeedCV       schemas.Number     `json:"speed_cv_pct"`
	// Load of the whole recording, test or not.
	Load *scoreLoad `json:"load"`

	Explanation any    `json:"explanation,omitempty"`
	text        string // of the explanation
}

// scoreLoad is the training load of a recording: context, no verdict; see
// [schemas.Load].
type scoreLoad struct {
	TRIMP       schemas.Number `json:"trimp"`
	TRIMPMale   schemas.Number `json:"trimp_male"`
	TRIMPFemale schemas.Number `json:"trimp_female"`
	Edwards     schemas.Number `json:"edwards"`
	ZoneMinutes [5]float64     `json:"zones_min"`
	Minutes     float64        `json:"minutes"` // of valid heart rate
	Coverage    float64        `json:"coverage"`
	Reasons     []string       `json:"reasons"`
}

func loadOf(tr *schemas.Trace, a *schemas.Athlete, year int) *scoreLoad {
	l := engine.Load(tr, a, year)
	out := &scoreLoad{
		TRIMP: l.TRIMP, TRIMPMale: l.TRIMPMale, TRIMPFemale: l.TRIMPFemale, Edwards: l.Edwards,
		ZoneMinutes: l.Zones, Minutes: l.Minutes, Coverage: l.Coverage, Reasons: []string{},
	}
	for _, r := range l.Reasons {
		out.Reasons = append(out.Reasons, r.Text)
	}
	return out
}

func (s *scoring) line(name string, athlete *string, o *schemas.Outcome) scoreLine {
	start, source := o.Start.UTC(), string(o.StartSource)
	l := scoreLine{
		File: name, Athlete: athlete, Protocol: o.Protocol, Start: &start, StartSource: &source,
		StartConfidence: schemas.Num(o.StartConfidence), HRexBPM: o.HRexBPM, HRexPct: o.HRexPct, EndHR: o.EndHR,
		Coverage: schemas.Num(o.Coverage), Quality: o.Quality, Reasons: []string{},
		HRexSE: o.HRexSE, HRmax: &o.HRmax, Peak: o.PeakBPM, Recovery: o.Recovery, RecoveryTau: o.RecoveryTau,
		RecoveryTauSE: o.RecoveryTauSE, Stages: o.Stages, BandSeconds: o.BandSeconds, Speed: o.SpeedKMH, SpeedCV: o.SpeedCV,
	}
	if len(o.Recovery) > 0 {
		l.HRR = o.Recovery[0].BPM
	}
	for _, r := range o.Reasons {
		l.Reasons = append(l.Reasons, r.Text)
	}
	return l
}

func (l *scoreLine) row(zone *time.Location) []string {
	start, athlete, coverage := "-", "-", "-"
	if l.Start != nil {
		start = l.Start.In(zone).Format("2006-01-02 15:04:05")
	}
	if l.Athlete != nil {
		athlete = *l.Athlete
	}
	if v, ok := l.Coverage.Get(); ok {
		coverage = fmt.Sprintf("%.0f %%", 100*v)
	}
	reasons := l.Reasons
	if l.Unidentified != "" {
		reasons = append(slices.Clip(reasons), "whose it is: "+l.Unidentified)
	}
	return []string{
		filepath.Base(l.File), athlete, l.Protocol, start, l.StartConfidence.Text(2), l.HRexBPM.Text(1), l.HRexPct.Text(1),
		l.EndHR.Text(1), l.recovery(), l.load(), coverage, string(l.Quality), strings.Join(reasons, "; "),
	}
}

// hrrHeading names the delays of HRR: "HRR60", "HRR60, 120".
func (s *scoring) hrrHeading() string {
	var delays []string
	for _, d := range s.protocol.Recovery {
		delays = append(delays, strconv.Itoa(int(d.Seconds())))
	}
	return "HRR" + strings.Join(delays, ", ")
}

// recovery has HRR at each of the protocol's delays, in bpm.
func (l *scoreLine) recovery() string {
	if len(l.Recovery) == 0 {
		return "-"
	}
	var values []string
	for _, r := range l.Recovery {
		values = append(values, r.BPM.Text(1))
	}
	return strings.Join(values, ", ")
}

// load is the recording's TRIMP; Edwards' sum where too little is known of the
// athlete for it.
func (l *scoreLine) load() string {
	switch {
	case l.Load == nil:
		return "-"
	case l.Load.TRIMP.Present():
		return "TRIMP " + l.Load.TRIMP.Text(0)
	case l.Load.Edwards.Present():
		return "Edwards " + l.Load.Edwards.Text(0)
	}
	return "-"
}
