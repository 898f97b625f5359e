package club

import (
	"fmt"
	"strings"
	"unicode"

	"canter.example/schemas"
)

func (b *builder) athletes(w *athletesWritten) {
	at := "athletes.list"
	if w.listed {
		at = "athletes"
	}
	seen := map[string]string{}
	for i, a := range w.List {
		if a != nil {
			b.athlete(fmt.Sprintf("%s[%d]", at, i), a, seen)
		}
	}
	if w.File != "" {
		at := "athletes.file"
		if w.short {
			at = "athletes"
		}
		for _, row := range b.readAthletes(at, w.File) {
			b.athlete(row.at, row.athlete, seen)
		}
	}
	if len(b.club.Athletes) == 0 && len(b.problems) == 0 {
		b.fail("athletes", "the club has no athletes", "List them, or name a CSV file that does")
	}
}

func (b *builder) athlete(at string, w *athleteWritten, seen map[string]string) {
	if w.ID == "" || b.twice(seen, at+".id", w.ID, "athlete") {
		return
	}
	a := schemas.Athlete{
		ID: string(w.ID), Name: strings.TrimSpace(string(w.Name)), Initials: strings.TrimSpace(string(w.Initials)),
		BirthYear: int(number(w.BirthYear, 0)), Sex: schemas.Sex(w.Sex),
		HRmax: schemas.HRmax{Source: schemas.HRmaxUnknown}, HRrest: speed(w.HRrest),
	}
	if a.Initials == "" {
		a.Initials = initialsOf(a.Name)
	}
	for _, alias := range w.Aliases {
		if s := strings.TrimSpace(string(alias)); s != "" {
			a.Aliases = append(a.Aliases, s)
		}
	}
	switch {
	case w.HRmax == "estimated":
		if a.BirthYear == 0 && !b.doubted(at) {
			b.fail(at+".hrmax", "HRmax can't be estimated without a year of birth", "Add birth_year, or write a measured HRmax, or leave hrmax out")
		}
	case w.HRmax != "":
		a.HRmax = schemas.HRmax{BPM: schemas.Num(number(w.HRmax, 0)), Source: schemas.HRmaxMeasured}
	}
	if lo, ok := a.HRrest.Get(); ok && a.HRmax.Source == schemas.HRmaxMeasured && lo >= a.HRmax.BPM.Or(0) {
		b.fail(at+".hrrest", "HRrest is not below HRmax", "Check which is which")
	}
	for i, s := range w.Sensors {
		if s == nil || s.Serial == "" {
			continue
		}
		a.Sensors = append(a.Sensors, schemas.Sensor{
			Serial: strings.TrimSpace(string(s.Serial)),
			Period: b.period(fmt.Sprintf("%s.sensors[%d]", at, i), s.From, s.To),
		})
	}
	a.Squads = b.memberships(at, w)
	for i, d := range w.Returns {
		if t := b.day(fmt.Sprintf("%s.returns[%d]", at, i), d); !t.IsZero() {
			a.Returns = append(a.Returns, t)
		}
	}
	b.club.Athletes = append(b.club.Athletes, a)
	b.placed = append(b.placed, at)
}

// initialsOf takes the first letter of each part of a name: "Ines
// Halvorsen-Roe" gives "IHR".
func initialsOf(name string) string {
	var out []rune
	first := true
	for _, r := range name {
		switch {
		case !unicode.IsLetter(r):
			first = r != '\'' && r != '’'
		case first && len(out) < 4:
			out = append(out, unicode.ToUpper(r))
			first = false
		default:
			first = false
		}
	}
	return string(out)
}

// period reads from and to, both days included; to is kept as the first
// instant after its day.
func (b *builder) period(at string, from, to text) schemas.Period {
	p := schemas.Period{From: b.day(at+".from", from), To: b.day(at+".to", to)}
	if !p.From.IsZero() && !p.To.IsZero() && p.To.Before(p.From) {
		b.fail(at+".from", fmt.Sprintf("from %s comes after to %s", from, to), "Swap them, or correct the year")
		return schemas.Period{From: p.From}
	}
	if !p.To.IsZero() {
		d := p.To.In(b.club.Zone)
		p.To = firstInstant(d.Year(), d.Month(), d.Day()+1, 0, 0, b.club.Zone)
	}
	return p
}

