package club

import (
	"net"
	"net/url"
	"strconv"
	"strings"
)

// DefaultPageListen is where the page is unless the club says otherwise: on
// this machine alone.
const DefaultPageListen = "127.0.0.1:7466"

// PageOff as an address switches the page off.
const PageOff = "off"

// Page says where staff look at traces in a browser, and who may.
type Page struct {
	// Listen is an address and port, or [PageOff].
	Listen string
	// Hosts are the names by which browsers reach the page, beside those of
	// loopback when it listens there.
	Hosts []string
	// UsersFile says who may sign in; "" when nobody has to.
	UsersFile string
	// CertFile and KeyFile are for https.
	CertFile, KeyFile string
	// BehindProxy: a proxy in front speaks https.
	BehindProxy bool
}

// Loopback reports whether the page can be reached from this machine alone.
func (p Page) Loopback() bool {
	host, _, err := net.SplitHostPort(p.Listen)
	if err != nil {
		return false
	}
	ip := net.ParseIP(strings.Trim(host, "[]"))
	return host == "localhost" || ip != nil && ip.IsLoopback()
}

// Secure reports whether browsers speak https to the page.
func (p Page) Secure() bool { return p.CertFile != "" || p.BehindProxy }

// Problem says what stands in the way of offering the page so: the key that is
// wrong or missing, what is wrong with it, and what to do; "" when all is well.
// Health data goes over a network only to those who signed in, and encrypted.
func (p Page) Problem() (key, text, hint string) {
	if p.Listen == PageOff {
		return "", "", ""
	}
	_, port, err := net.SplitHostPort(p.Listen)
	if n, e := strconv.Atoi(port); err != nil || e != nil || n > 65535 {
		return "listen", quote(p.Listen) + " is no address", "Write host and port, such as " + DefaultPageListen
	}
	if (p.CertFile == "") != (p.KeyFile == "") {
		return "cert_file", "cert_file and key_file belong together", "Give both or neither"
	}
	if p.Loopback() && !p.BehindProxy {
		return "", "", ""
	}
	const open = "others than this machine can reach the page"
	switch {
	case p.UsersFile == "":
		return "users_file", open + ", and nobody has to sign in", "Add users_file; canter page password makes its lines"
	case !p.Secure():
		return "cert_file", open + ", and nothing is encrypted", "Add cert_file and key_file; or behind_proxy: true when a proxy in front speaks https"
	case len(p.Hosts) == 0:
		return "hosts", open + ", and hosts is missing", "Name the hosts that browsers ask for: hosts: [canter.club.example]"
	}
	return "", "", ""
}

func (b *builder) page(w *pageWritten) {
	p := Page{Listen: DefaultPageListen}
	if w != nil {
		if w.Listen != "" {
			p.Listen = string(w.Listen)
		}
		for _, h := range w.Hosts {
			p.Hosts = append(p.Hosts, strings.ToLower(string(h)))
		}
		for _, f := range []struct {
			written text
			into    *string
		}{{w.UsersFile, &p.UsersFile}, {w.CertFile, &p.CertFile}, {w.KeyFile, &p.KeyFile}} {
			if f.written != "" {
				*f.into = b.absolute(f.written)
			}
		}
		p.BehindProxy = w.BehindProxy
		if key, text, hint := p.Problem(); text != "" && !b.doubted("page") {
			b.fail("page."+key, text, hint)
		}
	}
	b.club.Page = p
}

// SessionURL is where a browser finds a session on the page, "" when the club
// file names no host by which others reach it.
func (p *Page) SessionURL(session string) string {
	if len(p.Hosts) == 0 || p.Listen == PageOff {
		return ""
	}
	u := url.URL{Scheme: "http", Host: p.Hosts[0], Path: "/session", RawQuery: "id=" + url.QueryEscape(session)}
	if p.BehindProxy || p.CertFile != "" {
		u.Scheme = "https"
	}
	if _, port, err := net.SplitHostPort(p.Listen); err == nil && !p.BehindProxy && !strings.Contains(p.Hosts[0], ":") {
		u.Host = net.JoinHostPort(p.Hosts[0], port)
	}
	return u.String()
}
