package main

import (
	"cmp"
	"context"
	"fmt"
	"io"
	"log/slog"
	"net"
	"os"
	"runtime/debug"
	"sync"

	"github.com/spf13/cobra"

	"downdrop/cases"
	"downdrop/cmd/internal/page"
	"downdrop/cmd/internal/report"
	"downdrop/engine"
	"downdrop/rulebase"
)

type serveOptions struct {
	deskOptions
	listen    string
	lan       bool
	cert, key string
	names     []string
	role      string
	runs      string
}

func newServeCmd(env *environment, runF func(context.Context, *environment, serveOptions) error) *cobra.Command {
	var o serveOptions
	cmd := &cobra.Command{
		Use: "serve", Short: shortServe, Long: longServe, Args: noArguments,
		RunE: func(cmd *cobra.Command, _ []string) error { return runF(cmd.Context(), env, o) },
	}
	addStoreFlags(cmd, &o.deskOptions)
	f := cmd.Flags()
	f.StringVar(&o.listen, "listen", usualAddress, "the `ADDRESS` to answer at; port 0 takes a free one")
	f.BoolVar(&o.lan, "lan", false, "let devices of the network in: by a cipher (TLS), each by a code that is shown here")
	f.StringVar(&o.cert, "cert", "", "with --lan: the certificate (`FILE`, PEM) instead of a self-made one")
	f.StringVar(&o.key, "key", "", "with --lan: the key to --cert (`FILE`, PEM)")
	addMany(f, &o.names, "name", "with --lan: a further `NAME` that others call this machine by")
	f.StringVar(&o.role, "role", "", "with --lan: what the first device may do, as its `ROLE`: read, answer, close or author, which is usual")
	f.StringVar(&o.runs, "runs", "", "the `FOLDER` that runs at the bench are kept in; else one beside the store")
	return cmd
}

// usualAddress has a port of ours, from the range that nobody assigns.
const usualAddress = "127.0.0.1:58490"

// serveHeap is where the collector of garbage begins to work harder, in bytes: with the
// program itself, some 26 MiB, and what the database keeps, the server then stays below 96 MiB on any page
// for one person at a time, however many cases there are; six who search at the same moment take it to
// some 103. It is no bound: what is needed is had. Whoever sets GOMEMLIMIT decides instead.
const serveHeap = 40 << 20

// runServe answers as a page until it is interrupted, which is its usual end.
func runServe(ctx context.Context, env *environment, o serveOptions) error {
	others, err := o.ready(env.clock())
	if err != nil {
		return err
	}
	if os.Getenv("GOGC") == "" {
		debug.SetGCPercent(100) // not what a command gets that ends soon: see collectLate
	}
	if os.Getenv("GOMEMLIMIT") == "" {
		debug.SetMemoryLimit(serveHeap)
	}
	d, err := o.openDesk(ctx, env)
	if err != nil {
		return err
	}
	defer d.store.Close()
	var listen net.ListenConfig
	l, err := listen.Listen(ctx, "tcp", o.listen)
	if err != nil {
		return usageError{fmt.Sprintf(sayCannotListen, o.listen, err)}
	}
	defer l.Close()
	host := l.Addr().String()
	runs, err := runsFolder(env, o.runs, o.store)
	if err != nil {
		return err
	}
	if others != nil {
		s := newPage(d, runs, page.Options{Hosts: others.hosts(host), Pairing: true, TLS: others.cert, Strict: !others.selfMade, Paired: func(p page.Device) { fmt.Fprintf(env.out, sayPaired, page.DeviceLine(p)) }})
		others.tell(env, "https://"+host+"/", s)
		go others.listenTo(env, s) // it ends with the program: nothing that waits for a key can be called off
		return s.Serve(ctx, l, page.Usual)
	}
	tell := func(path string) { fmt.Fprintf(env.out, sayServing, "http://"+host+path) }
	s := newPage(d, runs, page.Options{Hosts: ownHosts(host), Link: tell})
	tell(s.Link())
	return s.Serve(ctx, l, page.Usual)
}

