package page

import (
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
	"unicode"
	"unicode/utf8"

	"canter.example/schemas"
	"canter.example/schemas/club"
)

func TestAPasswordIsRightOrWrong(t *testing.T) {
	const password = "correct horse battery stäple"
	line, err := UserLine("anna", MayCorrect, password)
	if err != nil {
		t.Fatal(err)
	}
	again, err := UserLine("anna", MayCorrect, password)
	if err != nil || again == line {
		t.Errorf("two hashes of one password are alike, or %v", err)
	}
	list, err := parseUsers([]byte("# staff\n\n" + line + "\r\nben:look:" + strings.SplitN(again, ":", 3)[2] + "\n"))
	if err != nil {
		t.Fatal(err)
	}
	anna := list["anna"]
	if anna.may != MayCorrect || list["ben"].may != MayLook || len(list) != 2 {
		t.Errorf("users %+v", list)
	}
	for try, want := range map[string]bool{password: true, password + " ": false, "": false, strings.Repeat("x", 100_000): false} {
		if got := anna.hash.is(try); got != want {
			t.Errorf("%.40q: %v", try, got)
		}
	}
}

func TestWhatCanNotBeAUserIsRefusedWithoutItsHash(t *testing.T) {
	const hash = "$argon2id$v=19$m=65536,t=3,p=4$c29tZXNhbHRzb21lc2FsdA$c29tZWhhc2hzb21laGFzaHNvbWVoYXNoc29tZWhhc2g"
	if _, err := parseUsers([]byte("anna:look:" + hash)); err != nil {
		t.Fatal(err)
	}
	for what, text := range map[string]string{
		"an empty file":         "# nobody\n",
		"no hash":               "anna:look",
		"a password":            "anna:look:opensesame123456",
		"rights that are none":  "anna:admin:" + hash,
		"no name":               ":look:" + hash,
		"a name with a blank":   " anna :look:" + hash,
		"somebody twice":        "anna:look:" + hash + "\nanna:correct:" + hash,
		"another algorithm":     "anna:look:" + strings.Replace(hash, "argon2id", "argon2i", 1),
		"all of the memory":     "anna:look:" + strings.Replace(hash, "m=65536", "m=4294967295", 1),
		"no work":               "anna:look:" + strings.Replace(hash, "m=65536", "m=8", 1),
		"endless work":          "anna:look:" + strings.Replace(hash, "t=3", "t=4294967295", 1),
		"a sum of no length":    "anna:look:" + hash[:strings.LastIndex(hash, "$")+1],
		"letters that are none": "anna:look:" + strings.Replace(hash, "c29t", "!!!!", 1),
	} {
		_, err := parseUsers([]byte(text))
		if err == nil || strings.Contains(err.Error(), "c29t") || strings.Contains(err.Error(), "opensesame") {
			t.Errorf("%s: %v", what, err)
		}
	}
	for _, short := range []string{"", "fourteen bytes", strings.Repeat("long", 100)} {
		if _, err := UserLine("anna", MayLook, short); err == nil {
			t.Errorf("password %q was taken", short)
		}
	}
}

func TestTheUsersFileIsForItsOwnerAndReadAnew(t *testing.T) {
	file := filepath.Join(t.TempDir(), "users")
	line, err := UserLine("anna", MayLook, "correct horse battery staple")
	if err != nil {
		t.Fatal(err)
	}
	write := func(text string, mode os.FileMode, at time.Time) {
		t.Helper()
		if err := os.WriteFile(file, []byte(text), mode); err != nil {
			t.Fatal(err)
		}
		if err := os.Chmod(file, mode); err != nil {
			t.Fatal(err)
		}
		if err := os.Chtimes(file, at, at); err != nil {
			t.Fatal(err)
		}
	}
	now := time.Now()
	write(line, 0o644, now)
	u := users{file: file}
	if _, err := u.load(); err == nil || !strings.Contains(err.Error(), "chmod o=") {
		t.Errorf("a file that everybody reads: %v", err)
	}
	write(line, 0o640, now)
	if list, err := u.load(); err != nil || len(list) != 1 {
		t.Errorf("%v, %v", list, err)
	}
	write(line+"\n"+strings.Replace(line, "anna", "ben", 1), 0o600, now.Add(time.Second))
	if list, err := u.load(); err != nil || len(list) != 2 {
		t.Errorf("changed: %v, %v", list, err)
	}
	if err := os.Remove(file); err != nil {
		t.Fatal(err)
	}
	if _, err := u.load(); err == nil {
		t.Error("gone, and nobody said so")
	}
}

