package history

import (
	"context"
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"time"

	"canter.example/schemas"
)

var storedAssessmentColumns = func() []string {
	names := append([]string{}, assessmentColumns.plain...)
	for _, name := range comparisonColumns.plain {
		names = append(names, "comparison."+name)
	}
	return append(names, "again", "write_id")
}()

// SaveAssessments implements [Store]. The rows are seen by the views as soon as
// they are there, and those they replace for a moment beside them.
func (s *clickhouseStore) SaveAssessments(ctx context.Context, as []schemas.Assessment) error {
	if err := s.saveAssessments(ctx, as); err != nil {
		return fmt.Errorf("history: save assessments: %w", err)
	}
	return nil
}

func (s *clickhouseStore) saveAssessments(ctx context.Context, as []schemas.Assessment) error {
	newest := make(map[schemas.TestID]int, len(as)) // one row a test in a block
	for i := range as {
		if at, there := newest[as[i].TestID]; !there || as[i].Version >= as[at].Version {
			newest[as[i].TestID] = i
		}
	}
	var first uint64
	many := len(as) > maxFlush
	if many {
		first = s.bulkOf.take(len(as))
		s.bulkOf.begin(testNames(as))
	}
	again := uint64(time.Now().UnixMicro())
	rows := block{expect: len(as)}
	for i := range as {
		a := &as[i]
		if newest[a.TestID] != i {
			continue
		}
		r := record{block: &rows}
		if err := putAssessment(&r, a); err != nil {
			return err
		}
		putComparisons(&r, a.Comparisons)
		r.uint(again)
		if many {
			r.uint(first + uint64(i))
		} else {
			r.uint(rand.Uint64()) //nolint:gosec // to be unlike others, not secret
		}
	}
	if err := s.insertBlock(ctx, "stored_athlete_assessments", storedAssessmentColumns, &rows); err != nil {
		return err
	}
	if many {
		var err error
		if as, err = s.assessedBefore(ctx, as); err != nil {
			return err
		}
	}
	return s.hideReplacedAssessments(ctx, as)
}

// assessedBefore leaves of the assessments just written in bulk those whose tests
// may have another row: see rowsBeside.
func (s *clickhouseStore) assessedBefore(ctx context.Context, as []schemas.Assessment) ([]schemas.Assessment, error) {
	again := s.bulkOf.again(testNames(as))
	alone, err := s.alone(ctx, "stored_athlete_assessments", &s.bulkOf)
	if err != nil || !alone {
		return as, err
	}
	some := make([]schemas.Assessment, len(again))
	for i, at := range again {
		some[i] = as[at]
	}
	return some, nil
}

func testNames(as []schemas.Assessment) []string {
	names := make([]string, len(as))
	for i := range as {
		names[i] = string(as[i].TestID)
	}
	return names
}

// Assessment implements [Store].
func (s *clickhouseStore) Assessment(ctx context.Context, test schemas.TestID) (schemas.Assessment, bool, error) {
	var c conditions
	c.add("athlete IN (SELECT athlete FROM stored_assessment_keys WHERE test_id = ?)", string(test))
	c.add("test_id = ?", string(test))
	return first(s.assessments(ctx, "assessment of test "+string(test), c, conditions{}))
}

// Assessments implements [Store].
func (s *clickhouseStore) Assessments(ctx context.Context, f AssessmentFilter) ([]schemas.Assessment, error) {
	var c conditions // what all rows of a test have alike narrows before the newest is taken
	switch {
	case f.Athlete != "":
		c.add("test_id IN (SELECT test_id FROM stored_athlete_assessments WHERE athlete = ?)", f.Athlete)
	case f.Squad != "" || len(f.Sessions) > 0:
		var of conditions
		squadOf(&of, f.Squad, f.Sessions)
		of.among("session", f.Sessions)
		c.add("test_id IN (SELECT test_id FROM stored_session_assessments"+of.sql()+")", of.args...)
	}
	if len(c.terms) > 0 {
		c.add("athlete IN (SELECT athlete FROM stored_assessment_keys"+c.sql()+")", c.args...)
	}
	return s.assessments(ctx, "assessments", c, f.where(""))
}

// squadOf adds that the squad is this one, or one that the name of one of the
// sessions may begin with: what a session's rows are ordered by first.
func squadOf(c *conditions, squad string, sessions []string) {
	if squad != "" || len(sessions) == 0 {
		c.equal("squad", squad)
		return
	}
	squads := []string{""}
	add := func(squad string) {
		if !slices.Contains(squads, squad) {
			squads = append(squads, squad)
		}
	}
	for _, session := range sessions {
		for i := range len(session) {
			if session[i] == '/' {
				add(session[:i])
			}
		}
		add(session)
	}
	c.among("squad", squads)
}

// assessments takes the newest of each test among the rows that meet the first
// condition, and of these those that meet the second.
func (s *clickhouseStore) assessments(ctx context.Context, what string, among, which conditions) ([]schemas.Assessment, error) {
	list := assessmentColumns.list() + ", comparison." + strings.Join(comparisonColumns.read, ", comparison.")
	return clickhouseRows(ctx, s, what, scanAssessmentArrays,
		"SELECT "+list+" FROM (SELECT "+list+", again, write_id FROM stored_athlete_assessments"+among.sql()+
			" ORDER BY version DESC, again DESC, write_id DESC LIMIT 1 BY test_id)"+which.sql()+" ORDER BY start_ms, test_id",
		append(among.args, which.args...)...)
}
