package history

import "context"

// Sweep sweeps at once, for tests.
func Sweep(ctx context.Context, s Store) error { return s.(*clickhouseStore).sweep(ctx, 0) }