func TestWhereASignInLeadsIsAPathOfThePage(t *testing.T) {
	for to, want := range map[string]string{
		"/session?id=first/run/2026-09-01": "/session?id=first/run/2026-09-01",
		"":                                 "/", "https://evil.example/": "/", "//evil.example/": "/", `/\evil.example`: "/", `\\evil.example`: "/",
		"javascript:alert(1)": "/", "/a\r\nSet-Cookie: x": "/", "session": "/", "/\t/evil.example": "/", "http:/evil.example": "/",
	} {
		if got := local(to); got != want {
			t.Errorf("local(%q) = %q, want %q", to, got, want)
		}
	}
}

func TestOnlyThePagesOwnNamesAreAnswered(t *testing.T) {
	on := func(s club.Page) *Page { return &Page{cfg: Config{Settings: s}} }
	loopback := on(club.Page{Listen: "127.0.0.1:7466"})
	named := on(club.Page{Listen: "0.0.0.0:7466", Hosts: []string{"canter.club.example", "canter.club.example:8443"}, BehindProxy: true})
	behind := on(club.Page{Listen: "127.0.0.1:7466", Hosts: []string{"canter.club.example"}, BehindProxy: true})
	direct := on(club.Page{Listen: "0.0.0.0:7466", Hosts: []string{"canter.club.example"}, CertFile: "page.crt"})
	for _, c := range []struct {
		page *Page
		host string
		want bool
	}{
		{loopback, "127.0.0.1:7466", true}, {loopback, "localhost:7466", true}, {loopback, "LOCALHOST", true}, {loopback, "[::1]:7466", true},
		{loopback, "evil.example", false}, {loopback, "evil.example:7466", false}, {loopback, "localhost.evil.example:7466", false}, {loopback, "", false}, {loopback, "127.0.0.1.nip.example", false},
		{named, "canter.club.example", true}, {named, "Canter.Club.Example:8443", true}, {named, "canter.club.example:1", false}, {named, "127.0.0.1:7466", false}, {named, "evil.example", false},
		{behind, "canter.club.example", true}, {behind, "localhost", false}, {behind, "canter.club.example:7466", false},
		// Without a proxy the port of the links in chat is the one that it listens on.
		{direct, "canter.club.example", true}, {direct, "canter.club.example:7466", true}, {direct, "canter.club.example:7467", false}, {direct, "evil.example:7466", false},
	} {
		if got := c.page.ours(c.host); got != c.want {
			t.Errorf("%s on %s: %v", c.host, c.page.cfg.Settings.Listen, got)
		}
	}
}

func TestNamesOfDroppedFiles(t *testing.T) {
	for given, want := range map[string]string{
		"AKF.fit": "AKF.fit", "../../etc/passwd": "passwd", `C:\fakepath\AKF.fit`: "AKF.fit", "a/b/c.csv": "c.csv", "Rana Sevdalioğlu.tcx": "Rana Sevdalioğlu.tcx",
		"<script>.fit": "_script_.fit", "a\x00b\n.fit": "a_b_.fit", ".hidden.fit": "_hidden.fit", " x.fit ": "x.fit", "走る.fit": "走る.fit", "a\u202etif.exe": "a_tif.exe",
	} {
		if got, wrong := dropName(given); got != want || wrong != "" {
			t.Errorf("%q: %q, %s; want %q", given, got, wrong, want)
		}
	}
	for _, bad := range []string{"", ".", "..", "/", "   ", "a/", "\xff\xfe.fit", strings.Repeat("x", 121)} {
		if got, wrong := dropName(bad); wrong == "" {
			t.Errorf("%q was taken as %q", bad, got)
		}
	}
}

