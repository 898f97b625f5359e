package club

import (
	"time"

	"canter.example/schemas"
)

// reference reads what baselines are made of.
func (b *builder) reference(w *thresholdsWritten, t *Thresholds) {
	const at = "thresholds.reference"
	block := w.Baseline == "reference"
	if block {
		t.Baseline = schemas.BasisReference
	}
	switch {
	case w.Reference != nil:
		from, to := b.day(at+".from", w.Reference.From), b.day(at+".to", w.Reference.To)
		if from.IsZero() || to.IsZero() {
			return
		}
		if to.Before(from) {
			b.fail(at+".to", "the block ends before it begins", "Swap from and to")
			return
		}
		t.Reference = schemas.Period{From: from, To: to.AddDate(0, 0, 1)}
		if !block {
			b.fail(at, "a block is given, but the baseline is rolling", "Write baseline: reference, or take the block out")
		}
	case block && !b.doubted(at):
		b.fail("thresholds.baseline", "the days of the block are missing", "Add reference: {from: 2026-07-06, to: 2026-08-02}")
	}
}

// rules reads the settings of rules. Longest hold-off: six weeks, as far as an
// alert looks back and forth; see package review.
func (b *builder) rules(w map[string]*ruleWritten) {
	r := &b.club.Thresholds.Rules
	for _, id := range Settable {
		x, p := w[string(id)], r.at(id)
		if x == nil {
			continue
		}
		at := "rules." + string(id)
		p.Off = x.On != nil && !*x.On
		p.Change, p.Z = number(x.Change, p.Change), number(x.Z, p.Z)
		p.Tests, p.MinTests = int(number(x.Tests, float64(p.Tests))), int(number(x.MinTests, float64(p.MinTests)))
		if x.Urgency != "" {
			p.Urgency = schemas.Urgency(x.Urgency)
		}
		if x.HoldOff == "never" {
			p.HoldOff = 0
		} else {
			p.HoldOff = b.length(at+".hold_off", x.HoldOff, p.HoldOff, 24*time.Hour, 42*24*time.Hour)
		}
		if x.Tell != "" {
			p.Tell = string(x.Tell)
		}
	}
}
