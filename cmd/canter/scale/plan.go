package scale

import (
	"fmt"
	"math/rand/v2"
	"time"

	"canter.example/schemas"
	"canter.example/schemas/history"
)

// Plan says how much is invented: each athlete of each club has a test a week.
type Plan struct {
	Clubs, Athletes, Weeks int
	// Assessed and Recorded are the last weeks with an assessment of each test,
	// and with the loads of five recordings an athlete and week.
	Assessed, Recorded int
	// Rescored is one in how many files that is scored twice; 0 for none.
	Rescored int
	Seed     uint64
	// Batch is how many files go in one write, Writers how many write at once.
	Batch, Writers int
}

// Tests is how many there are in the end.
func (p *Plan) Tests() int { return p.Clubs * p.Athletes * p.Weeks }

const protocol = "run-12"

// firstDay is a Monday.
var firstDay = time.Date(2015, 1, 5, 10, 0, 0, 0, time.UTC)

func squad(club int) string           { return fmt.Sprintf("club %03d", club) }
func athlete(club, number int) string { return fmt.Sprintf("%03d-%02d", club, number) }
func day(week int) time.Time          { return firstDay.AddDate(0, 0, 7*week) }
func session(club, week int) string   { return schemas.SessionID(squad(club), protocol, date(week)) }
func date(week int) string            { return day(week).Format(time.DateOnly) }

// random gives the numbers of a week, of one purpose.
func (p *Plan) random(week, purpose int) *rand.Rand {
	return rand.New(rand.NewPCG(p.Seed, uint64(week)<<8|uint64(purpose)))
}

// part is one kind of rows of some weeks: it is written and timed by itself.
type part struct {
	from, to int // weeks, the last not among them
	rows     func(b *batch, r, more *rand.Rand, club, number, week int)
}

// source hands over the rows of a part, batch by batch.
type source func(p *Plan, each func(*batch) error) error

// asNeeded makes the rows while others are written.
func (of part) asNeeded(p *Plan, each func(*batch) error) error { return p.batches(of, each) }

// made makes all rows now, in batches for two writers at least.
func (of part) made(p *Plan) source {
	smaller := *p
	smaller.Batch = max(1, min(p.Batch, (of.to-of.from)*p.Clubs*p.Athletes/(2*max(1, p.Writers))))
	var all []*batch
	_ = smaller.batches(of, func(b *batch) error { all = append(all, b); return nil })
	return func(_ *Plan, each func(*batch) error) error {
		for _, b := range all {
			if err := each(b); err != nil {
				return err
			}
		}
		return nil
	}
}

// batch is what goes in one write: in the order in which tests are run.
type batch struct {
	results []history.FileResult
	again   []history.FileResult // files of these that are scored a second time
	about   []schemas.Assessment
}

func (b *batch) size() int { return len(b.results) + len(b.about) }

// batches hands over the rows of a part. The same week gives the same rows.
func (p *Plan) batches(of part, each func(*batch) error) error {
	b := p.empty()
	for week := of.from; week < of.to; week++ {
		r, more := p.random(week, 0), p.random(week, 1)
		for club := range p.Clubs {
			for number := range p.Athletes {
				of.rows(b, r, more, club, number, week)
				if b.size() >= p.Batch {
					if err := each(b); err != nil {
						return err
					}
					b = p.empty()
				}
			}
		}
	}
	if b.size() == 0 {
		return nil
	}
	return each(b)
}

func (p *Plan) place(club, number, week int) int { return (week*p.Clubs+club)*p.Athletes + number }

func (p *Plan) tests(b *batch, r, _ *rand.Rand, club, number, week int) {
	result := p.result(r, club, number, week)
	b.results = append(b.results, result)
	if p.Rescored > 0 && p.place(club, number, week)%p.Rescored == 0 {
		result.File.Version++
		o := result.Tests[0]
		o.Version++
		o.HRexBPM = schemas.Num(o.HRexBPM.Or(0) + 0.25)
		result.Tests = []schemas.Outcome{o}
		b.again = append(b.again, result)
	}
}

func (p *Plan) assessments(b *batch, r, more *rand.Rand, club, number, week int) {
	b.about = append(b.about, assess(more, &p.result(r, club, number, week).Tests[0]))
}

func (p *Plan) recordings(b *batch, r, _ *rand.Rand, club, number, week int) {
	for d := range 5 {
		b.results = append(b.results, recording(r, club, number, week, d, p.place(club, number, week)))
	}
}

// near returns a number about the mean, with two digits.
func near(r *rand.Rand, mean, spread float64) float64 {
	return float64(int(100*(mean+spread*r.NormFloat64()))) / 100
}

