package faults_test

import (
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"canter.example/cmd/canter/season"
	"canter.example/schemas/history"
)

func cells(rows *history.Rows) [][]string {
	out := make([][]string, len(rows.Values))
	for i, v := range rows.Values {
		for _, x := range v {
			switch x := x.(type) {
			case nil:
				out[i] = append(out[i], "")
			case float64:
				out[i] = append(out[i], strconv.FormatFloat(x, 'g', 6, 64))
			default:
				out[i] = append(out[i], fmt.Sprint(x))
			}
		}
	}
	return out
}

func number(s string) int64 {
	n, _ := strconv.ParseFloat(s, 64)
	return int64(n)
}

// results is what must come out of a set of files, however it was disturbed:
// for each kind of result, rows by the file (or athlete, or alert) they are
// about. What rightly differs between runs is left out: versions, when a file
// was seen, and what depends on the order of arrival: alerts that did not last,
// and whether an alert was told or kept quiet since one like it was told shortly
// before. [rig.toldOnce] has a look at who was told.
type results map[string][]string

// results reads them from the history.
func (r *rig) results() results {
	r.t.Helper()
	out := results{}
	add := func(about string, row []string) {
		out[about] = append(out[about], strings.ReplaceAll(strings.Join(row, " | "), r.dir, "DIR"))
	}
	path := map[string]string{}
	for _, row := range r.ask(`SELECT file_id, path, state, reason, tests_found, traces_found FROM files`) {
		path[row[0]] = "file " + row[1] + " (" + row[0][:12] + ")"
		add(path[row[0]], row[2:])
	}
	file := map[string]string{}
	for _, row := range r.ask(`SELECT file_id, test_id, athlete, session, start_ms, start_source, round(start_confidence, 6), round(hrex_bpm, 6), round(hrex_pct, 6), round(hrr60_bpm, 6),
		round(coverage, 6), quality, reasons, staff FROM tests ORDER BY test_id`) {
		file[row[1]] = path[row[0]]
		add(path[row[0]], row[1:])
	}
	for _, row := range r.ask(`SELECT test_id, measure, seconds, state, baseline_n, round(baseline_mean, 6), round(sd_used, 6), round(z, 6), round(change, 6), rules FROM assessments ORDER BY test_id, measure, seconds`) {
		add(file[row[0]], row)
	}
	for _, row := range r.ask(`SELECT file_id, athlete, local_date, start_ms, part, round(minutes, 6), round(trimp, 6), counts FROM loads ORDER BY athlete, start_ms, file_id, part`) {
		add(path[row[0]], row[1:])
	}
	for _, row := range r.ask(`SELECT athlete, squad, local_date, series, round(value, 6), unit FROM daily_series ORDER BY athlete, squad, local_date, series`) {
		add("series of "+row[0], row)
	}
	for _, row := range r.ask(`SELECT alert_id, rule, athlete, state, text FROM alerts WHERE rule <> 'file-parked' AND state <> 'withdrawn' ORDER BY alert_id`) {
		add("alert "+row[0], row[1:])
	}
	return out
}

// differences says what differs, naming the file.
func differences(want, got results) (lines []string) {
	abouts := map[string]bool{}
	for about := range want {
		abouts[about] = true
	}
	for about := range got {
		abouts[about] = true
	}
	for _, about := range slices.Sorted(maps.Keys(abouts)) {
		if w, g := want[about], got[about]; !slices.Equal(w, g) {
			lines = append(lines, fmt.Sprintf("%s:\n    undisturbed: %s\n    here:        %s", about, strings.Join(only(w, g), "\n                 "), strings.Join(only(g, w), "\n                 ")))
		}
	}
	return lines
}

func only(a, b []string) []string {
	return slices.DeleteFunc(slices.Clone(a), func(x string) bool { return slices.Contains(b, x) })
}

// seasons are made once for each length, with the results of an undisturbed run.
type undisturbed struct {
	season  *season.Season
	results results
	told    []string
}

var (
	undisturbedMu sync.Mutex
	byWeeks       = map[int]*undisturbed{}
)

// athletes of the first squad: with the six of the second, weeks of so many
// files.
const athletes = 22

