package message

import (
	"fmt"
	"strings"
	"time"

	"canter.example/alerts/assess"
	"canter.example/alerts/rules"
	"canter.example/schemas"
	"canter.example/schemas/club"
)

// Summary is what one message says of a session: who was tested, who deserves a
// look, who was missing, whose trace was of no use.
type Summary struct {
	Squad, Protocol string
	// When is the start of the session's first test.
	When                   time.Time
	MicrocycleDay, Surface string
	// Conditions are what was recorded of the day for the whole squad.
	Conditions []assess.Condition
	// Tested athletes, those of them with a usable trace, and all who were
	// expected; Expected is 0 for a session that nobody planned.
	Tested, Usable, Expected int
	// Building counts athletes with a usable trace whose baseline has too few
	// tests for a verdict.
	Building int
	// Missing athletes, and those whose trace was left out by staff, by id.
	Missing, LeftOut []string
	// Unusable and Doubtful traces; doubtful ones wait for staff's word.
	Unusable, Doubtful []Trouble
	// Looks are what stands out.
	Looks []Look
	// Later is true for what came after the session was told: the looks alone.
	Later bool
	// Link leads to the session's page, "" for none.
	Link string
}

// Trouble is a trace with what is wrong with it.
type Trouble struct {
	Athlete string
	Test    schemas.TestID
	Why     string
}

// Look is an alert, with what became of it.
type Look struct {
	Item
	// Done is what staff did about it, in words, the oldest first.
	Done []string
}

// Numbered is how many looks and doubtful traces have a number in the message:
// what can be done about them is offered by it.
func (s *Summary) Numbered() int { return len(s.Looks) + min(len(s.Doubtful), maxDoubtful) }

// maxDoubtful is how many doubtful traces have a line of their own.
const maxDoubtful = 5

// Summarise puts a session into words. Looks are numbered from 1, the doubtful
// traces after them; each begins a line with its number, a full stop and a
// space, and what belongs to it follows up to the next number or blank line.
func Summarise(c *club.Club, s *Summary) string {
	lines := []string{s.headline(c)}
	if !s.Later {
		lines = append(lines, s.facts(c)...)
	}
	if len(s.Looks) > 0 {
		lines = append(lines, "")
		for i := range s.Looks {
			lines = append(lines, fmt.Sprintf("%d. %s", i+1, s.Looks[i].line(c)))
			lines = append(lines, s.Looks[i].Done...)
		}
	}
	lines = append(lines, s.doubtful(c)...)
	lines = append(lines, "")
	lines = append(lines, s.closing()...)
	return strings.Join(lines, "\n")
}

func (s *Summary) headline(c *club.Club) string {
	head := fmt.Sprintf("%s, %s: ", squadName(c, s.Squad), s.When.In(zone(c)).Format("Mon 2 Jan"))
	athletes := map[string]bool{}
	for i := range s.Looks {
		if a := s.Looks[i].Alert.Athlete; a != "" && s.Looks[i].stands() {
			athletes[a] = true
		}
	}
	switch n := len(athletes); {
	case s.Later && n == 0:
		return head + "something more to look at"
	case s.Later:
		return head + count(n, "more athlete") + " to look at"
	case n > 0 && s.Tested > 0:
		return head + fmt.Sprintf("%s tested, %d to look at", count(s.Tested, "athlete"), n)
	case s.moved():
		return head + fmt.Sprintf("%s tested, the squad moved as a whole", count(s.Tested, "athlete"))
	case s.Usable == 0:
		return head + fmt.Sprintf("%s tested, no usable trace", count(s.Tested, "athlete"))
	case s.Building >= s.Usable:
		return head + fmt.Sprintf("%s tested, baselines still building", count(s.Tested, "athlete"))
	default:
		return head + fmt.Sprintf("%s tested, nobody stands out", count(s.Tested, "athlete"))
	}
}

// moved reports whether what all share is among the looks.
func (s *Summary) moved() bool {
	for i := range s.Looks {
		if s.Looks[i].Alert.Rule == schemas.RuleSquadEffect && s.Looks[i].stands() {
			return true
		}
	}
	return false
}

// stands reports whether a look still is one.
func (l *Look) stands() bool {
	return l.Alert.State == schemas.AlertOpen || l.Alert.State == schemas.AlertSeen
}

func (s *Summary) facts(c *club.Club) []string {
	parts := []string{protocolName(c, s.Protocol)}
	for _, x := range append([]string{s.MicrocycleDay, s.Surface}, conditions(s.Conditions)...) {
		if x = line(x); x != "" {
			parts = append(parts, x)
		}
	}
	tested := fmt.Sprintf("%d tested", s.Tested)
	if s.Expected > 0 {
		tested = fmt.Sprintf("%d of %d tested", s.Tested, s.Expected)
	}
	tested += fmt.Sprintf(", %d with a usable trace", s.Usable)
	if s.Building > 0 && s.Building < s.Usable {
		tested += fmt.Sprintf("; %s too short for a verdict", count(s.Building, "baseline"))
	}
	lines := []string{sentence(strings.Join(parts, ", ")), sentence(tested)}
	if len(s.Missing) > 0 {
		lines = append(lines, sentence("Missing: "+names(c, s.Missing)))
	}
	if len(s.Unusable) > 0 {
		var each []string
		for _, u := range s.Unusable {
			text := who(c, u.Athlete)
			if why := strings.TrimSuffix(said(c, u.Why), "."); why != "" {
				text += " (" + why + ")"
			}
			each = append(each, text)
		}
		lines = append(lines, sentence("Trace unusable: "+list(each)))
	}
	if len(s.LeftOut) > 0 {
		lines = append(lines, sentence("Left out by staff: "+names(c, s.LeftOut)))
	}
	return lines
}

