package season

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"strconv"
	"time"
)

// clubYAML is the invented club's file. Thresholds are left to canter's
// defaults, so that the demo shows those.
func (g *generator) clubYAML() []byte {
	last := g.date(g.Weeks, sunday).Format(time.DateOnly)
	return fmt.Appendf(nil, `# %s does not exist: the club, its people and their heart rates were
# made by canter's own demo.
club: %[1]s
time_zone: %s
athletes: athletes.csv

squads:
  - id: first
    name: First squad
    channel: "#first-squad"
    folders:
      # Each athlete's own watch: inbox/first/2026-08-18/AKF.fit
      - path: inbox/first
        pattern: "{date}/{athlete}.*"
  - id: second
    name: Second squad
    channel: "#second-squad"
    folders:
      # One receiver for all: the names stand inside its exports.
      - path: inbox/second
        pattern: "{date}/{any}"

protocols:
  - id: run-12
    name: 4 min at 12 km/h
    regimen: continuous
    progression: fixed
    duration: 4m
    speed_kmh: 12
    hrex: final-mean:60s
    recovery: [60s]
    posture: standing
    band: 75-85

planned:
  - id: first-tuesday
    squad: first
    protocol: run-12
    cron: "30 10 * * TUE"
    within: 15m
    remind_after: 8h
    microcycle_day: MD-4
    surface: grass
    to: %s
  - id: second-tuesday
    squad: second
    protocol: run-12
    cron: "0 16 * * TUE"
    within: 15m
    remind_after: 4h
    microcycle_day: MD-5
    surface: artificial turf
    to: %[3]s

privacy:
  # The people are invented; with real ones, leave the default: initials.
  chat_names: name

chat:
  kind: terminal
  channel: "#staff"
`, clubName, zoneName, last)
}

// athletesCSV is the club's spreadsheet. An empty hrmax was never measured.
func (g *generator) athletesCSV() []byte {
	var buf bytes.Buffer
	w := csv.NewWriter(&buf)
	row := func(cells ...string) { _ = w.Write(cells) } // a buffer takes every write
	row("id", "name", "initials", "birth_year", "sex", "hrmax", "hrrest", "squad", "sensors", "returns")
	for i := range g.people {
		p := &g.people[i]
		sex, hrmax, returns := "male", "", ""
		if p.female {
			sex = "female"
		}
		if p.measured {
			hrmax = strconv.Itoa(int(p.hrmax))
		}
		sensors := p.strapSerial()
		if p.id == strapFails {
			sensors += "; " + p.newStrapSerial()
		}
		if p.id == injured && g.Weeks > injuredTo {
			returns = g.date(injuredTo+1, monday).Format(time.DateOnly)
		}
		row(p.id, p.name, p.initials, strconv.Itoa(p.born), sex, hrmax, strconv.Itoa(int(p.hrrest)), p.squad, sensors, returns)
	}
	w.Flush()
	return buf.Bytes()
}
