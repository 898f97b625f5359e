package schemas_test

import (
	"testing"

	"canter.example/schemas"
)

func TestASessionKnowsItsDate(t *testing.T) {
	if got := schemas.SessionDate(schemas.SessionID("first/team", "run-12", "2026-10-13")); got != "2026-10-13" {
		t.Errorf("the date is %q", got)
	}
}