func (p *Plan) result(r *rand.Rand, club, number, week int) history.FileResult {
	at := p.place(club, number, week)
	start := day(week).Add(time.Duration(number) * time.Second)
	f := schemas.File{
		ID:     schemas.NewFileID(fmt.Appendf(nil, "%d %d", p.Seed, at)),
		Origin: schemas.Origin{Folder: "in", Path: fmt.Sprintf("%s/%s/%s.fit", squad(club), date(week), athlete(club, number)), Squad: squad(club), Modified: start.Add(time.Hour), Seen: start.Add(2 * time.Hour)},
		Size:   45_000, Format: "fit", State: schemas.FileScored, Tests: 1, Traces: 1, Version: schemas.Version(2*at + 2),
	}
	hrex := near(r, 160, 6)
	recovery := near(r, 42, 6)
	o := schemas.Outcome{
		TestID: schemas.NewTestID(f.ID, "", protocol, 0), FileID: f.ID, Athlete: athlete(club, number), Squad: squad(club),
		Protocol: protocol, ProtocolVersion: "0123456789ab", Session: session(club, week), Start: start, StartSource: schemas.StartByLap, StartConfidence: 0.97,
		Duration: 4 * time.Minute, HRexBPM: schemas.Num(hrex), HRexPct: schemas.Num(hrex / 1.95), HRexSE: schemas.Num(near(r, 0.5, 0.05)),
		HRmax: schemas.HRmax{BPM: schemas.Num(195), Source: schemas.HRmaxMeasured}, PeakBPM: schemas.Num(hrex + 5), EndHR: schemas.Num(hrex + 3),
		Recovery:    []schemas.Recovery{{Seconds: 60, BPM: schemas.Num(recovery), PctEnd: schemas.Num(recovery / 1.6), SE: schemas.Num(1.1), Coverage: 1}},
		BandSeconds: schemas.Num(near(r, 180, 10)), SpeedKMH: schemas.Num(near(r, 12, 0.1)), SpeedCV: schemas.Num(2), Coverage: 0.98,
		Quality: schemas.Good, MicrocycleDay: "MD-2", Surface: "grass", ScorerVersion: 3, Version: f.Version,
	}
	if r.IntN(20) == 0 {
		o.Quality, o.Reasons = schemas.Check, []schemas.Reason{{Code: schemas.ReasonArtefacts, Text: "3 % of the readings were dropped"}}
	}
	return history.FileResult{File: f, Tests: []schemas.Outcome{o}}
}

func recording(r *rand.Rand, club, number, week, d, at int) history.FileResult {
	start := day(week).AddDate(0, 0, d).Add(time.Duration(number) * time.Second)
	f := schemas.File{
		ID:     schemas.NewFileID(fmt.Appendf(nil, "recording %d %d", at, d)),
		Origin: schemas.Origin{Folder: "in", Squad: squad(club), Modified: start, Seen: start.Add(2 * time.Hour)},
		Size:   45_000, Format: "fit", State: schemas.FileTraining, Traces: 1, Version: schemas.Version(2*at + 2),
	}
	minutes := near(r, 70, 10)
	l := schemas.TraceLoad{FileID: f.ID, Athlete: athlete(club, number), Squad: squad(club), Date: start.Format(time.DateOnly), Version: f.Version,
		Load: schemas.Load{
			Start: start, Duration: 90 * time.Minute, Minutes: minutes, Coverage: minutes / 90, MeanHR: schemas.Num(near(r, 140, 8)), PeakHR: schemas.Num(near(r, 185, 4)),
			TRIMP: schemas.Num(near(r, 120, 20)), TRIMPMale: schemas.Num(near(r, 120, 20)), TRIMPFemale: schemas.Num(near(r, 110, 20)), Edwards: schemas.Num(near(r, 200, 30)),
			Zones: [5]float64{10, 15, 20, 15, 5}, HRmax: schemas.HRmax{BPM: schemas.Num(195), Source: schemas.HRmaxMeasured},
		}}
	return history.FileResult{File: f, Loads: []schemas.TraceLoad{l}}
}

func assess(r *rand.Rand, o *schemas.Outcome) schemas.Assessment {
	compare := func(m schemas.Measure, seconds int, unit string, value schemas.Number, sd float64) schemas.Comparison {
		change := near(r, 0, sd)
		return schemas.Comparison{
			Measure: m, Seconds: seconds, Unit: unit, Value: value, State: schemas.Inside, Previous: schemas.Num(value.Or(0) - change), PrevChange: schemas.Num(change),
			PrevPct: schemas.Num(change), PreviousTime: o.Start.AddDate(0, 0, -7), N: 8, MinN: 4, From: o.Start.AddDate(0, 0, -56), To: o.Start.AddDate(0, 0, -7),
			Mean: schemas.Num(value.Or(0) - change), SD: schemas.Num(sd), SDUsed: schemas.Num(sd), SDMethod: "own", Change: schemas.Num(change), Pct: schemas.Num(change),
			Z: schemas.Num(change / sd), TE: schemas.Num(1.2), SWC: schemas.Num(0.5), MDC: schemas.Num(3.33), ProbChange: schemas.Num(0.5),
			Squad: schemas.SquadShift{State: "estimated", Size: schemas.Num(0.2), SE: schemas.Num(0.4), N: 20}, Deviation: schemas.Num(change), DeviationZ: schemas.Num(change / sd),
		}
	}
	recovery, _ := o.HRR(60)
	return schemas.Assessment{
		TestID: o.TestID, Athlete: o.Athlete, Squad: o.Squad, Protocol: o.Protocol, Session: o.Session, Start: o.Start, Version: o.Version,
		Comparisons: []schemas.Comparison{
			compare(schemas.MeasureHRex, 0, "% points of HRmax", o.HRexPct, 1.6), compare(schemas.MeasureHRR, 60, "bpm", recovery.BPM, 4.2),
		},
	}
}

// empty has room for the batch, which would be moved each time it grows.
func (p *Plan) empty() *batch {
	return &batch{results: make([]history.FileResult, 0, p.Batch)}
}