func (s *Summary) doubtful(c *club.Club) []string {
	if s.Later || len(s.Doubtful) == 0 {
		return nil
	}
	lines := []string{"", "Traces that count only if staff accept them:"}
	for i, d := range s.Doubtful {
		if i == maxDoubtful {
			lines = append(lines, fmt.Sprintf("and %d more: canter tests list --doubtful", len(s.Doubtful)-i))
			break
		}
		text := who(c, d.Athlete)
		if why := said(c, d.Why); why != "" {
			text += ": " + why
		}
		lines = append(lines, fmt.Sprintf("%d. %s", len(s.Looks)+i+1, ended(text)))
	}
	return lines
}

// closing says where more is to be found, and the caution.
func (s *Summary) closing() []string {
	var lines []string
	if len(s.Looks) > 0 {
		lines = append(lines, "Numbers and pictures are in the thread.")
	}
	if s.Link != "" {
		lines = append(lines, "All traces: "+s.Link)
	}
	if len(s.Looks) == 0 && s.Building >= s.Usable {
		return append(lines, "No verdict yet, and none on how anybody feels: symptoms and worries go to licensed medical staff as always.")
	}
	if len(s.Looks) == 0 {
		return append(lines, "That nobody stands out says nothing of how anybody feels: symptoms and worries go to licensed medical staff as always.")
	}
	return append(lines, Caution)
}

func names(c *club.Club, ids []string) string {
	out := make([]string, len(ids))
	for i, id := range ids {
		out[i] = who(c, id)
	}
	return list(out)
}

// line says who and why in one line.
func (l *Look) line(c *club.Club) string {
	text, _, _ := strings.Cut(l.Alert.Text, "\n")
	text = ended("Whole squad" + strings.TrimPrefix(text, squadName(c, l.Alert.Squad)))
	if l.Alert.TestID != "" {
		text = ended(headline(c, l.Item))
		if why := brief(&l.Item); why != "" {
			text += " " + why
		}
	}
	switch l.Alert.State {
	case schemas.AlertWithdrawn:
		return "(withdrawn) " + text
	case schemas.AlertClosed:
		return "(" + over(l.Alert.Rule) + ") " + text
	case schemas.AlertOpen, schemas.AlertSeen, schemas.AlertLapsed:
	}
	return text
}

// over says that an alert was closed, and by what.
func over(rule schemas.RuleID) string {
	switch rule {
	case schemas.RuleSquadEffect:
		return "not so at the next session"
	case schemas.RuleTraceInvalid, schemas.RuleOutsideBand, schemas.RuleHRmaxExceeded:
		return "not so at the next test"
	default:
		return "back inside at the next test"
	}
}

// brief has an alert's numbers in a few words.
func brief(it *Item) string {
	switch it.Alert.Rule {
	case schemas.RuleTraceInvalid, schemas.RuleOutsideBand, schemas.RuleHRmaxExceeded:
		return sentence(thresholdWords.ReplaceAllString(reason(it), ""))
	case schemas.RuleHRexRunning, schemas.RuleHRRRunning:
		// The day's own numbers may well be inside: it is the run that counts.
		return sentence(thresholdWords.ReplaceAllString(reason(it), ""))
	default:
	}
	var parts []string
	for _, m := range []*schemas.Comparison{it.Assessment.Comparison(schemas.MeasureHRex, 0), rules.MainHRR(&it.Assessment)} {
		if m != nil && m.Change.Present() && m.State != schemas.Building && m.State != schemas.NoValue {
			parts = append(parts, moved(m))
		}
	}
	return sentence(list(parts))
}

// moved is a change with its z: "HRex +3.1 points (z +2.9)".
func moved(m *schemas.Comparison) string {
	unit, decimals := unitOf(m)
	change, z, _ := judged(m)
	return fmt.Sprintf("%s %s %s%s (z %s)", m.Name(), signed(change, decimals), unit, Apart(m), signed(z, 1))
}

// Said is a text from a file or a person as it may stand in chat.
func Said(c *club.Club, text string) string { return said(c, text) }

// Commands are what to type about an alert where there are no buttons.
func Commands(al *schemas.Alert) string {
	text := "To answer: canter alerts seen " + al.ID + ", canter alerts note " + al.ID + " \"…\""
	if al.TestID != "" {
		text += ", canter tests exclude " + string(al.TestID) + " --why \"…\""
	}
	return text
}

// Deed is what staff did about an alert or its test, in words.
func Deed(c *club.Club, what, who, why string) string {
	text := what + " by " + said(c, who)
	if why = said(c, why); why != "" {
		text += ": " + why
	}
	return ended(text)
}
