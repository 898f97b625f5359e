package alerts_test

import (
	"context"
	"fmt"
	"log/slog"
	"slices"
	"strings"
	"testing"
	"time"

	"canter.example/alerts"
	"canter.example/alerts/chat/chattest"
	"canter.example/schemas"
)

// TestABusyChannelHoldsUpNoOther queues a message and two answers to it in each
// of several channels that take one message in a while.
func TestABusyChannelHoldsUpNoOther(t *testing.T) {
	st := newStage(t)
	st.startWith(150*time.Millisecond, time.Minute)
	channels := []string{"a", "b", "c", "d"}
	for _, c := range channels {
		st.chat.AddChannel(chattest.Channel{Name: c, Member: true})
		for i := range 3 {
			m := schemas.Message{ID: fmt.Sprint(c, i), Channel: c, Text: fmt.Sprint(c, i), State: schemas.MessagePending, Created: st.now.Add(time.Duration(i) * time.Millisecond)}
			if i > 0 {
				m.Thread = fmt.Sprint(c, 0)
			}
			if err := st.history.SaveMessage(t.Context(), m); err != nil {
				t.Fatal(err)
			}
			if err := st.broker.Publish(t.Context(), schemas.SubjectChat+m.ID, m.ID, schemas.ChatEvent{Message: m.ID}); err != nil {
				t.Fatal(err)
			}
		}
	}
	ctx, stop := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() { ended <- st.s.Run(ctx) }()
	log := slog.New(slog.DiscardHandler)
	for {
		idle, err := st.broker.Idle(t.Context(), alerts.WorkChat(log), alerts.WorkSquads(1, log), alerts.WorkChat(log))
		if err != nil {
			t.Fatal(err)
		}
		if idle {
			break
		}
		time.Sleep(5 * time.Millisecond)
	}
	stop()
	if err := <-ended; err != nil {
		t.Fatal(err)
	}
	var order []string
	for _, p := range st.chat.Posted() {
		order = append(order, p.ID)
		if root := p.ID[:1] + "0"; p.ID != root && p.ThreadTS == "" {
			t.Errorf("%s stands by itself", p.ID)
		}
	}
	if len(order) != 3*len(channels) {
		t.Fatalf("posted %v", order)
	}
	at := func(id string) int { return slices.Index(order, id) }
	for _, c := range channels {
		if !(at(c+"0") < at(c+"1") && at(c+"1") < at(c+"2")) {
			t.Errorf("channel %s is out of order: %s", c, strings.Join(order, " "))
		}
		if at(c+"0") > at("a1") {
			t.Errorf("%s0 waited for another channel: %s", c, strings.Join(order, " "))
		}
	}
}
