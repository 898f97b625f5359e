package faults_test

import (
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"testing"
	"time"

	"canter.example/schemas"
)

// toldIn returns the alerts that a message of the outbox is the first to tell.
func toldIn(t *testing.T, says string) (ids []string) {
	t.Helper()
	var list []schemas.Saying
	if err := json.Unmarshal([]byte(says), &list); err != nil {
		t.Fatalf("says %q: %v", says, err)
	}
	for _, s := range list {
		if s.Turn == schemas.TurnTold {
			ids = append(ids, s.Alert)
		}
	}
	return ids
}

// killing drops a season's files little by little and kills a process of the
// rig so many times on the way, at random moments: before it is ready, with
// work in hand, and at rest.
func killing(r *rig, u *undisturbed, kills int, rng *rand.Rand) (byName map[string]int) {
	r.t.Helper()
	byName = map[string]int{}
	files := all(u.season)
	for i := range kills {
		upTo := len(files) * (i + 1) / kills
		for n := len(files) * i / kills; n < upTo; n++ {
			r.drop(files[n])
		}
		p := r.serves[rng.IntN(len(r.serves))]
		// Half of the times soon after a start, half of them later.
		wait := time.Duration(rng.ExpFloat64() * float64(150*time.Millisecond))
		if rng.IntN(2) == 0 {
			wait += time.Duration(rng.IntN(700)) * time.Millisecond
		}
		time.Sleep(min(wait, 3*time.Second))
		p.kill()
		byName[p.name]++
		p.start()
		for _, other := range r.serves {
			other.revive()
		}
	}
	return byName
}

func testKills(t *testing.T) {
	weeks, kills := form(6, 35), form(12, 200)
	promised := "every file has one outcome, that of an undisturbed run; every alert posted once by the chat's own record; nothing parked that should not be"
	fault(t, "kill -9, one process", promised, func(t *testing.T) (string, string) {
		u := plain(t, weeks)
		r := oneProcess(t, u.season, setup{}).start()
		killing(r, u, kills, chance(t))
		r.settled(form(3*time.Minute, 15*time.Minute))
		return fmt.Sprintf("the service (embedded broker, SQLite) killed %d times at random moments while %d files arrived; seed %d", kills, len(r.dropped), seed), r.sound(u)
	})
	fault(t, "kill -9, a process a role", promised, func(t *testing.T) (string, string) {
		u := plain(t, weeks)
		r := apart(t, u.season, setup{}).start()
		n := killing(r, u, kills, chance(t))
		r.settled(form(3*time.Minute, 15*time.Minute))
		return fmt.Sprintf("ingest killed %d, scorer %d, alerts %d times (NATS, ClickHouse) while %d files arrived; seed %d", n["ingest"], n["scorer"], n["alerts"], len(r.dropped), seed), r.sound(u)
	})
}
