//go:build unix

package failures_test

import (
	"bufio"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/url"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"downdrop/testdata/support"
	"downdrop/testdata/support/built"
)

// An abuser holds a connection in a way of its own until the server ends it, and says how that was:
// the status of the answer, "closed" for none, or what went wrong. It ends by itself when stop does.
type abuser func(address string, stop <-chan struct{}) string

// patience is longer than any of the server's own limits (Usual in package page: 5 s for a head, 15 s for
// a request), on a machine that does other things as well.
const patience = 40 * time.Second

var abusers = map[string]struct {
	do   abuser
	ends []string // how it may end
}{
	"slow head": {func(a string, stop <-chan struct{}) string {
		return dripping(a, "GET / HTTP/1.1\r\nHost: "+a+"\r\nX-Slow: ", stop)
	}, []string{"closed", "408"}},
	"slow body": {func(a string, stop <-chan struct{}) string {
		return dripping(a, "POST /enter HTTP/1.1\r\nHost: "+a+"\r\nContent-Type: application/x-www-form-urlencoded\r\nContent-Length: 5000\r\n\r\nkey=", stop)
	}, []string{"408"}},
	"half open": {func(a string, stop <-chan struct{}) string { return dripping(a, "", stop) }, []string{"closed", "408"}},
	"ten megabytes": {func(a string, stop <-chan struct{}) string {
		c, err := net.Dial("tcp", a)
		if err != nil {
			return err.Error()
		}
		defer c.Close()
		go func() { // the answer comes, and the line is closed, while it is still being sent
			_, _ = fmt.Fprintf(c, "POST /enter HTTP/1.1\r\nHost: %s\r\nContent-Type: application/x-www-form-urlencoded\r\nContent-Length: %d\r\n\r\n", a, 10<<20)
			_, _ = io.Copy(c, io.LimitReader(zeros{}, 10<<20))
		}()
		return ending(c, stop)
	}, []string{"413", "closed"}}, // the answer may be lost where the line is cut under what is still coming
	"keep alive": {func(a string, stop <-chan struct{}) string {
		c, err := net.Dial("tcp", a)
		if err != nil {
			return err.Error()
		}
		defer c.Close()
		r := bufio.NewReader(c)
		for {
			if _, err := fmt.Fprintf(c, "GET /style.css HTTP/1.1\r\nHost: %s\r\n\r\n", a); err != nil {
				return err.Error()
			}
			answer, err := http.ReadResponse(r, nil)
			if err != nil {
				return err.Error()
			}
			if _, err := io.Copy(io.Discard, answer.Body); err != nil || answer.StatusCode != http.StatusOK {
				return fmt.Sprint(answer.StatusCode, err)
			}
			select {
			case <-stop:
				return "200"
			case <-time.After(300 * time.Millisecond):
			}
		}
	}, []string{"200"}},
}

type zeros struct{}

func (zeros) Read(p []byte) (int, error) { clear(p); return len(p), nil }

// dripping sends a beginning and then a letter now and then.
func dripping(address, begin string, stop <-chan struct{}) string {
	c, err := net.Dial("tcp", address)
	if err != nil {
		return err.Error()
	}
	defer c.Close()
	if _, err := io.WriteString(c, begin); err != nil {
		return err.Error()
	}
	ended := make(chan struct{})
	defer close(ended)
	go func() {
		for begin != "" {
			select {
			case <-ended:
				return
			case <-time.After(400 * time.Millisecond):
			}
			if _, err := c.Write([]byte("x")); err != nil {
				return
			}
		}
	}()
	return ending(c, stop)
}

// ending waits for what the server says, or does.
func ending(c net.Conn, stop <-chan struct{}) string {
	_ = c.SetReadDeadline(time.Now().Add(patience))
	done := make(chan string, 1)
	go func() {
		line, err := bufio.NewReader(c).ReadString('\n')
		switch status, _, _ := strings.Cut(strings.TrimPrefix(line, "HTTP/1.1 "), " "); {
		case err == nil:
			done <- status
		case isTimeout(err):
			done <- "nothing"
		default:
			done <- "closed"
		}
	}()
	select {
	case how := <-done:
		return how
	case <-stop: // nobody waits for how it ends
		return "stopped"
	}
}

func isTimeout(err error) bool {
	e, ok := err.(net.Error)
	return ok && e.Timeout()
}

