package history

import (
	"context"
	"strings"

	"canter.example/schemas"
)

// sqliteAssessments reads assessments and their comparisons in one statement,
// so that both are of one moment: a row for each comparison, a single one with
// no position where there is none. Conditions and order follow.
var sqliteAssessments = func() string {
	list := []string{"a." + strings.Join(assessmentColumns.read, ", a."), "c.position"}
	for _, name := range comparisonColumns.read {
		switch name {
		case "measure", "unit", "state", "sd_method", "basis", "squad_state", "drift_side":
			list = append(list, "coalesce(c."+name+", '')")
		case "seconds", "baseline_n", "baseline_min_n", "squad_n", "squad_material", "drift_n":
			list = append(list, "coalesce(c."+name+", 0)")
		default:
			list = append(list, "c."+name)
		}
	}
	return "SELECT " + strings.Join(list, ", ") + " FROM stored_assessments AS a LEFT JOIN stored_comparisons AS c ON c.test_id = a.test_id"
}()

// Assessment implements [Store].
func (s *sqliteStore) Assessment(ctx context.Context, test schemas.TestID) (schemas.Assessment, bool, error) {
	var c conditions
	c.add("a.test_id = ?", string(test))
	return first(s.assessments(ctx, "assessment of test "+string(test), c))
}

// Assessments implements [Store].
func (s *sqliteStore) Assessments(ctx context.Context, f AssessmentFilter) ([]schemas.Assessment, error) {
	return s.assessments(ctx, "assessments", f.where("a."))
}

func (s *sqliteStore) assessments(ctx context.Context, what string, c conditions) ([]schemas.Assessment, error) {
	type row struct {
		assessment schemas.Assessment
		comparison schemas.Comparison
		position   *int64
	}
	rows, err := sqliteRows(ctx, s, what, func(scan scanner) (r row, err error) {
		r.assessment, err = scanAssessment(func(dest ...any) error {
			dest = append(dest, &r.position)
			r.comparison, err = scanComparison(func(more ...any) error { return scan(append(dest, more...)...) })
			return err
		})
		return r, err
	}, sqliteAssessments+c.sql()+" ORDER BY a.start_ms, a.test_id, c.position", c.args...)
	if err != nil {
		return nil, err
	}
	var list []schemas.Assessment
	for _, r := range rows {
		if n := len(list); n == 0 || list[n-1].TestID != r.assessment.TestID {
			list = append(list, r.assessment)
		}
		if a := &list[len(list)-1]; r.position != nil {
			a.Comparisons = append(a.Comparisons, r.comparison)
		}
	}
	return list, nil
}
