package main

import (
	"bufio"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/sha256"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"fmt"
	"io"
	"math/big"
	"net"
	"os"
	"strconv"
	"strings"
	"time"

	"downdrop/cmd/internal/page"
	"downdrop/cmd/internal/report"
)

// A lan is how other machines reach a page: never without a cipher, and only those that
// were let in by a code.
type lan struct {
	cert     *tls.Certificate
	selfMade bool
	names    []string // what others call this machine, beside its address
	role     page.Role
}

// selfMadeFor is how long a self-made certificate is good: it is made anew at each start.
const selfMadeFor = 30 * 24 * time.Hour

// ready says how an address may be answered at: as nothing else asks for a cipher or pairing on
// the machine itself, nil; for others to reach, what --lan and its flags give. Everything
// that is missing for that is refused before anything listens.
func (o *serveOptions) ready(now time.Time) (*lan, error) {
	host, port, err := net.SplitHostPort(o.listen)
	if n, bad := strconv.Atoi(port); err != nil || bad != nil || n < 0 || n > 65535 {
		return nil, usageError{fmt.Sprintf(sayListenForm, o.listen)}
	}
	ip := net.ParseIP(host)
	here := strings.EqualFold(host, "localhost") || ip != nil && ip.IsLoopback()
	switch {
	case !o.lan && (o.cert != "" || o.key != "" || o.role != "" || len(o.names) > 0):
		return nil, usageError{sayOnlyLAN}
	case !o.lan && !here:
		return nil, usageError{fmt.Sprintf(sayListenHere, o.listen)}
	case !o.lan:
		return nil, nil
	case !here && (ip == nil || ip.IsUnspecified() || ip.IsMulticast()):
		return nil, usageError{fmt.Sprintf(sayListenWhich, o.listen)}
	}
	l := &lan{role: page.Author, names: o.names}
	if o.role != "" {
		if l.role = page.RoleOf(o.role); l.role == page.Nobody {
			return nil, usageError{fmt.Sprintf(sayFlagValue, "role", o.role, fmt.Sprintf(sayNotOneOf, strings.Join(page.RoleWords(), ", ")))}
		}
	}
	for _, name := range o.names {
		if name == "" || strings.ContainsAny(name, ":/@ \t") {
			return nil, usageError{fmt.Sprintf(sayFlagValue, "name", name, sayHostName)}
		}
	}
	if (o.cert == "") != (o.key == "") {
		return nil, usageError{sayCertAndKey}
	}
	if o.cert == "" {
		l.selfMade = true
		l.cert, err = selfMade(append([]string{host}, o.names...), now)
		return l, err
	}
	l.cert, err = givenCertificate(o.cert, o.key, append([]string{host}, o.names...), now)
	return l, err
}

// givenCertificate reads a certificate and its key from files, and holds it to the names that it
// is to answer by.
func givenCertificate(certFile, keyFile string, hosts []string, now time.Time) (*tls.Certificate, error) {
	for _, name := range []string{certFile, keyFile} {
		f, err := os.Open(name)
		if err != nil {
			return nil, err
		}
		f.Close()
	}
	cert, err := tls.LoadX509KeyPair(certFile, keyFile)
	if err != nil {
		return nil, inputError{fmt.Sprintf(sayBadCert, certFile, keyFile, err)}
	}
	switch leaf := cert.Leaf; {
	case now.After(leaf.NotAfter) || now.Before(leaf.NotBefore):
		return nil, inputError{fmt.Sprintf(sayCertTime, certFile, leaf.NotBefore.Format(time.DateOnly), leaf.NotAfter.Format(time.DateOnly))}
	default:
		for _, host := range hosts {
			if leaf.VerifyHostname(host) == nil {
				return &cert, nil
			}
		}
		return nil, inputError{fmt.Sprintf(sayCertHost, certFile, strings.Join(hosts, ", "))}
	}
}

