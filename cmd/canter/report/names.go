package report

import (
	"regexp"
	"slices"
	"strings"
	"sync"

	"canter.example/alerts/chart"
	"canter.example/schemas"
	"canter.example/schemas/club"
)

// Names says what athletes are called, and takes names out of texts where they
// are not called by name. It may be shared between goroutines.
type Names struct {
	// Club is nil without a club file.
	Club *club.Club
	// Style is how athletes are called; [club.ShowID] without a club file.
	Style club.NameStyle
	// Rostered are names by id as the history has them, for want of a club file.
	Rostered map[string]string

	once      sync.Once
	spellings []spelling
}

// spelling finds one way to write an athlete's name.
type spelling struct {
	re   *regexp.Regexp
	mean string
}

// Person is what an athlete is called.
func (n *Names) Person(id string) chart.Person {
	p := chart.Person{ID: id, Name: id}
	if n.Club != nil {
		p.Name = club.Called(n.Club.Athlete(id), id, n.Style)
	} else if name := n.Rostered[id]; name != "" {
		p.Name = name
	}
	return p
}

// Said is an outcome whose texts may be shown.
func (n *Names) Said(o schemas.Outcome) schemas.Outcome {
	o.Reasons = slices.Clone(o.Reasons)
	for i := range o.Reasons {
		o.Reasons[i].Text = n.Say(o.Reasons[i].Text)
	}
	return o
}

// quotation is what texts quote from files: headings, labels, paths.
var quotation = regexp.MustCompile(`"[^"]*"|“[^”]*”`)

// Say takes names out of a text where athletes are not called by name: what
// it quotes from files, and the spellings that the club file knows.
func (n *Names) Say(text string) string {
	if n.Style == club.ShowName {
		return text
	}
	text = quotation.ReplaceAllString(text, "(name withheld)")
	n.once.Do(n.compile)
	for _, s := range n.spellings {
		text = s.re.ReplaceAllString(text, "${1}"+s.mean+"${2}")
	}
	return text
}

func (n *Names) compile() {
	if n.Club == nil {
		return
	}
	for i := range n.Club.Athletes {
		a := &n.Club.Athletes[i]
		for _, name := range append([]string{a.Name}, a.Aliases...) {
			if strings.TrimSpace(name) != "" {
				n.spellings = append(n.spellings, spelling{
					re:   regexp.MustCompile(`(?i)(^|[^\pL\pN])` + regexp.QuoteMeta(name) + `($|[^\pL\pN])`),
					mean: strings.ReplaceAll(n.Person(a.ID).Name, "$", "$$"),
				})
			}
		}
	}
}
