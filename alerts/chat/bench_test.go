package chat

import (
	"strings"
	"testing"
)

// BenchmarkPaginate cuts an alert of usual length and a digest of many pages.
func BenchmarkPaginate(b *testing.B) {
	for name, text := range map[string]string{
		"alert":  strings.Repeat("HRex 86.1 %HRmax & more: well outside\n", 30),
		"digest": strings.Repeat("&", 30000),
	} {
		b.Run(name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				paginate(Part{Text: text})
			}
		})
	}
}
