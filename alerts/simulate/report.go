package simulate

import (
	"fmt"
	"io"
	"math"
	"strings"
)

// Report plays everything and writes the tables as Markdown. It ends early with
// the error of stop, which is asked between lines.
func Report(w io.Writer, o Options, stop func() error) error {
	f := o.filled()
	if _, err := fmt.Fprintf(w, "%d squads of %d athletes a line, %d tests each, seed %d. HRex in points of %%HRmax, HRR in bpm. ± is the standard error of the simulation.\n", f.Squads, f.Athletes, weeks, f.Seed); err != nil {
		return err
	}
	var last Row
	return Each(o, func(r Row) error {
		if err := stop(); err != nil {
			return err
		}
		var b strings.Builder
		if r.Noise != last.Noise {
			fmt.Fprintf(&b, "\n### Typical error: HRex %.1f points, HRR60 %.1f bpm\n", r.Noise.HRex, r.Noise.HRR)
		}
		heading, cells := r.Table, r.Name
		for _, f := range r.Figures {
			heading, cells = heading+" | "+f.Heading, cells+" | "+f.String()
		}
		if r.Noise != last.Noise || r.Table != last.Table {
			fmt.Fprintf(&b, "\n| %s |\n|%s\n", heading, strings.Repeat("---|", 1+len(r.Figures)))
		}
		fmt.Fprintf(&b, "| %s |\n", cells)
		last = r
		_, err := io.WriteString(w, b.String())
		return err
	})
}

// String writes a figure with its standard error; that of one squad is not known.
func (f Figure) String() string {
	switch f.Form {
	case Rate:
		if math.IsNaN(f.SE) {
			return fmt.Sprintf("%.2f", f.Value)
		}
		return fmt.Sprintf("%.2f ± %.2f", f.Value, f.SE)
	case Share:
		if math.IsNaN(f.SE) {
			return fmt.Sprintf("%.0f %%", 100*f.Value)
		}
		return fmt.Sprintf("%.0f ± %.0f %%", 100*f.Value, 100*f.SE)
	case BareShare:
		return fmt.Sprintf("%.1f %%", 100*f.Value)
	case Delay:
		if math.IsNaN(f.Value) {
			return "more than half never"
		}
		return fmt.Sprintf("%.0f", f.Value)
	case BareRate:
	}
	return fmt.Sprintf("%.2f", f.Value)
}
