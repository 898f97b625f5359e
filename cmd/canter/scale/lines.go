package scale

import "time"

// LoadedLine is what was written of one kind, for programs to read.
type LoadedLine struct {
	About     string  `json:"about"` // "written"
	What      string  `json:"what"`
	Rows      int     `json:"rows"`
	PerSecond float64 `json:"rows_per_s"`
}

// Lines are what was written, kind by kind; b is nil where no bare client was asked.
func (l *Loaded) Lines(b *Bare) []LoadedLine {
	var out []LoadedLine
	add := func(what string, r rate) {
		if r.n > 0 {
			out = append(out, LoadedLine{"written", what, r.n, r.perSecond()})
		}
	}
	add("tests, each with its file", l.Tests)
	add("assessments", l.Assessments)
	add("recordings without a test", l.Loads)
	if b != nil {
		add("the last tests", l.Last)
		add("the last tests, by the bare client", b.Tests)
	}
	return out
}

// MeasuredLine is how long one question took, for programs to read.
type MeasuredLine struct {
	About    string  `json:"about"` // "asked"
	Question string  `json:"question"`
	Asked    int     `json:"asked"`
	Rows     int     `json:"rows"`
	P50      float64 `json:"p50_ms"`
	P95      float64 `json:"p95_ms"`
	P99      float64 `json:"p99_ms"`
	// PlainP50 is of the plain query, null where there is none.
	PlainP50 *float64 `json:"plain_p50_ms"`
	// Failed is why it could not be asked on.
	Failed string `json:"failed,omitempty"`
}

// Line is the measurement for programs to read.
func (m *Measured) Line() MeasuredLine {
	ms := func(d time.Duration) float64 { return float64(d.Microseconds()) / 1000 }
	l := MeasuredLine{"asked", m.About, len(m.View), m.Rows, ms(m.View.quantile(0.5)), ms(m.View.quantile(0.95)), ms(m.View.quantile(0.99)), nil, m.Failed}
	if len(m.Plain) > 0 {
		plain := ms(m.Plain.quantile(0.5))
		l.PlainP50 = &plain
	}
	return l
}