// abuse begins so many connections of abusers, in turn, and gives what waits for them to end. They are
// let go before that when stop is closed.
func abuse(address string, howMany int, stop <-chan struct{}) (wait func() map[string]map[string]int) {
	names := slices.Sorted(func(yield func(string) bool) {
		for name := range abusers {
			if !yield(name) {
				return
			}
		}
	})
	var all, others sync.WaitGroup
	var mu sync.Mutex
	ended := map[string]map[string]int{}
	leave := make(chan struct{}) // those that never leave are let go when all others were ended
	for i := range howMany {
		name, until := names[i%len(names)], stop
		if name == "keep alive" {
			until = leave
		} else {
			others.Add(1)
		}
		all.Go(func() {
			how := abusers[name].do(address, until)
			if name != "keep alive" {
				others.Done()
			}
			mu.Lock()
			defer mu.Unlock()
			if ended[name] == nil {
				ended[name] = map[string]int{}
			}
			ended[name][how]++
		})
	}
	go func() { others.Wait(); close(leave) }()
	return func() map[string]map[string]int { all.Wait(); return ended }
}

// F17: two hundred clients at once that are slow, silent, greedy or never leave are each ended by a
// limit; honest ones beside them get every answer; and nothing of theirs is left running.
func TestF17AbusiveClients(t *testing.T) {
	t.Parallel() // most of it is waiting
	inShort(t)
	s := built.Serve(t, filepath.Join(t.TempDir(), "cases.db"))
	c := s.Client()
	_, body, err := post(c, s.At+"/open", url.Values{"form": {"f0"}, "story": {"technician at the drop, not alone, drop dead"}})
	m := codeRE.FindStringSubmatch(body)
	if err != nil || m == nil {
		t.Fatalf("opening a case: %v", err)
	}
	address := strings.TrimPrefix(s.At, "http://")
	wait := abuse(address, 200, nil)

	var honest sync.WaitGroup
	var answered atomic.Int32
	for i := range 4 {
		honest.Go(func() {
			for n := range support.Deep(t, 4) {
				id := fmt.Sprintf("h%d-%d", i, n)
				if status, _, err := post(c, s.At+"/case/"+m[1]+"/note", url.Values{"form": {id}, "text": {id}}); err != nil || status != http.StatusOK {
					t.Errorf("an honest client is answered %d %v", status, err)
					continue
				}
				answered.Add(1)
			}
		})
	}
	honest.Wait()
	for name, how := range wait() {
		for end, n := range how {
			if !slices.Contains(abusers[name].ends, end) {
				t.Errorf("%s: %d ended by %q, want %v", name, n, end, abusers[name].ends)
			}
		}
		t.Logf("%s: %v", name, how)
	}
	t.Logf("%d honest answers", answered.Load())
	c.CloseIdleConnections()
	time.Sleep(300 * time.Millisecond)
	if traces := traces(t, s); !strings.Contains(traces, "goroutine ") || strings.Contains(traces, "net/http.(*conn).serve") {
		t.Errorf("connections are still being served, or nothing is said of what runs:\n%.3000s", traces)
	}
}

// How long an honest answer takes while two hundred others abuse the server, beside how long it takes
// without them: a note is kept and the case shown.
func BenchmarkF17Honest(b *testing.B) {
	s := built.Serve(b, filepath.Join(b.TempDir(), "cases.db"))
	c := s.Client()
	_, body, err := post(c, s.At+"/open", url.Values{"form": {"f0"}, "story": {"technician at the drop, not alone, drop dead"}})
	m := codeRE.FindStringSubmatch(body)
	if err != nil || m == nil {
		b.Fatalf("opening a case: %v", err)
	}
	n := 0
	measure := func(times int) []time.Duration {
		var took []time.Duration
		for range times {
			n++
			begin := time.Now()
			r, err := c.Get(s.At + "/case/" + m[1])
			if err != nil {
				b.Fatal(err)
			}
			_, _ = io.Copy(io.Discard, r.Body)
			r.Body.Close()
			if r.StatusCode != http.StatusOK {
				b.Fatal(r.Status)
			}
			took = append(took, time.Since(begin))
			time.Sleep(5 * time.Millisecond)
		}
		slices.Sort(took)
		return took
	}
	at := func(all []time.Duration, share float64) float64 {
		return float64(all[min(len(all)-1, int(share*float64(len(all))))].Microseconds()) / 1000
	}
	floor := measure(max(20, b.N))
	stop := make(chan struct{})
	wait := abuse(strings.TrimPrefix(s.At, "http://"), 200, stop)
	b.ResetTimer()
	took := measure(b.N)
	b.StopTimer()
	close(stop)
	wait()
	b.ReportMetric(at(floor, 0.5), "ms/alone")
	b.ReportMetric(at(floor, 0.99), "ms/alone-p99")
	b.ReportMetric(at(took, 0.5), "ms/median")
	b.ReportMetric(at(took, 0.99), "ms/p99")
}