// newPage makes the server of a desk; o says who may come in and how.
func newPage(d *desk, runs string, o page.Options) *page.Server {
	desk := pageDeskOf(d)
	o.Base, o.Store, o.Desk, o.Counter = d.base, d.store, desk, desk.counter(runs)
	o.Talk, o.Now, o.NewID = newTalkOn(desk.prepared).WithClock(d.env.clock), d.env.clock, newID
	o.Log = slog.New(slog.NewTextHandler(d.env.err, &slog.HandlerOptions{Level: slog.LevelWarn}))
	return page.New(o)
}

// ownHosts are the names that a browser on this machine may call an address by.
func ownHosts(host string) []string {
	_, port, err := net.SplitHostPort(host)
	if err != nil {
		return []string{host}
	}
	return []string{host, "localhost:" + port, "127.0.0.1:" + port, "[::1]:" + port}
}

// A pageDesk is a desk that many requests use at once.
type pageDesk struct {
	*desk
	prepared *engine.Prepared
	mu       sync.Mutex
	kept     bool // the rulebase in use is in the store
}

// at gives the desk for one request: the writer's place is its own.
func (p *pageDesk) at(ctx context.Context, place rulebase.Place) (*desk, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if !p.kept {
		if err := p.keepRulebase(ctx); err != nil {
			return nil, err
		}
		p.kept = true
	}
	d := *p.desk
	d.writer.Place = place
	return &d, nil
}

func (p *pageDesk) Open(ctx context.Context, id string, opening cases.Opening, s rulebase.Situation) (*cases.Case, error) {
	d, err := p.at(ctx, s.At)
	if err != nil {
		return nil, err
	}
	return d.openAs(ctx, id, opening, s, nil)
}

func (p *pageDesk) Write(ctx context.Context, c *cases.Case, place rulebase.Place, by string, drafts ...cases.Draft) (*cases.Case, error) {
	d, err := p.at(ctx, place)
	if err != nil {
		return nil, err
	}
	d.writer.By = cmp.Or(by, d.writer.By)
	if _, err := d.writer.Write(ctx, cases.Subject{Kind: cases.AboutCase, ID: c.ID}, drafts...); err != nil {
		return nil, err
	}
	return d.store.Case(ctx, c.ID)
}

// Receive is what `downdrop case receive` does.
func (p *pageDesk) Receive(ctx context.Context, by string, text []byte) ([]*cases.Case, error) {
	d, err := p.at(ctx, "")
	if err != nil {
		return nil, err
	}
	d.writer.By = cmp.Or(by, d.writer.By)
	a, err := d.arrive(ctx, text)
	return a.cases, err
}

// TakeAlong writes what `downdrop case take-along` does.
func (p *pageDesk) TakeAlong(ctx context.Context, w io.Writer, c *cases.Case, by string) error {
	d, err := p.at(ctx, c.Situation.At)
	if err != nil {
		return err
	}
	d.writer.By = cmp.Or(by, d.writer.By)
	return d.writeAlong(ctx, w, c)
}

func (p *pageDesk) Diagnose(ctx context.Context, s rulebase.Situation, cause, against string) (*engine.Diagnosis, error) {
	return engine.Diagnose(ctx, p.prepared, s, engine.Options{Weights: true, Weighed: cause, Against: against})
}

func (p *pageDesk) Chart(ctx context.Context, c *cases.Case, places int) (*report.Chart, error) {
	tree, err := engine.Chart(ctx, p.prepared, c.Situation, engine.ChartOptions{Nodes: places})
	if err != nil {
		return nil, err
	}
	return report.NewChart(p.prepared, c.Situation, tree, report.StandingIn(p.base, c)), nil
}

func (p *pageDesk) Closing(ctx context.Context, c *cases.Case, closing *cases.Closing) ([]cases.OpenPoint, error) {
	if closing.Outcome == "" {
		closing.Outcome = endsAs(p.base, c, closing.Causes)
	}
	return p.openPoints(ctx, c, closing)
}

var _ page.Desk = (*pageDesk)(nil)
