package scale

import (
	"context"
	"errors"
	"fmt"
	"io"
	"sync/atomic"
	"time"

	"golang.org/x/sync/errgroup"

	"canter.example/schemas"
	"canter.example/schemas/history"
)

// ErrNotEmpty is returned when the history to be filled holds files.
var ErrNotEmpty = errors.New("the history holds files already: name a new one, or measure it as it is with --measure-only")

// rate is how many things were written in what time.
type rate struct {
	n    int
	time time.Duration
}

func (r rate) perSecond() float64 { return float64(r.n) / max(r.time.Seconds(), 1e-9) }

// Loaded says how the load went.
type Loaded struct {
	Tests, Assessments, Loads rate
	// Last is the part of the tests whose rows the bare client is given: those
	// of this week and later.
	Last     rate
	LastFrom int
	// Settled is how long [history.Settle] took afterwards.
	Settled time.Duration
}

// Load fills an empty history, and tells of its progress.
func (p *Plan) Load(ctx context.Context, s history.Store, progress io.Writer) (*Loaded, error) {
	files, err := count(ctx, s, "files")
	if err != nil {
		return nil, err
	}
	if files > 0 {
		return nil, ErrNotEmpty
	}
	done := &Loaded{LastFrom: p.Weeks - p.lastWeeks()}
	if done.Tests, err = p.write(ctx, s, part{0, done.LastFrom, p.tests}.asNeeded, progress, "tests"); err != nil {
		return nil, err
	}
	if done.Last, err = p.write(ctx, s, part{done.LastFrom, p.Weeks, p.tests}.made(p), progress, "more tests"); err != nil {
		return nil, err
	}
	done.Tests.n, done.Tests.time = done.Tests.n+done.Last.n, done.Tests.time+done.Last.time
	if done.Assessments, err = p.write(ctx, s, part{max(0, p.Weeks-p.Assessed), p.Weeks, p.assessments}.asNeeded, progress, "assessments"); err != nil {
		return nil, err
	}
	if done.Loads, err = p.write(ctx, s, part{max(0, p.Weeks-p.Recorded), p.Weeks, p.recordings}.asNeeded, progress, "recordings"); err != nil {
		return nil, err
	}
	if err := s.SaveAthletes(ctx, p.roster()); err != nil {
		return nil, err
	}
	began := time.Now()
	err = history.Settle(ctx, s)
	done.Settled = time.Since(began)
	return done, err
}

// mostLast is how many tests the bare client is given at most: they are all made,
// and held, before their insert is timed.
const mostLast = 200_000

// lastWeeks is how many weeks are written last, timed by themselves.
func (p *Plan) lastWeeks() int {
	return max(1, min(p.Weeks/10, mostLast/(p.Clubs*p.Athletes)))
}

// write makes and writes the rows of a part.
func (p *Plan) write(ctx context.Context, s history.Store, of source, progress io.Writer, what string) (rate, error) {
	began := time.Now()
	made := make(chan *batch)
	var written atomic.Int64
	group, both := errgroup.WithContext(ctx)
	group.Go(func() error {
		defer close(made)
		return of(p, func(b *batch) error {
			select {
			case made <- b:
				return nil
			case <-both.Done():
				return both.Err()
			}
		})
	})
	for range max(1, p.Writers) {
		group.Go(func() error {
			for b := range made {
				if err := errors.Join(s.SaveResults(both, b.results), s.SaveResults(both, b.again), s.SaveAssessments(both, b.about)); err != nil {
					return err
				}
				n := written.Add(int64(b.size()))
				spent := time.Since(began)
				fmt.Fprintf(progress, "%d %s after %s, %.0f/s\n", n, what, spent.Round(time.Second), rate{int(n), spent}.perSecond())
			}
			return nil
		})
	}
	err := group.Wait()
	return rate{int(written.Load()), time.Since(began)}, err
}

// roster are the athletes for the table of that name.
func (p *Plan) roster() []history.AthleteRow {
	var rows []history.AthleteRow
	for club := range p.Clubs {
		for number := range p.Athletes {
			rows = append(rows, history.AthleteRow{ID: athlete(club, number), Name: athlete(club, number), Squad: squad(club),
				Squads: []schemas.Membership{{Squad: squad(club)}}})
		}
	}
	return rows
}

func count(ctx context.Context, s history.Reader, table string) (int64, error) {
	r, err := s.Query(ctx, "SELECT count(*) FROM "+table, 0)
	if err != nil {
		return 0, err
	}
	switch n := r.Values[0][0].(type) {
	case int64:
		return n, nil
	case uint64:
		return int64(n), nil
	default:
		return 0, fmt.Errorf("a count is a %T", n)
	}
}
