package message

import (
	"fmt"
	"strings"

	"canter.example/alerts/rules"
	"canter.example/schemas"
	"canter.example/schemas/club"
)

// Trace is the message of a strap that failed twice running. O is the latest
// test of the run, reason the fired rule's.
func Trace(c *club.Club, o schemas.Outcome, reason string) string {
	lines := []string{
		who(c, o.Athlete) + ": heart-rate trace unusable again, check the strap",
		occasion(c, &o, dateTime),
		sentence(reason),
	}
	for _, r := range o.Reasons {
		lines = append(lines, "- "+sentence(said(c, r.Text)))
	}
	lines = append(lines,
		strapNext, Caution)
	return strings.Join(nonEmpty(lines), "\n")
}

// Missing is the message of a planned test that some athletes have no usable
// test of. It says nothing of their health, so it carries no caution.
func Missing(c *club.Club, at rules.Attendance) string {
	p := at.Slot.Planned
	where := fmt.Sprintf("%s, %s planned for %s", squadName(c, p.Squad), protocolName(c, p.Protocol), moment(c, at.Slot.Time))
	if !at.Ran {
		return strings.Join([]string{
			fmt.Sprintf("No test of %s has arrived", squadName(c, p.Squad)),
			sentence(where),
			fmt.Sprintf("%s expected. Was the session moved or left out? Have the watches been uploaded?", count(at.Expected, "athlete")),
		}, "\n")
	}
	by := map[rules.Absence][]string{}
	for _, m := range at.Missing {
		by[m.Absence] = append(by[m.Absence], who(c, m.Athlete))
	}
	lines := []string{
		fmt.Sprintf("%d of %s without a usable test", len(at.Missing), count(at.Expected, "athlete")),
		sentence(where),
	}
	for _, group := range []struct {
		absence rules.Absence
		words   string
	}{
		{rules.NoTest, "No test has arrived"},
		{rules.Doubtful, "Test to be checked by staff (accept it or leave it out)"},
		{rules.NotUsable, "Test there, not usable"},
	} {
		if names := by[group.absence]; len(names) > 0 {
			lines = append(lines, fmt.Sprintf("%s: %s.", group.words, list(names)))
		}
	}
	if len(at.Straps) > 0 {
		names := make([]string, len(at.Straps))
		for i, id := range at.Straps {
			names[i] = who(c, id)
		}
		lines = append(lines, fmt.Sprintf("Trace unusable at the test before, check the strap: %s.", list(names)))
	}
	return strings.Join(append(lines, "An absent test is not a finding: ask whether they ran, and whether the watch was uploaded."), "\n")
}

// Withdrawal is why an alert no longer holds.
type Withdrawal string

// Withdrawals.
const (
	// TestExcluded: staff left the test out.
	TestExcluded Withdrawal = "test excluded"
	// TestGone: the file, scored again, holds no such test.
	TestGone Withdrawal = "test gone"
	// NoLongerFires: with corrected data or settings the numbers pass no threshold.
	NoLongerFires Withdrawal = "no longer fires"
	// NotSo: with corrected data or settings what the alert says of trace, load
	// or HRmax is not so.
	NotSo Withdrawal = "not so"
	// TestDoubtful: with corrected data the test counts only if staff accept it.
	TestDoubtful Withdrawal = "test doubtful"
	// OtherFile: a better file of the same run has come.
	OtherFile Withdrawal = "better file"
	// SquadMoved: what the whole session shares explains the numbers.
	SquadMoved Withdrawal = "squad moved"
	// FileRead: a parked file has been read after all.
	FileRead Withdrawal = "file read"
	// TestsCame: the missing tests have arrived.
	TestsCame Withdrawal = "tests came"
)

// Withdrawn answers an alert that no longer holds. Detail is added in its own
// words, such as who excluded the test and why; "" for none. Names in it follow
// the privacy setting as in [Parked].
func Withdrawn(c *club.Club, al schemas.Alert, why Withdrawal, detail string) string {
	text := "it no longer holds"
	switch why {
	case TestExcluded:
		text = "staff left the test out"
	case TestGone:
		text = "scored again, the file holds no such test"
	case NoLongerFires:
		text = "judged again, the numbers no longer pass the club's thresholds"
	case NotSo:
		text = "judged again, it is not so"
	case TestDoubtful:
		text = "scored again, the test is doubtful and counts only if staff accept it"
	case OtherFile:
		text = "a better file of the same run has come and counts instead"
	case SquadMoved:
		text = "the whole squad moved that day; with its share taken off the numbers do not pass the club's thresholds"
	case FileRead:
		text = "the file has been read after all"
	case TestsCame:
		text = "the missing tests have arrived"
	}
	lines := []string{sentence(fmt.Sprintf("Withdrawn: the message about %s: %s", subject(c, al), text))}
	if d := said(c, detail); d != "" {
		lines = append(lines, sentence(d))
	}
	if al.Athlete != "" {
		lines = append(lines, "This takes the flag back; it does not say that all is well. Symptoms and worries go to licensed medical staff as always.")
	}
	return strings.Join(lines, "\n")
}

// Correction opens the answer to an alert whose numbers have changed.
const Correction = "Corrected, in place of the message above:\n"

// BackInside answers an alert that the athlete's next test closed.
func BackInside(c *club.Club, al schemas.Alert) string {
	return fmt.Sprintf("At the next test of %s none of it passed the club's thresholds; the message about %s is closed.\n"+
		"This says nothing of how the athlete feels: symptoms and worries go to licensed medical staff as always.", who(c, al.Athlete), moment(c, al.About))
}

// subject names what an alert is about.
func subject(c *club.Club, al schemas.Alert) string {
	switch {
	case al.Athlete != "":
		return who(c, al.Athlete) + " of " + moment(c, al.About)
	case al.FileID != "":
		return "file " + al.FileID.Short()
	default:
		return squadName(c, al.Squad) + " of " + moment(c, al.About)
	}
}

func nonEmpty(lines []string) []string {
	var out []string
	for _, l := range lines {
		if l != "" {
			out = append(out, l)
		}
	}
	return out
}
