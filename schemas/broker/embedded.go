package broker

import (
	"context"
	"crypto/rand"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"net"
	"os"
	"path/filepath"
	"time"

	"github.com/nats-io/nats-server/v2/server"
)

// addressFile, in the data folder, tells other canter commands on this
// machine how to reach the embedded broker. It holds a secret and is readable
// by its owner only.
const addressFile = "broker.json"

// Address is where an embedded broker listens and the token it asks for.
type Address struct {
	URL   string `json:"url"`
	Token string `json:"token"`
}

// embedded is a nats-server in this process.
type embedded struct {
	srv    *server.Server
	addr   Address
	dir    string
	unlock func()
}

// syncInterval is how often the file store is flushed to disk. What a power
// loss can take of the last second is found again: files by the rescan of
// their folders, the rest by reassessment. The server's own default is 2 min.
const syncInterval = time.Second

func startEmbedded(ctx context.Context, dir, listen string) (_ *embedded, err error) {
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return nil, fmt.Errorf("broker: make data folder: %w", err)
	}
	unlock, err := lockDir(dir)
	if err != nil {
		return nil, fmt.Errorf("broker: %s: %w", dir, err)
	}
	defer func() {
		if err != nil {
			unlock()
		}
	}()
	host, port, err := splitListen(listen)
	if err != nil {
		return nil, err
	}
	token, err := newToken()
	if err != nil {
		return nil, err
	}
	srv, err := server.NewServer(&server.Options{
		ServerName:    "canter-embedded",
		Host:          host,
		Port:          port,
		Authorization: token,
		JetStream:     true,
		StoreDir:      filepath.Join(dir, "broker"),
		SyncInterval:  syncInterval,
		MaxPayload:    maxPayload,
		NoSigs:        true,
		NoLog:         true,
	})
	if err != nil {
		return nil, fmt.Errorf("broker: set up embedded server: %w", err)
	}
	srv.Start()
	if err := waitReady(ctx, srv); err != nil {
		srv.Shutdown()
		return nil, err
	}
	e := &embedded{srv: srv, dir: dir, unlock: unlock, addr: Address{URL: srv.ClientURL(), Token: token}}
	if err := e.writeAddress(); err != nil {
		srv.Shutdown()
		return nil, err
	}
	return e, nil
}

func waitReady(ctx context.Context, srv *server.Server) error {
	for range 1000 {
		if srv.ReadyForConnections(10 * time.Millisecond) {
			return nil
		}
		if err := ctx.Err(); err != nil {
			return fmt.Errorf("broker: embedded server not ready: %w", err)
		}
		if !srv.Running() {
			break
		}
	}
	return errors.New("broker: embedded server did not start: is its port taken, or its folder not writable?")
}

// close stops the server after its file store is flushed.
func (e *embedded) close() {
	// The address goes first, so that no command finds a broker that is leaving.
	_ = os.Remove(filepath.Join(e.dir, addressFile))
	e.srv.Shutdown()
	e.srv.WaitForShutdown()
	e.unlock()
}

func (e *embedded) writeAddress() error {
	b, err := json.Marshal(e.addr)
	if err != nil {
		return err
	}
	name := filepath.Join(e.dir, addressFile)
	if err := os.WriteFile(name, b, 0o600); err != nil {
		return fmt.Errorf("broker: write %s: %w", name, err)
	}
	return nil
}

// Running returns the address of the embedded broker that another process
// runs on dir, and whether there is one.
func Running(dir string) (Address, bool) {
	b, err := os.ReadFile(filepath.Join(dir, addressFile))
	if err != nil {
		return Address{}, false
	}
	var a Address
	if json.Unmarshal(b, &a) != nil || a.URL == "" {
		return Address{}, false
	}
	// A killed process leaves its address behind; the lock tells.
	unlock, err := lockDir(dir)
	if err == nil {
		unlock()
		return Address{}, false
	}
	return a, errors.Is(err, ErrInUse)
}

func splitListen(listen string) (host string, port int, err error) {
	if listen == "" {
		return "127.0.0.1", server.RANDOM_PORT, nil
	}
	h, p, err := net.SplitHostPort(listen)
	if err != nil {
		return "", 0, fmt.Errorf("broker: listen address %q: want host:port: %w", listen, err)
	}
	n, err := net.LookupPort("tcp", p)
	if err != nil {
		return "", 0, fmt.Errorf("broker: listen address %q: %w", listen, err)
	}
	if n == 0 {
		n = server.RANDOM_PORT
	}
	return h, n, nil
}

func newToken() (string, error) {
	b := make([]byte, 16)
	if _, err := rand.Read(b); err != nil {
		return "", fmt.Errorf("broker: make token: %w", err)
	}
	return hex.EncodeToString(b), nil
}
