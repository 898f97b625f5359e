package club_test

import (
	"testing"
	"time"

	"canter.example/schemas"
	"canter.example/schemas/club"
)

func TestAnAthleteIsCalledWhatPrivacyAllows(t *testing.T) {
	a := &schemas.Athlete{ID: "q01", Name: "Bryn Castellaw", Initials: "BC"}
	for _, tc := range []struct {
		name  string
		a     *schemas.Athlete
		style club.NameStyle
		want  string
	}{
		{"by name", a, club.ShowName, "Bryn Castellaw"},
		{"by initials", a, club.ShowInitials, "BC"},
		{"by id", a, club.ShowID, "q01"},
		{"by id when there is no name", &schemas.Athlete{ID: "q01"}, club.ShowName, "q01"},
		{"by id when the athlete is not known", nil, club.ShowName, "q01"},
		{"by id when the style is not known", a, "", "q01"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			if got := club.Called(tc.a, "q01", tc.style); got != tc.want {
				t.Errorf("got %q, want %q", got, tc.want)
			}
		})
	}
}

func TestTheExampleAnswersWhatOtherPackagesAsk(t *testing.T) {
	c, err := club.Load("../../deploy/club.yaml")
	if err != nil {
		t.Fatal(err)
	}
	if got := c.NameOf("q03"); got != "MS" {
		t.Errorf("q03 is called %q in chat", got)
	}
	if got := c.ChannelOf("u21") + c.ChannelOf("nobody"); got != "#u21#fitness" {
		t.Errorf("channels %q", got)
	}
	var watched []string
	for _, w := range c.Watched() {
		watched = append(watched, w.Squad+":"+w.Name)
	}
	if len(watched) != 3 || watched[2] != ":data/shared" {
		t.Errorf("watched %v", watched)
	}
	if c.Athlete("nobody") != nil || c.Squad("nobody") != nil || c.Protocol("nobody") != nil {
		t.Error("something is found that is not there")
	}
	// The strap in the example changed hands at the end of February.
	lastDay := time.Date(2026, 2, 28, 23, 59, 0, 0, c.Zone)
	if got := c.WithSensor("411872", lastDay); len(got) != 1 || got[0].ID != "q21" {
		t.Errorf("on its last day the strap was %v's", got)
	}
	if got := c.WithSensor("411872", lastDay.Add(time.Minute)); len(got) != 0 {
		t.Errorf("a minute later it was %v's", got)
	}
}

func TestWhatChangesANumberMakesANewVersion(t *testing.T) {
	load := func(protocol string) string {
		t.Helper()
		c, err := club.Parse("club.yaml", []byte(`
club: Quarrymoor Rovers
time_zone: UTC
athletes: [{id: q01}]
squads: [{id: first, folders: [data]}]
protocols: [{id: run4, duration: 4m`+protocol+`}]
`))
		if err != nil {
			t.Fatal(err)
		}
		return c.Protocols[0].Version
	}
	plain := load("")
	for _, same := range []string{", name: Another", ", band: 70-80", ", min_coverage: 90", ", hrex: final-mean:60s", `, same_as: ["0123456789ab"]`} {
		if got := load(same); got != plain {
			t.Errorf("%s made version %s of %s", same, got, plain)
		}
	}
	for _, other := range []string{", speed_kmh: 12", ", hrex: final-mean:30s", ", posture: seated", ", recovery: [60s, 120s]", ", recovery: []", ", end_window: 10s"} {
		if got := load(other); got == plain {
			t.Errorf("%s left the version as it is", other)
		}
	}
}
