package broker

import (
	"context"
	"errors"
	"fmt"
	"time"

	"canter.example/schemas"
	"github.com/klauspost/compress/zstd"
	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
)

// maxPayload of the embedded server: a file travels as one message.
const maxPayload = 8 << 20

// Config says which broker to use.
type Config struct {
	// URL of an external broker; "" runs the embedded one.
	URL string
	// Token, when the broker asks for one.
	Token string
	// Credentials is a NATS credentials file, "" for none.
	Credentials string
	// Dir is the data folder of the embedded broker.
	Dir string
	// Listen is the embedded broker's address; "" is loopback, a free port.
	Listen string
	// KeepFiles is how long the archive keeps files; 0 = for good.
	KeepFiles time.Duration
	// Replicas of each stream; 0 = 1.
	Replicas int
	// Join takes the streams as they are and fails when they are not there:
	// for commands, which know less than the service that made them.
	Join bool
}

// Broker is a connection to JetStream with canter's streams in place. Its
// methods may be called from several goroutines.
type Broker struct {
	nc      *nats.Conn
	js      jetstream.JetStream
	server  *embedded // nil with an external broker
	zip     *zstd.Encoder
	unzip   *zstd.Decoder
	created map[string]time.Time // birth of each stream, for versions
}

// Open connects to the broker of cfg, starting the embedded one if no URL is
// given, and makes or updates the streams. Errors: [ErrInUse] when the data
// folder belongs to another process.
func Open(ctx context.Context, cfg Config) (_ *Broker, err error) {
	b := &Broker{created: map[string]time.Time{}}
	defer func() {
		if err != nil {
			b.Close()
		}
	}()
	if cfg.URL == "" {
		if b.server, err = startEmbedded(ctx, cfg.Dir, cfg.Listen); err != nil {
			return nil, err
		}
		cfg.URL, cfg.Token = b.server.addr.URL, b.server.addr.Token
	}
	if b.nc, err = nats.Connect(cfg.URL, connectOptions(cfg)...); err != nil {
		return nil, fmt.Errorf("broker: connect to %s: %w", redacted(cfg.URL), err)
	}
	if b.js, err = jetstream.New(b.nc, jetstream.WithPublishAsyncMaxPending(256)); err != nil {
		return nil, fmt.Errorf("broker: %w", err)
	}
	if b.zip, err = zstd.NewWriter(nil, zstd.WithEncoderLevel(zstd.SpeedFastest)); err != nil {
		return nil, fmt.Errorf("broker: %w", err)
	}
	if b.unzip, err = zstd.NewReader(nil, zstd.WithDecoderConcurrency(0)); err != nil {
		return nil, fmt.Errorf("broker: %w", err)
	}
	return b, b.declareStreams(ctx, cfg)
}

// Probe connects to an external broker and asks for JetStream, making nothing.
// It returns the address for people.
func Probe(ctx context.Context, cfg Config) (string, error) {
	nc, err := nats.Connect(cfg.URL, connectOptions(cfg)...)
	if err != nil {
		return "", fmt.Errorf("broker: connect to %s: %w", redacted(cfg.URL), err)
	}
	defer nc.Close()
	js, err := jetstream.New(nc)
	if err != nil {
		return "", fmt.Errorf("broker: %w", err)
	}
	if _, err := js.AccountInfo(ctx); err != nil {
		return "", fmt.Errorf("broker: JetStream at %s: %w: turn it on in the server's configuration", redacted(cfg.URL), err)
	}
	return redacted(nc.ConnectedUrl()), nil
}

func connectOptions(cfg Config) []nats.Option {
	opts := []nats.Option{
		nats.Name("canter"),
		nats.MaxReconnects(-1),
		nats.ReconnectWait(250 * time.Millisecond),
		nats.ReconnectJitter(250*time.Millisecond, time.Second),
		nats.Timeout(5 * time.Second),
	}
	if cfg.Token != "" {
		opts = append(opts, nats.Token(cfg.Token))
	}
	if cfg.Credentials != "" {
		opts = append(opts, nats.UserCredentials(cfg.Credentials))
	}
	return opts
}

