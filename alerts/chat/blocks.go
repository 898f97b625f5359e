package chat

import (
	"fmt"
	"strings"

	"github.com/slack-go/slack"

	"canter.example/schemas"
)

// Action is what a button asks for.
type Action string

// Actions.
const (
	// ActSeen marks an alert as seen, ActNote writes a note to it.
	ActSeen Action = "seen"
	ActNote Action = "note"
	// ActExclude leaves the alert's test out, ActAccept lets a doubtful one count.
	ActExclude Action = "exclude"
	ActAccept  Action = "accept"
)

// actionPrefix marks canter's buttons among those of other apps' blocks.
const actionPrefix = "canter-"

// labels of the buttons.
var labels = map[Action]string{
	ActSeen:    "Seen",
	ActNote:    "Add a note",
	ActExclude: "Trace is bad: leave it out",
	ActAccept:  "Accept the trace",
}

// blocks are sections, each with its buttons under it. The Web API wants ids
// that are unique in a message.
func blocks(sections []section) []slack.Block {
	var out []slack.Block
	for i, s := range sections {
		out = append(out, slack.NewSectionBlock(slack.NewTextBlockObject(slack.MarkdownType, s.text, false, true), nil, nil))
		var elements []slack.BlockElement
		for _, b := range s.buttons {
			label := slack.NewTextBlockObject(slack.PlainTextType, labels[b.Action], false, false)
			elements = append(elements, slack.NewButtonBlockElement(actionPrefix+string(b.Action), value(b), label))
		}
		if len(elements) > 0 {
			out = append(out, slack.NewActionBlock(fmt.Sprintf("canter-%d", i), elements...))
		}
	}
	return out
}

// value is what a button is about, as it comes back when it is pressed.
func value(b Button) string { return b.Alert + " " + string(b.Test) }

// parseValue reads a button's value. Who presses a button may have made it up:
// ids are looked up before anything is done with them.
func parseValue(v string) (alert string, test schemas.TestID, ok bool) {
	a, t, found := strings.Cut(v, " ")
	return a, schemas.TestID(t), found && a+t != "" && len(v) <= maxValue
}

const maxValue = 200
