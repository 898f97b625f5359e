package season

import (
	"os"
	"path/filepath"
	"testing"

	"canter.example/schemas"
	"canter.example/schemas/club"
)

func TestClubFileIsValid(t *testing.T) {
	for _, o := range []Options{{}, {Weeks: 3, Athletes: len(firstSquad)}} {
		s := mustNew(t, o)
		dir := t.TempDir()
		if err := os.WriteFile(filepath.Join(dir, "athletes.csv"), s.AthletesCSV, 0o600); err != nil {
			t.Fatal(err)
		}
		c, err := club.Parse(filepath.Join(dir, "club.yaml"), s.ClubYAML)
		if err != nil {
			t.Fatalf("%d athletes:\n%v", o.Athletes, err)
		}
		if c.Name != clubName || c.Zone.String() != zoneName || len(c.Squads) != 2 || len(c.Planned) != 2 {
			t.Errorf("club %q in %s: %d squads, %d planned tests", c.Name, c.Zone, len(c.Squads), len(c.Planned))
		}
		p := c.Protocol("run-12")
		if p == nil || p.Kind() != "continuous-fixed" || p.Duration().Seconds() != testSeconds || p.MaxRecovery().Seconds() != hrrSeconds {
			t.Errorf("protocol %+v", p)
		}
		measured := 0
		n := o.Athletes
		if n == 0 {
			n = defaultAthletes
		}
		for _, p := range roster(o.Seed, n) {
			a := c.Athlete(p.id)
			if a == nil {
				t.Errorf("%s is not in the club", p.id)
				continue
			}
			if a.Name != p.name || a.Initials != p.initials || a.BirthYear != p.born || !a.In(p.squad, s.Days[0].Date) {
				t.Errorf("athlete %+v of %+v", a, p.someone)
			}
			straps := 1
			if p.id == strapFails {
				straps = 2
			}
			if len(a.Sensors) != straps || a.Sensors[0].Serial != p.strapSerial() {
				t.Errorf("%s: sensors %v", p.id, a.Sensors)
			}
			if a.HRmax.Source == schemas.HRmaxMeasured {
				measured++
			}
			if back := p.id == injured && o.Weeks == 0; back != (len(a.Returns) == 1) {
				t.Errorf("%s: returns %v", p.id, a.Returns)
			}
		}
		if estimated := n + len(secondSquad) - measured; estimated < 3 || estimated > 6 {
			t.Errorf("%d athletes without a measured HRmax", estimated)
		}
	}
}
