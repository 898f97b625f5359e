package engine_test

import (
	"bytes"
	"fmt"
	"os"
	"syscall"
	"testing"
	"time"

	"github.com/muktihari/fit/decoder"

	"canter.example/scorer/engine"
	"canter.example/scorer/engine/simulate"
)

func cpu() time.Duration {
	var u syscall.Rusage
	syscall.Getrusage(syscall.RUSAGE_SELF, &u)
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

func TestCPU(t *testing.T) {
	if os.Getenv("CPU") == "" {
		return
	}
	raw := fitFile(t, lowBattery)
	tr := readFIT(t, raw)
	s := simulate.Make(simulate.Scenarios[0], 1, 7)
	for range 4 {
		c := cpu()
		for range 200 {
			dec := decoder.New(bytes.NewReader(raw), decoder.WithMesgListener(&nothing{}), decoder.WithBroadcastOnly())
			for dec.Next() {
				dec.Decode()
			}
		}
		d := (cpu() - c) / 200
		c = cpu()
		for range 400 {
			engine.Score(tr, request())
		}
		sc := (cpu() - c) / 400
		c = cpu()
		for range 400 {
			engine.Score(s.Trace, engine.Request{Protocol: s.Protocol, HRmax: s.HRmax})
		}
		ss := (cpu() - c) / 400
		fmt.Println("decode", d, "score low battery", sc, "ratio", float64(sc)/float64(d), "score session", ss, len(s.Trace.Samples))
	}
}