func FuzzNamesOfDroppedFiles(f *testing.F) {
	for _, s := range []string{"AKF.fit", "../x", "\x00", "a\\b"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		name, wrong := dropName(s)
		if (name == "") == (wrong == "") {
			t.Fatalf("%q: %q and %q", s, name, wrong)
		}
		if strings.ContainsAny(name, "/\\<>\"\x00\n") || strings.HasPrefix(name, ".") || !utf8.ValidString(name) || strings.ContainsFunc(name, func(r rune) bool { return !unicode.IsPrint(r) }) {
			t.Errorf("%q became %q", s, name)
		}
	})
}

func TestAFileLiesWhereTheFoldersPatternWantsIt(t *testing.T) {
	for pattern, want := range map[string]string{
		"": "AKF.fit", "{athlete}.*": "AKF.fit", "{date}/{athlete}.*": "2026-09-01/AKF.fit", "{squad}/{date}/{athlete}.*": "first/2026-09-01/AKF.fit", "x/{athlete}.*": "AKF.fit",
	} {
		if got := place(&club.Watch{Folder: club.Folder{Pattern: pattern}}, "first", "2026-09-01", "AKF.fit"); got != want {
			t.Errorf("%q: %q, want %q", pattern, got, want)
		}
	}
}

func TestShiftsAreReadAsPeopleWriteThem(t *testing.T) {
	for s, want := range map[string]time.Duration{"12": 12 * time.Second, "-3": -3 * time.Second, " +4 ": 4 * time.Second, "−7": -7 * time.Second, "1.5": 1500 * time.Millisecond} {
		if got, err := parseShift(s); err != nil || got != want {
			t.Errorf("%q: %v, %v", s, got, err)
		}
	}
	for _, s := range []string{"", "x", "NaN", "Inf", "1e9", "-100000"} {
		if got, err := parseShift(s); err == nil {
			t.Errorf("%q was taken as %s", s, got)
		}
	}
}

// rows makes tests whose traces are made by shape; level is each one's own.
func rows(n int, shape func(i, second int, level float64) (float64, bool)) []testRow {
	rng := rand.New(rand.NewPCG(1, 2))
	out := make([]testRow, n)
	for i := range out {
		level := 130 + 30*rng.Float64()
		out[i] = testRow{Test: schemas.TestID(rune('a' + i)), Name: string(rune('A' + i)), outcome: schemas.Outcome{
			TestID: schemas.TestID(rune('a' + i)), Duration: 4 * time.Minute, Quality: schemas.Good, HRexBPM: schemas.Num(level), Athlete: string(rune('A' + i)),
		}}
		for s := -120; s < 400; s++ {
			t := schemas.TraceSecond{Second: s}
			if v, ok := shape(i, s, level); ok {
				t.Raw, t.Clean = schemas.Num(v+rng.NormFloat64()), schemas.Num(v+rng.NormFloat64())
			}
			out[i].seconds = append(out[i].seconds, t)
		}
	}
	return out
}

func usualShape(second int, level float64) float64 {
	switch {
	case second < 0:
		return level - 40
	case second < 240:
		return level - 40*float64(240-second)/240
	default:
		return level - 40*min(1, float64(second-240)/90)
	}
}

func TestAnOddShapeStandsOutAmongThirtyAndALevelDoesNot(t *testing.T) {
	p := &Page{club: &club.Club{}}
	usual := p.panels(rows(30, func(_, s int, level float64) (float64, bool) { return usualShape(s, level), true }))
	for _, pn := range usual {
		if pn.Marked {
			t.Errorf("%s is marked: %s", pn.Name, pn.Why)
		}
	}
	odd := p.panels(rows(30, func(i, s int, level float64) (float64, bool) {
		if i == 17 && s > 100 {
			return 85, true // the strap has slipped
		}
		return usualShape(s, level), s < 150 || i != 5 // and one ends early, which is another matter
	}))
	if odd[0].Name != string(rune('A'+17)) || !odd[0].Marked || odd[1].Marked {
		t.Errorf("first is %s, marked %v (%s); then %s, marked %v", odd[0].Name, odd[0].Marked, odd[0].Why, odd[1].Name, odd[1].Marked)
	}
}

func TestPanelsOfNothingAreStillPanels(t *testing.T) {
	p := &Page{club: &club.Club{}}
	if got := p.panels(rows(3, func(int, int, float64) (float64, bool) { return 0, false })); len(got) != 3 || got[0].Line != "" {
		t.Errorf("%+v", got)
	}
	none := make([]testRow, 2)
	if got := p.panels(none); len(got) != 2 || !got[0].Empty {
		t.Errorf("%+v", got)
	}
}

