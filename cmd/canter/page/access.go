package page

import (
	"crypto/rand"
	"crypto/sha256"
	"encoding/base64"
	"net"
	"net/http"
	"net/url"
	"strings"
	"sync"
	"time"

	"golang.org/x/time/rate"

	"canter.example/schemas/club"
)

// viewer is who asks.
type viewer struct {
	// Name is kept with what they change; "" on loopback until they give one.
	Name string
	// May they change something?
	May bool
	// SignedIn tells a user of the file from somebody on this machine.
	SignedIn bool
}

// How long a sign-in lasts: a working day, and at a tablet that nobody touches
// no longer than a training session.
const (
	longestSignIn = 12 * time.Hour
	idleSignIn    = 3 * time.Hour
)

// Attempts to sign in: so many at once from an address, and under a name from
// wherever, then one every half minute. A name has more, so that a stranger
// can't easily keep its owner out.
const (
	attemptsOfAddress = 8
	attemptsOfName    = 20
	attemptsEvery     = 30 * time.Second
	mostCounted       = 10_000
)

// access knows who has signed in. It forgets when the process ends: everybody
// signs in again then.
type access struct {
	settings club.Page
	users    *users // nil when nobody has to sign in
	now      func() time.Time
	// hashing bounds memory: each try at a password takes 64 MiB.
	hashing chan struct{}
	nobody  hashed

	mu       sync.Mutex
	signedIn map[[32]byte]signedIn // by the hash of what the cookie holds
	tried    map[string]*rate.Limiter
}

type signedIn struct {
	name       string
	since, use time.Time
}

func newAccess(s club.Page, now func() time.Time) (*access, error) {
	a := &access{settings: s, now: now, hashing: make(chan struct{}, 2), signedIn: map[[32]byte]signedIn{}, tried: map[string]*rate.Limiter{}}
	if s.UsersFile == "" {
		return a, nil
	}
	a.users = &users{file: s.UsersFile}
	if _, err := a.users.load(); err != nil {
		return nil, err
	}
	// A name that nobody has takes as long as one that somebody has.
	a.nobody = hashed{hashMemory, hashPasses, hashLanes, make([]byte, saltBytes), make([]byte, hashBytes)}
	return a, nil
}

// cookie names. The prefix makes browsers hold the cookie to https and this
// host alone.
func (a *access) cookie() string {
	if a.settings.Secure() {
		return "__Host-canter"
	}
	return "canter"
}

// nameCookie remembers the name somebody gave on loopback.
const nameCookie = "canter-name"

// viewer returns who asks, and whether they may.
func (p *Page) viewer(r *http.Request) (viewer, bool) {
	a := p.access
	if a.users == nil {
		v := viewer{May: true}
		if c, err := r.Cookie(nameCookie); err == nil {
			if name, err := url.QueryUnescape(c.Value); err == nil {
				v.Name = cleanName(name)
			}
		}
		return v, true
	}
	c, err := r.Cookie(a.cookie())
	if err != nil {
		return viewer{}, false
	}
	list, err := a.users.load()
	if err != nil {
		p.cfg.Log.Error("page: nobody can be let in", "err", err)
		return viewer{}, false
	}
	key := sha256.Sum256([]byte(c.Value))
	now := a.now()
	a.mu.Lock()
	defer a.mu.Unlock()
	s, ok := a.signedIn[key]
	u, there := list[s.name]
	if !ok || !there || now.Sub(s.since) > longestSignIn || now.Sub(s.use) > idleSignIn {
		delete(a.signedIn, key)
		return viewer{}, false
	}
	s.use = now
	a.signedIn[key] = s
	return viewer{Name: u.name, May: u.may == MayCorrect, SignedIn: true}, true
}

// askToSignIn sends people to the form, and tells scripts.
func (p *Page) askToSignIn(w http.ResponseWriter, r *http.Request) {
	if r.Method != http.MethodGet || strings.HasSuffix(r.URL.Path, ".json") || strings.HasSuffix(r.URL.Path, "/try") {
		http.Error(w, "Sign in first.", http.StatusUnauthorized)
		return
	}
	http.Redirect(w, r, "/sign-in?to="+url.QueryEscape(r.URL.RequestURI()), http.StatusSeeOther)
}

// signInBody is what the form shows.
type signInBody struct {
	To, Name, Wrong string
}

func (p *Page) signInForm(w http.ResponseWriter, r *http.Request) {
	if p.access.users == nil {
		http.Redirect(w, r, "/", http.StatusSeeOther)
		return
	}
	p.render(w, http.StatusOK, "sign-in", frame{Title: "Sign in", Body: signInBody{To: local(r.URL.Query().Get("to"))}})
}

