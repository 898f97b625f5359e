package engine

import (
	"fmt"

	"canter.example/schemas"
)

// Limits of judging. Where no source is named they are choices of this
// package, made so that a doubtful test is shown to people instead of being
// believed.
const (
	// leastConfidence that a start is within 5 s, for a good test.
	leastConfidence = 0.80
	// mostDropped: share of the test's recorded readings that may be artefacts.
	mostDropped = 0.20
	// mostBend: how far (bpm) the mean of 15 s may be from the response; see bend.
	mostBend = 4.0
	// stepsBefore: a step within this time before the test (s) leaves its
	// level in doubt.
	stepsBefore = 300
	// slippedBefore: seconds before the test in which longSlip seconds dropped
	// between two jumps leave the level after them in doubt.
	slippedBefore = 120
	longSlip      = 15
	// mostLevelCost of a good test; see levelCost.
	mostLevelCost = 2.0
	// mostFall and mostClimb: change of heart rate in bpm/s over the last minute
	// of a steady run.
	mostFall = 0.10
	// stillClimbs: faster than this (bpm/s) it has not come to a level.
	stillClimbs = 0.15
	mostClimb   = 0.25
	// mostScatter about the response of the whole test (bpm), over the trace's own
	// wiggle, and mostMisfit, the cost of it that the search found.
	mostScatter = 2.0
	mostMisfit  = 4.0
	// mostHRexSE and mostHRRSE: standard errors above which the numbers are
	// doubtful: the typical errors of the measures are about 2.4 and 3.4 bpm
	// (1.2 points of a HRmax of 200, Scott et al. 2018; FACTS 2.1).
	mostHRexSE = 2.0
	mostHRRSE  = 3.4
	// mostSpeedOff and mostSpeedCV: how far the mean speed may be from the
	// protocol's, and how much it may vary (%).
	mostSpeedOff = 6.0
	mostSpeedCV  = 12.0
	// offBand: points of %HRmax that HRex may be outside the intensity band
	// before the test is doubtful.
	offBand = 10.0
	// lighter: points of %HRmax below the band from where on a run is rather a jog
	// that happens to be as long as the test, near a planned time or not: three
	// typical errors of 1.2 points (Scott et al. 2018; FACTS 2.1). Team-mates and
	// the protocol's own speed say that it was the test.
	lighter = 3.6
)

// verdict collects reasons and the worst quality that they call for.
type verdict struct {
	quality schemas.Quality
	reasons []schemas.Reason
}

func (v *verdict) add(q schemas.Quality, code schemas.ReasonCode, format string, args ...any) {
	v.reasons = append(v.reasons, schemas.Reason{Code: code, Text: fmt.Sprintf(format, args...)})
	if q == schemas.Reject || v.quality == schemas.Good {
		v.quality = q
	}
}

// remark notes something that leaves the quality as it is.
func (v *verdict) remark(code schemas.ReasonCode, format string, args ...any) {
	v.reasons = append(v.reasons, schemas.Reason{Code: code, Text: fmt.Sprintf(format, args...)})
}

// judge sets the quality of a measured test and its reasons.
func (w *work) judge(o *schemas.Outcome, m *measures, c *candidate, rank, of int, h *hints, req *Request) {
	v := verdict{quality: schemas.Good}
	w.judgeStart(&v, c, rank, of, h)
	w.judgeTrace(&v, o, m, c, req.Protocol)
	w.judgeShape(&v, m, c)
	judgeRecovery(&v, m, req.Protocol)
	w.judgeFile(&v, m, req)
	loadKept := judgeLoad(&v, m, req.Protocol)
	judgeLevel(&v, o, m, c, req, loadKept)
	o.Quality, o.Reasons = v.quality, v.reasons
	if c.source != schemas.StartByHand && !c.borrowed {
		o.StartConfidence = doubted(o.StartConfidence, v.quality)
	}
}

// mostDoubts that a test may raise when nothing but heart rate says that it is
// one: with more it is training that looks a little like it.
const mostDoubts = 3

// doubts counts the kinds of doubt about a test.
func doubts(o *schemas.Outcome) int {
	kinds := map[schemas.ReasonCode]bool{}
	if o.Quality == schemas.Good {
		return 0
	}
	for _, r := range o.Reasons {
		switch r.Code {
		case schemas.ReasonStartUncertain, schemas.ReasonNotSteady, schemas.ReasonStrapSlip,
			schemas.ReasonRecoveryBroken, schemas.ReasonLoadNotKept, schemas.ReasonCutShort:
			kinds[r.Code] = true
		default:
		}
	}
	return len(kinds)
}

// doubtedOdds is what the odds of a start are worth where anything at all about
// the test is doubtful, and where it is rejected: then it may be no test at all.
// The confidences in testdata/reliability.txt and holdout.txt are those after it,
// and below 0.80 nearly all are of such tests: the real shares there are above
// the stated ones, so this errs on the side of doubt.
var doubtedOdds = map[schemas.Quality]float64{schemas.Good: 1, schemas.Check: 0.15, schemas.Reject: 0.05}

func doubted(p float64, q schemas.Quality) float64 {
	odds := doubtedOdds[q] * p / max(1-p, 1e-9)
	return odds / (1 + odds)
}
