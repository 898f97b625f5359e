package message

import (
	"canter.example/schemas"
	"canter.example/schemas/club"
)

// What follows is for messages that are put together elsewhere, such as
// digests: the same words, one by one.

// Who is what chat calls an athlete, Squad a squad.
func Who(c *club.Club, athlete string) string { return who(c, athlete) }

// Squad is a squad's name on one line.
func Squad(c *club.Club, id string) string { return squadName(c, id) }

// Moved is a change with its z, and how sure it is that it is more than
// trivial: "HRex +3.1 points (z +2.9), very likely more than trivial".
func Moved(m *schemas.Comparison) string {
	text := moved(m)
	// The probability speaks of the whole change.
	if p := likelyWord(m.ProbChange); p != "" && !m.Squad.Material {
		text += ", " + p + " more than trivial"
	}
	return text
}

// Shift is what a whole session shared in one number: "HRex +2.3 points".
func Shift(m *schemas.Comparison) string {
	unit, decimals := unitOf(m)
	return m.Name() + " " + signed(m.Squad.Size, decimals) + " " + unit
}

// Headline says of an alert who and what in one line.
func Headline(c *club.Club, it Item) string { return headline(c, it) }

// Ambiguous is said wherever HRex is lower or recovery faster.
func Ambiguous() string { return sentence(ambiguous) }

// AllHere says that nobody was missing from a planned test.
func AllHere(c *club.Club, squad string, expected int) string {
	return "All here: " + count(expected, "athlete") + " of " + squadName(c, squad) + " with a usable test."
}