func (b *builder) memberships(at string, w *athleteWritten) []schemas.Membership {
	if len(w.Squads) > 0 {
		if w.Squad != "" || w.From != "" || w.To != "" {
			b.fail(at+".squads", "squads stands beside squad, from or to", "Put every membership under squads, or use squad with from and to")
			return nil
		}
		var out []schemas.Membership
		for i, m := range w.Squads {
			if m == nil {
				continue
			}
			at := fmt.Sprintf("%s.squads[%d]", at, i)
			if b.known(at+".squad", m.Squad, "squad") {
				out = append(out, schemas.Membership{Squad: string(m.Squad), Period: b.period(at, m.From, m.To)})
			}
		}
		return out
	}
	squad := w.Squad
	if squad == "" && !b.doubted("squads") && !b.doubted(at) {
		if len(b.club.Squads) != 1 {
			b.fail(at, fmt.Sprintf("the athlete %s is in no squad", quote(string(w.ID))), "Add squad: "+list(b.ids("squad"), "or"))
			return nil
		}
		squad = text(b.club.Squads[0].ID)
	}
	if !b.known(at+".squad", squad, "squad") {
		return nil
	}
	return []schemas.Membership{{Squad: string(squad), Period: b.period(at, w.From, w.To)}}
}

// checkAthletes checks the athletes against each other: what would make files
// ambiguous for good is a problem of the club file.
func (b *builder) checkAthletes() {
	type owned struct {
		athlete int
		sensor  schemas.Sensor
	}
	bySerial := map[string][]owned{}
	for i := range b.club.Athletes {
		a := &b.club.Athletes[i]
		for j, s := range a.Sensors {
			key := SerialKey(s.Serial)
			for _, o := range bySerial[key] {
				if o.athlete == i || !o.sensor.Overlaps(s.Period) {
					continue
				}
				at := fmt.Sprintf("%s.sensors[%d]", b.placed[i], j)
				b.fail(at, fmt.Sprintf("the sensor %s is %s's too, on some of the same days (line %d)",
					quote(s.Serial), b.club.Athletes[o.athlete].ID, b.placeOf(b.placed[o.athlete]).line),
					"Give both the days they had it: {serial: ..., from: ..., to: ...}")
				break
			}
			bySerial[key] = append(bySerial[key], owned{i, s})
		}
	}
	b.checkNames()
}

// checkNames refuses an id or alias that is another athlete's id, alias or
// initials as well. Equal names and equal initials are life, not an error: the
// squad or the id tells them apart.
func (b *builder) checkNames() {
	type claim struct {
		athlete int
		what    string
	}
	claims := map[string]claim{}
	for i := range b.club.Athletes {
		claims[Fold(b.club.Athletes[i].ID)] = claim{i, "the id"}
	}
	for i := range b.club.Athletes {
		a := &b.club.Athletes[i]
		for j, alias := range a.Aliases {
			c, taken := claims[Fold(alias)]
			if taken && c.athlete != i {
				b.collision(fmt.Sprintf("%s.aliases[%d]", b.placed[i], j), "an alias is", alias, c.what, c.athlete)
			} else if !taken {
				claims[Fold(alias)] = claim{i, "an alias"}
			}
		}
	}
	for i := range b.club.Athletes {
		a := &b.club.Athletes[i]
		for _, own := range []struct{ key, what, word string }{
			{".initials", "the initials are", a.Initials}, {".name", "the name is", a.Name},
		} {
			if c, taken := claims[Fold(own.word)]; own.word != "" && taken && c.athlete != i {
				b.collision(b.placed[i]+own.key, own.what, own.word, c.what, c.athlete)
			}
		}
	}
}

func (b *builder) collision(at, what, word, theirs string, other int) {
	b.fail(at, fmt.Sprintf("%s %s, which is %s of %s too", what, quote(word), theirs, b.club.Athletes[other].ID),
		"A file named so would be ambiguous: change one of them")
}
