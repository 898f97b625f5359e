package identify_test

import (
	"errors"
	"fmt"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"canter.example/schemas"
	"canter.example/schemas/club"
	"canter.example/scorer/identify"
)

const clubFile = `
club: Quarrymoor Rovers
time_zone: Europe/Berlin
athletes:
  - {id: q01, name: Bryn Castellaw, initials: BC, squad: first, aliases: [Castellaw B], sensors: [3907101]}
  - {id: q02, name: Maura Søndervig, squad: first, sensors: [{serial: "03907102", to: 2026-02-28}]}
  - {id: q03, name: Kim Ashgrove, squad: first, sensors: [{serial: 3907102, from: 2026-03-01}]}
  - {id: q04, name: Kim Ashgrove, squad: u21, sensors: [3907104]}
  - {id: q05, name: Bo Calder-Ünsal, squad: u21, to: 2026-01-31}
  - id: q06
    name: Tamsin Oakhollow
    squads: [{squad: u21}, {squad: first, from: 2026-02-01}]
  - {id: q07, name: Kai Ashgrove, initials: KA1, squad: first}
  - {id: q08, name: Kai Ashgrove, initials: KA2, squad: first, sensors: [3907108]}
squads:
  - id: first
    name: First squad
    folders: [{path: first, pattern: "{date}/{athlete}.*"}, {path: plain}]
  - id: u21
    folders: [{path: u21, pattern: "{squad}/{athlete}.*"}]
folders: [{path: shared, pattern: "{squad}/{date}/{athlete}.*"}, {path: dump}]
protocols: [{id: run4, duration: 4m}]
planned: [{squad: first, protocol: run4, cron: "30 10 * * MON"}]
`

