package main

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"encoding/pem"
	"fmt"
	"io"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"downdrop/cmd/internal/page"
	"downdrop/testdata/support"
)

// A lanTerminal is "serve --lan" with somebody at its terminal.
type lanTerminal struct {
	t         *testing.T
	out, said *support.Buffer
	keys      *io.PipeWriter
}

func serveOnLAN(t *testing.T, args ...string) *lanTerminal {
	t.Helper()
	env, _, _ := testEnvironment()
	in, keys := io.Pipe()
	l := &lanTerminal{t, &support.Buffer{}, &support.Buffer{}, keys}
	env.in, env.out, env.err, env.clock, env.store = in, l.out, l.said, time.Now, openStore
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan int, 1)
	go func() {
		done <- run(ctx, env, append([]string{"serve", "--lan", "--listen", "127.0.0.1:0", "--store", filepath.Join(t.TempDir(), "cases.db")}, args...))
	}()
	t.Cleanup(func() {
		cancel()
		keys.Close()
		if code := <-done; code != 0 {
			t.Errorf("exit code %d, said %q", code, l.said)
		}
	})
	return l
}

// waits gives what an expression finds in what is printed, once it is there.
func (l *lanTerminal) waits(in *support.Buffer, expression string) []string {
	l.t.Helper()
	for until := time.Now().Add(20 * time.Second); time.Now().Before(until); time.Sleep(10 * time.Millisecond) {
		if m := regexp.MustCompile(expression).FindStringSubmatch(in.String()); m != nil {
			return m
		}
	}
	l.t.Fatalf("%q is not there: %q, said %q", expression, l.out, l.said)
	return nil
}

func (l *lanTerminal) types(line string) {
	l.t.Helper()
	if _, err := io.WriteString(l.keys, line+"\n"); err != nil {
		l.t.Fatal(err)
	}
}

// Whoever starts the page for others is told where it is, what its certificate looks like and
// how a device comes in; and lets devices in and puts them out where it was started.
func TestServeForOthers(t *testing.T) {
	l := serveOnLAN(t, "--role", "read")
	at := l.waits(l.out, `Devices of the network open:\s+(https://127\.0\.0\.1:\d+/)`)[1]
	shown := l.waits(l.out, `Its certificate is self-made, so a browser warns of it\.[^:]*:\s+([0-9A-F:]{95})`)[1]
	l.waits(l.out, `For another code type what the device may do \(read, answer, close, author\) and Enter`)
	l.types("devices")
	l.waits(l.out, `No device is in\.`)
	l.types("let them all in")
	l.waits(l.said, `Type one of read, answer, close, author; or devices`)
	l.types("out 7")
	l.waits(l.said, `No device of number 7 is in\.`)
	l.types("")                                         // nothing said is no end
	l.types(strings.Repeat("a cat on the keys ", 1000)) // it is still listened to
	l.types("answer")
	code := l.waits(l.out, `The code for one device, which may then answer: ([0-9 ]+) \(once, until`)[1]

	jar, err := cookiejar.New(nil)
	if err != nil {
		t.Fatal(err)
	}
	phone := &http.Client{Jar: jar, Transport: &http.Transport{TLSClientConfig: &tls.Config{InsecureSkipVerify: true}}}
	defer phone.CloseIdleConnections()
	r, err := phone.PostForm(at+"pair", url.Values{"code": {code}, "name": {"glove phone"}})
	if err != nil {
		t.Fatal(err)
	}
	r.Body.Close()
	cert := r.TLS.PeerCertificates[0]
	if got := (&lan{cert: &tls.Certificate{Certificate: [][]byte{cert.Raw}}}).fingerprint(); got != shown {
		t.Errorf("the certificate has the fingerprint %s, the terminal says %s", got, shown)
	}
	l.waits(l.out, `A device came in: .*glove phone`)
	l.types("out 1")
	l.waits(l.out, `Device 1 is out\.`)
}

// A certificate that is given is used as it is.
func TestServeForOthersWithACertificate(t *testing.T) {
	dir := t.TempDir()
	cert, err := selfMade([]string{"127.0.0.1"}, time.Now())
	if err != nil {
		t.Fatal(err)
	}
	key, err := x509.MarshalPKCS8PrivateKey(cert.PrivateKey)
	if err != nil {
		t.Fatal(err)
	}
	for name, block := range map[string]*pem.Block{"cert.pem": {Type: "CERTIFICATE", Bytes: cert.Certificate[0]}, "key.pem": {Type: "PRIVATE KEY", Bytes: key}} {
		if err := os.WriteFile(filepath.Join(dir, name), pem.EncodeToMemory(block), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	l := serveOnLAN(t, "--cert", filepath.Join(dir, "cert.pem"), "--key", filepath.Join(dir, "key.pem"))
	shown := l.waits(l.out, `The fingerprint of its certificate \(SHA-256\) is:\s+([0-9A-F:]{95})`)[1]
	if want := (&lan{cert: cert}).fingerprint(); shown != want {
		t.Errorf("%s, want %s", shown, want)
	}
	l.waits(l.out, fmt.Sprintf(`which may then %s: `, page.Author))
	if strings.Contains(l.out.String(), "self-made") {
		t.Error("a certificate that was given is called self-made")
	}
}
