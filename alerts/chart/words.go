package chart

import (
	"cmp"
	"fmt"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"canter.example/schemas"
)

func cmpFloat(a, b float64) int { return cmp.Compare(a, b) }

func nonEmpty(parts ...string) []string {
	var out []string
	for _, p := range parts {
		if strings.TrimSpace(p) != "" {
			out = append(out, p)
		}
	}
	return out
}

func zone(z *time.Location) *time.Location {
	if z == nil {
		return time.UTC
	}
	return z
}

// moment writes when something was, "" for no time at all.
func moment(t time.Time, z *time.Location) string {
	if t.IsZero() {
		return ""
	}
	return t.In(zone(z)).Format("Mon 2 Jan 2006 15:04")
}

func protocolName(o *schemas.Outcome, p *schemas.Protocol) string {
	if p != nil && p.Name != "" {
		return p.Name
	}
	return o.Protocol
}

// plainReason is why a reading was dropped, without how the picture deals with it.
func plainReason(s string) string {
	s, _, _ = strings.Cut(s, ", bridged")
	return s
}

// remarks are reasons that say nothing against a trace.
var remarks = map[schemas.ReasonCode]bool{
	schemas.ReasonIdentity: true, schemas.ReasonHRmaxEstimated: true, schemas.ReasonHRmaxUnknown: true,
	schemas.ReasonOutsideBand: true,
}

// mainReasons are the sentences that say why a test is not simply good.
func mainReasons(o *schemas.Outcome) []string {
	if o.Quality == schemas.Good {
		return nil
	}
	var out []string
	for _, r := range o.Reasons {
		if !remarks[r.Code] && len(out) < 3 {
			out = append(out, sentence(r.Text))
		}
	}
	return out
}

// BriefReason is the first reason against a trace in a word or two, "" when
// there is none.
func BriefReason(o *schemas.Outcome) string {
	for _, r := range o.Reasons {
		if !remarks[r.Code] {
			return strings.ReplaceAll(strings.ReplaceAll(string(r.Code), "-", " "), "hrmax", "HRmax")
		}
	}
	return ""
}

// Limits of what is said of dropped readings: a very bad trace should not
// write a list nobody reads.
const (
	maxDropReasons = 4
	maxDropSpans   = 3
)

// dropWords says what was dropped between two seconds, and why: for each
// reason how long in all and where.
func dropWords(drops []dropped, from, to float64) string {
	var order []string
	by := map[string][]dropped{}
	for _, d := range drops {
		if float64(d.to) <= from || float64(d.from) >= to {
			continue
		}
		if len(by[d.why]) == 0 {
			order = append(order, d.why)
		}
		by[d.why] = append(by[d.why], d)
	}
	if len(order) == 0 {
		return ""
	}
	var parts []string
	for i, why := range order {
		if i == maxDropReasons {
			parts = append(parts, fmt.Sprintf("and for %d more reasons", len(order)-i))
			break
		}
		parts = append(parts, why+" "+spansOf(by[why]))
	}
	return "Not used (black along the bottom): " + strings.Join(parts, "; ")
}

func spansOf(drops []dropped) string {
	total := 0
	var at []string
	for i, d := range drops {
		total += d.to - d.from
		switch {
		case i >= maxDropSpans && len(drops) > maxDropSpans+1:
		case d.to-d.from == 1:
			at = append(at, clock(d.from))
		default:
			at = append(at, clock(d.from)+" to "+clock(d.to))
		}
	}
	s := fmt.Sprintf("%d s (%s", total, strings.Join(at, ", "))
	if n := len(drops) - len(at); n > 0 {
		s += fmt.Sprintf(" and %d more times", n)
	}
	return s + ")"
}

// clock writes seconds since the start as minutes and seconds.
func clock(s int) string {
	sign := ""
	if s < 0 {
		sign, s = "−", -s
	}
	return fmt.Sprintf("%s%d:%02d", sign, s/60, s%60)
}

// signed writes a change with its sign; what rounds to nothing has none.
func signed(v float64, decimals int) string { return schemas.Num(v).Signed(decimals) }

// sentence begins a text with a capital and ends it with a full stop.
func sentence(s string) string {
	s = strings.Join(strings.Fields(s), " ")
	if r, n := utf8.DecodeRuneInString(s); unicode.IsLower(r) {
		s = string(unicode.ToUpper(r)) + s[n:]
	}
	if s == "" || strings.HasSuffix(s, ".") {
		return s
	}
	return s + "."
}