func rovers(t testing.TB) *club.Club {
	t.Helper()
	c, err := club.Parse("/club/club.yaml", []byte(clubFile))
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// monday is a day of the planned test of the first squad.
var monday = time.Date(2026, 3, 9, 9, 0, 0, 0, time.UTC)

type given struct {
	folder, path string
	part, label  string
	serials      []string
	traces       int
	at           time.Time
	override     string
}

func (g given) question(c *club.Club) identify.Question {
	at := g.at
	if at.IsZero() {
		at = monday
	}
	o := schemas.Origin{Folder: "/club/" + g.folder, Path: g.path}
	for _, w := range c.Watched() {
		if w.Name == g.folder {
			o.Squad = w.Squad
		}
	}
	return identify.Question{
		Origin: o, Traces: max(g.traces, 1), Override: g.override,
		Trace: &schemas.Trace{
			Part: g.part, Label: g.label, Start: at, Device: schemas.Device{Serials: g.serials},
			Samples: []schemas.Sample{{At: 2 * time.Hour, HR: 120}},
		},
	}
}

func TestTheAthleteIsFound(t *testing.T) {
	c := rovers(t)
	for _, tc := range []struct {
		name  string
		given given
		want  string // athlete squad
		how   string
		notes int
	}{
		{"by the id in the path", given{folder: "first", path: "2026-03-09/q01.fit"}, "q01 first", "the path says q01", 0},
		{"by the id in capitals", given{folder: "first", path: "2026-03-09/Q01.FIT"}, "q01 first", "the path says Q01", 0},
		{"by the name in the path", given{folder: "first", path: "2026-03-09/bryn_castellaw.fit"}, "q01 first", "the path says bryn_castellaw", 0},
		{"by the name, family name first", given{folder: "first", path: "2026-03-09/Castellaw, Bryn.fit"}, "q01 first", "", 0},
		{"by an alias", given{folder: "first", path: "2026-03-09/castellaw b.fit"}, "q01 first", "", 0},
		{"by initials", given{folder: "first", path: "2026-03-09/bc.fit"}, "q01 first", "", 0},
		{"by a name without its accents", given{folder: "first", path: "2026-03-09/Maura Sondervig.fit"}, "q02 first", "", 0},
		{"by a name spelt out where the keyboard has no ø", given{folder: "first", path: "2026-03-09/Soendervig Maura.fit"}, "q02 first", "", 0},
		{"by a decomposed name, as macOS writes it", given{folder: "shared", path: "u21/2026-01-12/Bo Calder-U\u0308nsal.fit", at: monday.AddDate(0, -2, 0)}, "q05 u21", "", 0},
		{"by the path, which the sensor confirms", given{folder: "first", path: "2026-03-09/q01.fit", serials: []string{"9", "3907101"}}, "q01 first", "the path says q01", 0},
		{"by the path, although the watch is called something", given{folder: "first", path: "2026-03-09/q01.fit", label: "My watch"}, "q01 first", "", 1},
		{"by the sensor alone", given{folder: "plain", path: "x.fit", serials: []string{"3907101"}}, "q01 first", "the sensor is 3907101", 0},
		{"by the sensor, although the watch is called something", given{folder: "plain", path: "x.fit", label: "My watch", serials: []string{"3907101"}}, "q01 first", "", 1},
		{"by a sensor that has changed hands", given{folder: "plain", path: "x.fit", serials: []string{"3907102"}}, "q03 first", "", 0},
		{"by the same sensor, before it changed hands", given{folder: "plain", path: "x.fit", serials: []string{"3907102"}, at: monday.AddDate(0, -1, 0)}, "q02 first", "", 0},
		{"by the row of a team export", given{folder: "first", path: "2026-03-09/team.csv", part: "Bryn Castellaw", label: "Bryn Castellaw", traces: 20}, "q01 first", "the file itself says Bryn Castellaw", 0},
		{"by the row of a team export with one athlete that day", given{folder: "first", path: "2026-03-09/team.csv", part: "Bryn Castellaw", label: "Bryn Castellaw"}, "q01 first", "", 0},
		{"by the file's name in a ZIP", given{folder: "first", path: "2026-03-09.zip", part: "2026-03-09/q01.fit", label: "q01", traces: 9}, "q01 first", "the name in the ZIP says q01", 0},
		{"by the sensor in a ZIP of unnamed files", given{folder: "plain", path: "a.zip", part: "activity_17.fit", label: "activity_17", serials: []string{"3907101"}, traces: 9}, "q01 first", "", 1},
		{"by the path, for the second session of one file", given{folder: "first", path: "2026-03-09/q01.fit", part: "#2", traces: 2}, "q01 first", "", 0},
		{"by a name that two athletes have, of which one is in the squad", given{folder: "first", path: "2026-03-09/Kim Ashgrove.fit"}, "q03 first", "", 0},
		{"by a name that two athletes have and a sensor that one has", given{folder: "first", path: "2026-03-09/Kai Ashgrove.fit", serials: []string{"3907108"}}, "q08 first", "", 0},
		{"with the squad of the path in a shared folder", given{folder: "shared", path: "First Squad/2026-03-09/q06.fit"}, "q06 first", "", 0},
		{"with the squad that has a planned test, when in two", given{folder: "dump", path: "x.csv", part: "q06", label: "q06"}, "q06 first", "", 0},
		{"with the first squad and a note, when in two without plan", given{folder: "dump", path: "x.csv", part: "q06", label: "q06", at: monday.AddDate(0, 0, 1)}, "q06 u21", "", 1},
		{"with the only squad of the day", given{folder: "dump", path: "x.csv", part: "q06", label: "q06", at: monday.AddDate(0, -2, 0)}, "q06 u21", "", 0},
		{"by staff, whatever the path says", given{folder: "first", path: "2026-03-09/q01.fit", override: "q02"}, "q02 first", "staff said q02", 0},
		{"by staff, with the athlete's own squad", given{folder: "first", path: "2026-03-09/q01.fit", override: "q04"}, "q04 u21", "staff said q04", 1},
		{"by staff, on the last day in the squad", given{folder: "u21", path: "x.fit", override: "q05", at: time.Date(2026, 1, 31, 22, 59, 0, 0, time.UTC)}, "q05 u21", "", 0},
	} {
		t.Run(tc.name, func(t *testing.T) {
			a, err := identify.Who(c, tc.given.question(c))
			if err != nil {
				t.Fatal(err)
			}
			if got := a.Athlete.ID + " " + a.Squad; got != tc.want {
				t.Errorf("got %s (%s), want %s", got, a.How, tc.want)
			}
			if tc.how != "" && a.How != tc.how {
				t.Errorf("how: %q, want %q", a.How, tc.how)
			}
			if len(a.Notes) != tc.notes {
				t.Errorf("notes: %v, want %d", a.Notes, tc.notes)
			}
		})
	}
}

func TestTheFileIsParked(t *testing.T) {
	c := rovers(t)
	for _, tc := range []struct {
		name  string
		given given
		want  string
	}{
		{
			"when nothing says whose it is", given{folder: "plain", path: "x.fit", serials: []string{"1"}},
			"neither path nor file nor sensor says whose it is. Put {athlete} into",
		},
		{
			"when the path names nobody", given{folder: "first", path: "2026-03-09/newcomer.fit"},
			`the path says "newcomer", whom the club file does not know. Add the athlete`,
		},
		{
			"with whom may be meant, when the path has a slip", given{folder: "first", path: "2026-03-09/Bryn Castelaw.fit"},
			`the path says "Bryn Castelaw", whom the club file does not know (perhaps q01). Add`,
		},
		{
			"when the path names nobody, even if the strap is known: straps are lent", given{folder: "first", path: "2026-03-09/newcomer.fit", serials: []string{"3907101"}},
			`the path says "newcomer", whom the club file does not know`,
		},
		{
			"when path and sensor name different athletes", given{folder: "first", path: "2026-03-09/q01.fit", serials: []string{"3907108"}},
			`the path says "q01", which is q01, but the sensor is "3907108", which is q08. If the sensor was lent`,
		},
		{
			"when path and watch name different athletes", given{folder: "first", path: "2026-03-09/q01.fit", label: "Maura Søndervig"},
			`the path says "q01", which is q01, but the file itself says "Maura Søndervig", which is q02. Rename`,
		},
		{
			"when two sensors belong to different athletes", given{folder: "plain", path: "x.fit", serials: []string{"3907101", "3907108"}},
			`the sensor is "3907101", which is q01, but the sensor is "3907108", which is q08`,
		},
		{
			"when two athletes of the squad have the name", given{folder: "first", path: "2026-03-09/Kai Ashgrove.fit"},
			`the path says "Kai Ashgrove", which could be q07 or q08. Use the id`,
		},
		{
			"when a row of a team export names nobody", given{folder: "first", path: "2026-03-09/team.csv", part: "Trialist", label: "Trialist", traces: 20},
			`the file itself says "Trialist", whom the club file does not know`,
		},
		{
			"when a row of a team export names nobody, even if the file is named after somebody", given{folder: "first", path: "2026-03-09/q01.csv", part: "Trialist", label: "Trialist", traces: 20},
			`the file itself says "Trialist", whom the club file does not know`,
		},
		{
			"when only the watch says something, and nobody knows it", given{folder: "plain", path: "x.fit", label: "My watch"},
			`the file itself says "My watch", whom the club file does not know`,
		},
		{
			"when the athlete was in another squad", given{folder: "first", path: "2026-03-09/q04.fit"},
			"the athlete q04 was not in the squad first on 2026-03-09, but in u21. Add the membership",
		},
		{
			"when the athlete was in no squad any more", given{folder: "shared", path: "u21/2026-03-09/q05.fit"},
			"the athlete q05 was in no squad on 2026-03-09. Correct from and to",
		},
		{
			"when the athlete's last day is over, by the club's clock", given{folder: "shared", path: "u21/2026-02-01/q05.fit", at: time.Date(2026, 1, 31, 23, 0, 0, 0, time.UTC)},
			"the athlete q05 was in no squad on 2026-02-01",
		},
		{
			"when the path names a squad that is not there", given{folder: "shared", path: "women/2026-03-09/q01.fit"},
			`the path names the squad "women", which the club file does not have`,
		},
		{
			"when the path names another squad than the folder's", given{folder: "u21", path: "first/q01.fit"},
			"the path names the squad first, but the folder is u21's",
		},
		{
			"when staff name somebody who is not there", given{folder: "first", path: "2026-03-09/q01.fit", override: "q99"},
			`staff named the athlete "q99", whom the club file does not have`,
		},
		{
			"when staff name somebody who was in no squad", given{folder: "plain", path: "x.fit", override: "q05"},
			"the athlete q05 was in no squad on 2026-03-09",
		},
	} {
		t.Run(tc.name, func(t *testing.T) {
			a, err := identify.Who(c, tc.given.question(c))
			var u *identify.Unidentified
			if !errors.As(err, &u) {
				t.Fatalf("got %v, %v, want Unidentified", a, err)
			}
			if !strings.HasPrefix(err.Error(), tc.want) || u.Hint == "" {
				t.Errorf("got  %s\nwant %s …", err, tc.want)
			}
		})
	}
}

func TestATraceWithoutDateIsParked(t *testing.T) {
	c := rovers(t)
	q := given{folder: "first", path: "2026-03-09/q01.fit"}.question(c)
	q.Trace.Start = time.Time{}
	var u *identify.Unidentified
	if a, err := identify.Who(c, q); !errors.As(err, &u) || !strings.Contains(err.Error(), "no date") {
		t.Errorf("got %v, %v", a, err)
	}
}

func TestTheDateOfAPathIsALocalDay(t *testing.T) {
	c := rovers(t)
	for _, tc := range []struct {
		name   string
		origin schemas.Origin
		want   string
	}{
		{"in the club's zone", schemas.Origin{Folder: "/club/first", Path: "2026-03-09/q01.csv"}, "2026-03-09T00:00:00+01:00"},
		{"in summer", schemas.Origin{Folder: "/club/first", Path: "9.7.2026/q01.csv"}, "2026-07-09T00:00:00+02:00"},
		{"of a folder named as in the club file", schemas.Origin{Folder: "first", Path: "20260309/q01.csv"}, "2026-03-09T00:00:00+01:00"},
		{"none in a folder without pattern", schemas.Origin{Folder: "/club/plain", Path: "2026-03-09/q01.csv"}, ""},
		{"none in a path that does not fit", schemas.Origin{Folder: "/club/first", Path: "q01.csv"}, ""},
		{"none in a folder that is not watched", schemas.Origin{Folder: "/elsewhere", Path: "2026-03-09/q01.csv"}, ""},
	} {
		t.Run(tc.name, func(t *testing.T) {
			d, ok := identify.Date(c, tc.origin)
			got := ""
			if ok {
				got = d.Format(time.RFC3339)
			}
			if got != tc.want {
				t.Errorf("got %q, want %q", got, tc.want)
			}
		})
	}
}

func TestTheFolderOfAFileIsFound(t *testing.T) {
	c := rovers(t)
	if f := identify.Folder(c, schemas.Origin{Folder: "/club/shared/"}); f == nil || f.Name != "shared" {
		t.Errorf("got %v", f)
	}
	if f := identify.Folder(c, schemas.Origin{}); f != nil {
		t.Errorf("a file from nowhere is said to lie in %s", f.Path)
	}
}

func ExampleWho() {
	c, err := club.Parse("club.yaml", []byte(clubFile))
	if err != nil {
		fmt.Println(err)
		return
	}
	a, err := identify.Who(c, identify.Question{
		Origin: schemas.Origin{Folder: "first", Path: "2026-03-09/Castellaw, Bryn.fit"},
		Trace:  &schemas.Trace{Start: monday}, Traces: 1,
	})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println(a.Athlete.ID, a.Squad, "-", a.How)
	// Output: q01 first - the path says Castellaw, Bryn
}

func BenchmarkWho(b *testing.B) {
	c := rovers(b)
	q := given{folder: "first", path: "2026-03-09/Castellaw, Bryn.fit", serials: []string{"3907101"}}.question(c)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := identify.Who(c, q); err != nil {
			b.Fatal(err)
		}
	}
}

