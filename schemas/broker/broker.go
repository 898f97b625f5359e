package broker

import (
	"context"
	"errors"
	"fmt"
	"net/url"
	"sync"
	"sync/atomic"
	"time"

	"canter.example/schemas"
	"github.com/klauspost/compress/zstd"
	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
)

// maxPayload of the embedded server: a file travels as one message.
const maxPayload = 8 << 20

// zipWindow is how far back compression looks. A recording repeats itself within
// seconds; the library's own window of 4 MiB takes 8 a core.
const zipWindow = 512 << 10

// Config says which broker to use.
type Config struct {
	// URL of an external broker; "" runs the embedded one.
	URL string
	// Token, when the broker asks for one.
	Token string
	// Credentials is a NATS credentials file, "" for none.
	Credentials string
	// NKey is a file with the seed of a NATS key pair, "" for none.
	NKey string
	// CA is a file of certificates to trust beside the system's, "" for none.
	CA string
	// Role names this connection in the server's lists, and its reply subjects,
	// so that a server can keep roles from reading each other's answers; "" for
	// a connection with the library's own.
	Role string
	// Dir is the data folder of the embedded broker.
	Dir string
	// Listen is the embedded broker's address; "" is loopback, a free port.
	Listen string
	// KeepFiles is how long the archive keeps files; 0 = for good.
	KeepFiles time.Duration
	// Replicas of each stream, on a cluster; 0 leaves a stream as it is, and
	// makes a new one with 1.
	Replicas int
	// AckWait is how long the broker waits for word of work in hand before it
	// gives it to somebody else; 0 = 30 s.
	AckWait time.Duration
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
	streams map[string]jetstream.Stream
	ackWait time.Duration
	// astray judges a consumer, see [isAstray]; tests have another opinion.
	astray  func(*jetstream.ConsumerInfo, *jetstream.StreamInfo) bool
	refused *refusal
	pulse   pulse

	// handing is whether files are handed over: this process scores what it finds,
	// and the broker is embedded. One elsewhere gives most of them to others.
	handover *handover
	handing  atomic.Bool

	// gatherings are what Gather gathers, by subject: *gathering.
	gatherings sync.Map

	// consumed are the durables that this process works on; see takeBack.
	first    sync.Mutex
	consumed map[string]bool
}

// refusal keeps the last thing that the server did not allow: what was asked
// for gets no answer then, and its time running out says nothing.
type refusal struct {
	mu  sync.Mutex
	err error
	at  time.Time
}

// recently is how long a refusal is worth mentioning.
const recently = time.Minute

