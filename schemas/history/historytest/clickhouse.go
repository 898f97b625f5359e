package historytest

import "testing"

func ClickHouse(tb testing.TB) string { tb.Fatal("later"); return "" }
