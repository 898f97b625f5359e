package club

import (
	"time"

	"canter.example/schemas"
)

// Defaults of a protocol.
const (
	// DefaultHRexWindow: HRex is the mean over the final 30 to 60 s (Buchheit
	// 2014, Front Physiol 5:73; FACTS 1.3). The longer one is less noisy.
	DefaultHRexWindow = 60 * time.Second
	// DefaultRecovery: HR at the end minus HR 60 s later (Barak et al. 2011,
	// JSSM 10:369-75; FACTS 1.6).
	DefaultRecovery = 60 * time.Second
	// DefaultEndWindow and DefaultRecoveryWindow: no source read fixes the
	// averaging windows of HRR (FACTS 1.8). Our choice: short enough that the
	// fast first fall of HR is not averaged away, long enough to span several
	// beats.
	DefaultEndWindow      = 5 * time.Second
	DefaultRecoveryWindow = 5 * time.Second
	// DefaultBandLow and DefaultBandHigh: about 75 to 85 % of HRmax; common
	// practice (FACTS 1.7).
	DefaultBandLow  = 0.75
	DefaultBandHigh = 0.85
	// DefaultMinCoverage: four fifths of a window; common practice, no source
	// read gives a number.
	DefaultMinCoverage = 0.80
	// DefaultPosture: one minute of standing recovery (PLoS ONE 2020,
	// 10.1371/journal.pone.0244412; FACTS 1.4).
	DefaultPosture = schemas.Standing
)

// Defaults of a planned test: our choices. A quarter of an hour covers a
// warm-up that starts late; four hours, the upload after training.
const (
	DefaultWithin      = 15 * time.Minute
	DefaultRemindAfter = 4 * time.Hour
)

// Defaults of the file settings: our choices. Two seconds of quiet outlast the
// pauses of a copy over a network; the rescan is what network shares depend on.
const (
	DefaultSettle        = 2 * time.Second
	DefaultRescan        = 30 * time.Second
	DefaultMaxSize int64 = 64_000_000
)

// DefaultHold is our choice: a session that is copied or uploaded in one go is
// told in one message, and a single file within two seconds of being noticed.
// A club whose straps are read out one after the other sets it longer.
const DefaultHold = 1500 * time.Millisecond

// DefaultTokenEnv names the environment variable of the chat's token where the
// club file names neither a variable nor a file.
const DefaultTokenEnv = "CANTER_CHAT_TOKEN" //nolint:gosec // a name, no credential

// DefaultWebhookEnv names the environment variable of the webhooks' addresses.
const DefaultWebhookEnv = "CANTER_CHAT_WEBHOOK"

// Defaults of what chat is told besides alerts: our choices. A channel takes a
// message a second, so four answers with pictures are there within five seconds
// of the session's message. Digests are on the phone before the working week,
// and the month, begins.
const (
	DefaultPictures = 4
	DefaultWeekly   = "0 7 * * MON"
	DefaultMonthly  = "30 7 1 * *"
)

// DefaultThresholds returns the thresholds of a club that sets none.
func DefaultThresholds() Thresholds {
	return Thresholds{
		// The minimal detectable change at 90 % of a typical error of 1.2
		// points: 1.2 x sqrt 2 x 1.645 = 2.79 (formula Weir 2005, 10.1519/15184.1;
		// value derived, FACTS 2.8). The published threshold for an individual
		// change is 1.8 (Scott et al. 2018, Sci Med Football 2:184-90; FACTS
		// 2.1); the stricter one keeps false alerts down.
		HRexRisePoints: 2.8,
		// 2.8 % of an HRmax of 190; derived. Five days apart, submaximal HR
		// differs by 5 +/- 2 bpm (Lamberts et al. 2004; FACTS 2.6).
		HRexRiseBPM: 5.3,
		// The same of a typical error of 3.4 bpm: 3.4 x sqrt 2 x 1.645 = 7.9
		// (FACTS 2.8; the source gives HRR60's error and threshold without a
		// unit, read here as bpm). The published threshold for an individual
		// change is 4.6 (Scott et al. 2018; FACTS 2.1), which alone would raise
		// about one false alert in every sixth test (alerts/ERRORRATES.md).
		HRRFallBPM: 7.9,
		// Stricter than the cut-offs 1.0, 1.5 and 2.0 of common practice (FACTS 7):
		// chosen by simulation together with the rules, so that an unchanged
		// athlete gives rise to at most one alert in 40 tests (alerts/ERRORRATES.md).
		Z: 2.9,
		// Common practice: 3 to 5 tests provisional, 8 to 10 preferred (FACTS 7);
		// 5g shows the price of few. The numbers are those of the design.
		MinBaseline:   4,
		BaselineTests: 8,
		BaselineAge:   365 * 24 * time.Hour,
		// Typical errors: 1.2 points (90 % CL 1.0-1.7) and 3.4 bpm (2.7-4.6)
		// (Scott et al. 2018; FACTS 2.1). A pooled 1.6 (1.4-1.9) points is given
		// by Shushan et al. 2023, 10.1186/s40798-023-00564-w (FACTS 2.2, from memory).
		HRexTE: 1.2,
		HRRTE:  3.4,
		// Our choice: tests are weekly, so last week's is still news.
		TellWithin: 7 * 24 * time.Hour,
		Baseline:   schemas.BasisRolling,
		// Ours: a little above the SWC of about 1 % (FACTS 2.4) and below half of
		// what one athlete must show; with 20 athletes the interval of a session's
		// shift is about 0.8 points either way, so that 2.3 points are told.
		SquadPoints: 1.5,
		SquadHRR:    4,
		// A lasting change of one SD, about the typical error, is what CUSUMs are
		// commonly made for (k 0.5; FACTS 5d). One false alarm in 600 tests, about
		// fifteen years of weekly tests in season, is ours: drift is a slow message.
		DriftShift:     1,
		DriftRunLength: 600,
		Again:          4,
		Rules:          DefaultRules(),
	}
}

