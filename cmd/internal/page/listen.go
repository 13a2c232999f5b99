package page

import (
	"context"
	"crypto/tls"
	"errors"
	"log/slog"
	"net"
	"net/http"
	"time"

	"golang.org/x/net/netutil"
)

// Limits bound what others can make the server wait for or hold.
type Limits struct {
	Header, Read, Write, Idle time.Duration // until the head, the whole request, the answer, the next request
	HeaderBytes               int
	Connections               int
}

// Usual are the limits of a server: nobody's form takes longer than that, even over a
// poor line (choices of ours, no source).
var Usual = Limits{Header: 5 * time.Second, Read: 15 * time.Second, Write: 30 * time.Second, Idle: time.Minute, HeaderBytes: 16 << 10, Connections: 256}

// Serve answers what comes in by a listener until the context ends, then lets what has
// begun come to its end.
func (s *Server) Serve(ctx context.Context, l net.Listener, limits Limits) error {
	server := &http.Server{
		Handler: s, ReadHeaderTimeout: limits.Header, ReadTimeout: limits.Read, WriteTimeout: limits.Write, IdleTimeout: limits.Idle,
		MaxHeaderBytes: limits.HeaderBytes, ErrorLog: slog.NewLogLogger(s.o.Log.Handler(), slog.LevelDebug),
		BaseContext: func(net.Listener) context.Context { return context.WithoutCancel(ctx) },
	}
	l = netutil.LimitListener(l, limits.Connections)
	if s.o.TLS != nil { // an own config, and so no HTTP/2: there is nothing here that it is for
		l = tls.NewListener(l, &tls.Config{Certificates: []tls.Certificate{*s.o.TLS}, MinVersion: tls.VersionTLS13, NextProtos: []string{"http/1.1"}})
	}
	ended := make(chan error, 1)
	go func() { ended <- server.Serve(l) }()
	select {
	case err := <-ended:
		return err
	case <-ctx.Done():
	}
	last, cancel := context.WithTimeout(context.WithoutCancel(ctx), longest)
	defer cancel()
	if err := server.Shutdown(last); err != nil {
		return errors.Join(err, server.Close())
	}
	return nil
}
