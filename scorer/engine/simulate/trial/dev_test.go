package trial

import (
	"flag"
	"strings"
	"testing"

	"canter.example/scorer/engine/simulate/holdout"
)

var (
	devSeed = flag.Uint64("devseed", 0, "print the table of this seed; worst sessions with -v")
	show    = flag.String("show", "SILENT", "which notes to print")
)

func TestDev(t *testing.T) {
	if *devSeed == 0 {
		t.Skip()
	}
	for _, tab := range []Table{Run(*sessions, *devSeed), RunWith(holdout.Scenarios, holdout.Make, *sessions, *devSeed)} {
		t.Log("\n" + tab.Text())
		for _, r := range tab.Rows {
			for _, w := range r.Worst {
				if strings.Contains(w, *show) {
					t.Log(w)
				}
			}
		}
	}
}