// TestTextsOfChatCallAthletesAsThePageDoes: only where a message puts a name.
func TestTextsOfChatCallAthletesAsThePageDoes(t *testing.T) {
	c := &club.Club{Athletes: []schemas.Athlete{
		{ID: "q01", Name: "Sól Dalsvik", Initials: "SD"}, {ID: "q02", Name: "Mara Dunwick", Initials: "MD"},
		{ID: "q03", Name: "Kai Ashgrove", Initials: "KA"}, {ID: "q04", Name: "Kim Ashgrove", Initials: "KA"},
		{ID: "q05", Name: "Kaia Ember Orr", Initials: "KAO"},
	}}
	c.Privacy.ChatNames, c.Privacy.PageNames = club.ShowInitials, club.ShowName
	n := newCalledNow(c)
	for line, want := range map[string]string{
		"SD: HRex higher than usual":                            "Sól Dalsvik: HRex higher than usual",
		"HRex drifting up since 15 Sep: CUSUM 8.1 SD (limit 5)": "HRex drifting up since 15 Sep: CUSUM 8.1 SD (limit 5)",
		"4 min at 12 km/h, MD-4, grass":                         "4 min at 12 km/h, MD-4, grass",
		"No test has arrived: MD, SD and KAO.":                  "No test has arrived: Mara Dunwick, Sól Dalsvik and Kaia Ember Orr.",
		"- KAO (strap)":                                         "- Kaia Ember Orr (strap)",
		"KA: HRex higher":                                       "KA: HRex higher", // two of them
		"":                                                      "",
	} {
		if got := n.Say(line); got != want {
			t.Errorf("%q becomes %q, want %q", line, got, want)
		}
	}
	c.Privacy.ChatNames = club.ShowName
	if got := newCalledNow(c).Say("SD: as in chat"); got != "SD: as in chat" {
		t.Errorf("one style, and yet %q", got)
	}
}

// TestAnAlertShowsItsNumbersAtOnce, and the rest on demand.
func TestAnAlertShowsItsNumbersAtOnce(t *testing.T) {
	for want, lines := range map[int][]string{
		5: {"Who: HRR60 smaller", "4 min", "Against the baseline", "HRex 77", "HRR60 27", "Compared with", "Look at next"},
		4: {"Who: lower", "4 min", "HRex 77", "HRR60 49", "Load before"},
		3: {"Who: drift", "4 min", "Since", "Then", "Look"},
	} {
		if got := shortAlert(lines); got != want {
			t.Errorf("%q: %d lines, want %d", lines, got, want)
		}
	}
}

// TestTheIntendedIntensityIsInBpm where HRmax is known and the protocol has one.
func TestTheIntendedIntensityIsInBpm(t *testing.T) {
	p := &Page{club: &club.Club{Protocols: []schemas.Protocol{{ID: "run", BandLow: 0.75, BandHigh: 0.85}, {ID: "free"}}}}
	o := &schemas.Outcome{Protocol: "run", HRmax: schemas.HRmax{BPM: schemas.Num(200)}}
	if b := p.band(o); b == nil || b.Low != 150 || b.High != 170 || b.Name != "intended 75 to 85 %HRmax" {
		t.Errorf("%+v", b)
	}
	for what, o := range map[string]*schemas.Outcome{
		"no HRmax": {Protocol: "run"}, "no band": {Protocol: "free", HRmax: o.HRmax}, "a protocol of the past": {Protocol: "gone", HRmax: o.HRmax},
	} {
		if b := p.band(o); b != nil {
			t.Errorf("%s: %+v", what, b)
		}
	}
}

// TestAnAlertThatIsOverSaysOfWhat: a parked file has no numbers that could be
// back inside.
func TestAnAlertThatIsOverSaysOfWhat(t *testing.T) {
	for rule, want := range map[schemas.RuleID]string{
		schemas.RuleFileParked: "closed: the file has been handled", schemas.RuleHRexRisen: "closed: the next test shows none of it",
	} {
		if got := stateWords(&schemas.Alert{Rule: rule, State: schemas.AlertClosed}); got != want {
			t.Errorf("%s: %q, want %q", rule, got, want)
		}
	}
}