// selfMade makes a certificate for these names and addresses.
func selfMade(hosts []string, now time.Time) (*tls.Certificate, error) {
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		return nil, err
	}
	serial, err := rand.Int(rand.Reader, new(big.Int).Lsh(big.NewInt(1), 120))
	if err != nil {
		return nil, err
	}
	form := x509.Certificate{
		SerialNumber: serial, Subject: pkix.Name{CommonName: "downdrop, made for this start"}, NotBefore: now.Add(-time.Hour), NotAfter: now.Add(selfMadeFor),
		KeyUsage: x509.KeyUsageDigitalSignature, ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth}, BasicConstraintsValid: true,
	}
	for _, h := range hosts {
		if ip := net.ParseIP(h); ip != nil {
			form.IPAddresses = append(form.IPAddresses, ip)
		} else {
			form.DNSNames = append(form.DNSNames, h)
		}
	}
	der, err := x509.CreateCertificate(rand.Reader, &form, &form, key.Public(), key)
	if err != nil {
		return nil, err
	}
	leaf, err := x509.ParseCertificate(der)
	if err != nil {
		return nil, err
	}
	return &tls.Certificate{Certificate: [][]byte{der}, PrivateKey: key, Leaf: leaf}, nil
}

// fingerprint is a certificate's SHA-256, as browsers show it.
func (l *lan) fingerprint() string {
	sum := sha256.Sum256(l.cert.Certificate[0])
	pairs := make([]string, len(sum))
	for i, b := range sum {
		pairs[i] = fmt.Sprintf("%02X", b)
	}
	return strings.Join(pairs, ":")
}

// hosts are the names that others may call an address by, with and without the port where it
// is the usual one.
func (l *lan) hosts(address string) []string {
	host, port, err := net.SplitHostPort(address)
	if err != nil {
		return []string{address}
	}
	var out []string
	for _, name := range append([]string{host}, l.names...) {
		name = strings.ToLower(name)
		out = append(out, net.JoinHostPort(name, port))
		if port == "443" {
			out = append(out, strings.TrimSuffix(net.JoinHostPort(name, port), ":443"))
		}
	}
	return out
}

// tell says how others come in.
func (l *lan) tell(env *environment, url string, s *page.Server) {
	fmt.Fprintf(env.out, sayLANAt, url)
	how := sayGivenCert
	if l.selfMade {
		how = saySelfMade
	}
	fmt.Fprintf(env.out, how, l.fingerprint())
	if env.terminal {
		if code, err := report.QR(url + "pair#SHA-256=" + strings.ReplaceAll(l.fingerprint(), ":", "")); err == nil {
			code.Text(env.out) //nolint:errcheck // whoever sees no drawing reads the address
		}
	}
	l.code(env, s, l.role)
	fmt.Fprintf(env.out, sayLANWords, strings.Join(page.RoleWords(), ", "))
}

func (l *lan) code(env *environment, s *page.Server, role page.Role) {
	code, until := s.NewCode(role)
	fmt.Fprintf(env.out, sayCode, role, page.SpacedCode(code), until.Format("15:04:05"))
}

// listenTo takes what is typed where the program was started: a role for the next code,
// who is in, and who is to go out.
func (l *lan) listenTo(env *environment, s *page.Server) {
	lines := bufio.NewReader(env.in)
	for {
		line, more, err := lines.ReadLine()
		words := strings.Fields(string(line))
		for ; more; words = []string{"?"} { // nothing that can be said is so long
			_, more, err = lines.ReadLine()
		}
		if err != nil {
			return // nobody is there any more; who is in stays in
		}
		if len(words) == 0 {
			continue
		}
		role := page.RoleOf(words[0])
		switch {
		case role != page.Nobody && len(words) == 1:
			l.code(env, s, role)
		case words[0] == "devices" && len(words) == 1:
			devices(env.out, s)
		case words[0] == "out" && len(words) == 2:
			if n, err := strconv.Atoi(words[1]); err != nil || !s.Out(n) {
				fmt.Fprintf(env.err, sayNoDevice, words[1])
				continue
			}
			fmt.Fprintf(env.out, sayOut, words[1])
		default:
			fmt.Fprintf(env.err, sayLANWhat, strings.Join(page.RoleWords(), ", "))
		}
	}
}

func devices(w io.Writer, s *page.Server) {
	list := s.Devices()
	if len(list) == 0 {
		fmt.Fprint(w, sayNoDevices)
	}
	for _, d := range list {
		fmt.Fprintln(w, page.DeviceLine(d))
	}
}
