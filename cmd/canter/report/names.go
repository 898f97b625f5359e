package report

import (
	"slices"
	"sync"

	"canter.example/alerts/chart"
	"canter.example/alerts/message"
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

	once  sync.Once
	sayer *message.Sayer
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

// Say takes names out of a text where athletes are not called by name; see
// [message.Sayer].
func (n *Names) Say(text string) string {
	n.once.Do(func() { n.sayer = message.NewSayer(n.Club, n.Style) })
	return n.sayer.Say(text)
}