func (r *refusal) note(_ *nats.Conn, _ *nats.Subscription, err error) {
	if !errors.Is(err, nats.ErrPermissionViolation) {
		return // the library goes on by itself; what fails for good is returned elsewhere
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	r.err, r.at = fmt.Errorf("broker: the account may not do this: %w", err), time.Now()
}

// last returns the refusal of the last minute, nil when there was none.
func (r *refusal) last() error {
	r.mu.Lock()
	defer r.mu.Unlock()
	if time.Since(r.at) > recently {
		return nil
	}
	return r.err
}

// Open connects to the broker of cfg, starting the embedded one if no URL is
// given, and makes or updates the streams. Errors: [ErrInUse] when the data
// folder belongs to another process.
func Open(ctx context.Context, cfg Config) (_ *Broker, err error) {
	b := &Broker{created: map[string]time.Time{}, streams: map[string]jetstream.Stream{}, consumed: map[string]bool{}, refused: &refusal{}, ackWait: cfg.AckWait, astray: isAstray,
		handover: newHandover()}
	if b.ackWait <= 0 {
		b.ackWait = defaultAckWait
	}
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
	more := []nats.Option{nats.ErrorHandler(b.refused.note)}
	if b.server != nil {
		more = append(more, nats.InProcessServer(b.server.srv)) // other processes come by its address
	}
	if b.nc, err = connect(cfg, more...); err != nil {
		return nil, err
	}
	if b.js, err = jetstream.New(b.nc, jetstream.WithPublishAsyncMaxPending(256)); err != nil {
		return nil, fmt.Errorf("broker: %w", err)
	}
	if b.zip, err = zstd.NewWriter(nil, zstd.WithEncoderLevel(zstd.SpeedFastest), zstd.WithWindowSize(zipWindow),
		zstd.WithEncoderCRC(false)); err != nil {
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
	nc, err := connect(cfg)
	if err != nil {
		return "", err
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

func connect(cfg Config, more ...nats.Option) (*nats.Conn, error) {
	opts, err := connectOptions(cfg)
	if err != nil {
		return nil, err
	}
	nc, err := nats.Connect(cfg.URL, append(opts, more...)...)
	if bad, ok := errors.AsType[*url.Error](err); ok {
		err = bad.Err // its text holds the whole address, with the password
	}
	if err != nil {
		return nil, fmt.Errorf("broker: connect to %s: %w", redacted(cfg.URL), err)
	}
	return nc, nil
}

func connectOptions(cfg Config) ([]nats.Option, error) {
	opts := []nats.Option{
		nats.MaxReconnects(-1),
		nats.ReconnectWait(250 * time.Millisecond),
		nats.ReconnectJitter(250*time.Millisecond, time.Second),
		nats.Timeout(5 * time.Second),
		// A server that hangs, or a network that swallows all, is left for
		// another after half a minute; the library's own is six.
		nats.PingInterval(10 * time.Second),
		nats.MaxPingsOutstanding(2),
	}
	if cfg.Token != "" {
		opts = append(opts, nats.Token(cfg.Token))
	}
	if cfg.Credentials != "" {
		opts = append(opts, nats.UserCredentials(cfg.Credentials))
	}
	if cfg.NKey != "" {
		key, err := nats.NkeyOptionFromSeed(cfg.NKey)
		if err != nil {
			return nil, fmt.Errorf("broker: key file %s: %w", cfg.NKey, err)
		}
		opts = append(opts, key)
	}
	if cfg.CA != "" {
		opts = append(opts, nats.RootCAs(cfg.CA))
	}
	name := "canter"
	if cfg.Role != "" {
		name += "-" + cfg.Role
		opts = append(opts, nats.CustomInboxPrefix("_INBOX."+name))
	}
	return append(opts, nats.Name(name)), nil
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

// Health returns nil when the broker answers, its streams can be read, and it
// refused nothing of late and stores what it is given.
func (b *Broker) Health(ctx context.Context) error {
	if !b.nc.IsConnected() {
		return errors.New("broker: not connected")
	}
	for name := range b.created {
		if _, err := b.js.Stream(ctx, name); err != nil {
			return fmt.Errorf("broker: stream %s: %w", name, err)
		}
	}
	return errors.Join(b.refused.last(), b.pulse.failing(stuckAfter))
}

// Publish stores an event on subject. The same id within two minutes is
// stored once; beyond that, handlers must be able to meet it twice. Without an
// id it is stored whatever came before.
func (b *Broker) Publish(ctx context.Context, subject, id string, event any) error {
	body, err := schemas.EncodeEvent(event)
	if err != nil {
		return err
	}
	var opts []jetstream.PublishOpt
	if id != "" {
		opts = append(opts, jetstream.WithMsgID(id))
	}
	_, err = b.js.Publish(ctx, subject, body, opts...)
	b.pulse.note(ctx, b.nc, err)
	if err != nil {
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
	b.pulse.note(ctx, b.nc, err)
	if isWrongLastSequence(err) {
		return true, nil
	}
	if err != nil {
		return false, fmt.Errorf("broker: publish on %s: %w", subject, err)
	}
	return false, nil
}

// redacted takes user and password out of a URL.
func redacted(address string) string {
	r, err := parseURL(address)
	if err != nil {
		return "(address that can't be read)"
	}
	return r
}
