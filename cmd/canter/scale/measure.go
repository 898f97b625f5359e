package scale

import (
	"context"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"slices"
	"text/tabwriter"
	"time"

	"canter.example/schemas/history"
)

// question is one thing that people ask, of an athlete or squad picked anew
// each time.
type question struct {
	about string // what is asked
	view  string // SQL, with the place of athlete, squad, date, session
	plain string // the same on the stored table, as if nothing were ever replaced; "" for none
}

// Of the placeholders one is filled in for each time.
const (
	ofAthlete = "athlete = '%[1]s'"
	ofSquad   = "squad = '%[2]s' AND local_date = '%[3]s'"
	ofSession = "session = '%[4]s'"
)

var questions = []question{
	{"an athlete over time: tests", "SELECT * FROM tests WHERE " + ofAthlete + " ORDER BY start_ms", "SELECT * FROM stored_tests WHERE " + ofAthlete + " ORDER BY start_ms"},
	{"an athlete over time: valid_tests", "SELECT * FROM valid_tests WHERE " + ofAthlete + " ORDER BY start_ms", "SELECT * FROM stored_tests WHERE " + ofAthlete + " ORDER BY start_ms"},
	{"a squad on a day: session_tests", "SELECT * FROM session_tests WHERE " + ofSquad, "SELECT * FROM stored_session_tests WHERE " + ofSquad},
	{"a squad on a day: valid_tests by session", "SELECT * FROM valid_tests WHERE " + ofSession, ""},
	{"latest_tests of an athlete", "SELECT * FROM latest_tests WHERE " + ofAthlete, ""},
	{"assessments of an athlete", "SELECT * FROM assessments WHERE " + ofAthlete, "SELECT * FROM stored_athlete_assessments WHERE " + ofAthlete},
	{"tests_with_load of an athlete", "SELECT * FROM tests_with_load WHERE " + ofAthlete, ""},
	{"loads of an athlete", "SELECT * FROM loads WHERE " + ofAthlete, "SELECT * FROM stored_loads WHERE " + ofAthlete},
	{"athlete_days of an athlete", "SELECT * FROM athlete_days WHERE " + ofAthlete, ""},
	{"athlete_timeline of an athlete", "SELECT * FROM athlete_timeline WHERE " + ofAthlete, ""},
	{"a squad on a day: session_changes", "SELECT * FROM session_changes WHERE " + ofSquad, "SELECT * FROM stored_session_assessments WHERE " + ofSquad},
	{"session_tests of a session", "SELECT * FROM session_tests WHERE " + ofSession, ""},
	{"tests of a session", "SELECT * FROM tests WHERE " + ofSession, "SELECT * FROM stored_tests WHERE " + ofSession},
	{"all tests, mean by squad", "SELECT squad, avg(hrex_pct) FROM tests GROUP BY squad", "SELECT squad, avg(hrex_pct) FROM stored_tests GROUP BY squad"},
	{"all tests, counted (plain: the floor)", "SELECT count(*) FROM tests", "SELECT count(*) FROM stored_tests"},
	{"weekly_tests of everybody, counted", "SELECT count(*) FROM weekly_tests", ""},
	{"alert_outcomes, counted", "SELECT count(*) FROM alert_outcomes", ""},
	{"squad_members, counted", "SELECT count(*) FROM squad_members", "SELECT count(*) FROM athletes"},
	{"session_tests of everybody, counted", "SELECT count(*) FROM session_tests", ""},
	{"assessments of everybody, counted", "SELECT count(*) FROM assessments", ""},
	{"latest_tests of everybody, counted", "SELECT count(*) FROM latest_tests", ""},
	{"loads of everybody, counted", "SELECT count(*) FROM loads", "SELECT count(*) FROM stored_loads"},
	{"files, counted", "SELECT count(*) FROM files", ""},
	{"weekly_coverage of everybody, counted", "SELECT count(*) FROM weekly_coverage", ""},
}

// inSQLite are the plain queries of tables that it has in another form.
var inSQLite = map[string]string{
	"a squad on a day: session_tests":   "SELECT * FROM stored_tests WHERE squad = '%[2]s' AND CASE WHEN session GLOB '*[0-9][0-9][0-9][0-9]-[0-9][0-9]-[0-9][0-9]' THEN substr(session, -10) ELSE '' END = '%[3]s' AND removed_version IS NULL",
	"a squad on a day: session_changes": "SELECT * FROM stored_assessments WHERE " + ofSession,
	"assessments of an athlete":         "SELECT * FROM stored_assessments WHERE " + ofAthlete,
}

func (q *question) plainFor(sqlite bool) string {
	if other, there := inSQLite[q.about]; there && sqlite {
		return other
	}
	return q.plain
}

