package main

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"errors"
	"fmt"
	"math/big"
	"net"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"canter.example/cmd/canter/season"
	"canter.example/schemas/broker"
	"canter.example/schemas/broker/brokertest"
	"github.com/nats-io/nats.go"
)

// rolesServer runs Debian's nats-server with deploy/nats-roles.conf as it
// stands, but for its port and paths.
type rolesServer struct {
	url, keys, ca string
}

func startRolesServer(t *testing.T) rolesServer {
	t.Helper()
	dir := t.TempDir()
	keys := filepath.Join(dir, "canter")
	if code, out, complaint := typed(t, "keys", keys); code != 0 {
		t.Fatalf("exit %d: %s%s", code, out, complaint)
	}
	if code, _, complaint := typed(t, "keys", keys); code != 0 { // again keeps them
		t.Fatalf("exit %d: %s", code, complaint)
	}
	ca := certificate(t, keys)
	conf, err := os.ReadFile(filepath.Join("..", "..", "deploy", "nats-roles.conf"))
	if err != nil {
		t.Fatal(err)
	}
	port := brokertest.FreePort(t)
	text := string(conf)
	for was, is := range map[string]string{
		"listen: 0.0.0.0:4222":       fmt.Sprintf("listen: 127.0.0.1:%d", port),
		"http: 127.0.0.1:8222\n":     "",
		"/etc/nats/canter/":          keys + "/",
		"store_dir: /var/lib/nats\n": fmt.Sprintf("store_dir: %q\n", filepath.Join(dir, "js")),
	} {
		if !strings.Contains(text, was) {
			t.Fatalf("deploy/nats-roles.conf has no %q", was)
		}
		text = strings.ReplaceAll(text, was, is)
	}
	name := filepath.Join(dir, "nats-roles.conf")
	if err := os.WriteFile(name, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	brokertest.Server(t, name, port)
	return rolesServer{url: fmt.Sprintf("tls://127.0.0.1:%d", port), keys: keys, ca: ca}
}

// certificate makes the server's certificate for loopback, which is its own
// authority, and returns its file.
func certificate(t *testing.T, dir string) string {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	template := &x509.Certificate{
		SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: "broker of the test"},
		NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(time.Hour),
		IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)}, IsCA: true, BasicConstraintsValid: true,
		KeyUsage: x509.KeyUsageDigitalSignature | x509.KeyUsageCertSign,
	}
	der, err := x509.CreateCertificate(rand.Reader, template, template, &key.PublicKey, key)
	if err != nil {
		t.Fatal(err)
	}
	secret, err := x509.MarshalECPrivateKey(key)
	if err != nil {
		t.Fatal(err)
	}
	for name, block := range map[string]*pem.Block{
		"server.pem":     {Type: "CERTIFICATE", Bytes: der},
		"server-key.pem": {Type: "EC PRIVATE KEY", Bytes: secret},
	} {
		if err := os.WriteFile(filepath.Join(dir, name), pem.EncodeToMemory(block), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	return filepath.Join(dir, "server.pem")
}

func (s rolesServer) flags(who string) []string {
	return []string{"--nats", s.url, "--nats-key", filepath.Join(s.keys, who+".nk"), "--nats-ca", s.ca}
}

// TestEachRoleDoesItsWorkWithAnAccountThatMayDoNoOther: the whole way from
// folder to message over TLS, each role with its own key; then what each key
// must not open.
func TestEachRoleDoesItsWorkWithAnAccountThatMayDoNoOther(t *testing.T) {
	s, err := season.New(season.Options{Weeks: 6})
	if err != nil {
		t.Fatal(err)
	}
	server := startRolesServer(t)
	dir, clubFile := clubDir(t, s)
	address := filepath.Join(dir, "history.db")
	var processes []*process
	for _, r := range []string{"ingest", "scorer", "alerts"} {
		args := append([]string{"--club", clubFile, "--history", address, "--roles", r}, server.flags(r)...)
		processes = append(processes, serve(t, args...))
	}
	at := fmt.Sprintf("127.0.0.1:%d", brokertest.FreePort(t))
	processes = append(processes, serve(t, append([]string{"--club", clubFile, "--history", address, "--roles", "page", "--page", at}, server.flags("page")...)...))
	n := 0
	for _, day := range s.Days {
		drop(t, dir, day.Files...)
		n += len(day.Files)
	}
	staff := broker.Config{URL: server.url, NKey: filepath.Join(server.keys, "staff.nk"), CA: server.ca, Role: staffRole}
	processes[1].handled(address, staff, n)
	processes[2].eventually("told", func() bool { return strings.Contains(processes[2].out.String(), "medical") })
	test := answer(t, address, "SELECT test_id FROM tests WHERE quality = 'good' ORDER BY start_ms LIMIT 1")[0]
	longer := strings.Replace(readFile(t, clubFile), "\nprivacy:\n", "\nprivacy:\n  keep_files: 4000d\n", 1)
	if err := os.WriteFile(clubFile, []byte(longer), 0o600); err != nil {
		t.Fatal(err)
	}
	code, out, complaint := typed(t, append([]string{"prepare", "--club", clubFile, "--history", address}, server.flags("staff")...)...)
	if code != 0 {
		t.Errorf("prepare: exit %d: %s%s", code, out, complaint)
	}
	code, out, complaint = typed(t, append([]string{"tests", "exclude", test, "--why", "strap slipped", "--history", address}, server.flags("staff")...)...)
	if code != 0 || answer(t, address, "SELECT staff FROM tests WHERE test_id = '"+test+"'")[0] != "excluded" {
		t.Errorf("staff's correction: exit %d: %s%s", code, out, complaint)
	}
	v := newVisitor(t, "http://"+at)
	if body := v.want(200, "the page tries a moved start", "GET", "/test/try?action=start&shift=3&id="+test, nil); !strings.Contains(body, "set by hand") {
		t.Errorf("the page's preview reads %.400s", body)
	}
	v.want(303, "the page corrects", "POST", "/test/change", url.Values{"id": {test}, "action": {"restore"}, "who": {"Anna"}, "why": {"it was not"}})
	if got := answer(t, address, "SELECT staff FROM tests WHERE test_id = '"+test+"'")[0]; got != "" {
		t.Errorf("corrected on the page, staff's word is %q", got)
	}
	for _, p := range processes {
		if code, body := p.page("/readyz"); code != 200 {
			t.Errorf("not ready: %s", body) // a refusal would show here
		}
		p.stop()
	}
	t.Run("what keys must not open", func(t *testing.T) { server.mustRefuse(t) })
}

func readFile(t *testing.T, name string) string {
	t.Helper()
	b, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

func (s rolesServer) mustRefuse(t *testing.T) {
	file := "$JS.API.STREAM.MSG.GET.CANTER_CONTENT"
	for _, c := range []struct{ who, does, subject string }{
		{"ingest", "read a file of the archive", file},
		{"ingest", "read a file of the archive directly", "$JS.API.DIRECT.GET.CANTER_CONTENT.canter.content.x"},
		{"ingest", "read which files there are", "$JS.API.STREAM.MSG.GET.CANTER_INPUT"},
		{"ingest", "consume files", "$JS.API.CONSUMER.CREATE.CANTER_INPUT.mine"},
		{"ingest", "correct a test", "canter.correction.x"},
		{"ingest", "tell of a test", "canter.test.x"},
		{"scorer", "send a message", "canter.chat.x"},
		{"scorer", "put in a file", "canter.file.x"},
		{"scorer", "put in a file's content", "canter.content.x"},
		{"scorer", "delete the archive", "$JS.API.STREAM.DELETE.CANTER_CONTENT"},
		{"scorer", "empty the archive", "$JS.API.STREAM.PURGE.CANTER_CONTENT"},
		{"scorer", "shorten the archive", "$JS.API.STREAM.UPDATE.CANTER_CONTENT"},
		{"scorer", "read messages to staff", "$JS.API.STREAM.MSG.GET.CANTER_CHAT"},
		{"alerts", "read a file of the archive", file},
		{"alerts", "make itself a consumer of files", "$JS.API.CONSUMER.CREATE.CANTER_INPUT.mine"},
		{"alerts", "steal the scorer's work", "$JS.API.CONSUMER.MSG.NEXT.CANTER_INPUT.scorer"},
		{"page", "consume files", "$JS.API.CONSUMER.CREATE.CANTER_INPUT.mine"},
		{"page", "delete a file of the archive", "$JS.API.STREAM.MSG.DELETE.CANTER_CONTENT"},
		{"page", "send a message", "canter.chat.x"},
		{"page", "read messages to staff", "$JS.API.STREAM.MSG.GET.CANTER_CHAT"},
		{"staff", "delete a stream", "$JS.API.STREAM.DELETE.CANTER_INPUT"},
		{"staff", "put in a file", "canter.file.x"},
	} {
		t.Run(c.who+" may not "+c.does, func(t *testing.T) {
			nc, refused := s.connect(t, c.who)
			if err := nc.PublishMsg(&nats.Msg{Subject: c.subject, Data: []byte("{}")}); err != nil {
				t.Fatal(err)
			}
			wantRefusal(t, nc, refused)
		})
	}
	for who, subject := range map[string]string{
		"ingest": "canter.>", "scorer": "_INBOX.canter-alerts.>", "alerts": "_INBOX.>", "staff": ">",
	} {
		t.Run(who+" may not listen to "+subject, func(t *testing.T) {
			nc, refused := s.connect(t, who)
			if _, err := nc.SubscribeSync(subject); err != nil {
				t.Fatal(err)
			}
			wantRefusal(t, nc, refused)
		})
	}
	t.Run("nobody comes in without a key", func(t *testing.T) {
		if _, err := nats.Connect(s.url, nats.RootCAs(s.ca)); !errors.Is(err, nats.ErrAuthorization) {
			t.Errorf("connected without a key: %v", err)
		}
	})
	t.Run("nobody comes in without TLS, or trusts any server", func(t *testing.T) {
		key, err := nats.NkeyOptionFromSeed(filepath.Join(s.keys, "staff.nk"))
		if err != nil {
			t.Fatal(err)
		}
		if _, err := nats.Connect(s.url, key); err == nil {
			t.Error("took a certificate of an authority that is not trusted")
		}
	})
}

func (s rolesServer) connect(t *testing.T, who string) (*nats.Conn, chan error) {
	t.Helper()
	key, err := nats.NkeyOptionFromSeed(filepath.Join(s.keys, who+".nk"))
	if err != nil {
		t.Fatal(err)
	}
	refused := make(chan error, 8)
	nc, err := nats.Connect(s.url, key, nats.RootCAs(s.ca), nats.ErrorHandler(func(_ *nats.Conn, _ *nats.Subscription, err error) {
		refused <- err
	}))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(nc.Close)
	return nc, refused
}

func wantRefusal(t *testing.T, nc *nats.Conn, refused chan error) {
	t.Helper()
	if err := nc.Flush(); err != nil {
		t.Fatal(err)
	}
	select {
	case err := <-refused:
		if !errors.Is(err, nats.ErrPermissionViolation) {
			t.Error(err)
		}
	case <-time.After(5 * time.Second):
		t.Error("the server allowed it")
	}
}
