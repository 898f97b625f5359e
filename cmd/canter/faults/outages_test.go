//go:build linux

package faults_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"canter.example/alerts/chat/chattest"
)

// during drops a season's first third, breaks something, drops the second
// third, waits, mends it and drops the rest.
func during(r *rig, u *undisturbed, outage time.Duration, down, up func()) {
	r.t.Helper()
	files := all(u.season)
	third := len(files) / 3
	r.drop(files[:third]...)
	time.Sleep(300 * time.Millisecond) // with work in hand
	down()
	r.drop(files[third : 2*third]...)
	time.Sleep(outage)
	up()
	r.drop(files[2*third:]...)
}

const nothingLost = "work goes on by itself when it is back; nothing lost, doubled or wrongly parked, nobody told twice"

func testOutages(t *testing.T) {
	// Two minutes and more: longer than the broker knows a message's id.
	weeks, outage := 6, form(8*time.Second, 150*time.Second)
	fault(t, "broker down and back", nothingLost+"; not ready meanwhile", func(t *testing.T) (string, string) {
		u := plain(t, weeks)
		r := apart(t, u.season, setup{}).start()
		during(r, u, outage, r.nats[0].kill, func() {
			r.notReady("broker")
			r.nats[0].start()
		})
		r.settled(3*time.Minute + outage)
		r.noRestarts()
		return fmt.Sprintf("nats-server killed with work in hand, away for %s, started again on its store", outage), r.sound(u)
	})
	fault(t, "history down and back", nothingLost+"; not ready meanwhile", func(t *testing.T) (string, string) {
		u := plain(t, weeks)
		r := apart(t, u.season, setup{}).start()
		during(r, u, outage, func() {
			if err := r.click.Kill(); err != nil {
				t.Fatal(err)
			}
		}, func() {
			r.notReady("history")
			if err := r.click.Start(); err != nil {
				t.Fatal(err)
			}
		})
		r.settled(3*time.Minute + outage)
		r.noRestarts()
		return fmt.Sprintf("clickhouse-server killed with work in hand, away for %s", outage), r.sound(u)
	})
	for _, f := range []struct {
		name, done string
		faults     []chattest.Fault
		options    chattest.Options
	}{
		{name: "chat down and back", done: "every call cut for %s", faults: []chattest.Fault{{Drop: true, Times: -1}}},
		{name: "chat fails after it has posted", done: "for %s it kept each message and answered with status 500", faults: []chattest.Fault{{Method: "chat.postMessage", Kept: true, Times: -1}}},
		{name: "chat hangs", done: "no call answered for %s", faults: []chattest.Fault{{Hang: true, Times: -1}}},
		{name: "chat limits", done: "one message a second a channel, status 429 with Retry-After for those too early, all calls refused so for %s", faults: []chattest.Fault{{RetryAfter: 2 * time.Second, Times: -1}}, options: chattest.Options{Pace: time.Second}},
	} {
		outage := outage
		if f.name != "chat down and back" {
			outage = form(outage, 40*time.Second) // longer than it waits for an answer
		}
		fault(t, f.name, "results are stored meanwhile; each message is in the chat once when it is back", func(t *testing.T) (string, string) {
			u := plain(t, weeks)
			r := oneProcess(t, u.season, setup{chat: f.options}).start()
			r.chat.Fail(f.faults...)
			during(r, u, outage, func() {}, func() {
				if strings.HasSuffix(f.name, "hangs") {
					r.chat.Mend()
					time.Sleep(100 * time.Millisecond)
				}
				r.chat.Mend()
				if n := r.chat.Calls("chat.postMessage"); n == 0 {
					t.Error("nobody tried to post meanwhile")
				}
			})
			r.settled(4*time.Minute + outage)
			r.noRestarts()
			return fmt.Sprintf(f.done, outage), r.sound(u)
		})
	}
}

// notReady wants a process that says it can't do its work, and why.
func (r *rig) notReady(why string) {
	r.t.Helper()
	for _, p := range r.serves {
		if code, body := p.get("/readyz"); code == 503 && strings.Contains(body, why) {
			return
		}
	}
	r.t.Errorf("no process says that it is not ready because of %s", why)
}

// noRestarts wants every process to be the one that was started first.
func (r *rig) noRestarts() {
	r.t.Helper()
	for _, p := range r.serves {
		if n := p.starts; n != 1 {
			r.t.Errorf("%s was started %d times", p.name, n)
		}
	}
}