func (p *Page) signIn(w http.ResponseWriter, r *http.Request) {
	a := p.access
	if a.users == nil {
		http.Redirect(w, r, "/", http.StatusSeeOther)
		return
	}
	name, password, to := strings.TrimSpace(r.PostFormValue("name")), r.PostFormValue("password"), local(r.PostFormValue("to"))
	again := func(status int, text string) {
		p.render(w, status, "sign-in", frame{Title: "Sign in", Body: signInBody{To: to, Name: name, Wrong: text}})
	}
	from := a.address(r)
	if !a.mayTry("address "+from, attemptsOfAddress) || !a.mayTry("name "+name, attemptsOfName) {
		p.cfg.Log.Warn("page: too many attempts to sign in", "from", from)
		again(http.StatusTooManyRequests, "Too many attempts. Wait a minute, then try again.")
		return
	}
	list, err := a.users.load()
	if err != nil {
		p.cfg.Log.Error("page: nobody can sign in", "err", err)
		again(http.StatusInternalServerError, "Nobody can sign in at the moment; the service's log says why.")
		return
	}
	u, known := list[name]
	if !known {
		u.hash = a.nobody
	}
	a.hashing <- struct{}{}
	right := u.hash.is(password)
	<-a.hashing
	if !known || !right {
		p.cfg.Log.Warn("page: sign-in refused", "from", from)
		again(http.StatusUnauthorized, "Name or password are not right.")
		return
	}
	a.begin(w, u.name)
	p.cfg.Log.Info("page: signed in", "who", u.name, "from", from)
	http.Redirect(w, r, to, http.StatusSeeOther) //nolint:gosec // local has made it a path of this page
}

// begin gives the browser a cookie that says who it is.
func (a *access) begin(w http.ResponseWriter, name string) {
	token := make([]byte, 32)
	_, _ = rand.Read(token) // never fails: crypto/rand
	value := base64.RawURLEncoding.EncodeToString(token)
	now := a.now()
	a.mu.Lock()
	for k, s := range a.signedIn {
		if now.Sub(s.since) > longestSignIn || now.Sub(s.use) > idleSignIn {
			delete(a.signedIn, k)
		}
	}
	a.signedIn[sha256.Sum256([]byte(value))] = signedIn{name, now, now}
	a.mu.Unlock()
	// Lax, so that a link in chat finds its reader signed in; what changes
	// something is kept from other sites by [http.CrossOriginProtection].
	http.SetCookie(w, &http.Cookie{ //nolint:gosec // Secure wherever browsers speak https; on loopback they don't
		Name: a.cookie(), Value: value, Path: "/", MaxAge: int(longestSignIn / time.Second),
		HttpOnly: true, Secure: a.settings.Secure(), SameSite: http.SameSiteLaxMode,
	})
}

func (p *Page) signOut(w http.ResponseWriter, r *http.Request) {
	a := p.access
	if c, err := r.Cookie(a.cookie()); err == nil {
		a.mu.Lock()
		delete(a.signedIn, sha256.Sum256([]byte(c.Value)))
		a.mu.Unlock()
	}
	http.SetCookie(w, &http.Cookie{ //nolint:gosec // as where it is set
		Name: a.cookie(), Path: "/", MaxAge: -1, HttpOnly: true, Secure: a.settings.Secure(), SameSite: http.SameSiteLaxMode,
	})
	http.Redirect(w, r, "/sign-in", http.StatusSeeOther)
}

// mayTry counts an attempt. When too many are counted, all are forgotten: the
// bound on memory matters more than an attacker with ten thousand addresses.
func (a *access) mayTry(what string, atOnce int) bool {
	a.mu.Lock()
	defer a.mu.Unlock()
	l := a.tried[what]
	if l == nil {
		if len(a.tried) >= mostCounted {
			clear(a.tried)
		}
		l = rate.NewLimiter(rate.Every(attemptsEvery), atOnce)
		a.tried[what] = l
	}
	return l.AllowN(a.now(), 1)
}

// address is whom a request came from: behind a proxy, what the proxy next to
// us says.
func (a *access) address(r *http.Request) string {
	if a.settings.BehindProxy {
		list := strings.Split(strings.Join(r.Header.Values("X-Forwarded-For"), ","), ",")
		if ip := net.ParseIP(strings.TrimSpace(list[len(list)-1])); ip != nil {
			return ip.String()
		}
	}
	host, _, err := net.SplitHostPort(r.RemoteAddr)
	if err != nil {
		return r.RemoteAddr
	}
	return host
}

// local is a path of this page to go to, "/" for anything else: a link must
// not lead from the sign-in to another site.
func local(to string) string {
	u, err := url.Parse(to)
	if err != nil || u.IsAbs() || u.Host != "" || !strings.HasPrefix(to, "/") || strings.HasPrefix(to, "//") || strings.ContainsAny(to, "\\\r\n\t") {
		return "/"
	}
	return to
}