// TestAClubThatMovedFindsItsFolders: origins have the folder as the club file
// writes it; those of old have its absolute path, perhaps of another place.
func TestAClubThatMovedFindsItsFolders(t *testing.T) {
	c := rovers(t)
	for _, tc := range []struct {
		folder, want string
	}{
		{"first", "/club/first"},
		{"/club/first", "/club/first"},
		{"/home/before/club/first", "/club/first"},
		{"/home/before/club/notfirst", ""},
		{"second", ""},
		{"", ""},
	} {
		o := schemas.Origin{Folder: tc.folder, Path: "2026-03-09/q01.fit"}
		got := ""
		if f := identify.Folder(c, o); f != nil {
			got = f.Path
		}
		if got != tc.want {
			t.Errorf("folder %q: got %q, want %q", tc.folder, got, tc.want)
		}
		d, ok := identify.Date(c, o)
		if ok != (tc.want != "") || ok && d.Format(time.DateOnly) != "2026-03-09" {
			t.Errorf("folder %q: date %v, %v", tc.folder, d, ok)
		}
		where := "/club/first/2026-03-09/q01.fit"
		if tc.want == "" {
			where = filepath.Join(tc.folder, o.Path)
		}
		if got := identify.Where(c, o); got != where {
			t.Errorf("folder %q: the file is at %q, want %q", tc.folder, got, where)
		}
	}
}
