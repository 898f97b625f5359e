//go:build linux

package faults_test

import (
	"fmt"
	"runtime"
	"strings"
	"testing"
	"time"
)

// testScale runs the same files through 1, 2 and 4 scorers, and 1, 2 and 2
// alerts processes, on one broker and one database. The files are in the archive
// before the scorers start, so that they are what is measured.
func testScale(t *testing.T) {
	fault(t, "more processes of a role", "the same results with 1, 2 and 4 scorers and with 2 alerts processes; each message once", func(t *testing.T) (string, string) {
		u := plain(t, form(6, 35))
		var table []string
		for _, n := range []struct{ scorers, alerts int }{{1, 1}, {2, 2}, {4, 2}} {
			r := apart(t, u.season, setup{scorers: n.scorers, alerts: n.alerts})
			r.drop(all(u.season)...)
			ingest := r.serves[len(r.serves)-1]
			ingest.start()
			ingest.waitReady()
			eventually(t, "all files are in the archive", 2*time.Minute, func() bool {
				b, err := r.open()
				if err != nil {
					return false
				}
				defer b.Close()
				a, err := b.Archived(t.Context())
				return err == nil && len(a.Files) == len(r.dropped)
			})
			began := time.Now()
			for _, p := range r.serves[:len(r.serves)-1] {
				p.start()
			}
			eventually(t, "all files are scored", 5*time.Minute, func() bool {
				rows, err := r.try("SELECT count(*) FROM files")
				return err == nil && number(rows[0][0]) == int64(len(r.dropped))
			})
			took := time.Since(began)
			r.settled(3 * time.Minute)
			r.sound(u)
			table = append(table, fmt.Sprintf("%d × scorer, %d × alerts: %.0f files/s", n.scorers, n.alerts, float64(len(r.dropped))/took.Seconds()))
			for _, p := range r.serves {
				p.stop()
			}
		}
		return fmt.Sprintf("%d files through 1, 2 and 4 scorer processes and 1, 2, 2 alerts processes (NATS, ClickHouse, all on one machine of %d cores, starting included)", len(all(u.season)), runtime.NumCPU()),
			"results identical; " + strings.Join(table, "; ")
	})
}
