package message

import (
	"fmt"
	"math"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"canter.example/schemas"
	"canter.example/schemas/club"
)

// signed formats a change with its sign, ± when it rounds to nothing.
func signed(n schemas.Number, decimals int) string {
	text := n.Signed(decimals)
	if n.Present() && strings.Trim(text, "0.") == "" {
		return "±" + text
	}
	return text
}

// plain formats a number without a plus sign: a recovery can be negative.
func plain(n schemas.Number, decimals int) string {
	if text, below := strings.CutPrefix(n.Text(decimals), "-"); below && n.Present() {
		return "−" + text
	}
	return n.Text(decimals)
}

// line makes a text from elsewhere fit into one line.
func line(text string) string { return strings.Join(strings.Fields(text), " ") }

func who(c *club.Club, athlete string) string { return line(c.NameOf(athlete)) }

func squadName(c *club.Club, id string) string {
	if s := c.Squad(id); s != nil && s.Name != "" {
		return line(s.Name)
	}
	return line(id)
}

func protocolName(c *club.Club, id string) string {
	if p := c.Protocol(id); p != nil && p.Name != "" {
		return line(p.Name)
	}
	return line(id)
}

// moment and day are written in the club's zone; day leaves out the year when
// it is that of the time spoken from.
func moment(c *club.Club, t time.Time) string { return t.In(zone(c)).Format(dateTime) }

func day(c *club.Club, t, from time.Time) string {
	t, from = t.In(zone(c)), from.In(zone(c))
	if t.Year() == from.Year() {
		return t.Format("2 Jan")
	}
	return t.Format("2 Jan 2006")
}

func zone(c *club.Club) *time.Location {
	if c.Zone == nil {
		return time.UTC
	}
	return c.Zone
}

const (
	dateOnly = "Mon 2 Jan 2006"
	dateTime = dateOnly + " 15:04"
)

// occasion names protocol, time and conditions of a test.
func occasion(c *club.Club, o *schemas.Outcome, layout string) string {
	parts := []string{protocolName(c, o.Protocol), o.Start.In(zone(c)).Format(layout)}
	for _, s := range []string{o.MicrocycleDay, o.Surface} {
		if s = line(s); s != "" {
			parts = append(parts, s)
		}
	}
	return strings.Join(parts, ", ")
}

// Spread says how unusual a z is, "" when it is absent. The steps at 1, 1.5
// and 2 are common practice of the trade (FACTS 7), 3 is ours.
func Spread(z schemas.Number) string {
	v, ok := z.Get()
	switch v = math.Abs(v); {
	case !ok:
		return ""
	case v >= 3:
		return "far outside the usual spread"
	case v >= 2:
		return "well outside the usual spread"
	case v >= 1.5:
		return "outside the usual spread"
	case v >= 1:
		return "at the edge of the usual spread"
	default:
		return "within the usual spread"
	}
}

// judged returns the change and the z that a number was judged by: without what
// the squad shared, that day or on days of the baseline. without tells whether
// that makes a difference to be seen.
func judged(m *schemas.Comparison) (change, z schemas.Number, without bool) {
	if !m.Deviation.Present() || !m.DeviationZ.Present() {
		return m.Change, m.Z, false
	}
	_, decimals := unitOf(m)
	without = m.Squad.Material || m.Deviation.Signed(decimals) != m.Change.Signed(decimals) || m.DeviationZ.Signed(1) != m.Z.Signed(1)
	return m.Deviation, m.DeviationZ, without
}

// Apart says that a number was judged without what the squad shared, where that
// makes a difference, so that the words beside a z of the whole change are
// understood.
func Apart(m *schemas.Comparison) string {
	if _, _, without := judged(m); without {
		return " with the squad's changes taken off"
	}
	return ""
}

// Unusual says how a number stands against the athlete's own spread, or why
// that can't be said. Where the whole squad moved, its share is taken off.
func Unusual(m *schemas.Comparison) string {
	switch m.State {
	case schemas.NoValue:
		return "no number"
	case schemas.Building:
		return fmt.Sprintf("building baseline (%d of %d)", m.N, m.MinN)
	case schemas.Inside, schemas.Higher, schemas.Lower:
	}
	_, z, _ := judged(m)
	if words := Spread(z); words != "" {
		return words
	}
	return "not compared"
}

// State says what became of an alert and why, in a few words.
func State(al *schemas.Alert) string {
	switch al.State {
	case schemas.AlertOpen, schemas.AlertSeen:
	case schemas.AlertClosed:
		switch al.Rule {
		case schemas.RuleFileParked:
			return "closed: the file has been handled"
		case schemas.RuleSquadEffect:
			return "closed: the next session was a usual one"
		default:
			return "closed: the next test shows none of it"
		}
	case schemas.AlertWithdrawn:
		return "withdrawn: corrected data take it back"
	case schemas.AlertLapsed:
		return "lapsed: nothing came within six weeks to show whether it still holds"
	}
	return string(al.State)
}

// likely says in words how sure it is that the change is more than trivial
// (beyond the smallest worthwhile change), with the steps common in sports
// science: 25, 75, 95, 99.5 % (Hopkins' scale, from memory). The number stands
// beside it, never rounded up to certainty.
func likely(p schemas.Number) string {
	v, ok := p.Get()
	if !ok {
		return ""
	}
	word := likelyWord(p)
	if v > 0.99 {
		return fmt.Sprintf("%s more than trivial (over 99 %%)", word)
	}
	return fmt.Sprintf("%s more than trivial (%.0f %%)", word, math.Floor(100*v+1e-9))
}

// likelyWord is the word of [likely], "" when nothing is known.
func likelyWord(p schemas.Number) string {
	v, ok := p.Get()
	switch {
	case !ok:
		return ""
	case v >= 0.995:
		return "almost certainly"
	case v >= 0.95:
		return "very likely"
	case v >= 0.75:
		return "likely"
	case v >= 0.25:
		return "possibly"
	default:
		return "unlikely"
	}
}

var count = schemas.Count

// list joins names for reading.
func list(names []string) string { return strings.Join(names, ", ") }

// sentence begins a text with a capital and ends it with one full stop. The
// name of a statistic, as in "z +2.1", stays as it is.
func sentence(text string) string {
	text = line(text)
	if r, n := utf8.DecodeRuneInString(text); unicode.IsLower(r) && !strings.HasPrefix(text, "z ") {
		text = string(unicode.ToUpper(r)) + text[n:]
	}
	return ended(text)
}

// ended ends a text with one full stop.
func ended(text string) string {
	text = line(text)
	if text == "" || strings.HasSuffix(text, ".") || strings.HasSuffix(text, "?") {
		return text
	}
	return text + "."
}