func (b *Broker) declareStreams(ctx context.Context, cfg Config) error {
	replicas := max(cfg.Replicas, 1)
	for _, c := range []jetstream.StreamConfig{
		{
			Name:        schemas.StreamInput,
			Description: "files as they were found, and all else that makes the scorer work",
			Subjects:    []string{schemas.SubjectFile + "*", schemas.SubjectOrigin + "*.*", schemas.SubjectRescore + "*", schemas.SubjectCorrection + "*"},
			MaxAge:      cfg.KeepFiles,
		},
		{
			Name:        schemas.StreamTests,
			Description: "what the scorer did, for the alerts stage",
			Subjects:    []string{schemas.SubjectTest + "*", schemas.SubjectParked + "*", schemas.SubjectNote + "*"},
			MaxAge:      30 * 24 * time.Hour,
		},
		{
			Name:        schemas.StreamChat,
			Description: "messages of the outbox that wait to be sent",
			Subjects:    []string{schemas.SubjectChat + "*"},
			MaxAge:      30 * 24 * time.Hour,
		},
		{
			Name:              schemas.StreamSquads,
			Description:       "squads whose sessions are to be gone through again, one message each",
			Subjects:          []string{schemas.SubjectSquad + "*"},
			Retention:         jetstream.WorkQueuePolicy,
			MaxMsgsPerSubject: 1,
		},
	} {
		c.Storage, c.Replicas, c.Duplicates = jetstream.FileStorage, replicas, 2*time.Minute
		if c.MaxAge > 0 {
			c.Duplicates = min(c.Duplicates, c.MaxAge)
		}
		s, err := b.stream(ctx, c, cfg.Join)
		if err != nil {
			return fmt.Errorf("broker: stream %s (is JetStream on, is the account allowed to, has canter serve run here?): %w", c.Name, err)
		}
		b.created[c.Name] = s.CachedInfo().Created
	}
	return nil
}

func (b *Broker) stream(ctx context.Context, c jetstream.StreamConfig, join bool) (jetstream.Stream, error) {
	if join {
		return b.js.Stream(ctx, c.Name)
	}
	return b.js.CreateOrUpdateStream(ctx, c)
}

// Close ends the connection and stops the embedded server. Consumers must
// have returned before.
func (b *Broker) Close() {
	if b.nc != nil {
		b.nc.Close()
	}
	if b.server != nil {
		b.server.close()
	}
	if b.zip != nil {
		_ = b.zip.Close()
	}
	if b.unzip != nil {
		b.unzip.Close()
	}
}

// URL returns the broker's address for people, without secrets.
func (b *Broker) URL() string { return redacted(b.nc.ConnectedUrl()) }

// Health returns nil when the broker answers and its streams can be read.
func (b *Broker) Health(ctx context.Context) error {
	if !b.nc.IsConnected() {
		return errors.New("broker: not connected")
	}
	for name := range b.created {
		if _, err := b.js.Stream(ctx, name); err != nil {
			return fmt.Errorf("broker: stream %s: %w", name, err)
		}
	}
	return nil
}

// Publish stores an event on subject. The same id within two minutes is
// stored once; beyond that, handlers must be able to meet it twice.
func (b *Broker) Publish(ctx context.Context, subject, id string, event any) error {
	body, err := schemas.EncodeEvent(event)
	if err != nil {
		return err
	}
	if _, err := b.js.Publish(ctx, subject, body, jetstream.WithMsgID(id)); err != nil {
		return fmt.Errorf("broker: publish on %s: %w", subject, err)
	}
	return nil
}

// PublishOnce stores an event on a subject that holds one message for good.
// known is true when it was there already.
func (b *Broker) PublishOnce(ctx context.Context, subject string, event any) (known bool, err error) {
	body, err := schemas.EncodeEvent(event)
	if err != nil {
		return false, err
	}
	_, err = b.js.Publish(ctx, subject, body, jetstream.WithExpectLastSequencePerSubject(0))
	if isWrongLastSequence(err) {
		return true, nil
	}
	if err != nil {
		return false, fmt.Errorf("broker: publish on %s: %w", subject, err)
	}
	return false, nil
}

// redacted takes user and password out of a URL.
func redacted(url string) string {
	r, err := parseURL(url)
	if err != nil {
		return "(address that can't be read)"
	}
	return r
}
