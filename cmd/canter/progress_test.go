package main

import (
	"bytes"
	"testing"
)

func TestProgressIsQuietInAPipe(t *testing.T) {
	var out bytes.Buffer
	p := newProgress(&out, "files", 100)
	for i := range 100 {
		p.to(i)
	}
	p.clear()
	if out.Len() != 0 {
		t.Errorf("wrote %q", out.String())
	}
	shown := &progress{w: &out, what: "files", total: 3}
	shown.to(2)
	shown.clear()
	if out.String() != "\r2 of 3 files \r\x1b[K" {
		t.Errorf("wrote %q", out.String())
	}
}
