package api

import (
	"cmp"
	"sync"
	"time"
)

// Rate is how often one caller may ask: so often a second in the long run, and so
// often at once.
type Rate struct {
	PerSecond float64
	Burst     float64
}

// or is the rate, with what is not given as in another.
func (r Rate) or(d Rate) Rate {
	return Rate{cmp.Or(r.PerSecond, d.PerSecond), cmp.Or(r.Burst, d.Burst)}
}

// mostCallers is of how many callers a generation of buckets remembers something.
const mostCallers = 10_000

// limiter counts what each caller asks, in a token bucket for each. It remembers at
// most two generations of callers: who has not asked in the younger of them begins
// anew, which is never stricter. So its memory is bounded, whoever comes.
type limiter struct {
	rate       Rate
	now        func() time.Time
	mu         sync.Mutex
	young, old map[string]bucket
}

type bucket struct {
	left float64
	at   time.Time
}

func newLimiter(r Rate, now func() time.Time) *limiter {
	return &limiter{rate: r, now: now, young: map[string]bucket{}}
}

// take lets a caller ask once, or says how long they have to wait first.
func (l *limiter) take(who string) time.Duration {
	l.mu.Lock()
	defer l.mu.Unlock()
	now := l.now()
	b, known := l.young[who]
	if !known {
		b, known = l.old[who]
	}
	if !known {
		b = bucket{l.rate.Burst, now}
	}
	b.left = min(l.rate.Burst, b.left+l.rate.PerSecond*max(0, now.Sub(b.at).Seconds()))
	b.at = now
	wait := time.Duration((1 - b.left) / l.rate.PerSecond * float64(time.Second))
	if b.left >= 1 {
		b.left, wait = b.left-1, 0
	}
	if len(l.young) >= mostCallers {
		l.young, l.old = map[string]bucket{}, l.young
	}
	l.young[who] = b
	return wait
}
