package message_test

import (
	"testing"

	"canter.example/alerts/message"
	"canter.example/schemas"
	"canter.example/schemas/club"
)

func TestNamesInTextsFromElsewhereAreWhatTheClubSays(t *testing.T) {
	c := &club.Club{Athletes: []schemas.Athlete{
		{ID: "a1", Name: "Ann Lee", Aliases: []string{"Lee, A.", "$1 Ann"}},
		{ID: "a2", Name: "Ännchen Öz"},
		{ID: "a3", Name: "Bo"},
	}}
	s := message.NewSayer(c, club.ShowID)
	for text, want := range map[string]string{
		"":                                  "",
		"nobody is named":                   "nobody is named",
		"Ann Lee":                           "a1",
		"ANN LEE ran, ann lee did not":      "a1 ran, a1 did not",
		"Bo Bo,Bo;bo":                       "a3 a3,a3;a3",
		"Bob and Jumbo are others, (Bo) is": "Bob and Jumbo are others, (a3) is",
		"strap of ännchen öz slipped":       "strap of a2 slipped",
		"Ännchen Özil is another":           "Ännchen Özil is another",
		"of Lee, A. and $1 Ann":             "of a1 and a1",
		"Bo2 and 2Bo are words":             "Bo2 and 2Bo are words",
		"in /home/bo/x.fit of Bo":           "in (path withheld) of a3",
	} {
		if got := s.Say(text); got != want {
			t.Errorf("Say(%q) = %q, want %q", text, got, want)
		}
	}
}
