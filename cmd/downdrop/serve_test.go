package main

import (
	"crypto/x509"
	"encoding/pem"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"downdrop/cmd/internal/page"
)

// writtenCert writes a certificate and its key as a site would give them.
func writtenCert(t *testing.T, now time.Time, hosts ...string) (cert, key string) {
	t.Helper()
	made, err := selfMade(hosts, now)
	if err != nil {
		t.Fatal(err)
	}
	der, err := x509.MarshalPKCS8PrivateKey(made.PrivateKey)
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	cert, key = filepath.Join(dir, "cert.pem"), filepath.Join(dir, "key.pem")
	for name, block := range map[string]*pem.Block{cert: {Type: "CERTIFICATE", Bytes: made.Certificate[0]}, key: {Type: "PRIVATE KEY", Bytes: der}} {
		if err := os.WriteFile(name, pem.EncodeToMemory(block), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	return cert, key
}

// A certificate that was given is used as it is; one that is not good now, or for another host, or with
// another key, is refused before anything listens.
func TestServeWithAGivenCertificate(t *testing.T) {
	now := time.Now()
	cert, key := writtenCert(t, now, "192.0.2.7", "drop-desk")
	others, err := (&serveOptions{listen: "192.0.2.7:58490", lan: true, cert: cert, key: key, names: []string{"drop-desk"}}).ready(now)
	if err != nil {
		t.Fatal(err)
	}
	if others.selfMade || others.role != page.Author {
		t.Errorf("it counts as self-made: %v; the first may %v", others.selfMade, others.role)
	}
	if got := strings.Join(others.hosts("192.0.2.7:443"), " "); got != "192.0.2.7:443 192.0.2.7 drop-desk:443 drop-desk" {
		t.Errorf("it answers to %s", got)
	}
	if n := len(strings.Split(others.fingerprint(), ":")); n != 32 {
		t.Errorf("the fingerprint has %d bytes: %s", n, others.fingerprint())
	}
	_, otherKey := writtenCert(t, now, "192.0.2.7")
	oldCert, oldKey := writtenCert(t, now.AddDate(-1, 0, 0), "192.0.2.7")
	for says, o := range map[string]*serveOptions{
		"no certificate with its key":  {listen: "192.0.2.7:58490", lan: true, cert: cert, key: otherKey},
		"that is not now":              {listen: "192.0.2.7:58490", lan: true, cert: oldCert, key: oldKey},
		"it is for none of these: 192": {listen: "192.0.2.8:58490", lan: true, cert: cert, key: key},
	} {
		if _, err := o.ready(now); err == nil || !strings.Contains(err.Error(), says) || !errors.As(err, &inputError{}) {
			t.Errorf("%s: %v", says, err)
		}
	}
}

// A self-made certificate is for its address and names, and for a month.
func TestSelfMadeCertificate(t *testing.T) {
	now := time.Now()
	others, err := (&serveOptions{listen: "[2001:db8::7]:58490", lan: true, names: []string{"drop-desk"}, role: "read"}).ready(now)
	if err != nil {
		t.Fatal(err)
	}
	leaf := others.cert.Leaf
	for _, host := range []string{"2001:db8::7", "drop-desk"} {
		if err := leaf.VerifyHostname(host); err != nil {
			t.Error(err)
		}
	}
	if leaf.VerifyHostname("192.0.2.7") == nil || leaf.IsCA {
		t.Error("it is for more than its names")
	}
	if !others.selfMade || others.role != page.Reader || leaf.NotAfter.Sub(now) > 31*24*time.Hour {
		t.Errorf("self-made %v, role %v, good until %v", others.selfMade, others.role, leaf.NotAfter)
	}
	again, err := (&serveOptions{listen: "127.0.0.1:0", lan: true}).ready(now)
	if err != nil {
		t.Fatal(err)
	}
	if again.fingerprint() == others.fingerprint() {
		t.Error("two starts have one certificate")
	}
}
