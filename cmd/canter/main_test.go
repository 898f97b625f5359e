package main

import (
	"os"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"
)

// beCanter makes the test binary the program itself: the processes that tests
// start are this binary with the variable set.
const beCanter = "CANTER_TEST_BE_CANTER"

func TestMain(m *testing.M) {
	if os.Getenv(beCanter) != "" {
		main()
		return
	}
	testscript.Main(tidy{m}, map[string]func(){"canter": main})
}

// tidy takes away what all tests share when they are done.
type tidy struct{ *testing.M }

// Run runs the tests.
func (m tidy) Run() int {
	code := m.M.Run()
	if livedIn != "" {
		_ = os.RemoveAll(livedIn)
	}
	return code
}

// TestCommandLine runs the scripts in testdata/script: the command line as its
// users type it.
func TestCommandLine(t *testing.T) {
	testscript.Run(t, testscript.Params{
		Dir:                 "testdata/script",
		RequireExplicitExec: true,
		RequireUniqueNames:  true,
		UpdateScripts:       os.Getenv("CANTER_UPDATE_SCRIPTS") != "",
		Cmds:                map[string]func(*testscript.TestScript, bool, []string){"jsonlines": scriptJSON},
		Setup: func(e *testscript.Env) error {
			e.Setenv("CANTER_WHO", "tester")
			return nil
		},
	})
}
