package chattest

import (
	"net/http"
	"net/http/httptest"
	"strconv"
	"time"
)

// Fault is something that goes wrong with a call.
type Fault struct {
	// Method it hits, "" for any.
	Method string
	// Skip calls are let through first; then Times calls fail (0 is 1, below
	// 0 for ever).
	Skip  int
	Times int
	// Kept lets the call take effect before it goes wrong: the message is
	// there, the sender does not know.
	Kept bool

	// What goes wrong, the first of these that is set:
	// Hang never answers.
	Hang bool
	// Drop cuts the connection.
	Drop bool
	// RetryAfter answers status 429 with this wait.
	RetryAfter time.Duration
	// Code answers {"ok": false, "error": Code}.
	Code string
	// Status answers this status with Body (500 when neither is set); a
	// Location header goes with it when set.
	Status   int
	Body     string
	Location string
}

// Fail makes coming calls go wrong. Faults are looked at in the order they
// were given; the first that fits a call is used.
func (s *Server) Fail(faults ...Fault) {
	s.mu.Lock()
	defer s.mu.Unlock()
	for _, f := range faults {
		s.faults = append(s.faults, &f)
	}
}

// Mend forgets all faults.
func (s *Server) Mend() {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.faults = nil
}

func (s *Server) fail(w http.ResponseWriter, r *http.Request, f *Fault) {
	switch {
	case f.Hang:
		select {
		case <-r.Context().Done():
		case <-s.quit:
		}
		panic(http.ErrAbortHandler)
	case f.Drop:
		panic(http.ErrAbortHandler)
	case f.RetryAfter > 0:
		w.Header().Set("Retry-After", strconv.Itoa(seconds(f.RetryAfter)))
		w.WriteHeader(http.StatusTooManyRequests)
	case f.Code != "":
		write(w, refuse(f.Code))
	default:
		if f.Location != "" {
			w.Header().Set("Location", f.Location)
		}
		status := f.Status
		if status == 0 && f.Body == "" {
			status = http.StatusInternalServerError
		}
		if status != 0 {
			w.WriteHeader(status)
		}
		// Nobody to tell when the client has gone.
		_, _ = w.Write([]byte(f.Body))
	}
}

// direct calls the server in place of a network.
type direct struct{ s *Server }

// RoundTrip runs the handler and returns its answer, or the error of a call
// that was cut or cancelled.
func (d direct) RoundTrip(r *http.Request) (*http.Response, error) {
	done := make(chan *http.Response, 1)
	go func() {
		defer close(done)
		defer func() {
			if p := recover(); p != nil && p != http.ErrAbortHandler { //nolint:errorlint // a panic value, compared as net/http does
				panic(p)
			}
		}()
		w := httptest.NewRecorder()
		d.s.ServeHTTP(w, r)
		res := w.Result()
		res.Request = r
		done <- res
	}()
	select {
	case res, ok := <-done:
		if !ok {
			return nil, http.ErrServerClosed
		}
		return res, nil
	case <-r.Context().Done():
		return nil, r.Context().Err()
	}
}