// Measured is how long a question took.
type Measured struct {
	About string
	Rows  int // of the last answer
	// Failed is why the question could not be asked on, "" when it could.
	Failed string
	View   times
	Plain  times
}

type times []time.Duration

// quantile is the smallest time that a share of the answers did not exceed.
func (t times) quantile(q float64) time.Duration {
	if len(t) == 0 {
		return 0
	}
	return t[min(len(t)-1, int(math.Ceil(q*float64(len(t))))-1)]
}

// budget ends the repetitions of a slow question.
const budget = 10 * time.Second

// Measure asks each question n times, of an athlete or squad picked anew each
// time; slow ones as often as the budget allows, once at least.
func (p *Plan) Measure(ctx context.Context, s history.Store, address string, n int, progress io.Writer) ([]Measured, error) {
	r := rand.New(rand.NewPCG(p.Seed, math.MaxUint64))
	sqlite := !OnClickHouse(address)
	var err error
	var all []Measured
	run := func(m *times, ask func(club, number, week int) (int, error)) (rows int, err error) {
		began := time.Now()
		for i := 0; i < n && (i == 0 || time.Since(began) < budget); i++ {
			club, number := r.IntN(p.Clubs), r.IntN(p.Athletes)
			week := p.Weeks - 1 - r.IntN(min(p.Weeks, max(1, p.Assessed))) // one with assessments
			at := time.Now()
			if rows, err = ask(club, number, week); err != nil {
				return rows, err
			}
			*m = append(*m, time.Since(at))
		}
		slices.Sort(*m)
		return rows, nil
	}
	for _, q := range questions {
		m := Measured{About: q.about}
		sql := func(text string) func(int, int, int) (int, error) {
			return func(club, number, week int) (int, error) {
				text := fmt.Sprintf(text+"%[5]s", athlete(club, number), squad(club), date(week), session(club, week), "")
				rows, err := s.Query(ctx, text, 0)
				if err != nil {
					return 0, fmt.Errorf("%s: %w", q.about, err)
				}
				return len(rows.Values), nil
			}
		}
		if plain := q.plainFor(sqlite); plain != "" {
			if _, err = run(&m.Plain, sql(plain)); err != nil {
				return nil, err
			}
		}
		if m.Rows, err = run(&m.View, sql(q.view)); err != nil {
			if ctx.Err() != nil {
				return nil, err
			}
			m.Failed = err.Error() // such as one that takes more time or memory than there is: the others count
		}
		all = append(all, m)
		fmt.Fprintf(progress, "%s: %d times%s\n", m.About, len(m.View), m.failedWords())
	}
	for _, c := range []struct {
		about string
		ask   func(club, number, week int) (int, error)
	}{
		{"as the program reads: an athlete's tests", func(club, number, _ int) (int, error) {
			l, err := s.AthleteTests(ctx, athlete(club, number), protocol)
			return len(l), err
		}},
		{"as the program reads: a session's tests", func(club, _, week int) (int, error) {
			l, err := s.SessionTests(ctx, session(club, week))
			return len(l), err
		}},
	} {
		m := Measured{About: c.about}
		var err error
		if m.Rows, err = run(&m.View, c.ask); err != nil {
			return nil, err
		}
		all = append(all, m)
	}
	return all, nil
}

// failedWords ends a line about a question that could not be asked.
func (m *Measured) failedWords() string {
	if m.Failed == "" {
		return ""
	}
	return ", then failed: " + m.Failed
}

// WriteMeasured prints the table.
func WriteMeasured(w io.Writer, all []Measured) error {
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprintln(t, "question\tasked\trows\tp50 ms\tp95 ms\tp99 ms\tplain p50 ms\tp95 ms\tp99 ms\tview/plain")
	ms := func(d time.Duration) string { return fmt.Sprintf("%.1f", float64(d.Microseconds())/1000) }
	for _, m := range all {
		plain, share := "\t\t", ""
		if len(m.Plain) > 0 {
			plain = ms(m.Plain.quantile(0.5)) + "\t" + ms(m.Plain.quantile(0.95)) + "\t" + ms(m.Plain.quantile(0.99))
			share = fmt.Sprintf("%.2f", float64(m.View.quantile(0.5))/float64(max(m.Plain.quantile(0.5), 1)))
		}
		fmt.Fprintf(t, "%s\t%d\t%d\t%s\t%s\t%s\t%s\t%s\n", m.About, len(m.View), m.Rows,
			ms(m.View.quantile(0.5)), ms(m.View.quantile(0.95)), ms(m.View.quantile(0.99)), plain, share)
	}
	if err := t.Flush(); err != nil {
		return err
	}
	for _, m := range all {
		if m.Failed != "" {
			if _, err := fmt.Fprintf(w, "%s%s\n", m.About, m.failedWords()); err != nil {
				return err
			}
		}
	}
	return nil
}
