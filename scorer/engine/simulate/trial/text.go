package trial

import (
	"fmt"
	"strings"
)

// Text is the table for people.
func (t *Table) Text() string {
	var b strings.Builder
	fmt.Fprintf(&b, "%-28s %3s %6s %6s %7s %7s %6s %6s %6s  %-20s %-20s %6s %6s\n", "scenario", "sev", "tests", "found", "<=5 s", "or said",
		"good", "check", "reject", "HRex mean/p95/max", "HRR mean/p95/max", "silent", "HRR")
	line := func(r *Row) {
		sev := "-"
		if r.Severity > 0 {
			sev = fmt.Sprint(r.Severity)
		}
		share, honest := "-", "-"
		if r.Tests > 0 {
			share = fmt.Sprintf("%.1f%%", 100*float64(r.Within5)/float64(r.Tests))
			honest = fmt.Sprintf("%.1f%%", 100*float64(r.Honest)/float64(r.Tests))
		}
		fmt.Fprintf(&b, "%-28s %3s %6d %6d %7s %7s %6d %6d %6d  %-20s %-20s %6d %6d\n", r.Name, sev, r.Tests, r.Found, share, honest,
			r.Good, r.Check, r.Reject, r.HRex.text(), r.HRR.text(), r.SilentWrong, r.SilentHRR)
	}
	for i := range t.Rows {
		line(&t.Rows[i])
	}
	b.WriteString("\n")
	for i := range t.Groups {
		line(&t.Groups[i])
	}
	b.WriteString("\nconfidence of the start: stated, and real share within 5 s\n")
	for _, r := range t.Reliability {
		if r.Starts > 0 {
			fmt.Fprintf(&b, "%.2f to %.2f  %6d starts  stated %.3f  real %.3f  %s\n", r.Low, r.High, r.Starts, r.Stated, r.Real,
				strings.Repeat("=", int(r.Real*40+0.5)))
		}
	}
	return b.String()
}

func (e Errors) text() string {
	if e.N == 0 {
		return "-"
	}
	return fmt.Sprintf("%.2f / %.2f / %.2f", e.Mean, e.P95, e.Worst)
}
