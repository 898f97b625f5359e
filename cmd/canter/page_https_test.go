package main

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/sha256"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/base64"
	"encoding/pem"
	"fmt"
	"math/big"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"canter.example/cmd/canter/page"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/chromedp"
)

// clubHost is a name of the page that no name server knows; the test's browser
// is told that it is here.
const clubHost = "canter.club.test"

// authority is a club's own certificate authority and a certificate of it.
type authority struct {
	certFile, keyFile string
	pool              *x509.CertPool
	// pin is the hash of the authority's key, by which a browser is told to
	// trust it and nobody else.
	pin string
}

func newAuthority(t *testing.T) authority {
	t.Helper()
	made := func(serial int64, name string, parent *x509.Certificate, signer *ecdsa.PrivateKey) ([]byte, *x509.Certificate, *ecdsa.PrivateKey) {
		key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
		if err != nil {
			t.Fatal(err)
		}
		c := &x509.Certificate{
			SerialNumber: big.NewInt(serial), Subject: pkix.Name{CommonName: name}, NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(24 * time.Hour),
			IsCA: parent == nil, BasicConstraintsValid: true, KeyUsage: x509.KeyUsageDigitalSignature,
		}
		if parent == nil {
			c.KeyUsage, parent, signer = x509.KeyUsageCertSign, c, key
		} else {
			c.DNSNames, c.ExtKeyUsage = []string{name}, []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth}
		}
		der, err := x509.CreateCertificate(rand.Reader, c, parent, &key.PublicKey, signer)
		if err != nil {
			t.Fatal(err)
		}
		parsed, err := x509.ParseCertificate(der)
		if err != nil {
			t.Fatal(err)
		}
		return der, parsed, key
	}
	rootDER, root, rootKey := made(1, "Brindlemere Athletic, invented", nil, nil)
	leafDER, _, leafKey := made(2, clubHost, root, rootKey)
	keyDER, err := x509.MarshalECPrivateKey(leafKey)
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	a := authority{certFile: filepath.Join(dir, "page.crt"), keyFile: filepath.Join(dir, "page.key"), pool: x509.NewCertPool()}
	a.pool.AddCert(root)
	hash := sha256.Sum256(root.RawSubjectPublicKeyInfo)
	a.pin = base64.StdEncoding.EncodeToString(hash[:])
	chain := append(pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: leafDER}), pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: rootDER})...)
	for name, content := range map[string][]byte{a.certFile: chain, a.keyFile: pem.EncodeToMemory(&pem.Block{Type: "EC PRIVATE KEY", Bytes: keyDER})} {
		if err := os.WriteFile(name, content, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	return a
}

// TestThePageOverHTTPS: with a certificate of the club's own authority, reached
// by its name, signed in to and used in a browser that trusts the authority.
func TestThePageOverHTTPS(t *testing.T) {
	const password = "three words from a hat"
	ca := newAuthority(t)
	usersFile := filepath.Join(t.TempDir(), "users")
	line, err := page.UserLine("anna", page.MayCorrect, password)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(usersFile, []byte(line), 0o600); err != nil {
		t.Fatal(err)
	}
	plain, dir, p := withPage(t, func(yaml string) string {
		return yaml + fmt.Sprintf("\npage:\n  users_file: %s\n  hosts: [%s]\n  cert_file: %s\n  key_file: %s\n", usersFile, clubHost, ca.certFile, ca.keyFile)
	})
	at, err := url.Parse(plain)
	if err != nil {
		t.Fatal(err)
	}
	origin := "https://" + clubHost + ":" + at.Port()
	test := testOf(t, dir, "ODL", "2026-10-27")
	atHome := chromedp.Flag("host-resolver-rules", "MAP "+clubHost+" 127.0.0.1")

	stranger := newBrowser(t, origin, atHome)
	if err := chromedp.Do(stranger.ctx, chromedp.Navigate(origin+"/")); err == nil || !strings.Contains(err.Error(), "ERR_CERT_AUTHORITY_INVALID") {
		t.Errorf("a browser that does not know the authority: %v", err)
	}

	b := newBrowser(t, origin, atHome, chromedp.Flag("ignore-certificate-errors-spki-list", ca.pin))
	b.open("/test?id=" + test)
	if !js[bool](b, "isSecureContext") || js[string](b, "location.pathname") != "/sign-in" {
		t.Errorf("before signing in at %s", js[string](b, "location.href"))
	}
	b.axe("sign-in")
	b.do(chromedp.SendKeys(`#name`, "anna"), chromedp.SendKeys(`#password`, password), chromedp.Click(`button.main`), chromedp.WaitVisible(`input[value=exclude]`))
	b.until("the chart is drawn", "document.querySelector('.plot canvas')")
	b.do(chromedp.Click(`input[value=exclude]`), chromedp.SendKeys(`#why`, "over https"), chromedp.Click(`form.change button.main`))
	b.until("saved", saved)
	if got := answer(t, filepath.Join(dir, "data", "history.db"), "SELECT who, why FROM corrections"); len(got) != 1 || got[0] != "anna | over https" {
		t.Errorf("audit %q", got)
	}
	jar, err := chromedp.Call(b.ctx, network.GetCookies, network.GetCookiesParams{})
	if err != nil {
		t.Fatal(err)
	}
	if len(jar.Cookies) == 0 {
		t.Error("no cookie")
	}
	for _, c := range jar.Cookies {
		if !c.Secure || !c.HTTPOnly || c.Domain != clubHost || c.Path != "/" || !strings.HasPrefix(c.Name, "__Host-") || c.SameSite == "" {
			t.Errorf("cookie %s: secure %v, http only %v, domain %s, path %s, same site %q", c.Name, c.Secure, c.HTTPOnly, c.Domain, c.Path, c.SameSite)
		}
	}
	b.do(chromedp.Click(`.out button`), chromedp.WaitVisible(`#password`))
	b.quiet()

	client := &http.Client{Transport: &http.Transport{TLSClientConfig: &tls.Config{RootCAs: ca.pool, ServerName: clubHost}}, CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	v := &visitor{t, "https://127.0.0.1:" + at.Port(), client}
	answered, _ := v.ask("GET", "/sign-in", nil, "Host", clubHost+":"+at.Port())
	if answered.StatusCode != http.StatusOK || !strings.Contains(answered.Header.Get("Strict-Transport-Security"), "max-age=") {
		t.Errorf("%d, Strict-Transport-Security %q", answered.StatusCode, answered.Header.Get("Strict-Transport-Security"))
	}
	// Plain http on the same port gives nothing away.
	if a, body := newVisitor(t, plain).ask("GET", "/", nil); a.StatusCode != http.StatusBadRequest || strings.Contains(body, "Brindlemere") {
		t.Errorf("plain http: %d %.100s", a.StatusCode, body)
	}
	for _, version := range []uint16{tls.VersionTLS10, tls.VersionTLS11} {
		old := &tls.Config{RootCAs: ca.pool, ServerName: clubHost, MinVersion: version, MaxVersion: version} //nolint:gosec // to see it refused
		if c, err := tls.Dial("tcp", at.Host, old); err == nil {
			_ = c.Close()
			t.Errorf("TLS version %x is spoken", version)
		}
	}
	if log := p.log.String(); strings.Contains(log, password) {
		t.Error("the password stands in the log")
	}
}
