package page_test

import (
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"
)

const open = 200

// How long an answer takes with 200 open cases, one at a time: the form is sent, the
// answer is durable and diagnosed, and the next question is there. The floor is a page that
// needs no diagnosis. DOWNDROP_BENCH_STORE names a store to add the cases to, such as a large one.
func BenchmarkAnswerTwoHundredOpen(b *testing.B) {
	store := os.Getenv("DOWNDROP_BENCH_STORE")
	if store == "" {
		store = filepath.Join(b.TempDir(), "cases.db")
	}
	s := serve(b, store)
	var codes []string
	for i := range open {
		story := []string{fieldStory, "operator on the phone, 5 dead, 1-4 good", "technician at the drop, not alone, all of them, dead since the storm", "technician at the bench, drop dead"}[i%4]
		codes = append(codes, s.open(url.Values{"story": {story}}))
	}
	words := []string{"power light dark", "run light dark", "traffic light flickering", "power light lit", "I have a multimeter", "began after storm near"}
	var took, floor []time.Duration
	var own []time.Duration
	worked := processor(s.PID())
	b.ResetTimer()
	for i := range b.N {
		form := url.Values{"form": {newForm()}, "kind": {"opening"}, "entry": {words[(i/open+i)%len(words)]}}
		before, start := scheduled(s.PID()), time.Now()
		r, err := http.NewRequest(http.MethodPost, s.At+"/case/"+codes[i%len(codes)]+"/answer", strings.NewReader(form.Encode()))
		if err != nil {
			b.Fatal(err)
		}
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		r.Header.Set("Downdrop-Page", "1")
		response, err := s.http.Do(r)
		if err != nil {
			b.Fatal(err)
		}
		text(b, response)
		took = append(took, time.Since(start))
		own = append(own, scheduled(s.PID())-before)
		start = time.Now()
		s.get("/new")
		floor = append(floor, time.Since(start))
	}
	b.StopTimer()
	ms := func(d []time.Duration, share float64) float64 {
		slices.Sort(d)
		return float64(d[min(len(d)-1, int(share*float64(len(d))))].Microseconds()) / 1000
	}
	b.ReportMetric(ms(took, 0.5), "ms/median")
	b.ReportMetric(ms(took, 0.99), "ms/p99")
	b.ReportMetric(ms(floor, 0.5), "ms/floor")
	b.ReportMetric(ms(floor, 0.99), "ms/floor-p99")
	b.ReportMetric(ms(own, 0.99), "ms-of-processor/p99")
	b.ReportMetric(10*(processor(s.PID())-worked)/float64(b.N), "ms-of-processor/answer")
	b.ReportMetric(resident(b, s.PID()), "MiB/most-resident")
}

// resident is the most memory that a process has held, where the system says so.
func resident(b *testing.B, pid int) float64 {
	text, err := os.ReadFile(filepath.Join("/proc", strconv.Itoa(pid), "status"))
	if err != nil {
		return 0
	}
	for line := range strings.Lines(string(text)) {
		if rest, ok := strings.CutPrefix(line, "VmHWM:"); ok {
			var kB float64
			for _, r := range strings.Fields(rest)[0] {
				kB = 10*kB + float64(r-'0')
			}
			return kB / 1024
		}
	}
	return 0
}

// processor is how long a process has worked, in hundredths of a second (what Linux counts
// by); on a busy machine it says more than the clock.
func processor(pid int) float64 {
	text, err := os.ReadFile(filepath.Join("/proc", strconv.Itoa(pid), "stat"))
	if err != nil {
		return 0
	}
	_, rest, _ := strings.Cut(string(text), ") ")
	fields := strings.Fields(rest)
	user, _ := strconv.ParseFloat(fields[11], 64)
	system, _ := strconv.ParseFloat(fields[12], 64)
	return user + system
}

// scheduled is how long the threads of a process have worked, on both cores together, to the nanosecond:
// an answer is there no later than that on a machine that does nothing else.
func scheduled(pid int) time.Duration {
	tasks, err := filepath.Glob(filepath.Join("/proc", strconv.Itoa(pid), "task", "*", "schedstat"))
	if err != nil {
		return 0
	}
	sum := 0
	for _, task := range tasks {
		if text, err := os.ReadFile(task); err == nil {
			first, _, _ := strings.Cut(string(text), " ")
			n, _ := strconv.Atoi(first)
			sum += n
		}
	}
	return time.Duration(sum)
}

// How much memory the server holds at most after every kind of page was asked for, a dozen times each, one
// at a time; DOWNDROP_BENCH_STORE names the store, whose size must not show.
func BenchmarkEveryPageResident(b *testing.B) {
	store := os.Getenv("DOWNDROP_BENCH_STORE")
	if store == "" {
		store = filepath.Join(b.TempDir(), "cases.db")
	}
	s := serve(b, store)
	began := resident(b, s.PID())
	for b.Loop() {
		for i := range 12 {
			code := s.open(url.Values{"story": {[]string{millStory, "operator on the phone, 5 dead, 1-4 good", "technician at the bench, drop dead"}[i%3]}})
			s.post("/case/"+code+"/sheet", url.Values{"form": {newForm()}, "sheet": {mill(b)}})
			for _, page := range []string{"/", "/?find=storm", "/case/" + code, "/case/" + code + "?say=else", "/case/" + code + "/causes", "/case/" + code + "/summary", "/case/" + code + "/close", "/case/" + code + "/hand-over", "/case/" + code + "/diagnosis.json"} {
				s.get(page)
			}
		}
	}
	pages := resident(b, s.PID())
	for range 3 {
		s.get("/case/" + s.open(url.Values{"story": {millStory}}) + "/chart")
	}
	charts := resident(b, s.PID())
	code := s.open(url.Values{"story": {millStory}})
	s.get("/case/" + code + "/chart?places=90")
	b.ReportMetric(began, "MiB/begun")
	b.ReportMetric(pages, "MiB/pages")
	b.ReportMetric(charts, "MiB/charts")
	b.ReportMetric(resident(b, s.PID()), "MiB/largest-chart")
}
