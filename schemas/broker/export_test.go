package broker

import "github.com/nats-io/nats.go/jetstream"

// IsAstray is isAstray.
var IsAstray = isAstray

// SetAstray has another opinion of consumers from the start.
func (b *Broker) SetAstray(f func(*jetstream.ConsumerInfo, *jetstream.StreamInfo) bool) { b.astray = f }
