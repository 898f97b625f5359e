//go:build linux

package faults_test

import (
	"context"
	"fmt"
	"os"
	"testing"
	"time"

	"canter.example/schemas"
	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
)

func testCluster(t *testing.T) {
	weeks, outage := 6, form(6*time.Second, 30*time.Second)
	fault(t, "NATS cluster: a server killed, its store wiped", "three servers, --replicas 3: work goes on with two, the third catches up from nothing; nothing lost or doubled", func(t *testing.T) (string, string) {
		u := plain(t, weeks)
		r := apart(t, u.season, setup{nats: 3, args: []string{"--replicas", "3"}}).start()
		victim := r.nats[0]
		progress := 0
		during(r, u, outage, func() {
			victim.kill()
			if err := os.RemoveAll(victim.store); err != nil {
				t.Fatal(err)
			}
			progress = r.files()
		}, func() {
			if n := r.files(); n <= progress {
				t.Errorf("with one server gone history had %d files and then %d: work stood still", progress, n)
			}
			victim.start()
		})
		r.settled(3 * time.Minute)
		seen := r.sound(u)
		inSync := r.replicasInSync()
		return fmt.Sprintf("server 1 of 3 killed with work in hand, its store deleted, away for %s", outage), seen + "; " + inSync
	})
	fault(t, "NATS cluster: the leader hangs", "the others elect a new leader and work goes on; nothing lost or doubled when the old one wakes", func(t *testing.T) (string, string) {
		u := plain(t, weeks)
		r := apart(t, u.season, setup{nats: 3, args: []string{"--replicas", "3"}}).start()
		leader := r.leader(schemas.StreamInput)
		pause := 45 * time.Second
		progress := 0
		during(r, u, pause, func() {
			leader.pause()
			progress = r.files()
		}, func() {
			if n := r.files(); n <= progress {
				t.Errorf("with the leader hanging history had %d files and then %d: work stood still", progress, n)
			}
			leader.resume()
		})
		r.settled(3 * time.Minute)
		seen := r.sound(u)
		inSync := r.replicasInSync()
		return fmt.Sprintf("the server that led the archive stopped (SIGSTOP) with work in hand for %s, then let go on", pause), seen + "; " + inSync
	})
}

// files returns how many files history has.
func (r *rig) files() int {
	r.t.Helper()
	return int(number(r.ask("SELECT count(*) FROM files")[0][0]))
}

// stream asks the cluster for a stream's state.
func (r *rig) stream(name string) (*jetstream.StreamInfo, error) {
	nc, err := nats.Connect(r.broker.URL, nats.Timeout(2*time.Second))
	if err != nil {
		return nil, err
	}
	defer nc.Close()
	js, err := jetstream.New(nc)
	if err != nil {
		return nil, err
	}
	ctx, cancel := context.WithTimeout(r.t.Context(), 5*time.Second)
	defer cancel()
	s, err := js.Stream(ctx, name)
	if err != nil {
		return nil, err
	}
	return s.CachedInfo(), nil
}

func (r *rig) leader(stream string) *natsServer {
	r.t.Helper()
	info, err := r.stream(stream)
	if err != nil {
		r.t.Fatal(err)
	}
	for i, s := range r.nats {
		if info.Cluster != nil && info.Cluster.Leader == fmt.Sprint("n", i+1) {
			return s
		}
	}
	r.t.Fatalf("stream %s has no leader: %+v", stream, info.Cluster)
	return nil
}

// replicasInSync waits until every stream is whole on all three servers.
func (r *rig) replicasInSync() string {
	r.t.Helper()
	for _, name := range []string{schemas.StreamInput, schemas.StreamContent, schemas.StreamTests, schemas.StreamSquads, schemas.StreamChat, schemas.StreamKnown} {
		eventually(r.t, "stream "+name+" is whole on three servers", 2*time.Minute, func() bool {
			info, err := r.stream(name)
			if err != nil || info.Cluster == nil || len(info.Cluster.Replicas) != 2 {
				return false
			}
			for _, p := range info.Cluster.Replicas {
				if !p.Current || p.Offline {
					return false
				}
			}
			return true
		})
	}
	return "all streams whole on three servers again"
}
