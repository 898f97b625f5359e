package page

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"net"
	"net/http"
	"slices"
	"strings"
	"time"
)

// Limits of what one request may bring and take.
const (
	maxForm        = 64 << 10
	headerTimeout  = 5 * time.Second
	requestTimeout = 30 * time.Second
	answerTimeout  = 60 * time.Second
	uploadTimeout  = 5 * time.Minute
)

// securityHeaders go with every answer. Scripts, styles and pictures come from
// this origin alone, and no other site may frame the page.
var securityHeaders = map[string]string{
	"Content-Security-Policy":      "default-src 'self'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'; object-src 'none'",
	"X-Content-Type-Options":       "nosniff",
	"X-Frame-Options":              "DENY",
	"Referrer-Policy":              "no-referrer",
	"Cross-Origin-Opener-Policy":   "same-origin",
	"Cross-Origin-Resource-Policy": "same-origin",
	"Permissions-Policy":           "camera=(), geolocation=(), microphone=()",
	"Cache-Control":                "no-store",
}

// guard is what every request passes first: headers, the host it asked for,
// where it came from, how much it brings.
func (p *Page) guard(next http.Handler) http.Handler {
	crossOrigin := http.NewCrossOriginProtection()
	crossOrigin.SetDenyHandler(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		http.Error(w, "This request came from another site's page and was refused.", http.StatusForbidden)
	}))
	inner := crossOrigin.Handler(next)
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		for name, value := range securityHeaders {
			w.Header().Set(name, value)
		}
		if p.cfg.Settings.Secure() {
			w.Header().Set("Strict-Transport-Security", "max-age=31536000")
		}
		if !p.ours(r.Host) {
			// A name that is not ours: a site that points its own name at this
			// address to be taken for us (DNS rebinding), or a missing setting.
			http.Error(w, "The page is not known by the name "+printableHost(r.Host)+". Ask for it by an address of its own, or name it in the club file under page.hosts.", http.StatusMisdirectedRequest)
			return
		}
		if r.URL.Path != "/files/drop" {
			r.Body = http.MaxBytesReader(w, r.Body, maxForm)
		}
		inner.ServeHTTP(w, r)
	})
}

// ours reports whether a request asked for a name of the page. Without a proxy
// browsers name the port that the page listens on, as the links in chat do; the
// club file need not.
func (p *Page) ours(host string) bool {
	host = strings.ToLower(host)
	s := &p.cfg.Settings
	if slices.Contains(s.Hosts, host) {
		return true
	}
	if s.BehindProxy {
		return false
	}
	name, port, err := net.SplitHostPort(host)
	if err != nil {
		name = host
	}
	if _, here, err := net.SplitHostPort(s.Listen); err == nil && port != "" && port == here && slices.Contains(s.Hosts, name) {
		return true
	}
	if !s.Loopback() {
		return false
	}
	name = strings.Trim(name, "[]")
	return name == "localhost" || name == "127.0.0.1" || name == "::1"
}

// printableHost keeps what a stranger sent out of people's terminals.
func printableHost(host string) string {
	if len(host) > 80 {
		host = host[:80]
	}
	return fmt.Sprintf("%q", host)
}

// Serve answers on l until ctx ends.
func (p *Page) Serve(ctx context.Context, l net.Listener) error {
	srv := &http.Server{
		Handler: p.Handler(), MaxHeaderBytes: 16 << 10,
		ReadHeaderTimeout: headerTimeout, ReadTimeout: requestTimeout, WriteTimeout: answerTimeout, IdleTimeout: 2 * time.Minute,
		TLSConfig: &tls.Config{MinVersion: tls.VersionTLS12},
	}
	stop := context.AfterFunc(ctx, func() {
		grace, cancel := context.WithTimeout(context.WithoutCancel(ctx), 2*time.Second)
		defer cancel()
		if err := srv.Shutdown(grace); err != nil {
			_ = srv.Close()
		}
	})
	defer stop()
	var err error
	if s := p.cfg.Settings; s.CertFile != "" {
		err = srv.ServeTLS(l, s.CertFile, s.KeyFile)
	} else {
		err = srv.Serve(l)
	}
	if !errors.Is(err, http.ErrServerClosed) {
		return fmt.Errorf("page: %w", err)
	}
	return nil
}
