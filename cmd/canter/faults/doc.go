// Package faults breaks a running canter in every way that is likely to happen
// and looks at what is left: real processes of the program, Debian's NATS and
// ClickHouse servers, real disks and folders, and a chat server in this process
// that keeps its own record of what was posted.
//
//	go test ./cmd/canter/faults           what CI runs: each kind of fault once, briefly
//	make faults-short                     all of them, seconds of outage each
//	make faults                           the long form: 200 kills over 1,000 files, minutes of outage
//
// Each fault is one row of the fault table: what was done, what is promised,
// what was seen. The table is printed at the end and, with -update, written to
// deploy/FAULTS.md. Random choices come from a seed that is printed; CANTER_SEED
// repeats one. A missing server program fails the test.
//
// Start reading at TestFaults; rig_test.go is the installation that is broken,
// compare_test.go says what must come out of it.
package faults
