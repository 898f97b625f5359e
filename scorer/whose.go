package scorer

import (
	"context"
	"fmt"
	"maps"
	"slices"
	"strings"

	"canter.example/schemas"
	"canter.example/schemas/broker"
	"canter.example/scorer/identify"
)

// owner is whose a trace is, or why nobody could be found.
type owner struct {
	answer identify.Answer
	err    error
}

// whose finds the owner of each trace of a file. Whom staff named goes before
// what path, file and sensors say. A name without a part is for the only trace
// of the file, or the only one that nobody could be found for.
func (s *Service) whose(msg broker.FileMessage, traces []schemas.Trace, said schemas.FileRuling) []owner {
	ask := func(i int, named string) (o owner) {
		o.answer, o.err = identify.Who(s.club, identify.Question{
			Origin: msg.Origin, Trace: &traces[i], Traces: len(traces), Override: named,
		})
		return o
	}
	out := make([]owner, len(traces))
	var open []int // traces that nobody could be found for
	for i := range traces {
		named := said.Athletes[traces[i].Part]
		if out[i] = ask(i, named); out[i].err != nil && named == "" {
			open = append(open, i)
		}
	}
	named := said.Athletes[""]
	if named == "" || len(traces) == 1 {
		return out
	}
	one := oneRecording(traces, open)
	for _, i := range open {
		if one {
			out[i] = ask(i, named)
		} else {
			out[i].err = fmt.Errorf("%w. Staff named %s, but several recordings of the file are nobody's: name the part, too", out[i].err, named)
		}
	}
	return out
}

// oneRecording reports whether traces are one or the sessions of one recording,
// which are numbered with a #.
func oneRecording(traces []schemas.Trace, which []int) bool {
	for _, i := range which {
		first, _, _ := strings.Cut(traces[which[0]].Part, "#")
		if part, _, _ := strings.Cut(traces[i].Part, "#"); part != first {
			return false
		}
	}
	return true
}

// strangeParts complains of parts that staff named an athlete for and that the
// file does not have.
func strangeParts(traces []schemas.Trace, said schemas.FileRuling) (complaints []string) {
	parts := make([]string, len(traces))
	for i := range traces {
		parts[i] = traces[i].Part
	}
	for _, part := range slices.Sorted(maps.Keys(said.Athletes)) {
		if part != "" && !slices.Contains(parts, part) {
			complaints = append(complaints, fmt.Sprintf("staff named %s for the part %q, which the file does not have; its parts are %q", said.Athletes[part], part, parts))
		}
	}
	return complaints
}

// inPart says which of several traces a complaint is about. The part is quoted,
// since it may be a name: chat leaves out what is quoted.
func inPart(tr *schemas.Trace, traces int, err error) string {
	if traces == 1 || tr.Part == "" {
		return err.Error()
	}
	return fmt.Sprintf("%q: %s", strings.ReplaceAll(tr.Part, `"`, "'"), err)
}

// asWhenDropped takes from the result of a file that staff dropped what was not
// stored of it when they did: whoever lets go of a file does not want to hear of
// it because the club file has changed since.
func (s *Service) asWhenDropped(ctx context.Context, id schemas.FileID, r *scored) error {
	loads, err := s.history.FileLoads(ctx, id)
	if err != nil {
		return err
	}
	values, err := s.history.FileSeries(ctx, id)
	if err != nil {
		return err
	}
	stored := func(part string) bool {
		return slices.ContainsFunc(loads, func(l schemas.TraceLoad) bool { return l.Part == part })
	}
	left := len(r.loads)
	r.loads = slices.DeleteFunc(r.loads, func(l schemas.TraceLoad) bool { return !stored(l.Part) })
	r.outcomes = slices.DeleteFunc(r.outcomes, func(o schemas.Outcome) bool {
		if !stored(o.Part) {
			delete(r.windows, o.TestID)
			return true
		}
		return false
	})
	left -= len(r.loads)
	if len(values) == 0 && len(r.series) > 0 {
		left, r.series = left+1, nil
	}
	if r.dropped = len(r.unknown) > 0 || left > 0; r.dropped && len(r.unknown) == 0 {
		r.unknown = []string{"it could be handled now, but staff dropped it: canter parked retry puts it through again"}
	}
	// Team-mates' starts are not asked for on behalf of a file that is let go.
	r.doubts, r.plannedGood = nil, nil
	return nil
}