func newSeason(t *testing.T, weeks int) *season.Season {
	t.Helper()
	s, err := season.New(season.Options{Weeks: weeks, Athletes: athletes})
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// plain returns a season and what an undisturbed run makes of it.
func plain(t *testing.T, weeks int) *undisturbed {
	t.Helper()
	undisturbedMu.Lock()
	defer undisturbedMu.Unlock()
	if u := byWeeks[weeks]; u != nil {
		return u
	}
	s := newSeason(t, weeks)
	r := oneProcess(t, s, setup{}).start()
	r.drop(all(s)...)
	r.settled(5 * time.Minute)
	u := &undisturbed{season: s, results: r.results(), told: r.posted()}
	r.stop()
	if len(u.told) == 0 {
		t.Fatal("nothing was told")
	}
	byWeeks[weeks] = u
	return u
}

// posted is the chat's own record: the ids of what it holds. A message that is
// there twice fails the test.
func (r *rig) posted() []string {
	r.t.Helper()
	seen := map[string]bool{}
	var ids []string
	for _, p := range r.chat.Posted() {
		key := fmt.Sprintf("%s page %d", p.ID, p.Page)
		if seen[key] {
			r.t.Errorf("the chat has message %s twice: %s", key, p.Plain())
		}
		seen[key] = true
		if !slices.Contains(ids, p.ID) {
			ids = append(ids, p.ID)
		}
	}
	slices.Sort(ids)
	return ids
}

// sound checks everything that is promised of any fault: each file has the
// outcome of an undisturbed run, the chat has each message once, history and
// chat agree, each alert that stands was told once, and only what is parked in
// an undisturbed run is parked. It returns what was seen.
func (r *rig) sound(want *undisturbed) string {
	r.t.Helper()
	got := r.results()
	if r.except != "" {
		maps.DeleteFunc(got, func(about string, _ []string) bool { return strings.Contains(about, r.except) })
	}
	diffs := differences(want.results, got)
	for i, d := range diffs {
		if i == 10 {
			r.t.Errorf("and %d more", len(diffs)-i)
			break
		}
		r.t.Errorf("differs from an undisturbed run: %s", d)
	}
	alerts := r.toldOnce()
	parked := r.ask("SELECT count(*) FROM files WHERE state = 'parked'")[0][0]
	return fmt.Sprintf("%d files, %s parked, results as undisturbed; %d messages in chat, %d alerts told, each once", len(r.dropped), parked, len(r.posted()), alerts)
}

// toldOnce checks history against the chat's own record and returns how many
// alerts were told.
func (r *rig) toldOnce() int {
	r.t.Helper()
	posted := r.posted()
	var sent []string
	told := map[string]int{}
	for _, row := range r.ask("SELECT message_id, says FROM messages WHERE state = 'sent' ORDER BY message_id") {
		sent = append(sent, row[0])
		for _, alert := range toldIn(r.t, row[1]) {
			told[alert]++
		}
	}
	slices.Sort(sent)
	if !slices.Equal(sent, posted) {
		r.t.Errorf("history says sent, chat does not have: %v; chat has, history does not say: %v", only(sent, posted), only(posted, sent))
	}
	for _, row := range r.ask("SELECT message_id, state, reason FROM messages WHERE state <> 'sent'") {
		r.t.Errorf("not sent: %v", row)
	}
	// One that was closed again before its turn came is not told: its athlete was
	// back inside with a file that was there already.
	for _, row := range r.ask("SELECT alert_id, rule, athlete FROM alerts WHERE told = 1 AND state IN ('open', 'seen') AND rule <> 'file-parked' AND rule <> 'test-missing'") {
		if n := told[row[0]]; n != 1 {
			r.t.Errorf("alert %v was told %d times", row, n)
		}
	}
	for alert, n := range told {
		if n > 1 {
			r.t.Errorf("alert %s was told %d times", alert, n)
		}
	}
	return len(told)
}

// soundBut is sound without the files whose paths hold a word.
func (r *rig) soundBut(want *undisturbed, word string) string {
	r.t.Helper()
	r.except = word
	return r.sound(want)
}
