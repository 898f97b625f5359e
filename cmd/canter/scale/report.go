package scale

import (
	"context"
	"fmt"
	"io"
	"os"
	"strings"
	"time"

	"canter.example/schemas/history"
)

// WriteLoaded prints how the load went, beside the bare client's insert when
// there was one.
func WriteLoaded(w io.Writer, l *Loaded, b *Bare) {
	fmt.Fprintln(w, "written through the program's writers")
	for _, r := range []struct {
		what string
		rate rate
	}{{"tests, each with its file", l.Tests}, {"assessments", l.Assessments}, {"recordings without a test", l.Loads}} {
		if r.rate.n > 0 {
			fmt.Fprintf(w, "  %-28s %9d  %8.0f/s\n", r.what, r.rate.n, r.rate.perSecond())
		}
	}
	if l.Settled > time.Second {
		fmt.Fprintf(w, "then settled in %s\n", l.Settled.Round(time.Second))
	}
	if b != nil && l.Last.n > 0 {
		fmt.Fprintf(w, "of these the last %d tests %.0f/s; the bare client inserts the same rows at %.0f/s: %.2f of it\n",
			l.Last.n, l.Last.perSecond(), b.Tests.perSecond(), l.Last.perSecond()/b.Tests.perSecond())
	}
}

// OnClickHouse reports whether an address is of a history in ClickHouse.
func OnClickHouse(address string) bool { return strings.HasPrefix(address, "clickhouse://") }

// WriteSize prints how much room the history takes.
func WriteSize(ctx context.Context, w io.Writer, s history.Store, address string) error {
	tests, err := count(ctx, s, "tests")
	if err != nil {
		return err
	}
	if !OnClickHouse(address) {
		info, err := os.Stat(strings.TrimPrefix(address, "sqlite://"))
		if err != nil {
			return err
		}
		fmt.Fprintf(w, "%d tests, %d bytes a test, all tables and indexes\n", tests, info.Size()/max(tests, 1))
		return nil
	}
	r, err := s.Query(ctx, `SELECT table, toInt64(sum(rows)) AS n, toInt64(sum(bytes_on_disk)) AS b, toInt64(count()) AS parts
		FROM system.parts WHERE database = currentDatabase() AND active GROUP BY table HAVING n > 0 ORDER BY b DESC`, 0)
	if err != nil {
		return err
	}
	var all int64
	for _, row := range r.Values {
		n, b := row[1].(int64), row[2].(int64)
		all += b
		fmt.Fprintf(w, "  %-28s %9d rows  %6.1f bytes a row  %6.1f bytes a test  %3d parts\n", row[0], n, float64(b)/float64(max(n, 1)), float64(b)/float64(max(tests, 1)), row[3])
	}
	fmt.Fprintf(w, "%d tests, %d bytes a test, all tables\n", tests, all/max(tests, 1))
	return nil
}
