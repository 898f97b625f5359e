package season

import (
	"bytes"
	"encoding/csv"
	"strconv"
)

// clubYAML is the invented club's file. Thresholds are left to canter's
// defaults, so that the demo shows those.
func clubYAML(Options) []byte {
	return []byte(`# ` + clubName + ` does not exist: the club, its people and their heart
# rates were made by "canter demo".
name: ` + clubName + `
zone: ` + zoneName + `
athletes:
  csv: athletes.csv
squads:
  - id: first
    name: First squad
    channel: "#first-squad"
    folders:
      - path: inbox/first
        pattern: "{date}/{athlete}.*"
  - id: second
    name: Second squad
    channel: "#second-squad"
    folders:
      - path: inbox/second
        pattern: "{date}/{any}"
protocols:
  - id: run-12
    name: 4 min at 12 km/h
    regimen: continuous
    progression: fixed
    stages:
      - duration: 4m
        speed: 12
    hrex:
      method: final-mean
      window: 60s
    recovery:
      at: [60s]
      posture: standing
planned:
  - id: tuesday-first
    squad: first
    protocol: run-12
    cron: "30 10 * * 2"
    within: 15m
    microcycle_day: MD-4
    surface: grass
  - id: tuesday-second
    squad: second
    protocol: run-12
    cron: "0 16 * * 2"
    within: 15m
    microcycle_day: MD-5
    surface: artificial turf
chat:
  kind: terminal
  channel: "#staff"
`)
}

// athletesCSV is the club's spreadsheet.
func athletesCSV(people []person) []byte {
	var buf bytes.Buffer
	w := csv.NewWriter(&buf)
	row := func(cells ...string) { _ = w.Write(cells) } // a buffer takes every write
	row("id", "name", "initials", "birth_year", "sex", "hrmax", "hrrest", "squad", "sensors")
	for i := range people {
		p := &people[i]
		sex, hrmax := "male", ""
		if p.female {
			sex = "female"
		}
		if p.measured {
			hrmax = strconv.Itoa(int(p.hrmax))
		}
		sensors := p.strapSerial()
		if p.id == strapFails {
			sensors += " " + p.newStrapSerial()
		}
		row(p.id, p.name, p.initials, strconv.Itoa(p.born), sex, hrmax, strconv.Itoa(int(p.hrrest)), p.squad, sensors)
	}
	w.Flush()
	return buf.Bytes()
}