// DefaultRules returns the rules of a club that sets none. The thresholds are
// chosen together by simulation: alerts/ERRORRATES.md has the table, and what
// other choices would give.
func DefaultRules() Rules {
	const threeWeeks = 21 * 24 * time.Hour
	const sixWeeks = 42 * 24 * time.Hour
	rule := func(urgency schemas.Urgency, holdOff time.Duration, change, z float64, tests int) Rule {
		return Rule{Urgency: urgency, HoldOff: holdOff, Change: change, Z: z, Tests: tests, MinTests: 4, Tell: TellSquad}
	}
	easier := rule(schemas.Routine, 0, 2.8, 2, 0)
	easier.Tell = TellDigest
	return Rules{
		HRexRisen:   rule(schemas.Look, threeWeeks, 0, 0, 0),
		HRRWorsened: rule(schemas.Look, threeWeeks, 0, 3.2, 0),
		Both:        rule(schemas.LookNow, threeWeeks, 0, 0, 0),
		// The published thresholds for an individual change (Scott et al. 2018;
		// FACTS 2.1), which alone would fire every sixth test, asked for on average
		// of two tests running. HRR is the noisier of the two (FACTS 2.4) and asks
		// for more; z by simulation.
		HRexRunning: rule(schemas.Look, threeWeeks, 1.8, 1.7, 2),
		HRRRunning:  rule(schemas.Look, threeWeeks, 4.6, 2.5, 2),
		HRexDrift:   rule(schemas.Routine, threeWeeks, 0, 0, 0),
		HRRDrift:    rule(schemas.Routine, threeWeeks, 0, 0, 0),
		OutsideBand: rule(schemas.Routine, sixWeeks, 1.2, 0, 0),

		HRmaxExceeded: Rule{Urgency: schemas.Routine, HoldOff: sixWeeks, Tell: TellSquad},
		TraceUnusable: Rule{Urgency: schemas.Routine, Tests: 2, Tell: TellSquad},
		SquadEffect:   Rule{Urgency: schemas.Routine, Tell: TellSquad},
		TestMissing:   Rule{Urgency: schemas.Routine, Tell: TellSquad},
		Easier:        easier,
	}
}

// DefaultProtocol returns a continuous-fixed protocol of the given length with
// every default, for scoring without a club file.
func DefaultProtocol(id string, duration time.Duration) schemas.Protocol {
	p := schemas.Protocol{
		ID: id, Name: id,
		Regimen: schemas.Continuous, Progression: schemas.Fixed,
		Stages: []schemas.Stage{{Duration: duration}},
		HRex:   schemas.FinalMean, HRexWindow: min(DefaultHRexWindow, duration),
		Recovery: []time.Duration{DefaultRecovery}, Posture: DefaultPosture,
		EndWindow: DefaultEndWindow, RecoveryWindow: DefaultRecoveryWindow,
		BandLow: DefaultBandLow, BandHigh: DefaultBandHigh,
		MinCoverage: DefaultMinCoverage,
	}
	p.Version = p.Digest()
	return p
}
