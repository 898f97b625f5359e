package main

import (
	"errors"
	"os"
	"path/filepath"
	"runtime"
	"runtime/pprof"
	"time"
)

// profile writes to a folder, if one is named, until it is stopped: cpu.pprof,
// and heap.pprof of the moment at which the heap was largest. Without a folder no
// allocation is sampled, which the runtime does for whoever may ask later.
func profile(dir string) (stop func(), err error) {
	if dir == "" {
		runtime.MemProfileRate = 0
		return func() {}, nil
	}
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return nil, err
	}
	f, err := os.Create(filepath.Join(dir, "cpu.pprof")) //nolint:gosec // the command line names the folder
	if err != nil {
		return nil, err
	}
	if err := pprof.StartCPUProfile(f); err != nil {
		return nil, errors.Join(err, f.Close())
	}
	stopped, ended := make(chan struct{}), make(chan struct{})
	go func() {
		defer close(ended)
		profileHeap(filepath.Join(dir, "heap.pprof"), stopped)
	}()
	return func() {
		close(stopped)
		<-ended
		pprof.StopCPUProfile()
		_ = f.Close()
	}, nil
}

// profileHeap writes the heap's profile whenever it has grown by a tenth.
func profileHeap(name string, stopped <-chan struct{}) {
	tick := time.NewTicker(time.Second)
	defer tick.Stop()
	var most uint64
	for {
		select {
		case <-stopped:
			return
		case <-tick.C:
		}
		var m runtime.MemStats
		runtime.ReadMemStats(&m)
		if m.HeapAlloc < most+most/10 {
			continue
		}
		most = m.HeapAlloc
		if f, err := os.Create(name); err == nil { //nolint:gosec // as above
			_ = pprof.WriteHeapProfile(f)
			_ = f.Close()
		}
	}
}
