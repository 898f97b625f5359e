package schemas_test

import (
	"regexp"
	"testing"
	"time"

	"canter.example/schemas"
)

func weekly() schemas.Protocol {
	return schemas.Protocol{
		ID: "run", Name: "4 min at 12 km/h", Version: "v", SameAs: []string{"u"}, Regimen: schemas.Continuous, Progression: schemas.Fixed,
		Stages: []schemas.Stage{{Duration: 4 * time.Minute, SpeedKMH: schemas.Num(12)}},
		HRex:   schemas.FinalMean, HRexWindow: time.Minute, Recovery: []time.Duration{time.Minute}, Posture: schemas.Standing,
		EndWindow: 5 * time.Second, RecoveryWindow: 5 * time.Second, BandLow: 0.75, BandHigh: 0.85, MinCoverage: 0.8,
	}
}

// The digest changes with whatever makes two results incomparable, and with
// nothing else.
func TestDigestChangesWithComparability(t *testing.T) {
	p := weekly()
	was := p.Digest()
	if !regexp.MustCompile(`^[0-9a-f]{12}$`).MatchString(was) {
		t.Errorf("digest %q", was)
	}
	seen := map[string]string{was: "the protocol itself"}
	for name, change := range map[string]func(*schemas.Protocol){
		"regimen":             func(p *schemas.Protocol) { p.Regimen = schemas.Intermittent },
		"progression":         func(p *schemas.Protocol) { p.Progression = schemas.Variable },
		"length":              func(p *schemas.Protocol) { p.Stages[0].Duration++ },
		"speed":               func(p *schemas.Protocol) { p.Stages[0].SpeedKMH = schemas.Num(12.5) },
		"speed not given":     func(p *schemas.Protocol) { p.Stages[0].SpeedKMH = schemas.Number{} },
		"speed of nought":     func(p *schemas.Protocol) { p.Stages[0].SpeedKMH = schemas.Num(0) },
		"a rest":              func(p *schemas.Protocol) { p.Stages[0].Rest = true },
		"one more stage":      func(p *schemas.Protocol) { p.Stages = append(p.Stages, p.Stages[0]) },
		"HRex method":         func(p *schemas.Protocol) { p.HRex = schemas.PeakMean },
		"HRex window":         func(p *schemas.Protocol) { p.HRexWindow = 30 * time.Second },
		"recovery delay":      func(p *schemas.Protocol) { p.Recovery[0] = 2 * time.Minute },
		"one more delay":      func(p *schemas.Protocol) { p.Recovery = append(p.Recovery, 2*time.Minute) },
		"no recovery":         func(p *schemas.Protocol) { p.Recovery = nil },
		"posture":             func(p *schemas.Protocol) { p.Posture = schemas.Seated },
		"end window":          func(p *schemas.Protocol) { p.EndWindow = 10 * time.Second },
		"recovery window":     func(p *schemas.Protocol) { p.RecoveryWindow = 10 * time.Second },
		"end window as delay": func(p *schemas.Protocol) { p.EndWindow, p.RecoveryWindow = 10*time.Second, 10*time.Second },
	} {
		q := weekly()
		change(&q)
		d := q.Digest()
		if other, twice := seen[d]; twice {
			t.Errorf("%s: the digest is that of %s", name, other)
		}
		seen[d] = name
	}
	for name, change := range map[string]func(*schemas.Protocol){
		"id":               func(p *schemas.Protocol) { p.ID = "other" },
		"name":             func(p *schemas.Protocol) { p.Name = "other" },
		"version":          func(p *schemas.Protocol) { p.Version = "other" },
		"same as":          func(p *schemas.Protocol) { p.SameAs = nil },
		"band":             func(p *schemas.Protocol) { p.BandLow, p.BandHigh = 0.6, 0.9 },
		"minimum coverage": func(p *schemas.Protocol) { p.MinCoverage = 0.5 },
	} {
		q := weekly()
		change(&q)
		if d := q.Digest(); d != was {
			t.Errorf("%s changes no number, and yet the digest", name)
		}
	}
}

func TestProtocolTimes(t *testing.T) {
	p := weekly()
	p.Stages = append(p.Stages, schemas.Stage{Duration: 30 * time.Second, Rest: true})
	p.Recovery = append(p.Recovery, 2*time.Minute)
	if p.Duration() != 4*time.Minute+30*time.Second || p.MaxRecovery() != 2*time.Minute || p.Kind() != "continuous-fixed" {
		t.Errorf("%s, %s, %s", p.Duration(), p.MaxRecovery(), p.Kind())
	}
	p.Recovery = nil
	if p.MaxRecovery() != 0 {
		t.Error("a longest delay without any")
	}
}
